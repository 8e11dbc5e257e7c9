"""Wild cells planted in every column of many logs: no verdict may move, nothing may be printed.

    python tests/full/wild_cells.py [--number 10000] [--seed 1] [--workers 1] [--list] [--keep DIR]

The logs are the samples and, in turn, ones of the three makers of ``tests/accuracy/one_log``, sound
and with a fault. Each is reviewed as it is and again with wild cells: one to five in each of one to
six columns, any column, the clock's too. What is planted comes from every kind:

    huge      +-1e3 to +-1e308, and beyond what a number can hold
    code      what sensors and counters send for "no value": 32767, 65535, -1, 255, 999.9
    sign      the cell's own value, with the other sign
    point     the cell's own value, with the point at the wrong place: times 10, 100 or 1,000
    zero      0 or next to nothing, a code of less than a tenth of the lowest too (255 in a column
              of millivolts); at most one in a column, for a place that reads 0 again and again is a
              place whose supply comes and goes

A code or a number with a slipped point that lies between half the lowest and twice the highest of
its column is not planted: nobody can tell it from a reading. Where the verdict or a finding moved,
``--list`` says in which log and which cells it was, and ``--keep`` keeps it.
Every twentieth log goes through the command as well, with its page. Exits with 1 where a verdict
moved, a warning came or an error.
"""

from __future__ import annotations

import argparse
import math
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

HUGE, CODE, SIGN, POINT, ZERO = "huge", "code", "sign", "point", "zero"
_WHAT = (HUGE, CODE, SIGN, POINT, ZERO)
_ENDS = ("1e308", "-1e308", "1.797e308", "1e999", "-1e999", "nan", "inf", "-inf")
_CODES = ("32767", "-32768", "65535", "655.35", "6553.5", "327.67", "-1", "255", "999.9", "9999")
_COLUMNS, _CELLS = 6, 5
#: So often a log is spoilt, each time otherwise; every so many goes through the command as well.
_TIMES, _EVERY = 8, 20
#: After so many it is told how far it is.
_TOLD = 40
#: Columns of a table that is worth spoiling.
_WIDE = 3
#: A code of less than this part of the own range's low end is next to nothing: that is half the
#: lowest.
_NOTHING = 0.2
#: What may part cells; the comma last, for beside the others it may be a decimal mark.
_SEPARATORS = (b";", b"\t", b"|", b",")


