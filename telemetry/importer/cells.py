"""One cell of a table: is it a number, a time, a unit, nothing, or a word?

Every later stage asks these questions of single cells; the answers are kept here so that the
dialect, the header and the values agree about them.
"""

from __future__ import annotations

import math
import re
from enum import Enum
from functools import lru_cache

from telemetry.importer.clock.grammar import stamp_shape

# What loggers print where they have no value. Matched without case and surrounding blanks.
NO_VALUE = frozenset(
    {
        "",
        *("-" * n for n in range(1, 6)),
        "--.-",
        "--.--",
        "-.-",
        "-.--",
        "--,-",
        "--,--",
        "---.-",
        "---,-",
        "nan",
        "-nan",
        "nan(ind)",
        "-nan(ind)",
        "n/a",
        "na",
        "n.a.",
        "#n/a",
        "#nv",
        "null",
        "nil",
        "none",
        "(null)",
        "<null>",
        "k.a.",
        "n.v.",
        "s/o",
        "n.d.",
        "nd",
        "?",
        "??",
        "???",
        "*",
        "**",
        "***",
        "****",
        "\u2013",
        "\u2014",
        "inf",
        "-inf",
        "+inf",
        "infinity",
        "-infinity",
    }
)

_SPACES = " \u00a0\u202f\u2009"
_MARKS = f"{_SPACES}'\u2019_"

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_GROUPED_DOT = re.compile(rf"[+-]?\d{{1,3}}(?:[,{_MARKS}]\d{{3}})+(?:\.\d*)?")
_GROUPED_COMMA = re.compile(rf"[+-]?\d{{1,3}}(?:[.{_MARKS}]\d{{3}})+(?:,\d*)?")
_WITH_UNIT = re.compile(
    r"([+-]?[\d.,'\u2019\u00a0\u202f]*\d[\d.,]*(?:[eE][+-]?\d+)?)\s?([^\d\s.,;:+\-][^\d;|]{0,7})"
)


class CellKind(Enum):
    """What a single cell holds."""

    BLANK = "blank"
    NUMBER = "number"
    TIME = "time"
    MEASURE = "number with its unit"
    WORD = "word"


def is_blank(cell: str) -> bool:
    """True where a cell says that there is no value."""
    return not cell or cell.strip().strip('"').strip().casefold() in NO_VALUE


@lru_cache(maxsize=65536)
def kind(cell: str) -> CellKind:
    """What a cell holds, whatever the decimal mark.

    Parameters
    ----------
    cell : str
        Text of the cell, quotes already removed.

    Returns
    -------
    CellKind
    """
    text = cell.strip()
    if _NUMBER.fullmatch(text):
        return CellKind.NUMBER
    if text.casefold() in NO_VALUE:
        return CellKind.BLANK
    if not any(ch.isdigit() for ch in text):
        return CellKind.WORD
    if _GROUPED_DOT.fullmatch(text) or _GROUPED_COMMA.fullmatch(text):
        return CellKind.NUMBER
    if text[0] == "\u2212" and kind("-" + text[1:]) is CellKind.NUMBER:
        return CellKind.NUMBER
    if stamp_shape(text) is not None:
        return CellKind.TIME
    if split_measure(text) is not None:
        return CellKind.MEASURE
    return CellKind.WORD


def split_measure(cell: str) -> tuple[str, str] | None:
    """Split "8.25 V" into ("8.25", "V"); None where the cell is no number with a unit behind it.

    Whether the tail is a unit of the table is for the caller to judge.
    """
    found = _WITH_UNIT.fullmatch(cell.strip())
    if found is None:
        return None
    return found.group(1).strip(), found.group(2).strip()


def to_number(cell: str, decimal: str = ".", thousands: str = "") -> float:
    """The number a cell holds.

    Parameters
    ----------
    cell : str
    decimal : str
        Decimal mark, "." or ",".
    thousands : str
        Mark between groups of three digits, "" for none.

    Returns
    -------
    float
        NaN where the cell is blank or no finite number.
    """
    text = cell.strip().replace("\u2212", "-")
    if thousands:
        for mark in _SPACES if thousands == " " else thousands:
            text = text.replace(mark, "")
    if decimal == ",":
        if "." in text:
            return math.nan
        text = text.replace(",", ".")
    if _PLAIN.fullmatch(text) is None:
        return math.nan
    value = float(text)
    return value if math.isfinite(value) else math.nan


@lru_cache(maxsize=65536)
def number_marks(cell: str) -> tuple[str, str] | None:
    """Decimal and thousands mark that a number cell shows beyond doubt, or None.

    Returns
    -------
    (decimal, thousands) or None
        Either may be "" where the cell does not show it. "1,234" shows nothing: it may be one
        and a bit, or more than a thousand.
    """
    text = cell.strip().lstrip("+-\u2212").split("e")[0].split("E")[0]
    dots, commas = text.count("."), text.count(",")
    if text.isdigit():
        return None
    mark = next((m for m in _MARKS if m in text), "")
    grouped = " " if mark and mark in _SPACES else mark
    if dots and commas:
        return (",", ".") if text.rfind(",") > text.rfind(".") else (".", ",")
    if dots > 1:
        return ("", ".")
    if commas > 1:
        return ("", ",")
    if dots == 1:
        return None if _three_behind(text, ".") else (".", grouped)
    if commas == 1:
        return None if _three_behind(text, ",") else (",", grouped)
    return ("", grouped) if grouped else None


def _three_behind(text: str, mark: str) -> bool:
    """True for "1,234" and "12.345": one to three digits, the mark, exactly three digits."""
    head, _, tail = text.partition(mark)
    return len(tail) == 3 and 1 <= len(head) <= 3 and head[0] != "0" and tail.isdigit()
