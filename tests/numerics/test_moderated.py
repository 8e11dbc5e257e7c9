"""Variances of like groups moderate one that few values tell."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from telemetry.numerics.statistics.moderated import scatter_prior

Group = tuple[NDArray[np.float64], NDArray[np.float64]]


def groups(
    number: int, degrees: float, scale: float, *, measured: int = 24, of_each: int = 1
) -> list[Group]:
    """Variances that are scaled inverse chi-squared, each measured with chi-squared errors."""
    rng = np.random.default_rng(number)
    out = []
    for _ in range(number):
        true = scale * degrees / rng.chisquare(degrees, of_each)
        told = np.full(of_each, float(measured))
        out.append((true * rng.chisquare(measured, of_each) / measured, told))
    return out


@pytest.mark.parametrize(("degrees", "scale"), [(4.0, 1.0), (8.0, 2.5), (20.0, 0.3)])
def test_of_many_groups_the_distribution_they_were_drawn_from(degrees: float, scale: float) -> None:
    """Against drawn values: numpy's chi-squared, no formula of ours."""
    found = scatter_prior(groups(4000, degrees, scale), 4.0)
    assert found.degrees == pytest.approx(degrees, rel=0.15)
    assert found.ratio == pytest.approx(scale, rel=0.05)


def test_few_measured_values_are_no_scatter_between_groups() -> None:
    """Six degrees of freedom scatter by themselves: that is taken off."""
    found = scatter_prior(groups(4000, 20.0, 1.0, measured=6), 4.0)
    assert found.degrees == pytest.approx(20.0, rel=0.2)


def test_alike_groups_count_for_more_the_more_they_are() -> None:
    worth = [
        scatter_prior([(np.array([2.0]), np.array([24.0]))] * number, 4.0).degrees
        for number in (2, 4, 8, 16)
    ]
    assert worth == sorted(worth)
    assert 3.0 < worth[0] < 6.0
    assert worth[-1] > 10.0


def test_two_groups_alike_are_not_held_for_sure() -> None:
    """Beyond what is measured they may lie as far apart as is usual, and a third further."""
    found = scatter_prior([(np.ones(3), np.full(3, 24.0))] * 2, 4.0)
    assert found.degrees < 6.0


@pytest.mark.parametrize("odd", [100.0, 0.01, 0.0])
@pytest.mark.parametrize("number", [2, 5])
def test_one_odd_group_hardly_moves_the_centre(odd: float, number: int) -> None:
    rng = np.random.default_rng(5)
    own = [(1.2 * rng.chisquare(24.0, 3) / 24.0, np.full(3, 24.0)) for _ in range(number)]
    strange = [(np.full(3, odd), np.full(3, 24.0)), *own[1:]]
    plain, found = scatter_prior(own, 4.0), scatter_prior(strange, 4.0)
    assert 0.5 < found.ratio / plain.ratio < 2.0
    # It makes the rest count for less, not for more.
    assert 1.0 < found.degrees < plain.degrees


def test_each_group_has_one_voice() -> None:
    """One with many places does not outvote two with one each."""
    one = (np.full(50, 9.0), np.full(50, 24.0))
    others = [(np.array([1.0]), np.array([24.0]))] * 2
    assert scatter_prior([one, *others], 4.0).ratio < 2.0
