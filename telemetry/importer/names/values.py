"""Numbers to values: exact conversion of units, and which numbers are no values.

Sentinels (65535, -1, ...) count as no value only where physics rules them out as readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import POSSIBLE, Quantity
from telemetry.model.units import Unit
from telemetry.numerics.wild import calm, few, remote

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


def finite(values: FloatArray) -> FloatArray:
    """Infinities, printed ("inf") or overflown, are no values.

    Parameters
    ----------
    values : ndarray
    """
    if math.isfinite(float(np.sum(values))) or not np.isinf(values).any():
        return values
    return np.where(np.isfinite(values), values, np.nan)


# What a field of so many bits holds where nothing was measured, and what is written for it.
_LIMITS = (
    65535.0, 65534.0, 32767.0, 32768.0, -32768.0, 2147483647.0, -2147483648.0, 4294967295.0,
)  # fmt: skip
_SIGNS = (-1.0, 255.0)
_NINES = tuple(sign * float("9" * n) for n in (3, 4, 5, 6) for sign in (1, -1))
_SCALES = (1.0, 10.0, 100.0, 1000.0)
# Also as a column of one or two decimals prints them: 655.35 as 655.4.
_LIMIT_NUMBERS = frozenset(v / k for v in _LIMITS for k in _SCALES) | frozenset(
    round(v / k, d) for v in _LIMITS for k in _SCALES for d in (1, 2) if abs(v / k) * 10**d >= 1e3
)
_NINE_NUMBERS = frozenset(v / k for v in _NINES for k in _SCALES)
_WANTED = np.array(sorted(_LIMIT_NUMBERS | _NINE_NUMBERS | set(_SIGNS)))
#: Cells of a column that are looked at for such numbers (heuristic).
_LOOK_AT = 2000
#: A number that stands for no value is this many times as large as all others of its column; the
#: end of a field's range this many; and one that is not the end of a range and written fewer
#: times than this need not stand for no value (heuristic).
_NINES_BEYOND, _LIMIT_BEYOND, _OFTEN = 10.0, 3.0, 3
#: A number written again and again, with nothing between it and the others, lies this many times
#: their spread and this part of their size away from them; of the end of a range less is asked for
#: (heuristic).
_SPREADS, _PART, _LIMIT_SPREADS, _LIMIT_PART = 3.0, 0.1, 1.0, 0.3
#: -1 in a column that is never negative else lies this many of its smallest steps away (heuristic).
_STEPS_TO_MINUS_ONE = 5.0
#: A column shows so many other values, and in a short one how often a number stands there tells
#: nothing (heuristic).
_OTHERS, _FEW = 4, 20
#: A lone number below this may well have been measured, unless it is the end of a range
#: (heuristic).
_LEAST_ALONE = 200.0


def stand_ins(values: FloatArray) -> tuple[float, ...]:
    """Numbers of a column that stand for no value, told by their looks alone.

    Parameters
    ----------
    values : ndarray
        In any unit.

    Returns
    -------
    tuple of float
        The end of a field's range (65535, 327.67), nines, 255 or -1, where they stand apart from
        all other values, however many rows hold them.
    """
    part = values[:: max(1, len(values) // _LOOK_AT)]
    sample = part[np.isfinite(part)]
    at = np.minimum(np.searchsorted(_WANTED, sample), len(_WANTED) - 1)
    hit = _WANTED[at] == sample
    if not hit.any():
        return ()
    others = np.sort(sample[~hit])
    if len(others) < _OTHERS:
        return ()
    k = few(len(others))
    low, high = float(others[k]), float(others[-1 - k])
    inside = others[k : len(others) - k]
    steps = np.diff(inside)
    finest = float(steps[steps > 0].min()) if (steps > 0).any() else 0.0
    found, counts = np.unique(sample[hit], return_counts=True)
    return tuple(
        float(v)
        for v, n in zip(found, counts, strict=True)
        if _apart(float(v), int(n) if len(sample) >= _FEW else 1, low, high, finest)
    )


def _apart(value: float, times: int, low: float, high: float, finest: float) -> bool:
    """Whether a number of one of the known looks stands apart from a column's other values."""
    if value == -1.0:
        return low >= 0.0 and times >= _OFTEN and low + 1.0 >= _STEPS_TO_MINUS_ONE * finest > 0.0
    gap = value - high if value > high else low - value
    spread, size = high - low, max(abs(low), abs(high), high - low)
    limit = value in _LIMIT_NUMBERS
    if limit and times >= 2 and gap >= max(_LIMIT_SPREADS * spread, _LIMIT_PART * size):
        return True
    if abs(value) > (_LIMIT_BEYOND if limit else _NINES_BEYOND) * size:
        return gap > 0
    return times >= _OFTEN and gap >= max(_SPREADS * spread, _PART * size, 0.0) and gap > 0


