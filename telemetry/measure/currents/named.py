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

BoolArray = NDArray[np.bool_]
Columns = Mapping[str, tuple[FloatArray, FloatArray]]

#: Blocks of the bootstrap, s: moves of the sticks hang together for seconds.
_BLOCK_S = 10.0
#: A control that draws less than this part of what all do cannot make a node's change (heuristic).
_COUNTS = 0.1
#: All of a 95 % range below or above this part of what it drew is a change; what is known worse
#: than within this factor of itself rules nothing out (heuristic).
_FELL, _ROSE, _VAGUE = 0.7, 1.2, 1.0


def changed_control(
    columns: Columns,
    usual: tuple[FloatArray, BoolArray],
    now: tuple[FloatArray, BoolArray],
    block_s: float,
    *,
    rose: bool,
) -> str | None:
    """The one control whose servos draw less, or more, than they did; None where that is not sure.

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
    str or None
        One control alone has changed, and of each other that counts it is known that it has not.
    """
    amps, where = usual
    later = {n for n, (travel, _) in columns.items() if not travel[where].any()}
    if rose and any(columns[n][0][now[1]].any() for n in later):
        return None  # what began to move draws more
    columns = {n: both for n, both in columns.items() if n not in later}
    # Of controls that moved together only the sum is known.
    moved = np.stack([np.ones(amps.size), *(travel for travel, _ in columns.values())], axis=1)
    if condition_indices(moved[where])[-1] > HIGHEST_INDEX:
        return None
    drew = parts_of(amps[where], {n: [x[where] for x in c] for n, c in columns.items()})
    names = [n for n in columns if n in drew]
    work = {
        n: np.asarray(sum(k * x for k, x in zip(drew[n], columns[n], strict=True))) for n in names
    }
    total = sum(float(x[where].mean()) for x in work.values())
    names = [n for n in names if total > 0 and float(work[n][where].mean()) >= _COUNTS * total]
    if len(names) == 1:
        return names[0]  # no other acts there
    amps, where = now
    if not names or where.sum() < 2:
        return None
    design = np.stack([np.ones(amps.size), *(work[n] for n in names)], axis=1)[where]
    if not (design != 0).any(axis=0).all():
        return None
    block = (np.flatnonzero(where) * block_s / _BLOCK_S).astype(np.intp)
    block = np.unique(block, return_inverse=True)[1]
    found = attribute(design, amps[where], block, kinds=(-1, *(0 for _ in names)))
    changed, kept = [], 0
    for group, coef, low, high in zip(found.groups, found.coef, found.low, found.high, strict=True):
        if group == (0,):
            continue
        if (low > _ROSE) if rose else (high < _FELL):
            changed.append(group)
        elif high - low <= _VAGUE and ((coef < _ROSE) if rose else (coef > _FELL)):
            kept += 1
    told = len(found.groups) - 1
    if len(changed) != 1 or len(changed[0]) != 1 or kept + 1 != told:
        return None
    return names[changed[0][0] - 1]
