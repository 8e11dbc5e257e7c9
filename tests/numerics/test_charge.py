"""Charge: the worked example, other libraries' integrals, gaps and restarts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.integrate

from telemetry.numerics.charge import (
    ChargeDrawn,
    charge_mah,
    counter_rise,
    integrate_charge,
    trapezoid_weights,
)

# Irregular example, worked by hand: 16.5 A s.
T = np.array([0.0, 1.0, 1.5, 4.0, 6.0])
I = np.array([0.0, 2.0, 4.0, 4.0, 0.0])  # noqa: E741


def test_irregular_worked_example() -> None:
    assert charge_mah(T, I) == pytest.approx(16.5 / 3.6, rel=1e-12)
    assert charge_mah(T, I) == pytest.approx(4.583333, abs=1e-6)
    weights = trapezoid_weights(T)
    np.testing.assert_allclose(weights, [0.5, 0.75, 1.5, 2.25, 1.0])
    assert weights.sum() == 6.0  # the span
    # Propagation (JCGM 100:2008): u(Q) = u(I) sqrt(sum of squared weights) = 0.1 sqrt(9.125) A s.
    drawn = integrate_charge(T, I, noise_a=0.1)
    assert drawn.noise_mah == pytest.approx(0.083910, abs=1e-6)


def test_against_scipy_on_uneven_readings() -> None:
    rng = np.random.default_rng(7)
    t = np.cumsum(rng.uniform(0.02, 1.2, 4000))
    amps = rng.gamma(2.0, 2.0, 4000)
    peer = scipy.integrate.trapezoid(amps, t) / 3.6
    assert charge_mah(t, amps, max_gap_s=2.0) == pytest.approx(peer, rel=1e-12)


def test_known_sizes() -> None:
    # Whole periods of a sine: exact. A constant offset of 0.05 A over 600 s: 30 A s.
    t = np.arange(0.0, 601.0)
    sine = 10 + 5 * np.sin(2 * np.pi * t / 10)
    assert charge_mah(t, sine) == pytest.approx(1666.6667, abs=1e-4)
    drawn = integrate_charge(t, sine, noise_a=0.2, offset_a=0.05)
    assert drawn.offset_mah == pytest.approx(8.3333, abs=1e-4)
    assert drawn.noise_mah == pytest.approx(1.3603, abs=1e-4)
    assert drawn.half_width_mah() == pytest.approx(np.hypot(1.96 * 1.3603, 8.3333), abs=1e-3)


@pytest.mark.parametrize(("steps", "area"), [(2, 0.5), (4, 0.603553), (10, 0.631375)])
def test_half_sine_pulse(steps: int, area: float) -> None:
    # Trapezoid over N aligned steps: (1 / N) cot(pi / 2N), from first principles.
    t = np.linspace(0.0, 1.0, steps + 1)
    assert 3.6 * charge_mah(t, np.sin(np.pi * t)) == pytest.approx(area, abs=1e-6)


def test_a_gap_counts_nothing_and_widens_the_interval() -> None:
    t = np.array([0.0, 1.0, 2.0, 12.0, 13.0, 14.0])
    amps = np.array([2.0, 2.0, 2.0, 6.0, 6.0, 6.0])
    drawn = integrate_charge(t, amps, max_gap_s=3.0)
    assert drawn.mah == pytest.approx((4.0 + 12.0) / 3.6)
    assert drawn.gap_s == 10.0
    assert (drawn.gap_low_mah, drawn.gap_high_mah) == pytest.approx((20 / 3.6, 60 / 3.6))
    assert drawn.best_mah == pytest.approx((16.0 + 40.0) / 3.6)
    assert drawn.half_width_mah() == pytest.approx(20 / 3.6)
    # Whatever flowed in the gap between the lowest and the highest current is inside.
    for inside in (2.0, 4.0, 6.0):
        truth = (16.0 + 10.0 * inside) / 3.6
        assert abs(truth - drawn.best_mah) <= drawn.half_width_mah() + 1e-9


def test_random_phase_is_unbiased() -> None:
    # Regular sampling at random phase: T times the sum of a pulse is unbiased although it misses
    # peaks (mean over the phase equals the integral). Half sine of area 2 / pi, T = 0.7 of it.
    rng = np.random.default_rng(1)
    got = []
    for _ in range(4000):
        t = np.arange(-3, 4) * 0.7 + 0.7 * rng.random()
        pulse = np.where((t > 0) & (t < 1), np.sin(np.pi * t), 0.0)
        got.append(3.6 * charge_mah(t, pulse))
    assert np.mean(got) == pytest.approx(2 / np.pi, abs=0.01)


@pytest.mark.parametrize(
    ("counter", "rise"),
    [
        ([0, 5, 9, 20], 20.0),
        ([100, 150, 150, 180], 80.0),
        ([100, 180, 0, 40], 120.0),  # started anew
        ([100, 180, 6, 40, 2, 10], 80 + 40 + 10.0),  # twice; what it shows was counted since
        ([100, 180, 170, 200], 110.0),  # an older value kept: only the further rise counts
        ([-29980, 10, 30, 29970, 29970], 29970.0),  # counted the other way before it began anew
        ([0, -10, -20, -20], 0.0),  # charging is no restart, however long
        ([50], 0.0),
    ],
)
def test_counter_pieces_add(counter: list[float], rise: float) -> None:
    assert counter_rise(np.array(counter, dtype=float)) == rise


def test_counter_noise_is_no_restart() -> None:
    assert counter_rise(np.array([0.0, 10.0, 9.0, 11.0]), least_fall=1.0) == 11.0


def test_nothing_read() -> None:
    empty = np.zeros(0)
    assert charge_mah(empty, empty) == 0.0
    assert integrate_charge(np.zeros(1), np.ones(1)).mah == 0.0


def test_a_step_of_just_the_longest_counts() -> None:
    t, amps = np.array([0.0, 3.0, 6.001]), np.array([1.2, 1.2, 1.2])
    # 3 s of 1.2 A: one mAh; a thousandth of a second more is a gap.
    assert charge_mah(t, amps, max_gap_s=3.0) == pytest.approx(1.0)
    drawn = integrate_charge(t, amps, max_gap_s=3.0)
    assert drawn.gap_s == pytest.approx(3.001)
    assert drawn.gap_mah == pytest.approx(1.2 * 3.001 / 3.6)
    # Each step may have a longest of its own.
    each = integrate_charge(t, amps, max_gap_s=np.array([2.0, 4.0]))
    assert (each.mah, each.gap_s) == (pytest.approx(1.2 * 3.001 / 3.6), 3.0)


def test_weights_of_single_readings_are_nothing() -> None:
    assert trapezoid_weights(np.array([5.0])).tolist() == [0.0]
    assert trapezoid_weights(np.empty(0)).size == 0
    assert trapezoid_weights(np.array([5.0, 7.0])).tolist() == [1.0, 1.0]
    assert trapezoid_weights(np.array([0.0, 1.0, 9.0]), 2.0).tolist() == [0.5, 0.5, 0.0]


def test_half_width_by_hand() -> None:
    # 1.96 (3) and a gain of 5 % of 100 in squares, an offset of 4 beside them; in the gaps the
    # further end, 7 above or 9 below.
    drawn = ChargeDrawn(
        mah=100.0, gap_mah=20.0, gap_low_mah=15.0, gap_high_mah=27.0, noise_mah=3.0, offset_mah=4.0
    )
    inner = (5.88**2 + 5.0**2 + 4.0**2) ** 0.5
    assert drawn.half_width_mah(0.05) == pytest.approx(7.0 + inner)
    below = replace(drawn, gap_low_mah=11.0)
    assert below.half_width_mah(0.05) == pytest.approx(9.0 + inner)
    assert drawn.half_width_mah() == pytest.approx(7.0 + (5.88**2 + 4.0**2) ** 0.5)
    assert drawn.best_mah == 120.0


def test_a_single_reading_has_no_charge_and_no_gap() -> None:
    drawn = integrate_charge(np.zeros(1), np.ones(1), noise_a=1.0, offset_a=1.0)
    assert drawn == ChargeDrawn(mah=0.0)
    assert integrate_charge(np.empty(0), np.empty(0)) == ChargeDrawn(mah=0.0)


@pytest.mark.parametrize(
    ("counter", "least_fall", "rise"),
    [
        # Back by more than half of what it was: what it shows was counted since.
        ([100, 49], 0.0, 49.0),
        ([100, 50], 0.0, 0.0),  # just half: an older value kept
        ([100, 51, 60], 0.0, 9.0),
        ([-100, -49], 0.0, 0.0),  # towards zero from below, and still below it
        ([-100, 49], 0.0, 49.0),
        ([-100, -50], 0.0, 50.0),
        # A fall within what is noise is taken off again; one beyond it is not.
        ([10, 8, 12], 2.0, 2.0),
        ([10, 8, 12], 1.999, 4.0),
        ([2, 0, 3], 2.0, 1.0),
        ([2, 0, 3], 1.999, 3.0),
    ],
)
def test_counter_rules_at_their_edges(counter: list[float], least_fall: float, rise: float) -> None:
    assert counter_rise(np.array(counter, dtype=float), least_fall) == rise
