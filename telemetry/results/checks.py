"""What each check of a log came to, place by place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from telemetry.results.tables import INNER


class OutcomeKind(StrEnum):
    """What a check came to at a place."""

    PASSED = "passed"  # it looked, and would have seen the fault at the size it states
    FOUND = "found"
    NOT_JUDGED = "not-judged"


class NotJudged(StrEnum):
    """Why a check could not judge a place: the closed list of reasons."""

    NO_COLUMN = "no-column"  # the log lacks the quantity
    NOT_UNDERSTOOD = "not-understood"  # a column may hold it, and was not understood
    TOO_SLOW = "too-slow"  # the log reports it too slowly
    TELEMETRY_LOST = "telemetry-lost"  # too much of the time nothing came through
    NO_LOAD = "no-load"  # neither a stir nor a flight, or none of the kind it needs
    UNCERTAIN = "uncertain"  # looked at, and what chance allows is wider than the fault
    NO_COUNTERPART = "no-counterpart"  # nothing there to hold it against
    TOO_FEW_FLIGHTS = "too-few-flights"  # it compares flights
    NO_LEVEL = "no-level"  # the level it is held against is not known
    CALM = "calm"  # the current moved too little to tell
    REGULATED = "regulated"  # a regulator holds the voltage
    STANDBY = "standby"  # the pack stands by, as the profile says
    NO_ROLE = "no-role"  # whether the pack stands by by design is not told
    UNLOGGED = "unlogged"  # the place reports nothing of the kind
    EXPLAINED = "explained"  # another finding tells what it would show

    @property
    def by_nature(self) -> bool:
        """Whether the aircraft, or how it was flown, is why: never a fault of the log."""
        return self in _BY_NATURE

    @property
    def of_the_log(self) -> bool:
        """Whether quantity and load were there and the log is why."""
        return self in _OF_THE_LOG


_BY_NATURE = (
    NotJudged.NO_LEVEL,
    NotJudged.CALM,
    NotJudged.REGULATED,
    NotJudged.STANDBY,
    NotJudged.NO_ROLE,
    NotJudged.UNLOGGED,
    NotJudged.EXPLAINED,
)
_OF_THE_LOG = (
    NotJudged.NOT_UNDERSTOOD,
    NotJudged.TOO_SLOW,
    NotJudged.TELEMETRY_LOST,
    NotJudged.UNCERTAIN,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckOutcome:
    """One check at one place.

    Attributes
    ----------
    code, question : str
        Of the check.
    place : str or None
        None for the whole aircraft; of a column that was not understood, its title.
    outcome : OutcomeKind
    essential : bool
        Whether a log is clear only where this check judged this place.
    sees : str or None
        What a passed check would have seen at least, with number and unit.
    reason : NotJudged or None
        Why it could not judge.
    why, next_time : str or None
        The same in words, and what would let it judge.
    keys : tuple of str
        What of the aircraft's profile would let it judge this place: the keys as
        ``busbook aircraft set`` takes them, with a word in capitals for the value.
    """

    code: str
    question: str
    place: str | None
    outcome: OutcomeKind
    essential: bool = False
    sees: str | None = None
    reason: NotJudged | None = None
    why: str | None = None
    next_time: str | None = None
    keys: tuple[str, ...] = field(default=(), metadata=INNER)

    @property
    def lacking(self) -> bool:
        """Whether an essential check could not judge, for no reason of the aircraft's nature."""
        return self.essential and self.reason is not None and not self.reason.by_nature


def counted_outcomes(outcomes: Sequence[CheckOutcome]) -> str:
    """How many of each: "14 passed, 1 found, 3 not judged"."""
    counts = Counter(o.outcome for o in outcomes)
    words = ((OutcomeKind.PASSED, "passed"), (OutcomeKind.FOUND, "found"))
    parts = [f"{counts[outcome]} {word}" for outcome, word in words]
    return ", ".join((*parts, f"{counts[OutcomeKind.NOT_JUDGED]} not judged"))
