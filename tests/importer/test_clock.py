"""Raw times to seconds that never run back, hand-made cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.importer.clock.axis import RECORDING_GAP_S, unroll

nan = np.nan


def times(*values: float) -> np.ndarray:
    return np.array(values, dtype=float)


def test_a_clean_clock_starts_at_zero() -> None:
    out = unroll(times(12.5, 12.6, 12.8))
    np.testing.assert_allclose(out.time_s, [0, 0.1, 0.3])
    assert out.rows is None
    assert out.clock_s == 12.5
    assert not out.notes


@pytest.mark.parametrize(
    ("raw", "period", "want"),
    [
        (times(86399, 0, 1), 86400.0, [0, 1, 2]),
        (times(3599.5, 0.5, 1.5), 3600.0, [0, 1, 2]),
        (times(65.5, 0.1), 65.536, [0, 0.136]),
        (times(86399, 0, 86399, 0), 86400.0, [0, 1, 86400, 86401]),
    ],
)
def test_a_clock_that_rolls_over_goes_on(raw: np.ndarray, period: float, want: list) -> None:
    out = unroll(raw, period_s=period)
    np.testing.assert_allclose(out.time_s, want, atol=1e-9)
    assert len(out.recordings) == 1
    assert "time goes on" in out.notes[0]


def test_a_clock_that_starts_again_begins_a_recording() -> None:
    out = unroll(times(0, 1, 2, 0, 1, 2))
    np.testing.assert_allclose(out.time_s, [0, 1, 2, 12, 13, 14])
    assert out.recordings == ((0.0, 2.0), (12.0, 14.0))
    assert out.starts == (0, 3)


def test_the_gap_grows_with_the_rows() -> None:
    out = unroll(times(0, 5, 10, 0, 5))
    assert out.time_s[3] == 10 + 50
    assert RECORDING_GAP_S == 10.0


def test_a_repeated_header_begins_a_recording_only_where_the_clock_leaves_a_gap() -> None:
    out = unroll(times(0, 1, 2, 3), breaks=(2,))
    np.testing.assert_allclose(out.time_s, [0, 1, 2, 3])
    assert out.recordings == ((0.0, 3.0),)
    assert unroll(times(0, 1, 60, 61), breaks=(2,)).recordings == ((0.0, 1.0), (60.0, 61.0))


def test_daylight_saving_only_for_a_time_of_day() -> None:
    raw = times(10798, 10799, 7200, 7201)
    np.testing.assert_allclose(unroll(raw, wall=True).time_s, [0, 1, 2, 3])
    assert len(unroll(raw, wall=False).recordings) == 2


def test_daylight_saving_sets_the_clock_forward() -> None:
    raw = times(7198, 7199, 10800, 10801)
    np.testing.assert_allclose(unroll(raw, wall=True).time_s, [0, 1, 2, 3])
    np.testing.assert_allclose(unroll(raw, wall=False).time_s, [0, 1, 3602, 3603])
    day = times(36000, 36001, 39602)  # an hour's gap by day is a gap
    np.testing.assert_allclose(unroll(day, wall=True).time_s, [0, 1, 3602])


def test_a_small_step_back_of_the_clock_is_taken_out() -> None:
    raw = np.concatenate((np.arange(50) * 0.1 + 100, np.arange(50) * 0.1 + 104.5))
    out = unroll(raw)
    np.testing.assert_allclose(out.time_s, np.arange(100) * 0.1, atol=1e-9)
    assert len(out.recordings) == 1


def test_rows_out_of_order_are_sorted_and_named() -> None:
    out = unroll(times(0, 1, 3, 2, 4, 5))
    np.testing.assert_allclose(out.time_s, [0, 1, 2, 3, 4, 5])
    assert list(out.rows) == [0, 1, 3, 2, 4, 5]


@pytest.mark.parametrize("wild", [9000.0, 0.001])
def test_one_impossible_time_is_put_between_its_neighbours(wild: float) -> None:
    raw = np.arange(30.0)
    raw[12] = wild
    out = unroll(raw)
    np.testing.assert_allclose(out.time_s, np.arange(30.0))
    assert out.notes == ["1 row with an impossible time was placed between the neighbours"]


def test_two_impossible_times_that_lie_apart_are_put_between_their_neighbours() -> None:
    raw = np.arange(30.0)
    raw[12:14] = 12000.0, -13.0
    out = unroll(raw)
    np.testing.assert_allclose(out.time_s, np.arange(30.0))
    assert out.notes == ["2 rows with an impossible time were placed between the neighbours"]
    assert len(out.recordings) == 1


def test_rows_without_a_time() -> None:
    out = unroll(times(nan, 0, nan, 2, nan), empty=np.zeros(5, bool))
    np.testing.assert_allclose(out.time_s, [0, 1, 2])
    assert list(out.rows) == [1, 2, 3]
    assert out.refused == [(0, "no time"), (4, "no time")]


def test_rows_without_time_and_value_are_refused() -> None:
    out = unroll(times(0, nan, 2), empty=np.array([False, True, False]))
    np.testing.assert_allclose(out.time_s, [0, 2])
    assert out.refused == [(1, "no time and no value")]


def test_no_time_at_all() -> None:
    out = unroll(times(nan, nan), empty=np.zeros(2, bool))
    assert not len(out.time_s)
    assert len(out.refused) == 2


def test_a_coarse_clock_is_spread_evenly() -> None:
    out = unroll(times(*[s for s in range(5) for _ in range(4)]))
    np.testing.assert_allclose(out.time_s, np.arange(20) / 4)


def test_a_partial_first_and_last_second_keep_the_rhythm() -> None:
    # Two rows of the first second, ten of each whole one, three of the last.
    raw = times(*[0] * 2, *[1] * 10, *[2] * 10, *[3] * 3)
    np.testing.assert_allclose(unroll(raw).time_s, np.arange(25) / 10, atol=1e-9)


def test_rows_before_a_gap_are_not_spread_across_it() -> None:
    raw = times(*[0] * 4, *[1] * 4, *[60] * 4, *[61] * 4)
    out = unroll(raw).time_s
    np.testing.assert_allclose(out[4:8], [1, 1.25, 1.5, 1.75])
    assert out[8] == 60


@settings(deadline=None)
@given(
    steps=st.lists(st.integers(-400, 400), min_size=1, max_size=60),
    holes=st.lists(st.integers(0, 59), max_size=10),
    period=st.sampled_from([nan, 60.0, 3600.0]),
    wall=st.booleans(),
)
def test_whatever_the_clock_does_time_never_runs_back(
    steps: list[int], holes: list[int], period: float, wall: bool
) -> None:
    raw = np.cumsum(np.array(steps, dtype=float) / 10)
    raw[[h for h in holes if h < len(raw)]] = nan
    out = unroll(raw, period_s=period, wall=wall, empty=np.zeros(len(raw), bool))
    assert np.isfinite(out.time_s).all()
    assert (np.diff(out.time_s) >= 0).all()
    kept = len(raw) if out.rows is None else len(out.rows)
    assert kept + len(out.refused) == len(raw)
    if kept:
        assert out.time_s[0] == 0
        assert out.recordings[-1][1] == out.time_s[-1]
