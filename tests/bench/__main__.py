"""Speed and memory as one Markdown table: ``python -m tests.bench`` from the root of the sources.

    python -m tests.bench [--rounds 5] [--quick]

Each time is the shortest of several rounds, the rivals taking turns, so that other work on the
machine disturbs it least. The logs are made here: a flight of 15 minutes of the invented aircraft,
and a table of 75 MB. ``--quick`` leaves the largest out. The readers it is compared with (pandas,
polars, duckdb, pyarrow) are told separator, decimal mark, names and types; busbook is told nothing.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from telemetry import Logbook, history, read_log, review
from telemetry.app.adding import add_logs
from telemetry.report.output import to_html, to_pdf
from telemetry.simulate.demo import tern_season
from telemetry.simulate.season import fly
from telemetry.simulate.telemetry.csvfile import write_csv
from tests.bench.measuring import best, table

Row = tuple[str, str, str]


def machine() -> str:
    """The machine in words."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [x for x in info.read_text().splitlines() if x.startswith("model name")]
        model = names[0].partition(":")[2].strip() if names else model
    versions = ", ".join(
        f"{name} {importlib.metadata.version(name)}" for name in ("numpy", "pandas", "pyarrow")
    )
    return (
        f"{os.cpu_count()} processors ({model}), {platform.system()}, "
        f"Python {platform.python_version()}, {versions}"
    )


def quarter_hour(folder: Path) -> tuple[list[str], list[list[str]]]:
    """Header and rows of a flight of 15 minutes, 24 columns at 10 Hz."""
    season = tern_season()
    season = replace(season, flights=1, habits=replace(season.habits, flight_s=780.0))
    path = write_csv(folder / "whole.csv", next(fly(season)), dialect=season.dialect)
    rows = [x.split(",") for x in path.read_text().splitlines() if not x.startswith("#")]
    seldom = ("temperature", "link quality", "lost packets")
    kept = [k for k, name in enumerate(rows[0]) if not any(word in name for word in seldom)]
    kept = sorted(kept + [k for k in range(len(rows[0])) if k not in kept][: 25 - len(kept)])
    table = [[r[k] for k in kept] for r in rows[:9001]]
    table[0][0] = "Time [s]"
    for i, row in enumerate(table[1:]):
        row[0] = f"{0.1 * i:.2f}"
    return table[0], table[1:]


def longer(path: Path, header: list[str], rows: list[list[str]], *, flights: int, hz: int) -> Path:
    """The flight so many times over, or with rows written faster than the sensors report."""
    repeat = hz // 10
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(header) + "\n")
        for flight in range(flights):
            for i, row in enumerate(rows):
                values = ",".join(row[1:])
                for j in range(repeat):
                    # The row in which a sensor reports holds its value, the next ones are blank.
                    t = 900.0 * flight + 0.1 * i + 0.1 * j / repeat
                    file.write(f"{t:.3f},{values if j == 0 else ',' * (len(row) - 2)}\n")
    return path


def readers(path: Path, names: list[str]) -> dict[str, Callable[[], Any]]:
    """The same file by other readers, each told everything; those that are installed."""
    import pandas
    import pyarrow
    import pyarrow.csv

    found: dict[str, Callable[[], Any]] = {
        "pyarrow": lambda: pyarrow.csv.read_csv(
            path,
            read_options=pyarrow.csv.ReadOptions(column_names=names, skip_rows=1),
            parse_options=pyarrow.csv.ParseOptions(delimiter=";"),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, pyarrow.float64()), decimal_point=","
            ),
        ),
        "pandas (C engine)": lambda: pandas.read_csv(
            path, sep=";", decimal=",", dtype=dict.fromkeys(names, "float64")
        ),
    }
    try:
        import polars

        found["polars"] = lambda: polars.read_csv(
            path, separator=";", decimal_comma=True, schema=dict.fromkeys(names, polars.Float64)
        )
    except ImportError:
        pass
    try:
        import duckdb

        found["duckdb"] = lambda: duckdb.read_csv(
            str(path), sep=";", decimal=",", dtype=dict.fromkeys(names, "DOUBLE")
        ).fetchnumpy()
    except ImportError:
        pass
    return found


