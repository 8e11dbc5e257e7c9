"""A mirror whose servos hardly move measures no other wing; what still follows one is not off."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.measure.currents.added import CurrentBlocks, rather_a_share
from telemetry.measure.currents.shares import HARDLY, Shared, changed_share
from telemetry.results import UnusualKind

# Means of twenty stretches of 20 s, A: calm and wild flying.
MOVED_A = 0.2 + 0.1 * np.abs(np.sin(np.arange(20.0)))


@pytest.mark.parametrize(
    ("part", "kind"),
    [
        (0.9, UnusualKind.SILENT),
        (1.2 / HARDLY, UnusualKind.SILENT),
        (0.8 / HARDLY, None),
        (0.08, None),
    ],
)
def test_what_begins_to_work_at_a_dead_wing_silences_no_other(
    part: float, kind: UnusualKind | None
) -> None:
    """From the twelfth stretch on three times as much there, such as flaps, and a calm end here."""
    late = np.arange(20) >= 12
    beside_a = part * MOVED_A * np.where(late, 3.0, 1.0)
    shared = Shared(
        mine=MOVED_A * np.where(late, 0.5, 1.0),
        counterpart=beside_a,
        first=np.arange(20) * 20.0,
        seconds=20.0,
        usual=0.4,
        mirror=True,
    )
    found = changed_share(shared, [])
    assert (found and found.kind) is kind


def blocks(mean: np.ndarray) -> CurrentBlocks:
    return CurrentBlocks(
        mean=mean, low=mean, block_s=1.0, step=0.01, update_s=1.0, fresh=np.ones(mean.size)
    )


@pytest.mark.parametrize(("climbs", "skew"), [(False, 0), (False, 1), (True, 0)])
def test_what_no_longer_follows_its_mirror_lost_a_share(climbs: bool, skew: int) -> None:
    """Alike means over twenty seconds: a wing that is off late, and one that drew more early.

    Where the mirror is read a block later no move is seen in both: that it still moves tells.
    """
    rng = np.random.default_rng(6)
    at = np.arange(420)
    moves = 0.5 + 0.3 * np.abs(rng.standard_normal(at.size))
    noise = 0.02 * rng.standard_normal(at.size)
    flaps = 0.4 * (at >= 380)  # held down for landing
    mirror = np.roll(moves, skew) + flaps
    early, ends = at < 200, (0, 200)
    if not climbs:
        added = 0.6 * moves + 0.6 * early + flaps + noise
        assert not rather_a_share(blocks(added), mirror, ends, climbs=False)
        share = np.where(early, moves, 0.1) + flaps + noise
        assert rather_a_share(blocks(share), mirror, ends, climbs=False)
        stalls = moves + 4.0 * ((at >= 201) & (at < 204)) + flaps + noise
        assert not rather_a_share(blocks(stalls), mirror, (200, 205), climbs=False)
        # A servo that strains from the landing on, while its mirror moves no more.
        rests = np.where(at < 340, moves, 0.1)
        strains = rests + 2.2 * (at >= 340) + noise
        assert not rather_a_share(blocks(strains), rests, (340, 420), climbs=False)
    else:
        added = moves + 0.6 * early + flaps + noise
        assert not rather_a_share(blocks(added), mirror, ends, climbs=True)
        share = moves * (1.0 - 0.9 * at / at.size) + flaps + noise
        assert rather_a_share(blocks(share), mirror, (0, 150), climbs=True)
