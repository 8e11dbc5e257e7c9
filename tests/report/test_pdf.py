from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from matplotlib.figure import Figure, SubFigure

from telemetry.model.errors import OutputError
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene, settings
from telemetry.report.output import to_pdf
from telemetry.report.parts.method import CAUTIONS
from telemetry.report.writers import pdf
from telemetry.report.writers.paper import Sheets, text_width, wrapped
from telemetry.results import Review

# ISO 216 A4 is 210 mm x 297 mm; ANSI/ASME Y14.1 Letter (A) is 8.5 in x 11 in; 1 in = 72 pt.
PAPERS = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


@pytest.fixture(scope="module", params=list(PAPERS))
def sheets(request: pytest.FixtureRequest, review: Review) -> Iterator[Sheets]:
    with settings(0.68):
        made = pdf.lay_out(document_of(review), Scene.of(review), request.param)
        for page in made.pages:
            page.draw_without_rendering()
        yield made


def words(page: Figure) -> str:
    return " ".join(t.get_text() for t in page.texts)


def test_every_page_names_aircraft_and_flight_and_its_number(sheets: Sheets) -> None:
    total = len(sheets.pages)
    assert total > 3
    for number, page in enumerate(sheets.pages, 1):
        assert "Tern (invented). 14 May 2026, 10:32. One flight" in words(page)
        assert f"page {number} of {total}" in words(page)


def test_the_first_page_has_the_answer(sheets: Sheets) -> None:
    first = words(sheets.pages[0])
    for part in (
        *("Ground it", "The left wing lost 1.33 V", "4.60 V", "18.7 A", "1503 mAh", "1.10 V"),
        *("Before the next flight", "Left wing: clean or replace the left panel connector"),
    ):
        assert part in first, part
    assert len(sheets.pages[0].subfigs) == 1


def test_nothing_is_cut_off_and_no_text_leaves_the_page(sheets: Sheets) -> None:
    for number, page in enumerate(sheets.pages, 1):
        for text in page.texts:
            box = text.get_window_extent()
            assert box.x0 >= 20, (number, text.get_text())
            assert box.x1 <= sheets.width - 20, (number, text.get_text())
            assert box.y0 >= 20, (number, text.get_text())
            assert box.y1 <= sheets.height - 20, (number, text.get_text())
        for part in page.subfigs:
            assert isinstance(part, SubFigure)
            for ax in part.axes:
                box = ax.get_tightbbox()
                assert box is not None
                assert box.x0 >= part.bbox.x0 - 2
                assert box.x1 <= part.bbox.x1 + 2
                assert box.y0 >= part.bbox.y0 - 2
                assert box.y1 <= part.bbox.y1 + 2


def test_lines_of_text_do_not_run_into_one_another(sheets: Sheets) -> None:
    for page in sheets.pages:
        boxes = [t.get_window_extent() for t in page.texts if t.get_text()]
        for k, a in enumerate(boxes):
            for b in boxes[k + 1 :]:
                wide = min(a.x1, b.x1) - max(a.x0, b.x0)
                tall = min(a.y1, b.y1) - max(a.y0, b.y0)
                assert wide <= 1 or tall <= 2.5, (a, b)


def test_every_section_and_caution_is_printed(sheets: Sheets) -> None:
    everything = " ".join(words(p) for p in sheets.pages)
    for title in ("Findings", "Places", "Stirs", "Events", "Data quality", "Limits in force"):
        assert title in everything
    flowing = " ".join(everything.split())
    for caution in CAUTIONS:
        assert caution in flowing
    assert not re.search(r"\bsafe", flowing, re.IGNORECASE)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_file_has_the_paper_asked_for_and_is_the_same_again(
    bare_review: Review, tmp_path: Path, paper: str
) -> None:
    one, two = tmp_path / "one.pdf", tmp_path / "two.pdf"
    to_pdf(bare_review, one, paper=paper)
    to_pdf(bare_review, two, paper=paper)
    content = one.read_bytes()
    assert content.startswith(b"%PDF-")
    assert content == two.read_bytes()
    found = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", content)
    assert found
    assert (float(found[1]), float(found[2])) == pytest.approx(PAPERS[paper], abs=0.5)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.pdf", "two.pdf"]


def test_an_unknown_paper_is_refused(bare_review: Review) -> None:
    with pytest.raises(ValueError, match="paper must be one of a4, letter, got 'a3'"):
        pdf.render(document_of(bare_review), Scene.of(bare_review), "a3")


def test_a_folder_that_is_none_is_one_clear_error(bare_review: Review, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="cannot be written"):
        to_pdf(bare_review, tmp_path / "file" / "x.pdf")


def test_lines_fit_the_width_they_were_wrapped_for() -> None:
    text = "The quick brown fox jumps over Donaudampfschifffahrtsgesellschaftskapitaen " * 3
    for width in (60.0, 100.0, 300.0):
        lines = wrapped(text, width, 9.0)
        assert all(text_width(line, 9.0) <= width for line in lines)
        assert "".join("".join(lines).split()) == "".join(text.split())
