"""Kill processes that write into a book at random, and see that nothing is lost.

They add, remove, restore, move, note, set keys of a profile and make lost tables again, one process
alone or two at once. By hand, for more rounds than the tests have time for; the counts are printed:

    python -m tests.book.killing 500

Half of the rounds are of one writer, half of two.
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
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

import numpy as np

from telemetry.book import Logbook
from telemetry.book.files.tables import read_table
from tests.book.children.changer import AIRCRAFT, HALVES, KINDS, Work
from tests.book.children.writer import ROWS, small_log

CHANGER = Path(__file__).parent / "children" / "changer.py"
ENV = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}

#: What is held, and what is kept aside: (id, aircraft).
State = tuple[frozenset[tuple[str, str]], frozenset[tuple[str, str]]]


def make_book(root: Path) -> Logbook:
    """Six flights in three logs, of two aircraft, and two notes."""
    book = Logbook(root)
    for number, whose in enumerate(("tern", "tern", "gull")):
        log, data = small_log(number)
        book.add(log, aircraft=whose, source=data, flights=HALVES)
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


def after(state: State, work: Work) -> State:
    """What a piece of work makes of it."""
    held, aside = dict(state[0]), dict(state[1])
    for one in () if work.kind == "rebuild" else work.ids:
        if work.kind == "remove":
            aside[one] = held.pop(one)
        elif work.kind == "restore":
            held[one] = aside.pop(one)
        else:  # a flight that is moved, a new note, the flights of a new log
            held[one] = work.whose
    return frozenset(held.items()), frozenset(aside.items())


def told(acks: Path) -> list[tuple[Work, str]]:
    """What a process said of its work, and how each ended: done, refused, or "".

    A last line that was cut off says nothing.
    """
    text = acks.read_text() if acks.exists() else ""
    out: list[tuple[Work, str]] = []
    for line in text.rpartition("\n")[0].splitlines():
        what, kind, ids, whose, number = line.split("|")
        if what == "begin":
            out.append((Work(kind, ids.split(), whose, int(number)), ""))
        else:
            out[-1] = (out[-1][0], what)
    return out


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


def kill_rounds(folder: Path, count: int, seed: int = 1, writers: int = 1) -> Counter[str]:
    """Kill so many times all writers of a book at a random moment; what happened, counted."""
    dice = random.Random(seed)
    counts: Counter[str] = Counter()
    make_book(folder / "template")
    with ExitStack() as stack:
        servers = [stack.enter_context(changers()) for _ in range(writers)]
        for number in range(count):
            root = folder / f"book {number}"
            acks = [folder / f"acks {number} {k}" for k in range(writers)]
            shutil.copytree(folder / "template", root)
            start = state_of(Logbook(root))
            children = []
            for (say, hear), path in zip(servers, acks, strict=True):
                say.write(f"{root}\t{path}\t{dice.randrange(1 << 30)}\t1000\n")
                say.flush()
                children.append(int(hear.readline()))
            deadline = time.monotonic() + 60
            while not all(path.exists() and path.stat().st_size for path in acks):
                assert time.monotonic() < deadline, "it does no work"
                time.sleep(0.001)
            time.sleep(dice.uniform(0.0, 0.3))
            for child in children:
                os.kill(child, signal.SIGKILL)
            for _, hear in servers:
                assert hear.readline() == "gone\n"
            counts += _judge(root, [told(path) for path in acks], start)
            shutil.rmtree(root)
    return counts


def _judge(root: Path, all_told: Sequence[list[tuple[Work, str]]], state: State) -> Counter[str]:
    """Whether what was promised is there and all is whole; what happened, counted."""
    counts = Counter(killed=len(all_told))
    for lines in all_told:
        counts["done"] += sum(end == "done" for _, end in lines)
        counts["refused, the other was first"] += sum(end == "refused" for _, end in lines)
    pending = [lines[-1][0] for lines in all_told if lines and not lines[-1][1]]
    for work in pending:
        counts["in the middle"] += 1
        counts[f"in the middle of {work.kind}"] += 1
    if len(all_told) == 1:
        for work, end in all_told[0]:
            state = after(state, work) if end == "done" else state
        states = [state, *(after(state, work) for work in pending)]
        found = state_of(Logbook(root, make=False))
        assert found in states, "what was promised is not there, or something else is"
        counts["of these done"] += bool(pending) and found == states[-1] != state
    _what_was_set_is_there(root, all_told)
    _complete(root, pending)
    _nothing_but_what_was_begun(root, all_told, state)
    nothing_is_lost(root)
    return counts


def _what_was_set_is_there(root: Path, all_told: Sequence[list[tuple[Work, str]]]) -> None:
    """Each profile holds one of the last values that a writer set, or was about to set."""
    book = Logbook(root)
    for whose in AIRCRAFT:
        may: set[float] = set()
        for lines in all_told:
            own = [(w, end) for w, end in lines if (w.kind, w.whose) == ("set", whose)]
            done = [float(w.number) for w, end in own if end == "done"]
            may |= {*done[-1:], *(float(w.number) for w, end in own if not end)}
        if not any((w.kind, w.whose, e) == ("set", whose, "done") for t in all_told for w, e in t):
            continue
        craft = book.profile(whose)
        assert craft is not None
        assert craft.limits.reserve_pct in may, (whose, craft.limits.reserve_pct, may)


def _complete(root: Path, pending: Sequence[Work]) -> None:
    """As a user would: the book is checked, and a log that was not added to its end added again."""
    book = Logbook(root)
    for work in pending:
        if work.kind == "add":
            said = [str(p) for p in book.check_book().problems]
            assert all("was not added to its end; add its file again" in s for s in said), said
            log, data = small_log(work.number)
            held = book.add(log, aircraft=work.whose, source=data, flights=HALVES)
            assert held.status in ("added", "known")
    assert book.check_book().problems == ()


def _nothing_but_what_was_begun(
    root: Path, all_told: Sequence[list[tuple[Work, str]]], start: State
) -> None:
    """What was there and what was done is there once, and else only what was being done."""
    held, aside = state_of(Logbook(root))
    ids = [one for one, _ in (*held, *aside)]
    assert len(ids) == len(set(ids)), "something is there twice"
    new = [(w, end) for lines in all_told for w, end in lines if w.kind in ("note", "add")]
    least = {one for entries in start for one, _ in entries}
    least |= {one for w, end in new if end == "done" for one in w.ids}
    most = least | {one for w, end in new if not end for one in w.ids}
    assert least <= set(ids) <= most


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
        child.communicate(timeout=600)
        assert child.returncode == 0
    all_told = [told(ack) for ack in acks]
    _complete(root, ())
    _what_was_set_is_there(root, all_told)
    _nothing_but_what_was_begun(root, all_told, before)
    nothing_is_lost(root)
    ends = Counter(end for lines in all_told for _, end in lines)
    assert set(ends) <= {"done", "refused"}
    return Counter(
        {
            "at once": 2,
            "done": ends["done"],
            "refused, the other was first": ends["refused"],
        }
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else count
    rounds = {1: count - count // 2, 2: -(-(count // 2) // 2)}
    for writers, each in rounds.items():
        with tempfile.TemporaryDirectory() as folder:
            counts = kill_rounds(Path(folder), each, seed + writers, writers)
        print(f"{writers} at a time: " + _listed(counts), flush=True)
        left = [kind for kind in KINDS if not counts[f"in the middle of {kind}"]]
        print(f"  in the middle of none of: {', '.join(left) or 'nothing'}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        print("both to their end: " + _listed(race(Path(folder), max(count // 10, 1), seed)))
    print("nothing lost")


def _listed(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {number}" for name, number in counts.items())


if __name__ == "__main__":
    main()
