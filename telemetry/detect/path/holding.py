"""A held supply that falls while its packs hold: a regulator in its limit, too hot, or let down."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.path.giving_way import most_by_load
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at, outside
from telemetry.numerics.spans import mask_to_spans, merge
from telemetry.readings import Readings, total_current
from telemetry.results import LOADED_PHASES, Droop, DroopKind, Phase

#: A fall counts from so many V and this part of the held voltage, in so many readings (heuristic).
_LEAST_V, _LEAST_PART, _FEW = 0.25, 0.04, 4
#: At light load a held voltage keeps within this, V, or within two steps; its packs may move more.
#: Packs lie so far above it that something must hold it (heuristic).
_STEADY_V, _ABOVE_V = 0.06, 0.25
#: The packs held where they stand so much further above the bus than at light load; a bus that
#: follows its packs at their usual distance has lost its regulator's room (heuristic).
_HELD_V, _FOLLOWS_V = 0.3, 0.15
#: A regulator needs so many V above what it holds at most; packs further above have not let it
#: down (from memory: linear parts need up to about a volt).
_DROPS_OUT_V = 1.2
#: Currents of the falls within this part of one another, which hardly anything in the log exceeds,
#: are a limit; a regulator is hot from here, degC (heuristic; from memory: parts give way between
#: 100 and 150).
_LEVEL_PART, _EXCEEDED, HOT_C = 0.12, 1.1, 85.0
_OLDEST_S, _LIGHT = 5.0, 0.5


def find_droops(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[Droop, ...]:
    """How the held supply fell under load, where it did.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase

    Returns
    -------
    tuple of Droop
        One or none. None too where no pack's voltage or no current is logged, or nothing holds the
        bus above its packs' own movement.
    """
    root = aircraft.root
    bus = None if root is None else readings.get(Quantity.VOLTAGE, root)
    total = total_current(readings, aircraft)
    packs = [
        r
        for p in aircraft.packs
        if (r := readings.get(Quantity.VOLTAGE, p.name)) is not None and r.size and p.name != root
    ]
    if root is None or bus is None or total is None or not packs or not total.t.size:
        return ()
    pack_v = np.fmax.reduce([held_at(r.t, r.v, bus.t, _OLDEST_S) for r in packs])
    amps = held_at(total.t, total.v, bus.t, _OLDEST_S)
    known = np.isfinite(pack_v) & np.isfinite(amps)
    if known.sum() < 10 * _FEW:
        return ()
    light = known & (amps <= np.quantile(amps[known], _LIGHT))
    held_v = float(np.quantile(bus.v[light], 0.75))
    room_v = float(np.median((pack_v - bus.v)[light]))
    spread = float(np.subtract(*np.quantile(bus.v[light], [0.9, 0.4])))
    if room_v < _ABOVE_V or spread > max(_STEADY_V, 2 * (bus.resolution or 0.0)):
        return ()
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in LOADED_PHASES]
    low = known & ~outside(bus.t, loaded)
    low &= bus.v < held_v - max(_LEAST_V, _LEAST_PART * held_v)
    above = pack_v - bus.v
    holding = low & (above > room_v + _HELD_V)
    most = most_by_load((bus.t, bus.v), (total.t, total.v))
    beyond = holding & (held_v - bus.v > (np.inf if most is None else most))
    following = low & (above < min(room_v + _FOLLOWS_V, _DROPS_OUT_V))
    if beyond.sum() >= _FEW:
        fell = beyond
    elif following.sum() >= _FEW and _follows(pack_v[low], bus.v[low]):
        fell = following
    else:
        return ()
    warm = _warmth(readings, aircraft, bus.t, fell)
    kind = DroopKind.DROP_OUT if fell is following else _kind(amps, fell, warm, known)
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


def _follows(pack_v: FloatArray, bus_v: FloatArray) -> bool:
    """Whether the bus moves with its packs: its distance to them varies less than it does."""
    return float(np.std(pack_v - bus_v)) < 0.7 * float(np.std(bus_v)) or bus_v.size < 2 * _FEW


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
