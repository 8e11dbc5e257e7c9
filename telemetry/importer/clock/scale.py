"""What one count of a time column is worth, in seconds, where the file names no unit.

Candidates are the units that loggers count in. What else the file holds decides where it can:
another clock, or the charge that flowed against the current. Only then do the steps from row to
row, and where more than one unit fits them the user is told or asked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.clock.timesource import TimeSource
from telemetry.importer.names.evidence import flowed
from telemetry.importer.names.settings import TIME_SCALES
from telemetry.model.channels import Quantity
from telemetry.model.errors import UnreadableLog
from telemetry.model.unsettled import set_option

FloatArray = NDArray[np.float64]

UNIT_NAMES = {
    "s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds",
    "0.1s": "tenths of a second", "0.01s": "hundredths of a second", "min": "minutes",
    "h": "hours", "d": "days",
    **{s: f"{s[:-1]} of a second" for s in TIME_SCALES if s.startswith("1/")},
}  # fmt: skip
# What loggers count in: whole numbers as a rule, others as a rule, and what some few do.
_WHOLE, _WHOLE_RARE = ("s", "ms", "us", "ns"), ("0.1s", "0.01s")
_BROKEN, _BROKEN_RARE = ("s", "ms"), ("min", "h", "d")
#: Telemetry rows come between this many seconds apart ... (heuristic)
_ROWS_S = (0.02, 2.0)
#: ... and no unit is thought of in which they would be further off than this.
_AT_ALL_S = (0.002, 20.0)
#: A charge counter and the integral of its current agree within this factor; what agrees with
#: nothing that loggers count in leaves those within the second (heuristic).
_CHARGE_AGREES, _AT_ALL_AGREES = 1.12, 1.8
#: Two clocks of one file agree within this factor (heuristic).
_CLOCKS_AGREE = 1.03
#: Steps that are one round number in this part of the rows are no minutes or hours (heuristic).
_ROUND_STEPS = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What one count is worth.

    Attributes
    ----------
    symbol : str
        One of TIME_SCALES.
    why : str
    rivals : tuple of str
        Others that fit as well, where nothing decided.
    """

    symbol: str
    why: str
    rivals: tuple[str, ...] = ()


def find_scale(
    source: TimeSource, beside: Sequence[TimeSource], clocks: Sequence[FloatArray]
) -> Scale:
    """What one count of a time without a unit is worth.

    Parameters
    ----------
    source : TimeSource
        Its numbers grow from row to row.
    beside : sequence of TimeSource
        All columns of the file.
    clocks : sequence of ndarray
        Seconds of the rows by other columns whose unit is known.

    Raises
    ------
    UnreadableLog
        Nothing decides; the hint names the settings that do.
    """
    values = source.numbers
    assert values is not None
    rough: float | None = None
    for known, agree, why in (
        (_by_clocks(values, [*clocks, *_uptimes(beside)]), _CLOCKS_AGREE, "another clock"),
        (_by_charge(values, beside), _CHARGE_AGREES, "the charge that flowed"),
    ):
        if known is None:
            continue
        rough = rough or known
        symbol = min(TIME_SCALES, key=lambda s: _apart(known, s))
        if _apart(known, symbol) <= math.log(agree):
            return Scale(symbol=symbol, why=f"no unit named; {why} says so")
    return _by_steps(source, values, rough)


def _apart(known: float, symbol: str) -> float:
    return abs(math.log(known / TIME_SCALES[symbol]))


