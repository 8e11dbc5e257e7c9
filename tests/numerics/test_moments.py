"""Equations by moments, on means and orthogonal columns that can be solved on paper."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from telemetry.numerics.resistance.moments import (
    Equations,
    MomentSolution,
    Prior,
    solve,
    span,
    spread,
)

EPS = float(np.finfo(np.float64).eps)


def one(
    x: list[float], z: list[float], y: list[float], block: list[int] | None = None
) -> Equations:
    """One term; every row a block of its own unless said."""
    rows = np.arange(len(y)) if block is None else np.array(block)
    return Equations(
        x=np.array(x)[:, None],
        z=np.array(z)[:, None],
        y=np.array(y),
        weight=np.ones(len(y)),
        block=rows,
    )


def two(
    first: list[float], second: list[float], *, weight: float = 1.0, z: float = 1.0
) -> Equations:
    """Two levels, each in rows of its own; weight and instrument of the second."""
    n, m = len(first), len(second)
    own = np.r_[np.ones(n), np.zeros(m)]
    return Equations(
        x=np.stack([own, 1 - own], axis=1),
        z=np.stack([own, z * (1 - own)], axis=1),
        y=np.array([*first, *second]),
        weight=np.r_[np.ones(n), np.full(m, weight)],
        block=np.arange(n + m),
    )


def no_prior(k: int = 1) -> Prior:
    return Prior(mean=np.zeros(k), precision=np.zeros(k))


def quantile(free: float) -> float:
    return float(stats.t.ppf(0.975, free))


# x = z = (1 1 2 2), y = (1 3 2 6), blocks of two: x'y / x'x = 20 / 10.
UNEVEN = one([1, 1, 2, 2], [1, 1, 2, 2], [1, 3, 2, 6], [0, 0, 1, 1])


@pytest.mark.parametrize(
    ("start", "variance"),
    [
        # Block sums of z y: 4 and 16; (16 + 256) 2/1 over 10 squared.
        (0.0, 5.44),
        # Of z (y - x): 2 and 8; (4 + 64) 2/1.
        (1.0, 1.36),
    ],
)
def test_variance_is_the_scatter_of_block_sums_at_the_start(start: float, variance: float) -> None:
    found = solve(UNEVEN, np.array([start]), no_prior())
    assert found is not None
    assert found.theta == pytest.approx([2.0])
    assert found.covariance == pytest.approx(np.array([[variance]]))
    assert found.inner == pytest.approx(np.array([[1 / (100 * variance)]]))


def test_a_prior_counts_by_its_precision() -> None:
    # (100 / 136) (2) + 0.5 (5) over 100 / 136 + 0.5, both times 136: (200 + 340) / 168.
    prior = Prior(mean=np.array([5.0]), precision=np.array([0.5]))
    found = solve(UNEVEN, np.array([1.0]), prior)
    assert found is not None
    assert found.theta == pytest.approx([540 / 168])
    assert found.covariance == pytest.approx(np.array([[136 / 168]]))
    assert found.prior is prior


@pytest.mark.parametrize(
    ("each", "variances"),
    [
        # Residuals 1 and 3, instruments 1 and 2, weights 1 and 2, n rows each, 2 n blocks. Scatter
        # n s and 36 n s with s = 2n / (2n - 1); z'z / w: n and 2 n; so the level of equal
        # residuals is (1 + 18) s / 2. z'x: n and 2 n.
        # Eight blocks or fewer, equal residuals alone: 9.5 s / n and 9.5 s / (2 n).
        (2, [9.5 * (4 / 3) / 2, 9.5 * (4 / 3) / 4]),
        (4, [9.5 * (8 / 7) / 4, 9.5 * (8 / 7) / 8]),
        # Sixteen, half of each: (1 + 9.5) / 2 s / n and (36 + 19) / 2 s / (4 n).
        (8, [5.25 * (16 / 15) / 8, 27.5 * (16 / 15) / 32]),
        # Thirty-two, a quarter: 0.75 + 0.25 (9.5), and 0.75 (36) + 0.25 (19).
        (16, [3.125 * (32 / 31) / 16, 31.75 * (32 / 31) / 64]),
    ],
    ids=["4 blocks", "8 blocks", "16 blocks", "32 blocks"],
)
def test_few_blocks_are_helped_by_equal_residuals(each: int, variances: list[float]) -> None:
    signs = [1.0, -1.0] * (each // 2)
    e = two([10 + s for s in signs], [20 + 3 * s for s in signs], weight=2.0, z=2.0)
    found = solve(e, np.array([10.0, 20.0]), no_prior(2))
    assert found is not None
    assert found.theta == pytest.approx([10.0, 20.0])
    assert np.diag(found.covariance) == pytest.approx(variances)
    assert found.covariance[0, 1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_without_residuals_the_rounding_of_the_largest_value_is_left(sign: float) -> None:
    # y = 2 x: variance eps squared 4 squared z'z / (z'x)^2.
    found = solve(one([1, 2], [1, 2], [2 * sign, 4 * sign]), np.array([2.0 * sign]), no_prior())
    assert found is not None
    assert float(found.covariance[0, 0]) == pytest.approx((4 * EPS) ** 2 / 5, rel=1e-6, abs=0)


@pytest.mark.parametrize(
    "e",
    [
        one([1, 1], [1, 1], [1, 2], [0, 0]),
        one([1, 1], [0, 0], [1, 2]),
        one([1, -1], [1, 1], [1, 2]),
    ],
    ids=["one block", "an instrument of nothing", "an instrument across the term"],
)
def test_what_cannot_be_solved_has_no_solution(e: Equations) -> None:
    assert solve(e, np.zeros(1), no_prior()) is None


def test_two_blocks_are_enough() -> None:
    assert solve(one([1, 1], [1, 1], [1, 2]), np.zeros(1), no_prior()) is not None
    assert solve(one([0.1, 0.1], [0.1, 0.1], [1, 2]), np.zeros(1), no_prior()) is not None


def solution(theta: list[float], variances: list[float]) -> MomentSolution:
    k = len(theta)
    return MomentSolution(
        theta=np.array(theta), covariance=np.diag(variances), inner=np.eye(k), prior=no_prior(k)
    )


def test_spread_is_relative_to_the_size_of_the_sum() -> None:
    # 3 - 5 = -2; sqrt(4 + 9) / 2.
    s = solution([3.0, -5.0], [4.0, 9.0])
    assert spread(s, np.array([1.0, 1.0])) == pytest.approx(13**0.5 / 2)
    assert spread(s, np.array([2.0, 0.0])) == pytest.approx(4 / 6)
    assert spread(solution([1.0, -1.0], [2.0, 2.0]), np.array([1.0, 1.0])) == pytest.approx(2e12)


def spanned(
    e: Equations, start: list[float], wanted: list[float], prior: Prior | None = None
) -> tuple[float, float, float]:
    s = solve(e, np.array(start), prior or no_prior(len(wanted)))
    assert s is not None
    found = span(e, s, np.array(wanted))
    assert found is not None
    if prior is None:
        assert found.mix @ e.y == pytest.approx(found.value)
    return found.value, found.low, found.high


def mean_of(y: list[float], block: list[int] | None = None) -> tuple[float, float, float]:
    ones = [1.0] * len(y)
    return spanned(one(ones, ones, y, block), [float(np.mean(y))], [1.0])


@pytest.mark.parametrize(
    ("y", "squares", "free"),
    [
        # A block's part of the mean against the others: deviation / (n - 1). Degrees of freedom
        # n - 2, but at least 3.
        ([9, 11] * 2, 4 / 3**2, 3),
        ([9, 11] * 5, 10 / 9**2, 8),
        # Two of twelve dominate: deviations -2 (ten times) and 10 (twice); 240^2 / (10 * 16 + 2 *
        # 10^4) = 2.857 blocks, so 3 * 2.857 - 1.
        ([10] * 10 + [22] * 2, 240 / 11**2, 3 * 57600 / 20160 - 1),
        # One of ten: 3 * 90^2 / (9 + 81^2) - 1 = 2.7 is under three.
        ([10] * 9 + [20], 90 / 9**2, 3),
    ],
    ids=["four", "ten", "two heavy of twelve", "one heavy of ten"],
)
def test_interval_of_a_mean(y: list[float], squares: float, free: float) -> None:
    value, low, high = mean_of(y)
    half = quantile(free) * squares**0.5
    assert (value, low, high) == pytest.approx((np.mean(y), np.mean(y) - half, np.mean(y) + half))


def test_a_block_of_most_rows_counts_for_two_at_the_most() -> None:
    # Deviations -1 -1 -1 | 3 about the mean of 10; parts -3/4 and 3/4 of it. The first block has
    # three quarters of the power: divided by 1 - 1/2; the second by 1 - 1/4.
    value, low, high = mean_of([9, 9, 9, 13], [0, 0, 0, 1])
    half = quantile(3) * (1.5**2 + 1.0**2) ** 0.5
    assert (value, low, high) == pytest.approx((10, 10 - half, 10 + half))


def test_without_scatter_the_interval_is_a_point() -> None:
    assert mean_of([8, 8, 8, 8]) == pytest.approx((8, 8, 8))


def test_the_level_of_a_row_goes_by_its_weight() -> None:
    # 12 +-1 with weight 3 in four rows, 8 +-1 with weight 1 in four: mean (3 (12) + 8) / 4 = 11.
    # Moments 3/16 and 1/16 a row, over the weights 1/16 everywhere; power 1/16. About 11: 1 +-1
    # and -3 +-1; leverages 3/16 and 1/16; eight rows, so six degrees of freedom.
    weight = np.repeat([3.0, 1.0], 4)
    y = np.r_[11.0, 13, 11, 13, 7, 9, 7, 9]
    e = Equations(x=np.ones((8, 1)), z=weight[:, None], y=y, weight=weight, block=np.arange(8))
    parts = np.r_[[0.0, 2, 0, 2], np.zeros(4)] * 3 / 13 + np.r_[np.zeros(4), -4, -2, -4, -2] / 15
    half = quantile(6) * float((parts**2).sum()) ** 0.5
    assert spanned(e, [11.0], [1.0]) == pytest.approx((11, 11 - half, 11 + half))


def test_an_instrument_that_follows_the_term_loosely_widens_the_interval() -> None:
    # x = 1 3 1 3, z = 1, y = 2 x + (1 1 -1 -1), four times over: parts of 16 blocks against the
    # others, of x: -1 1 -1 1 over 30, of y: -1 3 -3 1 over 30; 14 degrees of freedom. The quadratic
    # a R^2 - 4 a R + 4 a - 16 q^2 / 900 with a = 1 - 16 q^2 / 900.
    x, y = [1.0, 3, 1, 3] * 4, [3.0, 7, 1, 5] * 4
    value, low, high = spanned(one(x, [1.0] * 16, y), [2.0], [1.0])
    loose = 16 * quantile(14) ** 2 / 900
    half = (loose / (1 - loose)) ** 0.5
    assert (value, low, high) == pytest.approx((2, 2 - half, 2 + half))


def test_an_instrument_too_weak_bounds_nothing() -> None:
    # The same once: 4 q^2 / 36 with 3 degrees of freedom is 1.13, a < 0.
    e = one([1.0, 3, 1, 3], [1.0] * 4, [3.0, 7, 1, 5])
    s = solve(e, np.array([2.0]), no_prior())
    assert s is not None
    assert span(e, s, np.ones(1)) is None


def test_a_prior_alone_is_no_measurement() -> None:
    e = one([1, -1], [1, 1], [1, 2])
    s = solve(e, np.zeros(1), Prior(mean=np.ones(1), precision=np.ones(1)))
    assert s is not None
    assert span(e, s, np.ones(1)) is None


def test_a_prior_narrows_the_interval_and_its_own_doubt_is_in_it() -> None:
    # y = 10 +- 1 of four rows has precision 3 (scatter 16 / 3 over 4 squared); with 14 at precision
    # 1: 11, variance 1/4, of which 1/16 is the prior's. The data count for 3/4: parts +-1/4.
    e = one([1.0] * 4, [1.0] * 4, [9.0, 11, 9, 11])
    prior = Prior(mean=np.array([14.0]), precision=np.ones(1))
    value, low, high = spanned(e, [10.0], [1.0], prior)
    half = quantile(3) * (4 / 16 + 1 / 16) ** 0.5
    assert (value, low, high) == pytest.approx((11, 11 - half, 11 + half))


def test_a_sum_of_two_levels() -> None:
    # 10 and 20, each +-1 in eight rows: parts +-1/8 against the others (15/16), 14 degrees.
    e = two([9, 11] * 4, [19, 21] * 4)
    half = quantile(14) * 8 / 15
    found = spanned(e, [10.0, 20.0], [1.0, 1.0])
    assert found == pytest.approx((30, 30 - half, 30 + half))


def test_a_sum_of_a_free_level_and_one_with_a_prior() -> None:
    # Precision of either level 7.5 (scatter 8 * 16/15 over 8 squared); the second also has 26 at
    # 7.5: 23 in the middle. Variances 2/15 and 1/15, so the sum of 33 moves them 2 to 1. Moments
    # 1/8 and 1/16 a row, power 5/32; what is left about 26 of it: 1.2 +-1 and -2.4 +-1; leverages
    # 1/10 and 1/40. The prior's part of the variance: half of 1/15.
    e = two([9, 11] * 4, [19, 21] * 4)
    prior = Prior(mean=np.array([0.0, 26.0]), precision=np.array([0.0, 7.5]))
    s = solve(e, np.array([10.0, 20.0]), prior)
    assert s is not None
    assert s.theta == pytest.approx([10.0, 23.0])
    found = span(e, s, np.ones(2))
    assert found is not None
    squares = 4 * (2.2**2 + 0.2**2) / (8 * 0.9) ** 2 + 4 * (1.4**2 + 3.4**2) / (16 * 0.975) ** 2
    half = quantile(14) * (squares + 1 / 30) ** 0.5
    assert (found.value, found.low, found.high) == pytest.approx((33, 33 - half, 33 + half))
    assert found.mix == pytest.approx(np.r_[np.full(8, 1 / 8), np.full(8, 1 / 16)])
