"""A step of the resistance between a pack and the bus within one flight."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.away import HEAD_V
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.intervals import likeness
from telemetry.numerics.sampling import outside
from telemetry.readings import Reading, Readings, block_means, part_standing
from telemetry.results import PackOut, PathStep

# Means over blocks bring readings of different instants together; each side of a step needs some.
_BLOCK_S, _UPDATES, _LEAST = 2.0, 6.0, 12
# Below this part of its high currents a pack behind a diode may be held off: then the drop is not
# that of its path (heuristic).
_GIVING = 0.2
# A pack that gives less than this at its best tells nothing of its path (heuristic).
_LEAST_A = 0.5
# Highest F over all instants, one parameter, 15 % left off at the ends: exceeded by chance in 1 %
# of the flights at 12.4 (D. W. K. Andrews, Econometrica 61 (1993) 821, table 1, from memory). Four
# paths and unlike residuals ask for more (heuristic).
_SUP_F = 30.0
# Means over blocks are off by the whole step of a voltage that stands still, by this part of it
# where it does not (heuristic).
_OF_STEP = 0.5
# A voltage that is held, or sent again only when it moved by some steps, adds a level whatever the
# current: a path has to leave less of the squares than any level from an instant on, by this many
# of a residual's, two standard errors (heuristic).
_BEATS = 4.0
# By so many of its steps a held voltage may be off; a larger leap is none of the sensors'
# (heuristic).
_HELD_STEPS = 2.5
_ENDS = 0.15
_ROUNDING = 1e-12  # part of the squares of a column that is none of its own
_SETTLE_S = 2.0


def path_steps(
    readings: Readings, aircraft: Aircraft, outs: Sequence[PackOut]
) -> tuple[PathStep, ...]:
    """Steps of the drop from pack to bus per ampere, at most one for each pack.

    ``U(pack) - U(bus) = a + R I + d I [t >= T]``, by least squares over block means; T is where it
    fits best. Likeness of neighbouring residuals is taken off the F and put on the interval. What
    ``a + R I + c [t >= T]`` explains as well is no resistance but the level of a held voltage,
    unless it is more than that can be off. A step that makes less
    of a drop at the high currents of either side than the two sensors' resolutions leave open is
    none.

    Parameters
    ----------
    readings : Readings
        Of a flight.
    aircraft : Aircraft
        Behind a regulator there is no resistance to judge: none is found.
    outs : sequence of PackOut
        Left out.

    Returns
    -------
    tuple of PathStep
    """
    root = aircraft.root
    bus = None if root is None else readings.get(Quantity.VOLTAGE, root)
    if bus is None or aircraft.regulated_v is not None:
        return ()
    found = []
    for pack in aircraft.packs:
        volts = readings.get(Quantity.VOLTAGE, pack.name)
        amps = readings.get(Quantity.CURRENT, pack.name)
        if volts is None or amps is None or pack.name == root:
            continue
        away = [(o.start_s - _SETTLE_S, o.end_s + _SETTLE_S) for o in outs]
        blocks = drop_blocks(volts, bus, amps, readings, away)
        held_v = _HELD_STEPS * sum(r.resolution or 0.0 for r in (volts, bus))
        if blocks is None or (step := step_of_slope(*blocks, held_v)) is None:
            continue
        time_s, before, rise, half = step
        # No way has less than no resistance: so far off is what was measured, on either side.
        half = math.hypot(half, min(before, before + rise, 0.0))
        # What the sensors' own steps can make of a drop is none of the path's; a side under which
        # hardly any current flowed tells nothing.
        starts, _, flow = blocks
        sides = (flow[starts < time_s], flow[starts >= time_s])
        loaded_a = min(float(np.quantile(side, 0.95)) for side in sides)
        if (abs(rise) - half) * loaded_a < _open_v(volts, bus, starts):
            continue
        found.append(
            PathStep(
                place=pack.name,
                parent=bus.place,
                time_s=time_s,
                before_mohm=1000 * before,
                rise_mohm=1000 * rise,
                low_rise_mohm=1000 * (rise - half),
                high_rise_mohm=1000 * (rise + half),
            )
        )
    return tuple(found)


def _open_v(volts: Reading, bus: Reading, starts: FloatArray) -> float:
    """What the steps of two voltages leave open of the means of their drop, V."""
    steps = [r.resolution or 0.0 for r in (volts, bus)]
    width_s = float(np.diff(starts).min())
    stand = [
        s * part_standing(r, starts, width_s) for s, r in zip(steps, (volts, bus), strict=True)
    ]
    return max(sum(stand), _OF_STEP * max(steps))


def drop_blocks(
    volts: Reading,
    bus: Reading,
    amps: Reading,
    readings: Readings,
    away: list[tuple[float, float]],
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Block starts, drop and current while the pack gives; None where there are too few."""
    update_s = max(r.update_s or readings.row_s for r in (volts, bus, amps))
    edges = np.arange(readings.start_s, readings.end_s, max(_BLOCK_S, _UPDATES * update_s))
    drop = block_means(volts.t, volts.v, edges) - block_means(bus.t, bus.v, edges)
    flow = block_means(amps.t, amps.v, edges)
    start = edges[:-1]
    known = np.isfinite(drop) & np.isfinite(flow) & outside(start, away)
    if known.sum() <= 2 * _LEAST:
        return None
    high = float(np.quantile(flow[known], 0.95))
    known &= flow > _GIVING * high
    if known.sum() <= 2 * _LEAST or high < max(_LEAST_A, 10.0 * (amps.resolution or 0.0)):
        return None
    if float(np.median(drop[known])) > HEAD_V:
        return None
    return start[known], drop[known], flow[known]


