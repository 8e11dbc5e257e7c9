"""Generic CSV to Log: any dialect, read right or refused with a reason.

The stages, each a module that can be used alone: `text` (bytes to clean UTF-8), `dialect`
(separator, decimal mark), `layout` (preamble, header, data), `table` (parsing, with `repair` for
rows that stand out), `values` (cells to numbers), `names`, `words`, `places` and `header` (header
to readings), `stamps`, `timebase` and `clock` (time), `choose`, `pattern` and `resolve` (all
columns together).
"""

from telemetry.importer.columnmap import ColumnMap, load_column_map, save_column_map
from telemetry.importer.describe import ColumnReport, Listing, describe_columns
from telemetry.importer.join import join_logs
from telemetry.importer.read import read_log, read_log_in

__all__ = [
    "ColumnMap",
    "ColumnReport",
    "Listing",
    "describe_columns",
    "join_logs",
    "load_column_map",
    "read_log",
    "read_log_in",
    "save_column_map",
]
