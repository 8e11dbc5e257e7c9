"""The measured data of others, read and reviewed, as a Markdown table.

    BUSBOOK_OPEN_DATA=FOLDER python tests/full/open_data.py

"Theirs" is what the data set's own instrument counted or its authors state; "by hand" is worked out
here from the file's cells without busbook. Nothing was wrong with any of these machines, so every
finding graver than "unknown" is a false one. The laboratory's cell is reviewed with the restart
level out of the way, for a lone cell of 2.5 to 4.2 V feeds no radio, and without its counters: its
instrument pauses and sets them to zero at each step of the test, as a unit that restarts does.
Origins:

- leaf_cell: G. Wiggins, S. Allu, H. Wang, Oak Ridge National Laboratory, cell data of 2013,
  doi 10.5281/zenodo.2580327.
- delivery_flight: T. A. Rodrigues et al., energy use of package delivery in flight, flight 12,
  Scientific Data 2021, doi 10.1038/s41597-021-00930-x.
- cobot_currents: M. Tyrovolas et al., UCI Machine Learning Repository 2024, doi 10.24432/C5J891.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.integrate import trapezoid

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

from telemetry import Level, Limits, Log, Review, read_log, review  # noqa: E402
from telemetry.aircraft import infer_path  # noqa: E402
from telemetry.numerics.charge import charge_mah  # noqa: E402

# Four of the cell's files have no header row: columns are named by their numbers.
NAMELESS = {
    "#2": "time[s]",
    "#9": "pack 1/current[A]",
    "#10": "pack 1/voltage[V]",
    "#12": "pack 1/consumed[Ah]",
    "#13": "pack 1/energy[Wh]",
}
Row = tuple[str, str, str, str]


def label(path: Path) -> str:
    """The folder and what tells the file from others in it."""
    words = path.stem.partition("-cell-")[2] or "-".join(path.stem.split("-")[:2])
    return f"{path.parent.name}: {words}"


def cells(path: Path) -> list[list[str]]:
    """The rows of one of the cell's files, cut into cells, without a header."""
    rows = [line.split(",") for line in path.read_text().splitlines()]
    return rows[1:] if rows[0][0] == "Exclude" else rows


def read(path: Path, *, counters: bool = True) -> Log:
    """A log; of the cell with or without the counters that its instrument sets to zero."""
    if path.parent.name != "leaf_cell":
        return read_log(path)
    settings = dict(NAMELESS) if path.read_text()[:7] != "Exclude" else {}
    if not counters:
        settings |= {"#12": "ignore", "#13": "ignore"}
    return read_log(path, settings=settings or None)


def discharges(path: Path) -> Iterator[Row]:
    """Charge and energy of each discharge at constant current against the instrument's counters."""
    log = read(path)
    amps, volts = log.values("pack 1/current"), log.values("pack 1/voltage")
    mah, wh = log.values("pack 1/consumed"), log.values("pack 1/energy")
    on = np.diff(np.concatenate(([0], (amps > 10).astype(int), [0])))
    ours, theirs, ours_wh, theirs_wh = [], [], [], []
    for a, b in zip(np.flatnonzero(on == 1), np.flatnonzero(on == -1), strict=True):
        # The instrument writes the first row of a step one second into it.
        t = np.concatenate(([log.time_s[a] - 1.0], log.time_s[a:b]))
        i, v = np.concatenate(([amps[a]], amps[a:b])), np.concatenate(([volts[a]], volts[a:b]))
        ours.append(charge_mah(t, i) / 1000)
        ours_wh.append(charge_mah(t, i * v) / 1000)
        theirs.append(mah[b - 1] / 1000)
        theirs_wh.append(abs(wh[b - 1]))
    for what, unit, a, b in (
        ("charge", "Ah", ours, theirs),
        ("energy", "Wh", ours_wh, theirs_wh),
    ):
        worst = 100 * max(abs(x / y - 1) for x, y in zip(a, b, strict=True))
        yield (
            label(path),
            f"{what} of {len(a)} discharges",
            f"{min(a):.2f} to {max(a):.2f} {unit}",
            f"counter: {min(b):.2f} to {max(b):.2f} {unit}; at most {worst:.2f} % apart",
        )


def pulses(path: Path) -> Row:
    """Source resistance from the surroundings of each 30 A pulse, against the pulse method."""
    rows = cells(path)
    time, amps, volts = (np.array([float(r[c]) for r in rows]) for c in (1, 8, 9))
    early, late, found, inside = [], [], [], 0
    with tempfile.TemporaryDirectory() as folder:
        for k in np.flatnonzero((amps[1:] < -25) & (np.abs(amps[:-1]) < 1)) + 1:
            j = int(np.searchsorted(time, time[k] + 19.5))
            by_hand = [1000 * (volts[k - 1] - volts[m]) / -amps[m] for m in (k, j)]
            early.append(by_hand[0])
            late.append(by_hand[1])
            a, b = np.searchsorted(time, [time[k] - 300, time[k] + 100])
            part = Path(folder) / "pulse.csv"
            part.write_text("\n".join(",".join(r) for r in rows[a:b]) + "\n")
            one = review(read_log(part, settings=NAMELESS))
            known = [r for f in one.flights for r in f.resistances if r.mohm is not None]
            found += [r.mohm for r in known if r.kind == "source" and r.mohm is not None]
            inside += sum(by_hand[0] < (r.mohm or 0) < by_hand[1] for r in known)
    return (
        label(path),
        f"source resistance at {len(found)} of {len(early)} pulses",
        f"{min(found):.2f} to {max(found):.2f} mOhm",
        f"by hand {min(early):.2f} to {max(early):.2f} at once, {min(late):.2f} to "
        f"{max(late):.2f} after 20 s; {inside} of {len(found)} between the two",
    )


