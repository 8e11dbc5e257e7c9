"""How active the aircraft is: level and scatter of the total current, movement of the sticks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft, Limits
from telemetry.detect.odd_nodes import node_currents, steady_at_one, without_restless
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.spans import longer, mask_to_spans, merge
from telemetry.readings import Readings, total_current

SpanList = list[tuple[float, float]]
BoolArray = NDArray[np.bool_]

GRID_S = 0.25
STICKS = ("aileron", "elevator", "rudder")
# Scatter above which the calmest stretch of a log is no rest (heuristic): idling electronics and
# sensor steps stay below it, corrections in flight do not.
_RESTLESS_SHARE = 0.12
_RESTLESS_A = 0.12
_LONGEST_STIR_S = 60.0
# Calm flying just after take-off or before landing is followed this far (heuristic).
_REACH_S = 6.0
# Longest calm leg of a flight in a log that shows no rest at all (heuristic).
_CALM_FLYING_S = 90.0
# Activity of the calmest gliders, A over rest on the mean of half a minute, and over so many times
# the scatter at rest (heuristic: small corrections now and then draw some hundredths of an ampere).
_FAINT_A = 0.04
_OVER_NOISE = 4.0
# Beside a stir all rests for so long, s; what rests for longer before and after is one however
# unevenly it draws (heuristic: no pilot lets all sticks rest so long in the air).
_BESIDE_S, _APART_S = 3.0, 8.0
# A level of rest has to last this long and scatter no more than this, and may lie this far
# towards the level of flying (heuristic).
_REST_S = 6.0
_STILL_A = 0.05
# Resistance through which a fall of voltage stands in for current: packs and leads of a large
# model have some 0.05 to 0.15 Ohm (heuristic). Up to this part of its usual value a supply is off.
_STAND_IN_OHM = 0.1
_ON_SHARE = 0.2
_FEW_READINGS = 20
_HIGHEST_REST = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """The total current on an even grid, and what rest looks like.

    Attributes
    ----------
    t, mean, scatter : ndarray
        Grid [s]; mean and standard deviation over a centred window of ``window_s`` [A]. What
        raises the level of rest for good is taken off the mean.
    fast : ndarray
        Mean over a shorter window [A], for edges.
    window_s : float
        2 s, or three update intervals of slow telemetry.
    rest_a, rest_sigma : float
        Level and scatter at rest, A.
    at_rest : bool
        False where even the calmest stretch moves: the log shows no rest at all.
    known : ndarray of bool
        False where the log has no current.
    """

    t: FloatArray
    mean: FloatArray
    scatter: FloatArray
    fast: FloatArray
    window_s: float
    rest_a: float
    rest_sigma: float
    at_rest: bool
    known: np.ndarray

    def between(self, start_s: float, end_s: float) -> slice:
        """The part of the grid in start_s <= t < end_s."""
        return slice(*(int(i) for i in np.searchsorted(self.t, [start_s, end_s])))


def measure_activity(readings: Readings, aircraft: Aircraft, limits: Limits) -> Activity | None:
    """Level and scatter of the total current, or of what stands in for it; None without either.

    Rest is the lowest level that the recording keeps for at least 3 s together: the 5 % quantile
    of 3 s means, which one dropout or the moment before switching on cannot pull down.
    """
    drawn = whole_drawn(readings, aircraft)
    if drawn is None or readings.end_s - readings.start_s < 2.0:
        return None
    t, v, update_s = drawn
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    age = max(limits.gap_intervals * update_s, limits.gap_s)
    nodes = node_currents(readings, aircraft, grid, age)
    x = sampling.held_at(t, v, grid, age) - steady_at_one(nodes, GRID_S)
    found = _activity_of(x, grid, update_s)
    if found is None or found.at_rest:
        return found
    # One node that never rests hides the rest of all others.
    others = without_restless(nodes, GRID_S)
    calmer = None if others is None else _activity_of(others, grid, update_s)
    return calmer if calmer is not None and calmer.at_rest else found


def _activity_of(x: FloatArray, grid: FloatArray, update_s: float) -> Activity | None:
    """Level and scatter of a current on the grid."""
    known = np.isfinite(x)
    if known.sum() < 8:
        return None
    # Slow telemetry needs a longer look: two readings say little about a level.
    window_s = max(2.0, 3.0 * update_s)
    mean, scatter = windowed(x, round(window_s / GRID_S))
    fast, _ = windowed(x, round(max(1.0, update_s) / GRID_S))
    slow, slow_scatter = windowed(x, round(3.0 / GRID_S))
    usable = np.isfinite(slow)
    if not usable.any():
        return None
    rest = float(np.quantile(slow[usable], 0.05))
    calm = usable & (slow <= rest + 0.1 * max(abs(rest), 0.5))
    sigma = float(np.median(slow_scatter[calm]))
    still = usable & (slow_scatter <= max(3.0 * sigma, _STILL_A))
    lasting = lasting_rise(grid, slow - rest, still)
    return Activity(
        t=grid,
        mean=mean - lasting,
        scatter=scatter,
        fast=fast - lasting,
        window_s=window_s,
        rest_a=rest,
        rest_sigma=sigma,
        at_rest=sigma <= max(_RESTLESS_SHARE * abs(rest), _RESTLESS_A),
        known=known,
    )


def grid_spans(t: FloatArray, mask: BoolArray) -> SpanList:
    """Spans of a mask on the even grid, s: the last sample of all counts for two steps."""
    return mask_to_spans(t, mask, hold_s=2 * GRID_S)


def whole_drawn(
    readings: Readings, aircraft: Aircraft
) -> tuple[FloatArray, FloatArray, float] | None:
    """Instants [s], current [A] and update interval [s] of the whole.

    Without current and sticks the fall of the voltage stands in, as through 0.1 Ohm: it tells when
    there was load, not how much.
    """
    total = total_current(readings, aircraft)
    if total is not None:
        return total.t, total.v, total.update_s
    if stick_rate(readings) is not None:
        return None
    found, widest = None, 0.0
    for r in readings.of(Quantity.VOLTAGE):
        on = r.v > _ON_SHARE * float(np.median(r.v)) if r.size >= _FEW_READINGS else None
        if on is None or on.sum() < _FEW_READINGS:
            continue
        low, high = (float(q) for q in np.quantile(r.v[on], [0.02, 0.98]))
        if high - low > max(widest, 4.0 * (r.resolution or 0.0)):
            widest = high - low
            fall = (high - r.v[on]) / _STAND_IN_OHM
            found = r.t[on], fall, r.update_s or readings.row_s
    return found


def lasting_rise(t: FloatArray, rise: FloatArray, still: BoolArray) -> FloatArray:
    """By how much the level of rest itself lies higher, from an instant on or up to it, A.

    A servo that binds after a move, or lamps that are switched on, raise the current for good:
    that is no movement. It shows as a lowest still level on one side of an instant.
    """
    spans = longer(grid_spans(t, still), _REST_S - 3.0)
    kept = np.zeros(t.size, dtype=bool)
    for start, end in spans:
        kept |= (t >= start) & (t < end)
    if not kept.any():
        return np.zeros(t.size)
    level = np.where(kept, np.maximum(rise, 0.0), np.nan)
    before = np.fmin.accumulate(level)
    after = np.fmin.accumulate(level[::-1])[::-1]
    lasting = np.fmax(before, after)
    highest = _HIGHEST_REST * float(np.nanquantile(rise, 0.85))
    return np.where(lasting <= highest, lasting, 0.0)


def windowed(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Centred moving mean and deviation that pass over NaN; NaN where under half is known."""
    known = np.isfinite(x)
    filled = np.where(known, x, 0.0)
    kernel = np.ones(min(width, x.size))
    count = np.convolve(known.astype(float), kernel, mode="same")
    total = np.convolve(filled, kernel, mode="same")
    square = np.convolve(filled * filled, kernel, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(count >= kernel.size / 2, total / count, np.nan)
        variance = np.where(count >= kernel.size / 2, square / count - mean * mean, np.nan)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def flying_spans(readings: Readings, activity: Activity | None, limits: Limits) -> SpanList:
    """Stretches that look like flying by how active the servos are over half a minute.

    Servos in the air hold and correct without a pause; on the ground they rest, twitch while
    taxiing, or stir for some seconds. So the activity (rise of the mean over rest, plus scatter)
    is averaged over ``flight_pause_s`` with the stirs left out, and compared with 0.3 of the
    level that the recording keeps in its liveliest sixth: taxiing stays well below it, calm legs
    do not. The ends are then read from the activity itself.
    """
    if activity is None:
        return moving_sticks(readings, limits.flight_pause_s)
    rise = np.maximum(activity.mean - activity.rest_a, 0.0) + activity.scatter
    known = np.isfinite(rise)
    if not known.any():
        return []
    spread = activity.window_s + 0.5
    # Without any rest in the log there is no ground either, and no stir on it.
    for start, end in plateaus(activity, limits) if activity.at_rest else ():
        rise[activity.between(start - spread, end + spread)] = 0.0
    clipped = np.minimum(rise, np.quantile(rise[known], 0.95))
    slow, _ = windowed(clipped, round(limits.flight_pause_s / GRID_S))
    if not np.isfinite(slow).any():
        return []
    usual = float(np.nanquantile(slow, 0.85))
    noise = activity.rest_sigma if activity.at_rest else 0.0
    least = max(_FAINT_A, _OVER_NOISE * noise, 0.3 * usual)
    with np.errstate(invalid="ignore"):
        lively = grid_spans(activity.t, slow > least)
        moving = rise > 0.5 * least
    spans = merge(lively, limits.flight_pause_s if activity.at_rest else _CALM_FLYING_S)
    # Nobody lands, turns round and takes off again within the pause that two such halves leave.
    spans = merge(longer(spans, 0.5 * limits.flight_s), 2.0 * limits.flight_pause_s)
    return [flying_ends(s, activity, moving, least) for s in spans]


def flying_ends(
    span: tuple[float, float], activity: Activity, moving: BoolArray, least: float
) -> tuple[float, float]:
    """Start and end of flying near the ends of a stretch of the slow average.

    The average spreads a start by up to half its window: the first movement inside is looked for,
    then followed outwards while the current does not come to rest for 2 s.
    """
    t, start, end = activity.t, span[0], span[1]
    at = t[moving & (t >= start - 2.0) & (t < end + 2.0)]
    if at.size == 0:
        return span
    rest, sigma = activity.rest_a, max(activity.rest_sigma, 0.01)
    with np.errstate(invalid="ignore"):
        awake = activity.mean > rest + max(3.0 * sigma, 0.06 * abs(rest), 0.3 * least)
    first, last = float(at[0]), float(at[-1] + GRID_S)
    for a, b in merge(grid_spans(t, awake), 2.0):
        if a < first <= b + 2.0:
            first = max(a, first - _REACH_S)
        if a - 2.0 <= last < b:
            last = min(b, last + _REACH_S)
    return first, last


def plateaus(activity: Activity, limits: Limits) -> SpanList:
    """Stirs by their shape: some seconds of nearly constant raised current, rest on both sides.

    A circular stir draws a nearly constant current (it follows the rate of travel); manoeuvres
    make it swing, and have no true rest around them. The stiller the surroundings, the less even
    it has to be.
    """
    rest = activity.rest_a
    step = max(limits.stir_a, 0.5 * abs(rest), 6.0 * activity.rest_sigma)
    ramp = 0.5 * activity.window_s
    with np.errstate(invalid="ignore"):
        high = activity.mean >= rest + 0.5 * step
    out = []
    for start, end in merge(grid_spans(activity.t, high), 1.5):
        if not limits.stir_s <= end - start <= _LONGEST_STIR_S:
            continue
        x = activity.mean[activity.between(start + ramp, end - ramp)] - rest
        if x.size < 4:
            continue
        level = float(np.nanmedian(x))
        low, top = (float(q) for q in np.nanquantile(x, [0.05, 0.95]))
        outer = start - ramp, end + ramp
        beside = max(_highest_beside(activity, outer, _BESIDE_S, unseen=0.0))
        even = low > 0.55 * level and top < 1.45 * level and beside < 0.35 * level
        noise = 4.0 * activity.rest_sigma
        calm = max(0.08 * level, noise)
        fairly = low > 0.45 * level and top < 1.7 * level
        # Readings at the rhythm of the sticks swing; but no flight rests for long on both sides.
        longer_beside = max(_highest_beside(activity, outer, _APART_S, unseen=np.inf))
        # Where rest is told no better than flying there is none that long.
        apart = longer_beside < min(max(0.08 * step, noise), 0.2 * step)
        if level >= step and (even or (beside < calm and fairly) or apart):
            out.append((start, end))
    return out


def _highest_beside(
    activity: Activity, span: tuple[float, float], lasts_s: float, *, unseen: float
) -> list[float]:
    """Highest mean over rest just before and just after, A; ``unseen`` where the log ends."""
    sides = (span[0] - lasts_s, span[0]), (span[1], span[1] + lasts_s)
    out = []
    for x in (activity.mean[activity.between(*s)] - activity.rest_a for s in sides):
        whole = x.size >= 0.9 * lasts_s / GRID_S
        known = [*x[np.isfinite(x)]]
        out.append(max(known if whole and known else [*known, unseen]))
    return out


def moving_sticks(
    readings: Readings, pause_s: float, surfaces: tuple[str, ...] = STICKS
) -> SpanList:
    """Stretches in which the sticks hardly rest; none where they are not logged."""
    moving = stick_rate(readings, surfaces)
    if moving is None:
        return []
    t, rate = moving
    return merge(grid_spans(t, rate > 5.0), pause_s)


def stick_rate(
    readings: Readings, surfaces: tuple[str, ...] = STICKS
) -> tuple[FloatArray, FloatArray] | None:
    """Grid [s] and rate of travel of the fastest surface [% of travel per s]."""
    sticks = [r for s in surfaces if (r := readings.get(Quantity.CONTROL, s)) is not None]
    sticks = [r for r in sticks if r.size >= 10 and r.v.max() > r.v.min()]
    if not sticks:
        return None
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    if grid.size < 2:
        return None
    rates = [
        np.abs(np.gradient(np.interp(grid, r.t, r.v), GRID_S)) / (r.v.max() - r.v.min()) * 100.0
        for r in sticks
    ]
    return grid, np.max(np.vstack(rates), axis=0)
