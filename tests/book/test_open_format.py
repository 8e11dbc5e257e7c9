"""The book without this program: any Parquet engine, any zstd tool, any text editor."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import telemetry
from telemetry.book import Logbook

Make = Callable[..., Any]


@pytest.fixture
def season(book: Logbook, make: Make) -> dict[str, Any]:
    """Three flights of two aircraft with different columns, and a leftover of a crash."""
    found = {}
    for seed, aircraft, places in (
        (1, "tern", ("bus", "left wing")),
        (2, "tern", ("bus", "left wing", "tail")),
        (3, "petrel", ("bus",)),
    ):
        made = make(seed=seed, places=places, start=f"2026-05-1{seed}T10:00:00")
        found[book.add(made.log, aircraft=aircraft, source=made.data).flights[0]] = made
    (book.path / "flights" / "aircraft=tern" / ".0123.part").write_bytes(b"PAR1half")
    return found


def test_pyarrow_dataset_alone_reads_the_book(book: Logbook, season: dict[str, Any]) -> None:
    """In a process of its own that never imports this package."""
    program = """
import sys, json, pyarrow as pa, pyarrow.dataset as ds, pyarrow.compute as pc
root = sys.argv[1]
data = ds.dataset(root, format="parquet", partitioning="hive")
every = pa.unify_schemas([f.physical_schema for f in data.get_fragments()])
every = every.append(pa.field("aircraft", pa.string()))
data = ds.dataset(root, schema=every, format="parquet", partitioning="hive")
table = data.to_table(filter=pc.field("aircraft") == "tern",
                      columns=["time_s", "left wing/current", "tail/voltage", "aircraft"])
print(json.dumps({
    "rows": data.count_rows(),
    "columns": every.names,
    "tern": table.num_rows,
    "tail": table.num_rows - table["tail/voltage"].null_count,
    "sum": pc.sum(table["left wing/current"]).as_py(),
    "ours": [m for m in sys.modules if m.split(".")[0] == "telemetry"],
}))
"""
    done = subprocess.run(
        [sys.executable, "-I", "-c", program, str(book.path / "flights")],
        capture_output=True,
        text=True,
        check=True,
    )
    said = json.loads(done.stdout)
    assert said["ours"] == []
    assert said["rows"] == 120
    assert said["tern"] == 80
    assert {"time_s", "bus/voltage", "left wing/current", "tail/voltage", "aircraft"} <= set(
        said["columns"]
    )
    logs = [m.log for m in season.values()]
    assert said["tail"] == logs[1].frame["tail/voltage"].notna().sum()
    wanted = sum(np.nansum(log.values("left wing/current")) for log in logs[:2])
    assert said["sum"] == pytest.approx(wanted, rel=1e-12)


def test_pandas_reads_the_book_partition_by_partition(
    book: Logbook, season: dict[str, Any]
) -> None:
    for aircraft, count in (("tern", 2), ("petrel", 1)):
        files = sorted((book.path / "flights" / f"aircraft={aircraft}").glob("*.parquet"))
        assert len(files) == count
        for file in files:
            frame = pd.read_parquet(file, partitioning=None).set_index("time_s")
            log = season[file.stem].log
            pd.testing.assert_frame_equal(frame[list(log.frame)], log.frame)
            assert (
                frame["file/status"].dropna().tolist() == log.text["file/status"].dropna().tolist()
            )


def test_an_sql_engine_in_process_reads_the_book(book: Logbook, season: dict[str, Any]) -> None:
    duckdb = pytest.importorskip("duckdb", reason="duckdb is not installed")
    with duckdb.connect() as connection:
        found = connection.execute(
            """
            SELECT aircraft, count(*), avg("bus/voltage"), max("tail/voltage")
            FROM read_parquet(?, hive_partitioning = true, union_by_name = true)
            GROUP BY aircraft ORDER BY aircraft
            """,
            [f"{book.path}/flights/*/*.parquet"],
        ).fetchall()
    assert [row[:2] for row in found] == [("petrel", 40), ("tern", 80)]
    logs = [m.log for m in season.values()]
    volts = np.concatenate([log.values("bus/voltage") for log in logs[:2]])
    assert found[1][2] == pytest.approx(np.nanmean(volts), rel=1e-12)
    assert found[0][3] is None
    assert found[1][3] == logs[1].frame["tail/voltage"].max()


def test_the_examples_of_the_guide(
    book: Logbook, season: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQL and pandas alone, run as they stand beside a book."""
    pytest.importorskip("duckdb", reason="duckdb is not installed")
    page = Path(telemetry.__file__).parent / "guide" / "book.md"
    text = page.read_text(encoding="utf-8")
    _, sql, pandas_alone = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(book.path.parent)
    lowest = {
        name: min(
            float(np.nanmin(made.log.values("bus/voltage")))
            for flight, made in season.items()
            if (book.path / "flights" / f"aircraft={name}" / f"{flight}.parquet").exists()
        )
        for name in ("petrel", "tern")
    }
    found: dict[str, Any] = {}
    exec(sql, found)
    assert found["lowest"] == [("petrel", 1, lowest["petrel"]), ("tern", 2, lowest["tern"])]
    found = {}
    exec(pandas_alone, found)
    assert found["lowest"] == {f"aircraft={name}": value for name, value in lowest.items()}


