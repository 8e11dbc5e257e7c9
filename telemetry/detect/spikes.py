"""Current spikes and bursts, against a slow baseline of the same phase."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.baseline import running_median
from telemetry.numerics.spans import latch, runs
from telemetry.readings import Reading, Readings
from telemetry.results import Event, EventKind, Evidence, Origin, Phase, PhaseKind

_TO_MAH = 1.0 / 3.6


def find_spikes(readings: Readings, phases: tuple[Phase, ...], limits: Limits) -> tuple[Event, ...]:
    """Spikes of every current in these phases, in time order.

    A spike starts above the baseline plus the margin (``spike_mads`` scaled MAD and at least
    ``spike_a``) and ends at or below the baseline plus half of it. Each phase has a baseline of
    its own, so that a stir is judged against its own level and not against the rest around it.
    The highest current of a flight is one wherever it stands ``spike_a`` above its baseline,
    however restless the flight is. Spikes of one place closer than ``burst_s`` carry the same burst
    number.
    """
    events: list[Event] = []
    for r in readings.of(Quantity.CURRENT):
        found: list[Event] = []
        for phase in phases:
            found += _spikes(r.within(phase.start_s, phase.end_s), phase, limits)
        events += number_bursts(found, limits.burst_s)
    return tuple(sorted(events, key=lambda e: (e.start_s, e.place)))


def spike_score(r: Reading, limits: Limits) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Height above the baseline, the margin to pass, and the baseline; each in A, shape (n,)."""
    floor = (r.resolution or 0.0) / np.sqrt(12.0)
    baseline, sigma = running_median(r.t, r.v, limits.spike_window_s, floor=floor)
    return r.v - baseline, np.maximum(limits.spike_mads * sigma, limits.spike_a), baseline


def _spikes(r: Reading, phase: Phase, limits: Limits) -> list[Event]:
    if r.size < 5 or np.ptp(r.v) <= limits.spike_a:  # nothing stands so high above any level
        return []
    height, margin, baseline = spike_score(r, limits)
    over = latch(height > margin, height <= 0.5 * margin)
    top = int(np.argmax(r.v))
    if phase.kind is PhaseKind.FLIGHT and not over[top] and height[top] > limits.spike_a:
        first, last = next(x for x in runs(height > 0.5 * height[top]) if x[0] <= top < x[1])
        over[first:last] = True
    until = np.r_[r.t[1:], r.t[-1] + (r.update_s or 0.0)]
    hold = r.hold_s(limits)
    out = []
    for first, last in runs(over):
        k = first + int(np.argmax(r.v[first:last]))
        step = np.minimum(until[first:last] - r.t[first:last], hold)
        out.append(
            Event(
                kind=EventKind.SPIKE,
                place=r.place,
                start_s=float(r.t[first]),
                end_s=float(min(until[last - 1], r.t[last - 1] + hold)),
                truncated=last == r.size and phase.end_s > r.t[-1] + hold,
                peak_a=float(r.v[k]),
                prominence_a=peak_prominence(r.v, k, float(height[k])),
                charge_mah=float((np.maximum(height[first:last], 0.0) * step).sum() * _TO_MAH),
                phase=phase.kind,
                origin=Origin.LOAD,
                evidence=Evidence.UNKNOWN,
                updates=last - first,
                reference_v=None,
                note=f"{height[k]:.3g} A above a baseline of {baseline[k]:.3g} A",
            )
        )
    return out


def peak_prominence(v: FloatArray, k: int, height: float) -> float:
    """Prominence of the peak; at the ends of the series, where it has none, the height."""
    if 0 < k < v.size - 1 and v[k] > v[k - 1] and v[k] > v[k + 1]:
        # Down to the lower of the lowest values on both sides, each as far as a higher peak.
        before, behind = v[k::-1], v[k:]
        higher = [int(np.argmax(side > v[k])) or side.size for side in (before, behind)]
        return float(v[k] - max(before[: higher[0]].min(), behind[: higher[1]].min()))
    return height


def number_bursts(events: list[Event], pause_s: float) -> list[Event]:
    """Events in time, each with the number of its burst; a burst ends with a pause, s."""
    out: list[Event] = []
    number = 0
    for e in sorted(events, key=lambda e: e.start_s):
        if not out or e.start_s - out[-1].end_s >= pause_s:
            number += 1
        out.append(replace(e, burst=number))
    return out
