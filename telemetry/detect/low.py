"""Low supply: for how much of the time under load each place lay below the level it needs.

An event says when a voltage went low; a flight is judged by how long and how deep it was low
while the servos worked, whenever that began.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.sags import low_levels, minimum_series
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.numerics.sampling import outside
from telemetry.numerics.spans import complement, longer, mask_to_spans, merge, overlap_s
from telemetry.readings import NO_SUPPLY_V, Reading, Readings
from telemetry.results import (
    LOADED_PHASES,
    LowSupply,
    OutSign,
    PackOut,
    Phase,
    PhaseKind,
    SupplyLevel,
)

# Deep is a tenth below the level: of a lithium-polymer cell 2.97 V under load, of a six-volt servo
# supply 5.4 V (heuristic).
_DEEP = 0.9
# Twice as deep: of such a cell 2.64 V, of such a supply 4.8 V. Plainly below: beyond what a sensor
# and a level taken from common practice may be off (heuristic).
_DEEPEST, _SHORT = 0.8, 0.97
# A pack's way out and back is read this long before and after (heuristic).
_ROUND_S = 2.0

# Deep for so long with nothing to carry, s, between times at its level, is no switch but a fault
# (heuristic: a unit that is switched off and on passes through that within some seconds).
_LASTS_S = 10.0

_Spans = list[tuple[float, float]]


def low_supplies(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    outs: Sequence[PackOut],
    floors_v: Mapping[str, float],
) -> tuple[LowSupply, ...]:
    """The places that lay below their level under load, with for how long and how deep.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
        Under load: flights, stirs and redundancy checks. A supply that breaks down stops the
        servos, which then look like no load: where it lay deep for long without, that counts too.
    outs : sequence of PackOut
        The time a pack was out is left out at that pack, and at all places where a voltage says
        that it was dead or open: that is told of the pack.
    floors_v : mapping
        Floors under load of packs, V.

    Returns
    -------
    tuple of LowSupply
    """
    levels_v = low_levels(readings, aircraft, floors_v)
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in LOADED_PHASES]
    out = []
    for r in readings.of(Quantity.VOLTAGE):
        if r.place not in levels_v:
            continue
        gone = [
            (o.start_s - _ROUND_S, o.end_s + _ROUND_S)
            for o in outs
            if o.place == r.place or o.sign in (OutSign.DEAD, OutSign.OPEN)
        ]
        if aircraft.kind(r.place) is PlaceKind.PACK:
            gone += _switched_off(r, aircraft, phases)
        apart = merge(sorted(gone), 0.0)
        judged = loaded
        if r.place not in floors_v:
            fallen = _fallen(r, levels_v[r.place], r.hold_s(aircraft.limits))
            judged = merge(sorted([*loaded, *fallen]), 0.0)
        spans = [part for a, b in judged for part in complement(apart, a, b)]
        low = _at(readings, r, aircraft, spans, levels_v[r.place], r.place in floors_v)
        if low is not None:
            out.append(low)
    return tuple(out)


def supply_levels(
    readings: Readings, aircraft: Aircraft, floors_v: Mapping[str, float]
) -> tuple[SupplyLevel, ...]:
    """What each place is held against; places of which no level is known are left out."""
    levels_v = low_levels(readings, aircraft, floors_v)
    return tuple(
        SupplyLevel(place=place, level_v=level_v, is_floor=place in floors_v)
        for place, level_v in levels_v.items()
    )


def _at(
    readings: Readings,
    r: Reading,
    aircraft: Aircraft,
    loaded: _Spans,
    level_v: float,
    is_floor: bool,
) -> LowSupply | None:
    held = minimum_series(readings, r)
    inside = ~outside(held.t, loaded)
    if not inside.any() or float(held.v[inside].min()) >= level_v:
        return None
    t, v = held.t[inside], held.v[inside]
    # A reading at the restart level is a supply lost, or its telemetry: told by itself.
    is_pack = aircraft.kind(r.place) is PlaceKind.PACK
    dead_v = NO_SUPPLY_V if is_pack else aircraft.restart_v(r.place)
    low = (r.v > dead_v) & (r.v < level_v)
    hold_s = r.hold_s(aircraft.limits)
    step_s = np.minimum(np.diff(r.t, append=readings.end_s), hold_s)
    short_vs = float(((level_v - r.v) * step_s)[low & ~outside(r.t, loaded)].sum())

    def at_most(part: float) -> tuple[float, int]:
        """Time and readings at or below a part of the level, with a supply still there."""
        mask = low & (r.v <= part * level_v)
        spans = _within(mask_to_spans(r.t, mask, hold_s=hold_s), loaded)
        return _length(spans), int((mask & ~outside(r.t, loaded)).sum())

    deep, deepest = at_most(_DEEP), at_most(_DEEPEST)
    loaded_s = _length(_within(mask_to_spans(r.t, r.v > -np.inf, hold_s=hold_s), loaded))
    below = _within(mask_to_spans(r.t, r.v < level_v, hold_s=hold_s), loaded)
    return LowSupply(
        place=r.place,
        level_v=level_v,
        is_floor=is_floor,
        lowest_v=float(v.min()),
        lowest_s=float(t[np.argmin(v)]),
        loaded_s=loaded_s,
        below_s=_length(below),
        longest_s=max((b - a for a, b in below), default=0.0),
        times=len(below),
        short_v=short_vs / loaded_s if loaded_s > 0 else 0.0,
        deep_v=_DEEP * level_v,
        deep_s=deep[0],
        deep_readings=deep[1],
        short_s=at_most(_SHORT)[0],
        deepest_s=deepest[0],
        deepest_readings=deepest[1],
    )


def _fallen(r: Reading, level_v: float, hold_s: float) -> _Spans:
    """When a supply lay deep for long, and was at its level before and after."""
    held = r.t[r.v >= level_v]
    if held.size == 0:
        return []
    deep = mask_to_spans(r.t, (r.v > NO_SUPPLY_V) & (r.v <= _DEEP * level_v), hold_s=hold_s)
    spans = longer(merge(deep, _ROUND_S), _LASTS_S)
    return [(a, b) for a, b in spans if held[0] < a and b <= held[-1]]


def _switched_off(r: Reading, aircraft: Aircraft, phases: Sequence[Phase]) -> _Spans:
    """When a redundancy check had this pack off: the check wants it so."""
    checks = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.REDUNDANCY_CHECK]
    off = mask_to_spans(r.t, r.v <= NO_SUPPLY_V, hold_s=r.hold_s(aircraft.limits))
    return [(a - _ROUND_S, b + _ROUND_S) for a, b in _within(off, checks)]


def _within(spans: _Spans, loaded: _Spans) -> _Spans:
    """The parts of spans that lie in the loaded ones, in time order."""
    return [
        (max(a, c), min(b, d)) for a, b in spans for c, d in loaded if overlap_s((a, b), (c, d)) > 0
    ]


def _length(spans: _Spans) -> float:
    return sum(b - a for a, b in spans)
