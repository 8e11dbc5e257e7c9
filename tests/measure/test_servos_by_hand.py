"""Travel, hold and names of servos: every step of the way from control columns by hand."""

from __future__ import annotations

from math import sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Servo
from telemetry.measure import servos as sv
from telemetry.measure.servos import measure_servos
from telemetry.model.channels import Channel, Quantity
from telemetry.numerics.attribution import Attribution
from telemetry.readings import Reading
from telemetry.results import Phase, PhaseKind

I, C = Quantity.CURRENT, Quantity.CONTROL  # noqa: E741
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}],
        "nodes": [
            {"name": "left wing", "fed_from": "bus"},
            {"name": "left tip", "fed_from": "left wing"},
            {"name": "tail", "fed_from": "bus"},
        ],
    }
)
FLIGHT = Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=1e9)


def control(v: object, step_s: float = 1.0, unit: str = "%", place: str = "rudder") -> Reading:
    values = np.asarray(v, dtype=float)
    return Reading(
        channel=Channel(key=place, column=place, quantity=C, place=place, unit=unit),
        t=step_s * np.arange(values.size),
        v=values,
        update_s=step_s,
        resolution=None,
    )


@pytest.mark.parametrize(
    ("v", "unit", "percent"),
    [
        ([-50, 0, 50], "%", [-50, 0, 50]),
        ([1000, 1500, 2000], "us", [200, 300, 400]),  # 5 us a per cent
        ([-20, 0, 40], "deg", [-50, 0, 100]),  # of its farthest reach from the middle
        ([100, 110, 112], "", [1000, 1100, 1120]),
    ],
)
def test_a_control_in_per_cent(v, unit, percent) -> None:
    assert sv.in_percent_of_travel(control(v, unit=unit)).v.tolist() == pytest.approx(percent)


@pytest.mark.parametrize(
    ("places", "ends"),
    [
        (["pack 1", "bus", "left wing", "tail"], ["left wing", "tail"]),
        (["bus", "left wing", "left tip"], ["left tip"]),
        (["pack 1", "bus"], ["bus"]),
        (["pack 1"], ["pack 1"]),
        (["pack 1", "pack 2"], []),
        (["canopy"], ["canopy"]),
        ([], []),
    ],
)
def test_currents_that_hold_no_other(places, ends, make_readings) -> None:
    t = np.arange(60.0)
    craft = CRAFT.model_copy(
        update={"packs": (*CRAFT.packs, CRAFT.packs[0].model_copy(update={"name": "pack 2"}))}
    )
    readings = make_readings({(p, I): (t, t) for p in places})
    assert [r.place for r in sv.outermost_currents(readings, craft)] == ends
    few = make_readings({(p, I): (t[:59], t[:59]) for p in places})
    assert sv.outermost_currents(few, craft) == []


def servo(node: str, drives: str, output: int = 1, **more: Any) -> Servo:
    return Servo(node=node, output=output, drives=drives, **more)


@pytest.mark.parametrize(
    ("drives", "columns", "found"),
    [
        ("left aileron", {"aileron"}, {"aileron": 1}),
        ("left aileron", {"left aileron", "aileron"}, {"left aileron": 1}),
        ("rudder", {"aileron"}, {}),
        ("smoke pump", {"smoke pump"}, {"smoke pump": 1}),
        ("smoke pump", {"aileron"}, {}),
    ],
)
def test_the_column_that_drives_a_servo(drives, columns, found) -> None:
    driven = sv.servos_by_column([servo("tail", drives)], dict.fromkeys(columns, control([0])))
    assert {k: len(v) for k, v in driven.items()} == found


def test_servos_on_one_column_keep_their_order() -> None:
    pair = [servo("tail", "left elevator", 1), servo("tail", "right elevator", 2)]
    assert sv.servos_by_column(pair, {"elevator": control([0])}) == {"elevator": tuple(pair)}


