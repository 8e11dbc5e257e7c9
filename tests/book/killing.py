"""Kill a process that removes, restores, moves and notes at random, and see that nothing is lost.

By hand, for more rounds than the tests have time for; the counts are printed:

    python -m tests.book.killing 300
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np

from telemetry.book import Logbook
from telemetry.book.files.tables import read_table
from telemetry.results import Flight
from tests.book.children.writer import ROWS, small_log

CHANGER = Path(__file__).parent / "children" / "changer.py"
ENV = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}

#: What is held, and what is kept aside: (id, aircraft).
State = tuple[frozenset[tuple[str, str]], frozenset[tuple[str, str]]]


def make_book(root: Path) -> Logbook:
    """Six flights in three logs, of two aircraft, and two notes."""
    book = Logbook(root)
    halves = tuple(Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0))
    for number, whose in enumerate(("tern", "tern", "gull")):
        log, data = small_log(number)
        book.add(log, aircraft=whose, source=data, flights=halves)
    for whose in ("tern", "gull"):
        book.note(whose, "looked at it", kind="checked")
    return book


def state_of(book: Logbook) -> State:
    """What a book holds and keeps aside."""
    held = (e for entries in book.timelines().values() for e in entries)
    return (
        frozenset((e.id, e.aircraft) for e in held),
        frozenset((e.id, e.aircraft) for e, _ in book.removed()),
    )


def after(state: State, kind: str, ids: list[str], whose: str) -> State:
    """What a piece of work makes of it."""
    held, aside = dict(state[0]), dict(state[1])
    for one in ids:
        if kind == "remove":
            aside[one] = held.pop(one)
        elif kind == "restore":
            held[one] = aside.pop(one)
        else:  # a flight that is moved, a new note
            held[one] = whose
    return frozenset(held.items()), frozenset(aside.items())


def told(acks: Path) -> list[list[str]]:
    """What a process said of its work; a last line that was cut off says nothing."""
    text = acks.read_text() if acks.exists() else ""
    return [line.split("|") for line in text.rpartition("\n")[0].splitlines()]


def nothing_is_lost(root: Path) -> None:
    """Each flight lies in one place, the right one, and holds what it held; the book is sound."""
    book = Logbook(root)
    for folder, entries in zip(("", "removed/"), state_of(book), strict=True):
        flights = {(one, whose) for one, whose in entries if one[:16] in _recordings(root)}
        lying = root.glob(f"{folder}flights/*/*.parquet")
        found = {(p.stem, p.parent.name.removeprefix("aircraft=")): p for p in lying}
        assert set(found) == flights
        for (flight, _), path in found.items():
            number = _recordings(root)[flight[:16]]
            volts = small_log(number)[0].values("bus/voltage")
            first = int(flight.partition("-")[2])
            column = read_table(path, ROWS // 2).column("bus/voltage").to_numpy()
            assert np.array_equal(column, volts[first : first + ROWS // 2])
        notes = {one for one, _ in entries - flights}
        assert {p.stem for p in root.glob(f"{folder}notes/*/*.json")} == notes
    report = book.check_book()
    assert (report.problems, report.rebuilt) == ((), ())


def _recordings(root: Path) -> dict[str, int]:
    """The number of each log that was made, by the id of its recording."""
    return {
        path.name.partition(".")[0]: int(number)
        for path in root.glob("originals/*.json")
        for number in [path.read_text().partition('"file": "')[2].partition(".csv")[0]]
    }


@contextmanager
def changers() -> Iterator[tuple[IO[str], IO[str]]]:
    """A process that forks one that changes a book, for each line it is given."""
    server = subprocess.Popen(
        [sys.executable, str(CHANGER)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=ENV,
    )
    assert server.stdin is not None
    assert server.stdout is not None
    try:
        yield server.stdin, server.stdout
    finally:
        server.stdin.close()
        server.stdout.close()
        server.wait()


def kill_rounds(folder: Path, count: int, seed: int = 1) -> Counter[str]:
    """Kill so many, each at a random moment of its work; what happened, counted."""
    dice = random.Random(seed)
    counts: Counter[str] = Counter()
    make_book(folder / "template")
    with changers() as (say, hear):
        for number in range(count):
            root, acks = folder / f"book {number}", folder / f"acks {number}"
            shutil.copytree(folder / "template", root)
            start = state_of(Logbook(root))
            say.write(f"{root}\t{acks}\t{dice.randrange(1 << 30)}\t1000\n")
            say.flush()
            child = int(hear.readline())
            deadline = time.monotonic() + 60
            while not acks.exists() or not acks.stat().st_size:
                assert time.monotonic() < deadline, "it does no work"
                time.sleep(0.001)
            time.sleep(dice.uniform(0.0, 0.3))
            os.kill(child, signal.SIGKILL)
            assert hear.readline() == "gone\n"
            counts += _judge(root, acks, start)
            shutil.rmtree(root)
    return counts


def _judge(root: Path, acks: Path, state: State) -> Counter[str]:
    counts = Counter(killed=1)
    lines = told(acks)
    pending: State | None = None
    for what, kind, ids, whose in lines:
        if what == "begin":
            pending = after(state, kind, ids.split(), whose)
        elif pending is not None:
            state, pending = pending, None
            counts["done"] += 1
    found = state_of(Logbook(root, make=False))
    if pending is not None:
        counts["in the middle of one"] += 1
        counts["of these done"] += found == pending
        counts["of these not begun"] += found == state
    assert found in (state, pending), "what was promised is not there, or something else is"
    nothing_is_lost(root)
    return counts


def race(folder: Path, count: int, seed: int = 1) -> Counter[str]:
    """Two at once on one book, each with so many pieces of work; what happened, counted."""
    root, go = folder / "raced", folder / "go"
    before = state_of(make_book(root))
    acks = [folder / "a", folder / "b"]
    children = [
        subprocess.Popen(
            [sys.executable, str(CHANGER), root, ack, str(seed + k), str(count), go],
            stdout=subprocess.PIPE,
            env=ENV,
        )
        for k, ack in enumerate(acks)
    ]
    for child in children:
        assert child.stdout is not None
        assert child.stdout.readline().strip() == b"ready"
    go.touch()
    for child in children:
        child.communicate(timeout=300)
        assert child.returncode == 0
    lines = [line for ack in acks for line in told(ack)]
    noted = {ids for what, kind, ids, _ in lines if what == "begin" and kind == "note"}
    ids = {one for entries in state_of(Logbook(root)) for one, _ in entries}
    assert ids == {one for entries in before for one, _ in entries} | noted
    nothing_is_lost(root)
    return Counter(
        {
            "at once": 2,
            "done": sum(line[0] == "done" for line in lines),
            "refused, the other was first": sum(line[0] == "refused" for line in lines),
        }
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        killed = kill_rounds(Path(folder), count, seed=count)
        raced = race(Path(folder), count, seed=count)
    for title, counts in (("killed at random moments", killed), ("two at once", raced)):
        print(f"{title}: " + ", ".join(f"{name} {number}" for name, number in counts.items()))
    print("nothing lost")


if __name__ == "__main__":
    main()
