"""The measured logs of other people, against the values their instruments and authors give.

Each expected number is from the data set's own documentation or logged by its instrument; the
origins stand in ``tests/measured_data.py``.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import trapezoid

from telemetry import Log, read_log
from telemetry.model.channels import Quantity
from tests.measured_data import FLIGHT, ROBOT, leaf_file, needs_data

pytestmark = needs_data

# The files of this copy without a header row: what a user would give with --set.
CYCLER = {
    "#2": "time[s]",
    "#3": "count",
    "#7": "count",
    "#9": "pack 1/current[A]",
    "#10": "pack 1/voltage[V]",
    "#11": "pack 1/power[W]",
    "#12": "pack 1/consumed[Ah]",
    "#13": "pack 1/energy[Wh]",
    "#14": "status",
}


def leaf(name: str) -> Log:
    bare = "Discharge" in name or "HPPC-10C" in name
    return read_log(leaf_file(name), settings=CYCLER if bare else None)


def discharges(log: Log) -> list[tuple[float, float, float]]:
    """Per discharge: logged and integrated charge [Ah], logged energy [Wh]."""
    current = log.values("pack 1/current")
    charge = log.values("pack 1/consumed") / 1000
    energy = log.values("pack 1/energy")
    on = current > 10.0
    edges = np.diff(np.concatenate(([0], on.astype(int), [0])))
    found = []
    for a, b in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        t, i = log.time_s[a:b], current[a:b]
        # The instrument logs the first row one second into the step.
        integral = float(trapezoid(i, t) + i[0] * 1.0) / 3600
        found.append((float(charge[b - 1]), integral, float(energy[b - 1])))
    return found


@pytest.mark.parametrize(
    ("name", "amps", "logged", "watt_hours"),
    [
        ("1C", 30.6, [30.33, 30.34, 30.30, 30.29], [113.84, 113.85, 113.70, 113.66]),
        ("2C", 61.2, [29.95, 29.97, 29.93, 29.91, 29.89], None),
        ("3C", 91.8, [28.61, 28.72, 28.53, 28.52, 28.40], None),
    ],
)
def test_constant_current_discharges(
    name: str, amps: float, logged: list[float], watt_hours: list[float] | None
) -> None:
    log = leaf(f"{name}-Discharge")
    assert log.provenance.header_line is None
    assert log.provenance.rows_refused == 0
    found = discharges(log)
    # The instrument's own counter, discharge positive although the file has it negative.
    np.testing.assert_allclose([f[0] for f in found], logged, atol=0.011)
    # Integrated charge within 0.2 % of the instrument's counter.
    np.testing.assert_allclose([f[1] for f in found], logged, rtol=0.002)
    if watt_hours is not None:
        np.testing.assert_allclose([f[2] for f in found], watt_hours, atol=0.02)
    current = log.values("pack 1/current")
    assert np.median(current[current > 10]) == pytest.approx(amps, abs=0.01)
    assert any("was turned round" in n for n in log.provenance.notes)


@pytest.mark.parametrize("name", ["1C", "2C", "3C"])
def test_a_time_that_nothing_names_is_read_in_seconds(name: str) -> None:
    """Rows lie 1 s apart while the cell is discharged, 60 s while it rests or is charged."""
    path = leaf_file(f"{name}-Discharge")
    told_less = {c: what for c, what in CYCLER.items() if what != "time[s]"}
    log = read_log(path, settings=told_less)
    np.testing.assert_allclose(log.time_s, leaf(f"{name}-Discharge").time_s)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("10C", 2.57, 2.80), ("25C-2", 1.53, 1.77), ("40C-1", 1.50, 1.63)],
)
def test_pulses_show_the_resistance_at_each_temperature(name: str, low: float, high: float) -> None:
    log = leaf(f"HPPC-{name}.csv")
    current, voltage = log.values("pack 1/current"), log.values("pack 1/voltage")
    step = np.flatnonzero((current[1:] > 29) & (np.abs(current[:-1]) < 0.5))
    mohm = 1000 * (voltage[step] - voltage[step + 1]) / (current[step + 1] - current[step])
    assert len(mohm) >= 9
    assert low - 0.1 < mohm.min()
    assert mohm.max() < high + 0.1


def test_three_columns_of_one_name_and_an_empty_one() -> None:
    log = leaf("Cycling")
    assert [c.key for c in log.channels if c.column == "Loop"] == ["Loop", "Loop#2", "Loop#3"]
    for key in ("pack 1/current", "pack 1/voltage", "pack 1/consumed", "pack 1/energy"):
        assert key in log.frame, key
    assert log.provenance.rows == 22596  # lines of the file below its header
    assert log.provenance.row_s == 60.0


def test_a_real_flight() -> None:
    log = read_log(FLIGHT)
    current, voltage = log.values("pack 1/current"), log.values("pack 1/voltage")
    assert (log.provenance.rows, log.provenance.rows_refused) == (755, 0)
    assert log.time_s[-1] == pytest.approx(116.21 - 3.0)
    assert log.provenance.clock_s == 3.0
    assert (voltage.min(), voltage.max()) == (pytest.approx(20.858, abs=5e-4),
                                              pytest.approx(24.131, abs=5e-4))  # fmt: skip
    assert (current.min(), current.max()) == (pytest.approx(0.016, abs=5e-4),
                                              pytest.approx(40.793, abs=5e-4))  # fmt: skip
    # Lowest voltage and highest current fall on the same sample.
    assert int(np.argmin(voltage)) == int(np.argmax(current))
    assert log.time_s[int(np.argmin(voltage))] == pytest.approx(86.5 - 3.0)
    charge = float(trapezoid(current, log.time_s)) / 3600
    energy = float(trapezoid(current * voltage, log.time_s)) / 3600
    assert charge == pytest.approx(0.5879, abs=5e-5)
    assert energy == pytest.approx(12.990, abs=5e-4)


def test_a_european_dialect() -> None:
    log = read_log(ROBOT)
    p = log.provenance
    assert (p.rows, p.rows_refused, p.separator, p.decimal) == (7409, 0, ";", ",")
    assert p.start == "2022-10-26T08:17:21.847000+00:00"
    assert p.row_s == pytest.approx(1.005)
    means = [float(np.nanmean(np.abs(log.values(f"j{i}/current")))) for i in range(6)]
    np.testing.assert_allclose(means, [0.3709, 2.3076, 1.2321, 0.6787, 0.3052, 0.1032], atol=5e-5)
    assert int(np.isnan(log.values("j1/current")).sum()) == 54
    assert int(np.isnan(log.values("j0/current")).sum()) == 46
    steps = np.diff(log.time_s)
    assert int((steps > 10).sum()) == 2
    assert steps.max() == pytest.approx(18_814, abs=1)
    stop = log.text["Robot_ProtectiveStop"]
    assert int((stop == "True").sum()) == 278
    assert int((stop == "False").sum()) == 7077
    assert len(np.unique(log.values("cycle")[np.isfinite(log.values("cycle"))])) == 240
    assert {c.place for c in log.select(Quantity.TEMPERATURE)} >= {"t0", "j1", "j5"}
    assert "11 columns without a name and without a value were left out" in p.notes
