"""Whether two checkouts of this project give the same results, through the command line alone.

    python tests/full/same_results.py A B [--light] [--corpus DIR] [--texts] [--added-keys]
    python tests/full/same_results.py make CORPUS [--light]
    python tests/full/same_results.py record CORPUS CHECKOUT OUT [--light] [--workers 2]
    python tests/full/same_results.py compare OUT_A OUT_B [--texts] [--added-keys]

The first does all three: on two free cores about 2 min with ``--light``, some 12 min without (the
latter worked out from the former). ``make`` writes 340 logs and 46 seasons with this checkout's
simulator; with BUSBOOK_OPEN_DATA set also the measured logs of others. ``record`` runs the commands
of a checkout over them and keeps their JSON: of a log its review, with a profile also its budget;
of a season its history after a third, two thirds and all of the flights, and the last flight
reviewed beside the others. A log that is refused is kept with its sentence.

``compare`` prints every difference and a summary, and exits with 1 where there is one: codes,
levels, places, order, and numbers beyond 1e-9 of their size. What people read (titles, advice,
reasons, ...) is counted; ``--texts`` shows it and lets it count. ``--added-keys`` allows keys that
only the second has.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))  # works from the sources as well as installed

from tests.full.same_compare import ADDED, GONE, TEXT, Difference, differences, strict  # noqa: E402
from tests.full.same_corpus import (  # noqa: E402
    LIST,
    CorpusLog,
    CorpusSeason,
    make_corpus,
    read_corpus,
    thirds,
)

BATCH = 8  # logs a child reviews: starting one takes some seconds
Step = list[str] | dict[str, list[str]]


@dataclass(frozen=True, kw_only=True)
class Task:
    """What is run for one log or season: its name, and the steps by theirs."""

    name: str
    steps: dict[str, Step]


def log_task(log: CorpusLog) -> Task:
    """The review of a log; with a profile also its budget."""
    as_read = [log.file, "--json", *log.options]
    if log.profile is None:
        return Task(name=log.file, steps={"review": ["review", *as_read]})
    return Task(
        name=f"{log.file} with profile",
        steps={
            "review": ["review", *as_read, "--aircraft", log.profile],
            "budget": ["budget", log.profile, "--log", *as_read],
        },
    )


def season_task(season: CorpusSeason, book: Path) -> Task:
    """A season added in three parts and judged after each; its last flight beside the others."""
    name, within = season.name, ["--book", str(book)]
    steps: dict[str, Step] = {}
    if season.profile is not None:
        steps["new profile"] = ["aircraft", "new", name, *within]
        steps["profile"] = {"copy": [season.profile, str(book / "aircraft" / f"{name}.toml")]}
    first = 0
    for part, last in enumerate(thirds(len(season.logs)), 1):
        if part == 3 and season.note is not None:
            place, on = season.note
            words = ["note", name, "plug renewed", "--kind", "repaired", "--place", place]
            steps["note"] = [*words, "--on", on, *within]
        steps[f"add {part}"] = ["add", *season.logs[first:last], "--aircraft", name, *within]
        steps[f"history {part}"] = ["history", name, "--json", *within]
        first = last
    steps["beside"] = ["review", season.logs[-1], "--json", "--aircraft", name, *within]
    return Task(name=f"season {name}", steps=steps)


def record(corpus: Path, checkout: Path, out: Path, light: bool = False, workers: int = 2) -> None:
    """Run a checkout over the corpus and write one JSON file for each log and season."""
    corpus, checkout, out = (p.resolve() for p in (corpus, checkout, out))
    if not (checkout / "telemetry").is_dir():
        raise SystemExit(f"{checkout}: no checkout, it has no folder 'telemetry'.")
    if out.exists() and any(out.iterdir()):
        raise SystemExit(f"{out}: not empty. Name a new folder for the results.")
    out.mkdir(parents=True, exist_ok=True)
    chosen = read_corpus(corpus)
    chosen = chosen.light() if light else chosen
    with tempfile.TemporaryDirectory() as books:
        # Seasons first: they take longest.
        batches = [
            [season_task(s, Path(books) / str(number))] for number, s in enumerate(chosen.seasons)
        ]
        logs = [log_task(log) for log in chosen.logs]
        batches += [logs[i : i + BATCH] for i in range(0, len(logs), BATCH)]
        with ThreadPoolExecutor(workers) as pool:
            jobs = [pool.submit(run_batch, batch, corpus, checkout) for batch in batches]
            for number, (batch, job) in enumerate(zip(batches, jobs, strict=True), 1):
                for task, made in zip(batch, job.result(), strict=True):
                    write(out / file_name(task.name), made)
                print(f"\r{number} of {len(batches)} batches", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)


def run_batch(batch: Sequence[Task], corpus: Path, checkout: Path) -> list[dict[str, Any]]:
    """Run some tasks in one child process of the checkout; what became of the steps of each."""
    done = subprocess.run(
        [sys.executable, "-P", "-W", "ignore", str(HERE / "run_commands.py")],
        input=json.dumps([step for task in batch for step in task.steps.values()]),
        capture_output=True,
        encoding="utf-8",
        cwd=corpus,
        env={**os.environ, "PYTHONPATH": str(checkout), "PYTHONUTF8": "1"},
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"{checkout}: {batch[0].name} and after: {done.stderr[-2000:]}")
    answer = strict(done.stdout)
    if not Path(answer["home"]).resolve().is_relative_to(checkout):
        raise SystemExit(f"{checkout}: not what was run, but {answer['home']}.")
    results = iter(answer["done"])
    return [{name: outcome(next(results)) for name in task.steps} for task in batch]


def outcome(result: dict[str, Any]) -> dict[str, Any]:
    """What is kept of a command: its exit status, the document, the sentence of a failure."""
    made: dict[str, Any] = {"exit": result["exit"]}
    if result["out"].startswith("{"):
        made["document"] = strict(result["out"])
    elif result["exit"] != 0:
        made["message"] = result["err"]
    return made


def write(path: Path, content: dict[str, Any]) -> None:
    text = json.dumps(content, indent=1, allow_nan=False) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")


def file_name(task: str) -> str:
    return task.replace("/", "__") + ".json"


def compared(out_a: Path, out_b: Path) -> Iterator[tuple[str, Difference]]:
    """Every difference between two folders of results, by file."""
    names = [{p.name for p in folder.glob("*.json")} for folder in (out_a, out_b)]
    if not all(names):
        raise SystemExit(f"{out_a if not names[0] else out_b}: holds no results.")
    for name in sorted(names[0] | names[1]):
        if name not in names[1]:
            yield name, Difference(GONE, "$", "a file", "")
        elif name not in names[0]:
            yield name, Difference(ADDED, "$", "", "a file")
        else:
            a, b = (strict((d / name).read_text(encoding="utf-8")) for d in (out_a, out_b))
            for difference in differences(a, b):
                yield name, difference


def report(
    found: Iterable[tuple[str, Difference]], *, texts: bool = False, added_keys: bool = False
) -> int:
    """Print differences and a summary by kind; how many of them count."""
    kinds: Counter[str] = Counter()
    counts = 0
    for name, one in found:
        kinds[f"{one.kind} {one.path.rpartition('.')[2].partition('[')[0]}"] += 1
        if one.kind == TEXT and not texts:
            continue
        allowed = added_keys and one.kind == ADDED
        counts += not allowed
        print(f"{name}: {one.path}: {one.a} -> {one.b}  ({one.kind})")
    for kind, number in sorted(kinds.items()):
        print(f"{number:7d}  {kind}")
    print("the same" if not counts else f"{counts} differences")
    return counts


def timed(what: str, work: Callable[[], Any]) -> None:
    begin = time.monotonic()
    work()
    print(f"{what}: {time.monotonic() - begin:.0f} s", file=sys.stderr)


def whole(options: argparse.Namespace) -> int:
    """Corpus, both recordings, comparison; a corpus that is there already is taken."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        corpus = options.corpus or folder / "corpus"
        if not (corpus / LIST).exists():
            timed("corpus", lambda: make_corpus(corpus, light=options.light))
        for side in ("a", "b"):
            checkout = getattr(options, side)
            timed(
                f"results of {checkout}",
                partial(record, corpus, checkout, folder / side, options.light, options.workers),
            )
        found = compared(folder / "a", folder / "b")
        return report(found, texts=options.texts, added_keys=options.added_keys)


