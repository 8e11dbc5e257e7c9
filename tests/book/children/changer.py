"""A process that changes a logbook at random, to be killed or to race with another.

Started with no argument it imports once and then forks one for each line of its input
("book acknowledgements seed count"), printing its id and, when it is gone, "gone". Started with
these four arguments and the path of a file to wait for, it works and ends.

Each piece of work is begun with a line in a file and acknowledged by another once it is done.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import NamedTuple

from telemetry.book import BookFlight, Logbook
from telemetry.book.files.names import recording_id
from telemetry.book.profiles import set_in_book
from telemetry.model.errors import BookError
from telemetry.results import Flight
from tests.book.children.writer import ROWS, small_log

AIRCRAFT = ("tern", "gull", "ibis")
KINDS = ("remove", "restore", "move", "note", "add", "set", "rebuild")
#: How often each is done; a whole check takes longer than all others together.
OFTEN = (5, 5, 5, 5, 5, 5, 1)
HALVES = tuple(Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0))


class Work(NamedTuple):
    """What is done, with which ids, for which aircraft; the log's number, or the value set."""

    kind: str
    ids: list[str]
    whose: str = ""
    number: int = 0


def change(book: Logbook, dice: random.Random) -> Work:
    """One piece of work, of all that write into a book."""
    held = [e for entries in book.timelines().values() for e in entries]
    aside = [entry for entry, _ in book.removed()]
    flights = [e for e in held if isinstance(e, BookFlight)]
    (kind,) = dice.choices(KINDS, OFTEN)
    if kind == "remove" and len(held) > 2:
        return Work(kind, [e.id for e in dice.sample(held, dice.choice((1, 1, 2)))])
    if kind == "restore" and aside:
        return Work(kind, [dice.choice(aside).id])
    if kind == "move" and flights:
        one = dice.choice(flights)
        return Work(kind, [one.id], dice.choice([a for a in AIRCRAFT if a != one.aircraft]))
    if kind == "add":
        number = dice.randrange(100, 1_000_000)
        recording = recording_id(small_log(number)[0].provenance.sha256)
        ids = [f"{recording}-{row}" for row in (0, ROWS // 2)]
        return Work(kind, ids, dice.choice(AIRCRAFT), number)
    if kind == "set":
        return Work(kind, [], dice.choice(book.aircraft()), dice.randrange(10, 60))
    if kind == "rebuild" and flights:
        return Work(kind, [dice.choice(flights).id])
    return Work("note", [], dice.choice(book.aircraft()))


def do(book: Logbook, work: Work) -> None:
    """All but notes, which are drafted first."""
    if work.kind == "remove":
        book.remove(work.ids)
    elif work.kind == "restore":
        book.restore(work.ids)
    elif work.kind == "move":
        book.move(work.ids, work.whose)
    elif work.kind == "add":
        log, data = small_log(work.number)
        book.add(log, aircraft=work.whose, source=data, flights=HALVES)
    elif work.kind == "set":
        set_in_book(book, work.whose, ["limits"], {"reserve": str(work.number)})
    else:  # a table of samples is lost, and made again from the original
        for path in book.path.glob(f"**/flights/*/{work.ids[0]}.parquet"):
            path.unlink(missing_ok=True)
        book.check_book()


def work(book_path: str, acks: str, seed: int, count: int) -> None:
    dice = random.Random(seed)
    with Path(acks).open("ab", buffering=0) as told:
        book = Logbook(book_path)
        for _ in range(count):
            what = change(book, dice)
            draft = None
            if what.kind == "note":
                draft = book.draft_note(what.whose, "looked", kind="checked")
                what = what._replace(ids=[draft.id])
            ids = " ".join(what.ids)
            told.write(f"begin|{what.kind}|{ids}|{what.whose}|{what.number}\n".encode())
            try:
                if draft:
                    book.keep_note(draft)
                else:
                    do(book, what)
            except BookError:  # the other one was first
                told.write(b"refused||||0\n")
            else:
                told.write(b"done||||0\n")


if __name__ == "__main__":
    from serving import run  # beside this script; tests import the rest of it

    run(work)
