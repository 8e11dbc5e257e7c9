"""Hand flights on: Parquet, or CSV that a spreadsheet opens without running anything."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa

from telemetry.book.files.layout import is_book
from telemetry.book.files.names import file_name, flight_id, recording_id
from telemetry.book.files.tables import TIME, read_table, schema_of, table_of
from telemetry.book.files.writing import book_error, written_aside
from telemetry.book.records import BookFlight
from telemetry.model.errors import BookError, OutputError
from telemetry.model.log import FloatArray, Log

# What the digits of a time can be off by: a double holds seconds since 1970 in steps of 0.24 us.
_DUST_S = 2.5e-7

# What makes a spreadsheet take a cell for a formula: OWASP, "CSV Injection".
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportOrigin:
    """Where a row comes from: the first columns of an export.

    Attributes
    ----------
    flight : str
        Its id in the book; of a log that is not of the book the one that its first flight would
        have there. It begins with the hash of the file's bytes.
    date : str or None
        Date, or date and time, of the first row, ISO 8601; None where nobody knows.
    aircraft : str or None
        None for a log that is not of the book.
    file : str
        Name of the log, without folders.
    """

    flight: str
    date: str | None
    aircraft: str | None
    file: str

    @classmethod
    def of(cls, one: BookFlight | Log) -> ExportOrigin:
        """Of a flight of the book, or of a log."""
        if isinstance(one, BookFlight):
            return cls(flight=one.id, date=one.start, aircraft=one.aircraft, file=one.file)
        facts = one.provenance
        return cls(
            flight=flight_id(recording_id(facts.sha256), 0),
            date=facts.start,
            aircraft=None,
            file=file_name(facts.file),
        )


_ORIGIN = tuple(f.name for f in fields(ExportOrigin))


def export_log(log: Log, to: Path) -> None:
    """Write a log as Parquet (``.parquet``) or clean CSV (``.csv``).

    The first columns are ``flight``, ``date``, ``aircraft`` and ``file``, see :class:`Origin`.
    Times have no more digits than the log's clock gave them. The CSV is UTF-8 with commas
    (RFC 4180), has one header with units, points as decimal marks and nothing where the log has no
    value. Text cells that a spreadsheet would run as a formula begin with an apostrophe.

    Parameters
    ----------
    log : Log
    to : path
        In a folder that exists; an existing file is replaced.

    Raises
    ------
    OutputError
        If the file cannot be written, or its ending tells no format; nothing half-written stays.
    """
    table = _with_origin(table_of(log), ExportOrigin.of(log))
    with _sink(to, table.schema) as write:
        write(table)


def export_flights(flights: Sequence[tuple[BookFlight, Path]], to: Path) -> None:
    """Write flights of the book, each with the path of its table, as one table.

    The table has the first columns that :func:`export_log` tells of, and every column that any
    flight has; what is a number in one flight and a word in another becomes text. One flight at a
    time is in memory.

    Raises
    ------
    BookError
        If a flight is missing or damaged.
    OutputError
        As in :func:`export_log`.
    """
    schema = _common([schema_of(path) for _, path in flights])
    with _sink(to, schema) as write:
        for flight, path in flights:
            table = read_table(path, flight.rows)
            write(_fitted(_with_origin(table, ExportOrigin.of(flight)), schema))


def _with_origin(table: Any, origin: ExportOrigin) -> Any:
    """The table behind the columns that tell where its rows come from, its times rounded."""
    times = table.column_names.index(TIME)
    rounded = pa.array(_rounded(table.column(TIME).to_numpy()))
    table = table.set_column(times, table.schema.field(TIME), rounded)
    for k, name in enumerate(_ORIGIN):
        same = pa.repeat(pa.scalar(getattr(origin, name), pa.string()), table.num_rows)
        table = table.add_column(k, name, same)
    return table


def _rounded(time_s: FloatArray) -> FloatArray:
    """Times to the digits that they had in the log: microseconds, nanoseconds if it has them."""
    fine: FloatArray = np.round(time_s, 6)
    return fine if np.all(np.abs(fine - time_s) <= _DUST_S) else np.round(time_s, 9)


def _common(schemas: Sequence[Any]) -> Any:
    found: dict[str, Any] = {name: pa.field(name, pa.string()) for name in _ORIGIN}
    for schema in schemas:
        for column in schema:
            old = found.setdefault(column.name, column)
            if old.type != column.type:
                found[column.name] = pa.field(column.name, pa.string())
    return pa.schema(list(found.values()))


def _fitted(table: Any, schema: Any) -> Any:
    columns = [
        table.column(f.name).cast(f.type)
        if f.name in table.column_names
        else pa.nulls(table.num_rows, type=f.type)
        for f in schema
    ]
    return pa.Table.from_arrays(columns, schema=schema)


@contextmanager
def _sink(to: Path, schema: Any) -> Iterator[Callable[[Any], None]]:
    """A function that takes tables of that schema and writes them to the file."""
    if to.suffix.lower() not in (".parquet", ".csv"):
        raise OutputError(
            "its ending tells no format", path=to, hint="let it end with .parquet or .csv"
        )
    # Path.resolve() raises on a link to itself; such a one is written over.
    if any(is_book(folder) for folder in Path(os.path.realpath(to)).parents):
        raise OutputError(
            "this lies within a logbook", path=to, hint="give a path outside the book"
        )
    try:
        with written_aside(to) as file:
            if to.suffix.lower() == ".csv":
                yield _csv(file, schema)
            else:
                import pyarrow.parquet as pq

                with pq.ParquetWriter(file, schema, compression="zstd") as writer:
                    yield writer.write_table
    except OSError as error:
        said: BookError = book_error(error, to, "written")
        raise OutputError(said.what, path=to, hint="choose another place for it") from error


def _csv(file: BinaryIO, schema: Any) -> Callable[[Any], None]:
    def write(table: Any) -> None:
        frame = table.to_pandas()
        for column in table.schema:
            if pa.types.is_string(column.type):
                frame[column.name] = frame[column.name].map(guarded, na_action="ignore")
        file.write(_lines(frame))

    header = pd.DataFrame(columns=pd.Index([guarded(_title(f)) for f in schema]))
    file.write(_lines(header, header=True))
    return write


def _lines(frame: pd.DataFrame, *, header: bool = False) -> bytes:
    text: str = frame.to_csv(None, index=False, header=header, lineterminator="\r\n")
    return text.encode()


def _title(column: Any) -> str:
    unit = (column.metadata or {}).get(b"unit", b"").decode()
    name = "time" if column.name == TIME else column.name
    return f"{name} [{unit}]" if unit else name


def guarded(cell: str) -> str:
    """A text cell as a spreadsheet shows it and does not run it; numbers stay as they are."""
    bare = cell.lstrip()
    if bare.startswith(_FORMULA) and not _NUMBER.fullmatch(bare):
        return "'" + cell
    return cell
