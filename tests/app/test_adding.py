"""Logs into the book: read, reviewed and measured once, each flight by itself."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from telemetry.app.adding import add_joined, add_logs, read_measured
from telemetry.app.cache import version_for
from telemetry.book import Logbook, Outcome
from telemetry.importer.finding import FoundFiles
from telemetry.model.errors import BookError, UnreadableLog


def log(path: Path, begin_s: float = 0.0, end_s: float = 700.0, day: str = "2026-05-01") -> Path:
    """Two flights of two minutes at 3 A, at 120 s and at 440 s, between a tenth of it at rest."""
    t = np.arange(begin_s, end_s, 1.0)
    up = ((t >= 120) & (t < 240)) | ((t >= 440) & (t < 560))
    start = datetime.fromisoformat(f"{day}T10:00:00")
    lines = ["Time,Pack 1 U [V],Pack 1 I [A]"]
    lines += [
        f"{(start + timedelta(seconds=float(s))).isoformat(timespec='milliseconds')},"
        f"{6.6 - 0.03 * a:.2f},{a + 0.01 * (k % 2):.2f}"
        for k, (s, a) in enumerate(zip(t, np.where(up, 3.0, 0.1), strict=True))
    ]
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return Logbook(tmp_path / "book")


class _Numbered(dict[str, int]):
    def document(self) -> dict[str, int]:
        return dict(self)


@pytest.fixture
def numbered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measures that say only of which flight they are: from 1."""
    monkeypatch.setattr(
        "telemetry.app.adding.measured",
        lambda review, number: _Numbered({"number": number, "of": len(review.flights)}),
    )


def kept(book: Logbook, flights: tuple[str, ...]) -> list[object]:
    return [book.get_measures(f, version_for(book.profile("wren"))) for f in flights]


EACH = [{"number": 1, "of": 2}, {"number": 2, "of": 2}]


@pytest.mark.usefixtures("numbered")
def test_a_new_aircraft_gets_a_profile_and_each_flight_its_measures(
    book: Logbook, tmp_path: Path
) -> None:
    empty = tmp_path / "a.csv"
    empty.write_text("no log\n")
    one = log(tmp_path / "b.csv")
    failed, added = add_logs(book, [empty, one], aircraft="wren")
    assert (failed.status, added.status, added.aircraft) == ("failed", "added", "wren")
    assert book.profile_path("wren").exists()
    assert kept(book, added.flights) == EACH
    # The profile that there is stays as it is.
    text = 'name = "wren"\n[[packs]]\nname = "pack 1"\ncells = 2\n'
    book.put_profile("wren", text)
    (again,) = add_logs(book, [log(tmp_path / "c.csv", day="2026-05-02")], aircraft="wren")
    assert book.profile_path("wren").read_text() == text
    assert kept(book, again.flights) == EACH


@pytest.mark.usefixtures("numbered")
def test_whose_log_it_is_is_guessed_from_the_book(book: Logbook, tmp_path: Path) -> None:
    folder = {"book": book.path.absolute(), "folder": tmp_path, "aircraft": None}
    one = log(tmp_path / "one.csv")
    nobody = read_measured(one, **folder)
    assert (len(nobody.flights), nobody.measures) == (2, ())
    add_logs(book, [one], aircraft="wren")
    known = read_measured(log(tmp_path / "two.csv", day="2026-05-02"), **folder)
    assert list(known.measures) == EACH
    assert known.version == version_for(book.profile("wren"))
    assert len(known.flights) == 2
    named = read_measured(one, **{**folder, "aircraft": "tern"})
    assert named.version == version_for(None)


@pytest.mark.usefixtures("numbered")
def test_parts_joined_are_one_recording(book: Logbook, tmp_path: Path) -> None:
    parts = [log(tmp_path / "1.csv", 0, 300), log(tmp_path / "2.csv", 300, 700)]
    outcome = add_joined(book, parts, aircraft="wren")
    assert outcome.status == "added"
    assert kept(book, outcome.flights) == EACH
    assert book.profile_path("wren").exists()
    before = book.profile_path("wren").read_text()
    # The same again is known, and changes nothing.
    assert add_joined(book, parts, aircraft="wren").status == "known"
    assert book.profile_path("wren").read_text() == before
    # Of an aircraft that the book can guess.
    later = log(tmp_path / "3.csv", day="2026-05-02")
    guessed = add_joined(book, [later])
    assert (guessed.status, guessed.aircraft) == ("added", "wren")


def test_a_part_that_the_book_has_by_itself_is_not_joined(book: Logbook, tmp_path: Path) -> None:
    parts = [log(tmp_path / "1.csv", 0, 300), log(tmp_path / "2.csv", 300, 700)]
    add_logs(book, parts[1:], aircraft="wren")
    with pytest.raises(BookError, match="'wren'") as caught:
        add_joined(book, parts, aircraft="wren")
    assert str(caught.value.path) == str(parts[1])
    # One file alone is no joining: it is known.
    assert add_joined(book, parts[1:], aircraft="wren").status == "known"


