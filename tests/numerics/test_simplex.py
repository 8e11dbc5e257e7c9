"""The simplex search of two parameters beside scipy's."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import optimize

from telemetry.numerics.statistics.extremes import log_likelihood
from telemetry.numerics.statistics.simplex import Point, least_of_two


def assert_as_scipy(
    of: Callable[[float, float], float], start: list[Point], near: float, least: float
) -> None:
    with np.errstate(invalid="ignore"):  # it takes infinite values from one another
        peer = optimize.minimize(
            lambda p: of(*p.tolist()),
            np.array(start[0]),
            method="Nelder-Mead",
            bounds=[(-0.5, 1.0), (None, None)],
            options={"xatol": near, "fatol": least, "initial_simplex": np.array(start)},
        )
    assert peer.success
    found = least_of_two(of, start, (-0.5, 1.0), near=near, least=least)
    assert found == (peer.fun, tuple(peer.x))


def valley(x: float, y: float) -> float:
    """H. H. Rosenbrock, The Computer Journal 3 (1960) 175: least at (1, 1)."""
    return (1 - x) ** 2 + 100 * (y - x**2) ** 2


@pytest.mark.parametrize(("near", "least"), [(1e-6, 1e-8), (1e-3, 1e-4)])
@pytest.mark.parametrize("seed", range(20))
def test_to_the_last_bit_the_answer_of_scipy(seed: int, near: float, least: float) -> None:
    rng = np.random.default_rng(seed)
    y = rng.pareto(rng.uniform(1.5, 20), rng.integers(30, 200)) * rng.uniform(0.1, 5)
    y = rng.uniform(0.01, 1, 50) if seed % 3 == 0 else y  # a sharp end: the shape at its bound

    def of(xi: float, log_sigma: float) -> float:
        return -log_likelihood(y, math.exp(log_sigma), xi)

    xi, level = rng.uniform(0.0, 0.8), math.log(y.mean())
    start = [(xi, level), (xi + 0.05, level), (xi, level + 0.1)]
    assert_as_scipy(of, start, near, least)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_no_number_is_the_worst(seed: int) -> None:
    edge, turn = np.random.default_rng(seed).uniform(0.1, 1.0, 2)

    def of(x: float, y: float) -> float:
        return math.nan if y > edge + turn * x else valley(x, y)

    assert_as_scipy(of, [(0.0, 0.0), (0.05, 0.0), (0.0, 2.0)], 1e-3, 1e-4)


def test_the_end_of_a_bent_valley() -> None:
    start = [(-1.2, 1.0), (-1.1, 1.0), (-1.2, 1.1)]
    value, point = least_of_two(valley, start, (-2.0, 2.0), near=1e-9, least=1e-12)
    assert point == pytest.approx((1.0, 1.0), abs=1e-7)
    assert value == pytest.approx(0.0, abs=1e-12)
    # Held before it, it ends where the valley crosses the bound.
    _, point = least_of_two(valley, start, (-2.0, 0.5), near=1e-9, least=1e-12)
    assert point == pytest.approx((0.5, 0.25), abs=1e-6)


def test_it_ends_where_nothing_is_least() -> None:
    start = [(0.0, 0.0), (0.1, 0.0), (0.0, 0.1)]
    value, point = least_of_two(lambda _, y: -y, start, (-1.0, 1.0), near=1e-6, least=1e-8)
    assert value == -point[1] < -1e6
