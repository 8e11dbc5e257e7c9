"""The commands on measured logs that nobody of this project made.

Their origins stand in ``tests/measured_data.py``; without the folder these tests are skipped.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from telemetry.cli import main
from tests.measured_data import FLIGHT, FOLDER, POUCH, ROBOT, leaf_file, needs_data

pytestmark = needs_data

# Four of the cell's files have no header row: columns are named by their numbers.
NAMELESS = (
    "--set", "#2=time[s]",
    "--set", "#9=pack 1/current[A]",
    "--set", "#10=pack 1/voltage[V]",
    "--set", "#12=pack 1/consumed[Ah]",
)  # fmt: skip


def review(path: Path, *options: str) -> dict[str, Any]:
    """The one review of ``busbook review PATH --json OPTIONS``."""
    result = CliRunner().invoke(main, ["review", str(path), "--json", *options])
    assert result.exit_code == 0, result.output
    (one,) = json.loads(result.stdout)["reviews"]
    return one


def cells(path: Path) -> list[list[str]]:
    """The rows of one of the cell's files, cut into cells, without a header."""
    rows = [line.split(",") for line in path.read_text().splitlines()]
    return rows[1:] if rows[0][0] == "Exclude" else rows


def runs_of(rows: list[list[str]], mode: str) -> list[tuple[int, int]]:
    """First row of each run of one mode, and the row after its last."""
    at = np.flatnonzero(np.diff([0, *(r[13] == mode for r in rows), 0]))
    return [(int(a), int(b)) for a, b in at.reshape(-1, 2)]


# What the instrument counted in each discharge, Ah: from the files' own column.
DISCHARGES = {
    "1C": (30.33, 30.34, 30.30, 30.29),
    "2C": (29.95, 29.97, 29.93, 29.91, 29.89),
    "3C": (28.61, 28.72, 28.53, 28.52, 28.40),
}


@pytest.mark.parametrize(
    ("rate", "number"), [(r, n) for r, counted in DISCHARGES.items() for n in range(len(counted))]
)
def test_charge_of_a_cell_against_the_instruments_own_counter(rate, number, tmp_path) -> None:
    rows = cells(leaf_file(f"{rate}-Discharge"))
    first, last = runs_of(rows, "DCHG")[number]
    # The discharge with one row of rest on each side, lines unchanged. The step starts up to a
    # second before its first row.
    part = rows[max(first - 1, 0) : last + 1]
    assert -float(rows[last - 1][11]) == DISCHARGES[rate][number]
    path = tmp_path / "discharge.csv"
    path.write_text("\n".join(",".join(r) for r in part) + "\n")
    one = review(path, *NAMELESS)
    (charge,) = [c for f in one["flights"] for c in f["charge"]]
    counted = 1000 * DISCHARGES[rate][number]
    assert charge["place"] == "pack 1"
    assert charge["integrated_mah"] == pytest.approx(counted, rel=0.002)
    assert charge["logged_mah"] == pytest.approx(counted, rel=0.002)
    assert one["quality"]["gaps"] == [], "a row a minute is this instrument's slower pace"
    assert one["quality"]["restarts"] == []
    assert "capacity-mismatch" not in {f["code"] for f in one["findings"]}


@pytest.mark.parametrize("rate", DISCHARGES)
def test_net_charge_of_a_whole_file(rate) -> None:
    path = leaf_file(f"{rate}-Discharge")
    rows = cells(path)
    net = through = 0.0
    for mode in ("DCHG", "CHRG"):
        for _, last in runs_of(rows, mode):
            net -= float(rows[last - 1][11])
            through += abs(float(rows[last - 1][11]))
    flights = review(path, *NAMELESS)["flights"]
    summed = sum(c["integrated_mah"] for f in flights for c in f["charge"]) / 1000
    assert abs(summed - net) < 0.002 * through


PULSES = {
    10: ("HPPC-10C.csv", NAMELESS),
    25: ("HPPC-25C-2.csv", ()),
    40: ("HPPC-40C-1.csv", ()),
}


