"""A resistance that changed, planted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics.resistance.stretches import ohm_stretch


def blocks(change_ohm: float, first: int, end: int, seed: int = 1, size: int = 150):
    """Drop over 30 mOhm and an offset of -5 mV, with 2 mV of noise; the current of a flight."""
    rng = np.random.default_rng(seed)
    amps = 0.2 + rng.gamma(2.0, 0.5, size)
    ohm = np.full(size, 0.030)
    ohm[first:end] += change_ohm
    drop = -0.005 + ohm * amps + 0.002 * rng.standard_normal(size)
    return drop, amps, np.full(size, 0.002)


@pytest.mark.parametrize(("first", "end"), [(80, 150), (0, 60), (50, 75)])
def test_a_planted_change_is_found_with_its_moment(first: int, end: int) -> None:
    found = ohm_stretch(*blocks(0.045, first, end))
    assert found is not None
    assert found.first == pytest.approx(first, abs=2)
    assert found.end == pytest.approx(end, abs=2)
    assert 1000 * found.usual_ohm == pytest.approx(30, abs=2)
    assert 1000 * found.change_ohm == pytest.approx(45, abs=3)
    assert found.change_ohm > 20 * found.se_ohm


def test_less_up_to_an_instant_is_more_from_it_on() -> None:
    found = ohm_stretch(*blocks(-0.020, 0, 40))
    assert found is not None
    assert (found.first, found.end) == pytest.approx((40, 150), abs=2)
    assert 1000 * found.change_ohm == pytest.approx(20, abs=3)
    assert 1000 * found.usual_ohm == pytest.approx(10, abs=3)


def test_the_error_agrees_with_least_squares_where_the_stretch_is_known() -> None:
    """Of the same design by numpy's solver: se of the last coefficient."""
    drop, amps, noise = blocks(0.045, 80, 150)
    found = ohm_stretch(drop, amps, noise)
    inside = np.where((np.arange(150) >= found.first) & (np.arange(150) < found.end), amps, 0.0)
    design = np.column_stack((np.ones(150), amps, inside))
    coef, rss, *_ = np.linalg.lstsq(design, drop, rcond=None)
    se = np.sqrt(rss[0] / 147 * np.linalg.inv(design.T @ design)[2, 2])
    assert found.change_ohm == pytest.approx(coef[2], rel=1e-9)
    assert found.se_ohm == pytest.approx(se, rel=0.4)


def test_without_a_change_the_likeliest_one_is_chance() -> None:
    """Of some thousand stretches the likeliest stays under six standard errors."""
    for seed in range(60):
        found = ohm_stretch(*blocks(0.0, 0, 0, seed))
        assert found is None or found.change_ohm < 6 * found.se_ohm


def test_what_tells_nothing_is_refused() -> None:
    drop, amps, noise = blocks(0.045, 10, 18, size=20)
    assert ohm_stretch(drop, amps, noise) is None
    assert ohm_stretch(np.zeros(50), np.ones(50), np.ones(50)) is None


def test_a_level_that_moved_while_the_current_hardly_did_is_no_resistance() -> None:
    """A pack falls by its charge at rest: of 0.16 V over an ampere the slope would be 160 mOhm."""
    drop, amps, noise = blocks(0.0, 0, 0)
    amps[:40] = 1.0 + 0.01 * np.random.default_rng(2).standard_normal(40)
    drop[:40] = 0.16 * np.exp(-np.arange(40) / 15) + 0.03 * amps[:40]
    found = ohm_stretch(drop, amps, noise)
    assert found is None or not found.confirmed
    planted = ohm_stretch(*blocks(0.045, 80, 150))
    assert planted is not None
    assert planted.confirmed


def test_what_the_readings_missed_of_a_fast_current_is_no_change() -> None:
    """Errors in the current lower a slope by their part of its movement (W. A. Fuller, 1987)."""
    rng = np.random.default_rng(3)
    drop, amps, noise = blocks(0.0, 0, 0)
    missed = np.where(np.arange(150) < 50, 1.1 * amps[:50].std(), 0.01)
    read = amps + missed * rng.standard_normal(150)
    found = ohm_stretch(drop, read, noise, missed)
    assert found is None or not found.confirmed


def test_what_one_line_explains_without_rest_has_no_change() -> None:
    """Voltages that were held through the whole flight: every drop is the same."""
    amps = np.linspace(0.2, 3.0, 150)
    assert ohm_stretch(np.zeros(150), amps, np.full(150, 0.002)) is None


def test_a_leap_of_the_level_under_a_calm_current_is_not_confirmed() -> None:
    """Two leads at once, 25 mOhm more under a steady ampere: a voltage that was held."""
    for level_v, rise_ohm in ((0.03, 0.0), (0.0, 0.09)):
        drop, amps, noise = blocks(0.0, 0, 0)
        rng = np.random.default_rng(4)
        inner = np.zeros(150, bool)
        inner[100:130] = True
        held = 1.2 + 0.02 * rng.standard_normal(30)
        amps[inner] = held if level_v else amps[inner]
        drop = -0.005 + 0.030 * amps + 0.002 * rng.standard_normal(150)
        drop[inner] += level_v + rise_ohm * amps[inner]
        found = ohm_stretch(drop, amps, noise, step_v=0.02)
        assert found is not None
        assert found.confirmed is (rise_ohm > 0)
        # Sensors whose steps are far below that leave no level open.
        finer = ohm_stretch(drop, amps, noise, step_v=0.002)
        assert finer is not None
        assert finer.confirmed
