"""Cost of the logbook: adding 10, 100 and 1,000 logs of 8 minutes, adding again, two workers.

    python -m pytest tests/bench/test_book_speed.py -s -p no:xdist

BUSBOOK_BENCH_LOGS takes another number than 1,000. The ratio of two workers to one process is that
of a machine of two cores with nothing else to do.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from telemetry.app.incoming.batch import Incoming, ReadFile, add_files, read_file
from telemetry.app.pipeline import review
from telemetry.app.workers import worker_pool
from telemetry.book import Logbook
from tests.bench.measuring import memory_mb

LOGS = int(os.environ.get("BUSBOOK_BENCH_LOGS", "1000"))
SECONDS, ROWS_PER_S = 480, 10


def columns(rng: np.random.Generator) -> dict[str, np.ndarray]:
    """An invented aircraft of two packs and four nodes, 24 columns: rest, stir, flight, rest."""
    rows = SECONDS * ROWS_PER_S
    t = np.arange(rows) / ROWS_PER_S
    stir, fly = (t > 60) & (t < 75), (t > 120) & (t < 430)
    nodes = {"Left Wing": 4, "Right Wing": 4, "Tail": 3, "Fuselage": 2}
    amps = {
        place: np.repeat(0.15 * n + rng.gamma(2, 0.15 * n, rows)[::2] * (0.7 * fly + stir)[::2], 2)
        for place, n in nodes.items()
    }
    total = sum(amps.values())
    used = np.cumsum(total) / ROWS_PER_S / 3.6
    found = {}
    for pack in (1, 2):
        found[f"Pack {pack} U [V]"] = np.round(8.2 - used / 8000 - 0.015 * total, 2)
        found[f"Pack {pack} I [A]"] = np.round(total / 2, 1)
        found[f"Pack {pack} used [mAh]"] = np.floor(used / 2)
    found["Bus U [V]"] = np.round(7.4 - 0.01 * total, 2)
    found["Bus I [A]"] = np.round(total, 1)
    for place, current in amps.items():
        found[f"{place} U [V]"] = np.round(7.4 - 0.01 * total - 0.025 * current, 2)
        found[f"{place} I [A]"] = np.round(current, 1)
        found[f"{place} T [degC]"] = np.round(22 + used / 200)
    found["Link [%]"] = np.round(100 - rng.exponential(2, rows))
    found["Altitude [m]"] = np.where(fly, 80, 0)
    for control in ("Aileron", "Elevator"):
        swing = 100 * np.sin(3 * t) * stir + 30 * rng.standard_normal(rows) * fly
        found[f"{control} [%]"] = np.round(swing)
    return found


@pytest.fixture(scope="module")
def logs() -> Iterator[list[Path]]:
    """Logs that differ in a few rows: enough to be recordings of their own."""
    table = columns(np.random.default_rng(1))
    head = ",".join(["Time [s]", *table])
    times = [f"{i / ROWS_PER_S:.1f}" for i in range(SECONDS * ROWS_PER_S)]
    rows = [",".join(f"{v:g}" for v in row) for row in zip(*table.values(), strict=True)]
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for number in range(LOGS):
            own = rows.copy()
            own[number % 500] = rows[2000 + number]
            lines = [f"{t},{r}" for t, r in zip(times, own, strict=True)]
            path = Path(folder, f"log {number}.csv")
            path.write_text("\n".join([head, *lines, ""]))
            paths.append(path)
        yield paths


def seconds_to_add(
    paths: list[Path], root: Path, executor: Executor | None = None, read: ReadFile = read_file
) -> float:
    book = Logbook(root)
    began = time.perf_counter()
    outcomes = add_files(book, paths, aircraft="tern", executor=executor, read=read)
    took = time.perf_counter() - began
    assert {o.status for o in outcomes} == {"added"}
    return took


def test_cost_grows_linearly_and_adding_again_is_nearly_free(
    logs: list[Path], tmp_path: Path
) -> None:
    size_mb = logs[0].stat().st_size / 1e6
    print(f"\nlogs of {size_mb:.2f} MB, {SECONDS * ROWS_PER_S} rows, 24 columns")
    print("  logs   add, ms/log   of it CPU   again, ms/log   list, ms   peak, MB   book, kB/log")
    seconds_to_add(logs[:5], tmp_path / "warm")
    cost = {}
    for count in (n for n in (10, 100, 1000) if n <= LOGS):
        root = tmp_path / str(count)
        busy = time.process_time()
        took = seconds_to_add(logs[:count], root)
        cost[count] = (time.process_time() - busy) / count
        began = time.perf_counter()
        again = add_files(Logbook(root), logs[:count], aircraft="tern")
        repeated = time.perf_counter() - began
        assert {o.status for o in again} == {"known"}
        began = time.perf_counter()
        assert len(Logbook(root).flights("tern")) == count
        listed = time.perf_counter() - began
        kept = sum(p.stat().st_size for p in root.rglob("*") if p.is_file()) / count / 1000
        print(
            f"{count:6d} {took / count * 1e3:13.1f} {cost[count] * 1e3:11.1f} "
            f"{repeated / count * 1e3:15.2f} {listed * 1e3:10.1f} {memory_mb():10.0f} {kept:14.0f}"
        )
        assert repeated < 0.05 * took
        shutil.rmtree(root)
    # A log costs no more in a full book than in an empty one: by processor time, which other work
    # on the machine disturbs little.
    assert cost[max(cost)] < 1.5 * min(cost.values())


def read_and_review(path: Path) -> Incoming:
    """As the command adds: the review finds the flights and the measures come from it."""
    incoming = read_file(path)
    found = review(incoming.log)
    measures = tuple({"kind": f.kind, "events": len(f.events)} for f in found.flights)
    return replace(incoming, flights=found.flights, measures=measures, version="bench")


@pytest.mark.parametrize(
    ("read", "share"), [(read_file, 1.0), (read_and_review, 0.1)], ids=["read", "read and review"]
)
def test_two_workers(logs: list[Path], tmp_path: Path, read: ReadFile, share: float) -> None:
    """Taken by turns in five portions, so that other work on the machine meets both alike."""
    count = max(5, int(len(logs) * share) // 5 * 5)
    alone, together = [], []
    with worker_pool(2) as pool:
        seconds_to_add(logs[:8], tmp_path / "warm", pool, read)
        for turn in range(5):
            portion = logs[turn:count:5]
            alone.append(seconds_to_add(portion, tmp_path / f"one {turn}", None, read))
            together.append(seconds_to_add(portion, tmp_path / f"two {turn}", pool, read))
    ratios = [a / b for a, b in zip(alone, together, strict=True)]
    print(
        f"\n{count} logs: {count / sum(alone):.1f} a second by one process, "
        f"{count / sum(together):.1f} by two workers: {np.median(ratios):.2f} times "
        f"({min(ratios):.2f} to {max(ratios):.2f})"
    )
    assert np.median(ratios) > 1.6
