"""Bringing two signals together: curves, rings, low-passes and lags."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import scipy.integrate

from telemetry.signals.matching import Curve, Fast, find_match, ring_mean, smoothed

Make = Callable[..., Any]


def test_window_mean_of_the_curve_equals_quadrature() -> None:
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.1, 0.4, 60))
    curve = Curve(t, rng.standard_normal(60))
    at = np.array([3.0, 5.5, 9.1])
    peer = [scipy.integrate.quad(lambda x: float(curve.at(x)), a - 0.35, a + 0.35)[0] for a in at]
    np.testing.assert_allclose(curve.at(at, 0.7), np.array(peer) / 0.7, rtol=1e-6)


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
    np.testing.assert_allclose(ring_mean(t, v, at, 0.5, 2.0), expected)
    assert np.isnan(ring_mean(t, v, np.array([100.0]), 0.5, 2.0)).all()


def test_low_pass_answers_a_step_like_its_closed_form() -> None:
    t = np.arange(0.0, 40.0, 0.5)
    step = np.where(t >= 10.0, 1.0, 0.0)
    at = np.array([9.0, 12.0, 20.0, 35.0])
    # The signal rises along a straight line from 9.5 to 10 s: on the mean the step is at 9.75 s.
    expected = np.where(at > 10, 1 - np.exp(-(at - 9.75) / 6.0), 0.0)
    np.testing.assert_allclose(smoothed(t, step, 6.0, 0.05, at), expected, atol=5e-4)


def test_the_running_mean_is_taken_out() -> None:
    t = np.sort(np.random.default_rng(1).uniform(0, 100, 400))
    v = 8.2 - 0.002 * t + 0.1 * np.sin(7 * t)
    expected = [v[k] - v[np.abs(t - t[k]) <= 10.0].mean() for k in range(t.size)]
    np.testing.assert_allclose(Fast(t, 20.0).of(v), expected, atol=1e-12)


@pytest.mark.parametrize("delay", [-0.2, 0.0, 0.3])
def test_finds_the_lag(sensed: Make, delay: float) -> None:
    s = sensed(4, delay_v=delay, swing_s=0.4, every_v=0.1, every_i=0.12)
    match = find_match(s.t_v, s.v, s.t_i, s.i)
    assert match.lag_s == pytest.approx(delay, abs=0.04)
    assert match.window_s == 0.0


def test_finds_a_window_of_averaging(sensed: Make) -> None:
    # The voltage averages over its own second, ending at the instant: half a second late.
    s = sensed(5, averages=True, swing_s=0.4, every_v=1.0, every_i=0.1, seconds=600)
    match = find_match(s.t_v, s.v, s.t_i, s.i)
    assert match.window_s == pytest.approx(1.0, rel=0.05)
    assert match.lag_s == pytest.approx(0.45, abs=0.07)
