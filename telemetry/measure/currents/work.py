"""What the sticks say the servos of a node had to do, in amperes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.readings import Readings

BoolArray = NDArray[np.bool_]

_FEW = 20  # readings of a control
_ROUNDS = 5
#: A fit that leaves more than this part of the scatter explains nothing (heuristic).
_UNEXPLAINED = 0.6


def control_work(
    readings: Readings, edges: FloatArray, amps: FloatArray, known: BoolArray
) -> FloatArray | None:
    """Current that follows from travel and deflection of all logged controls, block by block.

    Non-negative least absolute deviations (by reweighting), so that a stretch with another law
    does not bend it.

    Parameters
    ----------
    readings : Readings
    edges : ndarray, shape (n + 1,)
        Of the blocks, s.
    amps : ndarray, shape (n,)
        Mean current of each block, A.
    known : ndarray of bool, shape (n,)
        Blocks in flight with a current.

    Returns
    -------
    ndarray, shape (known blocks,), or None
        None without two controls, or where they explain little of the current.
    """
    columns: list[FloatArray] = [np.ones(edges.size - 1)]
    controls = 0
    for r in readings.of(Quantity.CONTROL):
        if r.size < _FEW or np.ptp(r.v) <= 0 or r.place == "throttle":
            continue
        controls += 1
        travelled = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(r.v)))))
        columns.append(np.diff(np.interp(edges, r.t, travelled)))
        away = np.abs(r.v - np.median(r.v))
        area = np.concatenate(([0.0], np.cumsum(0.5 * (away[1:] + away[:-1]) * np.diff(r.t))))
        columns.append(np.diff(np.interp(edges, r.t, area)))
    if controls < 2:
        return None
    design, y = np.stack(columns, axis=1)[known], amps[known]
    size = np.maximum(np.abs(design).max(axis=0), 1e-9)
    design = design / size
    weight = np.ones(y.size)
    fitted = np.zeros(y.size)
    for _ in range(_ROUNDS):
        coef, _ = optimize.nnls(design * weight[:, None], y * weight)
        fitted = design @ coef
        left = np.abs(y - fitted)
        weight = 1.0 / np.sqrt(np.maximum(left, 0.1 * np.median(left) + 1e-6))
    middle = np.median(np.abs(y - np.median(y)))
    return fitted if np.median(np.abs(y - fitted)) <= _UNEXPLAINED * middle else None
