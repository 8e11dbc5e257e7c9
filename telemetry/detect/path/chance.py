"""Whether a fall of voltage stands out of what sampling and load make by chance."""

from __future__ import annotations

import numpy as np

from telemetry.detect.path.path_load import Loads, LoadStep, PathSeries
from telemetry.numerics.sampling import outside
from telemetry.results import Event

# A residual this many times the greatest one to the other side is no accident of sampling
# (heuristic: for tails as heavy as exponential ones, 1000 readings pass it by chance once in some
# 250 flights).
_BEYOND = 1.8
_TAIL = 3.0
FEW = 100
# A place without a known resistance fell like no other reading where it fell so far, V, and so many
# times as far as this part of its readings (heuristic: 0.025 to the fourth).
_DEEP_V, _LOWEST, _FAR = 0.5, 0.025, 4.0


def beyond_sampling(e: Event, steps: list[LoadStep], loads: Loads) -> bool | None:
    """Whether the event stands out of what the sensors' different instants make by chance.

    Voltage and current are two samplings of one process. Where the load alone acts, the voltage
    misses a peak of the current as often as the current misses a peak that the voltage shows:
    the residual ``u - (usual - R (i - usual i))`` is as large upwards as downwards. A bad contact
    only ever pulls it down. A current sensor that averages skews the residuals: then the event
    must stand out of their lower tail as well.

    None where nothing says it: a minimum-hold is no sampling, a few readings have no tail, and the
    total says too little of one place's current.
    """
    volts = loads.volts.get(e.place)
    if volts is None or volts.t.size < FEW or e.place in loads.minimum_held:
        return None
    if e.place not in loads.amps and steps[0].kind == "apparent":
        return None
    residual = volts.v - volts.slow
    for s in steps:
        near = np.clip(np.searchsorted(s.current.t, volts.t), 1, s.current.t.size - 1)
        earlier = volts.t - s.current.t[near - 1] < s.current.t[near] - volts.t
        k = np.where(earlier, near - 1, near)
        residual = residual + s.ohm * (s.current.v[k] - s.current.slow[k])
    lo, hi = np.searchsorted(volts.t, [e.start_s - 1e-6, e.end_s])
    if hi <= lo:
        return None
    usual = residual[outside(volts.t, list(steps[0].left_out))]
    if not usual.size:
        return None
    chance = max(_BEYOND * float(usual.max()), -_TAIL * float(np.quantile(usual, 0.01)))
    return bool(-residual[lo:hi].min() > chance)


def deep_readings(e: Event, depth: float, loads: Loads) -> float:
    """How many readings lie at least half as deep as the fall; any number of a lowest value, held.

    What was read while the voltage was on its way back says nothing of the fall.
    """
    volts = loads.volts.get(e.place)
    if volts is None or e.place in loads.minimum_held:
        return np.inf
    lo, hi = np.searchsorted(volts.t, [e.start_s - 1e-6, e.end_s])
    return float(np.count_nonzero(volts.v[lo:hi] <= volts.usual(e.start_s) - 0.5 * depth))


def like_no_other(depth: float, volts: PathSeries) -> bool:
    """Whether a bus or node without a known resistance fell as nothing else in the log lets it.

    Held against the lowest of its readings: with an exponential tail one in a million does so by
    chance.
    """
    if volts.t.size < FEW:
        return False
    usual = -float(np.quantile(volts.v - volts.slow, _LOWEST))
    return depth > max(_DEEP_V, _FAR * usual)
