"""A resistance fitted to a voltage and its current, without what a bad contact did.

The slope comes from :mod:`telemetry.numerics.resistance.slope`, the moments to leave out from
:mod:`telemetry.numerics.resistance.outliers`; here the two are brought into agreement,
and what can tell nothing is refused with the reason.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.blocks import slope_of_means
from telemetry.numerics.resistance.matching import Curve, usual_step
from telemetry.numerics.resistance.outliers import closeness, commonest_fall, fell_too_far
from telemetry.numerics.resistance.signals import Signals
from telemetry.numerics.resistance.slope import SlopeInterval, fall_per_ampere
from telemetry.numerics.spans import mask_to_spans

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST = 20  # readings
# A half-width above this share of the value says nothing that a decision could rest on (heuristic).
_USELESS = 1.2
# Steps of the current above this part of its range are moves; those within this time are one, and
# so few in a log tell no interval (heuristic).
_MOVE, _ONE_MOMENT_S, _FEW_MOMENTS = 0.25, 2.0, 2
# Rounds of telling the moments that are left out and fitting without them (heuristic: two as a
# rule).
_ROUNDS = 6
# The commonest fall per ampere is not further below the resistance than this factor: what different
# instants of voltage and current take off it (heuristic; 10 to 40 % on usual logs).
_MOST_ABOVE = 1.6
# Means over blocks do not part with the moments of a bad contact: this far above the commonest fall
# they are of both (heuristic: fast swings alone lower the commonest fall by a half at most).
_MEANS_ABOVE = 2.5
# Readings taken at other instants lie up to 1.4 times as far from the truth as from the commonest
# fall (errors in variables that take half off the slope); a contact hides where it is more
# (heuristic).
_FURTHER = 1.5
_NOT_APART = (
    "the voltage often fell too far for its current: what a bad contact did cannot be told "
    "from the resistance"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A resistance with its 95 % interval, or why there is none.

    Attributes
    ----------
    ohm, low_ohm, high_ohm : float or None
    updates : int
        Voltage readings used, or current readings if those are fewer.
    scale_s : float or None
        The answer is that to a step of current this long before; None for copper.
    lag_s : float
        Constant lag of the voltage's readings behind the current's; it was taken out.
    level_v, level_low_v, level_high_v : float or None
        Mean voltage (difference) carried to zero current, with its interval.
    method : str
        How it was found.
    refused : str
    left_out : tuple of (float, float)
        Moments, s, at which the voltage fell too far for its current: the fit is without them.
    """

    ohm: float | None = None
    low_ohm: float | None = None
    high_ohm: float | None = None
    updates: int = 0
    scale_s: float | None = None
    lag_s: float = 0.0
    level_v: float | None = None
    level_low_v: float | None = None
    level_high_v: float | None = None
    method: str = ""
    refused: str = ""
    left_out: tuple[tuple[float, float], ...] = ()


class FitAttempt(NamedTuple):
    """A fit, what it was made from, and the rows that were taken as sound."""

    fit: Fit
    signals: Signals
    sound: BoolArray


def fit_without_strays(
    matched: Callable[[BoolArray], Signals],
    rows: int,
    max_gap_s: float,
    *,
    relaxes: bool,
    gain: float,
) -> Fit:
    """Fit without the moments at which the voltage fell too far for its current.

    Where the commonest fall per ampere calls any, two answers are sought, each the fit without the
    moments that it calls itself: down from the fit of all readings, which clears what different
    instants of voltage and current made, and up from the commonest fall. Usually the two meet.
    Where the first is far from what most readings say, it only hides the moments, and the second
    alone counts; where that is far from the commonest fall as well, nothing can be told.
    """
    made: dict[bytes, FitAttempt] = {}  # both ways often come to the same rows

    def attempt(sound: BoolArray) -> FitAttempt:
        rows = sound.tobytes()
        if rows not in made:
            signals = matched(sound)
            fit = fit_rows(signals, sound, max_gap_s, relaxes=relaxes, gain=gain)
            made[rows] = FitAttempt(fit, signals, sound)
        return made[rows]

    def settled(attempt_: FitAttempt, most: float) -> FitAttempt:
        for _ in range(_ROUNDS):
            if attempt_.fit.ohm is None:
                break
            sound = ~fell_too_far_for(attempt_.signals, min(attempt_.fit.ohm, most))
            if (sound == attempt_.sound).all():
                break
            attempt_ = attempt(sound)
        return attempt_

    everything = np.ones(rows, dtype=bool)
    first = attempt(everything)
    usual = usual_fall(first.signals)
    if usual is None or not fell_too_far_for(first.signals, usual).any():
        return first.fit
    most = _MOST_ABOVE * usual
    down = settled(first, np.inf)
    up = settled(attempt(~fell_too_far_for(first.signals, usual)), most)
    if down.fit.ohm is not None and not hides_usual(down.signals, down.fit.ohm, usual):
        return of_both(down, up)
    if up.fit.ohm is not None and up.fit.ohm > most:
        return Fit(updates=up.fit.updates, refused=_NOT_APART)
    return with_left_out(up)


def with_left_out(found: FitAttempt) -> Fit:
    """The fit, with the spans, s, of the rows that were not taken as sound."""
    if found.sound.all():
        return found.fit
    t = found.signals.t
    spans = mask_to_spans(t, ~found.sound, hold_s=2.0 * usual_step(t))
    return replace(found.fit, left_out=tuple(spans))


