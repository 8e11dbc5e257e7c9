"""Voltage drop per amp of leads, flight by flight, from means over whole stirs and flights.

Two sensors read at different instants, so a single drop is mostly noise. Their means over a
whole flight are not: mean drop over mean current is free of that error, and all that is left of
the sensors' offset is a part that goes with one over the current, which the flights themselves
tell (it is a covariate).
"""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from telemetry.trends.parts import BoolArray, EvidencePart, part_of
from telemetry.trends.table import FeatureTable

FloatArray = NDArray[np.float64]

# Usual scatter from flight to flight, mOhm (heuristic, from simulated seasons): plugs are mated
# anew, copper warms. It is only where to begin.
_AIR_MOHM, _STIR_MOHM, _FIT_MOHM, _SLOPE_MOHM = 1.0, 2.0, 2.5, 2.0
# Offset of two voltage sensors against each other, V (common practice, no source).
_OFFSET_V = 0.03
_OFFSET_SIGMA_V = 0.008  # from flight to flight (heuristic)
# What a diode takes at any current, V (common practice, no source: 0.2 to 0.7).
_DIODE_V = 0.4
# A mean current below this says nothing of a resistance (heuristic).
_LEAST_A = 0.15
_FEW_BLOCKS = 4
# Stretches and their scatter of current that tell a slope (heuristic).
_FEW_SLOPE, _LEAST_SPREAD_A = 8, 0.01


def drop_parts(
    table: FeatureTable, place: str, parent: str, current: str, *, fit: str, held_off: bool = False
) -> list[EvidencePart]:
    """Resistance between two places as parts of one evidence, in mOhm.

    Parameters
    ----------
    table : FeatureTable
    place, parent : str
    current : str
        Place whose current flows between them (or, for an apparent value, the whole).
    fit : str
        Feature that holds the resistance as the review fitted it.
    held_off : bool
        Whether a diode may lie between them: it takes a voltage of its own, and while it blocks the
        drop says nothing. Then only stretches count in which the current flows.
    """
    made = []
    offset_v = _DIODE_V if held_off else _OFFSET_V
    for name, sigma in (("air", _AIR_MOHM), ("stir", _STIR_MOHM)):
        what = ("drops", name, place, parent, current, held_off)
        found = table.rows(what, partial(_drops, name, place, parent, current, held_off))
        if found is None:
            continue
        at = np.flatnonzero(np.isfinite(found[0]))
        if at.size == 0:
            continue
        y, se, inverse = (x[at] for x in found)
        made.append(
            EvidencePart(
                name=name,
                at=at,
                y=y,
                se=se,
                sigma=sigma,
                # Against the first, so that later flights change nothing of earlier ones.
                design=(inverse - inverse[0])[:, None],
                slope=np.zeros(1),
                slope_sd=np.array([1000.0 * offset_v]),
            )
        )
    more = (
        slope_part(table, place, parent, current, held_off=held_off),
        feature_part(table, place, fit, _FIT_MOHM),
    )
    return [*made, *(p for p in more if p is not None)]


def slope_part(
    table: FeatureTable, place: str, parent: str, current: str, *, held_off: bool = False
) -> EvidencePart | None:
    """Drop per amp over the stretches of each flight: means of several seconds, free of offsets."""
    what = ("slopes", place, parent, current, held_off)
    found = table.rows(what, partial(_slopes, place, parent, current, held_off))
    return None if found is None else part_of("slope", *found, sigma=_SLOPE_MOHM)


def _slopes(
    place: str, parent: str, current: str, held_off: bool, table: FeatureTable
) -> tuple[FloatArray, FloatArray] | None:
    low, high = (table.stretches("air", "volts", p) for p in (place, parent))
    amps = table.stretches("air", "amps", current)
    if low is None or high is None or amps is None:
        return None
    good = np.isfinite(low) & np.isfinite(high) & np.isfinite(amps)
    good &= _flowing(amps) | (not held_off)
    fall_mv = 1000.0 * (high - low)
    y, se = np.full((2, table.size), np.nan)
    for k in np.flatnonzero(good.sum(axis=1) >= _FEW_SLOPE):
        y[k], se[k] = slope(amps[k, good[k]], fall_mv[k, good[k]])
    return y, se


def _flowing(amps: FloatArray) -> BoolArray:
    """Stretches in which a current flows, and flowed in both beside: between, a diode opens."""
    flows = np.pad(~(amps < _LEAST_A), ((0, 0), (1, 1)), constant_values=True)
    return np.asarray(flows[:, :-2] & flows[:, 1:-1] & flows[:, 2:])


def slope(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope and its standard error; NaN where x hardly moves."""
    apart = x - x.mean()
    square = float(apart @ apart)
    if square <= x.size * _LEAST_SPREAD_A**2:
        return np.nan, np.nan
    found = float(apart @ y) / square
    left = y - y.mean() - found * apart
    return found, float(np.sqrt(left @ left / (x.size - 2) / square))


def offset_parts(table: FeatureTable, place: str, parent: str) -> list[EvidencePart]:
    """Offset of two voltage sensors as parts, in V: as fitted, and the drop at rest."""
    fitted = feature_part(table, place, "offset_v", _OFFSET_SIGMA_V)
    (low, low_se), (high, high_se) = (table.column(p, "rest_v") for p in (place, parent))
    at = np.flatnonzero(np.isfinite(low) & np.isfinite(high))
    made = [] if fitted is None else [fitted]
    if at.size:
        se = np.hypot(low_se, high_se)[at]
        made.append(
            EvidencePart(name="rest", at=at, y=(high - low)[at], se=se, sigma=_OFFSET_SIGMA_V)
        )
    return made


def feature_part(
    table: FeatureTable, place: str, feature: str, sigma: float
) -> EvidencePart | None:
    """A feature with its own interval as a part; None where no flight has it."""
    return part_of(feature, *table.column(place, feature), sigma=sigma)


def _drops(
    part: str, place: str, parent: str, current: str, held_off: bool, table: FeatureTable
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Mean drop over mean current, mOhm, its standard error, one over the mean current."""
    low, high = (table.stretches(part, "volts", p) for p in (place, parent))
    amps = table.stretches(part, "amps", current)
    if low is None or high is None or amps is None:
        return None
    good = np.isfinite(low) & np.isfinite(high) & np.isfinite(amps)
    good &= _flowing(amps) | (not held_off)
    n = good.sum(axis=1)
    enough = np.where(good, amps, 0.0).sum(axis=1) >= _LEAST_A * n
    at = np.flatnonzero((n >= _FEW_BLOCKS) & enough)
    good, n, amps, fall_mv = good[at], n[at], amps[at], 1000.0 * (high - low)[at]

    def mean(x: FloatArray) -> FloatArray:
        return np.asarray(np.where(good, x, 0.0).sum(axis=1) / n, dtype=np.float64)

    mean_a = mean(amps)
    mohm = mean(fall_mv) / mean_a
    # What is left of each stretch once the part that goes with its current is taken off: that part
    # is the offset's, not chance.
    spread_a = amps - mean_a[:, None]
    scatter = fall_mv - mohm[:, None] * amps
    square = np.maximum(mean(spread_a**2), 1e-12)
    slope = mean(scatter * spread_a) / square
    left = scatter - slope[:, None] * spread_a
    told = np.full((3, table.size), np.nan)
    told[:, at] = mohm, np.sqrt(mean(left**2) / (n - 2)) / mean_a, 1.0 / mean_a
    return told[0], told[1], told[2]
