"""The default limits across flights: a change just beyond each is told, one below it is not.

The seasons are made by hand with little scatter, so that the change is established and the limit
alone decides. All limits here are the project's own ("ours").
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.across import judge
from telemetry.results import Level

Make = Callable[..., Any]

CRAFT = Aircraft(
    name="Tern (invented)",
    bus="bus",
    nodes=(
        Node(name="left wing", fed_from="bus", mirror="right wing", servos=4),
        Node(name="right wing", fed_from="bus", servos=4),
        Node(name="tail", fed_from="bus", servos=3),
    ),
)


def after_flight_10(before: float, now: float) -> Callable[[int], float]:
    return lambda k: now if k > 10 else before


@pytest.mark.parametrize(
    ("share_pct", "level"),
    # Of one servo's average share: a node of four servos rises by a quarter of it.
    [(19.0, None), (31.0, Level.WATCH), (52.0, Level.WATCH), (70.0, Level.GROUND)],
)
def test_servo_current_is_watched_from_25_and_grounds_from_60_percent_of_a_share(
    make_season: Make, share_pct: float, level: Level | None
) -> None:
    factor = 1.0 + share_pct / 100.0 / 4.0
    flights = make_season(
        21, scatter=0.004, current={"left wing": after_flight_10(1.0, factor)}, step_a=0.001
    )
    found = [f for f in judge(flights, aircraft=CRAFT).findings if f.place == "left wing"]
    assert [(f.code, f.level) for f in found] == (
        [] if level is None else [("servo-current-rising", level)]
    )


def test_less_than_two_steps_of_the_sensor_are_no_rise(make_season: Make) -> None:
    # 70 % of a share of a node that draws about 1.8 A moving is 0.3 A: below two steps of 0.2 A.
    flights = make_season(
        22, scatter=0.004, current={"left wing": after_flight_10(1.0, 1.175)}, step_a=0.2
    )
    assert not judge(flights, aircraft=CRAFT).findings


@pytest.mark.parametrize(
    ("place", "rise_mohm", "level"),
    [
        ("left wing", 6.5, None),  # of 32 mOhm: 20 %, but less than 8 mOhm
        ("left wing", 10.0, Level.WATCH),
        ("left wing", 22.5, Level.WATCH),  # 70 % and less than 25 mOhm
        ("left wing", 28.0, Level.GROUND),
        ("tail", 8.5, None),  # of 45 mOhm: over 8 mOhm, but 19 %
        ("tail", 11.0, Level.WATCH),
        ("tail", 30.0, Level.WATCH),  # over 25 mOhm, but 67 %
        ("tail", 39.0, Level.GROUND),
    ],
)
def test_a_lead_is_watched_from_8_mohm_and_20_percent_and_grounds_from_25_and_75(
    make_season: Make, place: str, rise_mohm: float, level: Level | None
) -> None:
    flights = make_season(23, scatter=0.004, lead={place: after_flight_10(0.0, rise_mohm)})
    found = judge(flights, aircraft=CRAFT).findings
    assert [(f.code, f.place, f.level) for f in found] == (
        [] if level is None else [("branch-resistance-rising", place, level)]
    )
