"""What one log shows of the servos of a node: each sign on both sides of its limit, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Servo
from telemetry.checks.causes import servo_signs as signs
from telemetry.checks.facts import FlightFacts
from telemetry.results import Stir, UnusualCurrent, UnusualKind
from tests.checks.test_findings import CRAFT, column, stirred
from tests.checks.test_signs import draft, facts, leads, there

RAISED, SILENT, MORE = UnusualKind.RAISED, UnusualKind.SILENT, UnusualKind.MORE
LEFT = draft(place="left wing", start_s=None)


def unusual(kind: UnusualKind, place: str = "left wing", **more: Any) -> UnusualCurrent:
    given: dict[str, Any] = {"start_s": 150.0, "end_s": None, "against": "right wing"}
    return UnusualCurrent(kind=kind, place=place, **(given | more))


def of(kind: UnusualKind, servos: tuple[Servo, ...] = (), **more: Any) -> FlightFacts:
    own = {k: more.pop(k) for k in ("columns", "stirs", "resistances", "beside") if k in more}
    beside = own.pop("beside", ())
    return facts(
        unusual=(unusual(kind, **more), *beside),
        aircraft=CRAFT.model_copy(update={"servos": servos}),
        **own,
    )


def test_how_a_current_changed_names_its_kind() -> None:
    for kind in UnusualKind:
        made = of(kind)
        assert there(signs.swings(made, LEFT)) is (True if kind is UnusualKind.HUNTS else None)
        assert there(signs.climbs(made, LEFT)) is (True if kind is UnusualKind.HEATS else None)
        assert signs.swings(made, draft(place="right wing")) is None


@pytest.mark.parametrize(
    ("kind", "start_s", "aloft"),
    [
        (RAISED, 100.0, True),  # the flight begins at 100 s
        (RAISED, 99.0, None),
        (UnusualKind.RESTS_HIGH, 0.0, False),
        (UnusualKind.STAYS_UP, 430.0, True),
        (UnusualKind.STAYS_UP, 0.0, True),
        (UnusualKind.HEATS, 150.0, None),
        (MORE, 150.0, None),
    ],
)
def test_it_began_in_flight_or_was_there_from_the_start(
    kind: UnusualKind, start_s: float, aloft: bool | None
) -> None:
    assert there(signs.came_in_flight(of(kind, start_s=start_s), LEFT)) is aloft


@pytest.mark.parametrize(
    ("kind", "end_s", "gone"), [(RAISED, 300.0, True), (RAISED, None, None), (SILENT, 300.0, None)]
)
def test_it_was_gone_again(kind: UnusualKind, end_s: float | None, gone: bool | None) -> None:
    assert there(signs.let_go(of(kind, end_s=end_s), LEFT)) is gone


@pytest.mark.parametrize(
    ("after_a", "stayed"), [(0.75, True), (0.7, None), (0.51, None), (0.5, False), (None, None)]
)
def test_half_of_what_was_added_stays_at_rest(after_a: float | None, stayed: bool | None) -> None:
    """From 1 A to 2 A in flight, and from 0.25 A of rest."""
    more = {"before": 1.0, "now": 2.0, "rest_before": 0.25, "rest_after": after_a}
    assert there(signs.stayed_at_rest(of(RAISED, **more), LEFT)) is stayed
    assert signs.stayed_at_rest(of(RAISED, end_s=300.0, **more), LEFT) is None
    assert signs.stayed_at_rest(of(SILENT, **more), LEFT) is None


@pytest.mark.parametrize("steady", [True, False])
def test_lamps_draw_the_same_all_the_time(steady: bool) -> None:
    made = of(UnusualKind.RESTS_HIGH, steady=steady)
    assert there(signs.flows_always(made, LEFT)) is steady
    assert signs.flows_always(of(RAISED, steady=steady), LEFT) is None


def test_the_mirror_was_free_of_it() -> None:
    both = tuple(column("current", p) for p in ("left wing", "right wing"))
    assert there(signs.mirror_did_not(of(RAISED, columns=both), LEFT)) is True
    assert signs.mirror_did_not(of(RAISED, columns=both[:1]), LEFT) is None
    beside = (unusual(RAISED, place="right wing"),)
    assert signs.mirror_did_not(of(RAISED, columns=both, beside=beside), LEFT) is None


def servo(stall_a: float | None = None, **more: Any) -> Servo:
    stall = {} if stall_a is None else {"stall_a": stall_a, "stall_v": 8.4}
    return Servo.model_validate(
        {"node": "left wing", "output": 1, "drives": "aileron", **stall, **more}
    )


@pytest.mark.parametrize(
    ("more_a", "stall_a", "stalls"),
    [(2.0, None, True), (1.9, None, None), (1.5, 3.0, True), (1.4, 3.0, False), (1.9, 4.0, False)],
)
def test_a_stalled_servo_draws_two_ampere_or_half_of_its_profile(
    more_a: float, stall_a: float | None, stalls: bool | None
) -> None:
    servos = () if stall_a is None else (servo(stall_a),)
    made = of(RAISED, servos, before=0.0, now=more_a)
    assert there(signs.like_a_stall(made, LEFT)) is stalls
    assert signs.like_a_stall(of(SILENT, servos, before=0.0, now=more_a), LEFT) is None


@pytest.mark.parametrize(
    ("servos", "several"),
    [
        ((servo(),), False),
        ((servo(count=2),), True),
        ((servo(), servo()), True),
        ((servo(), servo(drives="flap")), False),
        ((), None),
    ],
)
def test_two_servos_on_one_surface(servos: tuple[Servo, ...], several: bool | None) -> None:
    assert there(signs.ganged(of(RAISED, servos), LEFT)) is several


@pytest.mark.parametrize(
    ("moved_a", "alike"),
    [(1.5, False), (1.4, None), (1.25, True), (1.0, True), (0.8, True), (0.75, None), (0.0, None)],
)
def test_what_moves_alike_draws_alike_over_its_rest(moved_a: float, alike: bool | None) -> None:
    """The mirror draws 1 A over its rest of a quarter; here the rest is a half."""
    places = (
        stirred("left wing", 0.5, 0.5, 0.5 + moved_a),
        stirred("right wing", 0.25, 0.25, 1.25),
    )
    stir = Stir(start_s=50, end_s=60, rhythm_hz=None, after_flight=False, places=places)
    assert there(signs.moves_alike(of(RAISED, stirs=(stir,)), LEFT)) is alike
    assert signs.moves_alike(of(RAISED), LEFT) is None


@pytest.mark.parametrize(
    ("rest_a", "now", "alike"),
    [
        (0.35, 2.0, None),
        (0.25, 2.0, True),
        (0.74, 2.0, None),
        (0.75, 2.0, False),
        (None, 2, None),
    ],
)
def test_a_multiple_that_shows_at_rest(
    rest_a: float | None, now: float, alike: bool | None
) -> None:
    """The mirror rests at a quarter: 1.3 times are alike, 1.5 times the multiple more still."""
    made = of(MORE, now=now, rest_before=rest_a, rest_mirror=0.25)
    assert there(signs.rests_alike(made, LEFT)) is alike


@pytest.mark.parametrize(("now", "beyond"), [(1.6, True), (1.5, None), (None, None)])
def test_no_sensor_is_off_by_so_much(now: float | None, beyond: bool | None) -> None:
    assert there(signs.beyond_a_sensor(of(MORE, now=now), LEFT)) is beyond


@pytest.mark.parametrize(
    ("own_mohm", "agrees"),
    [
        (30.0, True),
        (37.5, True),
        (38.0, None),
        (24.0, True),
        (18.7, False),
        (18.8, None),
        (11.0, None),
    ],
)
def test_a_drop_says_whether_the_current_is_as_read(own_mohm: float, agrees: bool | None) -> None:
    """Twice the mirror's current: its lead of 30 mOhm would look like 15, within a quarter."""
    made = of(MORE, now=2.0, resistances=leads(own_mohm, 30.0))
    assert there(signs.drop_agrees(made, LEFT)) is agrees


