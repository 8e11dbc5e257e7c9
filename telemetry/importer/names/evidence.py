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

from telemetry.importer.names.values import measured
from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS, Unit
from telemetry.numerics.coupling import moves_with, sways_with
from telemetry.numerics.wild import calm, few, remote

FloatArray = NDArray[np.float64]

#: Part of a column at its beginning, where all temperatures are those of the day (heuristic).
_START = 0.03
_SAMPLE = 20_000
#: A counter that rises by so many times what it rises by as a rule jumped (heuristic).
_JUMP = 20.0


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
    start : float
        Median of the first few.
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
    start: float
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
    part = measured(part)
    filled = part[np.isfinite(part)]
    if not len(filled) and len(part) < len(values):
        filled = values[np.isfinite(values)]
    if not len(filled):
        return Shape(0, math.nan, math.nan, math.nan, math.nan, False, False, False)
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
        start=float(np.median(filled[: max(3, int(_START * len(filled)))])),
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


class Candidate(NamedTuple):
    """A unit a column may be in, and what speaks for it."""

    unit: Unit
    score: float


#: What speaks for a unit: values of a likely size, of a possible one, that people and not only
#: machines write it; and by how much the best has to lead (heuristic).
_LIKELY, _POSSIBLE, _WRITTEN, LEAD = 2.0, 1.0, 1.0, 1.5
#: Some few loggers count in these, and hardly any in those (heuristic).
_RARE, _HARDLY = 0.0, -1.0
_TENTH_VOLT, _TENTH_AMPERE = Unit("0.1 V", "V", 0.1), Unit("0.1 A", "A", 0.1)
_HUNDREDTH_AMPERE = Unit("0.01 A", "A", 0.01)
# The units of each quantity, what speaks for each beforehand, and whether only whole numbers
# (True), only broken ones (False) or either (None) are counted in it.
_UNITS: dict[Quantity, tuple[tuple[Unit, float, bool | None], ...]] = {
    Quantity.VOLTAGE: (
        (UNITS["V"], _WRITTEN, None), (UNITS["mV"], _WRITTEN, None),
        (UNITS["cV"], _RARE, True), (_TENTH_VOLT, _RARE, True), (_TENTH_VOLT, _HARDLY, False),
    ),
    Quantity.CELL_VOLTAGE: (
        (UNITS["V"], _WRITTEN, None), (UNITS["mV"], _WRITTEN, None),
        (UNITS["cV"], _RARE, True), (_TENTH_VOLT, _RARE, True),
    ),
    Quantity.CURRENT: (
        (UNITS["A"], _WRITTEN, None), (UNITS["mA"], _WRITTEN, None),
        (_TENTH_AMPERE, _RARE, True), (_TENTH_AMPERE, _HARDLY, False),
        (_HUNDREDTH_AMPERE, _RARE, True), (_HUNDREDTH_AMPERE, _HARDLY, False),
    ),
    Quantity.CONSUMED: (
        (UNITS["mAh"], _WRITTEN, None), (UNITS["Ah"], _WRITTEN, False),
        (UNITS["As"], 0.5 * _HARDLY, None), (Unit("10 mAh", "mAh", 10.0), _HARDLY, True),
    ),
    Quantity.TEMPERATURE: (
        (UNITS["degC"], _WRITTEN, None), (UNITS["degF"], _RARE, None), (UNITS["K"], _RARE, None),
        (Unit("0.1 degC", "degC", 0.1), _RARE, True),
    ),
}  # fmt: skip
# What a quantity comes to in radio power of models, in its canonical unit: as a rule, and at all
# (heuristic, no source). Of temperatures what they begin at.
_LIKELY_SIZE = {
    Quantity.VOLTAGE: (3.0, 26.0),
    Quantity.CELL_VOLTAGE: (2.0, 4.5),
    Quantity.CURRENT: (0.3, 40.0),
    Quantity.CONSUMED: (5.0, 20_000.0),
    Quantity.TEMPERATURE: (-20.0, 50.0),
}
_POSSIBLE_SIZE = {
    Quantity.VOLTAGE: (1.5, 75.0),
    Quantity.CELL_VOLTAGE: (0.5, 5.0),
    Quantity.CURRENT: (0.05, 150.0),
    Quantity.CONSUMED: (5.0, 60_000.0),
    Quantity.TEMPERATURE: (-40.0, 150.0),
}
# The same of numbers that are not whole, which no machine counted: they go up to those of a drive,
# and of milliamperes nobody writes the decimals of some few.
_POSSIBLE_BROKEN = {
    **_POSSIBLE_SIZE, Quantity.VOLTAGE: (1.5, 120.0), Quantity.CURRENT: (0.1, 400.0)
}  # fmt: skip
#: A temperature in a rare unit begins between these, degC; a warmer or colder one is none.
_RARE_TEMPERATURES = (10.0, 45.0)


