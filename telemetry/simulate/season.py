"""A season: the same aircraft flight after flight, with days, weather, charging and faults."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator

from telemetry.simulate.faults import Fault
from telemetry.simulate.parts import AircraftModel
from telemetry.simulate.physics.motion import move
from telemetry.simulate.pilot import Pilot, usual_plan
from telemetry.simulate.recording import SimulatedRecording, simulate
from telemetry.simulate.telemetry.dialect import Dialect
from telemetry.simulate.telemetry.sensors import Telemetry


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """What a pilot usually does in a flying season; shares are chances per flight.

    Attributes
    ----------
    flight_s : float
        Usual length of a flight.
    flights_per_day, flights_per_charge : int
    stir, check, stir_after, power_cycle, pack_check : float
        Chances of a stir, a control check, a stir after landing, a power cycle on the ground, a
        redundancy check (only with two packs).
    ambient_c, ambient_spread_c : float
        Mean temperature, and how far days differ from it.
    """

    flight_s: float = 420.0
    flights_per_day: int = 3
    flights_per_charge: int = 2
    stir: float = 0.97
    check: float = 0.7
    stir_after: float = 0.25
    power_cycle: float = 0.05
    pack_check: float = 0.1
    ambient_c: float = 19.0
    ambient_spread_c: float = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedChange:
    """A harmless change from a flight on: nothing of it is a fault.

    Attributes
    ----------
    flight : int
        First flight with it.
    slower : float
        Factor on every update interval and on the row step.
    hardness : float
        Factor on how hard is flown, for this one flight.
    ambient_c : float or None
        Temperature of this one flight's day.
    """

    flight: int
    slower: float = 1.0
    hardness: float = 1.0
    ambient_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """Everything a season needs; the same season gives the same recordings.

    Attributes
    ----------
    aircraft : AircraftModel
    telemetry : Telemetry
    dialect : Dialect
        For writing; the recordings do not depend on it.
    pilot : Pilot
    seed : int
    flights : int
    faults : tuple of Fault
    changes : tuple of PlannedChange
    habits : Habits
    start : datetime
        Morning of the first flying day.
    dt_s : float
        Grid step.
    """

    aircraft: AircraftModel
    telemetry: Telemetry
    dialect: Dialect
    pilot: Pilot
    seed: int
    flights: int = 20
    faults: tuple[Fault, ...] = ()
    changes: tuple[PlannedChange, ...] = ()
    habits: Habits = field(default_factory=Habits)
    start: datetime = datetime(2026, 4, 4, 10, 0)
    dt_s: float = 0.01


def fly(season: Season) -> Iterator[SimulatedRecording]:
    """The season's recordings, one a flight, in order.

    Each flight draws from its own Generator (seed and number of the flight), each day from its
    own; only the packs' charge is carried from flight to flight.
    """
    charge: dict[str, float] = {}
    when = season.start
    for flight in range(1, season.flights + 1):
        rng = np.random.default_rng([season.seed, 2, flight])
        day_number, of_day = divmod(flight - 1, season.habits.flights_per_day)
        if of_day == 0:
            when = season.start + timedelta(days=7 * day_number, minutes=int(120 * rng.random()))
        if (flight - 1) % season.habits.flights_per_charge == 0 or not charge:
            charge = {p.name: 0.96 + 0.04 * float(rng.random()) for p in season.aircraft.packs}
        recording = fly_once(season, flight, day_number, when, charge, rng)
        charge = dict(recording.truth.charge_end)
        # A pack that was flown low by fault is charged by hand before it is flown again.
        charge = {name: max(0.45, left) for name, left in charge.items()}
        when += timedelta(minutes=35 + int(40 * rng.random()))
        yield recording


def fly_once(
    season: Season,
    flight: int,
    day_number: int,
    when: datetime,
    charge: dict[str, float],
    rng: Generator,
) -> SimulatedRecording:
    """One flight of a season; ``charge``, drawn from each pack, mAh, is carried on in place."""
    habits = season.habits
    of_day = np.random.default_rng([season.seed, 1, day_number])
    ambient = habits.ambient_c + habits.ambient_spread_c * float(of_day.standard_normal())
    day = season.pilot.day(of_day)
    # The mood of the day, a little different from flight to flight.
    day = replace(
        day,
        vigour=day.vigour * float(np.exp(0.03 * rng.standard_normal())),
        rhythm=day.rhythm * float(np.exp(0.05 * rng.standard_normal())),
    )
    telemetry = season.telemetry
    for change in season.changes:
        if flight >= change.flight and change.slower != 1.0:
            telemetry = slowed(telemetry, change.slower)
        if flight == change.flight:
            day = replace(day, hardness=day.hardness * change.hardness)
            ambient = ambient if change.ambient_c is None else change.ambient_c
    chance = rng.random(5)
    packs = tuple(p.name for p in season.aircraft.packs)
    plan = usual_plan(
        rng,
        season.pilot,
        flight_s=habits.flight_s,
        stirs=1 if chance[0] < habits.stir else 0,
        check=bool(chance[1] < habits.check),
        stir_after=bool(chance[2] < habits.stir_after),
        power_cycle=bool(chance[3] < habits.power_cycle),
        check_packs=packs if len(packs) == 2 and chance[4] < habits.pack_check else (),
    )
    motion = move(plan, season.pilot, day, rng, dt_s=season.dt_s)
    return simulate(
        season.aircraft,
        telemetry,
        motion,
        rng,
        faults=season.faults,
        flight=flight,
        charge=charge,
        ambient_c=ambient,
        start=when,
    )


def slowed(telemetry: Telemetry, factor: float) -> Telemetry:
    """The same telemetry with all intervals and the row step longer by a factor."""
    units = tuple(replace(u, interval_s=u.interval_s * factor) for u in telemetry.units)
    return replace(telemetry, units=units, row_s=telemetry.row_s * factor)
