"""Single cells: number, time, unit, nothing or word."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.importer.cells import (
    CellKind,
    is_blank,
    kind,
    number_marks,
    split_measure,
    to_number,
)


@pytest.mark.parametrize(
    ("cell", "want"),
    [
        *[(c, CellKind.NUMBER) for c in ("1", "-1.5", "+2", "1,5", ".5", "1.", "-7,39E-30", "1e3",
                                     "1,234.5", "1.234,5", "1'234", "1 234,5", "\u22128,2")],
        *[(c, CellKind.BLANK) for c in ("", " ", "-", "---", "nan", "NaN", "n/a", "N/A", "null",
                                    "inf", "-.--", "--,-", "?")],
        *[(c, CellKind.TIME) for c in ("12:30", "12:30:01", "1:02:03.250", "12:30:01,5", "3:04 PM",
                                   "2026-10-17", "17.10.2026", "17/10/26", "2026-10-17T09:58:31Z",
                                   "2026-10-17 09:58:31.5", "17-Oct-2026", "17. Oktober 2026",
                                   "1h 02m 03s", "12:30:01:250", "2026-10-17T09:58:31+02:00")],
        *[(c, CellKind.MEASURE) for c in ("8.2V", "8,2 V", "900 mA", "25°C", "85%", "-62 dBm")],
        *[(c, CellKind.WORD) for c in ("Time", "stir", "U1", "1.2.3.4", "8;2", "12:3x", "Pack 1")],
    ],
)  # fmt: skip
def test_kinds(cell: str, want: CellKind) -> None:
    assert kind(cell) is want


@given(st.decimals(-99999, 99999, places=3, allow_nan=False))
def test_numbers_with_any_marks_are_read_back(value: Decimal) -> None:
    plain = f"{value:f}"
    assert to_number(plain) == float(value)
    assert to_number(plain.replace(".", ","), ",") == float(value)
    for group in (",", "'", " "):
        text = f"{value:,.3f}".replace(",", group)
        assert to_number(text, ".", group) == float(value)
    swapped = f"{value:,.3f}".replace(",", "\0").replace(".", ",").replace("\0", ".")
    assert to_number(swapped, ",", ".") == float(value)


def test_what_is_no_number_is_not_a_number() -> None:
    for cell in ("", "abc", "1.2.3", "1e999", "nan"):
        assert math.isnan(to_number(cell))
    assert math.isnan(to_number("1.5", ","))


@pytest.mark.parametrize(
    ("cell", "marks"),
    [
        ("1.5", (".", "")),
        ("1,5", (",", "")),
        ("0,123", (",", "")),
        ("1,234", None),
        ("12.345", None),
        ("1,234.5", (".", ",")),
        ("1.234,5", (",", ".")),
        ("1,234,567", ("", ",")),
        ("1'234", ("", "'")),
        ("1 234", ("", " ")),
        ("1234", None),
    ],
)
def test_marks_that_a_number_shows_beyond_doubt(cell: str, marks: tuple[str, str] | None) -> None:
    assert number_marks(cell) == marks


def test_a_number_with_its_unit_is_split() -> None:
    assert split_measure("8.25 V") == ("8.25", "V")
    assert split_measure("-62dBm") == ("-62", "dBm")
    assert split_measure("8.25") is None
    assert split_measure("V 8") is None


def test_blank_cells() -> None:
    assert is_blank(' "-" ')
    assert not is_blank("0")
