"""A matrix of faults and findings over single logs, and how often healthy logs are accused.

    python tests/accuracy/review.py [--each 8] [--healthy 96] [--only "idle up,sound"]
                                    [--seed 1] [--workers 2] [--save FILE]
                                    [--full] [--list-missed] [--keep DIR]

Three makers that share no physics write the logs: the project's simulator with random aircraft,
sensors, dialects and pilots, and the two of ``tests/simulated``. Each is read and reviewed without
a profile, at 0.1, 0.2, 0.5 and 1 s in turn by the seed. A fault is drawn again, up to eight times,
until an oracle that knows its kind, place and moment sees it in the logged samples at five standard
errors and above the limit in force; only such faults count. Intervals are Wilson's, 95 %.

Of a visible fault: "found" is a finding that rightly tells it, at its place, at watch or above;
"silent" that nothing was said; "unknown" is excused where the check of that fault at that place
was not judged, with a reason. What the maker knows to be so is no false accusation: a lowest
voltage that truly was that low, with what load took of the packs' or the bus's voltage then, a pack
that truly began with less.

With ``--full`` only what the aims for healthy logs are set for is reviewed: full columns, at 0.5 s
or faster.

With ``--save`` outcomes are added to a file, one JSON line each, and are not run again.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from functools import partial
from itertools import count, islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from tests.accuracy.one_log.kinds import FAULTS, HEALTHY, KINDS, SAMPLINGS_S
from tests.accuracy.one_log.making import plant
from tests.accuracy.one_log.seeing import NOTHING, sight
from tests.accuracy.one_log.tables import FAST_S, all_tables, missed
from tests.accuracy.one_log.telling import Outcome, Told, told

#: How often a fault is drawn until the oracle sees it.
_DRAWS = 8


def run(name: str, seed: int, keep: Path | None = None, *, full: bool = False) -> Outcome:
    """Make one log, look at it with the oracle, and review it."""
    kind, update_s = KINDS[name], _sampled(seed)
    with tempfile.TemporaryDirectory() as scratch, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        for draw in range(_DRAWS):
            planted = plant(kind, seed, draw, update_s, keep or Path(scratch))
            seen = sight(planted) if kind.sight else NOTHING
            if seen.visible or not kind.sight:
                break
            planted.path.unlink()
        judged = (seen.visible or not kind.sight) and (planted.full or not full)
        verdict, came_to, findings = told(planted) if judged else ("", "", [])
    return Outcome(
        kind=name,
        seed=seed,
        draws=draw + 1,
        update_s=update_s,
        where=planted.where,
        places=list(planted.places),
        visible=seen.visible,
        full=planted.full,
        sure=min(float(seen.sure), 1e9),
        size=float(seen.size),
        limit=min(float(seen.limit), 1e9),
        verdict=verdict,
        came_to=came_to,
        told=findings,
    )


def _sampled(seed: int) -> float:
    """Interval of the nodes' readings, s: each in turn."""
    return SAMPLINGS_S[seed % len(SAMPLINGS_S)]


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--each", type=int, default=8, help="logs of each kind of fault")
    parser.add_argument("--healthy", type=int, default=96, help="healthy logs, all kinds in turn")
    parser.add_argument("--only", default="", help="kinds, with commas; --each of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--full", action="store_true", help="full columns, 0.5 s or faster alone")
    parser.add_argument("--list-missed", action="store_true", help="what makes each miss again")
    parser.add_argument("--keep", type=Path, help="a folder for the logs")
    options = parser.parse_args()
    only = [k for k in options.only.split(",") if k]
    if unknown := [k for k in only if k not in KINDS]:
        parser.error(f"no kind {unknown[0]!r}; there are: {', '.join(KINDS)}")
    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
    names = only or [k.name for k in FAULTS]
    wanted = [(k, n) for n in range(options.each) for k in names]
    if not only:
        wanted += [
            (HEALTHY[n % len(HEALTHY)].name, n // len(HEALTHY)) for n in range(options.healthy)
        ]
    # Round by round: a run that was stopped holds whole rounds of all kinds.
    suits = (s for s in count(options.seed) if not options.full or _sampled(s) <= FAST_S)
    seeds = list(islice(suits, max(n for _, n in wanted) + 1))
    wanted = [(k, seeds[n]) for k, n in sorted(wanted, key=lambda w: w[1])]
    one = partial(run, keep=options.keep, full=options.full)
    outcomes = collect(wanted, options.workers, options.save, one)
    outcomes = [o for o in outcomes if o.full or not options.full]
    print(all_tables(outcomes))
    if options.list_missed:
        print("\n" + "\n".join(missed(outcomes)))


def collect(
    wanted: Sequence[tuple[str, int]],
    workers: int,
    save: Path | None,
    one: Callable[[str, int], Outcome],
) -> list[Outcome]:
    """Outcomes of all logs asked for, those of an earlier run from the file."""
    done: dict[tuple[str, int], Outcome] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            held = json.loads(line)
            o = Outcome(**{**held, "told": [Told(**t) for t in held["told"]]})
            done[o.kind, o.seed] = o
    todo = [w for w in wanted if w not in done]
    with ProcessPoolExecutor(workers) as pool:
        jobs = {pool.submit(one, *w): w for w in todo}
        for done_n, job in enumerate(as_completed(jobs), 1):
            done[jobs[job]] = job.result()
            if save is not None:
                with save.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(job.result())) + "\n")
            print(f"\r{done_n} of {len(todo)} logs", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return [done[w] for w in wanted]


if __name__ == "__main__":
    main()
