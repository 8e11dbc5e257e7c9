"""How soon faults are found across flights, and how often healthy seasons are accused.

    python tests/accuracy/season.py [--seasons 60] [--healthy 100] [--kinds servo-binding,...]
                                    [--generators own] [--flights 20] [--light 400] [--seed 9000]
                                    [--workers 2] [--save FILE] [--keep DIR] [--list-missed]

Seasons of 20 flights of random aircraft, sensors, dialects, pilots and weather, of two generators
that share no physics. Every season goes the whole way: simulated, written as CSV, read, reviewed,
measured, and its book replayed after each flight as `history` does it: what stands open counts.
Where a fault does not go by itself, it is put right after the last flight and six more are flown,
once with a note and once without. Faults are counted from the flight in which they pass the level
that the aims name; a miss counts as never. An oracle compares each season with the same flown
without its fault and says whether the logged samples show it. Three baselines on the nodes' stir
current are set to the same rate of false alarms on the seasons with such currents, and on
``--light`` seasons without the CSV besides. Intervals are Wilson's, 95 %.

With ``--save`` outcomes are added to a file, one JSON line a season, and seasons already in it are
not run again, so that a long run can be broken off. With ``--keep`` the measures of each season are
kept in a folder, and a run after a change of the checks alone only judges.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from tests.accuracy.many_flights.kinds import KINDS
from tests.accuracy.many_flights.running import FLIGHTS, GENERATORS, Outcome, Told, run
from tests.accuracy.many_flights.sight import SURE
from tests.accuracy.many_flights.tables import all_tables

#: Generator, kind, seed, path, flights.
Wanted = tuple[str, str, int, str, int]
_LIGHT_KINDS = ("servo-binding", "servo-silent")


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seasons", type=int, default=60, help="of each kind of fault")
    parser.add_argument("--healthy", type=int, default=100)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--generators", default=",".join(GENERATORS))
    parser.add_argument("--flights", type=int, default=FLIGHTS, help="of healthy seasons")
    parser.add_argument("--light", type=int, default=400, help="healthy light seasons; 0 for none")
    parser.add_argument("--seed", type=int, default=9000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--keep", type=Path, help="a folder for measures")
    parser.add_argument("--list-missed", action="store_true")
    options = parser.parse_args()
    kinds = [k for k in options.kinds.split(",") if k]
    generators = [g for g in options.generators.split(",") if g]
    for name, known in [*((k, KINDS) for k in kinds), *((g, GENERATORS) for g in generators)]:
        if name not in known:
            parser.error(f"there is no {name!r}; there are: {', '.join(known)}")
    wanted: list[Wanted] = []
    # Season by season: a run that was stopped holds whole rounds of all kinds.
    for n in range(max(options.seasons, options.healthy)):
        seed = options.seed + n
        for g in generators:
            if n < options.seasons:
                wanted += [(g, k, seed, "full", FLIGHTS) for k in kinds if _flies(g, k)]
            if n < options.healthy:
                wanted.append((g, "", seed, "full", options.flights))
    for n in range(options.light):
        some = [k for k in _LIGHT_KINDS if k in kinds and n < options.light // 4]
        wanted += [("own", k, options.seed + n, "light", FLIGHTS) for k in (*some, "")]
    outcomes = collect(wanted, options.workers, options.save, options.keep)
    print(all_tables(outcomes))
    if options.list_missed:
        print("\n" + "\n".join(_missed(outcomes)))


def _flies(generator: str, kind: str) -> bool:
    """Whether a generator makes this kind of fault."""
    return generator in KINDS[kind].made_by


def collect(
    wanted: Sequence[Wanted], workers: int, save: Path | None, keep: Path | None
) -> list[Outcome]:
    """Outcomes of all seasons asked for, those of an earlier run from the file."""
    kept: dict[Wanted, Outcome] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            o = _read(json.loads(line))
            kept[o.generator, o.kind, o.seed, o.path, o.flights] = o
    todo = [w for w in wanted if w not in kept]
    with ProcessPoolExecutor(workers) as pool:
        jobs = {pool.submit(run, *w, keep): w for w in todo}
        for done, job in enumerate(as_completed(jobs), 1):
            kept[jobs[job]] = job.result()
            if save is not None:
                with save.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(job.result())) + "\n")
            print(f"\r{done} of {len(todo)} seasons", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return [kept[w] for w in wanted]


def _read(held: dict[str, object]) -> Outcome:
    def told(rows: object) -> list[Told]:
        assert isinstance(rows, list)
        return [Told(**{**t, "opened": [tuple(x) for x in t["opened"]]}) for t in rows]

    both = {"told": told(held["told"]), "mended": told(held["mended"])}
    return Outcome(**{**held, **both})  # type: ignore[arg-type]


def _missed(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """One line for each fault that was not found, and each false finding."""
    for o in outcomes:
        name = f"{o.generator} {o.kind or 'healthy'} {o.seed} {o.path}"
        if o.kind and o.counts is not None and o.counts <= o.flights and o.found() is None:
            sure = "shown" if o.sure >= SURE else "not shown"
            yield f"{name}: missed at {', '.join(o.places)}, {sure} ({o.sure:.1f}, {o.size:.3g})"
        for t in o.told:
            if t.place not in o.places or (o.onset and t.within(1, o.onset - 1)):
                by = "flights together" if t.across else "single reviews"
                yield f"{name}: {t.code} at {t.place or 'all'} by {by} in {t.opened}"


if __name__ == "__main__":
    main()
