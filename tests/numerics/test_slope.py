"""The estimator's parts by hand: trends, steps of the sensors, weights, instruments, intervals."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from telemetry.numerics.resistance import slope
from telemetry.numerics.resistance.matching import Curve, Match, Rings
from telemetry.numerics.resistance.moments import Equations
from telemetry.numerics.resistance.signals import (
    ResponseSteps,
    Sensed,
    Signals,
    SlopeTrend,
)
from telemetry.numerics.resistance.slope import fall_per_ampere

FloatArray = NDArray[np.float64]
UNIFORM = 12.0**0.5  # a step over this is the standard deviation of an error within it
NONE = np.empty(0)


def steps(n: int, step: float = 0.0, swing: float = 1e9) -> ResponseSteps:
    """Every reading a run of its own; a swing so wide that single steps do not matter."""
    return ResponseSteps(step=step, run=np.arange(n), swing=swing)


def one_run(n: int, step: float = 0.0, swing: float = 1e9) -> ResponseSteps:
    return ResponseSteps(step=step, run=np.zeros(n, dtype=np.intp), swing=swing)


def signals(
    n: int = 16,
    *,
    y: FloatArray | None = None,
    t_i: FloatArray | None = None,
    i: FloatArray | None = None,
    steps_v: tuple[ResponseSteps, ...] | None = None,
    steps_i: ResponseSteps | None = None,
    common: FloatArray | None = None,
    window_s: float = 0.0,
    lag_s: float = 0.0,
) -> Signals:
    t = np.arange(float(n))
    at = t if t_i is None else t_i
    return Signals(
        t=t,
        y=np.zeros(n) if y is None else y,
        amps=Curve(at, np.zeros(at.size) if i is None else i),
        match=Match(lag_s, window_s),
        steps_v=(steps(n),) if steps_v is None else steps_v,
        steps_i=steps(n) if steps_i is None else steps_i,
        common=common,
    )


def quantile(free: float) -> float:
    return float(stats.t.ppf(0.975, free))


def walk(n: int, seed: int = 5) -> FloatArray:
    """A current that wanders within a second or two."""
    rng = np.random.default_rng(seed)
    return 4.0 + np.asarray(signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal(n)))


# Steps of a sensor


def test_readings_of_one_run_share_their_error() -> None:
    # Weights 1 + 1 in the first run and 2 in the second: sqrt(4 + 4) of step / sqrt(12).
    found = ResponseSteps(step=0.3, run=np.array([0, 0, 1]), swing=1.0)
    assert found.sd(np.array([1.0, 1.0, 2.0])) == pytest.approx(0.3 / UNIFORM * 8**0.5)
    part = found.of_rows(np.array([False, True, True]))
    assert part.sd(np.array([1.0, 3.0])) == pytest.approx(0.3 / UNIFORM * 10**0.5)
    assert (part.step, part.swing) == (0.3, 1.0)


@pytest.mark.parametrize(
    ("step", "runs"),
    [
        (1.0, [0, 0, 1, 2, 2]),  # changes of 0.25 (no new reading), 0.5, -2 and 0
        (0.5, [0, 1, 2, 3, 3]),
        (2.0, [0, 0, 0, 1, 1]),
        (None, [0, 1, 2, 3, 3]),
    ],
)
def test_a_change_of_over_a_quarter_step_begins_a_run(step: float | None, runs: list[int]) -> None:
    t = np.arange(5.0)
    found = Sensed(t, np.array([3.0, 3.25, 3.75, 1.75, 1.75]), step).steps_behind(t)
    assert found.run.tolist() == runs
    assert found.step == (step or 0.0)


def test_rows_at_other_instants_take_the_nearest_reading() -> None:
    t, at = np.arange(5.0), np.array([-9.0, 0.4, 0.5, 1.6, 2.5, 3.4, 9.0])
    found = Sensed(t, 10.0 * t, 1.0).steps_behind(at)
    assert found.run.tolist() == [0, 0, 1, 2, 3, 3, 4]


def test_the_usual_swing_leaves_two_per_cent_to_either_side() -> None:
    # 101 readings about their parabola (by numpy's polyfit): the third from either end.
    t = np.arange(101.0)
    v = np.random.default_rng(4).standard_normal(101) + 0.01 * t**2
    left = np.sort(v - np.polyval(np.polyfit(t, v, 2), t))
    assert Sensed(t, v, 0.1).steps_behind(t).swing == pytest.approx(left[98] - left[2])


def test_a_part_of_the_rows_keeps_what_belongs_to_them() -> None:
    rows = np.array([True, False, True])
    whole = Signals(
        t=np.array([1.0, 2.0, 3.0]),
        y=np.array([4.0, 5.0, 6.0]),
        amps=Curve(np.arange(9.0), np.arange(9.0)),
        match=Match(0.1, 0.2),
        steps_v=(steps(3, 0.1),),
        steps_i=ResponseSteps(step=0.2, run=np.array([5, 6, 7]), swing=1.0),
        common=np.array([7.0, 8.0, 9.0]),
        usable=np.array([True, True, False]),
    )
    part = whole.of_rows(rows)
    assert (part.t.tolist(), part.y.tolist()) == ([1, 3], [4, 6])
    assert [x.run.tolist() for x in (*part.steps_v, part.steps_i)] == [[0, 2], [5, 7]]
    assert part.common is not None
    assert part.common.tolist() == [7, 9]
    assert part.usable is not None
    assert part.usable.tolist() == [True, False]
    assert part.amps.t.size == 9
    bare = signals(3).of_rows(rows)
    assert (bare.common, bare.usable, bare.reach_s) == (None, None, 0.0)


@pytest.mark.parametrize(("step_i", "slower"), [(5.0, False), (6.0, False), (6.001, True)])
def test_a_current_within_a_fifth_counts_as_read_as_often(step_i: float, slower: bool) -> None:
    s = signals(4, t_i=step_i * np.arange(4.0))
    five = Signals(
        t=5.0 * s.t, y=s.y, amps=s.amps, match=s.match, steps_v=s.steps_v, steps_i=s.steps_i
    )
    assert five.slow_current is slower


# Trend


@pytest.mark.parametrize(
    ("length", "order"),
    [(149.9, 2), (150.0, 3), (300.0, 4), (2100.0, 16), (3000.0, 16)],
)
def test_the_order_of_the_trend_grows_with_every_150_s(length: float, order: int) -> None:
    t = 50.0 + np.linspace(0.0, length, 400)
    trend = SlopeTrend(t)
    at = np.linspace(-1.0, 1.0, 400)
    highest = np.polynomial.legendre.Legendre.basis(order)(at)
    beyond = np.polynomial.legendre.Legendre.basis(order + 1)(at)
    assert np.abs(trend.without(highest)).max() < 1e-9
    assert np.abs(trend.without(beyond)).max() > 0.5
    assert trend.without(beyond) @ highest == pytest.approx(0.0, abs=1e-8)


# Slower responses


def test_a_slower_response_has_come_by_its_share() -> None:
    found = slope.answered_share(6.0, np.array([6.0, 12.0]))
    assert found == pytest.approx([1.0, 1 - np.exp(-1.0), 1 - np.exp(-0.5)])
    assert slope.answered_share(3.0, NONE).tolist() == [1.0]


def level_and_slower(n: int = 40) -> Equations:
    """An immediate term and a slower one, in rows of their own: 0.02 and 0.01 without noise."""
    own = np.arange(2 * n) < n
    x = np.stack([own, ~own], axis=1).astype(float)
    wobble = np.tile([1.0, -1.0], n)
    return Equations(
        x=x,
        z=x,
        y=x @ [0.02, 0.01] + 0.001 * wobble,
        weight=np.ones(2 * n),
        block=np.arange(2 * n),
    )


def test_slower_responses_are_drawn_to_a_tenth_of_the_whole() -> None:
    # The data's precision: n rows over the scatter at the answer before, nine tenths of its own and
    # a tenth of the mean of both (80 blocks). The prior's: a tenth of the size with a standard
    # deviation of a fifth of it, where the size is what has come after 1 s: first of 0.02 alone,
    # then of the first answer.
    size, slower = 0.02, 0.0
    for _ in range(2):
        own = (0.01 - slower) ** 2 + 1e-6
        data = 40 / ((0.9 * own + 0.1 * (own + 1e-6) / 2) * 80 / 79)
        held = (0.2 * size) ** -2
        slower = (data * 0.01 + held * 0.1 * size) / (data + held)
        wide, size = held, 0.02 + (1 - np.exp(-1.0)) * slower
    found = slope.solve_responses(level_and_slower(), np.array([1.0]))
    assert found is not None
    assert found.theta == pytest.approx([0.02, slower], rel=1e-9)
    assert found.prior.precision == pytest.approx([0.0, wide])


def equations(y: FloatArray, x: FloatArray, weight: FloatArray | None = None) -> Equations:
    w = np.ones(y.size) if weight is None else weight
    return Equations(
        x=x[:, None], z=(x * w)[:, None], y=y, weight=w, block=np.arange(y.size, dtype=np.intp)
    )


SWING = np.tile([1.0, -1.0], 8)
APART = np.tile([1.0, 1.0, -1.0, -1.0], 4)  # nothing in common with SWING
TREND = SlopeTrend(np.arange(16.0))


def test_an_instrument_that_runs_against_the_current_tells_nothing() -> None:
    e = equations(2 * SWING + APART, SWING)
    turned = Equations(x=e.x, z=-e.z, y=e.y, weight=e.weight, block=e.block)
    across = Equations(x=e.x, z=0 * e.z, y=e.y, weight=e.weight, block=e.block)
    assert slope.solve_responses(turned, NONE) is None
    assert slope.solve_responses(across, NONE) is None
    assert slope.best_interval(turned, NONE, signals(), TREND, 0.0) is None


# Slope 2, residuals +-1: a block's part against the others is 1/15, sixteen of them.
HALF = quantile(14) * 4 / 15


@pytest.mark.parametrize("gain", [0.0, 0.03, 0.2])
def test_the_gain_is_added_in_squares(gain: float) -> None:
    found = slope.best_interval(equations(2 * SWING + APART, SWING), NONE, signals(), TREND, gain)
    assert found is not None
    half = np.hypot(HALF, 2 * gain)
    assert found[:3] == pytest.approx((2.0, 2.0 - half, 2.0 + half))
    assert (found.scale_s, found.method) == (None, "instrumental variables")


@pytest.mark.parametrize(
    ("tau", "scale"), [(1.0, 0.5), (4.0, 1.0), (8.0, 2.0), (16.0, 4.0), (30.0, 8.0)]
)
def test_the_scale_told_best_is_chosen(tau: float, scale: float) -> None:
    # Of 0.5, 1, 2, 4, 8 s the one with the least spread, relative to what has come by then.
    e, taus = level_and_slower(), np.array([tau])
    found = slope.best_interval(e, taus, signals(80), SlopeTrend(np.arange(80.0)), 0.0)
    solution = slope.solve_responses(e, taus)
    assert found is not None
    assert solution is not None
    spreads = []
    for s in (0.5, 1.0, 2.0, 4.0, 8.0):
        wanted = np.array([1.0, 1 - np.exp(-s / tau)])
        variance = wanted @ solution.covariance @ wanted
        spreads.append((variance**0.5 / (wanted @ solution.theta), s))
    assert found.scale_s == min(spreads)[1] == scale
    assert found.value == pytest.approx(0.02 + 0.01 * (1 - np.exp(-scale / tau)), rel=2e-3)


def test_of_a_resistance_of_nothing_the_slower_part_is_held_to_a_microohm() -> None:
    # Nothing at once, and a slower part without data of its own: a tenth of 1e-6 with a standard
    # deviation of a fifth of it.
    e = equations(APART, SWING)
    twice = Equations(
        x=np.stack([SWING, 0 * SWING], axis=1),
        z=np.stack([SWING, np.roll(APART, 1)], axis=1),
        y=e.y,
        weight=e.weight,
        block=e.block,
    )
    found = slope.solve_responses(twice, np.array([1.0]))
    assert found is not None
    assert found.prior.mean == pytest.approx([0.0, 1e-7], abs=1e-12)
    assert found.prior.precision == pytest.approx([0.0, (2e-7) ** -2])


# What the sensors' steps and gains do


def test_steps_of_voltages_and_of_the_current_add_in_squares() -> None:
    # mix (0.3 0.4): sd of a sensor 0.5 step / sqrt(12); the current's times the resistance.
    mix = np.array([0.3, 0.4])
    s = signals(2, steps_v=(steps(2, 0.1), steps(2, 0.2)), steps_i=steps(2, 0.4))
    one = 0.5 / UNIFORM
    expected = 2 * one * (0.1**2 + 0.2**2 + (3 * 0.4) ** 2) ** 0.5
    assert slope.beyond_scatter(mix, 3.0, s) == pytest.approx(expected)


def test_a_gain_between_two_voltage_sensors_brings_in_one_per_cent() -> None:
    # 0.01 (0.3 * 10 + 0.4 * 20) = 0.11 beside a step's 2 (0.5) 0.1 / sqrt(12).
    mix, common = np.array([0.3, 0.4]), np.array([10.0, 20.0])
    s = signals(2, steps_v=(steps(2, 0.1),), common=common)
    assert slope.beyond_scatter(mix, 0.0, s) == pytest.approx(np.hypot(0.1 / UNIFORM, 0.11))


def few(
    *,
    value: float = 0.0,
    step_i: float = 0.0,
    swing_i: float = 2.0,
    step_v: float = 0.1,
    swing_v: float = 0.4,
    range_v: float = 0.4,
    missed: float = 0.0,
) -> float:
    s = signals(
        2,
        y=np.array([0.0, range_v]),
        steps_v=(steps(2, step_v, swing_v),),
        steps_i=steps(2, step_i, swing_i),
    )
    return slope.few_steps_sd(s, value, missed)


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        # A swing of four steps of 0.1 V over 2 A is told to 0.4 / 4 of a step: 0.4 (0.1) / 4 / 2.
        ({}, 0.005),
        ({"swing_i": 4.0}, 0.0025),
        ({"swing_v": 0.2, "range_v": 0.2}, 0.01),
        # Under half a step it is told as half a step is.
        ({"swing_v": 0.02, "range_v": 0.02}, 0.04),
        ({"swing_v": 0.05, "range_v": 0.05}, 0.04),
        # A level that passes two steps more than the swing tells it three times.
        ({"range_v": 0.6}, 0.005 / 3**0.5),
        ({"range_v": 0.2}, 0.005),
        # What is missed beyond a quarter of a squared step blurs it: here by half a squared step.
        ({"missed": 0.0025}, 0.005),
        ({"missed": 0.0075}, 0.005 * np.exp(-(np.pi**2))),
        ({"missed": 0.0030}, 0.005 * np.exp(-0.1 * np.pi**2)),
        # The current's: 0.4 value (step / swing)^2.
        ({"step_v": 0.0, "value": 0.05, "step_i": 0.5}, 0.4 * 0.05 / 16),
        ({"value": 0.2, "step_i": 0.5}, 0.005 * 2**0.5),
        ({"step_v": 0.0}, 0.0),
        ({"step_v": -1.0}, 0.0),
    ],
    ids=str,
)
def test_a_swing_of_few_steps_is_told_by_hand(more: dict[str, float], expected: float) -> None:
    assert few(**more) == pytest.approx(expected, rel=1e-9)


def test_a_sensor_without_steps_does_not_hide_the_next() -> None:
    s = signals(
        2,
        y=np.array([0.0, 0.4]),
        steps_v=(steps(2, 0.0), steps(2, 0.1, 0.4)),
        steps_i=steps(2, 0.0, 2.0),
    )
    assert slope.few_steps_sd(s, 0.0, 0.0) == pytest.approx(0.005)
    still = signals(2, y=s.y, steps_v=(steps(2, 0.1, 0.4),), steps_i=steps(2, 0.0, 0.0))
    assert slope.few_steps_sd(still, 0.0, 0.0) == pytest.approx(0.01 / 1e-9)


def test_few_steps_count_twice_in_the_interval() -> None:
    # Slope 2, no gain, a voltage in steps of 1 V that swings over half a step on 2 A, all rows in
    # one run (so its error drops out of the slope): 0.4 / 0.5 / 2, over the steps that the level
    # passes: from -3 to 3 V less the swing, 5.5 of them. Residuals 1 V: a blur of 0.75 steps.
    y = 2 * SWING + APART
    s = signals(y=y, steps_v=(one_run(16, 1.0, 0.5),), steps_i=one_run(16, 0.0, 2.0))
    found = slope.best_interval(equations(y, SWING), NONE, s, TREND, 0.0)
    assert found is not None
    few_v = 0.4 * np.exp(-2 * np.pi**2 * 0.75) / 6.5**0.5
    assert found.high - 2 == pytest.approx(np.hypot(HALF, 2 * few_v))
    # Residuals of half a volt are what steps alone make; now all of it is felt.
    y = 2 * SWING + 0.5 * APART
    s = signals(y=y, steps_v=(one_run(16, 1.0, 0.5),), steps_i=one_run(16, 0.0, 2.0))
    found = slope.best_interval(equations(y, SWING), NONE, s, TREND, 0.0)
    assert found is not None
    half = np.hypot(HALF / 2, 2 * 0.4 / (1 + 4.5) ** 0.5)
    assert (found.low, found.high) == pytest.approx((2 - half, 2 + half))


# Between both regressions


@pytest.mark.parametrize(
    ("step_v", "missed"), [(0.0, 1.0), (UNIFORM / 2, 0.75), (2 * UNIFORM, 0.0)], ids=str
)
def test_between_the_regressions_by_hand(step_v: float, missed: float) -> None:
    # Of voltage on current: 2, residuals of variance 1, of which the steps made step^2 / 12; the
    # current's variance is 1. Of current on voltage: 2 (1 + missed / 4). The truth lies between;
    # the value is their geometric mean.
    y = 2 * SWING + APART
    s = signals(y=y, steps_v=(one_run(16, step_v, 1e9),))
    found = slope.regression_bounds(equations(y, SWING), NONE, s, TREND, 0.0)
    factor = 1 + missed / 4
    assert found is not None
    expected = (2 * factor**0.5, 2 - HALF, (2 + HALF) * factor)
    assert found[:3] == pytest.approx(expected, rel=1e-6)
    assert found.method == "between both regressions"


def test_a_slower_current_gives_both_sides_half_as_much_again() -> None:
    y = 2 * SWING + APART
    s = signals(y=y, t_i=2.0 * np.arange(8.0))
    found = slope.regression_bounds(equations(y, SWING), NONE, s, TREND, 0.0)
    assert found is not None
    slack = 1.25**0.25
    expected = (2 * 1.25**0.5, (2 - HALF) / slack, (2 + HALF) * 1.25 * slack)
    assert found[:3] == pytest.approx(expected)


def test_the_regressions_go_by_the_weights() -> None:
    # Weights 1.5 and 0.5 in turns of four; residuals 1 where 1.5, 2 where 0.5: the mean square is
    # (1.5 + 0.5 (4)) / 2 = 1.75. The current swings by 1 and 3: (1.5 + 0.5 (9)) / 2 = 3.
    heavy = np.tile(np.repeat([True, False], 4), 2)
    x = np.where(heavy, SWING, 3 * SWING)
    y = 2 * x + np.where(heavy, APART, 2 * APART)
    found = slope.regression_bounds(
        equations(y, x, np.where(heavy, 1.5, 0.5)), NONE, signals(y=y), TREND, 0
    )
    assert found is not None
    assert found.value == pytest.approx(2 * (1 + 1.75 / (4 * 3)) ** 0.5)


def test_a_voltage_that_rises_with_the_current_has_no_bounds() -> None:
    y = -2 * SWING + APART
    assert slope.regression_bounds(equations(y, SWING), NONE, signals(y=y), TREND, 0.0) is None
    flat = equations(SWING, 0 * SWING)
    assert slope.regression_bounds(flat, NONE, signals(), TREND, 0.0) is None


# Weights


def two_regimes(calm: float, wild: float) -> tuple[Signals, FloatArray]:
    """A current that goes up and down by so much every second: 60 s calm, 60 s wild.

    What is asked for lies 20 s off the ends and the change.
    """
    t_i = np.arange(120.0)
    i = np.tile([1.0, -1.0], 60) * np.repeat([calm, wild], 60)
    at = np.r_[20.0:40.0, 80.0:100.0]
    return signals(40, t_i=t_i, i=i), at


def beyond(s: Signals, at: FloatArray) -> Rings:
    """Rings about these instants, from 2 s on."""
    return Rings(s.amps.t, at, 2.0)


def weights(
    s: Signals,
    at: FloatArray,
    calm_v: float,
    wild_v: float,
    *,
    sign: float = 1.0,
    step: float = 1.0,
) -> FloatArray:
    """Residuals of this size, which have nothing to do with the instrument (nor the current)."""
    x = np.tile([1.0, -1.0], 20)
    residual = np.tile([1.0, 1.0, -1.0, -1.0], 10) * np.repeat([calm_v, wild_v], 20)
    return slope.spread_weights(s, beyond(s, at), 5 * x + residual, x, sign * x, 2.0, step)


@pytest.mark.parametrize(
    ("calm_v", "wild_v", "expected"),
    [
        (1.0, 3.0, (1.8, 0.2)),  # variances 1 to 9, as the current's: weights 9 to 1
        (1.0, 2.0, (1.6, 0.4)),  # 1 to 4: weights 4 to 1
        (1.0, 1.0, (1.0, 1.0)),
        (2.0, 1.0, (1.0, 1.0)),  # less where the current swings more: not believed
    ],
)
def test_weights_go_against_the_spread_that_the_current_explains(
    calm_v: float, wild_v: float, expected: tuple[float, float]
) -> None:
    s, at = two_regimes(1.0, 3.0)
    found = weights(s, at, calm_v, wild_v)
    assert found == pytest.approx(np.repeat(expected, 20), rel=1e-6)
    assert weights(s, at, calm_v, wild_v, sign=-1.0) == pytest.approx(found)


@pytest.mark.parametrize(("step", "further"), [(1.0, False), (4 / 3, False), (2.0, True)])
def test_six_intervals_of_a_slow_current_are_looked_at(step: float, further: bool) -> None:
    # Within 8 s of the dead zone, and from there 8 s, the change of regime is out of reach; within
    # 12 s it is not.
    s, at = two_regimes(1.0, 3.0)
    found = weights(s, at, 1.0, 3.0, step=step)
    assert (found != pytest.approx(np.repeat([1.8, 0.2], 20), rel=1e-6)) is further


def test_where_no_current_was_read_the_weight_is_that_of_the_mean_spread() -> None:
    # Four of 40 instants far from any reading take the mean of the spreads, 5 against 1 and 9.
    s, at = two_regimes(1.0, 3.0)
    at[[16, 17, 18, 19]] = 1e6
    x = np.tile([1.0, -1.0], 20)
    spread = np.r_[np.full(16, 1.0), np.full(4, (16 + 9 * 20) / 36), np.full(20, 9.0)]
    residual = np.tile([1.0, 1.0, -1.0, -1.0], 10) * spread**0.5
    found = slope.spread_weights(s, beyond(s, at), 5 * x + residual, x, x, 2.0, 1.0)
    expected = 1 / spread
    assert found == pytest.approx(expected / expected.mean(), rel=1e-6)
    assert (
        slope.spread_weights(s, beyond(s, at + 1e6), residual, x, x, 2.0, 1.0).tolist()
        == [1.0] * 40
    )


def test_without_anything_to_weigh_all_weights_are_one() -> None:
    s, at = two_regimes(1.0, 3.0)
    ones = [1.0] * 40
    x = np.tile([1.0, -1.0], 20)
    across = np.tile([1.0, 1.0, -1.0, -1.0], 10)
    assert slope.spread_weights(s, beyond(s, at), across, x, across, 2.0, 1.0).tolist() == ones
    assert (
        slope.spread_weights(s, beyond(s, at), 5 * x, x, x, 2.0, 1.0).tolist() == ones
    )  # no residual


def test_four_readings_have_a_weight_each() -> None:
    # Two in the calm and two in the wild part: most kinds of spread are empty.
    s, at = two_regimes(1.0, 3.0)
    x = np.array([1.0, -1.0, 1.0, -1.0])
    y = 5 * x + np.array([1.0, 1.0, 3.0, 3.0])
    found = slope.spread_weights(s, beyond(s, at[[9, 10, 29, 30]]), y, x, x, 2.0, 1.0)
    assert found == pytest.approx([1.8, 1.8, 0.2, 0.2], rel=1e-6)


# The instrument


def ring(s: Signals, at: float, inner: float, outer: float) -> float:
    away = np.abs(s.amps.t - at)
    inside = (away >= inner) & (away <= outer)
    # Counted once on each side.
    return float(s.amps.v[inside].mean()) if inside.any() else np.nan


@pytest.mark.parametrize(
    ("period_s", "wide", "size", "width"),
    [
        (12.0, 60.0, 1.0, 1.0),
        (16.0, 60.0, 1.0, 2.0),
        (20.0, 60.0, 1.0, 4.0),
        (7.0, 60.0, 1.0, 8.0),
        (80.0, 60.0, 1.0, 16.0),
        (80.0, 60.0, 1e-3, 16.0),
        (80.0, 48.0, 1.0, 16.0),  # just a third
        (80.0, 47.0, 1.0, 4.0),
        (80.0, 2.0, 1.0, 1.0),  # the narrowest in any case
    ],
)
def test_the_ring_that_follows_the_current_best_is_taken(
    period_s: float, wide: float, size: float, width: float
) -> None:
    # The slow way: every ring of 1, 2, 4, 8, 16 intervals not over a third of the wide one.
    t_i = np.arange(0.0, 400.0)
    noise = np.random.default_rng(1).standard_normal(400)
    i = size * (np.sin(2 * np.pi * t_i / period_s) + noise)
    s = signals(4, t_i=t_i, i=i)
    at = np.arange(80.3, 320.0, 1.7)
    x = np.interp(at, t_i, i)
    around = np.array([ring(s, a, 2.0, 2.0 + wide) for a in at])
    best: list[tuple[float, float, FloatArray]] = []
    for each in (1.0, 2.0, 4.0, 8.0, 16.0):
        if each == 1.0 or each <= wide / 3:
            z = np.array([ring(s, a, 2.0, 2.0 + each) for a in at]) - around
            best.append((float(z @ x) / float(np.sqrt(z @ z)), each, z))
    _, expected, z = max(best, key=lambda b: b[0])
    found, reach = slope.find_instrument(s, beyond(s, at), x, around, 2.0, 1.0, wide)
    assert reach == expected == width
    np.testing.assert_allclose(found, z, atol=1e-9)


def test_a_current_that_stands_still_has_no_instrument() -> None:
    s = signals(4, t_i=np.arange(40.0), i=np.full(40, 3.0))
    at = np.array([15.0, 20.0])
    found, reach = slope.find_instrument(
        s, beyond(s, at), np.ones(2), np.full(2, 3.0), 2.0, 1.0, 10.0
    )
    assert (found.tolist(), reach) == ([0.0, 0.0], 1.0)


# All together


class Seen:
    """What the estimator hands on: the zones about a reading, and the equations."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, reach: float = 1.0) -> None:
        def instrument(*given: Any) -> tuple[FloatArray, float]:
            _, _, x, _, *self.zones = given
            return x, reach

        def interval(e: Equations, taus: FloatArray, *_: object) -> None:
            self.equations, self.taus = e, taus.tolist()

        def bounds(*_: object) -> None:
            self.bounds = True

        self.bounds = False
        monkeypatch.setattr(slope, "find_instrument", instrument)
        monkeypatch.setattr(slope, "best_interval", interval)
        monkeypatch.setattr(slope, "regression_bounds", bounds)

    def of(self, s: Signals, *, relaxes: bool = True) -> Seen:
        fall_per_ampere(s, relaxes=relaxes, gain=0.0)
        return self


