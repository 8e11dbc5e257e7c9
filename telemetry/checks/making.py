"""Puts a finding together: what a rule saw and the standing words of its code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from telemetry.checks.raised import Raised
from telemetry.checks.words import WORDS, Words
from telemetry.results import Event, Finding, Level


def make(
    code: str,
    level: Level,
    place: str | None,
    title: str,
    evidence: Mapping[str, float | int | str | None],
    *,
    event: Event | None = None,
    also: tuple[str, ...] = (),
    words: Words | None = None,
) -> Finding:
    """A finding of a code with its standing words; ``also`` stands before its explanations.

    ``words`` take the place of the standing ones.
    """
    words = words or WORDS[code]
    return Finding(
        code=code,
        level=level,
        place=place,
        title=title,
        evidence=dict(evidence),
        explanations=(*also, *words.explanations),
        confirm=words.confirm,
        advice=words.advice_at(level),
        start_s=None if event is None else event.start_s,
        end_s=None if event is None else event.end_s,
    )


def worded(raised: Raised) -> Finding:
    """What a rule raised, with its standing words."""
    made = make(
        raised.code,
        raised.level,
        raised.place,
        raised.title,
        raised.evidence,
        also=raised.also,
        words=raised.words,
    )
    return replace(made, start_s=raised.start_s, end_s=raised.end_s)


def clock(seconds: float) -> str:
    """Seconds of the recording as mm:ss."""
    minutes, rest = divmod(max(int(seconds), 0), 60)
    return f"{minutes:02d}:{rest:02d}"
