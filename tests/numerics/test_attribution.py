"""One current for several loads: worked examples, and when to refuse."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize

from telemetry.numerics import attribution
from telemetry.numerics.attribution import (
    attribute,
    condition_indices,
    non_negative,
    unexplained,
)

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


def test_least_squares_leaves_what_the_columns_cannot_reach() -> None:
    # (1 3) on a column of ones: about the mean of 2, 1 + 1; twice the same column no less.
    ones = np.ones((2, 1))
    assert unexplained(ones, np.array([1.0, 3.0])) == pytest.approx(2.0)
    assert unexplained(np.ones((2, 2)), np.array([1.0, 3.0])) == pytest.approx(2.0)
    assert unexplained(np.eye(2), np.array([1.0, 3.0])) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("many", [1, 3])
def test_a_column_of_nothing_has_no_end_to_its_index(many: int) -> None:
    found = condition_indices(np.column_stack([np.ones((5, many)), np.zeros(5)]))
    assert found.tolist() == [1.0] * many + [np.inf]


def test_indices_of_two_columns_by_hand() -> None:
    # Cosine c: singular values sqrt(1 + c) and sqrt(1 - c), whatever their lengths.
    c = 0.6
    two = np.array([[1.0, c], [0.0, 0.8]]) * [3.0, 0.1]
    assert condition_indices(two) == pytest.approx([1.0, (1.6 / 0.4) ** 0.5])
    assert condition_indices(np.ones((4, 2))).tolist() == [1.0, np.inf]


@pytest.mark.parametrize(
    ("sort", "pair"),
    [
        ([0, 0, 0], (0, 2)),  # the likest
        ([1, 0, 0], (1, 2)),
        ([0, 0, 1], (0, 1)),
        ([0, 1, 2], None),
        ([-1, -1, -1], None),
        ([-1, 0, -1], None),
    ],
)
def test_the_two_of_one_kind_that_are_most_alike(
    sort: list[int], pair: tuple[int, int] | None
) -> None:
    # Columns at 0, 60 and 10 degrees: cosines 0.5 (first two), 0.98, 0.64.
    turned = np.deg2rad([0.0, 60.0, 10.0])
    design = np.stack([np.cos(turned), np.sin(turned)]) * [1.0, 5.0, 2.0]
    assert attribution.most_alike(design, sort) == pair


def test_opposite_columns_may_be_put_together_and_empty_ones_too() -> None:
    # Cosine -0.9: still the likest there is. A column of nothing is like none, but more so.
    assert attribution.most_alike(np.array([[1.0, -0.9], [0.0, 0.4]]), [0, 0]) == (0, 1)
    empty = np.array([[1.0, 0.0], [0.0, 0.0]])
    assert attribution.most_alike(empty, [0, 0]) == (0, 1)


def test_moments_by_block() -> None:
    design = np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]])
    gram, rise = attribution.products_by_block(
        design, np.array([1.0, 1.0, 2.0]), np.array([0, 0, 2]), 3
    )
    assert gram.tolist() == [[[10, 14], [14, 20]], [[0, 0], [0, 0]], [[25, 30], [30, 36]]]
    assert rise.tolist() == [[4, 6], [0, 0], [10, 12]]


@pytest.mark.parametrize(
    ("y", "x"), [([3.0, 5.0], [3.0, 5.0]), ([3.0, -5.0], [3.0, 0.0]), ([-3.0, -5.0], [0.0, 0.0])]
)
def test_nothing_below_zero_is_given(y: list[float], x: list[float]) -> None:
    assert non_negative(np.eye(2)[None], np.array([y]))[0] == pytest.approx(x, abs=1e-9)


def test_draws_solved_together_are_those_of_the_reference() -> None:
    # scipy.optimize.nnls (Lawson and Hanson), one draw after the other.
    rng = np.random.default_rng(77)
    designs, y = rng.random((40, 30, 5)), rng.normal(1.5, 0.6, (40, 30))
    expected = [scipy.optimize.nnls(a, b)[0] for a, b in zip(designs, y, strict=True)]
    turned = designs.transpose(0, 2, 1)
    found = non_negative(turned @ designs, (turned @ y[:, :, None])[:, :, 0])
    assert 0 < sum((x > 0).all() for x in expected) < 40
    assert found == pytest.approx(np.array(expected), abs=1e-9)


@pytest.mark.parametrize(("blocks", "refused"), [(5, "too short"), (6, "")])
def test_six_blocks_are_the_least(blocks: int, refused: str) -> None:
    design, block = repeated(DESIGN, blocks)
    found = attribute(design, design @ [0.3, 0.8, 0.0, 1.5], block)
    assert found.refused == refused
    assert found.coef.size == (0 if refused else 4)
    assert attribute(design, np.ones(design.shape[0]), block[:0]).refused == "too short"


def test_the_range_holds_the_value_and_is_a_point_without_scatter() -> None:
    design, block = repeated(DESIGN)
    found = attribute(design, design @ [0.3, 0.8, 0.0, 1.5], block)
    assert found.low == pytest.approx(found.coef, abs=1e-9)
    assert found.high == pytest.approx(found.coef, abs=1e-9)


def test_the_range_is_that_of_draws_of_blocks() -> None:
    # A level alone: twenty blocks of one value each. A draw is the mean of twenty of them with
    # repeats, two hundred times; 95 % of them lie between the ends.
    y = np.arange(20.0) ** 2
    means = y[np.random.default_rng(7).integers(0, 20, (200, 20))].mean(axis=1)
    found = attribute(np.ones((20, 1)), y, np.arange(20), seed=7)
    assert found.coef == pytest.approx([y.mean()])
    assert found.low == pytest.approx([np.quantile(means, 0.025)])
    assert found.high == pytest.approx([np.quantile(means, 0.975)])


@pytest.mark.parametrize(("angle", "groups"), [(3.9, ((0,), (1,))), (3.7, ((0, 1),))])
def test_an_index_over_thirty_puts_columns_together(
    angle: float, groups: tuple[tuple[int, ...], ...]
) -> None:
    # Two columns at an angle have the index 1 / tan of half of it: 29.4 and 31.0.
    a = np.deg2rad(angle)
    small = np.array([[1.0, np.cos(a)], [0.0, np.sin(a)]])
    design, block = repeated(small)
    found = attribute(design, design @ [1.0, 1.0], block)
    assert found.groups == groups
    if len(groups) == 1:
        assert found.coef == pytest.approx([2.0], rel=1e-2)
        assert found.condition_index == 1.0


def test_three_like_columns_are_put_together_one_after_another() -> None:
    # Directions a degree apart: the first two alike, and the third still too like their mean.
    turned = np.deg2rad([0.0, 1.0, 2.5])
    design, block = repeated(np.stack([np.cos(turned), np.sin(turned)]))
    found = attribute(design, design.sum(axis=1), block)
    assert [sorted(g) for g in found.groups] == [[0, 1, 2]]
    assert found.condition_index == 1.0
