"""Activity of the current worked out by hand: windows, rest, what stands in, flying, plateaus."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits
from telemetry.detect.activity import (
    GRID_S,
    flying_ends,
    flying_spans,
    grid_spans,
    lasting_rise,
    measure_activity,
    plateaus,
    stick_rate,
    whole_drawn,
    windowed,
)
from telemetry.model.channels import Quantity
from tests.detect.conftest import active, steps

CRAFT = Aircraft(bus="bus")
LIMITS = Limits()
NAN = float("nan")


def swinging(*stretches: tuple[float, float, float]) -> np.ndarray:
    """Seconds, level and swing to both sides: over an even window the deviation is the swing."""
    level = steps(*((seconds, v) for seconds, v, _ in stretches))
    swing = steps(*((seconds, a) for seconds, _, a in stretches))
    return level + swing * (1.0 - 2.0 * (np.arange(level.size) % 2))


# --- windows


def test_a_part_of_the_grid_holds_its_start_and_not_its_end() -> None:
    assert active(np.zeros(9)).between(0.5, 1.0) == slice(2, 4)


def test_a_window_passes_over_what_is_not_known() -> None:
    mean, deviation = windowed(np.array([1.0, 2.0, 3.0, 4.0, NAN]), 3)
    assert mean == pytest.approx([1.5, 2.0, 3.0, 3.5, NAN], nan_ok=True)
    # (1, 2): 0.5; (1, 2, 3): sqrt(2/3); (3, 4): 0.5; one of three known: none.
    assert deviation == pytest.approx([0.5, (2 / 3) ** 0.5, (2 / 3) ** 0.5, 0.5, NAN], nan_ok=True)


def test_half_a_window_is_enough() -> None:
    mean, deviation = windowed(np.array([1.0, NAN, 5.0]), 2)
    assert mean.tolist() == [1.0, 1.0, 5.0]
    assert deviation.tolist() == [0.0, 0.0, 0.0]


def test_a_window_is_no_longer_than_the_series() -> None:
    mean, _ = windowed(np.array([1.0, 3.0]), 10)
    assert mean.tolist() == [1.0, 2.0]


def test_a_steady_current_has_no_deviation() -> None:
    _, deviation = windowed(np.full(9, 0.1), 3)
    assert deviation == pytest.approx(np.zeros(9), abs=1e-7)


def test_the_last_sample_of_the_grid_counts_for_two_steps() -> None:
    t = GRID_S * np.arange(8)
    assert grid_spans(t, np.array([0, 1, 1, 0, 0, 0, 1, 1], bool)) == [(0.25, 0.75), (1.5, 2.25)]


# --- level and scatter of the whole


@pytest.fixture
def measured(make_reading, make_readings):
    def measure(v, t=None, *, end_s=None, start_s=0.0, update_s=0.25, limits=LIMITS):
        v = np.asarray(v, dtype=float)
        t = start_s + GRID_S * np.arange(v.size) if t is None else t
        r = make_reading("bus", Quantity.CURRENT, t, v, update_s=update_s)
        end = start_s + GRID_S * v.size if end_s is None else end_s
        return measure_activity(make_readings(r, start_s=start_s, end_s=end), CRAFT, limits)

    return measure


@pytest.mark.parametrize(("seconds", "known"), [(2.0, True), (1.9, False)])
def test_two_seconds_are_the_least(seconds: float, known: bool, measured) -> None:
    found = measured(np.ones(8), start_s=10.0, end_s=10.0 + seconds)
    assert (found is not None) is known


@pytest.mark.parametrize(("begins_s", "known"), [(2.0, True), (2.2, False)])
def test_eight_instants_with_a_current_are_the_least(begins_s, known, measured) -> None:
    t = begins_s + GRID_S * np.arange(8)
    found = measured(np.ones(8), t, end_s=4.0)
    assert (found is not None) is known


def test_single_readings_far_apart_tell_no_level(measured) -> None:
    """Each counts for a second: five instants of the twelve in 3 s."""
    assert measured([1.0, 1.0], np.array([10.0, 30.0]), end_s=40.0) is None


@pytest.mark.parametrize(("update_s", "until_s"), [(1.0, 8.0), (0.1, 6.0)])
def test_a_reading_counts_for_three_intervals_and_a_second_at_least(
    update_s: float, until_s: float, measured
) -> None:
    found = measured(np.ones(21), end_s=20.0, update_s=update_s)
    assert found.t[found.known][-1] == until_s


def test_a_step_through_windows_of_2_and_1_s(measured) -> None:
    found = measured(steps((10, 0), (10, 8)))
    # Eight instants: from 4 before to 3 after; four: from 2 before to 1 after.
    assert found.mean[35:46] == pytest.approx([0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 8])
    assert found.fast[35:46] == pytest.approx([0, 0, 0, 0, 2, 4, 6, 8, 8, 8, 8])
    assert found.scatter[40] == pytest.approx(4.0)
    assert (found.window_s, found.rest_a, found.rest_sigma) == (2.0, 0.0, 0.0)


def test_slow_telemetry_has_longer_windows(measured) -> None:
    found = measured(steps((10, 0), (10, 8)), update_s=2.0)
    assert found.window_s == 6.0
    assert found.mean[40] == 4.0
    assert found.mean[27:30] == pytest.approx([0, 0, 8 / 24])  # 24 instants: from 12 before
    assert found.fast[35:38] == pytest.approx([0, 0, 1])  # 8 instants
    assert measured(steps((10, 0), (10, 8)), update_s=0.7).window_s == pytest.approx(2.1)


def test_rest_is_the_five_percent_quantile_of_means_over_3_s(measured) -> None:
    """A ramp of 0.025 A an instant. Means over 12 instants: 0.025 (k - 0.5) from k = 6 on.

    Of 160 the 5 % quantile lies at 7.95: 0.025 x (7.95 - 0.5).
    """
    assert measured(0.025 * np.arange(160)).rest_a == pytest.approx(0.025 * 7.45)


@pytest.mark.parametrize(
    ("rest", "beside", "sigma"),
    [(1.0, 1.09, 0.09), (1.0, 1.11, 0.02), (0.2, 0.24, 0.09), (0.2, 0.26, 0.02),
     (5.0, 5.5, 0.0625)],
    ids=["10 % over", "more", "0.05 A over", "more than that", "exactly 10 %"],
)  # fmt: skip
def test_the_scatter_at_rest_is_that_near_its_level(rest, beside, sigma, measured) -> None:
    """A quarter of the time at rest, the others beside it with more swing: the median tells."""
    quiet = 0.03125 if sigma == 0.0625 else 0.02
    swing = 0.0625 if sigma == 0.0625 else 0.09
    found = measured(swinging((10, rest, quiet), (30, beside, swing)))
    assert found.rest_a == pytest.approx(rest, abs=0.01)
    assert found.rest_sigma == pytest.approx(sigma, rel=0.02)


@pytest.mark.parametrize(
    ("rest", "swing", "at_rest"),
    [(0.5, 0.118, True), (0.5, 0.122, False), (2.0, 0.238, True), (2.0, 0.242, False),
     (-2.0, 0.238, True)],
)  # fmt: skip
def test_rest_scatters_by_0_12_a_or_12_percent_at_the_most(rest, swing, at_rest, measured) -> None:
    assert measured(swinging((30, rest, swing))).at_rest is at_rest


@pytest.mark.parametrize(
    ("swing", "late", "lasts"),
    [(0.0, 0.048, True), (0.0, 0.052, False), (0.03, 0.088, True), (0.03, 0.092, False)],
    ids=["within 0.05 A", "beyond", "within thrice the usual", "beyond that"],
)
def test_what_raises_the_rest_for_good_is_taken_off(swing, late, lasts, measured) -> None:
    """Rest at 0.5 A, then flying, then rest at 1.5 A with some swing: 1.0 A more if it is still."""
    found = measured(swinging((10, 0.5, swing), (20, 4.0, 4.0), (10, 1.5, late)))
    inside = slice(34 * 4, 38 * 4)
    assert found.mean[inside] == pytest.approx(0.5 if lasts else 1.5, abs=0.02)
    assert found.fast[inside] == pytest.approx(0.5 if lasts else 1.5, abs=0.02)
    assert found.mean[16] == pytest.approx(0.5, abs=0.02)


def test_a_hole_in_the_current_is_not_known(measured) -> None:
    t = np.r_[np.arange(0, 10, 0.25), np.arange(20, 30, 0.25)]
    found = measured(np.ones(t.size), t, end_s=30.0)
    assert np.isnan(found.mean[60])
    assert not found.known[60]
    assert found.rest_a == 1.0


# --- a level of rest that rises


def still_from(*parts: tuple[int, float, bool]) -> tuple[np.ndarray, ...]:
    """Grid, rise and stillness of parts: number of instants, rise, whether still."""
    rise = np.concatenate([np.full(n, v) for n, v, _ in parts])
    still = np.concatenate([np.full(n, s) for n, _, s in parts])
    return GRID_S * np.arange(rise.size), rise, still


def test_a_higher_rest_lasts_from_the_last_lower_one_on() -> None:
    lasting = lasting_rise(*still_from((20, 0.0, True), (60, 4.0, False), (20, 1.0, True)))
    assert lasting.tolist() == [0.0] * 20 + [1.0] * 80
    back = lasting_rise(*still_from((20, 1.0, True), (60, 4.0, False), (20, 0.0, True)))
    assert back.tolist() == [1.0] * 80 + [0.0] * 20


def test_rest_that_was_never_lower_lasts_all_the_time() -> None:
    lasting = lasting_rise(*still_from((60, 4.0, False), (20, 1.0, True)))
    assert lasting.tolist() == [1.0] * 80


def test_without_a_still_stretch_nothing_lasts() -> None:
    assert lasting_rise(*still_from((40, 4.0, False))).tolist() == [0.0] * 40


@pytest.mark.parametrize(("instants", "lasts"), [(12, True), (11, False)])
def test_a_level_of_rest_is_kept_for_6_s(instants: int, lasts: bool) -> None:
    """Of 3 s means a stretch of 6 s leaves 3 s still: twelve instants."""
    lasting = lasting_rise(*still_from((40, 4.0, False), (instants, 1.0, True), (9, 4.0, False)))
    assert lasting.any() == lasts


@pytest.mark.parametrize(("rise", "lasts"), [(2.0, True), (2.01, False)])
def test_rest_lies_no_more_than_half_way_to_flying(rise: float, lasts: bool) -> None:
    """85 % of the instants lie at or below 4 A; flying takes 55 % of the time."""
    parts = (18, 0.0, True), (44, 4.0, False), (18, rise, True)
    lasting = lasting_rise(*still_from(*parts))
    assert lasting[-1] == (rise if lasts else 0.0)
    assert lasting[0] == 0.0


def test_flying_is_where_85_percent_lie() -> None:
    """At 40 % flying 55 % would lie at rest; the half of 4 A is 2 A."""
    parts = (60, 0.0, True), (50, 4.0, False), (15, 2.0, True)
    assert lasting_rise(*still_from(*parts))[-1] == 2.0


def test_a_level_below_rest_is_no_rise() -> None:
    lasting = lasting_rise(*still_from((20, -0.3, True), (60, 4.0, False), (20, 1.0, True)))
    assert lasting.tolist() == [0.0] * 20 + [1.0] * 80


def test_the_first_still_instant_counts_and_the_one_after_the_last_does_not() -> None:
    t, rise, still = still_from((60, 4.0, False), (14, 1.0, True), (1, 0.2, False), (9, 4.0, False))
    rise[60] = 0.5
    lasting = lasting_rise(t, rise, still)
    assert lasting.tolist() == [0.5] * 61 + [1.0] * 13 + [0.5] * 10
    rise[60], rise[73] = 1.0, 0.5
    assert lasting_rise(t, rise, still).tolist() == [0.5] * 60 + [1.0] * 13 + [0.5] * 11


# --- what stands in for a current


def volts(make_reading, v, place="bus", **more):
    v = np.asarray(v, dtype=float)
    return make_reading(place, Quantity.VOLTAGE, 0.5 * np.arange(v.size), v, **more)


def test_a_fall_of_the_voltage_stands_in_as_through_a_tenth_of_an_ohm(
    make_reading, make_readings
) -> None:
    """5.00 to 6.00 V in steps of 0.01 V: the 98 % quantile is 5.98 V, 0.98 V above the lowest."""
    r = volts(make_reading, 5.0 + 0.01 * np.arange(101), update_s=0.5)
    t, amps, update_s = whole_drawn(make_readings(r, end_s=51.0), Aircraft())
    assert amps[[0, 98, 100]] == pytest.approx([9.8, 0.0, -0.2])
    assert (t[0], t[-1], update_s) == (0.0, 50.0, 0.5)
    assert whole_drawn(make_readings(replace(r, update_s=None), end_s=51.0), Aircraft())[2] == 0.1
    assert (
        whole_drawn(make_readings(replace(r, resolution=None), end_s=51.0), Aircraft()) is not None
    )


@pytest.mark.parametrize(
    ("resolution", "found"), [(0.2375, True), (0.24125, False)], ids=["0.95 V", "0.965 V"]
)
def test_a_fall_of_over_four_steps_is_needed(resolution, found, make_reading, make_readings):
    """From 2 % to 98 % of 5.00 to 6.00 V are 0.96 V."""
    r = volts(make_reading, 5.0 + 0.01 * np.arange(101), resolution=resolution)
    assert (whole_drawn(make_readings(r, end_s=51.0), Aircraft()) is not None) is found


def test_exactly_four_steps_are_none(make_reading, make_readings) -> None:
    r = volts(make_reading, [5.5, 6.0] * 20, resolution=0.125)
    assert whole_drawn(make_readings(r, end_s=20.0), Aircraft()) is None


@pytest.mark.parametrize(("off", "used"), [(1.0, 40), (1.0625, 41), (0.5, 40)])
def test_a_fifth_of_the_usual_voltage_is_a_supply_switched_off(
    off, used, make_reading, make_readings
) -> None:
    r = volts(make_reading, [off, *([5.0] * 21), *([4.0] * 19)])
    assert whole_drawn(make_readings(r, end_s=21.0), Aircraft())[0].size == used


@pytest.mark.parametrize(
    ("size", "dead", "found"), [(20, 0, True), (19, 0, False), (25, 5, True), (25, 6, False)]
)
def test_twenty_readings_of_a_supply_that_is_on(size, dead, found, make_reading, make_readings):
    r = volts(make_reading, [0.0] * dead + [5.0 + 0.5 * (k % 2) for k in range(size - dead)])
    assert (whole_drawn(make_readings(r, end_s=13.0), Aircraft()) is not None) is found


@pytest.mark.parametrize("falls", [(0.5, 0.3), (0.3, 0.5)])
def test_the_place_that_falls_most_stands_in(falls, make_reading, make_readings) -> None:
    rows = [
        volts(make_reading, [6.0, 6.0 - fall] * 20, place=f"node {k}")
        for k, fall in enumerate(falls)
    ]
    few = volts(make_reading, [6.0, 1.0], place="node 9")
    found = whole_drawn(make_readings(few, *rows, end_s=20.0), Aircraft())
    assert found[1].max() == pytest.approx(5.0)


def test_a_current_or_sticks_come_first(make_reading, make_readings) -> None:
    r = volts(make_reading, [6.0, 5.0] * 20)
    stick = make_reading("aileron", Quantity.CONTROL, np.arange(20.0), np.arange(20.0))
    assert whole_drawn(make_readings(r, stick, end_s=20.0), Aircraft()) is None
    amps = make_reading("bus", Quantity.CURRENT, np.arange(20.0), 3.0, update_s=1.0)
    t, v, update_s = whole_drawn(make_readings(r, stick, amps, end_s=20.0), CRAFT)
    assert (t.size, v[0], update_s) == (20, 3.0, 1.0)


# --- sticks


def test_the_rate_of_the_fastest_stick_in_percent_of_its_travel(make_reading, make_readings):
    """Aileron 200 in 10 s: 10 %/s. Elevator 100 in 5 s, then rest: 20 %/s."""
    t = np.arange(0.0, 10.5, 0.5)
    aileron = make_reading("aileron", Quantity.CONTROL, t, -100 + 20 * t)
    elevator = make_reading("elevator", Quantity.CONTROL, t, np.minimum(20 * t, 100))
    grid, rate = stick_rate(make_readings(aileron, elevator, start_s=1.0, end_s=10.0))
    assert (grid[0], grid[-1], grid.size) == (1.0, 9.75, 36)
    assert rate[[0, 10, 30]] == pytest.approx([20.0, 20.0, 10.0])


@pytest.mark.parametrize(("size", "found"), [(9, False), (10, True)])
def test_a_stick_has_ten_readings_and_moves(size, found, make_reading, make_readings) -> None:
    for v, moves in ((np.arange(float(size)), True), (np.full(size, 3.0), False)):
        r = make_reading("rudder", Quantity.CONTROL, np.arange(float(size)), v)
        assert (stick_rate(make_readings(r, end_s=10.0)) is not None) is (found and moves)


def test_a_stick_travels_nowhere_in_less_than_a_step(make_reading, make_readings) -> None:
    r = make_reading("rudder", Quantity.CONTROL, np.linspace(0.0, 0.1, 12), np.arange(12.0))
    assert stick_rate(make_readings(r, end_s=0.2)) is None


@pytest.mark.parametrize(
    ("percent_a_s", "spans"), [(5.0, []), (5.125, [(10.0, 20.0)])], ids=["5 %/s", "more"]
)
def test_moving_sticks_travel_over_5_percent_a_second(
    percent_a_s, spans, make_reading, make_readings
) -> None:
    at = np.array([0.0, 10.0, 20.0, 29.0, 29.5, 30.0, *np.arange(30.5, 32.5, 0.5)])
    v = np.interp(at, [0, 10, 20, 29, 29.5], [0, 0, 10 * percent_a_s, 10 * percent_a_s, 100])
    r = make_reading("aileron", Quantity.CONTROL, at, v)
    found = flying_spans(make_readings(r, end_s=24.0), None, LIMITS)
    assert [(round(a), round(b)) for a, b in found] == spans


@pytest.mark.parametrize(("pause_s", "spans"), [(19, 1), (22, 2)])
def test_sticks_rest_for_20_s_between_flights(pause_s, spans, make_reading, make_readings) -> None:
    at = np.cumsum([0, 2, 8, pause_s, 8, *([1] * 6)]).astype(float)
    v = [0, 0, 80, 80, 0, *([0] * 6)]
    r = make_reading("aileron", Quantity.CONTROL, at, v)
    assert len(flying_spans(make_readings(r, end_s=float(at[-1])), None, LIMITS)) == spans


def test_without_sticks_or_current_nothing_flies(make_readings) -> None:
    assert flying_spans(make_readings(end_s=100.0), None, LIMITS) == []


# --- flying


def flown(*stretches: tuple[float, float], limits: Limits = LIMITS, **more: object):
    mean = 0.5 + steps(*stretches)
    return flying_spans(None, active(mean, rest_a=0.5, **more), limits)  # type: ignore[arg-type]


def shaken(*stretches: tuple[float, float], limits: Limits = LIMITS, **more: object):
    """Flying by scatter alone, in which no stretch can look like a stir."""
    return flown(
        (sum(s for s, _ in stretches), 0), scatter=steps(*stretches), limits=limits, **more
    )


def test_a_flight_is_read_from_the_activity_itself() -> None:
    assert flown((60, 0), (120, 3), (60, 0)) == [(60.0, 180.0)]
    assert flown((10, NAN), (50, 0), (120, 3), (60, 0)) == [(60.0, 180.0)]


def test_scatter_alone_flies_and_a_level_below_rest_does_not_count() -> None:
    scatter = steps((60, 0), (120, 3), (60, 0))
    assert flown((60, 0), (120, -9), (60, 0), scatter=scatter) == [(60.0, 180.0)]


@pytest.mark.parametrize(
    ("rise", "sigma", "at_rest", "flights"),
    [
        (0.89, 0.0, True, 1),
        (0.91, 0.0, True, 2),
        (1.19, 0.3, True, 1),
        (1.21, 0.3, True, 2),
        (0.91, 0.3, False, 2),
    ],
    ids=["0.3 of flying: under", "over", "4 x the scatter at rest: under", "over",
         "no rest: no scatter of it"],
)  # fmt: skip
def test_what_is_livelier_than_taxiing(rise, sigma, at_rest, flights) -> None:
    """100 s at 3 A of 620 s are a sixth: the level of flying. 70 s at another level elsewhere."""
    found = flown(
        (130, 0), (120, 3), (150, 0), (70, rise), (150, 0),
        rest_sigma=sigma, at_rest=at_rest,
    )  # fmt: skip
    assert len(found) == flights


def test_a_calm_glider_flies() -> None:
    """A twentieth of an ampere over a rest without scatter is a flight, a fortieth is none."""
    assert flown((60, 0), (200, 0.05), (60, 0)) == [(60.0, 260.0)]
    assert flown((60, 0), (200, 0.025), (60, 0)) == []


def test_the_level_of_flying_is_clipped_where_95_percent_lie() -> None:
    """3 A for 180 s and 30 A for 20 s of 500 s: 96 % lie at or below 3 A, and 30 A counts as 3."""
    assert len(shaken((100, 0), (90, 3), (20, 30), (90, 3), (100, 0), (60, 1.2), (40, 0))) == 2


@pytest.mark.parametrize(
    ("pause_s", "late_s", "flights"),
    [(27, 36, 1), (29, 36, 0), (29, 60, 1), (47, 60, 1), (49, 60, 2), (49, 36, 0)],
)
def test_a_pause_within_a_flight(pause_s: float, late_s: float, flights: int) -> None:
    """The average over 20 s stays lively for 4 s beyond each end at 0.3 of the level.

    A pause under 20 s joins whatever is lively: 28 s here. One under 40 s joins halves of at least
    45 s: 48 s here, and halves of 37 s.
    """
    found = shaken((60, 0), (late_s, 3), (pause_s, 0), (late_s, 3), (60, 0))
    assert len(found) == flights


@pytest.mark.parametrize(("pause_s", "flights"), [(96, 1), (100, 2)])
def test_without_any_rest_calm_flying_lasts_90_s(pause_s: float, flights: int) -> None:
    found = flown((10, 0), (120, 3), (pause_s, 0), (120, 3), (10, 0), at_rest=False)
    assert len(found) == flights


@pytest.mark.parametrize(("at_rest", "flights"), [(True, 1), (False, 2)])
def test_a_stir_is_left_out_where_there_is_rest(at_rest: bool, flights: int) -> None:
    stretches = (150, 0), (50, 3), (150, 0), (200, 3), (50, 0)
    assert len(flown(*stretches, at_rest=at_rest)) == flights


@pytest.mark.parametrize(
    ("reach_s", "window_s", "flights"),
    [(2.5, 2.0, 1), (3.5, 2.0, 3), (1.0, 0.5, 1), (2.0, 0.5, 3)],
    ids=["a window and half a second", "beyond", "a short window", "beyond that"],
)
def test_the_edges_of_a_stir_are_left_out_with_it(reach_s, window_s, flights) -> None:
    """Averages over half a second; a stir of 10 s with scatter before and after it."""
    scatter = steps(
        (30 - reach_s, 0), (reach_s, 3), (10, 0), (reach_s, 3), (20 - reach_s, 0), (30, 3), (9, 0)
    )
    found = flown(
        (30, 0), (10, 3), (59, 0), limits=Limits(flight_pause_s=0.5, flight_s=2.0),
        scatter=scatter, window_s=window_s,
    )  # fmt: skip
    assert len(found) == flights


def test_a_stir_left_out_is_rest_and_no_less() -> None:
    """In a pause of 26 s, which joins what is lively."""
    scatter = steps((60, 0), (36, 3), (26, 0), (36, 3), (60, 0))
    assert flown((106, 0), (6, 3), (106, 0), scatter=scatter) == [(60.0, 158.0)]


def test_nothing_known_flies_nowhere() -> None:
    assert flown((60, NAN)) == []
    assert flown((8, NAN), (2, 1.0), (80, NAN)) == []


# --- the ends of a flight


def ends(span, mean, *, moving=(), least=1.0, **more):
    mask = np.zeros(mean.size, bool)
    mask[[round(t / GRID_S) for t in moving]] = True
    return flying_ends(span, active(mean, **more), mask, least)


def test_without_a_movement_the_span_stays() -> None:
    assert ends((20.0, 40.0), steps((60, 0))) == (20.0, 40.0)


@pytest.mark.parametrize(
    ("moving", "found"),
    [((18.0, 30.0), (18.0, 30.25)), ((17.75, 30.0), (30.0, 30.25)),
     ((30.0, 41.75), (30.0, 42.0)), ((30.0, 42.0), (30.0, 30.25))],
    ids=["2 s before", "earlier", "just within 2 s after", "2 s after"],
)  # fmt: skip
def test_movements_within_two_seconds_of_the_span_count(moving, found) -> None:
    assert ends((20.0, 40.0), steps((60, 0)), moving=moving) == found


@pytest.mark.parametrize(
    ("awake", "found"),
    [((10, 30), 14.0), ((16, 30), 16.0), ((10, 18), 14.0), ((10, 17.75), 20.0), ((20, 30), 20.0)],
    ids=["6 s at the most", "from where it woke", "asleep for 2 s", "for longer", "at once"],
)
def test_the_start_is_followed_back_to_rest(awake, found) -> None:
    mean = steps((awake[0], 0), (awake[1] - awake[0], 1), (60 - awake[1], 0))
    assert ends((20.0, 29.0), mean, moving=(20.0, 28.0))[0] == found


@pytest.mark.parametrize(
    ("awake", "found"),
    [((30, 60), 46.0), ((30, 43), 43.0), ((42, 60), 46.0), ((42.25, 60), 40.0), ((30, 40), 40.0)],
    ids=["6 s at the most", "until it slept", "asleep for 2 s", "for longer", "at once"],
)
def test_the_end_is_followed_to_rest(awake, found) -> None:
    mean = steps((awake[0], 0), (awake[1] - awake[0], 1), (70 - awake[1], 0))
    assert ends((20.0, 40.0), mean, moving=(30.0, 39.75))[1] == found


@pytest.mark.parametrize(("pause_s", "found"), [(1.75, 14.0), (2.0, 20.0)])
def test_pauses_of_under_two_seconds_are_no_rest(pause_s: float, found: float) -> None:
    mean = steps((10, 0), (7.75 - pause_s, 1), (pause_s, 0), (42.25, 1))
    mean[71:] = 0.0  # awake in 10 s to 17.75 - pause, asleep, awake for one instant after it
    mean[round((17.75) / GRID_S) : 71 + 10] = 1.0
    mean[round(20.25 / GRID_S) :] = 0.0
    assert ends((20.0, 29.0), mean, moving=(20.0, 28.0))[0] == (found if pause_s < 2.0 else 17.75)


@pytest.mark.parametrize(
    ("rest", "sigma", "least", "bound"),
    [(1.0, 0.1, 0.1, 0.3), (5.0, 0.05, 0.1, 0.3), (-5.0, 0.05, 0.1, 0.3), (1.0, 0.05, 2.0, 0.6),
     (0.1, 0.0, 0.05, 0.03)],
    ids=["3 x the scatter", "6 % of rest", "6 % of its size", "0.3 of the least", "3 x 0.01 A"],
)  # fmt: skip
def test_what_is_no_longer_rest(rest, sigma, least, bound) -> None:
    for factor, start in ((0.99, 20.0), (1.01, 14.0)):
        mean = np.full(240, rest + factor * bound)
        found = ends(
            (20.0, 40.0), mean, moving=(20.0, 39.75), least=least, rest_a=rest, rest_sigma=sigma
        )
        assert found[0] == start


# --- plateaus


def plateau_of(*stretches, limits=LIMITS, **more):
    return plateaus(active(steps(*stretches), **more), limits)


@pytest.mark.parametrize(
    ("seconds", "found"), [(2.0, True), (1.75, False), (60.0, True), (60.25, False)]
)
def test_a_plateau_lasts_2_to_60_s(seconds: float, found: bool) -> None:
    spans = plateau_of((10, 0), (seconds, 3), (10, 0), window_s=0.5)
    assert spans == ([(10.0, 10.0 + seconds)] if found else [])


@pytest.mark.parametrize(("seconds", "found"), [(3.0, True), (2.75, False)])
def test_four_instants_are_needed_between_the_ramps(seconds: float, found: bool) -> None:
    """The windows of 2 s leave 1 s less at each end: 1 s, four instants, of 3 s."""
    assert bool(plateau_of((10, 0), (seconds, 3), (10, 0))) is found


@pytest.mark.parametrize(
    ("rest", "sigma", "step"), [(0.5, 0.0, 0.5), (3.0, 0.0, 1.5), (-3.0, 0.0, 1.5), (0.5, 0.2, 1.2)]
)
def test_a_plateau_rises_by_a_step(rest, sigma, step) -> None:
    """0.5 A, half of rest, or six times its scatter; that is the level in the middle."""
    for level, found in ((0.99, False), (1.01, True)):
        mean = rest + steps((10, 0), (10, level * step), (10, 0))
        assert bool(plateaus(active(mean, rest_a=rest, rest_sigma=sigma), LIMITS)) is found
    assert plateau_of((10, 0), (10, 0.5), (10, 0)) == [(10.0, 20.0)], "exactly at it"


@pytest.mark.parametrize(("level", "start"), [(0.25, 9.0), (0.24, 10.0)])
def test_a_plateau_begins_at_half_a_step(level: float, start: float) -> None:
    found = plateau_of((9, 0), (1, level), (10, 1), (10, 0), rest_sigma=0.05, window_s=1.0)
    assert found == [(start, 20.0)]


@pytest.mark.parametrize(("pause_s", "spans"), [(1.25, 1), (1.5, 2)])
def test_a_dip_of_under_1_5_s_does_not_part_a_plateau(pause_s: float, spans: int) -> None:
    low = steps((10, 0), (15, 3), (pause_s, 0), (15, 3), (10, 0))
    found = plateaus(active(low, window_s=0.5, rest_sigma=0.0), LIMITS)
    # Parted, each half has the other one beside it and no rest.
    assert len(found) == (1 if spans == 1 else 0)


def inner(*values: float) -> np.ndarray:
    """10 s of rest, 1 s of ramp, 21 instants of which some are these, 1 s of ramp, 10 s of rest.

    Something stirs for an instant 7 s before and 7 s after it.
    """
    mean = steps((10, 0), (7.25, 1), (10, 0))
    mean[44 : 44 + len(values)] = values
    mean[8] = mean[-9] = 0.2
    return mean


@pytest.mark.parametrize(
    ("before_s", "after_s", "found"),
    [(9.0, 9.0, True), (7.5, 9.0, False), (9.0, 7.5, False), (9.0, 3.0, False)],
)
def test_what_rests_for_8_s_on_both_sides_is_a_plateau_however_uneven(
    before_s: float, after_s: float, found: bool
) -> None:
    """Wings read at the rhythm of the sticks: all that a stir draws, then next to nothing of it.

    It was joined to the flight, in which one wing then drew amperes more than its mirror. Where
    the log ends, nothing is known to rest.
    """
    flown = np.tile([0.2, 0.8], 120)
    uneven = np.r_[np.tile([1.0, 5.0], 12), np.full(24, 2.5)]
    mean = np.r_[flown, np.zeros(int(before_s * 4)), uneven, np.zeros(int(after_s * 4)), flown]
    start = 60.0 + before_s
    assert ((start, start + 12.0) in plateaus(active(mean, window_s=0.5), LIMITS)) is found
    cut = np.r_[uneven, np.zeros(40), flown]
    assert (0.0, 12.0) not in plateaus(active(cut, window_s=0.5), LIMITS)


@pytest.mark.parametrize(
    ("values", "beside", "found"),
    [
        ((0.3, 0.56), 0.3, True),
        ((0.3, 0.54), 0.3, False),
        ((9.0, 1.44), 0.3, True),
        ((9.0, 1.46), 0.3, False),
        ((), 0.34, True),
        ((), 0.36, False),
        ((0.3, 0.46), 0.07, True),
        ((0.3, 0.44), 0.07, False),
        ((9.0, 1.69), 0.07, True),
        ((9.0, 1.71), 0.07, False),
        ((9.0, 1.60), 0.09, False),
        ((0.3, 0.50), 0.09, False),
        ((0.3, 0.55), 0.3, False),
        ((9.0, 1.45), 0.3, False),
        ((), 0.35, False),
        ((0.3, 0.45), 0.07, False),
        ((9.0, 1.70), 0.07, False),
        ((0.3, 0.50), 0.08, False),
    ],
)
@pytest.mark.parametrize("side", [6.0, 9.0 - GRID_S, 18.25, 21.25 - GRID_S])
def test_how_even_a_plateau_is(values, beside, found, side) -> None:
    """Of 21 instants the second lowest and the second highest are the 5 and 95 % quantiles.

    Even: 0.55 to 1.45 of the level, under 0.35 beside it. With true rest beside it, under 0.08:
    0.45 to 1.7. Beside it are 3 s on both sides of the ramps.
    """
    mean = inner(*values)
    mean[round(side / GRID_S)] = beside
    limits = Limits(stir_a=0.8)
    assert bool(plateaus(active(mean), limits)) is found


@pytest.mark.parametrize("side", [6.0 - GRID_S, 9.0, 18.25 - GRID_S, 21.25])
def test_what_lies_further_off_or_in_the_ramp_is_not_beside(side: float) -> None:
    mean = inner()
    mean[round(side / GRID_S)] = 0.36
    assert plateaus(active(mean), Limits(stir_a=0.8))


@pytest.mark.parametrize(("beside", "found"), [(0.19, True), (0.21, False)])
def test_rest_beside_may_scatter_four_times_its_own(beside: float, found: bool) -> None:
    mean = inner(0.3, 0.5)
    mean[30] = beside
    assert bool(plateaus(active(mean, rest_sigma=0.05), Limits(stir_a=0.8))) is found


def test_a_plateau_at_an_end_or_beside_a_hole_has_nothing_on_that_side() -> None:
    assert plateau_of((10, 3), (10, 0)) == [(0.0, 10.0)]
    assert plateau_of((10, NAN), (10, 3), (10, NAN)) == [(10.0, 20.0)]
