"""Which servos of a node draw more: by each control's draw, flight by flight."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.season.case import Case
from telemetry.season.groups import rising_group
from telemetry.season.judge import _listed
from telemetry.season.measures import Blocks, GroupDraw, Measures
from telemetry.season.table import Table

FLIGHTS, SINCE = 14, 7
Draw = dict[tuple[str, str], float]


def flights(usual: Draw, rise: Draw, se: float = 0.05, common: float = 0.0) -> list[Measures]:
    """Each control's draw, by chance ``se`` off, with the day's ``common`` change; rises later."""
    rng = np.random.default_rng(3)
    places = sorted({place for place, _ in usual})
    out = []
    for k in range(FLIGHTS):
        day = np.exp(common * rng.standard_normal())
        groups = []
        for (place, drives), value in usual.items():
            grown = 1.0 + (rise.get((place, drives), 0.0) if k >= SINCE else 0.0)
            value = value * grown * day * np.exp(se * rng.standard_normal())
            groups.append(
                GroupDraw(
                    place=place,
                    drives=drives,
                    outputs=("1", "2"),
                    value=value,
                    low=value * (1 - 1.96 * se),
                    high=value * (1 + 1.96 * se),
                    separable=False,
                )
            )
        out.append(
            Measures(
                kind="flight",
                start=None,
                file="",
                duration_s=400.0,
                flight_s=300.0,
                update_s=0.2,
                temperature_c=None,
                features=(),
                stir=Blocks(block_s=1.0, amps={p: np.full(8, 1.0) for p in places}),
                air=None,
                groups=tuple(groups),
                servos=dict.fromkeys(places, 4),
            )
        )
    return out


def named(measures: list[Measures], place: str, node_rise: float, servos=()) -> str | None:
    aircraft = Aircraft(
        bus="bus",
        nodes=tuple(Node(name=p, fed_from="bus") for p in ("left wing", "right wing", "tail")),
        servos=servos,
    )
    case = Case(
        flights=measures,
        listed=_listed(measures),
        notes=(),
        aircraft=aircraft,
        charts=10,
        table=Table(measures),
    )
    group = rising_group(case, place, SINCE, node_rise)
    return None if group is None else group.name


WINGS: Draw = {("left wing", "aileron"): 0.002, ("right wing", "aileron"): 0.002}
TAIL: Draw = {("tail", "elevator"): 0.002, ("tail", "rudder"): 0.002}


def test_against_the_other_side_a_day_common_to_both_is_no_rise() -> None:
    rises = {("left wing", "aileron"): 0.35}
    found = named(flights(WINGS, rises, common=0.3), "left wing", 0.35)
    assert found == "aileron (outputs 1, 2)"
    assert named(flights(WINGS, {}, common=0.3), "left wing", 0.35) is None


def test_a_rise_that_no_logged_control_shows_gets_no_name() -> None:
    # A flap servo that is stiff at rest, say: the ailerons draw what they did.
    assert named(flights(WINGS, {}), "left wing", 0.3) is None


def test_of_two_controls_the_one_that_rose_is_named() -> None:
    rises = {("tail", "rudder"): 0.6}
    assert named(flights(TAIL, rises), "tail", 0.3) == "rudder (outputs 1, 2)"
    # Where both rose alike it was neither servo alone.
    both = dict.fromkeys(TAIL, 0.3)
    assert named(flights(TAIL, both), "tail", 0.3) is None


def test_none_is_named_where_one_of_them_is_hardly_known() -> None:
    rises = {("tail", "rudder"): 0.6}
    assert named(flights(TAIL, rises, se=0.3), "tail", 0.3) is None


def test_the_only_control_of_a_place_needs_no_columns() -> None:
    servos = (Servo(node="left wing", output=3, drives="left aileron", count=4),)
    assert named(flights(TAIL, {}), "left wing", 0.3, servos) == "aileron (output 3)"
    # With servos that the profile does not list it might be one of those.
    few = (Servo(node="tail", output=3, drives="elevator", count=2),)
    assert named(flights(TAIL, {}), "tail", 0.3, few) is None
