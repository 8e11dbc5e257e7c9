"""One thing worth telling, and by how much something changed across flights."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from telemetry.results.kinds import Level

#: The unit of a rise that is told of one servo's share, not of the whole place.
OF_ONE_SERVO = "% of one servo's share"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """By how much something changed across flights.

    Attributes
    ----------
    quantity, unit : str
        What changed, and the unit of ``before`` and ``now``.
    before, now : float or None
        Usual level before it began, and level now.
    rise, low, high : float
        By how much, in ``rise_unit``, with its 95 % interval.
    rise_unit : str
    limit : float or None
        The next limit, in ``rise_unit``.
    per_flight, per_flight_low, per_flight_high : float or None
        Rate, in ``rise_unit`` a flight, by the Theil-Sen slope since it began.
    flights_to_limit, flights_to_limit_low, flights_to_limit_high : int or None
        Flights until the next limit, 1 the very next one: median and 80 % interval. None where it
        does not grow towards one, and where the trend is too uncertain to tell.
    too_uncertain : bool
        True where it grows towards the limit, but the interval says nothing.
    false_alarm : float
        Chance of such a finding in a healthy book of 100 flights, all places together.
    """

    quantity: str
    unit: str
    before: float | None
    now: float | None
    rise: float
    low: float
    high: float
    rise_unit: str
    limit: float | None = None
    per_flight: float | None = None
    per_flight_low: float | None = None
    per_flight_high: float | None = None
    flights_to_limit: int | None = None
    flights_to_limit_low: int | None = None
    flights_to_limit_high: int | None = None
    too_uncertain: bool = False
    false_alarm: float

    @property
    def rise_symbol(self) -> str:
        """The unit of the rise in few letters."""
        return "%" if self.rise_unit == OF_ONE_SERVO else self.rise_unit

    def past(self) -> Change:
        """The same without what is to come: of flights that later ones do not bear out."""
        return replace(
            self,
            flights_to_limit=None,
            flights_to_limit_low=None,
            flights_to_limit_high=None,
            too_uncertain=False,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What may have caused a finding, and what in the log speaks for and against it.

    ``kind`` is one word for the fault (:class:`telemetry.checks.causes.kinds.CauseKind`), ``cause``
    the same in words that fit the case.
    """

    kind: str
    cause: str
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedBy:
    """What closed a finding of an aircraft.

    Attributes
    ----------
    kind : str
        "repaired", "changed" or "checked": a note; "flights": later flights that would have shown
        it.
    date : str or None
        Of the note, or of the last of these flights; ISO 8601.
    place, text : str or None
        Of the note.
    flights : int or None
        How many flights showed it gone.
    before : int
        Index of the first flight that counts as without it, from 0.
    """

    kind: Literal["repaired", "changed", "checked", "flights"]
    date: str | None
    before: int
    place: str | None = None
    text: str | None = None
    flights: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing worth telling, with its evidence and what would tell its causes apart.

    ``causes`` are those of ``explanations`` in the same order; ``ranked`` where the log makes the
    first the likeliest. One that follows from another is told beneath it.
    """

    code: str
    level: Level
    place: str | None
    title: str
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)
    explanations: tuple[str, ...] = ()
    confirm: str = ""
    advice: str = ""
    servo: str | None = None
    flight: int | None = None
    start_s: float | None = None
    end_s: float | None = None
    # Across flights only: ids of the first and of the last flight with it, by how much, and what
    # closed it.
    since_flight: str | None = None
    last_flight: str | None = None
    change: Change | None = None
    state: Literal["open", "closed"] = "open"
    closed_by: ClosedBy | None = None
    # Other places where the same was seen.
    also: tuple[str, ...] = ()
    causes: tuple[Cause, ...] = ()
    ranked: bool = False
    # The finding that this one follows from; None where it stands by itself.
    follows_code: str | None = None
    follows_place: str | None = None


def standing_alone(findings: Iterable[Finding]) -> list[Finding]:
    """Findings that follow from no other: what a reader counts."""
    return [f for f in findings if f.follows_code is None]


def worst_of(findings: Iterable[Finding]) -> Finding | None:
    """The worst finding that follows from no other, the first of equal ones; None where none."""
    alone = standing_alone(findings)
    return max(alone, key=lambda f: f.level.rank, default=None)


def counted_by_level(findings: Sequence[Finding]) -> str:
    """How many there are, the worst first: "3 (1 ground, 2 watch)"."""
    counts = Counter(f.level for f in findings)
    parts = [f"{counts[level]} {level}" for level in sorted(counts, reverse=True)]
    return f"{len(findings)} ({', '.join(parts)})" if parts else "none"


def verdict_in_brief(level: Level, word: str, findings: Sequence[Finding]) -> str:
    """The verdict in a report's words, with the title of the worst finding."""
    if level is Level.CLEAR:
        return f"{word}; that is no proof that nothing is wrong"
    titles = [f.title for f in findings if f.level is level]
    return f"{word}: {titles[0]}" if titles else word
