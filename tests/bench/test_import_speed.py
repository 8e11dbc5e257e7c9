"""How fast a log is read, beside pyarrow's own CSV reader that is told everything beforehand.

    python -m pytest tests/bench/test_import_speed.py

Our reader finds separator, decimal comma, header and time by itself, checks and hashes the file;
the other is told separator, decimal mark, names and types. Both read 75 MB, 24 channels.
"""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from telemetry import Log, read_log
from tests.bench.measuring import best, table

MEGABYTES = 75
ROUNDS = 5


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    path = tmp_path_factory.mktemp("speed") / "big.csv"
    names = table(path, MEGABYTES)
    size = path.stat().st_size
    assert 0.9 * MEGABYTES < size / 1e6 < 1.15 * MEGABYTES
    return path, names


def told(path: Path, names: list[str]) -> pa.Table:
    """pyarrow's reader, told everything."""
    return pyarrow.csv.read_csv(
        path,
        read_options=pyarrow.csv.ReadOptions(column_names=names, skip_rows=1),
        parse_options=pyarrow.csv.ParseOptions(delimiter=";"),
        convert_options=pyarrow.csv.ConvertOptions(
            column_types={n: pa.float64() for n in names}, decimal_point=","
        ),
    )


def test_a_75_mb_log_takes_at_most_two_and_a_half_times_as_long(
    big: tuple[Path, list[str]],
) -> None:
    path, names = big
    log: Log = read_log(path)
    table = told(path, names)
    assert len(log.frame.columns) == 23
    assert log.provenance.rows == table.num_rows
    assert log.provenance.decimal == ","
    assert len(log.provenance.sha256) == 64
    theirs, ours = best(ROUNDS, lambda: told(path, names), lambda: read_log(path))
    print(f"\npyarrow told everything {theirs:.3f} s, read_log {ours:.3f} s, x{ours / theirs:.2f}")
    assert ours <= 2.5 * theirs


def test_a_log_of_200_kb_takes_under_50_ms(tmp_path: Path) -> None:
    path = tmp_path / "small.csv"
    table(path, 0.2)
    assert 0.8 < path.stat().st_size / 200_000 < 1.2
    read_log(path)
    (ours,) = best(15, lambda: read_log(path))
    print(f"\n200 kB: {1000 * ours:.1f} ms")
    assert ours < 0.050


@pytest.mark.benchmark(group="75 MB")
def test_read_log(big: tuple[Path, list[str]], benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(read_log, args=(big[0],), rounds=3, warmup_rounds=1)


@pytest.mark.benchmark(group="75 MB")
def test_pyarrow_told(big: tuple[Path, list[str]], benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(told, args=big, rounds=3, warmup_rounds=1)
