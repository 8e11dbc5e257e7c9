"""CUSUM and EWMA against printed examples and run lengths, by arithmetic and by simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from telemetry.numerics.statistics.charts import (
    cusum,
    cusum_limit,
    cusum_signal_chance,
    ewma,
    ewma_reach,
    normal_scores,
    recursive_scores,
)

# NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959.
NIST_CUSUM = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
NIST_HIGH = [
    0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04,
]  # fmt: skip
NIST_LOW = [
    0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.26, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0,
]  # fmt: skip

# NIST/SEMATECH e-Handbook 6.3.2.4: start 50, s 2.0539, weight 0.3, width 3.
NIST_EWMA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
NIST_EWMA_PRINTED = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip

# D. C. Montgomery, Introduction to Statistical Quality Control, chapter on CUSUM and EWMA; the
# series is also printed in the documentation of a numerical library (IMSL, EWMA chart).
MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34,
    9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84,
    10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


def test_cusum_of_the_nist_handbook() -> None:
    found = cusum(np.array(NIST_CUSUM), target=325.0, k=0.3175)
    # Printed to two decimals, some rounded from values that were rounded before.
    np.testing.assert_allclose(found.high, NIST_HIGH, atol=0.006)
    np.testing.assert_allclose(
        cusum(-np.array(NIST_CUSUM), target=-325.0, k=0.3175).high, NIST_LOW, atol=0.006
    )
    assert int(np.argmax(found.high > 4.1959)) + 1 == 14
    assert found.high[-1] == pytest.approx(19.035)
    assert found.since_high[13] == 2  # the change is dated to sample 13


def test_ewma_of_the_nist_handbook() -> None:
    found = ewma(np.array(NIST_EWMA), 0.3, start=50.0)
    np.testing.assert_allclose(found, NIST_EWMA_PRINTED, atol=0.0051)
    limit = ewma_reach(20, 0.3, 3.0, 2.0539)
    assert 50.0 + 3 * 2.0539 * np.sqrt(0.3 / 1.7) == pytest.approx(52.5884, abs=2e-4)
    assert limit[-1] == pytest.approx(2.5884, abs=2e-3)
    assert not np.any(np.abs(found - 50.0) > limit)


def test_ewma_limits_grow_as_computed_by_hand() -> None:
    # Exact limits of samples 1 to 7 about 50 with s = 2.0539: sqrt of the sum of squared weights.
    by_hand = [
        3 * 2.0539 * np.sqrt(sum((0.3 * 0.7**j) ** 2 for j in range(i))) for i in range(1, 8)
    ]
    np.testing.assert_allclose(ewma_reach(7, 0.3, 3.0, 2.0539), by_hand)
    assert 50 + by_hand[0] == pytest.approx(51.8485, abs=1e-4)


def test_ewma_like_pandas() -> None:
    x = np.random.default_rng(1).normal(size=50)
    theirs = pd.Series(np.r_[0.4, x]).ewm(alpha=0.2, adjust=False).mean().to_numpy()[1:]
    np.testing.assert_allclose(ewma(x, 0.2, start=0.4), theirs)


def test_montgomerys_series() -> None:
    # Book values from memory; the numbers agree with an independent computation to two decimals.
    x = np.array(MONTGOMERY)
    found = cusum(x, target=10.0, k=0.5)
    expected = [1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.30]
    np.testing.assert_allclose(found.high[22:], expected, atol=0.005)
    assert int(np.argmax(found.high > 5.0)) + 1 == 29
    assert found.since_high[28] == 7  # so the change came after sample 22
    assert cusum(-x, target=-10.0, k=0.5).high.max() == pytest.approx(1.77, abs=0.005)
    z = ewma(x, 0.1, start=10.0)
    expected = [9.945, 9.7495, 9.70355, 10.57314, 10.64682]
    np.testing.assert_allclose(z[[0, 1, 2, 27, 28]], expected, atol=5e-6)
    signal = np.abs(z - 10.0) > ewma_reach(30, 0.1, 2.7)
    assert int(np.argmax(signal)) + 1 == 29


def run_length(k: float, h: float, shift: float) -> float:
    """Average run length of a one-sided chart: the chances of no signal within 0, 1, 2, ... values.

    From some value on each of them is the same share of the one before.
    """
    silent = [1.0 - cusum_signal_chance(k, h, n, shift=shift) for n in range(120)]
    ratio = silent[-1] / silent[-2] if silent[-2] > 1e-9 else 0.0
    return sum(silent) + silent[-1] * ratio / (1.0 - ratio) if ratio < 1.0 else np.inf


# Lucas and Crosier 1982 (Technometrics 24:199-205), Table 1, two-sided, k 0.5, h 4, without a head
# start; as quoted in the manual of the R package spc.
LUCAS_CROSIER = [
    (0.0, 168),
    (0.25, 74.2),
    (0.5, 26.6),
    (0.75, 13.3),
    (1.0, 8.38),
    (1.5, 4.75),
    (2.0, 3.34),
    (2.5, 2.62),
    (3.0, 2.19),
    (4.0, 1.71),
]


@pytest.mark.parametrize(("shift", "published"), LUCAS_CROSIER)
def test_run_lengths_of_lucas_and_crosier(shift: float, published: float) -> None:
    # Both sides together signal as often as the one and the other.
    both = 1.0 / (1.0 / run_length(0.5, 4.0, shift) + 1.0 / run_length(0.5, 4.0, -shift))
    assert both == pytest.approx(published, rel=0.005)


@pytest.mark.parametrize(
    ("k", "h", "shift", "published"),
    [
        (0.5, 3, 0.0, 117.59),  # Brook and Evans 1972
        (0.5, 3, 1.5, 3.75),
        (0.0, 10, -0.25, 2071.51),  # Vance 1986
        (0.0, 10, -0.125, 400.28),
        (0.0, 10, 0.0, 124.66),
        (0.0, 10, 1.0, 10.75),
        (0.5, 3, -0.5, 1963),  # Waldmann 1986
        (0.25, 8, 2.5, 4.1500836225),  # SAS/QC manual 1999
        (0.5, 4, 0.0, 335.37),  # twice the 168 of Lucas and Crosier, to more digits
    ],
)
def test_published_one_sided_run_lengths(
    k: float, h: float, shift: float, published: float
) -> None:
    # All as quoted in the manual of the R package spc.
    assert run_length(k, h, shift) == pytest.approx(published, rel=3e-4)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_run_lengths_by_simulation(shift: float) -> None:
    """The chart that is used, run until it signals, on 1,500 series."""
    rng = np.random.default_rng(11)
    lengths = []
    for _ in range(1500):
        length, high = 0, 0.0
        while True:
            x = rng.normal(shift, 1.0, 128)
            up = cusum(x, k=0.5, start=high).high
            if (up > 4.0).any():
                lengths.append(length + int(np.argmax(up > 4.0)) + 1)
                break
            length, high = length + x.size, float(up[-1])
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - run_length(0.5, 4.0, shift)) < 3.5 * error


# Crowder 1987; Lucas and Saccucci 1990 (Technometrics 32:1-12); all as quoted in the manual of the
# R package spc. Limits are those of the steady state.
@pytest.mark.parametrize(
    ("weight", "width", "shift", "published"),
    [
        (0.5, 3.071, 0.5, 88.8),
        (0.5, 3.071, 1.0, 17.5),
        (0.5, 2.0, 0.0, 26.45),
        (0.5, 2.0, 1.0, 4.91),
    ],
)
def test_published_ewma_run_lengths(
    weight: float, width: float, shift: float, published: float
) -> None:
    """The average that is used, run until it leaves its limits, on 1,500 series."""
    rng = np.random.default_rng(12)
    reach = ewma_reach(500, weight, width)[-1]
    lengths = []
    for _ in range(1500):
        length, level = 0, 0.0
        while True:
            found = ewma(rng.normal(shift, 1.0, 128), weight, start=level)
            out = np.abs(found) > reach
            if out.any():
                lengths.append(length + int(np.argmax(out)) + 1)
                break
            length, level = length + found.size, float(found[-1])
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - published) < 3.5 * error


def test_chance_of_a_signal_by_simulation() -> None:
    rng = np.random.default_rng(4)
    x = rng.normal(size=(20000, 20))
    seen = np.mean([cusum(row, k=0.5).high.max() > 3.0 for row in x])
    expected = cusum_signal_chance(0.5, 3.0, 20)
    assert abs(seen - expected) < 3.5 * np.sqrt(expected * (1 - expected) / 20000)
    # First value alone: exceeds k + h.
    assert cusum_signal_chance(0.5, 3.0, 1) == pytest.approx(stats.norm.sf(3.5))


@pytest.mark.parametrize("chance", [0.05, 0.003, 1e-4])
def test_limit_gives_the_chance_asked_for(chance: float) -> None:
    h = cusum_limit(0.5, 20, chance)
    assert cusum_signal_chance(0.5, h, 20) == pytest.approx(chance, rel=1e-3)


def test_scores_are_standard_normal_from_the_second_value_on() -> None:
    """Hawkins's point: nothing known of level and deviation, and still the limits hold."""
    rng = np.random.default_rng(9)
    scores = []
    for _ in range(3000):
        level, sigma = rng.normal(0, 50), np.exp(rng.normal(0, 1))
        y = rng.normal(level, sigma, 12)
        # The deviation is drawn from what is said to be known of it: scaled inverse chi-square.
        scores.append(recursive_scores(y, sigma=1.0, sigma_weight=1e-6).score[2:])
    z = np.array(scores)
    assert stats.kstest(z[:, 2:].ravel(), "norm").pvalue > 0.01
    assert np.abs(np.corrcoef(z[:, 2:].T) - np.eye(z.shape[1] - 2)).max() < 0.08


