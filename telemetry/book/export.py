"""Hand flights on: Parquet, or CSV that a spreadsheet opens without running anything."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from telemetry.book.files import book_error, written_aside
from telemetry.book.tables import TIME, read_table, schema_of, table_of
from telemetry.errors import BookError, OutputError
from telemetry.log import Log

FLIGHT = "flight"

# What makes a spreadsheet take a cell for a formula: OWASP, "CSV Injection".
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")


def export_log(log: Log, to: Path, *, book: Path | None = None) -> None:
    """Write a log as Parquet (``.parquet``) or clean CSV (``.csv``).

    The CSV is UTF-8 with commas (RFC 4180), has one header with units, points as decimal marks and
    nothing where the log has no value. Text cells that a spreadsheet would run as a formula begin
    with an apostrophe.

    Parameters
    ----------
    log : Log
    to : path
        In a folder that exists; an existing file is replaced.
    book : path, optional
        A logbook, into which nothing is exported.

    Raises
    ------
    OutputError
        If the file cannot be written, or its ending tells no format; nothing half-written stays.
    """
    table = table_of(log)
    with _sink(to, book, table.schema) as write:
        write(table)


def export_flights(flights: Sequence[tuple[str, Path, int]], to: Path, *, book: Path) -> None:
    """Write flights of the book, given by id, path and number of rows, as one table.

    The table has a first column ``flight`` and every column that any flight has; what is a number
    in one flight and a word in another becomes text. One flight at a time is in memory.

    Raises
    ------
    BookError
        If a flight is missing or damaged.
    OutputError
        As in :func:`export_log`.
    """
    schema = _common([schema_of(path) for _, path, _ in flights])
    with _sink(to, book, schema) as write:
        for flight, path, rows in flights:
            table = read_table(path, rows)
            write(_fitted(table.append_column(FLIGHT, _same(flight, table.num_rows)), schema))


def _same(text: str, rows: int) -> Any:
    return pa.array([text] * rows, type=pa.string())


def _common(schemas: Sequence[Any]) -> Any:
    found: dict[str, Any] = {FLIGHT: pa.field(FLIGHT, pa.string())}
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
def _sink(to: Path, book: Path | None, schema: Any) -> Iterator[Callable[[Any], None]]:
    """A function that takes tables of that schema and writes them to the file."""
    if to.suffix.lower() not in (".parquet", ".csv"):
        raise OutputError(
            "its ending tells no format", path=to, hint="let it end with .parquet or .csv"
        )
    if book is not None and to.resolve().is_relative_to(book.resolve()):
        raise OutputError(
            "this lies within the logbook", path=to, hint="give a path outside the book"
        )
    try:
        with written_aside(to) as file:
            if to.suffix.lower() == ".csv":
                yield _csv(file, schema)
            else:
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
