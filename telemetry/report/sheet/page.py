"""The sheet as HTML, which prints on one page, and as text for a screen."""

from __future__ import annotations

from markupsafe import Markup

from telemetry.model.text import plain
from telemetry.report.sheet.content import FieldSheet, SheetList, inspector_lists, left_words
from telemetry.report.words import LEVEL_SIGN
from telemetry.report.writers.around import Around
from telemetry.report.writers.screen import wrap
from telemetry.report.writers.templates import policy, style_of, template, template_text

_WIDTH = 80


def render(sheet: FieldSheet, paper: str = "a4", *, around: Around | None = None) -> str:
    """The sheet as a page that fetches nothing, with what one sheet of that paper holds.

    The same sheet gives the same text. ``around`` is what a server has around it, which sends the
    policy along; a saved page carries its own.
    """
    from telemetry.report.sheet.printed import fitted  # draws, and takes a second to load

    shown = fitted(sheet, paper)
    return template("sheet.html.j2").render(
        sheet=shown,
        inspector=inspector_lists(shown),
        left_words=left_words,
        policy=None if around else policy(style_of(paper)),
        figures={},
        around=around,
        css=Markup(template_text("report.css")),
        page_css=Markup(template_text("page/page.css")),
        sheet_css=Markup(style_of(paper)),
    )


def text_of(sheet: FieldSheet) -> str:
    """The sheet for a screen of plain characters, 80 columns wide; nothing of it is left out."""
    lines = [
        "=" * _WIDTH,
        *wrap(sheet.aircraft, _WIDTH),
        *wrap(f"{sheet.held}.", _WIDTH),
        "=" * _WIDTH,
        *(line for words in sheet.cautions for line in wrap(words, _WIDTH, "- ")),
        "",
        *wrap(f"{LEVEL_SIGN[sheet.level]} {sheet.word.upper()}", _WIDTH),
        *wrap(f"{sheet.reason} {sheet.since}", _WIDTH, "    "),
    ]
    lines += _listed("Open findings", sheet.findings, "finding", sheet.more, "- ")
    if not sheet.findings.items:
        lines.append("None. That is no proof that nothing is wrong.")
    lines += _listed("Bench checks", sheet.checks, "check", sheet.more, "[ ] ")
    lines += ["", "Date ____________  Name ____________________  Signature ____________________"]
    for title, part, noun in inspector_lists(sheet):
        lines += _listed(title, part, noun, sheet.more, "- ")
    lines += ["", *wrap(f"{sheet.footer}. Advice from logs; no proof of airworthiness.", _WIDTH)]
    return "\n".join(plain(line.rstrip()) for line in lines) + "\n"


def _listed(title: str, part: SheetList, noun: str, more: str, mark: str) -> list[str]:
    head = f"-- {title} "
    lines = ["", head + "-" * (_WIDTH - len(head))]
    lines += [line for words in part.items for line in wrap(words, _WIDTH, mark)]
    return [*lines, *wrap(left_words(part, noun, more), _WIDTH)] if part.left_out else lines
