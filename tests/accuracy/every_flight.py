"""What the flights of a healthy book tell together after each of them, as fast as can be.

To judge 2,000 books of 100 flights anew after each flight takes days, and nearly always no chart
signals then. So of each chart that a book gives, this works out after which flights it does, many
flights at once, by the same scores and the same chart as `telemetry.trends.evidence.judge_rise`.
Only after these flights is the book judged, and only the charts that signal are asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.checks.across import listed_as, together_at
from telemetry.checks.aircraft_history import LEAST_FLIGHTS, AircraftHistory
from telemetry.numerics.statistics.charts import (
    change_now,
    recursive_scores,
)
from telemetry.numerics.statistics.runs import limit_after
from telemetry.results import Finding, Fleet
from telemetry.trends import evidence
from telemetry.trends import parts as weighing
from telemetry.trends.evidence import Judgement
from telemetry.trends.fleet import with_fleet
from telemetry.trends.measures import Measures
from telemetry.trends.parts import EvidencePart, summed_scores
from telemetry.trends.table import FeatureTable

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Key = tuple[Any, ...]


@dataclass(frozen=True, kw_only=True)
class Chart:
    """What one chart judges, and its run for watch."""

    key: Key
    parts: Sequence[EvidencePart]
    sign: float
    run: float


def every_flight(
    flights: Sequence[Measures], aircraft: Aircraft, fleet: Fleet | None = None
) -> list[tuple[Finding, ...]]:
    """For each flight, what the flights up to it tell together, with what a fleet tells of scatter.

    The charts are those of all flights without a finding, so nothing may be noted, and places must
    be the same throughout.
    """
    n = len(flights)
    listed = [listed_as(k, m) for k, m in enumerate(flights, 1)]
    table = FeatureTable(flights)
    with only(None) as noted:
        # Falls and the like are counted without charts.
        counted = together_at(n - 1, flights, (), aircraft, listed, table, fleet)
    began = min((int(f.since_flight or 1) - 1 for f in counted), default=n)
    over = np.array([signals_by_flight(chart, n) for chart in noted])
    together: list[tuple[Finding, ...]] = [()] * n
    for k in range(LEAST_FLIGHTS - 1, n):
        if k < began and not over[:, k].any():
            continue
        with only({c.key for c, one in zip(noted, over[:, k], strict=True) if one}, noted):
            together[k] = together_at(k, flights, (), aircraft, listed, table, fleet)
    return together


@contextmanager
def only(signalling: set[Key] | None, known: Sequence[Chart] = ()) -> Iterator[list[Chart]]:
    """Ask only some charts, and such as were not known; the others tell nothing. All are noted."""
    noted: list[Chart] = []
    real = AircraftHistory.judge
    quiet = {c.key for c in known} - (signalling or set())

    def ask(
        history: AircraftHistory,
        parts: Sequence[EvidencePart],
        first: int,
        place: str,
        *,
        sign: float = 1.0,
        logarithmic: bool = False,
    ) -> Judgement | None:
        key = (place, sign, *((p.name, p.response, p.sigma, p.design is None) for p in parts))
        if signalling is not None and key not in quiet:
            return real(history, parts, first, place, sign=sign, logarithmic=logarithmic)
        if signalling is None:
            own = [p.since(first) for p in with_fleet(parts, history.fleet)]
            noted.append(Chart(key=key, parts=own, sign=sign, run=history.watch_run))
        return None

    AircraftHistory.judge = ask  # type: ignore[method-assign]
    try:
        yield noted
    finally:
        AircraftHistory.judge = real  # type: ignore[method-assign]


def signals_by_flight(chart: Chart, flights: int) -> BoolArray:
    """Whether the chart signals after each flight, as judged from the flights up to it."""
    parts = [p for p in chart.parts if p.at.size]
    if not parts:
        return np.zeros(flights, dtype=bool)
    ready = np.array([_ready(p, flights) for p in parts])
    at = np.flatnonzero(ready.any(axis=0))
    if at.size == 0:
        return np.zeros(flights, dtype=bool)
    limit = np.array([limit_after(values, chart.run) for values in range(1, at.size + 1)])
    cut = evidence.MOST_OF_LIMIT * limit[:, None]
    first = chart.sign * _weighed([_scores(p) for p in parts], parts, ready)[:, at]
    plain = change_now(np.clip(first, -cut, cut), np.arange(at.size) + 1)
    now = plain.high.copy()
    doubtful = np.flatnonzero(plain.high > evidence.DOUBTFUL * limit)
    if doubtful.size:
        ends, changes = at[doubtful], at[plain.since[doubtful]]
        steady = [_steady_scores(p, changes, ends) for p in parts]
        again = chart.sign * _weighed(steady, parts, ready)[:, at]
        cut = cut[doubtful]
        now[doubtful] = change_now(
            np.clip(again, -cut, cut), doubtful + 1, worth=evidence.sum_worth(parts)
        ).high
    # A flight without any of the parts leaves the chart where it was.
    last = np.searchsorted(at, np.arange(flights), side="right") - 1
    return np.where(last >= 0, (now > limit)[last], False)


def _ready(part: EvidencePart, flights: int) -> BoolArray:
    ready = np.zeros(flights, dtype=bool)
    ready[part.at[weighing.LEAST_OF_FEATURE - 1 :]] = True
    return ready


def _scores(part: EvidencePart) -> tuple[FloatArray, FloatArray]:
    found = part.scores(np.ones(int(part.at.max()) + 1, dtype=bool))
    return found.score[None], found.scale[None]


def _weighed(
    found: Sequence[tuple[FloatArray, FloatArray]], parts: Sequence[EvidencePart], ready: BoolArray
) -> FloatArray:
    """Scores of all parts together, shape (series, flights)."""
    shape = (len(parts), found[0][0].shape[0], ready.shape[1])
    score, sd = np.zeros(shape), np.full(shape, np.inf)
    for i, (part, (own, scale)) in enumerate(zip(parts, found, strict=True)):
        score[i][:, part.at], sd[i][:, part.at] = own, scale / part.response
        score[i][:, ~ready[i]], sd[i][:, ~ready[i]] = 0.0, np.inf
    with np.errstate(invalid="ignore"):
        return summed_scores(score, sd)


def _steady_scores(
    part: EvidencePart, changes: IntArray, ends: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Scores with the scatter learnt beside a change, for each end of the book."""
    sigma, weight = steady_scatter(part, changes, ends)
    found = recursive_scores(
        np.broadcast_to(part.y, (ends.size, part.y.size)),
        design=part.design,
        slope=part.slope,
        slope_sd=part.slope_sd,
        spread=np.sqrt(1.0 + (part.se / sigma[:, None]) ** 2),
        sigma=sigma,
        sigma_weight=weight,
        sigma_learns=False,
        clip=weighing.CLIP,
    )
    return found.score, found.scale


