"""A contact that opens for moments does not explain itself: its falls stay out of the resistance.

The voltages are worked out here from Ohm's law alone, read at instants of their own and rounded.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from telemetry import review
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import EventKind, Level, Origin, Review

FloatArray = NDArray[np.float64]
GRID_S = 0.01
LEAD_OHM, BUS_OHM = 0.030, 0.040
U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741


@dataclass(frozen=True)
class Load:
    """Current of one panel on the fine grid, and where it is under load."""

    amps: FloatArray
    loaded: NDArray[np.bool_]


def wander(rng: np.random.Generator, n: int, tau_s: float) -> FloatArray:
    keep = float(np.exp(-GRID_S / tau_s))
    fresh = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], fresh, zi=[keep * rng.standard_normal()])[0])


def load(seed: int, flight_s: float) -> Load:
    """Rest, a stir of 14 s, rest, and then a flight (or none)."""
    rng = np.random.default_rng(seed)
    parts = [(20.0, False), (14.0, True), (15.0, False), (flight_s, True), (10.0, False)]
    amps, loaded = [], []
    for seconds, moving in parts:
        n = int(seconds / GRID_S)
        part = np.full(n, 0.25)
        if moving and seconds == 14.0:
            ripple = 1 + 0.3 * np.abs(np.sin(6 * GRID_S * np.arange(n)))
            part += 2.0 * (ripple + 0.25 * np.abs(wander(rng, n, 0.15)))
        elif moving:
            part += 1.5 * np.exp(0.7 * wander(rng, n, 4.0)) * np.abs(wander(rng, n, 0.25) + 0.5)
        amps.append(part)
        loaded.append(np.full(n, moving))
    return Load(np.concatenate(amps), np.concatenate(loaded))


def dips(seed: int, on: Load, *, count: int, ohm: float, lasting_s: float = 0.4) -> FloatArray:
    """Added resistance, Ohm: so many moments of bad contact, spread over the loaded time."""
    rng = np.random.default_rng(seed + 100)
    extra = np.zeros(on.amps.size)
    under_load = np.flatnonzero(on.loaded)
    long = int(lasting_s / GRID_S)
    for k in range(count):
        at = under_load[int((k + 0.4 + 0.2 * rng.random()) / count * (under_load.size - long))]
        extra[at : at + long] = ohm
    return extra


Make = Callable[..., Log]


@pytest.fixture
def made() -> Make:
    def make(
        seed: int, left: Load, right: Load, *, node: FloatArray | float = 0.0, bus: float = 0.0
    ) -> Log:
        rng = np.random.default_rng(seed)
        time = np.arange(left.amps.size) * GRID_S
        total = left.amps + right.amps + 0.3
        open_v = 8.2 - np.cumsum(total) * GRID_S / 3600 / 5 * 0.8
        bus_v = open_v - (BUS_OHM + bus) * total
        signals = {
            ("bus", U): (bus_v, 0.01),
            ("bus", I): (total, 0.05),
            ("left wing", U): (bus_v - (LEAD_OHM + node) * left.amps, 0.01),
            ("left wing", I): (left.amps, 0.05),
            ("right wing", U): (bus_v - LEAD_OHM * right.amps, 0.01),
            ("right wing", I): (right.amps, 0.05),
        }
        rows = np.arange(0.0, time[-1], 0.05)
        columns, channels = {}, []
        for (place, quantity), (signal, step) in signals.items():
            every = 0.2 if quantity is U else 0.25
            at = np.arange(rng.uniform(0, every), time[-1], every)
            read = np.interp(at, time, signal) + 0.3 * step * rng.standard_normal(at.size)
            key = f"{place}/{quantity}"
            told = np.full(rows.size, np.nan)
            told[np.searchsorted(rows, at).clip(max=rows.size - 1)] = np.round(read / step) * step
            columns[key] = told
            channels.append(Channel(key=key, column=key, quantity=quantity, place=place))
        return Log(
            frame=pd.DataFrame(columns, index=pd.Index(rows)),
            channels=tuple(channels),
            provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=rows.size),
        )

    return make


def branch(found: Review, place: str):
    (flight,) = found.flights
    return next(r for r in flight.resistances if r.place == place and r.kind == "branch")


def contact_falls(found: Review, place: str):
    (flight,) = found.flights
    return [
        e
        for e in flight.events
        if e.place == place and e.kind is EventKind.SAG and e.origin is Origin.CONTACT
    ]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_three_dips_in_one_stir_are_three_dips_and_no_resistance(made: Make, seed: int) -> None:
    left, right = load(seed, 0.0), load(seed + 50, 0.0)
    log = made(seed, left, right, node=dips(seed, left, count=3, ohm=0.45))
    found = review(log)
    r = branch(found, "left wing")
    assert r.mohm == pytest.approx(1000 * LEAD_OHM, rel=0.15)
    assert r.low_mohm <= 1000 * LEAD_OHM <= r.high_mohm
    assert len(contact_falls(found, "left wing")) == 3
    for e in contact_falls(found, "left wing"):
        assert e.explained < 0.3
        assert "outside such moments" in e.explained_by
    (finding,) = [f for f in found.findings if f.code == "sag-unexplained"]
    assert finding.place == "left wing"
    assert finding.level is Level.GROUND
    assert not contact_falls(found, "right wing")


@pytest.mark.parametrize("count", [8, 120])
def test_dips_all_through_a_flight_do_not_enter_the_resistance(made: Make, count: int) -> None:
    """From one to some twenty per cent of the time under load; a refusal is an answer, too."""
    measured = blamed = 0
    for seed in range(3):
        left, right = load(seed, 240.0), load(seed + 50, 240.0)
        log = made(seed, left, right, node=dips(seed, left, count=count, ohm=0.30))
        found = review(log)
        r = branch(found, "left wing")
        blamed += len(contact_falls(found, "left wing"))
        assert not contact_falls(found, "right wing")
        if r.mohm is not None:
            measured += 1
            assert r.mohm == pytest.approx(1000 * LEAD_OHM, rel=0.4)
            assert r.low_mohm <= 1.1 * 1000 * LEAD_OHM
            assert r.high_mohm >= 0.9 * 1000 * LEAD_OHM
    assert measured >= (3 if count == 8 else 1)
    assert blamed >= 1


def test_a_contact_that_opens_at_every_peak(made: Make) -> None:
    for seed in range(3):
        left, right = load(seed, 240.0), load(seed + 50, 240.0)
        peaks = left.amps > np.quantile(left.amps[left.loaded], 0.97)
        found = review(made(seed, left, right, node=np.where(peaks, 0.25, 0.0)))
        r = branch(found, "left wing")
        assert r.mohm == pytest.approx(1000 * LEAD_OHM, rel=0.3)
        assert contact_falls(found, "left wing")


def test_a_contact_open_at_every_hard_load_is_told_from_resistance_or_not_at_all(
    made: Make,
) -> None:
    """It must not be told as several times the resistance that explains the falls."""
    for seed in range(3):
        left, right = load(seed, 240.0), load(seed + 50, 240.0)
        hard = left.amps > np.quantile(left.amps[left.loaded], 0.85)
        rng = np.random.default_rng(seed)
        opened = np.repeat(0.12 + 0.4 * rng.random(left.amps.size // 20 + 1) ** 2, 20)
        found = review(made(seed, left, right, node=np.where(hard, opened[: hard.size], 0.0)))
        r = branch(found, "left wing")
        assert r.mohm is None or r.low_mohm <= 2000 * LEAD_OHM
        if r.mohm is None:
            events = [e for e in found.flights[0].events if e.place == "left wing"]
            assert all(e.explained is None for e in events if e.kind is not EventKind.SPIKE)


@pytest.mark.parametrize("flight_s", [0.0, 240.0])
def test_a_steady_resistance_is_measured_as_one(made: Make, flight_s: float) -> None:
    for seed in range(3):
        left, right = load(seed, flight_s), load(seed + 50, flight_s)
        found = review(made(seed, left, right, node=0.080))
        r = branch(found, "left wing")
        assert r.mohm == pytest.approx(110.0, rel=0.1)
        assert r.low_mohm <= 110.0 <= r.high_mohm
        assert r.left_out == ()
        assert not contact_falls(found, "left wing")


def test_dips_of_the_supply_do_not_enter_the_resistance_of_the_bus(made: Make) -> None:
    for seed in range(3):
        left, right = load(seed, 0.0), load(seed + 50, 0.0)
        log = made(seed, left, right, bus=dips(seed, left, count=3, ohm=0.15))
        (flight,) = review(log).flights
        bus = next(r for r in flight.resistances if r.place == "bus" and r.kind == "source")
        assert bus.low_mohm <= 1000 * BUS_OHM <= bus.high_mohm
        assert bus.high_mohm < 1200 * BUS_OHM
        sags = [e for e in flight.events if e.place == "bus" and e.kind is EventKind.SAG]
        assert len(sags) >= 3
        assert {e.origin for e in sags} <= {Origin.SUPPLY, Origin.UNKNOWN}
