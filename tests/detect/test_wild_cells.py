"""A few wild cells in any column change nothing that a log says, and are named."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from telemetry.aircraft import Limits
from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.model.channels import Quantity
from telemetry.readings.spurious import impossible
from telemetry.results import Level, Review
from tests.detect.conftest import MakeReading
from tests.full.wild_cells import (
    Case,
    Cell,
    Table,
    emptied,
    examine,
    listed,
    said_of,
    spoil,
    table_of,
)

LOGS = Path(__file__).parents[2] / "sample_logs"
# What is far from every quantity; a number as large must be named.
NAMED = 1e6
TOGETHER = 5  # columns that are wild in one log


@cache
def lines(name: str) -> tuple[list[str], str, int]:
    """A sample log's lines, its separator and the index of its header."""
    rows = (LOGS / name).read_text(encoding="latin-1").splitlines()
    separator = max(",;\t", key=rows[-1].count)
    return rows, separator, next(i for i, r in enumerate(rows) if r.count(separator) > 5)


@cache
def plain(name: str) -> tuple[object, ...]:
    return said(review(read_log(LOGS / name)))


def said(one: Review) -> tuple[object, ...]:
    return one.verdict, sorted((f.code, f.level, f.place or "") for f in one.findings)


def number(chance: random.Random) -> str:
    if chance.random() < 0.3:
        return chance.choice(
            ("795000", "-795000", "1e308", "-1e308", "1e999", "nan", "inf", "-inf")
        )
    return f"{chance.choice((-1, 1)) * 10 ** chance.uniform(3, 300):.5g}"


def spoilt(
    name: str, columns: list[int], chance: random.Random, file: Path
) -> dict[str, set[float]]:
    """Write the log with wild cells; the finite ones that must be named, by column."""
    rows, separator, header = lines(name)
    names = rows[header].split(separator)
    out = list(rows)
    planted: dict[str, set[float]] = {}
    for column in columns:
        for _ in range(chance.randint(1, 5)):
            row = chance.randrange(header + 2, len(rows))
            cells = out[row].split(separator)
            cells[column] = number(chance)
            if NAMED <= abs(float(cells[column])) < float("inf"):
                planted.setdefault(names[column], set()).add(float(cells[column]))
            if separator == ";":
                cells[column] = cells[column].replace(".", ",")
            out[row] = separator.join(cells)
    file.write_text("\n".join(out), encoding="latin-1")
    return planted


@pytest.mark.parametrize(
    ("name", "level"),
    [
        ("tern-bench-stir.csv", Level.CLEAR),
        ("dunlin-flight-01.csv", Level.CLEAR),
        ("dunlin-flight-11.csv", Level.GROUND),
        ("tern-flight-12.csv", Level.WATCH),
    ],
)
def test_wild_cells_in_any_column_change_nothing(name: str, level: Level, tmp_path: Path) -> None:
    """One to five cells of any size and sign in each of some columns at once."""
    assert plain(name)[0] is level
    rows, separator, header = lines(name)
    chance = random.Random(name)
    columns = list(range(rows[header].count(separator) + 1))
    chance.shuffle(columns)
    for first in range(0, len(columns), TOGETHER):
        chosen = columns[first : first + TOGETHER]
        planted = spoilt(name, chosen, chance, tmp_path / name)
        log = read_log(tmp_path / name)
        one = review(log)
        assert said(one) == plain(name), planted
        clock = {c.column for c in log.channels if c.quantity is Quantity.TIME}
        for column, values in planted.items():
            if column in clock:
                continue
            listed = [s for s in one.quality.spurious if s.column == column]
            noted = sum(f"'{column}'" in note for note in log.provenance.notes)
            assert len(listed) + noted >= len(values), (column, values)


@pytest.mark.parametrize("value", ["795000", "1e308", "-1e308"])
def test_one_cell_of_a_node_hides_no_fault(value: str, tmp_path: Path) -> None:
    rows, separator, header = lines("tern-flight-12.csv")
    column = rows[header].split(separator).index("Left wing voltage [V]")
    cells = rows[2000].split(separator)
    cells[column] = value
    file = tmp_path / "log.csv"
    file.write_text("\n".join([*rows[:2000], separator.join(cells), *rows[2001:]]), "latin-1")
    one = review(read_log(file))
    assert said(one) == plain("tern-flight-12.csv")
    assert [(s.column, s.value) for s in one.quality.spurious] == [
        ("Left wing voltage [V]", float(value))
    ]


def test_every_kind_of_wild_cell_over_the_whole_review() -> None:
    """The light version of ``tests/full/wild_cells.py``, once with the page of the command."""
    data = (LOGS / "dunlin-flight-11.csv").read_bytes()
    table = Table.of(data)
    assert table is not None
    before = said_of(data)
    found = [examine(table, before, "dunlin", seed, page=seed == 0) for seed in range(4)]
    assert sum(len(case.cells) for case in found) >= 20
    for case in found:
        same = (case.moved, case.gone, case.come, case.warned, case.error)
        assert same == (False, (), (), (), ""), listed(case)


