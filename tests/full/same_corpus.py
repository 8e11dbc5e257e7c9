"""The corpus of same_results.py: plain files, and a list of what is done with each.

Everything is written once, so that two checkouts read exactly the same bytes whatever becomes of
the simulator. ``corpus.json`` lists the logs (file, options of the review, profile) and the seasons
(name of the aircraft, logs in the order flown, profile, a note of a repair); what the light choice
takes of them is marked. Simulated flights are short, so faults come larger than in other tests: in
a single log as far gone as after a season, in a season six flights further than usual.
"""

from __future__ import annotations

import json
import re
import shutil
import warnings
from collections.abc import Collection, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from telemetry import demo_season
from telemetry.simulate import (
    AircraftModel,
    Dialect,
    Fault,
    FaultKind,
    Mode,
    PathKind,
    ServoLaw,
    fly,
    write_csv,
)
from tests.measured_data import FOLDER
from tests.simulated.cases import random_season
from tests.simulated.dialects import random_dialect

ROOT = Path(__file__).parents[2]
LIST = "corpus.json"
FLIGHT_S = 150.0
FLIGHTS = (12, 14)
HEALTHY_SEASONS = 6
# Season faults of the light choice; None is a healthy season.
LIGHT_SEASONS = (
    None,
    FaultKind.SERVO_BINDING,
    FaultKind.CONNECTOR,
    FaultKind.CONTACT,
    FaultKind.PACK_AGEING,
    FaultKind.PACK_OUT,
)
LIGHT_NAMES = ("tern-flight-12", "tern-bench-stir", "dunlin-flight-11", "delivery_flight")
INTERVALS_S = (0.05, 0.1, 0.2, 0.4, 0.5, 1.0)
# The files of measured data that have no header row: columns are named by their numbers.
NAMELESS = ("#2=time[s]", "#9=pack 1/current[A]", "#10=pack 1/voltage[V]")
COPPER_OHM_MM2_PER_M = 0.0175


@dataclass(frozen=True, kw_only=True)
class CorpusLog:
    """One log: its file, the file of its profile, further options; paths within the corpus."""

    file: str
    profile: str | None = None
    options: tuple[str, ...] = ()
    light: bool = False


@dataclass(frozen=True, kw_only=True)
class CorpusSeason:
    """Flights of one aircraft in order; ``note`` is a repair before the last third: place, date."""

    name: str
    logs: tuple[str, ...]
    profile: str | None = None
    note: tuple[str, str] | None = None
    light: bool = False


@dataclass(frozen=True, kw_only=True)
class Corpus:
    """What ``corpus.json`` holds."""

    logs: tuple[CorpusLog, ...]
    seasons: tuple[CorpusSeason, ...]

    def light(self) -> Corpus:
        """The light choice alone."""
        return Corpus(
            logs=tuple(log for log in self.logs if log.light),
            seasons=tuple(season for season in self.seasons if season.light),
        )


def read_corpus(folder: Path) -> Corpus:
    """The list of a corpus that was made."""
    held = json.loads((folder / LIST).read_text(encoding="utf-8"))
    return Corpus(
        logs=tuple(CorpusLog(**log | {"options": tuple(log["options"])}) for log in held["logs"]),
        seasons=tuple(
            CorpusSeason(**s | {"logs": tuple(s["logs"]), "note": s["note"] and tuple(s["note"])})
            for s in held["seasons"]
        ),
    )


def write_list(folder: Path, corpus: Corpus) -> None:
    """Write ``corpus.json``."""
    text = json.dumps(asdict(corpus), indent=1) + "\n"
    (folder / LIST).write_text(text, encoding="utf-8", newline="\n")


def make_corpus(folder: Path, *, light: bool = False, workers: int = 2) -> Corpus:
    """Write logs, seasons and the list of them; the list comes last."""
    if folder.exists() and any(folder.iterdir()):
        raise SystemExit(f"{folder}: not empty. Name a new folder for the corpus.")
    folder.mkdir(parents=True, exist_ok=True)
    flown, seasons = jobs_of_logs(folder), jobs_of_seasons(folder)
    if light:
        flown = [job for job in flown if job.keywords["light"]]
        seasons = [job for job in seasons if job.keywords["light"]]
    with ProcessPoolExecutor(workers) as pool:
        made = [pool.submit(job) for job in flown]
        whole = [pool.submit(job) for job in seasons]
        logs = [one.result() for one in made]
        held = [one.result() for one in whole]
    demo, demo_seasons = demo_of(folder)
    logs += [*demo, *kept_files(folder), *measured_files(folder)]
    corpus = Corpus(logs=tuple(logs), seasons=(*held, *demo_seasons))
    corpus = corpus.light() if light else corpus
    write_list(folder, corpus)
    return corpus


