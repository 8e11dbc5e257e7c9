"""How one odd file was read: each column against its truth, the verdict, the printed hints."""

from __future__ import annotations

import re
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np

from telemetry import describe_columns, join_logs, read_log, review
from telemetry.cli.shared import find_logs, settings_of
from telemetry.importer import Listing
from telemetry.model.channels import Channel, PlaceKind, Quantity, kind_of_place
from telemetry.model.errors import BusbookError
from telemetry.model.log import Log
from telemetry.readings.spurious import without_wild
from telemetry.report.documents.listing import render
from telemetry.results import Level
from tests.accuracy.odd_files.draft import FACTORS, Column, Draft
from tests.accuracy.odd_files.kinds import kinds_of, make

OUTCOMES = ("right", "asked", "told", "wrong", "refused")
#: Columns whose place a review needs.
PLACED = ("voltage", "current", "consumed", "temperature")
#: What a reader may take a column for, besides what it is.
HARMLESS = {
    "unknown": {"unknown", "status", "count"},
    "uptime": {"uptime", "time"},
}
#: Shares of true readings that may be missing, and of readings that may be there besides.
MISSING, BESIDES = 0.02, 0.02
#: So many different hints of a file are pasted.
MOST_HINTS = 6
_HINT = re.compile(r"--set ((?:'[^']*'|\"[^\"]*\")(?: or (?:'[^']*'|\"[^\"]*\"))*)")
_QUOTED = re.compile(r"'([^']*)'|\"([^\"]*)\"")
_TEMPLATE = ("PLACE", "QUANTITY", "UNIT")


@dataclass
class Outcome:
    """What became of one file.

    Attributes
    ----------
    kinds : tuple of str
    seed : int
    columns : list of (title, truth, reading, outcome, why)
    refused, crash : str
        What the program said, "" where it read the file.
    verdict : str
    brownout : str
        Planted at this place.
    missed, accused : bool
        A planted brownout was called clear; a sound aircraft was accused. Only where the same
        flight in a plain file was not.
    hints : list of (hint, "" or why it does not work)
    settled : bool
        The listing asks nothing, though a voltage or current is not right.
    """

    kinds: tuple[str, ...]
    seed: int
    columns: list[tuple[str, str, str, str, str]] = field(default_factory=list)
    refused: str = ""
    hinted: bool = False
    crash: str = ""
    verdict: str = ""
    brownout: str = ""
    missed: bool = False
    accused: str = ""
    hints: list[tuple[str, str]] = field(default_factory=list)
    settled: bool = False

    def count(self, outcome: str) -> int:
        return sum(c[3] == outcome for c in self.columns)

    @property
    def failed(self) -> bool:
        return bool(
            self.crash
            or self.missed
            or self.accused
            or self.count("wrong")
            or any(why for _, why in self.hints)
        )


def run(name: str, seed: int, keep: Path | None = None) -> Outcome:
    """Write the file of a kind and a seed, read and review it, and judge all of it."""
    kinds = kinds_of(name, seed)
    draft = make(kinds, seed)
    out = Outcome(kinds=kinds, seed=seed, brownout=draft.flight.brownout)
    with tempfile.TemporaryDirectory() as temporary, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        folder = Path(temporary) if keep is None else keep / f"{name}-{seed}"
        folder.mkdir(parents=True, exist_ok=True)
        for file, data in draft.written().items():
            (folder / file).write_bytes(data)
        _judge(out, draft, sorted(folder / file for file in draft.written()))
    return out


