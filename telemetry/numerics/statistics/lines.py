"""The straight line through points, where there is one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Means of equal readings differ by rounding: so little of the largest is no movement.
_ROUNDING = 1e-9


def line_slope(x: FloatArray, y: FloatArray) -> float | None:
    """Slope of the least-squares line of y over x; None where x does not move.

    Parameters
    ----------
    x, y : array of shape (n,)
        Finite, of any units.

    Returns
    -------
    float or None
        In units of y over those of x. None also where x moves by no more than rounding.
    """
    if x.size < 2 or np.ptp(x) <= _ROUNDING * np.max(np.abs(x)):
        return None
    away = x - np.mean(x)
    return float(away @ (y - np.mean(y)) / (away @ away))
