"""Which servos of a node draw more: by each control's draw, flight by flight."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import exp, expm1, log, log1p, sqrt

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.checks.across import _listed
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.servos.groups import _draws, _named, _only_control, _part, rising_group
from telemetry.results import NoteMark
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
    case = AircraftHistory(
        flights=measures,
        listed=_listed(measures),
        notes=(),
        aircraft=aircraft,
        charts=10,
        table=FeatureTable(measures),
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


# By hand. Four flights of one draw and one flight of another, each with the same error. Nothing
# is learnt of the scatter from four alike but three degrees of freedom: its square is 0.12^2 times
# 3 / 6. Half of an error e joins it, and the mean of four:
#     variance = 0.0072 (1 + (0.5 e / 0.12)^2) (1 + 1 / 4)


def variance(error: float) -> float:
    return 0.0072 * (1.0 + (0.5 * error / 0.12) ** 2) * 1.25


def draw(place: str, drives: str, value: float, error: float) -> GroupDraw:
    reach = 1.96 * error * value
    return GroupDraw(
        place=place,
        drives=drives,
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


@pytest.mark.parametrize(("part", "named"), [(1.001, True), (0.999, False)])
def test_one_group_is_named_at_odds_of_20_to_1(case_of, part: float, named: bool) -> None:
    """It moved as far as 0.7 of the place's rise: odds of m^2 over twice the variance, e^3."""
    m = part * sqrt(3.0 * 2.0 * variance(0.18))
    case = case_of({("tail", "rudder"): moved(0.002, m)}, error=0.18)
    group = rising_group(case, "tail", 4, expm1(m / 0.7))
    assert (group is not None) is named
    if group is not None:
        assert (group.drives, group.rise) == ("rudder", pytest.approx(expm1(m)))


@pytest.mark.parametrize(("part", "named"), [(1.01, True), (0.99, False)])
def test_one_that_moved_otherwise_has_less_odds(case_of, part: float, named: bool) -> None:
    """Moved by m where a was expected: (m^2 - (m - a)^2) over twice the variance."""
    a = 0.4
    m = (part * 3.0 * 2.0 * variance(0.18) + a**2) / (2.0 * a)
    case = case_of({("tail", "rudder"): moved(0.002, m)}, error=0.18)
    assert (rising_group(case, "tail", 4, expm1(a / 0.7)) is not None) is named


def test_alone_a_small_group_would_have_to_rise_further(case_of) -> None:
    """The rudder draws a quarter of both: for a rise of 0.1 it alone needs 0.4 (0.7 of it told)."""
    m = 0.7 * log1p(0.4)
    small = {("tail", "rudder"): moved(0.001, m), ("tail", "elevator"): moved(0.003, 0.0)}
    group = rising_group(case_of(small), "tail", 4, 0.1)
    assert group is None  # odds of 2.6
    assert m**2 / (2 * variance(0.1)) == pytest.approx(2.628, abs=0.01)
    m = 0.7 * log1p(0.6)
    small["tail", "rudder"] = moved(0.001, m)
    group = rising_group(case_of(small), "tail", 4, 0.15)
    assert group is not None
    assert (group.drives, group.name) == ("rudder", "rudder (outputs 1, 2)")
    # Of another rise it is not the one: the whole of it alone would be 0.7 log 9.
    assert rising_group(case_of(small), "tail", 4, 2.0) is None


def test_a_group_that_rose_with_the_other_is_not_named(case_of) -> None:
    m = 0.7 * log1p(0.6)
    both = {("tail", "rudder"): moved(0.002, m), ("tail", "elevator"): moved(0.002, m)}
    assert rising_group(case_of(both), "tail", 4, 0.6) is None
    assert rising_group(case_of(both), "tail", 4, 0.3) is None


@pytest.mark.parametrize(("error", "named"), [(0.149, True), (0.151, False)])
def test_of_two_both_must_be_known_to_15_percent(case_of, error: float, named: bool) -> None:
    m = 0.7 * log1p(1.0)
    two = {("tail", "rudder"): moved(0.002, m), ("tail", "elevator"): moved(0.002, 0.0)}
    assert (rising_group(case_of(two, error=error), "tail", 4, 0.5) is not None) is named


def test_one_without_a_baseline_could_be_it(case_of) -> None:
    m = 0.7 * log1p(1.0)
    two = {("tail", "rudder"): moved(0.002, m), ("tail", "elevator"): [0, 0, 0, 0, 0.002]}
    assert rising_group(case_of(two), "tail", 4, 0.5) is None
    # One flight before is not enough either, two are.
    for flights, known in ((1, False), (2, True)):
        two["tail", "elevator"] = [0.0] * (4 - flights) + [0.002] * (flights + 1)
        assert (rising_group(case_of(two), "tail", 4, 0.5) is not None) is known


