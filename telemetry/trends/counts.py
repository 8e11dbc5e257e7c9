"""Rare events counted flight by flight: is there more than chance in the last flights?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import scipy

from telemetry.numerics.statistics.runs import run_after

# What is known beforehand of falls that no load explains: so many in so many flights (heuristic).
_PRIOR_COUNT, _PRIOR_FLIGHTS = 0.5, 5.0
# Hard flying brings them in clusters: the rate is never held for surer than so many events say.
_SUREST = 2.0
# How many of the last flights are taken together.
_WINDOWS = (1, 2, 3, 4)
# In a single flight only this many events tell anything.
_ALONE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """More events than chance gives.

    Attributes
    ----------
    count : int
        Events since it began.
    flights : int
        Flights with any of them.
    since : int
        Index of the first of these flights.
    usual : float
        Events a flight before, and at other places.
    p : float
        Chance of so many in these flights at the usual rate.
    """

    count: int
    flights: int
    since: int
    usual: float
    p: float


def judge_counts(
    counts: Sequence[int], others: Sequence[Sequence[int]], *, first: int, run: float
) -> Burst | None:
    """More events at one place than before and than elsewhere on the same flights.

    Parameters
    ----------
    counts : sequence of int
        Events of the place, flight by flight.
    others : sequence of sequence of int
        The same of the other places: what shakes all of them is no fault of one.
    first : int
        First flight that counts.
    run : float
        Healthy flights from one false finding to the next while they are few; see
        :func:`telemetry.numerics.statistics.runs.run_after`.

    Returns
    -------
    Burst or None
        Judged in every flight so far, each time from the last one to four flights; the first
        time it is established counts. The rate is gamma distributed with what was seen before,
        so the count is negative binomial.
    """
    sums, with_sums = _sums(counts), _sums([bool(c) for c in counts])
    others_sums = [_sums(other) for other in others]
    # A flight without an event at either end makes a window likelier by chance: the shorter one,
    # judged before, is the first to be established.
    for end in range(len(counts) + 1):
        level = 1.0 / (run_after(end - first, run) * len(_WINDOWS))
        for width in _WINDOWS:
            start = end - width
            if start < first:
                continue
            seen = sums[end] - sums[start]
            with_any = with_sums[end] - with_sums[start]
            if with_any < 2 and seen < _ALONE:
                continue
            shape = _PRIOR_COUNT + sums[start] - sums[first]
            exposure = _PRIOR_FLIGHTS + (start - first)
            for other in others_sums:
                shape += other[end] - other[start]
                exposure += width
            held = min(shape, _SUREST)
            odds = exposure * held / shape
            # Of a negative binomial count: so many events or more.
            p = float(scipy.special.betainc(seen, held, width / (odds + width)))
            if p < level:
                since = list(counts[start:])
                return Burst(
                    count=sum(since),
                    flights=sum(1 for c in since if c),
                    since=start,
                    usual=shape / exposure,
                    p=p,
                )
    return None


def _sums(counts: Sequence[int]) -> list[int]:
    """Sums of the counts before each one, and of all."""
    return [0, *accumulate(counts)]
