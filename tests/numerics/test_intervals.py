"""Carrying intervals through a computation, against closed forms and random draws."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.numerics.intervals import Interval, likeness, propagate


def test_a_sum_adds_half_widths_in_squares_each_side_for_itself() -> None:
    # Law of propagation, JCGM 100:2008, 5.1.2: sqrt(3^2 + 4^2) = 5; sqrt(1 + 0) = 1.
    found = propagate(
        lambda x: {"sum": x["a"] + x["b"]},
        {"a": Interval.around(10, 3, 1), "b": Interval.around(20, 4, 0)},
    )
    assert found["sum"] == Interval(30, 25, 31)


def test_a_difference_takes_the_other_side_of_what_is_subtracted() -> None:
    found = propagate(
        lambda x: {"u": x["e"] - x["r"] * 2},
        {"e": Interval.around(8, 0.3), "r": Interval.around(0.1, 0.0, 0.2)},
    )
    assert found["u"].low == pytest.approx(7.8 - 0.5)
    assert found["u"].high == pytest.approx(7.8 + 0.3)


def test_relative_uncertainties_of_a_quotient_add_in_squares() -> None:
    """R = V/I with independent relative uncertainties: they add in squares (JCGM 100, 5.1.6)."""

    def ratio(x: Mapping[str, float]) -> dict[str, float]:
        return {"r": x["v"] / x["i"]}

    found = propagate(ratio, {"v": Interval.around(5, 0.005), "i": Interval.around(0.02, 4e-5)})
    half = (found["r"].high - found["r"].low) / 2
    assert half / 250 == pytest.approx(math.hypot(1e-3, 2e-3), rel=1e-3)


def test_the_interval_covers_random_draws_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    truth = {"e": 8.0, "r1": 0.03, "r2": 0.035, "i": 15.0}
    sd = {"e": 0.05, "r1": 0.003, "r2": 0.004, "i": 1.5}

    def drop(x: Mapping[str, float]) -> dict[str, float]:
        return {"u": x["e"] - x["r1"] * x["i"] - x["r2"] * x["i"]}

    goal = drop(truth)["u"]
    hits = 0
    for _ in range(1000):
        seen = {k: Interval.around(rng.normal(v, sd[k]), 1.96 * sd[k]) for k, v in truth.items()}
        hits += (u := propagate(drop, seen)["u"]).low <= goal <= u.high
    assert 930 <= hits <= 970  # 950 +- 2.9 standard deviations


@given(st.floats(-1e6, 1e6), st.floats(0, 1e3), st.floats(0, 1e3))
def test_an_identity_keeps_its_interval(value: float, minus: float, plus: float) -> None:
    x = Interval.around(value, minus, plus)
    found = propagate(lambda v: dict(v), {"x": x})["x"]
    assert found.value == x.value
    assert found.low == pytest.approx(x.low, abs=1e-9)
    assert found.high == pytest.approx(x.high, abs=1e-9)


def test_an_interval_must_hold_its_value() -> None:
    with pytest.raises(ValueError, match="does not hold"):
        Interval(1.0, 2.0, 3.0)
    with pytest.raises(ValueError, match="does not hold"):
        Interval(math.nan, 0.0, 1.0)


@pytest.mark.parametrize(
    ("x", "low", "high"),
    [
        # A square about nothing only rises, whichever end is taken: by the larger rise.
        (Interval(0.0, -2.0, 1.0), 0.0, 4.0),
        (Interval(0.0, -1.0, 2.0), 0.0, 4.0),
        (Interval(3.0, 3.0, 4.0), 9.0, 16.0),
        (Interval(3.0, 2.0, 3.0), 4.0, 9.0),
        (Interval.exact(3.0), 9.0, 9.0),
    ],
)
def test_ends_of_a_square_by_hand(x: Interval, low: float, high: float) -> None:
    found = propagate(lambda v: {"y": v["x"] ** 2}, {"x": x})["y"]
    assert found == Interval(x.value**2, low, high)


def test_several_results_and_several_inputs_stay_apart() -> None:
    # 2 a + b and a b about (3 +-1, 5 -2 +4): 2 and 2 below, 2 and 4 above; 5 and 6, 5 and 12.
    found = propagate(
        lambda v: {"sum": 2 * v["a"] + v["b"], "product": v["a"] * v["b"]},
        {"a": Interval.around(3, 1), "b": Interval.around(5, 2, 4)},
    )
    assert found["sum"].value == 11
    assert (found["sum"].low, found["sum"].high) == pytest.approx((11 - 8**0.5, 11 + 20**0.5))
    assert found["product"].value == 15
    assert (found["product"].low, found["product"].high) == pytest.approx(
        (15 - math.hypot(5, 6), 15 + 13)
    )
    assert propagate(lambda _: {"one": 1.0}, {}) == {"one": Interval(1, 1, 1)}


def test_an_upper_half_width_of_nothing_is_one() -> None:
    assert Interval.around(5, 2, 0) == Interval(5, 3, 5)
    assert Interval.around(5, 2) == Interval(5, 3, 7)
    assert Interval.exact(5) == Interval(5, 5, 5)
    with pytest.raises(ValueError, match="does not hold"):
        Interval(3.0, 1.0, 2.0)


@pytest.mark.parametrize(
    ("rest", "times"),
    [
        ([0.0, 0.0, 0.0], 1.0),
        ([1.0, 1.0, 1.0, 1.0], 7.0),  # r = 3/4: 1.75 / 0.25
        ([1.0, 0.0, 1.0, 0.0], 1.0),
        ([1.0, -1.0, 1.0, -1.0], 1.0),  # unlike neighbours take nothing off
        ([2.0, 1.0, 0.0, 0.0, 0.0], 7 / 3),  # r = 2/5: 1.4 / 0.6
        ([1.0, 1.0, -1.0, -1.0], 5 / 3),  # r = 1/4
        ([1.0] * 100, 19.0),  # r is held to 0.9
    ],
)
def test_likeness_of_neighbours(rest: list[float], times: float) -> None:
    assert likeness(np.array(rest)) == pytest.approx(times)


def test_a_shift_beyond_all_numbers_is_an_infinite_interval() -> None:
    found = propagate(lambda x: {"y": x["a"]}, {"a": Interval.around(0.0, 1e300)})
    assert found["y"].high == math.inf
