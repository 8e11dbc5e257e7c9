"""Charge and rest voltages of a few readings, worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.charge import measure_charge, missed_by_reading, rest_volts, sensor_step_a
from telemetry.measure.sharing import sharing_of
from telemetry.model.channels import Quantity
from telemetry.readings import Readings
from telemetry.results import Charge, Phase, PhaseKind

Make = Callable[..., Readings]
U, A, Q = Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED
PAIR = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
ELEVEN = np.arange(11.0)  # ten seconds of one reading each


def charge_of(readings: Readings, craft: Aircraft, phases: tuple[Phase, ...]) -> tuple[Charge, ...]:
    return measure_charge(readings, craft, phases, sharing_of(readings, craft, phases, ()))


def _only(readings: Readings, phases: tuple[Phase, ...] = ()) -> Charge:
    (found,) = charge_of(readings, PAIR, phases)
    return found


def _ground(*spans: tuple[float, float]) -> tuple[Phase, ...]:
    return tuple(Phase(kind=PhaseKind.GROUND, start_s=a, end_s=b) for a, b in spans)


# Charge and its uncertainty


def test_a_steady_current(make_readings: Make) -> None:
    # 3.6 A for 10 s; 1 % of gain.
    found = _only(make_readings({("bus", A): (ELEVEN, np.full(11, 3.6))}))
    assert found.place == "bus"
    assert found.integrated_mah == pytest.approx(10.0)
    assert found.uncertain_mah == pytest.approx(0.1)
    assert (found.logged_mah, found.share, found.start_v) == (None, None, None)


def test_half_a_step_of_the_sensor_is_its_offset(make_readings: Make) -> None:
    # 0.05 A for 10 s are 0.5 / 3.6 mAh; half widths of 95 %, and half of them.
    made = make_readings({("bus", A): (ELEVEN, np.full(11, 3.6))}, resolution=0.1)
    assert _only(made).uncertain_mah == pytest.approx(0.5 * math.hypot(0.2, 0.5 / 3.6))


def test_what_readings_miss_between_them(make_readings: Make) -> None:
    # Neighbours differ by 1 A: sqrt(1/2) each. Squares of the weights 9 + 2 / 4 s^2.
    amps = np.where(ELEVEN % 2 == 0, 3.0, 4.0)
    found = _only(make_readings({("bus", A): (ELEVEN, amps)}))
    assert found.integrated_mah == pytest.approx(35 / 3.6)
    noise = 1.96 * math.sqrt(0.5 * 9.5) / 3.6
    assert found.uncertain_mah == pytest.approx(0.5 * math.hypot(noise, 0.02 * 35 / 3.6))


def test_half_of_how_neighbours_differ_is_missed(make_readings: Make) -> None:
    (amps,) = make_readings({("bus", A): ([0, 1, 2], [1.0, 3.0, 2.0])}).channels
    assert missed_by_reading(amps) == pytest.approx(math.sqrt(0.5 * (4 + 1) / 2))


@pytest.mark.parametrize(
    ("update_s", "step_s", "gap"),
    [(1.0, 3.0, False), (1.0, 3.01, True), (0.1, 1.0, False), (0.1, 1.01, True),
     (None, 1.0, False), (None, 1.01, True)],
)  # fmt: skip
def test_a_gap_holds_the_lowest_or_the_highest_current(
    make_readings: Make, update_s: float | None, step_s: float, gap: bool
) -> None:
    # Over three updates and over a second. From 0 to 4 A, straight 2 A: 2 A of doubt.
    t = np.array([0.0, step_s])
    made = make_readings({("bus", A): (t, [0.0, 4.0])}, update_s=update_s)
    found = _only(made)
    assert found.integrated_mah == pytest.approx(2 * step_s / 3.6)
    noise = 1.96 * math.sqrt(8) * step_s * math.sqrt(0.5) / 3.6
    own = 2 * step_s / 3.6 if gap else math.hypot(noise, 0.02 * 2 * step_s / 3.6)
    assert found.uncertain_mah == pytest.approx(0.5 * own)


def test_limits_say_what_a_gap_is(make_readings: Make) -> None:
    made = make_readings({("bus", A): ([0.0, 4.0], [0.0, 4.0])})
    wide = PAIR.model_copy(update={"limits": PAIR.limits.model_copy(update={"gap_s": 4.0})})
    (found,) = charge_of(made, wide, ())
    assert found.uncertain_mah > _only(made).uncertain_mah


def test_what_flows_back_is_all_in_doubt(make_readings: Make) -> None:
    found = _only(make_readings({("bus", A): (ELEVEN, np.full(11, -3.6))}))
    assert found.integrated_mah == pytest.approx(-10.0)
    assert found.uncertain_mah == pytest.approx(10.0 + 0.1)


@pytest.mark.parametrize(("resolution", "rise"), [(1.0, 5.0), (0.9, 7.0), (None, 7.0)])
def test_a_counter_may_fall_by_two_of_its_steps(
    make_readings: Make, resolution: float | None, rise: float
) -> None:
    made = make_readings({("pack 1", Q): ([0, 1, 2], [100, 98, 105])}, resolution=resolution)
    found = _only(made)
    assert found.logged_mah == rise
    assert (found.integrated_mah, found.uncertain_mah) == (None, None)


def test_one_reading_is_no_charge(make_readings: Make) -> None:
    found = _only(make_readings({("bus", A): ([0.0], [1.0]), ("bus", Q): ([0.0], [9.0])}))
    assert (found.integrated_mah, found.uncertain_mah, found.logged_mah) == (None, None, None)
    two = _only(make_readings({("bus", A): ([0, 1], [3.6, 3.6]), ("bus", Q): ([0, 1], [9, 10])}))
    assert (two.integrated_mah, two.logged_mah) == (pytest.approx(1.0), 1.0)


def test_places_with_a_current_or_a_counter(make_readings: Make) -> None:
    series: dict[tuple[str, ...], Any] = {
        ("bus", U): (ELEVEN, ELEVEN),
        ("tail", A, "max"): (ELEVEN, ELEVEN),
        ("", A): (ELEVEN, ELEVEN),
        ("pack 2", Q): (ELEVEN, ELEVEN),
        ("pack 1", A): (ELEVEN, ELEVEN),
        ("pack 2", A): (ELEVEN, ELEVEN),
    }
    found = charge_of(make_readings(series), PAIR, ())
    assert [c.place for c in found] == ["pack 2", "pack 1"]


@pytest.mark.parametrize(
    ("kinds", "share"),
    [
        ((PhaseKind.FLIGHT, PhaseKind.STIR), 0.75),
        ((PhaseKind.GROUND, PhaseKind.STIR), 0.25),
        ((PhaseKind.REDUNDANCY_CHECK, PhaseKind.GROUND), None),
    ],
)
def test_sharing_is_judged_in_flight_or_else_in_stirs(
    make_readings: Make, kinds: tuple[PhaseKind, PhaseKind], share: float | None
) -> None:
    t = np.arange(64.0)
    one = np.where(t < 32, 3.0, 1.0)
    made = make_readings({("pack 1", A): (t, one), ("pack 2", A): (t, 4.0 - one)})
    phases = tuple(
        Phase(kind=k, start_s=32.0 * i, end_s=32.0 * (i + 1)) for i, k in enumerate(kinds)
    )
    found = charge_of(made, PAIR, phases)
    assert [c.share for c in found] == ([None, None] if share is None else [share, 1 - share])


@pytest.mark.parametrize(
    ("values", "resolution", "step"),
    [
        ([0.0, 3.31], 3.31, 0.01),
        ([0.0, 3.3], 3.3, 0.1),
        ([0.0, 3.0], 3.0, 1.0),
        ([0.0, 3.31], 0.005, 0.005),
        ([0.0, 3.31], None, 0.0),
        ([0, 1.1, 2.2, 3.3, 4.4], 1.1, 0.1),
        ([0, 1.1, 2.2, 3.3, 4.4, 5.5], 1.1, 1.1),
        ([0, 1.1, 2.2, 3.3, 4.4, 4.4], 1.1, 0.1),
        ([0.0, 1.234567e-4], 1.0, 1e-6),
        ([0.0, 0.12345], 1.0, 1e-5),
    ],
)
def test_few_values_are_told_by_their_digits(
    make_readings: Make, values: list[float], resolution: float | None, step: float
) -> None:
    (amps,) = make_readings(
        {("bus", A): (np.arange(len(values)), values)}, resolution=resolution
    ).channels
    assert sensor_step_a(amps) == pytest.approx(step, rel=1e-9)


# Voltage at rest


def _rest(
    make: Make,
    t: Any,
    volts: Any,
    phases: tuple[Phase, ...] = (),
    amps: tuple[Any, Any] | None = None,
    **more: Any,
) -> tuple[float | None, float | None]:
    series = {("pack 1", U): (t, volts)}
    if amps is not None:
        series["pack 1", A] = amps
    made = make(series, **more)
    return rest_volts("pack 1", made.get(A, "pack 1"), made, phases)


def test_on_the_ground_near_start_and_end(make_readings: Make) -> None:
    # Of 1000 s the first and the last 180; at both bounds itself no more.
    t = [0, 1, 179.9, 180, 500, 820, 820.1, 998, 999]
    volts = [8.0, 8.2, 8.1, 8.3, 7.0, 7.1, 7.2, 7.4, 7.3]
    whole = _ground((0, 1000))
    assert _rest(make_readings, t, volts, whole, end_s=1000.0) == (8.1, 7.3)
    assert _rest(make_readings, t, volts, _ground((0, 1)), end_s=1000.0) == (None, None)
    ends = _ground((0, 180), (998, 1000))
    assert _rest(make_readings, t, volts, ends, end_s=1000.0) == (8.1, None), "three are needed"
    assert _rest(make_readings, [], [], whole) == (None, None)
    assert _rest(make_readings, t, volts, end_s=1000.0) == (None, None), "when at rest?"


def test_medians_are_over_twenty(make_readings: Make) -> None:
    t = np.arange(30.0)
    # 0 to 19 hundredths below 8 V, median 9.5; 10 to 29, median 19.5.
    found = _rest(make_readings, t, 8 - 0.01 * t, _ground((0, 30)), end_s=30.0)
    assert found == pytest.approx((8 - 0.095, 8 - 0.195))


@pytest.mark.parametrize(("volts", "on"), [(4.0, False), (4.01, True)])
def test_a_pack_that_is_switched_off_is_not_at_rest(
    make_readings: Make, volts: float, on: bool
) -> None:
    # Off: up to half of the voltage that a tenth exceeds, of eleven the second highest: 8 V.
    v = [volts, volts, volts, 6.0, 6.0, 6.0, 6.0, 6.0, 6.0, 8.0, 9.0]
    first, _ = _rest(make_readings, np.arange(11), v, _ground((0, 3)))
    assert first == (volts if on else None)


def _sorted(*, lowest: float, low: float, third: float, high: float) -> np.ndarray:
    """101 currents: the 1st, 2nd and 3rd lowest, and around the 96th of them."""
    return np.r_[
        lowest, low, third, np.full(30, third), np.full(62, 0.9 * high), high, np.full(5, 2 * high)
    ]


@pytest.mark.parametrize(
    ("amps", "rested"),
    [
        (_sorted(lowest=0, low=3.0, third=3.2, high=10), True),
        (_sorted(lowest=0, low=3.01, third=3.01, high=10), False),
        (_sorted(lowest=3.0, low=3.0, third=3.0, high=9.9), False),
    ],
    ids=["at 30 %", "above", "above the lower high"],
)
def test_a_current_never_below_three_tenths_was_never_at_rest(
    make_readings: Make, amps: np.ndarray, rested: bool
) -> None:
    """Of its 95th percentile, by its first percentile; on the ground it rests all the same."""
    t, volts = np.arange(101.0), np.full(101, 8.0)
    found = _rest(make_readings, t, volts, amps=(t, amps))
    assert found[0] == (8.0 if rested else None)
    assert _rest(make_readings, t, volts, _ground((0, 101)), (t, amps))[0] == 8.0


def test_at_rest_flows_the_lowest_seventh_of_the_current(make_readings: Make) -> None:
    # From 2 to 12 A: up to 2 + 0.15 * 10 A.
    for amps, first in ((3.5, 8.2), (3.51, None)):
        flow = np.r_[np.full(3, amps), np.full(60, 12.0), np.full(37, 2.0)]
        volts = np.r_[np.full(3, 8.2), np.full(97, 8.0)]
        t = np.arange(100.0)
        found = _rest(make_readings, t, volts, _ground((0, 3)), (t, flow), end_s=999.0)
        assert found[0] == first


@pytest.mark.parametrize(("update_s", "age_s"), [(1.0, 5.0), (2.0, 10.0), (None, 5.0)])
def test_a_current_is_known_for_five_updates(
    make_readings: Make, update_s: float | None, age_s: float
) -> None:
    flow = ([0.0, 1.0, 2.0], [9.0, 9.0, 0.0])
    for late, first in ((0.0, 8.0), (0.1, None)):
        t = 2.0 + np.array([age_s - 1, age_s - 0.5, age_s + late])
        found = _rest(make_readings, t, [8.0] * 3, amps=flow, update_s=update_s)
        assert found[0] == first


def test_the_current_of_a_pack_that_is_off_tells_nothing_of_its_rest(make_readings: Make) -> None:
    # On, 1 to 10 A: at rest up to 1 + 0.15 * 9 = 2.35 A. With the zeros while off: up to 1.5 A.
    t = np.arange(100.0)
    volts = np.where(t < 40, 0.0, 8.0)
    flow = np.r_[np.zeros(40), np.full(5, 2.3), np.full(5, 1.0), np.full(50, 10.0)]
    volts[40:45] = 8.2
    found = _rest(make_readings, t, volts, amps=(t, flow), end_s=999.0)
    assert found[0] == 8.1, "five readings each of 8.2 and 8 V"


def test_currents_that_were_read_before_any_voltage_count_all(make_readings: Make) -> None:
    flow = ([0.0, 1.0, 2.0], [0.0, 10.0, 0.0])
    assert _rest(make_readings, [3, 4, 5], [8.0] * 3, amps=flow)[0] == 8.0


def test_one_current_reading_tells_no_rest(make_readings: Make) -> None:
    one = ([0.0], [9.0])
    t = [0, 1, 2]
    assert _rest(make_readings, t, [8.0] * 3, _ground((0, 3)), one)[0] == 8.0
    assert _rest(make_readings, t, [8.0] * 3, amps=one) == (None, None)


def test_rest_voltages_are_of_the_record(make_readings: Make) -> None:
    made = make_readings({
        ("pack 1", U): ([0, 1, 2, 300, 301, 302], [8.1, 8.1, 8.1, 7.9, 7.9, 7.9]),
        ("pack 1", Q): ([0, 302], [0, 100]),
    })  # fmt: skip
    found = _only(made, _ground((0, 400)))
    assert (found.start_v, found.end_v) == (8.1, 7.9)
