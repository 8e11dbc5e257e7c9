"""Change-point chart and EWMA against printed examples, by arithmetic and by simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from telemetry.numerics.statistics.charts import (
    change_chart,
    change_now,
    ewma,
    ewma_reach,
    normal_scores,
    recursive_scores,
)
from telemetry.numerics.statistics.runs import (
    change_limit,
    false_signals,
    limit_after,
    run_after,
)

# NIST/SEMATECH e-Handbook 6.3.2.3: its CUSUM, of half a deviation of 0.635, signals at value 14 a
# change after value 12.
NIST_SHIFT = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
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
# series is also printed in the documentation of a numerical library (IMSL, EWMA chart). Made with a
# mean of 10 up to value 20 and of 11 from there on, deviation 1.
MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34,
    9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84,
    10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


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


def scores(y: np.ndarray, sigma: float) -> np.ndarray:
    """Of a series whose deviation is known, from its third value on."""
    return recursive_scores(y, sigma=sigma, sigma_weight=1e9).score[2:]


def test_the_chart_is_the_likeliest_of_all_splits_into_two_means() -> None:
    """For a known deviation: the z statistic of two means, split by split, the largest."""
    y = np.random.default_rng(3).normal(7.0, 2.0, 30)
    found = change_chart(scores(y, 2.0))
    for n in range(4, 31):
        z = [
            (y[t:n].mean() - y[:t].mean()) / (2.0 * np.sqrt(1 / t + 1 / (n - t)))
            for t in range(2, n - 1)
        ]
        assert found.high[n - 3] == pytest.approx(max(z), abs=1e-5)
        assert found.since[n - 3] == int(np.argmax(z))
    assert found.high[0] == -np.inf


def test_the_nist_handbooks_shift_is_dated() -> None:
    y = np.array(NIST_SHIFT)
    found = change_chart(scores(y, 0.635))
    # The third value is number 0 of the scores.
    assert int(found.since[-1]) + 3 == 13
    assert int(np.flatnonzero(found.high > change_limit(500.0))[0]) + 3 in (13, 14)


def test_montgomerys_shift_is_dated() -> None:
    # Its CUSUM dates the change after value 22; it was made after value 20.
    found = change_chart(scores(np.array(MONTGOMERY), 1.0))
    assert 20 <= int(found.since[-1]) + 2 <= 22
    assert np.all(found.high[:18] < change_limit(5000.0))


def test_one_value_alone_never_signals_two_do() -> None:
    assert change_chart(np.array([0.0, 0.0, 0.0, 0.0, 9.0])).high[-1] < 9.0
    found = change_chart(np.array([0.0, 0.0, 0.0, 0.0, 4.0, 4.0]))
    assert found.since[-1] == 4
    assert found.high[-1] > 4.0


def test_what_has_gone_back_is_past_what_stays_is_not() -> None:
    rng = np.random.default_rng(8)
    y = rng.normal(size=200)
    back, stays = y.copy(), y.copy()
    back[40:60] += 4.0
    stays[40:] += 4.0
    limit = change_limit(30000.0)
    found = change_chart(scores(back, 1.0)).high
    assert found[59] > limit > found[-1]
    # After 160 flights the baseline has taken the change in, and it stands out all the more.
    assert change_chart(scores(stays, 1.0)).high[-1] > 3 * limit


@pytest.mark.parametrize(("run", "values"), [(300.0, 60), (1000.0, 100)])
def test_healthy_series_signal_as_often_as_the_limit_says(run: float, values: int) -> None:
    rng = np.random.default_rng(17)
    n, limit = 1500, change_limit(run)
    seen = sum(bool(change_chart(x).high.max() > limit) for x in rng.normal(size=(n, values)))
    expected = -np.expm1(-values / run)
    # The factor of the limit is one number for all lengths: right within a quarter.
    assert abs(seen / n - expected) < 0.25 * expected + 3.5 * np.sqrt(expected / n)


def test_the_limit_grows_with_the_run() -> None:
    limits = [change_limit(run) for run in (1e3, 1e4, 1e5, 1e6)]
    assert np.all(np.diff(limits) > 0.4)
    assert 0.21 * limits[1] * stats.norm.pdf(limits[1]) == pytest.approx(1e-4)


def test_a_chart_kept_for_years_spends_its_false_signals_early() -> None:
    assert [run_after(n, 400.0) for n in (3, 14, 28, 280)] == [400.0, 400.0, 800.0, 8000.0]
    # Ten times the length adds as much wherever it is added.
    steps = np.diff([false_signals(n, 400.0) for n in (20, 200, 2000)])
    assert steps == pytest.approx([14 / 400 * np.log(10.0)] * 2)
    rates = sum(1.0 / run_after(n, 400.0) for n in range(1, 501))
    assert false_signals(500, 400.0) == pytest.approx(rates, rel=0.02)


def test_healthy_charts_of_any_length_signal_as_often_as_is_expected() -> None:
    rng = np.random.default_rng(18)
    n, run = 600, 300.0
    limits = np.array([limit_after(k, run) for k in range(1, 201)])
    over = np.array([change_chart(x).high > limits for x in rng.normal(size=(n, 200))])
    for length in (20, 200):
        expected = -np.expm1(-false_signals(length, run))
        seen = float(over[:, :length].any(axis=1).mean())
        assert abs(seen - expected) < 0.25 * expected + 3.5 * np.sqrt(expected / n)


def test_a_scatter_that_is_known_is_not_learnt() -> None:
    y = np.r_[np.zeros(5), np.full(5, 3.0)]
    kept = recursive_scores(y, sigma=1.0, sigma_weight=10.0, sigma_learns=False)
    learnt = recursive_scores(y, sigma=1.0, sigma_weight=10.0)
    assert np.all(kept.degrees == 10.0)
    assert learnt.degrees[-1] == 18.0
    assert kept.score[6] > learnt.score[6]


def test_many_series_at_once_are_scored_like_each_alone() -> None:
    rng = np.random.default_rng(21)
    y = rng.normal(size=(5, 20))
    y[2, 7] += 30.0  # clipped
    design = rng.normal(size=(20, 2))
    sigma, weight = rng.uniform(0.5, 2.0, 5), rng.uniform(2.0, 9.0, 5)
    known = {"design": design, "slope": np.full(2, 0.1), "slope_sd": np.ones(2), "clip": 3.0}
    together = recursive_scores(y, sigma=sigma, sigma_weight=weight, **known)
    for i in range(5):
        alone = recursive_scores(y[i], sigma=sigma[i], sigma_weight=weight[i], **known)
        for both, one in zip(together, alone, strict=True):
            np.testing.assert_allclose(both[i], one, atol=1e-9)


def test_the_last_value_of_many_charts() -> None:
    score = np.random.default_rng(22).normal(size=(6, 30))
    values = np.array([0, 1, 2, 9, 29, 30])
    alone = [
        change_chart(x[:n]).high[-1] if n else -np.inf for x, n in zip(score, values, strict=True)
    ]
    np.testing.assert_allclose(change_now(score, values).high, alone)
    since = [change_chart(x[:n]).since[-1] for x, n in zip(score, values, strict=True) if n > 1]
    assert change_now(score, values).since[values > 1].tolist() == since


def test_of_an_unknown_deviation_the_chart_is_the_largest_t_of_two_means() -> None:
    """Hawkins, Qiu and Kang 2003, by scipy: pooled two-sample t, split by split."""
    y = np.random.default_rng(23).normal(7.0, 2.0, 25)
    score = recursive_scores(y, sigma=2.0, sigma_weight=1e9).score[1:]
    found = change_chart(score, learnt=1, worth=0.0)
    for n in range(4, 26):
        t = max(stats.ttest_ind(y[k:n], y[:k]).statistic for k in range(1, n - 1))
        assert found.high[n - 2] == pytest.approx(stats.norm.isf(stats.t.sf(t, n - 2)), abs=1e-4)
    now = change_now(score[None], np.array([24]), learnt=1, worth=0.0).high
    assert now[0] == pytest.approx(found.high[-1])


def test_what_is_said_of_the_variance_is_worth_so_many_scores() -> None:
    # Of four scores 0 0 2 2 the change is 2 sqrt(2) or so of the squares 8; eight more say 1.
    score = np.array([0.0, 0.0, 2.0, 2.0])
    known = change_chart(score).high[-1]
    found = change_chart(score, worth=8.0).high[-1]
    t = known / np.sqrt((8.0 + 8.0 - known**2) / 11.0)
    assert found == pytest.approx(stats.norm.isf(stats.t.sf(t, 11.0)))
    # However large a change is, its chart goes on growing.
    large = [change_chart(np.r_[np.zeros(20), np.full(20, x)], worth=8.0).high[-1] for x in (2, 6)]
    assert 8.0 < large[0] < large[1]


def _ever(worth: float, shared: float, limit: float) -> float:
    """Share of series of 60 sums of four scores that ever signal, summed as if shared were 0.15."""
    rng = np.random.default_rng(24)
    common = rng.normal(size=(500, 60, 1))
    four = np.sqrt(shared) * common + np.sqrt(1.0 - shared) * rng.normal(size=(500, 60, 4))
    summed = four.sum(axis=2) / np.sqrt(4.0 + 12.0 * 0.15)
    return float(np.mean([change_chart(x, worth=worth).high.max() > limit for x in summed]))


def test_scores_that_hang_together_more_than_was_thought_signal_no_more_often() -> None:
    limit = change_limit(1000.0)
    expected = -np.expm1(-60 / 1000.0)
    assert _ever(np.inf, 0.5, limit) > 4 * expected
    assert _ever(8.0, 0.5, limit) < 2 * expected
    assert _ever(8.0, 0.15, limit) < 1.5 * expected