def test_scores_when_something_is_known_of_the_deviation() -> None:
    rng = np.random.default_rng(10)
    weight, sigma = 6.0, 0.03
    z = []
    for _ in range(4000):
        own = sigma * np.sqrt(weight / rng.chisquare(weight))
        y = rng.normal(rng.normal(0, 5), own, 8)
        z.append(recursive_scores(y, sigma=sigma, sigma_weight=weight).score[1:])
    values = np.array(z).ravel()
    assert stats.kstest(values, "norm").pvalue > 0.01
    # A CUSUM on them signals as often as its limit says.
    h = cusum_limit(0.5, 7, 0.05)
    seen = np.mean([cusum(row, k=0.5).high.max() > h for row in np.array(z)])
    assert abs(seen - 0.05) < 3.5 * np.sqrt(0.05 * 0.95 / 4000)


def test_limits_for_a_known_mean_fail_on_a_baseline_of_five() -> None:
    """Why the scores are needed: the same chart on a mean and deviation from five values."""
    rng = np.random.default_rng(12)
    h = cusum_limit(0.5, 15, 0.05)
    seen = 0
    for _ in range(2000):
        y = rng.normal(size=20)
        z = (y[5:] - y[:5].mean()) / y[:5].std(ddof=1)
        seen += cusum(z, k=0.5).high.max() > h
    assert seen / 2000 > 0.15


