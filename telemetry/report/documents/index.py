"""Several logs at one look: what each review came to, the gravest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from telemetry.report.document import Document, FirstPage
from telemetry.report.words import counted
from telemetry.results import Level, Review

_COUNTED = {
    Level.GROUND: "to ground",
    Level.WATCH: "to watch",
    Level.UNKNOWN: "that cannot be judged",
    Level.CLEAR: "with nothing found",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class IndexEntry:
    """One review among several: the first page of its report, small enough to keep hundreds.

    Attributes
    ----------
    first : FirstPage
    file : str
        The log, fit to be shown.
    start : str
        ISO 8601; "" where the log has no date.
    link : str or None
        Path of its report beside the index; None where none was written.
    """

    first: FirstPage
    file: str
    start: str
    link: str | None = None


def entry_of(review: Review, document: Document, link: str | None = None) -> IndexEntry:
    """What an index keeps of a review and its report."""
    start = review.log.provenance.start or ""
    return IndexEntry(first=document.first, file=document.file, start=start, link=link)


def gravest_first(entries: Iterable[IndexEntry]) -> list[IndexEntry]:
    """Entries by level, the gravest first; within a level the newest first, undated ones last."""
    return sorted(
        sorted(entries, key=lambda e: e.start, reverse=True), key=lambda e: -e.first.level.rank
    )


def levels_counted(entries: Sequence[IndexEntry]) -> str:
    """How many of each level: "25 logs reviewed: 1 to ground, 24 with nothing found"."""
    counts = [
        f"{count} {words}"
        for level, words in _COUNTED.items()
        if (count := sum(e.first.level is level for e in entries))
    ]
    return f"{counted(len(entries), 'log')} reviewed: {', '.join(counts) or 'none'}"
