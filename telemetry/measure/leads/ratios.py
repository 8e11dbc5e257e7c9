"""Drops of two leads that carry alike, where neither node reports its own current."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.resistance import parent_reading
from telemetry.model.channels import Quantity
from telemetry.numerics.stretches import together
from telemetry.readings import Reading, Readings, block_means, total_current
from telemetry.results import DropRatio, Phase, PhaseKind

#: Blocks, s and readings, and how many of them.
_BLOCK_S, _READINGS, _LEAST = 3.0, 5, 24


def drop_ratios(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[DropRatio, ...]:
    """For each pair of mirrors without own currents, how many times the other's drop one takes.

    ``ratio = cov(drop, total) / cov(mirror's drop, total)``: the current of the whole is the
    instrument, so that what both voltages err alike does not count.

    Parameters
    ----------
    readings : Readings
        Of one flight.
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out.

    Returns
    -------
    tuple of DropRatio
        Of each pair the one with the larger drop.
    """
    total = total_current(readings, aircraft)
    if total is None:
        return ()
    volts = {r.place: r for r in readings.of(Quantity.VOLTAGE)}
    out = []
    for place, own in volts.items():
        mirror = aircraft.mirror(place, set(volts))
        above = parent_reading(place, readings, aircraft)
        if mirror is None or above is None or place > mirror:
            continue
        if any(readings.get(Quantity.CURRENT, p) is not None for p in (place, mirror)):
            continue
        other = parent_reading(mirror, readings, aircraft)
        if other is not None and other.place == above.place:
            slowest = max(r.update_s or 0.0 for r in (own, volts[mirror], above))
            block_s = max(_BLOCK_S, _READINGS * max(slowest, total.update_s))
            found = _ratio(above, own, volts[mirror], (total.t, total.v), block_s, phases)
            out += [] if found is None else [found]
    return tuple(out)


def _ratio(
    above: Reading,
    own: Reading,
    mirror: Reading,
    total: tuple[np.ndarray, np.ndarray],
    block_s: float,
    phases: Sequence[Phase],
) -> DropRatio | None:
    start = max(r.t[0] for r in (above, own, mirror))
    edges = np.arange(start, min(r.t[-1] for r in (above, own, mirror)), block_s)
    if edges.size <= _LEAST:
        return None
    up = block_means(above.t, above.v, edges)
    drops = [up - block_means(r.t, r.v, edges) for r in (own, mirror)]
    amps = block_means(*total, edges)
    keep = np.isfinite(drops[0]) & np.isfinite(drops[1]) & np.isfinite(amps)
    for p in phases:
        if p.kind is PhaseKind.REDUNDANCY_CHECK:
            keep &= (edges[1:] < p.start_s) | (edges[:-1] > p.end_s)
    if keep.sum() < _LEAST or np.ptp(amps[keep]) <= 0:
        return None
    z = amps[keep] - amps[keep].mean()
    moved = [float(z @ (d[keep] - d[keep].mean())) for d in drops]
    if min(moved) <= 0:
        return None
    places, series = (own.place, mirror.place), [d[keep] - d[keep].mean() for d in drops]
    if moved[1] > moved[0]:
        moved, places, series = moved[::-1], places[::-1], series[::-1]
    ratio = moved[0] / moved[1]
    left = z * (series[0] - ratio * series[1])
    error = float(np.sqrt(np.sum(left**2) * together(left))) / moved[1]
    power = float(z @ z)
    high_a = float(np.quantile(total[1], 0.995) - np.quantile(total[1], 0.05))
    return DropRatio(
        place=places[0],
        mirror=places[1],
        parent=above.place,
        ratio=ratio,
        error=error,
        mohm=1000.0 * moved[0] / power,
        mirror_mohm=1000.0 * moved[1] / power,
        more_v=(moved[0] - moved[1]) / power * high_a,
    )
