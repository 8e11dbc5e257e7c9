"""What `busbook columns` shows: each column, how it is read, why, and what else it could be."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
import pyarrow.compute as pc

from telemetry.importer.clock.axis import unroll
from telemetry.importer.columnmap import ColumnMap, fingerprint
from telemetry.importer.names.columns import LogColumn, Resolved
from telemetry.importer.names.resolve import resolve
from telemetry.importer.names.settings import parse_setting, text_of
from telemetry.importer.names.values import convert, repeats, resolution
from telemetry.importer.read import as_in_the_file, refuse_all_blank, widen
from telemetry.importer.sheet import read_sheet
from telemetry.importer.timing import time_base
from telemetry.model.channels import CANONICAL_UNIT, Channel, Quantity
from telemetry.model.errors import UnreadableLog
from telemetry.model.units import UNITS
from telemetry.model.unsettled import Unsettled, set_option, unsettled_supplies

_SAMPLES = 5
_OUTLINE = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """Another way to read a column.

    Attributes
    ----------
    reading : str
        As ``place/quantity[unit]``.
    low, high : float
        Range of the values if they are read so, in the quantity's own unit; NaN without numbers.
    set_line : str
        The option that settles the column so: ``--set 'COLUMN=place/quantity[unit]'``.
    """

    reading: str
    low: float
    high: float
    set_line: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnReport:
    """One column as the user sees it.

    Attributes
    ----------
    number : int
        From 1.
    title : str
        The name to address it by; differs from the header where that is empty or not unique.
    channel : Channel
        As it is read.
    reading : str
        As ``place/quantity[unit]``, "" where nothing is known.
    samples : tuple of str
        Some cells, as in the file, in their order.
    low, high : float
        Range of the cells as in the file; NaN for words.
    resolution : float
        Smallest step between values, in the file's unit.
    repeats : float
        Share of rows that repeat the row before; NaN for words.
    filled : int
        Cells that hold a value.
    outline : tuple of float
        Some values spread over the file, in order, as in the file; nothing for words.
    rivals : tuple of Rival
        Readings that fit about as well; not empty where the user should settle the column.
    set_line : str
        The option that keeps the column read as it is now; for an unknown column, the option to
        fill in.
    """

    number: int
    title: str
    channel: Channel
    reading: str
    samples: tuple[str, ...]
    low: float
    high: float
    resolution: float
    repeats: float
    filled: int
    rivals: tuple[Rival, ...]
    set_line: str
    outline: tuple[float, ...] = ()

    @property
    def open(self) -> bool:
        """True where two readings fit alike and none was chosen."""
        return self.channel.quantity is Quantity.UNKNOWN and bool(self.rivals)


class ListingState(StrEnum):
    """Whether the columns that the review needs are understood."""

    SETTLED = "settled"
    OPEN = "open"  # a column that may carry a supply, or of two readings, is to be named
    WITHOUT_SUPPLY = "supplyless"  # no column is a voltage or current
    UNREADABLE = "unreadable"  # the log cannot be read yet


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """All columns of a file.

    Attributes
    ----------
    file : str
    columns : tuple of ColumnReport
    time_form : str
        How the time of the rows is read, "" where it could not be.
    problem : str
        Why the log cannot be read yet, "" where it can.
    notes : tuple of str
    fingerprint : str
        Of the header.
    settled : mapping of str to str
        Readings the user settled, by settings or by a map.
    """

    file: str
    columns: tuple[ColumnReport, ...]
    time_form: str
    problem: str
    notes: tuple[str, ...]
    fingerprint: str
    settled: Mapping[str, str]

    @property
    def state(self) -> ListingState:
        """Whether the columns that the review needs are understood."""
        supplies = (Quantity.VOLTAGE, Quantity.CURRENT)
        if self.problem:
            return ListingState.UNREADABLE
        if self.unsettled or any(c.open for c in self.columns):
            return ListingState.OPEN
        if not any(c.channel.quantity in supplies for c in self.columns):
            return ListingState.WITHOUT_SUPPLY
        return ListingState.SETTLED

    @property
    def unsettled(self) -> tuple[Unsettled, ...]:
        """Supply columns that the review cannot use as they are read."""
        return unsettled_supplies(
            {
                c.number: c.channel
                for c in self.columns
                if c.filled and any((c.low, c.high)) and self.settled.get(c.title) != "ignore"
            }
        )

    def column_map(self, name: str) -> ColumnMap:
        """The readings as shown, as a map for later logs with the same header.

        Parameters
        ----------
        name : str
        """
        readings = {
            c.title: c.reading
            for c in self.columns
            if c.reading
            and c.channel.quantity not in (Quantity.UNKNOWN, Quantity.TIME)
            and not c.channel.text
        }
        return ColumnMap(
            name=name, fingerprint=self.fingerprint, readings={**readings, **self.settled}
        )


def describe_columns(
    path: str | Path,
    *,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
) -> Listing:
    """Everything about the columns of a file, also where it cannot be reviewed yet.

    Parameters
    ----------
    path, settings, row_interval_s, column_maps
        As for `read_log`.

    Returns
    -------
    Listing

    Raises
    ------
    UnreadableLog
        The file holds no table at all.
    UnknownSetting
        A setting is not understood.
    """
    with np.errstate(over="ignore", invalid="ignore"):
        return _listing(path, settings or {}, row_interval_s, column_maps)


def _listing(
    path: str | Path,
    settings: Mapping[str, str],
    row_interval_s: float | None,
    column_maps: Sequence[ColumnMap],
) -> Listing:
    sheet = read_sheet(path, settings=settings, column_maps=column_maps)
    problem, form = "", ""
    notes = list(sheet.notes)
    columns = sheet.columns
    time_s = None
    try:
        base = time_base(sheet, row_interval_s)
        form = base.form
        notes = [*base.notes, *notes]
        times = unroll(
            base.raw_s,
            period_s=base.period_s,
            wall=base.wall,
            breaks=sheet.table.breaks,
            spread_rows=sheet.long is None,
        )
        if sheet.long is not None:
            columns, times = widen(sheet, base, times)
        time_s = as_in_the_file(times, columns)
        refuse_all_blank(columns)
    except UnreadableLog as error:
        problem = str(error)
    resolved = resolve(columns, notes, time_s=time_s, strict=False)
    return Listing(
        file=sheet.path,
        columns=tuple(_report(c, r) for c, r in zip(columns, resolved, strict=True)),
        time_form=form,
        problem=problem,
        notes=tuple(dict.fromkeys(notes)),
        fingerprint=fingerprint(sheet.layout),
        settled=_settled(columns),
    )


def _settled(columns: Sequence[LogColumn]) -> dict[str, str]:
    found = {}
    for column in columns:
        s = column.setting
        if s is None:
            continue
        if s.ignore:
            found[column.title] = "ignore"
        elif s.quantity is Quantity.TIME:
            found[column.title] = text_of(Quantity.TIME, s.place, s.time_form)
        else:
            unit = s.unit.symbol if s.unit is not None else ""
            found[column.title] = text_of(s.quantity, s.place, unit, s.hold, s.cell)
    return found


def _report(column: LogColumn, resolved: Resolved) -> ColumnReport:
    channel = resolved.channel
    reading = ""
    if channel.quantity is not Quantity.UNKNOWN:
        form = channel.source_unit
        if channel.quantity is Quantity.TIME:
            form = column.setting.time_form if column.setting is not None else ""
        reading = text_of(channel.quantity, channel.place, form, channel.hold, channel.cell)
    values = column.numbers
    filled = values[np.isfinite(values)] if values is not None else np.empty(0)
    usual = filled  # without wild cells, which would be the range and the step of every column
    if values is not None and resolved.values is not None:
        usual = values[np.isfinite(resolved.sound)]
    low, high = (float(usual.min()), float(usual.max())) if len(usual) else (math.nan,) * 2
    words = 0
    if column.text is not None:
        words = int(pc.sum(pc.greater(pc.utf8_length(column.text), 0)).as_py() or 0)
    step = max(1, len(usual) // _OUTLINE)
    return ColumnReport(
        number=column.index + 1,
        outline=tuple(float(v) for v in usual[::step]),
        title=column.title,
        channel=channel,
        reading=reading,
        samples=_samples(column),
        low=low,
        high=high,
        resolution=resolution(usual) if values is not None else math.nan,
        repeats=repeats(values) if values is not None else math.nan,
        filled=len(filled) if values is not None else words,
        rivals=tuple(_rival(column, r, low, high) for r in channel.rivals),
        set_line=set_option(
            column.title, reading or _to_fill_in(channel.source_unit), number=column.index + 1
        ),
    )


def _to_fill_in(unit: str) -> str:
    """A reading of the kind that a column without one may get, in its unit if it has one."""
    parsed = UNITS.get(unit)
    fitting = [q for q, u in CANONICAL_UNIT.items() if parsed is not None and u == parsed.canonical]
    return f"PLACE/{fitting[0].value}[{unit}]" if fitting else "PLACE/voltage[V]"


def _rival(column: LogColumn, reading: str, low: float, high: float) -> Rival:
    unit = parse_setting(reading).unit
    if unit is not None:
        low, high = (float(v) for v in convert(np.array([low, high]), unit))
    line = set_option(column.title, reading, number=column.index + 1)
    return Rival(reading=reading, low=low, high=high, set_line=line)


def _samples(column: LogColumn) -> tuple[str, ...]:
    """Some distinct cells, spread over the file."""
    if column.numbers is not None:
        filled = column.numbers[np.isfinite(column.numbers)]
        picks = [f"{v:.10g}" for v in filled[:: max(1, len(filled) // 200)]]
    elif column.text is not None:
        step = max(1, len(column.text) // 200)
        picks = [column.text[i].as_py() or "" for i in range(0, len(column.text), step)]
        picks = [p.strip()[:40] for p in picks if p.strip()]
    else:
        picks = []
    distinct = list(dict.fromkeys(picks))
    stride = max(1, len(distinct) // _SAMPLES)
    return tuple(distinct[::stride][:_SAMPLES])
