"""A finding as a check drafts it; the standing words of its code make it a Finding."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from telemetry.checks.causes.kinds import CauseKind
from telemetry.results import Cause, Change, Finding, Level


class Possible(NamedTuple):
    """A cause that a check names: which fault, and how it is called here."""

    kind: CauseKind
    text: str


class Words(NamedTuple):
    """The standing text of a check; ``grounded`` is the advice at ground where it differs.

    ``kinds`` says which fault each explanation names, in their order, each once.
    ``{place}`` in them is the place of the finding: "that plug" says which.
    No text tells to charge a pack of which the log does not know that it may be charged.
    """

    explanations: tuple[str, ...]
    confirm: str
    advice: str
    grounded: str = ""
    kinds: tuple[CauseKind, ...] = ()

    @property
    def causes(self) -> tuple[Possible, ...]:
        """Explanations with their kinds."""
        pairs = zip(self.kinds, self.explanations, strict=True)
        return tuple(Possible(kind, text) for kind, text in pairs)

    def advice_at(self, level: Level) -> str:
        """What to do at this level: what grounds says not to fly, and nothing else does."""
        if level is not Level.GROUND:
            return self.advice
        return self.grounded or f"Do not fly until this is done. {self.advice}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingDraft:
    """What a check found, without the standing words of its code.

    Attributes
    ----------
    code : str
        Of a check in :data:`telemetry.checks.listed.CHECKS`.
    level : Level
    place : str or None
        None for the whole aircraft.
    title : str
    evidence : dict
        Numbers by names that end in their unit.
    likelier, further : tuple of Possible
        Causes that fit this case, before and after those that the code always has; one of the same
        kind as a standing one takes its place.
    bench : str
        What tells more in this case, to be done before the standing bench check.
    words : Words or None
        Standing words that fit better than those of the code.
    flight : int or None
        Of a recording, from 1; None where it is of the whole recording.
    start_s, end_s : float or None
        Of the event it is about, from the first row of the recording.
    servo : str or None
        Which servos of the place, where the log can name them.
    since_flight : str or None
        Across flights: id of the first flight with it.
    change : Change or None
        Across flights: by how much.
    also : tuple of str
        Other places where the same was seen.
    """

    code: str
    level: Level
    place: str | None
    title: str
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)
    likelier: tuple[Possible, ...] = ()
    further: tuple[Possible, ...] = ()
    bench: str = ""
    words: Words | None = None
    flight: int | None = None
    start_s: float | None = None
    end_s: float | None = None
    servo: str | None = None
    since_flight: str | None = None
    change: Change | None = None
    also: tuple[str, ...] = ()

    def possible(self, standing: Words | None) -> tuple[Possible, ...]:
        """What may have caused it, each kind once, before the log is asked which is likelier."""
        words = self._words(standing)
        own = {p.kind for p in (*self.likelier, *self.further)}
        usual = tuple(p for p in words.causes if p.kind not in own)
        named = (*self.likelier, *usual, *self.further)
        return tuple(p._replace(text=self._named(p.text)) for p in named)

    def _named(self, text: str) -> str:
        return text.replace("{place}", self.place or "the aircraft")

    def _words(self, standing: Words | None) -> Words:
        words = self.words or standing
        if words is None:
            raise ValueError(f"check {self.code!r} has no words for its findings")
        return words

    def finding(self, standing: Words | None) -> Finding:
        """The finding, with the draft's own words or the standing ones of its code.

        Raises
        ------
        ValueError
            If there are neither: the check has to declare them.
        """
        words, possible = self._words(standing), self.possible(standing)
        return Finding(
            code=self.code,
            level=self.level,
            place=self.place,
            title=self.title,
            evidence=self.evidence,
            explanations=tuple(p.text for p in possible),
            confirm=self._named(self.bench + words.confirm),
            advice=self._named(words.advice_at(self.level)),
            servo=self.servo,
            flight=self.flight,
            start_s=self.start_s,
            end_s=self.end_s,
            since_flight=self.since_flight,
            change=self.change,
            also=self.also,
            causes=tuple(Cause(kind=p.kind, cause=p.text) for p in possible),
        )


def clock(seconds: float) -> str:
    """Seconds of the recording as mm:ss."""
    minutes, rest = divmod(max(int(seconds), 0), 60)
    return f"{minutes:02d}:{rest:02d}"