def units_by_size(shape: Shape, quantity: Quantity) -> list[Candidate]:
    """Units in which a column that names none is of a possible size, the best first.

    Parameters
    ----------
    shape : Shape
    quantity : Quantity
    """
    found = []
    value = shape.start if quantity is Quantity.TEMPERATURE else shape.top
    for unit, score, whole in _UNITS.get(quantity, ()):
        if whole not in (None, shape.whole):
            continue
        inside = value * unit.factor + unit.offset
        low, high = _LIKELY_SIZE[quantity]
        least, most = (_POSSIBLE_SIZE if shape.whole else _POSSIBLE_BROKEN)[quantity]
        if quantity is Quantity.TEMPERATURE and score < _WRITTEN:
            low, high = least, most = _RARE_TEMPERATURES
        if low <= inside <= high:
            found.append(Candidate(unit, score + _LIKELY))
        elif least <= inside <= most:
            found.append(Candidate(unit, score + _POSSIBLE))
    return sorted(found, key=lambda c: -c.score)


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
    if quantity in _UNITS:
        return _named(shape, quantity, unit) if unit is not None else _unnamed(shape, quantity)
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


def _unnamed(shape: Shape, quantity: Quantity) -> UnitJudgement:
    """The unit of the likeliest size; the canonical one where the values fit none."""
    found = units_by_size(shape, quantity)
    if not found:
        usual = _UNITS[quantity][0][0]
        odd = shape.top > 0.0  # else a column of zeros, of any unit
        why = f"no unit named; up to {shape.high:,.6g} is unusual for {usual.symbol}" if odd else ""
        return UnitJudgement(usual, why, 0.5 if odd else 1.0)
    best = found[0]
    rivals = tuple(c.unit for c in found[1:] if c.score > best.score - LEAD)
    if best.unit is _UNITS[quantity][0][0]:
        return UnitJudgement(best.unit, "", 1.0, rivals)
    why = f"no unit named; values up to {shape.high:,.6g} speak for {best.unit.symbol}"
    return UnitJudgement(best.unit, why, 0.95, rivals)


def _named(shape: Shape, quantity: Quantity, unit: Unit) -> UnitJudgement:
    """The unit of the header, or a better one where the values are far out of all size in it."""
    top = shape.top
    inside = top * unit.factor
    too_high = quantity is Quantity.VOLTAGE and unit.symbol == "V" and top > 120
    if too_high or (quantity is Quantity.CELL_VOLTAGE and not 0.5 <= inside <= 5.0):
        better = next((c.unit for c in units_by_size(shape, quantity) if c.score >= _LIKELY), None)
    elif quantity is Quantity.VOLTAGE and inside < 0.3 and 1.0 <= top <= 75 and not shape.whole:
        return UnitJudgement(
            UNITS["V"], f"{shape.high:.4g} {unit.symbol} is next to nothing; V assumed", 0.85
        )
    elif quantity is Quantity.CURRENT and unit.symbol == "A" and top > 1000:
        better = UNITS["mA"]
    else:
        next_to_nothing = quantity is Quantity.VOLTAGE and 0 < inside < 0.3
        return UnitJudgement(unit, "", 0.7 if next_to_nothing else 1.0)
    if better is None:
        return UnitJudgement(unit, f"{shape.high:,.6g} {unit.symbol} is unusual", 0.5)
    noun = quantity.value.replace("-", " ")
    why = (
        f"{shape.high:,.6g} {unit.symbol} is no {noun} of a model's radio power, {better.symbol} is"
    )
    return UnitJudgement(better, why, 0.9)


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
    sign = np.sign(counter)
    both &= sign != -np.sign(float(np.sum(sign[both])))  # -1 for no value, in a count from zero on
    if np.count_nonzero(both) < 10:
        return None
    t, i, q = time_s[both], current_a[both], counter[both]
    steps = np.diff(t)
    # Not across gaps, where nobody knows what flowed, nor where a clock or a counter began anew.
    usual = (steps > 0) & (steps <= 10.0 * max(float(np.median(steps)), 1e-9))
    rises = np.diff(q)
    up = rises[rises > 0]
    usual &= (rises >= 0) & (rises <= _JUMP * (float(np.median(up)) if len(up) else 0.0))
    flowed_mah = abs(float(np.sum(0.5 * (i[1:] + i[:-1])[usual] * steps[usual]))) / 3.6
    counted = rises[usual]
    # A counter that steps seldom has to have stepped often enough to be compared.
    if flowed_mah <= 0.0 or np.count_nonzero(counted) < 5:
        return None
    return Flowed(float(counted.sum()), flowed_mah)


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
    # Wild cells are larger than the others; smaller is a load that is off.
    size = np.abs(current)
    if (far := remote(current, 0.5)).any():
        current = np.where(far & (size > np.nanmedian(size)), np.nan, current)
    filled = np.isfinite(current)
    drawn = float(-current[filled & (current < 0)].sum())
    other = float(current[filled & (current > 0)].sum())
    if drawn <= 0.2 * (drawn + other) or drawn == 0:
        return CurrentSign(False)
    if voltage is not None:
        relation = moves_with(current, voltage)
        if relation > 0.3:
            return CurrentSign(True, "the voltage falls when this current turns negative")
        if relation < -0.3:
            return CurrentSign(False, "the voltage rises when this current turns negative")
    if (
        of_other_pack is not None
        and max(moves_with(current, of_other_pack), sways_with(current, of_other_pack)) > 0.3
    ):
        return CurrentSign(False, "it moves with the other pack's, which charges this one")
    if other < 0.05 * drawn:
        return CurrentSign(True, "it is negative throughout")
    return CurrentSign(None, "its sign could not be told from the values")
