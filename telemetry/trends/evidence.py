"""From scores of many flights to one judgement: chart, onset, level now, rate.

A change-point chart of the scores of all parts together finds the lasting shift. What it finds is
then measured against the flights before it began.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from math import expm1, inf
from typing import NamedTuple

import numpy as np

from telemetry.numerics.statistics.charts import (
    change_chart,
    change_now,
    ewma,
    ewma_reach,
)
from telemetry.numerics.statistics.passage import Remaining, remaining
from telemetry.numerics.statistics.robust import likely_step, mann_kendall, theil_sen
from telemetry.numerics.statistics.runs import false_signals, limit_after
from telemetry.trends.parts import (
    EvidencePart,
    FloatArray,
    IntArray,
    KnownScores,
    Weighed,
    weigh,
)

# One flight fills no chart: scores are cut at this part of the limit (heuristic).
MOST_OF_LIMIT = 0.75
# Features of one place share causes (the day, how a plug sits), more or less so: what is known of
# the variance of their sum is worth so many flights (heuristic); that of one feature is learnt.
_SUM_WORTH = 8.0
# From this part of the limit on a change is suspected.
DOUBTFUL = 0.5
# A change is a step where one flight brought this part of it (heuristic).
_SUDDEN = 0.45
# What stood for so many flights is what is usual from then on (heuristic).
_USUAL = 50
# The EWMA is drawn beside the chart, with the weight that suits shifts of about one deviation.
_EWMA_WEIGHT, _EWMA_WIDTH = 0.2, 3.0
# Flights that the scatter is worth which the rise to come is told with: the usual one of a part
# counts for four, and a change is not found with fewer than a few more (heuristic).
_SCATTER_WEIGHT = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What the chart of one place and fault says.

    Attributes
    ----------
    at, score, rise, sd
        As in :class:`Weighed`; where a change is established, against the flights before it.
    charted : callable
        Gives ``chart``: it takes far longer than its last value, which is all that most ask for.
    limit : float
    first : int
        First flight of the baseline.
    uncured : bool
        True where it stood before a repair and stands after it.
    sure : bool
        True where the chart now also exceeds the limit for what may ground.
    signal : int or None
        Index into ``at`` of the first flight since which the chart exceeds its limit; None where
        it does not now: what has gone back is past.
    onset : int or None
        Index into ``at`` of the first flight with the change.
    now, low, high : float
        The change in the last flight, with its 95 % interval; 0 where none is established.
    per_flight, per_flight_low, per_flight_high : float or None
        Theil-Sen slope since the flight before the onset.
    p_trend : float
        Mann-Kendall, for a trend in the direction judged, over the same flights.
    step : bool
        True where a step fits the flights better than steady growth, and one flight brought about
        half of the change or more.
    """

    at: IntArray
    score: FloatArray
    rise: FloatArray
    sd: FloatArray
    charted: Callable[[], FloatArray]
    limit: float
    first: int
    sure: bool
    uncured: bool = False
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
    def chart(self) -> FloatArray:
        """Evidence for a lasting rise after each flight, standard deviations; 0 where none is."""
        return self.charted()

    @property
    def mean_rise(self) -> float:
        """Mean of the change over all flights with it, for what was averaged over the same."""
        return float(self.rise[self.onset :].mean())

    @property
    def ewma(self) -> FloatArray:
        """The scores as an EWMA."""
        return ewma(self.score, _EWMA_WEIGHT)

    @property
    def ewma_reach(self) -> FloatArray:
        """Its limits."""
        return ewma_reach(self.score.size, _EWMA_WEIGHT, _EWMA_WIDTH)


