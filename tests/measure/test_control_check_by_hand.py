"""The rules of a check of one control after the other, each on moves and readings made by hand."""

from __future__ import annotations

from math import hypot, inf, sqrt

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Servo
from telemetry.measure import control_check as cc
from telemetry.measure.control_check import ControlMove, ControlRun, check_shares
from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading
from telemetry.results import Phase, PhaseKind

I = Quantity.CURRENT  # noqa: E741
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


def reading(
    v: object, step_s: float = 1.0, resolution: float | None = None, place: str = "tail"
) -> Reading:
    values = np.asarray(v, dtype=float)
    return Reading(
        channel=Channel(key=place, column=place, quantity=I, place=place),
        t=step_s * np.arange(values.size),
        v=values,
        update_s=step_s,
        resolution=resolution,
    )


def bursts(
    *spans: tuple[float, float, float], n: int = 80, step_s: float = 0.5, rest: float = 0.25
) -> Reading:
    """``n`` readings at rest, and each (first, last instant, A) of a burst, both included."""
    r = reading(np.full(n, rest), step_s)
    for a, b, amps in spans:
        r.v[(r.t >= a) & (r.t <= b)] = amps
    return r


def move(start_s: float, end_s: float, *places: str) -> ControlMove:
    return ControlMove(start_s, end_s, frozenset(places or ("tail",)))


def run(*moves: ControlMove) -> ControlRun:
    return ControlRun(moves, frozenset().union(*(m.places for m in moves)))


def phase(kind: PhaseKind, start_s: float, end_s: float) -> Phase:
    return Phase(kind=kind, start_s=start_s, end_s=end_s)


GROUND, STIR, FLIGHT = PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.FLIGHT


@pytest.mark.parametrize(
    ("phases", "found"),
    [
        ([(GROUND, 0, 10), (STIR, 10, 20), (GROUND, 20, 30)], [(0, 30)]),
        ([(GROUND, 0, 10), (GROUND, 10.0000005, 20)], [(0, 20)]),
        ([(GROUND, 0, 10), (GROUND, 10.0000015, 20)], [(0, 10), (10.0000015, 20)]),
        ([(GROUND, 0, 10), (FLIGHT, 10, 20), (STIR, 20, 30)], [(0, 10), (20, 30)]),
        ([(PhaseKind.REDUNDANCY_CHECK, 0, 10)], []),
    ],
)
def test_stretches_on_the_ground(phases, found) -> None:
    assert cc.ground_spans([phase(*p) for p in phases]) == found


@pytest.mark.parametrize(
    ("v", "resolution", "rest", "least"),
    [
        # The lower quarter ends at 1; of 0, 1, 2 the usual distance from it is 1: 6 x 1.4826.
        ([0, 1, 2, 3, 4], None, 1.0, 8.8956),
        ([0, 1, 2, 3, 4], 4.0, 1.0, 10.0),  # 2.5 steps of the sensor
        ([0, 1, 2, 3, 4], 3.0, 1.0, 8.8956),
        ([5, 5, 5, 5], None, 5.0, 0.1),
        ([5, 5, 5, 5], 0.04, 5.0, 0.1),
        ([5, 5, 5, 5], 0.06, 5.0, 0.15),
        ([0, 0.1, 0.1, 0.1, 9.0], None, 0.1, 0.1),
    ],
)
def test_rest_and_what_counts_as_movement(v, resolution, rest, least) -> None:
    assert cc.rest_level(reading(v, resolution=resolution)) == (rest, pytest.approx(least))
    above = cc.above_rest(reading(v, resolution=resolution))
    assert above.tolist() == pytest.approx([(x - rest) / least for x in v])