def test_a_folder_that_cannot_be_read_is_not_joined(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shut = UnreadableLog("this folder cannot be read", path=tmp_path / "shut")
    found = (
        FoundFiles(log(tmp_path / "1.csv", 0, 300), named=True),
        FoundFiles(tmp_path / "shut", named=False, error=shut),
    )
    monkeypatch.setattr("telemetry.app.adding.find_files", lambda *_, **__: found)
    with pytest.raises(UnreadableLog, match="this folder cannot be read"):
        add_joined(book, [tmp_path], aircraft="wren")
    assert book.recordings() == ()


def test_a_worker_makes_no_book(tmp_path: Path) -> None:
    one = log(tmp_path / "1.csv", 0, 60)
    with pytest.raises(BookError):
        read_measured(one, book=tmp_path / "none", folder=tmp_path, aircraft="wren")
    assert not (tmp_path / "none").exists()


# Whose they are, for a whole card at once.


def named(path: Path, model: str, day: str) -> Path:
    """A log whose header names a model, or none."""
    made = log(path, day=day)
    head = f"# Model: {model}\n" if model else ""
    text = made.read_text(encoding="utf-8")
    made.write_text(head + text, encoding="utf-8")
    return made


def card(folder: Path) -> Path:
    """Two logs of each of two aircraft, in their headers, one that tells nothing, and a stub."""
    folder.mkdir()
    for number, model in enumerate(("Big Tern", "Gull", "Gull", "Big Tern"), 1):
        named(folder / f"{number}.csv", model, f"2026-05-0{number}")
    named(folder / "0.csv", "", "2026-05-06")  # with columns that both have
    rows = (folder / "1.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    first = next(k for k, row in enumerate(rows) if row[0].isdigit())
    (folder / "stub.csv").write_text("".join(rows[: first + 3]), encoding="utf-8")
    return folder


@pytest.mark.usefixtures("numbered")
def test_a_card_of_two_aircraft_is_sorted_into_an_empty_book(book: Logbook, tmp_path: Path) -> None:
    asked: list[list[str]] = []

    def ask(unsure: Sequence[Outcome]) -> None:
        asked.append([Path(one.file).name for one in unsure])

    outcomes = add_logs(book, [card(tmp_path / "card")], ask=ask)
    found = {Path(o.file).name: (o.status, o.aircraft) for o in outcomes}
    assert found == {
        "0.csv": ("unsure", None),
        "1.csv": ("added", "big tern"),
        "2.csv": ("added", "gull"),
        "3.csv": ("added", "gull"),
        "4.csv": ("added", "big tern"),
        "stub.csv": ("skipped", None),
    }
    assert asked == [["0.csv"]]
    for name in ("big tern", "gull"):
        version = version_for(book.profile(name))
        measured = [book.get_measures(f.id, version) for f in book.flights(name)]
        assert measured == EACH + EACH, "with the profile that was made first"


def test_workers_make_the_profiles_of_new_aircraft(book: Logbook, tmp_path: Path) -> None:
    folder = card(tmp_path / "card")
    broken = folder / "1.csv"  # the first log of the Big Tern: the profile is made from its second
    broken.write_text("# Model: Big Tern\nPack 1 U [V],Pack 1 I [A]\n6.6,0.1\n6.5,0.3\n")
    read: list[str] = []

    class Noting(ThreadPoolExecutor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Any:
            read.extend(str(a[0].name) for a in args if isinstance(a, tuple))
            return super().submit(fn, *args, **kwargs)

    with Noting(2) as workers:
        outcomes = add_logs(book, [folder], executor=workers)
    assert read == ["1.csv", "2.csv", "4.csv"], "one log of each new aircraft at a time"
    found = {Path(o.file).name: (o.status, o.aircraft) for o in outcomes}
    assert found["1.csv"] == ("failed", None)
    assert found["2.csv"] == ("added", "gull")
    assert found["4.csv"] == ("added", "big tern")
    alone = Logbook(tmp_path / "alone")
    add_logs(alone, [folder])
    for name in ("big tern", "gull"):
        assert book.profile_path(name).read_bytes() == alone.profile_path(name).read_bytes()
        version = version_for(book.profile(name))
        assert all(book.get_measures(f.id, version) for f in book.flights(name))


@pytest.mark.usefixtures("numbered")
def test_what_nobody_tells_is_asked_once_and_goes_where_it_is_said(
    book: Logbook, tmp_path: Path
) -> None:
    outcomes = add_logs(book, [card(tmp_path / "card")], ask=lambda _: "Petrel")
    found = {Path(o.file).name: o.aircraft for o in outcomes}
    assert found["0.csv"] == "petrel"
    assert [Path(o.file).name for o in outcomes] == sorted(found)


@pytest.mark.usefixtures("numbered")
def test_two_headers_for_one_aircraft_are_refused_as_a_whole(book: Logbook, tmp_path: Path) -> None:
    folder = card(tmp_path / "card")
    with pytest.raises(BookError, match=r"name 2 models: 'big tern' \(3\), 'gull' \(2\); nothing"):
        add_logs(book, [folder], aircraft="tern")
    assert book.recordings() == ()
    assert book.aircraft() == ()
    # One header at a time is learnt, whatever it names; then the card is no riddle.
    add_logs(book, [folder / "1.csv"], aircraft="tern")
    with pytest.raises(BookError, match=r"'gull' \(2\), 'tern' \(3\)"):
        add_logs(book, [folder], aircraft="tern")
    found = {Path(o.file).name: o.aircraft for o in add_logs(book, [folder])}
    assert (found["2.csv"], found["4.csv"]) == ("gull", "tern")
    # Now gull's header is another's: refused log by log, and the others go in.
    refused = add_logs(book, [named(tmp_path / "9.csv", "Gull", "2026-05-09")], aircraft="tern")
    assert [o.status for o in refused] == ["failed"]
    assert "names 'gull', which is gull in this book" in str(refused[0].error)
