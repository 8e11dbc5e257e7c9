"""Throw broken files at the importer for a while: only its own error class may come out.

    python tests/full/fuzz_importer.py [--files 100000] [--seed 1] [--workers 1]
    python tests/full/fuzz_importer.py --seconds 120

By random mutation of the museum's files; for some seconds and coverage-guided with atheris (Linux),
where that is installed. A file that breaks a promise is written to the working folder and named.
Promises: a Log or an UnreadableLog in bounded time, without a warning; time that never runs
back; finite numbers or NaN; no more rows than lines.
"""

from __future__ import annotations

import argparse
import faulthandler
import random
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import Future
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

DATA = ROOT / "tests" / "data"
SLOW_S, HANGS_S = 10.0, 60.0
#: Files that a worker is given at once.
STEP = 500
ODD = [
    b"1e308",
    b"nan",
    b"99999999999999999999",
    b"inf",
    b"1e-320",
    b"2026-02-30",
    b"25:61:61",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
]


def check(data: bytes, folder: Path) -> str:
    """Read one file and check what was promised; whether it was read or refused."""
    from telemetry import BusbookError, read_log

    path = folder / "log.csv"
    path.write_bytes(data)
    begin = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            log = read_log(path)
    except BusbookError as error:
        if not str(error).endswith("."):
            raise AssertionError(f"no sentence: {error}") from error
        return "refused in a sentence"
    finally:
        assert time.process_time() - begin < SLOW_S, "too slow"
    p = log.provenance
    time_s = log.time_s
    assert len(time_s)
    assert np.isfinite(time_s).all()
    assert time_s[0] == 0.0
    assert (np.diff(time_s) >= 0).all(), "time runs back"
    assert len(p.recordings) >= 1
    lines = data.count(b"\n") + data.count(b"\r") + 1
    assert p.rows + p.rows_refused <= lines, (p.rows, p.rows_refused, lines)
    for key in log.frame:
        assert not np.isinf(log.values(key)).any(), key
    assert len({c.key for c in log.channels}) == len(log.channels)
    return "read"


def mutate(data: bytes, rng: random.Random, others: list[bytes]) -> bytes:
    """One to four random changes."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(out) + 1)
        kind = rng.randrange(9)
        if kind == 0:
            out[at : at + rng.randint(1, 30)] = b""
        elif kind == 1:
            out[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 6)))
        elif kind == 2 and out:
            out[at % len(out)] = rng.randrange(256)
        elif kind == 3:
            out[at:at] = rng.choice(
                [b";", b",", b"\t", b'"', b"\n", b"\r", b"\0", b"-", b".", b":"]
            )
        elif kind == 4:
            span = bytes(out[at : at + rng.randint(1, 60)])
            out[at:at] = span * rng.randint(1, 5)
        elif kind == 5:
            other = rng.choice(others)
            cut = rng.randrange(len(other) + 1)
            out[at:] = other[cut:]
        elif kind == 6:
            lines = bytes(out).split(b"\n")
            rng.shuffle(lines)
            out = bytearray(b"\n".join(lines))
        elif kind == 7:
            out[at:at] = rng.choice(ODD)
        else:
            out = out[:at]
    return bytes(out)


def seeds() -> list[bytes]:
    """The museum's files."""
    return [p.read_bytes() for p in sorted(DATA.rglob("*")) if p.is_file() and p.name[0] != "."]


def one_file(seed: int, number: int, pool: list[bytes]) -> bytes:
    """The mutated file of this number, always the same."""
    rng = random.Random(f"{seed} {number}")
    return mutate(rng.choice(pool), rng, pool)


def some_files(seed: int, numbers: range, keep: Path) -> tuple[Counter[str], float, list[str]]:
    """What became of these files, the longest time of one in s, and those that broke a promise."""
    pool = seeds()
    counts: Counter[str] = Counter()
    slowest_s, broken = 0.0, []
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            data = one_file(seed, number, pool)
            begin = time.monotonic()
            # One that hangs ends the process, with where it hung.
            faulthandler.dump_traceback_later(HANGS_S, exit=True)
            try:
                counts[check(data, Path(folder))] += 1
            except Exception as error:
                counts["broken"] += 1
                broken.append(f"broken-{seed}-{number}.csv: {error!r}")
                (keep / f"broken-{seed}-{number}.csv").write_bytes(data)
            finally:
                faulthandler.cancel_dump_traceback_later()
            slowest_s = max(slowest_s, time.monotonic() - begin)
    return counts, slowest_s, broken


def tally(
    given: Iterable[Future[tuple[Counter[str], float, list[str]]]], *, every: int
) -> tuple[Counter[str], float]:
    """All outcomes and the longest time, s; each broken file is printed as soon as it is known."""
    counts: Counter[str] = Counter()
    slowest_s = 0.0
    for number, done in enumerate(given, 1):
        more, longest_s, broken = done.result()
        counts += more
        slowest_s = max(slowest_s, longest_s)
        for one in broken:
            print(one, flush=True)
        if number % every == 0:
            print(f"{counts.total():,} files: {dict(counts)}", file=sys.stderr, flush=True)
    return counts, slowest_s


def by_mutation(files: int, seed: int, workers: int) -> int:
    """Random mutation; 1 where a file broke a promise."""
    from telemetry.app.workers import worker_pool

    steps = [range(n, min(n + STEP, files)) for n in range(0, files, STEP)]
    with worker_pool(workers) as pool:
        given = [pool.submit(some_files, seed, step, Path.cwd()) for step in steps]
        counts, slowest_s = tally(given, every=10)
    told = ", ".join(f"{n:,} {what}" for what, n in sorted(counts.items(), reverse=True))
    print(f"{counts.total():,} files, seed {seed}: {told}; the slowest {slowest_s:.1f} s")
    if not counts["broken"]:
        print(f"nothing but UnreadableLog came out: fewer than 1 in {counts.total() // 3:,} (95 %)")
    return int(counts["broken"] > 0)


def by_coverage(seconds: int, seed: int) -> None:
    """Coverage-guided; ends the process."""
    import atheris

    with atheris.instrument_imports(include=["telemetry"]):
        import telemetry.importer  # noqa: F401
    folder = Path(tempfile.mkdtemp())
    corpus = folder / "corpus"
    corpus.mkdir()
    for i, data in enumerate(seeds()):
        (corpus / f"seed-{i}").write_bytes(data)
    options = [
        sys.argv[0], str(corpus), f"-max_total_time={seconds}", f"-seed={seed}", "-max_len=4096",
        f"-timeout={int(SLOW_S) * 2}", "-artifact_prefix=broken-", "-print_final_stats=1",
    ]  # fmt: skip
    atheris.Setup(options, lambda data: check(data, folder))
    atheris.Fuzz()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=100_000, help="mutated files to read")
    parser.add_argument("--seconds", type=int, help="guided by coverage, for so long (atheris)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    if args.seconds is None:
        return by_mutation(args.files, args.seed, args.workers)
    by_coverage(args.seconds, args.seed)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