def _by_steps(source: TimeSource, values: FloatArray, rough: float | None) -> Scale:
    """The unit in which the rows come as close as those of telemetry do.

    ``rough`` is about what one count is worth by other columns, s.
    """
    finite = values[np.isfinite(values)]
    steps = np.diff(finite)
    forward = steps[steps > 0]
    typical = float(np.median(forward)) if len(forward) else 1.0
    whole = bool(np.all(finite[:5000] == np.round(finite[:5000])))
    usual: tuple[str, ...]
    rare: tuple[str, ...]
    usual, rare = (_WHOLE, _WHOLE_RARE) if whole else (_BROKEN, _BROKEN_RARE)
    # An instrument writes seldom while nothing happens: its closest rows tell.
    close = typical if whole or not len(forward) else float(np.quantile(forward, 0.05))
    if rough is not None:
        near = [s for s in TIME_SCALES if _apart(rough, s) <= math.log(_AT_ALL_AGREES)]
        usual, rare = tuple(s for s in usual if s in near), tuple(s for s in rare if s in near)
    rows = {s: (close if s == "s" else typical) * TIME_SCALES[s] for s in (*usual, *rare)}
    fit = [s for s in usual if _ROWS_S[0] <= rows[s] < _ROWS_S[1]]
    if not fit and not whole and rows.get("s", 0.0) >= _AT_ALL_S[0] and _is_round(typical, forward):
        fit = ["s"]
        rare = ()
    if len(finite) < 2:
        fit, rare = ["s"], ()
    shown = f"{typical:.6g}"
    others = [s for s in rare if _ROWS_S[0] <= rows[s] < _ROWS_S[1]]
    if fit:
        why = f"no unit named; steps of {shown} speak for {UNIT_NAMES[fit[0]]}"
        return Scale(symbol=fit[0], why=why, rivals=tuple(others))
    maybe = [s for s in rows if _AT_ALL_S[0] <= rows[s] <= _AT_ALL_S[1]]
    if not maybe:
        guess = rough or 0.1 / typical
        maybe = sorted(TIME_SCALES, key=lambda s: _apart(guess, s))[:2]
    raise open_scale(source, maybe, f", and steps of {shown}")


def open_scale(source: TimeSource, maybe: Sequence[str], steps: str = "") -> UnreadableLog:
    """The error that asks for the unit of a time column.

    Parameters
    ----------
    source : TimeSource
    maybe : sequence of str
        Of TIME_SCALES.
    steps : str
        What speaks for them.
    """
    named = [UNIT_NAMES[s] for s in maybe]
    either = " or ".join((", ".join(named[:-1]), named[-1])) if len(named) > 1 else named[0]
    return UnreadableLog(
        f"the time column has no unit{steps or ', and its counts'} may be {either}",
        column=source.title,
        hint="settle it with "
        + set_option(source.title, *(f"time[{s}]" for s in maybe), number=source.index + 1),
    )


def _is_round(typical: float, forward: FloatArray) -> bool:
    """True where most steps are one number of one digit, or a quarter: 0.01, 0.005, 0.0025."""
    if typical <= 0:
        return False
    digits = typical / 10.0 ** math.floor(math.log10(typical) + 1e-9)
    near = min((1.0, 2.0, 2.5, 4.0, 5.0, 8.0), key=lambda d: abs(d - digits))
    same = np.mean(np.abs(forward - typical) <= 0.01 * typical)
    return abs(near - digits) < 0.01 * near and float(same) >= _ROUND_STEPS


def _by_clocks(values: FloatArray, clocks: Sequence[FloatArray]) -> float | None:
    """Seconds a count by another clock of the file."""
    for clock in clocks:
        both = np.isfinite(clock) & np.isfinite(values)
        if np.count_nonzero(both) < 10:
            continue
        # Not to the ends, where a clock may be wrong or not yet be set.
        counted = np.diff(np.quantile(values[both], [0.2, 0.9], method="nearest"))[0]
        passed = np.diff(np.quantile(clock[both], [0.2, 0.9], method="nearest"))[0]
        if counted > 0 and passed > 0:
            return float(passed / counted)
    return None


def _uptimes(beside: Sequence[TimeSource]) -> list[FloatArray]:
    """Seconds since a unit was switched on."""
    return [values for _, values in _read(beside, Quantity.UPTIME)]


def _by_charge(values: FloatArray, beside: Sequence[TimeSource]) -> float | None:
    """Seconds a count by counters of charge beside the currents of their places."""
    rates = []
    for counter in _read(beside, Quantity.CONSUMED):
        for current in _read(beside, Quantity.CURRENT):
            if counter[0] != current[0]:
                continue
            both = flowed(counter[1], current[1], values)
            if both is not None:
                rates.append(both.counted / both.integral_mah)
    return float(np.median(rates)) if rates else None


def _read(beside: Sequence[TimeSource], quantity: Quantity) -> list[tuple[str | None, FloatArray]]:
    """Places and values, in A or mAh, of the columns whose header names quantity and unit."""
    found = []
    for s in beside:
        best = s.readings[0] if s.readings else None
        unit = best.unit or s.name.unit if best is not None else None
        if best is None or s.numbers is None or unit is None or best.hold:
            continue
        if best.quantity is quantity:
            found.append((best.place, s.numbers * unit.factor))
    return found
