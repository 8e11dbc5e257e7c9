"""What is judged together: the flights and notes of one aircraft, and the false alarms allowed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.checks.draft import FindingDraft, Possible
from telemetry.model.channels import PlaceKind
from telemetry.results import Change, Fleet, HistoryFlight, Level, NoteMark, NotJudged, Trend
from telemetry.trends.evidence import Judgement, ever_signals, flights_until, judge_rise
from telemetry.trends.fleet import with_fleet
from telemetry.trends.measures import Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.table import FeatureTable

#: Flights that it takes to judge a change at all.
LEAST_FLIGHTS = 3
# A 95 % interval reaches so many standard deviations.
_REACH = 1.96
# Flights of a healthy aircraft from one false finding at this level to the next, all places and all
# kinds of fault together, in a short book: one book of 100 flights in 10, and in 200 (heuristic).
WATCH_RUN = 400.0
GROUND_RUN = 8000.0
# A book of so many flights is what false alarms are stated for.
_BOOK = 100
# A repair is judged from so many flights after it, against the last ones before it; less than this
# part of the rise must be left (heuristic).
_TO_TELL, _LAST, _CURED = 2, 3, 0.6
# Servos of a node where neither the profile nor its outputs tell (common practice, no source).
ASSUMED_SERVOS = 4
_NODES = (PlaceKind.NODE, PlaceKind.RECEIVER)


def first_since(notes: Iterable[NoteMark], aircraft: Aircraft, *places: str) -> int:
    """Index of the first flight since the last note that restarts a baseline at these places."""
    return max(
        (n.before for n in notes if any(n.restarts_at(p, aircraft) for p in places)),
        default=0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AircraftHistory:
    """One aircraft's flights in time order, its notes, its profile.

    Attributes
    ----------
    flights : sequence of Measures
    listed : sequence of HistoryFlight
        The same flights as they are named.
    notes : sequence of NoteMark
    aircraft : Aircraft
    charts : int
        How many charts share the false alarms of a season.
    table : FeatureTable
        The flights by column.
    judged_places : dict
        What was judged of a place's current: by place, what it was set against, and the sign.
    fleet : Fleet or None
        What other aircraft tell of the scatter.
    charted : list
        Every place and part that a chart was asked of, and the chart's first flight with a change.
    """

    flights: Sequence[Measures]
    listed: Sequence[HistoryFlight]
    notes: Sequence[NoteMark]
    aircraft: Aircraft
    charts: int
    table: FeatureTable
    judged_places: dict[tuple[str, tuple[str, ...], float], Judgement | None] = field(
        default_factory=dict, compare=False, repr=False
    )
    fleet: Fleet | None = None
    charted: list[tuple[str, EvidencePart, int | None]] = field(
        default_factory=list, compare=False, repr=False
    )

    @property
    def limits(self) -> Limits:
        """Limits in force."""
        return self.aircraft.limits

    def judge(
        self,
        parts: Sequence[EvidencePart],
        first: int,
        place: str,
        *,
        sign: float = 1.0,
        logarithmic: bool = False,
    ) -> Judgement | None:
        """Judge parts of a place over all flights since ``first``, at the false alarms allowed.

        A repair ought to bring a place back to what it was before the fault. Where a finding stood
        at the repair and the flights since are no better, the judgement of the flights before it
        stands, marked ``uncured``. See :func:`telemetry.trends.evidence.judge_rise`.
        """
        known = with_fleet(parts, self.fleet)

        def since(flight: int) -> Judgement | None:
            found = judge_rise(
                known,
                len(self.flights),
                run=self.watch_run,
                strict=self.ground_run,
                first=flight,
                sign=sign,
                logarithmic=logarithmic,
                known=self.table.scores,
            )
            begun = None if found is None or found.onset is None else int(found.at[found.onset])
            self.charted.extend((place, p.since(flight), begun) for p in known if p.at.size)
            return found

        now = since(first)
        repaired = any(
            n.kind == "repaired" and n.before == first and n.restarts_at(place, self.aircraft)
            for n in self.notes
        )
        if not repaired or (now is not None and now.signal is not None):
            return now
        earlier = [n for n in self.notes if n.before < first]
        old = since(first_since(earlier, self.aircraft, place))
        if old is None or old.signal is None or old.at[old.signal] >= first:
            return now
        after, before = old.rise[old.at >= first], old.rise[old.at < first][-_LAST:]
        if after.size < _TO_TELL or float(after.mean()) < _CURED * float(before.mean()):
            return now
        return replace(old, uncured=True)

    @property
    def watch_run(self) -> float:
        """Healthy flights from one false signal of one short chart to the next."""
        return WATCH_RUN * self.charts

    @property
    def ground_run(self) -> float:
        """The same for what may ground."""
        return GROUND_RUN * self.charts

    def first(self, *places: str) -> int:
        """First flight since the last note that restarts a baseline at any of these places."""
        return first_since(self.notes, self.aircraft, *places)

    def day(self, flight: int) -> date | None:
        """Day of a flight."""
        start = self.listed[flight].start
        return None if start is None else date.fromisoformat(start[:10])

    def servos(self, place: str) -> tuple[int, bool]:
        """Servos of a place, and whether that is known rather than assumed."""
        known = self.flights[-1].servos.get(place)
        if known is None:
            node = self.aircraft.on(self.day(len(self.listed) - 1)).node(place)
            known = None if node is None else node.servos
        if known is not None:
            return known, True
        whole = self.aircraft.node(place) is None and self.aircraft.kind(place) not in _NODES
        return ASSUMED_SERVOS * (2 if whole else 1), False

    def servo_pct(self, place: str, judgement: Judgement) -> float:
        """Rise per average servo share, %: the place's rise times the servos on it."""
        return 100.0 * judgement.now * self.servos(place)[0]


