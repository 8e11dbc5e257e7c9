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
