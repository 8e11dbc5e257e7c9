"""A scatter that few values tell, moderated by that of like series: empirical Bayes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# What is known beforehand of how far scatters lie apart counts for so many groups (heuristic).
_USUAL_GROUPS = 3.0
# Further apart than so many usual deviations of its logarithm a variance counts as just so far: one
# odd group does not spoil what the others tell.
_FURTHEST = 3.0
# Variances over the usual one below this are rounding, not scatter.
_LEAST_RATIO = 0.01
# However alike they are: so little scatter of the logarithms is never held for sure.
_LEAST_APART = 0.02


class ScatterPrior(NamedTuple):
    """What is known of a variance before it is measured: scaled inverse chi-squared.

    Attributes
    ----------
    ratio : float
        Its scale, over the usual variance.
    degrees : float
        Degrees of freedom: as many values as that knowledge is worth.
    """

    ratio: float
    degrees: float


def scatter_prior(
    groups: Sequence[tuple[FloatArray, FloatArray]], usual_degrees: float
) -> ScatterPrior:
    """What groups of measured variances tell of that of a further group.

    The logarithm of a measured variance, less its bias by few degrees of freedom, scatters by the
    measurement and by how far the true ones lie apart. Of the latter the prior is made that has the
    same centre and scatter. What is thought usual counts as one group more where they centre (the
    median), and as three where it is asked how far they lie apart.

    Parameters
    ----------
    groups : sequence of (ndarray, ndarray)
        Of each group its measured variances, over the usual one, and their degrees of freedom.
    usual_degrees : float
        So many degrees of freedom the usual variance is taken for without any group.

    References
    ----------
    G. K. Smyth, Linear models and empirical Bayes methods for assessing differential expression in
    microarray experiments, Statistical Applications in Genetics and Molecular Biology 3 (2004) 3
    (moments of the logarithm; from memory). Made robust here by median and cut deviations.
    """
    logs = [np.log(np.maximum(ratio, _LEAST_RATIO)) - _bias(degrees) for ratio, degrees in groups]
    usual = _apart(usual_degrees)
    centre = float(np.median([-_middle(usual_degrees), *(np.median(own) for own in logs)]))
    cut = _FURTHEST**2 * usual
    apart = [
        float(np.mean(np.minimum((own - centre) ** 2, cut) - _apart(degrees)))
        for own, (_, degrees) in zip(logs, groups, strict=True)
    ]
    n = len(apart)
    found = (_USUAL_GROUPS * usual + sum(apart)) / (_USUAL_GROUPS + n)
    # Where they centre is itself known from so many only.
    found = max(found, _LEAST_APART) * (1.0 + 1.0 / (n + 1.0))
    degrees = 2.0 * _inverse_trigamma(found)
    return ScatterPrior(float(np.exp(centre + _middle(degrees))), degrees)


def _bias(degrees: ArrayLike) -> Any:
    """Mean of the logarithm of a variance measured with so many degrees, over the true one."""
    half = np.divide(degrees, 2.0)
    return scipy.special.digamma(half) - np.log(half)


def _middle(degrees: float) -> float:
    """The same of its median."""
    return float(np.log(scipy.special.chdtri(degrees, 0.5) / degrees))


def _apart(degrees: ArrayLike) -> Any:
    """Variance of the logarithm of a variance with so many degrees of freedom."""
    return scipy.special.polygamma(1, np.divide(degrees, 2.0))


def _inverse_trigamma(x: float) -> float:
    return float(scipy.optimize.brentq(lambda y: scipy.special.polygamma(1, y) - x, 1e-3, 1e6))