def test_what_is_planted_is_what_is_listed_and_counted() -> None:
    data = (LOGS / "tern-flight-12.csv").read_bytes()
    table = Table.of(data)
    assert table is not None
    spoilt, cells = spoil(table, random.Random(3))
    changed = [n for n, pair in enumerate(zip(data.split(b"\n"), spoilt.split(b"\n"), strict=True))
               if pair[0] != pair[1]]  # fmt: skip
    assert changed == sorted({cell.row for cell in cells})
    moved = Case(
        name="x seed 1",
        cells=(Cell(row=1, column=0, what="huge", old="1", new="1e9"),),
        verdict=("clear", "watch"),
        come=("watch brownout bus",),
        titles=("Time",),
    )
    assert "verdicts moved               1\n  by readings lost           0\n" in table_of([moved])
    assert "clear -> watch" in listed(moved)
    lost = replace(moved, emptied="watch")
    assert "verdicts moved               0\n  by readings lost           1\n" in table_of([lost])


def test_no_zero_is_planted_beside_another() -> None:
    """Zeros beside one another are a supply that is gone, which is no wild cell."""
    table = Table.of((LOGS / "tern-flight-12.csv").read_bytes())
    assert table is not None
    for seed in range(30):
        cells = spoil(table, random.Random(seed))[1]
        rows = sorted(c.row for c in cells if c.what == "zero")
        assert all(b - a > 10 for a, b in pairwise(rows))
        read = emptied(table, cells).split(b"\n")
        assert all(read[c.row].split(table.separator)[c.column].strip() == b"" for c in cells)


@pytest.mark.parametrize("value", [0.0, -1e-9])
def test_a_lowest_voltage_of_nothing_is_a_blank_where_its_unit_went_on(
    value: float, tmp_path: Path
) -> None:
    """One that fell to 0.9 V between two readings stays what it is: a supply that was lost."""
    rows, separator, header = lines("tern-flight-01.csv")
    column = rows[header].split(separator).index("Tail lowest voltage [V]")
    said_by: dict[float, Review] = {}
    for planted in (value, 0.9):
        out = list(rows)
        row = next(n for n in range(3000, len(rows)) if rows[n].split(separator)[column])
        cells = out[row].split(separator)
        cells[column] = f"{planted:g}"
        out[row] = separator.join(cells)
        file = tmp_path / "log.csv"
        file.write_text("\n".join(out), "latin-1")
        said_by[planted] = review(read_log(file))
    assert said(said_by[value]) == plain("tern-flight-01.csv")
    assert [s.value for s in said_by[value].quality.spurious] == [value]
    assert "brownout" in {f.code for f in said_by[0.9].findings}


def test_slipped_points_of_a_current_do_not_vouch_for_each_other(make_reading: MakeReading) -> None:
    """Nothing is set aside where the voltage fell with them, or is too stiff to tell."""
    t = np.arange(0.0, 200.0, 0.5)
    drawn = np.random.default_rng(5).choice([0.3, 0.8, 1.5], t.size)
    at = [50, 170, 301]
    slipped = drawn.copy()
    slipped[at] = 12.0, 40.0, 15.0

    def aside(ohm: float, through: np.ndarray) -> list[int]:
        amps = make_reading("left wing", Quantity.CURRENT, t, slipped)
        volts = make_reading("left wing", Quantity.VOLTAGE, t, 8.0 - ohm * through)
        return [first for first, _, _ in impossible(amps, [amps, volts], Limits())]

    assert aside(0.08, drawn) == at
    assert aside(0.08, slipped) == []
    a_little = drawn.copy()
    a_little[at] = 6.0, 6.0, 6.0  # 6 % of the voltage, of 12 % and more
    assert aside(0.08, a_little) == [170]
    assert aside(0.0, drawn) == []
    # A voltage that mostly reads nothing tells of no current.
    amps = make_reading("left wing", Quantity.CURRENT, t, slipped)
    off = make_reading("left wing", Quantity.VOLTAGE, t, np.where(drawn < 0.5, 8.0, 0.0))
    assert impossible(amps, [amps, off], Limits()) == []


def test_a_current_that_begins_beside_a_zero_did_not_stop_there(make_reading: MakeReading) -> None:
    """Before and after it the place had its supply; only what fell below both of them stopped."""
    t = np.arange(0.0, 60.0, 1.0)
    volts = np.full(t.size, 8.1)
    volts[3] = 0.0

    def aside(amps: np.ndarray) -> list[int]:
        current = make_reading("fuselage", Quantity.CURRENT, t, amps)
        zeroed = make_reading("fuselage", Quantity.VOLTAGE, t, volts)
        bus = make_reading("bus", Quantity.VOLTAGE, t, np.full(t.size, 8.2))
        return [first for first, _, _ in impossible(zeroed, [zeroed, bus, current], Limits())]

    assert aside(np.where(t < 4.0, 0.1, 1.3)) == [3]
    assert aside(np.where(t == 3.0, 0.1, 1.3)) == []
