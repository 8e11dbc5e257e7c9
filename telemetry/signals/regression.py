"""Resistances from voltages and currents sampled at different instants; straight-line fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.signals.matching import Curve, find_match, usual_step
from telemetry.signals.slope import Signals, fall_per_ampere, steps_behind
from telemetry.signals.spans import mask_to_spans
from telemetry.signals.strays import closeness, commonest_fall, fell_too_far

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Gain error of voltage and current sensor together, as half-width of a 95 % interval: two errors
# of up to 2 % each, uniform (common practice, no source: 1 to 2 %).
GAIN = 0.03
_LEAST = 20  # readings
# A half-width above this share of the value says nothing that a decision could rest on (ours).
_USELESS = 1.2
# Steps of the current above this part of its range are moves; those within this time are one, and
# so few in a log tell no interval (ours).
_MOVE, _ONE_MOMENT_S, _FEW_MOMENTS = 0.25, 2.0, 2
# Rounds of telling the moments that are left out and fitting without them (ours: two as a rule).
_ROUNDS = 6
# The commonest fall per ampere is not further below the resistance than this factor: what different
# instants of voltage and current take off it (ours; 10 to 40 % on usual logs).
_MOST_ABOVE = 1.6
# Readings taken at other instants lie up to 1.4 times as far from the truth as from the commonest
# fall (errors in variables that take half off the slope); a contact hides where it is more (ours).
_FURTHER = 1.5
# Up to this many intervals of the voltage, the current counts as read as often (ours).
_AS_FAST = 1.2
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearFit:
    """Ordinary least squares: coefficients, their standard errors, residuals and their spread."""

    coef: FloatArray
    se: FloatArray
    residuals: FloatArray
    residual_sd: float
    r2: float


def least_squares(design: FloatArray, y: FloatArray) -> LinearFit:
    """Ordinary least squares by QR decomposition, columns scaled to unit length.

    Parameters
    ----------
    design : ndarray, shape (n, k)
        One column per coefficient; a column of ones for an intercept.
    y : ndarray, shape (n,)

    Returns
    -------
    LinearFit
        ``r2`` about the mean where a column is constant, else about zero; 0 where y is constant.
    """
    length = np.sqrt((design**2).sum(axis=0))
    scaled = design / length
    q, r = np.linalg.qr(scaled)
    coef = np.linalg.solve(r, q.T @ y)
    residuals = y - scaled @ coef
    sd = float(np.sqrt(residuals @ residuals / max(y.size - coef.size, 1)))
    inverse = np.linalg.inv(r)
    about = y.mean() if (np.ptp(design, axis=0) == 0).any() else 0.0
    spread = float((y - about) @ (y - about))
    return LinearFit(
        coef=coef / length,
        se=sd * np.sqrt((inverse**2).sum(axis=1)) / length,
        residuals=residuals,
        residual_sd=sd,
        r2=1.0 - float(residuals @ residuals) / spread if spread > 0 else 0.0,
    )


def two_step_ohm(first_v: float, first_a: float, second_v: float, second_a: float) -> float:
    """DC resistance from two loads, (U1 - U2) / (I2 - I1), whichever comes first.

    The two-step method of IEC 61960-3 (0.2 times the rated current for 10 s, then once the rated
    current for 1 s), as restated in manuals of cell cyclers.

    Raises
    ------
    ValueError
        Where the two currents are equal.
    """
    if first_a == second_a:
        raise ValueError("the two steps need different currents")
    return (first_v - second_v) / (second_a - first_a)


def source_resistance(
    t_v: FloatArray,
    volts: FloatArray,
    t_i: FloatArray,
    amps: FloatArray,
    *,
    step_v: float | None = None,
    step_i: float | None = None,
    max_gap_s: float = 1.0,
    relaxes: bool = True,
    gain: float = GAIN,
) -> Fit:
    """Resistance behind a voltage, from its readings and those of the current it carries.

    Parameters
    ----------
    t_v, volts : ndarray, shape (n,)
        Update instants, s, rising, and the voltage at them, V.
    t_i, amps : ndarray, shape (m,)
        The same for the current, A, positive when drawn.
    step_v, step_i : float, optional
        Resolution of the two sensors.
    max_gap_s : float
        Current readings further apart than this, and than three of their intervals, are a gap;
        voltage readings in it are left out.
    relaxes : bool
        Whether slower responses are possible (a cell); False for copper.
    gain : float
        Gain error of the two sensors together, half-width of 95 %.

    Returns
    -------
    Fit
    """
    (t_v, volts), (t_i, amps) = _rising(t_v, volts), _rising(t_i, amps)
    if refused := _too_little(t_v, volts, "voltage", None) or _too_little(
        t_i, amps, "current", step_i
    ):
        return Fit(updates=min(t_v.size, t_i.size), refused=refused)
    t_v, volts = _plausible(t_v, volts)
    steps_v = steps_behind(t_v, volts, step_v, t_v)

    def matched(sound: BoolArray) -> Signals:
        match = find_match(t_v[sound], volts[sound], t_i, amps)
        return Signals(
            t=t_v,
            y=volts,
            t_i=t_i,
            i=amps,
            match=match,
            steps_v=(steps_v,),
            steps_i=steps_behind(t_i, amps, step_i, t_v - match.lag_s),
        )

    return _fit_outside(matched, t_v.size, max_gap_s, relaxes=relaxes, gain=gain)


def branch_resistance(
    t_parent: FloatArray,
    parent_v: FloatArray,
    t_place: FloatArray,
    place_v: FloatArray,
    t_i: FloatArray,
    amps: FloatArray,
    *,
    step_parent: float | None = None,
    step_place: float | None = None,
    step_i: float | None = None,
    max_gap_s: float = 1.0,
    gain: float = GAIN,
) -> Fit:
    """Resistance between a place and the parent that feeds it.

    ``u_parent - u_place = offset + R i``: the parent's voltage is brought to the place's instants
    (a constant lag of one unit behind the other taken out), and the difference is treated like a
    source that does not relax.

    Parameters
    ----------
    t_parent, parent_v, t_place, place_v : ndarray
        Update instants, s, and voltages, V, of parent and place.
    t_i, amps : ndarray
        Current through the branch; of the whole for an apparent value.
    step_parent, step_place, step_i : float, optional
        Resolutions.
    max_gap_s, gain : float
        As for :func:`source_resistance`.

    Returns
    -------
    Fit
        ``level_v`` is place minus parent at zero current: offset of the sensors, and the forward
        drop of a diode between them.
    """
    t_parent, parent_v = _rising(t_parent, parent_v)
    t_place, place_v = _rising(t_place, place_v)
    t_i, amps = _rising(t_i, amps)
    if refused := (
        _too_little(t_parent, parent_v, "parent's voltage", None)
        or _too_little(t_place, place_v, "voltage", None)
        or _too_little(t_i, amps, "current", step_i)
    ):
        return Fit(updates=min(t_parent.size, t_place.size, t_i.size), refused=refused)
    t_parent, parent_v = _plausible(t_parent, parent_v)
    t_place, place_v = _plausible(t_place, place_v)

    def matched(sound: BoolArray) -> Signals:
        t_sound, v_sound = t_place[sound], place_v[sound]
        at = t_place - find_match(t_sound, v_sound, t_parent, parent_v, sign=1.0).lag_s
        above = Curve(t_parent, parent_v).at(at)
        match = find_match(t_sound, v_sound, t_i, amps)
        return Signals(
            t=t_place,
            y=place_v - above,
            t_i=t_i,
            i=amps,
            match=match,
            steps_v=(
                steps_behind(t_place, place_v, step_place, t_place),
                steps_behind(t_parent, parent_v, step_parent, at),
            ),
            steps_i=steps_behind(t_i, amps, step_i, t_place - match.lag_s),
            common=above,
            reach_s=2.0 * usual_step(t_parent),
            usable=_covered(t_parent, at, max_gap_s),
        )

    return _fit_outside(matched, t_place.size, max_gap_s, relaxes=False, gain=gain)


def _too_little(t: FloatArray, values: FloatArray, what: str, step: float | None) -> str:
    if t.size < _LEAST:
        return f"only {t.size} readings of the {what}"
    if np.ptp(values) <= 2.0 * (step or 0.0):
        return f"the {what} hardly moved"
    return ""


def _covered(t: FloatArray, at: FloatArray, max_gap_s: float) -> BoolArray:
    """True where an instant lies between two readings that are no gap apart."""
    after = np.searchsorted(t, at)
    inside = (after > 0) & (after < t.size)
    after = np.clip(after, 1, t.size - 1)
    longest = max(max_gap_s, 3.0 * usual_step(t))
    return np.asarray(inside & (t[after] - t[after - 1] <= longest))


class _Attempt(NamedTuple):
    """A fit, what it was made from, and the rows that were taken as sound."""

    fit: Fit
    signals: Signals
    sound: BoolArray


def _fit_outside(
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

    def attempt(sound: BoolArray) -> _Attempt:
        signals = matched(sound)
        fit = _fit(signals, sound, max_gap_s, relaxes=relaxes, gain=gain)
        return _Attempt(fit, signals, sound)

    def settled(attempt_: _Attempt, most: float) -> _Attempt:
        for _ in range(_ROUNDS):
            if attempt_.fit.ohm is None:
                break
            sound = ~_too_far(attempt_.signals, min(attempt_.fit.ohm, most))
            if (sound == attempt_.sound).all():
                break
            attempt_ = attempt(sound)
        return attempt_

    everything = np.ones(rows, dtype=bool)
    first = attempt(everything)
    usual = _usual_fall(first.signals)
    if usual is None or not _too_far(first.signals, usual).any():
        return first.fit
    most = _MOST_ABOVE * usual
    down = settled(first, np.inf)
    up = settled(attempt(~_too_far(first.signals, usual)), most)
    if down.fit.ohm is not None and not _hides(down.signals, down.fit.ohm, usual):
        return _both(down, up)
    if up.fit.ohm is not None and up.fit.ohm > most:
        return Fit(updates=up.fit.updates, refused=_NOT_APART)
    return _without(up)


def _without(found: _Attempt) -> Fit:
    if found.sound.all():
        return found.fit
    t = found.signals.t
    spans = mask_to_spans(t, ~found.sound, hold_s=2.0 * usual_step(t))
    return replace(found.fit, left_out=tuple(spans))


def _both(down: _Attempt, up: _Attempt) -> Fit:
    """One fit from two of the same readings, the second without more of the doubtful ones.

    Falls that the first kept raise it, sound readings that the second left out lower it: where
    they differ, the truth lies between the two.
    """
    a, b = _without(down), up.fit
    if a.ohm is None or b.ohm is None or (down.sound == up.sound).all():
        return a
    lows = [x for x in (a.low_ohm, b.low_ohm) if x is not None]
    highs = [x for x in (a.high_ohm, b.high_ohm) if x is not None]
    low, high = min(lows), max(highs)
    ohm = a.ohm if down.sound.all() else 0.5 * (a.ohm + b.ohm)
    if high - low > 2 * _USELESS * ohm:
        return Fit(updates=a.updates, refused=_NOT_APART)
    return replace(a, ohm=ohm, low_ohm=low, high_ohm=high)


def _hides(s: Signals, ohm: float, usual: float) -> bool:
    """Whether most readings lie much further from this resistance than from the commonest fall."""
    x, step = _current(s), _step_v(s)
    far = closeness(s.t, s.y, x, ohm, step_v=step)
    return far > _FURTHER * closeness(s.t, s.y, x, usual, step_v=step)


def _usual_fall(s: Signals) -> float | None:
    return commonest_fall(s.t, s.y, _current(s), step_v=_step_v(s))


def _step_v(s: Signals) -> float:
    return max(x.step for x in s.steps_v)


def _current(s: Signals) -> FloatArray:
    """Current at the voltage's instants, A."""
    return Curve(s.t_i, s.i).at(s.t - s.match.lag_s, s.match.window_s)


