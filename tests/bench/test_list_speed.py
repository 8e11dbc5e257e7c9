"""Cost of listing a book of 10,000 flights, 100 of each of 100 aircraft: command and page.

    python -m pytest tests/bench/test_list_speed.py -s -p no:xdist

The book holds measures alone (`tests/bench/books.py`), with the answers and cards that histories
left; every library is loaded before. BUSBOOK_BENCH_AIRCRAFT takes another number than 100.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import pytest
from click.testing import CliRunner

from telemetry.app.replays import program
from telemetry.book import Logbook, index
from telemetry.cli import main
from telemetry.page.rendered import Rendered
from telemetry.page.standing import Card
from telemetry.results import AircraftStanding, Answer, Level
from tests.bench.books import stored_book
from tests.bench.measuring import memory_mb
from tests.page.conftest import Page
from tests.simulated.books import random_book

AIRCRAFT = int(os.environ.get("BUSBOOK_BENCH_AIRCRAFT", "100"))
FLIGHTS = 100
# Of the processor, s.
_MOST_S = 0.5


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A small book and the large one."""
    root = tmp_path_factory.mktemp("books")
    flights = random_book(1, FLIGHTS).flights
    stored_book(root / "small", {"craft 0": flights[:3]})
    stored_book(root / "large", {f"craft {k}": flights for k in range(AIRCRAFT)})
    time.sleep(index.SETTLED_NS / 1e9)  # records that were written just now are not indexed
    return root / "small", root / "large"


def spent(call: Callable[[], object]) -> tuple[float, float]:
    """Time by the clock and by the processor, s."""
    began, busy = time.perf_counter(), time.process_time()
    call()
    return time.perf_counter() - began, time.process_time() - busy


def listed(book: Path, *name: str) -> Callable[[], object]:
    def call() -> None:
        words = ["flights", *name, "--book", str(book)]
        done = CliRunner().invoke(main, words, catch_exceptions=False)
        assert done.exit_code == 0, done.output

    return call


def keep_answers(book: Logbook, kept: Rendered) -> None:
    """What histories would have left."""
    for name in book.aircraft():
        state = book.state(name)
        clear = Answer(level=Level.CLEAR, title="nothing was found", source="history")
        held = AircraftStanding(answer=clear, flights=FLIGHTS, benches=0, notes=0, newest=None)
        book.put_answer(name, f"{program()} {state}", asdict(held))
        card = Card(name=name, level="clear", word="Nothing found", reason="Nothing was found.")
        kept.keep(("card", str(book.path), name, state), json.dumps(asdict(card)))


def test_a_book_of_ten_thousand_flights(books: tuple[Path, Path], tmp_path: Path) -> None:
    small, large = books
    for book in books:
        keep_answers(Logbook(book), Rendered(tmp_path / "pages"))
    page = Page(large, tmp_path / "pages")
    listed(small)()
    listed(small, "craft 0")()
    before = memory_mb()

    def lists(name: str = "/") -> Callable[[], object]:
        def call() -> None:
            answer = page.get(name)
            assert answer.status_code == 200

        return call

    rows = {"list of one aircraft, no index": spent(listed(large, "craft 1"))}
    for again in ("", ", again"):
        index.documents_read.clear()
        rows[f"list of all aircraft{again}"] = spent(listed(large))
        index.documents_read.clear()
        rows[f"list of one aircraft{again}"] = spent(listed(large, "craft 1"))
    rows["page of all aircraft, the first one"] = spent(lists())
    rows["page of all aircraft"] = spent(lists())
    rows["page of notes of one aircraft"] = spent(lists("/aircraft/craft%201/notes"))
    print(f"\n{AIRCRAFT * FLIGHTS:,} flights of {AIRCRAFT} aircraft     clock, s   processor, s")
    for name, (clock, busy) in rows.items():
        print(f"{name:40} {clock:6.2f} {busy:14.2f}")
    print(f"memory {before:.0f} MB before, {memory_mb():.0f} MB after")
    assert max(busy for name, (_, busy) in rows.items() if "no index" not in name) < 2 * _MOST_S
