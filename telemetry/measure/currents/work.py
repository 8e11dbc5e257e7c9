"""What the sticks say the servos of a node had to do, in amperes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.linear import non_negative_least_squares
from telemetry.readings import Readings

BoolArray = NDArray[np.bool_]

_FEW = 20  # readings of a control
_ROUNDS = 5
_NOTHING = 1e-9  # a control that moved by less, in its unit, did not move
#: A fit that leaves more than this part of the scatter explains nothing (heuristic).
_UNEXPLAINED = 0.6


def control_columns(
    readings: Readings, edges: FloatArray
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Travel and mean deflection of each logged control of a surface in each block.

    Parameters
    ----------
    readings : Readings
    edges : ndarray, shape (n + 1,)
        Of the blocks, s.
    """
    out = {}
    for r in readings.of(Quantity.CONTROL):
        if r.size < _FEW or np.ptp(r.v) <= 0 or r.place == "throttle":
            continue
        travelled = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(r.v)))))
        away = np.abs(r.v - np.median(r.v))
        area = np.concatenate(([0.0], np.cumsum(0.5 * (away[1:] + away[:-1]) * np.diff(r.t))))
        out[r.place] = (
            np.diff(np.interp(edges, r.t, travelled)),
            np.diff(np.interp(edges, r.t, area)),
        )
    return out


def control_work(
    columns: Mapping[str, tuple[FloatArray, FloatArray]], amps: FloatArray, known: BoolArray
) -> FloatArray | None:
    """Current that follows from travel and deflection of all logged controls, block by block.

    Non-negative least absolute deviations (by reweighting), so that a stretch with another law
    does not bend it.

    Parameters
    ----------
    columns : mapping
        As :func:`control_columns` gives them.
    amps : ndarray, shape (n,)
        Mean current of each block, A.
    known : ndarray of bool, shape (n,)
        Blocks in flight with a current.

    Returns
    -------
    ndarray, shape (known blocks,), or None
        None without two controls, or where they explain little of the current.
    """
    if len(columns) < 2:
        return None
    y = amps[known]
    each = [x[known] for both in columns.values() for x in both]
    design = np.stack([np.ones(y.size), *each], axis=1)
    fitted = design @ nearest(y, design)
    middle = np.median(np.abs(y - np.median(y)))
    return fitted if np.median(np.abs(y - fitted)) <= _UNEXPLAINED * middle else None


def parts_of(y: FloatArray, columns: Mapping[str, Sequence[FloatArray]]) -> dict[str, list[float]]:
    """What travel and deflection of each control drew of a current, A per unit of each."""
    each = [x for both in columns.values() for x in both]
    coef = nearest(y, np.stack([np.ones(y.size), *each], axis=1))[1:]
    return {n: [float(c) for c in coef[2 * k : 2 * k + 2]] for k, n in enumerate(columns)}


def nearest(y: FloatArray, design: FloatArray) -> FloatArray:
    """Non-negative coefficients that leave the least absolute deviations, by reweighting."""
    most = np.abs(design).max(axis=0)
    size = np.maximum(most, _NOTHING)
    scaled = np.where(most < _NOTHING, 0.0, design / size)
    weight = np.ones(y.size)
    coef = np.zeros(design.shape[1])
    for _ in range(_ROUNDS):
        coef = non_negative_least_squares(scaled * weight[:, None], y * weight)
        left = np.abs(y - scaled @ coef)
        weight = 1.0 / np.sqrt(np.maximum(left, 0.1 * np.median(left) + 1e-6))
    return np.asarray(coef / size)
