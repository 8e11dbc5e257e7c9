"""Resistances of leads from means over blocks, where the current swings faster than it is read."""

from __future__ import annotations

import numpy as np
import pytest

from tests.numerics.sensed import of_branch

F = 0.01  # s, grid of the true signals


def hard_flying(seed: int, ohm: float = 0.030, length_s: float = 300.0):
    """Readings of bus, node and current at 0.1 s, each at instants of its own.

    Moves of 0.08 s, each of its own size; how hard they are changes every 3 s.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, length_s, F)
    hard = np.repeat(rng.uniform(0.5, 4.0, 100), round(3 / F))[: t.size]
    moves = np.repeat(rng.gamma(1.0, 1.0, round(length_s / 0.08) + 2), round(0.08 / F))[: t.size]
    amps = 0.3 + hard * moves
    bus = 8.0 - 0.03 * amps - 0.3 * t / length_s

    def read(x: np.ndarray, phase_s: float, step: float):
        at = np.arange(phase_s, length_s - 0.1, 0.1)
        v = np.interp(at, t, x) + 0.002 * rng.standard_normal(at.size)
        return at, np.round(v / step) * step

    return read(bus, 0.01, 0.01), read(bus - ohm * amps, 0.043, 0.01), read(amps, 0.077, 0.02)


@pytest.mark.parametrize("seed", range(6))
def test_hard_flying_is_not_refused(seed: int) -> None:
    """The truth lies within the interval widened by a tenth."""
    bus, node, amps = hard_flying(seed)
    fit = of_branch(*bus, *node, *amps, step_parent=0.01, step_place=0.01, step_i=0.02)
    assert not fit.refused
    assert 0.9 * fit.low_ohm <= 0.030 <= 1.1 * fit.high_ohm
