"""What the transmitter writes: readings laid into rows.

Rows come at the transmitter's own step; it repeats the last reading it has, or leaves blanks where
nothing new came in. With the link lost readings freeze or go blank.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from telemetry.model.channels import CANONICAL_UNIT, Quantity
from telemetry.simulate.parts import BUS, BoolArray, FloatArray
from telemetry.simulate.telemetry.sensors import (
    Sensor,
    Telemetry,
    counted_mah,
    quantised,
    read,
    update_instants,
    uptime_s,
)


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
class SensedColumn:
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
class SensedTable:
    """What the transmitter wrote: rows at ``time_s``, NaN where a column has no value."""

    time_s: FloatArray
    columns: tuple[SensedColumn, ...]

    def column(self, key: str) -> SensedColumn:
        """The column of that key."""
        return next(c for c in self.columns if c.key == key)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorUpdates:
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
) -> tuple[SensedTable, dict[str, SensorUpdates]]:
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
    columns: list[SensedColumn] = []
    updates: dict[str, SensorUpdates] = {}
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
            made = SensorUpdates(time_s=times, values=values, received_s=received, came=came)
            key = sensor.key if sensor.key not in updates else f"{sensor.key} copy"
            updates[key] = made
            columns.append(
                SensedColumn(
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
            SensedColumn(
                key=f"{control}/control",
                place=control,
                quantity=Quantity.CONTROL,
                unit="us" if telemetry.control_us else "%",
                resolution=1.0 if telemetry.control_us else 0.5,
                values=values if telemetry.control_us else quantised(travel, 0.5),
            )
        )
    return SensedTable(time_s=rows, columns=tuple(columns)), updates


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


def _in_rows(
    made: SensorUpdates, rows: FloatArray, blanks: bool, blank_losses: list[Loss]
) -> FloatArray:
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
