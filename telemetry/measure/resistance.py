"""Resistances of a flight: sources (packs, bus), branches (leads and contacts), apparent ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.aircraft.wire import branch_mohm
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.intervals import likeness
from telemetry.numerics.linear import least_squares
from telemetry.numerics.resistance.fitting import LEAST, Fit
from telemetry.numerics.resistance.regression import (
    branch_resistance,
    source_resistance,
)
from telemetry.numerics.resistance.signals import Sensed
from telemetry.numerics.sampling import outside
from telemetry.readings import Reading, Readings, Total, block_means, total_current
from telemetry.results import PackOut, Phase, PhaseKind, Resistance

# Blocks over which it is judged whether a bus follows its pack (heuristic: longer than a move).
_BLOCK_S = 5.0
_LEAST_BLOCKS = 12
# Means of one and the same value differ by rounding, far below any sensor's step.
_ROUNDING = 1e-9
# At the lightest fifth of the load a sound lead takes no more than so many Ohm of it (heuristic: a
# panel lead of a large model has 20 to 70 mOhm); blocks, s and readings, and how many of them.
_LIGHT, _MOST_OHM, _LIGHT_S, _READINGS, _FEW_BLOCKS = 0.2, 0.1, 3.0, 3.0, 5
# A pack that lies below the bus by so many V and gives less than this part of its high current is
# held off by a diode, for blocks of so many s: no path shows then (heuristic).
_HELD_V, _NOTHING, _HELD_S = 0.02, 0.05, 2.0
# After a pack was off, its voltage needs this long to settle (heuristic).
_SETTLE_S = 2.0


def measure_resistances(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    outs: Sequence[PackOut],
) -> tuple[Resistance, ...]:
    """All resistances that the readings of one flight may tell, refusals with their reason.

    Source: each pack against its own current (of a single pack: against the total), the bus
    against the total. Branch: parent minus place against the place's own current; for the bus
    against each pack the current of that pack. Apparent: where the own current is missing, against
    the total.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out.
    outs : sequence of PackOut
        So is whatever else switched a pack off.

    Returns
    -------
    tuple of Resistance
        Packs, bus, nodes, others, in this order.
    """
    calm = _Sensors.of(undisturbed(readings, phases, outs), aircraft)
    out: list[Resistance] = []
    for pack in aircraft.packs:
        volts, own = calm.volts.get(pack.name), calm.amps.get(pack.name)
        if volts is None:
            continue
        if own is not None:
            out.append(_source(volts, own, aircraft))
        elif calm.total is not None:
            kind = "source" if len(aircraft.packs) == 1 else "apparent"
            out.append(_source(volts, calm.total, aircraft, kind=kind))
    root = aircraft.bus or aircraft.regulator or ""
    if root in calm.volts:
        out += _bus(calm.volts[root], calm, aircraft)
    for node in aircraft.nodes:
        if node.name in calm.volts and node.name != root:
            out += _node(calm.volts[node.name], calm, aircraft)
    known = {root, *(p.name for p in aircraft.packs), *(n.name for n in aircraft.nodes)}
    for place, volts in calm.volts.items():
        if place not in known and place in calm.amps:
            out.append(_source(volts, calm.amps[place], aircraft))
    return tuple(out)


class _Volts(NamedTuple):
    """A voltage as it was read, and as the fits take it."""

    reading: Reading
    sensed: Sensed


class _Flow(NamedTuple):
    """A current, of one place or a sum, and as the fits take it."""

    total: Total
    sensed: Sensed


@dataclass(frozen=True, slots=True)
class _Sensors:
    """Voltage and current of each place, and the current of the whole."""

    readings: Readings
    volts: dict[str, _Volts]
    amps: dict[str, _Flow]
    total: _Flow | None

    @classmethod
    def of(cls, readings: Readings, aircraft: Aircraft) -> _Sensors:
        amps = {
            r.place: _Flow(Total(r.t, r.v, r.update_s or 0.0, (r.place,)), _sensed(r))
            for r in readings.of(Quantity.CURRENT)
        }
        total = total_current(readings, aircraft)
        whole = None
        if total is not None and total.is_sum:
            # Its resolution is the coarsest of its parts.
            step = max(amps[p].sensed.step for p in total.places)
            whole = _Flow(total, Sensed(total.t, total.v, step))
        elif total is not None:
            whole = _Flow(total, amps[total.places[0]].sensed)
        volts = {r.place: _Volts(r, _sensed(r)) for r in readings.of(Quantity.VOLTAGE)}
        return cls(readings, volts, amps, whole)


def _sensed(r: Reading) -> Sensed:
    return Sensed(r.t, r.v, r.resolution)


def undisturbed(readings: Readings, phases: Sequence[Phase], outs: Sequence[PackOut]) -> Readings:
    """Readings without the stretches in which packs were switched or gave nothing."""
    spans = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.REDUNDANCY_CHECK]
    spans += [(o.start_s, o.end_s) for o in outs]
    if not spans:
        return readings
    cut = [(a - _SETTLE_S, b + _SETTLE_S) for a, b in sorted(spans)]
    channels = []
    for r in readings.channels:
        keep = outside(r.t, cut)
        channels.append(r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep]))
    return replace(readings, channels=tuple(channels))


def _source(volts: _Volts, flow: _Flow, aircraft: Aircraft, *, kind: str = "source") -> Resistance:
    fit = source_resistance(volts.sensed, flow.sensed, max_gap_s=aircraft.limits.gap_s)
    return resistance_record(fit, kind, volts.reading.place, flow.total)


def _bus(bus: _Volts, calm: _Sensors, aircraft: Aircraft) -> list[Resistance]:
    """The bus against the total, and its branch from each pack with a current of its own."""
    place, total = bus.reading.place, calm.total
    packs = [calm.volts[p.name] for p in aircraft.packs if p.name in calm.volts]
    held = is_regulated(
        bus.reading,
        [p.reading for p in packs],
        None if total is None else total.total,
        aircraft,
    )
    out = []
    if total is not None:
        if held:
            out.append(_held("source", place))
        else:
            made = _source(bus, total, aircraft)
            told = "" if held is False else "; whether a regulator holds the bus cannot be told"
            out.append(replace(made, method=made.method + told, regulated=held))
    for pack in packs:
        flow = calm.amps.get(pack.reading.place, total if len(packs) == 1 else None)
        if flow is None:
            continue
        if held:
            out.append(_held("branch", place, parent=pack.reading.place))
        else:
            made = _branch(_while_it_gives(pack, bus.reading, flow.total), bus, flow, aircraft)
            out.append(replace(made, regulated=held))
    return out


def _while_it_gives(volts: _Volts, bus: Reading, flow: Total) -> _Volts:
    """A pack's voltage without the stretches in which a diode held it off."""
    pack = volts.reading
    if not (pack.size and bus.size and flow.t.size):
        return volts
    edges = np.arange(pack.t[0], pack.t[-1] + _HELD_S, _HELD_S)
    drop, amps = _stacked([(pack.t, pack.v), (flow.t, flow.v)], edges)
    drop = drop - block_means(bus.t, bus.v, edges)
    off = (amps < _NOTHING * float(np.quantile(flow.v, 0.95))) & (drop < -_HELD_V)
    if not off.any():
        return volts
    starts = edges[:-1][off]
    keep = outside(pack.t, [(float(a) - _SETTLE_S, float(a) + _HELD_S + _SETTLE_S) for a in starts])
    # One that gave nothing at all is judged elsewhere.
    if keep.sum() < LEAST:
        return volts
    gave = replace(pack, t=pack.t[keep], v=pack.v[keep])
    return _Volts(gave, _sensed(gave))


