"""Wild cells planted in every column of many logs: no verdict may move, nothing may be printed.

    python tests/full/wild_cells.py [--number 10000] [--seed 1] [--workers 1] [--list] [--keep DIR]

The logs are the samples and, in turn, ones of the three makers of ``tests/accuracy/one_log``, sound
and with a fault. Each is reviewed as it is and again with wild cells: one to five in each of one to
six columns, any column, the clock's too, as ``wild_planting`` tells them. Where the verdict moved,
the log is reviewed once more with those cells empty: what an empty cell moves as well came of the
reading that is gone, and not of the number in its place. Where the verdict or a finding moved,
``--list`` says in which log and which cells it was, and ``--keep`` keeps it.
Every twentieth log goes through the command as well, with its page. Exits with 1 where a verdict
moved, a warning came or an error.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from itertools import count, islice
from pathlib import Path

from click.testing import CliRunner

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

from telemetry.app.pipeline import review  # noqa: E402
from telemetry.app.workers import worker_pool  # noqa: E402
from telemetry.cli import main as command  # noqa: E402
from telemetry.importer import read_log  # noqa: E402
from telemetry.model.errors import BusbookError  # noqa: E402
from tests.accuracy.one_log.kinds import KINDS, SAMPLINGS_S  # noqa: E402
from tests.accuracy.one_log.making import plant  # noqa: E402
from tests.full.wild_planting import WHAT, Cell, Table, emptied, spoil  # noqa: E402

#: So often a log is spoilt, each time otherwise; every so many goes through the command as well.
_TIMES, _EVERY = 8, 20
#: After so many it is told how far it is.
_TOLD = 40


#: The verdict, and the findings as level, code and place.
Said = tuple[str, tuple[str, ...]]


@dataclass(frozen=True, kw_only=True)
class Case:
    """What became of one spoilt log.

    ``emptied`` is the verdict with those cells empty, looked for where the verdict moved.
    """

    name: str
    cells: tuple[Cell, ...]
    verdict: tuple[str, str]
    gone: tuple[str, ...] = ()
    come: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    error: str = ""
    emptied: str = ""
    titles: tuple[str, ...] = field(default=(), repr=False)

    @property
    def moved(self) -> bool:
        """Whether what was planted moved the verdict, and not what was lost with it."""
        return self.verdict[0] != self.verdict[1] != self.emptied

    @property
    def lost(self) -> bool:
        """Whether the readings that are gone moved the verdict."""
        return self.verdict[0] != self.verdict[1] == self.emptied


def said(path: Path) -> Said:
    """What is said of a log."""
    one = review(read_log(path))
    return str(one.verdict), tuple(sorted(f"{f.level} {f.code} {f.place}" for f in one.findings))


def _through_the_command(path: Path) -> list[str]:
    """Warnings that the command printed while it wrote the page of a log, and what broke it."""
    done = CliRunner().invoke(command, ["review", str(path), "--out", str(path.parent / "page")])
    told = [line for line in done.output.splitlines() if "Warning" in line or "Traceback" in line]
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        told.append(f"command: {done.exception!r}")
    return told


def said_of(data: bytes) -> Said:
    """What is said of a log as it is."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "log.csv"
        path.write_bytes(data)
        return said(path)


def examine(
    table: Table, before: Said, name: str, seed: int, keep: Path | None = None, *, page: bool
) -> Case:
    """Spoil a log and hold what is said of it against what is said of it as it is."""
    chance = random.Random(f"{seed} {name}")
    spoilt, cells = spoil(table, chance)
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        path = Path(folder) / "log.csv"
        path.write_bytes(spoilt)
        error, after = "", ("", ())
        try:
            after = said(path)
            told = _through_the_command(path) if page else []
        except BusbookError as refused:
            error, told = f"refused: {refused}", []
        except Exception as broken:
            error, told = repr(broken), []
        told += [f"{w.category.__name__}: {w.message}" for w in caught]
    alike = error or after[0] == before[0]
    one = Case(
        name=f"{name} seed {seed}",
        cells=cells,
        verdict=(before[0], after[0]),
        emptied="" if alike else said_of(emptied(table, cells))[0],
        gone=tuple(sorted((Counter(before[1]) - Counter(after[1])).elements())),
        come=tuple(sorted((Counter(after[1]) - Counter(before[1])).elements())),
        warned=tuple(told),
        error=error,
        titles=tuple(table.titles),
    )
    if keep is not None and (one.moved or one.lost or told or error):
        keep.mkdir(parents=True, exist_ok=True)
        (keep / f"{name}-{seed}.csv").write_bytes(spoilt)
        (keep / f"{name}-plain.csv").write_bytes(b"\n".join(table.lines))
    return one


