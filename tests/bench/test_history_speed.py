"""Cost of a history over 10, 100 and 1,000 flights whose measures the book keeps.

    python -m pytest tests/bench/test_history_speed.py -s -p no:xdist

A book of measures alone (`tests/bench/books.py`): the first history judges every flight with those
before it, the next one the newest alone. BUSBOOK_BENCH_FLIGHTS takes another number than 1,000.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

from telemetry.app.histories import history
from tests.bench.books import stored_book
from tests.bench.measuring import memory_mb
from tests.simulated.books import random_book

FLIGHTS = int(os.environ.get("BUSBOOK_BENCH_FLIGHTS", "1000"))
# Of the processor, s: the history of all flights, and how much dearer a flight of the longest book
# may be in the first one than of the book of 100.
_LIMIT_S, _DEARER = 1.5, 4.0


def test_cost_of_a_history(tmp_path: Path) -> None:
    print("\nflights   first, ms of CPU a flight   history, s   of it CPU, s   peak, MB")
    each, spent = {}, {}
    for count in (n for n in (10, 100, 1000) if n <= FLIGHTS):
        book = stored_book(tmp_path / str(count), {"tern": random_book(1, count).flights})
        busy = time.process_time()
        history(book, "tern", progress=_nothing_to_measure)
        each[count] = (time.process_time() - busy) / count
        began, busy = time.perf_counter(), time.process_time()
        found = history(book, "tern", progress=_nothing_to_measure)
        took, spent[count] = time.perf_counter() - began, time.process_time() - busy
        assert len(found.flights) == count
        print(
            f"{count:7d} {1000 * each[count]:26.0f} {took:12.2f} {spent[count]:14.2f} "
            f"{memory_mb():10.0f}"
        )
    # By processor time, which other work on the machine disturbs little.
    assert spent[max(spent)] < _LIMIT_S
    assert each[max(each)] < _DEARER * each[min(100, max(each))]


def _nothing_to_measure(done: int, of: int) -> None:
    raise AssertionError(f"{of} flights were measured anew, {done} so far")
