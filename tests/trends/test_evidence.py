"""The judgement of one place: chart, onset, level now and rate, worked out by hand."""

from __future__ import annotations

from math import hypot, log, sqrt

import numpy as np
import pytest

from telemetry.numerics.statistics.runs import change_limit
from telemetry.trends.evidence import (
    Judgement,
    charted_scores,
    is_sudden,
    judge_rise,
    level_now,
    measured_change,
    onset_of,
)
from telemetry.trends.parts import EvidencePart


def judgement(rise, *, onset=None, at=None, sd=None, step=False) -> Judgement:
    rise = np.asarray(rise, dtype=float)
    return Judgement(
        at=np.arange(rise.size) if at is None else np.asarray(at),
        score=rise,
        rise=rise,
        sd=np.ones(rise.size) if sd is None else np.broadcast_to(np.asarray(sd, float), rise.shape),
        charted=lambda: rise,
        limit=4.0,
        first=0,
        sure=False,
        onset=onset,
        step=step,
    )


def part(y, *, sigma=1.0, at=None, response=1.0, doubt=0.0) -> EvidencePart:
    """A feature whose scatter is known for sure: no single flight changes it."""
    y = np.asarray(y, dtype=float)
    return EvidencePart(
        name="air",
        at=np.arange(y.size) if at is None else np.asarray(at),
        y=y,
        se=np.zeros(y.size),
        sigma=sigma,
        weight=1e9,
        response=response,
        doubt=doubt,
    )


# Scores of the chart.


def test_scores_are_cut_at_three_quarters_of_the_limit() -> None:
    score, chart = charted_scores(np.array([10.0, -10.0, 0.0, 10.0, 10.0]), 4.0)
    assert score.tolist() == [3.0, -3.0, 0.0, 3.0, 3.0]
    # Five flights are known before the fourth score, six before the fifth; the pattern of a change
    # there is 5 / sqrt(6 * 5), 5 / sqrt(7 * 6).
    one, two = 5 / sqrt(30), 5 / sqrt(42)
    assert chart.high == pytest.approx(3.0 * (one + two) / hypot(one, two))
    assert chart.since == 3


def test_the_ewma_weighs_the_newest_flight_by_a_fifth_within_three_deviations() -> None:
    j = judgement([1.0, 0.0])
    assert j.ewma == pytest.approx([0.2, 0.16])
    # sigma of the first is the weight itself; of the second 0.2 sqrt(1 + 0.8^2).
    assert j.ewma_reach == pytest.approx([0.6, 0.6 * sqrt(1.64)])


def test_mean_rise_is_over_the_flights_with_it() -> None:
    assert judgement([5.0, 1.0, 2.0, 6.0], onset=1).mean_rise == pytest.approx(3.0)


# Onset.


@pytest.mark.parametrize(
    ("rise", "last", "expected"),
    [
        pytest.param([0, 0, 0, 1, 1, 1], 4, (3, True), id="step"),
        pytest.param([0, 0, 0, 1, 2, 3], 4, (3, False), id="growth"),
        pytest.param([7, 7, 7, 8, 8, 8], 4, (3, True), id="wherever it stands"),
        pytest.param([0, 0, 0, 1], 3, (3, False), id="one flight with it is either: growth"),
        pytest.param([0, 1, 1, 1], 2, (1, True), id="there is a flight before it"),
        # The step is in the flight after the signal: growth from the fourth on explains
        # 1.4^2 / 3.2 = 0.61, a step there 0.6^2 / 1.2 = 0.30.
        pytest.param([0, 0, 0, 0, 1], 3, (3, False), id="not after the signal"),
        # From the fourth flight on: step 1.5^2 / 1.2 = 1.875, growth 2.5^2 / 3.2 = 1.95.
        pytest.param([0, 0, 0, 1, 1.5], 4, (3, False), id="rather growth"),
        # Step 1.32^2 / 1.2 = 1.45, growth 2.08^2 / 3.2 = 1.35.
        pytest.param([0, 0, 0, 1, 1.2], 4, (3, True), id="rather a step"),
        pytest.param([1.0], 0, (0, False), id="nothing before the signal"),
    ],
)
def test_onset(rise, last: int, expected: tuple[int, bool]) -> None:
    assert onset_of(np.array(rise, dtype=float), last) == expected


