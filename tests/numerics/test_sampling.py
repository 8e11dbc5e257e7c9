"""Update instants, resolution, gaps; the chance to see a dip by Monte Carlo."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics import sampling


def held(
    rng: np.random.Generator,
    *,
    interval: float,
    row: float,
    length: float = 300.0,
    step: float = 0.01,
    spread: float = 1.0,
    jitter: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """A noisy signal read every ``interval`` (own clock) and written every ``row``, held."""
    t = np.arange(0, length, row)
    at = np.arange(0.37 * interval, length, interval)
    at = np.sort(at + rng.normal(0, jitter * interval, at.size))
    value = np.round((5 + spread * rng.standard_normal(at.size)) / step) * step
    i = np.searchsorted(at, t, side="right") - 1
    return t, np.where(i >= 0, value[np.maximum(i, 0)], np.nan)


@pytest.mark.parametrize("row", [0.02, 0.1, 0.2])
@pytest.mark.parametrize("interval", [0.2, 0.25, 0.33, 0.5, 1.0, 1.7])
@pytest.mark.parametrize("step", [0.01, 1.0])
def test_interval_is_found_whatever_the_rows(row: float, interval: float, step: float) -> None:
    rng = np.random.default_rng(1)
    t, v = held(rng, interval=interval, row=row, step=step)
    found = sampling.update_interval(t, v)
    assert found == pytest.approx(max(interval, row), rel=0.15)


def test_interval_with_jitter() -> None:
    t, v = held(np.random.default_rng(2), interval=0.4, row=0.1, jitter=0.1)
    assert sampling.update_interval(t, v) == pytest.approx(0.4, rel=0.2)


def test_interval_from_blanks() -> None:
    t = np.arange(0, 60, 0.1)
    v = np.full(t.size, np.nan)
    v[::5] = 7.4  # never changes, reported every 0.5 s
    assert sampling.is_sparse(v)
    assert sampling.update_interval(t, v) == pytest.approx(0.5)
    assert sampling.update_samples(t, v).t.size == 120


def test_no_interval_where_nothing_changes() -> None:
    t = np.arange(0, 60, 0.1)
    assert sampling.update_interval(t, np.full(t.size, 6.0)) is None


def test_an_unchanged_value_is_news_at_each_update() -> None:
    t = np.arange(0, 10, 0.1)
    v = np.repeat([1.0, 2.0, 2.0, 3.0, 3.0, 3.0, 4.0, 5.0, 6.0, 7.0], 10)
    u = sampling.update_samples(t, v, 1.0)
    np.testing.assert_allclose(u.t, np.arange(10.0), atol=1e-9)
    np.testing.assert_allclose(u.v, [1, 2, 2, 3, 3, 3, 4, 5, 6, 7])


def test_nothing_is_put_into_a_gap() -> None:
    t = np.r_[np.arange(0, 5, 0.1), np.arange(25, 30, 0.1)]
    v = np.full(t.size, 3.0)
    u = sampling.update_samples(t, v, 0.5)
    assert not ((u.t > 5.0) & (u.t < 25.0)).any()


def test_a_late_row_is_news_also_where_nothing_changed() -> None:
    # A row a minute while 6 A flow, then off: the last row before the switch must not be lost.
    t = np.r_[np.arange(0, 20, 1.0), 80, 140, 200, 221, 222, 223, 224]
    v = np.r_[np.tile([5.9, 6.1], 10), 6, 6, 6, 6, 0, 0, 0]
    got = sampling.update_samples(t, v)
    assert {80, 140, 200, 221, 222} <= set(got.t.tolist())
    rows = np.arange(0, 20, 0.1)
    held_v = np.floor(rows)  # an update a second, held in between: no more samples than before
    assert sampling.update_samples(rows, held_v, 1.0).t.size == 20


def test_resolution() -> None:
    assert sampling.resolution(np.array([7.1, 7.2, 7.4, np.nan, 7.1])) == pytest.approx(0.1)
    assert sampling.resolution(np.array([7.1, 7.1])) is None
    # Single precision exports: 7.1 and 7.1000004 are one value.
    assert sampling.resolution(np.array([7.1, 7.1000004, 7.2])) == pytest.approx(0.1, rel=1e-5)


def test_gaps_need_both_three_intervals_and_a_second() -> None:
    t = np.array([0, 0.1, 0.2, 0.9, 1.0, 2.5, 2.6])
    assert sampling.gap_spans(t, 0.1, intervals=3, least_s=1.0) == [(1.0, 2.5)]
    assert sampling.gap_spans(t, 1.0, intervals=3, least_s=1.0) == []


def test_a_slower_pace_is_no_row_of_gaps() -> None:
    # A logger that writes every second, then every minute; the change-over cuts one step short.
    t = np.cumsum(np.r_[0, np.ones(50), [24.4], np.full(10, 60.0), [33.0], np.ones(50)])
    assert sampling.gap_spans(t, 1.0, intervals=3, least_s=1.0) == []
    # In the slow stretch a gap is one that is long for that pace.
    longer = t.copy()
    longer[55:] += 200.0
    assert sampling.gap_spans(longer, 1.0, intervals=3, least_s=1.0) == [
        (longer[54], longer[54] + 260.0)
    ]


def test_a_bad_link_has_no_pace() -> None:
    steps = np.r_[np.full(50, 0.1), [5.0], [0.1], [5.1], [7.9], [3.2], [6.5], np.full(50, 0.1)]
    t = np.cumsum(np.r_[0, steps])
    spans = sampling.gap_spans(t, 0.1, intervals=3, least_s=1.0)
    assert [b - a for a, b in spans] == pytest.approx([5.0, 5.1, 7.9, 3.2, 6.5])
    two = np.cumsum(np.r_[0, np.full(20, 0.1), [5.0, 5.0], np.full(20, 0.1)])
    assert len(sampling.gap_spans(two, 0.1, intervals=3, least_s=1.0)) == 2


def test_quiet_channel_takes_the_interval_of_its_frame() -> None:
    rows = 1000
    lively = np.arange(0, rows, 5)
    quiet = lively[::9]
    assert sampling.shared_interval(4.5, quiet, lively, 0.5, rows) == 0.5
    elsewhere = quiet + 2
    assert sampling.shared_interval(4.5, elsewhere, lively, 0.5, rows) == 4.5
    every_row = np.arange(rows)
    assert sampling.shared_interval(4.5, quiet, every_row, 0.1, rows) == 4.5


def test_held_value_ages() -> None:
    t, v = np.array([0.0, 1.0]), np.array([5.0, 6.0])
    got = sampling.held_at(t, v, np.array([-1.0, 0.5, 1.0, 2.0, 9.0]), 3.0)
    np.testing.assert_allclose(got, [np.nan, 5.0, 6.0, 6.0, np.nan])


NAN = np.nan


def test_row_step_by_hand() -> None:
    assert sampling.row_step(np.array([0.0, 1, 1, 3, 3, 6])) == 2.0  # of 1, 2, 3: repeats are none
    assert np.isnan(sampling.row_step(np.array([1.0])))
    assert np.isnan(sampling.row_step(np.array([1.0, 1.0])))


@pytest.mark.parametrize(
    ("values", "sparse"),
    [
        ([1, NAN, NAN, 1, NAN, NAN, 1, NAN], True),
        ([1, NAN, NAN, NAN, NAN, 1, NAN], False),  # only two values
        ([1, NAN, 1, NAN, 1, NAN], True),  # three, in as many runs
        # Seven of ten rows are 70 %; more is no channel of blanks.
        ([1, NAN, 1, NAN, 1, 1, NAN, 1, 1, 1], True),
        ([1, NAN, 1, NAN, 1, NAN, 1, 1, 1, 1, 1], False),
        ([1, 1, NAN, 1, 1, NAN, NAN, NAN], False),  # two runs of four: half is not most
        ([1, 1, NAN, 1, NAN, 1, NAN, NAN], True),
    ],
)
def test_blanks_between_updates(values: list[float], sparse: bool) -> None:
    got = np.array(values)
    present = np.isfinite(got)
    assert sampling.is_sparse(got) is sparse, (present.sum(), got.size)


def test_change_rows_by_hand() -> None:
    v = np.array([NAN, 5, 5, NAN, 5, 6, NAN, NAN, 5])
    assert sampling.change_rows(v).tolist() == [1, 5, 8]
    assert sampling.change_rows(np.full(4, NAN)).size == 0


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([0.0, 5.0, 5.5], 0.5),
        # Two millionths of the largest magnitude, whichever end it is, are rounding.
        ([100.0, 100.00021, 50.0], 0.00021),
        ([100.0, 100.00019, 50.0], 50.0),
        ([-100.0, -99.99981, 50.0], 149.99981),
        ([-100.0, -99.99979, 50.0], 0.00021),
    ],
)
def test_rounding_is_no_step(values: list[float], step: float) -> None:
    assert sampling.resolution(np.array(values)) == pytest.approx(step, rel=1e-4)


def test_resolution_is_told_to_six_digits() -> None:
    assert sampling.resolution(np.array([0.0, 0.12345678])) == 0.123457
    assert sampling.resolution(np.full(3, NAN)) is None


def test_median_interval_between_blanks() -> None:
    v = np.full(40, NAN)
    v[[0, 3, 6, 9, 20, 31]] = 1.0
    assert sampling.update_interval(np.arange(40.0), v) == 3.0  # of 3 3 3 11 11
    v[[6, 9, 20, 31]] = NAN
    assert sampling.update_interval(np.arange(40.0), v) is None  # two rows
    v[6] = 1.0
    assert sampling.update_interval(np.arange(40.0), v) == 3.0


def stairs(lengths: list[int]) -> np.ndarray:
    """A value held for these numbers of rows each."""
    return np.repeat(np.arange(float(len(lengths))), lengths)


@pytest.mark.parametrize(
    ("lengths", "interval"),
    [
        ([2, 2, 2], None),  # two changes and the first value
        ([2, 2, 2, 2], 2.0),
        # Few changes: the shortest (5 % quantile of 3 3 4 9 20: 3) and those within a row of it.
        ([3, 3, 4, 9, 20, 1], 10 / 3),
        ([3, 3, 5, 9, 20, 1], 3.0),
        ([2, 4, 4, 4, 4, 1], 2.4),  # a fifth of the way from the first to the second of five
    ],
)
def test_interval_of_a_few_changes(lengths: list[int], interval: float | None) -> None:
    v = stairs(lengths)
    found = sampling.update_interval(np.arange(float(v.size)), v)
    assert found == (None if interval is None else pytest.approx(interval))


@pytest.mark.parametrize(("changes", "interval"), [(23, 2.5), (24, 2.25)])
def test_from_24_changes_on_runs_of_eight_count(changes: int, interval: float) -> None:
    # Steps of 2 and 3 rows. Alone: their mean, 2.5 as many of each. In runs of eight the quickest:
    # six of 2 and two of 3 make 18 rows of eight.
    steps = ([3, 2] * 4 + [2, 2, 3, 2, 2, 2, 3, 2] + [3, 3] * 3 + [2, 3] * 10)[:changes]
    single = np.mean(steps)
    v = stairs([*steps, 1])
    found = sampling.update_interval(np.arange(float(v.size)), v)
    if changes == 23:
        assert found == pytest.approx(single)
    else:
        t = np.cumsum([0, *steps])
        runs = np.sort((t[8:] - t[:-8]) / 8)
        # The lowest decile by hand: linear between the ranks about 0.1 (n - 1).
        rank = 0.1 * (runs.size - 1)
        low = int(rank)
        decile = runs[low] + (rank - low) * (runs[low + 1] - runs[low])
        assert found == pytest.approx(min(single, decile))
        assert decile < single


def test_repeated_instants_are_no_interval() -> None:
    t = np.array([0.0, 0, 2, 2, 4, 6, 6, 8])
    v = np.arange(8.0)
    assert sampling.update_interval(t, v) == pytest.approx(2.0)
    assert sampling.update_interval(np.array([0.0, 0, 2, 2, 4]), np.arange(5.0)) is None


def samples(v: list[float], update_s: float, t: np.ndarray | None = None) -> list[float]:
    values = np.array(v, dtype=float)
    time = np.arange(float(values.size)) if t is None else t
    return sampling.update_samples(time, values, update_s).t.tolist()


@pytest.mark.parametrize(
    ("v", "update_s", "at"),
    [
        ([1, 1, 1, 2, 2, 2, 3, 3, 3], 3.0, [0, 3, 6]),
        # Held for six rows, over intervals of 3: reported twice.
        ([1] * 6 + [2] * 3, 3.0, [0, 3, 6]),
        # Four rows are one interval of 3 (1.33), five are two (1.67): at 2.5 s the row of 2 s is
        # the last known.
        ([1] * 4 + [2] * 3, 3.0, [0, 4]),
        ([1] * 5 + [2] * 3, 3.0, [0, 2, 5]),
        ([1] * 2 + [2] * 3, 3.0, [0, 2]),  # shorter than an interval: once
        ([NAN, 1, 1, 1, 2, 2, 2], 3.0, [1, 4]),
        ([1, 1, NAN, 1, 1, 1], 1.0, [0, 1, 3, 4, 5]),
        ([1, 1, 1, 1, NAN, NAN], 2.0, [0, 2]),
    ],
)
def test_update_instants_by_hand(v: list[float], update_s: float, at: list[float]) -> None:
    assert samples(v, update_s) == at


@pytest.mark.parametrize(("before", "taken"), [(1.5, True), (1.25, False)])
def test_a_row_stands_for_an_instant_half_an_interval_on(before: float, taken: bool) -> None:
    # Held from 0 to 6 s over intervals of 3 s: reported at 3 s too, where rows are missing. The
    # last row before stands for it if it is not more than half an interval off.
    t = np.array([0.0, 0.5, 1.0, before, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0])
    v = np.where(t < 6.0, 1.0, 2.0)
    assert sampling.update_samples(t, v, 3.0).t.tolist() == [0.0, *[before] * taken, 6.0]


def test_a_row_one_and_a_half_intervals_late_is_news() -> None:
    t = np.array([0.0, 1, 2, 3.4, 4.9, 5.9])
    assert 3.4 not in samples([1] * 5 + [2], 100.0, t)
    late = samples([1] * 5 + [2], 1.0, t)
    assert 4.9 in late  # 1.5 s after the row before


def test_values_beside_their_instants() -> None:
    found = sampling.update_samples(np.arange(6.0), np.array([1.0, 1, 2, 2, 3, 3]), 2.0)
    assert found.t.tolist() == [0, 2, 4]
    assert found.v.tolist() == [1, 2, 3]
    assert found.update_s == 2.0
    nothing = sampling.update_samples(np.arange(3.0), np.full(3, NAN), 2.0)
    assert (nothing.t.size, np.isnan(nothing.update_s)) == (0, True)
    still = sampling.update_samples(np.arange(3.0), np.array([1.0, NAN, 1.0]))
    assert (still.t.tolist(), np.isnan(still.update_s)) == ([0, 2], True)
    blanks = np.array([1.0, NAN, NAN, 1, NAN, NAN, 1, NAN])
    assert sampling.update_samples(np.arange(8.0), blanks, 7.0).update_s == 7.0
    assert sampling.update_samples(np.arange(8.0), blanks).update_s == 3.0


@pytest.mark.parametrize(
    ("common", "of", "others", "rows", "taken"),
    [
        (9, 10, 59, 100, True),
        (8, 10, 59, 100, False),  # under 90 %
        (9, 10, 60, 100, False),  # 60 % by chance
        (5, 5, 59, 100, True),
        (4, 4, 59, 100, False),  # too few changes
    ],
)
def test_shared_frames_at_their_edges(
    common: int, of: int, others: int, rows: int, taken: bool
) -> None:
    theirs = np.arange(others)
    own = np.r_[theirs[:common], 90 + np.arange(of - common)]
    found = sampling.shared_interval(2.0, own, theirs, 0.5, rows)
    assert found == (0.5 if taken else 2.0)


def test_only_a_quicker_channel_of_some_changes_gives_its_interval() -> None:
    rows = np.arange(5)
    assert sampling.shared_interval(2.0, rows, rows, 1.999, 100) == 1.999
    assert sampling.shared_interval(2.0, rows, rows, 2.0, 100) == 2.0
    assert sampling.shared_interval(2.0, rows, rows, 3.0, 100) == 2.0
    assert sampling.shared_interval(2.0, np.arange(9), np.arange(4), 0.5, 100) == 2.0
    assert sampling.shared_interval(2.0, rows, rows, 0.5, 0) == 2.0


def longest(steps: list[float], **more: float) -> list[float]:
    t = np.cumsum([0.0, *steps])
    rule = {"intervals": 3.0, "least_s": 2.0} | more
    return [round(x, 9) for x in sampling.longest_steps(t, 1.0, **rule).tolist()]


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        # A gap is over three intervals of 1 s. Three steps of 10 s running are a pace of 10 s, for
        # them and for the step on each side.
        ([1, 1, 10, 10, 10, 1, 1], [3, 30, 30, 30, 30, 30, 3]),
        ([1, 1, 10, 10, 1, 1], [3] * 6),
        ([10, 10, 10], [30] * 3),
        ([3, 3, 3, 3], [3] * 4),  # none of them is long
        ([2.9, 3.1, 2.9, 3.1, 2.9, 3.1], [3] * 6),  # never two running
        # Alike within a tenth of the lesser; the longest of them is the pace.
        ([1, 10, 11, 10, 1], [33] * 5),
        ([1, 10, 11.01, 10, 1], [3] * 5),
        ([1, 10, 10, 10, 1, 10, 1, 5, 5, 5], [30, 30, 30, 30, 30, 3, 15, 15, 15, 15]),
        ([10, 10, 10, 20, 20, 20], [30, 30, 60, 60, 60, 60]),
    ],
)
def test_paces_by_hand(steps: list[float], expected: list[float]) -> None:
    assert longest(steps) == expected


def test_the_longer_of_both_rules_is_the_longest_step() -> None:
    assert longest([1, 1]) == [3, 3]
    assert longest([1, 1], least_s=5.0) == [5, 5]
    assert longest([1, 1], intervals=1.5) == [2, 2]


def test_gaps_at_their_edge() -> None:
    t = np.array([0.0, 1, 2, 5, 6, 9.001])
    assert sampling.gap_spans(t, 1.0, intervals=3, least_s=1.0) == [(6.0, 9.001)]
    assert sampling.gap_spans(t, NAN, intervals=3, least_s=1.0) == []
    assert sampling.gap_spans(t[:1], 1.0, intervals=3, least_s=1.0) == []
    assert sampling.gap_spans(np.array([0.0, 9.0]), 1.0, intervals=3, least_s=1.0) == [(0, 9)]


def test_outside_of_half_open_spans() -> None:
    t = np.arange(8.0)
    free = sampling.outside(t, [(1.0, 3.0), (5.5, 6.0)])
    assert free.tolist() == [True, False, False, True, True, True, True, True]
    assert sampling.outside(t, [(0.0, 99.0)]).any() == np.False_


def test_a_held_value_is_known_from_its_instant_to_its_age() -> None:
    t, v = np.array([1.0, 2.0]), np.array([5.0, 6.0])
    at = np.array([0.999, 1.0, 2.0 - 5e-10, 1.999, 5.0, 5.001])
    found = sampling.held_at(t, v, at, 3.0)
    np.testing.assert_allclose(found, [NAN, 5, 6, 5, 6, NAN])
    assert np.isnan(sampling.held_at(np.empty(0), np.empty(0), at, 3.0)).all()
    np.testing.assert_allclose(sampling.held_at(t[:1], v[:1], at[:3], 1.0), [NAN, 5, 5])
