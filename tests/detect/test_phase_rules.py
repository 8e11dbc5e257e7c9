"""The single rules by which a recording falls into parts and phases; values worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits, Pack
from telemetry.detect.activity import GRID_S
from telemetry.detect.phases import (
    airborne_spans,
    fill_phases,
    find_parts,
    flight_parts,
    flight_spans,
    parting_instant,
    phase_at,
    session_spans,
    spans_of,
    touching_spans,
)
from telemetry.model.channels import Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import Phase, PhaseKind, Span
from tests.detect.conftest import active, steps

LIMITS = Limits()
GROUND, STIR, FLIGHT = PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.FLIGHT
CHECK = PhaseKind.REDUNDANCY_CHECK


# --- recordings and sessions

HOURS_6 = 6 * 3600.0


@pytest.mark.parametrize(
    ("pause_s", "more_s", "parted"), [(HOURS_6, 0.0, False), (HOURS_6, 0.5, True)]
)
def test_after_six_hours_another_session_begins(pause_s, more_s, parted, make_readings) -> None:
    """The last row before the pause belongs to what was."""
    gap = Span(start_s=100.0, end_s=100.0 + pause_s + more_s)
    readings = make_readings(end_s=gap.end_s + 50.0, gaps=(gap,), row_s=0.5)
    whole = [(0.0, gap.end_s + 50.0)]
    found = session_spans(readings, 0.0, readings.end_s)
    assert found == ([(0.0, 100.5), (gap.end_s, gap.end_s + 50.0)] if parted else whole)


@pytest.mark.parametrize(
    ("start_s", "stop_s", "sessions"),
    [(100.0, 40000.0, 2), (100.5, 40000.0, 1), (0.0, 30000.0, 1), (0.0, 30000.5, 2)],
)
def test_a_pause_lies_within_its_recording(start_s, stop_s, sessions, make_readings) -> None:
    readings = make_readings(end_s=stop_s, gaps=(Span(start_s=100.0, end_s=30000.0),))
    assert len(session_spans(readings, start_s, stop_s)) == sessions


@pytest.mark.parametrize(
    ("recordings", "parts"),
    [
        (((0.0, 40.0), (60.0, 99.0)), [(0.0, 60.0), (60.0, 100.0)]),
        (((0.0, 40.0), (60.0, 60.0)), [(0.0, 100.0)]),
        ((), [(0.0, 100.0)]),
    ],
    ids=["up to the next", "of one row is none", "none told"],
)
def test_each_recording_of_a_file_is_a_part(recordings, parts, make_readings) -> None:
    log = Log(
        frame=None,  # type: ignore[arg-type]
        channels=(),
        provenance=Provenance(file="x", sha256="", size_bytes=0, rows=0, recordings=recordings),
    )
    found = find_parts(log, make_readings(end_s=100.0), Aircraft(), LIMITS)
    assert [(p.start_s, p.end_s) for p in found] == parts
    assert {p.kind for p in found} == {"bench"}
    assert all([x.kind for x in p.phases] == [GROUND] for p in found)


# --- in the air


def height(make_reading, v, quantity=Quantity.ALTITUDE, place=None, every_s=1.0, **more):
    v = np.asarray(v, dtype=float)
    return make_reading(place, quantity, every_s * np.arange(v.size), v, update_s=every_s, **more)


@pytest.fixture
def airborne(make_readings):
    return lambda *rows: airborne_spans(make_readings(*rows, end_s=500.0), LIMITS)


@pytest.mark.parametrize(
    ("quantity", "over", "flies"),
    [(Quantity.ALTITUDE, 8.0, False), (Quantity.ALTITUDE, 8.5, True),
     (Quantity.SPEED, 9.0, False), (Quantity.SPEED, 9.5, True)],
)  # fmt: skip
def test_over_8_m_or_9_m_a_second_is_in_the_air(
    quantity, over, flies, airborne, make_reading
) -> None:
    v = steps((30, 0), (40, over), (30, 0), every_s=1.0)
    found = airborne(height(make_reading, v, quantity))
    assert found == ([(30.0, 70.0)] if flies else None)
    assert airborne(height(make_reading, v, quantity, place="wind")) is None


@pytest.mark.parametrize(
    ("start", "end", "ground"),
    [(5.0, 2.0, 2.0), (2.0, 5.0, 2.0)],
    ids=["ends lower", "begins lower"],
)
def test_the_ground_is_the_lower_of_both_ends(start, end, ground, airborne, make_reading) -> None:
    for over, flies in ((7.9, False), (8.1, True)):
        v = steps((30, start), (40, ground + over), (30, end), every_s=1.0)
        assert (airborne(height(make_reading, v)) is not None) is flies


@pytest.mark.parametrize(
    ("size", "low", "high", "flies"),
    [
        (100, 3, 12.0, True),
        (100, 2, 12.0, False),
        (100, 2, 20.0, False),
        (500, 6, 12.0, True),
        (500, 5, 12.0, False),
    ],
    ids=["3 of 5", "2 of 5", "2 of 5, far below", "6 of 10", "5 of 10"],
)
def test_the_level_of_an_end_is_the_median_of_five_or_a_fiftieth(
    size, low, high, flies, airborne, make_reading
) -> None:
    """Both ends have so many readings at 0 m, the rest flies; half of them make half its height."""
    v = np.full(size, high)
    v[:low], v[size - low :] = 0.0, 0.0
    assert (airborne(height(make_reading, v)) is not None) is flies


def test_the_speed_over_ground_is_that_over_its_lowest_2_percent(airborne, make_reading) -> None:
    """2 % of 101 readings: the third lowest. A speed below nothing is none."""
    v = np.full(101, 12.0)
    for slow, flies in (((0.0, 0.0, 2.5), True), ((0.0, 0.0, 3.5), False), ((-9.0,) * 3, True)):
        v[50:53] = slow
        assert (airborne(height(make_reading, v, Quantity.SPEED)) is not None) is flies
    v = np.full(101, 8.0)
    v[:60] = -3.0
    assert airborne(height(make_reading, v, Quantity.SPEED)) is None


def test_an_hour_on_the_ground_does_not_hide_a_flight(airborne, make_reading) -> None:
    for seconds, told in ((20, True), (19, False)):
        v = steps((900, 0), (seconds, 20), (100 - seconds, 0), every_s=1.0)
        assert (airborne(height(make_reading, v)) is not None) is told


@pytest.mark.parametrize(("seconds", "flies"), [(15, True), (14, False)])
def test_a_hop_lasts_15_s(seconds, flies, airborne, make_reading) -> None:
    v = steps((30, 0), (seconds, 20), (30, 0), every_s=1.0)
    assert (airborne(height(make_reading, v)) is not None) is flies


@pytest.mark.parametrize(("pause_s", "flights"), [(19, 1), (20, 2)])
def test_a_pause_of_20_s_is_a_landing(pause_s, flights, airborne, make_reading) -> None:
    v = steps((30, 0), (30, 20), (pause_s, 0), (30, 20), (30, 0), every_s=1.0)
    assert len(airborne(height(make_reading, v))) == flights


@pytest.mark.parametrize(("size", "told"), [(10, True), (9, False)])
def test_ten_readings_of_height_are_needed(size, told, airborne, make_reading) -> None:
    v = np.zeros(size)
    v[3:6] = 20.0
    found = airborne(height(make_reading, v, every_s=10.0))
    assert (found is not None) is told


def test_height_and_speed_tell_together(airborne, make_reading) -> None:
    high = height(make_reading, steps((60, 0), (40, 20), (100, 0), every_s=1.0))
    fast = height(make_reading, steps((30, 0), (30, 20), (140, 0), every_s=1.0), Quantity.SPEED)
    flat = height(make_reading, np.zeros(100), Quantity.SPEED)
    assert airborne(high, fast) == [(30.0, 100.0)]
    assert airborne(high, flat) == airborne(high) == [(60.0, 100.0)]
    assert airborne(fast) == [(30.0, 60.0)]
    assert airborne(flat) is airborne() is None


# --- flights by activity


def flights(readings, mean, *, at_rest=True, scatter=None):
    activity = active(mean, at_rest=at_rest, scatter=0 * mean if scatter is None else scatter)
    return flight_spans(readings, activity, LIMITS)


@pytest.mark.parametrize(("seconds", "flies"), [(90.0, True), (89.75, False)])
def test_a_flight_by_activity_lasts_90_s(seconds, flies, make_readings) -> None:
    mean = steps((60, 0), (seconds, 3), (60, 0))
    found = flights(make_readings(end_s=300.0), mean)
    assert found == ([(60.0, 60.0 + seconds)] if flies else [])


@pytest.mark.parametrize(
    ("ground_s", "at_rest", "cut"),
    [(29.75, False, True), (30.0, False, False), (29.75, True, False)],
    ids=["under 30 s", "30 s", "there is rest"],
)
def test_a_log_without_rest_that_is_lively_near_an_end_was_cut(
    ground_s, at_rest, cut, make_readings
) -> None:
    n = ground_s
    mean = steps((n, 0), (120, 3), (n, 0))
    readings = make_readings(start_s=0.0, end_s=2 * n + 120)
    found = flights(readings, mean, at_rest=at_rest)
    assert found == [(0.0, 2 * n + 120) if cut else (n, n + 120)]
    late = replace(readings, start_s=-1.0, end_s=2 * n + 121)
    assert flights(late, mean, at_rest=at_rest) == [(n, n + 120)]


def test_a_log_without_rest_or_flight_is_no_flight(make_readings) -> None:
    assert flights(make_readings(end_s=20.0), steps((20, 0)), at_rest=False) == []
    assert flight_spans(make_readings(end_s=20.0), None, LIMITS) == []


def throttle(make_reading, *stretches, **more):
    v = steps(*stretches, every_s=0.5)
    t = 0.5 * np.arange(v.size)
    return make_reading("throttle", Quantity.CONTROL, t, v, update_s=0.5, **more)


@pytest.mark.parametrize(
    ("open_to", "open_s", "resolution", "flies"),
    [(26.0, 100.0, 1.0, True), (25.0, 100.0, 1.0, False), (30.0, 10.0, 1.0, True),
     (30.0, 9.0, 1.0, False), (10.0, 100.0, 24.9, False), (10.0, 100.0, 25.0, True),
     (10.0, 100.0, None, False)],
    ids=["over a quarter", "a quarter", "for a climb", "for less",
         "a range over four steps", "four steps", "no step known"],
)  # fmt: skip
def test_the_motor_ran_in_a_flight(open_to, open_s, resolution, flies, make_reading, make_readings):
    """From 60 to 160 s by the current; the throttle goes from -50 to 50, which it holds later."""
    stick = throttle(
        make_reading, (60, 0), (open_s, open_to), (200 - open_s, 0), (20, 100), (20, 0),
        resolution=resolution,
    )  # fmt: skip
    stick.v[:] -= 50.0
    mean = steps((60, 0), (100, 3), (140, 0))
    found = flights(make_readings(stick, end_s=300.0), mean)
    assert found == ([(60.0, 160.0)] if flies else [])


def test_the_range_of_the_throttle_leaves_one_percent_out(make_reading, make_readings) -> None:
    """Of 601 readings six are the 1 % at each end: 0 to 100, and some at -900 and 900."""
    stick = throttle(make_reading, (60, 0), (100, 30), (100, 0), (40.5, 100))
    mean = steps((60, 0), (100, 3), (140, 0))
    for n, flies in ((6, True), (8, False)):
        v = stick.v.copy()
        v[-n:] = 900.0
        found = flights(make_readings(replace(stick, v=v), end_s=301.0), mean)
        assert bool(found) is flies
        v = stick.v.copy()
        v[-n:] = -900.0  # a quarter of 1000 above -900 is below 0: the motor always ran
        v[120:320] = 0.0
        found = flights(make_readings(replace(stick, v=v), end_s=301.0), mean)
        assert bool(found) is not flies


def test_a_throttle_without_readings_says_nothing(make_reading, make_readings) -> None:
    empty = make_reading("throttle", Quantity.CONTROL, (), ())
    mean = steps((60, 0), (100, 3), (140, 0))
    assert flights(make_readings(empty, end_s=300.0), mean) == [(60.0, 160.0)]
    stick = throttle(make_reading, (60, 0), (100, 100), (140, 0))
    assert flights(make_readings(stick, end_s=300.0), 0 * mean) == []


@pytest.mark.parametrize(("pause_s", "flies"), [(19.0, True), (21.0, False)])
def test_a_motor_that_rests_for_under_20_s_ran_on(pause_s, flies, make_reading, make_readings):
    """Twice 0.5 s with a pause, in a flight of which a climb of 10 s is needed."""
    stick = throttle(
        make_reading, (60, 0), (0.5, 100), (pause_s, 0), (0.5, 100), (119 - pause_s, 0), (60, 0)
    )
    # 1 % of 480 readings are five: the range needs a longer opening, after the flight.
    stick.v[-20:-10] = 100.0
    mean = steps((60, 0), (100, 3), (80, 0))
    assert bool(flights(make_readings(stick, end_s=240.0), mean)) is flies


def test_a_glider_flies_on_its_sticks_or_its_throttle_alone(make_reading, make_readings) -> None:
    """300 s without a rise of the current: minutes of moving sticks or of throttle are a flight."""
    calm = 0 * steps((300, 0))
    stick = make_reading(
        "aileron", Quantity.CONTROL, 0.5 * np.arange(600), np.zeros(600), update_s=0.5
    )
    swing = 40.0 * np.sin(0.4 * stick.t) * ((stick.t > 60) & (stick.t < 240))
    found = flights(make_readings(replace(stick, v=swing), end_s=300.0), calm)
    assert [(round(a / 5), round(b / 5)) for a, b in found] == [(12, 48)]
    motor = throttle(make_reading, (60, 0), (130, 100), (110, 0))
    assert flights(make_readings(motor, end_s=300.0), calm) == [(60.0, 190.0)]
    short = throttle(make_reading, (60, 0), (110, 100), (130, 0))
    assert flights(make_readings(short, end_s=300.0), calm) == []


# --- what belongs together


@pytest.mark.parametrize(
    ("stir", "joined"),
    [((40.0, 58.1), True), ((40.0, 58.0), False), ((101.9, 120.0), True), ((102.0, 120.0), False)],
    ids=["under 2 s before", "2 s before", "under 2 s after", "2 s after"],
)
def test_movement_beside_a_flight_belongs_to_it(stir, joined) -> None:
    found, alone = touching_spans([(60.0, 100.0)], [stir])
    grown = (min(60.0, stir[0]), max(100.0, stir[1]))
    assert (found, alone) == (([grown], []) if joined else ([(60.0, 100.0)], [stir]))


def test_movement_between_two_flights_belongs_to_the_first() -> None:
    found, alone = touching_spans([(0.0, 50.0), (60.0, 100.0)], [(51.0, 59.0)])
    assert (found, alone) == ([(0.0, 59.0), (60.0, 100.0)], [])
    assert touching_spans([(0.0, 50.0), (60.0, 100.0)], [(70.0, 80.0)])[0][1] == (60.0, 100.0)


def parting(mean, stirs=(), landed=10.0, off=90.0, **more):
    activity = None if mean is None else active(mean, **more)
    return parting_instant(activity, landed, off, list(stirs))


def test_the_ground_is_parted_in_the_middle_of_its_longest_quiet_stretch() -> None:
    assert parting(None) == 50.0
    assert parting(None, [(40.0, 60.0)]) == 25.0, "the first of two alike"
    assert parting(None, [(40.0, 50.0)]) == 70.0
    assert parting(None, [(5.0, 10.0), (90.0, 95.0)]) == 50.0
    assert parting(None, [(5.0, 20.0), (80.0, 95.0)]) == 50.0
    assert parting(None, [(5.0, 40.0)]) == 65.0
    assert parting(None, [(60.0, 95.0)]) == 35.0
    assert parting(None, [(5.0, 95.0)]) == 50.0, "nothing is quiet"
    assert parting(None, [(5.0, 95.0)], landed=20.0) == 55.0


@pytest.mark.parametrize(("rise", "at"), [(0.26, 25.0), (0.25, 50.0)])
def test_a_quarter_of_an_ampere_over_rest_is_not_quiet(rise: float, at: float) -> None:
    mean = 1.0 + steps((10, 3), (30, 0), (20, rise), (30, 0), (10, 3))
    assert parting(mean, rest_a=1.0) == at


@pytest.mark.parametrize(("pause_s", "at"), [(0.25, 50.0), (0.5, 50.25)])
def test_a_moment_of_quiet_parts_nothing(pause_s: float, at: float) -> None:
    """From 10 to 90 s there is noise, but for a moment from 50 s on."""
    assert parting(steps((10, 0), (40, 3), (pause_s, 0), (40 - pause_s, 3), (10, 0))) == at


def test_the_landing_and_the_take_off_are_the_bounds() -> None:
    """Noise at the instant of landing counts; at that of take-off it does not."""
    mean = steps((100, 0))
    mean[40] = 3.0
    assert parting(mean) == pytest.approx(0.5 * (10.25 + 90.0))
    mean[40], mean[360] = 0.0, 3.0
    assert parting(mean) == 50.0


def marks(*rows):
    return [((a, b), kind) for kind, a, b in rows]


def filled(*rows, start=0.0, end=100.0):
    return [(p.kind, p.start_s, p.end_s) for p in fill_phases(marks(*rows), start, end)]


def test_phases_fill_a_part_without_holes() -> None:
    assert filled((FLIGHT, 40.0, 80.0), (STIR, 10.0, 20.0)) == [
        (GROUND, 0.0, 10.0), (STIR, 10.0, 20.0), (GROUND, 20.0, 40.0), (FLIGHT, 40.0, 80.0),
        (GROUND, 80.0, 100.0),
    ]  # fmt: skip
    assert filled() == [(GROUND, 0.0, 100.0)]
    assert filled((FLIGHT, 0.0, 100.0)) == [(FLIGHT, 0.0, 100.0)]


def test_phases_are_cut_at_the_ends_of_a_part() -> None:
    rows = (STIR, -9.0, 0.0), (STIR, -5.0, 5.0), (FLIGHT, 90.0, 120.0), (CHECK, 100.0, 110.0)
    assert filled(*rows) == [(STIR, 0.0, 5.0), (GROUND, 5.0, 90.0), (FLIGHT, 90.0, 100.0)]


def test_of_phases_that_overlap_the_first_goes_on() -> None:
    assert filled((STIR, 10.0, 30.0), (FLIGHT, 20.0, 100.0)) == [
        (GROUND, 0.0, 10.0), (STIR, 10.0, 30.0), (FLIGHT, 30.0, 100.0),
    ]  # fmt: skip
    assert filled((STIR, 10.0, 100.0), (CHECK, 20.0, 100.0), (CHECK, 20.0, 30.0)) == [
        (GROUND, 0.0, 10.0), (STIR, 10.0, 100.0),
    ]  # fmt: skip


def test_phase_at_and_spans_of() -> None:
    phases = fill_phases(marks((STIR, 10.0, 20.0), (FLIGHT, 40.0, 80.0)), 0.0, 80.0)
    assert [phase_at(phases, t) for t in (9.9, 10.0, 20.0, 40.0, 80.0)] == [
        GROUND, STIR, GROUND, FLIGHT, FLIGHT,
    ]  # fmt: skip
    assert spans_of(phases, STIR, FLIGHT) == [(10.0, 20.0), (40.0, 80.0)]
    assert phase_at((), 1.0) is GROUND
    two = (Phase(kind=STIR, start_s=0.0, end_s=1.0), Phase(kind=GROUND, start_s=1.0, end_s=2.0))
    assert phase_at(two, 5.0) is GROUND


def test_a_part_of_a_recording(make_reading, make_readings) -> None:
    """Two flights by height, a stir before them; parted in the middle of the ground between."""
    v = steps((60, 0), (60, 20), (40, 0), (60, 20), (60, 0), every_s=1.0)
    amps = steps((20, 0.3), (10, 4), (250, 0.3))
    readings = make_readings(
        height(make_reading, v),
        make_reading("bus", Quantity.CURRENT, GRID_S * np.arange(amps.size), amps),
        end_s=280.0,
    )
    one, two = flight_parts(readings, Aircraft(bus="bus"), LIMITS)
    assert (one.kind, one.start_s, one.end_s, two.start_s, two.end_s) == (
        "flight", 0.0, 140.0, 140.0, 280.0,
    )  # fmt: skip
    assert [p.kind for p in one.phases] == [GROUND, STIR, GROUND, FLIGHT, GROUND]
    # At both edges the mean over 1 s is exactly half way.
    assert spans_of(one.phases, STIR) == [(20.0, 30.25)]
    assert spans_of(two.phases, FLIGHT) == [(160.0, 220.0)]


@pytest.mark.parametrize(("off_s", "stirs"), [(24.0, 0), (26.0, 1)], ids=["most of it", "less"])
def test_a_stir_in_a_redundancy_check_is_part_of_it(off_s, stirs, make_reading, make_readings):
    """The sticks go round from 20 to 30.25 s; pack 1 is off from 24 or 26 s until 40 s."""
    t = GRID_S * np.arange(400)
    turn = np.where((t >= 20) & (t < 30), 50.0 * np.sin(np.pi * t), 0.0).round(3)
    turn[-2:] = -50.0, 50.0
    sticks = [make_reading(n, Quantity.CONTROL, t, turn) for n in ("aileron", "elevator")]
    volts = [
        make_reading("pack 1", Quantity.VOLTAGE, t, np.where((t >= off_s) & (t < 40), 0.0, 8.0)),
        make_reading("pack 2", Quantity.VOLTAGE, t, 8.0),
    ]
    craft = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))
    (part,) = flight_parts(make_readings(*sticks, *volts, end_s=100.0), craft, LIMITS)
    assert len(spans_of(part.phases, STIR)) == stirs
    assert spans_of(part.phases, CHECK) == [(max(off_s, 30.25 * stirs), 40.0)]
    assert part.kind == "bench"
