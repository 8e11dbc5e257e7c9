"""What load makes of a held voltage, by straight lines."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.detect.path.giving_way import gave_way, most_by_load

N = 101
T = np.arange(float(N))
AMPS = np.linspace(0.0, 10.0, N)  # a tenth lies under 1 A: 9 A from there to the highest


@pytest.mark.parametrize(
    ("depth", "headroom", "most", "gave"),
    [
        (1.001, 0.3, 1.0, True),
        (1.0, 0.3, 1.0, False),
        (1.001, 0.299, 1.0, False),
        (9.0, 9.0, None, False),
    ],
)
def test_gave_way_at_its_edges(
    depth: float, headroom: float, most: float | None, gave: bool
) -> None:
    assert gave_way(depth, headroom, most) is gave


@pytest.mark.parametrize(
    ("ohm", "most"),
    [(0.1, 2 * 0.1 * 9 + 0.2), (0.02, 2 * 0.02 * 9 + 0.2), (-0.1, 0.2)],
    ids=["100 mOhm", "20 mOhm", "rising: no slope"],
)
def test_twice_the_slope_over_the_highest_current_and_a_fifth_of_a_volt(
    ohm: float, most: float
) -> None:
    assert most_by_load((T, 8.0 - ohm * AMPS), (T, AMPS)) == pytest.approx(most)


def test_the_slope_is_that_of_the_lighter_half() -> None:
    # 0.1 V per A up to the median of 5 A, then ten times as much.
    volts = 8.0 - 0.1 * AMPS - 0.9 * np.maximum(AMPS - 5.0, 0.0)
    assert most_by_load((T, volts), (T, AMPS)) == pytest.approx(2.0)


def test_the_steeper_end_of_its_interval_is_taken() -> None:
    # Falls of 0.1 V per A with readings 0.05 V off to either side in turns.
    volts = 8.0 - 0.1 * AMPS + 0.05 * np.tile([1.0, -1.0], 51)[:N]
    found = most_by_load((T, volts), (T, AMPS))
    assert found is not None
    assert found > 2.0


@pytest.mark.parametrize(("n", "told"), [(58, False), (59, True), (60, True)])
def test_thirty_readings_at_light_load_are_the_least(n: int, told: bool) -> None:
    # Up to the median are 29 of 58 and 30 of 59 (the middle one too).
    amps = np.linspace(0.0, 10.0, n)
    found = most_by_load((T[:n], 8.0 - 0.1 * amps), (T[:n], amps))
    assert (found is not None) is told


@pytest.mark.parametrize(("range_a", "told"), [(0.59, False), (0.61, True)])
def test_light_load_must_range_over_a_third_of_an_ampere(range_a: float, told: bool) -> None:
    # The lighter half of 0 to 0.6 A.
    amps = np.linspace(0.0, range_a, N)
    assert (most_by_load((T, 8.0 - 0.1 * amps), (T, amps)) is not None) is told


@pytest.mark.parametrize(("late_s", "told"), [(0.0, True), (5.0, True), (5.25, False)])
def test_a_current_older_than_five_seconds_is_not_known(late_s: float, told: bool) -> None:
    # A current every eight seconds, each voltage so long after one.
    amps_t = 8.0 * T
    found = most_by_load((amps_t + late_s, 8.0 - 0.1 * AMPS), (amps_t, AMPS))
    assert (found is not None) is told


def test_readings_before_the_first_current_are_left_out() -> None:
    volts = 8.0 - 0.1 * AMPS
    volts[:20] = 0.0
    assert most_by_load((T, volts), (T[20:], AMPS[20:])) == pytest.approx(
        0.2 * (10.0 - (2.0 + 0.1 * 8.0)) + 0.2
    )
