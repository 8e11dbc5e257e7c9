"""Voltage and current of the same instants, for the figure that proves a resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.model.text import short
from telemetry.numerics.baseline import running_median
from telemetry.numerics.envelope import block_means, spread_out
from telemetry.numerics.sampling import held_at
from telemetry.readings import Reading, Readings
from telemetry.results import Flight, Resistance

BLOCK_S = 5.0
_SLOW_S = 60.0
_MOST_DOTS = 500
_RARE = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """What is drawn: readings, their means over blocks, and where the line runs through.

    Attributes
    ----------
    current_a, voltage_v : arrays, shape (n,)
        Single readings.
    mean_current_a, mean_voltage_v : arrays, shape (m,)
        Means over ``block_s`` seconds.
    through_a, through_v : float
        A point of the line.
    rising : bool
        True where the voltage is a drop, which rises with the current.
    view_v : (float, float)
        What the axis of voltage shows: all but the rarest readings.
    outside : int
        How many readings lie outside of that.
    """

    current_a: FloatArray
    voltage_v: FloatArray
    mean_current_a: FloatArray
    mean_voltage_v: FloatArray
    block_s: float
    through_a: float
    through_v: float
    rising: bool
    view_v: tuple[float, float]
    outside: int
    current_name: str
    voltage_name: str

    def line(self, mohm: float) -> tuple[FloatArray, FloatArray]:
        """The two ends of the line of a resistance."""
        ends = np.array([self.current_a.min(), self.current_a.max()])
        slope = (1 if self.rising else -1) * mohm / 1000
        return ends, self.through_v + slope * (ends - self.through_a)


def pairs_of(
    readings: Readings, aircraft: Aircraft, flight: Flight, resistance: Resistance
) -> Pairs | None:
    """The readings behind a resistance; None where the log does not hold both columns.

    A source's voltage falls slowly as the pack is used: both columns are drawn as differences
    from their running medians over a minute, so that the slope stays and the slow fall goes.
    """
    part, limits = readings.within(flight.start_s, flight.end_s), aircraft.limits
    volts = part.get(Quantity.VOLTAGE, resistance.place)
    if resistance.mohm is None or volts is None or volts.size < 3:
        return None
    if resistance.kind == "source":
        amps = part.get(Quantity.CURRENT, resistance.place)
        if amps is None or amps.size < 3:
            return None
        current = held_at(amps.t, amps.v, volts.t, amps.hold_s(limits))
        both = np.isfinite(current)
        time_s, voltage, current = volts.t[both], volts.v[both], current[both]
        if time_s.size < 3:
            return None
        voltage = voltage - running_median(time_s, voltage, _SLOW_S)[0]
        current = current - running_median(time_s, current, _SLOW_S)[0]
        return _pairs(
            time_s,
            current,
            voltage,
            through=(0.0, 0.0),
            rising=False,
            mohm=resistance.mohm,
            names=("current minus its median", "voltage minus its median"),
        )
    upper = None if resistance.parent is None else part.get(Quantity.VOLTAGE, resistance.parent)
    amps = _branch_current(part, resistance, aircraft)
    if upper is None or amps is None or min(upper.size, amps.size) < 3:
        return None
    current = held_at(amps.t, amps.v, volts.t, amps.hold_s(limits))
    drop = held_at(upper.t, upper.v, volts.t, upper.hold_s(limits)) - volts.v
    both = np.isfinite(current) & np.isfinite(drop)
    if both.sum() < 3:
        return None
    current, drop = current[both], drop[both]
    through = (0.0, resistance.offset_v)
    if resistance.offset_v is None:
        through = (float(np.median(current)), float(np.median(drop)))
    upper_name = short(resistance.parent or "")
    return _pairs(
        volts.t[both],
        current,
        drop,
        through=(through[0], through[1] or 0.0),
        rising=True,
        mohm=resistance.mohm,
        names=(f"current of {short(amps.place)}", f"{upper_name} minus {short(resistance.place)}"),
    )


def _branch_current(part: Readings, resistance: Resistance, aircraft: Aircraft) -> Reading | None:
    """What flows through the lead: of the bus fed by several packs, the current of that pack."""
    parent = resistance.parent
    if parent is not None and aircraft.kind(parent) is PlaceKind.PACK:
        of_pack = part.get(Quantity.CURRENT, parent)
        if of_pack is not None:
            return of_pack
    own = part.get(Quantity.CURRENT, resistance.place)
    if own is not None or resistance.kind == "branch" or resistance.parent is None:
        return own
    return part.get(Quantity.CURRENT, resistance.parent)


def _pairs(
    time_s: FloatArray,
    current_a: FloatArray,
    voltage_v: FloatArray,
    *,
    through: tuple[float, float],
    rising: bool,
    names: tuple[str, str],
    mohm: float,
) -> Pairs:
    mean_a = block_means(time_s, current_a, BLOCK_S)
    mean_v = block_means(time_s, voltage_v, BLOCK_S)
    keep = spread_out(current_a, _MOST_DOTS)
    low, high = (float(q) for q in np.quantile(voltage_v, [_RARE, 1 - _RARE]))
    ends = np.array([current_a[keep].min(), current_a[keep].max()])
    line = through[1] + (1 if rising else -1) * mohm / 1000 * (ends - through[0])
    low, high = min(low, *line), max(high, *line)
    room = max(0.06 * (high - low), 0.01)
    view = (low - room, high + room)
    return Pairs(
        current_a=current_a[keep],
        voltage_v=voltage_v[keep],
        mean_current_a=mean_a,
        mean_voltage_v=mean_v,
        block_s=BLOCK_S,
        through_a=through[0],
        through_v=through[1],
        rising=rising,
        view_v=view,
        outside=int(np.sum((voltage_v < view[0]) | (voltage_v > view[1]))),
        current_name=names[0],
        voltage_name=names[1],
    )
