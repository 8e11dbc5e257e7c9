"""What one node draws that no movement made: it hides what the aircraft was doing."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.statistics.windows import row_quantiles
from telemetry.readings import Readings

_FEW_READINGS = 20
# What counts as steady, s, how much more than the busiest other node one may draw so, and the least
# that counts of the other, A (heuristic).
_STEADY_S, _BESIDE, _FAINT_A = 10.0, 1.5, 0.04
# A node that never rests swings by so much, A, and so many times as much as the others (heuristic).
_RESTLESS_A, _RESTLESS = 0.1, 4.0


def node_currents(
    readings: Readings, aircraft: Aircraft, grid: FloatArray, age_s: float
) -> dict[str, FloatArray]:
    """Current of each node below the root on a grid, A; NaN where none is known."""
    return {
        r.place: sampling.held_at(r.t, r.v, grid, age_s)
        for r in readings.of(Quantity.CURRENT)
        if r.size >= _FEW_READINGS
        and r.place != aircraft.root
        and aircraft.kind(r.place) in (PlaceKind.NODE, PlaceKind.RECEIVER)
    }


def steady_at_one(nodes: Mapping[str, FloatArray], step_s: float) -> FloatArray | float:
    """What one node draws steadily over its rest while no other does anything of it, A.

    A servo that binds, stalls or works against another raises the current without a movement: of
    the rise of a node's lower readings, half as much again as the busiest other's counts.
    """
    width = round(_STEADY_S / step_s)
    if len(nodes) < 2 or next(iter(nodes.values())).size < 2 * width:
        return 0.0
    lower, middle = [], []
    for current in nodes.values():
        known = np.isfinite(current)
        x = np.where(known, current, float(np.median(current[known])) if known.any() else 0.0)
        padded = np.pad(x, (width // 2, width - 1 - width // 2), mode="edge")
        view = np.lib.stride_tricks.sliding_window_view(padded, width)
        low, mid = row_quantiles(view, 0.2), row_quantiles(view, 0.5)
        rest = float(np.quantile(low, 0.05))
        lower.append(low - rest)
        middle.append(np.maximum(mid - rest, _FAINT_A))
    out = np.zeros(lower[0].size)
    for k, low in enumerate(lower):
        beside = np.max([m for j, m in enumerate(middle) if j != k], axis=0)
        out += np.maximum(low - _BESIDE * beside, 0.0)
    return out


def without_restless(nodes: Mapping[str, FloatArray], step_s: float) -> FloatArray | None:
    """Current of the other nodes together, where one swings even when they rest; else None."""
    if len(nodes) < 2:
        return None
    width = round(2.0 / step_s)
    calmest = {}
    for place, current in nodes.items():
        view = np.lib.stride_tricks.sliding_window_view(current, width)
        swings = np.std(view, axis=1)
        known = swings[np.isfinite(swings)]
        calmest[place] = float(np.quantile(known, 0.05)) if known.size else np.inf
    worst = max(calmest, key=lambda p: calmest[p])
    rest = max(v for p, v in calmest.items() if p != worst)
    if not _RESTLESS_A < calmest[worst] < np.inf or calmest[worst] < _RESTLESS * rest:
        return None
    return np.asarray(np.sum([x for p, x in nodes.items() if p != worst], axis=0))