def test_bursts_reach_from_their_first_to_their_last_reading() -> None:
    r = reading(np.zeros(8), step_s=0.5)
    above = np.array([2.0, 0.0, 1.0, 1.01, 5.0, 0.0, 0.0, 3.0])
    assert cc.burst_spans(r, above) == [(0.0, 0.0), (1.5, 2.0), (3.5, 3.5)]
    assert cc.reading_step_s(reading(np.zeros(5), step_s=0.4)) == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("wing", "tail", "found"),
    [
        # The tail reads every 0.5 s: it may begin so much after the other's end.
        ([(4.0, 6.0)], [(6.5, 7.0)], [(4.0, 7.0, {"left wing", "tail"})]),
        ([(4.0, 6.0)], [(7.0, 8.0)], [(4.0, 6.0, {"left wing"}), (7.0, 8.0, {"tail"})]),
        ([(4.0, 9.0)], [(6.0, 7.0)], [(4.0, 9.0, {"left wing", "tail"})]),
        ([(6.0, 7.0)], [(2.0, 3.0)], [(2.0, 3.0, {"tail"}), (6.0, 7.0, {"left wing"})]),
    ],
)
def test_bursts_that_overlap_are_one_move(wing, tail, found) -> None:
    known = {"left wing": reading(np.zeros(20), 1.0), "tail": reading(np.zeros(40), 0.5)}
    above = {p: np.zeros(r.size) for p, r in known.items()}
    for p, spans in (("left wing", wing), ("tail", tail)):
        for a, b in spans:
            above[p][(known[p].t >= a) & (known[p].t <= b)] = 2.0
    moves = [(m.start_s, m.end_s, set(m.places)) for m in cc.find_moves(known, above)]
    assert moves == found


@pytest.mark.parametrize(
    ("burst", "alone"),
    [
        ((12.5, 13.0), True),
        # Twice its step of 0.5 s and 0.5 s: within 1.5 s of a move at a node it is that move's.
        ((10.0, 11.0), False),
        ((12.0, 13.0), False),
        ((8.0, 8.5), True),
        ((8.0, 9.0), False),
        ((20.0, 21.0), True),
        ((2.0, 3.0), True),
    ],
)
def test_moves_that_only_the_whole_shows(burst, alone) -> None:
    whole = bursts((*burst, 2.0))
    found = cc.with_moves_of_whole([move(10.0, 11.0)], whole, "bus")
    expected = [move(10.0, 11.0), *([move(*burst, "bus")] if alone else [])]
    assert found == sorted(expected, key=lambda m: m.start_s)


@pytest.mark.parametrize(
    ("lasted", "step_s", "chance"),
    [(0.5, 1.0, 0.499), (0.5, 2.0, 0.749), (0.999, 1.0, 0.0), (3.0, 1.0, 0.0), (0.0, 1.0, 0.999)],
)
def test_the_chance_to_miss_a_move(lasted, step_s, chance) -> None:
    assert cc.chance_missed(move(5.0, 5.0 + lasted), reading(np.zeros(9), step_s)) == pytest.approx(
        chance
    )


QUICK, SLOW = reading(np.zeros(90), 0.1), reading(np.zeros(90), 1.0)


@pytest.mark.parametrize(
    ("run_of", "then", "alike"),
    [
        ([{"tail"}], {"tail"}, True),
        ([{"tail"}], {"left wing"}, False),
        ([{"tail", "left wing"}], {"tail"}, False),
        # The tip reads once a second: half a second of movement may have passed it.
        ([{"tail", "left tip"}], {"tail"}, True),
        ([{"tail"}], {"tail", "left tip"}, True),
        ([{"tail"}, {"tail", "left tip"}], {"tail"}, True),
    ],
)
def test_moves_alike_but_for_what_was_missed(run_of, then, alike) -> None:
    known = {"tail": QUICK, "left wing": QUICK, "left tip": SLOW}
    moves = [move(k, k + 0.5, *p) for k, p in enumerate(run_of)]
    assert cc.may_be_same_control(moves, move(9.0, 9.5, *then), known) is alike