@pytest.mark.parametrize(
    ("v", "step_s", "times"),
    [
        # Every reading tells 8 of way, every other one 2: four times as far with each halving.
        ([0, 2, 1, 3, 2, 4], 0.2, 4.0),
        ([0, 2, 1, 3, 2, 4], 0.4, 16.0),
        ([0, 2, 1, 4, 2, 6], 0.2, 12 / 3),  # every other one: 2 and 4
        ([0, 0.02, 0.01, 0.03, 0.02, 0.04], 0.2, 4.0),
        ([0, 2, 1, 3, 2, 4], 0.1, 1.0),  # no hand turns round within that
        ([0, 2, 1, 3, 2, 4], 0.05, 1.0),
        ([0, 1, 0, 1, 0, 1], 0.4, 1.0),  # nothing to compare with
        ([0, 1, 2, 3, 4, 5], 0.4, (5 / 4) ** 2),
        ([0, 0, 4, 4, 4, 4], 0.4, 1.0),
    ],
)
def test_way_lost_between_readings(v, step_s, times) -> None:
    assert sv.lost_travel_factor(control(v, step_s)) == pytest.approx(times)


SAW = control([0.0, 4.0, 2.0, 2.0, 10.0])  # way 0, 4, 6, 6, 14; from the median 2: 2, 2, 0, 0, 8


@pytest.mark.parametrize(
    ("at_s", "window_s", "rate", "away"),
    [
        (4.0, 1.0, 8.0, 4.0),
        (4.0, 2.0, 4.0, 2.0),  # 6 to 14 in 2 s; area 3 to 7
        (3.0, 1.0, 0.0, 0.0),
        (1.5, 1.0, 3.0, 1.75),  # from 2 to 5 of way; area from 1 to 2.5, less what bends
        (2.0, 2.0, 3.0, 1.5),
        (9.0, 2.0, 0.0, 0.0),  # past its end nothing moves
    ],
)
def test_mean_rate_and_deflection_over_the_window_before(at_s, window_s, rate, away) -> None:
    at = np.array([at_s])
    ((travel, deflection),) = sv.travel_sums({"saw": SAW}).means(at, window_s)
    assert travel == pytest.approx(rate)
    if at_s != 1.5:  # the area is taken as a straight line between readings
        assert deflection == pytest.approx(away)


@pytest.mark.parametrize(
    ("value", "low", "high", "chance"),
    [(2.0, 1.0, 4.0, 0.75), (0.5, 0.4, 0.6, 0.2), (0.0, 0.0, 1.0, None), (-1.0, 0.0, 1.0, None)],
)
def test_half_width_by_chance(value, low, high, chance) -> None:
    found = sv.relative_half_width(value, low, high)
    assert found == (None if chance is None else pytest.approx(chance))


def told(groups, coef, low, high, driven=None, controls=None, names=("aileron", "rudder")):
    found = Attribution(
        groups=groups,
        coef=np.array(coef, float),
        low=np.array(low, float),
        high=np.array(high, float),
        condition_index=7.0,
    )
    given = controls or {n: control([0, 1, 2, 3], 0.05) for n in names}
    return sv.shares_of_attribution("tail", list(names), given, driven or {}, found)


# Columns: 0 is the rest, 1 and 2 the travel of aileron and rudder, 3 and 4 what they hold.
BOTH = ((0,), (1,), (2,), (3,), (4,))


def test_travel_and_hold_are_joined_by_their_group() -> None:
    aileron, rudder = told(
        BOTH, [0.2, 4.0, 3.0, 0.5, 0.7], [0, 3.0, 2.0, 0, 0], [1, 5.0, 4.0, 1, 1]
    )
    assert (aileron.drives, aileron.travel_a_per_pct_s, aileron.hold_a_per_pct) == (
        "aileron", 4.0, 0.5,
    )  # fmt: skip
    assert (rudder.drives, rudder.travel_a_per_pct_s, rudder.hold_a_per_pct) == (
        "rudder", 3.0, 0.7,
    )  # fmt: skip
    # A tenth is doubted to both sides.
    assert (aileron.low, aileron.high) == pytest.approx((2.7, 5.5))
    assert aileron.chance == pytest.approx(0.25)
    assert (aileron.place, aileron.outputs, aileron.separable) == ("tail", (), False)
    assert aileron.condition_index == 7.0


def test_controls_told_together_have_one_share() -> None:
    (both,) = told(((0,), (1, 2), (3, 4)), [0.2, 4.0, 0.5], [0, 3, 0], [1, 5, 1])
    assert (both.drives, both.hold_a_per_pct) == ("aileron + rudder", 0.5)
    (both,) = told(((0,), (1, 2), (3,), (4,)), [0.2, 4, 0.5, 0.5], [0, 3, 0, 0], [1, 5, 1, 1])
    assert both.hold_a_per_pct is None


