"""A fall over many readings or at once: voltages by hand, on both sides of each limit."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.detect.path.running_down import load_rose, slow_fall
from telemetry.results import Event, EventKind

T = np.arange(0.0, 130.0, 0.5)


def event(depth_v: float | None = 0.5, start_s: float = 60.0) -> Event:
    return Event(
        kind=EventKind.SAG, place="pack 1", start_s=start_s, end_s=start_s + 5.0,
        reference_v=7.4, residual_v=6.9, depth_v=depth_v,
    )  # fmt: skip


def falling(seconds: float, at_once_v: float = 0.0) -> np.ndarray:
    """7.4 V that fall to 6.9 V from 60 s on, a part of it at once and the rest evenly."""
    far = np.clip((T - 60.0) / seconds, 0.0, 1.0)
    return 7.4 - np.where(T >= 60.0, at_once_v + (0.5 - at_once_v) * far, 0.0)


@pytest.mark.parametrize(
    ("seconds", "at_once_v", "slow"),
    [
        (10.0, 0.0, True),
        (4.0, 0.0, True),  # four seconds one after the other
        (3.0, 0.0, False),
        (10.0, 0.2, True),
        (10.0, 0.3, False),  # more than half of it from one second to the next
    ],
)
def test_a_charge_that_comes_to_its_end_falls_over_four_seconds(
    seconds: float, at_once_v: float, slow: bool
) -> None:
    assert slow_fall(T, falling(seconds, at_once_v), event()) is slow


@pytest.mark.parametrize(
    ("depth_v", "part", "slow"),
    [(0.8, 0.6, True), (0.9, 0.6, False), (0.9, 0.5, True), (None, 0.6, False), (0.0, 0.6, False)],
)
def test_a_place_falls_by_six_tenths_of_the_event(
    depth_v: float | None, part: float, slow: bool
) -> None:
    assert slow_fall(T, falling(10.0), event(depth_v), part) is slow


def test_a_fall_is_told_with_readings_before_and_after_it() -> None:
    volts = falling(10.0)
    assert not slow_fall(T[T >= 60.0], volts[T >= 60.0], event())
    assert not slow_fall(T[T < 60.0], volts[T < 60.0], event())
    assert not slow_fall(T, volts, event(start_s=300.0))


def test_a_moment_of_load_hides_no_slow_fall() -> None:
    """One reading of each second lies lower: of two the upper one counts for most of it."""
    volts = falling(10.0) - 0.1 * (np.arange(T.size) % 2)
    assert slow_fall(T, volts, event())


@pytest.mark.parametrize(
    ("before_a", "about_a", "rose"), [(4.0, 5.5, False), (4.0, 5.7, True), (8.0, 5.7, False)]
)
def test_a_load_rises_by_four_tenths(before_a: float, about_a: float, rose: bool) -> None:
    """From 15 s before to 15 s after, against the 45 s before; what is further does not count."""
    amps = np.select([T < 0.5, T < 45.0, T < 75.0], [900.0, before_a, about_a], 900.0)
    assert load_rose(T[1:], amps[1:], event()) is rose
    assert not load_rose(T[T >= 45.0], amps[T >= 45.0], event())
    assert not load_rose(T[T < 45.0], amps[T < 45.0], event())
