"""Text on a screen of plain characters: its width in columns, cut, padded and wrapped."""

from __future__ import annotations

import textwrap
import unicodedata


def columns_of(text: str) -> int:
    """How many columns of a screen a text takes: wide characters take two, marks none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def cut(text: str, width: int) -> str:
    """A text of at most so many columns of a screen, with two full stops where it was cut."""
    if columns_of(text) <= width:
        return text
    kept = ""
    for c in text:
        if columns_of(kept + c) > width - 2:
            break
        kept += c
    return kept + ".."


def cut_left(text: str, width: int) -> str:
    """As :func:`cut`, but the end is kept: of a path, the name of the file."""
    if columns_of(text) <= width:
        return text
    while columns_of(text) > width - 2:
        text = text[1:]
    return ".." + text


def pad(text: str, width: int, right: bool = False) -> str:
    """A text of exactly so many columns of a screen."""
    text = cut(text, width)
    blank = " " * (width - columns_of(text))
    return blank + text if right else text + blank


def wrap(text: str, width: int, first: str = "", then: str | None = None) -> list[str]:
    """Lines of at most so many columns; ``first`` and ``then`` stand before them."""
    then = " " * len(first) if then is None else then
    lines = textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )
    return [cut(line, width) for line in lines]
