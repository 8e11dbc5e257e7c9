"""A voltage behind a known resistance, read by two sensors at instants of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

FloatArray = NDArray[np.float64]
GRID_S = 0.01


@dataclass(frozen=True)
class Sensed:
    """What the two sensors reported, and the true signals on the fine grid."""

    t_v: FloatArray
    v: FloatArray
    t_i: FloatArray
    i: FloatArray
    time: FloatArray
    volts: FloatArray
    amps: FloatArray


Make = Callable[..., Sensed]


def exponential_noise(rng: np.random.Generator, n: int, tau_s: float) -> FloatArray:
    """Gaussian, variance 1, correlation exp(-t / tau)."""
    keep = float(np.exp(-GRID_S / tau_s))
    fresh = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    return lfilter([1.0], [1.0, -keep], fresh, zi=[keep * rng.standard_normal()])[0]


@pytest.fixture(scope="session")
def sensed() -> Make:
    def make(
        seed: int,
        *,
        seconds: float = 300.0,
        ohm: float = 0.030,
        pairs: tuple[tuple[float, float], ...] = (),
        swing_s: float = 0.3,
        slow: float = 0.6,
        every_v: float = 0.2,
        every_i: float = 0.25,
        step_v: float = 0.01,
        step_i: float = 0.05,
        noise_v: float = 0.003,
        noise_i: float = 0.0,
        delay_v: float = 0.0,
        averages: bool = False,
        fall_v: float = 0.3,
    ) -> Sensed:
        """Current: bursts of correlation time ``swing_s`` whose strength wanders slowly."""
        rng = np.random.default_rng(seed)
        n = int(seconds / GRID_S)
        time = np.arange(n) * GRID_S
        strength = np.exp(slow * exponential_noise(rng, n, 6.0))
        amps = 0.5 + 2.0 * strength * np.abs(exponential_noise(rng, n, swing_s) + 0.7)
        volts = 8.2 - fall_v * np.cumsum(amps) / amps.sum() - ohm * amps
        for extra, tau_s in pairs:
            keep = float(np.exp(-GRID_S / tau_s))
            volts = volts - extra * lfilter([0.0, 1 - keep], [1.0, -keep], amps)

        def read(
            signal: FloatArray, every: float, step: float, noise: float
        ) -> tuple[FloatArray, FloatArray]:
            at = np.arange(every * (1 + rng.random()), seconds - 1, every)
            at = at + 0.02 * every * rng.standard_normal(at.size)
            value = np.interp(at, time, signal)
            if averages:
                area = np.concatenate(([0.0], np.cumsum(signal) * GRID_S))
                ends = np.concatenate((time, [seconds]))
                value = (np.interp(at, ends, area) - np.interp(at - every, ends, area)) / every
            return at, np.round((value + noise * rng.standard_normal(at.size)) / step) * step

        t_v, v = read(volts, every_v, step_v, noise_v)
        t_i, i = read(amps, every_i, step_i, noise_i)
        return Sensed(t_v + delay_v, v, t_i, i, time, volts, amps)

    return make
