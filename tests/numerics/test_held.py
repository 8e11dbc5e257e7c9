"""A level that is held until what feeds it comes too near, against a way that holds nothing."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics.statistics.held import HeldLevel, held_level

LEVEL_V, DROP_V, OHM, NOISE_V = 7.5, 0.4, 0.02, 0.005


def fitted(level_v: float, *, seed: int = 1) -> HeldLevel | None:
    """A supply that falls from 8.3 to 7.7 V over 200 points, at currents of 1 to 6 A."""
    rng = np.random.default_rng(seed)
    source = np.linspace(8.3, 7.7, 200) + 0.02 * rng.standard_normal(200)
    amps = rng.uniform(1.0, 6.0, 200)
    out = np.minimum(level_v, source - DROP_V - OHM * amps)
    noise = np.full(200, NOISE_V)
    return held_level(source, out + NOISE_V * rng.standard_normal(200), amps, noise)


def test_level_way_and_what_is_held_are_those_of_the_supply() -> None:
    found = fitted(LEVEL_V)
    assert found is not None
    assert found.level_v == pytest.approx(LEVEL_V, abs=NOISE_V)
    assert pytest.approx(DROP_V, abs=4 * NOISE_V) == found.drop_v
    assert pytest.approx(OHM, abs=0.004) == found.ohm
    assert found.held[:80].mean() > 0.95
    assert not found.held[-60:].any()
    assert found.gain > 1000
    # Above 7.9 V plus the way's own loss: up to 0.36 V at the start.
    assert 0.15 < found.spare_v < 0.36


@pytest.mark.parametrize("seed", range(8))
def test_a_way_that_holds_nothing_explains_as_much_without_a_level(seed: int) -> None:
    found = fitted(20.0, seed=seed)
    assert found is None or found.gain < 60


def test_a_level_that_is_never_left_is_told_as_held() -> None:
    found = fitted(6.5)
    assert found is not None
    assert found.level_v == pytest.approx(6.5, abs=NOISE_V)
    assert found.gain > 1000


def test_too_few_points_tell_no_level() -> None:
    few = np.array([8.0, 7.9, 7.8, 7.7])
    assert held_level(few, few - 0.4, np.ones(4), np.full(4, 0.01)) is None
    assert held_level(few[:0], few[:0], few[:0], few[:0]) is None
