"""Files that continue each other, joined on request."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from telemetry import UnreadableLog, join_logs, read_log


def part(path: Path, times: list[str], head: str = "Time", more: str = "8.2") -> Path:
    rows = "".join(f"{t},{more}\n" for t in times)
    path.write_text(f"{head},Pack 1 voltage [V]\n{rows}", encoding="utf-8")
    return path


def logs(*paths: Path) -> list:
    return [read_log(p) for p in paths]


def test_dates_tell_order_and_distance(tmp_path: Path) -> None:
    b = part(tmp_path / "b.csv", [f"2026-10-17T10:05:0{i}" for i in range(5)])
    a = part(tmp_path / "a.csv", [f"2026-10-17T10:00:0{i}" for i in range(5)])
    joined = join_logs(logs(b, a))
    np.testing.assert_allclose(joined.time_s, [*range(5), *range(300, 305)])
    p = joined.provenance
    assert p.start == "2026-10-17T10:00:00"
    assert p.recordings == ((0.0, 4.0), (300.0, 304.0))
    assert (p.rows, p.rows_refused) == (10, 0)
    assert p.notes[0] == "2 files are joined by their dates"
    digests = "".join(hashlib.sha256(x.read_bytes()).hexdigest() for x in (a, b))
    assert p.sha256 == hashlib.sha256(digests.encode()).hexdigest()


def test_a_clock_that_runs_on_tells_the_distance(tmp_path: Path) -> None:
    a = part(tmp_path / "a.csv", ["0.0", "0.5", "1.0"], "Time [s]")
    b = part(tmp_path / "b.csv", ["1.5", "2.0"], "Time [s]")
    joined = join_logs(logs(b, a))
    np.testing.assert_allclose(joined.time_s, [0, 0.5, 1, 1.5, 2])
    assert "by the clock that runs on" in joined.provenance.notes[0]


def test_clocks_that_start_again_are_laid_behind_each_other(tmp_path: Path) -> None:
    a = part(tmp_path / "a.csv", ["0.0", "0.5"], "Time [s]")
    b = part(tmp_path / "b.csv", ["0.0", "0.5"], "Time [s]", "8.1")
    joined = join_logs(logs(a, b))
    np.testing.assert_allclose(joined.time_s, [0, 0.5, 10.5, 11])
    assert joined.provenance.notes[0] == "2 files are joined in the order given, 10 s apart"


def test_a_part_without_a_channel_has_no_values_for_it(tmp_path: Path) -> None:
    a = part(tmp_path / "a.csv", ["0.0", "0.5"], "Time [s]")
    b = tmp_path / "b.csv"
    b.write_text("Time [s],Bus voltage [V],Mode\n1.0,5.9,x\n1.5,5.8,y\n", encoding="utf-8")
    joined = join_logs(logs(a, b))
    np.testing.assert_array_equal(joined.values("pack 1/voltage"), [8.2, 8.2, np.nan, np.nan])
    np.testing.assert_array_equal(joined.values("bus/voltage"), [np.nan, np.nan, 5.9, 5.8])
    assert list(joined.text["Mode"]) == [None, None, "x", "y"]


def test_what_cannot_be_joined(tmp_path: Path) -> None:
    a = part(tmp_path / "a.csv", [f"2026-10-17T10:00:0{i}" for i in range(5)])
    b = part(tmp_path / "b.csv", [f"2026-10-17T10:00:0{i}" for i in range(2, 7)])
    with pytest.raises(UnreadableLog, match=r"b\.csv: overlaps with .*a\.csv in time"):
        join_logs(logs(a, b))
    with pytest.raises(UnreadableLog, match="has the same content as"):
        join_logs(logs(a, a))
    with pytest.raises(UnreadableLog, match="no logs are given to join"):
        join_logs([])
    (one,) = logs(a)
    assert join_logs([one]) is one
