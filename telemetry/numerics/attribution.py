"""One shared current attributed to several loads, as far as it can be told apart.

``y = A x`` with x >= 0 (C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974). Where
columns of A move together only their sum is determined: scaled condition indices (D. A. Belsley,
E. Kuh and R. E. Welsch, Regression Diagnostics, 1980) tell when, and such columns are put
together into a group before anything is given a number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.linear import non_negative_least_squares

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

# Belsley, Kuh and Welsch call 30 to 100 moderate to strong dependence.
HIGHEST_INDEX = 30.0
_DRAWS = 200
_LEAST_BLOCKS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Attribution:
    """What was told apart.

    Attributes
    ----------
    groups : tuple of tuple of int
        Columns of the design; more than one in a group where they move together.
    coef, low, high : ndarray, shape (groups,)
        Per group: non-negative coefficient of the mean of its columns (for columns that are equal
        the sum of their coefficients) and its 95 % range.
    condition_index : float
        Largest scaled condition index of the design after grouping.
    refused : str
        Why there is nothing, else "".
    """

    groups: tuple[tuple[int, ...], ...] = ()
    coef: FloatArray
    low: FloatArray
    high: FloatArray
    condition_index: float
    refused: str = ""


def condition_indices(design: FloatArray) -> FloatArray:
    """Scaled condition indices: columns to unit length, largest over each singular value.

    Parameters
    ----------
    design : ndarray, shape (n, k)
        With its intercept column, if it has one; not centred.

    Returns
    -------
    ndarray, shape (k,)
        Rising from 1; infinite where columns are dependent or zero.
    """
    length = np.sqrt((design**2).sum(axis=0))
    if (length == 0).any():
        return np.concatenate((np.ones(length.size - 1), [np.inf]))
    scaled = design / length
    # Squares of the singular values; below 1e-13 of the largest they are rounding.
    power = np.linalg.eigvalsh(scaled.T @ scaled)[::-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(power > 1e-13 * power[0], np.sqrt(power[0] / power), np.inf)


def unexplained(design: FloatArray, y: FloatArray) -> float:
    """Sum of squares that plain least squares leaves; a measure to compare designs by."""
    rise = design.T @ y
    return float(y @ y - rise @ _plain((design.T @ design)[None], rise[None])[0])


def attribute(
    design: FloatArray,
    y: FloatArray,
    block: IntArray,
    *,
    kinds: tuple[int, ...] | None = None,
    seed: int = 0,
) -> Attribution:
    """Non-negative least squares after putting columns together that cannot be told apart.

    Parameters
    ----------
    design : ndarray, shape (n, k)
    y : ndarray, shape (n,)
    block : ndarray of int, shape (n,)
        Number of the block of time of each row, for the bootstrap by blocks.
    kinds : tuple of int, shape (k,), optional
        Only columns of one kind may be put together; a kind of -1 never is (the intercept).
    seed : int
        Of the bootstrap.

    Returns
    -------
    Attribution
        Refused where the index stays above 30 whatever is put together.
    """
    sort = kinds if kinds is not None else (0,) * design.shape[1]
    groups: list[tuple[int, ...]] = [(k,) for k in range(design.shape[1])]
    merged = design
    index = float(condition_indices(merged)[-1])
    while index > HIGHEST_INDEX:
        pair = most_alike(merged, [sort[g[0]] for g in groups])
        if pair is None:
            return _nothing(index, "the columns cannot be told apart")
        first, second = pair
        groups[first] = (*groups[first], *groups[second])
        del groups[second]
        merged = np.stack([design[:, list(g)].mean(axis=1) for g in groups], axis=1)
        index = float(condition_indices(merged)[-1])
    number = int(block.max()) + 1 if block.size else 0
    if number < _LEAST_BLOCKS:
        return _nothing(index, "too short")
    gram, rise = products_by_block(merged, y, block, number)
    best = non_negative(gram.sum(axis=0)[None], rise.sum(axis=0)[None])[0]
    rng = np.random.default_rng(seed)
    draws = rng.integers(0, number, (_DRAWS, number))
    each = draws + number * np.arange(_DRAWS)[:, None]
    times = np.bincount(each.ravel(), minlength=_DRAWS * number).reshape(_DRAWS, number) * 1.0
    grams, rises = np.tensordot(times, gram, axes=1), times @ rise
    low, high = np.quantile(non_negative(grams, rises), [0.025, 0.975], axis=0)
    return Attribution(
        groups=tuple(groups),
        coef=best,
        low=np.minimum(low, best),
        high=np.maximum(high, best),
        condition_index=index,
    )


def _nothing(index: float, why: str) -> Attribution:
    none = np.zeros(0)
    return Attribution(coef=none, low=none, high=none, condition_index=index, refused=why)


def most_alike(design: FloatArray, sort: list[int]) -> tuple[int, int] | None:
    """The two columns of one kind that are most alike; None where no two may be put together."""
    length = np.sqrt((design**2).sum(axis=0))
    like = (design.T @ design) / np.maximum(np.outer(length, length), 1e-300)
    best, pair = -1.0, None
    for i in range(len(sort)):
        for j in range(i + 1, len(sort)):
            if sort[i] == sort[j] and sort[i] >= 0 and like[i, j] > best:
                best, pair = float(like[i, j]), (i, j)
    return pair


def products_by_block(
    design: FloatArray, y: FloatArray, block: IntArray, number: int
) -> tuple[FloatArray, FloatArray]:
    """Products of the columns with one another, and with y, summed over each block."""
    order = np.argsort(block, kind="stable")
    columns = np.vstack((design.T, y))[:, order]
    present, starts = np.unique(block[order], return_index=True)
    products = np.zeros((number, columns.shape[0], columns.shape[0]))
    for k, column in enumerate(columns):
        sums = np.add.reduceat(columns[k:] * column, starts, axis=1).T
        products[present, k:, k] = products[present, k, k:] = sums
    return products[:, :-1, :-1], products[:, :-1, -1]


def non_negative(grams: FloatArray, rises: FloatArray) -> FloatArray:
    """Non-negative x that minimises |A x - y| in each row, from A'A and A'y.

    Where the plain solution is positive it is the one sought; so is the plain solution of some
    columns where it is positive and no other column would lower the squares (Karush, Kuhn and
    Tucker). Which columns these are is solved for one row, and tried in all that are left. With the
    symmetric root S of A'A the same x minimises |S x - S^-1 A'y|.

    Parameters
    ----------
    grams : ndarray, shape (draws, k, k)
    rises : ndarray, shape (draws, k)

    Returns
    -------
    ndarray, shape (draws, k)
    """
    found = _plain(grams, rises)
    left = np.flatnonzero((found <= 0).any(axis=1))
    while left.size:
        one, left = left[0], left[1:]
        power, axes = _axes(grams[one])
        root = (axes * np.sqrt(power)) @ axes.T
        along = axes @ (rises[one] @ axes / np.sqrt(power))
        found[one] = non_negative_least_squares(root, along)
        free = found[one] > 0
        gram, rise = grams[left], rises[left]
        trial = np.zeros(rise.shape)
        trial[:, free] = _plain(gram[:, free][:, :, free], rise[:, free])
        pull = rise - np.einsum("dik,dk->di", gram, trial)
        fits = (trial[:, free] > 0).all(axis=1) & (pull[:, ~free] <= 0).all(axis=1)
        found[left[fits]] = trial[fits]
        left = left[~fits]
    return found


def _plain(grams: FloatArray, rises: FloatArray) -> FloatArray:
    """The x of each row that minimises |A x - y|, whatever its signs."""
    try:
        np.linalg.cholesky(grams)
        return np.asarray(np.linalg.solve(grams, rises[:, :, None])[:, :, 0])
    except np.linalg.LinAlgError:  # a column is zero in some row
        power, axes = _axes(grams)
        along = np.einsum("dki,dk->di", axes, rises)
        return np.asarray(np.einsum("dki,di->dk", axes, along / power))


def _axes(gram: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Eigenvalues, the least of them as large as rounding leaves them, and eigenvectors."""
    power, axes = np.linalg.eigh(gram)
    return np.maximum(power, power[..., -1:] * 1e-14), axes
