"""Pipes, devices, links, files that grow or have no end, everywhere a command reads: nothing waits.

    python tests/full/hangs.py [--limit 60] [--every 4] [--list]

Each kind of thing stands where a log, a profile, a column map, an output or a file of the book is
expected, alone and in a folder beside a sound log, and every command that looks there is given, in
a process of its own. One that has not ended after ``--limit`` seconds hangs and is named, as is one
that ends with a traceback. Exits with 1 where there was one. POSIX alone: it makes pipes and forks.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import socket
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

import telemetry.app.histories  # noqa: E402 - loaded once, before the forks
import telemetry.app.pipeline  # noqa: E402
import telemetry.importer.text.archive as archive  # noqa: E402
import telemetry.model.files as model_files  # noqa: E402
import telemetry.report  # noqa: E402, F401
from telemetry.cli import main as command  # noqa: E402

LOG = sorted((ROOT / "sample_logs").glob("*.csv"))[0]
#: A pipe may give nothing for so long, s, in place of ten seconds, and so much in place of half a
#: gigabyte: there are many of them.
PATIENCE_S, MOST_BYTES = 0.3, 1 << 24
_GROWS_BYTES, _GROWS_EVERY_S = 1 << 16, 0.1

Make = Callable[[Path], None]


def _link(to: str) -> Make:
    return lambda path: path.symlink_to(to)


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _link_to_pipe(path: Path) -> None:
    os.mkfifo(path.with_name("hidden pipe"))
    path.symlink_to("hidden pipe")


def _socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as one:
        folder = Path.cwd()
        os.chdir(path.parent)  # for the name of a socket may have some 100 bytes only
        try:
            one.bind(path.name)
        finally:
            os.chdir(folder)


def _silent(path: Path) -> None:
    """A pipe that somebody has opened for writing and writes nothing to."""
    os.mkfifo(path)
    os.open(path, os.O_RDWR)  # held until this process ends


def _endless(path: Path) -> None:
    """A pipe through which lines come without end."""
    os.mkfifo(path)
    handle = os.open(path, os.O_RDWR)

    def write() -> None:
        with suppress(OSError):
            while True:
                os.write(handle, b"1,2,3\n" * 1000)

    threading.Thread(target=write, daemon=True).start()


def _grows(path: Path) -> None:
    """A sound log that is written on until it is taken away: it has no end to wait for."""
    data = LOG.read_bytes()
    path.write_bytes(data)
    rows = data[-_GROWS_BYTES:]

    def write() -> None:
        with suppress(OSError), path.open("ab", buffering=0) as file:
            while path.exists():
                file.write(rows)
                time.sleep(_GROWS_EVERY_S)

    threading.Thread(target=write, daemon=True).start()


def _many_keys(path: Path) -> None:
    path.write_text("".join(f"k{n} = 1\n" for n in range(200_000)))


def _deep(path: Path) -> None:
    path.write_text("k = " + "[" * 50_000 + "]" * 50_000)


def _deep_keys(path: Path) -> None:
    path.write_text("a" + ".a" * 40_000 + " = 1\n")


KINDS: dict[str, Make] = {
    "pipe": _pipe,
    "silent pipe": _silent,
    "endless pipe": _endless,
    "link to a pipe": _link_to_pipe,
    "/dev/zero": _link("/dev/zero"),
    "/dev/null": _link("/dev/null"),
    "/dev/urandom": _link("/dev/urandom"),
    "/dev/tty": _link("/dev/tty"),
    "socket": _socket,
    "link to itself": lambda path: path.symlink_to(path.name),
    "link to nothing": _link("nothing"),
    "link to its folder": _link("."),
    "folder": lambda path: path.mkdir(),
    "growing file": _grows,
    "200,000 keys": _many_keys,
    "50,000 brackets": _deep,
    "40,000 dots": _deep_keys,
}
#: What stands in a book: a file of every kind, by a pattern.
IN_A_BOOK = (
    *("format.toml", "originals/*.zst", "originals/*.json", "aircraft/*.toml"),
    *("flights/*/*.parquet", "notes/*/*.json", "changes/*.json", "entries/*.json"),
    *("maps/*/*.json", "measures/*.json", "measures/replays/*.json", "removed/*/*/*"),
)
ON_A_BOOK = (
    *(("flights",), ("flights", "tern"), ("history", "tern"), ("check-book",), ("restore",)),
    *(("review", "tern", "1"), ("export", "tern", "--to", "out.csv"), ("aircraft", "show", "tern")),
    ("note", "tern", "looked", "--kind", "checked"),
    ("aircraft", "set", "tern", "limits", "--reserve", "25"),
    ("add", str(LOG), "--aircraft", "tern"),
)
#: What reads or writes a thing named THING, with its ending; LOG is a sound log.
NAMED = (
    *(
        ("review", "THING.csv"),
        ("columns", "THING.csv"),
        ("add", "THING.csv", "--aircraft", "tern"),
    ),
    *(("review", "THING.zip"), ("review", "THING.gz"), ("add", "THING.zip", "--aircraft", "tern")),
    ("review", "LOG", "--aircraft", "THING.toml"),
    *(("aircraft", "check", "THING.toml"), ("aircraft", "show", "THING.toml")),
    ("aircraft", "set", "THING.toml", "limits", "--reserve", "25"),
    *(("budget", "THING.toml"), ("review", "LOG", "--map", "THING.toml")),
    ("columns", "LOG", "--map", "THING.toml"),
    *(("review", "LOG", "--out", "THING"), ("export", "LOG", "--to", "THING.csv")),
    ("columns", "LOG", "--save", "THING.toml"),
    *(("flights", "--book", "THING"), ("add", "LOG", "--aircraft", "tern", "--book", "THING")),
)
#: What goes through a folder in which it stands beside a sound log.
IN_A_FOLDER = (
    ("review", "FOLDER", "--out", "reports"),
    ("add", "FOLDER", "--aircraft", "tern"),
    ("add", "FOLDER"),
)


def cases(folder: Path, template: Path, every: int) -> Iterator[tuple[str, Path, tuple[str, ...]]]:
    """What stands where, the folder made for it, and the command; each has a folder of its own.

    Of the commands on a book in which something stands, one in ``every`` is given, of each kind
    and each place others.
    """
    number = 0

    def fresh() -> Path:
        nonlocal number
        number += 1
        made = folder / str(number)
        made.mkdir()
        return made

    for turn, (kind, make) in enumerate(KINDS.items()):
        for words in NAMED:
            here = fresh()
            thing = next(w for w in words if "THING" in w)
            make(here / thing)
            yield f"{kind} as {thing}", here, tuple(str(LOG) if w == "LOG" else w for w in words)
        for words in IN_A_FOLDER:
            here = fresh()
            card = here / "card"
            card.mkdir()
            shutil.copy(LOG, card / "day.csv")
            for ending in ("csv", "zip", "gz"):
                make(card / f"thing.{ending}") if kind != "link to a pipe" else _pipe(
                    card / f"thing.{ending}"
                )
            yield f"{kind} in a folder", here, tuple("card" if w == "FOLDER" else w for w in words)
        for place, pattern in enumerate(IN_A_BOOK):
            for words in ON_A_BOOK[(turn + place) % every :: every]:
                here = fresh()
                shutil.copytree(template, here / "book")
                path = sorted((here / "book").glob(pattern))[0]
                path.unlink()
                make(path)
                yield f"{kind} as {pattern} of a book", here, words


def make_template(folder: Path) -> None:
    """A book with a file of every kind."""
    from click.testing import CliRunner

    book = ("--book", str(folder))
    for words in (
        ("add", str(LOG), "--aircraft", "tern", *book),
        ("aircraft", "new", "tern", "--from", str(LOG), "--force", *book),
        ("note", "tern", "plug cleaned", "--kind", "repaired", *book),
        ("note", "tern", "a mistake", "--kind", "checked", *book),
        ("history", "tern", *book),
    ):
        done = CliRunner().invoke(command, list(words))
        assert done.exit_code in (0, 1), done.output
    from telemetry.book import Logbook

    own = Logbook(folder)
    own.remove([own.notes("tern")[-1].id])
    lacks = [p for p in IN_A_BOOK if not list(folder.glob(p))]
    assert not lacks, lacks


def ended(here: Path, words: tuple[str, ...], limit_s: float) -> tuple[str, str]:
    """How a command ended in a process of its own, and what it said."""
    said = here / "said.txt"
    child = os.fork()
    if child == 0:
        os.setsid()
        os.chdir(here)
        out = os.open(said, os.O_WRONLY | os.O_CREAT)
        for handle in (1, 2):
            os.dup2(out, handle)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        model_files.PATIENCE_S, archive.MOST_BYTES = PATIENCE_S, MOST_BYTES
        book = () if "--book" in words or words[0] in ("columns", "budget") else ("--book", "book")
        code = 70
        try:
            command([*words, *book])
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else int(left.code is not None)
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    until = time.monotonic() + limit_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            text = said.read_text(errors="replace")
            code = os.waitstatus_to_exitcode(status)
            if "Traceback" in text or "please report it" in text or code not in (0, 1, 2):
                return "broken", f"exit {code}: {text[-2000:]}"
            return ("done" if code in (0, 1) else "one sentence"), text
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "hangs", said.read_text(errors="replace")


def main() -> int:
    """Try all and print what came out."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--limit", type=float, default=60.0, help="a command may take so long, s")
    parser.add_argument("--list", action="store_true", help="print what every command said")
    parser.add_argument("--every", type=int, default=4, help="one in so many commands on a book")
    parser.add_argument("--kind", choices=list(KINDS), help="this kind alone")
    args = parser.parse_args()
    if args.kind:
        for kind in [k for k in KINDS if k != args.kind]:
            del KINDS[kind]
    counts: Counter[str] = Counter()
    longest_s = 0.0
    with tempfile.TemporaryDirectory() as folder:
        template = Path(folder) / "template"
        child = os.fork()
        if child == 0:  # nothing runs here before the forks
            make_template(template)
            os._exit(0)
        assert os.waitpid(child, 0)[1] == 0, "the book cannot be made"
        for name, here, words in cases(Path(folder), template, args.every):
            begin = time.monotonic()
            how, text = ended(here, words, args.limit)
            longest_s = max(longest_s, time.monotonic() - begin)
            counts[how] += 1
            if how in ("hangs", "broken") or args.list:
                print(f"{how}: {name}: {' '.join(words)}\n  {text.strip()[:1500]}", flush=True)
            shutil.rmtree(here, ignore_errors=True)
    told = ", ".join(f"{n:,} {how}" for how, n in sorted(counts.items()))
    print(f"{len(KINDS)} kinds, {counts.total():,} commands: {told}; the longest {longest_s:.1f} s")
    return int(counts["hangs"] + counts["broken"] > 0)


if __name__ == "__main__":
    raise SystemExit(main())
