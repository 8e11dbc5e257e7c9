"""Seasons behind one record: what is planted, and a log a flight with what its maker knows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft, Node, Pack, Servo
from telemetry.importer import read_log
from telemetry.results import PhaseKind
from telemetry.simulate import FaultKind, SimulatedRecording, write_csv
from telemetry.simulate.season import Season, fly
from tests.accuracy.many_flights.kinds import KINDS
from tests.fleet.season import fly_season
from tests.fleet.truth import HEALTHY
from tests.simulated.cases import random_season

FloatArray = NDArray[np.float64]
Span = tuple[float, float]
Logged = Mapping[tuple[str, str], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True, kw_only=True)
class FlightLog:
    """One flight as its maker wrote it.

    Attributes
    ----------
    path : Path
        The CSV file.
    logged : mapping
        Times, s, and values of the samples written, by place and quantity.
    stirs, air : tuple of (float, float)
        Stirs before the first take-off; stretches in the air, s.
    moments : tuple of (float, float)
        When a contact opened or a supply was lost, s.
    """

    path: Path
    logged: Logged
    stirs: tuple[Span, ...] = ()
    air: tuple[Span, ...] = ()
    moments: tuple[Span, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One season: what is planted in it, and how its logs are written.

    Attributes
    ----------
    kind : str
        Of the fault; "" in a healthy season.
    places : tuple of str
        Where it may rightly be told.
    control : str
        The control that moves the faulty servo; "" for other faults.
    onset, counts, gone : int or None
        First flight with it, from 1; first from which it counts; first without it again.
    profile : Aircraft or None
        What a careful pilot wrote down.
    parents : dict of str to str
        What feeds each node.
    visible : tuple of int or None
        Flights whose logged samples show the fault, where the maker says so.
    """

    kind: str
    places: tuple[str, ...] = ()
    control: str = ""
    onset: int | None = None
    counts: int | None = None
    gone: int | None = None
    profile: Aircraft | None = None
    parents: Mapping[str, str]
    visible: tuple[int, ...] | None = None


#: The logs of a season in order. With True those of its healthy twin, the same season without the
#: fault, which are not written; none where the maker says itself what shows.
Logs = Callable[[bool], Iterator[FlightLog]]


def own_season(kind: str, seed: int, flights: int, after: int, folder: Path) -> tuple[Drawn, Logs]:
    """A season of the project's simulator: random aircraft, sensors, dialect, pilot and weather.

    Parameters
    ----------
    kind : str
        A kind of fault; "" gives a healthy season.
    seed : int
    flights : int
        Flights of the season as it is drawn: onset and growth depend on it.
    after : int
        Flights that are flown besides with the fault gone, as if it had been put right.
    folder : Path
        For the logs.
    """
    drawn, season = _of_simulator(kind, seed, flights, after)

    def logs(healthy: bool) -> Iterator[FlightLog]:
        flown = replace(season, faults=()) if healthy else season
        for k, recording in enumerate(fly(flown), 1):
            yield _written(recording, season, folder / f"flight {k}.csv", write=not healthy)

    return drawn, logs


def light_season(kind: str, seed: int, flights: int) -> tuple[Drawn, Season]:
    """A season for a run without files: nodes report their currents."""
    return _of_simulator(kind, seed, flights, 0, currents=True)


def _of_simulator(
    kind: str, seed: int, flights: int, after: int, *, currents: bool | None = None
) -> tuple[Drawn, Season]:
    fault_kind = FaultKind(kind) if kind else None
    number = 0 if fault_kind is None else 1 + list(FaultKind).index(fault_kind)
    rng = np.random.default_rng([seed, number])
    currents = True if currents or "servo" in kind else None
    season = random_season(rng, fault_kind, flights=flights, node_currents=currents)
    profile = profile_of(season) if rng.random() < 0.5 else None
    fault = season.faults[0] if season.faults else None
    gone = None if fault is None else fault.cured
    counts = None
    if fault is not None:
        least = KINDS[kind].counts_from or 1e-9
        counts = next((k for k in range(1, 99) if abs(fault.level(k)) >= least), None)
        if gone is None and after:
            gone = flights + 1
            mended = (replace(fault, cured=gone),)
            season = replace(season, faults=mended, flights=flights + after)
    craft = season.aircraft
    drawn = Drawn(
        kind=kind,
        places=() if fault is None else (fault.place,),
        control="" if fault is None or not fault.servo else craft.servo(fault.servo).control,
        onset=None if fault is None else fault.onset,
        counts=counts,
        gone=gone,
        profile=profile,
        parents={n.name: n.fed_from for n in craft.nodes},
    )
    return drawn, season


def fleet_season(
    kind: str, seed: int, flights: int, after: int, folder: Path
) -> tuple[Drawn, Logs]:
    """A season of ``tests/fleet``, which shares no physics with the project's simulator.

    Parameters as of :func:`own_season`; its faults go by themselves or not at all, so none is put
    right afterwards. A fault counts from the first flight that shows it, or, where none does, from
    its onset.
    """
    truth = fly_season(kind or HEALTHY, seed, folder, flights)
    channels = [c for path in truth.files[:1] for c in read_log(path).channels]
    # The log's own words, as the program reads them.
    places = tuple(dict.fromkeys(c.place for c in channels if c.column in truth.columns))
    drawn = Drawn(
        kind=kind,
        places=places,
        control=truth.servo,
        onset=truth.onset,
        counts=truth.visible_from or truth.onset,
        gone=truth.gone_at,
        parents={},
        visible=truth.visible,
    )

    def logs(healthy: bool) -> Iterator[FlightLog]:
        for path in () if healthy else truth.files:
            yield FlightLog(path=path, logged={})

    return drawn, logs


def _written(recording: SimulatedRecording, season: Season, path: Path, write: bool) -> FlightLog:
    if write:
        write_csv(path, recording, dialect=season.dialect)
    truth, table = recording.truth, recording.table
    logged = {}
    for column in table.columns:
        known = np.isfinite(column.values)
        if column.cell is None:
            series = (table.time_s[known], column.values[known])
            # The unit's own minimum is another quantity.
            logged[column.place, "lowest" if column.hold else str(column.quantity)] = series
    air = [(p.start_s, p.end_s) for p in truth.phases if p.kind is PhaseKind.FLIGHT]
    takes_off = air[0][0] if air else np.inf
    stirs = [(p.start_s, p.end_s) for p in truth.phases if p.kind is PhaseKind.STIR]
    dips = [*truth.contacts, *(span for _, span in truth.outages)]
    return FlightLog(
        path=path,
        logged=logged,
        stirs=tuple(s for s in stirs if s[0] < takes_off),
        air=tuple(air),
        moments=tuple((d.start_s, d.end_s) for d in dips),
    )


def profile_of(season: Season) -> Aircraft:
    """What a careful user writes down: who feeds whom, which output drives what."""
    craft = season.aircraft
    nodes = tuple(
        Node(name=n.name, fed_from=n.fed_from, servos=len(craft.servos_of(n.name)) or None)
        for n in craft.nodes
    )
    outputs: dict[str, int] = {}
    servos = []
    for s in craft.servos:
        outputs[s.node] = outputs.get(s.node, 0) + 1
        servos.append(Servo(node=s.node, output=outputs[s.node], drives=s.control))
    packs = tuple(Pack(name=p.name, capacity_mah=p.capacity_mah) for p in craft.packs)
    return Aircraft(name="bench", bus="bus", packs=packs, nodes=nodes, servos=tuple(servos))
