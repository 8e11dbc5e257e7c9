"""The writer: recordings into a CSV file of some dialect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from telemetry.channels import Quantity
from telemetry.simulate.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.recording import Recording
from telemetry.simulate.sensors import Column
from telemetry.simulate.words import (
    extreme_word,
    field_word,
    place_words,
    quantity_words,
)
from telemetry.units import UNITS


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One column as written: its header, the truth about it, and its values in file units."""

    header: str
    unit: str
    key: str
    place: str
    quantity: Quantity
    factor: float
    offset: float


def written_columns(recording: Recording, dialect: Dialect) -> tuple[Written, ...]:
    """What each data column of the file is called and means.

    ``value in canonical units = value in file * factor + offset``.
    """
    written = []
    for column in recording.table.columns:
        unit = _unit_of(column, dialect)
        scale = UNITS.get(unit)
        written.append(
            Written(
                header=_header(column, unit, dialect),
                unit=unit,
                key=column.key,
                place=column.place,
                quantity=column.quantity,
                factor=1.0 if scale is None else scale.factor,
                offset=0.0 if scale is None else scale.offset,
            )
        )
    return tuple(written)


def write_csv(path: str | Path, *recordings: Recording, dialect: Dialect) -> Path:
    """Write one or several recordings into one file.

    Parameters
    ----------
    path : path
    *recordings : Recording
        Written one after the other.
    dialect : Dialect

    Returns
    -------
    Path
    """
    lines: list[str] = []
    for number, recording in enumerate(recordings):
        lines += _recording_lines(recording, dialect, first=number == 0)
    text = dialect.newline.join(lines)
    text = text[: -max(3, len(lines[-1]) // 2)] if dialect.cut else text + dialect.newline
    target = Path(path)
    with target.open("w", encoding=dialect.encoding, newline="") as file:
        file.write(text)
    return target


def csv_text(recording: Recording, dialect: Dialect) -> str:
    """The file's text, without byte order mark."""
    return dialect.newline.join(_recording_lines(recording, dialect, first=True))


def _recording_lines(recording: Recording, dialect: Dialect, *, first: bool) -> list[str]:
    lines: list[str] = []
    if first and dialect.preamble:
        model = field_word(dialect.language, "model")
        date = field_word(dialect.language, "date")
        when = recording.start.strftime(dialect.date_format)
        note = "invented demonstration data"
        lines += [
            f"{model}{dialect.separator}{recording.aircraft.name}",
            f"{date}{dialect.separator}{when}",
            f"Note{dialect.separator}{note}",
            "",
        ]
    columns = written_columns(recording, dialect)
    cells = [_printed(c, w, dialect) for c, w in zip(recording.table.columns, columns, strict=True)]
    times = _times(recording, dialect)
    if dialect.long:
        return lines + _long_rows(times, columns, cells, dialect, header=first or dialect.again)
    if dialect.header and (first or dialect.again):
        lines += _header_rows(columns, dialect)
    body = [*times, *cells]
    if dialect.counter:
        body.insert(0, [str(i) for i in range(1, len(times[0]) + 1)])
    lines += [_row(fields, dialect) for fields in zip(*body, strict=True)]
    return lines


def _header_rows(columns: tuple[Written, ...], dialect: Dialect) -> list[str]:
    names = [field_word(dialect.language, "time")]
    units = [_time_unit(dialect)]
    if dialect.time_form is TimeForm.DATE_AND_TIME:
        names.insert(0, field_word(dialect.language, "date"))
        units.insert(0, "")
    if dialect.unit_style not in (UnitStyle.ROW, UnitStyle.NONE) and units[-1]:
        names[-1] = _with_unit(names[-1], units[-1], dialect)
    if dialect.counter:
        names.insert(0, "#")
        units.insert(0, "")
    rows = [_row([*names, *(c.header for c in columns)], dialect)]
    if dialect.unit_style is UnitStyle.ROW:
        rows.append(_row([*units, *(_spelt(c.unit, dialect) for c in columns)], dialect))
    return rows


def _long_rows(
    times: list[list[str]],
    columns: tuple[Written, ...],
    cells: list[list[str]],
    dialect: Dialect,
    *,
    header: bool,
) -> list[str]:
    """One reading a row; readings that bring nothing new are left out."""
    language = dialect.language
    lines = []
    if header:
        names = [
            field_word(language, "time"),
            *(field_word(language, w) for w in ("sensor", "name", "value", "unit")),
        ]
        if dialect.time_form is TimeForm.DATE_AND_TIME:
            names.insert(0, field_word(language, "date"))
        lines.append(_row(names, dialect))
    for row in range(len(times[0])):
        stamp = [t[row] for t in times]
        for column, values in zip(columns, cells, strict=True):
            if values[row] == dialect.blank or (row and values[row] == values[row - 1]):
                continue
            lines.append(
                _row(
                    [
                        *stamp,
                        place_words(language, column.place),
                        quantity_words(language, column.quantity),
                        values[row],
                        _spelt(column.unit, dialect),
                    ],
                    dialect,
                )
            )
    return lines


def _row(fields: tuple[str, ...] | list[str], dialect: Dialect) -> str:
    if dialect.quoted:
        fields = [f'"{f}"' for f in fields]
    else:
        fields = [f'"{f}"' if dialect.separator in f else f for f in fields]
    return dialect.separator.join(fields) + (dialect.separator if dialect.trailing else "")


def _unit_of(column: Column, dialect: Dialect) -> str:
    return dict(dialect.units).get(column.quantity, column.unit)


def _spelt(unit: str, dialect: Dialect) -> str:
    return dict(dialect.unit_spelling).get(unit, unit)


def _header(column: Column, unit: str, dialect: Dialect) -> str:
    place = place_words(dialect.language, column.place)
    what = quantity_words(dialect.language, column.quantity, column.cell)
    extreme = extreme_word(dialect.language, column.hold)
    words = [place, extreme, what] if dialect.place_first else [what, extreme, place]
    name = " ".join(w for w in words if w)
    name = name[:1].upper() + name[1:]
    name = name.replace(" ", dialect.glue)
    if not unit or dialect.unit_style in (UnitStyle.ROW, UnitStyle.NONE):
        return name
    return _with_unit(name, unit, dialect)


def _with_unit(name: str, unit: str, dialect: Dialect) -> str:
    spelt = _spelt(unit, dialect)
    match dialect.unit_style:
        case UnitStyle.BRACKETS:
            return f"{name} [{spelt}]"
        case UnitStyle.PARENTHESES:
            return f"{name} ({spelt})"
        case UnitStyle.COMMA:
            return f"{name}, {spelt}"
        case UnitStyle.UNDERSCORE:
            return f"{name}_{spelt}"
        case _:
            return f"{name} {spelt}"


def _decimals(step: float) -> int:
    """Decimals that show a step exactly, at most 6."""
    for digits in range(7):
        if abs(round(step, digits) - step) < 1e-9:
            return digits
    return 6


def _printed(column: Column, written: Written, dialect: Dialect) -> list[str]:
    """The column's fields, row by row."""
    values = (column.values - written.offset) / written.factor
    digits = _decimals(column.resolution / written.factor)
    if written.unit in ("degF", "Ah", "As"):
        digits = {"degF": 1, "Ah": 3, "As": 1}[written.unit]
    known = np.isfinite(values)
    distinct, where = np.unique(values[known], return_inverse=True)
    texts = [_number(v, digits, dialect) for v in distinct.tolist()]
    fields = [dialect.blank] * values.size
    for row, which in zip(np.flatnonzero(known).tolist(), where.tolist(), strict=True):
        fields[row] = texts[which]
    return fields


def _number(value: float, digits: int, dialect: Dialect) -> str:
    text = f"{value:.{digits}f}"
    if text.startswith("-") and not text.strip("-0."):
        text = text[1:]
    if dialect.thousands and digits == 0 and abs(value) >= 1000:
        text = f"{value:,.0f}".replace(",", dialect.thousands)
    return text.replace(".", dialect.decimal) if digits else text


def _time_unit(dialect: Dialect) -> str:
    return {
        TimeForm.SECONDS: "s",
        TimeForm.MILLISECONDS: "ms",
        TimeForm.MICROSECONDS: "us",
    }.get(dialect.time_form, "")


def _times(recording: Recording, dialect: Dialect) -> list[list[str]]:
    """Time fields: one column, or date and time."""
    ms = np.floor(recording.table.time_s * 1000.0 + 0.5).astype(np.int64).tolist()
    start, form = recording.start, dialect.time_form
    match form:
        case TimeForm.SECONDS:
            return [[_number(m / 1000.0, 3, dialect) for m in ms]]
        case TimeForm.MILLISECONDS:
            return [[str(m) for m in ms]]
        case TimeForm.MICROSECONDS:
            return [[str(1000 * m) for m in ms]]
        case TimeForm.CLOCK:
            return [[_clock(m, dialect) for m in ms]]
        case TimeForm.MINUTES:
            return [
                [
                    f"{m // 60000:02d}:{m % 60000 // 1000:02d}{dialect.decimal}{m % 1000 // 100}"
                    for m in ms
                ]
            ]
        case TimeForm.EPOCH_S | TimeForm.EPOCH_MS:
            zero = round((start - datetime(1970, 1, 1)).total_seconds() * 1000)
            if form is TimeForm.EPOCH_MS:
                return [[str(zero + m) for m in ms]]
            return [[f"{(zero + m) // 1000}{dialect.decimal}{(zero + m) % 1000:03d}" for m in ms]]
        case _:
            stamps = [start + timedelta(milliseconds=m) for m in ms]
    of_day = [
        _clock(((s.hour * 60 + s.minute) * 60 + s.second) * 1000 + s.microsecond // 1000, dialect)
        for s in stamps
    ]
    if form is TimeForm.TIME_OF_DAY:
        return [of_day]
    if form is TimeForm.DATE_AND_TIME:
        return [[s.strftime(dialect.date_format) for s in stamps], of_day]
    zone = "+02:00" if form is TimeForm.ISO_ZONE else ""
    return [[s.isoformat(timespec="milliseconds") + zone for s in stamps]]


def _clock(ms: int, dialect: Dialect) -> str:
    return (
        f"{ms // 3600000:02d}:{ms // 60000 % 60:02d}:{ms // 1000 % 60:02d}"
        f"{dialect.decimal}{ms % 1000:03d}"
    )