def every(
    step_v: float, step_i: float, length: float, *, reach_s: float = 0.0, window_s: float = 0.0
) -> Signals:
    t, t_i = np.arange(0.0, length + 1e-9, step_v), np.arange(0.0, length + 1e-9, step_i)
    i = walk(t_i.size)
    n = t.size
    y = 8.0 - 0.05 * np.interp(t, t_i, i)
    return Signals(t=t, y=y, amps=Curve(t_i, i), match=Match(0.0, window_s), steps_v=(steps(n),),
                   steps_i=steps(n), reach_s=reach_s)  # fmt: skip


@pytest.mark.parametrize(
    ("s", "zones"),
    [
        # Dead: two intervals of the current, or as far as the voltage reaches, and half a window.
        (every(0.5, 0.5, 400.0), (1.0, 0.5, 20.0)),
        (every(0.5, 0.5, 400.0, window_s=1.0), (1.5, 0.5, 20.0)),
        (every(0.5, 0.5, 400.0, reach_s=3.0), (3.0, 0.5, 20.0)),
        (every(0.5, 0.5, 400.0, reach_s=0.75), (1.0, 0.5, 20.0)),
        # Wide: a quarter of the log up to 20 s, but ten intervals, and three dead zones.
        (every(0.5, 0.5, 60.0), (1.0, 0.5, 15.0)),
        (every(0.5, 2.5, 400.0), (5.0, 2.5, 25.0)),
        (every(0.5, 0.5, 400.0, reach_s=9.0), (9.0, 0.5, 27.0)),
    ],
)
def test_zones_about_a_reading(
    monkeypatch: pytest.MonkeyPatch, s: Signals, zones: tuple[float, float, float]
) -> None:
    assert Seen(monkeypatch).of(s).zones == pytest.approx(list(zones))


