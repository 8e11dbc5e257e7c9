"""The writer: recordings into a CSV file of some dialect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS
from telemetry.simulate.parts import FloatArray
from telemetry.simulate.recording import SimulatedRecording
from telemetry.simulate.telemetry.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.telemetry.rows import SensedColumn
from telemetry.simulate.telemetry.words import extreme_word, field_word, place_words, quantity_words


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


def written_columns(recording: SimulatedRecording, dialect: Dialect) -> tuple[Written, ...]:
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


def write_csv(path: str | Path, *recordings: SimulatedRecording, dialect: Dialect) -> Path:
    """Write one or several recordings into one file.

    Parameters
    ----------
    path : path
    *recordings : SimulatedRecording
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
    if dialect.encoding.startswith("utf-16-"):
        text = "\ufeff" + text  # the codec that writes its own mark depends on the machine
    with target.open("w", encoding=dialect.encoding, newline="") as file:
        file.write(text)
    return target


def _recording_lines(recording: SimulatedRecording, dialect: Dialect, *, first: bool) -> list[str]:
    lines = _preamble(recording, dialect) if first and dialect.preamble else []
    header = dialect.header and (first or dialect.again)
    if dialect.long:
        return lines + _long_rows(recording, dialect, header=header)
    columns = written_columns(recording, dialect)
    cells = [
        _printed(c.values, c.resolution, w, dialect)
        for c, w in zip(recording.table.columns, columns, strict=True)
    ]
    times = _times(recording.table.time_s, recording.start, dialect)
    if header:
        lines += _header_rows(columns, dialect)
    body = [*times, *cells]
    if dialect.counter:
        body.insert(0, [str(i) for i in range(1, len(times[0]) + 1)])
    return lines + [_row(fields, dialect) for fields in zip(*body, strict=True)]


def _preamble(recording: SimulatedRecording, dialect: Dialect) -> list[str]:
    """Who, when, and that it is invented."""
    entries = [
        (field_word(dialect.language, "model"), recording.aircraft.name),
        (field_word(dialect.language, "date"), recording.start.strftime(dialect.date_format)),
        ("Note", "invented demonstration data"),
    ]
    join = dialect.preamble + ("" if dialect.preamble == dialect.separator else " ")
    mark = f"{dialect.comment} " if dialect.comment else ""
    return [f"{mark}{key}{join}{value}" for key, value in entries]


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


def _long_rows(recording: SimulatedRecording, dialect: Dialect, *, header: bool) -> list[str]:
    """One reading a row, in order of receipt; controls at the rows' instants, where they moved."""
    language = dialect.language
    lines = []
    if header:
        words = [field_word(language, w) for w in ("time", "sensor", "name", "value", "unit")]
        if dialect.time_form is TimeForm.DATE_AND_TIME:
            words.insert(0, field_word(language, "date"))
        lines.append(_row(words, dialect))
    readings: list[tuple[float, int, str]] = []
    columns = written_columns(recording, dialect)
    for order, (column, written) in enumerate(zip(recording.table.columns, columns, strict=True)):
        if column.key in recording.updates:
            made = recording.updates[column.key]
            times, values = made.received_s[made.came], made.values[made.came]
        else:
            moved = np.diff(column.values, prepend=np.nan) != 0.0
            times, values = recording.table.time_s[moved], column.values[moved]
        fields = _printed(values, column.resolution, written, dialect)
        readings += [(t, order, f) for t, f in zip(times.tolist(), fields, strict=True)]
    readings.sort()
    stamps = _times(np.array([t for t, _, _ in readings]), recording.start, dialect)
    names = [
        (
            place_words(language, c.place),
            " ".join(
                w
                for w in (
                    extreme_word(language, c.hold),
                    quantity_words(language, c.quantity, c.cell),
                )
                if w
            ),
            _spelt(w.unit, dialect),
        )
        for c, w in zip(recording.table.columns, columns, strict=True)
    ]
    for stamp, (_, order, value) in zip(zip(*stamps, strict=True), readings, strict=True):
        place, name, unit = names[order]
        lines.append(_row([*stamp, place, name, value, unit], dialect))
    return lines


def _row(fields: tuple[str, ...] | list[str], dialect: Dialect) -> str:
    if dialect.quoted:
        fields = [f'"{f}"' for f in fields]
    else:
        fields = [f'"{f}"' if dialect.separator in f else f for f in fields]
    return dialect.separator.join(fields) + (dialect.separator if dialect.trailing else "")


def _unit_of(column: SensedColumn, dialect: Dialect) -> str:
    return dict(dialect.units).get(column.quantity, column.unit)


def _spelt(unit: str, dialect: Dialect) -> str:
    return dict(dialect.unit_spelling).get(unit, unit)


def _header(column: SensedColumn, unit: str, dialect: Dialect) -> str:
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


def _printed(
    readings: FloatArray, resolution: float, written: Written, dialect: Dialect
) -> list[str]:
    """A column's fields, row by row."""
    values = (readings - written.offset) / written.factor
    digits = _decimals(resolution / written.factor)
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


def _times(time_s: FloatArray, start: datetime, dialect: Dialect) -> list[list[str]]:
    """Time fields: one column, or date and time."""
    ms = np.floor(time_s * 1000.0 + 0.5).astype(np.int64).tolist()
    form = dialect.time_form
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
