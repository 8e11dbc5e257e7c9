from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from telemetry.numerics.envelope import bands, block_means, min_max_indices, spread_out

VALUES = arrays(
    np.float64,
    st.integers(1, 400),
    elements=st.floats(-100, 100, allow_nan=False).map(lambda v: round(v, 1)),
)


@st.composite
def traces(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Uneven instants, sometimes equal ones or long silences, and values on a coarse grid."""
    values = draw(VALUES)
    steps = draw(
        arrays(np.float64, values.size, elements=st.sampled_from([0.0, 0.05, 0.1, 0.25, 9.0]))
    )
    return np.cumsum(steps), values


def slow_columns(time: np.ndarray, columns: int) -> np.ndarray:
    """Column of each sample, written out sample by sample: the oracle."""
    span = time[-1] - time[0]
    if span == 0:
        return np.zeros(time.size, dtype=int)
    scale = columns / span
    return np.array([min(int((t - time[0]) * scale), columns - 1) for t in time])


@given(traces(), st.integers(1, 60))
def test_every_lowest_and_highest_point_of_a_column_survives(
    trace: tuple[np.ndarray, np.ndarray], columns: int
) -> None:
    time, value = trace
    kept = min_max_indices(time, value, columns)
    column = slow_columns(time, columns)
    for c in np.unique(column):
        whole, seen = value[column == c], value[kept[column[kept] == c]]
        assert seen.min() == whole.min()
        assert seen.max() == whole.max()


@given(traces(), st.integers(1, 60))
def test_what_is_kept_are_samples_in_order_and_few(
    trace: tuple[np.ndarray, np.ndarray], columns: int
) -> None:
    time, value = trace
    kept = min_max_indices(time, value, columns)
    assert (np.diff(kept) > 0).all()
    assert kept[0] == 0
    assert kept[-1] == value.size - 1
    assert kept.size <= 2 * columns + 2


@given(traces(), st.integers(1, 60), st.sampled_from([0.2, 1.0, 100.0]))
def test_the_edges_of_the_bands_hold_every_extreme_at_its_own_instant(
    trace: tuple[np.ndarray, np.ndarray], columns: int, gap_s: float
) -> None:
    time, value = trace
    found = bands(time, value, columns, gap_s)
    column = slow_columns(time, columns)
    parted = np.cumsum(np.r_[True, np.diff(time) > gap_s]) - 1
    assert len(found) == parted[-1] + 1
    samples = set(zip(time, value, strict=True))
    for k, band in enumerate(found):
        assert set(zip(band.low_t, band.low_v, strict=True)) <= samples
        assert set(zip(band.high_t, band.high_v, strict=True)) <= samples
        here = parted == k
        assert band.low_v.min() == value[here].min()
        assert band.high_v.max() == value[here].max()
        for c in np.unique(column[here]):
            part = here & (column == c)
            inside = (band.low_t >= time[part].min()) & (band.low_t <= time[part].max())
            assert band.low_v[inside].min() <= value[part].min()
            inside = (band.high_t >= time[part].min()) & (band.high_t <= time[part].max())
            assert band.high_v[inside].max() >= value[part].max()


def test_a_single_low_sample_among_a_hundred_thousand_is_drawn() -> None:
    time = np.arange(100_000) * 0.01
    value = np.full(time.size, 6.0)
    value[73_211] = 4.2
    (band,) = bands(time, value, 500, 1.0)
    at = np.argmin(band.low_v)
    assert (band.low_t[at], band.low_v[at]) == (time[73_211], 4.2)
    assert band.low_v.size <= 501


def test_blanks_are_left_out_and_silences_part_the_bands() -> None:
    found = bands([0.0, 0.1, 0.2, 5.0, 5.1], [1.0, np.nan, 2.0, 3.0, 4.0], 50, 1.0)
    assert [b.low_v.tolist() for b in found] == [[1.0, 2.0], [3.0, 4.0]]
    assert bands([0.0, 1.0], [np.nan, np.nan], 10, 1.0) == ()


def test_inputs_stay_as_they_were() -> None:
    time, value = np.arange(50.0), np.arange(50.0)[::-1].copy()
    for a in (time, value):
        a.flags.writeable = False
    bands(time, value, 3, 1.5)
    min_max_indices(time, value, 3)


@pytest.mark.parametrize(("columns", "values"), [(0, [1.0, 2.0]), (5, [1.0])])
def test_wrong_shapes_and_columns_are_refused(columns: int, values: list[float]) -> None:
    with pytest.raises(ValueError, match=r"columns must be|shapes differ"):
        min_max_indices([0.0, 1.0], values, columns)


def test_block_means_by_hand() -> None:
    # Blocks 0-5 s: (1 + 3) / 2; 5-10 s: 4; 20-25 s: (6 + 8) / 2, by hand.
    means = block_means([0.0, 4.9, 5.0, 20.0, 24.0], [1.0, 3.0, 4.0, 6.0, 8.0], 5.0)
    assert means.tolist() == [2.0, 4.0, 7.0]
    assert block_means([], [], 5.0).size == 0


@given(arrays(np.float64, st.integers(1, 300), elements=st.floats(-9, 9)), st.integers(2, 50))
def test_a_thinned_cloud_keeps_both_ends(values: np.ndarray, most: int) -> None:
    kept = spread_out(values, most)
    assert kept.size <= max(most, 0)
    assert (np.diff(kept) > 0).all()
    assert values[kept].min() == values.min()
    assert values[kept].max() == values.max()


def test_a_step_of_just_the_gap_parts_nothing() -> None:
    found = bands([0.0, 1.0, 2.001], [1.0, 2.0, 3.0], 9, 1.0)
    assert [b.low_t.tolist() for b in found] == [[0.0, 1.0], [2.001]]


def test_up_to_twice_the_columns_all_samples_are_kept() -> None:
    time, value = np.arange(4.0), np.array([1.0, 4.0, 2.0, 3.0])
    (band,) = bands(time, value, 2, 9.0)
    assert band.low_v.tolist() == band.high_v.tolist() == [1.0, 4.0, 2.0, 3.0]
    assert min_max_indices(time, value, 2).tolist() == [0, 1, 2, 3]
    # One more: columns from 0 to under 2 s, and from 2 s on.
    time, value = np.arange(5.0), np.array([1.0, 4.0, 2.0, 3.0, 2.5])
    (band,) = bands(time, value, 2, 9.0)
    assert (band.low_t.tolist(), band.low_v.tolist()) == ([0.0, 2.0], [1.0, 2.0])
    assert (band.high_t.tolist(), band.high_v.tolist()) == ([1.0, 3.0], [4.0, 3.0])
    assert min_max_indices(time, value, 2).tolist() == [0, 1, 2, 3, 4]


def test_the_first_of_equal_extremes_and_both_ends_are_kept() -> None:
    value = np.array([5.0, 1.0, 1.0, 9.0, 9.0, 5.0, 5.0])
    assert min_max_indices(np.arange(7.0), value, 1).tolist() == [0, 1, 3, 6]


def test_a_gap_begins_a_column_of_its_own() -> None:
    # One column for all, but a silence after 2 s: the lowest and highest on each side of it.
    time = np.array([0.0, 1.0, 2.0, 9.0, 10.0, 11.0])
    value = np.array([3.0, 1.0, 2.0, 6.0, 4.0, 5.0])
    found = bands(time, value, 1, 1.5)
    assert [(b.low_v.tolist(), b.high_v.tolist()) for b in found] == [([1], [3]), ([4], [6])]


def test_columns_are_equal_stretches_of_time_and_the_last_holds_its_end() -> None:
    # 0 to 8 s in two columns: to under 4 s, and from 4 to 8 s with the last sample.
    time = 10.0 + np.array([0.0, 3.0, 3.9, 4.0, 7.0, 8.0])
    value = np.array([1.0, 2.0, 3.0, 0.0, 4.0, 5.0])
    (band,) = bands(time, value, 2, 99.0)
    assert (band.low_v.tolist(), band.high_v.tolist()) == ([1.0, 0.0], [3.0, 5.0])
    # All at one instant: one column.
    (still,) = bands(np.full(5, 7.0), np.array([3.0, 1.0, 4.0, 1.0, 5.0]), 2, 1.0)
    assert (still.low_v.tolist(), still.high_v.tolist()) == ([1.0], [5.0])
    assert min_max_indices(np.full(5, 7.0), np.array([3.0, 1, 4, 1, 5]), 2).tolist() == [0, 1, 4]


@pytest.mark.parametrize("bad", [(np.ones((2, 2)), np.ones((2, 2)), 3), ([0.0], [1.0], 0)])
def test_what_is_no_trace_is_refused(bad: tuple[np.ndarray, np.ndarray, int]) -> None:
    with pytest.raises(ValueError, match=r"columns must be|shapes differ"):
        bands(*bad, 1.0)
    assert min_max_indices([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], 1).tolist() == [0, 2]


@pytest.mark.parametrize(
    ("values", "most", "kept"),
    [
        ([5, 3, 1], 3, [0, 1, 2]),  # no more than asked: all, in order
        ([5, 3, 1], 2, [0, 2]),  # the ends of the ranks
        # Ranks 0, 2, 4 of 1 3 5 7 9.
        ([9, 1, 7, 3, 5], 3, [0, 1, 4]),
        # Ranks 0, 1.67, 3.33, 5 of six: rounded.
        ([0, 1, 2, 3, 4, 5], 4, [0, 2, 3, 5]),
    ],
)
def test_spread_over_the_ranks_by_hand(values: list[float], most: int, kept: list[int]) -> None:
    assert spread_out(values, most).tolist() == kept


def test_blocks_begin_at_multiples_of_their_length() -> None:
    # 4 s belongs to the second block of 4 s, -1 s to the one before the first.
    means = block_means([-1.0, 0.0, 3.0, 4.0], [7.0, 1.0, 3.0, 5.0], 4.0)
    assert means.tolist() == [7.0, 2.0, 5.0]
