"""Packs across flights, held against measured cells: warmth, and cells that take turns.

- ageing_cells: B. Saha, K. Goebel (2007), Battery Data Set, NASA Prognostics Data Repository, cells
  B0005 and B0006: capacity, discharge by discharge, to the end of life.
- leaf_cell: G. Wiggins, S. Allu, H. Wang, Oak Ridge National Laboratory,
  doi 10.5281/zenodo.2580327: pulses of 30 A at 10, 25 and 40 degC.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.checks.across import judge
from telemetry.results import Finding
from telemetry.trends.measures import Measure, Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import proposed_sets
from telemetry.trends.warmth import ACTIVATION_KJ, ACTIVATION_SD_KJ, coldness
from tests.measured_data import FOLDER, leaf_file, needs_data

pytestmark = needs_data
PULSES = {10.0: "HPPC-10C.csv", 25.0: "HPPC-25C-2.csv", 40.0: "HPPC-40C-1.csv"}
# Seconds into a pulse: a log of some readings a second tells resistances of about this age.
_INTO_S = 3.0


def pulse_mohm(name: str) -> float:
    """Median resistance of the pulses of a file but the last two, near empty, in mOhm."""
    rows = []
    with leaf_file(name).open(encoding="utf-8") as file:
        for row in csv.reader(file):
            try:
                rows.append((float(row[1]), float(row[8]), float(row[9])))
            except ValueError:
                continue
    time, amps, volts = np.array(rows).T
    starts = np.flatnonzero((amps[1:] < -25) & (amps[:-1] > -1)) + 1
    into = np.searchsorted(time, time[starts] + _INTO_S)
    found = 1000.0 * (volts[starts - 1] - volts[into]) / -amps[into]
    return float(np.median(found[:8]))


def test_a_measured_cell_keeps_to_what_is_taken_for_granted_of_warmth() -> None:
    """Arrhenius on pulses: 22 kJ/mol from 10 to 25 degC, 2 from 25 to 40, 13 over both."""
    logs = {celsius: np.log(pulse_mohm(name)) for celsius, name in PULSES.items()}
    cold = dict(zip(logs, coldness(np.array(list(logs))), strict=True))

    def energy(one: float, two: float) -> float:
        return float((logs[one] - logs[two]) / (cold[one] - cold[two]))

    assert energy(10.0, 25.0) == pytest.approx(22.3, abs=0.5)
    assert energy(25.0, 40.0) == pytest.approx(2.0, abs=0.5)
    assert energy(10.0, 40.0) == pytest.approx(12.6, abs=0.5)
    for pair in ((10.0, 25.0), (25.0, 40.0), (10.0, 40.0)):
        assert abs(energy(*pair) - ACTIVATION_KJ) < 2 * ACTIVATION_SD_KJ


def capacities(cell: str) -> np.ndarray:
    """Capacity of a cell, discharge by discharge, Ah."""
    path = FOLDER / "ageing_cells" / "cells_a.csv"
    with path.open(encoding="utf-8-sig") as file:
        rows = [r for r in csv.DictReader(file) if r["SampleId"] == cell]
    return np.array([float(r["Capacity(Ah)"]) for r in rows])


def season(order: Sequence[float]) -> list[Measures]:
    """Flights with a pack whose resistance goes with one over the capacity of a measured cell.

    The data set gives capacities for every discharge; what a flight tells of a pack stands for
    it here, with the cell's own scatter from discharge to discharge and its rests.
    """
    made = []
    for k, ah in enumerate(order):
        mohm = 30.0 * 2.0 / ah
        row = Measure(
            place="pack 1",
            feature="source_mohm",
            value=mohm,
            unit="mOhm",
            low=0.97 * mohm,
            high=1.03 * mohm,
        )
        made.append(
            Measures(
                kind="flight",
                start=None,
                file=f"flight {k + 1}",
                duration_s=500.0,
                flight_s=400.0,
                update_s=0.2,
                temperature_c=24.0,
                features=(row,),
            )
        )
    return made


def rising(order: Sequence[float]) -> list[Finding]:
    craft = Aircraft(name="Tern (invented)", bus="bus", packs=(Pack(name="pack 1"),))
    found = judge(season(order), aircraft=craft).findings
    return [f for f in found if f.code == "source-resistance-rising"]


def in_turns(*cells: np.ndarray) -> list[float]:
    """One discharge of each cell after the other."""
    return [float(x) for row in zip(*cells, strict=True) for x in row]


def test_a_measured_cell_alone_is_never_taken_for_several() -> None:
    """24 discharges on end of either cell, at seven places of its life."""
    for cell in ("B0005", "B0006"):
        y = -np.log(capacities(cell))
        for first in range(0, 144, 24):
            own = y[first : first + 24]
            part = EvidencePart(
                name="one", at=np.arange(24), y=own, se=np.full(24, 0.015), sigma=0.1
            )
            assert proposed_sets([(part, 0.0)], [True] * 24, [None] * 24) is None, (cell, first)


def test_sound_cells_in_turns_are_no_finding() -> None:
    one, two = capacities("B0005"), capacities("B0006")
    assert rising(in_turns(one[:12], two[:12])) == []
    assert rising(in_turns(one[:10], two[:10], one[20:30])) == []


def test_a_cell_near_its_end_among_two_sound_ones_is_named() -> None:
    """From its fifth turn on the third is a cell of 1.2 Ah, of 2 Ah rated: 30 % fade is the end."""
    one, two = capacities("B0005"), capacities("B0006")
    third = np.r_[two[40:44], two[160:166]]
    assert third[:4].min() > 1.5 > 1.3 > third[4:].max()
    (found,) = rising(in_turns(one[:10], two[:10], third))
    assert found.evidence["set_flights"] == "3, 6, 9, 12, 15, 18, 21, 24, 27, 30"
    assert (found.since_flight, found.evidence["kind"]) == ("15", "one step")


def test_cells_that_age_in_turns_are_no_matter_of_one() -> None:
    """Every fifth discharge of both, to 1.5 Ah: all rise, and none is set apart."""
    found = rising(in_turns(capacities("B0005")[:125:5], capacities("B0006")[:125:5]))
    assert [f.evidence.get("set_flights") for f in found] == [None]