def judge_rise(
    parts: Sequence[EvidencePart],
    flights: int,
    *,
    run: float,
    strict: float | None = None,
    first: int = 0,
    sign: float = 1.0,
    logarithmic: bool = False,
    known: KnownScores | None = None,
) -> Judgement | None:
    """Judge whether the parts of one place have risen (or fallen) for good.

    What has gone back is past, and its return is no change either: where a change takes back an
    opposite one that stood before it, the flights with that one are left out and it is judged anew.
    Only what stood for 50 flights is what is usual by then.

    Parameters
    ----------
    parts : sequence of EvidencePart
    flights : int
        Number of flights in all.
    run : float
        Healthy flights from one false signal to the next while it is short; see
        :func:`telemetry.numerics.statistics.runs.run_after`.
    strict : float, optional
        The same for what may ground.
    first : int
        First flight of the baseline.
    sign : float
        1 for a rise, -1 for a fall; rise and scores are returned with this sign.
    logarithmic : bool
        True where the values are logarithms: the rise is then returned as a relative one.
    known : KnownScores, optional
        Of parts that were judged before.

    Returns
    -------
    Judgement or None
        None where fewer than three flights have any of the parts.
    """
    own = [p.since(first) for p in parts]
    while True:
        found = _judged(own, flights, run, strict, first, sign, logarithmic, known)
        if found is None or found.onset is None:
            return found
        back = int(found.at[found.onset])
        before = [p.until(back) for p in own]
        stood = judge_rise(
            before,
            back,
            run=run,
            first=first,
            sign=-sign,
            logarithmic=logarithmic,
            known=known,
        )
        if stood is None or stood.onset is None:
            return found
        began = int(stood.at[stood.onset])
        if back - began >= _USUAL:
            return found
        own = [p.without(began, back) for p in own]


def _judged(
    own: Sequence[EvidencePart],
    flights: int,
    run: float,
    strict: float | None,
    first: int,
    sign: float,
    logarithmic: bool,
    known: KnownScores | None,
) -> Judgement | None:
    """The same, whatever stood before the change."""
    weighed = weigh(own, flights, known=known)
    if weighed.at.size == 0:
        return None
    limit = limit_after(weighed.at.size, run)
    worth = inf
    score, now = charted_scores(sign * weighed.score, limit)
    if now.high > DOUBTFUL * limit:
        # A change widens the scatter it is judged by: taken apart from it, it is judged anew.
        steady = [p.steady(int(weighed.at[now.since])) for p in own]
        weighed, worth = weigh(steady, flights), sum_worth(own)
        score, now = charted_scores(sign * weighed.score, limit, worth)
        own = steady

    def shown(w: Weighed) -> tuple[FloatArray, FloatArray]:
        if not logarithmic:
            return sign * w.rise, w.sd
        return sign * np.expm1(w.rise), w.sd * np.exp(w.rise)

    rise, sd = shown(weighed)
    plain = Judgement(
        at=weighed.at,
        score=score,
        rise=rise,
        sd=sd,
        charted=cache(partial(_chart, score, worth)),
        limit=limit,
        first=first,
        sure=False,
    )
    if now.high <= limit:
        return plain
    below = np.flatnonzero(plain.chart <= limit)
    signal = int(below[-1]) + 1 if below.size else 0
    higher = limit if strict is None else limit_after(weighed.at.size, strict)
    # The limit that grounds leaves room for a scatter known from few flights: healthy books of a
    # hundred flights reached it never, with the scatter taken as known.
    sure = charted_scores(sign * weighed.score, higher)[1].high > higher

    def before(onset: int) -> Weighed:
        return weigh(own, flights, np.arange(flights) < weighed.at[onset])

    last = max(now.since, signal)
    onset, _ = onset_of(sign * before(now.since).rise, last)
    against = before(onset)  # now with all flights before the change
    onset, stepped = onset_of(sign * against.rise, last)
    rise, sd = shown(against)
    found = replace(plain, rise=rise, sd=sd, sure=sure, signal=signal, onset=onset)
    return measured_change(replace(found, step=stepped and is_sudden(found)), against.doubt)


def flights_until(j: Judgement, limit: float, *, scale: float = 1.0) -> Remaining:
    """Flights until an established change that grows reaches a limit, with the 80 % interval.

    Parameters
    ----------
    j : Judgement
        With an onset and at least two flights since.
    limit, scale : float
        The limit is one of the rise times ``scale``.
    """
    assert j.onset is not None
    # The flight before the onset is the last one without any of it.
    seen = slice(max(j.onset - 1, 0), None)
    return remaining(
        j.at[seen].astype(float),
        j.rise[seen] * scale,
        limit,
        sd=j.sd[seen] * abs(scale),
        sd_weight=_SCATTER_WEIGHT,
    )


def ever_signals(flights: int, run: float) -> float:
    """Chance that charts held to a run together signal in a healthy book of so many flights."""
    return -expm1(-false_signals(flights, run))


