"""Theil-Sen, Mann-Kendall and the step test against printed examples and other packages."""

from __future__ import annotations

import itertools
from math import factorial

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from telemetry.numerics.statistics import robust
from telemetry.numerics.statistics.robust import MannKendall, likely_step, mann_kendall, theil_sen

# Printed: S = 54, Z = 2.9058 (worked example by hand, College of the Holy Cross, Montserrat
# seminar, MannKendallByHand).
A = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
# Printed: S = 22, variance 155.33, Z = 1.685 (EPA QA/G-9S, p. 109).
B = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]
# Printed: S = -5 (worksheet of the Wisconsin Administrative Code).
C = [100, 50, 85, 75, 50]
# Data from memory of EPA QA/G-9; p = 7/60 by counting all orders.
D = [5, 6, 11, 8, 10]


@pytest.mark.parametrize(
    ("data", "s", "variance", "z"),
    [
        (A, 54, 332.66667, 2.905837),
        (B, 22, 155.33333, 1.684950),
        (C, -5, 15.66667, -1.010582),
        (D, 6, 16.66667, 1.224745),
    ],
    ids=["A", "B", "C", "D"],
)
def test_printed_examples(data: list[float], s: int, variance: float, z: float) -> None:
    found = mann_kendall(np.array(data, dtype=float))
    assert found.s == s
    assert found.variance == pytest.approx(variance, abs=1e-4)
    assert found.z == pytest.approx(z, abs=1e-5)


def test_exact_p_of_a_small_sample() -> None:
    # The normal approximation gives 0.110 here.
    assert mann_kendall(np.array(D, dtype=float)).p_rising == pytest.approx(0.116667, abs=1e-6)


# Smallest S significant at 5 % and 1 %, one-sided (printed table of critical values,
# help.earthsoft.com, Mann-Kendall), and the exact tail at the 5 % value.
CRITICAL = [
    (4, 6, None, 0.041667),
    (5, 8, 10, 0.041667),
    (6, 11, 13, 0.027778),
    (7, 13, 17, 0.034524),
    (8, 16, 20, 0.030506),
    (9, 18, 24, 0.037588),
    (10, 21, 27, 0.036275),
]


