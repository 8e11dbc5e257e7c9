"""Folders, whole trees, executors: one outcome a file, in order; a bad file stops no other."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from telemetry.app.incoming.batch import Incoming, add_files, read_file
from telemetry.app.workers import worker_pool
from telemetry.book import Logbook, Outcome
from telemetry.importer.finding import find_files
from telemetry.model.errors import BookError, UnreadableLog
from telemetry.results import Flight


def write_csv(path: Path, seed: int, *, other: bool = False) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    place = "Tail" if other else "Left Wing"
    rows = [f"Time [s],Bus U [V],{place} I [A]"]
    rows += [
        f"{i / 10:.1f},{6 - 0.01 * (i % 7) + seed / 1000:.3f},{1 + 0.1 * ((i + seed) % 5):.1f}"
        for i in range(80)
    ]
    path.write_text("\n".join(rows) + "\n")
    return path


def tree(root: Path) -> Path:
    write_csv(root / "LOGS" / "log 10.csv", 10)
    write_csv(root / "LOGS" / "log 9.csv", 9)
    write_csv(root / "LOGS" / "2026" / "a.TXT", 3)
    write_csv(root / "LOGS" / ".hidden.csv", 4)
    write_csv(root / "LOGS" / "._log 9.csv", 5)
    write_csv(root / ".trash" / "old.csv", 6)
    (root / "SOUND").mkdir()
    (root / "SOUND" / "beep.wav").write_bytes(b"RIFF....WAVE")
    (root / "LOGS" / "readme.txt").write_text("Hello, this is a memory card.\n")
    (root / "LOGS" / "broken.csv").write_bytes(b"\x89PNG\r\n\x1a\n....")
    (root / "LOGS" / "empty.csv").write_bytes(b"")
    return root


def by_name(outcomes: tuple[Outcome, ...]) -> dict[str, Outcome]:
    return {Path(o.file).name: o for o in outcomes}


def test_a_memory_card_is_searched_to_the_bottom_in_the_order_of_numbers(tmp_path: Path) -> None:
    card = tree(tmp_path / "card")
    found = [f.path.relative_to(card).as_posix() for f in find_files([card])]
    assert found == [
        "LOGS/broken.csv",
        "LOGS/empty.csv",
        "LOGS/log 9.csv",
        "LOGS/log 10.csv",
        "LOGS/readme.txt",
        "LOGS/2026/a.TXT",
    ]
    # A file that is named may be called anything, and nothing is taken twice.
    wav = card / "SOUND" / "beep.wav"
    again = find_files([wav, card / "LOGS" / "log 10.csv", card])
    assert len(again) == 7
    assert [f.named for f in again][:3] == [True, True, False]


def test_a_name_too_long_for_any_file_is_a_failure_like_others(book: Logbook) -> None:
    (outcome,) = add_files(book, ["x" * 5000], aircraft="tern")
    assert outcome.status == "failed"
    assert "fault of this program" not in str(outcome.error)


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no links here")
def test_links_are_not_followed_in_circles(tmp_path: Path) -> None:
    card = tree(tmp_path / "card")
    (card / "LOGS" / "2026" / "up").symlink_to(card)
    assert len(find_files([card])) == 6


def test_one_outcome_a_file_and_a_bad_one_stops_no_other(book: Logbook, tmp_path: Path) -> None:
    card = tree(tmp_path / "card")
    seen: list[tuple[int, int, str]] = []
    outcomes = add_files(
        book,
        [card, tmp_path / "missing.csv"],
        aircraft="tern",
        progress=lambda n, total, o: seen.append((n, total, o.status)),
    )
    assert [(n, total) for n, total, _ in seen] == [(i, 7) for i in range(1, 8)]
    found = by_name(outcomes)
    assert {n: o.status for n, o in found.items()} == {
        "broken.csv": "failed",
        "empty.csv": "failed",
        "log 9.csv": "added",
        "log 10.csv": "added",
        "readme.txt": "skipped",
        "a.TXT": "added",
        "missing.csv": "failed",
    }
    assert isinstance(found["broken.csv"].error, UnreadableLog)
    assert "there is no such file or folder; check the path" in str(found["missing.csv"].error)
    assert found["log 9.csv"].reason == "given"
    # Named, the same text file is a failure.
    (named,) = add_files(book, [card / "LOGS" / "readme.txt"], aircraft="tern")
    assert named.status == "failed"


def test_adding_again_reads_nothing(book: Logbook, tmp_path: Path) -> None:
    card = tree(tmp_path / "card")
    first = by_name(add_files(book, [card], aircraft="tern"))

    def never(path: Path) -> Incoming:
        raise AssertionError(path)

    names = ["log 9.csv", "log 10.csv"]
    outcomes = add_files(book, [card / "LOGS" / n for n in names], aircraft="tern", read=never)
    assert [o.status for o in outcomes] == ["known", "known"]
    assert [o.flights for o in outcomes] == [first[n].flights for n in names]
    elsewhere = add_files(book, [card / "LOGS" / names[0]], aircraft="petrel", read=never)
    assert elsewhere[0].reason == "the book has it as a flight of 'tern'"


def test_without_an_aircraft_logs_are_assigned_or_asked_about(
    book: Logbook, tmp_path: Path
) -> None:
    folder = tmp_path / "logs"
    add_files(book, [write_csv(tmp_path / "known.csv", 1)], aircraft="tern")
    write_csv(folder / "1.csv", 2)
    write_csv(folder / "2.csv", 3, other=True)
    first, second = add_files(book, [folder])
    assert (first.status, first.aircraft, first.reason) == (
        "added",
        "tern",
        "its columns are known",
    )
    assert (second.status, second.aircraft, second.candidates) == ("unsure", None, ("tern",))
    unsure = "not clear which aircraft this log is of: no aircraft of the book has these"
    assert unsure in str(second.error)


def read_with_flights(path: Path) -> Incoming:
    incoming = read_file(path)
    spans = tuple(Flight(kind="bench", start_s=s, end_s=s + 3, phases=()) for s in (0.0, 4.0))
    measures = tuple({"rows": len(incoming.log.frame), "part": n} for n in range(2))
    return replace(incoming, flights=spans, measures=measures, version="3")


def snapshot(book: Logbook) -> dict[str, bytes]:
    """All of the book's bytes; the clock's times are taken out."""
    found = {}
    for path in sorted(book.path.rglob("*")):
        # Entries tell when each file was written, and in which order.
        if path.is_file() and path.suffix != ".parquet" and path.parent.name != "entries":
            data = path.read_bytes()
            for recording in book.recordings():
                data = data.replace(recording.added.encode(), b"T")
            found[path.relative_to(book.path).as_posix()] = data
    for recording in book.recordings():
        for part in recording.flights:
            found[part.id] = book.read(part.id).frame.to_csv().encode()
    return found


@pytest.mark.parametrize("kind", ["threads", "processes"])
def test_any_executor_gives_the_same_book_as_none(kind: str, tmp_path: Path) -> None:
    card = tree(tmp_path / "card")
    for number in range(20):
        write_csv(card / "more" / f"{number}.csv", 100 + number)
    alone = Logbook(tmp_path / "alone")
    add_files(alone, [card], aircraft="tern", read=READ)
    pool: Executor
    with ThreadPoolExecutor(2) if kind == "threads" else worker_pool(2) as pool:
        book = Logbook(tmp_path / "together")
        outcomes = add_files(book, [card], aircraft="tern", read=READ, executor=pool, pending=3)
        assert pool.submit(len, "abc").result() == 3  # it was not shut down
    assert [o.status for o in outcomes].count("added") == 23
    assert snapshot(book) == snapshot(alone)


READ = functools.partial(read_file, settings={}, row_interval_s=None)


class Spy(Executor):
    """Runs a task when its result is wanted, and counts those that wait."""

    def __init__(self) -> None:
        self.waiting = self.most = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.waiting += 1
        self.most = max(self.most, self.waiting)
        return Late(self, functools.partial(fn, *args, **kwargs))


class Late(Future[Any]):
    def __init__(self, spy: Spy, call: Callable[[], Any]) -> None:
        super().__init__()
        self.spy, self.call = spy, call

    def result(self, timeout: float | None = None) -> Any:
        assert timeout is None
        self.spy.waiting -= 1
        return self.call()


def test_no_more_logs_are_under_way_than_asked_for(book: Logbook, tmp_path: Path) -> None:
    for number in range(12):
        write_csv(tmp_path / "logs" / f"{number}.csv", number)
    spy = Spy()
    outcomes = add_files(book, [tmp_path / "logs"], aircraft="tern", executor=spy, pending=4)
    assert [Path(o.file).stem for o in outcomes] == [str(n) for n in range(12)]
    assert spy.most == 5  # four waiting and the one being finished


def test_flights_and_measures_of_the_worker_are_kept(book: Logbook, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "a.csv", 1)
    (outcome,) = add_files(book, [path], aircraft="tern", read=read_with_flights)
    assert len(outcome.flights) == 2
    assert [f.kind for f in book.flights("tern")] == ["bench", "bench"]
    assert [book.get_measures(f, "3") for f in outcome.flights] == [
        {"rows": 80, "part": 0},
        {"rows": 80, "part": 1},
    ]


def test_a_file_that_changes_while_it_is_read(book: Logbook, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "a.csv", 1)

    def read(path: Path) -> Incoming:
        incoming = read_file(path)
        with path.open("a") as file:
            file.write("8.0,6.00,1.0\n")
        return incoming

    (outcome,) = add_files(book, [path], aircraft="tern", read=read)
    assert outcome.status == "failed"
    assert "something is writing to it; add it again when it is finished" in str(outcome.error)
    assert book.flights("tern") == ()
    (outcome,) = add_files(book, [path], aircraft="tern")
    assert outcome.status == "added"
    assert book.flights("tern")[0].rows == 81


def test_a_fault_of_this_program_costs_one_file(
    book: Logbook, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    paths = [write_csv(tmp_path / f"{n}.csv", n) for n in range(3)]

    def read(path: Path) -> Incoming:
        if path.stem == "1":
            raise ZeroDivisionError("division by zero")
        return read_file(path)

    outcomes = add_files(book, paths, aircraft="tern", read=read)
    assert [o.status for o in outcomes] == ["added", "failed", "added"]
    assert "by a fault of this program (ZeroDivisionError: division by zero)" in str(
        outcomes[1].error
    )
    assert "Traceback" in caplog.text


class DeadPool(Executor):
    """Its first task breaks it, as a worker that the system ends for want of memory does."""

    broken = False

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        error = BrokenProcessPool(f"terminated abruptly at {fn}, {args}, {kwargs}")
        if self.broken:
            raise error
        self.broken = True
        future: Future[Any] = Future()
        future.set_exception(error)
        return future


def test_workers_that_die_are_told_of(book: Logbook, tmp_path: Path) -> None:
    paths = [write_csv(tmp_path / f"{n}.csv", n) for n in range(2)]
    outcomes = add_files(book, paths, aircraft="tern", executor=DeadPool())
    assert [o.status for o in outcomes] == ["failed", "failed"]
    for outcome in outcomes:
        assert "the worker that should read it has ended; try it again with one worker" in str(
            outcome.error
        )


def test_a_bad_name_is_told_before_anything_is_read(book: Logbook, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "a.csv", 1)
    with pytest.raises(BookError, match="cannot be the name of an aircraft"):
        add_files(book, [path], aircraft="../x")


def test_the_book_itself_is_not_searched_for_logs(tmp_path: Path) -> None:
    write_csv(tmp_path / "a.csv", 1)
    book = Logbook(tmp_path / "book")
    (book.path / "stray.csv").write_text("no log")
    assert [o.status for o in add_files(book, [tmp_path], aircraft="tern")] == ["added"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="here any folder can be read")
def test_a_folder_that_cannot_be_read_is_one_failure(book: Logbook, tmp_path: Path) -> None:
    write_csv(tmp_path / "logs" / "a.csv", 1)
    (tmp_path / "logs" / "shut").mkdir(mode=0)
    outcomes = add_files(book, [tmp_path / "logs"], aircraft="tern")
    assert [o.status for o in outcomes] == ["added", "failed"]


def test_a_folder_that_cannot_be_read_has_its_own_outcome(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_csv(tmp_path / "logs" / "a.csv", 1)
    real = os.scandir

    def scandir(path: Any) -> Any:
        if Path(path).name == "shut":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    (tmp_path / "logs" / "shut").mkdir()
    monkeypatch.setattr(os, "scandir", scandir)
    outcomes = add_files(book, [tmp_path / "logs"], aircraft="tern")
    assert [o.status for o in outcomes] == ["added", "failed"]
    assert "this folder cannot be read (Permission denied); check its permissions" in str(
        outcomes[1].error
    )