# Level, rate, interval.


def test_a_gradual_change_stands_where_its_line_ends() -> None:
    # 1 a flight; deviation of one flight 0.5, of three 0.5 / sqrt(3); the response's doubt 0.3.
    j = judgement([0, 0, 0, 1, 2, 3, 4, 5], onset=3, sd=[9, 9, 9, 0.1, 0.4, 0.5, 0.6, 7])
    found = measured_change(j, 0.3)
    reach = 1.96 * hypot(0.5 / sqrt(3), 0.3)
    assert (found.now, found.per_flight) == pytest.approx((5.0, 1.0))
    assert (found.low, found.high) == pytest.approx((5.0 - reach, 5.0 + reach))
    # From the flight before the onset on: six flights in perfect order, one of 6! = 720.
    assert found.p_trend == pytest.approx(1 / 720)
    assert found.per_flight_low == pytest.approx(1.0)
    assert found.per_flight_high == pytest.approx(1.0)


def test_the_interval_of_two_flights_is_that_of_two() -> None:
    found = measured_change(judgement([0, 0, 1, 3], onset=2, sd=0.5), 0.0)
    assert (found.now, found.per_flight) == pytest.approx((2.0, 1.5))
    assert found.high - found.now == pytest.approx(1.96 * 0.5 / sqrt(2))


def test_a_step_stands_at_the_mean_of_the_last_four() -> None:
    j = judgement([0, 0, 0, 9, 1, 2, 3, 4], onset=3, sd=[9, 9, 9, 1, 2, 3, 4, 5], step=True)
    found = measured_change(j, 2.0)
    reach = 1.96 * hypot(3 / 2, 2.0)
    assert (found.low, found.now, found.high) == pytest.approx((2.5 - reach, 2.5, 2.5 + reach))
    # Slopes of the 15 pairs of 0, 9, 1, 2, 3, 4: four fall, 1/2, 2/3, 3/4 and then 4/5 follow.
    assert found.per_flight == pytest.approx(0.8)


def test_the_rate_is_by_flights_not_by_values() -> None:
    found = measured_change(judgement([0, 0, 1, 2, 3], onset=2, at=[0, 2, 4, 6, 8]), 0.0)
    assert found.per_flight == pytest.approx(0.5)
    assert found.now == pytest.approx(3.0)


def test_no_rate_from_two_flights_one_from_three() -> None:
    two = measured_change(judgement([0, 0, 0, 3], onset=3), 0.0)
    assert (two.per_flight, two.per_flight_low, two.per_flight_high) == (None, None, None)
    # 0 and 3 in order: one of two orders.
    assert (two.now, two.p_trend) == pytest.approx((3.0, 0.5))
    assert two.high == pytest.approx(3.0 + 1.96)
    three = measured_change(judgement([0, 0, 3, 4], onset=2), 0.0)
    assert three.per_flight == pytest.approx(2.0)
    assert three.p_trend == pytest.approx(1 / 6)


def test_a_change_from_the_very_first_flight_has_none_before_it() -> None:
    found = measured_change(judgement([1, 2, 3], onset=0), 0.0)
    assert (found.now, found.per_flight, found.p_trend) == pytest.approx((3.0, 1.0, 1 / 6))


@pytest.mark.parametrize(
    ("x", "y", "level"),
    [
        pytest.param([4], [3], 3.0, id="one"),
        pytest.param([0, 1], [1, 3], 2.0, id="two: their mean"),
        pytest.param([0, 1, 2], [1, 3, 5], 5.0, id="three: a line"),
        pytest.param([0, 2, 4], [1, 3, 5], 5.0, id="with flights between"),
        # y = x^2: slopes of pairs are sums of their x. Of the last six, 0 to 5, the middle one is
        # 5; x^2 - 5 x + 25 has the middle value 21 (of all seven 20, of five 22).
        pytest.param(range(7), [(x - 1.0) ** 2 for x in range(7)], 21.0, id="the last six"),
    ],
)
def test_level_now(x, y, level: float) -> None:
    assert level_now(np.array(x, float), np.array(y, float)) == pytest.approx(level)


