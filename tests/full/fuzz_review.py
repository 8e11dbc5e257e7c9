"""Throw broken files at the whole review: a verdict or one sentence comes out, and nothing else.

    python tests/full/fuzz_review.py [--files 5000] [--seed 1] [--workers 1]

Each file is a stretch of 60 to 300 rows of a log, of the samples and of the three makers of
``tests/accuracy/one_log`` in turn, with one to four random changes of its bytes
(``fuzz_importer.mutate``). Every twenty-fifth goes through the command as well, with its page and
its JSON. Promises: a verdict, or one sentence of the program's own error class; no warning, no
traceback, in bounded time. A file that breaks one is written to the working folder and named.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import random
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path

from click.testing import CliRunner

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "full")]  # from the sources as well as installed

from fuzz_importer import HANGS_S, mutate, tally  # noqa: E402

from telemetry.app.pipeline import review  # noqa: E402
from telemetry.app.workers import worker_pool  # noqa: E402
from telemetry.cli import main as command  # noqa: E402
from telemetry.importer import read_log  # noqa: E402
from telemetry.model.errors import BusbookError  # noqa: E402
from tests.accuracy.one_log.kinds import KINDS, SAMPLINGS_S  # noqa: E402
from tests.accuracy.one_log.making import plant  # noqa: E402

VERDICTS = ("clear", "watch", "ground", "unknown")
ROWS = (60, 300)
#: Kinds of log that are made, besides the samples.
MADE = 24
SLOW_S = 30.0
STEP, EVERY = 50, 25


def whole_logs(seed: int) -> list[bytes]:
    """The samples, and logs of every maker, sound and with a fault, at every sampling."""
    found = [path.read_bytes() for path in sorted((ROOT / "sample_logs").glob("*.csv"))]
    kinds = random.Random(seed).sample(sorted(KINDS), MADE)
    for number, kind in enumerate(kinds):
        with tempfile.TemporaryDirectory() as folder:
            update_s = SAMPLINGS_S[number % len(SAMPLINGS_S)]
            found.append(plant(KINDS[kind], seed, number, update_s, Path(folder)).path.read_bytes())
    return found


def stretch(data: bytes, chance: random.Random) -> bytes:
    """The head of a log, whatever comes before the first row, and some rows from anywhere."""
    lines = data.split(b"\n")
    middle = lines[len(lines) // 2]
    separator = max((b";", b"\t", b","), key=middle.count)
    head = 1 + next(i for i, t in enumerate(lines) if t.count(separator) == middle.count(separator))
    rows = chance.randint(*ROWS)
    first = chance.randint(head, max(head, len(lines) - rows))
    return b"\n".join((*lines[:head], *lines[first : first + rows], b""))


def one_file(seed: int, number: int, logs: list[bytes]) -> bytes:
    """The broken file of this number, always the same."""
    chance = random.Random(f"{seed} {number}")
    data = stretch(logs[number % len(logs)], chance)
    return mutate(data, chance, [stretch(chance.choice(logs), chance)])


def check(path: Path, *, through_the_command: bool) -> str:
    """Review one file and check what was promised; the verdict, or that it was refused."""
    begin = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            outcome = str(review(read_log(path)).verdict)
            assert outcome in VERDICTS, outcome
        except BusbookError as error:
            text = str(error)
            assert text.endswith("."), f"no sentence: {text}"
            assert "\n" not in text, f"more than one line: {text}"
            outcome = "refused in a sentence"
        if through_the_command:
            _through_the_command(path, outcome)
    assert time.process_time() - begin < SLOW_S, "too slow"
    return outcome


def _through_the_command(path: Path, outcome: str) -> None:
    page = ["review", str(path), "--out", str(path.parent / "page"), "--json"]
    done = CliRunner().invoke(command, page)
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert "Traceback" not in done.output
    assert "please report it" not in done.output
    assert done.exit_code in (0, 2), done.output
    refused = outcome.startswith("refused")
    assert (done.exit_code == 2) is refused, (outcome, done.output)
    assert refused or json.loads(done.stdout)["reviews"][0]["verdict"] == outcome


def some_files(
    seed: int, numbers: range, logs: list[bytes], keep: Path
) -> tuple[Counter[str], float, list[str]]:
    """What became of these files, the longest time of one in s, and those that broke a promise."""
    counts: Counter[str] = Counter()
    slowest_s, broken = 0.0, []
    for number in numbers:
        data = one_file(seed, number, logs)
        begin = time.monotonic()
        # One that hangs ends the process, with where it hung.
        faulthandler.dump_traceback_later(HANGS_S, exit=True)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "log.csv"
            path.write_bytes(data)
            try:
                counts[check(path, through_the_command=number % EVERY == 0)] += 1
            except Exception as error:
                counts["broken"] += 1
                broken.append(f"review-{seed}-{number}.csv: {error!r}")
                (keep / f"review-{seed}-{number}.csv").write_bytes(data)
        faulthandler.cancel_dump_traceback_later()
        slowest_s = max(slowest_s, time.monotonic() - begin)
    return counts, slowest_s, broken


def main() -> int:
    """Run what is asked for and print what came out."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--files", type=int, default=5_000, help="broken files to review")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    logs = whole_logs(args.seed)
    with worker_pool(args.workers) as pool:
        steps = [range(n, min(n + STEP, args.files)) for n in range(0, args.files, STEP)]
        given = [pool.submit(some_files, args.seed, step, logs, Path.cwd()) for step in steps]
        counts, slowest_s = tally(given, every=5)
    told = ", ".join(f"{n:,} {what}" for what, n in sorted(counts.items()))
    print(f"{counts.total():,} files, seed {args.seed}: {told}; the slowest {slowest_s:.1f} s")
    if not counts["broken"]:
        print(f"no traceback and no warning: fewer than 1 in {counts.total() // 3:,} (95 %)")
    return int(counts["broken"] > 0)


if __name__ == "__main__":
    raise SystemExit(main())
