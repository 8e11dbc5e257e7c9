"""The writer: every dialect says what the table says; the same input gives the same bytes."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from telemetry.model.channels import Quantity
from telemetry.simulate import (
    Dialect,
    Pilot,
    Segment,
    SegmentKind,
    SimulatedRecording,
    TimeForm,
    UnitStyle,
    move,
    simulate,
    write_csv,
    written_columns,
)
from telemetry.simulate.fleet import tern, tern_telemetry
from telemetry.simulate.telemetry.words import LANGUAGES
from tests.simulated.dialects import random_dialect

START = datetime(2026, 5, 2, 23, 59, 50)  # runs past midnight


@pytest.fixture(scope="module")
def recording() -> SimulatedRecording:
    plan = (
        Segment(kind=SegmentKind.REST, seconds=8),
        Segment(kind=SegmentKind.STIR, seconds=8),
        Segment(kind=SegmentKind.REST, seconds=4),
    )
    rng = np.random.default_rng(12)
    motion = move(plan, Pilot(), Pilot().day(rng), rng)
    return simulate(tern(), tern_telemetry(), motion, rng, start=START)


def _rows(path: Path, dialect: Dialect) -> list[list[str]]:
    with path.open(encoding=dialect.encoding.removesuffix("-le"), newline="") as file:
        return list(csv.reader(file, delimiter=dialect.separator))


def _as_number(text: str, dialect: Dialect) -> float:
    if text == dialect.blank:
        return float("nan")
    return float(text.replace(dialect.thousands or "\0", "").replace(dialect.decimal, "."))


@pytest.mark.parametrize("seed", range(40))
def test_random_dialects_say_what_the_table_says(
    recording: SimulatedRecording, tmp_path: Path, seed: int
) -> None:
    dialect = random_dialect(np.random.default_rng(seed))
    rows = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)
    columns = written_columns(recording, dialect)
    body = rows[-recording.table.time_s.size :]
    if dialect.trailing:
        body = [row[:-1] for row in body]
    first = len(body[0]) - len(columns)
    assert first == 1 + (dialect.time_form is TimeForm.DATE_AND_TIME) + dialect.counter
    for i, (column, written) in enumerate(zip(recording.table.columns, columns, strict=True)):
        read = np.array([_as_number(row[first + i], dialect) for row in body])
        step = max(column.resolution, 0.0501 * written.factor)  # Fahrenheit with one decimal
        np.testing.assert_allclose(
            read * written.factor + written.offset, column.values, atol=0.51 * step
        )


@pytest.mark.parametrize("language", LANGUAGES)
def test_headers_name_place_quantity_and_unit(
    recording: SimulatedRecording, tmp_path: Path, language: str
) -> None:
    dialect = Dialect(language=language, unit_style=UnitStyle.PARENTHESES)
    header = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)[0]
    assert len(set(header)) == len(header)
    at = [w.key for w in written_columns(recording, dialect)].index("left wing/current")
    expected = {
        "en": "Left wing current (A)",
        "de": "Fläche links Strom (A)",
        "fr": "Aile gauche courant (A)",
        "es": "Ala izquierda corriente (A)",
        "it": "Ala sinistra corrente (A)",
        "cs": "Levé křídlo proud (A)",
    }
    assert header[1 + at] == expected[language]


@pytest.mark.parametrize(
    ("form", "first", "last"),
    [
        (TimeForm.SECONDS, ["0.000"], ["19.900"]),
        (TimeForm.MILLISECONDS, ["0"], ["19900"]),
        (TimeForm.MICROSECONDS, ["0"], ["19900000"]),
        (TimeForm.CLOCK, ["00:00:00.000"], ["00:00:19.900"]),
        (TimeForm.MINUTES, ["00:00.0"], ["00:19.9"]),
        (TimeForm.TIME_OF_DAY, ["23:59:50.000"], ["00:00:09.900"]),
        (TimeForm.ISO, ["2026-05-02T23:59:50.000"], ["2026-05-03T00:00:09.900"]),
        (TimeForm.ISO_ZONE, ["2026-05-02T23:59:50.000+02:00"], ["2026-05-03T00:00:09.900+02:00"]),
        (
            TimeForm.DATE_AND_TIME,
            ["2026-05-02", "23:59:50.000"],
            ["2026-05-03", "00:00:09.900"],
        ),
        # 2026-05-02T23:59:50Z is 1777766390 s after 1970-01-01T00:00:00Z (date -u -d ... +%s).
        (TimeForm.EPOCH_S, ["1777766390.000"], ["1777766409.900"]),
        (TimeForm.EPOCH_MS, ["1777766390000"], ["1777766409900"]),
    ],
)
def test_time_forms(
    recording: SimulatedRecording, tmp_path: Path, form: TimeForm, first: list[str], last: list[str]
) -> None:
    dialect = Dialect(time_form=form)
    rows = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)
    assert rows[1][: len(first)] == first
    assert rows[-1][: len(last)] == last


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [("utf-8", b""), ("utf-8-sig", b"\xef\xbb\xbf"), ("utf-16-le", b"\xff\xfe"), ("cp1252", b"")],
)
def test_encodings_and_line_ends(
    recording: SimulatedRecording, tmp_path: Path, encoding: str, mark: bytes
) -> None:
    dialect = Dialect(encoding=encoding, language="de", newline="\r\n")
    data = write_csv(tmp_path / "log.csv", recording, dialect=dialect).read_bytes()
    assert data.startswith(mark)
    text = data[len(mark) :].decode("utf-8" if encoding == "utf-8-sig" else encoding)
    assert "Fläche links Strom" in text
    assert text.count("\r\n") == text.count("\n") == recording.table.time_s.size + 1
    assert text.endswith("\r\n")


def test_units_preamble_blanks_quotes_and_counter(
    recording: SimulatedRecording, tmp_path: Path
) -> None:
    dialect = Dialect(
        separator=";",
        decimal=",",
        units=((Quantity.VOLTAGE, "mV"), (Quantity.CONSUMED, "Ah")),
        unit_style=UnitStyle.ROW,
        preamble=";",
        blank="---",
        counter=True,
        trailing=True,
    )
    rows = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)
    assert rows[0] == ["Model", "tern"]
    assert "invented" in rows[2][1]
    names, units, first, second = rows[3:7]
    at = names.index("Bus voltage")
    assert units[at] == "mV"
    assert units[names.index("Pack 1 consumed")] == "Ah"
    assert first[at] == "---"
    assert second[0] == "2"
    assert 7500 < int(second[at]) < 8500
    assert second[-1] == ""


def test_thousands_and_old_line_ends(recording: SimulatedRecording, tmp_path: Path) -> None:
    dialect = Dialect(
        separator=";",
        decimal=",",
        thousands=".",
        newline="\r",
        units=((Quantity.VOLTAGE, "mV"),),
    )
    data = write_csv(tmp_path / "log.csv", recording, dialect=dialect).read_bytes()
    assert b"\n" not in data
    rows = _rows(tmp_path / "log.csv", dialect)
    volts = [row[rows[0].index("Bus voltage [mV]")] for row in rows[1:]]
    shown = {v for v in volts if v}
    assert shown
    assert all(v[1] == "." and len(v) == 5 for v in shown)


def test_long_layout_holds_every_reading_once(
    recording: SimulatedRecording, tmp_path: Path
) -> None:
    dialect = Dialect(long=True)
    rows = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)
    assert rows[0] == ["Time", "Sensor", "Name", "Value", "Unit"]
    mine = [r for r in rows if r[1:3] == ["left wing", "voltage"]]
    made = recording.updates["left wing/voltage"]
    assert [float(r[3]) for r in mine] == pytest.approx(made.values)
    assert [float(r[0]) for r in mine] == pytest.approx(made.received_s, abs=5e-4)
    times = [float(r[0]) for r in rows[1:]]
    assert times == sorted(times)


def test_several_recordings_in_one_file(recording: SimulatedRecording, tmp_path: Path) -> None:
    for again, headers in ((False, 1), (True, 2)):
        dialect = Dialect(again=again)
        path = write_csv(tmp_path / "log.csv", recording, recording, dialect=dialect)
        rows = _rows(path, dialect)
        assert sum(row[0].startswith("Time") for row in rows) == headers
        assert len(rows) == 2 * recording.table.time_s.size + headers


def test_a_cut_file_ends_in_the_middle_of_a_row(
    recording: SimulatedRecording, tmp_path: Path
) -> None:
    dialect = Dialect(cut=True)
    rows = _rows(write_csv(tmp_path / "log.csv", recording, dialect=dialect), dialect)
    assert len(rows[-1]) < len(rows[0])


def test_the_same_seed_gives_the_same_bytes(recording: SimulatedRecording, tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    plan = (
        Segment(kind=SegmentKind.REST, seconds=8),
        Segment(kind=SegmentKind.STIR, seconds=8),
        Segment(kind=SegmentKind.REST, seconds=4),
    )
    motion = move(plan, Pilot(), Pilot().day(rng), rng)
    again = simulate(tern(), tern_telemetry(), motion, rng, start=START)
    one = write_csv(tmp_path / "one.csv", recording, dialect=Dialect()).read_bytes()
    two = write_csv(tmp_path / "two.csv", again, dialect=Dialect()).read_bytes()
    assert one == two
    other = replace(again, start=datetime(2026, 5, 3, 10, 0))
    iso = Dialect(time_form=TimeForm.ISO)
    assert write_csv(tmp_path / "three.csv", other, dialect=iso).read_bytes() != one