def of_both(down: FitAttempt, up: FitAttempt) -> Fit:
    """One fit from two of the same readings, the second without more of the doubtful ones.

    Falls that the first kept raise it, sound readings that the second left out lower it: where
    they differ, the truth lies between the two.
    """
    a, b = with_left_out(down), up.fit
    if a.ohm is None or b.ohm is None or (down.sound == up.sound).all():
        return a
    lows = [x for x in (a.low_ohm, b.low_ohm) if x is not None]
    highs = [x for x in (a.high_ohm, b.high_ohm) if x is not None]
    low, high = min(lows), max(highs)
    ohm = a.ohm if down.sound.all() else 0.5 * (a.ohm + b.ohm)
    if high - low > 2 * _USELESS * ohm:
        return Fit(updates=a.updates, refused=_NOT_APART)
    return replace(a, ohm=ohm, low_ohm=low, high_ohm=high)


def hides_usual(s: Signals, ohm: float, usual: float) -> bool:
    """Whether most readings lie much further from this resistance than from the commonest fall."""
    x, step = s.current, coarsest_step_v(s)
    far = closeness(s.t, s.y, x, ohm, step_v=step)
    return far > _FURTHER * closeness(s.t, s.y, x, usual, step_v=step)


def usual_fall(s: Signals) -> float | None:
    """The commonest fall per ampere; where steps of the voltage hide it, the most they can hide."""
    step_v, swing = coarsest_step_v(s), float(np.std(s.current))
    found = commonest_fall(s.t, s.y, s.current, step_v=step_v)
    return step_v / swing if found is None and step_v > 0.0 and swing > 0.0 else found


def coarsest_step_v(s: Signals) -> float:
    """The larger step of the two voltages, V."""
    return max(x.step for x in s.steps_v)


def fell_too_far_for(s: Signals, ohm: float) -> BoolArray:
    """Mask: True where the voltage fell too far for the current at this resistance, ohm."""
    return fell_too_far(
        s.t,
        s.y,
        s.current,
        ohm,
        step_v=coarsest_step_v(s),
        highest_x=float(s.amps.v.max()) if s.slow_current else None,
    )


def fit_rows(
    whole: Signals, sound: BoolArray, max_gap_s: float, *, relaxes: bool, gain: float
) -> Fit:
    """One fit of the rows taken as sound; says what it refuses and why."""
    keep = sound & covered(whole.amps, whole.t - whole.match.lag_s, max_gap_s)
    if whole.usable is not None:
        keep &= whole.usable
    signals = whole.of_rows(keep)
    updates = min(int(keep.sum()), whole.amps.t.size)
    if updates < LEAST:
        return Fit(updates=updates, refused="too few readings of voltage and current together")
    found = fall_per_ampere(signals, relaxes=relaxes, gain=gain)
    if _useless(found) and not relaxes:
        found = slope_of_means(signals, gain)
        usual = None if found is None else usual_fall(signals)
        if found is not None and usual is not None and found.value > _MEANS_ABOVE * usual:
            return Fit(updates=updates, refused=_NOT_APART)
    if found is None or _useless(found):
        return Fit(updates=updates, refused=why_refused(signals))
    level = voltage_at_rest(signals, found.value, found.low, found.high)
    return Fit(
        ohm=found.value,
        low_ohm=max(found.low, 0.0),
        high_ohm=found.high,
        updates=updates,
        scale_s=found.scale_s,
        lag_s=whole.match.lag_s,
        level_v=level[0],
        level_low_v=level[1],
        level_high_v=level[2],
        method=found.method,
    )


def _useless(found: SlopeInterval | None) -> bool:
    """Whether no decision could rest on it."""
    return found is None or found.high - found.low > 2 * _USELESS * found.value


def covered(curve: Curve, at: FloatArray, max_gap_s: float) -> BoolArray:
    """True where an instant lies between two readings that are no gap apart."""
    t = curve.t
    after = np.searchsorted(t, at)
    inside = (after > 0) & (after < t.size)
    after = np.minimum(after, t.size - 1)
    longest = max(max_gap_s, 3.0 * curve.step_s)
    return np.asarray(inside & (t[after] - t[after - 1] <= longest))


def voltage_at_rest(
    s: Signals, value: float, low: float, high: float
) -> tuple[float, float, float]:
    """Mean voltage carried to zero current; its interval is the slope's and the steps'."""
    mean_i = float(np.interp(s.t - s.match.lag_s, s.amps.t, s.amps.v).mean())
    level = float(s.y.mean()) + value * mean_i
    evenly = np.full(s.t.size, 1.0 / s.t.size)
    steps = 2.0 * float(np.linalg.norm([x.sd(evenly) for x in s.steps_v]))
    below = float(np.hypot((value - low) * mean_i, steps))
    above = float(np.hypot((high - value) * mean_i, steps))
    return level, level - below, level + above


def why_refused(s: Signals) -> str:
    """The reason why no interval could be given, in words for the user."""
    moved = float(np.std(s.amps.v))
    if moved <= max(0.05, s.steps_i.step):
        return f"the current hardly moved (spread {moved:.2f} A)"
    moves = s.amps.t[1:][np.abs(np.diff(s.amps.v)) > _MOVE * np.ptp(s.amps.v)]
    moments = 1 + int(np.sum(np.diff(moves) > _ONE_MOMENT_S)) if moves.size else 0
    if 0 < moments <= _FEW_MOMENTS:
        often = "once" if moments == 1 else f"{moments} times"
        return (
            f"the current moved only {often} (by {np.ptp(s.amps.v):.1f} A): too few readings of "
            "the resistance to tell how far it may be off"
        )
    return (
        f"the current (spread {moved:.1f} A) swings too fast between its readings, or moves the "
        "voltage too little, to tell a resistance"
    )
