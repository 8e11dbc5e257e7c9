"""Stretches of a series that lie higher than its rest, planted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics.stretches import candidates, judged


def noise(size: int, seed: int = 1, memory: float = 0.0) -> np.ndarray:
    """Normal noise of unit variance; an autoregression of first order with this memory."""
    draws = np.random.default_rng(seed).standard_normal(size)
    out = draws.copy()
    for k in range(1, size):
        out[k] = memory * out[k - 1] + np.sqrt(1 - memory**2) * draws[k]
    return out


@pytest.mark.parametrize(("first", "end"), [(50, 54), (120, 150), (200, 300), (0, 90)])
def test_a_planted_stretch_is_among_the_candidates_and_measured(first: int, end: int) -> None:
    d = 0.1 * noise(300)
    d[first:end] += 2.0
    best = max(candidates(d), key=lambda c: min(c[1], end) - max(c[0], first))
    found = judged(d, first, end)
    assert found is not None
    assert min(best[1], end) - max(best[0], first) >= 0.8 * (end - first)
    assert found.excess == pytest.approx(2.0, abs=0.2)
    assert found.excess > 5 * found.se
    assert found.excess > 2 * found.rival


@pytest.mark.parametrize("memory", [0.0, 0.8])
def test_the_error_holds_the_autocorrelation(memory: float) -> None:
    """Means of 20 of a unit AR(1): variance (1 + a) / (1 - a) / 20, for long stretches (Bartlett).

    G. E. P. Box and G. M. Jenkins, Time Series Analysis (from memory).
    """
    errors = [judged(noise(400, seed, memory), 100, 120).se for seed in range(40)]
    true = np.sqrt((1 + memory) / (1 - memory) * (1 / 20 + 1 / 376))
    assert np.median(errors) == pytest.approx(true, rel=0.35)


def test_noise_alone_hardly_ever_stands_out() -> None:
    """Of 100 series of noise that hangs together one at most has such a stretch."""
    out = 0
    for seed in range(100):
        d = noise(250, seed, 0.5)
        found = [judged(d, *c) for c in candidates(d)]
        out += any(
            s is not None and s.excess >= 5 * s.se and s.excess >= 2 * s.rival for s in found
        )
    assert out <= 1


def test_noise_that_grows_with_the_load_is_judged_under_load() -> None:
    load = np.where(np.arange(300) % 50 < 25, 5.0, 0.5)
    d = load * noise(300)
    quiet, loaded = judged(d, 100, 110), judged(d, 100, 110, load)
    assert loaded.se > 1.5 * quiet.se


def test_a_rest_that_is_too_short_tells_nothing() -> None:
    assert judged(noise(30), 5, 28) is None
    assert judged(noise(30), 7, 7) is None