class Looked(NamedTuple):
    """A place that was judged without a chart, and what it would have shown at the least."""

    code: str
    place: str
    sees: str


class Unjudged(NamedTuple):
    """What could not be judged at a place (None: anywhere), and what would let it be judged."""

    codes: tuple[str, ...]
    place: str | None
    reason: NotJudged
    why: str
    next_time: str = "add later flights to the book"


class JudgedTrend(NamedTuple):
    """A chart that is to be shown: values times ``scale`` in ``unit``, ``watch`` and ``ground``."""

    code: str
    place: str
    judgement: Judgement
    quantity: str
    unit: str
    scale: float = 1.0
    watch: float | None = None
    ground: float | None = None

    @property
    def sd(self) -> float:
        """Standard deviation of the last flight, in ``unit``; 0 where there is none."""
        own = self.judgement.sd
        return float(own[-1]) * abs(self.scale) if own.size else 0.0

    def record(self) -> Trend:
        """The record for figures."""
        j, scale = self.judgement, self.scale
        until = j.at.size if j.onset is None else j.onset
        return Trend(
            code=self.code,
            place=self.place,
            quantity=self.quantity,
            unit=self.unit,
            flights=tuple(j.at.tolist()),
            value=tuple((j.rise * scale).tolist()),
            reach=tuple((_REACH * j.sd * abs(scale)).tolist()),
            baseline=tuple(j.at[:until].tolist()),
            score=tuple(j.score.tolist()),
            chart=tuple(j.chart.tolist()),
            limit=j.limit,
            ewma=tuple(j.ewma.tolist()),
            ewma_reach=tuple(j.ewma_reach.tolist()),
            watch=self.watch,
            ground=self.ground,
            since=None if j.onset is None else int(j.at[j.onset]),
        )


@dataclass(slots=True)
class JudgedAcross:
    """What was judged across the flights: the charts, drafts of findings, and what could not be."""

    trends: list[JudgedTrend] = field(default_factory=list)
    drafts: list[FindingDraft] = field(default_factory=list)
    looked: list[Looked] = field(default_factory=list)
    not_judged: list[Unjudged] = field(default_factory=list)

    def add(self, more: JudgedAcross) -> None:
        """Take up what another function judged."""
        self.trends += more.trends
        self.drafts += more.drafts
        self.looked += more.looked
        self.not_judged += more.not_judged


