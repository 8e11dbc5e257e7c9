"""What the telemetry makes of the truth: units, sensors, update instants, readings.

A unit reads its sensors at its own clock (interval, phase, jitter, drift), all at once or one
after the other. Each reading is taken at an instant, as the mean or as the extreme since the last
one, with noise, gain, offset and resolution.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.simulate.parts import BoolArray, FloatArray

ROUND_UP = 1e-9  # keeps exact halves from depending on the last bit


class Mode(StrEnum):
    """How a sensor turns a stretch of time into one reading."""

    INSTANT = "instant"
    MEAN = "mean"
    MIN = "min"
    MAX = "max"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """One sensor: what it reads and how well.

    Attributes
    ----------
    place : str
    quantity : Quantity
    mode : Mode
    window_s : float or None
        For MEAN: averaging time; None averages since the last reading.
    resolution : float
        Smallest step of its readings, in the canonical unit.
    gain, offset : float
        ``reading = truth * gain + offset``.
    noise : float
        Standard deviation of its own noise.
    cell : int or None
        For cell voltages, from 1.
    """

    place: str
    quantity: Quantity
    mode: Mode = Mode.INSTANT
    window_s: float | None = None
    resolution: float = 0.01
    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.0
    cell: int | None = None

    @property
    def hold(self) -> str:
        """Word "min" or "max" for extremes, "" for plain readings."""
        return self.mode.value if self.mode in (Mode.MIN, Mode.MAX) else ""

    @property
    def signal(self) -> str:
        """Name of the true signal it reads."""
        cell = "" if self.cell is None else f" {self.cell}"
        return f"{self.place}/{self.quantity}{cell}"

    @property
    def key(self) -> str:
        """Name of its column in the sensed table."""
        return f"{self.signal} {self.hold}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class TelemetryUnit:
    """A reporting unit: one clock, one link.

    Attributes
    ----------
    place : str
        Where it sits: with this place's supply it falls silent.
    interval_s, phase_s, jitter_s : float
        Update interval, instant of the first update, standard deviation of each.
    drift : float
        Relative error of its clock.
    staggered : bool
        True where its sensors take turns within the interval.
    delay_s : float
        From reading to receipt.
    receiver : int
        Whose link carries it.
    """

    place: str
    sensors: tuple[Sensor, ...]
    interval_s: float = 0.2
    phase_s: float = 0.0
    jitter_s: float = 0.004
    drift: float = 0.0
    staggered: bool = False
    delay_s: float = 0.02
    receiver: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Telemetry:
    """All units, and how the transmitter writes rows.

    Attributes
    ----------
    row_s : float
        Step between rows.
    blanks : bool
        True: a row holds only what is new; False: the last reading repeats.
    controls : tuple of str
        Controls logged beside the telemetry, without delay.
    control_us : bool
        Controls in us (1500 +/- 500 at 100 %) instead of %.
    row_jitter_s : float
        Standard deviation of a row's instant.
    rows_missing : float
        Share of rows that were never written.
    """

    units: tuple[TelemetryUnit, ...]
    row_s: float = 0.1
    blanks: bool = False
    controls: tuple[str, ...] = ()
    control_us: bool = False
    row_jitter_s: float = 0.0
    rows_missing: float = 0.0

    @property
    def sensors(self) -> tuple[Sensor, ...]:
        """All sensors, unit by unit."""
        return tuple(s for u in self.units for s in u.sensors)


def quantised(values: FloatArray, step: float) -> FloatArray:
    """Values rounded to the nearest multiple of ``step``, exact halves upwards."""
    return np.asarray(np.floor(values / step + 0.5 + ROUND_UP) * step, dtype=np.float64)


def update_instants(
    unit: TelemetryUnit, index: int, on: BoolArray, dt_s: float, rng: Generator
) -> FloatArray:
    """Instants at which the unit's sensor number ``index`` reads, while the unit is on."""
    total = on.size * dt_s
    interval = unit.interval_s * (1.0 + unit.drift)
    turn = index / len(unit.sensors) * interval if unit.staggered else 0.0
    count = int(total / interval) + 2
    times = unit.phase_s + turn + interval * np.arange(count)
    times = times + unit.jitter_s * np.clip(rng.standard_normal(count), -3.0, 3.0)
    times = np.sort(times[(times >= 0.0) & (times < total - dt_s)])
    return np.asarray(times[on[(times / dt_s).astype(np.int64)]], dtype=np.float64)


def read(
    sensor: Sensor,
    truth: FloatArray,
    times_s: FloatArray,
    dt_s: float,
    rng: Generator,
) -> FloatArray:
    """Readings of one sensor at given instants.

    Parameters
    ----------
    sensor : Sensor
    truth : array, shape (n,)
        True signal, constant over each step of the fine grid.
    times_s : array, shape (m,)
        Instants, rising.
    dt_s : float
        Grid step.
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (m,)
    """
    if times_s.size == 0:
        return np.empty(0)
    at = np.minimum((times_s / dt_s).astype(np.int64), truth.size - 1)
    match sensor.mode:
        case Mode.INSTANT:
            values = truth[at]
        case Mode.MEAN:
            total = np.concatenate(([0.0], np.cumsum(truth)))
            usual = float(np.median(np.diff(at))) if at.size > 1 else 1.0
            if sensor.window_s is None:
                start = np.concatenate(([max(0, int(at[0] - usual))], at[:-1]))
                # After a gap the window is a usual one, not the whole gap.
                start = np.maximum(start, at - int(2 * usual))
            else:
                start = at - max(1, round(sensor.window_s / dt_s))
            start = np.clip(start, 0, np.maximum(at - 1, 0))
            end = np.maximum(at, start + 1)
            values = (total[end] - total[start]) / (end - start)
        case Mode.MIN | Mode.MAX:
            extreme = np.minimum if sensor.mode is Mode.MIN else np.maximum
            edges = np.concatenate(([0], at + 1))
            edges = np.maximum.accumulate(np.minimum(edges, truth.size - 1))
            values = extreme.reduceat(truth, edges)[: at.size]
    values = values * sensor.gain + sensor.offset
    if sensor.noise > 0:
        values = values + sensor.noise * rng.standard_normal(values.size)
    if sensor.quantity in (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE, Quantity.CURRENT):
        values = np.maximum(values, 0.0)
    return quantised(values, sensor.resolution)


def counted_mah(amps: FloatArray, on: BoolArray, dt_s: float) -> FloatArray:
    """A unit's charge counter: mAh drawn since it was last switched on, shape (n,).

    It never runs backwards: current that flows back into a pack is not counted.
    """
    total = np.cumsum(np.maximum(amps, 0.0) * on) * (dt_s / 3.6)
    return np.asarray(total - _at_last_start(total, on), dtype=np.float64)


def uptime_s(on: BoolArray, dt_s: float) -> FloatArray:
    """Seconds since the unit was last switched on, shape (n,)."""
    time = np.arange(on.size, dtype=np.float64) * dt_s
    return np.asarray(np.where(on, time - _at_last_start(time, on), 0.0), dtype=np.float64)


def _at_last_start(values: FloatArray, on: BoolArray) -> FloatArray:
    """Value at the step where the current stretch of ``on`` began, step by step."""
    begins = on & ~np.concatenate(([False], on[:-1]))
    last = np.maximum.accumulate(np.where(begins, np.arange(on.size), 0))
    return np.asarray(values[last], dtype=np.float64)
