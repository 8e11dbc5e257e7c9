"""Sets of packs that take turns: which flights were flown with which, stated or by the data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.statistics.turns import Series, log_odds_of_turns
from telemetry.trends.parts import EvidencePart

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: No set, or a set that is not known.
NO_SET = -1
# Sets that are looked for, and flights on each before the next one's turn.
_MOST_SETS, _MOST_IN_A_ROW = 4, 2
# A pattern is looked at from so many turns of all its sets on.
_TURNS = 2.5
# Log of the odds from which one is taken for true: 1,000 to 1 for any of them.
_SURE = float(np.log(1000.0))
# How far sets lie apart, logarithm of a resistance: of one make, and one of them worn (heuristic).
_APART = (0.08, 0.4)
# A difference may be there from the first flight on, or since so many flights (heuristic).
_SINCE = (10, 16)
# Change of the resistance from flight to flight that all sets share, a random walk (heuristic).
_DRIFT = 0.02
# What is known beforehand of a set's difference, as a covariate of all flights.
_SET_SD = 0.3
# A set is compared with flights of others no further away than so many turns of all sets.
_NEAR = 3
# Steps that tell a scatter; the median deviation of a normal one; what a value is worth that is
# told by a median (both from the normal distribution), halved as steps share their values.
_FEW_STEPS, _MEDIAN, _WORTH = 5, 0.6745, 0.37 / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSets:
    """Which set of packs each flight was flown with.

    Attributes
    ----------
    of : ndarray of int, shape (flights,)
        Number of the set, from 0; -1 where it is not known.
    labels : tuple of str
        What is written on each set; "" where the sets are only proposed by the data.
    """

    of: IntArray
    labels: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many sets there are."""
        return len(self.labels)

    @property
    def stated(self) -> bool:
        """True where labels tell them, not the data."""
        return any(self.labels)

    def flights(self, one: int) -> IntArray:
        """Indices of the flights with a set."""
        return np.flatnonzero(self.of == one)

    def in_use(self, one: int) -> bool:
        """Whether a set was flown of late: not so long ago that others had three turns each."""
        own = self.flights(one)
        return bool(own.size and self.of.size - own[-1] <= _NEAR * max(self.count, 2))


def no_sets(flights: int) -> PackSets:
    """One and the same packs in all flights, for all that is known."""
    return PackSets(of=np.full(flights, NO_SET), labels=())


def stated_sets(labels: Sequence[str | None]) -> PackSets | None:
    """Sets that take turns, by the labels of the flights.

    None where none comes back after another (that is a pack that was replaced), or nearly each
    flight names another: that is no label.
    """
    known = [label for label in labels if label is not None]
    counts = Counter(known)
    runs = sum(1 for _ in groupby(known))
    if runs <= len(counts) or 2 * len(counts) > len(known):
        return None
    names = tuple(counts)
    of = [NO_SET if label is None else names.index(label) for label in labels]
    return PackSets(of=np.array(of, dtype=np.int64), labels=names)


class Turns(NamedTuple):
    """A pattern of turns: how many sets, flights in a row on each, anew each day."""

    sets: int
    in_a_row: int
    each_day: bool


def proposed_sets(
    parts: Sequence[tuple[EvidencePart, float]], flown: Sequence[bool], days: Sequence[object]
) -> PackSets | None:
    """Sets that take turns, where the data are far likelier with them than without.

    Two to four sets, one or two flights in a row on each, in one go or beginning anew each day.
    Each pattern is weighed by its marginal likelihood against that of one set, all patterns
    together as likely beforehand as none; days, drift and covariates explain what they can.

    Parameters
    ----------
    parts : sequence of (EvidencePart, float)
        Logarithms of resistances, flight by flight, and the deviation that the flights of one day
        share.
    flown : sequence of bool, shape (flights,)
        False for bench recordings: they take no turn.
    days : sequence, shape (flights,)
        What tells the days of the flights apart; None where the day is not known.

    Returns
    -------
    PackSets or None
        None where no pattern is sure.
    """
    own = [(p, _series(p, day_sd, days)) for p, day_sd in parts if p.at.size]
    found = [(0.0, no_sets(len(flown)))]
    for turns in _patterns(flown, days) if own else ():
        of = _sets_of(turns, flown, days)
        if any(np.array_equal(of, other.of) for _, other in found):
            continue
        odds = 0.0
        for part, series in own:
            known = of[part.at] != NO_SET
            since = [0, *(len(flown) - k for k in _SINCE if len(flown) - k > 2)]
            begins = np.searchsorted(part.at[known], since)
            odds += log_odds_of_turns(_kept(series, known), of[part.at[known]], begins)
        found.append((odds, PackSets(of=of, labels=("",) * turns.sets)))
    odds, sets = max(found, key=lambda one: one[0])
    return sets if odds >= _SURE + np.log(len(found)) else None


