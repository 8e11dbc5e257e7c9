"""Linear equations ``y = x theta`` solved by moments ``z' (y - x theta) = 0`` over blocks of time.

Generalised method of moments (L. P. Hansen, Econometrica 50, 1982, from memory) with a normal
prior on some coefficients. Intervals invert a test on the block sums (after T. W. Anderson and
H. Rubin, Annals of Mathematical Statistics 20, 1949, from memory): where the instruments z are weak
they become wide or unbounded, not narrow and wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

# A block that carries more than this part of the instrument's power is not made to count for more.
_MOST_LEVERAGE = 0.5
# With this many blocks their scatter and that of equal independent residuals weigh alike.
_FEW_BLOCKS = 8.0
_LEAST_FREE = 3.0


@dataclass(frozen=True, slots=True)
class Equations:
    """What is solved.

    Attributes
    ----------
    x, z : ndarray, shape (n, k)
        Terms and their instruments; the instruments carry the weights.
    y, weight : ndarray, shape (n,)
    block : ndarray of int, shape (n,)
        Number of the block of time of each row, from 0 without holes.
    """

    x: FloatArray
    z: FloatArray
    y: FloatArray
    weight: FloatArray
    block: IntArray

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums by block, shape (blocks,)."""
        return np.bincount(self.block, values).astype(np.float64)


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal prior: mean and precision per coefficient, shape (k,); precision 0 for none."""

    mean: FloatArray
    precision: FloatArray


@dataclass(frozen=True, slots=True)
class MomentSolution:
    """Coefficients, their covariance, the weights of the moments, and the prior they rest on."""

    theta: FloatArray
    covariance: FloatArray
    inner: FloatArray
    prior: Prior


@dataclass(frozen=True, slots=True)
class SolutionSpan:
    """A wanted sum of coefficients with its 95 % interval.

    Attributes
    ----------
    value, low, high : float
    mix : ndarray, shape (n,)
        ``mix @ y`` is how the data enter the value.
    """

    value: float
    low: float
    high: float
    mix: FloatArray


def solve(e: Equations, start: FloatArray, prior: Prior) -> MomentSolution | None:
    """Coefficients by weighted moments; None where the equations are singular.

    The moments' weights are the inverse of their covariance at ``start``, drawn towards that of
    equal independent residuals where there are few blocks.
    """
    residual = e.y - e.x @ start
    by_block = np.stack([e.sums(column * residual) for column in e.z.T], axis=1)
    blocks = by_block.shape[0]
    plain = e.z.T @ (e.z / e.weight[:, None])
    power = np.diag(plain)
    if blocks < 2 or not (power > 0).all():
        return None
    scatter = by_block.T @ by_block * blocks / (blocks - 1)
    # Rounding of y is the least there is.
    least = (np.finfo(np.float64).eps * float(np.abs(e.y).max())) ** 2
    level = max(float(np.mean(np.diag(scatter) / power)), least)
    share = min(1.0, _FEW_BLOCKS / blocks)
    gram = e.z.T @ e.x
    try:
        inner = np.linalg.inv((1.0 - share) * scatter + share * level * plain)
        precision = gram.T @ inner @ gram + np.diag(prior.precision)
        covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    except np.linalg.LinAlgError:
        return None
    told = gram.T @ (inner @ (e.z.T @ e.y)) + prior.precision * prior.mean
    return MomentSolution(theta=covariance @ told, covariance=covariance, inner=inner, prior=prior)


def spread(solution: MomentSolution, wanted: FloatArray) -> float:
    """Standard deviation of a sum of coefficients relative to its size."""
    size = max(abs(float(wanted @ solution.theta)), 1e-12)
    return float(np.sqrt(wanted @ solution.covariance @ wanted)) / size


def span(e: Equations, solution: MomentSolution, wanted: FloatArray) -> SolutionSpan | None:
    """95 % interval of ``wanted @ theta``; None where the data bound it on no side.

    One combined moment stands for the wanted sum while the other coefficients follow it at their
    best. Its scatter is taken about its regression on the instrument, block by block, each block
    against the others (leverage); few blocks that dominate count as few degrees of freedom
    (after F. E. Satterthwaite, Biometrics Bulletin 2, 1946, from memory).
    """
    theta, covariance, prior = solution.theta, solution.covariance, solution.prior
    variance = float(wanted @ covariance @ wanted)
    value = float(wanted @ theta)
    along = covariance @ wanted / variance
    mix = e.z @ (solution.inner @ (e.z.T @ e.x) @ covariance @ wanted)
    own = mix / e.weight
    power = float(mix @ own)
    if not power > 0:
        return None
    left, slope = e.y - e.x @ (theta - along * value), e.x @ along
    rest_y = left - own * (float(mix @ left) / power)
    rest_x = slope - own * (float(mix @ slope) / power)
    leverage = np.minimum(e.sums(mix * own) / power, _MOST_LEVERAGE)
    block_y = e.sums(mix * rest_y) / (1.0 - leverage)
    block_x = e.sums(mix * rest_x) / (1.0 - leverage)
    residual2 = (block_y - value * block_x) ** 2
    heavy = float(residual2.sum()) ** 2 / max(float((residual2**2).sum()), 1e-300)
    free = max(_LEAST_FREE, min(residual2.size - 2.0, 3.0 * heavy - 1.0))
    q2 = float(scipy.special.stdtrit(free, 0.975)) ** 2
    pull = covariance @ wanted * prior.precision
    loose = float(pull @ (covariance @ wanted))
    # (value - R)^2 <= q2 (sum of (block_y - R block_x)^2 + loose): a quadratic in R.
    a = 1.0 - q2 * float(block_x @ block_x)
    b = -2.0 * (value - q2 * float(block_y @ block_x))
    c = value**2 - q2 * (float(block_y @ block_y) + loose)
    root = b * b - 4.0 * a * c
    if a <= 0 or root < 0:
        return None
    half, middle = float(np.sqrt(root)) / (2.0 * a), -b / (2.0 * a)
    return SolutionSpan(value=value, low=middle - half, high=middle + half, mix=mix)
