"""Moments at which a voltage fell too far: Ohm's law with openings of a contact put in by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics.resistance import outliers
from telemetry.numerics.resistance.outliers import closeness, commonest_fall, fell_too_far

T = np.arange(0.0, 120.0, 0.2)
OHM = 0.030


def current(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 1.0 + 3.0 * np.abs(np.convolve(rng.standard_normal(T.size + 4), np.ones(5) / 2, "valid"))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3])
def test_commonest_fall_does_not_follow_other_falls(share: float) -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed + 50)
        x = current(seed)
        opened = np.where(rng.random(T.size) < share, 0.1 + 0.5 * rng.random(T.size), 0.0)
        y = np.round(8.0 - (OHM + opened) * x, 2)
        found = commonest_fall(T, y, x, step_v=0.01)
        assert found == pytest.approx(OHM, rel=0.15)


def test_no_commonest_fall_where_the_steps_hide_it() -> None:
    x = current(1)
    assert commonest_fall(T, np.round(8.0 - 0.001 * x, 1), x, step_v=0.1) is None
    assert commonest_fall(T, np.full(T.size, 8.0), np.ones(T.size), step_v=0.01) is None
    assert commonest_fall(T[:5], 8.0 - x[:5], x[:5], step_v=0.0) is None


def test_only_the_openings_are_called_with_their_neighbours() -> None:
    x = current(2)
    rng = np.random.default_rng(2)
    y = 8.0 - OHM * x + 0.005 * rng.standard_normal(T.size)
    calm = fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None)
    assert not calm.any()
    y[[100, 101, 400]] -= 1.0
    found = fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None)
    assert np.flatnonzero(found).tolist() == [99, 100, 101, 102, 399, 400, 401]
    # A rise is no contact, and a fall that the highest current could make is none either.
    y[[100, 101, 400]] += 2.0
    assert not fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=None).any()
    y[[100, 101, 400]] -= 2.0
    assert not fell_too_far(T, y, x, OHM, step_v=0.01, highest_x=40.0).any()


def in_turns(ohms: list[float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """1 A every other second, at which the voltage falls by these resistances: t, y, x.

    Only readings a second apart differ in current, so that each resistance shows in two pairs, all
    of one weight.
    """
    x, y = np.zeros(2 * len(ohms) + 1), np.zeros(2 * len(ohms) + 1)
    x[1::2], y[1::2] = 1.0, -np.array(ohms)
    return np.arange(float(x.size)), y, x


FAR = [2.0 + k for k in range(13)]
TIGHT = [0.5 + 0.001 * k for k in range(8)]


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        # Of 42 pairs 35 % are 14.7: with the one before them 16 lie closest together.
        ([0.05] * 8 + FAR, 0.05),
        ([0.05] * 8 + TIGHT + FAR[:5], 0.05),
        # Fourteen equal ones and two 0.15 off; sixteen within 0.007, the middle of which is 0.5035.
        ([0.05] * 7 + [0.2] + TIGHT + FAR[:5], 0.5035),
        (FAR[:8] + TIGHT[::-1] + FAR[8:], 0.5035),
        ([-0.05] * 8 + FAR, None),  # rises with the load
    ],
)
def test_the_closest_third_of_the_pairs_is_the_commonest(
    ohms: list[float], expected: float | None
) -> None:
    found = commonest_fall(*in_turns(ohms), step_v=0.0)
    assert found == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(("loads", "told"), [(9, False), (10, True)])
def test_twenty_pairs_are_the_least(loads: int, told: bool) -> None:
    t, y, x = in_turns([0.05] * loads)
    rest = 100.0 * np.arange(1.0, 9.0)  # too far apart for pairs, but readings enough
    t, y, x = np.r_[t, t[-1] + rest], np.r_[y, 0 * rest], np.r_[x, 0 * rest]
    assert (commonest_fall(t, y, x, step_v=0.0) is not None) is told


@pytest.mark.parametrize(("n", "told"), [(19, False), (20, True)])
def test_twenty_readings_are_the_least_for_pairs(n: int, told: bool) -> None:
    t, y, x = (a[:n] for a in in_turns([0.05] * 10))
    found = commonest_fall(0.9 * t, y, x, step_v=0.0)  # 0.9 s apart: two pairs of distances
    assert (found is not None) is told


@pytest.mark.parametrize(
    ("every_s", "told"),
    # Pairs are looked for 0.5, 1, 2, 4 and 8 s on, and at less than twice that.
    [(0.4, 1), (0.9, 1), (1.9, 1), (3.0, 1), (5.0, 1), (9.0, 1), (15.9, 1), (16.0, 0)],
)
def test_pairs_lie_up_to_sixteen_seconds_apart(every_s: float, told: int) -> None:
    t, y, x = in_turns([0.05] * 20)
    found = commonest_fall(every_s * t, y, x, step_v=0.0)
    assert (found is not None) == told


@pytest.mark.parametrize(
    ("small", "small_v", "expected"),
    [
        # Six times in turns 0 and this, then 0 and 2 A: a standard deviation of 0.5 A. Less than
        # half of it tells nothing: of the pairs with 2 A three quarters are with the small one.
        (0.24, 0.3, (0.3 + 0.1) / (2 - 0.24)),
        (0.26, -0.02 * 0.26, 0.02),
    ],
)
def test_pairs_of_hardly_different_currents_tell_nothing(
    small: float, small_v: float, expected: float
) -> None:
    x = np.tile([0.0, small] * 6 + [0.0, 2.0], 9)
    y = np.where(x == 2.0, -0.1, np.where(x == small, small_v, 0.0))
    assert np.std(x) == pytest.approx(0.5, abs=0.003)
    t = np.arange(float(x.size))
    assert commonest_fall(t, y, x, step_v=0.0) == pytest.approx(expected)


@pytest.mark.parametrize(("step_v", "told"), [(0.015, True), (0.04, False)])
def test_a_usual_fall_within_a_step_is_not_told(step_v: float, told: bool) -> None:
    # 50 mOhm on a current of standard deviation 0.5 A (nearly): 0.025 V; the steps as they are
    # spread over a step average out over the pairs.
    t, y, x = in_turns([0.05] * 4000)
    found = commonest_fall(t, y, x, step_v=step_v)
    assert (found is not None) is told


def fall(
    depth: float,
    *,
    others: dict[int, float] | None = None,
    x: dict[int, float] | None = None,
    ohm: float = 0.1,
    step_v: float = 0.0,
    highest_x: float | None = None,
) -> list[int]:
    """Readings called of a fall at 50 of 100 s; with other strays, and a current, where given."""
    amps, y = np.zeros(100), np.zeros(100)
    for at, value in (x or {}).items():
        amps[at] = value
    y -= ohm * amps
    y[50] -= depth
    for at, value in (others or {}).items():
        y[at] += value
    t = np.arange(100.0)
    found = fell_too_far(t, y, amps, ohm, step_v=step_v, highest_x=highest_x)
    return np.flatnonzero(found).tolist()


AROUND = [49, 50, 51]


@pytest.mark.parametrize(("step_v", "most"), [(0.0, 0.02), (0.005, 0.02), (0.01, 0.03), (0.1, 0.3)])
def test_a_faint_fall_is_noise(step_v: float, most: float) -> None:
    assert fall(0.99 * most, step_v=step_v) == []
    assert fall(1.01 * most, step_v=step_v) == AROUND
    assert fall(0.02, step_v=0.0) == []


@pytest.mark.parametrize(
    ("at", "counts"), [(40, True), (60, True), (39, False), (61, False), (51, True)]
)
def test_strays_to_the_other_side_within_ten_seconds_count_two_and_a_half_times(
    at: int, counts: bool
) -> None:
    assert fall(0.249, others={at: 0.1}) == ([] if counts else AROUND)
    assert fall(0.251, others={at: 0.1}) == AROUND
    assert fall(0.25, others={at: 0.1}) == ([] if counts else AROUND)


def test_once_a_contact_opened_lesser_strays_are_its_doing() -> None:
    # The greatest rise, 0.1 V at 60 s, is within 10 s of both: 1.2 times it is enough for a second.
    rise = {60: 0.1}
    assert fall(0.26, others={**rise, 55: -0.119}) == AROUND
    assert fall(0.26, others={**rise, 55: -0.121}) == [*AROUND, 54, 55, 56]
    assert fall(0.249, others={**rise, 55: -0.121}) == []


@pytest.mark.parametrize(
    ("x", "highest_x", "most"),
    [
        # 0.1 Ohm times 1.2 times the highest current less the present one, and what is faint.
        ({58: 2.0}, None, 0.26),
        ({60: 2.0}, None, 0.26),
        ({61: 2.0}, None, 0.02),
        ({50: 1.0, 58: 2.0}, None, 0.16),
        ({}, 5.0, 0.62),
        ({50: 1.0}, 5.0, 0.52),
        ({50: 3.0}, 1.0, 0.02),  # already more than may have passed
    ],
)
def test_a_fall_that_a_missed_peak_can_make_is_none(
    x: dict[int, float], highest_x: float | None, most: float
) -> None:
    assert fall(0.99 * most, x=x, highest_x=highest_x) == []
    assert fall(1.01 * most, x=x, highest_x=highest_x) == AROUND


def test_the_lesser_strays_are_excused_by_the_load_too() -> None:
    both = {"others": {55: -0.25}, "x": {58: 2.0}}
    assert fall(0.27, **both) == AROUND  # type: ignore[arg-type]
    both["others"] = {55: -0.261}
    assert fall(0.27, **both) == [*AROUND, 54, 55, 56]  # type: ignore[arg-type]


@pytest.mark.parametrize(("seconds", "called"), [(29, True), (31, False)])
def test_half_a_minute_is_the_usual_level(seconds: int, called: bool) -> None:
    # The level is the median of 30 s to either side: what lasts for most of it is the level.
    y = np.zeros(200)
    y[80 : 80 + seconds] = -1.0
    found = fell_too_far(np.arange(200.0), y, np.zeros(200), 0.1, step_v=0.0, highest_x=None)
    assert found.sum() == (seconds + 2 if called else 0)


@pytest.mark.parametrize(("n", "called"), [(19, False), (20, True)])
def test_of_fewer_than_twenty_readings_none_is_called(n: int, called: bool) -> None:
    y = np.zeros(n)
    y[8] = -1.0
    found = fell_too_far(np.arange(float(n)), y, np.zeros(n), 0.1, step_v=0.0, highest_x=None)
    assert found.size == n
    assert found.any() == called


def test_the_nearer_readings_under_load_by_hand() -> None:
    # Ten pulses of 1 A at which 0.1 to 1.0 V are left: the quantile of 35 % lies 0.15 of the way
    # from the fourth to the fifth; and half a step.
    x = np.zeros(100)
    x[5::10] = 1.0
    y = -0.05 * x
    y[5::10] -= np.arange(1, 11) / 10
    t = np.arange(100.0)
    assert closeness(t, y, x, 0.05, step_v=0.0) == pytest.approx(0.415)
    assert closeness(t, -y - 0.1 * x, x, 0.05, step_v=0.02) == pytest.approx(0.425)
    assert closeness(t, y, np.ones(100), 0.05, step_v=0.02) == 0.01


def test_readings_within_half_a_deviation_of_the_mean_bear_no_load() -> None:
    # Of 100: ten at 1 A (left 0.5 V), thirty at 0.2 A (0.1 V), the rest none. Mean 0.16, deviation
    # 0.297: 0.2 lies within half of it, and nothing does not. 60 of 70 show no error.
    x = np.zeros(100)
    x[5::10] = 1.0
    for first in (1, 3, 7):
        x[first::10] = 0.2
    y = np.where(x == 1.0, -0.5, np.where(x == 0.2, 0.1, 0.0))
    assert abs(0.2 - x.mean()) < 0.5 * np.std(x) < x.mean()
    assert closeness(np.arange(100.0), y, x, 0.0, step_v=0.0) == 0.0


@pytest.mark.parametrize(
    ("step_s", "n", "over_s", "width"),
    [(0.25, 400, 60.0, 241), (0.25, 90, 60.0, 89), (0.25, 91, 60.0, 91), (1.0, 400, 21.0, 21)],
)
def test_width_in_readings_is_odd_and_not_more_than_there_are(
    step_s: float, n: int, over_s: float, width: int
) -> None:
    assert outliers.odd_width(step_s * np.arange(n), over_s) == width
