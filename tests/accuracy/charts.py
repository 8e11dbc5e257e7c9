"""False findings of healthy books of any length, and how soon a lasting shift is seen.

    python tests/accuracy/charts.py [--books 2000] [--lengths 20,50,100,200,500] [--seed 1]
                                    [--shifts 500] [--save FILE] [--workers 2]

Books of measures, no files (`tests/simulated/books.py`): random aircraft with 2 to 4 nodes and two
packs, coarse sensors, seasons, other pilots, slower telemetry, packs that take turns. Each is
judged after each of its flights (`tests/accuracy/every_flight.py`, about a second of processor time
for a book of 100) and its findings are opened and closed as a history does. Of books longer than
100 flights there are fewer, in proportion; with FILE it goes on where it stopped. Delays are of one
chart of 30, of one feature and of four that hang together, with a shift of so many standard
deviations of their flight-to-flight scatter, after so many flights, against the run of healthy
flights from one false finding to the next that the limit is set for. Intervals are Wilson's, 95 %.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import product
from pathlib import Path
from typing import NamedTuple

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.checks.across import listed_as
from telemetry.checks.aircraft_history import GROUND_RUN, WATCH_RUN
from telemetry.checks.lives import lives_of
from telemetry.trends.parts import EvidencePart
from tests.accuracy.every_flight import Chart, every_flight, signals_by_flight
from tests.simulated.books import random_book

#: Charts of one aircraft.
_CHARTS = 30
#: Correlation of features of one place that are judged together.
_SHARED = 0.15
#: Flights after a shift that are looked at.
_AFTER = 40


class Life(NamedTuple):
    """One false finding of a healthy book: open from a flight, from 0, up to before another."""

    code: str
    level: str
    since: int
    until: int


def lives(flights: int, seed: int) -> tuple[Life, ...]:
    """The findings that a healthy book ever had."""
    book = random_book(seed, flights)
    together = every_flight(book.flights, book.aircraft)
    if not any(together):
        return ()
    out = []
    listed = [listed_as(k, m) for k, m in enumerate(book.flights, 1)]
    for f in lives_of(book.flights, listed, (), book.aircraft, together):
        shown = [
            k
            for k, told in enumerate(together)
            if any((g.code, g.place) == (f.code, f.place) for g in told)
        ]
        until = flights if f.closed_by is None else shown[-1] + 1 + f.closed_by.flights
        out.append(Life(f.code, str(f.level), shown[0], until))
    return tuple(out)


def delay(size: float, before: int, run: float, features: int, seed: int) -> float:
    """Flights with a shift up to the one in which the chart signals; infinite where it never does.

    The shift is in deviations of all features together. Half the time the scatter known beforehand
    is too small or too large by a half.
    """
    rng = np.random.default_rng([seed, before])
    n = before + _AFTER
    sigma = float(rng.choice([1 / 1.5, 1.0, 1.0, 1.5]))
    shared = _SHARED if features > 1 else 0.0
    common = rng.standard_normal(n)
    parts = []
    for k in range(features):
        y = np.sqrt(shared) * common + np.sqrt(1.0 - shared) * rng.standard_normal(n)
        y[before:] += size * np.sqrt((1.0 + (features - 1) * shared) / features)
        parts.append(EvidencePart(name=str(k), at=np.arange(n), y=y, se=np.zeros(n), sigma=sigma))
    chart = Chart(key=(), parts=parts, sign=1.0, run=run * _CHARTS)
    seen = np.flatnonzero(signals_by_flight(chart, n)[before:])
    return float(seen[0] + 1) if seen.size else float("inf")


def share(count: int, n: int) -> str:
    """A share with its interval."""
    low, high = proportion_confint(count, n, method="wilson")
    return f"{100 * count / n:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def row(length: int, books: Sequence[Sequence[Life]]) -> str:
    """Of books of one length: with any finding ever, open at the worst flight and at the last."""
    cells = []
    for levels in (("watch", "ground"), ("ground",)):
        held = np.zeros((len(books), length), dtype=bool)
        for i, book in enumerate(books):
            for life in book:
                if life.level in levels:
                    held[i, life.since : life.until] = True
        worst = int(held.sum(axis=0).max())
        cells += [share(int(held.any(axis=1).sum()), len(books)), share(worst, len(books))]
        cells.append(f"{100 * held.mean():.2f} %")
    codes = Counter(code for book in books for code in {life.code for life in book})
    named = ", ".join(f"{code} {count}" for code, count in codes.most_common()) or "-"
    return f"| {length} | {len(books)} | {' | '.join(cells)} | {named} |"


def all_lives(
    length: int, seeds: Sequence[int], save: Path | None, pool: ProcessPoolExecutor
) -> list[list[Life]]:
    """The findings of each book; what FILE holds already is not worked out again."""
    known: dict[int, list[Life]] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            flights, seed, found = json.loads(line)
            if flights == length:
                known[seed] = [Life(*life) for life in found]
    missing = [seed for seed in seeds if seed not in known]
    for seed, found in zip(missing, pool.map(partial(lives, length), missing), strict=True):
        known[seed] = list(found)
        if save is not None:
            with save.open("a", encoding="utf-8") as file:
                file.write(json.dumps([length, seed, found]) + "\n")
    return [known[seed] for seed in seeds]


def tables(options: argparse.Namespace, pool: ProcessPoolExecutor) -> Iterator[str]:
    """The lines of the result."""
    seeds = range(options.seed, options.seed + options.books)
    heads = ("ever", "open at the worst flight", "open, mean of all flights")
    named = [f"{level}: {head}" for level in ("watch or ground", "ground") for head in heads]
    yield f"| flights | books | {' | '.join(named)} | codes |"
    yield "|---|---|---|---|---|---|---|---|---|"
    for length in options.lengths:
        count = min(options.books, max(1, options.books * 100 // length))
        yield row(length, all_lives(length, seeds[:count], options.save, pool))
    if options.shifts:
        yield ""
        yield "| one false finding in | features | shift | after 8 flights | after 20 | after 50 |"
        yield "|---|---|---|---|---|---|"
        runs = (100.0, 300.0, WATCH_RUN, 5000.0, GROUND_RUN)
        for run, features, size in product(runs, (1, 4), (1.0, 2.0, 3.0)):
            cells = []
            for before in (8, 20, 50):
                job = partial(delay, size, before, run, features)
                d = np.array(list(pool.map(job, range(options.shifts), chunksize=16)))
                middle, late = np.quantile(d, [0.5, 0.9], method="higher")
                cells.append(f"{_flights(middle)}, {_flights(late)}")
            yield f"| {run:,.0f} flights | {features} | {size:g} sd | {' | '.join(cells)} |"
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
    parser.add_argument("--shifts", type=int, default=500)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        for line in tables(options, pool):
            print(line, flush=True)


if __name__ == "__main__":
    main()
