"""Currents of places compared with one another: the pilot's vigour is common to all of them.

The current of a place is set against that of its mirror, or against all other places together;
the logarithm of the ratio then moves by the same amount for the same fault, whatever the day's
stir was like. The rest is not taken off first: its error would come back in every value.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.trends.measures import Measure, Measures
from telemetry.trends.parts import EvidencePart, part_of
from telemetry.trends.table import FeatureTable

FloatArray = NDArray[np.float64]

# Usual scatter of the logarithm of a ratio from flight to flight (heuristic, from simulated seasons
# of random aircraft), beside the uncertainty of each value: against the mirror, against other
# places, against nothing. It is only where to begin: each aircraft's own scatter is learnt.
_SIGMA = {
    "stir": (0.025, 0.04, 0.20),
    "air": (0.015, 0.05, 0.20),
    "rest": (0.02, 0.05, 0.08),
}
#: How far each moves when the moving current of the node rises by a given share (heuristic, from
# simulated servos of three laws): in the air holding against loads dilutes it, at rest only wear
# and stiffness show.
RESPONSE = {"stir": 1.0, "air": 0.6, "rest": 0.5}
# How unsure these responses are, relative (heuristic): servos of other makes bind in other ways.
_DOUBT = {"stir": 0.1, "air": 0.4, "rest": 0.8}
# Places do not answer to vigour alike: power of one current in the other's, about 1. Of mirrored
# ones only the part that rests may differ (heuristic); at rest it tells nothing of them.
_SLOPE_SD = {"stir": (0.05, 0.3), "air": (0.05, 0.4), "rest": (0.0, 0.3)}
# Rise of the ratio from cold to warm: scatter against mirror and others (heuristic); time constant
# in which a servo's case warms up (common practice, no source).
_RAMP_SIGMA = (0.03, 0.08)
_WARM_UP_S = 180.0
# A place that draws less than this part of what it drew has stopped (heuristic).
_STOPPED, _THIRDS = 0.2, 3
_SINGULAR = 1e12
_NORMAL_95 = 1.96
# Currents below this share of a resolution step are no measurement.
_LEAST_STEPS = 0.5
_LEAST_A = 0.01
_FEW_BLOCKS = 4


def current_parts(
    table: FeatureTable, place: str, others: Sequence[str], *, mirror: bool
) -> list[EvidencePart]:
    """Stir, flight and rest current of a place against others, as parts of one evidence.

    Parameters
    ----------
    table : FeatureTable
    place : str
    others : sequence of str
        Places to set it against; none: it is set against nothing but its own past.
    mirror : bool
        Whether they are its mirror.

    Returns
    -------
    list of EvidencePart
        Values are logarithms of ratios.
    """
    kind = 2 if not others else 0 if mirror else 1
    made = []
    for name in ("stir", "air", "rest"):
        found = table.rows(("ratio", name, place, *others), partial(_ratio, name, place, others))
        if found is None:
            continue
        y, se, level = found
        at = np.flatnonzero(np.isfinite(y))
        if at.size == 0:
            continue
        slope_sd = _SLOPE_SD[name][kind] if others else 0.0
        made.append(
            EvidencePart(
                name=name,
                at=at,
                y=y[at],
                se=se[at],
                sigma=_SIGMA[name][kind],
                response=RESPONSE[name],
                doubt=_DOUBT[name],
                # Against the first, so that later flights change nothing of earlier ones.
                design=(level[at] - level[at[0]])[:, None] if slope_sd else None,
                slope=np.zeros(1) if slope_sd else None,
                slope_sd=np.array([slope_sd]) if slope_sd else None,
            )
        )
    return made


def _ratio(
    name: str, place: str, others: Sequence[str], table: FeatureTable
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    if name == "rest":
        return _rest_ratio(table, place, others)
    return _load_ratio(table, name, place, others)


def _load_ratio(
    table: FeatureTable, part: str, place: str, others: Sequence[str]
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Log of the ratio of mean currents, its standard error, log of the others' current."""
    own = table.stretches(part, "amps", place)
    theirs = [table.stretches(part, "amps", o) for o in others]
    if own is None or any(t is None for t in theirs):
        return None
    step = table.steps_a(place)
    floor = np.maximum(_LEAST_STEPS * step, _LEAST_A)
    below = np.sum([t for t in theirs if t is not None], axis=0) if others else np.ones_like(own)
    good = np.isfinite(own) & np.isfinite(below)
    n = good.sum(axis=1)
    few = n < _FEW_BLOCKS
    n = np.maximum(n, _FEW_BLOCKS)

    def mean(x: FloatArray) -> FloatArray:
        return np.asarray(np.where(good, x, 0.0).sum(axis=1) / n, dtype=np.float64)

    top = np.maximum(mean(own), floor)
    bottom = np.maximum(mean(below), floor) if others else np.ones_like(top)
    # Delta method on paired stretches: the common movement cancels.
    scatter = own / top[:, None] - below / bottom[:, None]
    centre = mean(scatter)
    variance = np.where(good, (scatter - centre[:, None]) ** 2, 0.0).sum(axis=1) / (n - 1)
    se = np.sqrt(variance / n + step**2 / (12.0 * n) / top**2)
    y = np.where(few, np.nan, np.log(top / bottom))
    return y, se, np.log(bottom)


