"""Handing on: clean CSV that runs nothing, Parquet, one table of all flights."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.book import Logbook, export_log
from telemetry.book.export import guarded
from telemetry.importer import read_log
from telemetry.model.channels import Channel, Quantity
from telemetry.model.errors import BookError, OutputError

Make = Callable[..., Any]


@pytest.mark.parametrize(
    "cell",
    # The openings that OWASP, "CSV Injection", lists, and what was seen in the wild.
    [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\n=1",
        '=HYPERLINK("http://x","y")',
        "-2+3+cmd|' /C calc'!A0",
        "  =1+1",
        "\uff1d1+1",
        "\x1f=1",
        "-",
        "+",
        "-idle",
    ],
)
def test_text_that_a_spreadsheet_would_run_is_quoted(cell: str) -> None:
    assert guarded(cell) == "'" + cell


@pytest.mark.parametrize(
    "cell", ["idle", "", "a=b", "-12.5", "+3", "-1e-3", "1,5", "-1,5", "12:30", "'=1", "5 - 3"]
)
def test_other_text_and_numbers_stay(cell: str) -> None:
    assert guarded(cell) == cell


@settings(deadline=None)
@given(st.text(max_size=20))
def test_no_text_comes_out_as_a_formula(cell: str) -> None:
    out = guarded(cell)
    assert out in (cell, "'" + cell)
    if re.match(r"[\s]*[=+\-@]", out):
        float(out.replace(",", "."))  # only a number may begin so


def rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


def test_clean_csv(tmp_path: Path, make: Make) -> None:
    made = make(rows=7)
    evil = Channel(
        key="=cmd|x/voltage", column="=cmd|x", quantity=Quantity.VOLTAGE, place="=cmd|x", unit="V"
    )
    frame = made.log.frame.assign(**{evil.key: -np.arange(7.0)})
    words = made.log.text.assign(**{"file/word": ['a,"b"\n=c', None, "=1", "", "ä", "-3", "@x"]})
    log = replace(made.log, frame=frame, text=words, channels=(*made.log.channels, evil))
    export_log(log, tmp_path / "out.csv")
    data = (tmp_path / "out.csv").read_bytes()
    assert data.decode("utf-8").count("\r\n") == 8
    head, *lines = rows(tmp_path / "out.csv")
    flight = made.log.provenance.sha256[:16] + "-0"
    assert {tuple(line[:4]) for line in lines} == {(flight, "", "", "flight 1.csv")}
    lines = [line[4:] for line in lines]
    assert head == [
        *("flight", "date", "aircraft", "file"),
        "time [s]",
        "bus/voltage [V]",
        "bus/current [A]",
        "left wing/voltage [V]",
        "left wing/current [A]",
        "'=cmd|x/voltage [V]",
        "file/status",
        "file/word",
    ]
    assert [line[0] for line in lines] == ["0.0", "0.1", "0.2", "0.3", "0.4", "0.5", "0.6"]
    assert lines[1][1] == ""  # no value, and not "nan"
    assert lines[2][5] == "-2.0"
    assert [line[6] for line in lines] == ["'=1+1", "idle", "", "-12.5", "flight", "'=1+1", "idle"]
    assert [line[7] for line in lines] == ['a,"b"\n=c', "", "'=1", "", "ä", "-3", "'@x"]
    back = pd.read_csv(tmp_path / "out.csv")
    np.testing.assert_array_equal(back["bus/voltage [V]"], made.log.values("bus/voltage"))


def test_our_own_csv_is_read_back_as_it_was(book: Logbook, make: Make, tmp_path: Path) -> None:
    made = make(rows=200, places=("pack 1", "bus", "left wing"), blanks=False)
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    book.export(flight, tmp_path / "out.csv")
    again = read_log(tmp_path / "out.csv")
    pd.testing.assert_frame_equal(again.frame, made.log.frame, check_exact=True)


def test_one_flight_tells_where_it_comes_from(book: Logbook, make: Make, tmp_path: Path) -> None:
    made = make(file="day 1/=flight.csv")
    on = "2026-05-14T10:00:00"
    (flight,) = book.add(made.log, aircraft="Tern", source=made.data, on=on).flights
    for name in ("out.parquet", "out.csv"):
        book.export(flight, tmp_path / name)
    table = pd.read_parquet(tmp_path / "out.parquet")
    origin = table[["flight", "date", "aircraft", "file"]].drop_duplicates()
    assert origin.to_numpy().tolist() == [[flight, on, "tern", "=flight.csv"]]
    assert rows(tmp_path / "out.csv")[1][:4] == [flight, on, "tern", "'=flight.csv"]


@pytest.mark.parametrize(
    ("first_s", "step_s", "told"),
    [
        # A time of day, a moment since 1970 (its double has steps of 0.24 us), us, ns, thirds.
        (45_660.0, 0.1, ["0.0", "0.1", "0.2", "0.3"]),
        (1_792_231_111.0, 0.1, ["0.0", "0.1", "0.2", "0.3"]),
        (12.5, 1e-6, ["0.0", "1e-06", "2e-06", "3e-06"]),
        (0.0, 1.4e-6 / 3, ["0.0", "4.67e-07", "9.33e-07", "1.4e-06"]),
        (0.0, 1 / 3, ["0.0", "0.333333333", "0.666666667", "1.0"]),
    ],
)
def test_times_have_the_digits_of_the_clock(
    first_s: float, step_s: float, told: list[str], make: Make, tmp_path: Path
) -> None:
    made = make(rows=4)
    time_s = (first_s + np.arange(4) * step_s) - first_s
    index = pd.Index(time_s, name="time_s")
    log = replace(
        made.log, frame=made.log.frame.set_axis(index), text=made.log.text.set_axis(index)
    )
    export_log(log, tmp_path / "out.csv")
    assert [line[4] for line in rows(tmp_path / "out.csv")[1:]] == told
    export_log(log, tmp_path / "out.parquet")
    assert pd.read_parquet(tmp_path / "out.parquet")["time_s"].tolist() == list(map(float, told))


def test_parquet_of_one_flight(book: Logbook, make: Make, tmp_path: Path) -> None:
    made = make()
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    book.export(flight, tmp_path / "out.PARQUET")
    frame = pd.read_parquet(tmp_path / "out.PARQUET").set_index("time_s")
    pd.testing.assert_frame_equal(frame[list(made.log.frame)], made.log.frame)


def test_all_flights_of_an_aircraft_as_one_table(book: Logbook, make: Make, tmp_path: Path) -> None:
    first = make(seed=1, places=("bus",), start="2026-05-15T10:00:00")
    second = make(seed=2, places=("bus", "tail"), start="2026-05-14T10:00:00", text=False)
    # What was a word on one day was a number on another.
    number = second.log.frame.assign(**{"file/status": 3.5})
    mixed = replace(second.log, frame=number)
    ids = [
        book.add(log, aircraft="tern", source=data).flights[0]
        for log, data in ((first.log, first.data), (mixed, second.data))
    ]
    book.export("Tern", tmp_path / "out.parquet")
    table = pd.read_parquet(tmp_path / "out.parquet")
    assert list(table["flight"].unique()) == ids[::-1]  # in the order in which they were flown
    assert list(table)[:5] == ["flight", "date", "aircraft", "file", "time_s"]
    assert set(table["aircraft"]) == {"tern"}
    told = table.groupby("flight")[["date", "file"]].agg(set)
    for flight, made in zip(ids, (first, second), strict=True):
        assert told.loc[flight, "date"] == {made.log.provenance.start}
        assert told.loc[flight, "file"] == {Path(made.log.provenance.file).name}
    one = table[table["flight"] == ids[0]]
    np.testing.assert_array_equal(one["bus/voltage"], first.log.values("bus/voltage"))
    assert one["tail/voltage"].isna().all()
    assert set(table.loc[table["flight"] == ids[1], "file/status"]) == {"3.5"}
    book.export("tern", tmp_path / "out.csv")
    lines = rows(tmp_path / "out.csv")
    assert len(lines) == 81
    assert lines[0][:4] == ["flight", "date", "aircraft", "file"]
    assert lines[0][4:6] == ["time [s]", "bus/voltage [V]"]
    assert {line[0] for line in lines[1:]} == set(ids)
    assert sum(line[0] == "flight" for line in lines) == 1


def test_what_cannot_be_exported_is_told_and_leaves_nothing(
    book: Logbook, make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make()
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(OutputError, match=r"ending tells no format; let it end with \.parquet or"):
        book.export(flight, out / "x.xlsx")
    with pytest.raises(OutputError, match="there is no such file or folder; choose another place"):
        book.export(flight, out / "missing" / "x.csv")
    with pytest.raises(OutputError, match="lies within a logbook; give a path outside the book"):
        book.export(flight, book.path / "flights" / ".." / "x.parquet")
    with pytest.raises(BookError, match="the book has no flight 'petrel'"):
        book.export("petrel", out / "x.csv")
    with pytest.raises(BookError, match=r"the book has no flight .0123456789abcdef-0"):
        book.export("0123456789abcdef-0", out / "x.csv")
    (out / "x.csv").write_text("old")
    path = book.path / "flights" / "aircraft=tern" / f"{flight}.parquet"
    whole = path.read_bytes()
    path.write_bytes(whole[:2000])
    for what in (flight, "tern"):
        with pytest.raises(BookError, match="this flight's table is damaged"):
            book.export(what, out / "x.csv")
    path.write_bytes(whole)

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    for name in ("x.csv", "x.parquet"):
        with pytest.raises(OutputError, match="the disk is full; choose another place for it"):
            book.export("tern", out / name)
    assert [(p.name, p.read_text()) for p in out.iterdir()] == [("x.csv", "old")]


def test_exporting_changes_nothing_in_the_book(book: Logbook, make: Make, tmp_path: Path) -> None:
    made = make()
    book.add(made.log, aircraft="tern", source=made.data)
    before = {p: p.stat().st_mtime_ns for p in book.path.rglob("*")}
    book.export("tern", tmp_path / "a.parquet")
    assert {p: p.stat().st_mtime_ns for p in book.path.rglob("*")} == before
    assert b"busbook.channels" not in (pq.read_schema(tmp_path / "a.parquet").metadata or {})
