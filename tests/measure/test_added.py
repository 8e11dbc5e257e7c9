"""Amperes added to what a node's counterpart says, in blocks made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.measure.currents.added import CurrentBlocks, added_stretch


@pytest.mark.parametrize(("readings", "told"), [(1, False), (4, True)])
def test_one_reading_held_through_missed_updates_is_no_stretch(readings: int, told: bool) -> None:
    """Four seconds at 4 A: of four readings, or of one that was held."""
    rng = np.random.default_rng(1)
    mean = 0.5 + 0.05 * rng.standard_normal(200)
    mirror = 0.5 + 0.05 * rng.standard_normal(200)
    fresh = np.ones(200)
    mean[100:104], fresh[100:104] = 4.0, readings / 4
    now = CurrentBlocks(
        mean=mean, low=mean.copy(), block_s=1.0, step=0.01, update_s=1.0, fresh=fresh
    )
    assert (added_stretch(now, mirror) is not None) is told


@pytest.mark.parametrize("begins", [100.0, 100.3, 100.6, 100.9])
@pytest.mark.parametrize("update_s", [0.2, 0.5])
def test_a_stall_of_three_seconds_begins_and_ends_within_blocks(
    begins: float, update_s: float
) -> None:
    """4 A more, as a stalled servo draws; the mirrors move alike."""
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 300.0, update_s)
    moves = 0.5 + 0.3 * np.abs(np.convolve(rng.standard_normal(t.size), np.ones(3) / 3, "same"))
    stalled = moves + 4.0 * ((t >= begins) & (t < begins + 3.0))
    seconds = np.searchsorted(t, np.arange(1.0, 300.0))

    def blocks(amps: np.ndarray) -> CurrentBlocks:
        parts = np.split(amps, seconds)
        return CurrentBlocks(
            mean=np.array([x.mean() for x in parts]),
            low=np.array([x.min() for x in parts]),
            block_s=1.0,
            step=0.01,
            update_s=update_s,
            fresh=np.array([float(x.size) for x in parts]),
        )

    now, mirror = blocks(stalled), blocks(moves)
    found = added_stretch(now, mirror.mean)
    assert found is not None
    assert 99 <= found.first <= 101
    assert 103 <= found.end <= 105
    assert found.excess == pytest.approx(4.0, rel=0.1)
    assert added_stretch(mirror, now.mean) is None


@pytest.mark.parametrize(("harder", "more", "told"), [(1.0, 0.4, True), (2.0, 0.4, False)])
def test_a_share_is_not_known_under_a_load_seen_nowhere_else(
    harder: float, more: float, told: bool
) -> None:
    """A minute and more of hard flying, of which one wing takes two fifths more."""
    rng = np.random.default_rng(9)
    load = 1.0 + 0.1 * np.abs(rng.standard_normal(300))
    inside = (np.arange(300) >= 100) & (np.arange(300) < 180)
    mirror = load * np.where(inside, harder, 1.0)
    mean = mirror * np.where(inside, 1.0 + more, 1.0) + 0.02 * rng.standard_normal(300)
    now = CurrentBlocks(
        mean=mean, low=mean.copy(), block_s=1.0, step=0.01, update_s=1.0, fresh=np.ones(300)
    )
    assert (added_stretch(now, mirror) is not None) is told


@pytest.mark.parametrize(("more", "told"), [(0.8, False), (1.9, True)])
def test_what_both_wings_begin_at_once_is_no_fault_of_one(more: float, told: bool) -> None:
    """Flaps of 0.8 A on both sides until the landing; the ailerons of the mirror bind."""
    rng = np.random.default_rng(12)
    ailerons = 0.15 + 0.1 * np.abs(rng.standard_normal(400))
    flaps = np.arange(400) >= 355
    mean = ailerons + more * flaps + 0.02 * rng.standard_normal(400)
    mirror = 3.0 * ailerons + 0.8 * flaps
    now = CurrentBlocks(
        mean=mean, low=mean.copy(), block_s=1.0, step=0.01, update_s=1.0, fresh=np.ones(400)
    )
    assert (added_stretch(now, mirror) is not None) is told
