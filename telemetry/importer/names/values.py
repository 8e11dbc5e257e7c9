"""Numbers to values: exact conversion of units, and which numbers are no values.

Sentinels (65535, -1, ...) count as no value only where physics rules them out as readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import POSSIBLE, Quantity, bounds_of
from telemetry.model.units import Unit
from telemetry.numerics.wild import remote, wild

FloatArray = NDArray[np.float64]


def convert(values: FloatArray, unit: Unit) -> FloatArray:
    """Values in a unit to its canonical unit, rounded once.

    Parameters
    ----------
    values : ndarray
        In ``unit``.
    unit : Unit

    Returns
    -------
    ndarray
        In ``unit.canonical``. Where the factor is a reciprocal (mV, mA, km/h) the value is
        divided, not multiplied: 8254 mV becomes the double nearest to 8.254, as if the file had
        printed volts.
    """
    if unit.factor == 1.0 and unit.offset == 0.0:
        return values
    shifted = values
    if unit.offset:
        shifted = values + round(unit.offset / unit.factor, 9)
    inverse = round(1.0 / unit.factor, 9)
    if unit.factor < 1.0 and abs(inverse * unit.factor - 1.0) < 1e-12:
        return shifted / inverse
    if unit.factor in (10.0, 100.0, 1000.0):
        # A short decimal times a power of ten is a short decimal: 0.0401 Ah are 40.1 mAh.
        return np.round(shifted * unit.factor, 9)
    return shifted * unit.factor


def sound(values: FloatArray, quantity: Quantity, hold: str = "") -> FloatArray:
    """Values with the wild ones blank, for what is told of a column by its numbers.

    Parameters
    ----------
    values : ndarray
        In the canonical unit.
    quantity : Quantity
    hold : str
        Of the channel.
    """
    for mask in wild(values, *bounds_of(quantity, hold)).values():
        values = np.where(mask, np.nan, values)
    return values


def finite(values: FloatArray) -> FloatArray:
    """Infinities, printed ("inf") or overflown, are no values.

    Parameters
    ----------
    values : ndarray
    """
    if math.isfinite(float(np.sum(values))) or not np.isinf(values).any():
        return values
    return np.where(np.isfinite(values), values, np.nan)


_RAW_SENTINELS = (
    65535.0,
    65534.0,
    32767.0,
    -32768.0,
    32768.0,
    9999.0,
    -9999.0,
    99999.0,
    -99999.0,
    999.0,
    -999.0,
    -1.0,
    255.0,
    2147483647.0,
    -2147483648.0,
    4294967295.0,
)


_LIMITS = frozenset(
    {65535.0, 65534.0, 32767.0, 32768.0, -32768.0, 2147483647.0, -2147483648.0, 4294967295.0}
)


def possible(values: FloatArray, quantity: Quantity, unit: Unit | None) -> bool:
    """True where all values are what the quantity can be.

    Parameters
    ----------
    values : ndarray
        In ``unit``.
    quantity : Quantity
    unit : Unit or None
    """
    low, high = POSSIBLE.get(quantity, (-math.inf, math.inf))
    inside = values if unit is None else convert(values, unit)
    return bool(np.all((inside >= low) & (inside <= high)))


@dataclass(frozen=True, slots=True)
class Sentinel:
    """A number that stands for no value in one column."""

    raw: float
    count: int
    why: str


def find_sentinels(raw: FloatArray, quantity: Quantity, unit: Unit | None) -> tuple[Sentinel, ...]:
    """Numbers of a column that stand for no value, where physics rules them out.

    Parameters
    ----------
    raw : ndarray
        As in the file, before conversion.
    quantity : Quantity
    unit : Unit or None

    Returns
    -------
    tuple of Sentinel
        65535 and its kind count only outside what the quantity can be, or far away from every
        other value of the column; -1 only where the quantity cannot be negative.
    """
    low, high = POSSIBLE.get(quantity, (-math.inf, math.inf))
    if math.isinf(low) or not len(raw):
        return ()
    far = remote(raw, 0.5)
    if far.any():  # a wild cell beyond a sentinel does not hide it
        far &= ~np.isin(raw, [s / k for s in _RAW_SENTINELS for k in (1.0, 10.0, 100.0, 1000.0)])
        raw = np.where(far, np.nan, raw)
    top, bottom = np.nanmax(raw), np.nanmin(raw)
    scales = (1.0,) if float(top).is_integer() else (1.0, 10.0, 100.0, 1000.0)
    wanted = {s / k for s in _RAW_SENTINELS for k in scales}
    hit = [v for v in (float(top), float(bottom)) if v in wanted]
    found = []
    for value in hit:
        inside = value if unit is None else float(convert(np.array([value]), unit)[0])
        others = raw[np.isfinite(raw) & (raw != value)]
        if not len(others):
            continue
        count = int(np.count_nonzero(raw == value))
        spread = float(np.max(np.abs(others)))
        impossible = not low <= inside <= high
        # The end of a number range (65535 mV), or another lone round value far beyond all others.
        limit = any(value * k in _LIMITS for k in scales)
        apart = abs(value) > (3.0 if limit else 10.0) * max(spread, 1e-9)
        if value == -1.0 or (not limit and abs(value) < 200.0):
            apart = False
        if impossible or apart:
            why = (
                f"impossible as {quantity.value}" if impossible else "far beyond every other value"
            )
            found.append(Sentinel(value, count, why))
    return tuple(found)


def leading_zeros(values: FloatArray) -> int:
    """How many rows a sensor printed zero before its first reading.

    Parameters
    ----------
    values : ndarray
        A voltage.

    Returns
    -------
    int
        Rows of zeros (or blanks) before the first value above zero; 0 where the column does not
        begin with a zero or never shows anything else.
    """
    alive = np.flatnonzero(values > 0)
    if not len(alive) or alive[0] == 0:
        return 0
    head = values[: alive[0]]
    return int(alive[0]) if np.any(head == 0.0) else 0


def zeros_in_a_counter(values: FloatArray) -> NDArray[np.bool_]:
    """Rows in which a counter is zero between a value and one at least as high.

    Parameters
    ----------
    values : ndarray

    Returns
    -------
    ndarray of bool
        True where a zero is no value. A counter that starts again from zero and climbs is not
        marked: its first value after the zeros is lower than the last before.
    """
    out = np.zeros(len(values), dtype=bool)
    filled = np.flatnonzero(np.isfinite(values))
    zero = values[filled] == 0.0
    if not zero.any() or zero.all():
        return out
    alive = filled[~zero]
    before = np.searchsorted(alive, filled[zero]) - 1
    for row, at in zip(filled[zero], before, strict=True):
        if at >= 0 and at + 1 < len(alive) and values[alive[at + 1]] >= values[alive[at]] > 0:
            out[row] = True
    return out


def resolution(values: FloatArray) -> float:
    """Smallest step between distinct values, NaN where no two are clearly distinct.

    Parameters
    ----------
    values : ndarray
    """
    distinct = np.unique(values[np.isfinite(values)][:20_000])
    if len(distinct) < 2:
        return math.nan
    steps = np.diff(distinct)
    # Less than a double can tell apart is the noise of somebody's arithmetic.
    steps = steps[steps > 1e-12 * np.max(np.abs(distinct))]
    return float(f"{np.min(steps):.6g}") if len(steps) else math.nan


def repeats(values: FloatArray) -> float:
    """Share of filled rows that repeat the value before, NaN with fewer than two.

    Parameters
    ----------
    values : ndarray
        A high share tells a channel that holds its last reading between updates.
    """
    filled = values[np.isfinite(values)]
    if len(filled) < 2:
        return math.nan
    return float(np.mean(np.diff(filled) == 0.0))
