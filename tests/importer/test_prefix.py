"""Every prefix of a good file is read or refused cleanly, and rows are accounted for."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from telemetry import BusbookError, read_log

GOOD = Path(__file__).parents[1] / "data" / "good"
FILES = [
    "separator_semicolon_decimal_comma.csv",
    "sensor_row_unit_row.csv",
    "quotes_doubled.csv",
    "utf16_le.csv",
    "long.csv",
    "preamble.csv",
    "time_date_and_time.csv",
    "header_repeated_with_preamble.csv",
    "windows_1252.csv",
]


#: Lines between the first one of the names and the first row.
MORE_HEADER_LINES = {
    "header_descriptions_below": 1,
    "header_many_line_ends": 7,
    "header_remark_behind": 1,
    "header_separators_behind": 2,
    "quoted_line_end_in_header": 2,
    "sensor_row_unit_row": 1,
    "unit_row": 1,
}


@pytest.mark.parametrize("name", FILES)
def test_every_prefix_reads_or_is_refused(name: str, tmp_path: Path) -> None:
    whole = (GOOD / name).read_bytes()
    full = read_log(GOOD / name)
    path = tmp_path / "log.csv"
    read = 0
    for end in range(len(whole)):
        path.write_bytes(whole[:end])
        try:
            log = read_log(path)
        except BusbookError as error:
            if not str(error).startswith(str(path)):
                pytest.fail(f"prefix of {end} bytes: {error}")
            continue
        read += 1
        assert (np.diff(log.time_s) >= 0).all()
        # What is read of a cut file is what the whole file says, or nothing.
        for key in set(log.frame) & set(full.frame):
            got, want = log.values(key), full.values(key)
            n = min(len(got), len(want)) - 1
            same = np.isclose(got[:n], want[:n], equal_nan=True) | np.isnan(got[:n])
            assert same.all(), (end, key, got, want)
    assert read > 0.15 * len(whole)


@pytest.mark.parametrize("path", sorted(GOOD.glob("*.csv")), ids=lambda p: p.stem)
def test_rows_read_and_rows_refused_are_the_rows_of_the_file(path: Path) -> None:
    log = read_log(path, row_interval_s=0.1 if path.stem == "time_none" else None)
    p = log.provenance
    text = path.read_bytes().decode(p.encoding, errors="replace").replace("\ufeff", "").rstrip("\0")
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    first = 0
    if p.header_line is not None:
        first = p.header_line
    elif path.stem in ("no_header", "long_no_header"):
        first = 0
    below = text.split("\n")[first + MORE_HEADER_LINES.get(path.stem, 0) :]
    header = text.split("\n")[first - 1] if first else None
    no_rows = ("#", "Rows:", "End of log", "Max,", "Model;")
    rows = [
        line for line in below if line.strip() and line != header and not line.startswith(no_rows)
    ]
    if path.stem == "quotes_doubled":
        rows = list(csv.reader(io.StringIO("\n".join(rows))))
    headers = 1 if path.stem.startswith("header_changes") else 0
    assert p.rows + p.rows_refused == len(rows) - headers
    assert len(p.refused_lines) == p.rows_refused
