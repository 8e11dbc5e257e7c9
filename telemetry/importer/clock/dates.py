"""A date in free text: a preamble line, a file's name."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import pyarrow as pa

from telemetry.importer.clock.stamps import days, parse_stamps, seconds
from telemetry.importer.clock.wallclock import day_order, moment
from telemetry.importer.names.words import Role, fold, meanings

_STAMP = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}"
    r"(?:[T _]\d{1,2}:\d{2}(?::\d{2})?(?:[.,]\d+)?(?:Z|[+-]\d\d:?\d\d)?)?"
    r"|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}(?:,? \d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?)?"
    r"|\d{1,2}\.? ?[^\W\d_]{3,10}\.? ?\d{4}(?:,? \d{1,2}:\d{2}(?::\d{2})?)?"
    r"|(?<!\d)20\d{6}(?:[T_-]?\d{6})?(?!\d)"
)
_CLOCK = re.compile(r"(?<![\d:.])\d{1,2}:\d{2}(?::\d{2})?(?:[.,]\d+)?(?: ?[AaPp][Mm])?(?![\d:])")


@dataclass(frozen=True, slots=True)
class Dated:
    """A date found in a text.

    Attributes
    ----------
    moment : datetime
    has_time : bool
        False where only the day is known.
    why : str
        How day and month were told apart, "" where there was nothing to tell.
    """

    moment: datetime
    has_time: bool
    why: str = ""


def find_date(text: str, *, european: bool = False) -> Dated | None:
    """The first date in a text, None where there is none or its day and month are open.

    Parameters
    ----------
    text : str
    european : bool
        True where the day is known to stand before the month.
    """
    for match in _STAMP.finditer(text):
        piece = match.group().replace("_", " ").strip()
        compact = re.fullmatch(r"(\d{8})[T -]?(\d{6})?", piece)
        if compact:
            piece = compact.group(1) + (f"T{compact.group(2)}" if compact.group(2) else "")
        stamps = parse_stamps(pa.chunked_array([[piece]]))
        if stamps.bad[0] or not stamps.has_date:
            continue
        dotted = "." in piece[:6]
        order, why = day_order(stamps, forced="", european=european)
        if not order:
            continue
        day = float(days(stamps, order)[0])
        second = float(seconds(stamps, minutes_first=False)[0])
        has_time = math.isfinite(second)
        found = moment(day, second if has_time else 0.0, float(stamps.zone_s[0]))
        if found is not None:
            return Dated(found, has_time, "" if dotted or not why else f"'{piece}' is read {why}")
    return None


def _clock_of(text: str) -> timedelta | None:
    match = _CLOCK.search(text)
    if match is None:
        return None
    stamps = parse_stamps(pa.chunked_array([[match.group()]]))
    second = float(seconds(stamps, minutes_first=False)[0])
    return timedelta(seconds=second) if math.isfinite(second) else None


def preamble_date(
    preamble: Iterable[tuple[str, str]], *, european: bool
) -> tuple[Dated, str] | None:
    """The date that the lines before the header tell, and which line it was.

    Parameters
    ----------
    preamble : iterable of (key, value)
    european : bool

    Returns
    -------
    (Dated, str) or None
        Lines whose key speaks of time or a start go before others; a time of day in a line of
        its own is joined to the day.
    """
    lines = [(key, value, f"{key} {value}".strip()) for key, value in preamble]
    lines.sort(key=lambda line: not _speaks_of_time(line[0]))
    for key, value, whole in lines:
        dated = find_date(value, european=european) or find_date(whole, european=european)
        if dated is None:
            continue
        source = f"preamble line '{key or whole[:30]}'"
        if dated.has_time:
            return dated, source
        for other, value2, _ in lines:
            clock = _clock_of(value2)
            if clock is not None and _speaks_of_time(other):
                both = replace(dated, moment=dated.moment + clock, has_time=True)
                return both, f"preamble lines '{key}' and '{other}'"
        return dated, source
    return None


def _speaks_of_time(key: str) -> bool:
    words = re.findall(r"[^\W\d_]+", key)
    starts = ("start", "begin", "debut", "inicio", "inizio", "zacatek", "aufnahme", "record")
    return any(
        any(m.role is Role.TIME for m in meanings(w)) or fold(w).startswith(starts) for w in words
    )
