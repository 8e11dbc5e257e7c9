"""Packs across flights: sets that take turns, packs that age or are cold together.

    python tests/accuracy/packs.py [--books 200] [--flights 30] [--seasons 10] [--seed 300]
                                   [--kinds both-ageing,...] [--workers 2]

Books of measures without files: how often sets are proposed, in books of one set wrongly, flight by
flight, and findings on packs. Then seasons of 24 flights the whole way (simulated, written as CSV,
read, reviewed, measured, judged with flights 1 to k), whose sets differ by 6 % in resistance: in
how many the fault is found at the right place and set, in which turn since its onset, how grave,
and how many have another finding on packs, or one before the onset. Temperature is logged in some,
by chance; kinds with "no-temperature" are judged without it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.aircraft import Aircraft, Pack
from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.checks.across import judge
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.packs.sets import sets_of
from telemetry.importer import read_log
from telemetry.model.log import FloatArray
from telemetry.results import Finding, HistoryFlight
from telemetry.simulate import Fault, FaultKind, write_csv
from telemetry.trends.measures import Measures
from telemetry.trends.table import FeatureTable
from tests.simulated.books import PACKS, random_book
from tests.simulated.cases import random_season
from tests.simulated.rotation import Rotation, fly_sets, like_sets

_FLIGHTS = 24
_CODES = ("source-resistance-rising", "pack-weak", "pack-share", "pack-out")
# First judged; onset of what steps and of what grows.
_FIRST, _STEP, _GROWTH = 4, 10, 6
PAIR = Aircraft(bus="bus", packs=tuple(Pack(name=p) for p in PACKS))


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of season: packs, sets, what is wrong with which set, weather, what is logged."""

    packs: int = 2
    sets: int = 1
    weak: tuple[int, ...] = ()  # sets with the fault
    both: bool = True  # it is in all packs of the set, else in the first
    start: float = 0.0
    growth: float = 0.0
    winter: bool = False
    logged: bool | None = None
    labels: bool = False

    @property
    def onset(self) -> int:
        """First flight with the fault."""
        return _GROWTH if self.growth else _STEP


_AGES: dict[str, Any] = {"start": 0.06, "growth": 0.075}
KINDS = {
    "one set, healthy": Kind(),
    "two sets, healthy": Kind(sets=2),
    "three sets, healthy": Kind(sets=3),
    "one pack, three sets, healthy": Kind(packs=1, sets=3),
    "cold winter": Kind(winter=True, logged=True),
    "one pack, cold winter": Kind(packs=1, winter=True, logged=True),
    "cold winter, no temperature": Kind(winter=True, logged=False),
    "one pack of one of three sets": Kind(sets=3, weak=(1,), both=False, start=0.8),
    "... labelled": Kind(sets=3, weak=(1,), both=False, start=0.8, labels=True),
    "both packs of one of three sets": Kind(sets=3, weak=(1,), start=0.8),
    "one pack, one of three sets": Kind(packs=1, sets=3, weak=(1,), start=0.8),
    "one pack, one of two sets": Kind(packs=1, sets=2, weak=(1,), start=0.8),
    "both ageing": Kind(weak=(0,), logged=True, **_AGES),
    "both ageing, no temperature": Kind(weak=(0,), logged=False, **_AGES),
    "one pack ageing": Kind(packs=1, weak=(0,), logged=True, **_AGES),
    "both of three sets ageing": Kind(sets=3, weak=(0, 1, 2), logged=True, **_AGES),
}


class Season(NamedTuple):
    """What became of one season: when it was found, how grave at the end, what else was said."""

    found: int | None
    grave: str
    wrong: tuple[str, ...]
    proposed: bool


def run(name: str, seed: int) -> Season:
    """Fly one season, and judge it flight by flight."""
    kind = KINDS[name]
    rng = np.random.default_rng([seed, sorted(KINDS).index(name), 18])
    season = random_season(
        rng, None, flights=_FLIGHTS, packs=kind.packs, harmless=False, controls=False
    )
    sets = like_sets(rng, season.aircraft.packs, kind.sets)
    aged = season.aircraft.packs if kind.both else season.aircraft.packs[:1]
    faults = tuple(
        Fault(
            kind=FaultKind.PACK_AGEING,
            place=p.name,
            onset=kind.onset,
            start=kind.start,
            growth=kind.growth,
        )
        for p in aged
    )
    phase = float(rng.uniform(0.0, 6.0))
    habits = season.habits
    days = habits.ambient_c + habits.ambient_spread_c * rng.standard_normal(_FLIGHTS)
    weather = (
        partial(_winter, phase) if kind.winter else partial(_day, days, habits.flights_per_day)
    )
    rotation = Rotation(
        season=season,
        sets=sets,
        faults=dict.fromkeys(kind.weak, faults),
        ambient_c=weather,
    )
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        flights = []
        for k, recording in enumerate(fly_sets(rotation), 1):
            path = Path(folder) / f"flight {k}.csv"
            write_csv(path, recording, dialect=season.dialect)
            found = review(read_log(path))
            longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
            m = measured(found, longest + 1)
            if kind.logged is not None:
                m = replace(m, temperature_c=round(weather(k)) if kind.logged else None)
            flights.append(m)
    return _judged(kind, rotation, flights)


