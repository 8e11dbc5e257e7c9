"""Two flights of one aircraft, held against one another."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from telemetry.results.history import History, HistoryFlight
from telemetry.results.review import Review


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
