"""Killed at any moment, or writing at once with another: nothing lost, no half file."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest

from telemetry.book import Logbook
from telemetry.book.files import writing as files
from telemetry.book.files.tables import read_table
from telemetry.results import Flight
from tests.sweeps import one_in, some_of

WRITER = Path(__file__).parent / "children" / "writer.py"
ROOT = Path(__file__).parents[2]
ENV = os.environ | {"PYTHONPATH": str(ROOT)}


@pytest.fixture(scope="module")
def writer() -> ModuleType:
    spec = importlib.util.spec_from_file_location("writer", WRITER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def every_file_is_whole(root: Path) -> int:
    """Whatever has its final name is whole; the number of such files."""
    count = 0
    for path in root.rglob("*"):
        if path.is_dir():
            continue
        if path.name.startswith("."):
            assert path.name.endswith(".part")
            continue
        count += 1
        if path.suffix == ".zst":
            size = path.stat().st_size
            assert size
            with pa.CompressedInputStream(pa.OSFile(str(path)), "zstd") as stream:
                digest = hashlib.sha256(stream.read()).hexdigest()
            assert digest[:16] == path.name.partition(".")[0]
        elif path.suffix == ".parquet":
            assert read_table(path, 30)
        elif path.suffix == ".json":
            assert json.loads(path.read_text(encoding="utf-8"))
        else:
            assert path.suffix == ".toml"
            assert tomllib.loads(path.read_text(encoding="utf-8"))
    return count


def all_that_was_promised_is_there(root: Path, acks: Path, writer: ModuleType) -> int:
    """What was acknowledged is in the book, as it was given; the number of acknowledgements."""
    lines = acks.read_text().splitlines() if acks.exists() else []
    if not lines:
        return 0
    book = Logbook(root)
    notes = {n.id for a in book.aircraft() for n in book.notes(a)}
    for line in lines:
        kind, first, second = line.split("|")
        if kind == "recording":
            log, data = writer.small_log(int(first))
            assert book.original(second) == data
            halves = [book.read(f"{second}-{row}").frame for row in (0, 30)]
            joined = pd.concat([h.reset_index(drop=True) for h in halves], ignore_index=True)
            pd.testing.assert_frame_equal(joined, log.frame.reset_index(drop=True))
        elif kind == "note":
            assert second in notes
        else:
            assert book.get_measures(second, "1") == {"number": int(first)}
    return len(lines)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_killed_at_random_moments(tmp_path: Path, writer: ModuleType) -> None:
    server = subprocess.Popen(
        [sys.executable, str(WRITER)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=ENV,
    )
    assert server.stdin is not None
    assert server.stdout is not None
    dice = random.Random(1)
    rounds = some_of(12, 50)
    interrupted = promised = 0
    try:
        for number in range(rounds):
            root, acks = tmp_path / f"book {number}", tmp_path / f"acks {number}"
            server.stdin.write(f"{root}\t{acks}\t{number * 1000}\t{number * 1000 + 999}\n")
            server.stdin.flush()
            child = int(server.stdout.readline())
            deadline = time.monotonic() + 60
            while number % 2 and not (acks.exists() and acks.stat().st_size):
                assert time.monotonic() < deadline, "the writer writes nothing"
                time.sleep(0.001)
            time.sleep(dice.uniform(0.0, 0.2))
            os.kill(child, signal.SIGKILL)
            assert server.stdout.readline() == "gone\n"
            every_file_is_whole(root)
            promised += all_that_was_promised_is_there(root, acks, writer)
            interrupted += bool(list(root.rglob(".*.part")))
            # The next one goes on where this one was stopped, and completes it.
            book = Logbook(root)
            listed = len(book.recordings())
            for again in range(number * 1000, number * 1000 + listed + 1):
                log, data = writer.small_log(again)
                book.add(log, aircraft=f"tern {again % 3}", source=data)
            assert len(book.recordings()) == listed + 1
            assert book.check_book().problems == ()
    finally:
        server.stdin.close()
        server.stdout.close()
        server.wait()
    # The test is worth something only if some were stopped in the middle of writing.
    print(
        f"{rounds} killed, {interrupted} in the middle of writing, {promised} kept", file=sys.stderr
    )
    assert interrupted >= rounds // 16
    assert promised >= rounds // 2


class Death(BaseException):
    """The process has died: nothing runs after it, not even tidying up."""


class Fate:
    """Dies at the n-th flush or rename; what comes after that fails too, as tidying up would."""

    def __init__(self, last: int) -> None:
        self.left = last

    def step(self) -> None:
        self.left -= 1
        if self.left <= 0:
            raise Death

    def sync(self, handle: int) -> None:
        self.step()
        REAL["fsync"](handle)

    def put_on(self, patch: pytest.MonkeyPatch) -> None:
        def replace(path: Path, target: Path) -> Any:
            self.step()
            return REAL["replace"](path, target)

        def unlink(path: Path, missing_ok: bool = False) -> None:
            if self.left <= 0:
                raise OSError
            REAL["unlink"](path, missing_ok=missing_ok)

        patch.setattr(os, "fsync", self.sync)
        patch.setattr(Path, "replace", replace)
        patch.setattr(Path, "unlink", unlink)


REAL: dict[str, Any] = {"fsync": os.fsync, "replace": Path.replace, "unlink": Path.unlink}


def crash_points(
    monkeypatch: pytest.MonkeyPatch, act: Callable[[], Any], share: int = 4
) -> Iterator[int]:
    """Do something again and again, dying that many steps later each time, until it is done.

    Where the whole sweep is asked for it dies at every single step.
    """
    for last in range(1, 200, one_in(share)):
        with monkeypatch.context() as patch:
            Fate(last).put_on(patch)
            try:
                act()
            except Death:
                pass
            else:
                return
        yield last
    raise AssertionError("it was never done")


def test_dead_at_every_single_step_of_adding(
    tmp_path: Path, make: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make(rows=60)
    halves = tuple(Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0))
    fresh = iter(range(1000))
    root = tmp_path

    def act() -> None:
        nonlocal root
        root = tmp_path / str(next(fresh))
        Logbook(root).add(made.log, aircraft="tern", source=made.data, flights=halves)

    count = 0
    for _ in crash_points(monkeypatch, act):
        count += 1
        every_file_is_whole(root)
        book = Logbook(root)
        assert len(book.flights("tern")) in (0, 2)
        outcome = book.add(made.log, aircraft="tern", source=made.data, flights=halves)
        assert len(outcome.flights) == len(book.flights("tern")) == 2
        assert book.original(outcome.recording) == made.data
        for part in root.rglob(".*.part"):
            os.utime(part, (0, 0))
        report = book.check_book()
        assert report.problems == ()
        assert not list(root.rglob(".*.part"))
    assert count >= 16 // one_in(
        4
    )  # seven files, each flushed and renamed, and folders made to last


def test_dead_at_every_single_step_of_giving_a_flight_to_another(
    tmp_path: Path, make: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make(rows=60)
    fresh = iter(range(1000))
    root = tmp_path

    def act() -> None:
        nonlocal root
        root = tmp_path / str(next(fresh))
        with monkeypatch.context() as alive:
            for target, name in ((os, "fsync"), (Path, "replace"), (Path, "unlink")):
                alive.setattr(target, name, REAL[name])
            book = Logbook(root)
            outcome = book.add(made.log, aircraft="tern", source=made.data)
        book.move(outcome.flights, "petrel")

    count = 0
    for _ in crash_points(monkeypatch, act):
        count += 1
        every_file_is_whole_of(root, 60)
        book = Logbook(root)
        holders = [a for a in ("tern", "petrel") if book.flights(a)]
        assert len(holders) == 1
        (flight,) = book.flights(holders[0])
        pd.testing.assert_frame_equal(book.read(flight.id).frame, made.log.frame)
        assert book.check_book().problems == ()
        assert len(list(root.glob("flights/*/*.parquet"))) == 1  # the stray copy is gone
    assert count >= 8 // one_in(4)


def every_file_is_whole_of(root: Path, rows: int) -> None:
    for path in root.rglob("*.parquet"):
        assert read_table(path, rows)


def test_two_processes_add_at_once(tmp_path: Path, writer: ModuleType) -> None:
    root, go = tmp_path / "book", tmp_path / "go"
    acks = [tmp_path / "a", tmp_path / "b"]
    third = some_of(8, 30)
    spans = [(0, 2 * third), (third, 3 * third)]  # half of the recordings are the same
    children = [
        subprocess.Popen(
            [sys.executable, str(WRITER), root, ack, str(first), str(last), go],
            stdout=subprocess.PIPE,
            env=ENV,
        )
        for ack, (first, last) in zip(acks, spans, strict=True)
    ]
    for child in children:
        assert child.stdout is not None
        assert child.stdout.readline().strip() == b"ready"
    go.touch()
    for child in children:
        child.communicate(timeout=60)
        assert child.returncode == 0
    every_file_is_whole(root)
    for ack, (first, last) in zip(acks, spans, strict=True):
        assert all_that_was_promised_is_there(root, ack, writer) == (last - first) * 4
    book = Logbook(root)
    assert len(book.recordings()) == 3 * third
    assert sum(len(book.flights(a)) for a in book.aircraft()) == 6 * third
    assert not list(root.rglob(".*.part"))
    report = book.check_book()
    assert report.problems == ()
    assert report.rebuilt == ()
    assert (report.recordings, report.flights) == (3 * third, 6 * third)


def test_a_rename_that_another_process_holds_up_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on Windows, where a file that is open elsewhere cannot be replaced."""
    path = tmp_path / "a.json"
    files.write_file(path, b"old")
    real, tries = Path.replace, []

    def held(source: Path, target: Path) -> Path:
        tries.append(source)
        if len(tries) < 3:
            raise PermissionError(13, "in use")
        return real(source, target)

    monkeypatch.setattr(Path, "replace", held)
    monkeypatch.setattr(time, "sleep", lambda _: None)
    files.write_file(path, b"new")
    assert path.read_bytes() == b"new"
    assert len(tries) == 3
    monkeypatch.setattr(Path, "replace", lambda *_: _raise())
    with pytest.raises(files.BookError, match="may not be written to"):
        files.write_file(path, b"newer")
    assert path.read_bytes() == b"new"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def _raise() -> Path:
    raise PermissionError(13, "in use")
