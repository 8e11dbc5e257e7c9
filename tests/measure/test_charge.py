"""Charge records: simulated packs, a laboratory cell and its own counter, a real flight."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import infer_path
from telemetry.measure.charge import measure_charge
from telemetry.measure.packs import pack_outs
from telemetry.measure.sharing import sharing_of
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.numerics.charge import charge_mah
from telemetry.readings import take_readings
from telemetry.results import Charge, Phase, PhaseKind
from telemetry.simulate import move, simulate
from telemetry.simulate import usual_plan as plan_for
from tests.measured_data import FLIGHT, leaf_file, needs_data
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft

U, I, Q = Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED  # noqa: E741


def log_of(time_s: np.ndarray, columns: dict[tuple[str, Quantity], np.ndarray]) -> Log:
    named = {f"{place}/{q}": v for (place, q), v in columns.items()}
    return Log(
        frame=pd.DataFrame(named, index=pd.Index(time_s, name="time_s")),
        channels=tuple(
            Channel(key=f"{place}/{q}", column=f"{place} {q}", quantity=q, place=place)
            for place, q in columns
        ),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=time_s.size),
    )


def charged(log: Log, phases: tuple[Phase, ...] = ()) -> dict[str, Charge]:
    craft = infer_path(log)
    readings = take_readings(log, craft.limits)
    outs = pack_outs(readings, craft, phases)
    found = measure_charge(readings, craft, phases, sharing_of(readings, craft, phases, outs))
    return {c.place: c for c in found}


def flight(seconds: float) -> tuple[Phase, ...]:
    return (
        Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=30.0),
        Phase(kind=PhaseKind.FLIGHT, start_s=30.0, end_s=seconds - 30),
        Phase(kind=PhaseKind.GROUND, start_s=seconds - 30, end_s=seconds),
    )


def two_packs(share: float = 0.5) -> tuple[np.ndarray, dict[tuple[str, Quantity], np.ndarray]]:
    rng = np.random.default_rng(4)
    t = np.arange(0.0, 300.0, 0.1)
    flying = (t >= 30) & (t < 270)
    total = np.where(flying, 3.0 + rng.gamma(2.0, 1.5, t.size), rng.uniform(0.25, 0.35, t.size))
    columns: dict[tuple[str, Quantity], np.ndarray] = {}
    for pack, part in (("pack 1", share), ("pack 2", 1 - share)):
        amps = part * total
        used = np.cumsum(amps) * 0.1 / 3.6
        columns[pack, U] = np.round(8.30 - 0.0003 * used - 0.02 * amps, 2)
        columns[pack, I] = np.round(amps, 2)
        columns[pack, Q] = np.floor(used)
    return t, columns


def test_two_values_of_a_bench_are_no_step_of_the_sensor() -> None:
    t = np.arange(0.0, 600.0, 1.0)
    amps = np.where(t > 60, 3.31, 0.0)
    volts = np.round(4.1 - 0.03 * amps - 1e-4 * t, 3)
    c = charged(log_of(t, {("pack 1", U): volts, ("pack 1", I): amps}))["pack 1"]
    assert c.integrated_mah == pytest.approx(3.31 * 538.5 / 3.6, rel=1e-3)
    # Written to 0.01 A, with a gain of one per cent.
    assert c.uncertain_mah is not None
    assert 0.01 * c.integrated_mah <= c.uncertain_mah < 0.02 * c.integrated_mah


def test_counter_and_integral_agree() -> None:
    t, columns = two_packs(0.6)
    found = charged(log_of(t, columns), flight(300.0))
    for pack in ("pack 1", "pack 2"):
        c = found[pack]
        truth = float(columns[pack, I].sum()) * 0.1 / 3.6
        assert c.logged_mah == pytest.approx(truth, abs=1.5)
        assert c.integrated_mah == pytest.approx(truth, rel=0.005)
        assert c.uncertain_mah is not None
        assert 0 < c.uncertain_mah < 0.03 * truth
        assert c.start_v == pytest.approx(8.30, abs=0.011)
        assert c.end_v == pytest.approx(8.30 - 0.0003 * truth, abs=0.02)
    assert found["pack 1"].share == pytest.approx(0.6, abs=0.005)
    assert found["pack 2"].share == pytest.approx(0.4, abs=0.005)


def test_a_restarted_counter_adds_its_pieces() -> None:
    t, columns = two_packs()
    counter = columns["pack 1", Q].copy()
    before = counter[1500]
    counter[1500:] -= before  # started anew in the middle
    columns["pack 1", Q] = counter
    assert charged(log_of(t, columns))["pack 1"].logged_mah == pytest.approx(
        columns["pack 2", Q][-1], abs=2.0
    )


def test_a_gap_widens_the_uncertainty() -> None:
    t, columns = two_packs()
    whole = charged(log_of(t, columns))["pack 1"]
    here = (t < 100) | (t >= 130)
    cut = charged(log_of(t[here], {k: v[here] for k, v in columns.items()}))["pack 1"]
    truth = float(columns["pack 1", I].sum()) * 0.1 / 3.6
    assert whole.uncertain_mah is not None
    assert cut.uncertain_mah is not None
    assert cut.integrated_mah is not None
    assert cut.uncertain_mah > 3 * whole.uncertain_mah
    assert abs(cut.integrated_mah - truth) < 2 * cut.uncertain_mah
    # The counter ran on through the gap.
    assert cut.logged_mah == pytest.approx(whole.logged_mah, abs=1.0)


def test_share_only_in_flight_and_never_in_a_check() -> None:
    t, columns = two_packs()
    off = (t >= 5) & (t < 20)
    both = columns["pack 1", I][off] + columns["pack 2", I][off]
    columns["pack 1", I][off], columns["pack 2", I][off] = 0.0, both
    found = charged(log_of(t, columns), flight(300.0))
    assert found["pack 1"].share == pytest.approx(0.5, abs=0.01)


def test_what_is_not_logged_is_none() -> None:
    t, columns = two_packs()
    only_counter = log_of(t, {("pack 1", Q): columns["pack 1", Q]})
    c = charged(only_counter)["pack 1"]
    assert c.integrated_mah is None
    assert c.uncertain_mah is None
    assert (c.share, c.start_v, c.end_v) == (None, None, None)
    assert c.logged_mah == pytest.approx(columns["pack 1", Q][-1], abs=1)
    only_current = log_of(t, {("pack 1", I): columns["pack 1", I]})
    c = charged(only_current)["pack 1"]
    assert c.logged_mah is None
    assert c.integrated_mah is not None


def test_never_at_rest_gives_no_rest_voltage() -> None:
    t = np.arange(0.0, 120.0, 0.1)
    amps = 5.0 + 0.5 * np.sin(t)
    log = log_of(t, {("pack 1", U): 8.0 - 0.02 * amps, ("pack 1", I): amps})
    assert charged(log)["pack 1"].start_v is None


def test_simulated_packs_lie_within_their_uncertainty() -> None:
    # 95 % intervals of two standard uncertainties over packs, bus and nodes of random aircraft.
    inside = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        aircraft = random_aircraft(rng)
        telemetry, pilot = random_telemetry(rng, aircraft), random_pilot(rng)
        motion = move(plan_for(rng, pilot, flight_s=200), pilot, pilot.day(rng), rng)
        rec = simulate(aircraft, telemetry, motion, rng)
        columns = {
            (c.place, c.quantity): c.values for c in rec.table.columns if c.place and not c.hold
        }
        for place, c in charged(
            log_of(rec.table.time_s - rec.table.time_s[0], columns), rec.truth.phases
        ).items():
            truth = rec.truth.drawn_mah.get(place)
            if truth is None or c.integrated_mah is None or c.uncertain_mah is None:
                continue
            inside.append(abs(c.integrated_mah - truth) <= 2 * c.uncertain_mah)
    assert len(inside) >= 25
    assert np.mean(inside) >= 0.85


# Measured data of others


@needs_data
@pytest.mark.parametrize(
    ("file", "ampere", "logged_ah"),
    [
        ("1C", 30.6, (30.33, 30.34, 30.30, 30.29)),
        ("2C", 61.2, (29.95, 29.97, 29.93, 29.91, 29.89)),
        ("3C", 91.8, (28.61, 28.72, 28.53, 28.52, 28.40)),
    ],
)
def test_a_laboratory_cell_against_its_instrument(
    file: str, ampere: float, logged_ah: tuple[float, ...]
) -> None:
    """Constant-current discharges of a 33 Ah cell (G. Wiggins, S. Allu, H. Wang, Oak Ridge National
    Laboratory, doi 10.5281/zenodo.2580327): the instrument's own counter per discharge.
    """
    path = leaf_file(f"{file}-Discharge")
    data = pd.read_csv(path, header=None, index_col=False)
    t, amps, counter = (data[c].to_numpy(float) for c in (1, 8, 11))
    discharging = amps < -0.9 * ampere
    edge = np.flatnonzero(np.diff(np.r_[False, discharging, False].astype(int)))
    got, instrument = [], []
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        if t[b - 1] - t[a] > 600:
            got.append(-charge_mah(t[a:b], amps[a:b], max_gap_s=61.0) / 1000)
            instrument.append(-counter[b - 1])
    np.testing.assert_allclose(instrument, logged_ah, atol=0.006)
    np.testing.assert_allclose(got, logged_ah, rtol=0.002)


@needs_data
def test_a_real_flight() -> None:
    """Flight 12 of the package-delivery quadcopter data set (Rodrigues et al., Scientific Data
    2021, doi 10.1038/s41597-021-00930-x): 0.5879 Ah by the trapezoid rule.
    """
    data = pd.read_csv(FLIGHT)
    time_s = data["time"].to_numpy(float) - 3.0
    log = log_of(
        time_s,
        {
            ("pack 1", U): data["battery_voltage"].to_numpy(float),
            ("pack 1", I): data["battery_current"].to_numpy(float),
        },
    )
    c = charged(log)["pack 1"]
    assert c.integrated_mah == pytest.approx(587.9, abs=0.6)
    assert c.start_v == pytest.approx(24.125, abs=0.01)  # idle before arming


def test_a_pack_that_is_out_is_not_at_rest() -> None:
    t, columns = two_packs()
    off = t >= 150
    columns["pack 1", U] = np.where(off, 0.0, columns["pack 1", U])
    columns["pack 1", I] = np.where(off, 0.0, columns["pack 1", I])
    found = charged(log_of(t, columns), flight(300.0))
    assert found["pack 1"].start_v == pytest.approx(8.30, abs=0.011)
    assert found["pack 1"].end_v is None
    assert found["pack 2"].end_v is not None


def test_what_flows_back_may_or_may_not_be_counted() -> None:
    # Ten minutes of 6 A drawn, ten of 6 A charged: 1000 mAh each way, none in all.
    t = np.arange(0.0, 1200.0, 0.5)
    amps = np.where(t < 600.0, 6.0, -6.0) + 0.01 * (np.arange(t.size) % 2)
    gross = np.minimum(t, 600.0) * 6.0 / 3.6
    found = charged(log_of(t, {("pack 1", I): amps, ("pack 1", Q): np.round(gross)}))["pack 1"]
    assert found.logged_mah == pytest.approx(1000.0, abs=2.0)
    assert found.integrated_mah == pytest.approx(0.0, abs=5.0)
    assert found.uncertain_mah == pytest.approx(1000.0, rel=0.05)
    assert found.uncertain_mah >= 999.0


def test_what_was_counted_before_the_current_came_is_no_mismatch() -> None:
    """A sensor that wakes late: 2 A all the time, its readings only from 100 s on."""
    t = np.arange(0.0, 300.0, 0.5)
    amps = np.where(t < 100, np.nan, 2.0 + 0.1 * np.sin(t))
    log = log_of(t, {("pack 1", U): np.full(t.size, 8.0), ("pack 1", I): amps,
                     ("pack 1", Q): np.round(2.0 * t / 3.6)})  # fmt: skip
    charge = charged(log)["pack 1"]
    assert charge.logged_mah == pytest.approx(166, abs=2)
    assert charge.integrated_mah == pytest.approx(111, abs=2)
    assert charge.uncertain_mah == pytest.approx(55, abs=4)
