"""A resistance fitted in stretches: whether, and from when to when, it was another one.

Means over blocks of some seconds take out that voltage and current are read at different instants.
``drop = offset + R i`` holds all the time, and ``(R + change) i`` in one stretch of it: of all
stretches between two of some hundred instants the likeliest is taken, by the sum of squares that it
explains (a regression with an unknown change point; R. E. Quandt, Journal of the American
Statistical Association 53, 1958, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.stretches import together

FloatArray = NDArray[np.float64]

_POINTS = 120  # instants at which a stretch may begin or end
_LEAST = 24  # blocks in all
_SIDE = 4  # blocks of a stretch, and beside it
# Part of the sum of squares of the current that tells nothing, and that both sides need.
_UNTOLD, _TOLD = 0.04, 0.1
_LAGS = 8  # blocks over which a residual may hang together
# The current's own movement within a stretch, and beside it, has to tell the change too: by so many
# standard errors, and so much of it (heuristic). Of that movement a part may be what the readings
# missed of a fast current, which lowers a slope: on either side at most so much of it.
_OWN_ERRORS, _OWN_PART, _MISSED_PART = 2.5, 0.4, 0.5
# Or the drop has to leap by so much of it at the edges, between as many blocks on either side as
# a stretch has, of some beside it, under at least half of the stretch's current (heuristic).
_LEAP_PART, _BESIDE, _ALIKE = 0.6, 8, 0.5
# A voltage that is held, or sent again only when it moved by some steps, adds a level whatever the
# current: a leap counts where a change in proportion to the current leaves less of the squares, by
# this many of a residual's, three standard errors, and moves the voltage by so much of a step of
# each sensor; above so many steps no voltage is off that is held (heuristic).
_BEATS, _OF_STEP, _HELD_STEPS = 9.0, 0.9, 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmStretch:
    """Blocks first <= k < end with another resistance than the rest.

    Attributes
    ----------
    first, end : int
    usual_ohm : float
        Of the rest.
    change_ohm, se_ohm : float
        By how much more it is in the stretch, with its standard error.
    confirmed : bool
        Whether the movement of the current within the stretch and beside it tells it too, each side
        with a level of its own, or the drop leapt by more than a held voltage may be off, or in
        proportion to the current: else a level crept or leapt, or the current hardly flowed.
    """

    first: int
    end: int
    usual_ohm: float
    change_ohm: float
    se_ohm: float
    confirmed: bool


def ohm_stretch(
    drop_v: FloatArray,
    amps: FloatArray,
    noise_v: FloatArray,
    missed_a: FloatArray | None = None,
    step_v: float = 0.0,
) -> OhmStretch | None:
    """The likeliest stretch with another resistance.

    Parameters
    ----------
    drop_v, amps : ndarray, shape (n,)
        Mean voltage drop [V] and mean current [A] of each block, in order of time, without NaN.
    noise_v : ndarray, shape (n,)
        What the drop of each block may be off, V, up to a common factor.
    missed_a : ndarray, shape (n,), optional
        What the readings of each block missed of the current's mean, standard error, A.
    step_v : float, optional
        One step of each of the two voltages together, V.

    Returns
    -------
    OhmStretch or None
        None where there are too few blocks or the current did not move, or hardly flowed on one
        side. Whether the change is more
        than chance, its standard error says; it holds that residuals hang together, but not that
        the stretch was searched for.
    """
    n = drop_v.size
    if n < _LEAST or np.ptp(amps) <= 0:
        return None
    w = 1.0 / np.maximum(noise_v, 1e-6) ** 2
    w = w / w.mean()
    base = np.stack((np.ones(n), amps), axis=1)
    gram = base.T @ (base * w[:, None])
    if np.linalg.cond(gram) > 1e12:
        return None
    inverse = np.linalg.inv(gram)
    left = drop_v - base @ (inverse @ (base.T @ (w * drop_v)))
    sums = [np.concatenate(([0.0], np.cumsum(x))) for x in (w * amps, w * amps**2, w * amps * left)]
    at = np.unique(np.linspace(0, n, min(_POINTS, n) + 1).round().astype(np.intp))
    si, sii, sie = (s[at][None, :] - s[at][:, None] for s in sums)
    size = at[None, :] - at[:, None]
    seen = inverse[0, 0] * si**2 + 2 * inverse[0, 1] * si * sii + inverse[1, 1] * sii**2
    free = sii - seen
    share = sii / gram[1, 1]
    fits = (size >= _SIDE) & (n - size >= _SIDE) & (free > 1e-9 * gram[1, 1])
    fits &= (share >= _TOLD) & (share <= 1.0 - _TOLD)
    if not fits.any():
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(fits, sie**2 / free, 0.0)
    if not gain.max() > 0:
        return None  # one line leaves nothing: no change explains more
    a, b = (int(k) for k in np.unravel_index(int(np.argmax(gain)), gain.shape))
    first, end, change = int(at[a]), int(at[b]), float(sie[a, b] / free[a, b])
    inside = np.zeros(n)
    inside[first:end] = amps[first:end]
    full = np.column_stack((base, inside))
    coef = np.linalg.solve(full.T @ (full * w[:, None]), full.T @ (w * drop_v))
    rest = np.sqrt(w) * (drop_v - full @ coef)
    variance = float(rest @ rest) / (n - 5) * together(rest, _LAGS)
    se = float(np.sqrt(variance / free[a, b]))
    usual = float(coef[1])
    own, inner = (drop_v, amps, w, np.zeros(n) if missed_a is None else missed_a), np.zeros(n, bool)
    inner[first:end] = True
    sides = [tuple(x[k] for x in own) for k in (inner, ~inner)]
    confirmed = _is_confirmed(sides[0], sides[1], change)
    worse = inner if change > 0 else ~inner
    moved_v = abs(change) * float(np.sqrt(np.mean(amps[worse] ** 2)))
    beaten = _squares(drop_v, base, inner, w) - float(rest @ rest) >= _BEATS * variance
    real = moved_v > _HELD_STEPS * step_v or (beaten and moved_v >= _OF_STEP * step_v)
    confirmed |= real and _leaps(drop_v - base @ coef[:2], amps, inner, change)
    # What hardly any current flowed in belongs to whatever lies beside it.
    told = np.concatenate(([0.0], np.cumsum(w * amps**2)))
    first = 0 if told[first] < _UNTOLD * told[-1] else first
    end = n if told[-1] - told[end] < _UNTOLD * told[-1] else end
    if change < 0 and 0 in (first, n - end):
        # Less up to an instant is more from it on.
        first, end = (end, n) if first == 0 else (0, first)
        usual, change = usual + change, -change
    return OhmStretch(
        first=first, end=end, usual_ohm=usual, change_ohm=change, se_ohm=se, confirmed=confirmed
    )


def _squares(
    drop_v: FloatArray, base: FloatArray, inner: NDArray[np.bool_], w: FloatArray
) -> float:
    """Weighted squares that a line with another level in a stretch leaves."""
    design = np.column_stack((base, inner.astype(np.float64)))
    coef = np.linalg.solve(design.T @ (design * w[:, None]), design.T @ (w * drop_v))
    left = drop_v - design @ coef
    return float(w @ left**2)


def _is_confirmed(
    inside: tuple[FloatArray, ...], outside: tuple[FloatArray, ...], change_ohm: float
) -> bool:
    """Whether two slopes, each with its own level, differ by the change."""
    sides = (inside, outside) if change_ohm > 0 else (outside, inside)
    high, low = (_slope(*side) for side in sides)
    if high is None or low is None or max(high[2], low[2]) > _MISSED_PART:
        return False
    # The lower slope may be as high as this, for what was missed of its current.
    more = high[0] - low[0] / (1.0 - low[2])
    least = max(_OWN_ERRORS * float(np.hypot(high[1], low[1])), _OWN_PART * abs(change_ohm))
    return more >= least


def _leaps(more_v: FloatArray, amps: FloatArray, inner: NDArray[np.bool_], change: float) -> bool:
    """Whether what is dropped more than usual sets in, and ends, at once and under current."""
    least_a = _ALIKE * float(np.sqrt(np.mean(amps[inner] ** 2)))
    per_a = np.where(amps >= least_a, more_v / np.maximum(amps, least_a), np.nan)
    seen = False
    for edge in np.flatnonzero(np.diff(inner)) + 1:
        sides = per_a[max(0, edge - _BESIDE) : edge], per_a[edge : edge + _BESIDE]
        before, after = (x[np.isfinite(x)] for x in sides)
        if min(before.size, after.size) < _SIDE:
            continue
        leap = float(np.median(after) - np.median(before)) * (1 if inner[edge] else -1)
        if leap / change < _LEAP_PART:
            return False
        seen = True
    return seen


def _slope(
    drop_v: FloatArray, amps: FloatArray, w: FloatArray, missed_a: FloatArray
) -> tuple[float, float, float] | None:
    """Slope [Ohm], its standard error, and the part of the current's movement that was missed."""
    x = amps - np.average(amps, weights=w)
    power = float(w @ x**2)
    if power <= 0 or power**2 < _SIDE * float(np.sum((w * x**2) ** 2)):
        return None  # one or two blocks alone would tell it
    slope = float(w @ (x * drop_v)) / power
    left = drop_v - np.average(drop_v, weights=w) - slope * x
    rest = np.sqrt(w) * left
    variance = float(rest @ rest) / (x.size - 2) * together(rest, _LAGS)
    return slope, float(np.sqrt(variance / power)), float(w @ missed_a**2) / power