def _patterns(flown: Sequence[bool], days: Sequence[object]) -> list[Turns]:
    sets = range(2, _MOST_SETS + 1)
    out = [Turns(n, row, False) for n in sets for row in range(1, _MOST_IN_A_ROW + 1)]
    most = max(Counter(d for d in days if d is not None).values(), default=0)
    # Each set once a day: of three flights on two sets the third were the first set again.
    out += [Turns(n, 1, True) for n in sets if 2 <= most <= n]
    return [t for t in out if sum(flown) >= _TURNS * t.sets * t.in_a_row]


def _sets_of(turns: Turns, flown: Sequence[bool], days: Sequence[object]) -> IntArray:
    """The set of each flight by a pattern."""
    of = np.full(len(flown), NO_SET)
    number, day = 0, None
    for k, (flies, when) in enumerate(zip(flown, days, strict=True)):
        if turns.each_day and when != day:
            number, day = 0, when
        if flies:
            of[k] = number // turns.in_a_row % turns.sets
            number += 1
    return of


def _series(part: EvidencePart, day_sd: float, days: Sequence[object]) -> Series:
    """A part with what its values share: the day, a drift, its covariates."""
    n = part.at.size
    common = (_DRIFT / part.sigma) ** 2 * np.minimum.outer(part.at, part.at)
    if part.design is not None and part.slope_sd is not None:
        effects = part.design * (part.slope_sd / part.sigma)
        common = common + effects @ effects.T
    known = [days[int(k)] for k in part.at]
    same = np.array([[a is not None and a == b for b in known] for a in known]).reshape(n, n)
    return Series(
        y=part.bare,
        spread=part.spread,
        sigma=part.sigma,
        weight=part.weight,
        common=common + (day_sd / part.sigma) ** 2 * same,
        sizes=tuple(x / part.sigma for x in _APART),
    )


def _kept(series: Series, keep: NDArray[np.bool_]) -> Series:
    return series._replace(
        y=series.y[keep], spread=series.spread[keep], common=series.common[np.ix_(keep, keep)]
    )


def with_sets(part: EvidencePart, sets: PackSets) -> EvidencePart:
    """A part with the sets' differences as covariates, so that they are no change."""
    own = sets.of[part.at]
    if sets.count < 2 or not (own != NO_SET).any():
        return part
    columns = (own[:, None] == np.arange(sets.count)).astype(np.float64)
    return part.explained_by(columns, [0.0] * sets.count, [_SET_SD] * sets.count)


def against_others(part: EvidencePart, sets: PackSets, one: int) -> EvidencePart | None:
    """A set's flights against the nearest earlier flight of each other set, at first a later one.

    What all sets share, cold or a plug, is in neither. Covariates are taken out of both sides. Sets
    take few turns: a first one that had no others before it would leave one less to hold against.

    Returns
    -------
    EvidencePart or None
        None where none of its flights has another set's near it.
    """
    own = sets.of[part.at]
    reach = _NEAR * sets.count
    others = [other for other in range(sets.count) if other != one]
    # The value of each other set that stands for each one, shape (others, n).
    theirs = np.array([_nearest(own == other) for other in others]).reshape(len(others), own.size)
    near = (theirs >= 0) & (np.abs(part.at - part.at[theirs]) <= reach)
    at = np.flatnonzero((own == one) & near.any(axis=0))
    if at.size == 0:
        return None
    near, theirs = near[:, at], theirs[:, at]
    count = near.sum(axis=0)

    def of_others(x: FloatArray) -> FloatArray:
        """Sum of their values, shape (flights, ...)."""
        held = near.reshape(*near.shape, *(1,) * (x.ndim - 1))
        return np.asarray(np.where(held, x[theirs], 0.0).sum(axis=0), dtype=np.float64)

    def less(x: FloatArray) -> FloatArray:
        return np.asarray(x[at] - (of_others(x).T / count).T, dtype=np.float64)

    variance = part.spread**2
    spread = variance[at] + of_others(variance) / count**2
    # Of the scatter of two means the part beyond that of one value counts as their own error.
    return replace(
        part,
        at=part.at[at],
        y=less(part.y),
        se=part.sigma * np.sqrt(spread - 1.0),
        design=None if part.design is None else less(part.design),
    )


def as_steady_as(part: EvidencePart, others: Sequence[EvidencePart]) -> EvidencePart:
    """A part whose scatter is known from like ones as well, by how far each moves at a time.

    From the median of the steps between its values: a lasting change is one step of many.
    """
    steps = [
        np.diff(p.bare) / np.hypot(p.spread[1:], p.spread[:-1]) for p in others if p.at.size > 1
    ]
    moved = np.abs(np.concatenate([np.empty(0), *steps]))
    if moved.size < _FEW_STEPS:
        return part
    sigma = float(np.median(moved)) / _MEDIAN
    told = _WORTH * moved.size
    square = (part.weight * part.sigma**2 + told * sigma**2) / (part.weight + told)
    scaled = float(np.sqrt(square))
    return replace(part, sigma=scaled, weight=part.weight + told)


def _nearest(held: NDArray[np.bool_]) -> IntArray:
    """Index of the last True up to each value, of the first one before that; -1 of none at all."""
    first = int(held.argmax()) if held.any() else -1
    return np.maximum.accumulate(np.where(held, np.arange(held.size), first))
