"""The least of a function of two parameters, without its slopes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

Point = tuple[float, float]
Tried = tuple[float, Point]  # the value at a point, and the point

_MOST = 200  # steps; a search takes some tens


def least_of_two(
    of: Callable[[float, float], float],
    start: Sequence[Point],
    bounds: tuple[float, float],
    *,
    near: float,
    least: float,
) -> Tried:
    """The least value of a function and where it is, by the simplex search of Nelder and Mead.

    As :func:`scipy.optimize.minimize` has it, to the last bit; with arrays of two numbers that one
    takes several times as long as the function asked.

    Parameters
    ----------
    of : callable
    start : sequence of three points
        The first simplex, within the bounds.
    bounds : (float, float)
        Of the first parameter.
    near, least : float
        It ends where every parameter of the others is so near to the best one's, and every value.

    References
    ----------
    J. A. Nelder and R. Mead, A simplex method for function minimization, The Computer Journal 7
    (1965) 308-313.
    """

    def tried(x: float, y: float) -> Tried:
        x = min(max(x, bounds[0]), bounds[1])
        return of(x, y), (x, y)

    simplex = sorted((tried(*p) for p in start), key=_rank)
    for _ in range(_MOST):
        best, middle, worst = simplex
        (x, y), (other_x, other_y), (far_x, far_y) = (p for _, p in simplex)
        reach = max(abs(other_x - x), abs(other_y - y), abs(far_x - x), abs(far_y - y))
        if reach <= near and worst[0] - best[0] <= least:
            break
        centre, far = ((x + other_x) / 2, (y + other_y) / 2), (far_x, far_y)
        turned = tried(*_beyond(centre, far, 1.0))
        if turned[0] < best[0]:
            further = tried(*_beyond(centre, far, 2.0))
            simplex[2] = further if further[0] < turned[0] else turned
        elif turned[0] < middle[0]:
            simplex[2] = turned
        else:
            outside = turned[0] < worst[0]
            between = tried(*_beyond(centre, far, 0.5 if outside else -0.5))
            if between[0] <= turned[0] if outside else between[0] < worst[0]:
                simplex[2] = between
            else:
                simplex[1:] = [tried(x + (a - x) / 2, y + (b - y) / 2) for _, (a, b) in simplex[1:]]
        simplex.sort(key=_rank)
    return simplex[0]


def _rank(one: Tried) -> tuple[bool, float]:
    """What is no number comes last."""
    return math.isnan(one[0]), one[0]


def _beyond(centre: Point, far: Point, times: float) -> Point:
    """From a point over a centre, so many times as far on the other side of it."""
    (a, b), (c, d) = centre, far
    return (1 + times) * a - times * c, (1 + times) * b - times * d
