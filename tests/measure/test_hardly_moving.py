"""A mirror whose servos hardly move measures no other wing."""

from __future__ import annotations

import numpy as np
import pytest

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
