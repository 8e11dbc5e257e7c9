"""Cost of a history over 10, 100 and 1,000 flights whose measures the book keeps.

    python -m pytest tests/bench/test_history_speed.py -s -p no:xdist

A real book: short logs of an invented aircraft with three nodes, simulated once and written again
with other dates. Each is read and stored; only one of each kind is reviewed and measured, and its
measures are kept for all alike. BUSBOOK_BENCH_FLIGHTS takes another number than 1,000.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from telemetry.aircraft.profile import new_profile
from telemetry.app.adding import read_measured
from telemetry.app.cache import version_for
from telemetry.app.histories import history
from telemetry.app.incoming.batch import Incoming, add_files, read_file
from telemetry.book import Logbook
from telemetry.importer import read_log
from telemetry.simulate import write_csv
from telemetry.simulate.demo import tern_season
from telemetry.simulate.season import fly, slowed

FLIGHTS = int(os.environ.get("BUSBOOK_BENCH_FLIGHTS", "1000"))
_TEMPLATES = 5
_LIMIT_S = 5.0


@pytest.fixture(scope="module")
def logs() -> Iterator[list[Path]]:
    """One log a day, of flights of two minutes at one row in 0.6 s."""
    season = tern_season(31)
    season = replace(
        season,
        faults=(),
        flights=_TEMPLATES,
        telemetry=slowed(season.telemetry, 6.0),
        habits=replace(season.habits, flight_s=120.0, flights_per_day=1),
        dt_s=0.02,
    )
    with tempfile.TemporaryDirectory() as folder:
        texts = []
        for number, recording in enumerate(fly(season)):
            path = write_csv(Path(folder, "one.csv"), recording, dialect=season.dialect)
            day = (season.start + timedelta(days=7 * number)).date().isoformat()
            text = path.read_text(encoding="utf-8")
            assert text.count(day) > 100
            texts.append((text, day))
        path.unlink()
        made = []
        for k in range(FLIGHTS):
            text, day = texts[k % _TEMPLATES]
            own = Path(folder, f"flight {k:04d}.csv")
            own.write_text(
                text.replace(day, (date(2026, 1, 1) + timedelta(days=k)).isoformat()),
                encoding="utf-8",
            )
            made.append(own)
        yield made


def memory_mb() -> float:
    """Highest memory of this process so far."""
    if sys.platform == "win32":
        return float("nan")
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def test_history_over_a_thousand_flights(logs: list[Path], tmp_path: Path) -> None:
    book = Logbook(tmp_path / "book")
    book.put_profile("tern", new_profile("tern", read_log(logs[0])))
    measured = [
        read_measured(one, book=book.path, folder=tmp_path, aircraft="tern")
        for one in logs[:_TEMPLATES]
    ]

    def as_measured(path: Path) -> Incoming:
        incoming = read_file(path)
        like = measured[logs.index(path) % len(measured)]
        documents = tuple({**m, "start": incoming.log.provenance.start} for m in like.measures)
        return replace(
            incoming,
            flights=like.flights,
            measures=documents,
            version=version_for(book.profile("tern")),
        )

    print(
        "\nflights   add, ms of CPU each   first, s of CPU   history, s   of it CPU, s   peak, MB"
    )
    spent = {}
    known = 0
    for count in (n for n in (10, 100, 1000) if n <= FLIGHTS):
        busy = time.process_time()
        outcomes = add_files(book, logs[known:count], aircraft="tern", read=as_measured)
        added = (time.process_time() - busy) / (count - known)
        known = count
        assert {o.status for o in outcomes} == {"added"}
        assert len(book.flights("tern")) == count
        busy = time.process_time()
        history(book, "tern", progress=_nothing_to_measure)
        first = time.process_time() - busy
        began, busy = time.perf_counter(), time.process_time()
        found = history(book, "tern", progress=_nothing_to_measure)
        took, spent[count] = time.perf_counter() - began, time.process_time() - busy
        assert len(found.flights) == count
        print(
            f"{count:7d} {1000 * added:20.0f} {first:16.1f} {took:12.2f} {spent[count]:14.2f} "
            f"{memory_mb():10.0f}"
        )
    # By processor time, which other work on the machine disturbs little.
    assert spent[max(spent)] < _LIMIT_S


def _nothing_to_measure(done: int, of: int) -> None:
    raise AssertionError(f"{of} flights were measured anew, {done} so far")
