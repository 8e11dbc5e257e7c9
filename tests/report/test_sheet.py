"""The sheet: one page whatever is found, boxes to tick, what an inspector asks for."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.patches import Polygon

from telemetry.aircraft import Limits, Node
from telemetry.report.draw import settings
from telemetry.report.parts.method import BEFORE_BENCH
from telemetry.report.sheet import page, printed
from telemetry.report.sheet.content import FieldSheet, sheet_of
from telemetry.report.writers.paper import SIZES_PT
from telemetry.results import CheckOutcome, Finding, History, Level, NotJudged, OutcomeKind, Review

EVIL = '<script>alert("x")</script>'


def made(history: History, review: Review) -> FieldSheet:
    hashes = {f.id: f"{n:064x}" for n, f in enumerate(history.flights)}
    return sheet_of(history, review, hashes)


def finding(n: int, level: Level = Level.WATCH, words: int = 12) -> Finding:
    return Finding(
        code="branch-resistance-rising",
        level=level,
        place=f"node {n}",
        title=f"lead to node {n} " + "has more resistance than usual " * (words // 4),
        confirm=f"Move the plug of node {n} under load and watch its voltage." + " Again." * words,
        advice="Clean it before the next flight." + " Note it." * words,
    )


@pytest.fixture(params=[0, 1, 5, 40], ids=lambda n: f"{n} findings")
def crowded(request: pytest.FixtureRequest, make_history: Callable[..., History], review: Review):
    """A sheet of few and of many findings, each long."""
    found = tuple(finding(n, words=24) for n in range(request.param))
    history = make_history(count=60, findings=found)
    checks = tuple(
        CheckOutcome(
            code=f"check-{n}",
            question="?",
            place=f"place {n}",
            outcome=OutcomeKind.NOT_JUDGED,
            reason=NotJudged.NO_COLUMN,
            why=f"it has no current number {n}",
            next_time="log it",
        )
        for n in range(30)
    )
    return made(history, replace(review, checks=checks))


@pytest.mark.parametrize("paper", SIZES_PT)
def test_it_is_one_page_whatever_is_found(crowded: FieldSheet, paper: str) -> None:
    shown = printed.fitted(crowded, paper)
    with settings():  # as it is drawn
        sheets = printed.lay_out(shown, paper)
        assert len(sheets.pages) == 1
        (one,) = sheets.pages
        for text in one.texts:
            box = text.get_window_extent()
            assert box.x0 >= 20
            assert box.x1 <= sheets.width - 20, text.get_text()
            assert box.y0 >= 20
    told = " ".join(t.get_text() for t in one.texts)
    # Nothing is dropped unsaid: shown and counted are all there are.
    for whole, part in (
        (crowded.findings, shown.findings),
        (crowded.checks, shown.checks),
        (crowded.logs, shown.logs),
        (crowded.not_judged, shown.not_judged),
    ):
        assert len(part.items) + part.left_out == len(whole.items) + whole.left_out
        assert whole.items[: len(part.items)] == part.items, "the worst stay"
        if part.left_out:
            assert f"{part.left_out} more" in told
    assert shown.more in told or not shown.logs.left_out
    assert "page 1 of 1" in told
    assert BEFORE_BENCH[:30] in told


def test_every_check_has_an_empty_box_and_there_is_room_to_sign(
    history: History, review: Review
) -> None:
    sheet = made(history, review)
    sheets = printed.lay_out(sheet, "a4")
    (one,) = sheets.pages
    squares = [
        p for p in one.artists
        if isinstance(p, Polygon) and len(p.get_xy()) == 5
        and abs((x := p.get_xy())[1][0] - x[0][0] - (x[2][1] - x[1][1])) < 1e-6
    ]  # fmt: skip
    assert len(squares) == len(sheet.checks.items)
    told = [t.get_text() for t in one.texts]
    assert {"Date", "Name", "Signature", "Found or done:"} <= set(told)
    shown = page.render(sheet)
    assert shown.count('<input type="checkbox">') == len(sheet.checks.items)
    assert "checked" not in re.findall(r"<input[^>]*>", shown)[0].replace('"checkbox"', "")
    assert page.text_of(sheet).count("[ ] ") == len(sheet.checks.items)


def test_when_the_next_limit_is_reached(history: History, review: Review) -> None:
    told = [x for x in made(history, review).findings.items if "Right wing draws" in x]
    assert len(told) == 1
    assert " (since flight 6). Next limit: reached in 1 to 4 flights. Find the servo" in told[0]
    assert sum("Next limit" in x for x in made(history, review).findings.items) == 1


def test_cautions_stand_first_and_the_worst_finding_before_the_others(
    history: History, review: Review
) -> None:
    sheet = made(history, review)
    for text in (page.text_of(sheet), page.render(sheet)):
        squeezed = " ".join(re.sub(r"<style>.*?</style>|<[^>]+>", " ", text, flags=re.S).split())
        order = ("Before any step on the bench", history.answer.title[1:20], "Open findings")
        order += ("Ground it: ", "Watch: ", "Bench checks", "Signature")
        places = [squeezed.index(words) for words in order]
        assert places == sorted(places)
    assert max(map(len, page.text_of(sheet).splitlines())) <= 80


def test_the_inspector_reads_hashes_version_limits_and_what_was_not_judged(
    history: History, review: Review
) -> None:
    limits = Limits(reserve_pct=25.0, comfort_v=5.5)
    node = Node(name="tail", fed_from="bus", restart_v=4.1)
    aircraft = history.aircraft.model_copy(update={"limits": limits, "nodes": (node,)})
    checks = (
        CheckOutcome(
            code="margin-low", question="?", place="tail", outcome=OutcomeKind.NOT_JUDGED,
            reason=NotJudged.NO_COLUMN, why="it has no voltage", essential=True,
        ),
        CheckOutcome(
            code="pack-weak", question="?", place="pack 1", outcome=OutcomeKind.NOT_JUDGED,
            reason=NotJudged.TOO_FEW_FLIGHTS, why="it compares flights",
        ),
    )  # fmt: skip
    sheet = made(replace(history, aircraft=aircraft), replace(review, checks=checks))
    assert sheet.limits.items == (
        "comfort_v 5.5 (default none)",
        "reserve_pct 25 (default 30)",
        "restart_v of tail 4.1",
    )
    assert sheet.not_judged.items == ("margin-low at tail: essential, it has no voltage",)
    # The newest flight first, then those that findings began with.
    first, second, *_ = sheet.logs.items
    assert first.startswith("Flight 12, ")
    assert first.endswith(f"SHA-256 {11:064x}")
    assert second.startswith("Flight 11, ")
    assert "busbook" in sheet.footer
    plain = made(history, review)
    assert plain.limits.items == ("None: all limits are the program's defaults.",)


def test_nothing_found_is_no_leave_to_fly(make_history, review: Review) -> None:
    sheet = made(make_history(findings=()), replace(review, findings=()))
    text = page.text_of(sheet)
    assert "None. That is no proof that nothing is wrong." in text
    assert "[ ] The usual checks before flight" in text
    assert not re.search(r"\bsafe to fly\b|\bairworthy\b", text)


def test_what_strangers_named_is_escaped(make_history, review: Review) -> None:
    history = make_history(name=EVIL, findings=(replace(finding(1), title=EVIL),))
    shown = page.render(made(history, review))
    assert EVIL not in shown
    assert "&lt;script&gt;" in shown
    assert "://" not in shown.replace("http://www.w3.org/", "")


def test_the_same_sheet_gives_the_same_bytes(history: History, review: Review) -> None:
    sheet = made(history, review)
    assert printed.render(sheet, "letter") == printed.render(sheet, "letter")
    assert page.render(sheet) == page.render(sheet)
    with pytest.raises(ValueError, match="a4, letter"):
        printed.render(sheet, "a3")


@pytest.mark.skipif(shutil.which("chromium") is None, reason="needs Chromium")
@pytest.mark.parametrize("paper", SIZES_PT)
def test_the_page_prints_on_one_page(crowded: FieldSheet, paper: str, tmp_path: Path) -> None:
    source, out = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    source.write_text(page.render(crowded, paper), encoding="utf-8")
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={out}",
         "--no-pdf-header-footer", source.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    assert len(re.findall(rb"/Type\s*/Page\b", out.read_bytes())) == 1
