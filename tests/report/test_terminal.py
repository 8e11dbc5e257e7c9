from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.report.documents.of_review import document_of
from telemetry.report.parts.method import CAUTIONS
from telemetry.report.writers import terminal
from telemetry.report.writers.screen import columns_of
from telemetry.results import Finding, Level, Review


@pytest.fixture(scope="module")
def text(review: Review) -> str:
    return terminal.text_of(document_of(review))


def squeezed(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_screen(review: Review, bare_review: Review, width: int) -> None:
    for one in (review, bare_review):
        shown = terminal.text_of(document_of(one), width)
        assert max(map(columns_of, shown.splitlines())) <= width


def test_the_answer_stands_in_the_first_lines(text: str) -> None:
    head = text.splitlines()[:14]
    joined = squeezed("\n".join(head))
    assert "Tern (invented)" in joined
    assert "14 May 2026, 10:32. One flight, 15 min 00 s recorded." in joined
    assert "!!! GROUND IT" in joined
    assert "The left wing lost 1.33 V for 0.6 s" in joined
    assert "Lowest voltage 4.60 V left wing, in flight, at 08:42" in joined


def test_it_is_plain_text_without_colour(text: str) -> None:
    assert "\x1b" not in text
    assert text.isascii()
    assert text.endswith("\n")


def test_it_carries_every_caution_and_never_says_safe(text: str, bare_review: Review) -> None:
    for shown in (text, terminal.text_of(document_of(bare_review))):
        for caution in CAUTIONS:
            assert caution in squeezed(shown)
        assert "safe" not in shown.lower()


def test_clear_is_nothing_found_and_no_leave_to_fly(make_review: Callable[..., Review]) -> None:
    shown = squeezed(terminal.text_of(document_of(make_review(findings=()))))
    assert "( ) NOTHING FOUND IN THIS LOG" in shown
    assert "does not clear the aircraft to fly" in shown
    assert "a dip shorter than 0.2 s may not show in it" in shown


def test_bars_compare_the_places(text: str) -> None:
    bars: dict[str, int] = {}
    for line in text.splitlines():
        if "|" in line and "#" in line:
            bars.setdefault(line.split("|")[0].strip(), line.split("|")[1].count("#"))
    # Mean currents 8.6, 3.4, 3.1, 1.9 A: the lengths must be in the same proportion.
    assert bars["bus"] > 40
    assert bars["left wing"] / bars["bus"] == pytest.approx(3.4 / 8.6, abs=0.02)
    assert bars["tail"] / bars["bus"] == pytest.approx(1.9 / 8.6, abs=0.02)


def test_tables_are_aligned(text: str) -> None:
    lines = text.splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("Place") and "Margin V" in line)
    starts = [m.start() for m in re.finditer(r"-+", lines[at + 1])]
    for line in lines[at + 2 : at + 8]:
        assert all(line[s - 2 : s] == "  " for s in starts[1:] if len(line) > s), line


def test_the_next_command_is_suggested(review: Review, text: str) -> None:
    assert "busbook columns evening.csv" in text
    known = replace(review, columns=tuple(c for c in review.columns if c.quantity != "unknown"))
    assert "busbook review evening.csv --out reports" in terminal.text_of(document_of(known))


def test_a_name_with_blanks_is_quoted(make_review: Callable[..., Review]) -> None:
    review = make_review(seconds=30.0, file="my flights/evening 3.csv")
    shown = terminal.text_of(document_of(review))
    assert 'busbook columns "my flights/evening 3.csv"' in shown


def test_control_characters_of_a_file_do_not_reach_the_screen(
    make_review: Callable[..., Review],
) -> None:
    finding = Finding(
        code="x", level=Level.WATCH, place="a\x1b[2Jb", title="t\x07\u202e", advice="look\nthere"
    )
    review = make_review(seconds=30.0, file="e\x1b[31m.csv", findings=(finding,))
    shown = terminal.text_of(document_of(review))
    assert not [c for c in shown if (ord(c) < 32 and c != "\n") or c == "\u202e"]


@given(st.text(max_size=200))
def test_any_title_fits(make_review: Callable[..., Review], title: str) -> None:
    review = make_review(
        seconds=1.0,
        findings=(Finding(code="x", level=Level.WATCH, place=title, title=title),),
        flights=(),
    )
    shown = terminal.text_of(document_of(review))
    assert all(columns_of(line) <= 80 for line in shown.splitlines())


def test_notes_explain_only_columns_that_are_shown() -> None:
    from telemetry.report.document import Table
    from telemetry.report.parts.tables import cells, columns

    made = Table(
        caption="Resistances",
        columns=columns(
            "Place", (">mOhm", "mOhm: with plugs."), ("~>Updates", "Updates: how many.")
        ),
        rows=(cells("left wing" + " of the aircraft" * 3, "24.5", "1200"),),
        note="Both count.",
    )
    wide = squeezed("\n".join(terminal.table_lines(made, 100)))
    narrow = squeezed("\n".join(terminal.table_lines(made, 66)))
    assert wide.endswith("mOhm: with plugs. Updates: how many. Both count.")
    assert "Updates" not in narrow
    assert narrow.endswith("mOhm: with plugs. Both count.")
    assert made.notes == "mOhm: with plugs. Updates: how many. Both count."


def test_every_note_of_a_column_on_the_screen_has_its_column(review: Review) -> None:
    """Of all tables: what a dropped column means is dropped with it."""
    from telemetry.report.document import Table

    dropped = 0
    for section in document_of(review).sections:
        for block in section.blocks:
            if not isinstance(block, Table):
                continue
            lines = terminal.table_lines(block, 80)
            head = next(x for x in lines if block.columns[0].title in x and x != block.caption)
            for column in block.columns:
                if column.note and column.title not in head:
                    dropped += 1
                    assert squeezed(column.note) not in squeezed("\n".join(lines))
    assert dropped


def test_what_would_make_a_number_known_is_one_line_to_copy(review: Review) -> None:
    report = document_of(review)
    numbers = tuple(
        replace(n, measured=False, line='busbook aircraft set tern "pack 1" --capacity MAH ' * 3)
        for n in report.first.numbers[-1:]
    )
    shown = terminal.text_of(replace(report, first=replace(report.first, numbers=numbers)))
    assert f"    {numbers[0].line.rstrip()}" in shown.splitlines(), "never wrapped"