@pytest.mark.parametrize(
    ("first", "second", "then", "alike"),
    [
        (0.97, 0.97, 0.1, True),  # missed with a chance of 0.029
        (0.985, 0.97, 0.1, False),  # 0.014: the tip stood still in one move of the run
        (0.97, 0.985, 0.1, False),
    ],
)
def test_a_place_that_surely_stood_still_makes_another_run(first, second, then, alike) -> None:
    moves = [move(0, first), move(3, 3 + second)]
    known = {"tail": QUICK, "left tip": SLOW}
    assert cc.may_be_same_control(moves, move(9.0, 9.0 + then, "tail", "left tip"), known) is alike


@pytest.mark.parametrize(("lasted", "alike"), [(0.97, True), (0.985, False)])
def test_a_place_that_is_lacking_surely(lasted, alike) -> None:
    known = {"tail": QUICK, "left tip": SLOW}
    assert (
        cc.may_be_same_control([move(0, 1, "tail", "left tip")], move(9, 9 + lasted), known)
        is alike
    )


@pytest.mark.parametrize(
    ("moves", "sizes"),
    [
        ([move(0, 1), move(9, 10)], [2]),  # 8 s apart
        ([move(0, 1), move(9.1, 10)], [1, 1]),
        ([move(0, 1), move(2, 3, "left wing"), move(4, 5)], [1, 1, 1]),
        ([move(0, 1), move(2, 3), move(4, 5, "left wing")], [2, 1]),
        ([], []),
    ],
)
def test_moves_in_a_row(moves, sizes) -> None:
    found = cc.group_runs(moves, {"tail": QUICK, "left wing": QUICK})
    assert [len(r.moves) for r in found] == sizes


def test_a_run_has_the_places_of_all_its_moves() -> None:
    known = {"tail": QUICK, "left tip": SLOW}
    (found,) = cc.group_runs([move(0, 0.5), move(1, 1.5, "tail", "left tip")], known)
    assert found.places == {"tail", "left tip"}


@pytest.mark.parametrize(
    ("lasted", "slow", "sure"),
    [
        ((0.9, 0.9), "left wing", True),  # missed both with 0.099 x 0.099
        ((0.85, 0.85), "left wing", False),  # 0.149 x 0.149 = 0.022
        ((0.985,), "left wing", True),
        ((0.97,), "left wing", False),
        ((0.1,), "bus", True),  # the whole moves with any of them
    ],
)
def test_places_that_seem_still_surely_were(lasted, slow, sure) -> None:
    known = {"tail": QUICK, slow: SLOW}
    moves = run(*(move(k, k + x) for k, x in enumerate(lasted)))
    assert cc.is_surely_still(moves, known, "bus") is sure


# The whole at 1 A, rising to 1.5 A in three moves: 0.5 A.
WHOLE = bursts((10.0, 10.0, 1.2), (12.0, 12.0, 1.5), (14.0, 14.0, 9.0), rest=1.0)
THREE = run(*(move(x - 0.5, x, "bus") for x in (10.0, 12.0, 14.0)))


@pytest.mark.parametrize(
    ("resolution", "hidden"),
    [(None, False), (0.1, False), (0.11, True)],  # 2 x 2.5 steps against 0.5 A
)
def test_what_only_the_whole_shows_may_hide_in_a_coarse_node(resolution, hidden) -> None:
    tail = reading(np.full(40, 0.25), resolution=resolution)
    known = {"bus": WHOLE, "tail": tail}
    assert cc.may_be_hidden(THREE, known, "bus") is hidden
    assert cc.is_surely_still(
        THREE, {**known, "tail": bursts()} if not hidden else known, "bus"
    ) is (not hidden)


def test_a_silent_whole_hides_everything() -> None:
    gone = run(move(500, 501, "bus"), move(502, 503, "bus"))
    assert cc.may_be_hidden(gone, {"bus": WHOLE}, "bus") is True
    assert cc.may_be_hidden(THREE, {"bus": WHOLE}, "bus") is False


