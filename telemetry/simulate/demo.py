"""The demo season: two invented aircraft, a dozen flights each, faults from a known flight on.

``tern`` carries a main unit and three remote nodes (left wing, right wing, tail) and logs dozens of
columns; ``dunlin`` has one cable a panel and only its main unit reports, a dozen parameters.
Nothing of them exists: not the machines, not the units, not the flights.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np

from telemetry.model.errors import OutputError
from telemetry.simulate.faults import Fault, FaultKind
from telemetry.simulate.fleet import (
    DUNLIN_DIALECT,
    TERN_DIALECT,
    dunlin,
    dunlin_telemetry,
    tern,
    tern_telemetry,
)
from telemetry.simulate.parts import BUS
from telemetry.simulate.physics.motion import move
from telemetry.simulate.pilot import Pilot, usual_plan
from telemetry.simulate.recording import SimulatedRecording, simulate
from telemetry.simulate.season import Habits, PlannedChange, Season, fly
from telemetry.simulate.telemetry.csvfile import write_csv
from telemetry.simulate.telemetry.dialect import Dialect

DEMO_SEED = 2026
DEMO_FLIGHTS = 12

TERN_FAULTS = (
    Fault(
        kind=FaultKind.SERVO_BINDING,
        place="right wing",
        servo="right wing 2",
        onset=4,
        start=0.10,
        growth=0.08,
    ),
    Fault(kind=FaultKind.CONNECTOR, place="left wing", onset=7, start=0.009, growth=0.007),
    Fault(kind=FaultKind.CONTACT, place="left wing", onset=9, start=0.8, growth=0.5),
    Fault(kind=FaultKind.LINK_LOSS, place=BUS, onset=2, start=1.0, cured=3),
)
DUNLIN_FAULTS = (
    Fault(kind=FaultKind.PACK_AGEING, place="pack 2", onset=5, start=0.10, growth=0.09),
    Fault(kind=FaultKind.PACK_LOW, place="pack 1", onset=8, start=0.5, cured=9),
    Fault(kind=FaultKind.PACK_OUT, place="pack 2", onset=11, start=1.0, cured=12),
)


def tern_season(seed: int = DEMO_SEED) -> Season:
    """The tern's season."""
    return Season(
        aircraft=tern(),
        telemetry=tern_telemetry(),
        dialect=TERN_DIALECT,
        pilot=Pilot(),
        seed=seed,
        flights=DEMO_FLIGHTS,
        faults=TERN_FAULTS,
        changes=(PlannedChange(flight=3, hardness=1.25),),
        habits=Habits(flight_s=390.0, stir=1.0, check=1.0, power_cycle=0.0, ambient_spread_c=4.0),
        start=datetime(2026, 4, 4, 10, 0),
    )


def dunlin_season(seed: int = DEMO_SEED) -> Season:
    """The dunlin's season."""
    return Season(
        aircraft=dunlin(),
        telemetry=dunlin_telemetry(),
        dialect=DUNLIN_DIALECT,
        pilot=Pilot(stir_hz=1.5, stir_s=10.0, hardness=0.9),
        seed=seed + 1,
        flights=DEMO_FLIGHTS,
        faults=DUNLIN_FAULTS,
        changes=(PlannedChange(flight=10, ambient_c=4.0),),
        habits=Habits(flight_s=450.0, stir=1.0, check=0.5, power_cycle=0.0, ambient_spread_c=4.0),
        start=datetime(2026, 4, 11, 9, 30),
    )


def bench_stir(season: Season) -> SimulatedRecording:
    """A bench recording at home, a week before the season: two stirs, no flight."""
    rng = np.random.default_rng([season.seed, 3])
    day = season.pilot.day(rng)
    plan = usual_plan(rng, season.pilot, flights=0, stirs=2)
    motion = move(plan, season.pilot, day, rng, dt_s=season.dt_s)
    return simulate(
        season.aircraft,
        season.telemetry,
        motion,
        rng,
        ambient_c=18.0,
        start=datetime(2026, 3, 28, 15, 20),
    )


def demo_logs(seed: int = DEMO_SEED) -> Iterator[tuple[str, SimulatedRecording, Dialect]]:
    """File name, recording and dialect of every log of the demo season, in order."""
    for season in (tern_season(seed), dunlin_season(seed)):
        name = season.aircraft.name
        if name == "tern":
            yield f"{name}-bench-stir.csv", bench_stir(season), season.dialect
        for recording in fly(season):
            number = recording.truth.flight
            yield f"{name}-flight-{number:02d}.csv", recording, season.dialect


def demo_season(directory: str | Path, seed: int = DEMO_SEED) -> tuple[Path, ...]:
    """Write the demo season.

    Parameters
    ----------
    directory : path
        Made if missing; files of the same names are replaced.
    seed : int
        Another seed gives another season with the same faults.

    Returns
    -------
    tuple of Path
        The logs written, in order. A README.txt beside them says what is wrong from when.

    Raises
    ------
    OutputError
        Where the directory cannot be written.
    """
    folder = Path(directory)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, recording, dialect in demo_logs(seed):
            written.append(write_csv(folder / name, recording, dialect=dialect))
        with (folder / "README.txt").open("w", encoding="utf-8", newline="") as file:
            file.write(demo_readme())
    except OSError as error:
        raise OutputError(
            f"cannot write the demo season: {error.strerror or error}",
            path=folder,
            hint="choose a folder that can be written",
        ) from error
    return tuple(written)


_IN_WORDS = {
    FaultKind.SERVO_BINDING: "it begins to bind; its moving current rises flight by flight",
    FaultKind.CONNECTOR: "the resistance of the panel's connector rises flight by flight",
    FaultKind.CONTACT: "the same connector begins to break contact for moments",
    FaultKind.LINK_LOSS: "the radio link's telemetry is lost for some seconds; nothing is wrong",
    FaultKind.PACK_AGEING: "the pack ages; its internal resistance rises flight by flight",
    FaultKind.PACK_LOW: "the pack was not charged",
    FaultKind.PACK_OUT: "the pack's lead comes out in the air; the other pack carries on",
}


def demo_readme() -> str:
    """What is in the season, what is wrong, and from which flight on."""
    lines = [
        "These logs are invented. No such aircraft, unit, pilot or flight exists; a program",
        "computed them from a model of packs, leads and servos.",
        "",
        "tern: a main unit and three remote nodes (left wing, right wing, tail).",
        "dunlin: one cable a panel; only the main unit reports. Its columns are in German.",
        "",
        "What is wrong, and from when:",
    ]
    for season in (tern_season(), dunlin_season()):
        for fault in season.faults:
            last = "" if fault.cured is None else " only"
            where = fault.place + (f" (servo on output {fault.servo[-1]})" if fault.servo else "")
            lines += [
                f"- {season.aircraft.name}, flight {fault.onset}{last}, {where}:",
                f"  {_IN_WORDS[fault.kind]}.",
            ]
    lines += [
        "",
        "Harmless, and there to be told apart: tern's flight 3 is flown harder than usual;",
        "dunlin's flight 10 is on a cold day.",
        "",
        "Before any stir or bench check of your own: motor or engine off and made safe",
        "(propeller clear or removed, ignition off, turbine shut down), aircraft",
        "restrained, people clear. Lithium packs can burn: never charge one unattended, nor",
        "a swollen, hot or over-discharged one; unplug packs before working on wiring.",
        "",
    ]
    return "\n".join(lines)
