"""Supply across flights: a pack that was out, dips of the bus, counters against currents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.checks.case import Case, Found, established
from telemetry.checks.leads.breaks import counted_finding, cut_off, deepest_at, falls_at
from telemetry.checks.packs.across import packs_of, shared_packs
from telemetry.checks.words_across import WORDS
from telemetry.results import Finding, Level
from telemetry.trends.counts import judge_counts
from telemetry.trends.parts import Part

# A pack whose share is below this gives nothing; above the other it used to take part (ours).
_OUT_SHARE, _PART_SHARE = 0.03, 0.15
# A pack that stopped within the flight lacks this much of its usual share, and so many of its
# deviations; flights for a usual share; voltage at rest by which a pack is the emptier (ours).
_FALLEN_SHARE, _SCATTERS, _FEW, _LOWER_V = 0.08, 2.5, 2, 0.03
_DEAD = 0.5  # of its usual lowest voltage in flight
# Counter over current: change that is told, and usual scatter from flight to flight (ours).
_COUNTER_WATCH, _COUNTER_SIGMA = 0.10, 0.02
_SUPPLY = ("supply", "pack", "brownout")


def judge_supply(case: Case) -> Found:
    """Findings pack-out, supply-dips and capacity-mismatch."""
    found = Found()
    packs = packs_of(case)
    shared = shared_packs(case)
    if len(shared) == 2:
        _out(case, shared[0], shared[1], found)
        _out(case, shared[1], shared[0], found)
    if not cut_off(case, "supply-dips", case.aircraft.root or "bus", found):
        _dips(case, packs, found)
    for place, feature in case.table.measured:
        if feature == "counter_ratio":
            _counter(case, place, found)
    return found


def _out(case: Case, pack: str, other: str, found: Found) -> None:
    """A pack that gave nothing in a flight although it used to take part."""
    first, n = case.first(pack), len(case.flights)
    share = case.table.column(pack, "share")[0]
    (own_v, _), (other_v, _) = (case.table.column(p, "rest_v") for p in (pack, other))
    # A pack whose own voltage is the lower one gives nothing because the other is fuller.
    weaker = own_v < other_v - _LOWER_V
    lowest = case.table.column(pack, "lowest_flight_v")[0]
    flights = []
    for k in range(first, n):
        earlier = share[:k][np.isfinite(share[:k])]
        if earlier.size < _FEW or float(np.median(earlier)) < _PART_SHARE:
            continue
        told = any((s.code, s.place) == ("pack-out", pack) for s in case.flights[k].seen)
        # Packs of unequal charge share as they like: a pack is missed by its own usual scatter.
        least = max(_FALLEN_SHARE, _SCATTERS * float(earlier.std(ddof=1)))
        fallen = share[k] < float(np.median(earlier)) - least
        # Its own voltage decides where it is known: a pack that only rests keeps it.
        usual_v = lowest[:k][np.isfinite(lowest[:k])]
        if usual_v.size and np.isfinite(lowest[k]):
            fallen = bool(lowest[k] < _DEAD * np.median(usual_v))
        if (told and fallen) or (share[k] < _OUT_SHARE and not weaker[k]):
            flights.append(k)
    if not flights:
        return
    k = flights[0]
    now = flights[-1] == n - 1
    words = WORDS["pack-out"]
    often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
    found.findings.append(
        Finding(
            code="pack-out",
            level=Level.GROUND,
            place=pack,
            title=f"{pack} gave no current in {often}"
            + ("" if now else "; it came back, and no repair is noted since"),
            evidence={
                "flights_with": len(flights),
                "share": float(share[k]) if np.isfinite(share[k]) else None,
                "usual_share": float(np.nanmedian(share[:k])),
                "flights_since": n - k,
            },
            explanations=words.explanations,
            confirm=words.confirm,
            advice=words.advice_at(Level.GROUND),
            since_flight=case.listed[k].id,
        )
    )


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
        j = case.judge([part], case.first(place), place, sign=sign, logarithmic=True)
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
