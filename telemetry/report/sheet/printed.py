"""The sheet on paper: one page of A4 or Letter, whatever the number of findings."""

from __future__ import annotations

from io import BytesIO

from matplotlib.backends.backend_pdf import PdfPages

from telemetry.report.draw import settings
from telemetry.report.figures import style
from telemetry.report.sheet.content import FieldSheet, SheetList, inspector_lists, left_words
from telemetry.report.writers.paper import LEADING, SIZES_PT, Sheets, wrapped
from telemetry.report.writers.pdf import LEVEL_EDGE, draw_sign

_BODY, _SMALL, _TINY = 9.0, 8.0, 6.8
_BOX = 8.5


def fitted(sheet: FieldSheet, paper: str) -> FieldSheet:
    """The sheet with as many entries as one page holds; the others are counted.

    Parameters
    ----------
    sheet : FieldSheet
    paper : str
        "a4" or "letter".
    """
    with settings():
        return _fitted(sheet, paper)


def _fitted(sheet: FieldSheet, paper: str) -> FieldSheet:
    while len(lay_out(sheet, paper).pages) > 1:
        less = sheet.shorter()
        if less is None:
            return sheet
        sheet = less
    return sheet


def render(sheet: FieldSheet, paper: str = "a4") -> bytes:
    """The sheet as a PDF of one page; the same one gives the same bytes.

    Raises
    ------
    ValueError
        For a paper that is not known.
    """
    if paper not in SIZES_PT:
        raise ValueError(f"paper must be one of {', '.join(SIZES_PT)}, got {paper!r}")
    out = BytesIO()
    with settings():
        page = lay_out(_fitted(sheet, paper), paper)
        facts = {"Title": f"{sheet.aircraft}: sheet", "Creator": "busbook", "CreationDate": None}
        with PdfPages(out, metadata=facts) as pages:
            for one in page.pages:
                pages.savefig(one)
    return out.getvalue()


def lay_out(sheet: FieldSheet, paper: str) -> Sheets:
    """The page, or more than one where not all of it fits."""
    sheets = Sheets(paper, f"{sheet.aircraft}. {sheet.since}")
    sheets.text(sheet.aircraft, 18.0, bold=True, after=0.0)
    sheets.text(f"{sheet.held}.", _SMALL, colour=style.MUTED, after=6.0)
    _head(sheets, "Cautions")
    for words in sheet.cautions:
        sheets.text(words, _SMALL, bullet=True, after=1.0)
    _answer(sheets, sheet)
    _head(sheets, "Open findings")
    if not sheet.findings.items:
        sheets.text("None. That is no proof that nothing is wrong.", _BODY, after=2.0)
    for words in sheet.findings.items:
        sheets.text(words, _BODY, bullet=True, after=1.5)
    _left(sheets, sheet.findings, "finding", sheet.more)
    _head(sheets, "Bench checks: tick what was done")
    for words in sheet.checks.items:
        _tick(sheets, words)
    _left(sheets, sheet.checks, "check", sheet.more)
    _signature(sheets)
    _head(sheets, "For the inspector")
    for title, part, noun in inspector_lists(sheet):
        sheets.text(title, _SMALL, bold=True, after=0.5)
        for words in part.items:
            sheets.text(words, _TINY, bullet=True, after=0.5)
        _left(sheets, part, noun, sheet.more)
    sheets.number_pages(f"{sheet.footer}. Advice from logs; no proof of airworthiness.")
    return sheets


def _head(sheets: Sheets, title: str) -> None:
    sheets.need(30.0)
    sheets.y += 5.0
    sheets.text(title, 11.0, bold=True, after=0.5)
    sheets.rule(sheets.y, style.BLACK, 0.9)
    sheets.y += 4.0


def _answer(sheets: Sheets, sheet: FieldSheet) -> None:
    reason = wrapped(f"{sheet.reason} {sheet.since}", sheets.inner - 62.0, 10.0)
    tall = 30.0 + 10.0 * LEADING * len(reason)
    sheets.need(tall + 8.0)
    sheets.y += 5.0
    sheets.box(sheets.left, sheets.y, sheets.inner, tall, style.WASH)
    sheets.box(sheets.left, sheets.y, 6.0, tall, LEVEL_EDGE[sheet.level])
    draw_sign(sheets, sheet.level, sheets.left + 16.0, sheets.y + 7.0, 28.0)
    sheets.put(sheet.word, sheets.left + 54.0, sheets.y + 6.0, 14.0, bold=True)
    for k, line in enumerate(reason):
        sheets.put(line, sheets.left + 54.0, sheets.y + 25.0 + k * 10.0 * LEADING, 10.0)
    sheets.y += tall + 3.0


def _tick(sheets: Sheets, words: str) -> None:
    """A check behind an empty box."""
    lines = wrapped(words, sheets.inner - _BOX - 8.0, _BODY)
    sheets.need(len(lines) * _BODY * LEADING + 2.0)
    x, top = sheets.left, sheets.y + 1.0
    corners = [(x, top), (x + _BOX, top), (x + _BOX, top + _BOX), (x, top + _BOX)]
    sheets.polygon(corners, style.PAPER)
    for line in lines:
        sheets.put(line, sheets.left + _BOX + 8.0, sheets.y, _BODY)
        sheets.y += _BODY * LEADING
    sheets.y += 2.0


def _left(sheets: Sheets, part: SheetList, noun: str, more: str) -> None:
    if words := left_words(part, noun, more):
        sheets.text(words, _SMALL, colour=style.MUTED, after=1.0)


def _signature(sheets: Sheets) -> None:
    """Lines for what was found, date, name and signature."""
    sheets.need(58.0)
    sheets.y += 8.0
    sheets.put("Found or done:", sheets.left, sheets.y, _SMALL)
    for _ in range(2):
        sheets.y += 17.0
        sheets.rule(sheets.y, style.BLACK, 0.5)
    sheets.y += 20.0
    third = sheets.inner / 3
    for k, name in enumerate(("Date", "Name", "Signature")):
        x = sheets.left + k * third
        sheets.polygon([(x, sheets.y), (x + third - 12.0, sheets.y)], style.PAPER, closed=False)
        sheets.put(name, x, sheets.y + 2.0, 7.5, colour=style.MUTED)
    sheets.y += 12.0
