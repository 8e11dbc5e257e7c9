"""Flights to the next limit: how often the 80 % interval holds it, and how soon that says anything.

    python tests/accuracy/lifetimes.py [--series 100] [--books 30] [--seed 1] [--workers 2]

Three kinds of lives, each judged after every flight from the flights up to it, as in a history:

- drifts: one chart, 6 to 19 healthy flights, then 6 to 59 flights up to a limit of 5 to 30
  deviations of flight-to-flight scatter, in seven shapes. What is foretold is the flight in which
  the drift without its scatter passes the limit.
- books: whole books of measures, no files (`tests/simulated/books.py`), in which one lead or the
  current of one node grows evenly, ever faster or in steps up to the limit for ground.
- cells: two measured lithium-ion cells up to 1.4 Ah (B. Saha, K. Goebel, Battery Data Set, NASA
  Prognostics Data Repository, 2007), from the folder that BUSBOOK_OPEN_DATA names.

Scores are those of A. Saxena and others, Metrics for evaluating performance of prognostic
techniques, PHM 2008, and Metrics for offline evaluation of prognostic performance, IJPHM 1 (2010)
(both from memory), of the median, with alpha 20 %:

- held: predictions shown whose interval holds the truth; mean over lives, so that a long one counts
  no more, with a 95 % interval from resampled lives. "sooner": the limit came before the interval.
- horizon: the part of the life (from the onset to the limit) that was left when the median came to
  stay within 20 % of that life, in the middle of all lives; 0 where it never did.
- alpha-lambda: lives whose median was within 20 % of what was left (or one flight) half-way between
  the first prediction and the limit. "line" is the same of the limit's distance over the rate.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from math import ceil, exp, inf, log
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.checks.across import judge
from telemetry.numerics.statistics.passage import remaining
from telemetry.results import Change
from telemetry.trends.evidence import flights_until, judge_rise
from telemetry.trends.parts import EvidencePart
from tests.measured_data import AGEING, FOLDER
from tests.simulated.books import Shift, random_book

FloatArray = NDArray[np.float64]

ALPHA = 0.2
SHAPES = ("even", "square", "exponential", "slowing", "steps", "unsteady", "changing rate")
BOOKS = ("lead even", "lead square", "lead steps", "servo even", "servo square", "servo steps")
# The scatter of a cell's capacity that is taken to be known, Ah, and what that is worth.
_CELL_SD, _CELL_WEIGHT = 0.01, 4.0
# Healthy flights from one false signal of one chart to the next.
_RUN = 30_000.0


class Told(NamedTuple):
    """What was foretold after a flight: the truth, the interval, and what a plain line says."""

    left: int
    low: float
    median: float
    high: float
    shown: bool
    line: float

    @property
    def held(self) -> bool:
        return self.low <= self.left <= self.high

    def near(self, foretold: float) -> bool:
        """Whether it is within alpha of what is left, or one flight off."""
        return abs(foretold - self.left) <= max(ALPHA * self.left, 1.0)


class Life(NamedTuple):
    """One life: how many flights it has from the onset to the limit, and what was foretold."""

    kind: str
    flights: int
    told: tuple[Told, ...]

    @property
    def shown(self) -> list[Told]:
        return [t for t in self.told if t.shown]

    @property
    def horizon(self) -> float:
        """Part of the life that was left when the median came to stay within alpha of it."""
        best = 0.0
        for t in reversed(self.told):
            if not t.shown or abs(t.median - t.left) > max(ALPHA * self.flights, 1.0):
                break
            best = t.left / self.flights
        return best

    @property
    def half_way(self) -> Told:
        """What was foretold half-way between the first prediction and the limit."""
        half = self.told[0].left / 2
        return min(self.told, key=lambda t: abs(t.left - half))


def course(shape: str, flights: int, rng: np.random.Generator) -> FloatArray:
    """A drift that passes 1 after about so many flights, flight by flight, long beyond it."""
    t = np.arange(1.0, 6 * flights + 200)
    if shape == "even":
        return t / flights
    if shape == "square":
        return (t / flights) ** 2
    if shape == "exponential":
        k = rng.uniform(1.5, 3.0)
        return np.expm1(np.minimum(k * t / flights, 50.0)) / np.expm1(k)
    if shape == "slowing":
        return (t / flights) ** 0.6
    if shape == "steps":
        height = rng.uniform(0.08, 0.3)
        return np.cumsum(rng.poisson(1 / flights / height, t.size) * height)
    if shape == "unsteady":
        moved = rng.uniform(0.1, 0.4) / np.sqrt(flights) * rng.standard_normal(t.size)
        return np.cumsum(1 / flights + moved)
    rate = np.exp(0.7 * np.cumsum(rng.standard_normal(t.size)) / np.sqrt(flights))
    return np.cumsum(rate / flights)


def drift_life(shape: str, seed: int) -> Life:
    """One chart with a drift, judged after each flight."""
    rng = np.random.default_rng([seed, SHAPES.index(shape), 80])
    healthy = int(rng.integers(6, 20))
    flights = int(exp(rng.uniform(log(6), log(60))))
    limit = exp(rng.uniform(log(5), log(30)))
    true = np.r_[np.zeros(healthy), limit * course(shape, flights, rng)]
    end = int(np.flatnonzero(true >= limit)[0])
    y = true + rng.standard_normal(true.size)
    sigma = float(rng.choice([1 / 1.5, 1.0, 1.0, 1.5]))  # what is known of the scatter
    told = []
    for n in range(healthy + 2, end + 1):
        part = EvidencePart(name="one", at=np.arange(n), y=y[:n], se=np.zeros(n), sigma=sigma)
        j = judge_rise([part], n, run=_RUN)
        if j is None or j.signal is None or j.step or j.now >= limit or not (j.per_flight or 0) > 0:
            continue
        found = flights_until(j, limit)
        line = ceil((limit - j.now) / (j.per_flight or 1.0))
        told.append(Told(end - n + 1, *found, found.tells, line))
    return Life(shape, end - healthy + 1, tuple(told))


def book_life(kind: str, seed: int) -> Life:
    """One book of measures with a growing lead or current, judged after each flight."""
    rng = np.random.default_rng([seed, BOOKS.index(kind), 81])
    part, shape = kind.split()
    healthy, flights = int(rng.integers(8, 16)), int(rng.integers(8, 31))
    grown = course(shape, flights, rng)
    nodes = random_book(seed, 1).nodes
    place = nodes[int(rng.integers(len(nodes)))]
    # Up to the limits for ground: 25 mOhm, and 60 % of the share of one of four servos.
    size = {"mohm": 25.0} if part == "lead" else {"factor": 1.15}
    true = np.r_[np.zeros(healthy), (25.0 if part == "lead" else 60.0) * grown]
    shift = Shift(place=place, since=healthy, course=tuple(grown), **size)
    end = int(np.flatnonzero(grown >= 1.0)[0]) + healthy
    book = random_book(seed, end, shift=shift)
    code = "branch-resistance-rising" if part == "lead" else "servo-current-rising"
    told = []
    for n in range(healthy + 2, end + 1):
        found = judge(book.flights[:n], aircraft=book.aircraft).findings
        change = next((f.change for f in found if (f.code, f.place) == (code, place)), None)
        if change is not None and (one := _told(change, true, n)) is not None:
            told.append(one)
    return Life(kind, end - healthy + 1, tuple(told))


def _told(change: Change, true: FloatArray, n: int) -> Told | None:
    """What a finding of a book says after ``n`` flights; None where it foretells nothing."""
    if change.limit is None or true[n - 1] >= change.limit:
        return None
    left = int(np.flatnonzero(true >= change.limit)[0]) - n + 1
    if change.too_uncertain:
        return Told(left, inf, inf, inf, False, inf)
    ends = (change.flights_to_limit_low, change.flights_to_limit, change.flights_to_limit_high)
    low, median, high = (inf if x is None else float(x) for x in ends)
    if median == inf or change.per_flight is None:
        return None
    line = ceil((change.limit - change.rise) / change.per_flight)
    return Told(left, low, median, high, True, line)


def cell_lives(every: int = 4) -> list[Life]:
    """The measured cells: what is foretold from the first 10, 14, 18 ... capacities."""
    capacity: dict[str, list[float]] = {}
    with AGEING.open(encoding="utf-8-sig", newline="") as file:
        for row in csv.DictReader(file):
            capacity.setdefault(row["SampleId"], []).append(float(row["Capacity(Ah)"]))
    lives = []
    for cell, values in capacity.items():
        lost = values[0] - np.array(values)
        limit = values[0] - 1.4
        end = int(np.flatnonzero(lost > limit)[0])
        told = []
        for n in range(10, end + 1, every):
            x = np.arange(float(n))
            found = remaining(x, lost[:n], limit, sd=_CELL_SD, sd_weight=_CELL_WEIGHT)
            rate = float(np.polyfit(x, lost[:n], 1)[0])
            line = ceil((limit - lost[n - 1]) / rate) if rate > 0 else inf
            told.append(Told(end - n + 1, *found, found.tells, line))
        lives.append(Life(f"cell {cell}", end, tuple(told)))
    return lives


def row(kind: str, lives: Sequence[Life]) -> str:
    """A line of the table."""
    some = [x for x in lives if x.told]
    shown = [x.shown for x in some if x.shown]
    if not shown:
        return f"| {kind} | {len(lives)} | 0 | - | - | - | - | - | - | - |"
    every = [t for x in some for t in x.told]
    told = [t for x in shown for t in x]
    held = np.array([np.mean([t.held for t in x]) for x in shown])
    sooner = np.mean([np.mean([t.left < t.low for t in x]) for x in shown])
    rng = np.random.default_rng(1)
    again = held[rng.integers(held.size, size=(2000, held.size))].mean(axis=1)
    low, high = np.quantile(again, [0.025, 0.975])
    between = f" ({100 * low:.0f} to {100 * high:.0f})" if held.size > 3 else ""
    half = [x.half_way for x in some]
    near = np.mean([t.shown and t.near(t.median) for t in half])
    line = np.mean([t.near(t.line) for t in half])
    width = np.median([t.high / t.low for t in told])
    horizon = np.median([x.horizon for x in some])
    return (
        f"| {kind} | {len(some)} of {len(lives)} | {len(every)} | "
        f"{100 * len(told) / len(every):.0f} % | {100 * held.mean():.0f} %{between} | "
        f"{100 * sooner:.0f} % | {width:.1f} | {100 * horizon:.0f} % | {100 * near:.0f} % | "
        f"{100 * line:.0f} % |"
    )


def tables(options: argparse.Namespace, pool: ProcessPoolExecutor) -> Iterator[str]:
    """The lines of the result."""
    yield (
        "| life | lives foretold | predictions | shown | held | sooner | high / low | horizon | "
        "alpha-lambda | line |"
    )
    yield "|---|---|---|---|---|---|---|---|---|---|"
    for kinds, make, count in (
        (SHAPES, drift_life, options.series),
        (BOOKS, book_life, options.books),
    ):
        seeds = range(options.seed, options.seed + count)
        every: list[Life] = []
        for kind in kinds if count else ():
            lives = list(pool.map(partial(make, kind), seeds))
            every += lives
            yield row(kind, lives)
        if every:
            yield row("all of these", every)
    if FOLDER.is_dir():
        for life in cell_lives():
            yield row(life.kind, [life])


def main() -> None:
    """Run what is asked for and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--series", type=int, default=100, help="drifts of each shape")
    parser.add_argument("--books", type=int, default=30, help="books of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        for line in tables(options, pool):
            print(line, flush=True)


if __name__ == "__main__":
    main()
