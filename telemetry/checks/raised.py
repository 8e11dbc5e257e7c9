"""What a rule raises; its standing words are added by :mod:`telemetry.checks.making`."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.checks.words import Words
from telemetry.results import Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """A finding without its standing words.

    Attributes
    ----------
    code : str
    level : Level
    place : str
    title : str
    evidence : dict
        Numbers by names that end in their unit.
    also : tuple of str
        Explanations that fit here, before those that the code always has.
    start_s, end_s : float or None
    words : Words or None
        Standing words that fit better than those of the code.
    """

    code: str
    level: Level
    place: str
    title: str
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    start_s: float | None = None
    end_s: float | None = None
    words: Words | None = None
