"""Supply across flights: a pack that was out, dips of the bus, counters against currents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.results import Finding, Level
from telemetry.season.breaks import counted_finding, deepest_at, falls_at
from telemetry.season.case import Case, Found, established
from telemetry.season.counts import judge_counts
from telemetry.season.evidence import Part
from telemetry.season.packs import packs_of, shared_packs
from telemetry.season.words import WORDS

# A pack whose share is below this gives nothing; above the other it used to take part (ours).
_OUT_SHARE, _PART_SHARE = 0.03, 0.15
# Counter over current: change that is told, and usual scatter from flight to flight (ours).
_COUNTER_WATCH, _COUNTER_SIGMA = 0.10, 0.02
_SUPPLY = ("supply", "pack", "brownout")


def judge_supply(case: Case) -> Found:
    """Findings pack-out, supply-dips and capacity-mismatch."""
    found = Found()
    packs = packs_of(case)
    shared = shared_packs(case)
    for pack in shared if len(shared) > 1 else ():
        _out(case, pack, found)
    _dips(case, packs, found)
    for place, feature in case.table.measured:
        if feature == "counter_ratio":
            _counter(case, place, found)
    return found


def _out(case: Case, pack: str, found: Found) -> None:
    """A pack that gave nothing in a flight although it used to take part."""
    first = case.first(pack)
    shares = case.table.column(pack, "share")[0]
    for k in range(first, len(case.flights)):
        own = float(shares[k])
        gone = own < _OUT_SHARE
        told = ("pack-out", pack) in case.flights[k].seen
        earlier = shares[:k][np.isfinite(shares[:k])]
        took_part = earlier.size > 0 and float(np.median(earlier)) > _PART_SHARE
        if not (gone or told) or not took_part:
            continue
        flights = [
            i
            for i in range(k, len(case.flights))
            if ("pack-out", pack) in case.flights[i].seen or shares[i] < _OUT_SHARE
        ]
        last = flights[-1] == len(case.flights) - 1
        words = WORDS["pack-out"]
        often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
        found.findings.append(
            Finding(
                code="pack-out",
                level=Level.GROUND if last or len(flights) > 1 else Level.WATCH,
                place=pack,
                title=f"{pack} gave no current in {often}"
                + ("" if last else "; it came back, and no repair is noted since"),
                evidence={
                    "flights_with": len(flights),
                    "share": own if np.isfinite(own) else None,
                    "usual_share": float(np.median(earlier)),
                    "flights_since": len(case.flights) - k,
                },
                explanations=words.explanations,
                confirm=words.confirm,
                advice=words.advice,
                since_flight=case.listed[k].id,
            )
        )
        return


def _dips(case: Case, packs: Sequence[str], found: Found) -> None:
    """Dips of bus or packs that the packs did not explain, flight after flight."""
    root = case.aircraft.root or "bus"
    per_place = [falls_at(case, p, _SUPPLY) for p in dict.fromkeys([root, *packs])]
    counts = [max(column) for column in zip(*per_place, strict=True)]
    first = case.first(root, *packs)
    burst = judge_counts(counts, [], first=first, chance=case.watch_chance)
    if burst is None:
        return
    strict = judge_counts(counts, [], first=first, chance=case.ground_chance)
    depths = [d for p in (root, *packs) if (d := deepest_at(case, p, _SUPPLY)) is not None]
    found.findings.append(
        counted_finding(
            case,
            "supply-dips",
            root,
            burst,
            grave=strict is not None and burst.flights >= 2,
            title=f"{root} dipped under load more than its packs and their resistance explain",
            deepest=max(depths, default=None),
        )
    )


def _counter(case: Case, place: str, found: Found) -> None:
    value, se = case.table.column(place, "counter_ratio")
    at = np.flatnonzero(value > 0)
    if at.size == 0:
        return
    part = Part(
        name="counter_ratio",
        at=at,
        y=np.log(value[at]),
        se=se[at] / value[at],
        sigma=_COUNTER_SIGMA,
    )
    for sign, more in ((1.0, "more"), (-1.0, "less")):
        j = case.judge([part], case.first(place), sign=sign, logarithmic=True)
        if j is None or j.signal is None or j.now < _COUNTER_WATCH:
            continue
        found.findings.append(
            established(
                case,
                "capacity-mismatch",
                place,
                j,
                level=Level.WATCH,
                title=f"{place}: the counter says {100 * j.now:.0f} % {more} than its current "
                "adds up to, compared with earlier flights",
                quantity="counter over current",
                unit="",
                rise_unit="%",
                scale=100.0 * sign,
            )
        )
        return
