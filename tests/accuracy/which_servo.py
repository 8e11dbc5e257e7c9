"""Which servo: how often the one at fault is named, and whether the chances told hold.

    python tests/accuracy/which_servo.py [--seasons 40] [--logs 60] [--seed 1] [--workers 2]
                                         [--save FILE]

Seasons of 20 flights of the project's simulator in which one servo binds or falls silent, half of
them with the profile of a careful user, and of the second generator (``tests/fleet``, without a
profile); flight k is judged from flights 1 to k. And single logs:
of the simulator, in which one servo draws far more, heats or dies, and of the second physics
(``tests/simulated/scenes.py``), in which those of one control die; all with control columns.

A season counts as separable where its names are known and the true signals tell the control: it
is the only one at its node; or its column is logged, and the scaled condition index of the node's
true regressors is at most 10 in the median flight (Belsley, Kuh and Welsch 1980); or the profile
lists it, no other control of its node lives at the same nodes, and the pilot checks one control
after the other. Of the second generator: where its column is logged.

What was said with a chance is right as often as that, or the chance is wrong: every control that
was listed counts, in the first flight with the finding and in the last.

Intervals are Wilson's, 95 %. With ``--save`` outcomes are added to a file, one JSON line each, and
are not run again.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from servos import share

from telemetry.aircraft import Aircraft
from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.checks.across import judge
from telemetry.importer import read_log
from telemetry.model.channels import Quantity
from telemetry.results import Finding
from telemetry.simulate import FaultKind, SimulatedRecording, write_csv
from telemetry.simulate.season import Season, fly
from telemetry.trends.measures import Measures
from tests.accuracy.many_flights.drawing import fleet_season, profile_of
from tests.simulated import scenes
from tests.simulated.cases import random_season
from tests.simulated.oracle import condition_index

FLIGHTS = 20
#: First flight that is judged: with fewer nothing has a usual value.
FIRST = 3
WELL = 10.0
SEASONS = (FaultKind.SERVO_BINDING, FaultKind.SERVO_SILENT)
# In one log a servo has to draw far more to be seen at all: levels of its fault.
LOGS = {
    FaultKind.SERVO_BINDING: 2.5,
    FaultKind.SERVO_HEATING: 2.0,
    FaultKind.SERVO_SILENT: 1.0,
}
SCENE = "second physics"
_CODES = ("servo-current-rising", "servo-silent", "servo-heating")
_STEPS = (0.0, 20.0, 40.0, 60.0, 80.0, 90.0, 100.1)


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was said of one season or log.

    Attributes
    ----------
    kind : str
    seed : int
    names : str
        What names controls: "columns", "profile", "both" or "nothing".
    separable : bool
        Whether the true signals tell the control.
    found : bool
        Whether the place was found.
    named : str
        The control that was named; "".
    truth : str
        The one that it was.
    said : list of (float, bool)
        Every control listed: its chance, %, and whether it was the one.
    """

    kind: str
    seed: int
    names: str
    separable: bool
    found: bool
    named: str
    truth: str
    said: list[tuple[float, bool]] = field(default_factory=list)


def season_outcome(kind: FaultKind, seed: int) -> Outcome:
    """One season, judged flight by flight."""
    rng = np.random.default_rng([seed, 3, list(FaultKind).index(kind)])
    season = random_season(rng, kind, flights=FLIGHTS, node_currents=True)
    profile = profile_of(season) if rng.random() < 0.5 else None
    fault = season.faults[0]
    truth = season.aircraft.servo(fault.servo).control
    measures, indices = [], []
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        for k, recording in enumerate(fly(season), 1):
            measures.append(reviewed(recording, season, Path(folder) / f"{k}.csv", profile))
            if truth in season.telemetry.controls:
                indices.append(condition_index(recording, fault.place) or np.inf)
        first = last = None
        for k in range(max(FIRST, fault.onset), FLIGHTS + 1):
            found = [
                f
                for f in judge(measures[:k], aircraft=profile).findings
                if f.place == fault.place
                and f.code in _CODES
                and "recent_flights" not in f.evidence
            ]
            if found:
                first, last = first or found[0], found[0]
    told = [f for f in (first, last) if f is not None]
    names = ("nothing", "columns", "profile", "both")[
        bool(season.telemetry.controls) + 2 * (profile is not None)
    ]
    return Outcome(
        kind=f"season {kind.value}",
        seed=seed,
        names=names,
        separable=_separable(season, truth, names, indices),
        found=bool(told),
        named=_named(told),
        truth=truth,
        said=[x for f in told for x in _said(f, truth)],
    )