def is_regulated(
    bus: Reading, packs: Sequence[Reading], total: Total | None, aircraft: Aircraft
) -> bool | None:
    """Whether a regulator holds the bus, told by whether the bus follows its packs.

    Of the packs' slow fall (block means, the load taken out by regression) a bus behind switches
    or diodes shows all, a regulated one nothing; one in drop-out follows again.

    Returns
    -------
    bool or None
        None where the packs' voltage is not logged or hardly fell.
    """
    packs = [p for p in packs if p.size]
    if not packs or total is None or not bus.size:
        return True if aircraft.regulated_v is not None and not packs else None
    start, end = max(r.t[0] for r in (bus, *packs)), min(r.t[-1] for r in (bus, *packs))
    edges = np.arange(start, end, _BLOCK_S)
    above = np.fmax.reduce(_stacked([(p.t, p.v) for p in packs], edges), axis=0)
    below, load = _stacked([(bus.t, bus.v), (total.t, total.v)], edges)
    known = np.isfinite(above) & np.isfinite(below) & np.isfinite(load)
    if known.sum() <= _LEAST_BLOCKS or np.ptp(above[known]) < _ROUNDING:
        return None
    load = load[known]
    columns = [np.ones(load.size), above[known]]
    if np.ptp(load) > _ROUNDING:
        columns.append(load)
    fit = least_squares(np.stack(columns, axis=1), below[known])
    follows, error = float(fit.coef[1]), 3.0 * float(fit.se[1])
    if follows + error < 0.5:
        return True
    return False if follows - error > 0.5 else None


def _stacked(series: list[tuple[FloatArray, FloatArray]], edges: FloatArray) -> FloatArray:
    return np.vstack([block_means(t, v, edges) for t, v in series])


