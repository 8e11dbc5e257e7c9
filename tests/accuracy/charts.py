"""False findings of healthy books of any length, and how soon a lasting shift is seen.

    python tests/accuracy/charts.py [--books 2000] [--lengths 20,50,100,200,500] [--seed 1]
                                    [--replayed 0] [--shifts 500] [--workers 2]

Books of measures, no files (`tests/simulated/books.py`): random aircraft with 2 to 4 nodes and two
packs, coarse sensors, seasons, other pilots, slower telemetry, packs that take turns. What stands
open after the last flight is counted; `--replayed` books of 100 flights are judged after each one
besides, for what was ever reported. Delays are of one chart of 30 with a shift of so many standard
deviations of flight-to-flight scatter, after so many flights, against the run of healthy flights
from one false finding to the next that the limit is set for. Intervals are Wilson's, 95 %.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.checks.across import judge, replay
from telemetry.checks.aircraft_history import GROUND_RUN, WATCH_RUN
from telemetry.results import Level
from telemetry.trends.evidence import judge_rise
from telemetry.trends.parts import EvidencePart
from tests.simulated.books import random_book

#: Charts of one aircraft.
_CHARTS = 30
#: Flights after a shift that are looked at.
_AFTER = 40

Found = tuple[tuple[str, Level], ...]


def open_at_end(flights: int, seed: int) -> Found:
    """Codes and levels of what stands open after the last flight of a healthy book."""
    book = random_book(seed, flights)
    return tuple((f.code, f.level) for f in judge(book.flights, aircraft=book.aircraft).findings)


class Life(NamedTuple):
    """One false finding of a healthy book: open from a flight (from 1) up to before another."""

    code: str
    level: Level
    since: int
    until: int


def lives(flights: int, seed: int) -> tuple[Life, ...]:
    """The findings that a healthy book ever had, flight by flight."""
    book = random_book(seed, flights)
    found = replay(book.flights, aircraft=book.aircraft).findings
    return tuple(
        Life(
            f.code,
            f.level,
            int(f.since_flight or 1),
            flights + 1 if f.closed_by is None else f.closed_by.before + 1,
        )
        for f in found
    )


def delay(size: float, before: int, run: float, seed: int) -> float:
    """Flights with a shift up to the one in which the chart signals; infinite where it never does.

    Half the time the scatter known beforehand is too small or too large by a half.
    """
    rng = np.random.default_rng([seed, before])
    n = before + _AFTER
    y = rng.standard_normal(n)
    y[before:] += size
    sigma = float(rng.choice([1 / 1.5, 1.0, 1.0, 1.5]))
    part = EvidencePart(name="one", at=np.arange(n), y=y, se=np.zeros(n), sigma=sigma)
    for k in range(before + 2, n + 1):
        short = EvidencePart(name="one", at=part.at[:k], y=y[:k], se=part.se[:k], sigma=sigma)
        found = judge_rise([short], k, run=run * _CHARTS)
        if found is not None and found.signal is not None:
            return float(k - before)
    return float("inf")


def share(count: int, n: int) -> str:
    """A share with its interval."""
    low, high = proportion_confint(count, n, method="wilson")
    return f"{100 * count / n:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def false_rows(found: list[Found]) -> tuple[str, str, str]:
    """Books with any finding, with one at ground, and which codes."""
    any_, ground = (
        sum(any(level >= least for _, level in one) for one in found)
        for least in (Level.WATCH, Level.GROUND)
    )
    codes = Counter(code for one in found for code in {c for c, _ in one})
    named = ", ".join(f"{code} {count}" for code, count in codes.most_common()) or "-"
    return share(any_, len(found)), share(ground, len(found)), named


def tables(options: argparse.Namespace, pool: ProcessPoolExecutor) -> Iterator[str]:
    """The lines of the result."""
    seeds = range(options.seed, options.seed + options.books)
    yield "| flights | books | open after the last: watch or ground | at ground | codes |"
    yield "|---|---|---|---|---|"
    for length in options.lengths:
        count = min(options.books, max(1, options.books * 100 // length))
        found = list(pool.map(partial(open_at_end, length), seeds[:count], chunksize=4))
        watch, ground, codes = false_rows(found)
        yield f"| {length} | {count} | {watch} | {ground} | {codes} |"
    if options.replayed:
        books = list(pool.map(partial(lives, 100), seeds[: options.replayed]))
        watch, ground, codes = false_rows([tuple((x.code, x.level) for x in one) for one in books])
        yield ""
        yield f"Ever reported in {options.replayed} books of 100 flights: {watch}, ground {ground}"
        yield f"({codes})."
        worst, worst_ground = (
            max(
                sum(any(x.level >= least and x.since <= k < x.until for x in one) for one in books)
                for k in range(1, 101)
            )
            for least in (Level.WATCH, Level.GROUND)
        )
        yield (
            f"Open at the worst flight: {share(worst, len(books))}, "
            f"ground {share(worst_ground, len(books))}."
        )
    if options.shifts:
        yield ""
        yield "| one false finding in | shift | after 8 flights | after 20 | after 50 |"
        yield "|---|---|---|---|---|"
        for run in (100.0, 300.0, WATCH_RUN, 5000.0, GROUND_RUN):
            for size in (1.0, 2.0, 3.0):
                cells = []
                for before in (8, 20, 50):
                    job = partial(delay, size, before, run)
                    d = np.array(list(pool.map(job, range(options.shifts), chunksize=16)))
                    middle, late = np.quantile(d, [0.5, 0.9], method="higher")
                    cells.append(f"{_flights(middle)}, {_flights(late)}")
                yield f"| {run:,.0f} flights | {size:g} sd | {' | '.join(cells)} |"
        yield ""
        yield f"Median and 90 % of the flights until it is seen, of {options.shifts} charts."


def _flights(x: float) -> str:
    return f"{x:.0f}" if np.isfinite(x) else f"over {_AFTER}"


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--books", type=int, default=2000)
    parser.add_argument(
        "--lengths",
        type=lambda text: [int(x) for x in text.split(",")],
        default=[20, 50, 100, 200, 500],
        help="flights of a book; of longer ones than 100 fewer books, in proportion",
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--replayed", type=int, default=0)
    parser.add_argument("--shifts", type=int, default=500)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        for line in tables(options, pool):
            print(line, flush=True)


if __name__ == "__main__":
    main()
