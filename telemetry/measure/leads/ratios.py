"""Drops of two mirrored leads, by means over blocks of seconds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.resistance import parent_reading
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import outside
from telemetry.numerics.statistics.lines import line_slope
from telemetry.numerics.stretches import together
from telemetry.readings import Reading, Readings, Total, block_means, part_standing, total_current
from telemetry.results import DropRatio, Phase, PhaseKind

#: Blocks, s, and how many of them; readings in each, by own currents and by that of the whole, of
#: which both miss the same.
_BLOCK_S, _LEAST, _READINGS, _READINGS_WHOLE = 3.0, 24, 5, 3
#: Standard errors of the lowest ratio; ratios tried down from the likeliest (heuristic).
_ERRORS, _TRIED = 3.0, 200
#: What the means of a drop may be off besides, V; an error anywhere within a step has a variance
#: of step squared / 12.
_FLOOR_V, _UNIFORM = 0.002, 12.0
#: Of the current's own movement the readings may miss at most so much (heuristic).
_MISSED_PART = 0.5


class _Lead(NamedTuple):
    """Resistance [Ohm], what each block adds to its error, the part of the current missed.

    And how far the means of the current moved, standard deviation, A.
    """

    ohm: float
    pull: FloatArray
    missed: float
    moved_a: float


def drop_ratios(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[DropRatio, ...]:
    """For each pair of mirrors how many times the other's resistance one has.

    Each against its own current where both report it, by the slope of block means; else both
    against that of the whole, which cancels. What both voltages err alike does not count: the
    error is that of the two together. The lowest ratio is that which lies so many errors away
    (E. C. Fieller, J. Roy. Statist. Soc. B 16, 1954, from memory).

    Parameters
    ----------
    readings : Readings
        Of one flight.
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out; stirs too where own currents are read apart from voltages.

    Returns
    -------
    tuple of DropRatio
        Of each pair the one with the larger resistance.
    """
    volts = {r.place: r for r in readings.of(Quantity.VOLTAGE)}
    out = []
    for place in volts:
        mirror = aircraft.mirror(place, set(volts))
        above = parent_reading(place, readings, aircraft)
        if mirror is None or above is None or place > mirror:
            continue
        other = parent_reading(mirror, readings, aircraft)
        if other is None or other.place != above.place:
            continue
        found = _ratio(readings, aircraft, phases, above, (volts[place], volts[mirror]))
        out += [] if found is None else [found]
    return tuple(out)


def _ratio(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    above: Reading,
    pair: tuple[Reading, Reading],
) -> DropRatio | None:
    flows = _flows(readings, aircraft, pair)
    if not flows:
        return None
    own = flows[0].places == (pair[0].place,)
    slowest = max([*(r.update_s or 0.0 for r in (above, *pair)), *(f.update_s for f in flows)])
    block_s = max(_BLOCK_S, (_READINGS if own else _READINGS_WHOLE) * slowest)
    if not all(r.size for r in (above, *pair)):
        return None
    start = max(r.t[0] for r in (above, *pair))
    edges = np.arange(start, min(r.t[-1] for r in (above, *pair)), block_s)
    if edges.size <= _LEAST:
        return None
    up = block_means(above.t, above.v, edges)
    drops = [up - block_means(r.t, r.v, edges) for r in pair]
    amps = [block_means(f.t, f.v, edges) for f in flows]
    # In a stir the sticks may go round as the sensors do: their means beat.
    left_out = (PhaseKind.REDUNDANCY_CHECK, *((PhaseKind.STIR,) if own else ()))
    cut = [(p.start_s - block_s, p.end_s) for p in phases if p.kind in left_out]
    keep = np.isfinite([*drops, *amps]).all(axis=0) & outside(edges[:-1], cut)
    if keep.sum() < _LEAST:
        return None
    step_v = max(r.resolution or 0.0 for r in (above, *pair))
    few = max(block_s / max(slowest, 0.05), 1.0)
    leads = []
    for r, drop, mean, flow in zip(pair, drops, amps, flows, strict=True):
        power = block_means(flow.t, flow.v**2, edges) - mean**2
        missed_a = np.sqrt(np.maximum(power[keep], 0.0) / few)
        high_a = float(np.quantile(flow.v, 0.995) - np.quantile(flow.v, 0.05))
        found = _lead(drop[keep], mean[keep], missed_a, step_v)
        if found is not None:
            leads.append((r.place, found, high_a))
    leads.sort(key=lambda x: -x[1].ohm)
    if len(leads) < 2 or leads[1][1].ohm <= 0:
        return None
    (place, high, high_a), (mirror, low, _) = leads
    # Voltages that stand still are anywhere within their steps, for as long as they do.
    starts = edges[:-1][keep]
    open_v = max((r.resolution or 0.0) * part_standing(r, starts, block_s) for r in (above, *pair))
    if (high.ohm - low.ohm) * high.moved_a < open_v:
        return None
    # Against the current of the whole both miss the same.
    missed = low.missed if own else 0.0
    if missed > _MISSED_PART:
        return None
    ratio = high.ohm / low.ohm
    return DropRatio(
        place=place,
        mirror=mirror,
        parent=above.place,
        own=own,
        ratio=ratio,
        low_ratio=_lowest(high, low, missed),
        error=_error(high, low, ratio) / low.ohm,
        mohm=1000.0 * high.ohm,
        mirror_mohm=1000.0 * low.ohm,
        more_v=(high.ohm - low.ohm) * high_a,
        low_more_mohm=1000.0
        * (high.ohm - low.ohm / (1.0 - missed) - _ERRORS * _error(high, low, 1.0 / (1.0 - missed))),
    )


def _flows(
    readings: Readings, aircraft: Aircraft, pair: tuple[Reading, Reading]
) -> tuple[Total, Total] | None:
    """The own current of each of a pair, of the whole for both where neither reports one."""
    own = [readings.get(Quantity.CURRENT, r.place) for r in pair]
    known = [
        Total(r.t, r.v, r.update_s or 0.0, (r.place,)) for r in own if r is not None and r.size
    ]
    if len(known) == 2:
        return known[0], known[1]
    total = total_current(readings, aircraft)
    return None if known or total is None else (total, total)


def _error(high: _Lead, low: _Lead, ratio: float) -> float:
    """Standard error of ``high - ratio * low``, Ohm: with what they err alike."""
    pull = high.pull - ratio * low.pull
    return float(np.sqrt(np.sum(pull**2) * together(pull)))


def _lowest(high: _Lead, low: _Lead, missed: float) -> float:
    """The lowest ratio that these errors leave open; 0 where they leave all."""
    for ratio in np.linspace(high.ohm / low.ohm, 0.0, _TRIED):
        more = high.ohm - ratio * low.ohm / (1.0 - missed)
        if more >= _ERRORS * _error(high, low, ratio / (1.0 - missed)):
            return float(ratio)
    return 0.0


def _lead(drop: FloatArray, amps: FloatArray, missed_a: FloatArray, step_v: float) -> _Lead | None:
    ohm = line_slope(amps, drop)
    if ohm is None:
        return None
    w = 1.0 / (_FLOOR_V**2 + step_v**2 / _UNIFORM + (ohm * missed_a) ** 2)
    z = amps - np.average(amps, weights=w)
    power = float(w @ z**2)
    slope = float(w @ (z * drop)) / power
    left = drop - np.average(drop, weights=w) - slope * z
    return _Lead(
        ohm=slope,
        pull=w * z * left / power,
        missed=float(w @ missed_a**2) / power,
        moved_a=float(np.sqrt(power / w.sum())),
    )