def step_of_slope(
    t: FloatArray, y: FloatArray, x: FloatArray, held_v: float = 0.0
) -> tuple[float, float, float, float] | None:
    """Instant, slope before, rise of the slope and its half width; None where there is none."""
    n = t.size
    ends = max(_LEAST, math.ceil(_ENDS * n))
    if n <= 2 * ends:
        return None
    # Where a slope, and where a level, explains the most from an instant on.
    k, at = (ends + int(np.argmax(_gains(y, x, c)[ends : n - ends])) for c in (x, np.ones(n)))
    since, risen = (np.where(np.arange(n) >= first, 1.0, 0.0) for first in (k, at))
    left, coef = _fit(y, np.ones(n), x, since * x)
    level = _fit(y, np.ones(n), x, risen)[0]
    whole = _fit(y, np.ones(n), x)[0]
    design = np.column_stack([np.ones(n), x, since * x])
    variance = max(left / (n - 3), 1e-12) * likeness(y - design @ coef)
    if (whole - left) / variance < _SUP_F:
        return None
    moved_v = abs(float(coef[2])) * float(np.sqrt(np.mean(x[k:] ** 2)))
    if moved_v <= held_v and (level - left) / variance < _BEATS:
        return None
    spread = float(np.linalg.inv(design.T @ design)[2, 2])
    return float(t[k]), float(coef[1]), float(coef[2]), 2.0 * math.sqrt(variance * spread)


def _gains(y: FloatArray, x: FloatArray, column: FloatArray) -> FloatArray:
    """By how much squares fall, of a line of y on x, with this column from each instant on."""
    axes, size, _ = np.linalg.svd(np.column_stack((np.ones(y.size), x)), full_matrices=False)
    axes = axes[:, size > _ROUNDING * size[0]]
    left = y - axes @ (axes.T @ y)

    def from_each_on(values: FloatArray) -> FloatArray:
        return np.cumsum(values[::-1], axis=0)[::-1]

    power = from_each_on(column**2)
    own = power - (from_each_on(axes * column[:, None]) ** 2).sum(axis=1)
    told = own > _ROUNDING * power[0]
    return np.where(told, from_each_on(column * left) ** 2 / np.where(told, own, 1.0), 0.0)


def _fit(y: FloatArray, *columns: FloatArray) -> tuple[float, FloatArray]:
    """Squares left by least squares, and the coefficients."""
    design = np.column_stack(columns)
    coef = np.asarray(np.linalg.lstsq(design, y, rcond=None)[0], dtype=np.float64)
    return float(((y - design @ coef) ** 2).sum()), coef
