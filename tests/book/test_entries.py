"""Every change of a file of the book is found; what the entries hold whole is written back."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from telemetry.book.files.layout import Places
from telemetry.book.files.writing import json_bytes, sealed_in, write_file
from telemetry.book.ledger.entries import (
    Seal,
    entering,
    entries_of,
    entry_in,
    listed_name,
    load_entry,
)
from telemetry.book.ledger.verifying import verify
from telemetry.book.records import Note, new_note
from telemetry.model.errors import BookError
from telemetry.results import Flight
from tests.sweeps import one_in

Make = Callable[..., Any]


@pytest.fixture
def small(tmp_path: Path, make: Make) -> Logbook:
    """Two flights in one log, a note, one flight given away, one note kept aside, measures."""
    book = Logbook(tmp_path / "book")
    made = make(rows=12, start="2026-05-14T10:00:00", text=False)
    halves = tuple(Flight(kind="flight", start_s=s, end_s=s + 0.5, phases=()) for s in (0.0, 0.6))
    flights = book.add(made.log, aircraft="tern", source=made.data, flights=halves).flights
    book.note("tern", "plug cleaned", kind="repaired", place="left wing")
    gone = book.note("tern", "a mistake", kind="checked")
    book.remove([gone.id])
    book.move([flights[1]], "petrel")
    for flight in flights:
        book.put_measures(flight, "1", {"rest_a": 0.31})
    book.put_replay("tern", {"given": "x", "together": {}})
    return book


def a_note(aircraft: str) -> Note:
    return new_note(aircraft, "looked", kind="checked", place=None, on=None)


def bytes_of(note: Note) -> bytes:
    return json_bytes(note.document())


def files_of(book: Logbook) -> dict[str, bytes]:
    found = (p for p in book.path.rglob("*") if p.is_file())
    return {p.relative_to(book.path).as_posix(): p.read_bytes() for p in found}


def is_seen(path: Path, data: bytes, seal: Seal | None) -> bool:
    """Whether these bytes of a file are seen to be others than were written."""
    if seal is not None:
        return Seal.of(data).sha256 != seal.sha256
    try:
        if path.parent.name == "entries":
            entry_in(data, path.stem, path)
        else:
            sealed_in(data, path)
    except BookError:
        return True
    return False


def test_no_flipped_byte_of_a_small_book_stays_silent(small: Logbook) -> None:
    """One bit of every byte of every file, but for the format: without it a book is none."""
    places = Places(small.path)
    listed = verify(places).listed
    count = 0
    for name, whole in files_of(small).items():
        path = small.path / name
        if name == "format.toml":
            continue
        seal = listed.get(str(listed_name(places, path)))
        assert not is_seen(path, whole, seal)
        for at in range(len(whole)):
            changed = bytearray(whole)
            changed[at] ^= 1 << at % 8
            count += 1
            assert is_seen(path, bytes(changed), seal), (name, at)
        # The last of them as the check of a whole book sees it.
        path.write_bytes(changed)
        verified = verify(places)
        if seal is not None:
            assert [(d.path, d.kind) for d in verified.differences] == [(path, "changed")]
        elif name.startswith("entries/"):
            assert path.stem in verified.lost
        path.write_bytes(whole)
    assert verify(places).differences == ()
    assert count > 10_000
    print(f"{count:,} bytes flipped in {len(listed)} listed files and the entries, all seen")


def damages(whole: bytes) -> dict[str, bytes | None]:
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 4
    return {"flipped": bytes(flipped), "cut off": whole[:-3], "empty": b"", "deleted": None}


DAMAGES = ("flipped", "cut off", "empty", "deleted")


@pytest.mark.parametrize("damage", DAMAGES)
def test_what_can_be_made_again_is_and_the_rest_is_told(
    damage: str, small: Logbook, tmp_path: Path
) -> None:
    before = files_of(small)
    replaced = "derived, which are made again when they are asked for"
    # Each file in one way, and all of them in each way where the whole sweep is asked for.
    share = one_in(len(DAMAGES))
    for name in sorted(before)[DAMAGES.index(damage) % share :: share]:
        whole = before[name]
        shutil.rmtree(small.path)
        for each, data in before.items():
            write_file(small.path / each, data)
        part = name.partition("/")[0]
        if part == "format.toml" or (part in ("maps", "measures") and damage == "deleted"):
            continue
        new = damages(whole)[damage]
        if new is None:
            (small.path / name).unlink()
        else:
            (small.path / name).write_bytes(new)
        report = small.check_book()
        after = files_of(small)
        if part == "entries":
            # What comes after the newest entry is in nobody's list.
            assert report.problems or report.edited, name
            small.check_book(accept=True)
            assert small.check_book().problems == (), name
        elif part == "originals" and name.endswith(".zst"):
            assert len(report.problems) == 1, name
        elif part == "measures":
            assert (name not in after, report.removed) == (True, (name,)), replaced
        elif part == "aircraft" and new is not None:
            assert [e.file for e in report.edited] == [name]
            assert after[name] == new
            assert small.check_book().edited == ()
        elif part == "flights":
            assert name in report.rebuilt
            assert small.check_book().rebuilt == ()
        else:
            assert after[name] == whole, name
            assert name in report.rebuilt or part == "maps", name
            kept = {after[aside] for aside in report.damaged}
            assert part == "maps" or new is None or new in kept, name


def test_swapped_and_strange_files_are_found(small: Logbook) -> None:
    before = files_of(small)
    flights = sorted(n for n in before if n.startswith("flights/"))
    notes = [n for n in before if "notes/" in n]
    for one, other in (flights, notes):
        (small.path / one).write_bytes(before[other])
        (small.path / other).write_bytes(before[one])
    measures = sorted(n for n in before if n.startswith("measures/") and "replays" not in n)
    (small.path / measures[0]).write_bytes(before[measures[1]])
    report = small.check_book()
    assert report.problems == ()
    assert set(report.rebuilt) == {*flights, *notes}
    assert report.removed == (measures[0],)
    strange = ["notes/aircraft=tern/20200101T000000-00000000.json", "letter.txt", "maps/x.pdf"]
    other = json.loads(before[notes[0]]) | {"id": Path(strange[0]).stem}
    for name in strange[:2]:
        (small.path / name).write_bytes(json_bytes(other))
    told = small.check_book().problems
    assert sorted(Path(str(p.path)).name for p in told) == sorted(Path(n).name for n in strange[:2])
    assert all("the book did not write this file" in p.what for p in told)
    # What could be the book's own is taken in; a letter is none of its business.
    (problem,) = small.check_book(accept=True).problems
    assert str(problem.path).endswith("letter.txt")
    (problem,) = small.check_book().problems
    assert str(problem.path).endswith("letter.txt")


def test_a_note_in_the_folder_of_another_aircraft_goes_back(small: Logbook) -> None:
    (path,) = small.path.glob("notes/*/*.json")
    other = small.path / "notes" / "aircraft=petrel" / path.name
    other.parent.mkdir(exist_ok=True)
    path.replace(other)
    assert small.check_book().rebuilt == (path.relative_to(small.path).as_posix(),)
    assert (path.exists(), other.exists()) == (True, False)


def test_a_recording_that_was_deleted_as_a_whole_is_missed(small: Logbook) -> None:
    for part in ("originals", "flights", "removed/flights"):
        shutil.rmtree(small.path / part, ignore_errors=True)
    told = [p.what for p in small.check_book().problems]
    assert any("the original of 'flight 1.csv' is missing" in what for what in told)
    assert any("lost this flight" in what or "not what was stored" in what for what in told)


def test_a_profile_that_was_edited_is_shown_once(small: Logbook) -> None:
    path = small.profile_path("tern")
    old = path.read_text()
    path.write_text(old.replace('name = "tern"', 'name = "tern"\nservos = 14'))
    (edited,) = small.check_book().edited
    assert edited.file == "aircraft/tern.toml"
    assert "+servos = 14" in edited.lines
    assert small.check_book().edited == ()
    path.unlink()
    assert small.check_book().rebuilt == ("aircraft/tern.toml",)
    assert "servos = 14" in path.read_text()


def test_an_entry_that_was_lost_is_named_until_the_book_is_accepted(small: Logbook) -> None:
    entries = sorted((small.path / "entries").iterdir())
    entries[0].unlink()
    told = small.check_book().problems
    assert "an entry of the book is missing" in told[0].what
    assert "--accept" in str(told[0])
    small.check_book(accept=True)
    assert small.check_book().problems == ()
    shutil.rmtree(small.path / "entries")
    assert "all entries of the book are missing" in small.check_book().problems[0].what
    small.check_book(accept=True)
    assert small.check_book().problems == ()


def test_two_writers_are_both_named_by_the_next(small: Logbook) -> None:
    """Neither sees the other's entry; the next one names both, so that none can be lost."""
    places = Places(small.path)
    first, second = (a_note("tern") for _ in "12")
    (one, data), (other, more) = ((places.note("tern", n.id), bytes_of(n)) for n in (first, second))
    with entering(places, {one: Seal.of(data)}), entering(places, {other: Seal.of(more)}):
        write_file(one, data)
        write_file(other, more)
    heads = {e.name for e in entries_of(places)[0]}
    heads -= {b for e in entries_of(places)[0] for b in e.before}
    assert len(heads) == 2
    note = small.note("tern", "looked", kind="checked")
    newest = [e for e in entries_of(places)[0] if f"notes/{note.id}.json" in e.files]
    assert set(newest[0].before) == heads


def test_a_pair_that_was_interrupted_is_completed_by_the_next(small: Logbook) -> None:
    places = Places(small.path)

    class Death(BaseException):
        pass

    count = len(entries_of(places)[0])
    for done in (False, True):
        note = a_note("tern")
        path, data = places.note("tern", note.id), bytes_of(note)
        with pytest.raises(Death), entering(places, {path: Seal.of(data)}):  # noqa: PT012
            if done:
                write_file(path, data)
            raise Death
        small.note("tern", "looked", kind="checked")
        count += 1 + done
        assert len(entries_of(places)[0]) == count
    assert verify(places).differences == ()


def test_an_entry_names_no_file_outside_the_book(small: Logbook, tmp_path: Path) -> None:
    for name in ("notes/../../x", "notes/*", "notes/a/b", "/etc/x", "notes/.x", "x/y", "notes/"):
        with entering(Places(small.path), {}):
            pass
        doc = {"made": "", "before": [], "without": [], "files": {name: {"sha256": "", "bytes": 1}}}
        data = json_bytes(doc)
        path = tmp_path / f"00000001-{hashlib.sha256(data).hexdigest()[:32]}.json"
        path.write_bytes(data)
        with pytest.raises(BookError, match="was changed or cut off"):
            load_entry(path)