def test_recursive_residuals_like_statsmodels() -> None:
    rng = np.random.default_rng(2)
    n = 15
    x = rng.normal(size=(n, 1))
    y = 3.0 + 0.7 * x[:, 0] + 0.1 * rng.normal(size=n)
    theirs = sm.RecursiveLS(y, sm.add_constant(x)).fit()
    # Nothing known of the slope: a prior a thousand wide. Prediction errors over their spread.
    ours = recursive_scores(
        y,
        design=x,
        slope=np.zeros(1),
        slope_sd=np.array([1e3]),
        sigma=0.1,
        sigma_weight=1e9,
    )
    w = (y - ours.predicted)[3:] / ours.scale[3:] * 0.1
    np.testing.assert_allclose(w, theirs.resid_recursive[3:], rtol=1e-3)


def test_what_is_not_learnt_does_not_move_the_baseline() -> None:
    y = np.array([1.0, 1.1, 0.9, 1.0, 5.0, 5.1, 1.05])
    learn = np.array([True, True, True, True, False, False, True])
    found = recursive_scores(y, sigma=0.1, sigma_weight=4.0, learn=learn)
    assert found.predicted[-1] == pytest.approx(1.0)
    assert found.score[4] > 4.0
    assert abs(found.score[-1]) < 1.0
    assert found.score[0] == 0.0


