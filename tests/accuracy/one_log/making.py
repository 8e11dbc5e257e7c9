"""The three makers of logs behind one record: what was planted, and what the log holds."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.random import Generator

from telemetry.simulate import Fault, FaultKind, SimulatedRecording, fly, write_csv
from tests.accuracy.one_log.kinds import SCENE, SUPPLY, Kind
from tests.simulated import scenes, supplies
from tests.simulated.cases import random_season
from tests.simulated.scenes import FloatArray

Logged = Mapping[tuple[str, str], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True, kw_only=True)
class Planted:
    """One log, what was planted in it, and what its maker knows.

    Attributes
    ----------
    kind : Kind
    path : Path
        The CSV file.
    where : str
        Place of the fault, "" where there is none.
    since_s, until_s, size, update_s : float
        Since and until when, how much in the maker's own unit, and the nodes' interval.
    takes_off_s, lands_s : float
        NaN where the maker does not say.
    moments : tuple of (float, float)
        Start and end of each dip, s.
    logged : mapping
        Times and values of the samples written, by place and quantity.
    lowest_v, charge : dict of str to float
        Lowest voltage that a place had in earnest, and charge of each pack at the start.
    one_lost_v : callable
        The lowest voltages of the same flight with either pack off from its start; empty where the
        maker cannot fly it so.
    """

    kind: Kind
    path: Path
    where: str = ""
    since_s: float = 0.0
    until_s: float = np.inf
    size: float = 0.0
    update_s: float
    takes_off_s: float = np.nan
    lands_s: float = np.nan
    moments: tuple[tuple[float, float], ...] = ()
    logged: Logged
    lowest_v: dict[str, float] = field(default_factory=dict)
    one_lost_v: Callable[[], dict[str, float]] = field(default=dict)
    charge: dict[str, float] = field(default_factory=dict)

    @property
    def places(self) -> tuple[str, ...]:
        """Where the fault may rightly be told."""
        own = (self.where,) if self.where else ()
        return tuple(dict.fromkeys((*own, *self.kind.places)))

    @property
    def nodes(self) -> tuple[str, ...]:
        """Places that are neither bus, pack nor a part of the supply."""
        apart = ("bus", "regulator", "pack", "receiver")
        return tuple({p: None for p, _ in self.logged if not p.startswith(apart)})

    @property
    def full(self) -> bool:
        """Whether voltage and current of bus and of every node are logged."""
        total = ("bus", "current") in self.logged or ("pack 1", "current") in self.logged
        own = all((p, q) in self.logged for p in self.nodes for q in ("voltage", "current"))
        return total and own and ("bus", "voltage") in self.logged


def plant(kind: Kind, seed: int, draw: int, update_s: float, folder: Path) -> Planted:
    """Draw one log of a kind and write it.

    Parameters
    ----------
    kind : Kind
    seed, draw : int
        The same numbers make the same log.
    update_s : float
    folder : Path
    """
    rng = np.random.default_rng([seed, draw, zlib.crc32(kind.name.encode())])
    path = folder / f"{kind.name} {seed}-{draw}.csv".replace(" ", "_")
    if kind.source == SCENE:
        return _of_scene(kind, rng, update_s, path)
    if kind.source == SUPPLY:
        return _of_supply(kind, rng, update_s, path)
    return _of_simulator(kind, rng, update_s, path)


def _of_scene(kind: Kind, rng: Generator, update_s: float, path: Path) -> Planted:
    style = str(rng.choice(scenes.HEALTHY)) if kind.sight else kind.plant
    fault = kind.plant if kind.sight else ""
    s = scenes.make(int(rng.integers(1 << 31)), style, fault, update_s=update_s)
    return Planted(
        kind=kind,
        path=s.write(path),
        where=s.where,
        since_s=s.since_s,
        until_s=s.until_s,
        size=s.size,
        update_s=update_s,
        takes_off_s=s.takes_off_s,
        lands_s=s.lands_s,
        logged=_titled(s.columns),
        lowest_v=_lowest(_titled(s.columns)),
    )


def _of_supply(kind: Kind, rng: Generator, update_s: float, path: Path) -> Planted:
    fault = kind.plant if kind.sight or kind.plant in supplies.HARMLESS else ""
    style = "sound" if fault else kind.plant
    drawn = int(rng.integers(1 << 31))
    s = supplies.make_supply(drawn, style, fault, update_s=update_s)

    def one_lost_v() -> dict[str, float]:
        each = [
            _lowest(
                _titled(
                    supplies.make_supply(drawn, style, fault, update_s=update_s, lost=k).columns
                )
            )
            for k in range(2)
        ]
        return {place: min(v, each[1].get(place, v)) for place, v in each[0].items()}

    return Planted(
        kind=kind,
        path=s.write(path),
        where=s.where if s.where in ("left wing", "pack 2") else "",
        since_s=s.since_s,
        update_s=update_s,
        logged=_titled(s.columns),
        lowest_v=_lowest(_titled(s.columns)),
        one_lost_v=one_lost_v,
        charge={f"pack {k}": p.charge for k, p in enumerate(s.packs, 1)},
    )


def _titled(columns: Mapping[str, FloatArray]) -> Logged:
    """Samples by place and quantity, from titles such as "Left wing voltage (V)"."""
    rows = columns["Time (s)"]
    out = {}
    for title, values in columns.items():
        *place, quantity = title.lower().rsplit(" (", 1)[0].split(" ")
        known = np.isfinite(values)
        out[" ".join(place), quantity] = (rows[known], values[known])
    return {key: series for key, series in out.items() if key[0]}


def _lowest(logged: Logged) -> dict[str, float]:
    """Lowest voltages: these makers' sensors are off by a few hundredths of a volt at most."""
    volts = {p: x[x > 0.5] for (p, q), (_, x) in logged.items() if q == "voltage"}
    return {p: float(x.min()) for p, x in volts.items() if x.size}


