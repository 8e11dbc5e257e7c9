"""The slope of a line, against scipy's, and where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from telemetry.numerics.statistics.lines import line_slope


@pytest.mark.parametrize("away", [0.0, 1e3, -1e5])
def test_it_is_that_of_a_reference(away: float) -> None:
    rng = np.random.default_rng(3)
    x = away + rng.normal(0.0, 2.0, 200)
    y = 0.03 * x + rng.normal(0.0, 0.1, 200)
    assert line_slope(x, y) == pytest.approx(linregress(x, y).slope, rel=1e-6)


def test_what_moves_by_rounding_alone_has_none() -> None:
    y = np.arange(12.0)
    assert line_slope(np.full(12, 0.1) + np.array([0.0, 1.4e-17] * 6), y) is None
    assert line_slope(np.zeros(12), y) is None
    assert line_slope(np.array([1.0]), y[:1]) is None
    assert line_slope(y[:0], y[:0]) is None
    assert line_slope(np.array([0.1, 0.11]), np.array([1.0, 2.0])) == pytest.approx(100.0)
