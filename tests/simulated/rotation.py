"""Seasons in which sets of packs take turns: each with its own resistance, charge and faults."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np

from telemetry.simulate.faults import Fault
from telemetry.simulate.parts import PackModel
from telemetry.simulate.recording import SimulatedRecording
from telemetry.simulate.season import PlannedChange, Season, fly_once


@dataclass(frozen=True, kw_only=True)
class Rotation:
    """A season flown with several sets of packs.

    Attributes
    ----------
    season : Season
        Its own faults are none of packs.
    sets : tuple of tuple of PackModel
        The packs of each set, under the names of their places.
    faults : mapping of int to tuple of Fault
        By set, from 0.
    ambient_c : callable or None
        Temperature of a flight, by its number from 1.
    turn : callable or None
        The set of a flight, by its number from 1; one after the other where not given.
    """

    season: Season
    sets: tuple[tuple[PackModel, ...], ...]
    faults: Mapping[int, tuple[Fault, ...]] = field(default_factory=dict)
    ambient_c: Callable[[int], float] | None = None
    turn: Callable[[int], int] | None = None

    def set_of(self, flight: int) -> int:
        """The set of a flight, by its number from 1."""
        return (flight - 1) % len(self.sets) if self.turn is None else self.turn(flight)


def like_sets(
    rng: np.random.Generator, packs: tuple[PackModel, ...], sets: int, spread: float = 0.06
) -> tuple[tuple[PackModel, ...], ...]:
    """Sets of packs of one make: their resistances differ by so much, relative."""
    return tuple(
        tuple(replace(p, age=p.age * float(np.exp(spread * rng.standard_normal()))) for p in packs)
        for _ in range(sets)
    )


def fly_sets(rotation: Rotation) -> Iterator[SimulatedRecording]:
    """The recordings, one a flight; every set is charged before each of its flights."""
    season = rotation.season
    when = season.start
    for flight in range(1, season.flights + 1):
        rng = np.random.default_rng([season.seed, 2, flight])
        day, of_day = divmod(flight - 1, season.habits.flights_per_day)
        if of_day == 0:
            when = season.start + timedelta(days=7 * day, minutes=int(120 * rng.random()))
        own = rotation.set_of(flight)
        changes = tuple(c for c in season.changes if c.ambient_c is None)
        if rotation.ambient_c is not None:
            changes += (PlannedChange(flight=flight, ambient_c=rotation.ambient_c(flight)),)
        flown = replace(
            season,
            aircraft=replace(season.aircraft, packs=rotation.sets[own]),
            faults=(*season.faults, *rotation.faults.get(own, ())),
            changes=changes,
        )
        charge = {p.name: 0.96 + 0.04 * float(rng.random()) for p in rotation.sets[own]}
        yield fly_once(flown, flight, day, when, charge, rng)
        when += timedelta(minutes=35 + int(40 * rng.random()))