def steady_scatter(
    part: EvidencePart, changes: IntArray, ends: IntArray
) -> tuple[FloatArray, FloatArray]:
    """What :meth:`EvidencePart.steady` makes of sigma and weight, for many changes and ends."""
    spread = part.spread
    columns = [] if part.design is None else list((part.design / spread[:, None]).T)
    within = part.at <= ends[:, None]
    groups = [within & (part.at < changes[:, None]), within & (part.at >= changes[:, None])]
    scaled = [1.0 / spread, part.y / spread, *columns]
    width = len(scaled)
    products = np.array([a * b for a in scaled for b in scaled])
    left, rank = np.zeros((ends.size, width - 1, width - 1)), np.zeros(ends.size)
    for group in groups:
        sums = (group.astype(float) @ products.T).reshape(-1, width, width)
        ones = np.maximum(sums[:, 0, 0], 1e-300)
        left += sums[:, 1:, 1:] - sums[:, 1:, :1] * sums[:, :1, 1:] / ones[:, None, None]
        rank += group.any(axis=1)
    squares = left[:, 0, 0].copy()
    if columns:
        xx, xy = left[:, 1:, 1:], left[:, 1:, 0]
        squares -= (xy * (np.linalg.pinv(xx) @ xy[..., None])[..., 0]).sum(axis=1)
        rank += np.linalg.matrix_rank(xx)
    degrees = part.weight + np.maximum(within.sum(axis=1) - rank, 0)
    total = part.weight * part.sigma**2 + np.maximum(squares, 0.0)
    return np.sqrt(total / degrees), degrees