def measured(values: FloatArray) -> FloatArray:
    """The numbers of a column that were measured, for what they tell of it: finite, no stand-ins.

    Parameters
    ----------
    values : ndarray
        In any unit.
    """
    for number in stand_ins(values):
        values = np.where(values == number, np.nan, values)
    return values


def only_a_limit(values: FloatArray) -> float | None:
    """The end of a field's range that a column holds in all its rows: a sensor that is not there.

    Parameters
    ----------
    values : ndarray
    """
    is_filled = np.isfinite(values)
    if not len(values) or values[np.argmax(is_filled)] not in _LIMITS:
        return None
    filled = values[is_filled]
    if len(filled) < _FEW or np.any(filled != filled[0]):
        return None
    return float(filled[0])


#: So many rows at either end of a file may be garbage, which most columns show, and at least the
#: second number of them; a shorter file than the third is not judged (heuristic).
_EDGE_ROWS, _EDGE_COLUMNS, _EDGE_FILE = 8, 3, 50


def garbage_at_the_ends(columns: Sequence[FloatArray]) -> tuple[int, int]:
    """How many rows at the beginning and at the end of a file hold nothing that was measured.

    Parameters
    ----------
    columns : sequence of ndarray, shape (rows,)
        NaN where there is no value.

    Returns
    -------
    (int, int)
        Rows in which most columns lie further from all their other values than these are large.
    """
    if len(columns) < _EDGE_COLUMNS or len(columns[0]) < _EDGE_FILE:
        return 0, 0
    ends = np.r_[0:_EDGE_ROWS, -_EDGE_ROWS:0]
    far, filled = np.zeros(len(ends)), np.zeros(len(ends))
    for values in columns:
        rest = measured(values[_EDGE_ROWS:-_EDGE_ROWS])
        rest = rest[:: max(1, len(rest) // _LOOK_AT)]
        rest = calm(rest[np.isfinite(rest)])
        if not len(rest):
            continue
        low, high = float(rest.min()), float(rest.max())
        size = max(abs(low), abs(high), high - low)
        at = values[ends]
        filled += np.isfinite(at)
        with np.errstate(invalid="ignore"):
            far += (at < low - size) | (at > high + size)
    wild_ = (far >= _EDGE_COLUMNS) & (far > 0.5 * filled)
    first = int(np.argmin(np.r_[wild_[:_EDGE_ROWS], False]))
    last = int(np.argmin(np.r_[wild_[_EDGE_ROWS:][::-1], False]))
    return first, last


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
        far[far] = ~np.isin(raw[far], _WANTED)
        raw = np.where(far, np.nan, raw)
    looks = set(stand_ins(raw)) if quantity is not Quantity.LINK else set()
    ends = {float(np.nanmax(raw)), float(np.nanmin(raw))} & set(_WANTED.tolist())
    found = []
    for value in sorted(looks | ends, reverse=True):
        inside = value if unit is None else float(convert(np.array([value]), unit)[0])
        others = raw[np.isfinite(raw) & (raw != value)]
        if not len(others):
            continue
        # The end of a number range (65535 mV), or another lone round value far beyond all others.
        limit = value in _LIMIT_NUMBERS
        beyond = _LIMIT_BEYOND if limit else _NINES_BEYOND
        apart = abs(value) > beyond * max(float(np.max(np.abs(others))), 1e-9)
        if value == -1.0 or (not limit and abs(value) < _LEAST_ALONE):
            apart = False
        if not low <= inside <= high:
            why = f"impossible as {quantity.value}"
        elif value in looks or apart:
            why = "far beyond every other value"
        else:
            continue
        found.append(Sentinel(value, int(np.count_nonzero(raw == value)), why))
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
    zeros = np.flatnonzero(values == 0.0)
    alive = np.flatnonzero(np.isfinite(values) & (values != 0.0)) if len(zeros) else zeros
    after = np.searchsorted(alive, zeros)
    between = (after > 0) & (after < len(alive))
    zeros, after = zeros[between], after[between]
    before = values[alive[after - 1]]
    out[zeros] = (values[alive[after]] >= before) & (before > 0)
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
