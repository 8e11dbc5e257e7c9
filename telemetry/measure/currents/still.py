"""What a node draws while nothing moves: its floor in flight, and whether it moves at all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.measure.currents.shares import (
    SIDE,
    STRETCH_S,
    Share,
    Shared,
    by_degrees,
    even_change,
    likeliest_step,
)
from telemetry.model.log import FloatArray
from telemetry.results import UnusualKind

#: A current that fell still: blocks at the least, and the part of the blocks before in which it
#: moved.
_STILL, _MOVED = 20, 0.7
#: Part of its mean before with which another node goes on.
_GOES_ON = 0.4
#: Part of a stretch that is its floor; a floor that fell or climbed, standard errors, and steps.
_LOWEST, _FLOOR_FELL, _FLOOR_RAISED, _FLOOR_ROSE = 1 / 3, 0.65, 1.5, 1.4
_FLOOR_ERRORS, _FLOOR_CLIMB_ERRORS, _FLOOR_STEPS = 6.0, 4.0, 1.5


def changed_floor(
    mine: FloatArray, others: Sequence[FloatArray], block_s: float, step_a: float
) -> Share | None:
    """A floor, what a node draws while nothing moves, that fell or rose for good, or climbs.

    What is flown moves the floors of all: those of the others have to stay.

    Parameters
    ----------
    mine : ndarray, shape (n,)
        Mean current of each block in flight, A.
    others : sequence of ndarray, shape (n,)
        Those of the other nodes.
    block_s, step_a : float
        Length of a block, s; step of the sensor, A.

    Returns
    -------
    Share or None
        Its shares are the floors, A.
    """
    own = _floors(mine, block_s)
    beside = [f for x in others if (f := _floors(x, block_s)) is not None]
    if own is None or not beside:
        return None
    step, climb = likeliest_step(own), even_change(own)
    if step is None or step.before <= 0:
        return None
    far = abs(step.now - step.before) >= max(_FLOOR_STEPS * step_a, 0.02)
    at = float(own.first[step.k])
    if far and step.errors <= -_FLOOR_ERRORS and step.factor <= _FLOOR_FELL:
        k, least = step.k, np.sqrt(step.factor)
        if all(x.mine[k:].mean() >= least * x.mine[:k].mean() for x in beside):
            return step.share(UnusualKind.SILENT, at)
    if far and step.errors >= _FLOOR_ERRORS and step.factor >= _FLOOR_RAISED:
        k, most = step.k, np.sqrt(step.factor)
        steady = all(x.mine[k:].mean() <= most * x.mine[:k].mean() for x in beside)
        if steady and not by_degrees(climb, step):
            return step.share(UnusualKind.RAISED, at)
    third = max(1, own.mine.size // 3)
    rises = climb.errors >= _FLOOR_CLIMB_ERRORS and climb.factor >= _FLOOR_ROSE
    if far and rises and by_degrees(climb, step):
        most = np.sqrt(climb.factor)
        if all(x.mine[-third:].mean() <= most * x.mine[:third].mean() for x in beside):
            return climb.share(UnusualKind.HEATS, 0)
    return None


def _floors(x: FloatArray, block_s: float) -> Shared | None:
    """Mean of the lowest blocks of each stretch, against nothing but itself."""
    size = max(3, round(STRETCH_S / block_s))
    count = x.size // size
    if count < 2 * SIDE + 1:
        return None
    ordered = np.sort(x[: count * size].reshape(count, size), axis=1)
    return Shared(
        mine=ordered[:, : max(1, round(_LOWEST * size))].mean(axis=1),
        counterpart=np.ones(count),
        first=np.arange(count, dtype=float) * size,
        seconds=size * block_s,
        usual=float(x.mean()),
        mirror=False,
    )


def fell_still(
    mine: FloatArray, others: Sequence[FloatArray], step: float, *, lost_rest: bool = False
) -> int | None:
    """Block from which on a current that moved lies still to the end, while others move; or None.

    Still is within a step or two of its lowest level; before, it was off it most of the time. Most
    of the others have to go on; where its rest on the ground fell as well (``lost_rest``), as high
    as before is enough.
    """
    lowest = float(np.min(mine))
    usual = float(np.median(mine))
    width = max(1.5 * step, 0.1 * (usual - lowest), 0.02)
    moving = np.flatnonzero(mine > lowest + width)
    if moving.size == 0 or mine.size - 1 - moving[-1] < _STILL:
        return None
    at = int(moving[-1]) + 1
    if at < _STILL or (mine[:at] > lowest + width).mean() < _MOVED:
        return None
    still = np.diff(np.concatenate(([-1], moving)))[:-1] if moving.size > 1 else np.zeros(1)
    if mine.size - at < 2 * still.max(initial=0.0):
        return None

    def goes_on(x: FloatArray) -> bool:
        before, after = float(np.std(x[:at])), float(np.std(x[at:]))
        as_high = float(np.mean(x[at:])) > _GOES_ON * float(np.mean(x[:at]))
        return (lost_rest and as_high) or after > max(0.3 * before, 2.0 * width)

    on = sum(goes_on(x) for x in others)
    return at if on and 2 * on >= len(others) else None
