"""Which part made a change: Bayes' rule worked with the library's own density of t."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from telemetry.numerics.suspects import chances


def by_rule(
    moved: np.ndarray, scale: np.ndarray, expected: np.ndarray, prior: np.ndarray
) -> np.ndarray:
    """Prior times likelihood, normed; four degrees of freedom (Lange, Little and Taylor)."""
    weight = prior * np.prod(stats.t.pdf((moved - expected) / scale, 4.0) / scale, axis=1)
    return weight / weight.sum()


EXPECTED = np.array([[0.5, 0.0], [0.0, 0.8], [0.2, 0.3]])


@pytest.mark.parametrize("prior", [[1.0, 1.0, 1.0], [1.0, 0.2, 0.5]])
def test_chances_are_those_of_bayes_rule(prior: list[float]) -> None:
    moved, error = np.array([0.4, 0.1]), np.array([0.1, 0.2])
    unsure = np.abs(EXPECTED) * 0.5
    found = chances(moved, error, EXPECTED, unsure, np.array(prior))
    assert found == pytest.approx(
        by_rule(moved, np.hypot(error, unsure), EXPECTED, np.array(prior))
    )
    assert found.sum() == pytest.approx(1.0)
    assert int(np.argmax(found)) == 0


@pytest.mark.parametrize(("moved", "excused"), [(-0.1, 0.0), (-0.05, 0.5), (0.0, 1.0), (0.3, 1.0)])
def test_what_moved_the_other_way_is_not_excused_by_an_unsure_size(
    moved: float, excused: float
) -> None:
    """By its whole error, or half of it, of 0.1."""
    expected, unsure = np.array([[0.5], [-0.5]]), np.array([[0.3], [0.3]])
    other_way = np.array([[excused], [min(max(1.0 - moved / 0.1, 0.0), 1.0)]])
    at, error, prior = np.array([moved]), np.array([0.1]), np.ones(2)
    found = chances(at, error, expected, unsure, prior)
    assert found == pytest.approx(by_rule(at, np.hypot(error, other_way * unsure), expected, prior))


def test_without_a_quantity_the_priors_stand() -> None:
    nothing = np.zeros((2, 0))
    found = chances(np.zeros(0), np.zeros(0), nothing, nothing, np.array([3.0, 1.0]))
    assert found == pytest.approx([0.75, 0.25])
