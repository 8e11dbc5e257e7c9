"""A process that changes a logbook at random, to be killed or to race with another.

Started with no argument it imports once and then forks one for each line of its input
("book acknowledgements seed count"), printing its id and, when it is gone, "gone". Started with
these four arguments and the path of a file to wait for, it works and ends.

Each piece of work is begun with a line in a file and acknowledged by another once it is done.
"""

from __future__ import annotations

import random
from pathlib import Path

from telemetry.book import BookFlight, Logbook
from telemetry.model.errors import BookError

AIRCRAFT = ("tern", "gull", "ibis")


def change(book: Logbook, dice: random.Random) -> tuple[str, list[str], str]:
    """One piece of work: what is done, with which ids, for which aircraft."""
    held = [e for entries in book.timelines().values() for e in entries]
    aside = [entry for entry, _ in book.removed()]
    flights = [e for e in held if isinstance(e, BookFlight)]
    kind = dice.choice(("remove", "remove", "restore", "restore", "move", "note"))
    if kind == "remove" and len(held) > 2:
        return kind, [e.id for e in dice.sample(held, dice.choice((1, 1, 2)))], ""
    if kind == "restore" and aside:
        return kind, [dice.choice(aside).id], ""
    if kind == "move" and flights:
        one = dice.choice(flights)
        return kind, [one.id], dice.choice([a for a in AIRCRAFT if a != one.aircraft])
    return "note", [], dice.choice(book.aircraft())


def work(book_path: str, acks: str, seed: int, count: int) -> None:
    dice = random.Random(seed)
    with Path(acks).open("ab", buffering=0) as told:
        book = Logbook(book_path)
        for _ in range(count):
            kind, ids, whose = change(book, dice)
            draft = book.draft_note(whose, "looked", kind="checked") if kind == "note" else None
            ids = [draft.id] if draft else ids
            told.write(f"begin|{kind}|{' '.join(ids)}|{whose}\n".encode())
            try:
                if draft:
                    book.keep_note(draft)
                elif kind == "remove":
                    book.remove(ids)
                elif kind == "restore":
                    book.restore(ids)
                else:
                    book.move(ids, whose)
            except BookError:  # the other one was first
                told.write(b"refused|||\n")
            else:
                told.write(b"done|||\n")


if __name__ == "__main__":
    from serving import run  # beside this script; tests import the rest of it

    run(work)
