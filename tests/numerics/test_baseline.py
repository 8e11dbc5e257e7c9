"""Baselines by hand: the sliding reference, each rule of a dip at its edge, the running median."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from telemetry.numerics.baseline import (
    MAD_TO_SIGMA,
    Dip,
    find_dips,
    running_median,
    sliding_reference,
)

HALF = float(np.log(2.0))  # after so many time constants half the way is gone


def seconds(n: int) -> np.ndarray:
    return np.arange(float(n))


def dips_of(v: list[float], t: np.ndarray | None = None, **more: float | None) -> list[Dip]:
    """Rule in whole numbers: 10 % below 100 and at least 5, back at 2 % more."""
    rule = {"pct": 10.0, "least": 5.0, "hysteresis_pct": 2.0, "fixed": 100.0} | more
    values = np.array(v, dtype=float)
    return find_dips(seconds(values.size) if t is None else t, values, **rule)[0]  # type: ignore[arg-type]


def test_the_reference_goes_half_way_in_ln_2_time_constants() -> None:
    # r0 = 8; after ln 2 it is half-way to the first value 4: 6; then half-way to 10: 8.
    t = 20.0 * HALF * np.arange(3.0)
    got = sliding_reference(t, np.array([4.0, 10.0, 99.0]), 20.0, 8.0)
    assert got == pytest.approx([8.0, 6.0, 8.0])


def test_the_reference_over_a_step_longer_than_it_is_summed_in() -> None:
    # 6, then 20 time constants (all but 2e-9 of the way) to 1, then half-way to 3.
    t = np.array([0.0, 20.0, 20.0 + HALF])
    got = sliding_reference(t, np.array([1.0, 3.0, 0.0]), 1.0, 6.0)
    assert got == pytest.approx([6.0, 1.0, 2.0], abs=1e-7)


def test_nothing_has_no_reference_and_no_dips() -> None:
    none = np.empty(0)
    assert sliding_reference(none, none, 60.0, 7.0).size == 0
    dips, score = find_dips(none, none, pct=5, least=0.25, hysteresis_pct=2)
    assert (dips, score.size) == ([], 0)
    assert [x.size for x in running_median(none, none, 30.0)] == [0, 0]


@pytest.mark.parametrize(
    ("low", "found"), [(90.0, 0), (89.999, 1)], ids=["at the threshold", "below it"]
)
def test_a_dip_starts_below_the_threshold(low: float, found: int) -> None:
    assert len(dips_of([100, low, 100])) == found


@pytest.mark.parametrize(("low", "found"), [(80.0, 0), (79.999, 1)])
def test_the_least_depth_counts_where_it_is_more(low: float, found: int) -> None:
    # 10 % of 100 is 10, but at least 20 is asked for.
    assert len(dips_of([100, low, 100], least=20.0)) == found


@pytest.mark.parametrize(
    ("resolution", "back", "last"),
    [(0.0, 92.0, 2), (0.0, 91.999, 3), (3.0, 92.999, 3), (3.0, 93.0, 2), (1.0, 92.0, 2)],
    ids=["2 %", "under 2 %", "under a step", "one step", "a step under 2 %"],
)
def test_a_dip_ends_at_hysteresis_or_one_step(resolution: float, back: float, last: int) -> None:
    (dip,) = dips_of([100, 80, back, 100], resolution=resolution)
    assert dip == Dip(1, last, float(last), 100.0, False, False)


def test_the_hysteresis_stands_on_a_threshold_of_the_least_depth() -> None:
    # Threshold 100 - 20, back at 80 + 2.
    assert dips_of([100, 70, 81.9, 82, 100], least=20.0)[0].last == 3


def test_scores_are_reference_less_value_in_and_out_of_dips() -> None:
    v = np.array([100.0, 97.0, 85.0, 84.0, 99.0, 103.0])
    _, score = find_dips(seconds(6), v, pct=10, least=5, hysteresis_pct=2, fixed=100.0)
    assert score.tolist() == [0.0, 3.0, 15.0, 16.0, 1.0, -3.0]


@pytest.mark.parametrize(
    ("after", "truncated"), [(5.0, False), (5.001, True)], ids=["held", "a gap"]
)
def test_a_step_longer_than_a_sample_holds_cuts(after: float, truncated: bool) -> None:
    # Samples at 0, 1, 2 s and then one that is back, 5 s or more after the last.
    t = np.array([0.0, 1.0, 2.0, 2.0 + after])
    (dip,) = dips_of([100, 80, 80, 100], t, hold_s=5.0)
    assert dip == Dip(1, 3, 2.0 if truncated else 7.0, 100.0, truncated, False)


def test_a_gap_after_the_end_does_not_cut() -> None:
    t = np.array([0.0, 1.0, 2.0, 30.0])
    assert dips_of([100, 80, 100, 100], t, hold_s=5.0) == [Dip(1, 2, 2.0, 100.0, False, False)]


def test_without_a_rule_for_gaps_none_cuts() -> None:
    t = np.array([0.0, 1.0, 9.0])
    assert dips_of([100, 80, 100], t) == [Dip(1, 2, 9.0, 100.0, False, False)]


@pytest.mark.parametrize(
    ("gap_after", "dip"),
    [
        (11, Dip(0, 11, 10.0, 100.0, False, True)),
        (10, Dip(0, 11, 10.0, 100.0, True, False)),
        (9, Dip(0, 10, 9.0, 100.0, True, False)),
        ([3, 9], Dip(0, 4, 3.0, 100.0, True, False)),
    ],
    ids=["after what tells a shift", "before it", "within", "twice"],
)
def test_a_gap_cuts_only_what_is_still_open(gap_after: int | list[int], dip: Dip) -> None:
    t = seconds(20)
    for after in np.atleast_1d(gap_after):
        t[after + 1 :] += 0.9
    assert dips_of([80.0] * 20, t, hold_s=1.5)[0] == dip


def test_a_dip_that_lasts_to_the_end_is_cut_there() -> None:
    assert dips_of([100, 80, 80]) == [Dip(1, 3, 2.0, 100.0, True, False)]
    assert dips_of([80]) == [Dip(0, 1, 0.0, 100.0, True, False)]


@pytest.mark.parametrize(
    ("back_at", "shift"), [(10, False), (11, False), (12, True)], ids=["open", "at once", "after"]
)
def test_open_for_longer_than_ten_seconds_is_a_shift(back_at: int, shift: bool) -> None:
    # Falls at 0 s. Whether it is back after more than 10 s shows at 11 s at the earliest.
    v = [80.0] * back_at + [100.0] * 5
    (dip,) = dips_of(v)
    assert dip == (
        Dip(0, 11, 10.0, 100.0, False, True)
        if shift
        else Dip(0, back_at, float(back_at), 100.0, False, False)
    )


def test_against_a_fixed_reference_a_shift_lasts_until_the_level_is_back() -> None:
    # Open from 0 s; low until 19 s; 91.9 is not back, 92 is; the next dip is one of its own.
    v = [80.0] * 20 + [91.9, 80.0, 92.0, 80.0, 100.0]
    assert dips_of(v) == [
        Dip(0, 11, 10.0, 100.0, False, True),
        Dip(23, 24, 24.0, 100.0, False, False),
    ]
    assert dips_of([80.0] * 20) == [Dip(0, 11, 10.0, 100.0, False, True)]


def sliding(v: list[float], **more: float | None) -> list[Dip]:
    return dips_of(v, **{"fixed": None, "tau_s": 1e9} | more)


@pytest.mark.parametrize(
    ("settle_s", "reference"),
    [(1.9, 101.0), (2.0, 102.0), (5.0, 105.0)],
    ids=["two samples", "the third lies at the end of it", "six samples"],
)
def test_a_sliding_reference_starts_as_the_median_of_the_first_seconds(
    settle_s: float, reference: float
) -> None:
    # Medians of (100, 102), (100, 102, 104), (100, ..., 110).
    v = [100.0, 102.0, 104.0, 106.0, 108.0, 110.0, 70.0, 110.0]
    (dip,) = sliding(v, settle_s=settle_s)
    assert dip.reference == pytest.approx(reference, rel=1e-6)


def test_five_seconds_and_a_minute_are_the_defaults_of_the_reference() -> None:
    # Median of the six samples of the first 5 s: 105; after another 60 s at 110 (from the first
    # sample on the reference takes in what it saw) it is 105 + 5 (1 - exp(-1)).
    v = np.r_[100.0, 102, 104, 106, 108, 110, 70.0]
    (dip,), _ = find_dips(seconds(7), v, pct=10, least=5, hysteresis_pct=2)
    slow = sliding_reference(seconds(7), v, 60.0, 105.0)
    assert dip.reference == pytest.approx(slow[6])
    t = np.array([0.0, 60.0])
    (dip,), _ = find_dips(t, np.array([110.0, 50.0]), pct=10, least=5, hysteresis_pct=2)
    assert dip.reference == pytest.approx(110.0)


def test_the_reference_stands_still_during_a_dip() -> None:
    # From 100, half-way to 100 after every step; ten samples at 40 do not draw it down.
    t = HALF * np.arange(14.0)
    v = [100.0, 100.0] + [40.0] * 10 + [100.0, 88.0]
    dips = dips_of(v, t, fixed=None, tau_s=1.0, settle_s=0.0)
    assert [(d.first, d.last, d.reference) for d in dips] == [
        (2, 12, pytest.approx(100.0)),
        (13, 14, pytest.approx(100.0)),
    ]


def test_after_a_shift_the_reference_is_the_level_of_the_last_seconds() -> None:
    # Falls to 50 at 3 s and is closed after the sample at 13 s. Samples of 13 s and the settling
    # time of 2 s before it (11 to 13 s): 60, 70, 80; their median is 70.
    v = [100.0] * 3 + [50.0] * 8 + [60.0, 70.0, 80.0] + [62.0, 80.0, 80.0]
    shift, after = sliding(v, settle_s=2.0)
    assert shift == Dip(3, 14, 13.0, pytest.approx(100.0), False, True)
    assert (after.first, after.last, after.reference) == (14, 15, pytest.approx(70.0))


def test_the_level_after_a_shift_holds_no_sample_from_before_it() -> None:
    # With a long settling time all ten samples of the shift count: nine of 80 and not the 100.
    v = [100.0] * 13 + [80.0] * 11 + [71.9, 80.0]
    shift, after = sliding(v, settle_s=600.0, open_s=10.0)
    assert (shift.first, shift.last) == (13, 24)
    assert after.reference == pytest.approx(80.0)


def test_after_a_gap_in_a_dip_the_reference_starts_anew() -> None:
    t = np.r_[seconds(3), 100.0 + seconds(4)]
    v = [100.0, 100.0, 80.0, 80.0, 80.0, 71.9, 80.0]
    cut, after = dips_of(v, t, fixed=None, tau_s=1e9, settle_s=1.0, hold_s=10.0)
    assert cut == Dip(2, 3, 2.0, 100.0, True, False)
    assert (after.first, after.last, after.reference) == (5, 6, pytest.approx(80.0))
    # A fixed one stays: 80 is still low.
    fixed = dips_of(v, t, hold_s=10.0)
    assert [(d.first, d.last) for d in fixed] == [(2, 3), (3, 7)]


@pytest.mark.parametrize("fixed", [None, 7.0], ids=["sliding", "fixed"])
def test_a_long_quiet_log_is_judged_against_one_reference_throughout(fixed: float | None) -> None:
    # Longer than the blocks in which it is worked out: score is reference less value everywhere.
    t = np.cumsum(np.random.default_rng(3).uniform(0.1, 0.3, 9000))
    v = 7.0 + 0.2 * np.sin(t / 40.0)
    dips, score = find_dips(t, v, pct=50, least=0, hysteresis_pct=2, fixed=fixed, settle_s=0.0)
    wanted = np.full(t.size, 7.0) if fixed else sliding_reference(t, v, 60.0, v[0])
    assert dips == []
    np.testing.assert_allclose(score, wanted - v, atol=1e-12)


def test_dips_beyond_the_first_block() -> None:
    v = np.full(9000, 100.0)
    v[[4095, 4096, 8500]] = 80.0
    assert [(d.first, d.last) for d in dips_of(v.tolist())] == [(4095, 4097), (8500, 8501)]
    assert [d.first for d in sliding(v.tolist())] == [4095, 8500]


def test_the_deviation_is_that_of_a_normal_distribution() -> None:
    assert pytest.approx(1.0 / stats.norm.ppf(0.75), rel=1e-14) == MAD_TO_SIGMA


def test_running_median_of_two_levels_by_hand() -> None:
    # Points every 12 / 12 = 1 s, each with the samples up to 6 s to either side, both included.
    # At 0 s: 0 to 6 s, (1 2 3 4 5 6 7), median 4, deviations (3 2 1 0 1 2 3), MAD 2. At 6 s: 0 to
    # 12 s, 1 to 13, median 7, MAD 3. At 12 s: median 10, MAD 2.
    median, sigma = running_median(seconds(13), 1.0 + seconds(13), 12.0)
    assert median[[0, 6, 12]].tolist() == [4.0, 7.0, 10.0]
    assert sigma[[0, 6, 12]] == pytest.approx(MAD_TO_SIGMA * np.array([2.0, 3.0, 2.0]))
    # An even number: at 1 s, 0 to 7 s, eight values: (4 + 5) / 2.
    assert median[1] == 4.5


def test_between_its_points_the_median_goes_straight() -> None:
    # Points 1 s apart (window 12 s), at 0 s the median of 0 to 6 s, at 1 s that of 0 to 7 s.
    t = np.r_[0.0, 0.25, seconds(14)[1:]]
    median, _ = running_median(t, 10.0 * t, 12.0)
    at_0 = 10 * np.median(t[t <= 6])
    at_1 = 10 * np.median(t[t <= 7])
    assert median[1] == pytest.approx(0.75 * at_0 + 0.25 * at_1)


def test_across_a_pause_longer_than_the_window_nothing_counts() -> None:
    t = np.array([0.0, 99.4])
    median, sigma = running_median(t, np.array([2.0, 4.0]), 12.0)
    assert median.tolist() == [2.0, 4.0]
    assert sigma.tolist() == [0.0, 0.0]
    t = np.array([0.0, 1.0, 50.5, 101.0, 102.0])
    median, _ = running_median(t, np.array([2.0, 2.0, 8.0, 4.0, 4.0]), 12.0)
    assert median.tolist() == [2.0, 2.0, 8.0, 4.0, 4.0]


@pytest.mark.parametrize(("floor", "sigma"), [(0.5, 0.5), (0.0, 0.0)])
def test_one_sample_is_its_own_median(floor: float, sigma: float) -> None:
    median, found = running_median(np.array([5.0]), np.array([3.0]), 30.0, floor=floor)
    assert (median.tolist(), found.tolist()) == ([3.0], [sigma])