def test_a_wild_value_is_cut() -> None:
    found = recursive_scores(np.array([1.0, 1.0, 1e9]), sigma=0.1, sigma_weight=50.0)
    assert found.score[-1] == pytest.approx(8.0)


def test_one_odd_flight_does_not_spoil_the_baseline() -> None:
    y = np.r_[1.0, 1.02, 0.99, 1.01, 9.0, 1.0, 1.01, 1.0, 1.1]
    plain = recursive_scores(y, sigma=0.02, sigma_weight=5.0)
    clipped = recursive_scores(y, sigma=0.02, sigma_weight=5.0, clip=3.0)
    assert abs(plain.score[-1]) < 1.0
    assert clipped.score[-1] > 2.5
    assert clipped.score[4] == plain.score[4] > 4.0


def test_both_sums_by_hand() -> None:
    # About 10 with 1 to spare and a start of 0.5. Up: 0.5 + 3 - 1, + 0 - 1, - 2 - 1 (nothing),
    # + 1.5 - 1. Down: 0.5 - 3 - 1 (nothing), 0 - 1 (nothing), + 2 - 1, - 1.5 - 1 (nothing).
    x = np.array([13.0, 10.0, 8.0, 11.5])
    found = cusum(x, target=10.0, k=1.0, start=0.5)
    fallen = cusum(-x, target=-10.0, k=1.0, start=0.5)
    assert found.high.tolist() == [2.5, 1.5, 0.0, 0.5]
    assert fallen.high.tolist() == [0.0, 0.0, 1.0, 0.0]
    assert found.since_high.tolist() == [1, 2, 0, 1]
    assert fallen.since_high.tolist() == [0, 0, 1, 0]


def test_half_a_deviation_about_nothing_is_the_default() -> None:
    assert cusum(np.array([2.0, 0.5])).high.tolist() == [1.5, 1.5]
    assert ewma(np.array([2.0, 0.0]), 0.5).tolist() == [1.0, 0.5]
    assert ewma_reach(1, 0.5, 3.0).tolist() == [1.5]  # the first is half a value


def scored(y: list[float], **more: object) -> tuple[list[float], list[float], list[float]]:
    found = recursive_scores(np.array(y), sigma=2.0, sigma_weight=4.0, **more)  # type: ignore[arg-type]
    return found.predicted.tolist(), found.scale.tolist(), found.degrees.tolist()


def test_a_growing_baseline_by_hand() -> None:
    # 2 is known beforehand as four values know it: squares 4 (2^2) = 16. The first value is the
    # level. The second misses it by 2 where sqrt(16 / 4 (1 + 1)) is usual; then squares are
    # 16 + 4 / 2 over five values and the level is the mean of two; the third is exact; the fourth
    # sees the mean of three.
    predicted, scale, degrees = scored([1.0, 3.0, 2.0, 7.0])
    assert predicted == pytest.approx([0.0, 1.0, 2.0, 2.0], abs=1e-6)
    assert scale[1:] == pytest.approx([8**0.5, (18 / 5 * 3 / 2) ** 0.5, (18 / 6 * 4 / 3) ** 0.5])
    assert degrees == [4.0, 4.0, 5.0, 6.0]
    score = recursive_scores(np.array([1.0, 3.0]), sigma=2.0, sigma_weight=4.0).score
    assert score[0] == 0.0
    assert score[1] == pytest.approx(stats.norm.isf(stats.t.sf(2 / 8**0.5, 4)))