def control(
    start_s: float, place: str, *, moves: int = 2, lasts: float = 1.0, every: float = 2.0
) -> ControlRun:
    starts = [start_s + every * k for k in range(moves)]
    return run(*(move(a, a + lasts, place) for a in starts))


A, B = control(0, "tail"), control(8, "left wing")  # 0 to 3 s, 8 to 11 s


@pytest.mark.parametrize(
    ("runs", "found"),
    [
        ([A, B], [0, 1]),
        ([A], []),
        ([], []),
        ([A, control(8, "tail")], []),  # twice the same place
        ([A, control(11, "left wing")], [0, 1]),  # 8 s later
        ([A, control(11.1, "left wing")], []),
        ([control(0, "tail", moves=3), control(13, "left wing")], [0, 1]),  # after the third
        ([A, control(8, "left wing", moves=1)], []),  # not there and back
        ([A, control(4, "bus", moves=1), B], []),
        ([A, control(8, "left wing", lasts=5.0, every=5.5)], [0, 1]),
        ([A, control(8, "left wing", lasts=5.25, every=5.5)], []),  # a move too long
        ([A, control(8, "left wing", lasts=1.0, every=14.0)], [0, 1]),  # 15 s in all
        ([A, control(8, "left wing", lasts=1.0, every=14.5)], []),
        ([A, B, control(40, "tail"), control(48, "left wing"), control(56, "tail")], [2, 3, 4]),
        ([A, B, control(40, "tail"), control(48, "left wing")], [0, 1]),
        (
            [
                A, B, control(16, "bus"),
                *(control(80 + 8 * k, ("tail", "bus")[k % 2]) for k in range(4)),
            ],
            [0, 1, 2],
        ),
    ],
)  # fmt: skip
def test_the_longest_row_of_different_controls(runs, found) -> None:
    assert cc.longest_check(runs) == [runs[k] for k in found]


SERVOS = (
    Servo(node="left wing", output=1, drives="left aileron"),
    Servo(node="left tip", output=1, drives="right aileron"),
    Servo(node="tail", output=1, drives="smoke pump"),
    Servo(node="bus", output=1, drives="throttle"),
)


def test_servos_by_the_control_that_moves_them() -> None:
    found = cc.servos_by_control(CRAFT.model_copy(update={"servos": SERVOS}))
    assert {k: [s.node for s in v] for k, v in found.items()} == {
        "aileron": ["left wing", "left tip"],
        "smoke pump": ["tail"],
        "throttle": ["bus"],
    }


@pytest.mark.parametrize(
    ("servo", "known", "seen"),
    [
        (SERVOS[0], {"left wing", "tail", "bus"}, {"left wing"}),
        (SERVOS[1], {"left wing", "left tip", "bus"}, {"left wing", "left tip"}),
        (SERVOS[1], {"left wing", "bus"}, {"left wing"}),  # it shows in what feeds it
        (SERVOS[1], {"tail", "bus"}, {"bus"}),
        (SERVOS[1], {"tail"}, set()),
        (SERVOS[3], {"tail", "bus"}, {"bus"}),
    ],
)
def test_where_a_servo_shows(servo, known, seen) -> None:
    assert cc.places_showing((servo,), dict.fromkeys(known, QUICK), CRAFT) == seen


def test_all_that_lies_above_a_place() -> None:
    assert cc.all_feeders("left tip", CRAFT) == ["left wing", "bus", "pack 1"]
    assert cc.all_feeders("pack 1", CRAFT) == []


# Current while moving


def moving(above, still=(0.0,) * 4, lasts: float = 1.0, n: int = 2, step_s: float = 0.5):
    moves = run(*(move(5.0 * k, 5.0 * k + lasts) for k in range(n)))
    return cc.moving_current(moves, np.asarray(above, float), np.asarray(still, float), step_s)


def test_charge_over_the_time_it_moved() -> None:
    """Six readings of 1 A, each for 0.5 s, in two moves of 1 s and half an update more each."""
    mean, low, high = moving([1.0] * 6)
    doubt = 0.5 + 1.96 * 0.41 * 0.5 * sqrt(2)
    assert mean == pytest.approx(3.0 / 2.5)
    assert low == pytest.approx(3.0 / (2.5 + doubt))
    assert high == pytest.approx(3.0 / (2.5 - doubt))


