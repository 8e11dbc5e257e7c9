"""One cause, one finding: losses of one place, packs that run empty, falls that a finding tells.

The expected side follows from the rule's own words (limits: the project's own).
"""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Limits
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Knee,
    LeadChange,
    Level,
    Origin,
)
from telemetry.results.measures import SupplyLevel
from tests.checks.test_findings import brownout, fall, found_in, told


def knee(place: str, end_v: float = 6.2) -> Knee:
    return Knee(
        place=place, start_s=330.0, end_s=400.0, before_v=6.6, end_v=end_v, depth_v=6.6 - end_v
    )


def floor(place: str, level_v: float, *, is_floor: bool = True) -> SupplyLevel:
    return SupplyLevel(place=place, level_v=level_v, is_floor=is_floor)


def test_a_loss_more_at_a_place_with_confirmed_ones_is_one_of_them() -> None:
    sure = [brownout(Evidence.REAL, start_s=s) for s in (200.0, 250.0)]
    (found,) = found_in(*sure, brownout(Evidence.UNKNOWN, start_s=300.0))
    assert (found.level, found.evidence["times"]) == (Level.GROUND, 3)
    assert "2 of them confirmed" in found.title
    assert "confirmed" not in found_in(*sure)[0].title
    # Of another place nothing is confirmed.
    found_both = found_in(*sure, fall(300.0, Origin.UNKNOWN, "right wing", **LOST))
    assert sorted(f.evidence["evidence"] for f in found_both) == ["real", "unknown"]


LOST: dict[str, Any] = {
    "kind": EventKind.BROWNOUT,
    "evidence": Evidence.UNKNOWN,
    "residual_v": 3.1,
    "updates": 2,
}


@pytest.mark.parametrize(("volts", "read"), [(3.5, True), (3.51, False)])
def test_a_loss_that_no_reading_shows_is_told_as_too_short(volts: float, read: bool) -> None:
    """The restart level is 3.5 V where no profile says another."""
    lost = fall(200.0, Origin.UNKNOWN, **{**LOST, "residual_v": volts})
    (found,) = found_in(lost)
    assert Limits().restart_v == 3.5
    assert ("lowest reading 3.50 V" in found.title) is read
    assert ("too shortly for this log to read it" in found.title) is not read


def unread(*events: Event) -> list[Finding]:
    return [f for f in found_in(*events) if "could not be attributed" in f.title]


def test_falls_that_a_finding_tells_are_no_falls_without_a_cause() -> None:
    times = (150.0, 200.0, 250.0)
    drops = [fall(s, Origin.UNKNOWN, "bus") for s in times]
    assert unread(*drops)
    lost = [fall(s, Origin.UNKNOWN, "bus", **LOST) for s in times]
    assert not unread(*drops, *lost)
    # Three more that nothing tells are left.
    more = [fall(s + 20.0, Origin.UNKNOWN, "bus") for s in times]
    assert unread(*drops, *more, *lost)
    assert not unread(*drops, *more[:2], *lost)


@pytest.mark.parametrize(
    ("depth_v", "codes"),
    [(0.71, {"pack-low"}), (0.69, {"pack-low", "sag-unexplained"})],
)
def test_packs_that_ran_empty_and_fell_alike_before_have_no_loose_plug(
    depth_v: float, codes: set[str]
) -> None:
    falls = [
        fall(280.0, Origin.PACK, p, kind=EventKind.SHIFT, end_s=290.0, depth_v=d, updates=20)
        for p, d in (("pack 1", 1.0), ("pack 2", depth_v))
    ]
    both = (knee("pack 1"), knee("pack 2"))
    assert {f.code for f in found_in(*falls, knees=both)} == codes
    # A pack that did not run empty is no excuse for the other one.
    assert "sag-unexplained" in {f.code for f in found_in(*falls, knees=both[:1])}


@pytest.mark.parametrize(
    ("end_v", "is_floor", "level"),
    [
        (6.19, True, Level.GROUND),
        (6.20, True, Level.WATCH),
        (6.19, False, Level.WATCH),  # the comfort of servos is no floor of a pack
    ],
)
def test_a_pack_emptied_below_its_floor_grounds(end_v: float, is_floor: bool, level: Level) -> None:
    found = found_in(
        knees=(knee("pack 1", end_v),), levels=(floor("pack 1", 6.2, is_floor=is_floor),)
    )
    assert told(found) == [("pack-low", "pack 1", level)]


def changed(usual_mohm: float) -> Finding:
    change = LeadChange(
        place="left wing", parent="bus", start_s=200.0, end_s=None, from_start=False,
        usual_mohm=usual_mohm, change_mohm=200.0, error_mohm=5.0, seconds=200.0, rms_a=3.0,
        step_v=0.01, confirmed=True,
    )  # fmt: skip
    (found,) = found_in(lead_changes=(change,))
    return found


def test_a_lead_without_a_usual_resistance_is_told_without_it() -> None:
    below, known = changed(-20.0), changed(20.0)
    assert (below.evidence["usual_mohm"], below.evidence["change_mohm"]) == (None, 180.0)
    assert (known.evidence["usual_mohm"], known.evidence["change_mohm"]) == (20.0, 200.0)
    assert "-20" not in below.title
    assert "180 mOhm from bus" in below.title
    assert "220 instead of 20 mOhm" in known.title
