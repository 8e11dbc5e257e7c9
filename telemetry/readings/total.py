"""The current of the whole, and means of readings over blocks of time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.results.readings import Reading, Readings


class Total(NamedTuple):
    """The current of the whole: instants [s], currents [A], interval [s], places it is the sum of.

    One place where a sensor reads the whole, or where there is but one.
    """

    t: FloatArray
    v: FloatArray
    update_s: float
    places: tuple[str, ...]

    @property
    def is_sum(self) -> bool:
        """Whether the currents of several places were added up."""
        return len(self.places) > 1


def block_means(t: FloatArray, v: FloatArray, edges: FloatArray) -> FloatArray:
    """Mean of the readings in each block between edges; NaN where a block has none."""
    at = np.searchsorted(t, edges)
    sums = np.r_[0.0, np.cumsum(v)]
    count = np.diff(at)
    total = np.diff(sums[at])
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def part_standing(r: Reading, starts: FloatArray, block_s: float) -> float:
    """Part of the blocks in which a value stands still: their mean is anywhere in its step."""
    first, end = (np.searchsorted(r.t, starts + x) for x in (0.0, block_s))
    turns = np.concatenate(([0], np.cumsum(np.diff(r.v) != 0), [0]))
    return float(np.mean(turns[np.maximum(end - 1, first)] == turns[first]))


def total_current(readings: Readings, aircraft: Aircraft) -> Total | None:
    """The current of the whole: bus, else packs added up, else nodes, else the only one there is.

    None where the log has no current.
    """
    if aircraft.bus is not None:
        r = readings.get(Quantity.CURRENT, aircraft.bus)
        if r is not None and r.size:
            return Total(r.t, r.v, r.update_s or readings.row_s, (aircraft.bus,))
    packs = [readings.get(Quantity.CURRENT, p.name) for p in aircraft.packs]
    nodes = [readings.get(Quantity.CURRENT, n.name) for n in aircraft.nodes]
    single = readings.of(Quantity.CURRENT)
    for group in (packs, nodes, single[:1]):
        known = [r for r in group if r is not None and r.size]
        if known:
            return _summed(known, readings.row_s)
    return None


def _summed(parts: list[Reading], row_s: float) -> Total:
    places = tuple(r.place for r in parts)
    update_s = max(r.update_s or row_s for r in parts)
    if len(parts) == 1:
        return Total(parts[0].t, parts[0].v, update_s, places)
    t = np.unique(np.concatenate([r.t for r in parts]))
    v = np.zeros(t.size)
    for r in parts:
        v = v + sampling.held_at(r.t, r.v, t, max(3.0 * (r.update_s or row_s), 1.0))
    known = np.isfinite(v)
    return Total(t[known], v[known], update_s, places)