def parser_of(command: str) -> argparse.ArgumentParser:
    """The options of one command; "" for all three at once."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    named = {
        "make": ("corpus",),
        "record": ("corpus", "checkout", "out"),
        "compare": ("out_a", "out_b"),
        "": ("a", "b"),
    }
    for name in named[command]:
        parser.add_argument(name, type=Path)
    if command != "compare":
        parser.add_argument("--light", action="store_true", help="47 logs and 6 seasons")
        parser.add_argument("--workers", type=int, default=2)
    if command in ("compare", ""):
        parser.add_argument("--texts", action="store_true", help="let what people read count")
        parser.add_argument("--added-keys", action="store_true", help="allow keys only B has")
    if command == "":
        parser.add_argument("--corpus", type=Path, help="keep the corpus here, or take this one")
    return parser


def main(words: Sequence[str]) -> int:
    command = words[0] if words and words[0] in ("make", "record", "compare") else ""
    options = parser_of(command).parse_args(words[1:] if command else words)
    if command == "make":
        made = make_corpus(options.corpus, light=options.light, workers=options.workers)
        print(f"{len(made.logs)} logs, {len(made.seasons)} seasons")
    elif command == "record":
        record(options.corpus, options.checkout, options.out, options.light, options.workers)
    elif command == "compare":
        found = compared(options.out_a, options.out_b)
        return int(report(found, texts=options.texts, added_keys=options.added_keys) > 0)
    else:
        return int(whole(options) > 0)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
