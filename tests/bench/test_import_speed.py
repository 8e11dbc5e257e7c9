"""How fast a log is read, beside pyarrow's own CSV reader that is told everything beforehand.

    python -m pytest tests/bench/test_import_speed.py

Our reader finds separator, decimal comma, header and time by itself, checks and hashes the file;
the other is told separator, decimal mark, names and types. Both read 75 MB, 24 channels.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from telemetry import Log, read_log

PLACES = ("Akku 1", "Akku 2", "Verteiler", "Fläche links", "Fläche rechts", "Leitwerk", "Knoten 4")
MEGABYTES = 75
ROW_BYTES = 143
ROUNDS = 5


def make(path: Path, rows: int) -> list[str]:
    """Write an invented log of a time and 23 channels in a German dialect."""
    rng = np.random.default_rng(1)
    names = ["Zeit [s]"]
    columns = [np.char.mod("%.2f", np.arange(rows) * 0.1)]
    for place in PLACES:
        for quantity, unit, values in (
            ("Spannung", "V", np.char.mod("%.3f", 8.2 - 0.3 * rng.random(rows))),
            ("Strom", "A", np.char.mod("%.3f", rng.gamma(2.0, 1.0, rows))),
            ("Temperatur", "°C", np.char.mod("%.1f", 25 + 5 * rng.random(rows))),
        ):
            names.append(f"{place} {quantity} [{unit}]")
            columns.append(values)
    for i in (1, 2):
        names.append(f"Akku {i} Verbrauch [mAh]")
        columns.append(np.char.mod("%.1f", np.arange(rows) * 0.01 * i))
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(";".join(names) + "\n")
        for start in range(0, rows, 20_000):
            block = np.array([c[start : start + 20_000] for c in columns]).T
            text = "\n".join(map(";".join, block.tolist())).replace(".", ",")
            file.write(text + "\n")
    return names


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    path = tmp_path_factory.mktemp("speed") / "big.csv"
    names = make(path, MEGABYTES * 1_000_000 // ROW_BYTES)
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


def best_of(rounds: int, *calls: object) -> list[float]:
    """Shortest time of each call, the calls taking turns so that a busy machine hits both."""
    best = [float("inf")] * len(calls)
    for _ in range(rounds):
        for i, call in enumerate(calls):
            begin = time.perf_counter()
            assert callable(call)
            call()
            best[i] = min(best[i], time.perf_counter() - begin)
    return best


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
    theirs, ours = best_of(ROUNDS, lambda: told(path, names), lambda: read_log(path))
    print(f"\npyarrow told everything {theirs:.3f} s, read_log {ours:.3f} s, x{ours / theirs:.2f}")
    assert ours <= 2.5 * theirs


def test_a_log_of_200_kb_takes_under_50_ms(tmp_path: Path) -> None:
    path = tmp_path / "small.csv"
    make(path, 200_000 // ROW_BYTES)
    assert 0.8 < path.stat().st_size / 200_000 < 1.2
    read_log(path)
    (ours,) = best_of(15, lambda: read_log(path))
    print(f"\n200 kB: {1000 * ours:.1f} ms")
    assert ours < 0.050


@pytest.mark.benchmark(group="75 MB")
def test_read_log(big: tuple[Path, list[str]], benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(read_log, args=(big[0],), rounds=3, warmup_rounds=1)


@pytest.mark.benchmark(group="75 MB")
def test_pyarrow_told(big: tuple[Path, list[str]], benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(told, args=big, rounds=3, warmup_rounds=1)
