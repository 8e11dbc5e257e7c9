"""Moments at which a voltage fell too far: Ohm's law with openings of a contact put in by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.signals.strays import commonest_fall, fell_too_far

T = np.arange(0.0, 120.0, 0.2)
OHM = 0.030


def current(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 1.0 + 3.0 * np.abs(np.convolve(rng.standard_normal(T.size + 4), np.ones(5) / 2, "valid"))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3])
def test_commonest_fall_does_not_follow_other_falls(share: float) -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed + 50)
        x = current(seed)
        opened = np.where(rng.random(T.size) < share, 0.1 + 0.5 * rng.random(T.size), 0.0)
        y = np.round(8.0 - (OHM + opened) * x, 2)
        found = commonest_fall(T, y, x, step_v=0.01)
        assert found == pytest.approx(OHM, rel=0.15)


def test_no_commonest_fall_where_the_steps_hide_it() -> None:
    x = current(1)
    assert commonest_fall(T, np.round(8.0 - 0.001 * x, 1), x, step_v=0.1) is None
    assert commonest_fall(T, np.full(T.size, 8.0), np.ones(T.size), step_v=0.01) is None
    assert commonest_fall(T[:5], 8.0 - x[:5], x[:5], step_v=0.0) is None


def test_only_the_openings_are_called_with_their_neighbours() -> None:
    x = current(2)
    rng = np.random.default_rng(2)
    y = 8.0 - OHM * x + 0.005 * rng.standard_normal(T.size)
    calm = fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None)
    assert not calm.any()
    y[[100, 101, 400]] -= 1.0
    found = fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None)
    assert np.flatnonzero(found).tolist() == [99, 100, 101, 102, 399, 400, 401]
    # A rise is no contact, and a fall that the highest current could make is none either.
    y[[100, 101, 400]] += 2.0
    assert not fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None).any()
    y[[100, 101, 400]] -= 2.0
    assert not fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=40.0).any()
