"""How often the share of two currents seems to change in flights in which it does not."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.measure.currents.shares import Shared, changed_share
from telemetry.results import UnusualKind

FLIGHTS = 1000


def flights(stretches: int) -> list[Shared]:
    """One works as the other, but for a fifth, stretch by stretch by chance."""
    rng = np.random.default_rng(4)
    out = []
    for _ in range(FLIGHTS):
        load = rng.uniform(0.5, 1.5, stretches)
        out.append(
            Shared(
                mine=load * (1.0 + 0.2 * rng.standard_normal(stretches)),
                counterpart=load,
                first=20.0 * np.arange(stretches),
                seconds=20.0,
                usual=1.0,
                mirror=True,
            )
        )
    return out


@pytest.mark.parametrize("stretches", [8, 11, 20, 45])
def test_a_share_by_chance_is_as_rare_in_short_flights_as_in_long_ones(stretches: int) -> None:
    """Of a standard normal value beyond 3.3 to either side one in a thousand; two ways are tried.

    By Student's t with the residuals of eight stretches, taken for a normal value, 1 in 40.
    """
    climbs = np.array([abs(s.evenly.errors) for s in flights(stretches)])
    assert np.mean(climbs > 3.3) <= 0.005
    assert np.mean(climbs > 2.0) == pytest.approx(0.07, abs=0.03)


@pytest.mark.parametrize("stretches", [12, 45])
def test_a_share_that_truly_changed_stays_told(stretches: int) -> None:
    sound = flights(stretches)[0]
    late = np.arange(stretches) >= stretches // 2
    fallen = Shared(
        mine=sound.mine * np.where(late, 0.05, 1.0),
        counterpart=sound.counterpart,
        first=sound.first,
        seconds=20.0,
        usual=1.0,
        mirror=True,
    )
    assert fallen.step is not None
    assert (fallen.step.k, fallen.step.errors < -4.3) == (stretches // 2, True)


def test_a_servo_that_falls_silent_shows_in_a_flight_of_three_minutes() -> None:
    """One of two at a wing is off from a third on: nine stretches of 20 s tell two in three."""
    rng = np.random.default_rng(8)
    found = []
    for _ in range(40):
        at = np.arange(180)
        moves = np.convolve(rng.gamma(1.0, 1.0, at.size + 4), np.ones(5) / 5, "valid")
        both = [moves * rng.lognormal(0.0, 0.2, at.size) for _ in range(2)]
        mine = both[0] * np.where(at >= 60, 0.5, 1.0)
        shared = Shared.of(mine, both[1], 1.0, usual=float(mine.mean()), mirror=True)
        change = None if shared is None else changed_share(shared, [])
        found.append(change is not None and change.kind is UnusualKind.SILENT)
    assert np.mean(found) >= 0.9


@pytest.mark.parametrize(
    ("mine_after", "others_after", "at", "told"),
    [
        pytest.param(0.35, 1.0, 0.5, True, id="it draws a third from the middle on"),
        pytest.param(0.8, 2.2, 0.5, False, id="the others work harder"),
        pytest.param(0.35, 1.0, 0.87, False, id="an approach asks for other work"),
        pytest.param(0.35, 1.0, 0.13, False, id="so does a climb-out"),
    ],
)
def test_against_other_surfaces_it_is_its_own_current_that_falls(
    mine_after: float, others_after: float, at: float, told: bool
) -> None:
    rng = np.random.default_rng(21)
    late = np.arange(400) >= at * 400
    work = rng.gamma(8.0, 0.125, 400)
    mine = work * np.where(late, mine_after, 1.0) * rng.lognormal(0.0, 0.1, 400)
    others = work * np.where(late, others_after, 1.0) * rng.lognormal(0.0, 0.1, 400)
    shared = Shared.of(mine, others, 1.0, usual=float(mine.mean()), mirror=False)
    assert shared is not None
    assert (changed_share(shared, []) is not None) is told
