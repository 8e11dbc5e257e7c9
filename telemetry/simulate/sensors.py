"""What the telemetry makes of the truth: units, sensors, update instants, rows.

A unit reads its sensors at its own clock (interval, phase, jitter, drift), all at once or one
after the other. Each reading is taken at an instant, as the mean or as the extreme since the last
one, with noise, gain, offset and resolution. The transmitter writes rows at its own step and
repeats the last reading it has, or leaves blanks where nothing new came in.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.random import Generator

from telemetry.channels import CANONICAL_UNIT, Quantity
from telemetry.simulate.parts import BUS, BoolArray, FloatArray

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
class Unit:
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

    units: tuple[Unit, ...]
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """A stretch without link to one receiver: readings freeze, or go blank."""

    start_s: float
    end_s: float
    receiver: int
    blank: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """One impossible reading, planted."""

    time_s: float
    key: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the sensed table, in canonical units."""

    key: str
    place: str
    quantity: Quantity
    unit: str
    resolution: float
    values: FloatArray
    cell: int | None = None
    hold: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """What the transmitter wrote: rows at ``time_s``, NaN where a column has no value."""

    time_s: FloatArray
    columns: tuple[Column, ...]

    def column(self, key: str) -> Column:
        """The column of that key."""
        return next(c for c in self.columns if c.key == key)


@dataclass(frozen=True, slots=True, kw_only=True)
class Updates:
    """A sensor's readings as it made them.

    Attributes
    ----------
    time_s : array, shape (m,)
        Instants of reading.
    values : array, shape (m,)
        Readings, in the canonical unit.
    received_s : array, shape (m,)
        Instants of receipt, never decreasing.
    came : array of bool, shape (m,)
        False where the link was lost.
    """

    time_s: FloatArray
    values: FloatArray
    received_s: FloatArray
    came: BoolArray


def quantised(values: FloatArray, step: float) -> FloatArray:
    """Values rounded to the nearest multiple of ``step``, exact halves upwards."""
    return np.asarray(np.floor(values / step + 0.5 + ROUND_UP) * step, dtype=np.float64)


def update_instants(
    unit: Unit, index: int, on: BoolArray, dt_s: float, rng: Generator
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


def sense(
    telemetry: Telemetry,
    signals: dict[str, FloatArray],
    controls_pct: dict[str, FloatArray],
    on: dict[str, BoolArray],
    dt_s: float,
    rng: Generator,
    *,
    losses: tuple[Loss, ...] = (),
    wrong: tuple[Wrong, ...] = (),
) -> tuple[Table, dict[str, Updates]]:
    """The sensed table, and each sensor's own readings.

    Parameters
    ----------
    telemetry : Telemetry
    signals : dict of array
        True signals by name, shape (n,).
    controls_pct : dict of array
        Commanded travel by control.
    on : dict of array of bool
        By place: True while its unit works.
    dt_s : float
    rng : numpy.random.Generator
    losses, wrong
        Planted link losses and impossible readings.

    Returns
    -------
    Table, dict of str to Updates
    """
    n = next(iter(signals.values())).size
    rows = _row_instants(telemetry, n * dt_s, dt_s, rng)
    columns: list[Column] = []
    updates: dict[str, Updates] = {}
    for unit in telemetry.units:
        alive = on.get(unit.place, on[BUS])
        together = update_instants(unit, 0, alive, dt_s, rng)
        for index, sensor in enumerate(unit.sensors):
            times = update_instants(unit, index, alive, dt_s, rng) if unit.staggered else together
            truth = _true_signal(sensor, signals, alive, dt_s)
            values = read(sensor, truth, times, dt_s, rng)
            for planted in wrong:
                if planted.key == sensor.key and times.size:
                    hit = min(int(np.searchsorted(times, planted.time_s)), times.size - 1)
                    values[hit] = planted.value
            mine = [x for x in losses if x.receiver == unit.receiver]
            came = np.ones(times.size, dtype=np.bool_)
            for loss in mine:
                came &= ~((times >= loss.start_s) & (times < loss.end_s))
            # A later reading never overtakes an earlier one.
            received = np.maximum.accumulate(times + unit.delay_s)
            made = Updates(time_s=times, values=values, received_s=received, came=came)
            key = sensor.key if sensor.key not in updates else f"{sensor.key} copy"
            updates[key] = made
            columns.append(
                Column(
                    key=key,
                    place=sensor.place,
                    quantity=sensor.quantity,
                    unit=CANONICAL_UNIT.get(sensor.quantity, _PLAIN_UNIT.get(sensor.quantity, "")),
                    resolution=sensor.resolution,
                    values=_in_rows(made, rows, telemetry.blanks, [x for x in mine if x.blank]),
                    cell=sensor.cell,
                    hold=sensor.hold,
                )
            )
    at = np.minimum((rows / dt_s).astype(np.int64), n - 1)
    for control in telemetry.controls:
        travel = controls_pct[control][at]
        values = quantised(1500.0 + 5.0 * travel, 1.0) if telemetry.control_us else travel
        columns.append(
            Column(
                key=f"{control}/control",
                place=control,
                quantity=Quantity.CONTROL,
                unit="us" if telemetry.control_us else "%",
                resolution=1.0 if telemetry.control_us else 0.5,
                values=values if telemetry.control_us else quantised(travel, 0.5),
            )
        )
    return Table(time_s=rows, columns=tuple(columns)), updates


_PLAIN_UNIT = {Quantity.LINK: "%", Quantity.REMAINING: "%"}


def _true_signal(
    sensor: Sensor, signals: dict[str, FloatArray], alive: BoolArray, dt_s: float
) -> FloatArray:
    """The signal a sensor reads; counters and uptime belong to the unit and are made here."""
    match sensor.quantity:
        case Quantity.CONSUMED:
            return counted_mah(signals[f"{sensor.place}/{Quantity.CURRENT}"], alive, dt_s)
        case Quantity.UPTIME:
            return uptime_s(alive, dt_s)
        case _:
            return signals[sensor.signal]


def _row_instants(telemetry: Telemetry, total_s: float, dt_s: float, rng: Generator) -> FloatArray:
    """Instants of the rows, whole milliseconds, rising."""
    rows = np.arange(0.0, total_s - dt_s, telemetry.row_s)
    if telemetry.row_jitter_s > 0:
        swing = np.clip(rng.standard_normal(rows.size), -2.0, 2.0)
        rows = np.clip(rows + telemetry.row_jitter_s * swing, 0.0, total_s - dt_s)
    if telemetry.rows_missing > 0:
        rows = rows[rng.random(rows.size) >= telemetry.rows_missing]
    return np.unique(quantised(rows, 0.001))


def _in_rows(made: Updates, rows: FloatArray, blanks: bool, blank_losses: list[Loss]) -> FloatArray:
    """Readings laid into rows: held until the next, or only where new."""
    received, readings = made.received_s[made.came], made.values[made.came]
    if received.size == 0:
        return np.full(rows.size, np.nan)
    last = np.searchsorted(received, rows, side="right") - 1
    values = np.where(last >= 0, readings[np.maximum(last, 0)], np.nan)
    if blanks:
        new = np.concatenate(([last[0] >= 0], np.diff(last) > 0))
        values = np.where(new, values, np.nan)
    for loss in blank_losses:
        values = np.where((rows >= loss.start_s) & (rows < loss.end_s), np.nan, values)
    return np.asarray(values, dtype=np.float64)
