"""Packs, diodes and regulators of a second physics: faults found, sound ones not accused."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Finding, Level, Review
from tests.measured_data import POUCH
from tests.simulated.supplies import HEALTHY, make_supply


@cache
def seen(seed: int, what: str, update_s: float) -> Review:
    """The review of a healthy kind, or of a fault."""
    kind, fault = (what, "") if what in HEALTHY else ("sound", what)
    scene = make_supply(seed, kind, fault, update_s=update_s)
    with TemporaryDirectory() as folder:
        return review(read_log(scene.write(Path(folder) / "log.csv")))


def of(one: Review, code: str, place: str) -> list[Finding]:
    return [f for f in one.findings if (f.code, f.place) == (code, place)]


def told(one: Review) -> set[str]:
    return {f.code for f in one.findings if f.level >= Level.WATCH}


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_half_charged_pack_behind_a_diode_waits_and_is_not_dead(update_s: float) -> None:
    one = seen(2101, "half charged", update_s)
    (low,) = of(one, "pack-low", "pack 2")
    assert low.level is Level.WATCH
    assert "gives nothing until the other has come down" in low.title
    assert "pack-out" not in told(one)


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_pack_that_the_other_charges_is_told_with_its_danger(update_s: float) -> None:
    one = seen(2102, "cross charging", update_s)
    (low,) = of(one, "pack-low", "pack 2")
    assert low.level is Level.GROUND
    assert low.evidence["charged_a"] > 3.0
    assert "can burn" in low.advice
    assert "pack-out" not in told(one)


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_pack_lost_in_a_calm_flight_is_no_check(update_s: float) -> None:
    one = seen(2000, "lost in calm", update_s)
    assert [f.level for f in of(one, "pack-out", "pack 2")] == [Level.GROUND]


@pytest.mark.parametrize("kind", ["diodes", "direct", "calm", "switch check"])
def test_sound_packs_give_their_part(kind: str) -> None:
    assert not told(seen(2104, kind, 0.5)) & {"pack-out", "pack-low"}


# Weak packs


def weak(one: Review) -> list[Finding]:
    return [f for f in one.findings if f.code == "source-resistance-high"]


@pytest.mark.parametrize("what", ["both weak", "both cold"])
def test_packs_that_are_weak_together_are_told_once_by_the_profile(what: str) -> None:
    scene = make_supply(5004, "sound", what, update_s=0.2)
    with TemporaryDirectory() as folder:
        log = read_log(scene.write(Path(folder) / "log.csv"))
    (one,) = weak(review(log, scene.profile(resistance=True)))
    assert {one.place, *one.also} == {"pack 1", "pack 2"}
    assert one.evidence["low_mohm"] > one.evidence["sound_mohm"] > 0
    celsius = one.evidence["temperature_c"]
    first = one.explanations[0]
    if celsius is None:
        assert "aged, or they are cold" in first
    else:
        assert ("are cold" in first) == (celsius < 10.0)
    assert not weak(review(log)) or one.evidence["drop_pct"] > 17.0


@pytest.mark.parametrize("kind", ["sound", "cold day", "old but fine", "small and busy", "iron"])
@pytest.mark.parametrize("resistance", [True, False])
def test_sound_packs_are_not_weak(kind: str, resistance: bool) -> None:
    scene = make_supply(5005, kind, update_s=0.5)
    with TemporaryDirectory() as folder:
        log = read_log(scene.write(Path(folder) / "log.csv"))
    assert weak(review(log)) == weak(review(log, scene.profile(resistance=resistance))) == []


# Empty packs


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_the_end_of_a_charge_is_an_empty_pack_and_no_plug(update_s: float) -> None:
    one = seen(6009, "knee", update_s)
    assert "pack-low" in told(one)
    assert not told(one) & {"sag-unexplained", "switch-step", "branch-resistance-high"}


@pytest.mark.skipif(not POUCH.exists(), reason="BUSBOOK_OPEN_DATA names no folder with pouch_cell")
@pytest.mark.parametrize(("amps", "update_s"), [(13.10, 0.5), (13.10, 2.0), (32.75, 2.0)])
def test_the_knee_of_a_measured_cell(amps: float, update_s: float, tmp_path: Path) -> None:
    """Two such cells in series at a constant load (SINTEF, cell type SLPBA842124HV)."""
    data = np.loadtxt(POUCH, delimiter=",", skiprows=1, usecols=(0, 1, 2))
    held = np.abs(data[:, 2] + amps) < 0.05 * amps
    edges = np.flatnonzero(np.diff(np.r_[0, held.astype(int), 0]))
    first, end = max(zip(edges[::2], edges[1::2], strict=True), key=lambda run: run[1] - run[0])
    at_s, cell_v = data[first + 1 : end, 0], data[first + 1 : end, 1]
    time_s = np.arange(0.0, 60.0 + at_s[-1] - at_s[0] + 40.0, update_s)
    flying = (time_s >= 60.0) & (time_s <= 60.0 + at_s[-1] - at_s[0])
    pack_v = 2.0 * np.interp(time_s - 60.0, at_s - at_s[0], cell_v)
    rng = np.random.default_rng(1)
    load = np.where(flying, amps / 4 * (1 + 0.1 * rng.standard_normal(time_s.size)), 0.4)
    table = {
        "Time (s)": time_s,
        "Pack 1 voltage (V)": pack_v.round(2),
        "Pack 1 current (A)": load.round(2),
        "Bus voltage (V)": (pack_v - 0.006 * load).round(2),
        "Left wing voltage (V)": (pack_v - 0.016 * load).round(2),
        "Left wing current (A)": (load / 2).round(2),
    }
    path = tmp_path / "log.csv"
    rows = np.column_stack(list(table.values()))
    np.savetxt(path, rows, "%.6g", ",", header=",".join(table), comments="", encoding="utf-8")
    one = review(read_log(path))
    (low,) = of(one, "pack-low", "pack 1")
    assert "it was empty" in low.title
    assert "not to be charged" in low.advice
    assert not told(one) & {"sag-unexplained", "switch-step", "regulator-droop"}


# Regulators


@pytest.mark.parametrize(
    ("seed", "what", "kind"),
    [(8001, "regulator limit", "limit"), (8003, "regulator hot", "hot"),
     (8007, "regulator dropout", "drop-out")],
)  # fmt: skip
def test_a_regulator_that_does_not_hold_is_named(seed: int, what: str, kind: str) -> None:
    scene = make_supply(seed, "sound", what)
    with TemporaryDirectory() as folder:
        one = review(read_log(scene.write(Path(folder) / "log.csv")))
    (droop,) = of(one, "regulator-droop", "bus")
    assert droop.evidence["kind"] == kind
    assert "regulator" in droop.explanations[0]
    if kind == "hot":
        assert droop.evidence["temperature_c"] > 85.0
        assert "degC" in droop.title


def with_level(tmp_path: Path, level_v: float) -> Review:
    """A stir and a flight on two packs that come down, behind 0.35 V and 15 mOhm, and a level."""
    t = np.arange(0.0, 400.0, 0.5)
    rng = np.random.default_rng(5)
    work = np.abs(rng.standard_normal(t.size)) * (t > 70.0) * (t < 380.0)
    amps = 0.8 + 9.0 * ((t > 30.0) & (t < 45.0)) + 1.5 * (t > 60.0) * (t < 385.0) + work
    pack = 8.25 - 0.0006 * t - 0.03 * amps
    bus = np.minimum(level_v, pack - 0.35 - 0.015 * amps)
    table = {
        "Time (s)": t,
        "Pack 1 voltage (V)": pack.round(2),
        "Pack 2 voltage (V)": (pack + 0.01).round(2),
        "Bus voltage (V)": bus.round(2),
        "Bus current (A)": amps.round(2),
    }
    path = tmp_path / "log.csv"
    np.savetxt(path, np.column_stack(list(table.values())), "%.6g", ",", header=",".join(table),
               comments="", encoding="utf-8")  # fmt: skip
    return review(read_log(path))


def test_a_bus_that_leaves_its_level_with_its_packs_has_a_regulator_that_dropped_out(
    tmp_path: Path,
) -> None:
    (droop,) = of(with_level(tmp_path, 7.75), "regulator-droop", "bus")
    assert droop.evidence["kind"] == "drop-out"
    assert droop.evidence["held_v"] == pytest.approx(7.75, abs=0.02)
    assert droop.level is Level.WATCH


def test_a_bus_that_always_lies_as_far_below_its_packs_left_no_level(tmp_path: Path) -> None:
    assert "regulator-droop" not in told(with_level(tmp_path, 20.0))


@pytest.mark.parametrize("kind", ["regulated", "direct", "diodes", "high voltage"])
def test_a_supply_that_holds_or_follows_by_design_is_no_droop(kind: str) -> None:
    assert "regulator-droop" not in told(seen(2104, kind, 0.5))


def test_steps_of_the_sensors_are_no_level_that_was_held() -> None:
    """Steps of 50 mV at bus and packs, full packs at a steady load before an early stir."""
    assert "regulator-droop" not in told(seen(241012543, "switch check", 0.2))