def least_change(sd: float, limit: float, watch: float | None = None) -> float:
    """The smallest lasting change that three flights would have told, in the unit of ``sd``.

    ``sd`` is that of one flight. The mean of three scatters by the root of three less.
    """
    return max(sd * limit / math.sqrt(LEAST_FLIGHTS), watch or 0.0)


def told_least(trend: JudgedTrend, quantity: str = "") -> str:
    """The smallest lasting change that a chart would have told, in words."""
    watch = None if trend.watch is None else abs(trend.watch)
    least = _up(least_change(trend.sd, trend.judgement.limit, watch))
    unit = f" {trend.unit}" if trend.unit else ""
    return f"{quantity or trend.quantity}: {least:g}{unit} or more, lasting {LEAST_FLIGHTS} flights"


def _up(value: float) -> float:
    """Two digits, and never less than it is."""
    if not math.isfinite(value) or value <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(math.ceil(value / step - 1e-9) * step, 9)


def change_of(
    judgement: Judgement,
    *,
    quantity: str,
    unit: str,
    rise_unit: str,
    scale: float,
    level: Level,
    limit: float | None,
    before: float | None,
    now: float | None,
) -> Change:
    """How much, since when, how fast, until when; values times ``scale`` in ``rise_unit``."""
    j = judgement

    def scaled(x: float | None) -> float | None:
        return None if x is None else x * scale

    rate, rise = scaled(j.per_flight), j.now * scale
    left = None
    if limit is not None and rate is not None and rate > 0 and rise < limit and not j.step:
        left = flights_until(j, limit, scale=scale)
    told = left if left is not None and left.tells else None
    return Change(
        quantity=quantity,
        unit=unit,
        before=before,
        now=now,
        rise=rise,
        low=min(j.low * scale, j.high * scale),
        high=max(j.low * scale, j.high * scale),
        rise_unit=rise_unit,
        limit=limit,
        per_flight=rate,
        per_flight_low=scaled(j.per_flight_low),
        per_flight_high=scaled(j.per_flight_high),
        flights_to_limit=None if told is None else int(told.median),
        flights_to_limit_low=None if told is None else int(told.low),
        flights_to_limit_high=None if told is None else int(told.high),
        too_uncertain=left is not None and told is None,
        false_alarm=false_alarm(level, _BOOK),
    )


def false_alarm(level: Level, flights: int) -> float:
    """Chance of any finding of this level in a healthy book of so many flights."""
    return ever_signals(flights, GROUND_RUN if level is Level.GROUND else WATCH_RUN)


def usual(table: FeatureTable, place: str, feature: str, first: int, end: int) -> float | None:
    """Mean of a feature over the flights from ``first`` up to ``end``; None where none has it."""
    x = table.column(place, feature)[0][max(first, 0) : end]
    x = x[np.isfinite(x)]
    return float(x.mean()) if x.size else None


def established(
    history: AircraftHistory,
    code: str,
    place: str,
    judgement: Judgement,
    *,
    level: Level,
    title: str,
    quantity: str,
    unit: str,
    rise_unit: str,
    scale: float = 1.0,
    limit: float | None = None,
    before: float | None = None,
    now: float | None = None,
    servo: str | None = None,
    further: tuple[Possible, ...] = (),
    evidence: Mapping[str, float | int | str | None] | None = None,
) -> FindingDraft:
    """The draft of an established change, with what every one of them carries."""
    j = judgement
    assert j.onset is not None
    since = int(j.at[j.onset])
    return FindingDraft(
        code=code,
        level=level,
        place=place,
        servo=servo,
        title=title + ("; the repair noted since did not bring it back" if j.uncured else ""),
        evidence={
            "rise": j.now * scale,
            "kind": "one step" if j.step else "gradual",
            "flights_since": len(history.flights) - since,
            "chart": float(j.chart[-1]),
            "chart_limit": j.limit,
            "p_trend": j.p_trend,
            **(evidence or {}),
        },
        further=further,
        since_flight=history.listed[since].id,
        change=change_of(
            j,
            quantity=quantity,
            unit=unit,
            rise_unit=rise_unit,
            scale=scale,
            level=level,
            limit=limit,
            before=before,
            now=now,
        ),
    )