def test_the_swing_of_the_readings_and_of_the_rest_widen_it() -> None:
    # Of 0, 2, 0, 2, 0, 2 A the scatter is sqrt(6 / 5) A; of the rest 0.3 A over sqrt(4).
    _, low, high = moving([0.0, 2.0] * 3, [0.3, -0.3, 0.3, -0.3])
    reach = 1.96 * 0.5 * hypot(sqrt(6 / 5), 0.3 / sqrt(4)) * sqrt(6)
    doubt = 0.5 + 1.96 * 0.41 * 0.5 * sqrt(2)
    assert low == pytest.approx((3.0 - reach) / (2.5 + doubt))
    assert high == pytest.approx((3.0 + reach) / (2.5 - doubt))
    assert moving([0.0, 20.0, 0.0])[1] == 0.0, "never below nothing"


def test_a_single_short_move_lasted_at_least_a_quarter_of_what_it_seems() -> None:
    # 0.5 s and half an update: 0.75 s, of which 0.652 s are in doubt.
    mean, _, high = moving([1.0] * 3, lasts=0.5, n=1)
    assert mean == pytest.approx(1.5 / 0.75)
    assert high == pytest.approx(1.5 / (0.25 * 0.75))


@pytest.mark.parametrize(
    ("above", "still", "lasts", "told"),
    [
        (3, 3, 1.0, True),
        (2, 3, 1.0, False),
        (3, 2, 1.0, False),
        (3, 3, 0.4996, True),  # an update, but for rounding
        (3, 3, 0.499, False),
    ],
)
def test_moves_too_short_to_time(above, still, lasts, told) -> None:
    found = moving([1.0] * above, [0.0] * still, lasts=lasts)
    assert (found != (None, None, None)) is told


def test_current_of_a_place_moving_and_held() -> None:
    """Moves of 1 s at 10 and 15 s, 1 A above a rest of 0.25 A; 0.5 A held between them."""
    r = bursts((10.0, 11.0, 1.25), (11.5, 14.5, 0.75), (15.0, 16.0, 1.25))
    one = run(move(10.0, 11.0), move(15.0, 16.0))
    found = cc.measure_run(one, "tail", r, [one])
    # From one update before to one after each move: 3 readings at 1 A, 0.5 A held at one of the
    # neighbours (11.5 s is past the end, 9.5 s at rest; 14.5 s is held).
    assert found.moving_a == pytest.approx(0.5 * (3 * 1.0 + 3 * 1.0 + 0.5) / 2.5)
    assert found.resting_a == pytest.approx(0.5)  # 12 to 14 s: five readings
    assert (found.moves, found.basis, found.place) == (2, "control check", "tail")
    assert found.moving_low_a < found.moving_a < found.moving_high_a
    assert (found.separable, found.outputs, found.drives) == (False, (), None)


@pytest.mark.parametrize(
    ("second_s", "resting_a"),
    [
        (12.0, None),  # nothing lies between 11.5 and 11.5 s
        (13.5, None),  # 12 and 12.5 s: two readings
        (14.0, 0.5),  # 12, 12.5 and 13 s
    ],
)
def test_three_readings_between_moves_tell_what_is_held(second_s, resting_a) -> None:
    r = bursts((10.0, 11.0, 1.25), (11.5, second_s - 0.5, 0.75), (second_s, second_s + 1, 1.25))
    one = run(move(10.0, 11.0), move(second_s, second_s + 1.0))
    assert cc.measure_run(one, "tail", r, [one]).resting_a == resting_a


def test_a_pause_below_rest_holds_nothing() -> None:
    r = bursts((10.0, 11.0, 1.25), (11.5, 14.5, 0.1), (15.0, 16.0, 1.25))
    one = run(move(10.0, 11.0), move(15.0, 16.0))
    assert cc.measure_run(one, "tail", r, [one]).resting_a == 0.0


