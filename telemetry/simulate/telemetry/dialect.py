"""Generic CSV dialects of our own invention: what a file looks like."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.simulate.telemetry.words import LANGUAGES


class TimeForm(StrEnum):
    """How a row's time is written."""

    SECONDS = "seconds"
    MILLISECONDS = "milliseconds"
    MICROSECONDS = "microseconds"
    CLOCK = "hh:mm:ss.fff since start"
    MINUTES = "mm:ss.f since start"
    TIME_OF_DAY = "hh:mm:ss.fff of the day"
    ISO = "ISO 8601"
    ISO_ZONE = "ISO 8601 with zone"
    DATE_AND_TIME = "date and time in two columns"
    EPOCH_S = "epoch s"
    EPOCH_MS = "epoch ms"


class UnitStyle(StrEnum):
    """Where the unit stands."""

    BRACKETS = "[V]"
    PARENTHESES = "(V)"
    COMMA = ", V"
    SPACE = " V"
    UNDERSCORE = "_V"
    ROW = "row"  # in a row of its own below the names
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a file is written.

    Attributes
    ----------
    separator, decimal : str
    thousands : str
        Written into readings of 1000 and more that have no decimals; "" for none.
    encoding : str
        As :func:`codecs.lookup` knows it; "utf-8-sig" and "utf-16-le" write a byte order mark.
    newline : str
    language : str
    place_first : bool
        "Left wing voltage" or "Voltage left wing".
    glue : str
        Between words: " ", "_", ".", "-" or "/".
    unit_style : UnitStyle
    units : dict
        Unit by quantity where it is not the canonical one ("mV", "Ah", "degF").
    unit_spelling : dict
        How a unit is printed where not by its symbol ("degC" as "°C").
    time_form : TimeForm
    date_format : str
        For dates in a column of their own, as for ``strftime``.
    preamble : str
        Lines of key and value before the header, joined by this (":", "=", the separator);
        "" for none.
    comment : str
        Put before each line of the preamble ("#", "").
    header : bool
    quoted : bool
        All fields in quotes.
    blank : str
        What stands for no value.
    trailing : bool
        A separator at the end of each row.
    counter : bool
        A row number as first column.
    long : bool
        One reading a row: time, sensor, name, value, unit.
    cut : bool
        The last row is cut off in its middle.
    again : bool
        The header is repeated where a further recording begins in the same file.
    """

    separator: str = ","
    decimal: str = "."
    thousands: str = ""
    encoding: str = "utf-8"
    newline: str = "\n"
    language: str = "en"
    place_first: bool = True
    glue: str = " "
    unit_style: UnitStyle = UnitStyle.BRACKETS
    units: tuple[tuple[Quantity, str], ...] = ()
    unit_spelling: tuple[tuple[str, str], ...] = ()
    time_form: TimeForm = TimeForm.SECONDS
    date_format: str = "%Y-%m-%d"
    preamble: str = ""
    comment: str = ""
    header: bool = True
    quoted: bool = False
    blank: str = ""
    trailing: bool = False
    counter: bool = False
    long: bool = False
    cut: bool = False
    again: bool = False


def random_dialect(rng: Generator, *, language: str | None = None, long: bool = False) -> Dialect:
    """A dialect drawn at random; decimal mark and separator never collide.

    Parameters
    ----------
    rng : numpy.random.Generator
    language : str or None
        One of ``LANGUAGES``; drawn where None.
    long : bool
        One reading a row.
    """

    def pick(*choices: Any) -> Any:
        return choices[min(int(rng.random() * len(choices)), len(choices) - 1)]

    spoken = language or pick(*LANGUAGES)
    separator = pick(",", ";", "\t", "|")
    decimal = pick(",", ",", ".") if separator != "," else "."
    encoding = pick("utf-8", "utf-8", "utf-8-sig", "utf-16-le", "cp1252")
    if encoding == "cp1252" and spoken == "cs":
        encoding = "utf-8"  # Windows-1252 has no Czech letters
    style = pick(*UnitStyle)
    units: list[tuple[Quantity, str]] = []
    # Without a printed unit nobody can tell mV from V in earnest: keep to the canonical ones.
    if style is not UnitStyle.NONE:
        if pick(True, False, False):
            units += [(Quantity.VOLTAGE, "mV"), (Quantity.CURRENT, "mA")]
        if pick(True, False, False, False):
            units.append((Quantity.CONSUMED, "Ah"))
        if pick(True, False, False, False):
            units.append((Quantity.TEMPERATURE, "degF"))
    spelling = pick((("degC", "\N{DEGREE SIGN}C"), ("degF", "\N{DEGREE SIGN}F")), ())
    return Dialect(
        separator=separator,
        decimal=decimal,
        encoding=encoding,
        newline=pick("\n", "\r\n"),
        language=spoken,
        place_first=pick(True, True, False),
        glue=pick(" ", " ", "_", "-"),
        unit_style=style,
        units=tuple(units),
        unit_spelling=spelling,
        time_form=pick(*TimeForm),
        date_format=pick("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y"),
        preamble=pick("", "", ":", "=", separator),
        comment=pick("", "", "#"),
        quoted=pick(True, False, False, False, False),
        blank=pick("", "", "-", "---", "nan", "n/a"),
        trailing=pick(True, False, False, False, False, False),
        counter=pick(True, False, False, False, False, False),
        long=long,
    )
