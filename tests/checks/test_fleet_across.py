"""Scatter of other aircraft in the first flights of a new one, against none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from telemetry.checks.across import listed_as, replay, scatters_of, together_at
from telemetry.results import Fleet, Level
from telemetry.trends.fleet import fleet_of
from telemetry.trends.measures import Measures
from telemetry.trends.table import FeatureTable

Make = Callable[..., Any]
_CHANGED, _FLIGHTS = 4, 12


@pytest.fixture(scope="module")
def fleet(make_season: Make) -> Fleet:
    """Four aircraft that scatter a quarter as much as is usual."""
    own = {
        f"bird {k}": scatters_of(make_season(500 + k, flights=25, scatter=0.006), (), None)
        for k in range(4)
    }
    found = fleet_of(own, 100)
    assert found is not None
    return found


def found_by(season: list[Measures], fleet: Fleet | None) -> list[bool]:
    """Whether anything is found of the left wing after each flight."""
    listed = [listed_as(k, m) for k, m in enumerate(season, 1)]
    table = FeatureTable(season)
    told = (together_at(k, season, (), None, listed, table, fleet) for k in range(len(season)))
    return [
        any(f.place == "left wing" and f.level > Level.UNKNOWN for f in found) for found in told
    ]


def season(make_season: Make, seed: int, factor: float, scatter: float = 0.006) -> list[Measures]:
    made: list[Measures] = make_season(
        seed,
        flights=_FLIGHTS,
        scatter=scatter,
        current={"left wing": lambda k: factor if k > _CHANGED else 1.0},
    )
    return made


def test_a_change_in_the_first_flights_is_found_sooner(make_season: Make, fleet: Fleet) -> None:
    delays: list[list[int]] = [[], []]
    for seed in range(4):
        flights = season(make_season, seed, 1.06)
        for own, others in zip(delays, (None, fleet), strict=True):
            found = found_by(flights, others)
            assert not any(found[:_CHANGED])
            own.append([*found, True].index(True) - _CHANGED)
    without, told = delays
    assert all(b <= a for a, b in zip(without, told, strict=True))
    assert sum(told) <= sum(without) - len(told)


def test_a_healthy_one_that_scatters_more_is_not_accused(make_season: Make, fleet: Fleet) -> None:
    """Three times as much as theirs: what they tell gives way to its own flights."""
    for seed in range(6):
        assert not any(found_by(season(make_season, seed, 1.0, scatter=0.02), fleet))


def test_a_replay_judges_every_flight_with_it(make_season: Make, fleet: Fleet) -> None:
    flights = season(make_season, 3, 1.06)
    found = replay(flights, fleet=fleet)
    assert found.fleet == fleet
    assert replay(flights).fleet is None
    (mine,) = [f for f in found.findings if f.place == "left wing"]
    listed = found.flights
    last = together_at(_FLIGHTS - 1, flights, (), None, listed, None, fleet)
    assert mine.change == next(f.change for f in last if f.place == "left wing")


def test_an_aircraft_with_a_fault_scatters_as_it_did_before(make_season: Make) -> None:
    """Its lasting change is taken out: a worn servo of one is no scatter of the fleet."""
    plain, worn = (
        {(own.feature, own.usual): own.ratio for own in scatters_of(flights, (), None)}
        for flights in (
            make_season(7, flights=25),
            make_season(7, flights=25, current={"left wing": lambda k: 1.6 if k > 12 else 1.0}),
        )
    )
    assert worn["stir", 0.025] == pytest.approx(plain["stir", 0.025], rel=0.4)