def seconds(value: float) -> str:
    return f"{1000 * value:.0f} ms" if value < 1 else f"{value:.2f} s"


def reading(folder: Path, rounds: int, megabytes: int) -> list[Row]:
    """Import beside other readers."""
    path = folder / "table.csv"
    names = table(path, megabytes)
    others = readers(path, names)
    ours, *theirs = best(rounds, lambda: read_log(path), *others.values())
    size = path.stat().st_size / 1e6
    rows: list[Row] = [
        (f"read a log of {size:.0f} MB, 24 columns, told nothing", seconds(ours), "")
    ]
    for name, took in zip(others, theirs, strict=True):
        rows.append(
            (f"... {name}, told everything", seconds(took), f"busbook takes {ours / took:.1f} x")
        )
    path.unlink()
    return rows


def reviewing(folder: Path, rounds: int, sizes: Sequence[tuple[str, int, int]]) -> list[Row]:
    """Reading and reviewing logs of growing size."""
    header, flown = quarter_hour(folder)
    rows: list[Row] = []
    for words, flights, hz in sizes:
        path = longer(folder / "long.csv", header, flown, flights=flights, hz=hz)
        size = path.stat().st_size / 1e6
        log = read_log(path)
        few = rounds if size < 20 else 1
        read_s, review_s = best(few, lambda p=path: read_log(p), lambda x=log: review(x))
        rows.append(
            (f"read {words} ({size:.1f} MB, {log.provenance.rows} rows)", seconds(read_s), "")
        )
        rows.append(
            (
                "... and review it, nothing drawn",
                seconds(review_s),
                f"{review_s / read_s:.1f} x reading; {seconds(review_s / flights)} a flight",
            )
        )
    return rows


def reporting(folder: Path, rounds: int) -> list[Row]:
    """Reports, the book and the history."""
    header, flown = quarter_hour(folder)
    path = longer(folder / "flight.csv", header, flown, flights=1, hz=10)
    one = review(read_log(path))
    paper = folder / "flight.pdf"
    page_s, both_s = best(
        rounds,
        lambda: to_html(one),
        lambda: (to_html(one), to_pdf(one, paper)),
    )
    season = folder / "season"
    subprocess.run(
        [sys.executable, "-m", "telemetry", "demo", season], check=True, capture_output=True
    )
    logs = sorted(season.rglob("tern*.csv"))
    add_s = float("inf")
    for round_ in range(min(rounds, 3)):
        book = Logbook(folder / f"book{round_}")
        begun = time.perf_counter()
        add_logs(book, logs, aircraft="tern")
        add_s = min(add_s, (time.perf_counter() - begun) / len(logs))
    again_s, judged_s = best(
        rounds, lambda: add_logs(book, logs, aircraft="tern"), lambda: history(book, "tern")
    )
    return [
        ("HTML report of 15 minutes", seconds(page_s), f"{len(to_html(one)) / 1e6:.1f} MB"),
        ("HTML and PDF of 15 minutes", seconds(both_s), ""),
        ("add a log with its review to the book", seconds(add_s), "each, of the demo season"),
        ("add it again", seconds(again_s / len(logs)), "known by its content"),
        (f"history of {len(logs)} flights", seconds(judged_s), "from the book's measures"),
    ]