def fleet_outcome(kind: str, seed: int) -> Outcome:
    """One season of the second generator."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        drawn, logs = fleet_season(kind, seed, FLIGHTS, 0, Path(folder))
        files = [log.path for log in logs(False)]
        measures = [_measured(path, None) for path in files]
        controls = {c.place for c in read_log(files[0]).channels if c.quantity is Quantity.CONTROL}
        told = _first_and_last(measures, None, set(drawn.places), drawn.onset or FIRST)
    return Outcome(
        kind=f"fleet {kind}",
        seed=seed,
        names="columns" if controls else "nothing",
        separable=drawn.control in controls,
        found=bool(told),
        named=_named(told),
        truth=drawn.control,
        said=[x for f in told for x in _said(f, drawn.control)],
    )


def _first_and_last(
    measures: Sequence[Measures], profile: Aircraft | None, places: set[str], onset: int
) -> list[Finding]:
    """The finding on servos at the place as it was first told, and as it was told last."""
    first = last = None
    for k in range(max(FIRST, onset), len(measures) + 1):
        found = [
            f
            for f in judge(measures[:k], aircraft=profile).findings
            if f.place in places and f.code in _CODES and "recent_flights" not in f.evidence
        ]
        if found:
            first, last = first or found[0], found[0]
    return [f for f in (first, last) if f is not None]


def _named(told: Sequence[Finding]) -> str:
    """The control named in the last of them; ""."""
    return _control(told[-1].servo) if told and told[-1].servo is not None else ""


def reviewed(
    recording: SimulatedRecording, season: Season, path: Path, profile: Aircraft | None
) -> Measures:
    """One flight the way that a user's log goes: written, read, reviewed, measured."""
    write_csv(path, recording, dialect=season.dialect)
    return _measured(path, profile)


def _measured(path: Path, profile: Aircraft | None) -> Measures:
    found = review(read_log(path), profile)
    longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
    return measured(found, longest + 1)


def _separable(season: Season, truth: str, names: str, indices: Sequence[float]) -> bool:
    """Whether the true signals tell the control, and something names it."""
    craft, place = season.aircraft, season.faults[0].place
    if names == "nothing":
        return False
    here = {s.control for s in craft.servos_of(place)}
    profiled = names in ("profile", "both")
    if len(here) == 1:
        return profiled or truth in season.telemetry.controls
    if indices and float(np.median(indices)) <= WELL:
        return True
    lives = {c: {s.node for s in craft.servos if s.control == c} for c in here}
    return profiled and all(lives[c] != lives[truth] for c in here - {truth})