#: The verdict, and the findings as level, code and place.
Said = tuple[str, tuple[str, ...]]


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What was planted: data row, column, the kind, and the cell before and after."""

    row: int
    column: int
    what: str
    old: str
    new: str


@dataclass(frozen=True, kw_only=True)
class Case:
    """What became of one spoilt log."""

    name: str
    cells: tuple[Cell, ...]
    verdict: tuple[str, str]
    gone: tuple[str, ...] = ()
    come: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    error: str = ""
    titles: tuple[str, ...] = field(default=(), repr=False)

    @property
    def moved(self) -> bool:
        return self.verdict[0] != self.verdict[1]


@dataclass(frozen=True, kw_only=True)
class Table:
    """A log's lines as bytes: where its rows begin and what parts its cells."""

    lines: tuple[bytes, ...]
    separator: bytes
    header: int
    comma: bool

    @property
    def titles(self) -> list[str]:
        return [t.decode("latin-1") for t in self.lines[self.header].split(self.separator)]

    @classmethod
    def of(cls, data: bytes) -> Table | None:
        """The table of a log; None where it is none of lines and separators."""
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return None
        lines = tuple(data.split(b"\n"))
        middle = lines[len(lines) // 2]
        separator = next((s for s in _SEPARATORS if middle.count(s) >= _WIDE), b"")
        if b'"' in middle or not separator:
            return None
        wide = middle.count(separator)
        header = next(i for i, line in enumerate(lines) if line.count(separator) == wide)
        comma = separator != b"," and b"," in middle
        return cls(lines=lines, separator=separator, header=header, comma=comma)


def _planted(what: str, old: str, chance: random.Random) -> str:
    """What a cell becomes, with a point; "" where such a cell has nothing of the kind."""
    if what == HUGE:
        if chance.random() < 0.2:
            return chance.choice(_ENDS)
        return f"{chance.choice((-1, 1)) * 10 ** chance.uniform(3, 308):.5g}"
    if what == CODE:
        return chance.choice(_CODES)
    if what == ZERO:
        return chance.choice(("0", "0", "-0", "1e-300", "-1e-9"))
    value = _number(old)
    if not math.isfinite(value) or value == 0.0:
        return ""
    return f"{-value:g}" if what == SIGN else f"{value * 10 ** chance.randint(1, 3):g}"


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _own_range(table: Table, column: int) -> tuple[float, float]:
    """Half the lowest and twice the highest of a column; the other way round below zero."""
    rows = (line.split(table.separator) for line in table.lines[table.header + 1 :])
    texts = (row[column].decode("latin-1") for row in rows if len(row) == len(table.titles))
    values = [_number(t.replace(",", ".") if table.comma else t) for t in texts]
    known = [v for v in values if math.isfinite(v)]
    low, high = (min(known), max(known)) if known else (math.inf, -math.inf)
    return min(0.5 * low, 2.0 * low), max(0.5 * high, 2.0 * high)


def spoil(table: Table, chance: random.Random) -> tuple[bytes, tuple[Cell, ...]]:
    """A log with wild cells, and these."""
    lines = list(table.lines)
    wide = len(table.titles)
    chosen = chance.sample(range(wide), min(wide, chance.randint(1, _COLUMNS)))
    planted: list[Cell] = []
    rows = range(table.header + 3, len(lines) - 2)
    for column in chosen:
        zeros = 0
        low, high = _own_range(table, column)
        for row in chance.sample(rows, min(len(rows), chance.randint(1, _CELLS))):
            cells = lines[row].split(table.separator)
            if len(cells) != wide:
                continue
            old, end = cells[column].decode("latin-1"), ""
            if old.endswith("\r"):
                old, end = old[:-1], "\r"
            what = chance.choice([w for w in _WHAT if w != ZERO or not zeros])
            new = _planted(what, old.replace(",", ".") if table.comma else old, chance)
            if not new or (what in (CODE, POINT) and low <= float(new) <= high):
                continue
            nothing = what == ZERO or (what == CODE and abs(float(new)) < _NOTHING * low)
            if nothing and zeros:
                continue
            zeros += nothing
            if table.comma:
                new = new.replace(".", ",")
            planted.append(Cell(row=row, column=column, what=what, old=old, new=new))
            cells[column] = (new + end).encode("latin-1")
            lines[row] = table.separator.join(cells)
    return b"\n".join(lines), tuple(planted)


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
    one = Case(
        name=f"{name} seed {seed}",
        cells=cells,
        verdict=(before[0], after[0]),
        gone=tuple(sorted((Counter(before[1]) - Counter(after[1])).elements())),
        come=tuple(sorted((Counter(after[1]) - Counter(before[1])).elements())),
        warned=tuple(told),
        error=error,
        titles=tuple(table.titles),
    )
    if keep is not None and (one.moved or told or error):
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
        *((f"  {what}", kinds[what]) for what in _WHAT),
        ("verdicts moved", sum(case.moved and not case.error for case in found)),
        ("findings changed", sum(bool(case.gone or case.come) for case in found)),
        ("logs with warnings", sum(bool(case.warned) for case in found)),
        ("errors", sum(bool(case.error) for case in found)),
    ]
    return "\n".join(f"{title:<22}{value:>8,}" for title, value in rows)


def listed(case: Case) -> str:
    """A case in full."""
    lines = [f"{case.name}: {case.verdict[0]} -> {case.verdict[1]} {case.error}"]
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
