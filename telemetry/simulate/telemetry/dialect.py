"""Generic CSV dialects of our own invention: what a file looks like."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from telemetry.model.channels import Quantity


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
