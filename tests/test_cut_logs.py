"""Logs that begin or end in the air, come slowly, or lack columns: no part is accused for that."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from telemetry.app.pipeline import review
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import Level
from telemetry.simulate import Fault, FaultKind, PathKind, move, simulate, usual_plan
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft

AMPS = (Quantity.CURRENT, Quantity.CONSUMED)


def flown(seed: int, *faults: Fault) -> tuple[Log, float, float]:
    """A log of a random machine with two packs, and the start and end of its flight."""
    rng = np.random.default_rng([seed, 99])
    machine = random_aircraft(rng, packs=2, path=(PathKind.DIODE, PathKind.REGULATOR)[seed % 2])
    sensors = random_telemetry(rng, machine, interval_s=0.25)
    pilot = random_pilot(rng)
    motion = move(usual_plan(rng, pilot, flight_s=240), pilot, pilot.day(rng), rng, dt_s=0.02)
    recording = simulate(machine, sensors, motion, rng, faults=faults)
    table, air = recording.table, recording.truth.flights[0]
    log = Log(
        frame=pd.DataFrame(
            {c.key: c.values for c in table.columns}, index=table.time_s - table.time_s[0]
        ),
        channels=tuple(
            Channel(key=c.key, column=c.key, quantity=c.quantity, place=c.place, hold=c.hold)
            for c in table.columns
        ),
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=table.time_s.size),
    )
    return log, air.start_s, air.end_s


def part(log: Log, start_s: float, end_s: float) -> Log:
    rows = (log.time_s >= start_s) & (log.time_s < end_s)
    frame = log.frame[rows]
    return replace(log, frame=frame.set_axis(frame.index - frame.index[0]))


def a_second(log: Log) -> Log:
    """One row a second, each with the values known by then."""
    first = np.r_[True, np.floor(log.time_s[1:]) != np.floor(log.time_s[:-1])]
    return replace(log, frame=log.frame.ffill()[first])


def without(log: Log, *quantities: Quantity) -> Log:
    kept = tuple(c for c in log.channels if c.quantity not in quantities)
    return replace(log, frame=log.frame[[c.key for c in kept]], channels=kept)


def main_unit(log: Log) -> Log:
    """A single-cable layout: the main unit alone reports."""
    kept = tuple(
        c for c in log.channels if c.place in ("pack 1", "pack 2", "bus") or c.place is None
    )
    return replace(log, frame=log.frame[[c.key for c in kept]], channels=kept)


CUTS: dict[str, Callable[[Log, float, float], Log]] = {
    "begun in the air": lambda log, a, _: part(log, a + 40, np.inf),
    "ended in the air": lambda log, _, b: part(log, 0, b - 40),
    "in the air only": lambda log, a, b: part(log, a + 30, b - 30),
    "a row a second": lambda log, *_: a_second(log),
    "the main unit alone": lambda log, *_: main_unit(log),
}


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("cut", CUTS)
def test_a_cut_log_of_a_healthy_machine_accuses_nobody(seed: int, cut: str) -> None:
    seen = review(CUTS[cut](*flown(seed)))
    assert [(f.code, f.place) for f in seen.findings if f.level >= Level.WATCH] == []


@pytest.mark.parametrize("seed", [1, 2])
def test_without_a_current_the_log_cannot_say(seed: int) -> None:
    log, *_ = flown(seed)
    seen = review(without(log, *AMPS))
    assert seen.verdict is Level.UNKNOWN
    assert {f.code for f in seen.findings if f.level > Level.CLEAR} == {"log-too-thin"}


@pytest.mark.parametrize("cut", CUTS)
def test_a_pack_lost_in_the_air_is_found_in_a_cut_log(cut: str) -> None:
    lost = Fault(kind=FaultKind.PACK_OUT, place="pack 2", start=1.0)
    seen = review(CUTS[cut](*flown(2, lost)))
    assert ("pack-out", "pack 2", Level.GROUND) in [
        (f.code, f.place, f.level) for f in seen.findings
    ]
