"""Time stamps of text, against the standard library's parser."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry import read_log
from telemetry.importer.clock.stamps import days, parse_stamps, seconds

FORMS = [
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S.%f",
    "%Y/%m/%d %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%y %H:%M:%S.%f",
    "%d/%m/%Y %H:%M:%S",
    "%d-%b-%Y %H:%M:%S",
    "%b %d, %Y %H:%M:%S",
    "%d %B %Y %H:%M:%S",
    "%Y%m%dT%H%M%S",
    "%Y%m%d %H%M%S",
    "%a, %d %b %Y %H:%M:%S",
    "%d/%m/%Y %I:%M:%S %p",
]


@settings(deadline=None)
@given(
    moments=st.lists(
        st.datetimes(datetime(1971, 1, 1), datetime(2068, 12, 31)), min_size=1, max_size=20
    ),
    form=st.sampled_from(FORMS),
)
def test_stamps_are_read_as_the_standard_library_reads_them(
    moments: list[datetime], form: str
) -> None:
    texts = [m.strftime(form) for m in moments]
    stamps = parse_stamps(pa.chunked_array([texts]))
    assert not stamps.bad.any()
    day, second = days(stamps, "dmy"), seconds(stamps, minutes_first=False)
    for text, d, s in zip(texts, day, second, strict=True):
        want = datetime.strptime(text, form)
        got = datetime(1970, 1, 1) + timedelta(days=float(d), seconds=round(float(s), 6))
        assert got == want


@settings(deadline=None)
@given(st.lists(st.integers(0, 100 * 3600 * 1000), min_size=1, max_size=30))
def test_elapsed_times_of_any_width(milliseconds: list[int]) -> None:
    texts = [
        f"{m // 3600000}:{m // 60000 % 60:02d}:{m // 1000 % 60:02d}.{m % 1000:03d}"
        for m in milliseconds
    ]
    stamps = parse_stamps(pa.chunked_array([texts]))
    np.testing.assert_allclose(
        seconds(stamps, minutes_first=False), np.divide(milliseconds, 1000), atol=1e-9
    )


@pytest.mark.parametrize(
    ("text", "hours"), [("+02:00", 2), ("-0330", -3.5), ("Z", 0), (" UTC", 0), ("+05", 5)]
)
def test_zones(text: str, hours: float) -> None:
    stamps = parse_stamps(pa.chunked_array([[f"2026-10-17T09:58:31{text}"]]))
    assert stamps.zone_s[0] == hours * 3600


def test_blank_and_bad_stamps_are_told_apart() -> None:
    stamps = parse_stamps(pa.chunked_array([["09:58:31", "", "-", "late", "09:58:3x", None]]))
    assert list(stamps.blank) == [False, True, True, False, False, True]
    assert list(stamps.bad) == [False, False, False, True, True, False]


@pytest.mark.parametrize("text", ["30.02.2026x", "2026-13-01", "2026-00-10"])
def test_days_that_no_calendar_has_are_no_days(text: str) -> None:
    stamps = parse_stamps(pa.chunked_array([[text]]))
    assert np.isnan(days(stamps, "dmy")[0])


def test_minutes_or_hours_first() -> None:
    stamps = parse_stamps(pa.chunked_array([["12:34", "01:02.5"]]))
    assert stamps.two_part
    assert list(seconds(stamps, minutes_first=True)) == [754.0, 62.5]
    assert seconds(stamps, minutes_first=False)[0] == 45240.0


@pytest.mark.parametrize(
    ("text", "month"),
    [("1. März 2026", 3), ("1 août 2026", 8), ("1 enero 2026", 1), ("1 juillet 2026", 7),
     ("1 juin 2026", 6), ("1 ottobre 2026", 10), ("1 mei 2026", 5), ("1 října 2026", 0)],
)  # fmt: skip
def test_names_of_months(text: str, month: int) -> None:
    stamps = parse_stamps(pa.chunked_array([[text]]))
    assert stamps.month[0] == (month or 10)


@pytest.mark.parametrize("minute", ["05", "58"])
def test_dots_between_hours_minutes_and_seconds(minute: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = "".join(f"09.{minute}.{i:02d};8,2{i % 3}\n" for i in range(30))
    path.write_text("Ora;Batteria 1 V\n" + rows, encoding="utf-8")
    log = read_log(path)
    np.testing.assert_allclose(log.time_s, np.arange(30.0))
    assert "hh:mm:ss" in log.provenance.time_form


def written(folder: Path, *rows: str, name: str = "Time") -> Path:
    path = folder / "log.csv"
    lines = [f"{name},Bus voltage [V]", *(f"{row},5.9{k % 10}" for k, row in enumerate(rows))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("stamps", "step_s"),
    [
        # The clock goes back from summer time to winter time, and forward again in spring.
        (
            ["2026-10-25T02:59:58+02:00", "2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00"],
            1,
        ),
        (
            ["2026-03-29T01:59:58+01:00", "2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00"],
            1,
        ),
        (["2026-05-01T12:00:00+02:00", "2026-05-01T12:00:10+02:00", "2026-05-01T10:00:20Z"], 10),
    ],
)
def test_a_change_of_zone_moves_no_row(stamps: list[str], step_s: int, tmp_path: Path) -> None:
    """The standard library reads the same instants."""
    log = read_log(written(tmp_path, *stamps))
    read = [datetime.fromisoformat(s) for s in stamps]
    assert log.time_s.tolist() == [(r - read[0]).total_seconds() for r in read]
    assert log.time_s.tolist() == [0.0, step_s, 2 * step_s]
    assert len(log.provenance.recordings) == 1
    assert log.provenance.start == stamps[0]


@pytest.mark.parametrize(
    ("date", "start"),
    [
        ("17/12/2026", "2026-12-17"),  # 17 can be no month, 12 can
        ("12/17/2026", "2026-12-17"),
        ("20261224", "2026-12-24"),  # a date printed as one number
        ("20260124", "2026-01-24"),
    ],
)
def test_december_is_a_month_like_any_other(date: str, start: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{date},09:58:3{k},5.9{k}" for k in range(5)]
    path.write_text("\n".join(["Date,Time,Bus voltage [V]", *rows]) + "\n", encoding="utf-8")
    log = read_log(path)
    assert log.provenance.start == f"{start}T09:58:30"
    assert log.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize("date", ["11/12/2026", "12/11/2026"])
def test_a_day_and_a_month_that_both_may_be_december_stay_open(date: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{date},09:58:3{k},5.9{k}" for k in range(5)]
    path.write_text("\n".join(["Date,Time,Bus voltage [V]", *rows]) + "\n", encoding="utf-8")
    assert read_log(path).provenance.start is None


def test_seconds_under_a_word_of_no_dictionary_are_a_time(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, *map(str, range(30)), name="denbora [s]"))
    assert log.time_s.tolist() == list(range(30))


@pytest.mark.parametrize(("last", "form"), [(57, "hh:mm:ss"), (56, "seconds")])
def test_a_packed_clock_passes_a_minute_in_three_of_its_steps(
    last: int, form: str, tmp_path: Path
) -> None:
    """100057, 100100 are 3 s apart and a clock of one row a second; 4 s are no step of it."""
    rows = [f"10{minute:02d}{second:02d}" for minute in range(4) for second in range(last + 1)]
    assert read_log(written(tmp_path, *rows)).provenance.time_form.startswith(form)


@pytest.mark.parametrize(("wrong", "clock"), [((), True), ((20,), True), ((20, 30), False)])
def test_a_clock_in_three_columns_may_have_one_wrong_cell(
    wrong: tuple[int, ...], clock: bool, tmp_path: Path
) -> None:
    """Where seconds fall and no minute begins more than once in 100 rows, they are no clock's."""
    rows = [f"10,{14 + k // 60},{k % 60 - 2 * (k in wrong)}" for k in range(90)]
    log = read_log(written(tmp_path, *rows, name="Hour,Minute,Second"))
    assert (log.provenance.time_form == "hh:mm:ss in columns 'Hour', 'Minute', 'Second'") is clock