def whole(path: Path) -> tuple[Review, Row]:
    """A whole file reviewed: what was found, and what of it is false."""
    lone = path.parent.name == "leaf_cell"
    log = read(path, counters=False)
    craft = infer_path(log)
    one = review(log, craft.model_copy(update={"limits": Limits(restart_v=0.5)}) if lone else craft)
    sources = [
        f"{r.mohm:.2f} ({r.low_mohm:.2f} to {r.high_mohm:.2f})"
        for f in one.flights
        for r in f.resistances
        if r.kind == "source" and r.mohm is not None
    ]
    codes = Counter(f.code for f in one.findings if f.level > Level.UNKNOWN)
    false = [f"{code} ({n})" for code, n in codes.items()]
    p = one.log.provenance
    blamed = sum(
        str(e.origin) in ("contact", "supply", "pack", "sensor")
        for f in one.flights
        for e in f.events
    )
    shown = f"{len(sources)} source resistances" if len(sources) > 2 else "; ".join(sources)
    return one, (
        label(path),
        f"{p.rows} rows, {p.rows_refused} refused; whole file reviewed",
        f"{shown or 'no source resistance'}; {blamed} events laid to a part",
        f"false findings: {', '.join(false) or 'none'}; verdict {one.verdict}",
    )


def flight(path: Path) -> Iterator[Row]:
    """The measured flight against its own cells."""
    one, row = whole(path)
    yield row
    t, volts, amps = np.genfromtxt(path, delimiter=",", skip_header=1, usecols=(0, 3, 4)).T
    (charge,) = (c for f in one.flights for c in f.charge)
    by_hand = float(trapezoid(amps, t)) / 3.6
    yield (
        label(path),
        "charge",
        f"{charge.integrated_mah:.1f} mAh",
        f"by hand {by_hand:.1f} mAh",
    )
    loaded = amps > 5
    design = np.stack([np.ones(t.size), amps, t], axis=1)[loaded]
    slope = np.linalg.lstsq(design, volts[loaded], rcond=None)[0][1]
    (source,) = (r for f in one.flights for r in f.resistances if r.kind == "source")
    yield (
        label(path),
        "source resistance",
        f"{source.mohm:.1f} ({source.low_mohm:.1f} to {source.high_mohm:.1f}) mOhm",
        f"by hand, least squares on current and time above 5 A: {-1000 * slope:.1f} mOhm",
    )
    lowest = min(m.lowest_v for f in one.flights for m in f.margins if m.lowest_v is not None)
    yield (label(path), "lowest voltage", f"{lowest:.3f} V", f"by hand {volts.min():.3f} V")


def robot(path: Path) -> Iterator[Row]:
    """The robot arm: gaps and mean currents against the data set's own cells."""
    one, row = whole(path)
    yield row
    lines = [line.split(";") for line in path.read_text(encoding="utf-8-sig").splitlines()]
    column = [i for i, name in enumerate(lines[0]) if name.startswith("Current_J")]
    said = [[float(r[i].replace(",", ".")) for r in lines[1:] if r[i].strip()] for i in column]
    read_in = [one.log.values(f"j{i}/current") for i in range(len(column))]
    ours = [float(np.nanmean(np.abs(x))) for x in read_in]
    theirs = [float(np.mean(np.abs(x))) for x in said]
    worst = 100 * max(abs(a / b - 1) for a, b in zip(ours, theirs, strict=True))
    yield (
        label(path),
        "mean current of six joints",
        ", ".join(f"{x:.3f}" for x in ours) + " A",
        f"by hand the same within {worst:.1g} %",
    )


def main() -> int:
    named = os.environ.get("BUSBOOK_OPEN_DATA", "")
    if not named or not Path(named).is_dir():
        print("BUSBOOK_OPEN_DATA names no folder: nothing was checked")
        return 0
    folder = Path(named)
    rows: list[Row] = []
    for path in sorted(folder.glob("leaf_cell/*.csv")):
        rows.append(whole(path)[1])
        if "Discharge" in path.name:
            rows += discharges(path)
        elif "HPPC" in path.name:
            rows.append(pulses(path))
    for path in sorted(folder.glob("delivery_flight/*.csv")):
        rows += flight(path)
    for path in sorted(folder.glob("cobot_currents/*.csv")):
        rows += robot(path)
    print("| file | what | busbook | against |\n|---|---|---|---|")
    print("\n".join(f"| {' | '.join(row)} |" for row in rows))
    return int(any("false findings: none" not in r[3] for r in rows if "false findings" in r[3]))


if __name__ == "__main__":
    sys.exit(main())
