"""Rows that are not like the others, against the csv module as a slow twin."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.importer.text import repair as repair_module
from telemetry.importer.text.heading import OtherHeader
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.text.repair import repair
from telemetry.importer.text.tail import Tail, trim_tail

LAYOUT = TableLayout(fields=3, names=("Time", "U", "I"), numeric=(True, True, True), data_line=1)


def repaired(text: str) -> repair_module.Repaired:
    return repair(text.encode(), LAYOUT, ";", 2)


def test_whole_rows_are_kept_as_they_stand() -> None:
    found = repaired("0.1;8;1\n0.2;8;1\n")
    assert found.data == b"0.1;8;1\n0.2;8;1\n"
    assert list(found.lines) == [2, 3]


@pytest.mark.parametrize(
    ("line", "kept", "refused"),
    [
        ("0.2;8", b"0.2;8;", ()),
        ("0.2;8;1;;", b"0.2;8;1", ()),
        ("0.2;8;1;9", b"", (3,)),
        ("0.2", b"", (3,)),
        ("", b"", ()),
        ("# a remark; with; marks; in it", b"", ()),
        ("Time;U;I", b"", ()),
        ('0.2;"8";1', b'0.2;"8";1', ()),
        ('0.2;"8;1', b"0.2;8;1", ()),
        ('"0,2";"8;8";1', b'"0,2";"8;8";1', ()),
        ("0.2\0;8;1", b"", (3,)),
    ],
)
def test_odd_lines(line: str, kept: bytes, refused: tuple[int, ...]) -> None:
    found = repaired(f"0.1;8;1\n{line}\n0.3;8;1\n")
    middle = found.data.removeprefix(b"0.1;8;1\n").removesuffix(b"0.3;8;1\n")
    assert [csv_row(middle)] == [csv_row(kept + b"\n")]
    assert tuple(n for n, _ in found.refused) == refused
    assert list(found.lines) == ([2, 3, 4] if kept else [2, 4])


def csv_row(data: bytes) -> list[str]:
    return next(csv.reader(io.StringIO(data.decode()), delimiter=";"), [])


def test_a_repeated_header_marks_a_break() -> None:
    found = repaired("0.1;8;1\nTime;U;I\n0.1;8;1\n")
    assert found.breaks == (1,)
    assert list(found.lines) == [2, 4]


def test_another_header_is_told_by_its_line() -> None:
    with pytest.raises(OtherHeader) as caught:
        repaired("0.1;8;1\nTime;P;Q\n0.1;8;1\n")
    assert caught.value.line == 3


def test_a_quoted_cell_may_run_over_line_ends() -> None:
    found = repaired('0.1;"8\n";1\n0.2;8;1\n')
    assert len(found.lines) == 2
    assert not found.refused


cell = st.text(alphabet='ab1.;"', max_size=5)


@settings(max_examples=200, deadline=None)
@given(rows=st.lists(st.lists(cell, min_size=3, max_size=3), min_size=1, max_size=20),
       block=st.integers(60, 200))  # fmt: skip
def test_well_formed_quoted_rows_are_all_kept(rows: list[list[str]], block: int) -> None:
    body = io.StringIO()
    csv.writer(body, delimiter=";", lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(
        [[f"{i}", *row[1:]] for i, row in enumerate(rows)]
    )
    layout = TableLayout(
        fields=3, names=("Time", "U", "I"), numeric=(True, False, False), data_line=1
    )
    before = repair_module.BLOCK_BYTES
    repair_module.BLOCK_BYTES = block  # many blocks, cut at line ends
    try:
        found = repair(body.getvalue().encode(), layout, ";", 2)
    finally:
        repair_module.BLOCK_BYTES = before
    got = list(csv.reader(io.StringIO(found.data.decode()), delimiter=";"))
    assert got == list(csv.reader(io.StringIO(body.getvalue()), delimiter=";"))
    assert not found.refused


@pytest.mark.parametrize(
    ("last", "patched", "refused"),
    [
        ("0.4;8.1;1.5", b"", 0),
        ("0.4;8.1;1.", b"0.4;8.1;\n", 0),
        ("0.4;8.", b"0.4;;\n", 0),
        ("0.", b"", 1),
        ("0.4;8.1;1.5\n", b"", 0),
    ],
)
def test_a_last_line_that_is_cut_off(last: str, patched: bytes, refused: int) -> None:
    data = f"Time;U;I\n0.1;8.1;1.5\n0.2;8.1;1.5\n0.3;8.1;1.5\n{last}".encode()
    tail = trim_tail(data, 9, LAYOUT, ";")
    assert tail.patched == patched
    assert len(tail.refused) == refused


def test_a_last_line_longer_than_any_row_is_left_to_the_reader() -> None:
    data = b"Time;U;I\n0.1;8.1;1.5\n" + 70_000 * b"8"
    assert trim_tail(data, 9, LAYOUT, ";") == Tail(end=len(data))
