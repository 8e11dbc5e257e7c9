"""Bringing two signals together: curves, rings, low-passes and lags."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import scipy.integrate
import scipy.interpolate
import scipy.signal

from telemetry.numerics.resistance.matching import (
    Curve,
    Fast,
    Match,
    Rings,
    find_match,
    low_passed,
    smoothed,
    usual_step,
)

Make = Callable[..., Any]


def test_window_mean_of_the_curve_equals_quadrature() -> None:
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.1, 0.4, 60))
    curve = Curve(t, rng.standard_normal(60))
    at = np.array([3.0, 5.5, 9.1])
    peer = [scipy.integrate.quad(lambda x: float(curve.at(x)), a - 0.35, a + 0.35)[0] for a in at]
    np.testing.assert_allclose(curve.at(at, 0.7), np.array(peer) / 0.7, rtol=1e-6)


def test_the_curve_is_that_of_scipy_also_beyond_its_ends() -> None:
    # scipy.interpolate.CubicHermiteSpline, with slopes from numpy.gradient.
    rng = np.random.default_rng(3)
    t, v = np.cumsum(rng.uniform(0.1, 0.4, 200)), rng.standard_normal(200)
    curve, peer = Curve(t, v), scipy.interpolate.CubicHermiteSpline(t, v, np.gradient(v, t))
    at = np.concatenate((t, rng.uniform(t[0] - 0.3, t[-1] + 0.3, 500)))
    np.testing.assert_allclose(curve.at(at), peer(at), rtol=1e-9, atol=1e-12)
    mean = [peer.integrate(a - 0.2, a + 0.2) / 0.4 for a in at]
    np.testing.assert_allclose(curve.at(at, 0.4), mean, rtol=1e-9, atol=1e-11)


def test_curve_goes_through_its_readings_and_is_exact_for_parabolas() -> None:
    t = np.array([0.0, 1.0, 2.5, 3.0, 4.2, 5.0, 6.5])
    curve = Curve(t, t**2)
    np.testing.assert_allclose(curve.at(t), t**2, atol=1e-12)
    inner = np.array([1.7, 2.6, 3.3, 4.8])
    np.testing.assert_allclose(curve.at(inner), inner**2, atol=1e-12)


def test_ring_mean_against_a_slow_twin() -> None:
    rng = np.random.default_rng(3)
    t = np.sort(rng.uniform(0, 30, 200))
    v, at = rng.standard_normal(200), np.linspace(-1, 31, 25)
    expected = []
    for a in at:
        away = np.abs(t - a)
        inside = v[(away >= 0.5) & (away <= 2.0)]
        expected.append(inside.mean() if inside.size else np.nan)
    np.testing.assert_allclose(Rings(t, at, 0.5).mean(v, 2.0), expected)
    assert np.isnan(Rings(t, np.array([100.0]), 0.5).mean(v, 2.0)).all()


def test_low_pass_answers_a_step_like_its_closed_form() -> None:
    t = np.arange(0.0, 40.0, 0.5)
    step = np.where(t >= 10.0, 1.0, 0.0)
    at = np.array([9.0, 12.0, 20.0, 35.0])
    # The signal rises along a straight line from 9.5 to 10 s: on the mean the step is at 9.75 s.
    expected = np.where(at > 10, 1 - np.exp(-(at - 9.75) / 6.0), 0.0)
    np.testing.assert_allclose(smoothed(t, step, 6.0, 0.05, at), expected, atol=5e-4)


@pytest.mark.parametrize("size", [1, 2, 9, 5000])
@pytest.mark.parametrize("keep", [0.0, 1e-30, 0.1, 0.9, 0.9999])
def test_low_pass_is_the_filter_of_scipy(size: int, keep: float) -> None:
    x = np.random.default_rng(size).normal(size=size)
    wanted, _ = scipy.signal.lfilter([1.0 - keep], [1.0, -keep], x, zi=[keep * 0.7])
    assert low_passed(x, keep, 0.7) == pytest.approx(wanted, rel=1e-12, abs=1e-13)


def test_the_running_mean_is_taken_out() -> None:
    t = np.sort(np.random.default_rng(1).uniform(0, 100, 400))
    v = 8.2 - 0.002 * t + 0.1 * np.sin(7 * t)
    expected = [v[k] - v[np.abs(t - t[k]) <= 10.0].mean() for k in range(t.size)]
    np.testing.assert_allclose(Fast(t, 20.0).of(v), expected, atol=1e-12)


@pytest.mark.parametrize("delay", [-0.2, 0.0, 0.3])
def test_finds_the_lag(sensed: Make, delay: float) -> None:
    s = sensed(4, delay_v=delay, swing_s=0.4, every_v=0.1, every_i=0.12)
    match = find_match(s.t_v, s.v, Curve(s.t_i, s.i))
    assert match.lag_s == pytest.approx(delay, abs=0.04)
    assert match.window_s == 0.0


def test_finds_a_window_of_averaging(sensed: Make) -> None:
    # The voltage averages over its own second, ending at the instant: half a second late.
    s = sensed(5, averages=True, swing_s=0.4, every_v=1.0, every_i=0.1, seconds=600)
    match = find_match(s.t_v, s.v, Curve(s.t_i, s.i))
    assert match.window_s == pytest.approx(1.0, rel=0.05)
    assert match.lag_s == pytest.approx(0.45, abs=0.07)


def test_window_means_of_a_parabola() -> None:
    # The mean of t^2 over w about a is a^2 + w^2 / 12; twice through, by the readings themselves.
    t = np.arange(12.0)
    curve = Curve(t, t**2)
    at = np.array([4.0, 6.5])
    assert curve.at(at, 2.0) == pytest.approx(at**2 + 4 / 12)
    assert curve.at(at, 0.0) == pytest.approx(at**2)


def test_the_usual_step_is_the_median() -> None:
    assert usual_step(np.array([0.0, 1.0, 2.0, 4.0, 99.0])) == 1.5


@pytest.mark.parametrize(
    ("inner", "outer", "expected"),
    [
        (1.0, 2.0, (8 + 16 + 64 + 128) / 4),  # both ends of the ring belong to it
        (1.001, 1.999, np.nan),
        (1.5, 2.5, (8 + 128) / 2),
        (0.0, 1.0, (16 + 32 + 32 + 64) / 4),  # the middle on either side
        (4.5, 5.5, (1 + 1024) / 2),
        (5.5, 9.0, np.nan),
    ],
)
def test_ring_by_hand(inner: float, outer: float, expected: float) -> None:
    t = np.arange(11.0)
    found = Rings(t, np.array([5.0]), inner).mean(2.0**t, outer)
    assert found == pytest.approx([expected], nan_ok=True)


def test_ring_at_the_ends_is_one_sided() -> None:
    t = np.arange(11.0)
    found = Rings(t, np.array([0.0, 10.0, -1.5]), 1.0).mean(2.0**t, 2.0)
    assert found == pytest.approx([(2 + 4) / 2, (512 + 256) / 2, 1.0])


def test_the_running_mean_holds_both_ends_of_its_window() -> None:
    # Over 2 s about 2 s: the readings at 1, 2, 3 s: (2 + 4 + 8) / 3.
    t = np.arange(5.0)
    found = Fast(t, 2.0).of(2.0**t)
    assert found == pytest.approx([1 - 1.5, 2 - 7 / 3, 4 - 14 / 3, 8 - 28 / 3, 16 - 12])
    assert Fast(t, 1.99).of(2.0**t) == pytest.approx([0.0] * 5)


def test_low_pass_on_its_grid_by_hand() -> None:
    # Half is kept from second to second. It stood at the mean of the first five: 6.4. Then half of
    # that and half of each mean over a second: of 0 (at once), 4, 8, 8.
    t = np.arange(8.0)
    v = np.r_[0.0, np.full(7, 8.0)]
    at = np.array([0.0, 1.0, 2.0, 3.0, 1.5])
    found = smoothed(t, v, 1 / np.log(2), 1.0, at)
    assert found == pytest.approx([3.2, 3.6, 5.8, 6.9, 4.7])


@pytest.mark.parametrize(("step_s", "start"), [(1.0, 6 / 5), (2.0, 3.0), (2.5, 3.0), (9.0, 6.0)])
def test_before_the_first_reading_it_stood_at_the_mean_of_five_seconds(
    step_s: float, start: float
) -> None:
    # So slow that it never leaves it. On grids of 1, 2, 2.5 and 9 s: 5, 2, 2 and 1 points.
    t = 0.5 * np.arange(60)
    v = np.where(t == 0, 6.0, 0.0)
    found = smoothed(t, v, 1e9, step_s, np.array([0.0, 10.0, 29.0]))
    assert found == pytest.approx([start] * 3, rel=1e-6)


def test_the_low_pass_is_followed_to_the_last_reading() -> None:
    t = np.array([10.0, 10.4, 11.0])
    found = smoothed(t, np.full(3, 5.0), 2.0, 0.25, np.array([10.0, 11.0, 12.0]))
    assert found == pytest.approx([5.0] * 3)
    # So quick that it shows the mean over each step: to 11 s 0.875, to 11.25 s (1 + 1.1) / 2, as
    # it stands still from 11.1 s on; two fifths of the way.
    rising = smoothed(np.array([10.0, 11.1]), np.array([0.0, 1.1]), 1e-3, 0.25, np.array([11.1]))
    assert rising == pytest.approx([0.875 + 0.4 * 0.175])


def waves(t: np.ndarray) -> np.ndarray:
    """A current of several periods, from 1.9 to 7 s."""
    return sum(np.sin(2 * np.pi * t / p + p) for p in (1.9, 2.7, 4.1, 7.0))  # type: ignore[return-value]


def waves_mean(t: np.ndarray, window_s: float) -> np.ndarray:
    """Their mean over a window about each instant: each wave times sin(a) / a, a = pi w / p."""
    return sum(  # type: ignore[return-value]
        np.sinc(window_s / p) * np.sin(2 * np.pi * t / p + p) for p in (1.9, 2.7, 4.1, 7.0)
    )


@pytest.mark.parametrize(
    ("every_s", "lag_s"),
    [
        # Looked for in steps of 0.1 s (0.05 s where it is read every 0.1 s), then of a quarter.
        (0.2, 0.0), (0.2, 0.3), (0.2, -0.3), (0.2, 0.325), (0.2, 0.65), (0.2, -0.7),
        (0.1, 0.0875), (0.1, -0.5375), (0.4, 0.75), (0.04, 0.0125),
    ],
)  # fmt: skip
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_lag_of_known_size(every_s: float, lag_s: float, sign: float) -> None:
    t = np.arange(0.0, 120.0, every_s)
    found = find_match(t, 8 + sign * waves(t - lag_s), Curve(t, 3 + waves(t)), sign=sign)
    assert found == (pytest.approx(lag_s, abs=1e-9), 0.0)


def test_a_lag_is_looked_for_up_to_half_a_second_and_most_of_an_interval() -> None:
    # 0.5 + 0.6 (0.2): steps of 0.1 to 0.6, and four quarters of a step more.
    t = np.arange(0.0, 120.0, 0.2)
    found = find_match(t, -waves(t - 0.9), Curve(t, waves(t)))
    assert found.lag_s == pytest.approx(0.7)


def test_falling_with_the_current_is_meant_unless_said() -> None:
    t = np.arange(0.0, 120.0, 0.2)
    assert find_match(t, -waves(t - 0.3), Curve(t, waves(t))).lag_s == pytest.approx(0.3)
    assert find_match(t, waves(t - 0.3), Curve(t, waves(t))).lag_s != pytest.approx(0.3)


@pytest.mark.parametrize(("every_s", "window_s"), [(1.0, 1.0), (1.25, 1.25)])
def test_means_over_the_own_interval_of_known_lag(every_s: float, window_s: float) -> None:
    t_x, t = np.arange(0.0, 200.0, 0.125), np.arange(0.0, 200.0, every_s)
    y = -waves_mean(t - 0.5, window_s)
    found = find_match(t, y, Curve(t_x, waves(t_x)))
    assert found.window_s == pytest.approx(window_s)
    assert found.lag_s == pytest.approx(0.5, abs=0.013)
    plain = find_match(t, -waves(t - 0.5), Curve(t_x, waves(t_x)))
    assert plain == (pytest.approx(0.5, abs=0.013), 0.0)


@pytest.mark.parametrize(("every_s", "averages"), [(0.75, False), (0.8125, True)])
def test_means_are_looked_for_where_the_other_is_read_half_as_often_again(
    every_s: float, averages: bool
) -> None:
    t_x, t = np.arange(0.0, 200.0, 0.5), np.arange(0.0, 200.0, every_s)
    found = find_match(t, -waves_mean(t, every_s), Curve(t_x, waves(t_x)))
    assert (found.window_s > 0) is averages


@pytest.mark.parametrize(("window_s", "believed"), [(0.625, False), (0.75, True)])
def test_a_window_must_fit_a_five_hundredth_better(window_s: float, believed: bool) -> None:
    # Each wave is damped by sin(a) / a of its period. Over 0.625 s, a correlation with the plain
    # waves of 0.9981; over 0.75 s, 0.9958.
    t_x, t = np.arange(0.0, 200.0, 0.125), np.arange(0.0, 200.0, window_s)
    found = find_match(t, -waves_mean(t, window_s), Curve(t_x, waves(t_x)))
    assert (found.window_s > 0) is believed


@pytest.mark.parametrize(("n", "told"), [(2, False), (3, True)])
def test_three_readings_within_the_others_are_the_least(n: int, told: bool) -> None:
    # More than the longest lag (0.5 + 0.6 (1)) and an interval inside 0 to 60 s: from 2.1 s on.
    t_x = np.arange(0.0, 60.0, 0.1)
    t = 10.0 + np.arange(float(n))
    found = find_match(t, -waves(t - 0.4), Curve(t_x, waves(t_x)))
    assert (found != Match(0.0, 0.0)) is told


def test_nothing_moves_nothing_lags() -> None:
    t = np.arange(0.0, 60.0, 0.2)
    assert find_match(t, np.sin(t), Curve(t, np.zeros(t.size))) == Match(0.0, 0.0)


def test_what_stands_still_has_no_lag() -> None:
    """Between its readings a regulated voltage is not 6.0 V to the last bit."""
    rng = np.random.default_rng(4)
    t, t_y = np.cumsum(rng.uniform(0.08, 0.12, 2000)), np.cumsum(rng.uniform(0.08, 0.12, 2000))
    noise = rng.standard_normal(2000)
    assert find_match(t_y, noise, Curve(t, np.full(2000, 6.0)), sign=1.0) == Match(0.0, 0.0)
    nearly = 6.0 + 1e-15 * rng.standard_normal(2000)
    assert find_match(t_y, noise, Curve(t, nearly), sign=1.0) == Match(0.0, 0.0)
