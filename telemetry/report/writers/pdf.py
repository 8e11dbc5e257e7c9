"""The report on paper: A4 or Letter, the same document as on the screen."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from io import BytesIO

from matplotlib.backends.backend_pdf import PdfPages

from telemetry.report.document import (
    Bars,
    Block,
    Bullets,
    Document,
    FigureBlock,
    FindingBlock,
    FirstPage,
    Paragraph,
    Table,
)
from telemetry.report.draw import Drawer, settings
from telemetry.report.figures import style
from telemetry.report.shorter import SHORT_PAGES, less_and_less, shortened
from telemetry.report.words import LEVEL_WORD, TO_KNOW, folded_words
from telemetry.report.writers.paper import (
    LEADING,
    SIZES_PT,
    Sheets,
    letter_by_letter,
    text_width,
    wrapped,
)
from telemetry.report.writers.paper_tables import SetTable, put_table
from telemetry.results import Level

_BODY, _SMALL, _CELL = 9.5, 8.5, 8.5
_GAP, _CELL_GAP = 14.0, 9.0
_SHORT = 14
# Text in figures against that on the screen: 11 pt there are 7.5 pt on paper.
_SCALE = 0.68
_FILL = {
    Level.GROUND: style.VERMILLION,
    Level.WATCH: style.ORANGE,
    Level.UNKNOWN: style.PAPER,
    Level.CLEAR: style.PAPER,
}
LEVEL_EDGE = {**_FILL, Level.UNKNOWN: style.MUTED, Level.CLEAR: style.BLUE}


def render(document: Document, drawer: Drawer, paper: str = "a4") -> bytes:
    """A document as a PDF; the same one gives the same bytes.

    Parameters
    ----------
    document : Document
    drawer : Drawer
        Of its figures.
    paper : str
        "a4" or "letter".

    Raises
    ------
    ValueError
        For a paper that is not known.
    """
    _check(paper)
    with settings(_SCALE):
        return _saved(lay_out(document, drawer, paper), document.title)


def render_short(document: Document, drawer: Drawer, paper: str = "a4") -> bytes:
    """The short form of a document as a PDF of two pages; parameters as of :func:`render`."""
    _check(paper)
    with settings(_SCALE):
        return _saved(lay_out_short(document, drawer, paper), document.title)


def _check(paper: str) -> None:
    if paper not in SIZES_PT:
        raise ValueError(f"paper must be one of {', '.join(SIZES_PT)}, got {paper!r}")


def _saved(sheets: Sheets, title: str) -> bytes:
    out = BytesIO()
    facts = {"Title": title, "Creator": "busbook", "CreationDate": None}
    with PdfPages(out, metadata=facts) as pages:
        for page in sheets.pages:
            pages.savefig(page)
    return out.getvalue()


def lay_out_short(document: Document, drawer: Drawer, paper: str) -> Sheets:
    """The pages of the short form: as much of it as two pages hold, the rest counted."""
    forms = list(less_and_less(shortened(document)))
    fits = bisect_left(
        range(len(forms) - 1),
        True,
        key=lambda k: len(lay_out(forms[k], drawer, paper).pages) <= SHORT_PAGES,
    )
    return lay_out(forms[fits], drawer, paper)


def lay_out(document: Document, drawer: Drawer, paper: str) -> Sheets:
    """All pages of a document, drawn."""
    file = f" ({document.file})" if document.file else ""
    heading = f"{document.first.aircraft}. {document.first.flight}{file}"
    sheets = Sheets(paper, heading)
    _first_page(sheets, document.first, drawer)
    for section in document.sections:
        sheets.need(40.0 + _beginning(section.blocks, drawer, sheets))
        sheets.y += 8.0
        sheets.text(section.title, 13.0, bold=True, after=1.0)
        sheets.rule(sheets.y, style.BLACK, 1.2)
        sheets.y += 9.0
        _blocks(sheets, section.blocks, drawer)
    sheets.number_pages(document.footer)
    return sheets


def _beginning(blocks: Sequence[Block], drawer: Drawer, sheets: Sheets) -> float:
    """Room for the head of a section, pt: a paragraph stands with what it leads to."""
    room = 0.0
    for block in blocks:
        if not isinstance(block, Paragraph):
            return room + _least(block, drawer, sheets)
        room += len(wrapped(block.text, sheets.inner, _BODY)) * _BODY * LEADING + 6.0
    return room


def _least(block: Block, drawer: Drawer, sheets: Sheets) -> float:
    """How much of a block must stand below the title of its section."""
    if isinstance(block, FindingBlock):
        return 60.0 if block.figure is None else 60.0 + _height(block.figure, drawer, _half(sheets))
    if isinstance(block, FigureBlock) and not block.quiet:
        return _height(block, drawer, _half(sheets)) + 44.0
    return SetTable.of(sheets, block).beginning if isinstance(block, Table) else 40.0


def _half(sheets: Sheets) -> float:
    return (sheets.inner - _GAP) / 2


def _first_page(sheets: Sheets, first: FirstPage, drawer: Drawer) -> None:
    sheets.text(first.aircraft, 19.0, bold=True, after=0.0)
    sheets.text(first.flight, _BODY, colour=style.MUTED, after=8.0)
    told = [first.reason, *([first.answer] if first.answer else [])]
    reason = [line for text in told for line in wrapped(text, sheets.inner - 70.0, 11.0)]
    tall = 34.0 + 11.0 * LEADING * len(reason)
    sheets.box(sheets.left, sheets.y, sheets.inner, tall, style.WASH)
    sheets.box(sheets.left, sheets.y, 7.0, tall, LEVEL_EDGE[first.level])
    draw_sign(sheets, first.level, sheets.left + 20.0, sheets.y + 8.0, 30.0)
    sheets.put(first.word, sheets.left + 60.0, sheets.y + 8.0, 16.0, bold=True)
    for k, line in enumerate(reason):
        sheets.put(line, sheets.left + 60.0, sheets.y + 29.0 + k * 11.0 * LEADING, 11.0)
    sheets.y += tall + 10.0
    _numbers(sheets, first)
    checks = [line for c in first.checks for line in wrapped(c, sheets.inner - 12.0, _BODY)]
    if first.timeline is not None:
        # As tall as leaves room for the checks on the same page.
        below = 60.0 + len(checks) * (_BODY * LEADING + 1.0)
        tall = min(sheets.room - below, 0.95 * drawer.height(first.timeline))
        _figure(sheets, first.timeline, drawer, sheets.left, sheets.inner, tall)
    sheets.need(60.0)
    sheets.text("Before the next flight", 12.0, bold=True, after=2.0)
    for check in first.checks:
        sheets.text(check, _BODY, bullet=True, after=1.0)
    sheets.y += 6.0


def _numbers(sheets: Sheets, first: FirstPage) -> None:
    wide = sheets.inner / len(first.numbers)
    tall = 0.0
    for k, number in enumerate(first.numbers):
        x = sheets.left + k * wide
        sheets.put(number.label, x, sheets.y, 8.0, colour=style.MUTED)
        size = 14.0 if number.measured else 10.0
        sheets.put(number.value, x, sheets.y + 11.5, size, bold=number.measured)
        lines = wrapped(number.detail, wide - 8.0, 7.5)
        for n, line in enumerate(lines):
            sheets.put(line, x, sheets.y + 30.0 + n * 7.5 * LEADING, 7.5)
        tall = max(tall, 30.0 + len(lines) * 7.5 * LEADING)
    sheets.y += tall + 8.0
    for number in first.numbers:
        if number.line:
            sheets.text(f"{number.label}: {TO_KNOW} {number.line}", 8.0, colour=style.MUTED)


def draw_sign(sheets: Sheets, level: Level, x: float, top: float, size: float) -> None:
    """The shape of a level: octagon, triangle, diamond or ring, with a cross, bar or dash."""
    middle = (x + size / 2, top + size / 2)

    def around(corners: int, turn: float, radius: float) -> list[tuple[float, float]]:
        angles = [turn + 2 * math.pi * k / corners for k in range(corners)]
        return [
            (middle[0] + radius * math.cos(a), middle[1] + radius * math.sin(a)) for a in angles
        ]

    half = size / 2
    if level is Level.GROUND:
        sheets.polygon(around(8, math.pi / 8, half), _FILL[level])
        strokes = [[(-0.24, -0.24), (0.24, 0.24)], [(0.24, -0.24), (-0.24, 0.24)]]
    elif level is Level.WATCH:
        sheets.polygon(around(3, -math.pi / 2, half), _FILL[level])
        strokes = [[(0.0, -0.2), (0.0, 0.1)], [(0.0, 0.17), (0.0, 0.2)]]
    elif level is Level.UNKNOWN:
        sheets.polygon(around(4, 0.0, half), _FILL[level])
        strokes = [
            [(-0.12, -0.12), (-0.06, -0.2), (0.06, -0.2), (0.12, -0.12), (0.0, 0.02), (0.0, 0.1)],
            [(0.0, 0.17), (0.0, 0.2)],
        ]
    else:
        sheets.polygon(around(40, 0.0, half), _FILL[level])
        strokes = []
    for stroke in strokes:
        points = [(middle[0] + a * size, middle[1] + b * size) for a, b in stroke]
        sheets.polygon(points, style.BLACK, closed=False)


def _blocks(sheets: Sheets, blocks: Sequence[Block], drawer: Drawer) -> None:
    k = 0
    folded: list[Block] = []
    while k < len(blocks):
        block = blocks[k]
        if isinstance(block, FigureBlock) and block.quiet:
            folded.append(block)
            k += 1
            continue
        if isinstance(block, FigureBlock):
            shown = [b for b in _neighbours(blocks[k:]) if not b.quiet][:2]
            _side_by_side(sheets, shown, drawer)
            last = blocks.index(shown[-1], k)
            folded += [b for b in blocks[k:last] if b not in shown]
            k = last + 1
            continue
        _block(sheets, block, drawer)
        k += 1
    if folded:
        words = f"{folded_words(folded)} stand in the HTML report."
        sheets.text(words, 8.0, colour=style.MUTED, after=4.0)


def _neighbours(blocks: Sequence[Block]) -> Iterator[FigureBlock]:
    """The figures at the head of some blocks."""
    for block in blocks:
        if not isinstance(block, FigureBlock):
            return
        yield block


def _block(sheets: Sheets, block: Block, drawer: Drawer) -> None:
    if isinstance(block, Paragraph):
        sheets.text(block.text, _BODY, after=6.0)
    elif isinstance(block, Bullets):
        for item in block.items:
            sheets.text(item, _BODY, bullet=True, after=2.0)
        sheets.y += 4.0
    elif isinstance(block, FindingBlock):
        _finding(sheets, block, drawer)
    elif isinstance(block, Table):
        put_table(sheets, block)
    else:
        assert isinstance(block, Bars | FigureBlock)  # bars stand in the figure of the places


def _finding(sheets: Sheets, block: FindingBlock, drawer: Drawer) -> None:
    sheets.need(_least(block, drawer, sheets))
    title = wrapped(block.title, sheets.inner - 36.0, 11.0, bold=True)
    draw_sign(sheets, block.level, sheets.left, sheets.y + 2.0, 24.0)
    head = LEVEL_WORD[block.level]
    sheets.put(head, sheets.left + 36.0, sheets.y, _BODY, bold=True)
    beside = sheets.left + 36.0 + text_width(head, _BODY, bold=True) + 6.0
    sheets.put(block.where, beside, sheets.y, _BODY, colour=style.MUTED)
    sheets.y += _BODY * LEADING
    for line in title:
        sheets.put(line, sheets.left + 36.0, sheets.y, 11.0, bold=True)
        sheets.y += 11.0 * LEADING
    sheets.y += 4.0
    page, top = len(sheets.pages), sheets.y
    wide = sheets.inner if block.figure is None else _half(sheets)
    for name, value in block.facts:
        sheets.text(f"{name}: {value}", _SMALL, width=wide, after=0.5)
    sheets.y += 3.0
    if block.advice:
        sheets.text(f"Do: {block.advice}", _BODY, width=wide, after=4.0)
    for head, items in (
        (block.causes_head, block.explanations),
        ("What follows from it", block.beneath),
    ):
        sheets.need(3 * _BODY * LEADING if items else 0.0)  # no heading alone at a page's end
        for text in (f"{head}:", *(f"- {item}" for item in items)) if items else ():
            sheets.text(text, _BODY, width=wide, after=2.0)
    if block.confirm:
        sheets.text(f"How to tell: {block.confirm}", _BODY, width=wide, after=4.0)
    if block.figure is not None:
        left = sheets.left + _half(sheets) + _GAP
        end = sheets.y if len(sheets.pages) == page else top
        if len(sheets.pages) == page:
            sheets.y = top
        _figure(sheets, block.figure, drawer, left, _half(sheets), None)
        sheets.y = max(sheets.y, end)
    sheets.y += 10.0


def _side_by_side(sheets: Sheets, pair: Sequence[FigureBlock], drawer: Drawer) -> None:
    wide = _half(sheets)
    sheets.need(max(_height(b, drawer, wide) for b in pair) + 24.0)
    top, low = sheets.y, sheets.y
    left = sheets.left
    for block in pair:
        sheets.y = top
        if _figure(sheets, block, drawer, left, wide, None):
            left += wide + _GAP
            low = max(low, sheets.y)
    sheets.y = low


def _height(block: FigureBlock, drawer: Drawer, wide: float) -> float:
    """Height on paper, in the proportions of the screen."""
    return drawer.height(block) * max(_SCALE, wide / 390.0)


def _figure(
    sheets: Sheets,
    block: FigureBlock,
    drawer: Drawer,
    left: float,
    wide: float,
    tall: float | None,
) -> bool:
    """Draw a figure with its caption at ``sheets.y``; False where it cannot be drawn."""
    height = _height(block, drawer, wide) if tall is None else tall
    sheets.need(height + 20.0)
    part = sheets.part(left, sheets.y, wide, height)
    if not drawer.draw(part, block):
        part.set_visible(False)  # the oldest drawing library cannot take it away
        return False
    letter_by_letter(part)
    sheets.y += height + 2.0
    for line in wrapped(block.caption, wide, 8.0):
        sheets.put(line, left, sheets.y, 8.0, colour=style.MUTED)
        sheets.y += 8.0 * LEADING
    sheets.y += 6.0
    return True
