"""Pages on paper: nothing stands alone at their ends; a short form; quiet figures are folded."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from telemetry.report.document import Document, FindingBlock, Paragraph, Section, Table
from telemetry.report.documents.across import Across
from telemetry.report.documents.of_history import history_document
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene, settings
from telemetry.report.draw_history import HistoryScene
from telemetry.report.parts.tables import cells, columns
from telemetry.report.shorter import SHORT_PAGES, shortened
from telemetry.report.writers import html, pdf
from telemetry.report.writers.paper import Sheets
from telemetry.results import Finding, History, Level, Review


def told(sheets: Sheets) -> list[str]:
    """The words of every page, from the top."""
    return [" ".join(t.get_text() for t in page.texts) for page in sheets.pages]


def table(rows: int, lines: int) -> Table:
    """A table whose rows can be told apart, each of about so many lines."""
    words = " ".join(["measured at this place"] * 9 * lines)
    return Table(
        caption="CAPTION of it",
        columns=columns("HEAD of all", "Words"),
        rows=tuple(cells(f"ROW-{k}-", words) for k in range(rows)),
        note="NOTE below.",
    )


@pytest.mark.parametrize("rows", [1, 3, 9])
@pytest.mark.parametrize("lines", [1, 6])
def test_no_heading_head_or_row_is_left_alone(review: Review, rows: int, lines: int) -> None:
    """Wherever on the page the table begins: so many lines of text above it."""
    document, scene = document_of(review), Scene.of(review)
    broken = 0
    for above in range(30, 62, 4):
        filler = Section(title="Before", anchor="x", blocks=(Paragraph(text="word " * 15),) * above)
        tested = Section(title="TITLE here", anchor="y", blocks=(table(rows, lines),))
        made = replace(document, sections=(filler, tested))
        with settings(0.68):
            pages = told(pdf.lay_out(made, scene, "a4"))
        on = [next(n for n, p in enumerate(pages) if f"ROW-{k}-" in p) for k in range(rows)]
        (title,) = (n for n, p in enumerate(pages) if "TITLE here" in p)
        (caption,) = (n for n, p in enumerate(pages) if "CAPTION of it" in p)
        (note,) = (n for n, p in enumerate(pages) if "NOTE below" in p)
        assert title == caption == on[0]
        assert on[:2] == [on[0]] * len(on[:2]), "the first two rows stay together"
        assert on[-2:] == [on[-1]] * len(on[-2:]), "and the last two"
        assert note == on[-1]
        assert all("HEAD of all" in pages[n] for n in set(on))
        broken += on[0] != on[-1]
    if rows == 9:
        assert broken, "some went over a page's end"


def many(review: Review, count: int) -> Review:
    findings = tuple(
        Finding(
            code="branch-resistance-high",
            level=Level.GROUND if n == 0 else Level.WATCH,
            place=f"node {n}",
            title=f"FINDING-{n}- " + "node drops more voltage per ampere than its copper does " * 2,
            evidence={"mohm": 50.0 + n},
            explanations=("a worn plug", "a broken strand"),
            confirm=f"Move the plug of node {n}. " * 3,
            advice=f"Clean the plug of node {n}. " * 3,
        )
        for n in range(count)
    )
    return replace(review, findings=findings)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 4, 30])
def test_the_short_form_is_two_pages_and_counts_what_it_leaves_out(
    review: Review, count: int, paper: str
) -> None:
    one = many(review, count)
    document, scene = document_of(one), Scene.of(one)
    with settings(0.68):
        sheets = pdf.lay_out_short(document, scene, paper)
    assert len(sheets.pages) <= SHORT_PAGES
    words = " ".join(told(sheets))
    shown = [n for n in range(count) if f"FINDING-{n}-" in words]
    assert shown[:1] == [0] * bool(count), "the worst stays"
    findings = [b for s in shortened(document).sections for b in s.blocks
                if isinstance(b, FindingBlock)]  # fmt: skip
    assert len(findings) == count
    assert all(f.figure is None and not f.facts for f in findings)
    left = re.search(r"(\d+) more findings? in the whole report", words)
    # First page and tables name findings too; this stands in the list alone.
    listed = re.findall(r"How to tell: Move the plug of node \d+", words)
    assert (left is not None) == (len(listed) < count)
    if left is not None:
        assert int(left[1]) == count - len(listed)
    assert "Cautions" in words
    with settings(0.68):
        assert len(pdf.lay_out(document, scene, paper).pages) > len(sheets.pages)
    first = pdf.render_short(document, scene, paper)
    assert first.startswith(b"%PDF")


def test_figures_of_places_without_a_finding_are_folded(
    make_history: Callable[..., History],
) -> None:
    history = make_history()
    document, scene = history_document(history), HistoryScene.of(Across.of(history))
    blocks = [
        b for s in document.sections for b in s.blocks if getattr(b, "quiet", None) is not None
    ]
    quiet = {(b.name, b.place) for b in blocks if b.quiet}
    # Both wings have findings; the tail, the bus and the packs have none.
    assert ("volts", "tail") in quiet
    assert ("volts", "left wing") not in quiet
    assert ("volts", "right wing") not in quiet
    assert not {name for name, _ in quiet} & {"lows", "sides", "use", "share"}
    page = html.page(document, scene)
    summaries = re.findall(
        r"<summary>(\d+) figures? of places where nothing was found</summary>", page
    )
    assert sum(map(int, summaries)) == len(quiet)
    assert page.count("<details") == len(summaries), "closed, and opened by hand"
    assert "<details open" not in page
    with settings(0.68):
        words = " ".join(told(pdf.lay_out(document, scene, "a4")))
    left = re.findall(r"(\d+) figures? of places where nothing was found stand in the HTML", words)
    assert sum(map(int, left)) == len(quiet)


def test_a_sound_mirror_is_shown_beside_what_is_not(make_history: Callable[..., History]) -> None:
    history = make_history()
    one = replace(history, findings=tuple(f for f in history.findings if f.place == "left wing"))
    across = Across.of(one)
    assert across.found_at("left wing")
    assert across.found_at("right wing")
    assert not across.found_at("tail")


def test_the_whole_document_is_unchanged_by_its_short_form(review: Review) -> None:
    document: Document = document_of(review)
    before = document_of(review)
    shortened(document)
    assert document == before