@pytest.mark.parametrize(
    ("now", "after_a", "step_a", "silent", "fell"),
    [
        (None, 0.1, 0.01, True, True),
        (None, 0.17, 0.01, True, True),
        (None, 0.175, 0.01, True, False),
        (0.5, 0.1, 0.05, False, True),  # a tenth that is lost are two steps
        (0.5, 0.1, 0.0625, False, None),
        (None, None, 0.01, True, None),
    ],
)
def test_a_dead_servo_idles_no_more(
    now: float | None, after_a: float | None, step_a: float, silent: bool, fell: bool | None
) -> None:
    """0.2 A of rest before; six sevenths of it are no fall."""
    columns = (column("current", "left wing", resolution=step_a),)
    made = of(SILENT, columns=columns, now=now, rest_before=0.2, rest_after=after_a)
    assert there(signs.wholly_silent(made, LEFT)) is silent
    assert there(signs.rest_fell(made, LEFT)) is fell


@pytest.mark.parametrize(("after_a", "rose"), [(0.26, True), (0.25, None), (None, None)])
def test_a_hot_servo_rests_higher(after_a: float | None, rose: bool | None) -> None:
    made = of(UnusualKind.HEATS, rest_before=0.2, rest_after=after_a)
    assert there(signs.rest_rose(made, LEFT)) is rose