def _rest_ratio(
    table: FeatureTable, place: str, others: Sequence[str]
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    own, own_se = table.column(place, "rest_a")
    if not np.isfinite(own).any():
        return None
    floor = np.maximum(_LEAST_STEPS * table.steps_a(place), _LEAST_A)
    top = np.maximum(own, floor)
    if not others:
        return np.log(top), own_se / top, np.zeros_like(top)
    theirs = [table.column(o, "rest_a") for o in others]
    bottom = np.maximum(np.sum([t[0] for t in theirs], axis=0), floor)
    bottom_se = np.sqrt(np.sum([t[1] ** 2 for t in theirs], axis=0))
    return np.log(top / bottom), np.hypot(own_se / top, bottom_se / bottom), np.log(bottom)


def ramp_part(
    table: FeatureTable, place: str, others: Sequence[str], *, mirror: bool
) -> EvidencePart | None:
    """How far a current rises within a flight as servos warm up, as one part.

    Stretch by stretch the current is explained by those of the other places, each with its own
    weight, and by a warmth that rises from 0 to 1 with the time constant of a servo; what the
    warmth takes, over the mean current, is the relative rise from cold to warm.

    Parameters
    ----------
    table : FeatureTable
    place : str
    others : sequence of str
        Places that are not suspect themselves.
    mirror : bool
        Whether the mirror is among them.
    """
    own = table.stretches("air", "amps", place)
    with_air = [o for o in others if table.stretches("air", "amps", o) is not None]
    if own is None or not with_air:
        return None
    found = table.rows(("ramps", place, *with_air), partial(_ramps, place, with_air))
    return None if found is None else part_of("ramp", *found, sigma=_RAMP_SIGMA[0 if mirror else 1])


def _ramps(
    place: str, others: Sequence[str], table: FeatureTable
) -> tuple[FloatArray, FloatArray] | None:
    own, *theirs = (table.stretches("air", "amps", p) for p in (place, *others))
    y, se = np.full((2, table.size), np.nan)
    for k, m in enumerate(table.flights):
        if m.air is None or own is None:
            continue
        beside = [t[k] for t in theirs if t is not None]
        # Without that one the others would tell another rise: no flight to set beside the rest.
        if any(_stops(t, own[k]) for t in beside):
            continue
        found = _ramp(m.air.block_s, own[k], beside)
        if found is not None:
            y[k], se[k] = found
    return y, se


def _stops(other: FloatArray, own: FloatArray) -> bool:
    """Whether another place nearly stops to draw within a flight while this one goes on.

    It then tells nothing of what this one should draw, which would seem to rise as it warms.
    """
    both = np.isfinite(other) & np.isfinite(own)
    if np.count_nonzero(both) < _THIRDS:
        return False
    kept = [_last_third(x[both]) for x in (other, own)]
    return bool(kept[0] < _STOPPED <= kept[1])


def _last_third(x: FloatArray) -> float:
    """Mean of the last third of the stretches over that of the third with the highest."""
    thirds = [float(part.mean()) for part in np.array_split(x, _THIRDS)]
    return thirds[-1] / max(*thirds, _LEAST_A)


def _ramp(
    block_s: float, own: FloatArray, theirs: Sequence[FloatArray]
) -> tuple[float, float] | None:
    """Relative rise from cold to warm in one flight, and its standard error."""
    good = np.isfinite(own) & np.all([np.isfinite(t) for t in theirs], axis=0)
    n, unknown = int(good.sum()), 2 + len(theirs)
    a = own[good]
    if n < 3 * unknown or a.mean() <= _LEAST_A:
        return None
    middle_s = block_s * (np.flatnonzero(good) + 0.5)
    warmth = -np.expm1(-middle_s / _WARM_UP_S) * a.mean()
    design = np.stack([warmth - warmth.mean(), np.ones(n), *(t[good] for t in theirs)])
    square = design @ design.T
    if np.linalg.cond(square) > _SINGULAR:
        return None
    inverse = np.linalg.inv(square)
    found = inverse @ (design @ a)
    left = a - found @ design
    variance = float(left @ left) / (n - unknown)
    return float(found[0]), float(np.sqrt(variance * inverse[0, 0]))


def compared(m: Measures, loads: Sequence[str], aircraft: Aircraft) -> tuple[Measure, ...]:
    """Features that compare a place with others: mirror ratio, share of all, rise as it warms.

    Parameters
    ----------
    m : Measures
        Of one flight.
    loads : sequence of str
        Places that drive servos.
    aircraft : Aircraft

    Returns
    -------
    tuple of Measure
        ``stir_mirror_ratio``, ``air_mirror_ratio``; ``stir_share``, ``air_share`` (of all these
        places together); ``ramp_pct``, the rise from cold to warm in the flight, %; each with its
        95 % interval.
    """
    table = FeatureTable([m])
    out = []

    def told(place: str, feature: str, unit: str, middle: float, low: float, high: float) -> None:
        out.append(
            Measure(place=place, feature=feature, value=middle, unit=unit, low=low, high=high)
        )

    for place in loads:
        rest = tuple(p for p in loads if p != place)
        mirror = aircraft.mirror(place, loads)
        for part in ("stir", "air"):
            for others, name in (((mirror,) if mirror else (), "mirror_ratio"), (rest, "share")):
                found = _load_ratio(table, part, place, others) if others else None
                if found is None or np.isnan(found[0][0]):
                    continue
                y, reach = float(found[0][0]), _NORMAL_95 * float(found[1][0])
                shown = np.exp if name == "mirror_ratio" else _logistic
                told(
                    place,
                    f"{part}_{name}",
                    "",
                    *(float(shown(x)) for x in (y, y - reach, y + reach)),
                )
        ramp = ramp_part(table, place, rest, mirror=mirror is not None) if rest else None
        if ramp is not None:
            y, reach = 100.0 * float(ramp.y[0]), 100.0 * _NORMAL_95 * float(ramp.se[0])
            told(place, "ramp_pct", "%", y, y - reach, y + reach)
    return tuple(out)


def _logistic(x: float) -> float:
    """Share of one of two whose ratio has this logarithm."""
    return 1.0 / (1.0 + float(np.exp(-x)))
