"""A Log as a Parquet table that any engine reads, and back.

The table has ``time_s`` and the canonical columns ("left wing/current"), float64 for numbers, text
for words, null where the log has no value. How each column was read and where the file came from
stand as JSON in the metadata of the schema, under ``busbook.*``; the unit of a column also in the
metadata of its field.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import pyarrow as pa

from telemetry.book.files.dates import shifted
from telemetry.model.channels import Channel, Quantity
from telemetry.model.errors import BookError
from telemetry.model.files import open_regular
from telemetry.model.log import Log, Provenance
from telemetry.results import as_dict

if TYPE_CHECKING:
    import pandas as pd

TIME = "time_s"
_CHANNELS, _PROVENANCE, _RECORDING = (
    b"busbook.channels",
    b"busbook.provenance",
    b"busbook.recording",
)


def cut(log: Log, starts_s: tuple[float, ...]) -> tuple[tuple[int, Log], ...]:
    """The flights of a log, each with its first row and as a log of its own.

    Parameters
    ----------
    log : Log
    starts_s : tuple of float
        Start of each flight, s from the first row, rising. Each flight takes the rows up to the
        next one's start and the first one also those before it, so that no row is lost. Empty:
        the whole log is one.

    Returns
    -------
    tuple of (int, Log)
        A log cut out begins at 0 s; its provenance still tells of the whole file, except for the
        start and the recordings.

    Raises
    ------
    ValueError
        If a flight would have no row.
    """
    time_s = log.time_s
    firsts = [0, *(int(i) for i in np.searchsorted(time_s, starts_s[1:]))]
    ends = [*firsts[1:], len(time_s)]
    if any(a >= b for a, b in zip(firsts, ends, strict=True)):
        raise ValueError(f"a flight without rows: starts {starts_s} in {len(time_s)} rows")
    if len(firsts) == 1:
        return ((0, log),)
    return tuple((first, _rows(log, first, end)) for first, end in zip(firsts, ends, strict=True))


def _rows(log: Log, first: int, end: int) -> Log:
    import pandas as pd  # here and below: a list of flights does without it

    start_s = float(log.time_s[first])
    # Nanoseconds: a difference of two printed times is put back to the digits it had.
    index = pd.Index(np.round(log.time_s[first:end] - start_s, 9), name=TIME)
    last_s = float(log.time_s[end - 1])
    text = log.text
    if len(text.columns):
        text = text.iloc[first:end].set_axis(index, axis=0)
    facts = replace(
        log.provenance,
        start=shifted(log.provenance.start, start_s),
        recordings=tuple(
            (round(max(a, start_s) - start_s, 9), round(min(b, last_s) - start_s, 9))
            for a, b in log.provenance.recordings
            if b >= start_s and a <= last_s
        ),
    )
    frame = log.frame.iloc[first:end].set_axis(index, axis=0)
    return replace(log, frame=frame, text=text, provenance=facts)


def table_of(log: Log, recording: Mapping[str, Any] | None = None) -> pa.Table:
    """A log as a table; ``recording`` is the book's record of it, kept in the metadata."""
    units = {c.key: c.unit for c in log.channels} | {TIME: "s"}
    columns: list[tuple[str, Any]] = [(TIME, pa.array(log.time_s))]
    columns += [(k, pa.array(log.values(k), from_pandas=True)) for k in log.frame.columns]
    columns += [(k, _words(log.text[k])) for k in log.text.columns]
    names = [name for name, _ in columns]
    if len(set(names)) < len(names):
        raise ValueError(f"two columns of one name: {sorted(names)}")
    schema = pa.schema(
        [
            pa.field(name, values.type, metadata={"unit": units.get(name, "")})
            for name, values in columns
        ],
        metadata={
            _CHANNELS: json.dumps([as_dict(c) for c in log.channels], ensure_ascii=False),
            _PROVENANCE: json.dumps(_plain(as_dict(log.provenance)), ensure_ascii=False),
            **({} if recording is None else {_RECORDING: json.dumps(recording)}),
        },
    )
    return pa.Table.from_arrays([values for _, values in columns], schema=schema)


def _words(column: pd.Series[Any]) -> Any:
    blank = column.isna()
    return pa.array(
        [None if no else str(v) for v, no in zip(column, blank, strict=True)], type=pa.string()
    )


def _plain(doc: dict[str, Any]) -> dict[str, Any]:
    """NaN is no JSON: null stands for it."""
    return {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in doc.items()}


