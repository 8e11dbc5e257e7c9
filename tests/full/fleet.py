"""A fleet judged by a Dask cluster: what a flight costs, whatever the size of the fleet.

    python tests/full/fleet.py [--aircraft 10,100,1000] [--flights 100] [--workers 2] [--newest]

Each aircraft is a random one of `tests/simulated/books.py`: its flights are measures alone, no file
of rows. A worker flies it and judges it as the first history of a book does, after each of its
flights with those before it; with ``--newest`` after the last alone, as a history does whose
flights were judged before. The cluster is one of this machine, by the executor that
``busbook --scheduler`` uses. The table in `tests/bench/RESULTS.md` is what this prints.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

from telemetry.app.workers import Crew, calls, crew_of  # noqa: E402
from telemetry.checks.across import judge, replay  # noqa: E402
from tests.simulated.books import random_book  # noqa: E402


class Judged(NamedTuple):
    """What a worker tells of one aircraft: processor time, s, its own peak memory, MB, levels."""

    flown_s: float
    judged_s: float
    peak_mb: float
    level: str


def judged(flights: int, newest: bool, seed: int) -> Judged:
    """Fly one aircraft and judge it; what a worker does."""
    began = time.process_time()
    book = random_book(seed, flights)
    flown = time.process_time()
    found = (judge if newest else replay)(book.flights, (), book.aircraft)
    done = time.process_time()
    return Judged(flown - began, done - flown, peak_mb(), str(found.verdict))


def peak_mb() -> float:
    """Highest memory of this process so far; not known on Windows."""
    if sys.platform == "win32":
        return float("nan")
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@contextmanager
def cluster(workers: int) -> Iterator[Crew]:
    """A cluster of this machine, of so many processes of one thread."""
    from distributed import LocalCluster

    with (
        tempfile.TemporaryDirectory() as folder,
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            dashboard_address=None,
            local_directory=folder,
        ) as local,
        crew_of(1, local.scheduler_address) as crew,
    ):
        yield crew


def row(crew: Crew, aircraft: int, flights: int, newest: bool) -> str:
    """One fleet, as a line of the table."""
    began, busy = time.perf_counter(), time.process_time()
    work = partial(judged, flights, newest)
    told = [call() for call in calls(work, range(1, aircraft + 1), crew)]
    took, own = time.perf_counter() - began, time.process_time() - busy
    count = aircraft * flights
    levels = ", ".join(f"{n} {level}" for level, n in Counter(t.level for t in told).most_common())
    cells = [
        f"{aircraft:,}",
        f"{count:,}",
        f"{1000 * sum(t.judged_s for t in told) / count:.1f}",
        f"{1000 * sum(t.flown_s for t in told) / count:.1f}",
        f"{1000 * own / count:.2f}",
        f"{1000 * took / count:.1f}",
        f"{max(t.peak_mb for t in told):.0f}",
        f"{peak_mb():.0f}",
        levels,
    ]
    return f"| {' | '.join(cells)} |"


def main(given: Sequence[str] | None = None) -> None:
    """Judge what is asked for and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--aircraft", default="10,100,1000", help="sizes of the fleet")
    parser.add_argument("--flights", type=int, default=100, help="of each aircraft")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--newest", action="store_true", help="judge the last flight alone")
    options = parser.parse_args(given)
    print(
        "| aircraft | flights | judging, ms of CPU a flight | flying it, ms of CPU | "
        "handing out, ms of CPU | by the clock, ms a flight | peak of a worker, MB | "
        "peak of the client, MB | answers |"
    )
    print("|---|---|---|---|---|---|---|---|---|", flush=True)
    with cluster(options.workers) as crew:
        for size in map(int, options.aircraft.split(",")):
            print(row(crew, size, options.flights, options.newest), flush=True)


if __name__ == "__main__":
    main()
