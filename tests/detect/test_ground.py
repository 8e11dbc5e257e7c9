"""Stirs and redundancy checks in readings made by hand; each limit from both sides."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits, Pack
from telemetry.detect.activity import GRID_S
from telemetry.detect.ground import (
    both_moved,
    find_redundancy_checks,
    find_stirs,
    is_stir,
    moving_range,
    moving_sticks,
    stir_edges,
    stirs_by_current,
    stirs_by_sticks,
    without_checks,
)
from telemetry.model.channels import Quantity
from telemetry.readings import Reading
from tests.detect.conftest import active, steps

LIMITS = Limits()
GROUND = (0.0, 100.0)
TWO = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))


def test_the_range_in_a_moving_window() -> None:
    x = np.array([1.0, 5.0, 2.0, 0.0])
    assert [r.tolist() for r in moving_range(x, 3)] == [[1, 1, 0, 0], [5, 5, 5, 2]]
    # An even window has one more before than after.
    assert [r.tolist() for r in moving_range(x, 4)] == [[1, 1, 0, 0], [5, 5, 5, 5]]


# --- by the current


def by_current(mean, ground=GROUND, limits=LIMITS, **more):
    return stirs_by_current(active(mean, **more), ground, limits)


@pytest.mark.parametrize(("seconds", "found"), [(2.0, True), (1.75, False)])
def test_a_raised_current_lasts_2_s(seconds: float, found: bool) -> None:
    spans = by_current(steps((10, 0), (seconds, 3), (10, 0)))
    assert spans == ([(10.0, 10.0 + seconds)] if found else [])


def test_without_a_current_none_is_raised() -> None:
    assert stirs_by_current(None, GROUND, LIMITS) == []


@pytest.mark.parametrize(
    ("rest", "sigma", "least"),
    [(0.5, 0.0, 0.5), (5.0, 0.0, 2.0), (-5.0, 0.0, 2.0), (0.5, 0.2, 1.2)],
    ids=["0.5 A", "0.4 of rest", "0.4 of its size", "6 x its scatter"],
)
def test_how_far_a_stir_rises_over_rest(rest: float, sigma: float, least: float) -> None:
    for rise, spans in ((least - 0.01, []), (least + 0.01, [(10.0, 20.0)])):
        mean = rest + steps((10, 0), (10, rise), (10, 0))
        assert by_current(mean, rest_a=rest, rest_sigma=sigma) == spans


def test_exactly_half_an_ampere_over_rest_is_a_stir() -> None:
    assert by_current(0.5 + steps((10, 0), (10, 0.5), (10, 0)), rest_a=0.5) == [(10.0, 20.0)]


@pytest.mark.parametrize(("mean", "found"), [(0.25, True), (0.24, False)])
def test_the_average_over_2_s_rises_by_half_of_it(mean: float, found: bool) -> None:
    fast = steps((10, 0), (10, 0.6), (10, 0))
    assert bool(by_current(steps((10, 0), (10, mean), (10, 0)), fast=fast)) is found


def test_only_the_ground_is_looked_at() -> None:
    assert by_current(steps((10, 0), (10, 3), (10, 0)), (0.0, 15.0)) == [(10.0, 15.0)]


@pytest.mark.parametrize(("pause_s", "spans"), [(1.25, 1), (1.5, 2)])
def test_a_pause_of_under_1_5_s_is_one_stir(pause_s: float, spans: int) -> None:
    assert len(by_current(steps((10, 0), (6, 3), (pause_s, 0), (6, 3), (10, 0)))) == spans


@pytest.mark.parametrize(("seconds", "found"), [(0.5, True), (0.25, False)])
def test_half_a_second_is_a_candidate(seconds: float, found: bool) -> None:
    fast = steps((9, 0), (3, 3), (10, 0))
    spans = by_current(steps((10, 0), (seconds, 3), (11.5, 0))[: fast.size], fast=fast)
    assert spans == ([(9.0, 12.0)] if found else [])


def test_edges_lie_half_way_between_rest_and_the_level() -> None:
    """Rest 1 A, level 2 A: half way are 1.5 A."""
    fast = steps((8.5, 1), (0.5, 1.49), (12, 2), (10, 1))
    assert stir_edges((10.0, 20.0), active(fast, rest_a=1.0), GROUND) == (9.0, 21.0)
    fast[34:36] = 1.5
    assert stir_edges((10.0, 20.0), active(fast, rest_a=1.0), GROUND) == (8.5, 21.0)


def test_edges_are_looked_for_within_2_s_and_on_the_ground() -> None:
    activity = active(steps((5, 1), (20, 2), (10, 1)), rest_a=1.0)
    assert stir_edges((10.0, 20.0), activity, GROUND) == (8.0, 22.0)
    assert stir_edges((10.0, 20.0), activity, (9.5, 20.5)) == (9.5, 20.5)


def test_a_span_without_edges_stays() -> None:
    assert stir_edges((10.0, 20.0), active(steps((30, 1)), rest_a=2.0), GROUND) == (10.0, 20.0)


# --- by the current alone


def told_alone(level, readings, *, rest_a=1.0, steady=(), span=(20.0, 30.0)):
    activity = active(steps((20, 0), (10, level), (10, 0)), rest_a=rest_a)
    return is_stir(span, activity, readings, LIMITS, list(steady))


@pytest.mark.parametrize(
    ("level", "steady", "stir"),
    [(3.0, (), True), (2.99, (), False),
     (2.0, [(20.0, 27.25)], True), (1.99, [(20.0, 27.25)], False), (2.0, [(20.0, 27.0)], False)],
    ids=["3 x rest", "less", "2 x rest of a plateau", "less", "a plateau of 0.7 of it"],
)  # fmt: skip
def test_the_whole_tells_a_stir_by_the_factor(level, steady, stir, make_readings) -> None:
    assert told_alone(level, make_readings(end_s=40.0), steady=steady) is stir


def test_without_a_current_the_current_tells_nothing(make_readings) -> None:
    assert not is_stir((20.0, 30.0), None, make_readings(end_s=40.0), LIMITS, [])


def test_a_span_outside_the_grid_is_at_rest(make_readings) -> None:
    """Its mean is the level of rest: 0 A are thrice 0 A, but -1 A are not thrice -1 A or less."""
    assert not told_alone(9.0, make_readings(end_s=200.0), span=(100.0, 110.0))
    assert told_alone(9.0, make_readings(end_s=200.0), rest_a=-1.0, span=(100.0, 110.0))


PLACE_T = (5.0, 10.0, 19.25, 20.0, 25.0, 29.75)


def told_by_place(make_reading, make_readings, rest, part, t=PLACE_T, start_s=0.0, **more):
    r = make_reading("tail", Quantity.CURRENT, t, [rest] * 3 + [part] * 3, **more)
    readings = make_readings(r, start_s=start_s, end_s=40.0)
    return told_alone(1.0, readings, rest_a=10.0)


@pytest.mark.parametrize(
    ("rest", "part", "resolution", "stir"),
    [(0.25, 0.75, 0.01, True), (0.25, 0.74, 0.01, False), (0.1, 0.36, 0.01, True),
     (0.1, 0.34, 0.01, False), (0.1, 0.8, 0.25, True), (0.1, 0.7, 0.25, False),
     (0.25, 0.75, None, True)],
    ids=["3 x rest", "less", "0.25 A over rest", "less", "3 x a step", "less", "no step known"],
)  # fmt: skip
def test_a_place_tells_a_stir_by_its_own_rest(
    rest, part, resolution, stir, make_reading, make_readings
) -> None:
    found = told_by_place(make_reading, make_readings, rest, part, resolution=resolution)
    assert found is stir


@pytest.mark.parametrize(
    ("moved", "to_s"),
    [(0, 4.75), (2, 19.5), (3, 19.75), (5, 30.0)],
    ids=["15 s before", "half a second before", "its start", "its end"],
)
def test_a_place_needs_three_readings_of_rest_and_of_the_stir(
    moved: int, to_s: float, make_reading, make_readings
) -> None:
    assert told_by_place(make_reading, make_readings, 0.25, 1.0)
    t = [to_s if k == moved else at for k, at in enumerate(PLACE_T)]
    assert not told_by_place(make_reading, make_readings, 0.25, 1.0, sorted(t))


def test_rest_does_not_reach_before_the_recording(make_reading, make_readings) -> None:
    assert told_by_place(make_reading, make_readings, 0.25, 1.0, start_s=5.0)
    assert not told_by_place(make_reading, make_readings, 0.25, 1.0, start_s=5.25)


# --- by the sticks


def stick(make_reading, v: np.ndarray, name="aileron", travel=100.0, **more) -> Reading:
    """On the grid; long after the ground one swing to both ends shows its whole travel."""
    t = np.r_[GRID_S * np.arange(v.size), 500.0, 501.0]
    v = np.r_[v, -0.5 * travel, 0.5 * travel]
    return make_reading(name, Quantity.CONTROL, t, v, **more)


def circling(at_s: float, seconds: float, total_s: float = 100.0, reach: float = 50.0):
    """Up and down in 2 s from an instant on: 0, 1/2, 1, 1/2, 0, -1/2, -1, -1/2 of the reach."""
    v = np.zeros(round(total_s / GRID_S))
    at, n = round(at_s / GRID_S), round(seconds / GRID_S)
    turn = reach * np.array([0, 0.5, 1, 0.5, 0, -0.5, -1, -0.5])
    v[at : at + n] = np.tile(turn, n // 8 + 1)[:n]
    return v


def by_sticks(make_reading, make_readings, *moves, ground=GROUND, limits=LIMITS, travel=100.0):
    rows = [
        stick(make_reading, v, name, travel)
        for v, name in zip(moves, ("aileron", "elevator", "rudder"), strict=False)
    ]
    return stirs_by_sticks(moving_sticks(make_readings(*rows, end_s=502.0)), ground, limits)


def test_two_circling_sticks_are_a_stir(make_reading, make_readings) -> None:
    """Ten seconds from 20 s on; the last step back to the middle is the end of its movement."""
    v = circling(20, 10)
    assert by_sticks(make_reading, make_readings, v, v) == [(20.0, 30.25)]
    assert by_sticks(make_reading, make_readings, v, v, v) == [(20.0, 30.25)]
    assert by_sticks(make_reading, make_readings, v, 0.2 * v) == []
    assert by_sticks(make_reading, make_readings, v) is None


@pytest.mark.parametrize(("travel", "found"), [(200.0, False), (199.0, True)])
def test_a_stir_swings_over_half_of_the_travel(travel, found, make_reading, make_readings):
    v = circling(20, 10)  # 100 from end to end
    assert bool(by_sticks(make_reading, make_readings, v, v, travel=travel)) is found


@pytest.mark.parametrize(("a_step", "found"), [(4.8, False), (5.0, False), (5.2, True)])
def test_a_stick_moves_over_a_tenth_within_0_75_s(a_step, found, make_reading, make_readings):
    """From one end to the other at an even rate; two steps lie within three instants.

    Within 3 s there are eleven: more than half of the travel from 4.6 a step on.
    """
    v = np.clip(a_step * (np.arange(400) - 80.0), 0.0, 90.0) - 45.0
    assert bool(by_sticks(make_reading, make_readings, v, v)) is found


@pytest.mark.parametrize(("seconds", "found"), [(8, True), (6, False)])
def test_both_swing_for_four_tenths_of_a_movement(seconds, found, make_reading, make_readings):
    """The one goes round for 20 s, the other for some: swings within 3 s last 0.5 s longer."""
    one, other = circling(20, 20), circling(20, seconds)
    assert by_sticks(make_reading, make_readings, one, other) == ([(20.0, 40.25)] if found else [])


@pytest.mark.parametrize(("pause_s", "spans"), [(1.5, 1), (1.75, 2)])
def test_sticks_that_rest_for_under_1_5_s_stir_on(pause_s, spans, make_reading, make_readings):
    v = circling(20, 10) + circling(30 + pause_s, 10)
    assert len(by_sticks(make_reading, make_readings, v, v)) == spans


@pytest.mark.parametrize(("least_s", "found"), [(2.25, True), (2.5, False)])
def test_the_shortest_stir(least_s, found, make_reading, make_readings) -> None:
    v = circling(20, 2)
    spans = by_sticks(make_reading, make_readings, v, v, limits=Limits(stir_s=least_s))
    assert bool(spans) is found


@pytest.mark.parametrize(("seconds", "found"), [(2.0, True), (1.75, False)])
def test_ground_of_under_2_s_holds_no_stir(seconds, found, make_reading, make_readings) -> None:
    v = circling(20, 10)
    spans = by_sticks(
        make_reading, make_readings, v, v, ground=(21.0, 21.0 + seconds), limits=Limits(stir_s=0.5)
    )
    assert bool(spans) is found
    assert spans is not None


@pytest.mark.parametrize(("to", "share"), [(34.0, 0.25), (33.0, 0.0)])
def test_two_sticks_sweep_a_third_of_their_travel(to, share, make_reading, make_readings) -> None:
    """One step at 10 s lies in eleven windows of 3 s, of 44 instants."""
    v = steps((10, 0), (20, to))
    rows = [stick(make_reading, v, name) for name in ("aileron", "elevator")]
    readings = make_readings(*rows, end_s=502.0)
    assert both_moved(moving_sticks(readings), (5.0, 16.0)) == share
    assert both_moved(moving_sticks(make_readings(rows[0], end_s=502.0)), (5.0, 16.0)) == 0.0


@pytest.mark.parametrize(
    ("size", "still", "found"), [(10, False, True), (9, False, False), (10, True, False)]
)
def test_a_stick_is_one_that_moved(size, still, found, make_reading, make_readings) -> None:
    v = np.zeros(size) if still else np.arange(float(size))
    rows = [
        make_reading(n, Quantity.CONTROL, np.arange(float(size)), v) for n in ("aileron", "rudder")
    ]
    spans = stirs_by_sticks(moving_sticks(make_readings(*rows, end_s=10.0)), (0.0, 10.0), LIMITS)
    assert (spans is not None) is found


# --- both together


RAISED = active(0.5 + steps((10, 0), (10, 5), (20, 0)), rest_a=0.5)
UNEVEN = active(0.5 + steps((10, 0), (5, 0.6), (5, 0.9), (20, 0)), rest_a=0.5)


def test_without_sticks_the_current_alone_tells(make_readings) -> None:
    readings = make_readings(end_s=40.0)
    assert find_stirs(readings, RAISED, [(0.0, 40.0)], LIMITS) == [(10.0, 20.0)]
    assert find_stirs(readings, UNEVEN, [(0.0, 40.0)], LIMITS) == [(10.0, 20.0)], "a plateau"
    jagged = active(np.where(np.arange(160) % 8 < 5, UNEVEN.mean, 0.5), rest_a=0.5)
    assert find_stirs(readings, jagged, [(0.0, 40.0)], LIMITS) == []
    assert find_stirs(readings, None, [(0.0, 40.0)], LIMITS) == []


def test_each_stretch_on_the_ground_is_looked_at(make_readings) -> None:
    found = find_stirs(make_readings(end_s=40.0), RAISED, [(0.0, 14.0), (16.0, 40.0)], LIMITS)
    assert found == [(10.0, 14.0), (16.0, 20.0)]


def idle_sticks(make_reading, *at: int, update_s: float | None = 0.25, seconds=40.0):
    """Two sticks that step by 40 % to and fro at these instants of the grid."""
    v = np.zeros(round(seconds / GRID_S))
    for k in at:
        v[k:] = 40.0 - v[k]
    return [stick(make_reading, v, n, update_s=update_s) for n in ("aileron", "elevator")]


@pytest.mark.parametrize(
    ("update_s", "row_s", "found"),
    [(0.25, 0.1, False), (0.5, 0.1, False), (0.6, 0.1, True), (None, 0.1, False),
     (None, 0.6, True)],
)  # fmt: skip
def test_sticks_at_rest_deny_a_stir_unless_they_are_slow(
    update_s, row_s, found, make_reading, make_readings
) -> None:
    sticks = idle_sticks(make_reading, update_s=update_s)
    readings = make_readings(*sticks, end_s=502.0, row_s=row_s)
    stirs = find_stirs(readings, RAISED, [(0.0, 40.0)], LIMITS)
    assert stirs == ([(10.0, 20.0)] if found else [])
    weak = active(2.0 + steps((10, 0), (10, 1), (20, 0)), rest_a=2.0)
    assert find_stirs(readings, weak, [(0.0, 40.0)], LIMITS) == []


@pytest.mark.parametrize(("last", "found"), [(63, True), (62, False)])
def test_sticks_have_moved_for_six_tenths_of_a_raised_current(
    last, found, make_reading, make_readings
) -> None:
    """Steps from instant 50 to 63 lie in windows around 45 to 68: 24 of the 40 in 10 s."""
    readings = make_readings(*idle_sticks(make_reading, 50, 57, last), end_s=502.0)
    weak = active(2.0 + steps((10, 0), (10, 1), (20, 0)), rest_a=2.0)
    stirs = find_stirs(readings, weak, [(0.0, 40.0)], LIMITS)
    assert stirs == ([(10.0, 20.0)] if found else [])


def test_sticks_tell_the_edges_of_what_the_current_shows_too(make_reading, make_readings) -> None:
    moves = circling(11, 6, 40) + circling(30, 6, 40)
    sticks = [stick(make_reading, moves, n, update_s=0.6) for n in ("aileron", "elevator")]
    readings = make_readings(*sticks, end_s=502.0)
    both = [(11.0, 17.25), (30.0, 36.25)]
    assert find_stirs(readings, None, [(0.0, 40.0)], LIMITS) == both
    assert find_stirs(readings, RAISED, [(0.0, 40.0)], LIMITS) == both
    early = active(0.5 + steps((2, 0), (5, 5), (33, 0)), rest_a=0.5)
    assert find_stirs(readings, early, [(0.0, 40.0)], LIMITS) == [(2.0, 7.0), *both]


# --- redundancy checks

T = GRID_S * np.arange(280)
ON_GROUND = [(0.0, 70.0)]


def amps(make_reading, v, place="pack 1", t=T, **more) -> Reading:
    return make_reading(place, Quantity.CURRENT, t, v, **more)


@pytest.fixture
def checked(make_reading, make_readings):
    def check(one, two, *, t=T, ground=ON_GROUND, aircraft=TWO, other_t=None, **more):
        readings = make_readings(
            amps(make_reading, one, t=t, **more),
            amps(make_reading, two, "pack 2", t=t if other_t is None else other_t, **more),
            end_s=70.0,
        )
        return find_redundancy_checks(readings, aircraft, list(ground))

    return check


def off(v: float = 0.0, seconds: float = 10.0, usual: float = 1.0) -> np.ndarray:
    """Its usual current, but for some seconds from 30 s on."""
    return steps((30, usual), (seconds, v), (40 - seconds, usual))


def test_one_pack_off_and_the_other_takes_over(checked) -> None:
    assert checked(off(), off(2.0)) == [(30.0, 40.0)]
    assert checked(off(2.0), off()) == [(30.0, 40.0)]


@pytest.mark.parametrize(("seconds", "found"), [(0.75, False), (1.0, True), (39.0, True)])
def test_a_check_lasts_0_8_s_and_more(seconds: float, found: bool, checked) -> None:
    assert bool(checked(off(0.0, seconds), off(2.0, seconds))) is found


@pytest.mark.parametrize(("seconds", "found"), [(60.0, True), (60.25, False)])
def test_a_check_lasts_a_minute_at_the_most(seconds, found, checked, make_reading, make_readings):
    one = steps((10, 1), (seconds, 0), (10, 1))
    t = GRID_S * np.arange(one.size)
    assert bool(checked(one, 2.0 - one, t=t, ground=[(0.0, 90.0)])) is found
    volts = [
        make_reading(p, Quantity.VOLTAGE, t, v)
        for p, v in (("pack 1", 8 * one), ("pack 2", 0 * one + 8.0))
    ]
    # By its voltage: the median of a pack that is off most of the time is nothing.
    long = make_readings(*volts, end_s=90.0)
    assert find_redundancy_checks(long, TWO, [(0.0, 90.0)]) == []


@pytest.mark.parametrize(
    ("ground", "found"),
    [([(30.0, 40.0)], True), ([(30.25, 40.0)], False), ([(30.0, 39.75)], False),
     ([(0.0, 5.0), (29.0, 41.0)], True), ([], False)],
)  # fmt: skip
def test_a_check_lies_on_the_ground(ground, found, checked) -> None:
    assert bool(checked(off(), off(2.0), ground=ground)) is found


@pytest.mark.parametrize(
    ("left", "other", "step", "found"),
    [(0.10, 2.0, 0.01, True), (0.11, 2.0, 0.01, False),
     (0.29, 2.0, 0.2, True), (0.31, 2.0, 0.2, False),
     (0.0, 0.40, 0.1, False), (0.0, 0.41, 0.1, True),
     (0.0, 2.0, 0.24, True), (0.0, 2.0, 0.25, False)],
    ids=["5 % of the whole", "more", "1.5 steps", "more", "a whole of 4 steps", "more",
         "over 4 steps carried", "4 steps carried"],
)  # fmt: skip
def test_how_little_a_pack_gives_that_is_off(left, other, step, found, checked) -> None:
    assert bool(checked(off(left), off(other), resolution=step)) is found


@pytest.mark.parametrize(("left", "found"), [(0.015, True), (0.016, False)])
def test_an_unknown_step_is_taken_as_10_ma(left: float, found: bool, checked) -> None:
    one, two = off(left, usual=0.1), off(0.2, usual=0.1)
    assert bool(checked(one, two, resolution=None)) is found


@pytest.mark.parametrize("side", ["before", "after"])
@pytest.mark.parametrize(("own", "found"), [(0.20, False), (0.22, True)])
def test_a_pack_carries_a_fifth_before_and_after(side, own, found, checked) -> None:
    one, two = off(), off(2.0)
    part = slice(0, 120) if side == "before" else slice(160, None)
    one[part], two[part] = own, 1.0 - own
    assert bool(checked(one, two)) is found


@pytest.mark.parametrize("side", ["before", "after"])
@pytest.mark.parametrize("near", [4.0, 2.25], ids=["4 s near", "the far 2.75 s"])
def test_five_seconds_tell_what_it_carried(side: str, near: float, checked) -> None:
    """4 s of its share beside it, and less for long; or in most of the 5 s, but further off."""
    low, high = 0.15, 1.0
    if near == 4.0:
        beside = steps((26, low), (4, high))
    else:
        beside = steps((25, low), (2.75, high), (2.25, low))
    rest = np.full(120, high)
    before, after = (beside, rest) if side == "before" else (rest, beside[::-1])
    one = np.r_[before, np.zeros(40), after]
    assert checked(one, off(2.0, usual=1.0)) == [(30.0, 40.0)]


@pytest.mark.parametrize(
    ("first", "last", "found"), [(118, 162, True), (119, 162, False), (118, 161, False)]
)
def test_two_readings_on_each_side_are_needed(first, last, found, checked) -> None:
    part = slice(first, last)
    assert bool(checked(off()[part], off(2.0)[part], t=T[part])) is found


def test_packs_that_both_gave_nothing_before_were_off(checked) -> None:
    one = steps((40, 0), (30, 1))
    two = steps((30, 0), (10, 2), (30, 1))
    assert checked(one, two) == []


@pytest.mark.parametrize(("pause_s", "spans"), [(0.75, [(30.0, 40.0)]), (1.0, [])])
def test_a_blink_does_not_end_a_check(pause_s: float, spans: list, checked) -> None:
    one, two = off(), off(2.0)
    one[140 : 140 + round(pause_s / GRID_S)] = 1.0
    assert checked(one, two) == spans


@pytest.mark.parametrize(
    ("gap_s", "spans"), [(5.0, [(30.0, 40.0)]), (5.75, [(30.0, 40.0)]), (6.25, [])]
)
def test_a_gap_within_a_check(gap_s: float, spans: list, checked) -> None:
    """A reading counts for 5 s; what is under 1 s beyond is no pause."""
    keep = (T <= 31.0) | (31.0 + gap_s <= T)
    assert checked(off()[keep], off(2.0)[keep], t=T[keep]) == spans


@pytest.mark.parametrize(("every_s", "whole"), [(5.0, True), (8.0, False)])
def test_the_other_pack_s_reading_counts_for_5_s(every_s: float, whole: bool, checked) -> None:
    at = np.arange(0.0, 70.0, every_s)
    two = np.where((at >= 30) & (at < 40), 2.0, 1.0)
    long = np.r_[at, 70.0 + np.arange(5.0)]
    found = checked(off(), np.r_[two, np.ones(5)], other_t=long)
    assert (found == [(30.0, 40.0)]) is whole


def test_a_standby_pack_or_one_with_few_readings_makes_no_check(checked) -> None:
    standby = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2", role="standby")))
    assert checked(off(), off(2.0), aircraft=standby) == []
    at = 22.0 + 4.0 * np.arange(10)
    few = np.where((at >= 30) & (at < 40), 2.0, 1.0)
    assert checked(off(), few, other_t=at) != []
    assert checked(off(), few[:9], other_t=at[:9]) == []


@pytest.fixture
def switched(make_reading, make_readings):
    def check(one, two, *, ground=ON_GROUND, other_t=T, **more):
        readings = make_readings(
            make_reading("pack 1", Quantity.VOLTAGE, T, one),
            make_reading("pack 2", Quantity.VOLTAGE, other_t, two),
            end_s=70.0,
        )
        return find_redundancy_checks(readings, TWO, list(ground), **more)

    return check


def sunk(v: float, seconds: float = 10.0) -> np.ndarray:
    return off(v, seconds, usual=8.0)


@pytest.mark.parametrize(
    ("low", "other", "found"),
    [(1.99, 8.0, True), (2.0, 8.0, False), (0.0, 4.1, True), (0.0, 4.0, False)],
    ids=["under a quarter", "a quarter", "the other over half", "half"],
)
def test_a_pack_s_voltage_goes_to_nothing_and_the_other_s_stays(
    low, other, found, switched
) -> None:
    assert switched(sunk(low), sunk(other, 20.0)) == ([(30.0, 40.0)] if found else [])


@pytest.mark.parametrize("at", [30.0, 40.0])
def test_the_other_pack_stays_at_both_ends(at: float, switched) -> None:
    other = np.full(T.size, 8.0)
    other[at == T] = 3.0
    assert switched(sunk(0.0), other) == []


@pytest.mark.parametrize(("seconds", "found"), [(0.75, False), (1.0, True)])
def test_the_shortest_check_by_voltage(seconds: float, found: bool, switched) -> None:
    assert bool(switched(sunk(0.0, seconds), sunk(8.0))) is found


@pytest.mark.parametrize(
    ("ground", "found"),
    [((29.9, 40.1), True), ((30.0, 41.0), False), ((29.0, 40.0), False)],
)
def test_a_check_by_voltage_lies_within_the_ground(ground, found, switched) -> None:
    """At its edge begins or ends a flight, or the recording: nothing shows the pack on."""
    assert bool(switched(sunk(0.0), sunk(8.0), ground=[(0.0, 5.0), ground])) is found


def test_the_other_pack_may_report_seldom(switched) -> None:
    at = np.arange(1.0, 70.0, 3.0)
    assert switched(sunk(0.0), np.full(at.size, 8.0), other_t=at) == [(30.0, 40.0)]
    at = T[::31]
    assert switched(sunk(0.0), np.full(10, 8.0), other_t=at) == [(30.0, 40.0)]
    assert switched(sunk(0.0), np.full(9, 8.0), other_t=at[:9]) == []


@pytest.mark.parametrize(("pause_s", "spans"), [(0.25, 1), (0.5, 2)])
def test_packs_switched_off_in_turn_are_one_check(pause_s: float, spans: int, switched) -> None:
    one = steps((20, 8), (10, 0), (40, 8))
    two = steps((30 + pause_s, 8), (10, 0), (30 - pause_s, 8))
    assert len(switched(one, two)) == spans


@pytest.mark.parametrize(("pause_s", "spans"), [(0.75, 1), (1.0, 2)])
def test_a_blink_of_under_a_second_is_one_check(pause_s: float, spans: int, switched) -> None:
    one = steps((20, 8), (10, 0), (pause_s, 8), (10, 0), (30 - pause_s, 8))
    assert len(switched(one, np.full(T.size, 8.0))) == spans


@pytest.mark.parametrize(("gap_s", "spans"), [(5.0, 1), (5.75, 1), (6.25, 2)])
def test_a_gap_within_a_check_by_voltage(gap_s, spans, make_reading, make_readings) -> None:
    keep = (T <= 33.0) | (33.0 + gap_s <= T)
    readings = make_readings(
        make_reading("pack 1", Quantity.VOLTAGE, T[keep], sunk(0.0, 20)[keep]),
        make_reading("pack 2", Quantity.VOLTAGE, T, sunk(8.0)),
        end_s=70.0,
    )
    assert len(find_redundancy_checks(readings, TWO, ON_GROUND)) == spans


def stepped(by_v: float, seconds: float = 3.0) -> np.ndarray:
    """8 V, but for some seconds from 30 s on; a last digit that moves."""
    return off(8.0 + by_v, seconds, usual=8.0) + np.where(np.arange(T.size) % 2, 0.0, 0.01)


@pytest.mark.parametrize(
    ("one", "two", "found"),
    [(0.05, -0.04, True), (-0.04, 0.05, True), (0.05, 0.0, False), (-0.10, -0.02, False)],
    ids=["the first rises", "the second rises", "the other stays", "a load on both"],
)
def test_without_currents_the_load_goes_from_one_pack_to_the_other(
    one, two, found, switched
) -> None:
    """Two sources with a resistance: what the one is relieved of, the other carries."""
    assert switched(stepped(one), stepped(two)) == ([(30.0, 33.0)] if found else [])


def test_packs_that_part_for_good_are_no_check(switched) -> None:
    assert switched(stepped(0.05, 40.0), stepped(-0.04, 40.0)) == []


def test_where_a_current_is_logged_it_tells(make_reading, make_readings) -> None:
    rows = (
        make_reading("pack 1", Quantity.VOLTAGE, T, stepped(0.05)),
        make_reading("pack 2", Quantity.VOLTAGE, T, stepped(-0.04)),
        amps(make_reading, np.ones(T.size)),
    )
    assert find_redundancy_checks(make_readings(*rows, end_s=70.0), TWO, ON_GROUND) == []


def test_a_pack_alone_can_be_checked_against_none(make_reading, make_readings) -> None:
    rows = amps(make_reading, off()), make_reading("pack 1", Quantity.VOLTAGE, T, sunk(0.0))
    assert find_redundancy_checks(make_readings(*rows, end_s=70.0), TWO, ON_GROUND) == []


@pytest.mark.parametrize(
    ("early", "late", "found"),
    [(25.0, 40.25, True), (24.75, 40.25, False), (29.5, 44.75, True), (29.5, 45.0, False)],
    ids=["5 s before", "earlier", "within 5 s after", "5 s after"],
)
def test_five_seconds_on_each_side_hold_the_readings(early, late, found, checked) -> None:
    """Two are needed: beside the one at 29.75 s an earlier one, beside that at 40 s a later one."""
    keep = ((T >= 29.75) & (T <= 40.0)) | np.isin(T, [early, late])
    assert bool(checked(off()[keep], off(2.0)[keep], t=T[keep])) is found


@pytest.mark.parametrize(("seconds", "found"), [(60.0, True), (60.25, False)])
def test_a_check_by_voltage_lasts_a_minute_at_the_most(
    seconds, found, make_reading, make_readings
) -> None:
    one = steps((50, 8), (seconds, 0), (50, 8))
    t = GRID_S * np.arange(one.size)
    rows = (
        make_reading("pack 1", Quantity.VOLTAGE, t, one),
        make_reading("pack 2", Quantity.VOLTAGE, t, 8.0),
    )
    spans = find_redundancy_checks(make_readings(*rows, end_s=170.0), TWO, [(0.0, 170.0)])
    assert bool(spans) is found


@pytest.mark.parametrize(
    ("first", "second", "start_s"),
    [
        ((20.0, 25.0), (30.0, 36.0), 37.0),  # each in turn: somebody switched them
        ((20.0, 25.0), (60.0, 66.0), 5.0),  # 35 s apart
        ((20.0, 25.0), None, 5.0),  # one pack alone is lost
    ],
)
def test_packs_off_in_turn_stand_before_the_flight(
    first, second, start_s, make_reading, make_readings
) -> None:
    t = np.arange(0.0, 200.0, 0.25)
    off = [(t >= a) & (t < b) for a, b in (first, second or (0.0, 0.0))]
    amps = [np.where(off[k], 0.0, np.where(off[1 - k], 1.0, 0.5)) for k in (0, 1)]
    channels = [make_reading(f"pack {k + 1}", Quantity.CURRENT, t, amps[k]) for k in (0, 1)]
    readings = make_readings(*channels, end_s=200.0)
    found = without_checks([(5.0, 190.0)], readings, TWO)
    assert found == [(pytest.approx(start_s, abs=0.5), 190.0)]