def _judge(out: Outcome, draft: Draft, paths: Sequence[Path]) -> None:
    listing, log, said, at = None, None, [], paths[0]
    try:
        found = [p for p in find_logs(paths) if _is_path(p)]
        at = found[0]
        listing = describe_columns(at)
        said += [listing.problem, render(listing)]
        log = join_logs([read_log(p) for p in found])
    except BusbookError as error:
        out.refused, out.hinted = str(error), bool(error.hint)
        said.append(str(error))
    except Exception:  # any other is a fault of the program, which is what is looked for
        out.crash = _last_line()
    if log is not None and listing is not None:
        out.columns = judge_columns(draft, log, listing)
        unsaid = not (listing.problem or listing.unsettled or any(c.open for c in listing.columns))
        supply = [c[3] for c in out.columns if c[1].endswith(("/voltage", "/current"))]
        out.settled = unsaid and not {"told", "wrong"}.isdisjoint(supply)
    else:
        out.columns = [(c.name, f"{c.place}/{c.quantity}", "", "refused", "") for c in draft.data()]
    if log is not None and not out.crash:
        said += _reviewed(out, draft, log)
    out.columns = [(*c[:3], _fair(draft, c[3], out.hinted), c[4]) for c in out.columns]
    out.hints = [(h, _pasted(h, at, out.refused)) for h in hints(said)[:MOST_HINTS]]


def _is_path(found: object) -> bool:
    if isinstance(found, Exception):
        raise found
    return True


def _fair(draft: Draft, outcome: str, hinted: bool) -> str:
    """A question is right where nobody could know."""
    if draft.expects != "read" and (
        outcome in ("asked", "told") or (outcome == "refused" and hinted)
    ):
        return "right"
    return outcome


def _last_line() -> str:
    last = traceback.format_exc().strip().splitlines()
    where = [x.strip() for x in last if x.strip().startswith("File")][-1]
    return f"{last[-1]} ({where})"


def _reviewed(out: Outcome, draft: Draft, log: Log) -> list[str]:
    """Review the log; what the findings say."""
    try:
        found = review(log)
    except BusbookError as error:
        out.refused = str(error)
        return [str(error)]
    except Exception:
        out.crash = "review: " + _last_line()
        return []
    out.verdict = str(found.verdict)
    accusing = [f.code for f in found.findings if f.level >= Level.WATCH]
    if out.brownout and found.verdict == Level.CLEAR:
        out.missed = _plain(draft, out)[0] != "clear"
    elif not out.brownout and accusing:
        plain = _plain(draft, out)[1]
        out.accused = ", ".join(sorted({c for c in accusing if c not in plain}))
    return [repr(f) for f in found.findings]


