"""Numbers to values: exact units, sentinels, zeros; and text to numbers with losses counted."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry import read_log
from telemetry.importer.names.evidence import judge_unit, shape_of
from telemetry.importer.names.values import (
    convert,
    find_sentinels,
    garbage_at_the_ends,
    leading_zeros,
    possible,
    repeats,
    resolution,
    stand_ins,
    zeros_in_a_counter,
)
from telemetry.importer.text.numbers import to_numbers
from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS

nan = np.nan


@given(st.integers(-10_000_000, 10_000_000), st.sampled_from(["mV", "mA", "cV", "mOhm", "ms"]))
def test_thousandths_are_the_double_nearest_to_the_decimal(count: int, symbol: str) -> None:
    unit = UNITS[symbol]
    exact = Decimal(count) * (Decimal("0.01") if symbol == "cV" else Decimal("0.001"))
    assert convert(np.array([float(count)]), unit)[0] == float(exact)


@given(st.integers(0, 500_000))
def test_ampere_hours_become_short_milliampere_hours(count: int) -> None:
    exact = Decimal(count) / 10000 * 1000
    assert convert(np.array([count / 10000]), UNITS["Ah"])[0] == float(exact)


@pytest.mark.parametrize(
    ("symbol", "value", "want"),
    [
        # Exact by definition (NIST SP 811, B.9: degF, ft, mile, knot, ampere hour).
        ("degF", 212.0, 100.0),
        ("degF", -40.0, -40.0),
        ("ft", 100.0, 30.48),
        ("km/h", 36.0, 10.0),
        ("kn", 3600.0, 1852.0),
        ("mph", 1.0, 0.44704),
        ("As", 3600.0, 1000.0),
        ("Ah", 1.5, 1500.0),
        ("min", 1.5, 90.0),
    ],
)
def test_units_convert_exactly(symbol: str, value: float, want: float) -> None:
    assert convert(np.array([value]), UNITS[symbol])[0] == pytest.approx(want, rel=1e-15)


@pytest.mark.parametrize(
    ("values", "quantity", "unit", "found"),
    [
        ([8210, 8200, 65535], Quantity.VOLTAGE, "mV", [65535]),
        ([8.21, 8.2, 655.35], Quantity.VOLTAGE, "V", [655.35]),
        ([8.21, 8.2, -1], Quantity.VOLTAGE, "V", [-1]),
        ([25, 26, 32767], Quantity.TEMPERATURE, "degC", [32767]),
        ([-1, -2, 3], Quantity.TEMPERATURE, "degC", []),
        ([25, 26, -32768], Quantity.TEMPERATURE, "degC", [-32768]),
        ([9998, 9999, 10000], Quantity.CONSUMED, "mAh", []),
        ([9997, 9998, 9999], Quantity.VOLTAGE, "mV", []),
        ([99, 100, -1], Quantity.REMAINING, "%", [-1]),
        ([65535, 65535], Quantity.VOLTAGE, "mV", []),
        ([1, 2, 65535], Quantity.UNKNOWN, "V", []),
        # A round number only where it is over ten times as far out as all others.
        ([500, 999, 9999], Quantity.CONSUMED, "mAh", [9999]),
        ([500, 1000, 9999], Quantity.CONSUMED, "mAh", []),
        ([5, 99, 999], Quantity.CONSUMED, "mAh", [999]),
        ([5, 100, 999], Quantity.CONSUMED, "mAh", []),
        # The end of a number range: three times.
        ([500, 21844, 65535], Quantity.CONSUMED, "mAh", [65535]),
        ([500, 21846, 65535], Quantity.CONSUMED, "mAh", []),
        # A small number far beyond next to nothing may have been measured.
        ([0.05, 0.06, -1], Quantity.TEMPERATURE, "degC", []),
        ([0.05, 0.06, 99.9], Quantity.TEMPERATURE, "degC", []),
    ],
)
def test_sentinels_only_where_physics_says_so(
    values: list[float], quantity: Quantity, unit: str, found: list[float]
) -> None:
    got = find_sentinels(np.array(values, dtype=float), quantity, UNITS[unit])
    assert [s.raw for s in got] == found


def test_a_wild_cell_hides_no_sentinel() -> None:
    values = np.full(100, 8.2)
    values[10:20], values[50] = 65535.0, 3e11
    found = find_sentinels(values, Quantity.VOLTAGE, UNITS["V"])
    assert [(s.raw, s.count) for s in found] == [(65535.0, 10)]


SAGGING = np.round(8.3 - 0.3 * np.random.default_rng(8).random(400), 2)


@pytest.mark.parametrize("share", [0.005, 0.1, 0.5, 0.95])
@pytest.mark.parametrize(
    "number",
    [
        65535,
        32767,
        32768,
        -32768,
        9999,
        999.9,
        327.67,
        655.35,
        655.4,
        99.99,
        -1,
        255,
        4294967295,
        2147483647,
        -2147483648,
        999,
        99999,
        999999,
        -999999,
    ],
)
def test_a_number_for_no_value_is_told_by_its_looks_however_many_rows(
    number: float, share: float
) -> None:
    values = SAGGING.copy()
    rows = np.random.default_rng(9).permutation(len(values))[: max(3, int(share * len(values)))]
    values[rows] = number
    assert stand_ins(values) == (number,)
    assert stand_ins(SAGGING) == ()
    shape = shape_of(values)
    assert judge_unit(shape, Quantity.VOLTAGE, None).unit is UNITS["V"]
    found = find_sentinels(values, Quantity.VOLTAGE, UNITS["V"])
    assert [(s.raw, s.count) for s in found] == [(number, len(rows))]


@pytest.mark.parametrize(
    "values",
    [
        np.arange(400.0) * 0.7,  # a counter that passes 255
        np.r_[np.arange(-40.0, 40.0), -1.0, -1.0, -1.0],  # below zero all the same
        np.r_[np.zeros(50), -1.0, -1.0, -1.0, np.ones(50)],  # noise of whole amperes
        np.r_[np.full(50, 65530.0), np.full(50, 65535.0), np.full(50, 65520.0)],
        np.r_[np.linspace(0.0, 40.0, 100), np.full(5, 99.9), np.linspace(40.0, 95.0, 100)],
    ],
)
def test_a_number_among_its_like_was_measured(values: np.ndarray) -> None:
    assert stand_ins(values) == ()


@pytest.mark.parametrize(("times", "found"), [(1, ()), (2, (32.767,))])
def test_the_end_of_a_range_near_the_values_stands_there_twice(
    times: int, found: tuple[float, ...]
) -> None:
    """Once, a temperature just below 33 may have been measured."""
    assert stand_ins(np.r_[np.linspace(20.0, 25.0, 101), np.full(times, 32.767)]) == found


def test_rows_at_the_ends_that_are_garbage_hold_no_readings() -> None:
    rng = np.random.default_rng(10)
    columns = [SAGGING.copy(), rng.gamma(2.0, 1.0, 400), np.arange(400.0), rng.normal(20, 1, 400)]
    assert garbage_at_the_ends(columns) == (0, 0)
    for c, number in zip(columns, (44258.0, -30000.0, 12888.0, 17000.0), strict=True):
        c[:3] = c[-1] = number
    assert garbage_at_the_ends(columns) == (3, 1)
    # A supply that is not switched on is no garbage, nor is what one column shows alone.
    columns = [np.r_[np.zeros(5), SAGGING] for _ in range(4)]
    columns[0][0] = 1e6
    assert garbage_at_the_ends(columns) == (0, 0)


def test_a_column_that_holds_nothing_but_the_end_of_its_range_is_no_value(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{0.1 * i:.1f},{v},65535" for i, v in enumerate(SAGGING)]
    path.write_text("\n".join(["Time [s],Pack 1 [V],Left wing [V]", *rows]) + "\n")
    log = read_log(path)
    assert list(log.frame) == ["pack 1/voltage"]
    assert "column 'Left wing [V]' holds nothing but 65535: no value" in log.provenance.notes


@pytest.mark.parametrize(
    ("columns", "wild", "rows"),
    [
        (3, 3, 50),
        (2, 2, 50),
        (3, 3, 49),
        (6, 3, 50),
        (6, 4, 50),
    ],
)
def test_garbage_shows_in_three_columns_and_in_most_of_a_file_of_fifty_rows(
    columns: int, wild: int, rows: int
) -> None:
    made = [SAGGING[:rows].copy() for _ in range(columns)]
    for column in made[:wild]:
        column[0] = 9000.0
    is_garbage = wild >= 3 and 2 * wild > columns and rows >= 50
    assert garbage_at_the_ends(made) == (int(is_garbage), 0)


@pytest.mark.parametrize(
    ("values", "can_be"), [([0, 100], True), ([0, 101], False), ([-1, 50], False), ([50], True)]
)
def test_a_voltage_is_possible_from_0_to_100(values: list[float], can_be: bool) -> None:
    assert possible(np.array(values, dtype=float), Quantity.VOLTAGE, UNITS["V"]) is can_be


@pytest.mark.parametrize(("high", "found"), [(32767.5, (65535.0,)), (32800.0, ())])
def test_the_end_of_a_range_stands_as_far_off_as_the_values_spread(
    high: float, found: tuple[float, ...]
) -> None:
    assert stand_ins(np.r_[np.zeros(50), np.full(50, high), 65535.0, 65535.0]) == found


def test_zeros_before_the_first_reading() -> None:
    assert leading_zeros(np.array([0, 5.9])) == 1
    assert leading_zeros(np.array([0, 0, nan, 5.9, 0, 5.9])) == 3
    assert leading_zeros(np.array([5.9, 0, 5.9])) == 0
    assert leading_zeros(np.array([0.0, 0.0])) == 0
    assert leading_zeros(np.array([nan, 5.9])) == 0


def test_resolution_and_repeats() -> None:
    assert resolution(np.array([8.2, 8.25, 8.3, 8.2])) == pytest.approx(0.05)
    assert resolution(np.array([8.2, 8.25])) == pytest.approx(0.05)
    assert np.isnan(resolution(np.array([8.2, 8.2])))
    assert repeats(np.array([1, 1])) == 1.0
    assert np.isnan(repeats(np.array([1, nan])))
    assert repeats(np.array([1, 1, nan, 2, 2])) == pytest.approx(2 / 3)


def strings(*cells: str | None) -> pa.ChunkedArray:
    return pa.chunked_array([list(cells)])


def test_losses_are_counted_and_the_first_is_named() -> None:
    found = to_numbers(strings("1,5", "ERR", "", "2,5", "x"), ",")
    assert found is not None
    np.testing.assert_array_equal(found.values, [1.5, nan, nan, 2.5, nan])
    assert (found.lost, found.first_lost, found.lost_text) == (2, 1, "ERR")


def test_words_are_no_numbers() -> None:
    assert to_numbers(strings("rest", "stir", "1"), ".") is None
    assert to_numbers(strings("", None), ".") is None


def test_units_in_the_cells() -> None:
    found = to_numbers(strings("8.2 V", "8100 mV", "", "8.3V"), ".")
    assert found is not None
    assert found.unit is UNITS["V"]
    np.testing.assert_allclose(found.values, [8.2, 8.1, nan, 8.3])


def test_thousands_and_decimals_of_a_column_of_its_own() -> None:
    found = to_numbers(strings("1.234,5", "2,5", "1.000"), ".")
    assert found is not None
    np.testing.assert_array_equal(found.values, [1234.5, 2.5, 1000.0])
    assert (found.decimal, found.thousands) == (",", ".")


def test_a_long_column_is_read_like_a_short_one() -> None:
    rng = np.random.default_rng(3)
    cells = [f"{v:.3f}".replace(".", ",") for v in rng.gamma(3.0, 2.0, 3000)]
    cells[1000:1005] = ["1.008,643", "ERR", "-", "+1,5", "1e3"]
    cells[2000] = None  # type: ignore[call-overload]
    found = to_numbers(strings(*cells), ",")
    assert found is not None
    np.testing.assert_array_equal(found.values[1000:1005], [1008.643, nan, nan, 1.5, 1000.0])
    assert (found.lost, found.first_lost, found.lost_text) == (1, 1001, "ERR")
    parts = [to_numbers(strings(*cells[i : i + 300]), ",") for i in range(0, 3000, 300)]
    slow = np.concatenate([p.values for p in parts if p is not None])
    np.testing.assert_array_equal(found.values, slow)


@pytest.mark.parametrize("group", ["", "'", " ", "."])
def test_a_long_column_with_grouped_thousands(group: str) -> None:
    numbers = np.round(np.random.default_rng(4).gamma(3.0, 900.0, 2000), 2)
    cells = [f"{v:,.2f}".replace(".", "\0").replace(",", group).replace("\0", ",") for v in numbers]
    found = to_numbers(strings(*cells), ",")
    assert found is not None
    np.testing.assert_array_equal(found.values, numbers)
    assert found.lost == 0


def test_zeros_of_a_counter_that_goes_on_are_no_values() -> None:
    lost = zeros_in_a_counter(np.array([0, 10, 20, 0, 0, 20, 30, nan, 0, 1, 2.0]))
    assert list(np.flatnonzero(lost)) == [3, 4]
    assert not zeros_in_a_counter(np.array([0.0, 0.0])).any()


def test_numbers_that_overflow_are_no_values(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    cells = ["1.5", "1e308", "2.5", "inf", "3.5"]
    rows = "".join(f"{i},{c},8.2\n" for i, c in enumerate(cells))
    path.write_text("Time [s],Pack 1 [Ah],Pack 1 [V]\n" + rows, encoding="utf-8")
    log = read_log(path)
    np.testing.assert_array_equal(log.values("pack 1/consumed"), [1500, nan, 2500, nan, 3500])