# What is a step.


@pytest.mark.parametrize(
    ("rise", "onset", "sd", "sudden"),
    [
        pytest.param([0, 0, 0, 9, 18, 20, 20, 20, 20], 3, 1.0, True, id="45 % in one flight"),
        pytest.param([0, 0, 0, 8.9, 17.8, 20, 20, 20, 20], 3, 1.0, False, id="less"),
        pytest.param([0, 0, 0, 9, 18, 20, 20, 20, 20], 3, 4.5, False, id="two deviations"),
        pytest.param([0, 0, 0, 9, 18, 20, 20, 20, 20], 3, 4.4, True, id="more than two"),
        # Level: the middle of the last four, 25 (of five 20, of three 30): 45 % of it are 11.25.
        pytest.param([0, 0, 11, 10, 20, 30, 40], 2, 0.5, False, id="level of the last four, low"),
        pytest.param([0, 0, 12, 10, 20, 30, 40], 2, 0.5, True, id="level of the last four, high"),
        # Level 10, jumps of 5; without the first flight with it, 12.5.
        pytest.param([0, 0, 0, 5, 10, 15], 3, 0.5, True, id="its first flight counts"),
        # From 2 to 3.5: 1.5 is less than 45 % of 3.5 = 1.575; of the mean of both it is more.
        pytest.param([0, 2, 3.5], 2, 0.5, False, id="the flight before it does not"),
        # A jump long before the onset is none of it.
        pytest.param([0, 20, 20, 20, 24, 28, 30, 30, 30, 30], 4, 0.5, False, id="not earlier"),
        pytest.param([9, 9, 9, 9, 0, 0, 0, 3], 7, 1.0, False, id="the largest step is a fall"),
        pytest.param([0, 5, 5, 5], 0, 0.5, True, id="from the first flight"),
        pytest.param([5, 5, 5], 1, 0.5, False, id="no movement"),
        pytest.param([0, 5], 1, 0.5, False, id="two flights tell no step"),
    ],
)
def test_sudden(rise, onset: int, sd: float, sudden: bool) -> None:
    assert is_sudden(judgement(rise, onset=onset, sd=sd)) is sudden


def test_deviation_of_a_step_is_that_of_the_middle_flight() -> None:
    rise = [0, 0, 9, 9, 9]
    assert is_sudden(judgement(rise, onset=2, sd=[99, 99, 4.4, 1, 1]))
    assert not is_sudden(judgement(rise, onset=2, sd=[1, 1, 4.6, 99, 99]))


# All together.

RUN = 1000.0
# A step of eight deviations in flight 6 of 10. Judged from the third flight on, so flight 6 is the
# fifth value. Each flight with it is cut at three quarters of the limit: the second is over it.
STEP = [0.0] * 6 + [8.0] * 4


def test_a_step_of_eight_deviations() -> None:
    j = judge_rise([part(STEP)], 10, run=RUN)
    assert j is not None
    limit = change_limit(RUN)
    assert j.limit == limit
    assert j.at.tolist() == [2, 3, 4, 5, 6, 7, 8, 9]
    assert (j.signal, j.onset, j.step, j.first) == (5, 4, True, 0)
    assert j.chart[4] < limit < j.chart[5]
    assert j.score[3:6] == pytest.approx([0.0, 0.75 * limit, 0.75 * limit])
    # Against the mean of the six flights before: deviation sqrt(1 + 1 / 6) of each, of four half.
    assert j.rise == pytest.approx([0, 0, 0, 0, 8, 8, 8, 8])
    assert j.sd[4:] == pytest.approx(sqrt(7 / 6))
    assert j.now == pytest.approx(8.0)
    assert j.high - j.now == pytest.approx(1.96 * sqrt(7 / 6) / 2)
    assert j.sure


