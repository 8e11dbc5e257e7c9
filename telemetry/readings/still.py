"""Where on the ground nothing is commanded and nothing moves: there a current is one at rest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.spans import longer, mask_to_spans
from telemetry.results.readings import Reading, Readings

BoolArray = NDArray[np.bool_]
Span = tuple[float, float]

_GRID_S = 0.25
#: Over so long a stillness is judged, s, and over so many readings; it lasts so long at the least,
#: s (heuristic).
_OVER_S, _OVER, _LEAST_S = 2.0, 5, 1.5
#: A control that moves by this part of its travel, or stands so far from where it usually rests,
#: is commanded; so many of them tell it for all (heuristic: trims and a hand on the stick).
_MOVES, _AWAY, _TELL = 0.03, 0.15, 2
_FEW = 20
#: Scatter of a current that moves: over its calmest on the ground, A, over its mean there, steps
#: (heuristic: what holds still against something swings by some per cent).
_TIMES, _SCATTER_A, _PART, _STEP = 3.0, 0.03, 0.06, 0.55
_CALMEST = 0.1
#: With sticks that tell it, so many currents that swing together say that something moves that
#: they do not: one alone may be at fault.
_TOGETHER = 2


def still_spans(
    readings: Readings, currents: Sequence[Reading], ground: Sequence[Span]
) -> list[Span]:
    """Parts of the ground in which nothing is commanded and nothing moves, s, in order.

    By the control columns where two and more are logged; else by the currents: none of them may
    swing more than it does where it is calmest. One that swings always vetoes nothing: it hunts.

    Parameters
    ----------
    readings : Readings
    currents : sequence of Reading
        Of the places that drive servos.
    ground : sequence of (start, end)
        Outside stirs and flights.
    """
    grids = [np.arange(a, b, _GRID_S) for a, b in ground if b - a >= _LEAST_S]
    if not grids:
        return []
    controls = [
        r for r in readings.of(Quantity.CONTROL) if r.size >= _FEW and float(np.ptp(r.v)) > 0
    ]
    commanded = [_commanded(r, grids) for r in controls]
    surfaces = sum(r.place != "throttle" for r in controls)
    swings = np.sum(
        [_swings(r, grids) for r in currents] or [np.zeros(sum(map(len, grids)), dtype=bool)], 0
    )
    moved = np.any(commanded, axis=0) if commanded else np.zeros(swings.size, dtype=bool)
    moved = moved | (swings >= (_TOGETHER if surfaces >= _TELL else 1))
    out: list[Span] = []
    first = 0
    for grid in grids:
        still = ~moved[first : first + grid.size]
        first += grid.size
        out += mask_to_spans(grid, still, hold_s=2.0 * _GRID_S)
    return longer(out, _LEAST_S)


def _commanded(r: Reading, grids: Sequence[FloatArray]) -> BoolArray:
    """Where a control moves, or is held away from where it rests."""
    travel = float(np.ptp(r.v))
    least = max(_MOVES * travel, 2.0 * (r.resolution or 0.0))
    width = round(_OVER_S / _GRID_S)
    held = [_held(r, grid) for grid in grids]
    moves = [_beside(np.ptp(_over(x, width), axis=1) > least, width) for x in held]
    all_held, moving = np.concatenate(held), np.concatenate(moves)
    if r.place == "throttle" or moving.all():
        return moving
    rests = float(np.median(all_held[~moving]))
    return np.asarray(moving | (np.abs(all_held - rests) > _AWAY * travel))


def _swings(r: Reading, grids: Sequence[FloatArray]) -> BoolArray:
    """Where a current swings more than it does where it is calmest."""
    width = max(round(_OVER_S / _GRID_S), round(_OVER * (r.update_s or 0.0) / _GRID_S))
    moments = [_moments(_padded(_held(r, grid), width), min(width, grid.size)) for grid in grids]
    mean, scatter = (np.concatenate(x) for x in zip(*moments, strict=True))
    calmest = float(np.quantile(scatter, _CALMEST))
    most = max(_TIMES * calmest, calmest + _SCATTER_A, calmest + _STEP * (r.resolution or 0.0))
    swings = scatter > np.maximum(most, _PART * np.abs(mean))
    parts = np.split(swings, np.cumsum([g.size for g in grids])[:-1])
    return np.concatenate([_beside(part, width) for part in parts])


def _moments(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of each window of so many values.

    By running sums: where a unit reports every ten seconds, a window holds hundreds.
    """
    level = float(x.mean())
    sums = [np.concatenate(([0.0], np.cumsum((x - level) ** power))) for power in (1, 2)]
    first, second = ((s[width:] - s[:-width]) / width for s in sums)
    return level + first, np.sqrt(np.maximum(second - first**2, 0.0))


def _held(r: Reading, grid: FloatArray) -> FloatArray:
    """The last reading at each instant, however old: what is not written did not change."""
    held = sampling.held_at(r.t, r.v, grid, np.inf)
    known = np.isfinite(held)
    first = float(r.v[0]) if r.size else 0.0
    return np.where(known, held, first)


def _beside(moves: BoolArray, width: int) -> BoolArray:
    """Where no window about an instant is still that holds it: still is the whole of a window."""
    return np.asarray(~_over((~moves).astype(np.float64), width).astype(bool).any(axis=1))


def _over(x: FloatArray, width: int) -> FloatArray:
    """The values about each instant, shape (n, width)."""
    return np.lib.stride_tricks.sliding_window_view(_padded(x, width), max(1, min(width, x.size)))


def _padded(x: FloatArray, width: int) -> FloatArray:
    """The values with half a window of the first before them, and of the last behind."""
    width = max(1, min(width, x.size))
    return np.pad(x, (width // 2, width - 1 - width // 2), mode="edge")
