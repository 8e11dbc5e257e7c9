"""Peaks over a threshold against published cases, scipy and simulated flights."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from telemetry.numerics.statistics import extremes
from telemetry.numerics.statistics.extremes import (
    LEAST_PEAKS,
    decluster,
    fit_pareto,
    level_of,
    log_likelihood,
    return_level,
)


def test_published_hundred_year_rainfall() -> None:
    """Daily rainfall above 30 mm, 152 of 17531 days (Coles 2001, section 4.4; from memory).

    Published: sigma 7.44, xi 0.184, 100-year level 106.3 mm.
    """
    zeta = 152 / 17531
    assert level_of(30, 7.440269, 0.184499, 100 * 365 * zeta) == pytest.approx(106.328, abs=5e-3)
    # The published three figures leave the level open by 0.25 (xi by 0.0005, sigma by 0.005).
    assert level_of(30, 7.44, 0.184, 100 * 365 * zeta) == pytest.approx(106.3, abs=0.25)


@pytest.mark.parametrize(("probability", "printed"), [(0.999, 94.28956), (0.9999, 304.62448)])
def test_published_quantiles_of_fire_losses(probability: float, printed: float) -> None:
    """Danish fire losses above 10, 109 of 2167: quantiles printed in the manual of the R package
    evir (function riskmeasures); parameters after McNeil, ASTIN Bulletin 27 (1997) 117. The
    program that printed them stops its search early, hence 1.5e-3.
    """
    exceedances = 109 / 2167 / (1 - probability)
    assert level_of(10, 6.975468, 0.496986, exceedances) == pytest.approx(printed, rel=1.5e-3)


@pytest.mark.parametrize("xi", [-0.4, -0.1, -1e-12, 0.0, 1e-12, 0.2, 0.7])
def test_likelihood_is_that_of_scipy(xi: float) -> None:
    y = stats.genpareto.rvs(xi, scale=2, size=50, random_state=1)
    theirs = stats.genpareto.logpdf(y, xi, scale=2.3).sum()
    assert log_likelihood(y, 2.3, xi) == pytest.approx(theirs, rel=1e-9)


def test_likelihood_is_nothing_beyond_the_upper_end() -> None:
    assert log_likelihood(np.array([5.0]), 1.0, -0.3) == -math.inf  # the end is at 3.33


@pytest.mark.parametrize(("xi", "seed"), [(-0.35, 1), (-0.1, 2), (0.0, 3), (0.2, 4), (0.6, 5)])
def test_fit_is_that_of_scipy(xi: float, seed: int) -> None:
    y = stats.genpareto.rvs(xi, scale=3, size=400, random_state=seed)
    theirs_xi, _, theirs_sigma = stats.genpareto.fit(y, floc=0)
    ours = fit_pareto(y)
    assert ours.xi == pytest.approx(theirs_xi, abs=2e-3)
    assert ours.sigma == pytest.approx(theirs_sigma, rel=2e-3)
    # Whoever has the higher likelihood is nearer the maximum.
    theirs = stats.genpareto.logpdf(y, theirs_xi, scale=theirs_sigma).sum()
    assert ours.log_likelihood >= theirs - 1e-6


def test_fit_recovers_what_was_put_in() -> None:
    # 20 000 excesses: asymptotic standard errors (1 + xi) / sqrt(n) = 0.0085 of xi and
    # sigma sqrt(2 (1 + xi) / n) = 0.033 of sigma (Smith 1985); three of each.
    y = stats.genpareto.rvs(0.2, scale=3, size=20_000, random_state=7)
    found = fit_pareto(y)
    assert found.xi == pytest.approx(0.2, abs=0.026)
    assert found.sigma == pytest.approx(3, abs=0.1)


@pytest.mark.parametrize("bad", [[], [1.0], [1.0, 0.0], [1.0, -2.0], [1.0, math.nan]])
def test_excesses_must_be_excesses(bad: list[float]) -> None:
    with pytest.raises(ValueError, match="at least two positive"):
        fit_pareto(bad)


def test_clusters_by_hand() -> None:
    t = [0, 1, 2, 3, 4, 5, 6, 7, 8, 20]
    x = [9, 3, 8, 8.5, 1, 1, 1, 6, math.nan, 7]
    found = decluster(t, x, 5.0, run_s=2.0)
    # 9 at 0 and 8 at 2 are 2 s apart (one cluster); 6 at 7 is 4 s after 8.5 at 3.
    assert found.time_s.tolist() == [0, 7, 20]
    assert found.value.tolist() == [9, 6, 7]
    assert decluster(t, x, 9.0, 2.0).value.size == 0, "equal to the threshold is not above it"


@given(
    st.lists(st.tuples(st.floats(0.01, 5), st.floats(0, 10)), min_size=1, max_size=60),
    st.floats(0, 10),
    st.floats(0.05, 6),
)
def test_clusters_stand_apart_and_lose_nothing(
    steps: list[tuple[float, float]], threshold: float, run_s: float
) -> None:
    t = np.cumsum([dt for dt, _ in steps])
    x = np.array([v for _, v in steps])
    found = decluster(t, x, threshold, run_s)
    # The slow way: walk along and open a cluster after each pause.
    clusters: list[list[int]] = []
    for i in np.flatnonzero(x > threshold):
        if clusters and t[i] - t[clusters[-1][-1]] <= run_s:
            clusters[-1].append(i)
        else:
            clusters.append([i])
    assert found.value.tolist() == [max(x[c]) for c in clusters]
    assert all(
        x[np.searchsorted(t, s)] == v for s, v in zip(found.time_s, found.value, strict=True)
    )


def test_inputs_are_left_alone() -> None:
    t, x = np.arange(100.0), np.abs(np.sin(np.arange(100.0))) + 0.1
    t.flags.writeable = x.flags.writeable = False
    peaks = decluster(t, x, 0.5, 1.0)
    peaks.value.flags.writeable = False
    return_level(x, 0.05, flights=1, over_flights=10)


def _peaks(n: int, xi: float = -0.1, seed: int = 0) -> np.ndarray:
    return 10 + stats.genpareto.rvs(xi, scale=2, size=n, random_state=seed)


def test_too_few_peaks_are_counted_and_no_more() -> None:
    found = return_level(_peaks(29), 10, flights=3, over_flights=100)
    assert (found.level, found.low, found.high, found.fit) == (None, None, None, None)
    assert (found.peaks, found.highest) == (29, _peaks(29).max())
    assert found.refused == "29 peaks, and a return level needs 30"
    assert return_level([], 10, flights=1, over_flights=10).highest is None
    assert return_level(_peaks(30), 10, flights=3, over_flights=100).level is not None


@settings(max_examples=25)
@given(st.integers(30, 3000), st.sampled_from([0.0, 0.1, 1.0]))
def test_enough_peaks_stay_above_the_raised_threshold(n: int, resolution: float) -> None:
    peaks = _peaks(n, seed=n)
    if resolution:
        peaks = np.maximum(np.round(peaks / resolution) * resolution, 10 + resolution)
    found = return_level(peaks, 10, flights=5, over_flights=50)
    assert found.peaks == (peaks > found.threshold).sum() >= LEAST_PEAKS
    assert found.threshold >= 10
    assert found.low <= found.level <= found.high


@pytest.mark.parametrize("xi", [-0.2, 0.1])
def test_the_interval_covers_the_truth_as_often_as_it_says(xi: float) -> None:
    """Ten simulated flights of about eight peaks each; the level of a hundred flights."""
    rng = np.random.default_rng(5)
    truth = level_of(10, 2, xi, 8 * 100)
    hits = 0
    for _ in range(100):
        x = 10 + stats.genpareto.rvs(xi, scale=2, size=rng.poisson(80), random_state=rng)
        found = return_level(x, 10, flights=10, over_flights=100)
        hits += found.low <= truth <= found.high
    assert 89 <= hits <= 100  # 95 and three standard deviations below


def test_a_limited_load_is_overstated_rather_than_understated() -> None:
    """A sharp limit (every peak equally likely up to 20 A) lies outside the regular fit."""
    peaks = 10 + 10 * np.random.default_rng(2).random(200)
    found = return_level(peaks, 10, flights=10, over_flights=1000)
    assert found.high >= 20
    assert found.level <= 25


def test_rounded_readings_hardly_move_the_level() -> None:
    peaks = _peaks(300, xi=0.0, seed=9)
    fine = return_level(peaks, 10, flights=10, over_flights=100)
    coarse = return_level(np.round(peaks, 0), 10, flights=10, over_flights=100)
    assert coarse.level == pytest.approx(fine.level, rel=0.1)


def test_minima_are_maxima_of_the_negated_values() -> None:
    dips = -_peaks(60)
    found = return_level(-dips, 10, flights=4, over_flights=100)
    assert -found.level < dips.min()


def test_a_period_shorter_than_one_peak_is_refused() -> None:
    found = return_level(_peaks(30), 10, flights=1000, over_flights=1)
    assert found.level is None
    assert "less than one such peak" in found.refused


def test_the_interval_ends_at_the_farthest_levels_that_the_likelihood_allows() -> None:
    """Every shape, scale and rate of a grid, by the densities of scipy.

    Once in one flight where 20 flights had 30 peaks: a level near the threshold.
    """
    rng = np.random.default_rng(3)
    y = np.asarray(stats.genpareto.rvs(0.3, scale=2.0, size=30, random_state=rng))
    found = return_level(y, 0.0, flights=20, over_flights=1)
    assert found.fit is not None
    shapes, scales = np.meshgrid(np.linspace(-0.495, 0.995, 150), np.geomspace(0.3, 8.0, 150))
    xi, sigma = shapes.ravel(), scales.ravel()
    likely = stats.genpareto.logpdf(y[:, None], xi, scale=sigma).sum(axis=0)
    levels = []
    for rate in np.geomspace(20.1, 45.0, 400):
        drop = found.fit.log_likelihood - likely + (rate - 30 - 30 * math.log(rate / 30))
        inside = drop <= stats.chi2.ppf(0.95, 1) / 2
        levels += list(sigma[inside] * ((rate / 20) ** xi[inside] - 1) / xi[inside])
    assert found.low == pytest.approx(min(levels), rel=0.02)
    assert found.high == pytest.approx(max(levels), rel=0.02)


@pytest.mark.parametrize(
    ("sigma", "xi", "m", "rise"),
    [
        # (m^xi - 1) / xi: of 4 at 1/2 it is 2, at -1/2 it is 1, at 0 the logarithm.
        (3.0, 0.5, 4.0, 6.0),
        (3.0, -0.5, 4.0, 3.0),
        (3.0, 0.0, math.e, 3.0),
        (3.0, 1.0, 5.0, 12.0),
        (3.0, 1e-8, math.e, 3.0),
        (3.0, 0.5, 1.0, 0.0),
    ],
)
def test_level_by_hand(sigma: float, xi: float, m: float, rise: float) -> None:
    assert level_of(10.0, sigma, xi, m) == pytest.approx(10.0 + rise)


@pytest.mark.parametrize(
    ("excess", "sigma", "xi", "expected"),
    [
        ([1.0, 1.0], 1.0, 0.0, -2.0),
        ([1.0, 3.0], 2.0, 0.0, -2 * math.log(2) - 2.0),
        # -(1 + 1 / xi) log(1 + xi y / sigma), less log sigma, each.
        ([1.0, 3.0], 1.0, 1.0, -2 * math.log(2) - 2 * math.log(4)),
        ([1.0, 3.0], 2.0, 0.5, -2 * math.log(2) - 3 * math.log(1.25) - 3 * math.log(1.75)),
        ([1.0], 2.0, -0.5, -math.log(2) + math.log(0.75)),
        # On and beyond the upper end of sigma / -xi nothing can lie.
        ([2.0], 1.0, -0.5, -math.inf),
        ([2.5], 1.0, -0.5, -math.inf),
        ([1.0, 2.5], 1.0, -0.5, -math.inf),
    ],
)
def test_log_likelihood_by_hand(
    excess: list[float], sigma: float, xi: float, expected: float
) -> None:
    found = extremes.log_likelihood(np.array(excess), sigma, xi)
    assert found == (expected if math.isinf(expected) else pytest.approx(expected))


@pytest.mark.parametrize(
    ("peaks", "threshold"),
    [
        # All thirty are kept: the threshold stays.
        (np.arange(1.0, 31.0), 0.5),
        # Of 31, thirty: half-way between the second lowest and the lowest.
        (np.arange(1.0, 32.0), 1.5),
        # 1000^(2/3) / log log 1000 = 51.74: the 52nd highest is 949, below it 948.
        (np.arange(1.0, 1001.0), 948.5),
        # Equal ones stay together: seventy of 5, and the next lower is 3.
        (np.r_[np.full(40, 3.0), np.full(70, 5.0)], 4.0),
    ],
    ids=["thirty", "thirty-one", "a thousand", "equal ones"],
)
def test_the_raised_threshold_by_hand(peaks: np.ndarray, threshold: float) -> None:
    assert extremes.raised_threshold(peaks, 0.5) == threshold


@pytest.mark.parametrize(("over", "told"), [(1.0, False), (1.01, True)])
def test_a_period_must_hold_more_than_one_peak(over: float, told: bool) -> None:
    # Thirty peaks in thirty flights.
    found = return_level(_peaks(30), 10, flights=30, over_flights=over)
    assert (found.level is not None) is told
    assert (found.peaks, found.flights, found.over_flights) == (30, 30, over)
    assert found.highest == _peaks(30).max()
    assert found.threshold == 10


def test_pauses_of_just_the_run_are_one_cluster() -> None:
    found = decluster([0.0, 2.0, 4.001], [5.0, 6.0, 7.0], 1.0, run_s=2.0)
    assert (found.time_s.tolist(), found.value.tolist()) == ([2.0, 4.001], [6.0, 7.0])
    first = decluster([0.0, 1.0], [6.0, 6.0], 1.0, run_s=2.0)
    assert first.time_s.tolist() == [0.0]  # of equal ones the first
    none = decluster([], [], 1.0, 2.0)
    assert (none.time_s.size, none.value.size) == (0, 0)


def test_the_interval_is_where_the_profile_drops_by_half_a_chi_square() -> None:
    # The slow way: for each level the best of a fine grid of shapes and rates; 3.841 / 2 below the
    # best of all lie its ends.
    x = _peaks(60, seed=3) - 10.0
    found = return_level(x, 0.0, flights=10, over_flights=100)
    excess = np.sort(x)[::-1][: found.peaks] - found.threshold
    n, period = excess.size, 10.0
    assert found.fit is not None
    best = found.fit.log_likelihood + n * math.log(n) - n

    def profile(level: float) -> float:
        rates = n * np.exp(np.linspace(-0.5, 0.5, 41))
        shapes = np.linspace(-0.49, 0.99, 149) + 1e-4
        values = [
            rate_log
            + extremes.log_likelihood(
                excess, (level - found.threshold) * xi / math.expm1(xi * math.log(r * period)), xi
            )
            for r in rates
            for rate_log in [n * math.log(r) - r]
            for xi in shapes
        ]
        return best - max(values)

    assert found.low is not None
    assert found.high is not None
    for end in (found.low, found.high):
        assert profile(end) == pytest.approx(3.841459 / 2, abs=0.05)
