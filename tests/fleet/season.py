"""Whole seasons of invented aircraft as CSV files, by a simulator apart from the program.

    truth = fly_season("connector", seed=1, folder=Path("season"))

Nothing in it comes from ``telemetry``: other laws of current, other sensors, other words and other
wear than those of ``telemetry.simulate`` and ``tests/simulated``. No limit of the program may be
set by it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.fleet.aircraft import STYLES_OF, TYPES, Aircraft, random_aircraft
from tests.fleet.faults import AT_A_NODE, SHAPES, Fault, random_fault, wrong_rig, wrong_today
from tests.fleet.flying import Day, Flown, Wrong, fly
from tests.fleet.labels import Labels, random_labels
from tests.fleet.oracle import Evidence, evidence, visible_flights
from tests.fleet.pilots import DT_S, Hand, Outing, outing, random_hand
from tests.fleet.sensing import Heard, Rig, listen, random_rig, rows
from tests.fleet.truth import HEALTHY, KINDS, Truth
from tests.fleet.wear import Wear, random_wear
from tests.fleet.writing import write

FloatArray = NDArray[np.float64]

FLIGHTS = (20, 20, 20, 25, 30, 40)


@dataclass(frozen=True, kw_only=True)
class Season:
    """Everything that is drawn before the first flight."""

    kind: str
    seed: int
    aircraft: Aircraft
    rig: Rig
    slower_from: int  # flight from which the telemetry has another pace
    pace: float
    labels: Labels
    hands: tuple[Hand, ...]  # of each flight
    starts: tuple[datetime, ...]
    air_c: tuple[float, ...]
    same_charge: tuple[bool, ...]
    sets_told: bool
    fault: Fault | None
    wear: Wear | None

    @property
    def flights(self) -> int:
        return len(self.starts)

    def level(self, flight: int) -> float:
        return 0.0 if self.wear is None else self.wear.level(flight)

    def pack_set(self, flight: int) -> int:
        return (flight - 1) % len(self.aircraft.sets)


@dataclass(frozen=True, kw_only=True)
class Recording:
    """One flight: what was true, what would have been without the fault, what was heard."""

    flight: int
    outing: Outing
    flown: Flown
    sound: Flown
    rig: Rig  # as it is that day, with its fault
    heard: dict[str, Heard]


def random_season(kind: str, seed: int, flights: int | None = None) -> Season:
    """A season drawn at random: aircraft, rig, words, pilots, weather, and the fault's course."""
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is none of {', '.join(KINDS)}")
    rng = np.random.default_rng([seed, KINDS.index(kind), 7])
    n = flights or int(rng.choice(FLIGHTS))
    aircraft, rig = _fit(rng, kind)
    styles = STYLES_OF[aircraft.kind]
    first = random_hand(rng, str(rng.choice(styles)))
    other = random_hand(rng, str(rng.choice(styles)))
    changes = rng.random() < 0.3
    guest = rng.random(n) < (0.5 if changes else 0.0)
    guest &= np.arange(n) >= int(rng.integers(n // 3, n))
    days = np.cumsum(rng.choice([0, 0, 3, 7, 7, 14], n))
    air = 14.0 + 11.0 * np.sin(2 * np.pi * (days + rng.integers(365)) / 365.0)
    # Flights of one day have its weather.
    weather = {int(d): 3.5 * rng.normal() for d in days}
    air_c = tuple(float(a + weather[int(d)]) for a, d in zip(air, days, strict=True))
    begun = datetime(2025, 1, 1, 10) + timedelta(days=int(rng.integers(300)))
    of_day = [int(np.sum(days[:i] == d)) for i, d in enumerate(days)]
    fault = wear = None
    if kind != HEALTHY:
        fault = random_fault(rng, kind, aircraft)
        wear = random_wear(rng, n, air_c, SHAPES[kind])
        if kind in ("servo-silent", "pack-out"):
            wear = replace(wear, levels=tuple(float(x > 0) for x in wear.levels))
    return Season(
        kind=kind,
        seed=seed,
        aircraft=aircraft,
        rig=rig,
        slower_from=int(rng.integers(n // 3, n)) if rng.random() < 0.3 else n + 1,
        pace=float(rng.choice([0.6, 1.7, 2.5])),
        labels=random_labels(rng),
        hands=tuple(other if g else first for g in guest),
        starts=tuple(
            begun + timedelta(days=int(d), minutes=37 * k)
            for d, k in zip(days, of_day, strict=True)
        ),
        air_c=air_c,
        same_charge=tuple(bool(x) for x in (rng.random(n) < 0.2)),
        sets_told=bool(rng.random() < 0.5),
        fault=fault,
        wear=wear,
    )


def _fit(rng: Generator, kind: str) -> tuple[Aircraft, Rig]:
    """An aircraft and a rig on which a fault of this kind can be, and can leave a trace."""
    types = [t for t in TYPES if kind not in AT_A_NODE or t != "trainer"]
    supply = "regulated" if kind == "regulator-droop" else None
    if kind in ("packs-ageing", "pack-weak", "pack-set-weak"):
        supply = str(rng.choice(["lipo", "liion", "life"]))
    packs = 2 if kind in ("pack-weak", "pack-out", "packs-ageing") else None
    sets = {"pack-weak": 1, "pack-out": 1, "pack-set-weak": 3}.get(kind)
    aircraft = random_aircraft(
        rng, kind=str(rng.choice(types)), supply=supply, packs=packs, sets=sets
    )
    nodes = None
    if kind.startswith("servo") or kind == "sensor-gain":
        nodes = "both"
    logs_packs = True if "pack" in kind or kind == "regulator-droop" else None
    return aircraft, random_rig(rng, aircraft, nodes=nodes, packs=logs_packs)


def record(season: Season, flight: int) -> Recording:
    """Fly one flight of a season, with its fault and without, and listen to it."""

    def stream(what: int) -> Generator:
        return np.random.default_rng([season.seed, KINDS.index(season.kind), 11, flight, what])

    out = outing(
        stream(1),
        season.hands[flight - 1],
        flight_s=float(stream(2).uniform(180.0, 400.0)),
        checks=bool(len(season.aircraft.paths) > 1 and stream(3).random() < 0.25),
        rests=bool(stream(4).random() < 0.85),
    )
    day = _day(season, flight, out, stream(5))
    level, wrong, rig = season.level(flight), Wrong(), season.rig
    if season.fault is not None and season.wear is not None:
        wrong = wrong_today(
            stream(6),
            season.fault,
            level,
            out,
            pack_set=season.pack_set(flight),
            first=flight == season.wear.onset,
        )
        rig = wrong_rig(rig, season.fault, level)
    sound = fly(season.aircraft, out, day, Wrong())
    flown = sound if level == 0.0 else fly(season.aircraft, out, day, wrong)
    if flight >= season.slower_from:
        rig = rig.slower(season.pace)
    return Recording(
        flight=flight,
        outing=out,
        flown=flown,
        sound=sound,
        rig=rig,
        heard=listen(stream(8), rig, out.time_s, flown.signals),
    )


def _day(season: Season, flight: int, out: Outing, rng: Generator) -> Day:
    air_c = season.air_c[flight - 1]
    left = float(np.clip(0.97 + 0.02 * rng.normal(), 0.85, 1.0))
    if season.same_charge[flight - 1]:
        left -= float(rng.uniform(0.12, 0.3))
    packs = season.aircraft.sets[season.pack_set(flight)]
    n = len(out.time_s)
    gusts = {}
    for node in season.aircraft.nodes:
        keep = float(np.exp(-DT_S / 0.3))
        x = rng.standard_normal(n) * np.sqrt((1 + keep) / (1 - keep))
        gusts[node.name] = _smooth(x, keep)
    return Day(
        air_c=air_c,
        # Packs come from the house or the car; in the fuselage they warm a little.
        pack_c=float(0.7 * air_c + 0.3 * 21.0 + 4.0 + rng.normal()),
        packs=tuple(replace(p, left=left + 0.002 * rng.normal()) for p in packs),
        plugs_ohm={
            node.name: 0.0008 * abs(float(rng.standard_t(5))) for node in season.aircraft.nodes
        },
        gusts=gusts,
    )


def _smooth(x: FloatArray, keep: float) -> FloatArray:
    return np.asarray(lfilter([1 - keep], [1, -keep], x))


def recordings(season: Season) -> Iterator[Recording]:
    """All flights of a season in their order, one at a time."""
    for flight in range(1, season.flights + 1):
        yield record(season, flight)


def fly_season(kind: str, seed: int, folder: Path, flights: int | None = None) -> Truth:
    """Fly one season and write its logs into a folder.

    Parameters
    ----------
    kind : str
        One of ``KINDS``.
    seed : int
        The same seed gives the same files, byte for byte.
    folder : Path
        Made if missing; takes one CSV file a flight.
    flights : int or None
        20 to 100; drawn where None.

    Returns
    -------
    Truth

    Raises
    ------
    ValueError
        On an unknown kind.
    """
    season = random_season(kind, seed, flights)
    folder.mkdir(parents=True, exist_ok=True)
    files, seen = [], []
    for recording in recordings(season):
        files.append(write_log(season, recording, folder))
        seen.append(evidence(season.fault, season.aircraft, recording))
    return _truth(season, tuple(files), seen)


def _truth(season: Season, files: tuple[Path, ...], seen: list[Evidence | None]) -> Truth:
    fault, wear = season.fault, season.wear
    if fault is None or wear is None:
        return Truth(kind=season.kind, aircraft=season.aircraft.kind, files=files)
    places = [fault.place]
    if fault.kind in ("packs-ageing", "pack-set-weak"):
        places = [*(p.name for p in season.aircraft.sets[0]), "bus"]
    visible = visible_flights(
        fault, seen, tuple(season.level(k) for k in range(1, season.flights + 1))
    )
    servo = ""
    if fault.servo is not None:
        servo = season.aircraft.node(fault.place).servos[fault.servo].drives
    return Truth(
        kind=season.kind,
        aircraft=season.aircraft.kind,
        place=season.labels.place(fault.place),
        columns=tuple(
            season.labels.header(s.place, s.quantity)
            for s in season.rig.sensors
            if s.place in places
        ),
        servo=servo,
        onset=wear.onset,
        gone_at=wear.gone_at,
        visible_from=visible[0] if visible else None,
        visible=visible,
        shape=wear.shape,
        files=files,
    )


def write_log(season: Season, recording: Recording, folder: Path) -> Path:
    """Write what the transmitter noted of one flight."""
    k, out, rig = recording.flight, recording.outing, recording.rig
    rng = np.random.default_rng([season.seed, KINDS.index(season.kind), 13, k])
    at, heard = rows(rng, rig, recording.heard, float(out.time_s[-1]))
    columns = {s.key: (heard[s.key], s.step) for s in rig.sensors}
    now = np.clip((at / DT_S).astype(int), 0, len(out.time_s) - 1)
    for axis in rig.controls:
        columns[f"{axis}/control"] = (np.round(100 * out.sticks[axis][now]), 1.0)
    if rig.height:
        columns["radio/height"] = (np.round(out.height_m[now]), 1.0)
    if rig.link:
        columns["radio/link"] = (np.clip(np.round(98 + 2 * rng.normal(size=len(at))), 0, 100), 1.0)
    start = season.starts[k - 1]
    about = {"Aircraft": f"{season.aircraft.kind} {season.seed % 97}"}
    if season.sets_told and len(season.aircraft.sets) > 1:
        about["Pack set"] = "ABC"[season.pack_set(k)]
    path = folder / f"{start:%Y-%m-%d} flight {k:03d}.csv"
    write(path, season.labels, at, columns, start=start, about=about)
    return path
