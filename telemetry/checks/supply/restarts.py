"""Counters that began again with no supply seen to fall: switched, reset, or too short a dip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Possible, Words, clock
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.checks.needs import Needs, Refusal, counting
from telemetry.detect.restarts import UnitRestart, unit_restarts
from telemetry.results import (
    WORKING_PHASES,
    EventKind,
    Finding,
    Flight,
    Level,
    NotJudged,
    PhaseKind,
)

# A restart this near to a brownout is its own (heuristic: a boot and two reports).
_NEAR_S = 20.0
# The hole before a restart can look like ground.
_BEFORE_S = 3.0
# A restart under load is worded otherwise than one on the ground: nobody switches off there.
RESTART_UNDER_LOAD = Words(
    (
        "its supply was lost too shortly for the interval of this log",
        "a plug, switch or lead on its way opened for a moment",
        "the unit started itself anew though its supply held",
        "a hand: the counter was reset by hand or by the transmitter, or the pilot switched the "
        "system off and on",
    ),
    "With the system on and loaded, move every plug, switch and lead on its way and watch that "
    "counter; log the unit's uptime, which only a restart sets back.",
    "Find out before the next flight why it began again; unless it was reset by hand, treat it as "
    "a brownout.",
    kinds=(
        CauseKind.SUPPLY_LOST,
        CauseKind.CONTACT,
        CauseKind.UNIT_RESTARTED,
        CauseKind.RESET_BY_HAND,
    ),
)


_RAN_OVER = Possible(CauseKind.RAN_OVER, "the counter came to its end and ran over")


def restarts(facts: RecordingFacts) -> list[FindingDraft]:
    """Restarts that are no brownout: under load one for each unit, on the ground one in all."""
    quality, flights = facts.quality, facts.flights
    brownouts = [e for f in flights for e in f.events if e.kind is EventKind.BROWNOUT]

    def apart(time_s: float) -> bool:
        return not any(abs(time_s - e.end_s) < _NEAR_S for e in brownouts)

    left = [u for u in unit_restarts(quality.restarts, facts.aircraft) if apart(u.time_s)]
    units: dict[tuple[str, PhaseKind], list[UnitRestart]] = {}
    for u in left:
        _, phase = _phase(flights, u.time_s)
        if phase in WORKING_PHASES:
            units.setdefault((u.place, phase), []).append(u)
    out = [
        replace(_under_load(place, phase, found), flight=_phase(flights, found[0].time_s)[0])
        for (place, phase), found in units.items()
    ]
    loaded = {r for found in units.values() for u in found for r in u.counters}
    ground = [r for r in quality.restarts if r not in loaded and apart(r.time_s)]
    moments: list[float] = []
    for r in ground:
        if not moments or r.time_s - moments[-1] > _NEAR_S:
            moments.append(r.time_s)
    if moments:
        first = ground[0]
        out.append(
            FindingDraft(
                code="restart",
                level=Level.CLEAR,
                place=first.place,
                title=f"{len(moments)} restart{'s' if len(moments) > 1 else ''} on the ground, "
                f"first at {clock(first.time_s)}",
                evidence={"times": len(moments), "time_s": first.time_s, "column": first.column},
            )
        )
    return out


def _phase(flights: Sequence[Flight], time_s: float) -> tuple[int | None, PhaseKind]:
    """Which flight, from 1, and what phase of it under load; else the ground."""
    for at in (time_s, time_s - _BEFORE_S):
        for number, f in enumerate(flights, 1):
            for p in f.phases:
                if p.kind in WORKING_PHASES and p.start_s <= at < p.end_s:
                    return number, p.kind
    return None, PhaseKind.GROUND


def _harmless(unit: UnitRestart, phase: PhaseKind) -> bool:
    """A counter that ran over; in a stir, on the ground, also one set back by hand.

    In the air there is no hand, and no hand sets a clock back.
    """
    by_hand = unit.excluded and not any(r.clock for r in unit.counters)
    return unit.ran_over or (by_hand and phase is PhaseKind.STIR)


def _under_load(place: str, phase: PhaseKind, found: list[UnitRestart]) -> FindingDraft:
    worst = [u for u in found if not _harmless(u, phase)]
    counted = worst or found
    first = counted[0]
    many = "" if len(counted) == 1 else f" {len(counted)} times, first"
    reported = all(u.excluded for u in counted)
    seen = "while its unit reported on" if reported else "and no low voltage was read"
    over = any(u.ran_over for u in counted)
    return FindingDraft(
        code="restart",
        level=Level.WATCH if worst else Level.CLEAR,
        place=place,
        title=f"{place}: a counter began again{many} at {clock(first.time_s)} "
        f"in {'flight' if phase is PhaseKind.FLIGHT else 'a stir'}, {seen}",
        evidence={
            "times": len(counted),
            "time_s": first.time_s,
            "column": first.first.column,
            "before": first.first.before,
            "after": first.first.after,
            "counters": len(first.counters),
            "silent_s": first.silent_s,
            "of_a_clock": any(r.clock for r in first.counters) or None,
            "ran_over": over or None,
        },
        likelier=(_RAN_OVER,) if over else (),
        words=RESTART_UNDER_LOAD,
    )


def _in_flight(finding: Finding, flight: Flight) -> bool:
    """Whether it began again in the air; the silence before that can look like ground."""
    time_s = finding.evidence.get("time_s")
    return isinstance(time_s, int | float) and any(
        p.kind is PhaseKind.FLIGHT and p.start_s <= time_s < p.end_s + _BEFORE_S
        for p in flight.phases
    )


def _sees(_facts: FlightFacts, place: str | None) -> str | Refusal:
    if place is None:
        why = "no unit's counter or uptime is logged"
        return Refusal(NotJudged.UNLOGGED, why, "log the uptime of each unit")
    return "a counter or an uptime that begins again once"


RESTART = Check(
    code="restart",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL, note_only=_in_flight, lost=True),
    question="Did a unit's counter begin again with no low voltage logged?",
    meaning="A counter began again, and no low voltage was logged. In flight the likely cause is a "
    "loss of supply too short for this log; that is at least `watch`. On the ground it was "
    "switched off, or reset by hand.",
    bench="move every plug, switch and lead under load and watch that counter; unless it was "
    "reset, treat it as a brownout.",
    words=Words(
        (
            "the pilot switched the system off and on",
            "the counter was reset by hand or by the transmitter",
            "the unit lost its supply for a moment",
        ),
        "Ask whether it was switched or reset then; log the unit's uptime, which only a restart "
        "sets back; with the system on, move its plug and switch and watch that counter.",
        "If nobody switched or reset it, treat it as a brownout.",
        kinds=(
            CauseKind.SWITCHED_BY_HAND,
            CauseKind.RESET_BY_HAND,
            CauseKind.SUPPLY_LOST,
        ),
    ),
    in_recording=(restarts,),
    needs=Needs(at=counting, phases=(), essential="always"),
    sees=_sees,
)