def test_rest_is_taken_eight_seconds_about_a_run_without_the_other_controls() -> None:
    """Far away it rests at 5 A; the other control is moved for all of the time but 3 readings."""
    r = bursts((0.0, 1.0, 5.0), (24.5, 39.5, 5.0), (10.0, 11.0, 1.25), (13.0, 14.0, 1.25))
    one = run(move(10.0, 11.0), move(13.0, 14.0))
    # 9.5 - 8 = 1.5 s to 14.5 + 8 = 22.5 s.
    assert cc.measure_run(one, "tail", r, [one]).moving_a == pytest.approx(0.5 * 6 / 3.0 * 1.2)
    r = bursts((1.5, 9.0, 3.0), (10.0, 11.0, 1.25), (13.0, 14.0, 1.25), (16.0, 22.0, 3.0))
    other = run(move(2.0, 9.0), move(16.5, 22.0))
    assert cc.measure_run(one, "tail", r, [one, other]).moving_a == pytest.approx(1.2)


def test_readings_of_rest_are_those_an_update_off_every_move(monkeypatch) -> None:
    seen = []
    monkeypatch.setattr(cc, "moving_current", lambda *given: seen.append(given) or (0, 0, 0))
    one, other = run(move(10.0, 11.0), move(13.0, 14.0)), run(move(16.0, 17.0), move(19.0, 20.0))
    r = bursts()
    r.v[:] = r.t
    cc.measure_run(one, "tail", r, [other, one])
    (_, above, still, step) = seen[0]
    off = [(1.5, 9.5), (11.5, 12.5), (14.5, 15.5), (17.5, 18.5), (20.5, 22.5)]
    assert still.tolist() == [x for x in r.t if any(a <= x < b for a, b in off)]
    middle = float(np.median(still))
    on = [x - middle for x in r.t if 9.5 <= x < 11.5 or 12.5 <= x < 14.5]
    assert above.tolist() == on
    assert step == 0.5


def test_the_condition_index_tells_controls_moved_at_once_from_others() -> None:
    near = reading(np.zeros(8))
    # Moves of 0 to 1 s and of 4 to 5 s, widened by 1 s: readings 0 to 1 and 3 to 5 of eight.
    one, other = run(move(0.0, 1.0)), run(move(4.0, 5.0))
    design = np.array([[1] * 8, [1, 1, 0, 0, 0, 0, 0, 0], [0, 0, 0, 1, 1, 1, 0, 0]], float).T
    scaled = design / np.sqrt((design**2).sum(axis=0))
    size = np.linalg.svd(scaled, compute_uv=False)
    assert cc.moves_condition_index(near, [one, other], 1.0) == pytest.approx(size[0] / size[-1])
    assert cc.moves_condition_index(near, [one, one], 1.0) == inf
    assert cc.moves_condition_index(near, [run(move(50.0, 51.0))], 1.0) == pytest.approx(1.0)


# All of it: the tail moves at 20 and 22 s, the left wing at 28 and 30 s


def series(n: int = 80, **at: tuple[tuple[float, float], ...]):
    out = {}
    for place, spans in at.items():
        r = bursts(*((a, b, 1.25) for a, b in spans), n=n)
        out[place.replace("_", " "), I] = (r.t, r.v)
    return out


TAIL, WING = ((20.0, 21.0), (22.5, 23.5)), ((28.0, 29.5), (30.5, 31.5))
GROUNDED = (phase(GROUND, 0.0, 40.0),)


