"""False findings of healthy books of any length, and how soon a lasting shift is seen.

    python tests/accuracy/charts.py [--books 2000] [--lengths 20,50,100,200,500] [--seed 1]
                                    [--shifts 500] [--fleets 0] [--owners 0] [--save FILE]
                                    [--workers 2]

Books of measures, no files (`tests/simulated/books.py`): random aircraft with 2 to 4 nodes and two
packs, coarse sensors, seasons, other pilots, slower telemetry, packs that take turns. Each is
judged after each of its flights (`tests/accuracy/every_flight.py`, about a second of processor time
for a book of 100) and its findings are opened and closed as a history does. Of books longer than
100 flights there are fewer, in proportion; with FILE it goes on where it stopped. Delays are of one
chart of 30, of one feature and of four that hang together, with a shift of so many standard
deviations of their flight-to-flight scatter, after so many flights, against the run of healthy
flights from one false finding to the next that the limit is set for. Intervals are Wilson's, 95 %.

The first flights of a new aircraft are judged with what others tell of its scatter and without, and
as if it were known: so many single charts of each kind of fleet, and for each of so many owners
some books of measures, healthy and with a change.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from itertools import product
from pathlib import Path
from typing import NamedTuple

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.checks.across import listed_as, scatters_of
from telemetry.checks.aircraft_history import GROUND_RUN, WATCH_RUN
from telemetry.checks.lives import lives_of
from telemetry.results import Fleet, Level
from telemetry.trends.fleet import OwnScatter, fleet_of, with_fleet
from telemetry.trends.parts import EvidencePart
from tests.accuracy.every_flight import Chart, every_flight, signals_by_flight
from tests.simulated.books import Shift, random_book

#: Charts of one aircraft.
_CHARTS = 30
#: Correlation of features of one place that are judged together.
_SHARED = 0.15
#: Flights after a shift that are looked at.
_AFTER = 40
#: Of each other aircraft of a fleet.
_PLACES, _FLOWN = 3, 25
#: How far the scatter of a fleet lies from what is thought usual, deviation of its logarithm.
_OFF = 0.4
#: Healthy flights at the beginning in which false signals are counted, at a run so short that
#: there are some.
_FIRST, _SHORT_RUN = 10, 300.0
#: Other aircraft of an owner, and new ones.
_OTHERS, _NEW = 4, 10
_CHANGES = {
    "servos draw 1.1 times": {"factor": 1.1},
    "servos draw 1.2 times": {"factor": 1.2},
    "a lead 10 mOhm more": {"mohm": 10.0},
}


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


class Kind(NamedTuple):
    """A fleet: how many others, how far their scatters lie apart (deviation of the logarithm)."""

    others: int
    apart: float
    odd: bool  # one of the others scatters ten times as much


def new_chart(told: str, kind: Kind, flights: int, rise: tuple[int, float], run: float, seed: int):
    """Whether a chart of a new aircraft signals after each flight.

    ``rise`` is the flight from which on it has risen, and by how many deviations of its own.
    """
    rng = np.random.default_rng([seed, kind.others, round(100 * kind.apart), 1805])

    def scatters(places: int) -> np.ndarray:
        """Of one aircraft; half as far as aircraft its places lie apart."""
        own = kind.apart * rng.standard_normal() + kind.apart / 2 * rng.standard_normal(places)
        return usual * np.exp(own)

    usual = float(np.exp(_OFF * rng.standard_normal()))
    degrees = _FLOWN - 1
    others = {}
    for k in range(kind.others):
        true = scatters(_PLACES) ** 2 * (100.0 if kind.odd and k == 0 else 1.0)
        seen = true * rng.chisquare(degrees, _PLACES) / degrees
        others[str(k)] = [OwnScatter("x", 1.0, 4.0, float(r), float(degrees)) for r in seen]
    sigma = float(scatters(1)[0])
    y = sigma * rng.standard_normal(flights)
    y[rise[0] :] += sigma * rise[1]
    part = EvidencePart(name="x", at=np.arange(flights), y=y, se=np.zeros(flights), sigma=1.0)
    if told == "known":
        part = replace(part, sigma=sigma, weight=1e6)
    elif told == "the others":
        (part,) = with_fleet([part], fleet_of(others, kind.others * _FLOWN))
    return signals_by_flight(Chart(key=(), parts=[part], sign=1.0, run=run), flights)


def first_flights(count: int, pool: ProcessPoolExecutor) -> Iterator[str]:
    """Single charts of new aircraft: false signals and delays, by what tells their scatter."""
    sizes = list(product((3.0, 4.0), (3, 5, 8)))
    heads = [f"{size:g} sd after {before}" for size, before in sizes]
    yield ""
    yield f"| others | apart | told by | false in the first {_FIRST} | {' | '.join(heads)} |"
    yield f"|---|---|---|---|{'---|' * len(heads)}"
    kinds = [Kind(n, apart, False) for n in (2, 4, 8) for apart in (0.15, 0.45)]
    for kind, told in product([*kinds, Kind(4, 0.15, True)], ("usual", "the others", "known")):
        job = partial(new_chart, told, kind, _FIRST, (_FIRST, 0.0), _SHORT_RUN)
        false = sum(x.any() for x in pool.map(job, range(10 * count), chunksize=64))
        cells = [share(false, 10 * count)]
        for size, before in sizes:
            run = WATCH_RUN * _CHARTS
            job = partial(new_chart, told, kind, before + _AFTER, (before, size), run)
            seen = [x[before:] for x in pool.map(job, range(10**6, 10**6 + count), chunksize=64)]
            d = [int(x.argmax()) + 1 if x.any() else np.inf for x in seen]
            middle, late = np.quantile(d, [0.5, 0.8], method="higher")
            cells.append(f"{_flights(middle)}, {_flights(late)}")
        named = f"{kind.others}{', one odd' if kind.odd else ''}"
        yield f"| {named} | {kind.apart:g} | {told} | {' | '.join(cells)} |"
    yield ""
    yield f"Median and 80 % of the flights until it is seen, of {count} charts, each of {_CHARTS}."


def owned(seed: int) -> Fleet | None:
    """The fleet of one owner."""
    own = {}
    for k in range(_OTHERS):
        book = random_book(100 * seed + k, _FLOWN, owner=seed)
        own[str(k)] = scatters_of(book.flights, (), book.aircraft)
    return fleet_of(own, _OTHERS * _FLOWN)


def new_books(before: int, change: str, seed: int) -> list[tuple[float, float]]:
    """The first flight of each new aircraft of an owner that shows a finding, without and with.

    Counted from the change on, from 1; of healthy ones (no change) from the first flight on.
    """
    fleet = owned(seed)
    out = []
    for k in range(_NEW):
        shift = Shift(place="left wing", since=before, **_CHANGES[change]) if change else None
        flights = before + _FIRST
        book = random_book(100 * seed + 50 + k, flights, owner=seed, shift=shift)
        found = []
        for told in (None, fleet):
            together = every_flight(book.flights, book.aircraft, told)
            shown = [
                any(
                    f.level > Level.UNKNOWN and (not change or f.place == "left wing")
                    for f in findings
                )
                for findings in together[before:]
            ]
            found.append(float(shown.index(True) + 1) if any(shown) else np.inf)
        out.append((found[0], found[1]))
    return out


def books_of_owners(seeds: Sequence[int], pool: ProcessPoolExecutor) -> Iterator[str]:
    """Books of new aircraft with what the others of their owner tell, and without."""
    yield ""
    yield "| change | after | books | without | with | found within 5, without | with |"
    yield "|---|---|---|---|---|---|---|"
    cases = [("", 0), ("", _FIRST), *product(_CHANGES, (3, 5, 8))]
    for change, before in cases:
        job = partial(new_books, before, change)
        d = np.array([one for many in pool.map(job, seeds) for one in many]).T
        if change:
            cells = [_flights(x) for x in np.quantile(d, 0.5, axis=1, method="higher")]
            cells += [share(int((own <= 5).sum()), own.size) for own in d]
        else:
            cells = [share(int(np.isfinite(own).sum()), own.size) for own in d] + ["-", "-"]
        yield f"| {change or 'none'} | {before} | {d.shape[1]} | {' | '.join(cells)} |"


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
    for length in options.lengths if options.books else ():
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
    if options.fleets:
        yield from first_flights(options.fleets, pool)
    if options.owners:
        yield from books_of_owners(range(options.seed, options.seed + options.owners), pool)


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
    parser.add_argument("--fleets", type=int, default=0)
    parser.add_argument("--owners", type=int, default=0)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        for line in tables(options, pool):
            print(line, flush=True)


if __name__ == "__main__":
    main()