def pulse(celsius: int, number: int, folder: Path) -> tuple[Path, float, float]:
    """A file of its own for one of the ten pulses of 30 A, and its resistance by hand, mOhm.

    By the pulse method: the voltage before the step less the one in it, over the current of that
    row; half a second and twenty seconds into the pulse. The data set's first-sample values are
    2.57 to 2.80 at 10 degC, 1.53 to 1.77 at 25 degC, 1.50 to 1.63 at 40 degC.
    """
    rows = cells(leaf_file(PULSES[celsius][0]))
    time, amps, volts = (np.array([float(r[c]) for r in rows]) for c in (1, 8, 9))
    start = np.flatnonzero((amps[1:] < -25) & (np.abs(amps[:-1]) < 1)) + 1
    assert start.size == 10
    k = int(start[number])
    late = int(np.searchsorted(time, time[k] + 19.5))
    early_mohm, late_mohm = (1000 * (volts[k - 1] - volts[j]) / -amps[j] for j in (k, late))
    a, b = np.searchsorted(time, [time[k] - 300, time[k] + 100])
    path = folder / f"{celsius}-{number}.csv"
    path.write_text("\n".join(",".join(r) for r in rows[a:b]) + "\n")
    return path, early_mohm, late_mohm


def sources(one: dict[str, Any]) -> list[dict[str, Any]]:
    """The source resistances that were measured."""
    found = [r for f in one["flights"] for r in f["resistances"] if r["kind"] == "source"]
    return [r for r in found if r["mohm"] is not None]


def test_resistance_of_a_cell_in_the_published_order_of_temperatures(tmp_path) -> None:
    measured: dict[int, list[float]] = {10: [], 25: [], 40: []}
    for celsius, values in measured.items():
        for number in range(10):
            path, early_mohm, late_mohm = pulse(celsius, number, tmp_path)
            (found,) = sources(review(path, *NAMELESS))
            # Resistance grows with the time after the step at which it is read; the estimate is
            # that of some seconds, and must say so.
            assert early_mohm < found["mohm"] < late_mohm, (celsius, number)
            assert found["low_mohm"] < found["mohm"] < found["high_mohm"]
            assert found["scale_s"] >= 1.0
            values.append(found["mohm"])
    assert min(measured[10]) > max(*measured[25], *measured[40])
    assert np.median(measured[25]) > np.median(measured[40])


def test_resistance_of_a_cell_over_whole_files() -> None:
    median = {
        celsius: np.median([r["mohm"] for r in sources(review(leaf_file(name), *sets))])
        for celsius, (name, sets) in PULSES.items()
    }
    assert median[10] > 1.4 * max(median[25], median[40])
    assert 2.5 < median[10] < 3.6
    assert 1.4 < median[25] < 2.4
    assert 1.4 < median[40] < 2.2


def test_a_header_with_units_in_brackets_needs_no_settings() -> None:
    name, sets = PULSES[25]
    assert sets == ()
    columns = {c["column"]: c for c in review(leaf_file(name))["columns"]}
    for header, reading in (
        ("Current(A)", ("pack 1", "current")),
        ("Voltage(V)", ("pack 1", "voltage")),
        ("Capacity(Ah)", ("pack 1", "consumed")),
    ):
        assert (columns[header]["place"], columns[header]["quantity"]) == reading


