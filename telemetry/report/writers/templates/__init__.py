"""The templates of every page, with the style sheets and scripts that stand in it.

Nothing here draws: a page that only lists does without the drawing library.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from telemetry.report.document import Block, FigureBlock, Table
from telemetry.report.writers.policy import content_policy

_HERE = Path(__file__).parent
# In this order: each uses those before it.
_TIMELINE = ("traces", "picture", "looking", "tools", "gestures")
_PAPER = {"a4": "A4", "letter": "letter"}
# Cells longer than this may wrap; shorter ones stay on one line.
_LONG_CELL = 24


@dataclass(frozen=True, slots=True)
class _Group:
    """Neighbours in a section: figures, those of them that are folded away, or other blocks."""

    figures: bool
    blocks: tuple[Block, ...]
    folded: bool = False


def template(name: str) -> Template:
    """A template of the reports, by its file's name; what is put into it is escaped."""
    return _environment().get_template(name)


@cache
def template_text(name: str) -> str:
    """A file beside the templates as it is: a style sheet or script."""
    return (_HERE / name).read_text(encoding="utf-8")


@cache
def timeline_script() -> str:
    """Reads values off the timeline, zooms and moves it; without it everything is readable."""
    parts = "".join(template_text(f"timeline/{name}.js") for name in _TIMELINE)
    return f'(() => {{\n"use strict";\n{parts}}})();\n'


def style_of(paper: str) -> str:
    """The style of a sheet besides the reports' own, for "a4" or "letter"."""
    return f"{template_text('sheet.css')}@page {{ size: {_PAPER[paper]}; margin: 12mm 14mm; }}"


def policy(*styles: str) -> str:
    """Value of ``Content-Security-Policy`` for every page that is saved.

    Parameters
    ----------
    *styles : str
        Style elements of the page besides the reports' own.
    """
    return content_policy((template_text("report.css"), *styles), (timeline_script(),))


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["kind"] = lambda block: type(block).__name__
    environment.filters["grouped"] = _grouped
    environment.filters["classes"] = _classes
    return environment


def _grouped(blocks: Sequence[Block]) -> list[_Group]:
    """Neighbouring figures together, so that they can stand side by side."""
    groups: list[_Group] = []
    for figures, members in groupby(blocks, key=lambda b: isinstance(b, FigureBlock)):
        parts: dict[bool, list[Block]] = {False: [], True: []}
        for block in members:
            parts[isinstance(block, FigureBlock) and block.quiet].append(block)
        groups += [_Group(figures, tuple(b), folded) for folded, b in parts.items() if b]
    return groups


def _classes(table: Table) -> list[str]:
    """How each column is set: flush right, or with room to wrap."""
    return [
        "right"
        if column.right
        else "long"
        if any(len(row[k].text) > _LONG_CELL for row in table.rows)
        else ""
        for k, column in enumerate(table.columns)
    ]
