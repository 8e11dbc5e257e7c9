"""Sensors: update instants, windows, extremes, resolution, rows, losses, counters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.model.channels import Quantity
from telemetry.simulate.telemetry.rows import Loss, Wrong, sense
from telemetry.simulate.telemetry.sensors import (
    Mode,
    Sensor,
    Telemetry,
    TelemetryUnit,
    counted_mah,
    quantised,
    read,
    update_instants,
    uptime_s,
)

DT = 0.01
VOLTS = Sensor(place="bus", quantity=Quantity.VOLTAGE, resolution=0.01)
AMPS = Sensor(place="bus", quantity=Quantity.CURRENT, resolution=0.01)
N = 6000
ON = np.ones(N, dtype=bool)


def _rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def _sense(telemetry, signals, *, on=ON, losses=(), wrong=()):
    return sense(telemetry, signals, {}, {"bus": on}, DT, _rng(), losses=losses, wrong=wrong)


def test_intervals_are_the_units_own() -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.4, jitter_s=0.01, drift=0.05)
    steps = np.diff(update_instants(unit, 0, ON, DT, _rng()))
    # Jitter is drawn for each instant: steps scatter by its square root of two, their mean is the
    # interval of the unit's own clock.
    assert steps.mean() == pytest.approx(0.42, rel=1e-2)
    assert steps.std() == pytest.approx(0.01 * np.sqrt(2), rel=0.3)


def test_staggered_sensors_take_turns() -> None:
    unit = TelemetryUnit(
        place="bus", sensors=(VOLTS, AMPS), interval_s=0.4, jitter_s=0.0, staggered=True
    )
    first, second = (update_instants(unit, i, ON, DT, _rng()) for i in (0, 1))
    assert np.allclose(second[:50] - first[:50], 0.2)


def test_a_unit_that_is_off_reads_nothing() -> None:
    on = ON.copy()
    on[2000:3000] = False
    times = update_instants(TelemetryUnit(place="bus", sensors=(VOLTS,)), 0, on, DT, _rng())
    assert not ((times >= 20.0) & (times < 30.0)).any()
    assert (times > 30.0).any()


def test_instant_mean_and_extremes_of_a_ramp() -> None:
    ramp = np.arange(N) * 0.001
    at = np.array([10.0, 10.5, 11.0])
    fine = replace(VOLTS, resolution=1e-6)
    instant = read(fine, ramp, at, DT, _rng())
    assert instant == pytest.approx([1.000, 1.050, 1.100])
    mean = read(replace(fine, mode=Mode.MEAN, window_s=0.2), ramp, at, DT, _rng())
    assert mean == pytest.approx(instant - 0.0105, abs=1e-9)  # mean of the 20 steps before
    lowest = read(replace(fine, mode=Mode.MIN), ramp, at, DT, _rng())
    assert lowest[1:] == pytest.approx([1.001, 1.051])
    highest = read(replace(fine, mode=Mode.MAX), ramp, at, DT, _rng())
    assert highest == pytest.approx(instant)


def test_minimum_hold_sees_what_instants_miss() -> None:
    volts = np.full(N, 7.0)
    volts[3003:3006] = 5.0
    at = np.arange(0.5, 59.0, 0.5)
    assert read(VOLTS, volts, at, DT, _rng()).min() == pytest.approx(7.0)
    assert read(replace(VOLTS, mode=Mode.MIN), volts, at, DT, _rng()).min() == pytest.approx(5.0)


def test_gain_offset_noise_and_resolution() -> None:
    steady = np.full(N, 4.0)
    at = np.arange(0.0, 59.0, 0.01)
    exact = read(replace(VOLTS, gain=1.02, offset=-0.1, resolution=0.001), steady, at, DT, _rng())
    assert exact == pytest.approx(np.full(at.size, 3.98))
    noisy = read(replace(VOLTS, noise=0.05, resolution=0.02), steady, at, DT, _rng())
    assert noisy.std() == pytest.approx(np.hypot(0.05, 0.02 / np.sqrt(12)), rel=0.05)
    assert np.allclose(noisy / 0.02, np.round(noisy / 0.02))


def test_halves_round_up_whatever_the_last_bit() -> None:
    halves = np.array([0.005, 0.015, 0.025, 1.115])
    assert quantised(halves, 0.01) == pytest.approx([0.01, 0.02, 0.03, 1.12])


def test_quantisation_error_is_even() -> None:
    # Standard deviation of an even error of one step: step / sqrt(12), 0.288675 of it.
    values = _rng().random(200_000) * 3.0
    assert (quantised(values, 0.1) - values).std() == pytest.approx(0.0288675, rel=0.01)


def test_rows_repeat_the_last_reading_or_stay_blank() -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.5, jitter_s=0.0, delay_s=0.0)
    signals = {"bus/voltage": np.arange(N) * 0.01}
    held, made = _sense(Telemetry(units=(unit,), row_s=0.1), signals)
    blank, _ = _sense(Telemetry(units=(unit,), row_s=0.1, blanks=True), signals)
    values, sparse = held.columns[0].values, blank.columns[0].values
    assert np.array_equal(values[10:15], np.full(5, values[10]))
    news = np.isfinite(sparse)
    assert news.sum() == made["bus/voltage"].time_s.size
    assert np.array_equal(sparse[news], values[news])


def test_readings_come_late_by_the_delay() -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.5, jitter_s=0.0, delay_s=0.25)
    table, _ = _sense(Telemetry(units=(unit,), row_s=0.01), {"bus/voltage": np.arange(N) * 0.01})
    at = np.searchsorted(table.time_s, 10.2)
    assert table.columns[0].values[at] == pytest.approx(9.5)


@pytest.mark.parametrize("blank", [False, True])
def test_a_lost_link_freezes_or_blanks(blank: bool) -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.2)
    loss = Loss(start_s=20.0, end_s=26.0, receiver=1, blank=blank)
    table, _ = _sense(
        Telemetry(units=(unit,), row_s=0.1), {"bus/voltage": np.arange(N) * 0.01}, losses=(loss,)
    )
    inside = (table.time_s >= 20.5) & (table.time_s < 25.9)
    values = table.columns[0].values[inside]
    assert np.isnan(values).all() if blank else np.ptp(values) == 0.0
    after = table.columns[0].values[table.time_s > 26.5]
    assert after[0] > 26.0


def test_another_receiver_is_not_touched() -> None:
    units = tuple(
        TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.2, receiver=r) for r in (1, 2)
    )
    loss = Loss(start_s=20.0, end_s=26.0, receiver=1, blank=True)
    table, _ = _sense(
        Telemetry(units=units, row_s=0.1), {"bus/voltage": np.arange(N) * 0.01}, losses=(loss,)
    )
    inside = (table.time_s >= 20.5) & (table.time_s < 25.9)
    assert np.isnan(table.columns[0].values[inside]).all()
    assert np.isfinite(table.columns[1].values[inside]).all()


def test_counter_and_uptime_begin_again_with_the_unit() -> None:
    on = ON.copy()
    on[3000:3100] = False
    amps = np.full(N, 3.6)
    mah, up = counted_mah(amps, on, DT), uptime_s(on, DT)
    assert mah[2999] == pytest.approx(3.6 * 30.0 / 3.6, rel=1e-2)  # 3.6 A for 30 s are 30 mAh
    assert mah[3100] < 0.1
    assert mah[-1] == pytest.approx(29.0, rel=1e-2)
    assert up[2999] == pytest.approx(29.99)
    assert up[3050] == 0.0
    assert up[-1] == pytest.approx(28.99)


def test_counter_does_not_run_backwards() -> None:
    amps = np.where(np.arange(N) < 3000, -1.0, 1.0)
    assert counted_mah(amps, ON, DT)[[2999, -1]] == pytest.approx([0.0, 30.0 / 3.6], rel=1e-3)


def test_counter_carries_its_current_sensors_truth() -> None:
    counter = Sensor(place="bus", quantity=Quantity.CONSUMED, resolution=1.0)
    unit = TelemetryUnit(place="bus", sensors=(counter,), interval_s=1.0)
    table, _ = _sense(Telemetry(units=(unit,)), {"bus/current": np.full(N, 6.0)})
    assert table.columns[0].values[-1] == pytest.approx(6.0 * 60 / 3.6, abs=3.0)


def test_one_wrong_reading_is_alone() -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,), interval_s=0.2)
    planted = Wrong(time_s=30.0, key="bus/voltage", value=0.0)
    _, made = _sense(Telemetry(units=(unit,)), {"bus/voltage": np.full(N, 7.0)}, wrong=(planted,))
    assert (made["bus/voltage"].values == 0.0).sum() == 1


def test_rows_may_jitter_and_miss() -> None:
    unit = TelemetryUnit(place="bus", sensors=(VOLTS,))
    telemetry = Telemetry(units=(unit,), row_s=0.1, row_jitter_s=0.02, rows_missing=0.1)
    table, _ = _sense(telemetry, {"bus/voltage": np.full(N, 7.0)})
    assert (np.diff(table.time_s) > 0).all()
    assert table.time_s.size == pytest.approx(0.9 * 600, rel=0.06)