def test_a_real_flight() -> None:
    one = review(FLIGHT)
    time, volts, amps = np.genfromtxt(FLIGHT, delimiter=",", skip_header=1, usecols=(0, 3, 4)).T
    # The file starts at 3.0 s; the lowest voltage and the highest current are one sample.
    assert time[0] == 3.0
    assert time[np.argmin(volts)] == time[np.argmax(amps)] == 86.5
    assert one["log"]["rows"] == 755
    assert one["log"]["start"] is None
    (flight,) = one["flights"]
    assert flight["kind"] == "flight"
    # Motors start after 6 s and stop some seconds before the end.
    (air,) = [p for p in flight["phases"] if p["kind"] == "flight"]
    assert air["start_s"] == pytest.approx(6.5, abs=1.0)
    assert air["end_s"] == pytest.approx(111.0, abs=2.0)

    (margin,) = [m for m in flight["margins"] if m["place"] == "pack 1"]
    assert margin["lowest_v"] == pytest.approx(20.858, abs=0.0005)
    (charge,) = flight["charge"]
    assert charge["integrated_mah"] == pytest.approx(587.9, abs=0.3)
    assert charge["start_v"] == pytest.approx(24.125, abs=0.005), "idle, before arming"
    # Least squares on current and time over I > 5 A gives 57.8 mOhm.
    (source,) = sources(one)
    assert source["low_mohm"] < 57.8 < source["high_mohm"]
    assert source["high_mohm"] - source["low_mohm"] < 10

    sags = [e for e in flight["events"] if e["kind"] == "sag"]
    (deepest,) = [e for e in sags if e["residual_v"] == pytest.approx(20.858, abs=0.0005)]
    assert deepest["start_s"] == pytest.approx(86.5 - 3.0)
    assert deepest["peak_a"] == pytest.approx(40.793, abs=0.0005)
    assert deepest["origin"] == "load"
    assert deepest["explained"] > 0.9
    assert max(e["peak_a"] or 0 for e in flight["events"]) == pytest.approx(40.793, abs=0.0005)
    assert not [e for e in flight["events"] if e["origin"] in ("contact", "supply", "pack")]
    assert one["verdict"] in ("clear", "unknown"), "nothing was wrong on this flight"


def test_a_robot_arm_in_its_european_dialect() -> None:
    one = review(ROBOT)
    log = one["log"]
    assert (log["separator"], log["decimal"], log["rows"]) == (";", ",", 7409)
    assert log["start"].startswith("2022-10-26T08:17:21.847")
    assert log["duration_s"] == pytest.approx(7 * 3600 + 18 * 60 + 44.733, abs=0.001)
    assert one["quality"]["row_s"] == pytest.approx(1.005, abs=0.001)
    gaps = [g["end_s"] - g["start_s"] for g in one["quality"]["gaps"]]
    assert max(gaps) == pytest.approx(18_814, abs=1)
    assert sum(g > 10 for g in gaps) == 2
    read = {c["column"]: c for c in one["columns"]}
    for joint in range(6):
        assert read[f"Current_J{joint}"]["quantity"] == "current"
    # Its joints take less current as they warm: no fault, and nothing here was flown or stirred.
    assert one["verdict"] == "unknown"
    assert {f["level"] for f in one["findings"]} <= {"clear", "unknown"}


def test_a_cell_run_empty_again_and_again_is_headed_by_the_run_that_went_lowest() -> None:
    """Lowest cell of the file: 2.9995 V, in the last of several runs; it rests at 3.81 V."""
    one = review(POUCH)
    first = one["findings"][0]
    # In the last run that is what ran empty brought; the runs before it went as low within 0.2 mV.
    assert first["code"] == "margin-low"
    lowest = [min(m["lowest_v"] for m in f["margins"]) for f in one["flights"]]
    assert len(lowest) > 1
    assert min(lowest) == 2.9995
    assert first["evidence"]["lowest_v"] == lowest[first["flight"] - 1]
    assert first["evidence"]["lowest_v"] == pytest.approx(min(lowest), abs=0.0003)
    shown = " ".join(CliRunner().invoke(main, ["review", str(POUCH)]).output.split())
    assert f"GROUND IT Flight {first['flight']}, pack 1: lowest voltage 3.00 V" in shown
    assert f"Lowest voltage 2.999 V pack 1, flight {1 + int(np.argmin(lowest))}, in flight" in shown


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*/*.csv")))
def test_every_file_is_listed_and_reviewed_without_a_warning(path, recwarn) -> None:
    listed = CliRunner().invoke(main, ["columns", str(path)])
    assert listed.exit_code == 0
    assert "Cannot be reviewed yet" not in listed.output
    assert review(path)["flights"]
    assert not recwarn.list