def test_values_of_their_own_spread_by_hand() -> None:
    # The first is twice as uncertain, so the level is known to a variance of 4; the second, of
    # spread 1, weighs 4 to 1: 1 + 2 (4 / 5).
    predicted, scale, _ = scored([1.0, 3.0, 0.0], spread=np.array([2.0, 1.0, 3.0]))
    assert predicted[1:] == pytest.approx([1.0, 2.6], abs=1e-6)
    squares = 16 + 4 / 5
    assert scale[1:] == pytest.approx([(4 * 5) ** 0.5, (squares / 5 * (9 + 0.8)) ** 0.5])


def test_a_known_slope_by_hand() -> None:
    # 0.5 a unit, known exactly: levels 1 and 3 of (1.5 at 1) and (4 at 2).
    predicted, _, _ = scored(
        [1.5, 4.0, 2.0],
        design=np.array([[1.0], [2.0], [4.0]]),
        slope=np.array([0.5]),
        slope_sd=np.array([1e-9]),
    )
    assert predicted[1:] == pytest.approx([2.0, 4.0], abs=1e-6)
    # Not given, it is taken as none, for certain.
    flat, _, _ = scored([1.5, 4.0], design=np.array([[1.0], [2.0]]))
    assert flat[1] == pytest.approx(1.5, abs=1e-6)


def test_a_slope_known_roughly_is_learnt() -> None:
    # A slope of deviation 4, two sigmas: from (0 at 0) the prediction at 1 is 0 with a variance of
    # 1 + 1 + 4 in sigmas; of 3 seen there 4 / 6 are the slope's and 1 / 6 the level's.
    design = np.array([[0.0], [1.0], [1.0]])
    predicted, scale, _ = scored([0.0, 3.0, 0.0], design=design, slope_sd=np.array([4.0]))
    assert scale[1] == pytest.approx((4 * 6) ** 0.5)
    assert predicted[1] == pytest.approx(0.0, abs=1e-6)
    assert predicted[2] == pytest.approx(2.5, abs=1e-6)


def test_a_clipped_value_is_learnt_as_if_it_were_nearer() -> None:
    # 2 scales of sqrt(8) off: the mean of it and 1; squares 16 + 32 / 2.
    for wild in (1e3, -1e3):
        predicted, scale, _ = scored([1.0, wild, 0.0], clip=2.0)
        off = np.sign(wild) * 2 * 8**0.5
        assert predicted[2] == pytest.approx(1.0 + off / 2, abs=1e-5)
        assert scale[2] == pytest.approx((32 / 5 * 1.5) ** 0.5)


def test_what_comes_before_the_first_that_is_learnt_has_no_score() -> None:
    learn = np.array([False, True, False, True])
    found = recursive_scores(
        np.array([9.0, 1.0, 3.0, 1.0]), sigma=2.0, sigma_weight=4.0, learn=learn
    )
    assert found.score[:2].tolist() == [0.0, 0.0]
    assert found.score[2] > 0
    assert found.degrees.tolist() == [4.0] * 4
    assert found.predicted[2:] == pytest.approx([1.0, 1.0], abs=1e-6)


def test_normal_scores_keep_the_tail_and_the_sign() -> None:
    t = np.array([2.0, -2.0, 0.0, 1e9, -1e9])
    found = normal_scores(t, np.full(5, 4.0))
    expected = stats.norm.isf(stats.t.sf(2.0, 4))
    assert found == pytest.approx([expected, -expected, 0.0, 8.0, -8.0], abs=1e-9)


def test_chance_of_a_signal_within_two_values_by_hand() -> None:
    # With a limit so small that only a value above k + h matters: 1 - (1 - p)^n.
    p = stats.norm.sf(2.0)
    assert cusum_signal_chance(2.0, 1e-9, 1) == pytest.approx(p)
    assert cusum_signal_chance(2.0, 1e-9, 3) == pytest.approx(1 - (1 - p) ** 3)
    assert cusum_signal_chance(2.0, 1e-9, 1, shift=1.0) == pytest.approx(stats.norm.sf(1.0))
    assert cusum_signal_chance(2.0, 1.0, 0) == 0.0
