"""Which control the servos of a node follow whose current changed, from the control columns.

Servos on one control move together and cannot be told apart. What each control drew is fitted
where all was well (before the change, or at the mirror), and then how much of that each draws now.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from telemetry.measure.currents.work import parts_of
from telemetry.model.log import FloatArray
from telemetry.numerics.attribution import HIGHEST_INDEX, attribute, condition_indices
from telemetry.numerics.suspects import chances

BoolArray = NDArray[np.bool_]
Columns = Mapping[str, tuple[FloatArray, FloatArray]]

#: Blocks of the bootstrap, s: moves of the sticks hang together for seconds.
_BLOCK_S = 10.0
#: A control that draws less than this part of what all do cannot make a node's change (heuristic).
_COUNTS = 0.1
#: It surely draws there where it draws more than this part of what it was fitted to.
_ACTS = 0.1
#: What the draw of a control is not known better than, as part of it: the air, another figure
#: (heuristic); how unsure the change is that one alone has to show, relative.
_KNOWN, _UNSURE = 0.12, 0.5
#: Weight of all controls together, and of one that is not logged, beside one that is (heuristic).
_ALIKE, UNLOGGED_WEIGHT = 0.5, 0.2
#: Stands for a control that is not logged.
UNLOGGED = ""


def changed_controls(
    columns: Columns,
    usual: tuple[FloatArray, BoolArray],
    now: tuple[FloatArray, BoolArray],
    block_s: float,
    *,
    rose: bool,
) -> tuple[tuple[str, float], ...]:
    """The controls by how likely it is that their servos draw less, or more, than they did.

    Parameters
    ----------
    columns : mapping of str to (travel, deflection)
        Of each control in each block.
    usual, now : (current, where)
        Current of each block [A] and the blocks that count: where all was well, and since.
    block_s : float
    rose : bool

    Returns
    -------
    tuple of (str, float)
        Control and probability, the likeliest first; :data:`UNLOGGED` for servos on none of them.
        They add up to less than 1: all may have changed alike. Empty where the columns tell
        nothing.
    """
    amps, where = usual
    later = {n for n, (travel, _) in columns.items() if not travel[where].any()}
    if rose and any(columns[n][0][now[1]].any() for n in later):
        return ()  # what began to move draws more
    columns = {n: both for n, both in columns.items() if n not in later}
    # Of controls that moved together only the sum is known.
    moved = np.stack([np.ones(amps.size), *(travel for travel, _ in columns.values())], axis=1)
    if condition_indices(moved[where])[-1] > HIGHEST_INDEX:
        return ()
    drew = parts_of(amps[where], {n: [x[where] for x in c] for n, c in columns.items()})
    work = {
        n: np.asarray(sum(k * x for k, x in zip(drew[n], columns[n], strict=True))) for n in columns
    }
    total = sum(float(x[where].mean()) for x in work.values())
    names = [n for n in columns if total > 0 and float(work[n][where].mean()) >= _COUNTS * total]
    before = _fitted(names, work, amps, where, block_s)
    # Sticks move alike: a little is said of each. Only what surely draws there counts.
    acting = [k for k, (_, low, _) in before.items() if low > _ACTS]
    names, vague = [names[k] for k in acting], [_error(*before[k]) for k in acting]
    amps, where = now
    after = _fitted(names, work, amps, where, block_s)
    if len(after) < len(names) or not names:
        return ()
    asked = np.array([float(work[n][where].mean()) for n in names])
    part = np.array([after[k][0] for k in range(len(names))])
    error = np.array([_error(*after[k]) for k in range(len(names))])
    return _ranked(names, part - 1.0, np.hypot(error, vague), asked, rose=rose)


def _fitted(
    names: list[str],
    work: Mapping[str, FloatArray],
    amps: FloatArray,
    where: BoolArray,
    block_s: float,
) -> dict[int, tuple[float, float, float]]:
    """How much of its work each control draws, with its 95 % range, by its number.

    Those that were put together, for they moved together, each draw the mean of them. Empty where
    nothing can be told.
    """
    if not names or where.sum() < 2:
        return {}
    design = np.stack([np.ones(amps.size), *(work[n] for n in names)], axis=1)[where]
    if not (design != 0).any(axis=0).all():
        return {}
    block = (np.flatnonzero(where) * block_s / _BLOCK_S).astype(np.intp)
    block = np.unique(block, return_inverse=True)[1]
    found = attribute(design, amps[where], block, kinds=(-1, *(0 for _ in names)))
    out = {}
    for group, *told in zip(found.groups, found.coef, found.low, found.high, strict=False):
        for column in group:
            if column > 0:
                part, low, high = (float(x) / len(group) for x in told)
                out[column - 1] = (part, low, high)
    return out


def _error(_part: float, low: float, high: float) -> float:
    return (high - low) / 3.92


def _ranked(
    names: list[str], moved: FloatArray, error: FloatArray, drew: FloatArray, *, rose: bool
) -> tuple[tuple[str, float], ...]:
    """Chances from how far the draw of each control moved, as a part of what it drew.

    ``drew`` is what each drew before for what is asked of it now, A.
    """
    change = float(drew @ moved)
    if (change > 0.0) is not rose:
        return ()
    expected = np.zeros((len(names) + 2, len(names)))
    expected[: len(names)] = np.diag(np.maximum(change / drew, -1.0))
    expected[-1] = change / float(drew.sum())
    alike = _ALIKE if len(names) > 1 else 1e-12
    weights = np.array([*np.ones(len(names)), UNLOGGED_WEIGHT, alike])
    known = np.hypot(error, _KNOWN)
    told = chances(moved, known, expected, _UNSURE * np.abs(expected), weights)
    return tuple(sorted(zip([*names, UNLOGGED], told.tolist(), strict=False), key=lambda x: -x[1]))