def log_outcome(kind: str, seed: int) -> Outcome:
    """One log with control columns."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "log.csv"
        if kind == SCENE:
            style = scenes.HEALTHY[seed % len(scenes.HEALTHY)]
            scene = scenes.make(seed, style, "servo dead", controls=True)
            scene.write(path)
            place, truth = scene.where, scene.servo
        else:
            fault = FaultKind(kind)
            rng = np.random.default_rng([seed, 4, list(FaultKind).index(fault)])
            season = random_season(rng, fault, flights=1, node_currents=True, controls=True)
            planted = replace(season.faults[0], onset=1, start=LOGS[fault])
            season = replace(season, faults=(planted,))
            (recording,) = fly(season)
            write_csv(path, recording, dialect=season.dialect)
            place, truth = planted.place, season.aircraft.servo(planted.servo).control
        found = [f for f in review(read_log(path)).findings if f.place == place]
    told = [f for f in found if f.code in _CODES]
    return Outcome(
        kind=f"log, {kind}",
        seed=seed,
        names="columns",
        separable=True,
        found=bool(told),
        named=_named(told),
        truth=truth,
        said=[x for f in told for x in _said(f, truth)],
    )


def _said(f: Finding, truth: str) -> list[tuple[float, bool]]:
    """Each control that a finding lists: its chance, %, and whether it is the one."""
    out = []
    for k in (1, 2, 3):
        name, chance = f.evidence.get(f"suspect_{k}"), f.evidence.get(f"suspect_{k}_pct")
        if isinstance(name, str) and isinstance(chance, float):
            out.append((chance, _control(name) == truth))
    return out


def _control(servo: str) -> str:
    """The control of servos that are told with their outputs."""
    return servo.split(" (")[0]


def run(kind: str, seed: int) -> Outcome:
    """One season or log by its kind."""
    if kind.startswith("season "):
        return season_outcome(FaultKind(kind.removeprefix("season ")), seed)
    if kind.startswith("fleet "):
        return fleet_outcome(kind.removeprefix("fleet "), seed)
    return log_outcome(kind.removeprefix("log, "), seed)


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seasons", type=int, default=40, help="of each kind")
    parser.add_argument("--logs", type=int, default=60, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    options = parser.parse_args()
    wanted = [(f"season {k.value}", n) for n in range(options.seasons) for k in SEASONS]
    wanted += [(f"fleet {k.value}", n) for n in range(options.seasons) for k in SEASONS]
    logs = [*(k.value for k in LOGS), SCENE]
    wanted += [(f"log, {k}", n) for n in range(options.logs) for k in logs]
    wanted = [(k, options.seed + n) for k, n in sorted(wanted, key=lambda w: w[1])]
    outcomes = collect(wanted, options.workers, options.save)
    print_named(outcomes)
    print_chances(outcomes)


def collect(wanted: Sequence[tuple[str, int]], workers: int, save: Path | None) -> list[Outcome]:
    """Outcomes of all that is asked for, those of an earlier run from the file."""
    done: dict[tuple[str, int], Outcome] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            o = Outcome(**json.loads(line))
            done[o.kind, o.seed] = o
    todo = [w for w in wanted if w not in done]
    with ProcessPoolExecutor(workers) as pool:
        jobs = {pool.submit(run, *w): w for w in todo}
        for job in as_completed(jobs):
            done[jobs[job]] = job.result()
            if save is not None:
                with save.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(job.result())) + "\n")
    return [done[w] for w in wanted]


def print_named(outcomes: Sequence[Outcome]) -> None:
    """How many are separable, and how many of these were named."""
    print(
        "| kind | names from | n | found | separable | named of separable "
        "| named of others | right |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for (kind, names), _ in sorted(Counter((o.kind, o.names) for o in outcomes).items()):
        rows = [o for o in outcomes if (o.kind, o.names) == (kind, names)]
        found = [o for o in rows if o.found]
        apart = [o for o in found if o.separable]
        named = [o for o in found if o.named]
        right = sum(o.named == o.truth for o in named)
        print(
            f"| {kind} | {names} | {len(rows)} | {len(found)} | {sum(o.separable for o in rows)} "
            f"| {share(sum(bool(o.named) for o in apart), len(apart))} "
            f"| {sum(not o.separable for o in named)} | {share(right, len(named))} |"
        )


def print_chances(outcomes: Sequence[Outcome]) -> None:
    """How often what was said with a chance was right."""
    for title, start in (
        ("Across flights", "season"),
        ("Across flights, second generator", "fleet"),
        ("In one log", "log"),
    ):
        said = [x for o in outcomes if o.kind.startswith(start) for x in o.said]
        print(f"\n{title}\n\n| said | n | mean chance | right |\n|---|---|---|---|")
        for low, high in pairwise(_STEPS):
            rows = [x for x in said if low <= x[0] < high]
            if rows:
                mean = float(np.mean([c for c, _ in rows]))
                right = share(sum(r for _, r in rows), len(rows))
                print(f"| {low:.0f} to {high:.0f} % | {len(rows)} | {mean:.0f} % | {right} |")


if __name__ == "__main__":
    main()
