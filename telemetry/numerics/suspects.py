"""Which one of several parts made a change of what they draw together, with probabilities.

Bayes' rule over hypotheses that exclude one another: each says how far every measured quantity
should have moved. Errors are heavy-tailed (Student's t), so that one that was told too well does
not decide alone (K. L. Lange, R. J. A. Little and J. M. G. Taylor, Robust statistical modeling
using the t distribution, 1989).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Degrees of freedom of the errors; the paper's usual choice.
_DEGREES = 4.0


def chances(
    moved: FloatArray,
    error: FloatArray,
    expected: FloatArray,
    unsure: FloatArray,
    prior: FloatArray,
) -> FloatArray:
    """Probability of each hypothesis.

    Parameters
    ----------
    moved, error : ndarray, shape (m,)
        How far each quantity moved, and its standard error.
    expected, unsure : ndarray, shape (h, m)
        How far it moves under each hypothesis, and how unsure that is, as a standard deviation;
        to which side is sure.
    prior : ndarray, shape (h,)
        Weight of each hypothesis before anything was measured; any sum.

    Returns
    -------
    ndarray, shape (h,)
        They add up to 1. Without a quantity the priors.
    """
    # One that moved the other way by its error or more is not excused by an unsure size.
    excused = np.clip(1.0 + moved * np.sign(expected) / error, 0.0, 1.0)
    scale = np.hypot(error, excused * unsure)
    off = (moved - expected) / scale
    # The density of t without its constant: what all hypotheses share drops out.
    logs = -0.5 * (_DEGREES + 1.0) * np.log1p(off**2 / _DEGREES) - np.log(scale)
    odds = np.log(prior) + logs.sum(axis=1)
    weight = np.exp(odds - odds.max())
    return np.asarray(weight / weight.sum(), dtype=np.float64)
