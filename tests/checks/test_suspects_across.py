"""Which servos of a node changed: by each control's draw, flight by flight."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import exp, expm1, log, log1p

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.checks.across import listed_as
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.servos.naming import named as sure_one
from telemetry.checks.servos.suspects import suspects
from telemetry.results import NoteMark
from telemetry.trends.draws import draw_part, group_draws
from telemetry.trends.measures import Blocks, GroupDraw, Measures
from telemetry.trends.table import FeatureTable

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
                    controls=(drives,),
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
    case = AircraftHistory(
        flights=measures,
        listed=tuple(listed_as(k, m) for k, m in enumerate(measures, 1)),
        notes=(),
        aircraft=aircraft,
        charts=10,
        table=FeatureTable(measures),
    )
    servo = sure_one(suspects(case, place, SINCE, node_rise))
    return None if servo is None else servo.name


WINGS: Draw = {("left wing", "aileron"): 0.002, ("right wing", "aileron"): 0.002}
TAIL: Draw = {("tail", "elevator"): 0.002, ("tail", "rudder"): 0.002}
AX = ("elevator", "rudder")


def test_against_the_other_side_a_day_common_to_both_is_no_rise() -> None:
    rises = {("left wing", "aileron"): 0.35}
    assert named(flights(WINGS, rises, common=0.3), "left wing", 0.35) == "aileron"
    assert named(flights(WINGS, {}, common=0.3), "left wing", 0.35) is None


def test_a_rise_that_no_logged_control_shows_gets_no_name() -> None:
    # A flap servo that is stiff at rest, say: the ailerons draw what they did.
    assert named(flights(WINGS, {}), "left wing", 0.3) is None


def test_of_two_controls_the_one_that_rose_is_named() -> None:
    rises = {("tail", "rudder"): 0.6}
    assert named(flights(TAIL, rises), "tail", 0.3) == "rudder"
    # Where both rose alike it was neither servo alone.
    both = dict.fromkeys(TAIL, 0.3)
    assert named(flights(TAIL, both), "tail", 0.3) is None


def test_of_two_controls_the_one_that_fell_is_named() -> None:
    falls = {("tail", "rudder"): -0.5}
    assert named(flights(TAIL, falls), "tail", -0.25) == "rudder"
    assert named(flights(TAIL, falls), "tail", 0.25) is None


def test_none_is_named_where_they_are_hardly_known() -> None:
    rises = {("tail", "rudder"): 0.6}
    assert named(flights(TAIL, rises, se=0.6), "tail", 0.3) is None


def test_the_only_control_of_a_place_needs_no_columns() -> None:
    servos = (Servo(node="left wing", output=3, drives="left aileron", count=4),)
    assert named(flights(TAIL, {}), "left wing", 0.3, servos) == "aileron (output 3)"
    # With servos that the profile does not list it might be one of those.
    few = (Servo(node="left wing", output=3, drives="elevator", count=2),)
    assert named(flights(WINGS, {}), "left wing", 0.3, few) is None


# By hand. Four flights of one draw and one flight of another, each with the same error. Nothing
# is learnt of the scatter from four alike but three degrees of freedom: its square is 0.12^2 times
# 3 / 6. Half of an error e joins it, and the mean of four:
#     variance = 0.0072 (1 + (0.5 e / 0.12)^2) (1 + 1 / 4)
# A group that changed alone moves by a = 0.7 log(1 + r T / u), sure to half of that; errors are
# Student's t with four degrees of freedom, whose density is proportional to
#     (1 + x^2 / 4)^(-5 / 2) over the scale.


def variance(error: float) -> float:
    return 0.0072 * (1.0 + (0.5 * error / 0.12) ** 2) * 1.25


def density(x: float, scale: float) -> float:
    return (1.0 + (x / scale) ** 2 / 4.0) ** -2.5 / scale


def draw(place: str, drives: str, value: float, error: float) -> GroupDraw:
    reach = 1.96 * error * value
    return GroupDraw(
        place=place,
        controls=(drives,),
        outputs=("1", "2"),
        value=value,
        low=value - reach,
        high=value + reach,
        separable=False,
    )


@pytest.fixture
def case_of(make_flight, make_case):
    """A case of draws: by place and control five values, and their error."""

    def make(draws, *, error: float = 0.1, notes=(), aircraft=None):
        n = len(next(iter(draws.values())))
        flights = [
            make_flight(
                groups=tuple(draw(p, d, x[k], error) for (p, d), x in draws.items() if x[k])
            )
            for k in range(n)
        ]
        return make_case(flights, notes=notes, aircraft=aircraft)

    return make


def moved(value: float, by: float) -> list[float]:
    return [value] * 4 + [value * exp(by)]


def test_chances_by_hand(case_of) -> None:
    """Of two controls of like draw one moved by 0.4, the other not; the place rose by 0.3."""
    draws = {("tail", "rudder"): moved(0.002, 0.4), ("tail", "elevator"): moved(0.002, 0.0)}
    found = suspects(case_of(draws), "tail", 4, 0.3)
    sd, alone, both = variance(0.1) ** 0.5, 0.7 * log1p(0.6), 0.7 * log1p(0.3)
    wide, wide_both = (float(np.hypot(sd, 0.5 * x)) for x in (alone, both))
    rudder = density(0.4 - alone, wide) * density(0.0, sd)
    elevator = density(0.4, sd) * density(alone, wide)
    unlogged = 0.3 * density(0.4, sd) * density(0.0, sd)
    alike = 0.2 * density(0.4 - both, wide_both) * density(both, wide_both)
    total = rudder + elevator + unlogged + alike
    told = {s.control: s.chance for s in found}
    assert list(told) == ["rudder", "elevator"]
    # The place is taken to have four servos, and no profile lists one: others may be the ones.
    assert told == pytest.approx({"rudder": rudder / total, "elevator": elevator / total}, rel=1e-6)
    assert found[0].rise == pytest.approx(expm1(0.4))


def test_a_control_check_counts_beside_columns(case_of, make_flight, make_case) -> None:
    """What a check says is in other units: it is set against checks alone."""
    flights = []
    for k in range(5):
        late = k == 4
        columns = [draw("tail", c, 0.002 * (1.5 if late and c == "rudder" else 1), 0.1) for c in AX]
        checks = [draw("tail", c, 0.8 * (1.5 if late and c == "rudder" else 1), 0.1) for c in AX]
        flights.append((columns, [replace(g, basis="check") for g in checks]))
    alone = make_case([make_flight(groups=tuple(a)) for a, _ in flights])
    both = make_case([make_flight(groups=(*a, *b)) for a, b in flights])
    one, two = (suspects(case, "tail", 4, 0.25)[0] for case in (alone, both))
    assert (one.control, two.control) == ("rudder", "rudder")
    assert one.chance < two.chance


def test_of_two_that_move_together_both_are_suspects(make_flight, make_case) -> None:
    pair = [replace(draw("tail", "", x, 0.1), controls=AX) for x in (0.002,) * 4 + (0.0028,)]
    found = suspects(make_case([make_flight(groups=(g,)) for g in pair]), "tail", 4, 0.4)
    assert {s.control for s in found} == set(AX)
    assert found[0].chance == pytest.approx(found[1].chance)
    assert 0.4 < found[0].chance < 0.5


def test_no_draws_no_names(case_of) -> None:
    assert suspects(case_of({("left wing", "aileron"): [0.002] * 5}), "tail", 4, 0.5) == ()


def test_flights_before_a_note_are_no_baseline(case_of) -> None:
    m = 0.7 * log1p(1.0)
    draws = {("tail", "rudder"): [0.02, 0.02, *moved(0.002, m)]}
    note = NoteMark(kind="changed", place="tail", text="", date="2026-05-01", before=2)
    (found,) = suspects(case_of(draws, notes=[note]), "tail", 6, 1.0)
    assert found.rise == pytest.approx(expm1(m))


@pytest.mark.parametrize(
    ("servos", "chances"),
    [
        pytest.param([("rudder", 4)], {"rudder": 1.0}, id="one output"),
        pytest.param([("left rudder", 2), ("right rudder", 2)], {"rudder": 1.0}, id="alike"),
        pytest.param(
            [("rudder", 1), ("elevator", 3)], {"rudder": 0.25, "elevator": 0.75}, id="two"
        ),
        pytest.param([("rudder", 3)], {"rudder": 0.75}, id="three of four listed"),
        # One that no stick moves works little.
        pytest.param(
            [("rudder", 1), ("flap", 3)], {"rudder": 1 / 1.9, "flap": 0.9 / 1.9}, id="flap"
        ),
        pytest.param([("smoke pump", 4)], {"smoke pump": 1.0}, id="no surface"),
    ],
)
def test_by_the_profile_alone_servos_count(make_flight, make_case, servos, chances) -> None:
    listed = tuple(
        Servo(node="tail", output=k, drives=d, count=n) for k, (d, n) in enumerate(servos, 1)
    )
    craft = Aircraft(nodes=(Node(name="tail", servos=4),), servos=listed)
    found = suspects(make_case([make_flight()], aircraft=craft), "tail", 0, 0.3)
    assert {s.control: s.chance for s in found} == pytest.approx(chances, abs=1e-6)


def test_the_profile_is_that_of_the_last_day(make_flight, make_case) -> None:
    day = date(2026, 5, 2)
    servos = (
        Servo(node="tail", output=1, drives="rudder", count=4, until=day),
        Servo(node="tail", output=1, drives="elevator", count=4, since=day),
    )
    craft = Aircraft(nodes=(Node(name="tail", servos=4),), servos=servos)
    case = make_case([make_flight(start=f"2026-05-0{d}T10:00:00") for d in (1, 2)], aircraft=craft)
    (found,) = suspects(case, "tail", 0, 0.3)
    assert found.control == "elevator"


def test_draws_are_logarithms_with_their_relative_error(make_flight, make_case) -> None:
    groups = [
        draw("tail", "rudder", 0.002, 0.1),
        draw("tail", "rudder", 0.004, 0.6),  # it may be nothing
        draw("tail", "rudder", 0.004, 0.0),
        draw("tail", "rudder", 0.004, 0.5),
        draw("left wing", "rudder", 0.004, 0.1),
    ]
    case = make_case([make_flight(groups=(g,)) for g in groups])
    found = group_draws(case.flights, "tail")[("rudder",), "flight"]
    assert set(found) == {0, 3}
    assert found[0] == pytest.approx((log(0.002), 0.1))
    assert found[3] == pytest.approx((log(0.004), 0.5))


def test_a_control_is_set_against_that_of_the_other_side() -> None:
    own = {k: (1.0 + k, 0.3) for k in range(4)}
    half = draw_part(own, {1: (0.5, 0.4), 3: (0.25, 0.4), 7: (9.0, 0.4)})
    assert half.at.tolist() == [1, 3]
    assert half.y == pytest.approx([1.5, 3.75])
    assert half.se == pytest.approx([0.25, 0.25])  # half of hypot(0.3, 0.4)
    assert (half.sigma, half.weight) == (0.12, 3.0)
    third = draw_part({k: own[k] for k in (0, 1, 2)}, {1: (0.5, 0.4)})
    assert third.at.tolist() == [0, 1, 2]
    for sister in ({1: (0.5, 0.4)}, {}, None):
        alone = draw_part(own, sister)
        assert alone.at.tolist() == [0, 1, 2, 3]
        assert alone.y == pytest.approx([1.0, 2.0, 3.0, 4.0])
        assert alone.se == pytest.approx([0.15] * 4)
