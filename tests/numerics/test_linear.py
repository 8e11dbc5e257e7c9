"""Least squares of no negative coefficient, beside scipy's."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize

from telemetry.numerics.linear import non_negative_least_squares


@pytest.mark.parametrize("seed", range(60))
def test_as_scipy_has_it(seed: int) -> None:
    # scipy.optimize.nnls (C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974).
    rng = np.random.default_rng(seed)
    rows, columns = int(rng.integers(9, 300)), int(rng.integers(1, 10))
    design = rng.normal(rng.choice([0.0, 2.0]), 1.0, (rows, columns))
    y = design @ np.maximum(rng.normal(size=columns), 0.0) + rng.normal(size=rows)
    peer, _ = scipy.optimize.nnls(design, y)
    np.testing.assert_allclose(non_negative_least_squares(design, y), peer, rtol=1e-9, atol=1e-12)


def test_fewer_rows_than_columns() -> None:
    rng = np.random.default_rng(1)
    design, y = rng.normal(size=(3, 6)), rng.normal(size=3)
    x = non_negative_least_squares(design, y)
    assert (x >= 0).all()
    assert np.linalg.norm(design @ x - y) == pytest.approx(scipy.optimize.nnls(design, y)[1])


def test_columns_of_nothing_and_the_same_column_twice() -> None:
    column = np.arange(1.0, 9.0)
    design = np.stack([column, np.zeros(8), column, -column], axis=1)
    assert non_negative_least_squares(design, 2.0 * column) == pytest.approx([2.0, 0.0, 0.0, 0.0])
    assert non_negative_least_squares(design, np.zeros(8)) == pytest.approx(np.zeros(4))
    assert non_negative_least_squares(design[:, 1:2], column) == pytest.approx([0.0])


def test_nothing_where_all_pulls_the_other_way() -> None:
    design = np.array([[1.0, 2.0], [2.0, 1.0], [1.0, 1.0]])
    assert (non_negative_least_squares(design, np.array([-1.0, -2.0, -1.0])) == 0).all()
