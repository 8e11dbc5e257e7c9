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
