"""Throw broken files at the importer for a while: only its own error class may come out.

    python tests/full/fuzz_importer.py [--seconds 120] [--seed 1]

Coverage-guided by atheris where that is installed (Linux), by random mutation of the museum's
files otherwise. A file that breaks a promise is written to the working folder and named.
Promises: a Log or an UnreadableLog in bounded time, without a warning; time that never runs
back; finite numbers or NaN; no more rows than lines.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

DATA = Path(__file__).parents[1] / "data"
SLOW_S = 10.0
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


def check(data: bytes, folder: Path) -> None:
    """Read one file and check what was promised."""
    from telemetry import BusbookError, read_log

    path = folder / "log.csv"
    path.write_bytes(data)
    begin = time.monotonic()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            log = read_log(path)
    except BusbookError as error:
        if not str(error).endswith("."):
            raise AssertionError(f"no sentence: {error}") from error
        return
    finally:
        assert time.monotonic() - begin < SLOW_S, "too slow"
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


def by_mutation(seconds: float, seed: int) -> int:
    """Random mutation; the number of files tried."""
    rng = random.Random(seed)
    pool = seeds()
    tried, end = 0, time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < end:
            data = mutate(rng.choice(pool), rng, pool)
            try:
                check(data, Path(folder))
            except Exception:
                broken = Path(f"broken-{seed}-{tried}.csv")
                broken.write_bytes(data)
                print(f"after {tried:,} files: {broken}", file=sys.stderr)
                raise
            tried += 1
    return tried


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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mutation", action="store_true", help="without coverage guidance")
    args = parser.parse_args()
    if not args.mutation:
        try:
            import atheris  # noqa: F401
        except ImportError:
            print("atheris is not installed: random mutation", file=sys.stderr)
        else:
            by_coverage(args.seconds, args.seed)
            return
    print(f"{by_mutation(args.seconds, args.seed):,} files, nothing but UnreadableLog came out")


if __name__ == "__main__":
    main()
