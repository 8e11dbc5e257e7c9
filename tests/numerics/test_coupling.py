"""Voltage and current of one place by their numbers: Ohm's law, Joule's law, and a sum."""

from __future__ import annotations

import numpy as np

from telemetry.numerics.coupling import (
    counts,
    falls_with,
    is_power,
    like_a_current,
    like_a_voltage,
    supply_like,
)

RNG = np.random.default_rng(4)
AMPS = np.abs(RNG.normal(0.0, 2.0, 600)) + 0.2
VOLTS = 8.4 - 0.03 * AMPS


def test_a_voltage_behind_a_resistance_falls_exactly_with_its_current() -> None:
    assert falls_with(VOLTS, AMPS) < -0.999999
    assert falls_with(VOLTS, -AMPS) < -0.999999  # a current that counts negative when drawn
    assert falls_with(8.4 + RNG.normal(0.0, 0.01, 600), AMPS) > -0.3
    assert falls_with(VOLTS[:20], AMPS[:20]) == 0.0  # too few rows to say


def test_what_looks_like_a_voltage_and_a_current() -> None:
    assert like_a_voltage(VOLTS)
    assert not like_a_voltage(np.round(VOLTS * 1000))
    assert not like_a_voltage(AMPS)
    assert like_a_current(AMPS)
    assert not like_a_current(VOLTS)


def test_a_power_is_the_product_and_no_other_current() -> None:
    assert is_power(VOLTS * AMPS, VOLTS, AMPS)
    assert is_power(1000 * VOLTS * AMPS, VOLTS, AMPS)
    assert not is_power(0.5 * AMPS, VOLTS, AMPS)


def test_a_counter_counts_its_current_and_not_the_rows() -> None:
    assert counts(np.round(np.cumsum(AMPS) / 18), AMPS)
    assert not counts(np.arange(600.0), AMPS)
    assert not counts(np.cumsum(np.abs(RNG.normal(0.0, 2.0, 600)) * np.arange(600)), AMPS)


def test_a_column_that_goes_with_the_supplies_of_its_log() -> None:
    assert supply_like(np.round(VOLTS * 1000), [], [AMPS]) == "voltage"
    assert supply_like(AMPS, [VOLTS], []) == "current"
    assert supply_like(RNG.normal(25.0, 0.3, 600), [VOLTS], [AMPS]) == ""
