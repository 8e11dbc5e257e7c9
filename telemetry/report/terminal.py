"""The report on a screen of plain characters: no colour, no wider than asked for."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

from telemetry.channels import Quantity
from telemetry.figures.names import plain
from telemetry.readings import take_readings
from telemetry.report.build import document_of
from telemetry.report.document import (
    Bars,
    Block,
    Bullets,
    Document,
    FigureBlock,
    FindingBlock,
    FirstPage,
    Paragraph,
    Section,
    Table,
)
from telemetry.report.words import LEVEL_SIGN, LEVEL_WORD, counted
from telemetry.results import Review

# The long lists are for the HTML report and the JSON.
_LEFT_OUT = {"limits", "method"}
_MOST_ROWS = 20
_NARROWEST = 6


def render(review: Review, width: int = 80) -> str:
    """The review of one log as text.

    Parameters
    ----------
    review : Review
    width : int
        Columns of the screen; at least 60.

    Returns
    -------
    str
        Lines of at most ``width`` columns, ending with the next useful command (which is never
        cut, however long the file's name is).
    """
    width = max(60, width)
    document = document_of(review, take_readings(review.log, review.limits))
    lines = _first(document.first, document.file, width)
    for section in document.sections:
        if section.anchor not in _LEFT_OUT:
            lines += _section(section, width)
    lines += ["", *_next(review, document, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def columns_of(text: str) -> int:
    """How many columns of a screen a text takes: wide characters take two, marks none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _cut(text: str, width: int) -> str:
    if columns_of(text) <= width:
        return text
    kept = ""
    for c in text:
        if columns_of(kept + c) > width - 2:
            break
        kept += c
    return kept + ".."


def _pad(text: str, width: int, right: bool = False) -> str:
    text = _cut(text, width)
    blank = " " * (width - columns_of(text))
    return blank + text if right else text + blank


def _wrap(text: str, width: int, first: str = "", then: str | None = None) -> list[str]:
    then = " " * len(first) if then is None else then
    lines = textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )
    return [_cut(line, width) for line in lines]


def _first(page: FirstPage, file: str, width: int) -> list[str]:
    lines = [
        "=" * width,
        *_wrap(page.aircraft, width),
        *_wrap(page.flight + ".", width),
        *_wrap(f"File: {file}", width),
        "=" * width,
        *_wrap(f"{LEVEL_SIGN[page.level]} {page.word.upper()}", width),
        *_wrap(page.reason, width, "    "),
        "",
    ]
    label = max(len(n.label) for n in page.numbers)
    for number in page.numbers:
        head = f"{number.label:<{label}}  {number.value:>12}  "
        lines += _wrap(number.detail, width, head) or [head]
    lines += ["", "Before the next flight"]
    for check in page.checks:
        lines += _wrap(check, width, "  - ")
    return lines


def _section(section: Section, width: int) -> list[str]:
    head = f"-- {section.title} "
    lines = ["", head + "-" * (width - len(head))]
    for block in section.blocks:
        lines += _block(block, width)
    return lines


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Paragraph):
        return _wrap(block.text, width)
    if isinstance(block, Bullets):
        return [line for item in block.items for line in _wrap(item, width, "- ")]
    if isinstance(block, FindingBlock):
        return _finding(block, width)
    if isinstance(block, Bars):
        return _bars(block, width)
    if isinstance(block, FigureBlock):
        return []
    return _table(block, width) if block.brief else []


def _finding(block: FindingBlock, width: int) -> list[str]:
    sign = LEVEL_SIGN[block.level]
    lines = ["", *_wrap(f"{LEVEL_WORD[block.level].upper()}: {block.title}", width, f"{sign} ")]
    if block.where:
        lines += _wrap(block.where, width, "    ")
    if block.facts:
        lines += _wrap("; ".join(f"{k} {v}" for k, v in block.facts), width, "    ")
    for head, text in (
        ("Or: ", " ".join(block.explanations)),
        ("Tell apart: ", block.confirm),
        ("Do: ", block.advice),
    ):
        if text:
            lines += _wrap(text, width, f"    {head}", "      ")
    return lines


def _bars(block: Bars, width: int) -> list[str]:
    if not block.bars:
        return []
    label = min(max(columns_of(b.label) for b in block.bars), width // 3)
    value = min(max(columns_of(b.value) for b in block.bars), width // 4)
    room = width - label - value - 6
    lines = ["", block.caption]
    for bar in block.bars:
        share = 0.0 if bar.share is None else min(1.0, bar.share)
        drawn = "#" * max(round(share * room), 1 if share > 0 else 0)
        lines.append(
            f"  {_pad(bar.label, label)} |{_pad(drawn, room)} {_pad(bar.value, value, True)}"
        )
    return lines


def _table(table: Table, width: int) -> list[str]:
    whole = [[c.text for c in row] for row in table.rows]
    shown = list(range(len(table.columns)))
    sizes = _sizes(table, whole, shown)
    if sum(sizes) + 2 * (len(sizes) - 1) > width:
        shown = [k for k in shown if table.columns[k].brief]
        sizes = _sizes(table, whole, shown)
    sizes = _squeezed(sizes, width)
    rows = whole[:_MOST_ROWS]

    def line(texts: Sequence[str]) -> str:
        parts = (
            _pad(texts[k], size, table.columns[k].right)
            for k, size in zip(shown, sizes, strict=True)
        )
        return "  ".join(parts)

    head = line([c.title for c in table.columns])
    lines = ["", *_wrap(table.caption, width), head, "  ".join("-" * s for s in sizes)]
    lines += [line(row) for row in rows]
    if len(rows) < len(whole):
        lines.append(f"... {len(whole) - len(rows)} more rows in the HTML report")
    return lines + _wrap(table.note, width) if table.note else lines


def _sizes(table: Table, rows: Iterable[Sequence[str]], shown: Sequence[int]) -> list[int]:
    listed = [[c.title for c in table.columns], *rows]
    return [max(columns_of(row[k]) for row in listed) for k in shown]


def _squeezed(sizes: list[int], width: int) -> list[int]:
    """Take columns from the widest until the row fits."""
    sizes = list(sizes)
    while sum(sizes) + 2 * (len(sizes) - 1) > width and max(sizes) > _NARROWEST:
        sizes[sizes.index(max(sizes))] -= 1
    return sizes


def _next(review: Review, document: Document, width: int) -> list[str]:
    name = document.file
    if not re.fullmatch(r"[\w./\\:-]+", name):
        name = '"' + name.replace('"', "?") + '"'
    unread = [c for c in review.columns if c.quantity == Quantity.UNKNOWN.value]
    if unread:
        why = f"{counted(len(unread), 'column')} not understood. See how each was read:"
        command = f"busbook columns {name}"
    else:
        why = "The same with figures, to show or to print:"
        command = f"busbook review {name} --out reports"
    return [
        *_wrap(f"Next. {why}", width),
        f"    {plain(command)}",
        "",
        *_wrap(document.footer, width),
    ]