@pytest.mark.parametrize(
    ("more", "phases", "places"),
    [
        ({}, GROUNDED, ["tail", "left wing"]),
        ({}, (phase(FLIGHT, 0.0, 40.0),), []),
        ({}, (phase(GROUND, 0.0, 20.0), phase(GROUND, 21.0, 40.0)), []),
        # The second stretch has the check: from 20 s on there are 40 readings.
        ({}, (phase(GROUND, 0.0, 19.9), phase(GROUND, 20.0, 40.0)), ["tail", "left wing"]),
        ({}, (phase(GROUND, 0.0, 19.9), phase(GROUND, 20.5, 40.0)), []),
        # A pack or supply is no node, whatever moves there.
        ({"pack_1": TAIL}, GROUNDED, ["tail", "left wing"]),
        # Nor is the bus, which shows the sum.
        ({"bus": (*TAIL, *WING)}, GROUNDED, ["tail", "left wing"]),
    ],
)
def test_a_check_from_readings(more, phases, places, make_readings) -> None:
    readings = make_readings(series(tail=TAIL, left_wing=WING, **more), update_s=0.5)
    craft = CRAFT.model_copy(update={"servos": SERVOS})
    found = check_shares(readings, craft, phases)
    assert [s.place for s in found] == places
    assert [s.drives for s in found] == (["smoke pump", "aileron"] if places else [])
    if phases == GROUNDED:
        # Of its own moves alone: 8 of the 41 readings from 11.5 s to before 32 s.
        c = sqrt(8 / 41)
        assert found[0].condition_index == pytest.approx(sqrt((1 + c) / (1 - c)))


def test_the_main_units_own_servos_show_in_the_whole_alone(make_readings) -> None:
    third = ((14.0, 15.0), (16.5, 17.5))
    made = series(tail=TAIL, left_wing=WING, bus=(*third, *TAIL, *WING))
    craft = CRAFT.model_copy(update={"servos": SERVOS})
    found = check_shares(make_readings(made, update_s=0.5), craft, GROUNDED)
    assert [(s.place, s.drives) for s in found] == [
        ("bus", "throttle"),
        ("tail", "smoke pump"),
        ("left wing", "aileron"),
    ]
    short = {k: (t[:39], v[:39]) if k[0] == "bus" else (t, v) for k, (t, v) in made.items()}
    found = check_shares(make_readings(short, update_s=0.5), craft, GROUNDED)
    assert [s.place for s in found] == ["tail", "left wing"]


def test_a_move_so_near_after_another_is_the_same(make_readings) -> None:
    # The move ends at 11.1 s: up to 12.6 s the whole may still show it.
    assert cc.with_moves_of_whole([move(10.0, 11.1)], bursts((12.5, 13.0, 2.0)), "bus") == [
        move(10.0, 11.1)
    ]


@pytest.mark.parametrize(
    ("servos", "outputs", "separable"),
    [
        # The tip is not logged: its servo shows in the current of the wing that feeds it.
        ([("left tip", 7)], ("7",), True),
        ([("left wing", 3), ("left tip", 7)], ("3", "7"), False),
        ([("left wing", 3)], ("3",), True),
    ],
)
def test_a_servo_at_a_node_that_is_not_logged_is_part_of_what_feeds_it(
    servos, outputs, separable, make_readings
) -> None:
    fitted = tuple(Servo(node=n, output=k, drives="aileron") for n, k in servos)
    craft = CRAFT.model_copy(update={"servos": fitted})
    readings = make_readings(series(tail=TAIL, left_wing=WING), update_s=0.5)
    wing = check_shares(readings, craft, GROUNDED)[1]
    assert (wing.place, wing.drives) == ("left wing", "aileron")
    assert (wing.outputs, wing.separable) == (outputs, separable)


def test_a_node_that_only_feeds_the_one_that_moved_gets_no_servo(make_readings) -> None:
    made = series(tail=TAIL, left_wing=WING, left_tip=WING)
    craft = CRAFT.model_copy(update={"servos": SERVOS})
    found = check_shares(make_readings(made, update_s=0.5), craft, GROUNDED)
    assert [(s.place, s.drives, s.outputs, s.separable) for s in found] == [
        ("tail", "smoke pump", ("1",), True),
        ("left tip", "aileron", ("1",), True),
    ]
