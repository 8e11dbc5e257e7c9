"""Numbers to values: exact units, sentinels, zeros; and text to numbers with losses counted."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.channels import Quantity
from telemetry.importer.numbers import to_numbers
from telemetry.importer.values import (
    convert,
    find_sentinels,
    leading_zeros,
    repeats,
    resolution,
)
from telemetry.units import UNITS

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
    ],
)
def test_sentinels_only_where_physics_says_so(
    values: list[float], quantity: Quantity, unit: str, found: list[float]
) -> None:
    got = find_sentinels(np.array(values, dtype=float), quantity, UNITS[unit])
    assert [s.raw for s in got] == found


def test_zeros_before_the_first_reading() -> None:
    assert leading_zeros(np.array([0, 0, nan, 5.9, 0, 5.9])) == 3
    assert leading_zeros(np.array([5.9, 0, 5.9])) == 0
    assert leading_zeros(np.array([0.0, 0.0])) == 0
    assert leading_zeros(np.array([nan, 5.9])) == 0


def test_resolution_and_repeats() -> None:
    assert resolution(np.array([8.2, 8.25, 8.3, 8.2])) == pytest.approx(0.05)
    assert np.isnan(resolution(np.array([8.2, 8.2])))
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
