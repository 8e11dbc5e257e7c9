"""Values with 95 % intervals, and how an interval is carried through a computation."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Interval:
    """A value and its 95 % interval; the two sides may differ.

    Attributes
    ----------
    value, low, high : float
        ``low <= value <= high``, all in one unit.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.low} <= {self.value} <= {self.high} does not hold")

    @classmethod
    def exact(cls, value: float) -> Interval:
        """A value taken as known."""
        return cls(value, value, value)

    @classmethod
    def around(cls, value: float, minus: float, plus: float | None = None) -> Interval:
        """A value with half-widths; the upper one like the lower where it is not given."""
        return cls(value, value - minus, value + (minus if plus is None else plus))


# What names an input.
Name = TypeVar("Name", bound=Hashable)


def propagate(
    compute: Callable[[Mapping[Name, float]], Mapping[str, float]], inputs: Mapping[Name, Interval]
) -> dict[str, Interval]:
    """Results of a computation with the intervals that follow from those of its inputs.

    Each input is moved alone to the low and to the high end of its interval and the computation
    repeated; the shifts of a result to either side are added in squares. This is the law of
    propagation of uncertainty (JCGM 100:2008, 5.1.2) with the derivatives taken as finite
    differences over the interval itself, each side for itself (J. Kragten, *Analyst* 119 (1994)
    2161), so that a one-sided interval stays one-sided. Inputs are taken as independent.

    Parameters
    ----------
    compute : callable
        Named numbers in, named numbers out; the same names whatever the numbers.
    inputs : mapping of names to Interval

    Returns
    -------
    dict of str to Interval
    """
    centre = {name: x.value for name, x in inputs.items()}
    best = compute(centre)
    below = dict.fromkeys(best, 0.0)
    above = dict.fromkeys(best, 0.0)
    for name, x in inputs.items():
        shifts = [
            {key: value - best[key] for key, value in compute({**centre, name: end}).items()}
            for end in (x.low, x.high)
            if end != x.value
        ]
        for key in best:
            # Products, for a power overflows with an error where these become infinite.
            down, up = (end([0.0, *(s[key] for s in shifts)]) for end in (min, max))
            below[key] += down * down
            above[key] += up * up
    return {
        key: Interval.around(value, math.sqrt(below[key]), math.sqrt(above[key]))
        for key, value in best.items()
    }


def likeness(rest: NDArray[np.float64]) -> float:
    """How much the variance of a mean grows by likeness of neighbours: (1 + r) / (1 - r).

    Parameters
    ----------
    rest : ndarray, shape (n,)
        Residuals in time order; ``r`` is their correlation with the next one, from 0 to 0.9.
    """
    power = float((rest**2).sum())
    if power <= 0:
        return 1.0
    r = min(max(float((rest[1:] * rest[:-1]).sum()) / power, 0.0), 0.9)
    return (1 + r) / (1 - r)