def logs(seed: int) -> Iterator[tuple[str, bytes]]:
    """Logs without end: the samples, then of every kind of every maker in turn."""
    for path in sorted((ROOT / "sample_logs").glob("*.csv")):
        yield path.stem, path.read_bytes()
    kinds = sorted(KINDS)
    random.Random(seed).shuffle(kinds)
    for turn in count():
        for number, kind in enumerate(kinds):
            with tempfile.TemporaryDirectory() as folder:
                update_s = SAMPLINGS_S[(turn + number) % len(SAMPLINGS_S)]
                path = plant(KINDS[kind], seed * 1000 + turn, 0, update_s, Path(folder)).path
                yield path.stem, path.read_bytes()


def _of_log(number: int, name: str, data: bytes, seed: int, keep: Path | None) -> list[Case]:
    """A log spoilt some times, each time otherwise."""
    table = Table.of(data)
    if table is None:
        return []
    before = said_of(data)
    seeds = range(seed * 100_000 + number * _TIMES, seed * 100_000 + (number + 1) * _TIMES)
    return [examine(table, before, name, s, keep, page=s % _EVERY == 0) for s in seeds]


def cases(number: int, seed: int, workers: int, keep: Path | None) -> Iterator[Case]:
    """Until so many cells are planted."""
    planted = 0
    source = enumerate(logs(seed))
    one = partial(_of_log, seed=seed, keep=keep)
    with worker_pool(workers) as pool:
        while planted < number:
            given = [pool.submit(one, n, *log) for n, log in islice(source, 2 * workers)]
            for done in given:
                for case in done.result():
                    if planted < number:
                        planted += len(case.cells)
                        yield case


def table_of(found: Sequence[Case]) -> str:
    """What was planted and what became of it, by kind and together."""
    kinds = Counter(cell.what for case in found for cell in case.cells)
    columns = {(case.name.partition(" seed ")[0], c.column) for case in found for c in case.cells}
    rows = [
        ("logs with wild cells", len(found)),
        ("different logs", len({c.name.partition(" seed ")[0] for c in found})),
        ("different columns", len(columns)),
        ("cells planted", kinds.total()),
        *((f"  {what}", kinds[what]) for what in WHAT),
        ("verdicts moved", sum(case.moved and not case.error for case in found)),
        ("  by readings lost", sum(case.lost for case in found)),
        ("findings changed", sum(bool(case.gone or case.come) for case in found)),
        ("logs with warnings", sum(bool(case.warned) for case in found)),
        ("errors", sum(bool(case.error) for case in found)),
    ]
    return "\n".join(f"{title:<22}{value:>8,}" for title, value in rows)


def listed(case: Case) -> str:
    """A case in full."""
    empty = f", with those cells empty {case.emptied}" if case.emptied else ""
    lines = [f"{case.name}: {case.verdict[0]} -> {case.verdict[1]}{empty} {case.error}"]
    lines += [f"  gone: {one}" for one in case.gone] + [f"  come: {one}" for one in case.come]
    lines += [f"  printed: {one}" for one in case.warned]
    lines += [
        f"  line {c.row + 1} '{case.titles[c.column].strip()}' {c.what}: {c.old} -> {c.new}"
        for c in case.cells
    ]
    return "\n".join(lines)


def main() -> int:
    """Run what is asked for and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--number", type=int, default=10_000, help="cells to plant")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="print every log that was not the same")
    parser.add_argument("--keep", type=Path, help="where to keep them")
    args = parser.parse_args()
    found: list[Case] = []
    with suppress(KeyboardInterrupt):  # the table of what was done until then
        for case in cases(args.number, args.seed, args.workers, args.keep):
            found.append(case)
            if args.list and (case.gone or case.come or case.moved or case.warned or case.error):
                print(listed(case), flush=True)
            if len(found) % _TOLD == 0:
                done = sum(len(c.cells) for c in found)
                print(f"{done:,} cells in {len(found)} logs", file=sys.stderr, flush=True)
    print(table_of(found))
    return int(any(case.moved or case.warned or case.error for case in found))


if __name__ == "__main__":
    raise SystemExit(main())
