"""Wild cells by hand: numbers nobody measured, and those measured though they are odd."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.model.channels import Quantity, bounds_of
from telemetry.numerics.wild import calm, few, remote, uncounted, wild

VOLTS = np.tile([8.2, 8.21, 8.18, 8.2], 50)
AMPS = np.tile([0.3, 1.2, 0.4, 2.9], 50)
COUNT = np.repeat(np.arange(100.0, 150.0), 4)


def marked(values: np.ndarray, quantity: Quantity, hold: str = "") -> list[int]:
    found = wild(values, *bounds_of(quantity, hold))
    rows = [int(i) for mask in found.values() for i in np.flatnonzero(mask)]
    assert len(rows) == len(set(rows)), "no cell has two reasons"
    return sorted(rows)


def planted(values: np.ndarray, **cells: float) -> np.ndarray:
    out = values.copy()
    for row, value in cells.items():
        out[int(row[1:])] = value
    return out


@pytest.mark.parametrize("value", [795000.0, 150.0, -3.0, -1e308, 1e308])
@pytest.mark.parametrize("hold", ["", "min"])
def test_a_voltage_that_no_supply_has(value: float, hold: str) -> None:
    cells = {f"r{i}": value for i in (3, 70, 71, 72, 190)}
    assert marked(planted(VOLTS, **cells), Quantity.VOLTAGE, hold) == [3, 70, 71, 72, 190]


@pytest.mark.parametrize("value", [150000.0, -150000.0, 501.0, 150.0, -150.0, 1e308])
def test_a_current_that_no_lead_carries(value: float) -> None:
    cells = {"r3": value, "r70": -value, "r71": value}
    assert marked(planted(AMPS, **cells), Quantity.CURRENT) == [3, 70, 71]


def test_what_happened_stays() -> None:
    """A supply gone for rows, also a little below zero; a stalled servo's peak, long and short."""
    gone = VOLTS.copy()
    gone[60:66] = [0.0, -0.02, 0.0, 0.01, 0.0, 3.0]
    assert marked(gone, Quantity.VOLTAGE) == []
    peak = AMPS.copy()
    peak[60:80], peak[120] = 18.0, 25.0
    assert marked(peak, Quantity.CURRENT) == []
    back = AMPS.copy()
    back[60:62] = -4.0
    assert marked(back, Quantity.CURRENT) == []


def test_a_number_with_the_other_sign() -> None:
    """Not where the sign is usual, where nothing else has that size, or where it stays."""
    flipped = planted(AMPS, r3=-2.9, r70=-0.9, r120=-1.2)
    assert marked(flipped, Quantity.CURRENT) == [3, 70, 120]
    assert marked(-flipped, Quantity.CURRENT) == [3, 70, 120]
    assert marked(planted(AMPS, r70=-4.0, r120=-0.01), Quantity.CURRENT) == []
    assert marked(planted(AMPS, r70=-1.2, r71=-1.2), Quantity.CURRENT) == []
    assert marked(flipped, Quantity.CONTROL) == []
    both = np.where(np.arange(200) % 20 == 7, -AMPS, AMPS)
    assert marked(both, Quantity.CURRENT) == []


def test_a_quiet_column_may_move() -> None:
    still = np.zeros(400)
    assert marked(planted(still, r50=12.0, r51=8.0), Quantity.CURRENT) == []
    assert marked(planted(still, r50=-100.0), Quantity.CONTROL) == []
    assert marked(planted(still, r50=90.0), Quantity.ALTITUDE) == []
    assert marked(planted(still, r50=9e4), Quantity.ALTITUDE) == [50]


def test_a_pack_near_the_end_of_the_possible_keeps_its_readings() -> None:
    """28 cells charged to 4.18 V: 117 V full and 98 V when empty."""
    assert marked(np.linspace(117.0, 98.0, 500), Quantity.VOLTAGE) == []


def test_a_wrong_unit_is_no_wild_cell() -> None:
    assert marked(1000.0 * VOLTS, Quantity.VOLTAGE) == []