def jobs_of_logs(folder: Path) -> list[partial[CorpusLog]]:
    """Single flights: every kind of aircraft, fault, sampling and dialect."""
    fly_one = partial(fly_log, folder)
    jobs: list[partial[CorpusLog]] = []
    for law in ServoLaw:
        for path in PathKind:
            for packs in (1, 2):
                for seed in (0, 1):
                    jobs.append(
                        partial(
                            fly_one,
                            name=f"aircraft-{law.value}-{path.value}-{packs}-{seed}",
                            seed=(1, seed, len(jobs)),
                            settings={"law": law, "path": path, "packs": packs},
                            profiled=seed == 1,
                            light=len(jobs) % 9 == 0,
                        )
                    )
    for kind in FaultKind:
        for seed in range(4):
            jobs.append(
                partial(
                    fly_one,
                    name=f"fault-{kind.value}-{seed}",
                    seed=(2, seed),
                    fault=kind,
                    profiled=seed % 2 == 1,
                    light=seed == list(FaultKind).index(kind) % 2,
                )
            )
    for interval in INTERVALS_S:
        for mode in (Mode.INSTANT, Mode.MEAN):
            for currents in (True, False):
                jobs.append(
                    partial(
                        fly_one,
                        name=f"sampling-{interval:g}-{mode.value}-{'all' if currents else 'bus'}",
                        seed=(3, len(jobs)),
                        settings={
                            "interval_s": interval,
                            "mode": mode,
                            "node_currents": currents,
                            "controls": len(jobs) % 2 == 0,
                        },
                        light=interval == 0.4 and not currents,
                    )
                )
    for seed in range(24):
        dialect = random_dialect(np.random.default_rng([4, seed]), long=seed % 4 == 3)
        jobs.append(
            partial(
                fly_one,
                name=f"dialect-{seed:02d}",
                seed=(5, seed),
                dialect=replace(dialect, cut=seed % 7 == 6),
                light=seed in (3, 6),
            )
        )
    return jobs


def jobs_of_seasons(folder: Path) -> list[partial[CorpusSeason]]:
    """Two seasons of each fault, and healthy ones; half with a profile, some with a repair."""
    wanted: list[tuple[FaultKind | None, int]] = [(None, n) for n in range(HEALTHY_SEASONS)]
    wanted += [(kind, seed) for kind in FaultKind for seed in range(2)]
    return [
        partial(
            fly_season,
            folder,
            kind=kind,
            seed=seed,
            flights=FLIGHTS[number % 2],
            # The light choice has seasons of both kinds.
            light=kind in LIGHT_SEASONS and seed == LIGHT_SEASONS.index(kind) % 2,
        )
        for number, (kind, seed) in enumerate(wanted)
    ]


def fly_log(
    folder: Path,
    *,
    name: str,
    seed: Sequence[int],
    light: bool,
    fault: FaultKind | None = None,
    settings: dict[str, object] | None = None,
    dialect: Dialect | None = None,
    profiled: bool = False,
) -> CorpusLog:
    """One flight of a random aircraft, written."""
    number = 0 if fault is None else 1 + list(FaultKind).index(fault)
    rng = np.random.default_rng([*seed, number])
    season = random_season(rng, fault, flights=1, flight_s=FLIGHT_S, **(settings or {}))
    season = replace(season, faults=tuple(full_grown(f) for f in season.faults))
    (recording,) = fly(season)
    file = f"logs/{name}.csv"
    write_csv(made(folder / file), recording, dialect=dialect or season.dialect)
    if not profiled:
        return CorpusLog(file=file, light=light)
    profile = f"profiles/{name}.toml"
    write_profile(folder / profile, season.aircraft)
    return CorpusLog(file=file, profile=profile, light=light)


def full_grown(fault: Fault) -> Fault:
    """The fault as it is after a season: fourteen flights on, where it grows."""
    return replace(grown(fault, 14), onset=1, growth=0.0, cured=None)


def grown(fault: Fault, flights: int) -> Fault:
    """The fault so many flights further on."""
    return replace(fault, start=fault.start + flights * fault.growth)