def _plain(draft: Draft, out: Outcome) -> tuple[str, set[str]]:
    """Verdict and accusations of the same flight in a plain file."""
    plain = make(out.kinds, out.seed, plain=True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plain.csv"
        path.write_bytes(plain.text().encode())
        found = review(read_log(path))
    return str(found.verdict), {f.code for f in found.findings if f.level >= Level.WATCH}


# ---- columns


def judge_columns(draft: Draft, log: Log, listing: Listing) -> list[tuple[str, str, str, str, str]]:
    """Each column of the draft with what it was read as: title, truth, reading, outcome, why."""
    log, _ = without_wild(log)
    matched = _matched(draft, log, listing)
    power = [(c, ch) for c, ch in matched if ch is not None and c.quantity in PLACED]
    usual: dict[str, Counter[str | None]] = {}
    for c, ch in power:
        if str(ch.quantity) == c.quantity:
            usual.setdefault(c.place, Counter())[ch.place] += 2 if c.quantity == "voltage" else 1
    home = {p: count.most_common(1)[0][0] for p, count in usual.items()}
    offset_s = _offset(draft, log, matched)
    asked = {u.column.strip() for u in listing.unsettled} | {
        r.channel.column.strip() for r in listing.columns if r.open
    }
    rows = []
    for c, ch in matched:
        reading = "" if ch is None else f"{ch.place or ''}/{ch.quantity}[{ch.source_unit}]"
        outcome, why = _of_column(c, ch, log, draft, home, offset_s)
        if ch is not None and outcome in ("told", "wrong") and ch.column.strip() in asked:
            outcome = "asked"
        if outcome in ("told", "asked") and not c.knowable:
            outcome = "right"
        rows.append((c.name, f"{c.place}/{c.quantity}", reading, outcome, why))
    return rows


def _matched(draft: Draft, log: Log, listing: Listing) -> list[tuple[Column, Channel | None]]:
    """Each column of the draft that has a truth, with the channel that was made of it."""
    wanted = [(k, c) for k, c in enumerate(draft.columns) if c.quantity not in ("time", "junk")]
    if draft.by_name:
        return [(c, _by_values(c, draft, log)) for _, c in wanted]
    at = {r.number - 1: r.channel for r in listing.columns}
    keys = {ch.key for ch in log.channels}
    out = []
    for k, c in wanted:
        channel = at.get(k)
        if channel is not None and channel.key not in keys:
            same = [
                x
                for x in log.channels
                if x.column == channel.column and x.quantity == channel.quantity
            ]
            channel = same[0] if same else channel
        out.append((c, channel))
    return out


def _by_values(c: Column, draft: Draft, log: Log) -> Channel | None:
    """The channel of a long table whose numbers are the column's."""
    best: tuple[float, Channel | None] = (0.5, None)
    mine = c.sign * c.values / FACTORS[c.unit]
    for channel in log.channels:
        if channel.key not in log.frame.columns:
            continue
        theirs = (log.values(channel.key) - channel.offset) / channel.factor
        theirs = theirs[np.isfinite(theirs)]
        truth = mine[np.isfinite(mine)]
        if abs(len(theirs) - len(truth)) > 3:
            continue
        n = min(len(theirs), len(truth))
        share = float(np.mean(np.abs(theirs[:n] - truth[:n]) < 1e-6 + 0.6 * 10.0**-c.decimals))
        if share < 0.5:
            continue
        # Mirrored places may read alike.
        share += 0.5 * SequenceMatcher(None, channel.column.casefold(), c.name.casefold()).ratio()
        if share > best[0]:
            best = (share, channel)
    return best[1]


def _of_column(
    c: Column,
    ch: Channel | None,
    log: Log,
    draft: Draft,
    home: dict[str, str | None],
    offset_s: float | None,
) -> tuple[str, str]:
    if ch is None:
        return "wrong", "the column is gone"
    if ch.quantity is Quantity.UNKNOWN or ch.text:
        return ("right" if c.quantity == "unknown" else "told"), "not understood"
    if str(ch.quantity) not in HARMLESS.get(c.quantity, {c.quantity}):
        return "wrong", f"quantity {ch.quantity}"
    if ch.quantity is Quantity.TIME or c.quantity == "unknown":
        return "right", ""
    if c.quantity in PLACED:
        why = _misplaced(c, ch, home)
        if why:
            return "wrong", why
    if offset_s is None:
        return "wrong", "time"
    if ch.key not in log.frame.columns:
        return "wrong", "no values"
    why = values_differ(c, log.time_s, log.values(ch.key), draft, offset_s)
    return ("wrong", why) if why else ("right", "")


def _misplaced(c: Column, ch: Channel, home: dict[str, str | None]) -> str:
    """Why the place is not right, "" where it is: one place each, and not of another kind."""
    if ch.place != home.get(c.place) and c.quantity != "temperature":
        return f"place {ch.place}, beside {home.get(c.place)}"
    shared = [p for p, place in home.items() if place == home.get(c.place) and p != c.place]
    if shared and c.quantity != "temperature":
        return f"place {ch.place} is that of {shared[0]} too"
    read, true = kind_of_place(ch.place or ""), kind_of_place(c.place)
    if read is not true and PlaceKind.OTHER not in (read, true):
        # What is numbered alone may be a pack as well as a node.
        return f"a {true} read as a {read}"
    return ""


def values_differ(
    c: Column, time_s: np.ndarray, values: np.ndarray, draft: Draft, offset_s: float
) -> str:
    """Why the values are not those of the column at their times, "" where they are."""
    truth = np.isfinite(c.values)
    read = np.isfinite(values)
    if not truth.any():
        return ""
    within = 0.6 * 10.0**-c.decimals * FACTORS[c.unit]
    within = max(within, 1e-6 * float(np.nanmax(np.abs(c.values))))
    t, v = draft.time_s[truth] + offset_s, c.values[truth]
    rt, rv = time_s[read], values[read]
    lost = ~_found(t, v, rt, rv, draft.time_tolerance_s, within)
    allowed = MISSING * len(t) + len(draft.lenient) + 1
    if lost.sum() > allowed:
        ratio = float(np.median(rv) / np.median(v)) if len(rv) and np.median(v) else np.nan
        return f"{lost.sum()} of {len(t)} values differ (median read / true {ratio:.4g})"
    besides = ~_found(rt, rv, t, v, draft.time_tolerance_s, within)
    span = float(np.ptp(v)) + 3 * within
    far = besides & ((rv < v.min() - span) | (rv > v.max() + span))
    if far.any():
        return f"{far.sum()} values of no reading remain, such as {rv[far][0]:g}"
    if besides.sum() > BESIDES * len(rv) + len(draft.lenient) + 1:
        return f"{besides.sum()} values too much"
    return ""


def _found(
    t: np.ndarray,
    v: np.ndarray,
    others_t: np.ndarray,
    others_v: np.ndarray,
    time_tolerance_s: float,
    within: float,
) -> np.ndarray:
    """For each sample whether another series has its value near its time."""
    out = np.zeros(len(t), dtype=bool)
    if not len(others_t):
        return out
    first = np.searchsorted(others_t, t - time_tolerance_s - 1e-9)
    last = np.searchsorted(others_t, t + time_tolerance_s + 1e-9)
    for k in range(int((last - first).max(initial=0))):
        at = np.minimum(first + k, len(others_t) - 1)
        out |= (first + k < last) & (np.abs(others_v[at] - v) <= within)
    return out


def _offset(
    draft: Draft, log: Log, matched: Sequence[tuple[Column, Channel | None]]
) -> float | None:
    """What lies between the two first rows, s; None where no shift makes the times the same."""
    t = log.time_s
    start = [float(x) for x in t[:6] - draft.time_s[0]]
    tries = [0.0, *start, float(t[-1] - draft.time_s[-1]), -float(draft.time_s[min(5, len(t) - 1)])]
    tries += [-float(x) for x in draft.time_s[:12]]
    some = [
        (c, ch)
        for c, ch in matched
        if ch is not None
        and ch.key in log.frame.columns
        and c.quantity in ("voltage", "current", "control")
        and ch.quantity == c.quantity
    ]
    if not some:
        return 0.0
    best: tuple[float, float | None] = (0.5, None)
    for shift in dict.fromkeys(tries):
        shares = []
        for c, ch in some[:6]:
            truth, values = np.isfinite(c.values), log.values(ch.key)
            read = np.isfinite(values)
            scale = (
                float(np.median(values[read]) / np.median(c.values[truth]))
                if (read.any() and truth.any() and np.median(c.values[truth]))
                else 1.0
            )
            scale = 10.0 ** round(np.log10(abs(scale))) * np.sign(scale) if scale else 1.0
            within = abs(scale) * 0.6 * 10.0**-c.decimals * FACTORS[c.unit] + 1e-9
            true_t, true_v = draft.time_s[truth] + shift, c.values[truth] * scale
            hits = _found(true_t, true_v, t[read], values[read], draft.time_tolerance_s, within)
            shares.append(float(hits.mean()))
        if np.median(shares) > best[0] + 1e-6:
            best = (float(np.median(shares)), shift)
    return best[1]


# ---- hints


def hints(said: Sequence[str]) -> list[str]:
    """Every different option that a text prints, as it stands."""
    return list(dict.fromkeys(m.group(1) for text in said for m in _HINT.finditer(text)))


def _pasted(hint: str, path: Path, refused: str) -> str:
    """Why a printed option does not work when it is pasted, "" where it does."""
    options = [a or b for a, b in _QUOTED.findall(hint)]
    failures = []
    for option in options:
        if any(word in option.rpartition("=")[2] for word in _TEMPLATE):
            option = option.rpartition("=")[0] + "=unknown"  # to be filled in: the column must do
        try:
            listing = describe_columns(path, settings=settings_of([option]))
            if hint in refused and listing.problem and listing.problem in refused:
                failures.append(f"said again: {listing.problem}")
        except BusbookError as error:
            failures.append(str(error))
        except Exception:
            failures.append(_last_line())
    return failures[0] if len(failures) == len(options) else ""
