"""How odd telemetry files are read: right, asked, told, silently wrong or refused.

    python tests/accuracy/importing.py [--seed 1] [--number 1] [--kinds words-polish,...]
                                       [--families names,...] [--workers 2] [--list-wrong]
                                       [--keep DIR] [--list]

One file a kind and number, each of a random flight of a random aircraft; one in four carries a
second oddity, and one in four a planted brownout. Truth, names and values are made by
``tests/accuracy/odd_files``, apart from the project's own simulator. Every file is read, listed
and reviewed, and every ``--set`` that is printed is pasted. Intervals are Wilson's, 95 %.

right
    Quantity, place, unit, values and times are as they are. Where nobody could tell, "not
    understood" and a question are right too.
asked
    The program names the column as unclear.
told
    The column was not read, and the listing says so.
wrong
    Read as something else without a word: silently wrong.
refused
    The file was not read, though it could be.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import repeat
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from statsmodels.stats.proportion import proportion_confint

from tests.accuracy.odd_files import encodings, names, structure, times, values  # noqa: F401
from tests.accuracy.odd_files.judging import OUTCOMES, Outcome, run
from tests.accuracy.odd_files.kinds import FAMILIES, KINDS


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--number", type=int, default=1, help="files of each kind")
    parser.add_argument("--kinds", default="", help="only these, parted by commas")
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--list", action="store_true", help="print the kinds and end")
    parser.add_argument("--list-wrong", action="store_true", help="print what is not right")
    parser.add_argument("--keep", type=Path, help="keep the files that failed in this folder")
    options = parser.parse_args()
    wanted = [n for n in options.kinds.split(",") if n] or [
        k.name for k in KINDS.values() if k.family in options.families.split(",")
    ]
    if options.list:
        print("\n".join(f"{KINDS[n].family:10} {n}" for n in wanted))
        return
    jobs = [(n, options.seed + k) for k in range(options.number) for n in wanted]
    outcomes = collect(jobs, options.workers)
    if options.list_wrong:
        for o in outcomes:
            print_failure(o)
    if options.keep is not None:
        for o in outcomes:
            if o.failed or o.refused:
                run(o.kinds[0], o.seed, keep=options.keep)
    print_table(outcomes)


def collect(jobs: Sequence[tuple[str, int]], workers: int) -> list[Outcome]:
    """Outcomes of all files asked for, in order."""
    if workers == 1:
        return [run(*job) for job in jobs]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(run, *zip(*jobs, strict=True), repeat(None), chunksize=4))


def print_failure(o: Outcome) -> None:
    """What is not right with one file; nothing where all is."""
    wrong = [c for c in o.columns if c[3] != "right"]
    if not (wrong or o.failed):
        return
    print(f"\n{' + '.join(o.kinds)}  (--kinds {o.kinds[0]} --seed {o.seed})  {o.verdict}")
    if o.crash:
        print(f"  CRASH {o.crash}")
    if o.refused:
        print(f"  refused: {short(o.refused)}")
    if o.missed:
        print(f"  MISSED a brownout at {o.brownout}")
    if o.accused:
        print(f"  ACCUSED: {o.accused}")
    for hint, why in o.hints:
        if why:
            print(f"  HINT {hint}: {short(why)}")
    reasons = Counter((c[3], c[4]) for c in wrong if c[3] != "refused")
    shown: set[tuple[str, str]] = set()
    for title, truth, reading, outcome, why in wrong:
        if outcome == "refused" or (outcome, why) in shown:
            continue
        shown.add((outcome, why))
        print(f"  {outcome:6} {reasons[outcome, why]:3} x  '{title}' {truth} -> {reading}: {why}")


def short(text: str) -> str:
    """A sentence without the names of the columns, which may be many."""
    text = re.sub(r"^/\S*/", "", text)
    return re.sub(r"('[^']*', ){3,}", "'...', ", text)[:220]


def print_table(outcomes: Sequence[Outcome]) -> None:
    """The table of RESULTS.md."""
    print(
        "\n| family | kinds | files | columns | right | asked | told | silently wrong | refused |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for family in (*FAMILIES, "all"):
        rows = [o for o in outcomes if family in ("all", KINDS[o.kinds[0]].family)]
        if rows:
            counts = {x: sum(o.count(x) for o in rows) for x in OUTCOMES}
            total = sum(counts.values())
            cells = [share(counts["right"], total)]
            cells += [f"{counts[x]}" for x in ("asked", "told")]
            cells += [f"{counts['wrong']}: {share(counts['wrong'], total)}", f"{counts['refused']}"]
            print(f"| {family} | {len({o.kinds[0] for o in rows})} | {len(rows)} | {total} | "
                  f"{' | '.join(cells)} |")  # fmt: skip
    planted = [o for o in outcomes if o.brownout]
    pasted = [why for o in outcomes for _, why in o.hints]
    sound = [o for o in outcomes if not o.brownout]
    print("\n| besides | of | |\n|---|---|---|")
    for what, hits, of in (
        ("planted brownouts called clear", sum(o.missed for o in planted), len(planted)),
        ("healthy files accused, watch or ground", sum(bool(o.accused) for o in sound), len(sound)),
        ("listing asks nothing, though a voltage or current is not right",
         sum(o.settled for o in outcomes), len(outcomes)),
        ("files refused", sum(bool(o.refused) for o in outcomes), len(outcomes)),
        ("... of these without a hint", sum(bool(o.refused) and not o.hinted for o in outcomes),
         sum(bool(o.refused) for o in outcomes)),
        ("tracebacks", sum(bool(o.crash) for o in outcomes), len(outcomes)),
        ("printed hints that work when pasted", sum(not why for why in pasted), len(pasted)),
    ):  # fmt: skip
        print(f"| {what} | {of} | {hits}: {share(hits, of)} |")


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


if __name__ == "__main__":
    main()