def _winter(phase: float, flight: int) -> float:
    return float(22.0 - 24.0 * flight / _FLIGHTS + 3.0 * np.sin(phase + 2.1 * (flight // 3)))


def _day(days: FloatArray, flights_per_day: int, flight: int) -> float:
    return float(days[(flight - 1) // flights_per_day])


def _judged(kind: Kind, rotation: Rotation, flights: Sequence[Measures]) -> Season:
    listed = [
        HistoryFlight(
            id=str(k),
            start=m.start,
            file=m.file,
            packs=f"set {rotation.set_of(k)}" if kind.labels else None,
        )
        for k, m in enumerate(flights, 1)
    ]
    found, grave, wrong, proposed = None, "", set(), False
    for k in range(_FIRST, len(flights) + 1):
        grave = ""
        for f in judge(flights[:k], listed=listed[:k]).findings:
            if f.code not in _CODES or "recent_flights" in f.evidence:
                continue
            if kind.weak and k >= kind.onset and _is_right(f, kind, rotation):
                found = found or k
                grave = str(f.level)
            else:
                wrong.add(f"{f.code} {f.level}")
    if not kind.labels:
        proposed = _sets(flights, listed) > 1
    return Season(found, grave, tuple(sorted(wrong)), proposed)


def _is_right(f: Finding, kind: Kind, rotation: Rotation) -> bool:
    named = str(f.evidence.get("set_flights") or "")
    if len(kind.weak) == kind.sets:
        return not named and f.place in (*PACKS, "bus")
    own = {k for k in range(1, _FLIGHTS + 1) if rotation.set_of(k) in kind.weak}
    said = {int(n) for n in named.split(", ") if n}
    return bool(said) and said <= own and f.place == PACKS[0]


def _sets(flights: Sequence[Measures], listed: Sequence[HistoryFlight]) -> int:
    packs = [p for p in PACKS if any(m.get(p, "source_mohm") for m in flights)]
    history = AircraftHistory(
        flights=flights,
        listed=listed,
        notes=(),
        aircraft=PAIR,
        charts=1,
        table=FeatureTable(flights),
    )
    return sets_of(history, packs, packs).count


class Book(NamedTuple):
    """One book of measures: its sets, those proposed after each flight, findings on packs."""

    sets: int
    proposed: tuple[int, ...]
    found: tuple[str, ...]


def book(flights: int, seed: int) -> Book:
    """Judge one healthy book flight by flight."""
    made = random_book(seed, flights)
    listed = [HistoryFlight(id=str(k), start=None, file="") for k in range(1, flights + 1)]
    proposed, found = [], set()
    for k in range(_FIRST, flights + 1):
        proposed.append(_sets(made.flights[:k], listed[:k]))
        history = judge(made.flights[:k], aircraft=made.aircraft)
        found |= {f"{f.code} {f.level}" for f in history.findings if f.code in _CODES}
    return Book(made.sets, tuple(proposed), tuple(sorted(found)))


def share(count: int, n: int) -> str:
    """A share with its interval."""
    if n == 0:
        return "-"
    low, high = proportion_confint(count, n, method="wilson")
    return f"{100 * count / n:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def tables(options: argparse.Namespace, pool: ProcessPoolExecutor) -> Iterator[str]:
    """The lines of the result."""
    if options.books:
        seeds = range(options.seed, options.seed + options.books)
        books = list(pool.map(partial(book, options.flights), seeds))
        yield "| sets flown | books | any proposed, ever | another number, ever | right at last |"
        yield "|---|---|---|---|---|"
        for sets in sorted({b.sets for b in books}):
            own = [b for b in books if b.sets == sets]
            ever = sum(any(b.proposed) for b in own)
            other = sum(any(p not in (0, sets) for p in b.proposed) for b in own)
            right = sum(b.proposed[-1] == sets for b in own)
            last = "-" if sets == 1 else share(right, len(own))
            cells = (sets, len(own), share(ever, len(own)), share(other, len(own)), last)
            yield f"| {' | '.join(map(str, cells))} |"
        accused = share(sum(bool(b.found) for b in books), len(books))
        yield f"Books with a finding on packs: {accused}"
    yield ""
    heads = ("season", "seasons", "found", "flights since its onset: median, 90 %")
    yield f"| {' | '.join((*heads, 'ground at last', 'another finding', 'sets proposed'))} |"
    yield "|---|---|---|---|---|---|---|"
    for name in options.kinds:
        job: Callable[[int], Season] = partial(run, name)
        seeds = range(options.seed, options.seed + options.seasons)
        rows = list(pool.map(job, seeds))
        yield f"| {name} | {len(rows)} | {_season_cells(KINDS[name], rows)} |"


def _season_cells(kind: Kind, rows: Sequence[Season]) -> str:
    n = len(rows)
    delays = [np.inf if r.found is None else r.found - kind.onset for r in rows]
    middle, late = np.quantile(delays, [0.5, 0.9], method="inverted_cdf")
    wrong = sum(bool(r.wrong) for r in rows)
    which = sorted({w for r in rows for w in r.wrong})
    cells = [
        share(sum(r.found is not None for r in rows), n) if kind.weak else "-",
        f"{_flights(middle)}, {_flights(late)}" if kind.weak else "-",
        str(sum(r.grave == "ground" for r in rows)) if kind.weak else "-",
        share(wrong, n) + (f": {', '.join(which)}" if which else ""),
        "-" if kind.labels else str(sum(r.proposed for r in rows)),
    ]
    return " | ".join(cells)


def _flights(x: float) -> str:
    return f"{x:.0f}" if np.isfinite(x) else "never"


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--books", type=int, default=200)
    parser.add_argument("--flights", type=int, default=30)
    parser.add_argument("--seasons", type=int, default=10, help="of each kind")
    parser.add_argument("--kinds", type=lambda text: text.split(";"), default=list(KINDS))
    parser.add_argument("--seed", type=int, default=300)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.workers) as pool:
        for line in tables(options, pool):
            print(line, flush=True)


if __name__ == "__main__":
    main()