def starting(folder: Path, rounds: int) -> list[Row]:
    """Commands as a user gives them, each in a process of its own, its byte code kept."""

    def run(*command: str | Path) -> Callable[[], Any]:
        words, kept = [sys.executable, *command], {"PYTHONPYCACHEPREFIX": str(folder / "code")}
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | kept
        return lambda: subprocess.run(words, check=True, capture_output=True, env=environment)

    header, flown = quarter_hour(folder)
    path = longer(folder / "flight.csv", header, flown, flights=1, hz=10)
    busbook = ("-m", "telemetry")
    ours, theirs = best(3 * rounds, run(*busbook, "--help"), run("-c", "import click"))
    version, screen, plain = best(
        rounds,
        run(*busbook, "--version"),
        run(*busbook, "review", path),
        run(*busbook, "review", path, "--json"),
    )
    return [
        ("busbook --help", seconds(ours), f"{ours / theirs:.1f} x `python -c 'import click'`"),
        ("busbook --version", seconds(version), ""),
        (
            "busbook review, a flight of 15 minutes on the screen",
            seconds(screen),
            "the whole command",
        ),
        ("... --json", seconds(plain), "the whole command"),
    ]


def installed() -> list[Row]:
    """What `pip install` brings: busbook, what it requires, and what that requires."""
    sizes: dict[str, int] = {}
    wanted = ["busbook"]
    while wanted:
        name = canonicalize_name(wanted.pop())
        if name in sizes:
            continue
        found = importlib.metadata.distribution(name)
        files = [Path(found.locate_file(f)) for f in found.files or ()]
        if name == "busbook":  # installed from its sources, these are listed nowhere
            files += [p for p in Path("telemetry").rglob("*") if "__pycache__" not in p.parts]
        sizes[name] = sum(f.stat().st_size for f in files if f.is_file() and f.suffix != ".pyc")
        needs = map(Requirement, found.requires or ())
        wanted += [n.name for n in needs if n.marker is None or n.marker.evaluate({"extra": ""})]
    largest = sorted(sizes, key=lambda name: -sizes[name])[:8]
    told = ", ".join(f"{name} {sizes[name] / 1e6:.1f}" for name in (*largest, "busbook"))
    whole = f"{sum(sizes.values()) / 1e6:.0f} MB"
    return [("installed, without byte code", whole, f"{len(sizes)} packages: {told}")]


# The kernel's own high-water mark: that of getrusage counts the parent's as well.
MEMORY = """
import sys
from pathlib import Path
from telemetry import read_log, review
log = read_log(sys.argv[1])
if sys.argv[2] == "review":
    review(log)
for line in Path("/proc/self/status").read_text().splitlines():
    if line.startswith("VmHWM:"):
        print(line.split()[1])
"""


def memory(folder: Path, flights: int) -> list[Row]:
    """Peak memory of a process of its own, on Linux."""
    if not Path("/proc/self/status").exists():
        return []
    header, flown = quarter_hour(folder)
    rows: list[Row] = []
    for count in (1, flights):
        path = longer(folder / "memory.csv", header, flown, flights=count, hz=10)
        size = path.stat().st_size / 1e6
        for what in ("read", "review"):
            command = [sys.executable, "-c", MEMORY, path, what]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            peak = int(done.stdout) / 1e3
            rows.append((f"peak memory, {what} {size:.1f} MB", f"{peak:.0f} MB", ""))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="leave the largest files out")
    given = parser.parse_args()
    sizes = [("a flight of 15 minutes at 10 Hz", 1, 10), ("the same in rows of 100 Hz", 1, 100)]
    sizes += [("10 flights in one file", 10, 10)]
    if not given.quick:
        sizes += [("the flight in rows of 1000 Hz", 1, 1000), ("100 flights in one file", 100, 10)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [*installed(), *starting(folder, given.rounds)]
        rows += reading(folder, given.rounds, 20 if given.quick else 75)
        rows += reviewing(folder, given.rounds, sizes)
        rows += reporting(folder, given.rounds)
        rows += memory(folder, 10 if given.quick else 60)
    print(f"{machine()}\n")
    print("| what | shortest | |\n|---|---|---|")
    print("\n".join(f"| {' | '.join(row)} |" for row in rows))


if __name__ == "__main__":
    main()
