"""What was checked at each place, what it would have shown, and what could not be judged."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.model.text import plain
from telemetry.report.document import Block, Bullets, Cell, Paragraph, Section, Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import NONE, sentence
from telemetry.results import CheckOutcome, NotJudged, OutcomeKind
from telemetry.results.checks import counted_outcomes

_OUTCOME_WORD = {
    OutcomeKind.PASSED: "passed",
    OutcomeKind.FOUND: "found",
    OutcomeKind.NOT_JUDGED: "not judged",
}
_PASSED = "Passed: it looked, and would have shown what stands beside it; less may be there."
_NOTE = f"{_PASSED} Essential: without it a log is not clear."


def checked_section(outcomes: Sequence[CheckOutcome]) -> Section:
    """Every check of one log: counts and what essential ones lacked; the list as a table."""
    of_places = [o for o in outcomes if o.reason is not NotJudged.TOO_FEW_FLIGHTS]
    across = [o for o in outcomes if o.reason is NotJudged.TOO_FEW_FLIGHTS]
    blocks: list[Block] = [
        Paragraph(text=f"Checks of all places: {counted_outcomes(of_places)}."),
    ]
    lacking = _lacking_words(of_places)
    if lacking:
        blocks.append(Bullets(items=lacking))
    asked = " ".join(dict.fromkeys(o.question for o in across))
    only = f" Several flights in the book are asked besides: {asked}" if across else ""
    blocks.append(
        Table(
            caption="What was checked, and what it would have shown",
            columns=columns("Question", "Where", "Outcome", "Shows at least, or why not"),
            rows=tuple(_row(same) for same in _alike(of_places)),
            note=_NOTE + only,
            brief=False,
        )
    )
    return Section(title="What was checked", anchor="checked", blocks=tuple(blocks))


def checked_across_section(outcomes: Sequence[CheckOutcome]) -> Section | None:
    """Every check that compares flights, at each place; None where none was asked."""
    if not outcomes:
        return None
    unjudged = [o for o in outcomes if o.outcome is OutcomeKind.NOT_JUDGED]
    blocks: list[Block] = [Paragraph(text=f"Checks across flights: {counted_outcomes(outcomes)}.")]
    if words := _unjudged_words(unjudged):
        blocks.append(Bullets(items=words))
    blocks.append(
        Table(
            caption="What was checked across flights, and what it would have shown",
            columns=columns("Question", "Where", "Outcome", "Shows at least, or why not"),
            rows=tuple(_row(same) for same in _alike(outcomes)),
            note=_PASSED,
            brief=False,
        )
    )
    return Section(title="What was checked", anchor="checked", blocks=tuple(blocks))


def _unjudged_words(outcomes: Sequence[CheckOutcome]) -> tuple[str, ...]:
    """What could not be judged, each reason once, with what would let it."""
    reasons = dict.fromkeys((o.why or "", o.next_time or NONE) for o in outcomes)
    return tuple(
        f"{sentence(f'not judged: {plain(why)}')} Next time: {plain(then)}."
        for why, then in reasons
    )


def _alike(outcomes: Sequence[CheckOutcome]) -> list[list[CheckOutcome]]:
    """Outcomes that say the same of several places, together, in the order of the list."""
    groups: dict[object, list[CheckOutcome]] = {}
    for o in outcomes:
        groups.setdefault((o.code, o.outcome, o.sees, o.why, o.next_time), []).append(o)
    return list(groups.values())


def _row(same: Sequence[CheckOutcome]) -> tuple[Cell, ...]:
    first = same[0]
    weight = ", essential" if any(o.essential for o in same) else ""
    return cells(
        first.question,
        _places(same),
        f"{_OUTCOME_WORD[first.outcome]}{weight}",
        _told(first),
    )


def _places(same: Sequence[CheckOutcome]) -> str:
    return ", ".join(plain(o.place) for o in same if o.place is not None) or "the whole"


def _told(o: CheckOutcome) -> str:
    if o.outcome is OutcomeKind.FOUND:
        return "see Findings"
    if o.reason is None:
        return plain(o.sees or NONE)
    return f"{sentence(o.why or '')} Next time: {plain(o.next_time or NONE)}."


def _lacking_words(outcomes: Sequence[CheckOutcome]) -> tuple[str, ...]:
    """What essential checks lacked, each reason once, with where and what to do."""
    groups: dict[tuple[str | None, str | None], list[CheckOutcome]] = {}
    for o in outcomes:
        if o.lacking:
            groups.setdefault((o.why, o.next_time), []).append(o)
    words = []
    for (why, next_time), same in groups.items():
        where = ", ".join(dict.fromkeys(plain(o.place) for o in same if o.place is not None))
        codes = ", ".join(dict.fromkeys(o.code for o in same))
        at = f" at {where}" if where else ""
        reason = f"{plain(why or NONE)}. Next time: {plain(next_time or NONE)}."
        words.append(f"Not judged{at} ({codes}): {reason}")
    return tuple(words)
