"""What the time finder looks at and what it finds: plain records."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from telemetry.importer.clock.stamps import Stamps
from telemetry.importer.names.header import HeaderReading
from telemetry.importer.names.header_cell import Name
from telemetry.importer.names.settings import Setting
from telemetry.model.channels import Quantity

FloatArray = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class TimeSource:
    """One column as the time finder sees it.

    Attributes
    ----------
    index : int
    title : str
    name : Name
    readings : tuple of HeaderReading
    numbers : ndarray or None
    text : pyarrow strings or None
    setting : Setting or None
    """

    index: int
    title: str
    name: Name
    readings: tuple[HeaderReading, ...]
    numbers: FloatArray | None
    text: pa.ChunkedArray | None
    setting: Setting | None = None


@dataclass(slots=True)
class Stamped:
    """A column and its time stamps.

    Attributes
    ----------
    source : TimeSource
    stamps : Stamps
    columns : dict
        Index of each column they were read from to what it gave; empty where it is the source.
    """

    source: TimeSource
    stamps: Stamps
    columns: dict[int, str] = field(default_factory=dict)

    @property
    def has_date(self) -> bool:
        """True where the stamps carry a date."""
        return self.stamps.has_date

    @property
    def has_clock(self) -> bool:
        """True where the stamps carry a time."""
        return self.stamps.has_clock


@dataclass(slots=True, kw_only=True)
class TimeBase:
    """Raw times of the rows.

    Attributes
    ----------
    raw_s : ndarray
        Seconds on the file's clock, NaN where a row has none.
    columns : dict
        Index of each column used to what it gave ("time", "date", "fraction").
    form : str
        How time was read, in words.
    period_s : float
        After which the clock starts again by itself, NaN for never.
    wall : bool
        A local time of day.
    start : datetime or None
        Of the first row with a time; naive where the file names no zone.
    start_source : str
    day_only : bool
        True where the start's time of day is not known.
    notes : list of str
    """

    raw_s: FloatArray
    columns: dict[int, str]
    form: str
    period_s: float = math.nan
    wall: bool = False
    start: datetime | None = None
    start_source: str = ""
    day_only: bool = False
    notes: list[str] = field(default_factory=list)


def speaks_of_time(source: TimeSource) -> bool:
    """True where the setting, a word or the unit of a column speaks of time.

    Parameters
    ----------
    source : TimeSource
    """
    if source.setting is not None:
        return source.setting.quantity is Quantity.TIME
    if any(r.quantity is Quantity.TIME for r in source.readings[:1]):
        return True
    words = source.name.words
    unit = source.name.unit
    seconds_unit = unit is not None and unit.canonical == "s"
    symbol = len(words) == 1 and words[0].text.casefold() == "t"
    return seconds_unit and (symbol or not words)