def parquet_of(table: pa.Table) -> bytes:
    """A table as the bytes of a Parquet file whose pages carry checksums."""
    import pyarrow.parquet as pq  # slow to load, and no review of a log needs it

    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd", write_page_checksum=True)
    return bytes(sink.getvalue())


def read_table(path: Path, rows: int) -> pa.Table:
    """Read a flight's Parquet file whole and verify its pages.

    Raises
    ------
    BookError
        If it is missing, cut off or changed, or has another number of rows: however many it
        claims, no more are unpacked.
    """
    import pyarrow.parquet as pq

    with _reading(path) as file:
        parquet = pq.ParquetFile(file, page_checksum_verification=True)
        if parquet.metadata.num_rows != rows:
            raise pa.ArrowInvalid("another number of rows")
        return parquet.read()


def schema_of(path: Path) -> pa.Schema:
    """The schema of a flight's Parquet file, without reading its samples; errors as before."""
    import pyarrow.parquet as pq

    with _reading(path) as file:
        return pq.ParquetFile(file).schema_arrow


@contextmanager
def _reading(path: Path) -> Iterator[BinaryIO]:
    # Opened here, not by pyarrow: from the path it would make a column "aircraft" of the folder.
    try:
        with open_regular(path) as file:
            yield file
    except FileNotFoundError as error:
        raise BookError(
            "the book has lost this flight", path=path, hint="run busbook check-book"
        ) from error
    except (OSError, pa.ArrowException) as error:
        raise BookError(
            "this flight's table is damaged",
            path=path,
            hint="run busbook check-book, which makes it again from the original",
        ) from error


def log_of(table: pa.Table, path: Path) -> Log:
    """The log that a table was made of.

    Raises
    ------
    BookError
        If the table is none of the book's.
    """
    import pandas as pd

    channels = channels_in(table.schema, path)
    provenance = provenance_in(table.schema, path)
    try:
        index = pd.Index(table.column(TIME).to_numpy(), name=TIME, dtype=np.float64)
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise _no_flight(path) from error
    words = [f.name for f in table.schema if pa.types.is_string(f.type)]
    numbers = [n for n in table.column_names if n != TIME and n not in words]
    frame = pd.DataFrame(
        {n: table.column(n).to_numpy() for n in numbers}, index=index, dtype=np.float64
    )
    text = pd.DataFrame({n: table.column(n).to_pandas().array for n in words}, index=index)
    return Log(
        frame=frame,
        text=text if words else pd.DataFrame(),
        channels=channels,
        provenance=provenance,
    )


def channels_in(schema: pa.Schema, path: Path) -> tuple[Channel, ...]:
    """How each column was read, from a flight's metadata; errors as of :func:`log_of`."""
    try:
        return tuple(_channel(doc) for doc in json.loads((schema.metadata or {})[_CHANNELS]))
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise _no_flight(path) from error


def provenance_in(schema: pa.Schema, path: Path) -> Provenance:
    """Where the samples came from, from a flight's metadata; errors as of :func:`log_of`."""
    try:
        return _provenance(json.loads((schema.metadata or {})[_PROVENANCE]))
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise _no_flight(path) from error


def _no_flight(path: Path) -> BookError:
    return BookError(
        "this table has not the metadata of a flight", path=path, hint="run busbook check-book"
    )


def recording_in(schema: pa.Schema) -> dict[str, Any]:
    """The book's record that was written into a flight's metadata; empty where there is none."""
    try:
        found = json.loads((schema.metadata or {}).get(_RECORDING, b"{}"))
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _channel(doc: dict[str, Any]) -> Channel:
    known = {f.name for f in fields(Channel)}
    kept = {k: v for k, v in doc.items() if k in known}
    kept["quantity"] = Quantity(kept["quantity"])
    kept["rivals"] = tuple(kept["rivals"])
    return Channel(**kept)


def _provenance(doc: dict[str, Any]) -> Provenance:
    kept: dict[str, Any] = {}
    for one in fields(Provenance):
        if one.name not in doc:
            continue
        value = doc[one.name]
        if isinstance(value, list):
            value = tuple(tuple(v) if isinstance(v, list) else v for v in value)
        elif value is None and isinstance(one.default, float):
            value = one.default  # NaN, which JSON has not
        kept[one.name] = value
    return Provenance(**kept)
