"""What all flights of one aircraft together tell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import TYPE_CHECKING, Any

from telemetry.model.brief import Facts, as_html, as_text, some
from telemetry.model.channels import EVERY_PLACE
from telemetry.results.answer import Answer, EarlierAnswer
from telemetry.results.checks import CheckOutcome
from telemetry.results.findings import Finding, counted_by_level, verdict_in_brief, worst_of
from telemetry.results.kinds import Level
from telemetry.results.review import Review
from telemetry.results.tables import Tables, table

if TYPE_CHECKING:
    import pandas as pd

    from telemetry.aircraft import Aircraft


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryFlight:
    """One flight of a history; ``start`` is ISO 8601 or None, ``order`` says what orders it.

    ``verdict`` is that of its review by itself, ``codes`` are the findings behind it; None where
    it was not reviewed. ``packs`` is the label of the packs that it was flown with, as it was said;
    None where nobody said it.
    """

    id: str
    start: str | None
    file: str
    kind: str = "flight"
    order: str = ""
    duration_s: float | None = None
    flight_s: float | None = None
    verdict: Level | None = None
    codes: tuple[str, ...] = ()
    packs: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteMark:
    """A maintenance note among the flights: ``before`` is the index of the next flight.

    ``place`` None is the aircraft as a whole: such a note closes nothing. "all" is every place.
    """

    kind: str
    place: str | None
    text: str
    date: str
    before: int

    @property
    def restarts(self) -> bool:
        """True for repaired and changed with a place: its baseline starts anew."""
        return self.place is not None and self.kind in ("repaired", "changed")

    def restarts_at(self, place: str, aircraft: Aircraft) -> bool:
        """Whether it closes what was found at a place, and starts its baseline anew."""
        return self.restarts and self.concerns(place, aircraft)

    def concerns(self, place: str, aircraft: Aircraft) -> bool:
        """Whether it is about a place: by its name, a servo or surface on it, or the whole."""
        if self.place is None or self.place in (EVERY_PLACE, place):
            return True
        if place and self.place.startswith(f"{place} "):
            return True
        return any(s.drives == self.place for s in aircraft.servos_at(place))


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One feature of one place in one flight, with its 95 % interval where there is one."""

    flight: str
    place: str
    feature: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """What was judged at one place, flight by flight: for the figures and for those who doubt.

    Attributes
    ----------
    code, place : str
        The finding it can raise, and where.
    quantity, unit : str
        What is shown: the rise over the baseline.
    flights : tuple of int
        Indices of the flights since the baseline began that could be judged.
    value, reach : tuple of float
        Rise over the baseline, and half width of its 95 % interval, flight by flight.
    baseline : tuple of int
        Indices of the flights that the baseline was learnt from.
    watch, ground : float or None
        Limits, in the unit of the rise.
    score, chart, limit : tuple of float, tuple of float, float
        Normal score of each flight, the evidence for a lasting rise after it, and its limit.
    ewma, ewma_reach : tuple of float
        The same scores as an EWMA, and its limits.
    since : int or None
        Index of the flight in which a lasting change began; None where none is established.
    """

    code: str
    place: str
    quantity: str
    unit: str
    flights: tuple[int, ...]
    value: tuple[float, ...]
    reach: tuple[float, ...]
    baseline: tuple[int, ...]
    score: tuple[float, ...]
    chart: tuple[float, ...]
    limit: float
    ewma: tuple[float, ...] = ()
    ewma_reach: tuple[float, ...] = ()
    watch: float | None = None
    ground: float | None = None
    since: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendPoint:
    """One flight of a trend: ``index`` is the flight's place in the history, from 0.

    ``value`` and ``reach`` are in ``unit``; ``baseline`` is True where the baseline was learnt
    from it. The rest is as in :class:`Trend`.
    """

    code: str
    place: str
    quantity: str
    unit: str
    index: int
    flight: str
    value: float
    reach: float
    baseline: bool
    score: float
    chart: float
    ewma: float | None
    ewma_reach: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureScatter:
    """Scatter of a feature from flight to flight, as other aircraft tell it.

    Attributes
    ----------
    feature : str
    usual, usual_flights : float
        What is thought of it without them, in the unit that the feature is judged in (mOhm, V, or
        the logarithm of a ratio), and how many flights that counts for.
    scatter, flights : float
        What they make of it, and how many flights that counts for against one for each of its own.
    aircraft : int
        How many of them have it.
    """

    feature: str
    usual: float
    usual_flights: float
    scatter: float
    flights: float
    aircraft: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """What aircraft flown before this one tell of its scatter: their names, flights, features."""

    aircraft: tuple[str, ...]
    flights: int
    features: tuple[FeatureScatter, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What all flights of one aircraft together tell.

    ``findings`` are open ones, the worst first, then closed ones; ``features`` holds every
    measured feature; ``trends`` what was judged; ``not_judged`` names what could not be, and why;
    ``checks`` what each check came to at each place;
    ``earlier`` is what another version of the program answered, where that was something else;
    ``fleet`` what other aircraft of the book told of the scatter, None where they told nothing.
    """

    name: str
    aircraft: Aircraft
    flights: tuple[HistoryFlight, ...]
    notes: tuple[NoteMark, ...]
    features: tuple[Feature, ...]
    trends: tuple[Trend, ...]
    findings: tuple[Finding, ...]
    not_judged: tuple[str, ...] = ()
    checks: tuple[CheckOutcome, ...] = ()
    earlier: EarlierAnswer | None = None
    fleet: Fleet | None = None

    @property
    def answer(self) -> Answer:
        """How the aircraft stands: the worst of its findings, as of its newest flight."""
        worst = worst_of(self.open)
        number = {flight.id: n for n, flight in enumerate(self.flights, 1)}
        newest = self.flights[-1] if self.flights else None
        since = None if worst is None else worst.since_flight
        judged = self.trends or (newest is not None and newest.verdict is Level.CLEAR)
        nothing = Level.CLEAR if judged else Level.UNKNOWN
        return Answer(
            level=nothing if worst is None else worst.level,
            title=self._nothing if worst is None else worst.title,
            source="history",
            aircraft=self.name,
            flight=None if newest is None else newest.id,
            number=None if newest is None else len(self.flights),
            start=None if newest is None else newest.start,
            since_flight=since,
            since_number=None if since is None else number.get(since),
            earlier=self.earlier,
        )

    @property
    def open(self) -> tuple[Finding, ...]:
        """Findings that nothing closed yet."""
        return tuple(f for f in self.findings if f.state == "open")

    @property
    def closed(self) -> tuple[Finding, ...]:
        """Findings that a note or later flights closed, the last closed first."""
        return tuple(f for f in self.findings if f.state == "closed")

    @property
    def _nothing(self) -> str:
        if self.trends:
            return "nothing was found across these flights"
        if self.flights and self.flights[-1].verdict is Level.CLEAR:
            return "nothing was found in the newest flight; it takes three to judge them together"
        return "nothing could be judged across these flights: it takes three at the least"

    @property
    def verdict(self) -> Level:
        """Level of the answer."""
        return self.answer.level

    @property
    def word(self) -> str:
        """What a report calls the verdict."""
        return self.answer.word

    @property
    def tables(self) -> Tables:
        """Every list of records as a DataFrame, by name: ``history.tables["features"]``.

        findings; flights; features (a row for each flight, place and feature); trends;
        trend_points (a row for each trend and flight); notes. Units stand in the names or in the
        column ``unit``; see :class:`telemetry.results.Tables`.
        """

        def plain(kind: type, records: tuple[Any, ...]) -> pd.DataFrame:
            return table((kind,), ((one,) for one in records))

        return Tables(
            {
                "findings": partial(plain, Finding, self.findings),
                "flights": partial(plain, HistoryFlight, self.flights),
                "features": partial(plain, Feature, self.features),
                "trends": partial(plain, Trend, self.trends),
                "trend_points": lambda: table((TrendPoint,), ((p,) for p in self._points())),
                "notes": partial(plain, NoteMark, self.notes),
            }
        )

    def _points(self) -> Iterator[TrendPoint]:
        for trend in self.trends:
            for k, index in enumerate(trend.flights):
                yield TrendPoint(
                    code=trend.code,
                    place=trend.place,
                    quantity=trend.quantity,
                    unit=trend.unit,
                    index=index,
                    flight=self.flights[index].id,
                    value=trend.value[k],
                    reach=trend.reach[k],
                    baseline=index in trend.baseline,
                    score=trend.score[k],
                    chart=trend.chart[k],
                    ewma=trend.ewma[k] if trend.ewma else None,
                    ewma_reach=trend.ewma_reach[k] if trend.ewma_reach else None,
                )

    def __repr__(self) -> str:
        return as_text(f"History of {self.name}", self._facts())

    def _repr_html_(self) -> str:
        return as_html(f"History of {self.name}", self._facts())

    def _facts(self) -> Facts:
        days = sorted(f.start[:10] for f in self.flights if f.start)
        when = f", {days[0]} to {days[-1]}" if days else ""
        held = f"{len(self.trends)} trends, {len(self.notes)} notes"
        return (
            ("flights", f"{len(self.flights)}{when}; {held}"),
            ("verdict", verdict_in_brief(self.verdict, self.word, self.open)),
            ("findings", counted_by_level(self.open)),
            ("not judged", some(self.not_judged)),
        )

    def series(self, place: str, feature: str) -> tuple[float | None, ...]:
        """One feature of one place, flight by flight; None where it was not measured."""
        found = {
            f.flight: f.value for f in self.features if (f.place, f.feature) == (place, feature)
        }
        return tuple(found.get(flight.id) for flight in self.flights)


class Alignment(StrEnum):
    """The moment at which both recordings are laid over one another."""

    TAKE_OFF = "take-off"
    STIR = "stir"
    START = "start"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedFlight:
    """One of the two: its number in the history, its review, and the aligned moment in it, s."""

    number: int
    listed: HistoryFlight
    review: Review
    aligned_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One feature of one place in both flights.

    Attributes
    ----------
    place, feature, unit, name : str
        ``name`` is the feature in words.
    digits : int
        Decimals worth showing.
    first, second : float
        In the order in which the flights were named.
    usual_low, usual_high : float or None
        Lowest and highest of the other flights; None where fewer than three have the feature.
    flights : int
        How many other flights have it.
    score : float
        The difference, without what other places share, over what chance explains: four times the
        median step from one of the other flights to the next, and no less than the 95 % intervals
        of both and the last digit shown.
    """

    place: str
    feature: str
    name: str
    unit: str
    digits: int
    first: float
    second: float
    usual_low: float | None
    usual_high: float | None
    flights: int
    score: float

    @property
    def plain_to_see(self) -> bool:
        """Whether they differ by more than other flights, chance and digits explain."""
        return self.score > 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightPair:
    """Two flights with all that both measured, what differs most first."""

    history: History
    first: PairedFlight
    second: PairedFlight
    alignment: Alignment
    differences: tuple[Difference, ...]
