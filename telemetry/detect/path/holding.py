"""A held supply that falls while its packs hold: a regulator in its limit, too hot, or let down."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.path.giving_way import most_by_load
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at, outside
from telemetry.numerics.spans import mask_to_spans, merge
from telemetry.numerics.statistics.held import BoolArray, HeldLevel, held_level
from telemetry.numerics.statistics.windows import windows
from telemetry.readings import Reading, Readings, Total, source_voltages, total_current
from telemetry.results import (
    LOADED_PHASES,
    Droop,
    DroopKind,
    PackOut,
    Phase,
    PhaseKind,
)

#: A fall counts from so many V and this part of the held voltage, in so many readings (heuristic).
_LEAST_V, _LEAST_PART, _FEW = 0.25, 0.04, 4
#: At light load a held voltage keeps within this, V, or within two steps; its packs may move more.
#: Packs lie so far above it that something must hold it (heuristic).
_STEADY_V, _ABOVE_V = 0.06, 0.25
#: The packs held where they stand so much further above the bus than at light load (heuristic).
_HELD_V = 0.3
#: A regulator needs so many V above what it holds at most; packs further above have not let it
#: down (from memory: linear parts need up to about a volt). A way has no less drop than none, but
#: for what its sensors differ, V.
_DROPS_OUT_V, _SENSORS_V = 1.2, 0.1
#: Blocks, s and readings, by their medians: load moves packs and bus together.
_BLOCK_S, _READINGS = 2.0, 3.0
#: A level is held, and left, by this F, and where its packs would let so much more through, V and
#: steps: bus and pack round by half a step each, at the level and below it (heuristic: 75 the most
#: F of a hundred supplies without a regulator).
_SUP_F, _SPARE_V, _SPARE_STEPS = 100.0, 0.03, 2.0
#: More than the total by so many A and by this part of it is no error of sensors (heuristic).
_BEYOND_A, _BEYOND = 0.3, 0.2
#: What a median of some readings may be off besides their swing and their step, V (heuristic).
_FLOOR_V, _SETTLE_S = 0.004, 2.0
#: Currents of the falls within this part of one another, which hardly anything in the log exceeds,
#: are a limit; a regulator is hot from here, degC (heuristic; from memory: parts give way between
#: 100 and 150).
_LEVEL_PART, _EXCEEDED, HOT_C = 0.12, 1.1, 85.0
_OLDEST_S, _LIGHT = 5.0, 0.5


def find_droops(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], outs: Sequence[PackOut] = ()
) -> tuple[Droop, ...]:
    """How the held supply fell under load, where it did.

    A regulator that drops out holds its level while its packs are high enough, and follows them
    below: bus against packs has a kink. Else what the bus holds is its level at light load, and it
    gave way where it fell further than load makes it while the packs held.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out.
    outs : sequence of PackOut
        So is whatever else switched a pack off.

    Returns
    -------
    tuple of Droop
        One or none. None too where no pack's voltage or no current is logged, or nothing holds the
        bus above its packs' own movement.
    """
    root = aircraft.root
    bus = None if root is None else readings.get(Quantity.VOLTAGE, root)
    total = total_current(readings, aircraft)
    packs = [r for r in source_voltages(readings, aircraft) if r.place != root]
    if root is None or bus is None or total is None or not packs or not total.t.size:
        return ()
    pack_v = np.fmax.reduce([held_at(r.t, r.v, bus.t, _OLDEST_S) for r in packs])
    amps = held_at(total.t, total.v, bus.t, _OLDEST_S)
    known = np.isfinite(pack_v) & np.isfinite(amps)
    if known.sum() < 10 * _FEW:
        return ()
    under_load = known & ~outside(bus.t, _spans(phases, LOADED_PHASES))
    away = [*_spans(phases, (PhaseKind.REDUNDANCY_CHECK,)), *((o.start_s, o.end_s) for o in outs)]
    found = _dropped_out(readings, bus, packs, total, away, pack_v, amps)
    dropped_out = found is not None and int((found[1] & under_load).sum()) >= _FEW
    if not dropped_out:
        found = _gave_way(bus, total, pack_v, amps, known)
    if found is None:
        return ()
    held_v, fell = found[0], found[1] & under_load
    if fell.sum() < _FEW:
        return ()
    warm = _warmth(readings, aircraft, bus.t, fell)
    kind = DroopKind.DROP_OUT if dropped_out else _kind(amps, fell, warm, known)
    hold_s = bus.hold_s(aircraft.limits)
    spans = merge(mask_to_spans(bus.t, fell, hold_s=hold_s), 1.0)
    at = int(np.argmin(np.where(fell, bus.v, np.inf)))
    return (
        Droop(
            place=root,
            start_s=float(spans[0][0]),
            end_s=float(spans[-1][1]),
            kind=kind,
            held_v=held_v,
            lowest_v=float(bus.v[at]),
            lowest_s=float(bus.t[at]),
            pack_v=float(pack_v[at]),
            times=len(spans),
            readings=int(fell.sum()),
            current_a=float(np.median(amps[fell])),
            temperature_c=warm,
        ),
    )


def _least(held_v: float) -> float:
    return max(_LEAST_V, _LEAST_PART * held_v)


def _spans(phases: Sequence[Phase], kinds: Collection[PhaseKind]) -> list[tuple[float, float]]:
    return [(p.start_s, p.end_s) for p in phases if p.kind in kinds]


def _gave_way(
    bus: Reading, total: Total, pack_v: FloatArray, amps: FloatArray, known: BoolArray
) -> tuple[float, BoolArray] | None:
    """What is held at light load, and where it fell further than load makes it; packs held."""
    light = known & (amps <= np.quantile(amps[known], _LIGHT))
    held_v = float(np.quantile(bus.v[light], 0.75))
    room_v = float(np.median((pack_v - bus.v)[light]))
    spread = float(np.subtract(*np.quantile(bus.v[light], [0.9, 0.4])))
    if room_v < _ABOVE_V or spread > max(_STEADY_V, 2 * (bus.resolution or 0.0)):
        return None
    most = most_by_load((bus.t, bus.v), (total.t, total.v))
    if most is None:
        return None
    fell = bus.v < held_v - max(_least(held_v), most)
    return held_v, fell & (pack_v - bus.v > room_v + _HELD_V)


def _dropped_out(
    readings: Readings,
    bus: Reading,
    packs: Sequence[Reading],
    total: Total,
    away: Sequence[tuple[float, float]],
    pack_v: FloatArray,
    amps: FloatArray,
) -> tuple[float, BoolArray] | None:
    """What is held while the packs are high enough, and where it fell as they were not."""
    left = _left_level(readings, bus, packs, total, away)
    if left is None:
        return None
    through = pack_v - left.drop_v - left.ohm * amps
    fell = (bus.v < left.level_v - _least(left.level_v)) & (through < left.level_v)
    return left.level_v, fell


def _left_level(
    readings: Readings,
    bus: Reading,
    packs: Sequence[Reading],
    total: Total,
    away: Sequence[tuple[float, float]],
) -> HeldLevel | None:
    """The level that the bus holds and leaves with its packs; None where it does not."""
    slowest = max(total.update_s, *(r.update_s or 0.0 for r in (bus, *packs)))
    end = min(bus.t[-1], total.t[-1])
    edges = np.arange(bus.t[0], end, max(_BLOCK_S, _READINGS * slowest))
    if edges.size < 2:
        return None
    out_v, swing = _middle(bus.t, bus.v, edges)
    amps, _ = _middle(total.t, total.v, edges)
    source_v = np.fmax.reduce([_middle(r.t, r.v, edges)[0] for r in packs])
    step_v = max(r.resolution or 0.0 for r in (bus, *packs))
    cut = [(a - _SETTLE_S, b + _SETTLE_S) for a, b in away]
    keep = np.isfinite(out_v) & np.isfinite(amps) & np.isfinite(source_v)
    keep &= outside(edges[:-1], cut)
    # What one pack gives beyond the total charges another, and the total tells nothing of its way.
    for r in (readings.get(Quantity.CURRENT, p.place) for p in packs):
        if r is not None and r.size:
            own, _ = _middle(r.t, r.v, edges)
            keep &= ~(own > amps + np.maximum(_BEYOND_A, _BEYOND * amps))
    noise_v = np.sqrt(_FLOOR_V**2 + step_v**2 / 12 + (swing[keep] / 4) ** 2)
    found = held_level(source_v[keep], out_v[keep], amps[keep], noise_v)
    if found is None or found.gain < _SUP_F:
        return None
    if found.spare_v < max(_SPARE_V, _SPARE_STEPS * step_v) or found.drop_v < -_SENSORS_V:
        return None
    below = (source_v - out_v)[keep][~found.held]
    return found if float(np.median(below)) < _DROPS_OUT_V else None


def _middle(t: FloatArray, v: FloatArray, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Median and range of the readings in each block; NaN where it has none."""
    at = np.searchsorted(t, edges)
    middle, swing = np.full((2, edges.size - 1), np.nan)
    for blocks, values in windows(v, at[:-1], at[1:]):
        middle[blocks], swing[blocks] = np.median(values, axis=1), np.ptp(values, axis=1)
    return middle, swing


def _kind(amps: FloatArray, fell: FloatArray, warm: float | None, known: FloatArray) -> DroopKind:
    if warm is not None and warm >= HOT_C:
        return DroopKind.HOT
    low, middle, high = np.quantile(amps[fell], [0.2, 0.5, 0.9])
    highest = float(np.quantile(amps[known], 0.995))
    level = high - low <= _LEVEL_PART * middle and highest <= _EXCEEDED * high
    return DroopKind.LIMIT if level else DroopKind.UNKNOWN


def _warmth(
    readings: Readings, aircraft: Aircraft, t: FloatArray, fell: FloatArray
) -> float | None:
    """Highest temperature of the regulator, or of the bus, when the voltage was low, degC."""
    found = [
        r
        for r in readings.of(Quantity.TEMPERATURE)
        if r.size and (r.place == aircraft.root or aircraft.kind(r.place) is PlaceKind.REGULATOR)
    ]
    highs = [held_at(r.t, r.v, t[fell], 60.0) for r in found]
    known = np.concatenate(highs) if highs else np.zeros(0)
    known = known[np.isfinite(known)]
    return float(known.max()) if known.size else None
