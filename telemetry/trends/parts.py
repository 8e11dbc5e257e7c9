"""Features of one place as parts of one evidence: scored flight by flight, and weighed together.

Every feature of a place is scored against the prediction from its own earlier flights. The
scores of the features that show one kind of fault are added up, weighted by how strongly each
would move, into one score a flight.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.statistics.charts import Scores, recursive_scores

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Features of one place in one flight share causes (the day, how a servo is): heuristic, from
# seasons.
_SHARED = 0.15
# A feature is judged from its third flight on: before that it has no scatter of its own.
LEAST_OF_FEATURE = 3
CLIP = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidencePart:
    """One feature of one place, flight by flight.

    Attributes
    ----------
    name : str
    at : ndarray of int, shape (n,)
        Indices of the flights in which it was measured, rising.
    y, se : ndarray, shape (n,)
        Values, and their own standard errors.
    sigma, weight : float
        Usual scatter between flights, known beforehand, and how many flights that is worth.
    response, doubt : float
        How far the feature moves for a unit of the fault, and how unsure that is, relative. The
        doubt says nothing on whether there is a fault, only on how large it is.
    design : ndarray, shape (n, m), or None
        Covariates: common causes.
    slope, slope_sd : ndarray, shape (m,), or None
        What is known of their effect.
    known : bool
        True where the scatter is no longer learnt.
    """

    name: str
    at: IntArray
    y: FloatArray
    se: FloatArray
    sigma: float
    weight: float = 4.0
    response: float = 1.0
    doubt: float = 0.0
    design: FloatArray | None = None
    slope: FloatArray | None = None
    slope_sd: FloatArray | None = None
    known: bool = False

    @property
    def spread(self) -> FloatArray:
        """Deviation of each value, its own error with it, over the usual scatter."""
        return np.asarray(np.sqrt(1.0 + (self.se / self.sigma) ** 2), dtype=np.float64)

    @property
    def bare(self) -> FloatArray:
        """The values without what its covariates explain by what is known beforehand."""
        if self.design is None or self.slope is None:
            return self.y
        return np.asarray(self.y - self.design @ self.slope, dtype=np.float64)

    def begins(self, other: EvidencePart) -> bool:
        """Whether the other one goes on from where this ends: scored alike up to there."""
        n = self.y.size
        same = (self.sigma, self.weight, self.known) == (other.sigma, other.weight, other.known)
        pairs = ((self.slope, other.slope), (self.slope_sd, other.slope_sd))
        values = ((self.y, other.y), (self.se, other.se), (self.design, other.design))
        return (
            same
            and all(_equal(a, b) for a, b in pairs)
            and all(_equal(a, None if b is None else b[:n]) for a, b in values)
        )

    def scores(self, learn: BoolArray) -> Scores:
        """Scores of its values; ``learn`` is by flight."""
        return recursive_scores(
            self.y,
            design=self.design,
            slope=self.slope,
            slope_sd=self.slope_sd,
            spread=self.spread,
            sigma=self.sigma,
            sigma_weight=self.weight,
            sigma_learns=not self.known,
            learn=learn[self.at],
            clip=CLIP,
        )

    def steady(self, change: int) -> EvidencePart:
        """The same with its scatter learnt beside a change at flight ``change``, and held to be so.

        ``weight`` is then the degrees of freedom of that scatter.
        """
        columns = [np.ones(self.at.size), (self.at >= change).astype(float)]
        columns += [] if self.design is None else list(self.design.T)
        design = np.stack(columns, axis=1) / self.spread[:, None]
        y = self.y / self.spread
        found, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
        left = y - design @ found
        degrees = self.weight + max(self.at.size - int(rank), 0)
        sigma = np.sqrt((self.weight * self.sigma**2 + float(left @ left)) / degrees)
        return replace(self, sigma=float(sigma), weight=degrees, known=True)

    def since(self, first: int) -> EvidencePart:
        """The flights from ``first`` on."""
        return self.only(self.at >= first)

    def until(self, end: int) -> EvidencePart:
        """The flights before ``end``."""
        return self.only(self.at < end)

    def without(self, first: int, end: int) -> EvidencePart:
        """All but the flights from ``first`` up to before ``end``."""
        return self.only((self.at < first) | (self.at >= end))

    def explained_by(
        self,
        design: FloatArray,
        slope: Sequence[float],
        slope_sd: Sequence[float],
        se: FloatArray | float = 0.0,
    ) -> EvidencePart:
        """With further covariates, shape (n, m), and what is known of their effect.

        ``se`` is what they leave unsure of each value.
        """
        told = (design, np.asarray(slope, dtype=np.float64), np.asarray(slope_sd, dtype=np.float64))
        if self.design is not None and self.slope is not None and self.slope_sd is not None:
            known = (self.design, self.slope, self.slope_sd)
            told = tuple(  # type: ignore[assignment]
                np.concatenate(pair, axis=-1) for pair in zip(known, told, strict=True)
            )
        return replace(
            self, design=told[0], slope=told[1], slope_sd=told[2], se=np.hypot(self.se, se)
        )

    def only(self, keep: BoolArray) -> EvidencePart:
        """Some of its values, by a mask of shape (n,)."""
        return replace(
            self,
            at=self.at[keep],
            y=self.y[keep],
            se=self.se[keep],
            design=None if self.design is None else self.design[keep],
        )


def part_of(name: str, y: FloatArray, se: FloatArray, *, sigma: float) -> EvidencePart | None:
    """A part of values flight by flight, NaN where none is; None where there is none at all."""
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        return None
    return EvidencePart(name=name, at=at, y=y[at], se=se[at], sigma=sigma)


class KnownScores:
    """Scores of values that are judged again with each flight: those of the longest series serve.

    The score of a value does not depend on those after it.
    """

    def __init__(self) -> None:
        self._known: dict[Hashable, tuple[EvidencePart, Scores]] = {}

    def of(self, part: EvidencePart) -> Scores:
        """Scores of a part of which every value is learnt."""
        n = part.y.size
        begins = (part.name, part.sigma, *part.y[:LEAST_OF_FEATURE].tolist())
        longest = self._known.get(begins)
        if longest is not None and part.begins(longest[0]):
            return Scores(*(x[:n] for x in longest[1]))
        found = part.scores(np.ones(int(part.at[-1]) + 1, dtype=bool))
        if longest is None or n >= longest[0].y.size:
            self._known[begins] = part, found
        return found


def _equal(a: FloatArray | None, b: FloatArray | None) -> bool:
    return a is b if a is None or b is None else np.array_equal(a, b)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """All parts together, flight by flight.

    Attributes
    ----------
    at : ndarray of int, shape (n,)
        Flights with at least one part.
    score : ndarray, shape (n,)
        Standard normal while nothing changes.
    rise, sd : ndarray, shape (n,)
        Estimate of the fault against the baseline, and its standard deviation by chance (of one
        flight, the baseline's own uncertainty included).
    doubt : float
        Standard deviation of the last estimates by what is not known of the responses.
    """

    at: IntArray
    score: FloatArray
    rise: FloatArray
    sd: FloatArray
    doubt: float


def weigh(
    parts: Sequence[EvidencePart],
    flights: int,
    learn: BoolArray | None = None,
    *,
    known: KnownScores | None = None,
) -> Weighed:
    """Scores of all parts together, one a flight.

    Parameters
    ----------
    parts : sequence of EvidencePart
    flights : int
        Number of flights in all.
    learn : ndarray of bool, shape (flights,), optional
        False for flights that the baseline is not to learn from.
    known : KnownScores, optional
        Where all are learnt.
    """
    known = None if learn is not None else known
    learn = np.ones(flights, dtype=bool) if learn is None else learn
    used = [p for p in parts if p.at.size]
    score, rise = (np.zeros((len(used), flights)) for _ in range(2))
    sd = np.full((len(used), flights), np.inf)
    for i, part in enumerate(used):
        found = part.scores(learn) if known is None else known.of(part)
        # How many flights this part had learnt from before each flight.
        count = np.r_[0, np.cumsum(learn[part.at])[:-1]]
        ready = count >= LEAST_OF_FEATURE - 1
        at = part.at[ready]
        score[i, at] = found.score[ready]
        rise[i, at] = (part.y - found.predicted)[ready] / part.response
        sd[i, at] = found.scale[ready] / part.response
    at = np.flatnonzero(np.isfinite(sd).any(axis=0))
    score, rise, sd = score[:, at], rise[:, at], sd[:, at]
    summed = summed_scores(score, sd)
    doubts = np.array([p.doubt for p in used])[:, None]
    size = np.zeros(1)
    for _ in range(2):  # the doubt grows with the rise, so it is weighed in the second time
        weight = np.reciprocal(sd**2 + (doubts * size) ** 2)
        total = weight.sum(axis=0)
        mean = (weight * rise).sum(axis=0) / total
        size = np.abs(np.median(mean[-3:], keepdims=True)) if mean.size else size
    chance = np.sqrt((weight**2 * np.where(np.isfinite(sd), sd, 0.0) ** 2).sum(axis=0)) / total
    doubt = np.sqrt((weight**2 * (doubts * size) ** 2).sum(axis=0)) / total
    return Weighed(
        at=at,
        score=summed,
        rise=mean,
        sd=chance,
        doubt=float(np.median(doubt[-3:])) if doubt.size else 0.0,
    )


def summed_scores(score: FloatArray, sd: FloatArray) -> FloatArray:
    """One score of those of many parts, by the variance of a sum of scores all correlated alike.

    Parameters
    ----------
    score, sd : ndarray, shape (parts, ...)
        ``sd`` is the deviation of the estimate that each score stands for; infinite where the part
        tells nothing.
    """
    weight = np.reciprocal(sd)
    square, total = (weight**2).sum(axis=0), weight.sum(axis=0)
    summed = (weight * score).sum(axis=0)
    return np.asarray(summed / np.sqrt(square + _SHARED * (total**2 - square)), dtype=np.float64)


def moved_since(part: EvidencePart, learn: BoolArray) -> tuple[float, float] | None:
    """How far a part has moved since the flights that are learnt from, and how sure that is.

    Returns
    -------
    (float, float) or None
        Mean of the later flights against the prediction, and its standard deviation; their errors
        hang together by the baseline, so no more than three flights count. None where the part
        has no flights on both sides.
    """
    after = ~learn[part.at]
    if not after.any() or np.count_nonzero(~after) < LEAST_OF_FEATURE - 1:
        return None
    scores = part.scores(learn)
    moved = (part.y - scores.predicted)[after]
    sd = float(scores.scale[after].mean()) / np.sqrt(min(moved.size, 3))
    return float(moved.mean()), sd


def log_odds(moved: float, sd: float, if_this: float, if_that: float) -> float:
    """Log of the odds of one expected movement against another, for a normal error.

    Where neither explains what was seen, the error is larger than was thought: then the nearer one
    is taken to be two deviations away, or odds without meaning would grow with the distance.
    """
    nearest = min(abs(moved - if_this), abs(moved - if_that))
    error = max(sd, nearest / 2.0)
    return ((moved - if_that) ** 2 - (moved - if_this) ** 2) / (2.0 * error**2)