def fly_season(
    folder: Path, *, kind: FaultKind | None, seed: int, flights: int, light: bool
) -> CorpusSeason:
    """One season, written flight by flight."""
    number = 0 if kind is None else 1 + list(FaultKind).index(kind)
    rng = np.random.default_rng([6, seed, number])
    currents = True if kind is not None and "servo" in kind.value else None
    season = random_season(rng, kind, flights=flights, flight_s=FLIGHT_S, node_currents=currents)
    season = replace(season, faults=tuple(grown(f, 6) for f in season.faults))
    name = f"{'healthy' if kind is None else kind.value}-{seed}"
    logs, starts = [], []
    for recording in fly(season):
        file = f"seasons/{name}/flight-{recording.truth.flight:02d}.csv"
        write_csv(made(folder / file), recording, dialect=season.dialect)
        logs.append(file)
        starts.append(recording.start)
    profile = note = None
    if seed % 2:
        profile = f"profiles/season-{name}.toml"
        write_profile(folder / profile, season.aircraft)
    if seed % 2 and number % 2 == 0:
        place = season.faults[0].place if season.faults else season.aircraft.nodes[0].name
        note = place, starts[thirds(flights)[1]].isoformat()
    return CorpusSeason(name=name, logs=tuple(logs), profile=profile, note=note, light=light)


def thirds(flights: int) -> tuple[int, int, int]:
    """After how many flights a season is judged."""
    return flights // 3, 2 * flights // 3, flights


def demo_of(folder: Path) -> tuple[list[CorpusLog], list[CorpusSeason]]:
    """The demo season: every log by itself, and the season of each aircraft."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        files = [f"demo/{path.name}" for path in demo_season(made(folder / "demo" / "x").parent)]
    names = sorted({Path(file).name.split("-")[0] for file in files})
    return listed(files), [
        CorpusSeason(name=name, logs=tuple(f for f in files if Path(f).name.startswith(name)))
        for name in names
    ]


def kept_files(folder: Path) -> list[CorpusLog]:
    """The sample logs, and the tests' files that can be read and that cannot."""
    found: list[CorpusLog] = []
    for source, every in (("sample_logs", 7), ("tests/data/good", 12), ("tests/data/bad", 6)):
        paths = sorted(p for p in (ROOT / source).iterdir() if p.suffix != ".md")
        files = [copied(path, folder, f"{source.split('/')[-1]}/{path.name}") for path in paths]
        found += listed(files, set(files[::every]))
    return found


def measured_files(folder: Path) -> list[CorpusLog]:
    """The measured logs of others, where BUSBOOK_OPEN_DATA names them."""
    if not FOLDER.is_dir():
        print("BUSBOOK_OPEN_DATA names no folder: the corpus has no measured logs")
        return []
    found = []
    for path in sorted(FOLDER.glob("*/*.csv")):
        file = copied(path, folder, f"measured/{path.parent.name}/{path.name}")
        nameless = re.match(rb"\w+,[\d.]+,", path.read_bytes()[:40])
        options = tuple(w for s in NAMELESS for w in ("--set", s)) if nameless else ()
        found.append(CorpusLog(file=file, options=options, light=named_light(file)))
    return found


def listed(files: Sequence[str], light: Collection[str] = ()) -> list[CorpusLog]:
    return [CorpusLog(file=f, light=f in light or named_light(f)) for f in files]


def named_light(file: str) -> bool:
    return not file.startswith("sample_logs/") and any(name in file for name in LIGHT_NAMES)


def made(path: Path) -> Path:
    """The path, its folder made."""
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def copied(source: Path, folder: Path, file: str) -> str:
    shutil.copyfile(source, made(folder / file))
    return file


def write_profile(path: Path, aircraft: AircraftModel) -> None:
    """What a careful user writes down of an aircraft, as a profile of version 1."""
    lines = ["version = 1", f'name = "{aircraft.name}"', 'bus = "bus"']
    for pack in aircraft.packs:
        lines += [
            "[[packs]]",
            f'name = "{pack.name}"',
            f'chemistry = "{pack.chemistry}"',
            f"cells = {pack.cells}",
            f"capacity_mah = {pack.capacity_mah:.0f}",
        ]
    for node in aircraft.nodes:
        length_m = node.lead_ohm * 1.5 / (2 * COPPER_OHM_MM2_PER_M)
        lines += [
            "[[nodes]]",
            f'name = "{node.name}"',
            f'fed_from = "{node.fed_from}"',
            f"lead = {{ mm2 = 1.5, length_m = {length_m:.2f} }}",
        ]
    outputs: dict[str, int] = {}
    for servo in aircraft.servos:
        outputs[servo.node] = outputs.get(servo.node, 0) + 1
        lines += [
            "[[servos]]",
            f'node = "{servo.node}"',
            f"output = {outputs[servo.node]}",
            f'drives = "{servo.control}"',
        ]
    made(path).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
