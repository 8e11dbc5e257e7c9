"""Adding, listing, reading back: nothing lost, nothing twice."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from telemetry.book import Logbook
from telemetry.model.errors import BookError, UnknownSetting
from telemetry.model.log import Log
from telemetry.results import Flight

Make = Callable[..., Any]


def flight(start_s: float, end_s: float, kind: str = "flight") -> Flight:
    return Flight(kind=kind, start_s=start_s, end_s=end_s, phases=())


def same(a: Log, b: Log) -> None:
    pd.testing.assert_frame_equal(a.frame, b.frame, check_exact=True)
    pd.testing.assert_frame_equal(
        a.text.astype(object), b.text.astype(object), check_column_type=False
    )
    assert a.channels == b.channels
    assert repr(a.provenance) == repr(b.provenance)  # by repr: NaN is not equal to itself


def everything(root: Path) -> dict[str, bytes]:
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}


def test_what_was_added_comes_back_exactly(book: Logbook, make: Make) -> None:
    made = make(file="day one.csv", start="2026-05-14T10:32:00+02:00")
    outcome = book.add(made.log, aircraft="Tern", source=made.data)
    assert outcome.status == "added"
    assert outcome.aircraft == "tern"
    (entry,) = book.flights("tern")
    assert outcome.flights == (entry.id,)
    assert entry.id == f"{made.log.provenance.sha256[:16]}-0"
    same(book.read(entry.id), made.log)
    assert book.original(entry.recording) == made.data
    assert (entry.start, entry.start_source) == ("2026-05-14T10:32:00+02:00", "log")
    assert (entry.file, entry.rows, entry.duration_s) == ("day one.csv", 40, 3.9)
    assert book.aircraft() == ("tern",)


def test_a_log_without_words_or_of_words_alone_comes_back(book: Logbook, make: Make) -> None:
    for places, text in ((("bus",), False), ((), True)):
        made = make(places=places, text=text)
        (flight_id,) = book.add(made.log, aircraft="tern", source=made.data).flights
        same(book.read(flight_id), made.log)


def test_adding_twice_changes_nothing(book: Logbook, make: Make) -> None:
    made = make()
    first = book.add(made.log, aircraft="tern", source=made.data)
    before = everything(book.path)
    renamed = replace(made.log, provenance=replace(made.log.provenance, file="copy.csv"))
    again = Logbook(book.path).add(renamed, aircraft="tern", source=made.data)
    assert again.status == "known"
    assert again.flights == first.flights
    assert again.reason == ""
    other = book.add(made.log, aircraft="petrel", source=made.data)
    assert (other.status, other.aircraft) == ("known", "tern")
    assert other.reason == "the book has it as a flight of 'tern'"
    assert everything(book.path) == before


def test_the_source_may_be_a_path_or_the_file_of_the_log(
    book: Logbook, make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make(file="a.csv")
    (tmp_path / "a.csv").write_bytes(made.data)
    assert book.add(made.log, aircraft="tern", source=tmp_path / "a.csv").status == "added"
    other = make(file="b.csv", seed=1)
    (tmp_path / "b.csv").write_bytes(other.data)
    monkeypatch.chdir(tmp_path)
    assert book.add(other.log, aircraft="tern").status == "added"
    with pytest.raises(BookError, match="there is no such file or folder"):
        book.add(make(file="c.csv", seed=2).log, aircraft="tern")


def test_a_source_that_is_not_the_log_is_refused(book: Logbook, make: Make) -> None:
    made = make()
    with pytest.raises(BookError, match="not what was read a moment ago: something is writing"):
        book.add(made.log, aircraft="tern", source=made.data + b"9.9,1,2\n")
    assert book.aircraft() == ()


def test_a_file_with_several_flights_is_split_without_losing_a_row(
    book: Logbook, make: Make
) -> None:
    made = make(rows=100, start="2026-05-14T10:00:00")
    spans = (flight(0.35, 2.0), flight(3.0, 6.05), flight(7.0, 9.0, "bench"))
    outcome = book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    entries = book.flights("tern")
    recording = entries[0].recording
    assert outcome.flights == tuple(f"{recording}-{row}" for row in (0, 30, 70))
    assert [e.kind for e in entries] == ["flight", "flight", "bench"]
    assert [e.rows for e in entries] == [30, 40, 30]
    assert [e.start for e in entries] == [
        "2026-05-14T10:00:00",
        "2026-05-14T10:00:03",
        "2026-05-14T10:00:07",
    ]
    logs = [book.read(e.id) for e in entries]
    assert [log.time_s[0] for log in logs] == [0.0, 0.0, 0.0]
    assert logs[1].time_s[1] == 0.1  # not 0.10000000000000009
    together = pd.concat([log.frame.reset_index(drop=True) for log in logs], ignore_index=True)
    pd.testing.assert_frame_equal(together, made.log.frame.reset_index(drop=True))
    words = pd.concat([log.text.astype(object).reset_index(drop=True) for log in logs])
    assert words["file/status"].isna().sum() == made.log.text["file/status"].isna().sum()
    assert logs[2].provenance.start == "2026-05-14T10:00:07"
    assert logs[2].provenance.recordings == ((0.0, 2.9),)
    assert len(list((book.path / "originals").glob("*.zst"))) == 1


def test_a_flight_without_rows_is_a_mistake_of_the_caller(book: Logbook, make: Make) -> None:
    made = make()
    spans = (flight(0, 1), flight(99, 100))
    with pytest.raises(ValueError, match="without rows"):
        book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    assert book.aircraft() == ()


def test_a_new_aircraft_gets_a_profile_that_is_never_written_over(
    book: Logbook, make: Make
) -> None:
    made = make()
    book.add(made.log, aircraft="Große Möwe", source=made.data)
    profile = book.profile("große möwe")
    assert profile is not None
    assert profile.name == "Große Möwe"
    path = book.profile_path("GROSSE".replace("SS", "ß") + " möwe")
    path.write_text(path.read_text(encoding="utf-8") + "\n# mine\n", encoding="utf-8")
    more = make(seed=1)
    book.add(more.log, aircraft="große möwe", source=more.data)
    assert path.read_text(encoding="utf-8").endswith("# mine\n")
    assert book.profile("petrel") is None


def test_notes(book: Logbook, make: Make) -> None:
    made = make()
    book.add(made.log, aircraft="tern", source=made.data)
    note = book.note(
        "Tern", " connector cleaned ", kind="repaired", place="Left  Wing", on="2026-05-14"
    )
    charged = book.note("tern", "both packs", kind="charged")
    again = book.note("tern", "both packs", kind="charged")
    assert (note.place, note.date, note.given) == ("left wing", "2026-05-14", True)
    assert note.text == "connector cleaned"
    assert (charged.place, charged.given) == (None, False)
    # Charging twice in a day is two notes.
    assert set(Logbook(book.path).notes("tern")) == {note, charged, again}
    files = list((book.path / "notes" / "aircraft=tern").glob("*.json"))
    assert len(files) == 3
    with pytest.raises(UnknownSetting, match=r"'fixed' is no kind of note; use one of repaired, "):
        book.note("tern", "x", kind="fixed")
    with pytest.raises(UnknownSetting, match="'14 May' is no date; write it as 2026-05-14"):
        book.note("tern", "x", kind="checked", on="14 May")
    with pytest.raises(BookError, match="the book has no aircraft 'turn'; it knows tern"):
        book.note("turn", "x", kind="checked")


def test_a_note_of_a_day_to_come_is_refused(book: Logbook, make: Make) -> None:
    """But for the day of a flight: a clock that is behind knows no better."""
    made = make()
    book.add(made.log, aircraft="tern", source=made.data)
    today = date.today()
    tomorrow = (today + timedelta(days=1)).isoformat()
    book.note("tern", "x", kind="repaired", on=f"{today.isoformat()}T23:59")
    for on in (tomorrow, f"{tomorrow}T00:00", "2999-01-01"):
        with pytest.raises(UnknownSetting, match=f"{on[:10]} is later than today, {today}"):
            book.note("tern", "x", kind="repaired", on=on)
    assert len(book.notes("tern")) == 1
    flown = make(seed=1, start=f"{tomorrow}T10:00:00")
    book.add(flown.log, aircraft="tern", source=flown.data)
    assert book.note("tern", "x", kind="repaired", on=tomorrow).date == tomorrow


def test_how_columns_were_read_without_the_samples(book: Logbook, make: Make) -> None:
    made = make()
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    assert book.channels(flight) == book.read(flight).channels == made.log.channels


def test_measures_are_kept_by_version_and_judged_by_nobody(book: Logbook, make: Make) -> None:
    made = make()
    (flight_id,) = book.add(made.log, aircraft="tern", source=made.data).flights
    assert book.get_measures(flight_id, "7") is None
    doc = {"left wing": {"rest_a": 0.31, "peak_a": None}, "words": ["ä", 1]}
    book.put_measures(flight_id, "7", doc)
    assert book.get_measures(flight_id, "7") == doc
    assert book.get_measures(flight_id, "8") is None
    with pytest.raises(ValueError, match="JSON"):
        book.put_measures(flight_id, "7", {"x": float("nan")})
    assert book.get_measures(flight_id, "7") == doc
    (book.path / "measures" / f"{flight_id}.json").write_text('{"version": "7", "meas')
    assert book.get_measures(flight_id, "7") is None


def test_ids_that_are_none_never_become_paths(book: Logbook) -> None:
    for text in ("../../etc/passwd", "", "0123456789abcdef", "0123456789abcdef-0/../x", "a-1\n"):
        for call in (book.flight, book.read, lambda i: book.get_measures(i, "1")):
            with pytest.raises(BookError, match="is no id of a flight"):
                call(text)
        with pytest.raises(BookError, match="is no id of a flight"):
            book.put_measures(text, "1", {})
    with pytest.raises(BookError, match="is no id of a recording"):
        book.original("../x")
    with pytest.raises(BookError, match="the book has no flight 0123456789abcdef-0"):
        book.read("0123456789abcdef-0")


def test_a_recording_given_to_the_wrong_aircraft_is_given_to_another(
    book: Logbook, make: Make
) -> None:
    made = make(rows=100)
    spans = (flight(0, 2), flight(3, 6))
    outcome = book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    before = [book.read(i).frame for i in outcome.flights]
    book.move(outcome.flights, "Petrel")
    assert book.flights("tern") == ()
    assert [f.id for f in book.flights("petrel")] == list(outcome.flights)
    for frame, flight_id in zip(before, outcome.flights, strict=True):
        pd.testing.assert_frame_equal(book.read(flight_id).frame, frame)
    assert not list((book.path / "flights" / "aircraft=tern").iterdir())
    assert book.check_book().problems == ()


def test_the_record_tells_how_to_read_the_original_again(book: Logbook, make: Make) -> None:
    made = make()
    book.add(
        made.log,
        aircraft="tern",
        source=made.data,
        settings={"Sensor 3": "left wing/current[mA]"},
        row_interval_s=0.1,
    )
    (recording,) = book.recordings("tern")
    assert recording.settings == {"Sensor 3": "left wing/current[mA]"}
    assert recording.row_interval_s == 0.1
    (learnt,) = book.learnt("tern")
    assert "Sensor 3" not in learnt.columns  # the log has no such column, and it is kept as given
    assert learnt.settings == {"Sensor 3": "left wing/current[mA]"}
    assert learnt.columns == tuple(c.column for c in made.log.channels)
    doc = json.loads((book.path / "originals" / f"{recording.id}.json").read_text(encoding="utf-8"))
    assert doc["file"] == "flight 1.csv"
    assert "/" not in doc["file"]