def test_no_draws_no_name(case_of) -> None:
    assert rising_group(case_of({("left wing", "aileron"): [0.002] * 5}), "tail", 4, 0.5) is None


def test_flights_before_a_note_are_no_baseline(case_of) -> None:
    m = 0.7 * log1p(1.0)
    draws = {("tail", "rudder"): [0.02, 0.02, *moved(0.002, m)]}
    note = NoteMark(kind="changed", place="tail", text="", date="2026-05-01", before=2)
    group = rising_group(case_of(draws, notes=[note]), "tail", 6, 1.0)
    assert group is not None
    assert group.rise == pytest.approx(expm1(m))


def test_outputs_are_those_of_the_last_flight(case_of) -> None:
    case = case_of({("tail", "rudder"): moved(0.002, 0.7), ("left wing", "rudder"): [0.1] * 5})
    last = case.flights[-1]
    last = replace(last, groups=tuple(replace(g, outputs=("7",)) for g in last.groups[:1]))
    case = replace(case, flights=[*case.flights[:-1], last])
    group = rising_group(case, "tail", 4, expm1(1.0))
    assert group is not None
    assert group.name == "rudder (output 7)"


def test_draws_are_logarithms_with_their_relative_error(make_flight, make_case) -> None:
    groups = [
        draw("tail", "rudder", 0.002, 0.1),
        draw("tail", "rudder", 0.004, 9.0),
        draw("tail", "rudder", 0.004, 0.0),
        draw("tail", "rudder", -0.004, -0.1),
        draw("left wing", "rudder", 0.004, 0.1),
    ]
    case = make_case([make_flight(groups=(g,)) for g in groups])
    found = _draws(case, "tail")["rudder"]
    assert set(found) == {0, 1}
    assert found[0] == pytest.approx((log(0.002), 0.1))
    assert found[1] == pytest.approx((log(0.004), 1.0))


def test_a_control_is_set_against_that_of_the_other_side() -> None:
    own = {k: (1.0 + k, 0.3) for k in range(4)}
    half = _part("aileron", own, {1: (0.5, 0.4), 3: (0.25, 0.4), 7: (9.0, 0.4)})
    assert half.at.tolist() == [1, 3]
    assert half.y == pytest.approx([1.5, 3.75])
    assert half.se == pytest.approx([0.25, 0.25])  # half of hypot(0.3, 0.4)
    assert (half.name, half.sigma, half.weight) == ("aileron", 0.12, 3.0)
    third = _part("aileron", {k: own[k] for k in (0, 1, 2)}, {1: (0.5, 0.4)})
    assert third.at.tolist() == [0, 1, 2]
    for sister in ({1: (0.5, 0.4)}, {}, None):
        alone = _part("aileron", own, sister)
        assert alone.at.tolist() == [0, 1, 2, 3]
        assert alone.y == pytest.approx([1.0, 2.0, 3.0, 4.0])
        assert alone.se == pytest.approx([0.15] * 4)


def servo(drives: str, output: int = 1, count: int = 2, node: str = "tail") -> Servo:
    return Servo(node=node, output=output, drives=drives, count=count)


@pytest.mark.parametrize(
    ("servos", "name"),
    [
        pytest.param([servo("rudder", count=4)], "rudder (output 1)", id="one output"),
        pytest.param(
            [servo("left rudder"), servo("right rudder", 2)], "rudder (outputs 1, 2)", id="alike"
        ),
        pytest.param([servo("rudder"), servo("elevator", 2)], None, id="two controls"),
        pytest.param([servo("rudder", count=3)], None, id="three of four listed"),
        pytest.param([servo("rudder", count=4, node="left wing")], None, id="elsewhere"),
        pytest.param([servo("smoke pump", count=4)], "smoke pump (output 1)", id="no surface"),
    ],
)
def test_the_only_control_of_a_place(make_flight, make_case, servos, name) -> None:
    craft = Aircraft(nodes=(Node(name="tail", servos=4),), servos=tuple(servos))
    found = _only_control(make_case([make_flight()], aircraft=craft), "tail")
    assert (None if found is None else found.name) == name
    assert found is None or found.rise is None


def test_the_only_control_is_that_of_the_last_day(make_flight, make_case) -> None:
    day = date(2026, 5, 2)
    servos = (
        Servo(node="tail", output=1, drives="rudder", count=4, until=day),
        Servo(node="tail", output=1, drives="elevator", count=4, since=day),
    )
    craft = Aircraft(nodes=(Node(name="tail", servos=4),), servos=servos)
    case = make_case([make_flight(start=f"2026-05-0{d}T10:00:00") for d in (1, 2)], aircraft=craft)
    found = _only_control(case, "tail")
    assert found is not None
    assert found.drives == "elevator"


def test_a_control_without_outputs_has_its_name_alone() -> None:
    assert _named("rudder", ()) == "rudder"