def sum_worth(parts: Sequence[EvidencePart]) -> float:
    """How many flights the variance of the sum of these parts' scores is known for beforehand."""
    return _SUM_WORTH if sum(p.at.size > 0 for p in parts) > 1 else inf


class _Now(NamedTuple):
    """A chart's last value, and the first flight after the change that it is of."""

    high: float
    since: int


def charted_scores(score: FloatArray, limit: float, worth: float = inf) -> tuple[FloatArray, _Now]:
    """Scores cut so that one flight alone cannot reach that limit, and where their chart ends."""
    cut = np.clip(score, -MOST_OF_LIMIT * limit, MOST_OF_LIMIT * limit)
    now = change_now(cut[None], np.array([cut.size]), worth=worth)
    return cut, _Now(float(now.high[0]), int(now.since[0]))


def _chart(score: FloatArray, worth: float) -> FloatArray:
    return np.maximum(change_chart(score, worth=worth).high, 0.0)


def onset_of(rise: FloatArray, last: int) -> tuple[int, bool]:
    """First flight of the change, where a step or a steady growth fits best; True for a step.

    Not after ``last``.

    The chart dates a change as if it were a step; of one that grows that is somewhere on its way.
    """
    explained = _explained(rise)[1 : last + 1]
    best = int(explained.argmax()) if explained.size else 2 * last - 2
    first, is_step = best // 2 + 1, bool(best % 2)
    while first < last and rise[first] <= 0:
        first += 1  # a line through noise begins a flight or two before there is any of it
    return first, is_step


def _explained(rise: FloatArray) -> FloatArray:
    """What a line and a step that begin at each value explain, sums of squares, shape (n, 2)."""
    n = rise.size
    left = np.arange(n, 0, -1.0)  # values from each one on
    sums = _from_each_on(rise - rise.mean())
    line = (left * (left + 1.0) / 2.0, left * (left + 1.0) * (2.0 * left + 1.0) / 6.0)
    shapes = ((*line, _from_each_on(sums)), (left, left, sums))
    with np.errstate(invalid="ignore", divide="ignore"):  # a step at the first value is none
        told = [product**2 / (squares - total**2 / n) for total, squares, product in shapes]
    return np.stack(told, axis=1)


def _from_each_on(x: FloatArray) -> FloatArray:
    return np.asarray(np.cumsum(x[::-1])[::-1], dtype=np.float64)


def measured_change(j: Judgement, doubt: float) -> Judgement:
    """Level now, rate and kind of an established change."""
    assert j.onset is not None
    x, y = j.at[j.onset :].astype(float), j.rise[j.onset :]
    sd = float(np.median(j.sd[j.onset :]))
    start = slice(max(j.onset - 1, 0), j.onset)
    tx, ty = np.r_[j.at[start], x].astype(float), np.r_[j.rise[start], y]
    line = theil_sen(tx, ty) if tx.size >= 3 else None
    trend = mann_kendall(ty)
    if j.step or line is None:
        recent = y[-4:]
        now, reach = float(recent.mean()), 1.96 * sd / np.sqrt(recent.size)
    else:
        now = level_now(x, y)
        reach = 1.96 * sd / np.sqrt(min(x.size, 3))
    return replace(
        j,
        now=now,
        low=now - float(np.hypot(reach, 1.96 * doubt)),
        high=now + float(np.hypot(reach, 1.96 * doubt)),
        per_flight=None if line is None else line.slope,
        per_flight_low=None if line is None else line.low,
        per_flight_high=None if line is None else line.high,
        p_trend=trend.p_rising,
    )


def level_now(x: FloatArray, y: FloatArray) -> float:
    """Where a robust line through the last flights stands at the last of them."""
    x, y = x[-6:], y[-6:]
    if x.size < 3:
        return float(y.mean())
    line = theil_sen(x, y)
    slope = 0.0 if line is None else line.slope
    return float(np.median(y - slope * (x - x[-1])))


def is_sudden(j: Judgement) -> bool:
    """One flight brought about half of the change or more, beyond chance."""
    assert j.onset is not None
    sd = float(np.median(j.sd))
    y = j.rise[max(j.onset - 1, 0) :]
    found = likely_step(j.rise)
    if found is None:
        return False
    jump, level = float(np.diff(y).max()), float(np.median(y[1:][-4:]))
    return found.change > 0 and jump >= _SUDDEN * level and jump > 2.0 * sd
