"""One current for several loads: worked examples, and when to refuse."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize

from telemetry.signals.attribution import attribute, condition_indices

# Eight samples: one for the rest, and three loads switched on and off.
ROWS = ("1001", "1100", "1010", "1110", "1011", "1101", "1000", "1111")
DESIGN = np.array([[float(c) for c in r] for r in ROWS])


def repeated(a: np.ndarray, times: int = 12) -> tuple[np.ndarray, np.ndarray]:
    return np.tile(a, (times, 1)), np.repeat(np.arange(times), a.shape[0])


def test_identifiable_example() -> None:
    # Loads .80, 0 and 1.5 A above a rest of .30 A (worked by hand; after Lawson and Hanson 1974).
    design, block = repeated(DESIGN)
    y = design @ [0.30, 0.80, 0.0, 1.5]
    found = attribute(design, y, block)
    np.testing.assert_allclose(found.coef, [0.30, 0.80, 0.0, 1.5], atol=1e-9)
    assert found.groups == ((0,), (1,), (2,), (3,))
    assert found.condition_index == pytest.approx(3.9921, abs=1e-4)


def test_noisy_example_against_scipy() -> None:
    y = np.array([1.85, 1.05, 0.32, 1.08, 1.81, 2.63, 0.26, 2.60])
    peer, norm = scipy.optimize.nnls(DESIGN, y)
    assert norm == pytest.approx(0.0591608, abs=1e-6)
    design, block = repeated(DESIGN)
    found = attribute(design, np.tile(y, 12), block)
    np.testing.assert_allclose(found.coef, peer, atol=1e-9)
    np.testing.assert_allclose(found.coef, [0.285, 0.780, 0.005, 1.545], atol=1e-9)


def test_unidentifiable_example_gives_the_group_only() -> None:
    # Rank 2: columns 1 and 2 always move together, only their sum of 1.0 is determined.
    small = np.array([[1, 1, 0], [1, 1, 1], [0, 0, 1], [1, 1, 0]], dtype=float)
    design, block = repeated(small)
    found = attribute(design, design @ [0.6, 0.4, 0.5], block)
    assert sorted(found.groups) == [(0, 1), (2,)]
    by_group = dict(zip(found.groups, found.coef, strict=True))
    assert by_group[(0, 1)] == pytest.approx(1.0, abs=1e-9)
    assert by_group[(2,)] == pytest.approx(0.5, abs=1e-9)
    assert found.condition_index <= 30


def test_refuses_where_nothing_may_be_put_together() -> None:
    small = np.array([[1, 1, 0], [1, 1, 1], [0, 0, 1], [1, 1, 0]], dtype=float)
    design, block = repeated(small)
    found = attribute(design, design @ [0.6, 0.4, 0.5], block, kinds=(-1, 0, 1))
    assert found.groups == ()
    assert found.refused
    short = attribute(DESIGN, DESIGN @ np.ones(4), np.zeros(8, dtype=np.intp))
    assert short.refused == "too short"


@pytest.mark.parametrize(("e", "index"), [(0.5, 5.83), (0.1, 28.32), (0.01, 282.85)])
def test_condition_of_two_like_columns(e: float, index: float) -> None:
    # Belsley, Kuh and Welsch 1980: columns scaled to unit length, the intercept kept.
    two = np.stack([np.ones(4), [1, 1 + e, 1, 1 - e]], axis=1)
    assert condition_indices(two)[-1] == pytest.approx(index, abs=0.006)


def test_condition_of_an_uncentred_column() -> None:
    design = np.stack([np.ones(5), np.arange(10.0, 15.0)], axis=1)
    assert condition_indices(design)[-1] == pytest.approx(17.03, abs=0.005)
    np.testing.assert_allclose(condition_indices(DESIGN), [1, 2.3761, 2.3761, 3.9921], atol=1e-4)
    assert np.isinf(condition_indices(np.stack([np.ones(5), np.zeros(5)], axis=1))[-1])


def test_ranges_cover() -> None:
    # The 95 % range from the bootstrap of blocks, over 60 noisy repetitions with autocorrelation.
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(60):
        design = np.column_stack([np.ones(600), rng.gamma(1.0, 1.0, (600, 2))])
        noise = np.convolve(rng.standard_normal(604), np.ones(5) / 5, "valid")
        y = design @ [0.3, 0.5, 0.2] + 0.4 * noise
        found = attribute(design, y, np.arange(600) // 20)
        hits += found.low[1] <= 0.5 <= found.high[1]
    assert hits >= 51  # 95 % less three standard deviations of 60 draws
