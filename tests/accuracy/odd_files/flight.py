"""Random flights of random aircraft, with the truth of every column.

A small physical model of its own, apart from ``telemetry.simulate``: packs with a resistance, a
switch or a regulator behind each, one bus, a lead and a connector to each node, servos whose
current follows how fast and how far the sticks move. All numbers are common practice, without a
source. Nothing of it is read from the project.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Distance of the samples of the model, s.
STEP_S = 0.02
STICKS = ("aileron", "elevator", "rudder", "throttle")
#: What moves the servos of a node, in shares of its current.
MOVED_BY = {
    "left wing": (0.8, 0.0, 0.1, 0.0),
    "right wing": (0.8, 0.0, 0.1, 0.0),
    "tail": (0.0, 0.7, 0.5, 0.0),
    "fuselage": (0.1, 0.2, 0.2, 0.3),
    "left wing outer": (1.0, 0.0, 0.0, 0.0),
    "right wing outer": (1.0, 0.0, 0.0, 0.0),
}
LAYOUTS = (
    ("left wing", "right wing"),
    ("left wing", "right wing", "tail"),
    ("left wing", "right wing", "tail", "fuselage"),
    ("left wing", "right wing", "left wing outer", "right wing outer", "tail"),
)


#: What may be missing in a log of a sound aircraft, and in what share of them.
SILENT = ("", "nodes", "node currents", "bus")
SILENT_SHARES = (0.7, 0.1, 0.1, 0.1)


@dataclass(frozen=True, kw_only=True)
class Series:
    """What one column of a log truly holds.

    Attributes
    ----------
    quantity : str
        As the project names it; "unknown" for what no review needs (a position, a heading).
    place : str
        Where; "" for what belongs to no place.
    unit : str
        Of the values: V, A, mAh, degC, %, m, m/s, s, dBm; "" for a plain number.
    values : ndarray, shape (rows,)
    step : float
        Resolution of the sensor, in the unit.
    """

    quantity: str
    place: str
    unit: str
    values: FloatArray
    step: float


@dataclass(frozen=True, kw_only=True)
class Flight:
    """One recording: the times of its rows, its columns, and what was planted.

    Attributes
    ----------
    time_s : ndarray, shape (rows,)
        From the first row.
    interval_s : float
        From row to row.
    series : tuple of Series
    brownout : str
        The place that lost its supply in the air, "" where the aircraft is sound.
    """

    time_s: FloatArray
    interval_s: float
    series: tuple[Series, ...]
    brownout: str = ""
    seed: int = 0

    def has(self, quantity: str, place: str) -> bool:
        return any(s.quantity == quantity and s.place == place for s in self.series)


@dataclass
class _Aircraft:
    """What the model draws before it flies."""

    nodes: tuple[str, ...]
    packs: int
    cells: int
    cell_full_v: float
    pack_ohm: FloatArray
    path_ohm: FloatArray
    setpoint_v: float  # of the regulators; 0 where there are switches
    leads_ohm: dict[str, float] = field(default_factory=dict)
    servos: dict[str, int] = field(default_factory=dict)


def random_flight(
    rng: np.random.Generator, *, brownout: bool = False, rows: int | None = None
) -> Flight:
    """One flight of one aircraft, all drawn.

    Parameters
    ----------
    rng : numpy.random.Generator
    brownout : bool
        Plant one in the air: the bus or a node falls far under what its electronics need, for
        some rows, and what counts there begins anew.
    rows : int, optional
        Of the log; drawn where None.
    """
    interval_s = float(
        rng.choice([0.1, 0.2, 0.25, 0.5] if brownout else [0.05, 0.1, 0.2, 0.5, 1.0])
    )
    if rows is None:
        low = 600 if interval_s <= 0.2 else 300
        rows = int(rng.integers(low, min(1400, max(low + 100, int(600 / interval_s)))))
        if brownout:
            rows = max(rows, int(160 / interval_s)) if interval_s > 0.1 else 1500
    craft = _aircraft(rng)
    return _fly(rng, craft, rows, interval_s, brownout)


def _aircraft(rng: np.random.Generator) -> _Aircraft:
    nodes = LAYOUTS[rng.integers(len(LAYOUTS))]
    packs = int(rng.choice([1, 2, 2, 2]))
    full_v = float(rng.choice([4.15, 4.15, 3.4]))
    regulated = full_v > 4 and rng.random() < 0.3
    pack_ohm = np.full(packs, rng.uniform(0.02, 0.035)) * rng.uniform(0.97, 1.03, packs)
    craft = _Aircraft(
        nodes=nodes,
        packs=packs,
        cells=2,
        cell_full_v=full_v,
        pack_ohm=pack_ohm,
        path_ohm=np.full(packs, rng.uniform(0.006, 0.012)) * rng.uniform(0.97, 1.03, packs),
        setpoint_v=float(rng.choice([6.0, 6.6, 7.2])) if regulated else 0.0,
    )
    pairs: dict[str, tuple[float, int]] = {}
    for node in nodes:
        pair = node.replace("left", "").replace("right", "")
        lead, servos = pairs.setdefault(pair, (rng.uniform(0.012, 0.03), int(rng.integers(2, 6))))
        craft.leads_ohm[node] = lead * rng.uniform(0.97, 1.03)
        craft.servos[node] = servos
    return craft


def _sticks(rng: np.random.Generator, t: FloatArray, end_s: float) -> FloatArray:
    """Stick travel of the four controls, -1 to 1: rest, a stir, rest, the flight, rest."""
    out = np.zeros((4, len(t)))
    stir = (t > 0.06 * end_s) & (t < 0.06 * end_s + min(15.0, 0.1 * end_s))
    turn = 2 * np.pi * rng.uniform(0.6, 1.1) * t
    for k, phase in enumerate((0.0, 0.25 * np.pi, 0.5 * np.pi)):
        out[k, stir] = 0.9 * np.sin(turn + phase)[stir]
    flying = (t > 0.25 * end_s) & (t < 0.93 * end_s)
    for k in range(3):
        wide = _smooth(rng, len(t), 1.5 + k) * 0.35 + _smooth(rng, len(t), 0.35) * 0.2
        out[k, flying] = np.clip(wide, -1, 1)[flying]
    out[3] = np.where(flying, np.clip(0.2 + 0.4 * _smooth(rng, len(t), 6.0), -0.9, 1), -1.0)
    return out


def _smooth(rng: np.random.Generator, n: int, scale_s: float) -> FloatArray:
    """Noise of unit scatter that keeps its value for about ``scale_s``."""
    width = max(2, int(scale_s / STEP_S))
    kernel = np.hanning(4 * width + 1)
    noise = np.convolve(rng.normal(size=n + 4 * width), kernel, mode="valid")
    return noise / max(float(noise.std()), 1e-9)


def _fly(
    rng: np.random.Generator, craft: _Aircraft, rows: int, interval_s: float, brownout: bool
) -> Flight:
    end_s = rows * interval_s
    t = np.arange(int(end_s / STEP_S) + 1) * STEP_S
    sticks = _sticks(rng, t, end_s)
    rate = np.abs(np.gradient(sticks, STEP_S, axis=1))
    air = ((t > 0.25 * end_s) & (t < 0.93 * end_s)).astype(float)
    currents = {}
    for node in craft.nodes:
        share = np.array(MOVED_BY[node])
        per_servo = 0.22 * share @ rate + 0.5 * air * (share @ np.abs(sticks)) + 0.03
        currents[node] = craft.servos[node] * np.clip(per_servo, 0.0, 1.6)
    own = rng.uniform(0.2, 0.45)
    total = sum(currents.values()) + own
    pack_v, pack_a, charge, bus_v = _supply(rng, craft, total)
    bus_i = total
    series: list[Series] = []
    pick = np.round(np.arange(rows) * interval_s / STEP_S).astype(int)
    window = max(1, int(min(interval_s, 0.1) / STEP_S))

    def at(values: FloatArray, step: float, noise: float) -> FloatArray:
        mean = np.convolve(values, np.ones(window) / window, mode="full")[: len(values)]
        mean[:window] = values[:window]
        return np.round((mean[pick] + rng.normal(0, noise, rows)) / step) * step

    def add(quantity: str, place: str, unit: str, values: FloatArray, step: float,
            noise: float = 0.0) -> None:  # fmt: skip
        series.append(Series(quantity=quantity, place=place, unit=unit, step=step,
                             values=at(values, step, noise)))  # fmt: skip

    volt, amp = float(rng.choice([0.01, 0.01, 0.02])), float(rng.choice([0.01, 0.02, 0.1]))
    hidden = set(rng.choice(["temperature", "control", "air", "link", "uptime", "gps"],
                            size=rng.integers(0, 4), replace=False))  # fmt: skip
    for k in range(craft.packs):
        place = f"pack {k + 1}"
        add("voltage", place, "V", pack_v[k], volt, 0.004)
        add("current", place, "A", np.maximum(pack_a[k], 0), amp, 0.01)
        add("consumed", place, "mAh", charge[k], 1.0)
        if "temperature" not in hidden:
            add("temperature", place, "degC", _warmth(rng, t, pack_a[k]), 1.0)
    # What a unit does not report: a single cable has no nodes, a node may tell its voltage alone.
    silent = "" if brownout else str(rng.choice(SILENT, p=SILENT_SHARES))
    if silent != "bus":
        add("voltage", "bus", "V", bus_v, volt, 0.004)
        add("current", "bus", "A", bus_i, amp, 0.01)
    if "uptime" not in hidden or brownout:
        add("uptime", "bus", "s", t + rng.uniform(2, 30), 1.0)
    for node in craft.nodes:
        if silent != "nodes":
            add("voltage", node, "V", bus_v - craft.leads_ohm[node] * currents[node], volt, 0.004)
        if silent not in ("nodes", "node currents"):
            add("current", node, "A", currents[node], amp, 0.01)
        if brownout:
            add("consumed", node, "mAh", np.cumsum(currents[node]) * STEP_S / 3.6, 1.0)
    if "temperature" not in hidden and craft.setpoint_v:
        add("temperature", "regulator", "degC", _warmth(rng, t, total) + 8, 1.0)
    if "control" not in hidden:
        for name, travel in zip(STICKS, sticks, strict=True):
            add("control", name, "%", 100 * travel, 1.0)
    if "air" not in hidden:
        climb = np.cumsum(air * _smooth(rng, len(t), 8.0)) * STEP_S * 4
        add("altitude", "", "m", np.maximum(climb - climb.min(), 0) * air, 0.1, 0.1)
        add("speed", "", "m/s", air * (24 + 5 * _smooth(rng, len(t), 4.0)), 0.1, 0.1)
    if "link" not in hidden:
        add("link", "receiver 1", "dBm", -48 - 14 * air + 4 * _smooth(rng, len(t), 2.0), 1.0)
    if "gps" not in hidden:
        north = np.cumsum(air * _smooth(rng, len(t), 10.0)) * STEP_S * 2e-4
        add("unknown", "north", "", 47.1 + north, 1e-5)
        add("unknown", "fixes", "", 11 + np.round(_smooth(rng, len(t), 20.0)), 1.0)
    flight = Flight(time_s=np.arange(rows) * interval_s, interval_s=interval_s,
                    series=tuple(series))  # fmt: skip
    return _with_brownout(rng, flight, craft) if brownout else flight


def _supply(
    rng: np.random.Generator, craft: _Aircraft, total: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Pack voltages, pack currents, charges (mAh) and the bus voltage under a total current."""
    branch = craft.pack_ohm + craft.path_ohm
    share = (1 / branch) / (1 / branch).sum()
    amps = share[:, None] * total[None, :]
    charge = np.cumsum(amps, axis=1) * STEP_S / 3.6
    full_mah = rng.choice([2600.0, 3300.0, 5000.0])
    slope = 0.9 if craft.cell_full_v > 4 else 0.25
    fall = 0.08 * (1 - np.exp(-charge / (0.03 * full_mah))) + slope * charge / full_mah
    rest_v = craft.cells * (craft.cell_full_v - fall)
    pack_v = rest_v - craft.pack_ohm[:, None] * amps
    bus_v = (pack_v - craft.path_ohm[:, None] * amps).mean(axis=0)
    if craft.setpoint_v:
        bus_v = craft.setpoint_v - 0.01 * total
    return pack_v, amps, charge, bus_v


