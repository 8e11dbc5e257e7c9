"""Counters that began again with no supply seen to fall: switched, reset, or too short a dip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.aircraft import Aircraft
from telemetry.checks.making import clock, make
from telemetry.checks.words import RESTART_UNDER_LOAD
from telemetry.detect.restarts import UnitRestart, unit_restarts
from telemetry.results import EventKind, Finding, Flight, Level, PhaseKind, Quality

_LOADED = (PhaseKind.FLIGHT, PhaseKind.STIR)
# A restart this near to a brownout is its own (ours: a boot and two reports).
_NEAR_S = 20.0
# The hole before a restart can look like ground.
_BEFORE_S = 3.0


def restart_findings(
    quality: Quality, flights: Sequence[Flight], aircraft: Aircraft
) -> list[Finding]:
    """Restarts that are no brownout: under load one for each unit, on the ground one in all."""
    told = [e for f in flights for e in f.events if e.kind is EventKind.BROWNOUT]

    def apart(time_s: float) -> bool:
        return not any(abs(time_s - e.end_s) < _NEAR_S for e in told)

    left = [u for u in unit_restarts(quality.restarts, aircraft.bus) if apart(u.time_s)]
    units: dict[tuple[str, PhaseKind], list[UnitRestart]] = {}
    for u in left:
        _, phase = _phase(flights, u.time_s)
        if phase in _LOADED:
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
            make(
                "restart",
                Level.CLEAR,
                first.place,
                f"{len(moments)} restart{'s' if len(moments) > 1 else ''} on the ground, "
                f"first at {clock(first.time_s)}",
                {"times": len(moments), "time_s": first.time_s, "column": first.column},
            )
        )
    return out


def _phase(flights: Sequence[Flight], time_s: float) -> tuple[int | None, PhaseKind]:
    """Which flight, from 1, and what phase of it under load; else the ground."""
    for at in (time_s, time_s - _BEFORE_S):
        for number, f in enumerate(flights, 1):
            for p in f.phases:
                if p.kind in _LOADED and p.start_s <= at < p.end_s:
                    return number, p.kind
    return None, PhaseKind.GROUND


def _harmless(unit: UnitRestart, phase: PhaseKind) -> bool:
    """A counter that ran over; in a stir, on the ground, also one set back by hand.

    In the air there is no hand, and no hand sets a clock back.
    """
    by_hand = unit.excluded and not any(r.clock for r in unit.counters)
    return unit.ran_over or (by_hand and phase is PhaseKind.STIR)


def _under_load(place: str, phase: PhaseKind, found: list[UnitRestart]) -> Finding:
    worst = [u for u in found if not _harmless(u, phase)]
    told = worst or found
    first = told[0]
    many = "" if len(told) == 1 else f" {len(told)} times, first"
    reported = all(u.excluded for u in told)
    seen = "while its unit reported on" if reported else "and no low voltage was read"
    over = any(u.ran_over for u in told)
    return make(
        "restart",
        Level.WATCH if worst else Level.CLEAR,
        place,
        f"{place}: a counter began again{many} at {clock(first.time_s)} "
        f"in {'flight' if phase is PhaseKind.FLIGHT else 'a stir'}, {seen}",
        {
            "times": len(told),
            "time_s": first.time_s,
            "column": first.first.column,
            "before": first.first.before,
            "after": first.first.after,
            "counters": len(first.counters),
            "silent_s": first.silent_s,
        },
        also=("the counter came to its end and ran over",) if over else (),
        words=RESTART_UNDER_LOAD,
    )
