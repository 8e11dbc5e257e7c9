"""Names from a file, made fit to be shown."""

from __future__ import annotations

import unicodedata


def plain(text: str) -> str:
    """Text from a file with control and direction-changing characters replaced, on one line.

    A column name must not be able to move the cursor, change colours or reverse what is read.
    """
    return "".join("?" if unicodedata.category(c) in ("Cc", "Cf", "Cs") else c for c in text)


def short(text: str, most: int = 20) -> str:
    """The plain text, cut where it is too long to stand in a figure."""
    text = plain(text)
    return text if len(text) <= most else text[: most - 2] + ".."
