"""When a flight was: date in the log, else in the file's name, else given, else unknown.

Clocks are compared as printed, without their zone: one aircraft's logs come from one clock.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from telemetry.model.errors import UnknownSetting

#: Where the start of a flight was taken from, in the order of trust.
IN_LOG, IN_NAME, GIVEN, ADDED = "log", "file name", "given", "order of adding"

# A clock that was never set starts in 1970, 1980 or 2000 (common practice, no source).
_FIRST_YEAR, _LAST_YEAR = 2001, 2100

_YEAR_FIRST = re.compile(
    r"(?<!\d)(?P<y>\d{4})(?P<s>[-_. ]?)(?P<m>\d\d)(?P=s)(?P<d>\d\d)"
    r"(?:[T_ -]*(?P<H>\d\d)[-_.:h ]?(?P<M>\d\d)(?:[-_.:m ]?(?P<S>\d\d))?)?(?!\d)"
)
_YEAR_LAST = re.compile(r"(?<!\d)(\d{1,2})([-_. ])(\d{1,2})\2(\d{4})(?!\d)")


def date_in_name(name: str) -> str | None:
    """The date, and time where there is one, in a file's name; None where there is none for sure.

    Year first in any of the usual forms, or day.month.year with full stops. Where day and month
    could be either way round (03-04-2026) nothing is guessed.
    """
    for found in _YEAR_FIRST.finditer(name):
        y, m, d = (int(found[k]) for k in "ymd")
        day = _day(y, m, d)
        if day is None:
            continue
        if found["H"] is None:
            return day.isoformat()
        hour, minute, second = (int(found[k] or 0) for k in "HMS")
        if hour < 24 and minute < 60 and second < 60:
            return datetime(y, m, d, hour, minute, second).isoformat()
        return day.isoformat()
    for found in _YEAR_LAST.finditer(name):
        first, mark, second, y = int(found[1]), found[2], int(found[3]), int(found[4])
        either = {_day(y, second, first), _day(y, first, second)} - {None}
        day = _day(y, second, first) if mark == "." else next(iter(either), None)
        if day is not None and (mark == "." or len(either) == 1):
            return day.isoformat()
    return None


def _day(y: int, m: int, d: int) -> date | None:
    if not _FIRST_YEAR <= y <= _LAST_YEAR:
        return None
    try:
        return date(y, m, d)
    except ValueError:
        return None


def checked_date(text: str) -> str:
    """A date or date and time given by the user, as ISO 8601.

    Raises
    ------
    UnknownSetting
        If it is neither.
    """
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise UnknownSetting(
            f"'{text}' is no date", hint="write it as 2026-05-14 or 2026-05-14T10:30"
        ) from error
    return when.date().isoformat() if len(text.strip()) <= 10 else when.isoformat()


def refuse_future(when: str, known: str = "") -> None:
    """Refuse a day later than today and than ``known``, a day that has been; both ISO 8601.

    Raises
    ------
    UnknownSetting
        If it is still to come.
    """
    today = date.today().isoformat()
    if when[:10] > max(today, known[:10]):
        raise UnknownSetting(
            f"{when[:10]} is later than today, {today}",
            hint="a note tells what was done: give the day on which it was",
        )


def start_of(log_start: str | None, file: str, on: str | None) -> tuple[str | None, str]:
    """Start of a recording as ISO 8601, or None, and where it was taken from.

    A date in the log from before 2001 is a clock that was never set, and counts as none.
    """
    if log_start is not None and sortable(log_start) >= f"{_FIRST_YEAR}":
        return log_start, IN_LOG
    named = date_in_name(file)
    if named is not None:
        return named, IN_NAME
    if on is not None:
        return checked_date(on), GIVEN
    return None, ADDED


def shifted(start: str | None, offset_s: float) -> str | None:
    """A start so many seconds later; a bare date stays what it is."""
    if start is None or offset_s == 0 or len(start) <= 10:
        return start
    return (datetime.fromisoformat(start) + timedelta(seconds=offset_s)).isoformat()


def sortable(when: str) -> str:
    """A date as text that sorts by time: a bare date stands for the beginning of its day."""
    return datetime.fromisoformat(when).replace(tzinfo=None).isoformat(timespec="microseconds")