@pytest.mark.parametrize(
    ("s", "reach", "block_s"),
    [
        (every(0.5, 0.5, 400.0), 1.0, 5.0),  # twice the dead zone of 1 s and the ring: 4 s
        (every(0.5, 0.5, 400.0), 2.0, 6.0),
        (every(0.5, 0.5, 400.0, reach_s=3.0), 2.0, 10.0),
        (every(2.0, 0.5, 400.0), 1.0, 10.0),  # five intervals of either
        (every(0.5, 1.25, 400.0), 0.0, 6.25),
        (every(0.5, 0.5, 40.0), 1.0, 4.0),  # at least ten blocks
    ],
)
def test_blocks_of_time(
    monkeypatch: pytest.MonkeyPatch, s: Signals, reach: float, block_s: float
) -> None:
    block = Seen(monkeypatch, reach).of(s).equations.block
    later = np.floor((s.t - s.t[0]) / block_s + 1e-9)
    assert block.tolist() == later.tolist()


@pytest.mark.parametrize(
    ("step_i", "length", "relaxes", "taus"),
    [
        (0.5, 400.0, True, [1.0, 6.0, 30.0]),
        (0.5, 400.0, False, []),
        # Not quicker than one and a half intervals, not slower than the log over 1.2.
        (0.75, 400.0, True, [6.0, 30.0]),
        (4.0, 400.0, True, [6.0, 30.0]),
        (4.25, 400.0, True, [30.0]),
        (0.5, 36.0, True, [1.0, 6.0]),
        (0.5, 36.5, True, [1.0, 6.0, 30.0]),
    ],
)
def test_slower_responses_that_a_log_can_show(
    monkeypatch: pytest.MonkeyPatch, step_i: float, length: float, relaxes: bool, taus: list[float]
) -> None:
    seen = Seen(monkeypatch).of(every(0.5, step_i, length), relaxes=relaxes)
    assert seen.taus == taus
    assert seen.equations.x.shape[1] == seen.equations.z.shape[1] == 1 + len(taus)