def test_the_doubt_of_the_response_widens_the_interval() -> None:
    # The feature moves by 2 for 1 of the fault: a rise of 4; its response is unsure by 0.25 of it.
    j = judge_rise([part(STEP, response=2.0, doubt=0.25)], 10, run=RUN)
    assert j is not None
    assert j.now == pytest.approx(4.0)
    assert j.high - j.now == pytest.approx(1.96 * hypot(sqrt(7 / 6) / 4, 0.25 * 4.0))


def test_a_fall_is_told_with_its_sign_turned() -> None:
    down = [-y for y in STEP]
    j = judge_rise([part(down)], 10, run=RUN, sign=-1.0)
    assert j is not None
    assert (j.signal, j.onset) == (5, 4)
    assert j.now == pytest.approx(8.0)
    assert (j.rise[-1], j.score[-1] > 0) == (pytest.approx(8.0), True)
    upwards = judge_rise([part(down)], 10, run=RUN)
    assert upwards is not None
    assert (upwards.signal, upwards.onset, upwards.sure) == (None, None, False)
    assert (upwards.low, upwards.now, upwards.high, upwards.p_trend) == (0.0, 0.0, 0.0, 1.0)
    assert not upwards.step
    assert not upwards.uncured
    assert upwards.rise[-1] < 0


@pytest.mark.parametrize(
    ("sign", "rise"), [(1.0, 1.0), (-1.0, 0.5)], ids=["doubled: + 100 %", "halved: - 50 %"]
)
def test_logarithms_are_told_as_shares(sign: float, rise: float) -> None:
    y = [0.0] * 6 + [sign * log(2.0)] * 4
    j = judge_rise([part(y, sigma=0.05)], 10, run=RUN, sign=sign, logarithmic=True)
    assert j is not None
    assert j.now == pytest.approx(rise)
    # The deviation of the logarithm times what it is the logarithm of.
    assert j.sd[-1] == pytest.approx(0.05 * sqrt(7 / 6) * 2.0**sign)
    assert j.sd[0] == pytest.approx(0.05 * sqrt(1.5))


def test_without_a_signal_the_rise_is_against_all_flights_before() -> None:
    j = judge_rise([part([0.0, 1.0, 2.0])], 3, run=RUN)
    assert j is not None
    assert (j.at.tolist(), j.signal) == ([2], None)
    assert (j.rise[0], j.sd[0]) == pytest.approx((1.5, sqrt(1.5)))
    assert j.score[0] == pytest.approx(sqrt(1.5))
    assert j.chart[0] == 0.0


def test_two_flights_tell_nothing() -> None:
    assert judge_rise([part([0.0, 1.0])], 2, run=RUN) is None
    assert judge_rise([], 5, run=RUN) is None


def test_flights_before_the_first_of_the_baseline_are_left_out() -> None:
    y = [50.0, 50.0, 50.0, *STEP]
    j = judge_rise([part(y)], 13, run=RUN, first=3)
    assert j is not None
    assert (j.first, j.at[0], j.onset) == (3, 5, 4)
    assert j.now == pytest.approx(8.0)


def test_onset_is_an_index_among_the_flights_that_have_it() -> None:
    """Every other flight has it: the baseline are the first six of them, up to flight 10."""
    j = judge_rise([part(STEP, at=range(0, 20, 2))], 20, run=RUN)
    assert j is not None
    assert j.onset is not None
    assert j.at[j.onset] == 12
    assert j.sd[-1] == pytest.approx(sqrt(7 / 6))


def test_sure_only_where_the_stricter_limit_is_exceeded_too() -> None:
    # Limits of 3.4 and 5.6. Two flights of three deviations after six: 3 / sqrt(1/6 + 1/2) = 3.67,
    # each cut at 2.5 for the first limit, which leaves 3.5.
    y = [0.0] * 6 + [3.0] * 2
    j = judge_rise([part(y)], 8, run=RUN, strict=1e7)
    assert j is not None
    assert j.signal == 5
    assert not j.sure
    more = judge_rise([part([0.0] * 6 + [8.0] * 4)], 10, run=RUN, strict=1e7)
    assert more is not None
    assert more.sure