def _node(volts: _Volts, calm: _Sensors, aircraft: Aircraft) -> list[Resistance]:
    place = volts.reading.place
    parent = parent_reading(place, calm.readings, aircraft)
    flow = calm.amps.get(place, calm.total)
    if flow is None:
        return []
    if parent is None:
        return [_source(volts, flow, aircraft, kind="apparent")]
    return [_branch(calm.volts[parent.place], volts, flow, aircraft)]


def parent_reading(place: str, readings: Readings, aircraft: Aircraft) -> Reading | None:
    """The voltage of the nearest place above that has one, where the way up is single."""
    above = aircraft.parent(place)
    while above is not None:
        found = readings.get(Quantity.VOLTAGE, above)
        if found is not None:
            return found
        above = aircraft.parent(above)
    return None


def _branch(parent: _Volts, place: _Volts, flow: _Flow, aircraft: Aircraft) -> Resistance:
    above, name = parent.reading.place, place.reading.place
    through = flow.total.places == (name,) or name == (aircraft.bus or aircraft.regulator)
    fit = branch_resistance(
        parent.sensed, place.sensed, flow.sensed, max_gap_s=aircraft.limits.gap_s
    )
    record = resistance_record(fit, "branch" if through else "apparent", name, flow.total)
    expected = branch_mohm(aircraft, name, above)
    offset = [None if v is None else -v for v in (fit.level_v, fit.level_high_v, fit.level_low_v)]
    if fit.level_v is None:
        offset = [*(_light_offset(parent.reading, place.reading, flow.total) or offset)]
    return replace(
        record,
        parent=above,
        offset_v=offset[0],
        offset_low_v=offset[1],
        offset_high_v=offset[2],
        expected_mohm=None if expected is None else expected.value,
        expected_low_mohm=None if expected is None else expected.low,
        expected_high_mohm=None if expected is None else expected.high,
    )


def _light_offset(
    parent: Reading, place: Reading, flow: Total
) -> tuple[float, float, float] | None:
    """Drop at no load and its 95 % interval, V, where no resistance is known to carry it there.

    What the lightest load takes at the most is the interval.
    """
    if not min(parent.t.size, place.t.size, flow.t.size):
        return None
    slowest = max(flow.update_s, *(r.update_s or 0.0 for r in (parent, place)))
    start, end = max(parent.t[0], place.t[0], flow.t[0]), min(parent.t[-1], place.t[-1])
    edges = np.arange(start, end, max(_LIGHT_S, _READINGS * slowest))
    if edges.size < 2:
        return None
    up, down, amps = _stacked([(parent.t, parent.v), (place.t, place.v), (flow.t, flow.v)], edges)
    drop = up - down
    known = np.isfinite(drop) & np.isfinite(amps)
    if known.sum() < _FEW_BLOCKS / _LIGHT:
        return None
    light = known & (amps <= np.quantile(amps[known], _LIGHT))
    mean, n = float(drop[light].mean()), int(light.sum())
    steps = [parent.resolution or 0.0, place.resolution or 0.0]
    scatter = float(drop[light].std(ddof=1)) * np.sqrt(likeness(drop[light] - mean) / n)
    error = 2.0 * float(np.linalg.norm([scatter, *(0.3 * s for s in steps)]))
    taken = _MOST_OHM * max(float(amps[light].mean()), 0.0)
    return mean - 0.5 * taken, mean - taken - error, mean + error


def resistance_record(fit: Fit, kind: str, place: str, flow: Total) -> Resistance:
    """The record of a fit, mOhm, with what was left out of it."""
    named = "the packs or nodes together" if flow.is_sum else flow.places[0]
    without = ""
    if fit.left_out:
        lasted = sum(b - a for a, b in fit.left_out)
        without = f"without {lasted:.1f} s in which the voltage fell too far for the current"
    return Resistance(
        kind=kind,
        place=place,
        mohm=_mohm(fit.ohm),
        low_mohm=_mohm(fit.low_ohm),
        high_mohm=_mohm(fit.high_ohm),
        updates=fit.updates,
        scale_s=fit.scale_s,
        method=", ".join(x for x in (fit.method, f"against the current of {named}", without) if x),
        refused=fit.refused,
        left_out=fit.left_out,
    )


def _held(kind: str, place: str, parent: str | None = None) -> Resistance:
    """The resistance of a bus that a regulator holds: there is none to fit."""
    return Resistance(
        kind=kind,
        place=place,
        parent=parent,
        mohm=None,
        low_mohm=None,
        high_mohm=None,
        updates=0,
        refused="a regulator holds this voltage: its fall with the current is the regulator's own, "
        "not a resistance of packs and leads",
        regulated=True,
    )


def _mohm(ohm: float | None) -> float | None:
    return None if ohm is None else 1000.0 * ohm
