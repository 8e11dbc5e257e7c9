"""How active the aircraft is: level and scatter of the total current, movement of the sticks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import Quantity
from telemetry.log import FloatArray
from telemetry.readings import Readings, total_current
from telemetry.signals import sampling
from telemetry.signals.spans import mask_to_spans, merge

SpanList = list[tuple[float, float]]

GRID_S = 0.25
STICKS = ("aileron", "elevator", "rudder")
# Scatter above which the calmest stretch of a log is no rest (ours): idling electronics and
# sensor steps stay below it, corrections in flight do not.
_RESTLESS_SHARE = 0.10
_RESTLESS_A = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """The total current on an even grid, and what rest looks like.

    Attributes
    ----------
    t, mean, scatter : ndarray
        Grid [s]; mean and standard deviation over a centred 2 s window [A].
    fast : ndarray
        Mean over a centred window of 1 s [A], for edges.
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
    rest_a: float
    rest_sigma: float
    at_rest: bool
    known: np.ndarray


def measure_activity(readings: Readings, aircraft: Aircraft, limits: Limits) -> Activity | None:
    """Level and scatter of the total current; None where the log has no current.

    Rest is the lowest level that the recording keeps for at least 3 s together: the 5 % quantile
    of 3 s means, which one dropout or the moment before switching on cannot pull down.
    """
    total = total_current(readings, aircraft)
    if total is None or readings.end_s - readings.start_s < 2.0:
        return None
    t, v, update_s, _ = total
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    age = max(limits.gap_intervals * update_s, limits.gap_s)
    x = sampling.held_at(t, v, grid, age)
    known = np.isfinite(x)
    if known.sum() < 8:
        return None
    mean, scatter = _windowed(x, max(3, round(2.0 / GRID_S)))
    fast, _ = _windowed(x, max(3, round(1.0 / GRID_S)))
    slow, slow_scatter = _windowed(x, round(3.0 / GRID_S))
    usable = np.isfinite(slow)
    rest = float(np.quantile(slow[usable], 0.05))
    calm = usable & (slow <= rest + 0.1 * max(abs(rest), 0.5))
    sigma = float(np.median(slow_scatter[calm])) if calm.any() else 0.0
    return Activity(
        t=grid,
        mean=mean,
        scatter=scatter,
        fast=fast,
        rest_a=rest,
        rest_sigma=sigma,
        at_rest=sigma <= max(_RESTLESS_SHARE * abs(rest), _RESTLESS_A),
        known=known,
    )


def _windowed(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Centred moving mean and deviation that pass over NaN; NaN where under half is known."""
    known = np.isfinite(x)
    filled = np.where(known, x, 0.0)
    kernel = np.ones(width)
    count = np.convolve(known.astype(float), kernel, mode="same")
    total = np.convolve(filled, kernel, mode="same")
    square = np.convolve(filled * filled, kernel, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(count >= width / 2, total / count, np.nan)
        variance = np.where(count >= width / 2, square / count - mean * mean, np.nan)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def active_spans(readings: Readings, activity: Activity | None, limits: Limits) -> SpanList:
    """Stretches in which servos move: current above rest, or sticks that travel."""
    spans: SpanList = []
    if activity is not None:
        rest, sigma = activity.rest_a, max(activity.rest_sigma, 0.01)
        raised = activity.mean > rest + max(0.5 * limits.stir_a, 0.25 * abs(rest), 4.0 * sigma)
        restless = activity.scatter > max(4.0 * sigma, 0.25 * limits.stir_a, 0.1 * abs(rest))
        with np.errstate(invalid="ignore"):
            spans += mask_to_spans(activity.t, raised | restless, hold_s=2 * GRID_S)
    else:
        moving = _stick_rate(readings)
        if moving is not None:
            t, rate, _ = moving
            spans += mask_to_spans(t, rate > 5.0, hold_s=2 * GRID_S)
    return merge(sorted(spans), 1.0)


def _stick_rate(
    readings: Readings,
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Grid [s], rate of travel of the fastest surface [% of travel per s], sticks in motion."""
    sticks = [r for s in STICKS if (r := readings.get(Quantity.CONTROL, s)) is not None]
    sticks = [r for r in sticks if r.size >= 10]
    if not sticks:
        return None
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    rates = []
    for r in sticks:
        travel = float(r.v.max() - r.v.min())
        if travel <= 0:
            continue
        x = np.interp(grid, r.t, r.v) / travel * 100.0
        rates.append(np.abs(np.gradient(x, GRID_S)))
    if not rates:
        return None
    stack = np.vstack(rates)
    return grid, stack.max(axis=0), (stack > 5.0).sum(axis=0).astype(float)
