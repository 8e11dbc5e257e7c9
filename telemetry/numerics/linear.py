"""Ordinary least squares with standard errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearFit:
    """Ordinary least squares: coefficients and their standard errors."""

    coef: FloatArray
    se: FloatArray


def least_squares(design: FloatArray, y: FloatArray) -> LinearFit:
    """Ordinary least squares by QR decomposition, columns scaled to unit length.

    Parameters
    ----------
    design : ndarray, shape (n, k)
        One column per coefficient; a column of ones for an intercept.
    y : ndarray, shape (n,)

    Returns
    -------
    LinearFit
    """
    length = np.sqrt((design**2).sum(axis=0))
    scaled = design / length
    q, r = np.linalg.qr(scaled)
    coef = np.linalg.solve(r, q.T @ y)
    residuals = y - scaled @ coef
    sd = float(np.sqrt(residuals @ residuals / max(y.size - coef.size, 1)))
    inverse = np.linalg.inv(r)
    return LinearFit(coef=coef / length, se=sd * np.sqrt((inverse**2).sum(axis=1)) / length)