def test_instruments_carry_the_weights_and_the_voltage_falls(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    s = every(0.5, 0.5, 400.0)
    e = Seen(monkeypatch).of(s).equations
    trend = SlopeTrend(s.t)
    assert e.y == pytest.approx(-trend.without(s.y))
    assert e.x[:, 0] == pytest.approx(trend.without(s.amps.v))
    assert e.z[:, 0] == pytest.approx(e.x[:, 0] * e.weight)
    assert e.weight.mean() == pytest.approx(1.0)


def test_two_voltages_are_not_put_between_both_regressions(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    s = every(0.5, 0.5, 400.0)
    assert Seen(monkeypatch).of(s).bounds
    assert not Seen(monkeypatch).of(replace(s, common=s.y)).bounds


@pytest.mark.parametrize(
    ("first", "second", "chosen"),
    [
        ((2.0, 1.0, 3.0), (4.0, 3.1, 4.9), 4.0),  # 0.45 of itself against 1
        ((2.0, 1.0, 3.0), (4.0, 1.9, 6.1), 2.0),
        ((-2.0, -2.1, -1.9), (4.0, 0.0, 9.0), 4.0),  # a negative one is none
        (None, (4.0, 0.0, 9.0), 4.0),
        ((0.0, 0.0, 0.0), None, None),
    ],
)
def test_of_two_intervals_the_narrower_for_its_value(
    monkeypatch: pytest.MonkeyPatch,
    first: tuple[float, float, float] | None,
    second: tuple[float, float, float] | None,
    chosen: float | None,
) -> None:
    Seen(monkeypatch)
    for name, found in (("best_interval", first), ("regression_bounds", second)):
        made = None if found is None else slope.SlopeInterval(*found, scale_s=None)
        monkeypatch.setattr(slope, name, lambda *_, made=made: made)
    found = fall_per_ampere(every(0.5, 0.5, 100.0), relaxes=False, gain=0.0)
    assert (None if found is None else found.value) == chosen


def read_together(t: FloatArray, y: FloatArray, i: FloatArray) -> Signals:
    n = t.size
    return Signals(
        t=t, y=y, amps=Curve(t, i), match=Match(0.0, 0.0), steps_v=(steps(n),), steps_i=steps(n)
    )


def test_ohms_law_alone_is_found_with_the_gain_for_its_interval() -> None:
    t = 0.2 * np.arange(1500.0)
    i = walk(t.size)
    y = 8.0 - 0.05 * i - 1e-4 * t + 1e-6 * t**2
    found = fall_per_ampere(read_together(t, y, i), relaxes=False, gain=0.02)
    assert found is not None
    assert found[:4] == (pytest.approx(0.05), pytest.approx(0.049), pytest.approx(0.051), None)


@pytest.mark.parametrize(("tau", "seconds"), [(1.0, 240.0), (6.0, 240.0), (30.0, 240.0)])
def test_a_slower_response_is_found_at_the_scale_stated(tau: float, seconds: float) -> None:
    # 20 mOhm at once and 10 mOhm with tau: 20 + 10 (1 - exp(-scale / tau)), the low-pass on
    # straight lines between the readings by scipy's lsim.
    t = np.arange(0.0, seconds, 0.1)
    i = walk(t.size)
    _, slow, _ = signal.lsim(([1.0], [tau, 1.0]), i, t)
    slow = slow + i[:50].mean() * np.exp(-t / tau)  # it stood at its mean over 5 s before
    found = fall_per_ampere(read_together(t, 8.0 - 0.02 * i - 0.01 * slow, i), relaxes=True, gain=0)
    assert found is not None
    assert found.scale_s is not None
    came = 1 - np.exp(-found.scale_s / tau)
    assert found.value == pytest.approx(0.020 + 0.010 * came, rel=2e-3)
    assert found.high - found.low < 0.002


def test_a_voltage_that_rises_with_the_current_has_no_resistance() -> None:
    t = 0.2 * np.arange(600.0)
    i = walk(t.size)
    rises = fall_per_ampere(read_together(t, 8.0 + 0.05 * i, i), relaxes=False, gain=0.02)
    assert rises is None
