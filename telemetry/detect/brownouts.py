"""Brownouts: a supply at or below the restart level, or a unit that began anew, with the evidence.

Real: a counter or uptime that starts again, or a second unit that saw the dip. Telemetry: the
place's own counter ran on. Unknown: neither is logged. A counter that starts again without a low
voltage tells of a supply lost too shortly for the log only if the unit itself restarted.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.phases import phase_at
from telemetry.detect.restarts import BOOT_S, UnitRestart, unit_restarts
from telemetry.model.channels import COUNTERS, PlaceKind, Quantity
from telemetry.readings import NO_SUPPLY_V, Readings
from telemetry.results import (
    FALLS,
    WORKING_PHASES,
    Event,
    EventKind,
    Evidence,
    Phase,
    PhaseKind,
    Restart,
)

#: A lithium cell alone never reads as much, V (from memory: full at 4.2, some kinds at 4.35), by
#: this quantile of its readings; the fewest cells of another chemistry that fly rest above it.
_ONE_CELL_V, _HIGHEST = 4.4, 0.98

#: What fell by less than this part of a fall did not fall along; so many readings of others during
#: it are no accident of sampling (heuristic).
_ALONG, _SEEN = 0.3, 3


def find_brownouts(
    readings: Readings,
    phases: tuple[Phase, ...],
    events: tuple[Event, ...],
    restarts: tuple[Restart, ...],
    aircraft: Aircraft,
) -> tuple[Event, ...]:
    """Brownouts in flight and in stirs.

    A restart on the ground outside a stir is the pilot's power cycle and no brownout. One without
    a low voltage is a brownout too short for this log only where the unit itself restarted: a
    counter alone may have been reset, or have run over.
    """
    out: list[Event] = []
    begun = [
        r
        for r in unit_restarts(restarts, aircraft)
        if not r.ran_over
        and readings.start_s <= r.time_s < readings.end_s
        and _phase_before(phases, r.time_s) in WORKING_PHASES
    ]
    for e in _deepest_apart(events, readings, aircraft):
        near = [r for r in begun if -1.0 <= r.time_s - e.start_s <= BOOT_S + e.duration_s]
        note = "a counter began again" if near else ""
        if not near and _held_below(readings, e, aircraft):
            note = "what it feeds held"
        evidence = Evidence.REAL if near else Evidence.TELEMETRY
        out.append(
            replace(
                e,
                kind=EventKind.BROWNOUT,
                place=near[0].place if near else e.place,
                evidence=evidence if note else _evidence(readings, e, events),
                note=note,
            )
        )
    for r in begun:
        told = any(-1.0 <= r.time_s - e.start_s <= BOOT_S + e.duration_s for e in out)
        if r.sure and not told:
            out.append(_from_restart(readings, phases, r))
    told_above = [e for e in out if not _from_above(e, out, aircraft)]
    return tuple(sorted(told_above, key=lambda e: (e.start_s, e.place)))


def _from_above(e: Event, all_found: list[Event], aircraft: Aircraft) -> bool:
    """Whether what feeds the place lost its supply then: it is told there, once."""
    return any(
        o.place != e.place
        and aircraft.feed_path(e.place, o.place)
        and o.start_s <= e.end_s + BOOT_S
        and e.start_s <= o.end_s + BOOT_S
        for o in all_found
    )


def without_switching(
    events: tuple[Event, ...],
    restarts: tuple[Restart, ...],
    readings: Readings,
    aircraft: Aircraft,
) -> tuple[Event, ...]:
    """The events less those that the pilot's switch made: the supply off and on, on the ground.

    On the ground every fall goes that a counter begun anew follows, one beside a stretch without
    telemetry, and one to near zero that all supplies made together. In flight, or at one place
    alone, it stays an event.
    """
    ground = [e for e in events if e.phase is PhaseKind.GROUND and e.residual_v is not None]
    dead = [e for e in ground if (e.residual_v or 0.0) < NO_SUPPLY_V]
    supplies = {
        r.place
        for r in readings.of(Quantity.VOLTAGE)
        if r.size and aircraft.kind(r.place) is not PlaceKind.PACK
    }

    def switched(e: Event) -> bool:
        if any(e.start_s - 2.0 <= r.time_s <= e.end_s + 2 * BOOT_S for r in restarts):
            return True
        silent = [*readings.gaps, *(d for d in readings.dropouts if d.place is None)]
        if any(s.start_s - 3.0 <= e.end_s and e.start_s <= s.end_s + 3.0 for s in silent):
            return True
        down = {o.place for o in dead if o.start_s <= e.end_s + 3.0 and e.start_s <= o.end_s + 3.0}
        return e in dead and supplies <= down

    return tuple(e for e in events if e not in ground or not switched(e))


def _phase_before(phases: tuple[Phase, ...], time_s: float) -> PhaseKind:
    """The phase a restart happened in: the hole before it can look like ground."""
    kinds = {phase_at(phases, time_s), phase_at(phases, max(time_s - 3.0, 0.0))}
    return next((k for k in WORKING_PHASES if k in kinds), PhaseKind.GROUND)


def _deepest_apart(
    events: tuple[Event, ...], readings: Readings, aircraft: Aircraft
) -> list[Event]:
    """One event per place and dip at or below the restart level, in flight or stir."""
    # What one cell feeds is built for less than the default level: it has none that is known.
    cells = {
        r.place
        for r in readings.of(Quantity.VOLTAGE)
        if r.size
        and aircraft.kind(r.place) is PlaceKind.PACK
        and float(np.quantile(r.v, _HIGHEST)) < _ONE_CELL_V
    }
    low = [
        e
        for e in events
        if e.kind in (*FALLS, EventKind.UNDERVOLTAGE)
        and e.residual_v is not None
        and e.residual_v <= aircraft.restart_v(e.place)
        and e.phase in WORKING_PHASES
        # A pack that feeds another place is lost as a pack; the only supply is one.
        and (aircraft.kind(e.place) is not PlaceKind.PACK or e.place == aircraft.root)
        and not (e.place in cells and "restart_v" not in aircraft.limits.model_fields_set)
    ]
    out: list[Event] = []
    for e in sorted(low, key=lambda e: e.kind is EventKind.UNDERVOLTAGE):
        same = [o for o in out if o.place == e.place and o.start_s <= e.end_s + 1.0]
        if not any(e.start_s <= o.end_s + 1.0 for o in same):
            out.append(e)
    return out


def _held_below(readings: Readings, e: Event, aircraft: Aircraft) -> bool:
    """Whether several units behind a place were read meanwhile and none of them fell along.

    No supply is lost whose loads keep theirs: the reading is false.
    """
    fell_v = _ALONG * (e.depth_v or 0.0)
    read = 0
    for child in aircraft.children(e.place):
        volts = readings.get(Quantity.VOLTAGE, child)
        if volts is None or not volts.size:
            continue
        inside = volts.within(e.start_s, e.end_s).v
        if inside.size and float(inside.min()) < float(np.median(volts.v)) - fell_v:
            return False
        read += inside.size
    return read >= _SEEN


def _evidence(readings: Readings, e: Event, events: tuple[Event, ...]) -> Evidence:
    seen = [
        o
        for o in events
        if o.place != e.place
        and o.kind in FALLS
        and o.start_s <= e.end_s + 0.5
        and e.start_s <= o.end_s + 0.5
        and (o.depth_v or 0.0) >= 0.5 * (e.depth_v or 0.0)
    ]
    if seen:
        return Evidence.REAL
    for r in readings.channels:
        if r.channel.quantity not in COUNTERS or r.place != e.place or r.size < 4:
            continue
        before = r.v[r.t < e.start_s]
        after = r.v[(r.t > e.end_s) & (r.t < e.end_s + 2 * BOOT_S)]
        if before.size and after.size and float(after.min()) >= float(before[-1]):
            return Evidence.TELEMETRY
    return Evidence.UNKNOWN


def _from_restart(readings: Readings, phases: tuple[Phase, ...], r: UnitRestart) -> Event:
    """A restart in flight or stir without a reading at the restart level: the log was too slow.

    The event starts where the unit fell silent, as far as that is known, and ends with the first
    reading of the counter begun anew.
    """
    volts = readings.get(Quantity.VOLTAGE, r.place)
    if volts is None or not volts.size:
        volts = next((v for v in readings.of(Quantity.VOLTAGE) if v.size), None)
    start, residual, reference = r.time_s - (r.silent_s or 0.0), None, None
    if volts is not None:
        part = volts.within(r.time_s - BOOT_S, r.time_s + 1.0)
        before = part.t[part.t < start - 1e-6]
        if before.size:
            residual = float(part.v[max(0, before.size - 3) : before.size].min())
            reference = float(np.median(part.v))
    return Event(
        kind=EventKind.BROWNOUT,
        place=r.place,
        start_s=start,
        end_s=r.time_s,
        reference_v=reference,
        residual_v=residual,
        depth_v=None if residual is None or reference is None else reference - residual,
        phase=_phase_before(phases, r.time_s),
        evidence=Evidence.REAL,
        note=f"'{r.first.column}' fell from {r.first.before:.4g} to {r.first.after:.4g}: "
        "the unit began anew",
    )