def test_what_no_sensor_sends_is_wild_in_few_cells_as_well() -> None:
    assert marked(np.array([0.4, np.nan, 1e308]), Quantity.CURRENT) == [2]
    assert marked(np.array([-1e101, 1e308]), Quantity.CURRENT) == [0, 1]


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_a_counter_that_jumps_and_comes_back(rows: int) -> None:
    up, down = COUNT.copy(), COUNT.copy()
    up[40 : 40 + rows] = np.linspace(9000.0, 500.0, rows)
    down[40 : 40 + rows] = 5.0
    there = list(range(40, 40 + rows))
    assert list(np.flatnonzero(uncounted(up))) == there
    assert list(np.flatnonzero(uncounted(down))) == there
    assert marked(up, Quantity.UPTIME) == marked(up, Quantity.CONSUMED) == there


def test_a_counter_that_begins_anew_counts() -> None:
    anew = np.r_[COUNT, np.arange(0.0, 60.0)]
    assert not uncounted(anew).any()
    late = np.r_[COUNT, 2.0, 3.0]
    assert not uncounted(late).any()
    lost = COUNT.copy()
    lost[40:43] = 0.0
    assert not uncounted(lost).any(), "zeros are a unit not heard"
    up = np.r_[COUNT, 900.0]
    assert list(np.flatnonzero(uncounted(up))) == [COUNT.size]


@pytest.mark.parametrize("value", [155.0, 100.0])
def test_a_counter_that_was_off_by_some_steps_did_not_count(value: float) -> None:
    """A tenth of what it holds is a tenth of the charge that is counted twice."""
    assert list(np.flatnonzero(uncounted(planted(COUNT, r160=value)))) == [160]
    trembles = planted(COUNT, r161=144.0, r165=139.0)
    assert not uncounted(trembles).any()


def test_cells_before_a_counter_counts() -> None:
    first = np.r_[9000.0, 4e4, COUNT]
    assert list(np.flatnonzero(uncounted(first))) == [0, 1]
    carried = np.r_[np.full(30, 9000.0), COUNT]  # begun anew after half a minute: it counted
    assert not uncounted(carried).any()
    assert marked(np.r_[COUNT, -24756.0], Quantity.UPTIME) == [COUNT.size]


def test_more_in_a_row_than_wild_cells_come_are_none() -> None:
    up = COUNT.copy()
    up[40:46] = 900.0
    assert not uncounted(up).any()
    high = np.zeros(10_000)
    high[500:506] = 1e6
    assert not remote(high, 3.0, 300.0).any()
    high[505] = 0.0
    assert list(np.flatnonzero(remote(high, 3.0, 300.0))) == list(range(500, 505))


def test_few_cells_have_no_usual_range() -> None:
    assert (few(19), few(20), few(400), few(20_000)) == (0, 5, 5, 20)
    assert not remote(np.r_[np.zeros(18), 1e9], 3.0, 1.0).any()
    assert np.array_equal(calm(np.r_[VOLTS, 795000.0]), VOLTS)
    assert calm(VOLTS) is VOLTS


def test_a_control_far_off_its_travel_is_wild() -> None:
    """Pulses of 1,000 to 2,000 us about 1,500 (common practice, no source); travel in per cent."""
    chance = np.random.default_rng(8)
    pulse = np.clip(chance.normal(1500.0, 250.0, 2000), 1000.0, 2000.0)
    for wild_us in (0.0, -1.0, 6553.5, 14990.0):
        assert marked(planted(pulse, r700=wild_us), Quantity.CONTROL) == [700], wild_us
    assert marked(planted(pulse, r700=2300.0, r900=800.0), Quantity.CONTROL) == []
    calm = 1500.0 + chance.normal(0.0, 5.0, 2000)
    assert marked(planted(calm, r700=1000.0, r900=2000.0), Quantity.CONTROL) == []
    percent = chance.normal(0.0, 4.0, 2000)
    assert marked(planted(percent, r700=100.0, r900=-125.0), Quantity.CONTROL) == []
    assert marked(planted(percent, r700=-999.9, r900=327.67), Quantity.CONTROL) == [700, 900]
