"""How long until something that grows reaches a limit: first passage of a drift, as an interval.

What grows is taken for a Wiener process with a drift, seen through scatter: evenly, ever faster or
ever slower, perhaps begun with a jump. Which of these, how fast and how unsteadily is not known;
each possibility counts by how well the values fit it.
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

#: The interval holds the truth so often.
CONFIDENCE = 0.8
#: An upper end so many times the lower one leaves even the order of magnitude open.
_WIDEST = 10.0
# Growth as a power of the time since it began; beforehand the logarithm of the power is normal
# around that of the middle: wear feeds on itself more often than it comes to rest (heuristic).
_POWERS = np.geomspace(0.6, 6.0, 12)
_MIDDLE_POWER, _POWER_SD = 1.7, 0.6
# Standard deviation of what one step adds, over that of one value, and how likely that is
# beforehand (heuristic).
_UNSTEADY = {0.0: 0.2, 0.25: 0.25, 0.5: 0.25, 1.0: 0.2, 2.0: 0.1}
# A jump to begin with is as likely as none.
_JUMPS = {0.0: 0.5, 1.0: 0.5}
# Standard deviations beforehand: of the first value, in those of one value; of the growth so far,
# in its largest value.
_FIRST_SD, _GROWTH_SD = 1.0, 3.0
# Values at the most: of more, neighbours are averaged.
_MOST = 24
# No scatter is taken for smaller than this part of the limit.
_FINEST = 1e-3
_DRAWS = 4000
_SEED = 1


class Remaining(NamedTuple):
    """Steps until a limit is reached, with the 80 % interval; infinite where it may never be.

    1 is the very next value.
    """

    low: float
    median: float
    high: float

    @property
    def tells(self) -> bool:
        """Whether the interval says anything: its ends are within one order of magnitude."""
        return bool(np.isfinite(self.high) and self.high <= _WIDEST * self.low)


class Growth(NamedTuple):
    """Draws of what may have grown the values seen, one entry a draw.

    Attributes
    ----------
    level : ndarray
        Now.
    drift, diffusion : ndarray
        Mean of what is added in as much transformed time as has passed, and its standard deviation.
    power : ndarray
        Transformed time is (time since the first value / time passed until now) to this power.
    """

    level: FloatArray
    drift: FloatArray
    diffusion: FloatArray
    power: FloatArray


def passage_times(
    rng: np.random.Generator, distance: ArrayLike, drift: ArrayLike, diffusion: ArrayLike
) -> FloatArray:
    """Random times at which Wiener processes with drift first reach a level above them.

    Parameters
    ----------
    rng : numpy.random.Generator
    distance : array_like
        To the level; 0 or less is reached at once.
    drift, diffusion : array_like
        Mean and standard deviation of what one unit of time adds.

    Returns
    -------
    ndarray
        Inverse Gaussian of mean ``distance / drift`` and shape ``(distance / diffusion)^2``. With a
        drift away from the level it is reached with probability
        ``exp(2 drift distance / diffusion^2)``, then as if the drift were towards it; else
        infinite.

    References
    ----------
    R. S. Chhikara, J. L. Folks, The Inverse Gaussian Distribution, 1989 (from memory).
    """
    d, m, q = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (distance, drift, diffusion))
    )
    times = np.full(d.shape, np.inf)
    times[d <= 0] = 0.0
    steady = (d > 0) & (q == 0) & (m > 0)
    times[steady] = d[steady] / m[steady]
    moved = (d > 0) & (q > 0)
    d, m, q = d[moved], m[moved], q[moved]
    # No drift at all would be an infinite mean: so little of it is reached later than anyone flies.
    speed = np.maximum(np.abs(m), 1e-6 * q**2 / d)
    found = rng.wald(d / speed, (d / q) ** 2)
    reached = np.exp(2.0 * np.minimum(m, 0.0) * d / q**2)
    times[moved] = np.where(rng.random(found.size) < reached, found, np.inf)
    return times


def remaining(
    x: FloatArray, y: FloatArray, limit: float, *, sd: ArrayLike, sd_weight: float
) -> Remaining:
    """Steps until what grows reaches a limit, with the 80 % interval.

    Parameters
    ----------
    x : ndarray, shape (n,)
        When each value was taken, in steps, rising; the growth began after the first one.
    y : ndarray, shape (n,)
        Values against what was usual before, so that the first is 0 but for scatter.
    limit : float
        Above 0.
    sd : array_like, scalar or shape (n,)
        Scatter of one value, known beforehand.
    sd_weight : float
        How many values that knowledge is worth.

    Returns
    -------
    Remaining
        The interval leaves 10 % on each side. The random draws are the same at each call.

    Notes
    -----
    ``y = first + jump + growth u^power + W(u^power) + scatter`` with u from 0 at the first value to
    1 now. For each power, unsteadiness and jump, level and drift are Student-t in closed form, with
    the scatter learnt; the possibilities are weighted by their marginal likelihood.

    References
    ----------
    G. A. Whitmore, Lifetime Data Analysis 1 (1995) 307-319 (scatter over a Wiener process);
    G. A. Whitmore, F. Schenkelberg, Lifetime Data Analysis 3 (1997) 27-45 (transformed time); both
    from memory.
    """
    rng = np.random.default_rng(_SEED)
    age = float(x[-1] - x[0])
    found = _grown(rng, *_thinned(x, y, np.broadcast_to(sd, x.shape)), limit, sd_weight)
    ahead = passage_times(rng, limit - found.level, found.drift, found.diffusion)
    # Rounded up: the limit is passed in that step. A hair less than a whole step is one.
    steps = np.ceil(age * ((1.0 + ahead) ** (1.0 / found.power) - 1.0) - 1e-9)
    tail = (1.0 - CONFIDENCE) / 2
    ends = np.quantile(np.maximum(steps, 1.0), [tail, 0.5, 1.0 - tail], method="inverted_cdf")
    return Remaining(*(float(e) for e in ends))


def _thinned(
    x: FloatArray, y: FloatArray, sd: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """At most so many values; the first and the last keep their time."""
    if x.size <= _MOST:
        return x, y, sd
    groups = np.array_split(np.arange(1, x.size - 1), _MOST - 2)
    means = [[float(v[g].mean()) for g in groups] for v in (x, y)]
    left = [float(sd[g].mean()) / np.sqrt(g.size) for g in groups]
    return (
        np.r_[x[0], means[0], x[-1]],
        np.r_[y[0], means[1], y[-1]],
        np.r_[sd[0], left, sd[-1]],
    )


def _grown(
    rng: np.random.Generator,
    x: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    limit: float,
    sd_weight: float,
) -> Growth:
    """Draws of level and growth, given all values."""
    n, age = x.size, float(x[-1] - x[0])
    cells = list(product(_POWERS, _UNSTEADY, _JUMPS))
    power, unsteady, jump = np.array(cells).T
    likely = (
        -0.5 * (np.log(power / _MIDDLE_POWER) / _POWER_SD) ** 2
    )  # a normal one's, less what is constant
    likely = likely + np.log([_UNSTEADY[q] * _JUMPS[k] for _, q, k in cells])

    unit = max(float(np.median(sd)), _FINEST * limit)
    z, spread = y / unit, np.maximum(sd / unit, _FINEST)
    size = max(float(np.abs(z).max()), 1.0)
    growth2, jump2, added2 = (_GROWTH_SD * size) ** 2, (jump * size) ** 2, unsteady**2 * age
    u = ((x - x[0]) / age) ** power[:, None]
    later = (x > x[0]).astype(float)

    # Covariances in squares of the scatter: of the values, of level and growth with the values.
    column = (slice(None), None, None)
    of_values = (
        _FIRST_SD**2
        + growth2 * u[:, :, None] * u[:, None, :]
        + added2[column] * np.minimum(u[:, :, None], u[:, None, :])
        + jump2[column] * later[:, None] * later
        + np.diag(spread**2)
    )
    with_level = _FIRST_SD**2 + (growth2 + added2[:, None]) * u + jump2[:, None] * later
    with_growth = growth2 * u
    wanted = np.stack([np.broadcast_to(z, u.shape), with_level, with_growth], axis=2)
    solved = np.linalg.solve(of_values, wanted)
    square = np.einsum("j,ij->i", z, solved[:, :, 0])
    level, growth = (np.einsum("j,ij->i", z, solved[:, :, k]) for k in (1, 2))
    level_var = _FIRST_SD**2 + growth2 + added2 + jump2 - (with_level * solved[:, :, 1]).sum(axis=1)
    growth_var = growth2 - (with_growth * solved[:, :, 2]).sum(axis=1)
    both = growth2 - (with_growth * solved[:, :, 1]).sum(axis=1)
    level_sd = np.sqrt(np.maximum(level_var, 1e-12))
    slope = both / level_sd
    rest_sd = np.sqrt(np.maximum(growth_var - slope**2, 0.0))

    likely -= 0.5 * np.linalg.slogdet(of_values)[1]
    likely -= 0.5 * (sd_weight + n) * np.log1p(square / sd_weight)
    weight = np.cumsum(np.exp(likely - likely.max()))
    # Even steps through the weights rather than random ones: each possibility gets its share.
    i = np.searchsorted(weight, (np.arange(_DRAWS) + 0.5) / _DRAWS * weight[-1])
    scale = np.sqrt((sd_weight + square[i]) / rng.chisquare(sd_weight + n, _DRAWS))
    a, b = rng.standard_normal((2, _DRAWS))
    return Growth(
        level=unit * (level[i] + scale * level_sd[i] * a),
        drift=unit * (growth[i] + scale * (slope[i] * a + rest_sd[i] * b)),
        diffusion=unit * scale * np.sqrt(added2[i]),
        power=power[i] * (_POWERS[1] / _POWERS[0]) ** rng.uniform(-0.5, 0.5, _DRAWS),
    )
