"""What all flights of one aircraft together tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from telemetry.results.findings import Finding
from telemetry.results.kinds import Level

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryFlight:
    """One flight of a history; ``start`` is ISO 8601 or None, ``order`` says what orders it.

    ``verdict`` is that of its review by itself, ``codes`` are the findings behind it; None where
    it was not reviewed.
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


#: The place of a note that is on every place of the aircraft.
EVERY_PLACE = "all"


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
        Normal score of each flight, the CUSUM of the scores, and the CUSUM's limit.
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
class History:
    """What all flights of one aircraft together tell.

    ``features`` holds every measured feature; ``trends`` what was judged; ``not_judged`` names
    what could not be, and why.
    """

    name: str
    aircraft: Aircraft
    flights: tuple[HistoryFlight, ...]
    notes: tuple[NoteMark, ...]
    features: tuple[Feature, ...]
    trends: tuple[Trend, ...]
    findings: tuple[Finding, ...]
    not_judged: tuple[str, ...] = ()

    @property
    def verdict(self) -> Level:
        """The gravest level among the findings; unknown where nothing could be judged."""
        nothing = Level.CLEAR if self.trends else Level.UNKNOWN
        return max((f.level for f in self.findings), default=nothing)

    def series(self, place: str, feature: str) -> tuple[float | None, ...]:
        """One feature of one place, flight by flight; None where it was not measured."""
        found = {
            f.flight: f.value for f in self.features if (f.place, f.feature) == (place, feature)
        }
        return tuple(found.get(flight.id) for flight in self.flights)
