"""Least squares: ordinary ones with standard errors, and those of no negative coefficient."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Part of a product that is lost in rounding.
_ROUNDING = 1e-14
# A column of which so little is its own is a sum of others.
_DEPENDENT = 1e-10
# For each column, where rounding keeps columns that are nearly sums of others going in and out.
_MOST_ROUNDS = 10


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


def non_negative_least_squares(design: FloatArray, y: FloatArray) -> FloatArray:
    """The x of no negative part that minimises ``|A x - y|``, shape (k,).

    ``scipy.optimize.nnls`` gives the same; loading it takes as long as half a review.

    Parameters
    ----------
    design : ndarray, shape (n, k)
    y : ndarray, shape (n,)

    References
    ----------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, chapter 23.
    """
    # A rotation leaves the squares as they are: as many rows as columns tell as much as all.
    rotated = np.asarray(np.linalg.qr(np.column_stack((design, y)), mode="r"))
    design, y = rotated[:, :-1], rotated[:, -1]
    lengths = np.sqrt((design**2).sum(axis=0))
    # Begun with all columns that are no sum of those before them, it is mostly done at once.
    own = np.abs(np.diag(design))
    free, barred = lengths < 0, lengths < 0
    free[: own.size] = own > _DEPENDENT * lengths[: own.size]
    x = _of_free(design, y, free)
    while (x[free] <= 0).any():
        free &= x > 0
        x = _of_free(design, y, free)
    for _ in range(_MOST_ROUNDS * x.size):
        pull = design.T @ (y - design @ x)
        # What rounding leaves of a pull is none.
        pulled = pull > _ROUNDING * lengths * np.sqrt(y @ y)
        candidates = np.flatnonzero(pulled & ~free & ~barred)
        if not candidates.size:
            break
        new = candidates[np.argmax(pull[candidates])]
        free[new] = True
        trial = _of_free(design, y, free)
        if trial[new] <= 0:  # as good as a sum of others, within rounding
            free[new], barred[new] = False, True
            continue
        barred[:] = False
        while (trial[free] <= 0).any():
            falling = free & (trial <= 0)
            steps = x[falling] / (x[falling] - trial[falling])
            x += steps.min() * (trial - x)
            x[np.flatnonzero(falling)[np.argmin(steps)]] = 0.0
            free &= x > 0
            x[~free] = 0.0
            trial = _of_free(design, y, free)
        x = trial
    return x


def _of_free(design: FloatArray, y: FloatArray, free: BoolArray) -> FloatArray:
    """Least squares over the free coefficients, the others 0."""
    x = np.zeros(free.size)
    x[free] = np.linalg.lstsq(design[:, free], y, rcond=None)[0]
    return x