def _of_simulator(kind: Kind, rng: Generator, update_s: float, path: Path) -> Planted:
    fault = FaultKind(kind.plant) if kind.plant else None
    season = random_season(rng, fault, flights=1, dt_s=0.02, interval_s=update_s)
    season = replace(season, faults=tuple(_full_grown(f) for f in season.faults))
    recording = next(iter(fly(season)))
    write_csv(path, recording, dialect=season.dialect)
    truth, table = recording.truth, recording.table
    logged = {}
    for column in table.columns:
        known = np.isfinite(column.values)
        if column.cell is None and not column.hold:
            series = (table.time_s[known], column.values[known])
            logged[column.place, str(column.quantity)] = series
    faults = truth.faults if kind.sight else ()
    dips = [*truth.contacts, *(span for _, span in truth.outages)]
    return Planted(
        kind=kind,
        path=path,
        where=faults[0].place if faults else "",
        since_s=_since_s(fault, recording),
        size=faults[0].level if faults else 0.0,
        update_s=update_s,
        takes_off_s=truth.flights[0].start_s,
        lands_s=truth.flights[0].end_s,
        moments=tuple((d.start_s, d.end_s) for d in dips),
        logged=logged,
        lowest_v=dict(truth.lowest_v),
        charge=dict(truth.charge_start),
    )


def _full_grown(fault: Fault) -> Fault:
    """The fault as it is after a season: fourteen flights on, where it grows."""
    return replace(fault, onset=1, start=fault.start + 14 * fault.growth, growth=0.0, cured=None)


def _since_s(fault: FaultKind | None, recording: SimulatedRecording) -> float:
    """When the fault began, s: told by the true signals where it is not written down."""
    truth, signals, time_s = recording.truth, recording.signals, recording.time_s
    if fault is FaultKind.PACK_OUT:
        return truth.outages[0][1].start_s
    if fault is FaultKind.SERVO_SILENT:
        row = [s.name for s in recording.aircraft.servos].index(truth.faults[0].servo)
        drawing = np.flatnonzero(recording.servo.rated_a[row] > 0)
        return float(time_s[drawing[-1]])
    if fault is FaultKind.SWITCH_STEP:
        pack = truth.faults[0].place
        amps, lost = signals[f"{pack}/current"], signals[f"{pack}/voltage"] - signals["bus/voltage"]
        flown = [(time_s >= f.start_s) & (time_s < f.end_s) & (amps > 0.5) for f in truth.flights]
        at = np.flatnonzero(np.any(flown, axis=0))
        if at.size < 10:
            return float(time_s[-1])
        ohm = lost[at] / amps[at]
        return float(time_s[at[int(np.argmax(np.abs(ohm[5:] - ohm[:-5]))) + 3]])
    return 0.0
