"""First passage of a drift: against the inverse Gaussian, walks, and series whose end is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from telemetry.numerics.statistics.passage import CONFIDENCE, Remaining, passage_times, remaining

N = 20_000


def rng(seed: int = 3) -> np.random.Generator:
    return np.random.default_rng(seed)


# A Wiener process with drift reaches a level after an inverse Gaussian time.


@pytest.mark.parametrize(
    ("distance", "drift", "diffusion"), [(10.0, 1.0, 1.0), (3.0, 0.5, 2.0), (50.0, 2.0, 0.3)]
)
def test_towards_the_level_against_scipy(distance: float, drift: float, diffusion: float) -> None:
    # scipy.stats.invgauss(mu, scale): mean mu * scale, shape parameter lambda = scale.
    shape = (distance / diffusion) ** 2
    exact = stats.invgauss(distance / drift / shape, scale=shape)
    times = passage_times(rng(), np.full(N, distance), drift, diffusion)
    assert stats.kstest(times, exact.cdf).pvalue > 0.01
    assert times.mean() == pytest.approx(distance / drift, rel=0.05)


def test_away_from_the_level_against_scipy() -> None:
    # Reached with probability exp(2 m d / q^2) = exp(-1), and then as with the drift turned round.
    times = passage_times(rng(), np.full(N, 2.0), -0.25, 1.0)
    reached = times[np.isfinite(times)]
    chance = stats.binomtest(reached.size, N, np.exp(-1.0)).pvalue
    assert chance > 0.01
    assert stats.kstest(reached, stats.invgauss(8.0 / 4.0, scale=4.0).cdf).pvalue > 0.01


@pytest.mark.parametrize("drift", [0.4, -0.2])
def test_against_walks_in_small_steps(drift: float) -> None:
    step, walks, steps = 0.02, 2000, 1000  # up to t = 20
    moves = drift * step + 0.8 * np.sqrt(step) * rng(4).standard_normal((walks, steps))
    highest = np.maximum.accumulate(np.cumsum(moves, axis=1), axis=1)
    times = passage_times(rng(5), np.full(N, 2.0), drift, 0.8)
    for t in (2.0, 5.0, 10.0, 20.0):
        # A walk that is looked at now and then oversteps late: by 0.5826 of its step's deviation
        # (Broadie, Glasserman, Kou, Mathematical Finance 7 (1997) 325-348, from memory).
        seen = 2.0 - 0.5826 * 0.8 * np.sqrt(step)
        walked = float(np.mean(highest[:, round(t / step) - 1] >= seen))
        assert float(np.mean(times <= t)) == pytest.approx(walked, abs=0.035)


def test_ends_of_a_passage() -> None:
    times = passage_times(rng(), [0.0, -1.0, 6.0, 6.0, 6.0], [1, 1, 2, 0, -2], [1, 0, 0, 0, 0])
    assert times.tolist() == [0.0, 0.0, 3.0, np.inf, np.inf]
    assert np.median(passage_times(rng(), np.full(N, 1.0), 0.0, 1.0)) == pytest.approx(
        # No drift: twice the tail of a normal, P(T <= t) = 2 P(Z > 1 / sqrt(t)).
        1.0 / stats.norm.isf(0.25) ** 2,
        rel=0.05,
    )


# What is left.


def line(flights: int, rate: float = 1.0, sd: float = 0.3, seed: int = 6) -> np.ndarray:
    return rate * np.arange(flights) + sd * rng(seed).standard_normal(flights)


def left(y: np.ndarray, limit: float, sd: float = 0.3, start: float = 0.0) -> Remaining:
    return remaining(start + np.arange(float(y.size)), y, limit, sd=sd, sd_weight=8.0)


def test_a_steady_line_is_dated() -> None:
    found = left(line(21), 30.0)  # 20 now, the limit is 10 steps ahead
    assert found.low <= 10 <= found.high
    assert found.tells
    assert found.high <= 2 * found.low


def test_what_grows_ever_faster_is_not_drawn_out_as_a_line() -> None:
    k = np.arange(21)
    y = 20.0 * (k / 20) ** 2.5 + 0.1 * rng(7).standard_normal(21)
    found = left(y, 60.0, sd=0.1)
    exact = 20 * (3 ** (1 / 2.5) - 1)  # 11.04; by the mean rate 40, by the newest one 16
    assert found.low <= np.ceil(exact) <= found.high
    assert found.tells


@pytest.mark.parametrize("power", [0.85, 1.25, 2.0, 3.2, 5.0])
@pytest.mark.parametrize("sd", [0.05, 0.3, 1.0])
def test_any_power_of_the_time_is_dated(power: float, sd: float) -> None:
    k = np.arange(21)
    ends = np.ceil(20 * (2.0 ** (1 / power) - 1))  # 20 now, the limit is 40
    hits = []
    for seed in range(10):
        found = left(20.0 * (k / 20) ** power + sd * rng(seed).standard_normal(21), 40.0, sd=sd)
        hits.append(found.low <= ends <= found.high)
        assert found.high <= 3 * found.low
    assert np.mean(hits) >= 0.7


def test_a_jump_to_begin_with_is_no_rate() -> None:
    y = np.r_[0.0, 10.0 + 0.5 * np.arange(20)] + 0.2 * rng(8).standard_normal(21)
    found = left(y, 25.0, sd=0.2)  # 19.5 now; by the mean rate since the first value 6 steps
    assert found.low <= 11 <= found.high


@pytest.mark.parametrize(
    "y",
    [
        pytest.param(line(4, 0.3, 1.0), id="few and scattered"),
        pytest.param(np.r_[0.0, 5.0 - 0.2 * np.arange(15.0)], id="falling back"),
    ],
)
def test_what_says_nothing_is_said_to(y: np.ndarray) -> None:
    assert not left(y, 30.0, sd=1.0).tells


@pytest.mark.parametrize(
    ("ends", "tells"),
    [
        ((1, 9), True),
        ((2, 20), True),
        ((2, 21), False),
        ((3, np.inf), False),
        ((np.inf, np.inf), False),
    ],
)
def test_an_interval_within_one_order_of_magnitude_tells(
    ends: tuple[float, float], tells: bool
) -> None:
    assert Remaining(ends[0], 5.0, ends[1]).tells is tells


def test_more_values_narrow_it_and_more_scatter_widens_it() -> None:
    def width(found: Remaining) -> float:
        return found.high / found.low

    assert width(left(line(25), 40.0)) < width(left(line(6), 21.0))
    assert width(left(line(15), 30.0)) < width(left(line(15, sd=2.0), 30.0, sd=2.0))


def test_units_and_numbering_do_not_matter() -> None:
    y = line(12)
    plain = left(y, 25.0)
    assert left(1000 * y, 25_000.0, sd=300.0) == plain
    assert left(y, 25.0, start=80.0) == plain
    y.flags.writeable = False
    assert left(y, 25.0) == plain  # and the same each time


def test_many_values_are_averaged() -> None:
    # 400 values of a step of 0.1 each, about 17 of them to one of 24.
    many = remaining(
        np.arange(0, 40, 0.1), 1.0 * np.arange(0, 40, 0.1) + 0.9 * rng(9).standard_normal(400),
        60.0, sd=0.9, sd_weight=8.0,
    )  # fmt: skip
    assert many.low <= 20 <= many.high
    assert many.tells


def test_without_any_scatter_it_still_ends() -> None:
    found = left(np.arange(10.0), 15.0, sd=0.0)
    assert found.low <= 6 <= found.high


def test_already_over_the_limit_is_the_next_step() -> None:
    assert left(line(12), 9.0) == Remaining(1.0, 1.0, 1.0)


def test_its_interval_holds_the_truth_as_often_as_it_says() -> None:
    # Calibration by simulation: what grows is drawn as the function takes it to, so the interval
    # has to hold the end in 80 % of cases (S. R. Cook, A. Gelman, D. B. Rubin, J. Comput. Graph.
    # Stat. 15 (2006) 675-692, from memory).
    g, hits = rng(10), []
    while len(hits) < 250:
        n, ahead = int(g.integers(6, 25)), 2000
        power = float(np.clip(1.7 * np.exp(0.6 * g.standard_normal()), 0.55, 6.5))
        unsteady = g.choice([0.0, 0.25, 0.5, 1.0, 2.0], p=[0.2, 0.25, 0.25, 0.2, 0.1])
        jump = g.choice([0.0, 1.0])
        u = (np.arange(n + ahead) / (n - 1)) ** power
        size = g.uniform(5.0, 40.0)
        steps = unsteady * np.sqrt(n - 1) * np.sqrt(np.diff(u)) * g.standard_normal(u.size - 1)
        grown = g.normal(0.0, size) * u + np.r_[0.0, np.cumsum(steps)]
        grown[1:] += g.normal(0.0, jump * size / 3)
        limit = g.uniform(1.1, 2.5) * max(grown[n - 1], 3.0)
        over = np.flatnonzero(grown >= limit)
        if grown[n - 1] <= 0 or (over.size and over[0] < n):
            continue  # nobody asks
        scatter = np.sqrt(8.0 / g.chisquare(8.0))
        found = left(grown[:n] + scatter * g.standard_normal(n), float(limit), sd=1.0)
        end = float(over[0] - n + 1) if over.size else np.inf
        hits.append(found.low <= end <= found.high)
    # Ends are whole steps and belong to it, so it holds the truth a little more often.
    assert CONFIDENCE - 0.04 <= np.mean(hits) <= CONFIDENCE + 0.1
