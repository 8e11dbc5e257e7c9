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
from telemetry.numerics.attribution import HIGHEST_INDEX, Attribution, attribute, condition_indices
from telemetry.numerics.suspects import chances

BoolArray = NDArray[np.bool_]
Columns = Mapping[str, tuple[FloatArray, FloatArray]]

#: Blocks of the bootstrap, s: moves of the sticks hang together for seconds.
_BLOCK_S = 10.0
#: A control that draws less than this part of what all do cannot make a node's change (heuristic).
_COUNTS = 0.1
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
    amps, where = now
    if not names or where.sum() < 2:
        return ()
    design = np.stack([np.ones(amps.size), *(work[n] for n in names)], axis=1)[where]
    if not (design != 0).any(axis=0).all():
        return ()
    block = (np.flatnonzero(where) * block_s / _BLOCK_S).astype(np.intp)
    block = np.unique(block, return_inverse=True)[1]
    found = attribute(design, amps[where], block, kinds=(-1, *(0 for _ in names)))
    return _ranked(names, found, design[:, 1:].mean(axis=0), rose=rose)


def _ranked(
    names: list[str], found: Attribution, drew: FloatArray, *, rose: bool
) -> tuple[tuple[str, float], ...]:
    """Chances from how much of what it drew each control, or group of them, draws now.

    ``drew`` is what each drew before for what is asked of it now, A.
    """
    groups = [(k, g) for k, g in enumerate(found.groups) if g != (0,)]
    if not groups:
        return ()
    # Of columns that were put together the coefficient is that of their mean.
    size = np.array([len(g) for _, g in groups])
    draws = np.array([sum(drew[i - 1] for i in g) for _, g in groups])
    part, low, high = (np.array([x[k] for k, _ in groups]) / size for x in _numbers(found))
    moved = part - 1.0
    change = float(draws @ moved)
    if (change > 0.0) is not rose:
        return ()
    alone = np.maximum(change / draws, -1.0)
    expected = np.zeros((len(names) + 2, len(groups)))
    for row in range(len(names)):
        member = [row + 1 in g for _, g in groups]
        expected[row] = np.where(member, alone, 0.0)
    expected[-1] = change / float(draws.sum())
    alike = _ALIKE if len(names) > 1 else 1e-12
    weights = np.array([*np.ones(len(names)), UNLOGGED_WEIGHT, alike])
    error = np.hypot((high - low) / 3.92, _KNOWN)
    told = chances(moved, error, expected, _UNSURE * np.abs(expected), weights)
    return tuple(sorted(zip([*names, UNLOGGED], told.tolist(), strict=False), key=lambda x: -x[1]))


def _numbers(found: Attribution) -> tuple[FloatArray, FloatArray, FloatArray]:
    return found.coef, found.low, found.high