def test_what_has_gone_back_is_past() -> None:
    j = judge_rise([part([*STEP, *[0.0] * 30])], 40, run=RUN)
    assert j is not None
    assert j.chart.max() > j.limit
    assert (j.signal, j.onset, j.now) == (None, None, 0.0)


def test_a_change_that_stays_is_never_taken_for_usual() -> None:
    j = judge_rise([part([0.0] * 8 + [3.0] * 150)], 158, run=30000.0)
    assert j is not None
    assert j.onset is not None
    assert (int(j.at[j.onset]), j.now) == (8, pytest.approx(3.0))


def test_a_change_does_not_hide_in_the_scatter_it_makes() -> None:
    """The scatter is taken beside the change: with that of all flights it would not be told."""
    wobble = [0.5, -0.5] * 4
    y = np.array(wobble + [4.0 + w for w in wobble])
    unsure = EvidencePart(name="air", at=np.arange(16), y=y, se=np.zeros(16), sigma=1.5, weight=4.0)
    j = judge_rise([unsure], 16, run=30000.0)
    assert j is not None
    assert j.onset == 6
    # Scatter: (4 * 1.5^2 + 16 * 0.25) / (4 + 14), and that of the mean of eight flights.
    assert j.sd[-1] == pytest.approx(sqrt(13 / 18 * (1 + 1 / 8)), rel=1e-3)


def test_flights_that_the_chart_dates_too_early_are_learnt_from_after_all() -> None:
    """Two flights at 0.9 lie before a step two flights later, so they are baseline.

    Mean of the six flights before it: 1.8 / 6 = 0.3.
    """
    y = [0.0] * 4 + [0.9] * 2 + [8.0] * 4
    j = judge_rise([part(y)], 10, run=RUN)
    assert j is not None
    assert (j.onset, j.step) == (4, True)
    assert j.now == pytest.approx(7.7)


def test_a_return_to_what_was_usual_is_no_change_the_other_way() -> None:
    high = part([0.0] * 20 + [5.0] * 20 + [0.0] * 30)
    for end in range(42, 71, 4):
        j = judge_rise([high.until(end)], end, run=RUN, sign=-1.0)
        assert j is not None
        assert (j.signal, j.onset) == (None, None)
    # While it stood it was told; twice is as once.
    up = judge_rise([high.until(40)], 40, run=RUN)
    assert up is not None
    assert up.onset is not None
    again = part([0.0] * 20 + ([5.0] * 10 + [0.0] * 10) * 2)
    twice = judge_rise([again], 60, run=RUN, sign=-1.0)
    assert twice is not None
    assert twice.signal is None


def test_a_fall_below_what_was_usual_before_a_rise_is_told_in_its_size() -> None:
    j = judge_rise([part([0.0] * 20 + [5.0] * 10 + [-4.0] * 10)], 40, run=RUN, sign=-1.0)
    assert j is not None
    assert j.onset is not None
    assert (int(j.at[j.onset]), j.now) == (30, pytest.approx(4.0))


def test_what_stood_for_fifty_flights_is_usual() -> None:
    for stood, told in ((45, False), (55, True)):
        y = [0.0] * 10 + [5.0] * stood + [0.0] * 20
        j = judge_rise([part(y)], len(y), run=RUN, sign=-1.0)
        assert j is not None
        assert (j.onset is not None) == told


def test_a_rise_after_one_that_went_back_is_told() -> None:
    j = judge_rise([part([0.0] * 10 + [5.0] * 10 + [0.0] * 60 + [4.0] * 8)], 88, run=RUN)
    assert j is not None
    assert j.onset is not None
    assert int(j.at[j.onset]) == 80
    assert j.now == pytest.approx(4.0, abs=0.8)