def _warmth(rng: np.random.Generator, t: FloatArray, amps: FloatArray) -> FloatArray:
    """A temperature that follows the heat of a current slowly, degC."""
    heat = np.cumsum(amps**2) * STEP_S
    return rng.uniform(14, 26) + 12 * heat / max(float(heat[-1]), 1.0) * min(1.0, t[-1] / 400)


def _with_brownout(rng: np.random.Generator, flight: Flight, craft: _Aircraft) -> Flight:
    """The same flight with a supply that is lost for some rows in the air, and counters anew."""
    rows = len(flight.time_s)
    place = str(rng.choice(["bus", *craft.nodes]))
    first = int(rows * rng.uniform(0.45, 0.8))
    # Three rows at the least: what lasts for two of them may be a false reading.
    span = slice(first, first + max(4, round(rng.uniform(0.6, 1.5) / flight.interval_s)))
    hit = {place} if place != "bus" else {"bus", *craft.nodes}
    low_v = rng.uniform(1.2, 2.9)
    series = []
    for s in flight.series:
        values = s.values.copy()
        if s.place in hit and s.quantity == "voltage":
            values[span] = (
                np.round((low_v + rng.uniform(0, 0.2, values[span].shape)) / s.step) * s.step
            )
        elif s.quantity == "current" and (s.place in hit or (place == "bus" and "pack" in s.place)):
            values[span] = np.round(0.2 * values[span] / s.step) * s.step
        elif s.place in hit and s.quantity in ("uptime", "consumed"):
            values[span] = values[span.start]
            begin = values[span.stop]
            values[span.stop :] = np.maximum(values[span.stop :] - begin, 0)
        series.append(Series(quantity=s.quantity, place=s.place, unit=s.unit, step=s.step,
                             values=values))  # fmt: skip
    return Flight(time_s=flight.time_s, interval_s=flight.interval_s, series=tuple(series),
                  brownout=place)  # fmt: skip
