"""What a node draws while nothing moves: its floor in flight, and whether it moves at all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.measure.currents.shares import (
    Share,
    Shared,
    by_degrees,
)
from telemetry.model.log import FloatArray
from telemetry.results import UnusualKind

#: A current that fell still: blocks at the least, and the part of the blocks before in which it
#: moved.
_STILL, _MOVED = 20, 0.7
#: Part of its mean before with which another node goes on.
_GOES_ON = 0.4
#: Stretches in which a floor is seen, s, and how many are needed on each side of a change.
_STRETCH_S, _SIDE = 20.0, 3
#: Part of a stretch that is its floor; a floor that fell or climbed, standard errors, and steps.
_LOWEST, _FLOOR_FELL, _FLOOR_RAISED, _FLOOR_ROSE = 1 / 3, 0.65, 1.5, 1.4
_FLOOR_ERRORS, _FLOOR_CLIMB_ERRORS, _FLOOR_STEPS, _FLOOR_A = 4.5, 3.3, 1.1, 0.02
#: Standard errors where the rest on the ground rose as well.
_ERRORS_GAINED = 3.0


def changed_floor(
    mine: FloatArray,
    others: Sequence[FloatArray],
    block_s: float,
    step_a: float,
    *,
    gained_rest: bool = False,
) -> Share | None:
    """A floor, what a node draws while nothing moves, that fell or rose for good, or climbs.

    What is flown moves the floors of all: those of the others have to stay, unless a rest on the
    ground that rose as well (``gained_rest``) speaks for itself.

    Parameters
    ----------
    mine : ndarray, shape (n,)
        Mean current of each block in flight, A.
    others : sequence of ndarray, shape (n,)
        Those of the other nodes.
    block_s, step_a : float
        Length of a block, s; step of the sensor, A.
    gained_rest : bool

    Returns
    -------
    Share or None
        Its shares are the floors, A.
    """
    own = _floors(mine, block_s)
    beside = [f for x in others if (f := _floors(x, block_s)) is not None]
    if own is None or not beside:
        return None
    step, climb = own.step, own.evenly
    if step is None or step.before <= 0:
        return None
    if abs(step.now - step.before) < max(_FLOOR_STEPS * step_a, _FLOOR_A):
        return None
    third = max(1, own.mine.size // 3)

    def others_stay(early: slice, late: slice, most: float) -> bool:
        """Whether the others moved less than half as far, in logarithms, to that side."""
        moved = [x.mine[late].mean() / max(float(x.mine[early].mean()), 1e-6) for x in beside]
        return all(m >= np.sqrt(most) if most < 1.0 else m <= np.sqrt(most) for m in moved)

    halves = slice(None, step.k), slice(step.k, None)
    at = float(own.first[step.k])
    fell = step.errors <= -_FLOOR_ERRORS and step.factor <= _FLOOR_FELL
    if fell and others_stay(*halves, step.factor):
        return step.share(UnusualKind.SILENT, at)
    sure = _ERRORS_GAINED if gained_rest else _FLOOR_ERRORS
    rose = step.errors >= sure and step.factor >= _FLOOR_RAISED and not by_degrees(climb, step)
    if rose and (gained_rest or others_stay(*halves, step.factor)):
        return step.share(UnusualKind.RAISED, at)
    sure = _ERRORS_GAINED if gained_rest else _FLOOR_CLIMB_ERRORS
    climbs = climb.errors >= sure and climb.factor >= _FLOOR_ROSE and by_degrees(climb, step, sure)
    outer = slice(None, third), slice(-third, None)
    if climbs and (gained_rest or others_stay(*outer, climb.factor)):
        return climb.share(UnusualKind.HEATS, 0)
    return None


def _floors(x: FloatArray, block_s: float) -> Shared | None:
    """Mean of the lowest blocks of each stretch, against nothing but itself."""
    size = max(3, round(_STRETCH_S / block_s))
    count = x.size // size
    if count < 2 * _SIDE + 1:
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
    mine: FloatArray,
    others: Sequence[FloatArray],
    step: float,
    *,
    lost_rest: bool = False,
    landed_a: float | None = None,
) -> int | None:
    """Block from which on a current that moved lies still to the end, while others move; or None.

    Still is within a step or two of its lowest level; before, it was off it most of the time. Most
    of the others have to go on; where its rest on the ground fell as well (``lost_rest``), as high
    as before is enough. What lies a step or more over its rest after landing (``landed_a``) is not
    still: it does little.
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
    if landed_a is not None and float(np.mean(mine[at:])) >= landed_a + step:
        return None
    still = np.diff(np.concatenate(([-1], moving)))[:-1] if moving.size > 1 else np.zeros(1)
    if mine.size - at < 2 * still.max(initial=0.0):
        return None

    def goes_on(x: FloatArray) -> bool:
        # One reading, perhaps a wild one, shows of no other that it goes on.
        later = np.delete(x[at:], np.argmax(np.abs(x[at:] - np.median(x[at:]))))
        before, after = float(np.std(x[:at])), float(np.std(later))
        as_high = float(np.mean(later)) > _GOES_ON * float(np.mean(x[:at]))
        return (lost_rest and as_high) or after > max(0.3 * before, 2.0 * width)

    return at if 2 * sum(goes_on(x) for x in others) > len(others) else None