@pytest.mark.parametrize(
    ("coef", "low", "drives"),
    [
        ((4.0, 1.2), (3.0, 0.1), ["aileron", "rudder"]),  # at least three tenths of the strongest
        ((4.0, 1.1), (3.0, 0.1), ["aileron"]),
        ((1.1, 4.0), (3.0, 0.1), ["rudder"]),
        ((4.0, 3.0), (3.0, 0.0), ["aileron"]),  # it may be nothing
    ],
)
def test_without_a_profile_only_what_surely_acts_is_told(coef, low, drives) -> None:
    three = ((0,), (1,), (2,))
    found = told(three, (90.0, *coef), (0.0, *low), (99.0, 5.0, 5.0))
    assert [s.drives for s in found] == drives
    driven = {"aileron": (servo("tail", "aileron"),), "rudder": (servo("tail", "rudder", 2),)}
    found = told(three, (90.0, *coef), (0.0, *low), (99.0, 5.0, 5.0), driven)
    assert [s.drives for s in found] == ["aileron", "rudder"]
    assert [s.outputs for s in found] == [("1",), ("2",)]


@pytest.mark.parametrize(
    ("driven", "outputs", "separable"),
    [
        ((servo("tail", "rudder", 3),), ("3",), True),
        ((servo("tail", "rudder", 3, count=2),), ("3",), False),
        ((servo("tail", "rudder", 3), servo("tail", "rudder", 4)), ("3", "4"), False),
    ],
)
def test_one_servo_is_told_apart(driven, outputs, separable) -> None:
    (found,) = told(((0,), (1,)), [0, 4], [0, 3], [0, 5], {"rudder": driven}, names=("rudder",))
    assert (found.outputs, found.separable) == (outputs, separable)


def test_way_that_was_lost_lowers_the_low_end_and_half_as_much_the_value() -> None:
    # The aileron's stick may have gone four times as far, the rudder's was seen whole.
    sticks = {"aileron": control([0, 2, 1, 3, 2, 4], 0.2), "rudder": control([0, 1, 2, 3], 0.05)}
    aileron, rudder = told(
        ((0,), (1,), (2,)), [0, 4.0, 4.0], [0, 3.0, 3.0], [0, 5.0, 5.0], controls=sticks
    )
    assert aileron.travel_a_per_pct_s == pytest.approx(4.0 / sqrt(4.0))
    assert (aileron.low, aileron.high) == pytest.approx((3.0 * 0.9 / 4, 5.5))
    assert (rudder.travel_a_per_pct_s, rudder.low) == pytest.approx((4.0, 2.7))
    (both,) = told(((0,), (1, 2)), [0, 4.0], [0, 3.0], [0, 5.0], controls=sticks)
    assert both.low == pytest.approx(3.0 * 0.9 / 4), "the one that may have lost most"


# From readings: each 0.1 s for 100 s; the tail draws 0.2 A, 0.004 A for each %/s of the elevator,
# and in the air 0.01 A for each % it is held off its middle. Steps of 0.05 A keep it apart.


