"""Which flight came when: date in the log, in the file's name, given, else order of adding."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from telemetry.book import BookFlight, Logbook, Note
from telemetry.book import records as records_module
from telemetry.book.files.dates import checked_date, date_in_name, shifted, start_of
from telemetry.model.errors import UnknownSetting

Make = Callable[..., Any]


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("2026-05-14.csv", "2026-05-14"),
        ("tern_20260514.csv", "2026-05-14"),
        ("tern 2026_05_14 x.csv", "2026-05-14"),
        ("tern-2026-05-14-10-32-05.csv", "2026-05-14T10:32:05"),
        ("20260514_103205.csv", "2026-05-14T10:32:05"),
        ("20260514103205.csv", "2026-05-14T10:32:05"),
        ("2026-05-14T1032.csv", "2026-05-14T10:32:00"),
        ("20260514_235959.csv", "2026-05-14T23:59:59"),
        ("20260514_240000.csv", "2026-05-14"),  # no time of day
        ("20260514_106000.csv", "2026-05-14"),
        ("20260514_100060.csv", "2026-05-14"),
        ("2026-05-14_99-99.csv", "2026-05-14"),
        ("2026-05-14_7.csv", "2026-05-14"),
        ("14.05.2026 evening.csv", "2026-05-14"),
        ("3.4.2026.csv", "2026-04-03"),
        ("14-05-2026.csv", "2026-05-14"),
        ("05-14-2026.csv", "2026-05-14"),
        ("05-05-2026.csv", "2026-05-05"),
        ("03-04-2026.csv", None),  # either way round: not guessed
        ("2026-13-01.csv", None),
        ("2026-02-30.csv", None),
        ("2000-12-31.csv", None),  # a clock that was never set
        ("2001-01-01.csv", "2001-01-01"),
        ("2100-12-31.csv", "2100-12-31"),
        ("2101-01-01.csv", None),
        ("log 20260.csv", None),
        ("202605140.csv", None),
        ("flight 12.csv", None),
        ("", None),
    ],
)
def test_dates_in_file_names(name: str, found: str | None) -> None:
    assert date_in_name(name) == found


def test_the_sources_of_a_date_in_their_order() -> None:
    log, name, on = "2026-05-14T10:00:00", "2026-06-01.csv", "2026-07-01"
    assert start_of(log, name, on) == (log, "log")
    assert start_of(None, name, on) == ("2026-06-01", "file name")
    assert start_of(None, "a.csv", on) == ("2026-07-01", "given")
    assert start_of(None, "a.csv", None) == (None, "order of adding")
    # A clock that was never set.
    assert start_of("2000-01-01T00:03:00", name, on) == ("2026-06-01", "file name")


def test_given_dates_are_checked() -> None:
    assert checked_date(" 2026-05-14 ") == "2026-05-14"
    assert checked_date("2026-05-14 10:30") == "2026-05-14T10:30:00"
    for wrong in ("14.5.2026", "tomorrow", "2026-02-30", ""):
        with pytest.raises(UnknownSetting, match="is no date"):
            checked_date(wrong)


def test_a_later_flight_of_a_recording_starts_later() -> None:
    assert shifted("2026-05-14T23:59:00+02:00", 90.5) == "2026-05-15T00:00:30.500000+02:00"
    assert shifted("2026-05-14", 90) == "2026-05-14"
    assert shifted(None, 90) is None


def add(book: Logbook, make: Make, seed: int, file: str, **more: Any) -> None:
    made = make(seed=seed, file=file, start=more.pop("start", None))
    book.add(made.log, aircraft="tern", source=made.data, **more)


def test_flights_by_date_whatever_order_they_were_added_in(book: Logbook, make: Make) -> None:
    add(book, make, 1, "third.csv", start="2026-05-14T12:00:00+02:00")
    add(book, make, 2, "second.csv", start="2026-05-14T10:00:00Z")
    add(book, make, 3, "20260601.csv")
    add(book, make, 4, "first.csv", on="2026-05-13")
    flights = book.flights("tern")
    assert [f.file for f in flights] == ["first.csv", "second.csv", "third.csv", "20260601.csv"]
    assert [f.start_source for f in flights] == ["given", "log", "log", "file name"]


def test_flights_without_dates_go_by_the_order_of_adding(book: Logbook, make: Make) -> None:
    add(book, make, 1, "z.csv")
    add(book, make, 2, "y.csv", start="2026-05-14T10:00:00")
    add(book, make, 3, "x.csv")  # after all that the book held
    add(book, make, 4, "w.csv", start="2026-05-13T10:00:00")
    add(book, make, 5, "v.csv", start="2026-05-15T10:00:00")
    assert [f.file[0] for f in book.flights("tern")] == ["z", "w", "y", "x", "v"]
    assert book.flights("tern")[3].start_source == "order of adding"
    # Another opening of the book goes on counting.
    add(Logbook(book.path), make, 6, "u.csv")
    assert [f.file[0] for f in book.flights("tern")][-1] == "u"


def story(book: Logbook) -> list[str]:
    return [e.file[0] if isinstance(e, BookFlight) else e.text for e in book.timeline("tern")]


def test_a_note_stands_where_it_belongs_among_dated_flights(book: Logbook, make: Make) -> None:
    add(book, make, 1, "a.csv", start="2026-05-13T10:00:00")
    add(book, make, 2, "b.csv", start="2026-05-14T10:00:00")
    add(book, make, 3, "c.csv", start="2026-05-14T12:00:00")
    book.note("tern", "day", kind="changed", on="2026-05-14")
    book.note("tern", "noon", kind="changed", on="2026-05-14T11:00")
    book.note("tern", "now", kind="checked")
    add(book, make, 4, "d.csv", start="2099-01-01T10:00:00")
    # A day without a time comes before that day's flights, as "since" does in a profile.
    assert story(book) == ["a", "day", "b", "noon", "c", "now", "d"]


def test_a_note_stands_where_it_was_made_among_undated_flights(book: Logbook, make: Make) -> None:
    add(book, make, 1, "a.csv")
    book.note("tern", "given", kind="changed", on="2026-05-14")
    add(book, make, 2, "b.csv")
    book.note("tern", "now", kind="changed")
    add(book, make, 3, "c.csv")
    assert story(book) == ["a", "given", "b", "now", "c"]


class Past(datetime):
    """A machine whose clock stands at 2010."""

    @classmethod
    def now(cls, tz: Any = None) -> Past:
        return cls(2010, 1, 1, 12, tzinfo=tz or UTC)


def test_a_clock_in_the_past_changes_no_order(
    book: Logbook, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(book, make, 1, "a.csv", start="2026-05-14T10:00:00")
    add(book, make, 2, "b.csv")
    monkeypatch.setattr(records_module, "datetime", Past)
    monkeypatch.setattr("telemetry.book.adding.datetime", Past)
    book = Logbook(book.path)
    note = book.note("tern", "repaired", kind="repaired")
    assert note.date.startswith("2010-01-01")
    add(book, make, 3, "c.csv")
    assert book.flights("tern")[-1].added.startswith("2010-01-01")
    assert story(book) == ["a", "b", "repaired", "c"]
    assert isinstance(book.timeline("tern")[2], Note)
