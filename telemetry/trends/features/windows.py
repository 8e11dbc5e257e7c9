"""Stretches of time in which features are measured, and means over them."""

from __future__ import annotations

import numpy as np
import scipy

from telemetry.model.log import FloatArray
from telemetry.readings import Reading
from telemetry.results import Flight, Phase, PhaseKind, Span, Stir

# The onset and the end of a stir are no steady load.
EDGE_S = 0.3
# Stretches of the stir and of the ground, and parts of a flight (heuristic): long enough to hold
# several readings each, and enough of them to tell their scatter.
SHORT_S = 1.0
AIR_BLOCKS = 36
LEAST_AIR_S = 5.0
# Readings in a stretch, at the least.
READINGS = 2.0
_FULL = 0.75

Window = tuple[float, float]


def block_length(r: Reading) -> float:
    """Length of a short stretch that holds several readings, s."""
    return max(SHORT_S, READINGS * (r.update_s or 0.0))


def inner(span: Span) -> Window:
    """A span without its onset and end."""
    return span.start_s + EDGE_S, span.end_s - EDGE_S


def edges(window: Window, block_s: float) -> FloatArray:
    """Edges of equal stretches that fill a window."""
    length = max(window[1] - window[0], 0.0)
    return np.linspace(window[0], window[0] + length, max(1, round(length / block_s)) + 1)


def interval(means: FloatArray, resolution: float | None) -> tuple[float | None, float | None]:
    """95 % interval of the mean of stretches that scatter about it."""
    x = means[np.isfinite(means)]
    if x.size < 3:
        return None, None
    sd = max(float(x.std(ddof=1)), (resolution or 0.0) / np.sqrt(12.0))
    reach = float(scipy.special.stdtrit(x.size - 1, 0.975)) * sd / np.sqrt(x.size)
    return float(x.mean()) - reach, float(x.mean()) + reach


def ground_before(phases: tuple[Phase, ...]) -> list[Phase]:
    """Ground time before the first flight, in stretches long enough to hold a quiet moment."""
    first = next((p.start_s for p in phases if p.kind is PhaseKind.FLIGHT), np.inf)
    return [
        p for p in phases if p.kind is PhaseKind.GROUND and p.start_s < first and p.duration_s > 2
    ]


def full_stirs(flight: Flight) -> tuple[Stir, ...]:
    """The stirs before the flight that moved everything.

    A check of one control after the other raises the current as well, but less: what draws under
    three quarters of the strongest stir is left out (heuristic), or the places could not be
    compared.
    """
    before = [s for s in flight.stirs if not s.after_flight]
    drawn = [sum(p.mean_a for p in s.places if p.mean_a is not None) for s in before]
    return tuple(s for s, a in zip(before, drawn, strict=True) if a >= _FULL * max(drawn))


def rounding(v: FloatArray, step: float) -> float:
    """Error of a mean of rounded readings: averaging helps only where noise moves the steps.

    For Gaussian noise of deviation s the error left is about step / sqrt(12) exp(-2 (pi s/step)^2)
    (first harmonic of the sawtooth of rounding).
    """
    if step <= 0 or not v.size:
        return float(step / np.sqrt(12.0))
    # Half of a symmetric scatter: the lower half about its top.
    s = float(np.sqrt(np.mean((v - v.max()) ** 2)))
    return float(step / np.sqrt(12.0) * np.exp(-2.0 * (np.pi * s / step) ** 2))
