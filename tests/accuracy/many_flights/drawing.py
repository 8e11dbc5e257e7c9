"""Seasons behind one record: what is planted, and a log a flight with what its maker knows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft, Node, Pack, Servo
from telemetry.results import PhaseKind
from telemetry.simulate import FaultKind, SimulatedRecording, write_csv
from telemetry.simulate.season import Season, fly
from tests.accuracy.many_flights.kinds import KINDS
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
    flights : callable
        The logs in order, into a folder. With True the healthy twin: the same season without the
        fault.
    """

    kind: str
    places: tuple[str, ...] = ()
    control: str = ""
    onset: int | None = None
    counts: int | None = None
    gone: int | None = None
    profile: Aircraft | None = None
    parents: Mapping[str, str]
    flights: Callable[[Path, bool], Iterator[FlightLog]]


def own_season(kind: str, seed: int, *, flights: int = 20, after: int = 0) -> Drawn:
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
    """
    season, rng = _season(kind, seed, flights)
    profile = profile_of(season) if rng.random() < 0.5 else None
    fault = season.faults[0] if season.faults else None
    gone = None if fault is None else fault.cured
    if fault is not None and gone is None and after:
        gone = flights + 1
        mended = (replace(fault, cured=gone),)
        season = replace(season, faults=mended, flights=flights + after)
    counts = None
    if fault is not None:
        least = KINDS[kind].counts_from or 1e-9
        counts = next((k for k in range(1, 99) if abs(fault.level(k)) >= least), None)
    craft = season.aircraft

    def written(folder: Path, healthy: bool) -> Iterator[FlightLog]:
        flown = replace(season, faults=()) if healthy else season
        for k, recording in enumerate(fly(flown), 1):
            yield _written(recording, season, folder / f"flight {k}.csv", write=not healthy)

    return Drawn(
        kind=kind,
        places=() if fault is None else (fault.place,),
        control="" if fault is None or not fault.servo else craft.servo(fault.servo).control,
        onset=None if fault is None else fault.onset,
        counts=counts,
        gone=gone,
        profile=profile,
        parents={n.name: n.fed_from for n in craft.nodes},
        flights=written,
    )


def light_season(kind: str, seed: int, flights: int = 20) -> tuple[Season, Aircraft | None]:
    """The season drawn for a run without files: nodes report their currents."""
    season, rng = _season(kind, seed, flights, currents=True)
    return season, profile_of(season) if rng.random() < 0.5 else None


def _season(
    kind: str, seed: int, flights: int, *, currents: bool | None = None
) -> tuple[Season, np.random.Generator]:
    fault = FaultKind(kind) if kind else None
    rng = np.random.default_rng([seed, 0 if fault is None else 1 + list(FaultKind).index(fault)])
    currents = True if currents or "servo" in kind else None
    return random_season(rng, fault, flights=flights, node_currents=currents), rng


def _written(recording: SimulatedRecording, season: Season, path: Path, write: bool) -> FlightLog:
    if write:
        write_csv(path, recording, dialect=season.dialect)
    truth, table = recording.truth, recording.table
    logged = {}
    for column in table.columns:
        known = np.isfinite(column.values)
        if column.cell is None and not column.hold:
            series = (table.time_s[known], column.values[known])
            logged[column.place, str(column.quantity)] = series
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
