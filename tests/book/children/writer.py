"""A process that writes into a logbook, to be killed or to race with another.

Started with no argument it imports once and then forks one writer for each line of its input
("book acknowledgements first last"), printing the writer's id and, when it is gone, "gone".
Started with these four arguments and the path of a file to wait for, it writes and ends.

Every piece of work is acknowledged by a line in a file once the book has said that it is done.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd

from telemetry.book import Logbook
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import Flight

ROWS = 60


def small_log(number: int) -> tuple[Log, bytes]:
    index = pd.Index(np.arange(ROWS) / 10, name="time_s")
    volts = np.round(6 + np.sin(np.arange(ROWS) * (number + 1)), 2)
    frame = pd.DataFrame({"bus/voltage": volts}, index=index)
    data = frame.to_csv().encode()
    log = Log(
        frame=frame,
        channels=(
            Channel(
                key="bus/voltage", column=f"U{number % 7}", quantity=Quantity.VOLTAGE, place="bus"
            ),
        ),
        provenance=Provenance(
            file=f"{number}.csv",
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            rows=ROWS,
        ),
    )
    return log, data


def write(book_path: str, acks: str, first: int, last: int) -> None:
    with Path(acks).open("ab", buffering=0) as done:
        book = Logbook(book_path)
        for number in range(first, last):
            log, data = small_log(number)
            halves = tuple(
                Flight(kind="flight", start_s=s, end_s=s + 2.5, phases=()) for s in (0.0, 3.0)
            )
            outcome = book.add(log, aircraft=f"tern {number % 3}", source=data, flights=halves)
            done.write(f"recording|{number}|{outcome.recording}\n".encode())
            note = book.note(f"tern {number % 3}", "looked at it", kind="checked")
            done.write(f"note|{note.aircraft}|{note.id}\n".encode())
            for flight in outcome.flights:
                book.put_measures(flight, "1", {"number": number})
                done.write(f"measures|{number}|{flight}\n".encode())


if __name__ == "__main__":
    from serving import run  # beside this script; tests import the rest of it

    small_log(0)
    run(write)