def test_the_metadata_tells_where_the_samples_came_from(
    book: Logbook, season: dict[str, Any]
) -> None:
    import pyarrow.parquet as pq

    flight, made = next(iter(season.items()))
    path = book.path / "flights" / "aircraft=tern" / f"{flight}.parquet"
    schema = pq.read_schema(path)
    provenance = json.loads(schema.metadata[b"busbook.provenance"])
    assert provenance["sha256"] == made.log.provenance.sha256
    assert provenance["row_s"] is None  # and not NaN, which is no JSON
    channels = json.loads(schema.metadata[b"busbook.channels"])
    assert [c["column"] for c in channels] == [c.column for c in made.log.channels]
    assert schema.field("left wing/current").metadata[b"unit"] == b"A"
    assert json.loads(schema.metadata[b"busbook.recording"])["aircraft"] == "tern"


def test_the_original_unpacks_with_the_usual_tool(
    book: Logbook, season: dict[str, Any], tmp_path: Path
) -> None:
    tool = shutil.which("zstd")
    if tool is None:
        pytest.skip("the command zstd is not installed")
    flight, made = next(iter(season.items()))
    packed = book.path / "originals" / f"{flight.partition('-')[0]}.csv.zst"
    done = subprocess.run([tool, "-dc", packed], capture_output=True, check=True)
    assert done.stdout == made.data


# A book as layout 1 wrote it, kept for ever: what later versions must go on reading.
LAYOUT_1 = Path(__file__).parent / "layout1"


def test_a_book_of_layout_1_is_read(tmp_path: Path) -> None:
    shutil.copytree(LAYOUT_1, tmp_path / "book")
    wanted = json.loads((LAYOUT_1 / "expected.json").read_text(encoding="utf-8"))
    (tmp_path / "book" / "expected.json").unlink()
    book = Logbook(tmp_path / "book")
    assert book.aircraft() == ("tern",)
    assert [f.id for f in book.flights("tern")] == wanted["flights"]
    assert [(f.start, f.start_source, f.kind) for f in book.flights("tern")] == [
        ("2026-05-14T10:00:00", "log", "flight"),
        ("2026-05-14T10:00:03", "log", "bench"),
    ]
    frame = book.read(wanted["flights"][1]).frame
    assert frame["bus/voltage"].fillna(-1).tolist() == wanted["bus/voltage"]
    (recording,) = book.recordings()
    assert book.original(recording.id).decode() == wanted["original"]
    (note,) = book.notes("tern")
    assert (note.kind, note.place, note.text) == ("repaired", "left wing", "connector cleaned")
    # Measures have no hash of their own in it: they are worked out anew.
    assert book.get_measures(wanted["flights"][0], "1") is None
    assert book.learnt("tern")[0].settings == {"Bus voltage [V]": "bus/voltage[V]"}
    profile = book.profile("tern")
    assert profile is not None
    assert profile.name == "Tern"
    report = book.check_book()
    assert report.problems == ()
    assert report.rebuilt == ()
    assert tomllib.loads((LAYOUT_1 / "format.toml").read_text())["layout"] == 1
