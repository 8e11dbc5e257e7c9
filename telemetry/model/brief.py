"""A record in a few lines: for the Python prompt, and as a small table for a notebook.

Text from a file is made harmless: it can neither move a cursor nor turn into markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

Facts = Sequence[tuple[str, str]]

# Longest text of one fact; a name from a file may be of any length.
_LONGEST = 110
_MOST_NAMES = 8


def as_text(title: str, facts: Facts) -> str:
    """The title, and one line for each fact (name, text), the names in a column."""
    wide = max((len(name) for name, _ in facts), default=0)
    lines = [f"  {name:<{wide}}  {_harmless(text)}" for name, text in facts]
    return "\n".join([_harmless(title), *lines])


def as_html(title: str, facts: Facts) -> str:
    """The same as a table of HTML; everything in it is escaped."""
    rows = "".join(
        f'<tr><th scope="row">{_marked_up(name)}</th><td>{_marked_up(text)}</td></tr>'
        for name, text in facts
    )
    return f"<table><caption>{_marked_up(title)}</caption><tbody>{rows}</tbody></table>"


def some(names: Iterable[str]) -> str:
    """Names with commas, the first eight of them; "none" where there are none."""
    every = list(names)
    more = [f"{len(every) - _MOST_NAMES} more"] if len(every) > _MOST_NAMES else []
    return ", ".join([*every[:_MOST_NAMES], *more]) or "none"


def _marked_up(text: str) -> str:
    return escape(_harmless(text))


def _harmless(text: str) -> str:
    """On one line, without control and direction-changing characters, and not too long."""
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return shown if len(shown) <= _LONGEST else shown[: _LONGEST - 3] + "..."
