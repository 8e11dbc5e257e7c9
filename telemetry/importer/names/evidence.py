"""Values check names: is a "voltage" of 4,000 in volts, is a "current" that only grows a current?

The ranges are wide and rest on common practice, no source: radio power of models runs on 3 to
60 V and up to some hundred amperes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS, Unit
from telemetry.numerics.wild import calm, few, remote

FloatArray = NDArray[np.float64]

DECIVOLT = Unit("0.1 V", "V", 0.1)
_DECICELSIUS = Unit("0.1 degC", "degC", 0.1)
_SAMPLE = 20_000
#: A counter that rises by so many times what it rises by at most in 99 of 100 rows jumped (ours).
_JUMP = 10.0


@dataclass(frozen=True, slots=True)
class Shape:
    """What the numbers of a column look like.

    Attributes
    ----------
    count : int
        Filled cells (of the sample that was taken).
    low, high : float
        Without the few far from all others; NaN for an empty column.
    top : float
        99.5th percentile of the absolute values: the largest that is no stray.
    whole : bool
        All of them whole numbers, but for as few as may be wild.
    only_grows : bool
        A counter: many steps up, none down.
    only_falls : bool
    """

    count: int
    low: float
    high: float
    top: float
    whole: bool
    only_grows: bool
    only_falls: bool


def shape_of(values: FloatArray) -> Shape:
    """Look at a column, a long one in evenly spaced pieces.

    Parameters
    ----------
    values : ndarray
    """
    part = values if len(values) <= _SAMPLE else values[:: -(-len(values) // _SAMPLE)]
    filled = part[np.isfinite(part)]
    if not len(filled) and len(part) < len(values):
        filled = values[np.isfinite(values)]
    if not len(filled):
        return Shape(0, math.nan, math.nan, math.nan, False, False, False)
    count = len(filled)
    filled = calm(filled)
    steps = np.diff(filled)
    ups, downs = int(np.count_nonzero(steps > 0)), int(np.count_nonzero(steps < 0))
    extent = float(filled.max() - filled.min())
    smooth = bool(len(steps) and np.max(np.abs(steps)) <= 0.34 * extent)
    many = len(filled) >= 30 and smooth
    return Shape(
        count=count,
        low=float(filled.min()),
        high=float(filled.max()),
        top=float(np.percentile(np.abs(filled), 99.5)),
        whole=bool(np.count_nonzero(filled != np.round(filled)) <= few(count)),
        only_grows=many and ups >= 10 and downs == 0 and filled[0] >= 0,
        only_falls=many and downs >= 10 and ups == 0,
    )


@dataclass(frozen=True, slots=True)
class UnitJudgement:
    """The unit the values speak for.

    Attributes
    ----------
    unit : Unit or None
        None: nothing to say, or no unit of this quantity fits.
    why : str
        "" where the values merely agree.
    fit : float
        1 where the values agree, less where they do not.
    rivals : tuple of Unit
        Units that fit about as well.
    """

    unit: Unit | None
    why: str = ""
    fit: float = 1.0
    rivals: tuple[Unit, ...] = ()


def judge_unit(shape: Shape, quantity: Quantity, unit: Unit | None) -> UnitJudgement:
    """Find the unit of a column from its values, or check the one that is named.

    Parameters
    ----------
    shape : Shape
    quantity : Quantity
    unit : Unit or None
        As the header names it.

    Returns
    -------
    UnitJudgement
    """
    if shape.count == 0:
        return UnitJudgement(unit)
    if quantity is Quantity.VOLTAGE:
        return _voltage(shape, unit)
    if quantity is Quantity.CELL_VOLTAGE:
        return _cell(shape, unit)
    if quantity is Quantity.CURRENT:
        return _current(shape, unit)
    if quantity is Quantity.CONSUMED and unit is None:
        if not shape.whole and shape.top < 15:
            return UnitJudgement(
                UNITS["Ah"], f"no unit named; up to {shape.high:.4g} speaks for Ah",
                0.85, (UNITS["mAh"],),
            )  # fmt: skip
        return UnitJudgement(UNITS["mAh"], "no unit named; mAh assumed", 0.95)
    if quantity is Quantity.TEMPERATURE:
        return _temperature(shape, unit)
    if quantity is Quantity.REMAINING and unit is None:
        return UnitJudgement(UNITS["%"] if shape.high <= 100 else UNITS["mAh"], "", 0.9)
    if quantity is Quantity.CONTROL and unit is None:
        if shape.whole and shape.low >= 700 and shape.high <= 2400:
            return UnitJudgement(UNITS["us"], "values of a servo pulse in microseconds")
        if shape.low >= -160 and shape.high <= 160:
            return UnitJudgement(UNITS["%"], "no unit named; per cent assumed", 0.95)
        return UnitJudgement(None, "", 0.8)
    if quantity is Quantity.ENERGY and unit is None:
        return UnitJudgement(UNITS["Wh"], "no unit named; Wh assumed", 0.9)
    return UnitJudgement(unit)


def _told(unit: Unit | None, shape: Shape, better: Unit, noun: str) -> str:
    if unit is None:
        return f"no unit named; values up to {shape.high:,.6g} speak for {better.symbol}"
    return (
        f"{shape.high:,.6g} {unit.symbol} is no {noun} of a model's radio power, {better.symbol} is"
    )


def _voltage(shape: Shape, unit: Unit | None) -> UnitJudgement:
    top = shape.top
    if unit is not None:
        inside = top * unit.factor
        if unit.symbol == "V" and top > 120:
            unit_by_values = _volts_by_size(top, shape.whole)
            if unit_by_values is not None:
                better = unit_by_values[0]
                return UnitJudgement(better, _told(unit, shape, better, "voltage"), 0.9)
            return UnitJudgement(unit, f"{shape.high:,.6g} V is unusually high", 0.5)
        if inside < 0.3 and 1.0 <= top <= 75 and not shape.whole:
            return UnitJudgement(
                UNITS["V"], f"{shape.high:.4g} {unit.symbol} is next to nothing; V assumed", 0.85
            )
        return UnitJudgement(unit, "", 0.7 if 0 < inside < 0.3 else 1.0)
    found = _volts_by_size(top, shape.whole)
    if found is None:
        return UnitJudgement(UNITS["V"], f"{shape.high:,.6g} is unusually high for volts", 0.4)
    better, rivals = found
    why = "" if better.symbol == "V" else _told(None, shape, better, "voltage")
    return UnitJudgement(better, why, 1.0 if better.symbol == "V" else 0.95, rivals)


def _volts_by_size(top: float, whole: bool) -> tuple[Unit, tuple[Unit, ...]] | None:
    if top <= 75 or (top <= 120 and not whole):
        return UNITS["V"], ()
    if 1500 <= top <= 120_000:
        return UNITS["mV"], ()
    if not whole:
        return None
    if top < 300:
        return DECIVOLT, ()
    # 826 is 8.26 V or, on a high-voltage drive pack, 82.6 V.
    return UNITS["cV"], ((DECIVOLT,) if top < 750 else ())


def _cell(shape: Shape, unit: Unit | None) -> UnitJudgement:
    top = shape.top
    if unit is not None and 0.5 <= top * unit.factor <= 5.0:
        return UnitJudgement(unit)
    for factor, better in ((1.0, UNITS["V"]), (0.1, DECIVOLT), (0.01, UNITS["cV"]),
                           (0.001, UNITS["mV"])):  # fmt: skip
        if 0.5 <= top * factor <= 5.0:
            why = "" if better.symbol == "V" else _told(unit, shape, better, "cell voltage")
            return UnitJudgement(better, why, 1.0 if unit is None else 0.9)
    if unit is None and top <= 75:
        return UnitJudgement(UNITS["V"], f"{shape.high:.4g} V is more than one cell has", 0.5)
    return UnitJudgement(unit or UNITS["V"], "", 0.5)


def _current(shape: Shape, unit: Unit | None) -> UnitJudgement:
    top = shape.top
    if unit is not None:
        if unit.symbol == "A" and top > 1000:
            return UnitJudgement(UNITS["mA"], _told(unit, shape, UNITS["mA"], "current"), 0.9)
        return UnitJudgement(unit)
    if (shape.whole and top > 120) or top > 400:
        return UnitJudgement(UNITS["mA"], _told(None, shape, UNITS["mA"], "current"), 0.95)
    if shape.whole and top > 40:
        return UnitJudgement(UNITS["A"], "no unit named; A assumed", 0.8, (UNITS["mA"],))
    return UnitJudgement(UNITS["A"], "")


def _temperature(shape: Shape, unit: Unit | None) -> UnitJudgement:
    if unit is not None:
        return UnitJudgement(unit)
    if shape.top > 250 and shape.whole:
        return UnitJudgement(
            _DECICELSIUS, f"no unit named; {shape.high:,.6g} speaks for tenths of a degree", 0.9
        )
    return UnitJudgement(UNITS["degC"], "", 0.97)


class Flowed(NamedTuple):
    """What a counter of charge counted, in its own counts, and what flowed meanwhile, mAh."""

    counted: float
    integral_mah: float


def flowed(counter: FloatArray, current_a: FloatArray, time_s: FloatArray) -> Flowed | None:
    """What a counter counted and the integral of the current beside it, over the same rows.

    Parameters
    ----------
    counter : ndarray, shape (rows,)
    current_a : ndarray, shape (rows,)
    time_s : ndarray, shape (rows,)
        NaN where a row has no time.

    Returns
    -------
    Flowed or None
        None where too little flowed or was counted to compare the two.
    """
    both = np.isfinite(counter) & np.isfinite(current_a) & np.isfinite(time_s)
    both &= ~(remote(counter, 0.5) | remote(current_a, 3.0))
    if np.count_nonzero(both) < 10:
        return None
    t, i, q = time_s[both], current_a[both], counter[both]
    steps = np.diff(t)
    # Not across gaps, where nobody knows what flowed, nor where a clock or a counter began anew.
    usual = (steps > 0) & (steps <= 10.0 * max(float(np.median(steps)), 1e-9))
    rises = np.diff(q)
    usual &= (rises >= 0) & (rises <= _JUMP * np.quantile(rises, 0.99))
    flowed_mah = abs(float(np.sum(0.5 * (i[1:] + i[:-1])[usual] * steps[usual]))) / 3.6
    counted = rises[usual]
    # A counter that steps seldom has to have stepped often enough to be compared.
    if flowed_mah <= 0.0 or np.count_nonzero(counted) < 5:
        return None
    return Flowed(float(counted.sum()), flowed_mah)


def charge_factor(counter: FloatArray, current_a: FloatArray, time_s: FloatArray) -> float | None:
    """Milliampere-hours per count of a charge counter, told by the current beside it.

    Parameters
    ----------
    counter : ndarray, shape (rows,)
    current_a : ndarray, shape (rows,)
    time_s : ndarray, shape (rows,)

    Returns
    -------
    float or None
        1 or 1000; None where neither fits within a factor of three or too little flowed.
    """
    both = flowed(counter, current_a, time_s)
    if both is None or both.integral_mah <= 0.1:
        return None
    one = both.integral_mah / both.counted
    best = min((1.0, 1000.0), key=lambda f: abs(math.log(f / one)))
    return best if abs(math.log(best / one)) < math.log(3.0) else None


class CurrentSign(NamedTuple):
    """Which way round a current counts.

    Attributes
    ----------
    turned : bool or None
        Whether it counts negative when drawn; None where it has both signs and nothing tells.
    why : str
        "" where it is never drawn negative.
    """

    turned: bool | None
    why: str = ""


def reversed_current(
    current: FloatArray, voltage: FloatArray | None, of_other_pack: FloatArray | None = None
) -> CurrentSign:
    """Whether a current counts negative when it is drawn, and why we think so.

    Parameters
    ----------
    current : ndarray, shape (rows,)
        A.
    voltage : ndarray or None
        Of the same place, V: it falls when more is drawn, whatever the sign of the current.
    of_other_pack : ndarray or None
        Of a pack, what another pack gives, A: a load moves both the same way, and one pack can
        charge the other.

    Returns
    -------
    CurrentSign
    """
    filled = np.isfinite(current)
    drawn = float(-current[filled & (current < 0)].sum())
    other = float(current[filled & (current > 0)].sum())
    if drawn <= 0.2 * (drawn + other) or drawn == 0:
        return CurrentSign(False)
    if voltage is not None:
        relation = _moves_with(current, voltage)
        if relation > 0.3:
            return CurrentSign(True, "the voltage falls when this current turns negative")
        if relation < -0.3:
            return CurrentSign(False, "the voltage rises when this current turns negative")
    if of_other_pack is not None and _moves_with(current, of_other_pack) > 0.3:
        return CurrentSign(False, "it moves with the other pack's, which charges this one")
    if other < 0.05 * drawn:
        return CurrentSign(True, "it is negative throughout")
    return CurrentSign(None, "its sign could not be told from the values")


def _moves_with(current: FloatArray, other: FloatArray) -> float:
    """How the larger steps of a current go with those of another column, -1 to 1; 0 if not told."""
    both = np.isfinite(current) & np.isfinite(other)
    i, u = current[both], other[both]
    if i.size < 2:
        return 0.0
    di, du = np.diff(i), np.diff(u)
    # A slow change of many amperes has no large step: then the largest few.
    large = min(0.1 * float(np.max(i) - np.min(i)), float(np.quantile(np.abs(di), 0.97)))
    moved = (np.abs(di) > large) & (di != 0)
    if np.count_nonzero(moved) < 4:
        return 0.0
    di, du = di[moved], du[moved]
    spread = math.sqrt(float(np.sum(di**2)) * float(np.sum(du**2)))
    return float(np.sum(di * du)) / spread if spread > 0 else 0.0
