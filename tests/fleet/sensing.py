"""Sensors that are asked in turn: what of the true signals reaches the transmitter, and when.

A unit answers in its slot with readings that it took a moment before, averaged over its own
window, quantised, off by its gain and offset. It may skip its turn, or be silent for seconds; the
whole link may be lost. The transmitter writes rows at its own pace and holds what it last heard,
or writes a row for what comes and leaves the rest blank.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.fleet.aircraft import Aircraft

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """One reading of one unit; the unit is named by the place that it sits in."""

    place: str
    quantity: str
    step: float
    window_s: float
    noise: float
    gain: float = 1.0
    offset: float = 0.0
    cycle: int = 1  # reported in every so many turns of its unit

    @property
    def key(self) -> str:
        return f"{self.place}/{self.quantity}"


@dataclass(frozen=True, kw_only=True)
class Rig:
    """What an aircraft logs, and how its units are asked."""

    sensors: tuple[Sensor, ...]
    units: tuple[str, ...]  # in the order asked; a unit may have several turns
    slot_s: float
    skips: float  # part of turns that are skipped
    lag_s: float
    rows: str  # "held" at a fixed pace, "news" with blanks, "news held"
    row_s: float
    controls: tuple[str, ...]
    height: bool
    link: bool

    def of(self, unit: str) -> tuple[Sensor, ...]:
        return tuple(s for s in self.sensors if _unit(s.place) == unit)

    def slower(self, factor: float) -> Rig:
        """The same after a change in the transmitter."""
        return replace(self, slot_s=self.slot_s * factor, row_s=self.row_s * factor)


@dataclass(frozen=True, kw_only=True)
class Heard:
    """Readings of one sensor: times at which the transmitter had them, and values."""

    time_s: FloatArray
    taken_s: FloatArray  # middle of the window that each was averaged over
    values: FloatArray


def _unit(place: str) -> str:
    return "bus" if place.startswith("pack") or place == "bus" else place


def random_rig(
    rng: Generator, aircraft: Aircraft, *, nodes: str | None = None, packs: bool | None = None
) -> Rig:
    """A rig drawn at random.

    ``nodes`` says what nodes report: "both", "volts", "nothing"; ``packs`` whether packs do.
    """
    nodes = nodes or str(rng.choice(["both", "both", "both", "volts"]))
    packs = bool(rng.random() < 0.8) if packs is None else packs
    step_v = float(rng.choice([0.01, 0.01, 0.02, 0.05]))
    step_a = float(rng.choice([0.01, 0.02, 0.05, 0.1]))
    window = float(rng.choice([0.02, 0.1, 0.3]))

    def volts(place: str) -> Sensor:
        return Sensor(
            place=place,
            quantity="voltage",
            step=step_v,
            window_s=min(window, 0.1),
            noise=0.003,
            gain=1 + 0.002 * rng.normal(),
            offset=0.008 * rng.normal(),
        )

    def amps(place: str) -> Sensor:
        return Sensor(
            place=place,
            quantity="current",
            step=step_a,
            window_s=window,
            noise=0.005,
            gain=1 + 0.01 * rng.normal(),
            offset=0.01 * rng.normal(),
        )

    def slow(place: str, quantity: str) -> Sensor:
        return Sensor(place=place, quantity=quantity, step=1.0, window_s=0.02, noise=0.0, cycle=4)

    sensors = [volts("bus"), amps("bus")]
    for pack in aircraft.sets[0]:
        if packs:
            sensors += [volts(pack.name)]
            sensors += [amps(pack.name)] if len(aircraft.sets[0]) > 1 else []
            sensors += [slow(pack.name, "consumed")]
    warm, charge = rng.random() < 0.5, rng.random() < 0.3
    places = [n.name for n in aircraft.nodes if n.name != "main" and nodes != "nothing"]
    for place in places:
        sensors += [volts(place)] + ([amps(place)] if nodes == "both" else [])
        sensors += [slow(place, "temperature")] if warm else []
        sensors += [slow(place, "consumed")] if charge and nodes == "both" else []
    if warm:
        sensors.append(slow("bus", "temperature"))
    busy = [n for name in ("bus", *places) for n in [name] * (2 if name == "bus" else 1)]
    order = tuple(str(x) for x in rng.permutation(busy))
    return Rig(
        sensors=tuple(sensors),
        units=order,
        slot_s=float(rng.uniform(0.04, 0.16)),
        skips=float(rng.uniform(0.02, 0.15)),
        lag_s=float(rng.uniform(0.0, 0.25)),
        rows=str(rng.choice(["held", "held", "news", "news held"])),
        row_s=float(rng.choice([0.1, 0.2, 0.25, 0.5])),
        controls=tuple(
            x for x in ("aileron", "elevator", "rudder", "throttle") if rng.random() < 0.75
        )
        if rng.random() < 0.6
        else (),
        height=bool(rng.random() < 0.3),
        link=bool(rng.random() < 0.3),
    )


def listen(
    rng: Generator, rig: Rig, time_s: FloatArray, truth: Mapping[str, FloatArray]
) -> dict[str, Heard]:
    """What is heard of the true signals, by key of the sensor."""
    dt, last = time_s[1] - time_s[0], time_s[-1]
    slots = np.arange(int(last / rig.slot_s)) * rig.slot_s
    slots = slots + 0.2 * rig.slot_s * rng.random(len(slots))
    asked = np.arange(len(slots)) % len(rig.units)
    kept = (rng.random(len(slots)) >= rig.skips) & ~_lost(rng, slots, last)
    heard = {}
    sums = {k: np.concatenate([[0.0], np.cumsum(x)]) for k, x in truth.items()}
    for unit in dict.fromkeys(rig.units):
        turns = [i for i, name in enumerate(rig.units) if name == unit]
        own = kept & np.isin(asked, turns) & ~_silent(rng, slots, last)
        at = slots[own]
        for n, sensor in enumerate(rig.of(unit)):
            times = at[n % sensor.cycle :: sensor.cycle] if sensor.cycle > 1 else at
            end = np.clip(((times - rig.lag_s) / dt).astype(int), 1, len(time_s) - 1)
            wide = max(1, round(sensor.window_s / dt))
            start = np.maximum(end - wide, 0)
            total = sums[sensor.key]
            means = (total[end] - total[start]) / (end - start)
            values = sensor.gain * means + sensor.offset
            values = values + sensor.noise * rng.standard_normal(len(means))
            heard[sensor.key] = Heard(
                time_s=times,
                taken_s=0.5 * (time_s[end] + time_s[start]),
                values=np.round(values / sensor.step) * sensor.step,
            )
    return heard


def _lost(rng: Generator, slots: FloatArray, last: float) -> NDArray[np.bool_]:
    """The whole link is lost for some seconds of some flights."""
    if rng.random() > 0.25:
        return np.zeros(len(slots), dtype=bool)
    at, lasts = rng.uniform(0.2, 0.9) * last, rng.uniform(1.0, 6.0)
    return np.asarray((slots > at) & (slots < at + lasts))


def _silent(rng: Generator, slots: FloatArray, last: float) -> NDArray[np.bool_]:
    """One unit misses its turns for some seconds now and then."""
    gone = np.zeros(len(slots), dtype=bool)
    for _ in range(int(rng.poisson(0.3))):
        at, lasts = rng.uniform(0.1, 0.95) * last, rng.uniform(1.0, 4.0)
        gone |= (slots > at) & (slots < at + lasts)
    return gone


def rows(
    rng: Generator, rig: Rig, heard: Mapping[str, Heard], last_s: float
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Times of the log's rows, and what stands in each column; NaN is a blank."""
    news = np.unique(np.concatenate([h.time_s for h in heard.values()]))
    if rig.rows == "held":
        at = np.arange(news[0], last_s, rig.row_s)
        # Without a link the transmitter writes nothing.
        ahead = np.minimum(np.searchsorted(news, at), len(news) - 1)
        behind = np.maximum(ahead - 1, 0)
        at = at[(news[ahead] - news[behind] < 1.0) | (at - news[behind] < 0.5)]
    else:
        at = news
    columns = {}
    for key, h in heard.items():
        index = np.searchsorted(h.time_s, at, side="right") - 1
        values = np.where(index >= 0, h.values[np.maximum(index, 0)], np.nan)
        if rig.rows == "news":
            values = np.where(h.time_s[np.maximum(index, 0)] == at, values, np.nan)
        columns[key] = values
    return at, columns
