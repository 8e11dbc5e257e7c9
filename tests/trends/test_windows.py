"""Stretches of time and means over them, worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, inf, nan, pi, sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.results import Flight, Phase, PhaseKind, Span, Stir, StirPlace
from telemetry.trends.features.windows import (
    block_length,
    edges,
    full_stirs,
    ground_before,
    inner,
    interval,
    rounding,
)

Make = Callable[..., Any]


@pytest.mark.parametrize(
    ("update_s", "expected_s"),
    [(None, 1.0), (0.2, 1.0), (0.5, 1.0), (0.6, 1.2), (2.0, 4.0)],
)
def test_a_short_stretch_is_a_second_or_two_updates(
    make_reading: Make, update_s: float | None, expected_s: float
) -> None:
    assert block_length(make_reading("bus", [], [], update_s=update_s)) == expected_s


def test_the_first_and_the_last_three_tenths_of_a_second_are_no_steady_load() -> None:
    assert inner(Span(start_s=10.0, end_s=15.0)) == pytest.approx((10.3, 14.7))


@pytest.mark.parametrize(
    ("window", "block_s", "expected"),
    [
        ((2.0, 12.0), 5.0, [2, 7, 12]),
        ((2.0, 12.0), 4.1, [2, 7, 12]),  # 2.4 stretches
        ((2.0, 12.0), 3.9, [2, 2 + 10 / 3, 2 + 20 / 3, 12]),  # 2.6
        ((2.0, 12.0), 50.0, [2, 12]),
        ((5.0, 4.0), 1.0, [5, 5]),
        ((5.0, 5.0), 1.0, [5, 5]),
    ],
)
def test_equal_stretches_fill_the_window(
    window: tuple[float, float], block_s: float, expected: list[float]
) -> None:
    assert edges(window, block_s) == pytest.approx(expected)


class TestInterval:
    # Student t, two degrees of freedom, two-sided 95 %: 4.303 (any printed table).
    def test_of_three_means(self) -> None:
        low, high = interval(np.array([1.0, nan, 2.0, 3.0]), None)
        assert (low, high) == pytest.approx((2 - 4.303 / sqrt(3), 2 + 4.303 / sqrt(3)), abs=1e-3)

    def test_scatter_is_at_least_that_of_rounding(self) -> None:
        reach = 4.303 * 0.1 / sqrt(12) / sqrt(3)
        low, high = interval(np.array([2.0, 2.0, 2.0]), 0.1)
        assert (low, high) == pytest.approx((2 - reach, 2 + reach), abs=1e-4)
        assert interval(np.array([2.0, 2.0, 2.0]), None) == (2.0, 2.0)

    def test_none_of_two(self) -> None:
        assert interval(np.array([1.0, 2.0, nan, inf]), 0.1) == (None, None)


def phase(kind: PhaseKind, start_s: float, end_s: float) -> Phase:
    return Phase(kind=kind, start_s=start_s, end_s=end_s)


def test_ground_before_the_flight_in_stretches_over_two_seconds() -> None:
    phases = (
        phase(PhaseKind.GROUND, 0.0, 2.0),  # not over
        phase(PhaseKind.GROUND, 3.0, 5.1),
        phase(PhaseKind.STIR, 6.0, 20.0),
        phase(PhaseKind.GROUND, 20.0, 30.0),
        phase(PhaseKind.FLIGHT, 30.0, 90.0),
        phase(PhaseKind.GROUND, 30.0, 40.0),
        phase(PhaseKind.FLIGHT, 100.0, 190.0),
        phase(PhaseKind.GROUND, 90.0, 100.0),
    )
    assert [p.start_s for p in ground_before(phases)] == [3.0, 20.0]
    # Without a flight all of the ground comes before it.
    on_ground = tuple(p for p in phases if p.kind is not PhaseKind.FLIGHT)
    assert [p.start_s for p in ground_before(on_ground)] == [3.0, 20.0, 30.0, 90.0]


def stir(*mean_a: float | None, after: bool = False) -> Stir:
    nothing: dict[str, None] = dict.fromkeys(
        ("rest_a", "p95_a", "peak_a", "mah", "lowest_v", "sag_mohm")
    )
    return Stir(
        start_s=0.0,
        end_s=5.0,
        rhythm_hz=None,
        after_flight=after,
        places=tuple(
            StirPlace(place=f"node {k}", mean_a=a, **nothing) for k, a in enumerate(mean_a)
        ),
    )


def flight(*stirs: Stir) -> Flight:
    return Flight(start_s=0.0, end_s=100.0, kind="flight", phases=(), stirs=stirs)


def test_stirs_of_three_quarters_of_the_strongest_count() -> None:
    strong, just, below = stir(3.0, None, 1.0), stir(2.0, 1.0), stir(2.0, 0.99)
    found = full_stirs(flight(strong, just, below, stir(9.0, after=True)))
    assert found == (strong, just)
    assert full_stirs(flight(stir(9.0, after=True))) == ()
    # Where no current tells, all of them count.
    assert full_stirs(flight(stir(None), stir())) == (stir(None), stir())


class TestRounding:
    def test_noise_of_a_step_and_more_averages_out(self) -> None:
        # 0.1 and 0 below the top: s^2 = 0.01 / 2, (s / step)^2 = 1/2: exp(-pi^2).
        v = np.array([4.9, 5.0])
        assert rounding(v, 0.1) == pytest.approx(0.1 / sqrt(12) * exp(-(pi**2)), rel=1e-6)
        # Half the noise in steps: (s / step)^2 = 1/8.
        assert rounding(v, 0.2) == pytest.approx(0.2 / sqrt(12) * exp(-(pi**2) / 4), rel=1e-6)

    @pytest.mark.parametrize("v", [[], [5.0], [5.0, 5.0]], ids=["none", "one", "two alike"])
    def test_without_noise_the_whole_step_is_left(self, v: list[float]) -> None:
        assert rounding(np.array(v), 0.1) == pytest.approx(0.1 / sqrt(12))

    def test_without_a_step_nothing_is_left(self) -> None:
        assert rounding(np.array([1.0, 2.0]), 0.0) == 0.0
