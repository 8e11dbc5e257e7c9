"""Several logs at one look: what each review came to, the worst first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from telemetry.report.document import Document, FindingBlock, FirstPage
from telemetry.report.parts.first_page import alone_reason
from telemetry.report.words import counted
from telemetry.results import Answer, Level, Review

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
    level, reason
        Of this log alone.
    file : str
        The log, fit to be shown.
    start : str
        ISO 8601; "" where the log has no date.
    answer : Answer
        Of the aircraft, where it is known.
    link : str or None
        Path of its report beside the index; None where none was written.
    findings : tuple of FindingBlock
        Of this log, to watch or to ground; without their figures.
    """

    first: FirstPage
    level: Level
    reason: str
    file: str
    start: str
    answer: Answer
    link: str | None = None
    findings: tuple[FindingBlock, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonFinding:
    """A finding of one or more logs: as the newest of the worst ones tells it, in which files."""

    block: FindingBlock
    files: tuple[str, ...]


def entry_of(review: Review, document: Document, link: str | None = None) -> IndexEntry:
    """What an index keeps of a review and its report."""
    start = review.log.provenance.start or ""
    return IndexEntry(
        first=document.first,
        level=review.verdict,
        reason=alone_reason(review),
        file=document.file,
        start=start,
        answer=review.answer,
        link=link,
        findings=tuple(
            replace(block, figure=None, span=None)
            for section in document.sections
            for block in section.blocks
            if isinstance(block, FindingBlock) and block.level > Level.UNKNOWN
        ),
    )


def common_findings(entries: Iterable[IndexEntry]) -> list[CommonFinding]:
    """What all logs found, each finding of one place of an aircraft once, the worst first."""
    same: dict[tuple[str, str, str], list[tuple[FindingBlock, str]]] = {}
    for entry in sorted(entries, key=lambda e: e.start, reverse=True):
        for block in entry.findings:
            key = (entry.first.aircraft, block.code, block.place)
            same.setdefault(key, []).append((block, entry.file))
    found = []
    for seen in same.values():
        worst = max(seen, key=lambda s: s[0].level.rank)
        files = dict.fromkeys((worst[1], *(file for _, file in seen)))
        found.append(CommonFinding(block=worst[0], files=tuple(files)))
    return sorted(found, key=lambda f: (-f.block.level.rank, -len(f.files)))


def answers(entries: Iterable[IndexEntry]) -> list[Answer]:
    """The answer of each aircraft as of its newest flight, the worst first."""
    newest: dict[str, Answer] = {}
    for answer in (e.answer for e in entries):
        if answer.aircraft is not None:
            known = newest.get(answer.aircraft, answer)
            newest[answer.aircraft] = max(known, answer, key=lambda a: a.number or 0)
    return sorted(newest.values(), key=lambda a: -a.level.rank)


def worst_first(entries: Iterable[IndexEntry]) -> list[IndexEntry]:
    """Entries by level, the worst first; within a level the newest first, undated ones last."""
    return sorted(sorted(entries, key=lambda e: e.start, reverse=True), key=lambda e: -e.level.rank)


def levels_counted(entries: Sequence[IndexEntry]) -> str:
    """How many of each level: "25 logs reviewed: 1 to ground, 24 with nothing found"."""
    counts = [
        f"{count} {words}"
        for level, words in _COUNTED.items()
        if (count := sum(e.level is level for e in entries))
    ]
    return f"{counted(len(entries), 'log')} reviewed: {', '.join(counts) or 'none'}"
