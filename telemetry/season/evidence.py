"""From features of many flights to one judgement: scores, chart, onset, level now, rate.

Every feature of a place is scored against the prediction from its own earlier flights. The
scores of the features that show one kind of fault are added up, weighted by how strongly each
would move, into one score a flight; a CUSUM of these finds the small lasting shift. What it finds
is then measured against the flights before it began.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from telemetry.signals.charts import Scores, cusum, cusum_limit, ewma, ewma_reach, recursive_scores
from telemetry.signals.robust import mann_kendall, step_test, theil_sen

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Half the shift, in standard deviations, that is to be found soonest: one deviation (custom).
K = 0.5
# False alarms are stated per season of this many flights.
SEASON = 20
# Features of one place in one flight share causes (the day, the servo's mood): ours, from seasons.
_SHARED = 0.15
# A feature is judged from its third flight on: before that it has no scatter of its own.
_LEAST_FLIGHTS = 3
_CLIP = 3.0
# A change is a step where one flight brought this part of it (ours).
_SUDDEN = 0.45
# The EWMA is drawn beside the CUSUM, with the weight that suits shifts of about one deviation.
_EWMA_WEIGHT, _EWMA_WIDTH = 0.2, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
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
    response : float
        How far the feature moves for a unit of the fault.
    design : ndarray, shape (n, m), or None
        Covariates: common causes.
    slope, slope_sd : ndarray, shape (m,), or None
        What is known of their effect.
    sized : bool
        Whether it tells how large the fault is, or only that there is one.
    """

    name: str
    at: IntArray
    y: FloatArray
    se: FloatArray
    sigma: float
    weight: float = 4.0
    response: float = 1.0
    design: FloatArray | None = None
    slope: FloatArray | None = None
    slope_sd: FloatArray | None = None
    sized: bool = True

    def scores(self, learn: BoolArray) -> Scores:
        """Scores of its values; ``learn`` is by flight."""
        return recursive_scores(
            self.y,
            design=self.design,
            slope=self.slope,
            slope_sd=self.slope_sd,
            spread=np.sqrt(1.0 + (self.se / self.sigma) ** 2),
            sigma=self.sigma,
            sigma_weight=self.weight,
            learn=learn[self.at],
            clip=_CLIP,
        )

    def since(self, first: int) -> Part:
        """The flights from ``first`` on."""
        keep = self.at >= first
        return replace(
            self,
            at=self.at[keep],
            y=self.y[keep],
            se=self.se[keep],
            design=None if self.design is None else self.design[keep],
        )


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
        Estimate of the fault against the baseline, and its standard deviation (of one flight, the
        baseline's own uncertainty included); NaN where no part tells the size.
    """

    at: IntArray
    score: FloatArray
    rise: FloatArray
    sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What the chart of one place and fault says.

    Attributes
    ----------
    at, score, rise, sd
        As in :class:`Weighed`; where a change is established, against the flights before it.
    chart : ndarray, shape (n,)
        The CUSUM.
    limit : float
    signal : int or None
        Index into ``at`` of the first flight in which the chart exceeded its limit.
    onset : int or None
        Index into ``at`` of the first flight with the change.
    now, low, high : float
        The change in the last flight, with its 95 % interval; 0 where none is established.
    per_flight, per_flight_low, per_flight_high : float or None
        Theil-Sen slope since the flight before the onset.
    p_trend : float
        Mann-Kendall, for a trend in the direction judged, over the same flights.
    step : bool
        True where one flight brought about half of the change or more.
    """

    at: IntArray
    score: FloatArray
    rise: FloatArray
    sd: FloatArray
    chart: FloatArray
    limit: float
    signal: int | None = None
    onset: int | None = None
    now: float = 0.0
    low: float = 0.0
    high: float = 0.0
    per_flight: float | None = None
    per_flight_low: float | None = None
    per_flight_high: float | None = None
    p_trend: float = 1.0
    step: bool = False

    @property
    def ewma(self) -> FloatArray:
        """The scores as an EWMA."""
        return ewma(self.score, _EWMA_WEIGHT)

    @property
    def ewma_reach(self) -> FloatArray:
        """Its limits."""
        return ewma_reach(self.score.size, _EWMA_WEIGHT, _EWMA_WIDTH)


def weigh(parts: Sequence[Part], flights: int, learn: BoolArray | None = None) -> Weighed:
    """Scores of all parts together, one a flight.

    Parameters
    ----------
    parts : sequence of Part
    flights : int
        Number of flights in all.
    learn : ndarray of bool, shape (flights,), optional
        False for flights that the baseline is not to learn from.
    """
    learn = np.ones(flights, dtype=bool) if learn is None else learn
    score, weight2, weight1 = np.zeros(flights), np.zeros(flights), np.zeros(flights)
    top, bottom = np.zeros(flights), np.zeros(flights)
    seen = np.zeros(flights, dtype=bool)
    for part in parts:
        if part.at.size == 0:
            continue
        found = part.scores(learn)
        # How many flights this part had learnt from before each flight.
        count = np.r_[0, np.cumsum(learn[part.at])[:-1]]
        ready = count >= _LEAST_FLIGHTS - 1
        at = part.at[ready]
        a = part.response / found.scale[ready]
        score[at] += a * found.score[ready]
        weight1[at] += a
        weight2[at] += a**2
        seen[at] = True
        if part.sized:
            error = part.y[ready] - found.predicted[ready]
            top[at] += a * error / found.scale[ready]
            bottom[at] += a**2
    # Variance of a weighted sum of scores that are all correlated alike.
    norm = np.sqrt(np.maximum(weight2 + _SHARED * (weight1**2 - weight2), 1e-300))
    at = np.flatnonzero(seen)
    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.where(bottom > 0, top / bottom, np.nan)
        sd = np.where(bottom > 0, norm / bottom, np.nan)
    return Weighed(at=at, score=score[at] / norm[at], rise=rise[at], sd=sd[at])


def judge_rise(
    parts: Sequence[Part], flights: int, *, chance: float, first: int = 0, sign: float = 1.0
) -> Judgement | None:
    """Judge whether the parts of one place have risen (or fallen) for good.

    Parameters
    ----------
    parts : sequence of Part
    flights : int
        Number of flights in all.
    chance : float
        Of a false signal within a season of 20 flights.
    first : int
        First flight of the baseline.
    sign : float
        1 for a rise, -1 for a fall; rise and scores are returned with this sign.

    Returns
    -------
    Judgement or None
        None where fewer than three flights have any of the parts.
    """
    own = [p.since(first) for p in parts]
    weighed = weigh(own, flights)
    if weighed.at.size == 0:
        return None
    limit = cusum_limit(K, SEASON, chance)
    # Two flights, not one, must be needed to reach the limit: a single flight never tells alone.
    most = 0.5 * limit + K + 0.25
    score = np.clip(sign * weighed.score, -most, most)
    sums = cusum(score, k=K)
    over = np.flatnonzero(sums.high > limit)
    plain = Judgement(
        at=weighed.at,
        score=score,
        rise=sign * weighed.rise,
        sd=weighed.sd,
        chart=sums.high,
        limit=limit,
    )
    if over.size == 0:
        return plain
    signal = int(over[0])
    onset = signal - int(sums.since_high[signal]) + 1
    learn = np.ones(flights, dtype=bool)
    learn[weighed.at[onset] :] = False
    against = weigh(own, flights, learn)
    kept = np.isin(against.at, weighed.at)
    return _measured(
        replace(
            plain, rise=sign * against.rise[kept], sd=against.sd[kept], signal=signal, onset=onset
        )
    )


def moved_since(part: Part, learn: BoolArray) -> tuple[float, float] | None:
    """How far a part has moved since the flights that are learnt from, and how sure that is.

    Returns
    -------
    (float, float) or None
        Mean of the later flights against the prediction, and its standard deviation; their errors
        hang together by the baseline, so no more than three flights count. None where the part
        has no flights on both sides.
    """
    if part.at.size == 0:
        return None
    after = ~learn[part.at]
    if not after.any() or np.count_nonzero(~after) < _LEAST_FLIGHTS - 1:
        return None
    scores = part.scores(learn)
    moved = (part.y - scores.predicted)[after]
    sd = float(scores.scale[after].mean()) / np.sqrt(min(moved.size, 3))
    return float(moved.mean()), sd


def log_odds(moved: float, sd: float, if_this: float, if_that: float) -> float:
    """Log of the odds of one expected movement against another, for a normal error."""
    return ((moved - if_that) ** 2 - (moved - if_this) ** 2) / (2.0 * sd**2)


def _measured(j: Judgement) -> Judgement:
    """Level now, rate and kind of an established change."""
    assert j.onset is not None
    after = np.arange(j.at.size) >= j.onset
    known = np.isfinite(j.rise)
    x, y = j.at[after & known].astype(float), j.rise[after & known]
    if x.size == 0:
        return j
    sd = float(np.median(j.sd[after & known]))
    before = np.flatnonzero(known & ~after)
    start = before[-1:]
    tx, ty = np.r_[j.at[start], x].astype(float), np.r_[j.rise[start], y]
    line = theil_sen(tx, ty) if tx.size >= 3 else None
    trend = mann_kendall(ty)
    step = _is_step(j, known)
    if step or line is None:
        recent = y[-4:]
        now, reach = float(recent.mean()), 1.96 * sd / np.sqrt(recent.size)
    else:
        now = _level_now(x, y)
        reach = 1.96 * sd / np.sqrt(min(x.size, 3))
    return replace(
        j,
        now=now,
        low=now - float(reach),
        high=now + float(reach),
        per_flight=None if line is None else line.slope,
        per_flight_low=None if line is None else line.low,
        per_flight_high=None if line is None else line.high,
        p_trend=trend.p_rising,
        step=step,
    )


def _level_now(x: FloatArray, y: FloatArray) -> float:
    """Where a robust line through the last flights stands at the last of them."""
    x, y = x[-6:], y[-6:]
    if x.size < 3:
        return float(y.mean())
    slope = float(stats.theilslopes(y, x).slope)
    return float(np.median(y - slope * (x - x[-1])))


def _is_step(j: Judgement, known: BoolArray) -> bool:
    """One sudden step: one flight brought about half of the change or more, beyond chance."""
    assert j.onset is not None
    first = max(j.onset - 1, 0)
    part = known & (np.arange(j.at.size) >= first)
    y = j.rise[part]
    found = step_test(j.rise[known], floor=float(np.median(j.sd[known])) / 3)
    if y.size < 2 or found is None:
        return False
    jump = float(np.diff(y).max())
    level = float(np.median(y[1:][-4:]))
    return (
        found.change > 0 and jump >= _SUDDEN * level and jump > 2.0 * float(np.median(j.sd[known]))
    )
