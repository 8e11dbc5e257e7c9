"""The list of checks in every report: whole, short on a screen, with what is essential first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from telemetry.report.document import Paragraph, Table
from telemetry.report.documents.of_review import document_of
from telemetry.report.output import to_html
from telemetry.report.parts.checked import checked_section
from telemetry.report.writers.terminal import text_of
from telemetry.results import CheckOutcome, NotJudged, OutcomeKind, Review


def passed(place: str, sees: str = "60 mOhm or more") -> CheckOutcome:
    return CheckOutcome(
        code="branch-resistance-high", question="Is a lead bad?", place=place,
        outcome=OutcomeKind.PASSED, sees=sees,
    )  # fmt: skip


def test_places_of_which_the_same_is_said_share_a_row() -> None:
    found = checked_section([passed("left wing"), passed("right wing"), passed("tail", "90 mOhm")])
    (table,) = [b for b in found.blocks if isinstance(b, Table)]
    told = [(row[1].text, row[3].text) for row in table.rows]
    assert told == [("left wing, right wing", "60 mOhm or more"), ("tail", "90 mOhm")]


def test_what_cannot_be_judged_says_why_and_what_would_let_it() -> None:
    lacking = CheckOutcome(
        code="brownout", question="Was a supply lost?", place="tail", essential=True,
        outcome=OutcomeKind.NOT_JUDGED, reason=NotJudged.TOO_SLOW,
        why="a dip shorter than 3.0 s can pass unseen", next_time="log the voltage of tail faster",
    )  # fmt: skip
    calm = replace(lacking, reason=NotJudged.CALM, why="it hardly moved", essential=False)
    found = checked_section([lacking, calm, passed("bus")])
    said = " ".join(b.text for b in found.blocks if isinstance(b, Paragraph))
    assert "1 passed, 0 found, 2 not judged" in said
    (table,) = [b for b in found.blocks if isinstance(b, Table)]
    told = [row[3].text for row in table.rows]
    assert told[:2] == [
        "A dip shorter than 3.0 s can pass unseen. Next time: log the voltage of tail faster.",
        "It hardly moved. Next time: log the voltage of tail faster.",
    ]


def test_the_screen_has_the_counts_and_what_essential_checks_lacked(review: Review) -> None:
    text = text_of(document_of(review))
    (part,) = [p for p in text.split("\n-- ") if p.startswith("What was checked")]
    assert "1 passed, 1 found, 1 not judged" in part
    assert "Not judged at tail (sag-unexplained): a dip shorter than 2.5 s" in part
    assert len(part.splitlines()) < 8


def test_the_page_has_all_of_them(review: Review, make_review: Callable[..., Any]) -> None:
    page = to_html(review)
    for outcome in review.checks:
        assert outcome.question in page
    hostile = (passed("<script>x</script>"),)
    assert "<script>x" not in to_html(make_review(checks=hostile))