def flown(seconds: float = 100.0, later_s: float = 0.0, held: float = 0.01, quick: float = 0.004):
    rng = np.random.default_rng(8)
    t = np.arange(0.0, seconds, 0.1)
    points = rng.uniform(-80, 80, t.size // 8 + 2)
    stick = np.interp(np.arange(t.size), 8 * np.arange(points.size), points)
    rate = np.abs(np.diff(stick, prepend=stick[:1])) / 0.1
    amps = 0.2 + quick * rate + held * np.abs(stick - np.median(stick))
    amps = np.interp(t - later_s, t, amps) + 0.02 * rng.standard_normal(t.size)
    return t, stick, amps


def shares(make_readings, t, stick, amps, phases=(FLIGHT,), servos=(), craft=CRAFT, **more):
    series = {("tail", I): (t, amps), ("elevator", C): (t, stick)} | more.pop("series", {})
    readings = make_readings(series, update_s=0.1, unit="%")
    return measure_servos(readings, craft.model_copy(update={"servos": tuple(servos)}), phases)


@pytest.mark.parametrize("later_s", [-0.2, 0.0, 0.3, 0.6])
def test_travel_and_hold_whatever_the_lag(later_s, make_readings) -> None:
    (found,) = shares(make_readings, *flown(later_s=later_s))
    assert found.travel_a_per_pct_s == pytest.approx(0.004, rel=0.04)
    # The window of the deflection lies half an update before the instant.
    assert found.hold_a_per_pct == pytest.approx(0.01, rel=0.04)
    assert found.low < 0.004 < found.high
    assert (found.place, found.drives) == ("tail", "elevator")


@pytest.mark.parametrize("later_s", [-0.5, 0.9])
def test_a_lag_beyond_what_servos_have_is_not_found(later_s, make_readings) -> None:
    found = shares(make_readings, *flown(later_s=later_s, held=0.0))
    assert all(s.travel_a_per_pct_s < 0.0032 for s in found)


def test_hold_is_told_in_the_air_alone(make_readings) -> None:
    t, stick, amps = flown(held=0.0)
    (ground,) = shares(make_readings, t, stick, amps, phases=())
    assert ground.hold_a_per_pct is None
    flying = (t >= 30.0) & (t < 70.0)
    amps = amps + 0.01 * np.abs(stick - np.median(stick)) * flying
    air = Phase(kind=PhaseKind.FLIGHT, start_s=30.0, end_s=70.0)
    stir = Phase(kind=PhaseKind.STIR, start_s=0.0, end_s=30.0)
    (found,) = shares(make_readings, t, stick, amps, phases=(stir, air))
    assert found.hold_a_per_pct == pytest.approx(0.01, rel=0.06)
    (wrong,) = shares(make_readings, t, stick, amps)
    assert wrong.hold_a_per_pct < 0.006


def test_redundancy_checks_are_left_out(make_readings) -> None:
    t, stick, amps = flown(held=0.0)
    amps[(t >= 40) & (t < 60)] = 0.0
    check = Phase(kind=PhaseKind.REDUNDANCY_CHECK, start_s=40.0, end_s=60.0)
    (found,) = shares(make_readings, t, stick, amps, phases=(check,))
    assert found.travel_a_per_pct_s == pytest.approx(0.004, rel=0.04)
    (disturbed,) = shares(make_readings, t, stick, amps, phases=())
    assert disturbed.travel_a_per_pct_s < 0.0036


def test_what_is_too_little_to_tell(make_readings) -> None:
    t, stick, amps = flown()
    # 60 readings of a current at least, and a control that moves, of more than 60 readings.
    few = {("elevator", C): (t[:60], stick[:60])}
    assert shares(make_readings, t, stick, amps, series=few) == ()
    still = {("elevator", C): (t, np.zeros(t.size))}
    assert shares(make_readings, t, stick, amps, series=still) == ()
    short = {("tail", I): (t[:59], amps[:59])}
    assert shares(make_readings, t, stick, amps, series=short) == ()


@pytest.mark.parametrize(("readings", "told"), [(60, False), (61, True)])
def test_a_control_of_more_than_sixty_readings(readings, told, make_readings) -> None:
    t, stick, amps = flown()
    slow = {("elevator", C): (t[::16][:readings], stick[::16][:readings])}
    fitted = [servo("tail", "elevator")]
    assert bool(shares(make_readings, t, stick, amps, series=slow, servos=fitted)) is told


def test_where_the_profile_tells_only_what_it_drives_counts(make_readings) -> None:
    t, stick, amps = flown()
    assert shares(make_readings, t, stick, amps, servos=[servo("tail", "rudder")]) == ()
    (found,) = shares(make_readings, t, stick, amps, servos=[servo("tail", "elevator", 4)])
    assert (found.outputs, found.separable) == (("4",), True)
    # Servos of other nodes are no reason to leave a place out.
    (found,) = shares(make_readings, t, stick, amps, servos=[servo("left wing", "elevator", 4)])
    assert (found.outputs, found.separable) == ((), False)


def test_the_bus_feeds_the_servos_of_nodes_without_a_current(make_readings) -> None:
    t, stick, amps = flown()
    readings = make_readings(
        {("bus", I): (t, amps), ("elevator", C): (t, stick)},
        update_s=0.1, unit="%",
    )  # fmt: skip
    fitted = (servo("tail", "elevator", 4), servo("bus", "elevator", 9))
    found = measure_servos(readings, CRAFT.model_copy(update={"servos": fitted}), (FLIGHT,))
    assert {s.place: s.outputs for s in found} == {"bus": ("9", "4")}


@pytest.mark.parametrize(
    ("places", "found"),
    [
        (("canopy",), {"canopy": ("4",)}),  # the only current there is
        (("bus", "canopy"), {"bus": ("4",)}),
        (("left wing", "canopy"), {}),  # a place off the path feeds nothing that is not logged
    ],
)
def test_what_feeds_the_servos_of_a_node_without_a_current(places, found, make_readings) -> None:
    t, stick, amps = flown()
    readings = make_readings(
        {**{(p, I): (t, amps) for p in places}, ("elevator", C): (t, stick)},
        update_s=0.1, unit="%",
    )  # fmt: skip
    craft = CRAFT.model_copy(update={"servos": (servo("tail", "elevator", 4),)})
    named = {s.place: s.outputs for s in measure_servos(readings, craft, (FLIGHT,)) if s.outputs}
    assert named == found


class Refusing:
    """Keeps the designs it is given, and refuses the first."""

    def __init__(self) -> None:
        self.given: list[tuple[Any, ...]] = []

    def __call__(self, design, y, block, *, kinds):
        self.given.append((design, y, block, kinds))
        none = np.empty(0)
        refused = "" if len(self.given) > 1 else "too much alike"
        return Attribution(coef=none, low=none, high=none, condition_index=99.0, refused=refused)


@pytest.mark.parametrize(("update_s", "window_s"), [(None, 0.1), (0.05, 0.1), (0.4, 0.4)])
def test_the_columns_that_are_told_apart(update_s, window_s, make_readings, monkeypatch) -> None:
    """A stick that goes up by 10 % a second from 2 s on, to 30 s; the flight is 10 to 20 s."""
    seen = Refusing()
    monkeypatch.setattr(sv, "attribute", seen)
    monkeypatch.setattr(sv, "LAGS_S", np.array([0.0]))
    t, s = np.append(np.arange(0.02, 29.9, 0.25), [30.0, 30.5]), 0.05 * np.arange(601)
    stick = control(np.maximum(10 * (s - 2), 0.0), 0.05, place="elevator")
    still = control(np.zeros(s.size), 0.05)
    steady = 10.0 * (t > 2) * np.ones(t.size)
    amps = make_readings({("tail", I): (t, steady)}, update_s=update_s).channels[0]
    air = Phase(kind=PhaseKind.FLIGHT, start_s=10.0, end_s=20.0)
    controls = {"elevator": stick, "rudder": still}
    assert (
        sv.shares_at_node(amps, list(controls), {}, controls, sv.travel_sums(controls), (air,))
        == []
    )
    (design, y, block, kinds), (second, _, _, second_kinds), (ground, *_) = seen.given
    # From 1 s after the controls' first reading to before their last one: 1.02 to 29.77 s.
    rows = t[(t > 1.0) & (t < 30.0)]
    assert design.shape == (rows.size, 5)
    # On the ground one control moved.
    assert ground.shape == (np.count_nonzero((rows < 10.0) | (rows >= 20.0)), 2)
    assert y.tolist() == [10.0 * (x > 2) for x in rows]
    assert kinds == (-1, 0, 0, 1, 1)
    assert block.tolist() == [int((x - 1.02) // 5) for x in rows]
    assert design[:, 0].tolist() == [1.0] * rows.size
    # It has moved for the part of the window that lies past 2 s.
    moved = np.clip((rows - 2.0) / window_s, 0.0, 1.0)
    assert design[:, 1] == pytest.approx(10.0 * moved, abs=1e-6)
    # Its middle is at 15 s: the mean deflection is that in the middle of the window.
    flying = (rows >= 10.0) & (rows < 20.0)
    aside = flying & (np.abs(rows - 15.0) > 0.5)
    away = 10.0 * np.abs(rows - 0.5 * window_s - 15.0)
    assert design[aside, 3] == pytest.approx(away[aside], abs=0.05)
    assert not design[~flying, 3:].any()
    assert not design[:, [2, 4]].any()
    assert second.tolist() == design[:, :3].tolist()
    assert second_kinds == (-1, 0, 0)


@pytest.mark.parametrize(("rows", "told"), [(59, False), (60, True)])
def test_sixty_readings_of_the_current_are_needed(rows, told, make_readings, monkeypatch) -> None:
    seen = Refusing()
    monkeypatch.setattr(sv, "attribute", seen)
    t = 1.5 + 0.25 * np.arange(rows)  # all of them after the control's first second
    amps = make_readings({("tail", I): (t, t)}).channels[0]
    controls = {"elevator": control(np.arange(40) % 7)}
    sv.shares_at_node(amps, ["elevator"], {}, controls, sv.travel_sums(controls), ())
    assert bool(seen.given) is told
