"""Dips of the bus that its packs do not explain, counted flight by flight."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import Words
from telemetry.checks.leads.breaks import (
    counted_finding,
    cut_off,
    deepest_at,
    falls_at,
    looked_for_falls,
)
from telemetry.checks.supply.falls import REGULATOR_DROOP
from telemetry.checks.tree import packs_of
from telemetry.trends.counts import judge_counts
from telemetry.trends.features.flight import UNLOADED

_SUPPLY = ("supply", "pack", UNLOADED, "brownout")
_OPEN = (*_SUPPLY, "unknown")


def judge_dips(history: AircraftHistory) -> JudgedAcross:
    """Finding supply-dips: the bus was lost, or dips more often than by chance."""
    found = JudgedAcross()
    root = history.aircraft.root or "bus"
    if not cut_off(history, "supply-dips", root, found):
        looked_for_falls(history, "supply-dips", root, found)
        judge_dips_of(history, packs_of(history), found)
    return found


def judge_dips_of(history: AircraftHistory, packs: Sequence[str], found: JudgedAcross) -> None:
    """Dips of bus or packs that the packs did not explain, flight after flight.

    Where those are too few, falls of the bus count of which nothing tells whether a peak of the
    current passed between two of its readings: hard flying brings such falls, and then as many that
    the load is seen to make.
    """
    root = history.aircraft.root or "bus"
    per_place = [falls_at(history, p, _SUPPLY) for p in dict.fromkeys([root, *packs])]
    counts = [max(column) for column in zip(*per_place, strict=True)]
    by_load = falls_at(history, root, ("load",))
    first = history.first(root, *packs)
    for origins, own, others in (
        (_SUPPLY, counts, []),
        (_OPEN, falls_at(history, root, _OPEN), [by_load]),
    ):
        burst = judge_counts(own, others, first=first, run=history.watch_run)
        if burst is None or not own[-1]:
            continue  # of a flight without any, how long that stays open is no matter of counts
        strict = judge_counts(own, others, first=first, run=history.ground_run)
        sure = strict is not None and origins is _SUPPLY
        depths = [d for p in (root, *packs) if (d := deepest_at(history, p, origins)) is not None]
        found.drafts.append(
            counted_finding(
                history,
                "supply-dips",
                root,
                burst,
                grave=sure and burst.flights >= 2,
                title=f"{root} dipped under load more than its packs and their resistance explain",
                deepest=max(depths, default=None),
            )
        )
        return


SUPPLY_DIPS = Check(
    code="supply-dips",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL),
    question="Does the bus dip, flight after flight, more than its packs explain?",
    meaning=REGULATOR_DROOP.meaning,
    bench=REGULATOR_DROOP.bench,
    words_across=Words(
        (
            "a switch, plug or regulator between packs and bus that gives way for moments",
            "packs too weak or cold for the peaks",
        ),
        "Load the bus on the bench with full, sound packs and move switch, plugs and leads.",
        "See on the bench that the bus holds its voltage under load; note what was done.",
        "Do not fly until the bus holds its voltage under load; note what was done.",
        kinds=(CauseKind.SUPPLY_PATH, CauseKind.WEAK_PACKS),
    ),
    across=(judge_dips,),
)
