"""Generic CSV to Log: any dialect, read right or refused with a reason.

The stages, each a module that can be used alone: `text` (bytes to clean UTF-8), `dialect`
(separator, decimal mark), `layout` (preamble, header, data), `table` (parsing, with `repair` for
rows that stand out), `values` (cells to numbers), `names`, `words`, `places` and `header` (header
to readings), `stamps`, `timebase` and `clock` (time), `choose`, `pattern` and `resolve` (all
columns together).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from telemetry.model.lazily import lazily

if TYPE_CHECKING:
    from telemetry.importer.columnmap import ColumnMap as ColumnMap
    from telemetry.importer.columnmap import load_column_map as load_column_map
    from telemetry.importer.columnmap import save_column_map as save_column_map
    from telemetry.importer.describe import ColumnReport as ColumnReport
    from telemetry.importer.describe import Listing as Listing
    from telemetry.importer.describe import describe_columns as describe_columns
    from telemetry.importer.join import join_logs as join_logs
    from telemetry.importer.read import read_log as read_log
    from telemetry.importer.read import read_log_in as read_log_in

# Public name -> module that defines it: what an archive holds is looked up without what reads logs.
_HOME = {
    "ColumnMap": "telemetry.importer.columnmap",
    "ColumnReport": "telemetry.importer.describe",
    "Listing": "telemetry.importer.describe",
    "describe_columns": "telemetry.importer.describe",
    "join_logs": "telemetry.importer.join",
    "load_column_map": "telemetry.importer.columnmap",
    "read_log": "telemetry.importer.read",
    "read_log_in": "telemetry.importer.read",
    "save_column_map": "telemetry.importer.columnmap",
}

__all__ = list(_HOME)
__getattr__, __dir__ = lazily(__name__, _HOME)
