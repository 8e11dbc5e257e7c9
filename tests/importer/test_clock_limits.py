"""Where each rule about a step of the clock begins and ends: hand-made cases on both sides."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.importer.clock.axis import Unrolled, unroll

DAY_S = 86_400.0
PLACED = "placed between the neighbours"
nan = np.nan


def changed(count: int, **values: float) -> np.ndarray:
    """A row a second, but for some rows: ``changed(30, r12=5.5)``."""
    raw = np.arange(float(count))
    for row, value in values.items():
        raw[int(row[1:])] = value
    return raw


def begins_at(rows: int, *steps: tuple[int, float], start: float = 0.0) -> np.ndarray:
    """A row a second, with other steps to some rows."""
    step = np.ones(rows)
    step[0] = start
    for row, value in steps:
        step[row] = value
    return np.cumsum(step)


def said(out: Unrolled, words: str) -> bool:
    return any(words in note for note in out.notes)


@pytest.mark.parametrize(("wrong", "placed"), [(1, True), (5, True), (6, False)])
@pytest.mark.parametrize("by", [9000.0, -9000.0])
def test_up_to_five_wrong_rows_are_placed(wrong: int, placed: bool, by: float) -> None:
    raw = np.arange(40.0) + 20_000.0
    raw[12 : 12 + wrong] += by
    out = unroll(raw)
    assert said(out, f"{wrong} row") is placed
    assert (len(out.recordings) == 1 and np.array_equal(out.time_s, np.arange(40.0))) is placed


@pytest.mark.parametrize(
    ("time", "note"), [(5.5, PLACED), (6.0, "1 row stood out of order and was sorted")]
)
def test_a_row_five_steps_late_stands_out_of_order_and_one_further_is_wrong(
    time: float, note: str
) -> None:
    assert said(unroll(changed(30, r12=time)), note)


def test_rows_that_a_clock_leaves_out_of_order_are_each_put_where_they_belong() -> None:
    for order in ([0, 1, 2, 3, 4, 5, 9, 6, 7, 8, 10, 11], [0, 1, 2, 3, 4, 7, 8, 5, 6, 9, 10, 11]):
        out = unroll(np.array(order, dtype=float))
        assert out.time_s.tolist() == list(range(12))
        assert out.rows is not None
        assert out.rows.tolist() == np.argsort(order).tolist()


@pytest.mark.parametrize(("rows", "placed"), [(20, True), (19, False)])
@pytest.mark.parametrize("last", [False, True])
def test_a_lone_first_or_last_time_is_wrong_in_a_log_of_twenty_rows(
    rows: int, placed: bool, last: bool
) -> None:
    raw = np.arange(float(rows)) + 50_000.0
    raw[-1 if last else 0] += -1000.0 if last else 1000.0
    out = unroll(raw)
    assert said(out, PLACED) is placed
    assert np.array_equal(out.time_s, np.arange(float(rows))) is placed


@pytest.mark.parametrize(("step", "placed"), [(3600.0, False), (3601.0, True)])
@pytest.mark.parametrize("row", [1, 29])
def test_a_first_or_last_row_an_hour_off_is_wrong(step: float, placed: bool, row: int) -> None:
    out = unroll(begins_at(30, (row, step)))
    assert said(out, PLACED) is placed
    assert float(out.time_s[-1]) == (29.0 if placed else 28.0 + step)


@pytest.mark.parametrize("row", [1, 29])
def test_a_clock_that_rolls_over_at_the_first_or_last_row_is_right(row: int) -> None:
    raw = (np.arange(30.0) + DAY_S - row) % DAY_S
    out = unroll(raw, period_s=DAY_S)
    assert out.time_s.tolist() == list(range(30))
    assert out.notes == ["the clock starts again past midnight once; time goes on"]


@pytest.mark.parametrize(("lost", "time"), [(30.0, 11), (31.0, 69)])
def test_a_counter_rolls_over_where_it_falls_by_more_than_half_its_range(
    lost: float, time: float
) -> None:
    """From 40 of 60 to 9 it ran on; to 10 it began anew, 10 s behind the end by our own rule."""
    out = unroll(np.array([38.0, 39.0, 40.0, 40.0 - lost, 41.0 - lost]), period_s=60.0)
    want = 29.0 if lost == 31.0 else 10.0
    assert out.time_s.tolist() == [0.0, 1.0, 2.0, 2.0 + want, 3.0 + want]


@pytest.mark.parametrize(("step", "recordings"), [(DAY_S, 1), (DAY_S + 1, 2)])
def test_a_pause_is_a_day_at_most(step: float, recordings: int) -> None:
    out = unroll(begins_at(12, (6, step)))
    assert len(out.recordings) == recordings
    assert out.time_s[6] == (5.0 + step if recordings == 1 else 15.0)
    assert said(out, "at row 7: set, or another recording") is (recordings == 2)


@pytest.mark.parametrize(("step", "was_set"), [(180 * DAY_S, False), (180 * DAY_S + 1, True)])
def test_a_clock_that_jumps_by_half_a_year_was_set(step: float, was_set: bool) -> None:
    out = unroll(begins_at(12, (6, step)))
    assert said(out, "the clock was set at row 7 (it jumps by 180 days)") is was_set
    assert len(out.recordings) == (1 if was_set else 2)
    if was_set:
        assert out.time_s.tolist() == list(range(12))
        assert out.clock_s == step - 1.0, "it is right once it has been set"


@pytest.mark.parametrize(("start", "recordings"), [(0.0, 2), (600.0, 2), (601.0, 1)])
def test_a_time_of_day_from_midnight_on_that_jumps_was_none(start: float, recordings: int) -> None:
    raw = begins_at(12, (6, 3601.0), start=start)
    assert len(unroll(raw, wall=True).recordings) == recordings
    assert len(unroll(raw, wall=False).recordings) == 1


def test_a_clock_that_stood_until_it_was_set_is_counted_back_from_there() -> None:
    raw = np.concatenate((np.zeros(6), 36_000.0 + np.arange(6)))
    out = unroll(raw, wall=True)
    assert out.time_s.tolist() == list(range(12))
    assert out.clock_s == 36_000.0 - 6.0
    assert said(out, "the clock was set at row 7 (it jumps by 10 hours)")


@pytest.mark.parametrize(("step", "back"), [(-5.0, True), (-5.5, False)])
def test_a_clock_is_set_back_by_up_to_five_seconds(step: float, back: bool) -> None:
    out = unroll(begins_at(60, (30, step), start=100.0))
    assert said(out, "the clock was set back by less than 5 s at 1 place") is back
    assert out.time_s[30] == (30.0 if back else 39.0)
    assert len(out.recordings) == (1 if back else 2)


@pytest.mark.parametrize(("first", "recordings"), [(9, 2), (10, 1)])
def test_a_clock_that_falls_to_near_its_start_starts_again(first: int, recordings: int) -> None:
    """To 5 s from the first row, by 4 s: another recording; to 6 s, set back."""
    out = unroll(begins_at(60, (first + 1, -4.0), start=100.0))
    assert len(out.recordings) == recordings


@pytest.mark.parametrize(("off", "summer"), [(20.0, True), (20.5, False)])
@pytest.mark.parametrize("sign", [1, -1])
def test_an_hour_back_on_the_wall_within_twenty_steps_is_daylight_saving(
    off: float, sign: int, summer: bool
) -> None:
    out = unroll(begins_at(60, (30, sign * off - 3600.0), start=9000.0), wall=True)
    assert said(out, "the clock was set back one hour (daylight saving)") is summer
    assert len(out.recordings) == (1 if summer else 2)
    if summer and sign > 0:
        assert out.time_s[30] == 49.0


@pytest.mark.parametrize(
    ("before", "step", "forward"),
    [
        (7199.0, 3601.0, True),
        (7198.0, 3601.0, False),  # it shows no three o'clock then
        (7180.0, 3620.0, True),
        (7179.0, 3620.0, False),
        (7199.0, 3620.0, True),
        (7199.0, 3621.0, False),
        (7200.0, 3601.0, False),
    ],
)
@pytest.mark.parametrize("day", [0, 1])
def test_summer_begins_at_two_in_the_night(
    before: float, step: float, forward: bool, day: int
) -> None:
    out = unroll(begins_at(60, (30, step), start=day * DAY_S + before - 29.0), wall=True)
    assert said(out, "the clock was set forward one hour") is forward
    assert out.time_s[30] == 29.0 + step - (3600.0 if forward else 0.0)


def test_rows_that_are_refused_move_what_stands_behind_them() -> None:
    raw = np.array([nan, 0.0, 1.0, nan, 60.0, 61.0])
    empty = np.array([True, False, False, True, False, False])
    out = unroll(raw, empty=empty, breaks=(4,))
    assert out.starts == (0, 2)
    assert out.recordings == ((0.0, 1.0), (60.0, 61.0))
    assert out.refused == [(0, "no time and no value"), (3, "no time and no value")]
    assert said(out, "the file holds 2 recordings: the header is repeated, the clock runs on")


@pytest.mark.parametrize(("gap", "recordings"), [(10.0, 1), (10.5, 2)])
def test_a_repeated_header_over_ten_seconds_begins_a_recording(gap: float, recordings: int) -> None:
    out = unroll(begins_at(12, (6, gap)), breaks=(6,))
    assert len(out.recordings) == recordings


def test_stamps_of_a_whole_second_are_shared_out_up_to_a_gap_and_at_both_ends() -> None:
    """Four rows a second; one in the first, two in the last, and a second that is missing."""
    raw = np.repeat([0.0, 1.0, 2.0, 4.0, 5.0, 6.0], [1, 4, 4, 4, 4, 2])
    out = unroll(raw)
    want = [0.0, *np.arange(0.25, 2.25, 0.25), *np.arange(3.25, 5.75, 0.25)]
    assert out.time_s.tolist() == pytest.approx([*want[:9], *want[9:]])
    assert said(out, "18 rows share a time stamp with others (the clock steps by 1 s)")


@pytest.mark.parametrize(
    ("step", "words"),
    [(200 * DAY_S, "200 days"), (4000 * DAY_S, "11 years"), (-200 * DAY_S, "-200 days")],
)
def test_how_far_a_clock_jumps_is_said_in_its_own_size(step: float, words: str) -> None:
    assert said(unroll(begins_at(12, (6, step), start=500 * DAY_S)), f"it jumps by {words})")
