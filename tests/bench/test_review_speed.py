"""Speed of the review of a 15-minute, 10 Hz, 24-column log, and of the command's start.

    python -m pytest tests/bench/test_review_speed.py

The log is a flight of an invented aircraft by the simulator. Steps stand side by side in one
table; the limits are asked of the shortest of several rounds, which a busy machine disturbs least.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from telemetry import Log, read_log
from telemetry.app.pipeline import review
from telemetry.report.documents.of_review import document_of
from telemetry.report.output import to_html
from telemetry.report.writers import json, terminal
from telemetry.results import Review
from telemetry.simulate.demo import tern_season
from telemetry.simulate.season import fly
from telemetry.simulate.telemetry.csvfile import write_csv
from tests.bench.measuring import best

ROWS, COLUMNS = 9000, 24
HELP = (sys.executable, "-m", "telemetry", "--help")
CLICK = (sys.executable, "-c", "import click")
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A quarter of an hour of one flight: packs, bus, three nodes, sticks, height and speed."""
    season = tern_season()
    season = replace(season, flights=1, habits=replace(season.habits, flight_s=780.0))
    whole = write_csv(
        tmp_path_factory.mktemp("speed") / "whole.csv", next(fly(season)), dialect=season.dialect
    )
    lines = [x for x in whole.read_text().splitlines() if not x.startswith("#")]
    rows = [line.split(",") for line in lines]
    seldom = ("temperature", "link quality", "lost packets")
    kept = [k for k, name in enumerate(rows[0]) if not any(word in name for word in seldom)]
    kept += [k for k in range(len(rows[0])) if k not in kept][: COLUMNS + 1 - len(kept)]
    out = whole.with_name("flight.csv")
    out.write_text("\n".join(",".join(r[k] for k in sorted(kept)) for r in rows[: ROWS + 1]) + "\n")
    return out


@pytest.fixture(scope="module")
def log(path: Path) -> Log:
    """The log, read."""
    read = read_log(path)
    assert read.frame.shape == (ROWS, COLUMNS)
    return read


@pytest.fixture(scope="module")
def reviewed(log: Log) -> Review:
    """Its review."""
    found = review(log)
    assert [f.kind for f in found.flights] == ["flight"]
    assert len(found.flights[0].resistances) > 5
    return found


def run(command: tuple[str, ...]) -> None:
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT)


def test_a_review_takes_under_a_second_and_its_page_under_five(
    path: Path, log: Log, reviewed: Review
) -> None:
    reading, reviewing, page = best(
        5, lambda: read_log(path), lambda: review(log), lambda: to_html(reviewed)
    )
    print(f"\nread_log {reading:.3f} s, review {reviewing:.3f} s, HTML {page:.3f} s")
    assert reviewing < 1.0
    assert page < 5.0


def test_help_takes_at_most_three_times_as_long_as_click() -> None:
    ours, theirs = best(10, lambda: run(HELP), lambda: run(CLICK))
    print(f"\nimport click {theirs:.3f} s, busbook --help {ours:.3f} s, x{ours / theirs:.2f}")
    assert ours <= 3.0 * theirs


@pytest.mark.benchmark(group="15-minute log, 24 columns at 10 Hz")
def test_read_log(path: Path, benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(read_log, args=(path,), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="15-minute log, 24 columns at 10 Hz")
def test_review(log: Log, benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(review, args=(log,), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="15-minute log, 24 columns at 10 Hz")
def test_terminal(reviewed: Review, benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(
        lambda one: terminal.text_of(document_of(one)), args=(reviewed,), rounds=5, warmup_rounds=1
    )


@pytest.mark.benchmark(group="15-minute log, 24 columns at 10 Hz")
def test_json(reviewed: Review, benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(lambda: json.dumps(json.document([reviewed])), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="15-minute log, 24 columns at 10 Hz")
def test_html(reviewed: Review, benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(to_html, args=(reviewed,), rounds=3, warmup_rounds=1)


@pytest.mark.benchmark(group="start of the command")
def test_busbook_help(benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(run, args=(HELP,), rounds=10, warmup_rounds=1)


@pytest.mark.benchmark(group="start of the command")
def test_import_click(benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(run, args=(CLICK,), rounds=10, warmup_rounds=1)