def _with_s(n: int, s: int) -> np.ndarray:
    """Some order of n different values whose S is s."""
    swaps = (n * (n - 1) // 2 - s) // 2
    values = list(range(n))
    while swaps:
        i = next(i for i in range(n - 1) if values[i] < values[i + 1])
        values[i], values[i + 1] = values[i + 1], values[i]
        swaps -= 1
    return np.array(values, dtype=float)


@pytest.mark.parametrize(("n", "five", "one", "tail"), CRITICAL)
def test_critical_values(n: int, five: int, one: int | None, tail: float) -> None:
    found = mann_kendall(_with_s(n, five))
    assert found.s == five
    assert found.p_rising == pytest.approx(tail, abs=1e-6)
    assert found.p_rising <= 0.05 < mann_kendall(_with_s(n, five - 2)).p_rising
    if one is None:
        assert mann_kendall(np.arange(float(n))).p_rising > 0.01
    else:
        assert mann_kendall(_with_s(n, one)).p_rising <= 0.01
        assert mann_kendall(_with_s(n, one - 2)).p_rising > 0.01


def test_three_values_can_never_be_significant() -> None:
    assert mann_kendall(np.arange(3.0)).p_rising == pytest.approx(1 / 6)
    assert mann_kendall(np.arange(4.0)).p_rising == pytest.approx(1 / 24)


@pytest.mark.parametrize(
    "data", [[1, 1, 2, 2, 3, 3, 3], [1, 1, 1, 1, 2, 2], [4, 4, 1, 2, 3, 5], [7, 7, 7, 7, 7, 8]]
)
def test_ties_by_counting_all_orders(data: list[float]) -> None:
    def s_of(order: tuple[float, ...]) -> int:
        return sum(
            int(np.sign(order[j] - order[i])) for i, j in itertools.combinations(range(n), 2)
        )

    n = len(data)
    every = np.array([s_of(p) for p in itertools.permutations(data)])
    assert every.size == factorial(n)
    for order in (data, data[::-1], data[1:] + data[:1]):
        found = mann_kendall(np.array(order, dtype=float))
        assert found.p_rising == pytest.approx(np.mean(every >= found.s))
        assert found.variance == pytest.approx(every.var())


@given(st.lists(st.integers(0, 1000), min_size=3, max_size=30, unique=True))
@settings(max_examples=60, deadline=None)
def test_without_ties_like_kendalls_tau_of_scipy(values: list[int]) -> None:
    y = np.array(values, dtype=float)
    theirs = stats.kendalltau(np.arange(y.size), y, method="exact", alternative="greater")
    found = mann_kendall(y)
    assert found.p_rising == pytest.approx(theirs.pvalue, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_long_series_like_pymannkendall(seed: int) -> None:
    y = np.round(np.random.default_rng(seed).normal(size=60) + 0.02 * np.arange(60), 1)
    theirs = pymannkendall.original_test(y)
    found = mann_kendall(y)
    assert (found.s, found.variance) == (theirs.s, pytest.approx(theirs.var_s))
    assert found.z == pytest.approx(theirs.z)
    assert found.s > 0
    assert found.p_rising == pytest.approx(theirs.p / 2)
    slope = theil_sen(np.arange(60.0), y)
    assert slope is not None
    assert slope.slope == pytest.approx(theirs.slope)
    assert slope.intercept == pytest.approx(theirs.intercept)


def test_exact_and_normal_agree_where_one_takes_over() -> None:
    for s_step in range(0, 400, 20):
        y = _with_s(40, s_step)
        exact = mann_kendall(y)
        normal = stats.norm.sf((exact.s - 1) / np.sqrt(exact.variance)) if exact.s > 0 else 0.5
        assert exact.p_rising == pytest.approx(normal, abs=0.012 if exact.s == 0 else 0.002)


def test_sen_1968() -> None:
    # Sen 1968, doi 10.2307/2285891: slope 4, 93 % interval 3.71 to 4.38.
    found = theil_sen(
        np.array([1, 2, 3, 4, 10, 12, 18.0]),
        np.array([9, 15, 19, 20, 45, 55, 78.0]),
        confidence=0.93,
    )
    assert found is not None
    assert found.slope == 4.0
    assert found.low == pytest.approx(3.71, abs=0.005)
    assert found.high == pytest.approx(4.38, abs=0.006)
    assert found.intercept == 4.0


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("digits", [0, 1, 6])
def test_theil_sen_is_that_of_scipy_with_and_without_ties(digits: int) -> None:
    rng = np.random.default_rng(digits)
    for n in range(5, 60):
        x, y = np.round(rng.normal(size=(2, n)), digits)
        found = theil_sen(x, y)
        theirs = stats.theilslopes(y, x, 0.95, method="separate")
        assert found is not None
        assert (found.slope, found.intercept) == (theirs.slope, theirs.intercept)
        if found.low is None:
            assert np.isnan(theirs.low_slope)
        else:
            assert (found.low, found.high) == (theirs.low_slope, theirs.high_slope)


def test_theil_sen_of_statpsych() -> None:
    # Printed example of ci.theil in the R package statpsych: 0.5, 0.3243243 to 0.75.
    x = [67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51]
    y = [21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19]
    found = theil_sen(np.array(x, dtype=float), np.array(y, dtype=float))
    assert found is not None
    assert found.slope == pytest.approx(0.5)
    assert (found.low, found.high) == (pytest.approx(0.3243243), pytest.approx(0.75))
    assert found.intercept == pytest.approx(-2.0)


def test_one_outlier_does_not_turn_the_slope() -> None:
    # As in Helsel and Hirsch, Statistical Methods in Water Resources (USGS TM 4-A3, 2020),
    # chapter 10 (attribution from memory): slope 1, least squares 1.714; interval 1 to 3.5.
    x, y = np.arange(1.0, 8.0), np.array([1, 2, 3, 4, 5, 16, 7.0])
    found = theil_sen(x, y)
    assert found is not None
    assert (found.slope, found.low, found.high) == (1.0, 1.0, 3.5)
    assert np.polyfit(x, y, 1)[0] == pytest.approx(1.7142857)


def test_too_few_values_have_no_interval() -> None:
    four, five = theil_sen(np.arange(4.0), np.arange(4.0)), theil_sen(np.arange(5.0), np.ones(5))
    assert four is not None
    assert (four.low, four.high) == (None, None)
    assert five is not None
    assert five.low is not None
    assert theil_sen(np.ones(4), np.arange(4.0)) is None


def test_interval_of_the_slope_covers_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    x = np.arange(12.0)
    hits = 0
    for _ in range(1500):
        found = theil_sen(x, 0.3 * x + rng.standard_t(4, 12))
        assert found is not None
        assert found.low is not None
        assert found.high is not None
        hits += found.low <= 0.3 <= found.high
    # Normal approximation of a discrete law, rounded outwards: a little above 95 %.
    assert 0.94 < hits / 1500 < 0.985


def test_step_by_hand() -> None:
    # Means 1 and 2 of three and three; any other place leaves more scatter on its sides.
    found = likely_step(np.array([1.1, 0.9, 1.0, 2.1, 1.9, 2.0]))
    assert found is not None
    assert found == (3, pytest.approx(1.0))


@pytest.mark.parametrize("seed", range(5))
def test_a_step_stands_where_scipys_t_test_is_largest(seed: int) -> None:
    rng = np.random.default_rng(seed)
    y = np.r_[rng.normal(0, 1, 9), rng.normal(2, 1, 6)]
    found = likely_step(y)
    assert found is not None
    places = range(2, y.size - 1)
    t = {k: abs(stats.ttest_ind(y[k:], y[:k]).statistic) for k in places}
    best = max(t, key=lambda k: t[k])
    assert found == (best, pytest.approx(y[best:].mean() - y[:best].mean()))


def test_no_step_in_equal_values_or_two() -> None:
    assert likely_step(np.ones(5)) is None
    assert likely_step(np.arange(2.0)) is None
    assert likely_step(np.array([1.0, 1.5, 9.0])) == (2, 7.75)


def test_a_step_without_scatter() -> None:
    assert likely_step(np.array([0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.2])) == (6, pytest.approx(0.1))
    assert likely_step(np.array([0.0, 0, 0, 1, 1, 1])) == (3, 1.0)


def test_inputs_stay_as_they_were() -> None:
    x, y = np.arange(8.0), np.random.default_rng(0).normal(size=8)
    for a in (x, y):
        a.flags.writeable = False
    mann_kendall(y)
    theil_sen(x, y)
    likely_step(y)


@pytest.mark.parametrize("y", [[1.0, 2.0, 1.0], [3.0, 1.0, 2.0, 4.0, 2.0, 2.0], [2.0] * 6])
def test_a_chance_is_never_above_one(y: list[float]) -> None:
    found = mann_kendall(np.array(y))
    assert 0.0 <= found.p_rising <= 1.0


@pytest.mark.parametrize(
    ("n", "confidence", "told"),
    # One of n! orders is perfectly monotone; both ways, 2 of n!, must be rarer than what is left.
    [
        (2, 0.5, False),
        (3, 0.6, True),
        (3, 0.75, False),
        (4, 0.9, True),
        (4, 0.95, False),
        (5, 0.95, True),
    ],
)
def test_an_interval_needs_enough_orders(n: int, confidence: float, told: bool) -> None:
    found = theil_sen(np.arange(float(n)), np.arange(float(n)), confidence=confidence)
    assert found is not None
    assert (found.low is not None, found.high is not None) == (told, told)


def test_two_instants_make_a_line_and_one_does_not() -> None:
    # Slopes 3 and 5 from (0 1) to (1 4) and (1 6): the median, 4; through the medians 1 and 4.
    found = theil_sen(np.array([0.0, 1, 1]), np.array([1.0, 4, 6]))
    assert found is not None
    assert (found.slope, found.intercept) == (4.0, 0.0)
    assert theil_sen(np.ones(1), np.ones(1)) is None


@pytest.mark.parametrize(
    ("y", "expected"),
    [
        ([], MannKendall(0, 0.0, 0.0, 1.0)),
        ([5.0], MannKendall(0, 0.0, 0.0, 1.0)),
        # Two values: variance 2 (1) 9 / 18; one of two orders.
        ([1.0, 2.0], MannKendall(1, 1.0, 0.0, 0.5)),
        ([2.0, 1.0], MannKendall(-1, 1.0, 0.0, 1.0)),
        ([2.0, 2.0], MannKendall(0, 0.0, 0.0, 1.0)),
        # Three: 3 (2) 11 / 18 = 11/3; z = (3 - 1) / sqrt(11/3); one of six orders.
        ([1.0, 2.0, 3.0], MannKendall(3, 11 / 3, 2 / (11 / 3) ** 0.5, 1 / 6)),
        # Two of three: 2 or more inversions in 1 of 6; S = -1: 5 of 6 lie at or above.
        ([3.0, 1.0, 2.0], MannKendall(-1, 11 / 3, 0.0, 5 / 6)),
    ],
)
def test_few_values_by_hand(y: list[float], expected: MannKendall) -> None:
    assert tuple(mann_kendall(np.array(y))) == pytest.approx(tuple(expected))


@pytest.mark.parametrize("s", [100, 0, -100, 2])
def test_beyond_forty_values_the_normal_law_with_its_correction(s: int) -> None:
    # Of 41 values without ties: 41 (40) 87 / 18.
    found = mann_kendall(_with_s(41, s))
    sd = (41 * 40 * 87 / 18) ** 0.5
    assert found.p_rising == pytest.approx(stats.norm.sf((s - 1) / sd))
    assert found.z == pytest.approx((s - np.sign(s)) / sd)
    # Forty are counted out: not what the normal law says.
    forty = mann_kendall(_with_s(40, s))
    normal = stats.norm.sf((s - 1) / (40 * 39 * 85 / 18) ** 0.5)
    assert abs(forty.p_rising - normal) > 1e-6


def test_many_equal_values_show_nothing() -> None:
    assert tuple(mann_kendall(np.ones(41))) == (0, 0.0, 0.0, 1.0)


def test_polynomials_by_hand() -> None:
    # (1 + 2 q) (1 + q + q^2)
    assert robust.times_run([1, 2], 3) == [1, 3, 3, 2]
    assert robust.times_run([5], 1) == [5]
    assert robust.divided_by_run([1, 3, 3, 2], 3) == [1, 2]
    assert robust.divided_by_run([1, 3, 3, 2], 1) == [1, 3, 3, 2]
    # Inversions of four values: 1 3 5 6 5 3 1 of 24; of 1 1 2 2: 1 1 2 1 1 of 6.
    tails = np.cumsum([1, 3, 5, 6, 5, 3, 1]) / 24
    assert robust.upper_tail(4, ()) == pytest.approx(tails[::-1])
    assert robust.upper_tail(4, (2, 2)) == pytest.approx(np.cumsum([1, 1, 2, 1, 1])[::-1] / 6)


def test_a_step_of_unequal_parts_by_hand() -> None:
    # Means 1 of four and 10 of two; down again with its sign.
    assert likely_step(np.array([2.0, 0, 2, 0, 11, 9])) == (4, 9.0)
    assert likely_step(np.array([5.0, 5.5, 5.0, 1.0, 1.5, 1.0])) == (3, pytest.approx(-4.0))


def test_nearly_all_tied_values_have_a_slope_without_an_interval() -> None:
    x = np.r_[np.zeros(48), 1.0, 2.0]
    found = theil_sen(x, np.r_[np.zeros(48), 0.3, 0.7])
    assert found is not None
    assert (found.low, found.high) == (None, None)
