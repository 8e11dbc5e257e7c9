"""Full disk, read-only folder, damaged files, newer version: one sentence each, nothing lost."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from telemetry.book import Logbook, NoteKind
from telemetry.book.files.writing import PART
from telemetry.model.errors import BookError, OutputError
from telemetry.model.log import Log
from telemetry.results import Flight

Make = Callable[..., Any]


def listing(root: Path) -> list[str]:
    return sorted(p.relative_to(root).as_posix() for p in root.rglob("*"))


def read_from(made: Any) -> Callable[..., Log]:
    """Stands for the importer: gives the log for that original and nothing else."""

    def read(path: Path, settings: Any, row_interval_s: float | None) -> Log:
        assert path.read_bytes() == made.data
        assert path.name == Path(made.log.provenance.file).name
        assert dict(settings) == {}
        assert row_interval_s is None
        return made.log

    return read


# Full disk, read-only folder.


class Refusing:
    """A file of which the disk takes only so many bytes."""

    def __init__(self, file: Any, room: list[int], code: int) -> None:
        self.file, self.room, self.code = file, room, code

    def __enter__(self) -> Refusing:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)

    def write(self, data: bytes) -> int:
        taken = min(self.room[0], len(data))
        self.file.write(data[:taken])
        self.room[0] -= taken
        if taken < len(data):
            raise OSError(self.code, os.strerror(self.code))
        return taken


@contextmanager
def disk_with(room: int, code: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    real, left = Path.open, [room]

    def opened(path: Path, mode: str = "r", *args: Any, **kwargs: Any) -> Any:
        file = real(path, mode, *args, **kwargs)
        return Refusing(file, left, code) if "x" in mode or "w" in mode else file

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", opened)
        yield


def test_a_disk_that_fills_up_at_any_byte(
    book: Logbook, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, made = make(seed=1), make(seed=2)
    book.add(first.log, aircraft="tern", source=first.data)
    said = "the disk is full; free some space and try again; what the book held is untouched"
    refused = 0
    for room in range(0, 100_000, 700):
        try:
            with disk_with(room, errno.ENOSPC, monkeypatch):
                book.add(made.log, aircraft="petrel", source=made.data)
        except BookError as error:
            refused += 1
            message = str(error)
        else:
            break
        assert said in message
        assert not list(book.path.rglob(f".*{PART}"))
        assert book.flights("petrel") == ()
        assert book.original(book.flights("tern")[0].recording) == first.data
    assert refused > 5
    assert len(book.flights("petrel")) == 1
    assert book.check_book().problems == ()


@pytest.mark.parametrize("code", [errno.EACCES, errno.EROFS, errno.EPERM])
def test_a_place_that_may_not_be_written_to(
    code: int, book: Logbook, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make()
    with disk_with(0, code, monkeypatch), pytest.raises(BookError) as caught:
        book.add(made.log, aircraft="tern", source=made.data)
    assert "this place may not be written to; choose another folder for the book" in str(
        caught.value
    )
    assert book.aircraft() == ()
    with disk_with(0, errno.EIO, monkeypatch), pytest.raises(BookError, match=r"be written \(Inpu"):
        book.add(made.log, aircraft="tern", source=made.data)


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Callable[[str], None]]:
    """A real file system of that size; its options can be changed."""
    folder.mkdir()

    def mount(options: str) -> bool:
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
        try:
            return subprocess.run(command, capture_output=True, check=False).returncode == 0
        except OSError:
            return False

    if not mount(f"size={kilobytes}k"):
        pytest.skip("this user cannot mount a small disk")
    try:
        yield lambda options: None if mount(f"remount,{options}") else pytest.fail("remount")
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_real_small_disk(tmp_path: Path, make: Make) -> None:
    with small_disk(tmp_path / "disk", 512) as remount:
        book = Logbook(tmp_path / "disk" / "book")
        added = {}
        message = ""
        for seed in range(1000):
            made = make(seed=seed, rows=2000)
            try:
                added[book.add(made.log, aircraft="tern", source=made.data).flights[0]] = made
            except BookError as error:
                message = str(error)
                break
        assert added
        assert "the disk is full; free some space and try again" in message
        assert not list(book.path.rglob(f".*{PART}"))
        assert {f.id for f in book.flights("tern")} == set(added)
        for flight, one in added.items():
            pd.testing.assert_frame_equal(book.read(flight).frame, one.log.frame)
        with pytest.raises(BookError, match="the disk is full"):
            book.put_measures(next(iter(added)), "1", {"x": "y" * 600_000})
        with pytest.raises(OutputError, match="the disk is full; choose another place for it"):
            book.export("tern", tmp_path / "disk" / "all.csv")
        assert not (tmp_path / "disk" / "all.csv").exists()
        remount("size=8192k")
        assert book.add(made.log, aircraft="tern", source=made.data).status == "added"
        assert book.check_book().problems == ()

        # Read-only, the book can still be read.
        remount("ro")
        book = Logbook(book.path)
        assert len(book.flights("tern")) == len(added) + 1
        more = make(seed=2000)
        with pytest.raises(BookError, match="this place may not be written to"):
            book.add(more.log, aircraft="tern", source=more.data)
        with pytest.raises(BookError, match="this place may not be written to"):
            Logbook(tmp_path / "disk" / "another")
        with pytest.raises(BookError, match="this place may not be written to"):
            book.note("tern", "x", kind=NoteKind.CHECKED)
        assert book.check_book().problems == ()


# What lies in the folder already.


def test_a_folder_with_other_things_is_no_book_and_stays_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("x")
    with pytest.raises(BookError, match="this folder is no logbook: it holds other things"):
        Logbook(tmp_path)
    assert listing(tmp_path) == ["letter.txt"]
    with pytest.raises(BookError, match=r"cannot be (read|written)|there is no such file"):
        Logbook(tmp_path / "letter.txt")


def test_an_empty_folder_and_one_a_crash_left_become_a_book(tmp_path: Path) -> None:
    (tmp_path / f".abc{PART}").write_text("layo")
    Logbook(tmp_path)
    assert (tmp_path / "format.toml").read_text().endswith("layout = 3\n")
    assert Logbook(tmp_path).aircraft() == ()


def test_a_book_from_a_newer_version_is_refused_and_not_touched(tmp_path: Path, make: Make) -> None:
    made = make()
    Logbook(tmp_path).add(made.log, aircraft="tern", source=made.data)
    (tmp_path / "format.toml").write_text("layout = 4\nwhatever = []\n")
    before = listing(tmp_path)
    with pytest.raises(
        BookError,
        match=r"written by a newer busbook \(layout 4; this one knows up to 3\); install the "
        "newest busbook; nothing was changed",
    ):
        Logbook(tmp_path)
    assert listing(tmp_path) == before


@pytest.mark.parametrize("text", ["", "layout = 'x'", "layout = true", "layout = 0", "layo", "\0"])
def test_a_version_that_cannot_be_read(tmp_path: Path, text: str) -> None:
    (tmp_path / "format.toml").write_text(text)
    with pytest.raises(BookError, match="version of this logbook cannot be read; it should hold"):
        Logbook(tmp_path)


# Damage.


@pytest.fixture
def added(book: Logbook, make: Make) -> Any:
    made = make(rows=60)
    halves = tuple(Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0))
    outcome = book.add(made.log, aircraft="tern", source=made.data, flights=halves)
    book.note("tern", "cleaned", kind="repaired", place="left wing")
    for flight in outcome.flights:
        book.put_measures(flight, "1", {"x": 1})
    return made


def parquet(book: Logbook, number: int = 0) -> Path:
    return sorted((book.path / "flights" / "aircraft=tern").glob("*.parquet"))[number]


def test_a_sound_book_is_found_sound(book: Logbook, added: Any) -> None:
    before = listing(book.path)
    report = book.check_book()
    assert (report.recordings, report.flights) == (1, 2)
    assert (report.rebuilt, report.removed, report.problems) == ((), (), ())
    assert listing(book.path) == before


def test_damaged_parquet_is_told_and_made_again_byte_for_byte(book: Logbook, added: Any) -> None:
    path = parquet(book)
    whole = path.read_bytes()
    samples = book.read(path.stem).frame
    assert len(whole) > 3000
    cases = [b"", whole[:1000], whole[:-1], b"PAR1" + b"\0" * 100 + b"PAR1"]
    # One changed bit anywhere in the samples is found by the pages' checksums.
    for where in range(4, 900, 37):
        cases.append(whole[:where] + bytes([whole[where] ^ 4]) + whole[where + 1 :])
    said: list[str] = []
    for case in cases:
        path.write_bytes(case)
        try:
            log = book.read(path.stem)
        except BookError as error:
            said.append(str(error))
            report = book.check_book(read_from(added))
            assert report.problems == ()
            assert path.relative_to(book.path).as_posix() in report.rebuilt
            assert path.read_bytes() == whole
        else:
            # Page headers have no checksum: a bit there may be one that nobody reads.
            pd.testing.assert_frame_equal(log.frame, samples)
    assert len(said) > 2 * len(cases) // 3
    assert all("table is damaged; run busbook check-book, which makes it" in s for s in said)


def test_a_lost_flight_is_made_again(book: Logbook, added: Any) -> None:
    whole = parquet(book).read_bytes()
    flight = parquet(book).stem
    parquet(book).unlink()
    with pytest.raises(BookError, match="the book has lost this flight; run busbook check-book"):
        book.read(flight)
    assert book.knows(added.log.provenance.sha256) is None
    assert book.check_book(read_from(added)).problems == ()
    assert parquet(book).read_bytes() == whole


def test_a_flight_in_place_of_another_is_noticed(book: Logbook, added: Any, make: Make) -> None:
    other = make(seed=9, rows=30)
    book.add(other.log, aircraft="tern", source=other.data)
    paths = [parquet(book, n) for n in range(3)]
    mine = next(p for p in paths if p.stem.endswith("-30"))
    whole = mine.read_bytes()
    stranger = next(p for p in paths if p.stem[:9] != mine.stem[:9])
    mine.write_bytes(stranger.read_bytes())
    report = book.check_book(read_from(added))
    assert report.problems == ()
    assert mine.read_bytes() == whole


@pytest.mark.parametrize("keep", [0, 10, -1])
def test_a_truncated_original_is_told_and_taken_again(keep: int, book: Logbook, added: Any) -> None:
    recording = book.recordings()[0].id
    path = book.path / "originals" / f"{recording}.csv.zst"
    whole = path.read_bytes()
    path.write_bytes(whole[:keep])
    with pytest.raises(BookError, match="is not what was stored: it was cut off"):
        book.original(recording)
    report = book.check_book()
    (problem,) = report.problems
    assert problem.what.startswith("the original of 'flight 1.csv' is not what was stored")
    assert "add the file again, and the book takes it in its place" in str(report.problems[0])
    assert report.damaged == (f"originals/{recording}.csv.zst.damaged",)
    assert len(book.flights("tern")) == 2  # the samples are still there
    assert len(book.check_book().problems) == 1
    again = book.add(added.log, aircraft="tern", source=added.data, flights=halves())
    assert (again.status, again.reason) == ("added", "it was added before")
    assert book.original(recording) == added.data
    assert path.read_bytes() == whole
    report = book.check_book()
    assert report.problems == ()
    assert report.removed == (f"originals/{recording}.csv.zst.damaged",)


def test_a_missing_original_is_told_by_its_name(book: Logbook, added: Any) -> None:
    recording = book.recordings()[0]
    (book.path / "originals" / f"{recording.id}.csv.zst").unlink()
    (problem,) = book.check_book().problems
    assert problem.what == f"the original of '{recording.file}' is missing"
    assert "add the file again" in str(problem)


def halves() -> tuple[Flight, ...]:
    return tuple(Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0))


def test_a_changed_original_is_told(book: Logbook, added: Any) -> None:
    recording = book.recordings()[0].id
    path = book.path / "originals" / f"{recording}.csv.zst"
    whole = bytearray(path.read_bytes())
    whole[len(whole) // 2] ^= 1
    path.write_bytes(bytes(whole))
    with pytest.raises(BookError, match="is not what was stored"):
        book.original(recording)


def test_original_and_flight_both_damaged_is_a_problem_and_no_crash(
    book: Logbook, added: Any
) -> None:
    (book.path / "originals" / f"{book.recordings()[0].id}.csv.zst").write_bytes(b"")
    parquet(book).write_bytes(b"")
    said = [p.what for p in book.check_book().problems]
    assert said == [
        "the original of 'flight 1.csv' is not what was stored: it was cut off or changed",
        "this flight's table is not what was stored",
    ]


def test_the_flights_of_a_record_that_cannot_be_read_stay_where_they_are(
    book: Logbook, added: Any, make: Make
) -> None:
    """Nobody can tell whose they are: what is not understood is not thrown away."""
    other = make(seed=2000)
    book.add(other.log, aircraft="tern", source=other.data)
    without_entries(book)
    lost = next(r for r in book.recordings() if len(r.flights) == 2)
    (book.path / "originals" / f"{lost.id}.json").write_text("{")
    kept = {}
    for part in lost.flights:
        path = book.path / "flights" / "aircraft=tern" / f"{part.id}.parquet"
        path.write_bytes(path.read_bytes()[:-100])  # its own copy of the record went too
        kept[path] = path.read_bytes()
    report = book.check_book()
    assert report.recordings == 1
    assert [p.what for p in report.problems] == ["this file of the book is damaged"]
    assert not [name for name in report.removed if name.endswith(".parquet")]
    assert {path: path.read_bytes() for path in kept} == kept


def test_a_bomb_in_place_of_an_original_is_not_unpacked(book: Logbook, added: Any) -> None:
    import tracemalloc

    import pyarrow as pa

    recording = book.recordings()[0].id
    bomb = pa.Codec("zstd").compress(b"\0" * 300_000_000, asbytes=True)
    assert len(bomb) < 100_000
    (book.path / "originals" / f"{recording}.csv.zst").write_bytes(bomb)
    before = pa.total_allocated_bytes()
    tracemalloc.start()
    with pytest.raises(BookError, match="is not what was stored"):
        book.original(recording)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000
    assert pa.total_allocated_bytes() - before < 5_000_000


def test_a_lost_or_damaged_record_comes_back_from_the_flights(book: Logbook, added: Any) -> None:
    recording = book.recordings()[0]
    path = book.path / "originals" / f"{recording.id}.json"
    whole = path.read_bytes()
    for damage in (None, b"", whole[:50], b"[]", b"{}", b'{"id": 1}', b"\xff\xfe"):
        if damage is None:
            path.unlink()
            assert book.flights("tern") == ()
        else:
            path.write_bytes(damage)
            with pytest.raises(BookError, match="this file of the book is damaged; run busbook"):
                book.flights("tern")
        report = book.check_book()
        assert report.problems == ()
        assert report.rebuilt == (f"originals/{recording.id}.json",)
        assert book.recordings() == (recording,)
        assert path.read_bytes() == whole


def test_an_original_alone_is_told_as_not_finished(book: Logbook, added: Any) -> None:
    without_entries(book)
    recording = book.recordings()[0].id
    (book.path / "originals" / f"{recording}.json").unlink()
    for path in (book.path / "flights" / "aircraft=tern").iterdir():
        path.unlink()
    (problem,) = book.check_book().problems
    assert "this recording was not added to its end; add its file again" in str(problem)


def test_a_better_importer_may_keep_more_rows(book: Logbook, added: Any, make: Make) -> None:
    parquet(book).unlink()
    more = make(rows=61)
    better = Log(
        frame=more.log.frame,
        text=more.log.text,
        channels=added.log.channels,
        provenance=added.log.provenance,
    )
    report = book.check_book(lambda *_: better)
    assert report.problems == ()
    assert [f.rows for f in book.flights("tern")] == [30, 31]
    assert book.check_book().rebuilt == ()


def test_an_original_that_cannot_be_read_again_is_a_problem(book: Logbook, added: Any) -> None:
    parquet(book).unlink()

    def refuse(path: Path, settings: Any, row_interval_s: float | None) -> Log:
        raise BookError("no time column", path=path)

    (problem,) = book.check_book(refuse).problems
    assert problem.what == "no time column"
    assert not [p for p in book.path.iterdir() if p.name.startswith(".")]


def test_derived_files_that_are_damaged_or_astray_are_removed(book: Logbook, added: Any) -> None:
    flight = book.flights("tern")[0].id
    measures = book.path / "measures" / f"{flight}.json"
    measures.write_text("{")
    stray = book.path / "measures" / "0123456789abcdef-0.json"
    stray.write_text("{}")
    (learnt,) = (book.path / "maps" / "aircraft=tern").glob("*.json")
    learnt.write_text("no")
    with pytest.raises(BookError, match="this file of the book is damaged"):
        book.learnt()
    report = book.check_book()
    assert report.problems == ()
    assert set(report.removed) >= {p.relative_to(book.path).as_posix() for p in (measures, stray)}
    assert book.get_measures(flight, "1") is None
    assert len(book.learnt()) == 1


def without_entries(book: Logbook) -> None:
    """As books of older layouts are, which had none."""
    shutil.rmtree(book.path / "entries")
    (book.path / "format.toml").write_text("layout = 2\n")


def test_a_damaged_note_is_told_and_kept(book: Logbook, added: Any) -> None:
    without_entries(book)
    (path,) = (book.path / "notes" / "aircraft=tern").glob("*.json")
    doc = json.loads(path.read_text(encoding="utf-8"))
    for damage in ("", "{}", json.dumps(doc | {"kind": "fixed"}), json.dumps(doc | {"date": "x"})):
        path.write_text(damage)
        (problem,) = book.check_book().problems
        assert problem.path == str(path)
        with pytest.raises(BookError, match="this file of the book is damaged"):
            book.notes("tern")
    assert path.exists()


def test_a_wrong_profile_is_told(book: Logbook, added: Any) -> None:
    book.profile_path("tern").write_text("name = 3\n")
    (problem,) = book.check_book().problems
    assert problem.path == str(book.profile_path("tern"))
    assert problem.line == 1


def test_old_leftovers_are_swept_out_and_fresh_ones_stay(book: Logbook, added: Any) -> None:
    folder = book.path / f".0123{PART}"
    folder.mkdir()
    (folder / "a.csv").write_text("x")
    old = book.path / "originals" / f".4567{PART}"
    old.write_text("x")
    fresh = book.path / "originals" / f".89ab{PART}"
    fresh.write_text("another process is writing this")
    os.utime(old, (0, 0))
    os.utime(folder, (0, 0))
    report = book.check_book()
    assert set(report.removed) == {f".0123{PART}", f"originals/.4567{PART}"}
    assert fresh.exists()


def test_two_contents_of_one_short_hash_are_refused(
    book: Logbook, added: Any, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = make(seed=5)
    first = book.recordings()[0].id
    monkeypatch.setattr("telemetry.book.adding.recording_id", lambda _: first)
    with pytest.raises(BookError, match="two recordings have the same short hash"):
        book.add(other.log, aircraft="tern", source=other.data)
    assert book.original(first) == added.data
    assert zlib.crc32(added.data) != zlib.crc32(other.data)
