"""The report on a screen of plain characters: no colour, no wider than asked for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from telemetry.model.text import plain
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
from telemetry.report.documents.index import (
    IndexEntry,
    answers,
    common_findings,
    levels_counted,
    worst_first,
)
from telemetry.report.parts.method import BEFORE_BENCH, cautions_section
from telemetry.report.words import LEVEL_SIGN, LEVEL_WORD, TO_KNOW, answer_told, counted
from telemetry.report.writers.screen import columns_of, cut_left, pad, wrap
from telemetry.results import Level

# The long lists are for the HTML report and the JSON.
_LEFT_OUT = {"limits", "method"}
_MOST_ROWS = 20
_NARROWEST = 6
# Findings of several logs that are told in full.
_MOST_FINDINGS = 5
_BENEATH = "What follows from it"
_WORDS = max(len(word) for word in LEVEL_WORD.values())


def render_index(entries: Sequence[IndexEntry], next_step: tuple[str, str], width: int = 80) -> str:
    """Several reviews as text: a table of the logs, the worst first, and the worst findings."""
    width = max(60, width)
    lines = ["=" * width, *wrap(f"{levels_counted(entries)}.", width), "=" * width]
    for answer in answers(entries):
        lines += wrap(answer_told(answer), width, f"{LEVEL_SIGN[answer.level]} ")
    lines += [""] if len(lines) > 3 else []
    for entry in worst_first(entries):
        first = entry.first
        low = first.numbers[0].value if first.numbers[0].measured else "no voltage"
        head = f"{LEVEL_SIGN[entry.level]} {LEVEL_WORD[entry.level].upper():<{_WORDS}}  "
        room = width - columns_of(head) - 12
        lines.append(f"{head}{pad(cut_left(entry.file, room), room)}  {low:>10}")
        if entry.level is not Level.CLEAR:
            lines += wrap(entry.reason, width, "      ")
    lines += [*_worst_findings(entries, width), *_section(cautions_section(), width)]
    why, command = next_step
    return "\n".join((*lines, "", *wrap(f"Next. {why}", width), f"    {plain(command)}")) + "\n"


def _worst_findings(entries: Sequence[IndexEntry], width: int) -> list[str]:
    """The worst findings of several logs in full, each once with the logs that have it."""
    found = common_findings(entries)
    if not found:
        return []
    head = "-- The worst findings "
    lines = ["", head + "-" * (width - len(head)), *wrap(BEFORE_BENCH, width)]
    for one in found[:_MOST_FINDINGS]:
        lines += _finding(one.block, width)
        others = f" and {counted(len(one.files) - 1, 'other log')}" if len(one.files) > 1 else ""
        lines += wrap(f"Seen in {one.files[0]}{others}.", width, "    ", "      ")
    left = len(found) - _MOST_FINDINGS
    if left > 0:
        lines += ["", *wrap(f"{counted(left, 'more finding')}: review a log by itself.", width)]
    return lines


def text_of(document: Document, width: int = 80) -> str:
    """A document as text.

    Parameters
    ----------
    document : Document
    width : int
        Columns of the screen; at least 60.

    Returns
    -------
    str
        Lines of at most ``width`` columns, ending with the next useful command (which is never
        cut, however long the file's name is).
    """
    width = max(60, width)
    lines = _first(document.first, document.file, width)
    for section in document.sections:
        if section.anchor not in _LEFT_OUT:
            lines += _section(section, width)
    why, command = document.next_step
    lines += ["", *wrap(f"Next. {why}", width), f"    {command}", ""]
    lines += wrap(document.footer, width)
    return "\n".join(plain(line.rstrip()) for line in lines) + "\n"


def _first(page: FirstPage, file: str, width: int) -> list[str]:
    lines = [
        "=" * width,
        *wrap(page.aircraft, width),
        *wrap(page.flight + ".", width),
        *(wrap(f"File: {file}", width) if file else ()),
        "=" * width,
        *wrap(f"{LEVEL_SIGN[page.level]} {page.word.upper()}", width),
        *wrap(page.reason, width, "    "),
        *(wrap(page.answer, width, "    ") if page.answer else ()),
        "",
    ]
    label = max(len(n.label) for n in page.numbers)
    for number in page.numbers:
        head = f"{number.label:<{label}}  {number.value:>12}  "
        lines += wrap(number.detail, width, head) or [head]
    lines += ["", "Before the next flight"]
    for check in page.checks:
        lines += wrap(check, width, "  - ")
    for number in page.numbers:
        if number.line:
            lines += ["", *wrap(f"{number.label}: {TO_KNOW}", width), f"    {number.line}"]
    return lines


def _section(section: Section, width: int) -> list[str]:
    """A part of the report; nothing where it is all figures."""
    head = f"-- {section.title} "
    lines = [line for block in section.blocks for line in _block(block, width)]
    return ["", head + "-" * (width - len(head)), *lines] if lines else []


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Paragraph):
        return wrap(block.text, width)
    if isinstance(block, Bullets):
        return [line for item in block.items for line in wrap(item, width, "- ")]
    if isinstance(block, FindingBlock):
        return _finding(block, width)
    if isinstance(block, Bars):
        return _bars(block, width)
    if isinstance(block, FigureBlock):
        return []
    return table_lines(block, width) if block.brief else []


def _finding(block: FindingBlock, width: int) -> list[str]:
    sign = LEVEL_SIGN[block.level]
    lines = ["", *wrap(f"{LEVEL_WORD[block.level].upper()}: {block.title}", width, f"{sign} ")]
    if block.where:
        lines += wrap(block.where, width, "    ")
    if block.figure is not None and block.figure.text:
        lines += wrap(block.figure.text, width, "    ", "      ")
    if block.facts:
        lines += wrap("; ".join(f"{k} {v}" for k, v in block.facts), width, "    ")
    for head, items in ((block.causes_head, block.explanations), (_BENEATH, block.beneath)):
        lines += wrap(f"{head}:", width, "    ") if items else []
        for item in items:
            lines += wrap(item, width, "      - ", "        ")
    for head, text in (
        ("How to tell: ", block.confirm),
        ("Do: ", block.advice),
    ):
        if text:
            lines += wrap(text, width, f"    {head}", "      ")
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
        lines.append(f"  {pad(bar.label, label)} |{pad(drawn, room)} {pad(bar.value, value, True)}")
    return lines


def table_lines(table: Table, width: int) -> list[str]:
    """A table as lines: columns that are not brief leave first, then the widest give way."""
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
            pad(texts[k], size, table.columns[k].right)
            for k, size in zip(shown, sizes, strict=True)
        )
        return "  ".join(parts)

    head = line([c.title for c in table.columns])
    lines = ["", *wrap(table.caption, width), head, "  ".join("-" * s for s in sizes)]
    lines += [line(row) for row in rows]
    if len(rows) < len(whole):
        lines.append(f"... {len(whole) - len(rows)} more rows in the HTML report")
    note = table.notes_of(shown)
    return lines + wrap(note, width) if note else lines


def _sizes(table: Table, rows: Iterable[Sequence[str]], shown: Sequence[int]) -> list[int]:
    listed = [[c.title for c in table.columns], *rows]
    return [max(columns_of(row[k]) for row in listed) for k in shown]


def _squeezed(sizes: list[int], width: int) -> list[int]:
    """Take columns from the widest until the row fits."""
    sizes = list(sizes)
    while sum(sizes) + 2 * (len(sizes) - 1) > width and max(sizes) > _NARROWEST:
        sizes[sizes.index(max(sizes))] -= 1
    return sizes
