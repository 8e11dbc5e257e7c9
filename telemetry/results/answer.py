"""The answer: how an aircraft stands, or what one log alone says where no aircraft is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from telemetry.results.kinds import Level


class StandingFinding(NamedTuple):
    """An open finding, as far as it makes an answer; ``place`` is "" for the whole aircraft."""

    code: str
    place: str
    level: Level


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierAnswer:
    """What another version of the program answered for the same flights, notes and profile.

    Attributes
    ----------
    program : str
        Its version.
    level : Level
    gone : tuple of StandingFinding
        What was open then and is not, or not as grave.
    new : tuple of StandingFinding
        What is open now and was not, or not as grave.
    """

    program: str
    level: Level
    gone: tuple[StandingFinding, ...]
    new: tuple[StandingFinding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The worst of an aircraft's open findings and of its newest flight's review.

    Attributes
    ----------
    level : Level
    title : str
        What was found; of several the worst.
    source : str
        "history": all flights of the aircraft; "review": this log alone, of no known aircraft. The
        JSON calls it ``from``.
    aircraft : str or None
        None for a log alone.
    flight, number, start
        The newest flight, which the answer is as of: its id, its number in the history from 1, its
        date (ISO 8601); None for a log alone, or where the log has no date.
    since_flight, since_number
        The flight that the finding began with; None where there is none.
    earlier : EarlierAnswer or None
        What another version of the program answered, where it was another answer.
    """

    level: Level
    title: str
    source: Literal["review", "history"]
    aircraft: str | None = None
    flight: str | None = None
    number: int | None = None
    start: str | None = None
    since_flight: str | None = None
    since_number: int | None = None
    earlier: EarlierAnswer | None = None

    @property
    def word(self) -> str:
        """What a report calls the level."""
        of_all = self.source == "history" and self.level is Level.CLEAR
        return "Nothing found across these flights" if of_all else self.level.word


@dataclass(frozen=True, slots=True, kw_only=True)
class AircraftStanding:
    """How an aircraft stands, and what the book holds of it.

    ``flights``, ``benches`` and ``notes`` are counted; ``newest`` is the day of the newest flight,
    ISO 8601, where one has a date. ``answer`` is None where there is no flight.
    """

    flights: int
    benches: int
    notes: int
    newest: str | None
    answer: Answer | None = None