def _too_far(s: Signals, ohm: float) -> BoolArray:
    slow = usual_step(s.t_i) > _AS_FAST * usual_step(s.t)
    return fell_too_far(
        s.t,
        s.y,
        _current(s),
        ohm,
        step_v=_step_v(s),
        highest_x=float(s.i.max()) if slow else None,
    )


def _fit(whole: Signals, sound: BoolArray, max_gap_s: float, *, relaxes: bool, gain: float) -> Fit:
    keep = sound & _covered(whole.t_i, whole.t - whole.match.lag_s, max_gap_s)
    if whole.usable is not None:
        keep &= whole.usable
    signals = whole.of_rows(keep)
    updates = min(int(keep.sum()), whole.t_i.size)
    if updates < _LEAST:
        return Fit(updates=updates, refused="too few readings of voltage and current together")
    found = fall_per_ampere(signals, relaxes=relaxes, gain=gain)
    if found is None or not found.value > 0 or found.high - found.low > 2 * _USELESS * found.value:
        return Fit(updates=updates, refused=_why(signals))
    level = _at_rest(signals, found.value, found.low, found.high)
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


def _plausible(t: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Readings without those that no load explains: five times beyond the usual range."""
    low, middle, high = np.quantile(v, [0.02, 0.5, 0.98])
    keep = np.abs(v - middle) <= 5.0 * max(high - middle, middle - low) + 1e-9
    return t[keep], v[keep]


def _rising(t: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Readings without those whose instant does not lie after the one before."""
    keep = np.concatenate(([True], np.diff(np.maximum.accumulate(t)) > 0)) if t.size else t > 0
    return t[keep], v[keep]


def _at_rest(s: Signals, value: float, low: float, high: float) -> tuple[float, float, float]:
    """Mean voltage carried to zero current; its interval is the slope's and the steps'."""
    mean_i = float(np.interp(s.t - s.match.lag_s, s.t_i, s.i).mean())
    level = float(s.y.mean()) + value * mean_i
    evenly = np.full(s.t.size, 1.0 / s.t.size)
    steps = 2.0 * float(np.linalg.norm([x.sd(evenly) for x in s.steps_v]))
    below = float(np.hypot((value - low) * mean_i, steps))
    above = float(np.hypot((high - value) * mean_i, steps))
    return level, level - below, level + above


def _why(s: Signals) -> str:
    """The reason why no interval could be given, in words for the user."""
    moved = float(np.std(s.i))
    if moved <= max(0.05, s.steps_i.step):
        return f"the current hardly moved (spread {moved:.2f} A)"
    moves = s.t_i[1:][np.abs(np.diff(s.i)) > _MOVE * np.ptp(s.i)]
    moments = 1 + int(np.sum(np.diff(moves) > _ONE_MOMENT_S)) if moves.size else 0
    if 0 < moments <= _FEW_MOMENTS:
        often = "once" if moments == 1 else f"{moments} times"
        return (
            f"the current moved only {often} (by {np.ptp(s.i):.1f} A): too few readings of "
            "the resistance to tell how far it may be off"
        )
    return (
        f"the current (spread {moved:.1f} A) swings too fast between its readings, or moves the "
        "voltage too little, to tell a resistance"
    )
