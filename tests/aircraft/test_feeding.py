"""Which places feed the others, where no name tells: circuits solved by hand, and odd names."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import telemetry
from telemetry.aircraft import completed_from, infer_path
from telemetry.aircraft.feeding import unnamed_supply
from telemetry.aircraft.path import Aircraft
from tests.simulated import scenes

Series = dict[str, np.ndarray]


def circuit(seed: int, *, noise_v: float = 0.005) -> tuple[Series, Series]:
    """Two packs, a bus with servos of its own and three nodes, after Ohm and Kirchhoff."""
    rng = np.random.default_rng(seed)
    rows = 3000
    busy = np.where(np.arange(rows) % 900 > 250, 1.0, 0.1)
    draws = [busy * rng.gamma(2.0, size, rows) for size in (0.5, 0.6, 0.4)]
    whole = np.sum(draws, axis=0) + 0.2
    shares = (0.55, 0.45)
    emf = np.linspace(8.3, 7.8, rows)
    bus = emf - 0.03 * whole
    amps = {"zb": whole} | {f"qk {k}": s * whole for k, s in enumerate(shares, 1)}
    volts = {"zb": bus} | {f"qk {k}": bus + 0.015 * s * whole for k, s in enumerate(shares, 1)}
    for name, lead, drawn in zip(("xa", "xb", "xc"), (0.03, 0.035, 0.05), draws, strict=True):
        amps[name], volts[name] = drawn, bus - lead * drawn
    noisy = {p: v + rng.normal(0, noise_v, rows) for p, v in volts.items()}
    return noisy, {p: a * rng.uniform(0.98, 1.02) for p, a in amps.items()}


@pytest.mark.parametrize("seed", range(5))
def test_bus_and_packs_are_told_by_voltages_and_currents(seed: int) -> None:
    volts, amps = circuit(seed)
    found = unnamed_supply(list(volts), (), volts, amps)
    assert found == ("zb", ("qk 1", "qk 2"))


@pytest.mark.parametrize("seed", range(5))
def test_packs_beside_a_bus_that_is_named(seed: int) -> None:
    volts, amps = circuit(seed)
    found = unnamed_supply(["qk 1", "qk 2"], ["xa", "xb", "xc"], volts, amps, bus="zb")
    assert found == ("zb", ("qk 1", "qk 2"))


@pytest.mark.parametrize("seed", range(5))
def test_packs_by_their_voltages_alone_beside_a_bus(seed: int) -> None:
    volts, amps = circuit(seed)
    amps = {p: a for p, a in amps.items() if not p.startswith("qk")}
    found = unnamed_supply(list(volts), (), volts, amps)
    assert found == ("zb", ("qk 1", "qk 2"))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("left", [("xa", "xb", "xc"), ("xa", "xb"), ("qk 1", "qk 2")])
def test_nodes_alone_or_packs_alone_tell_nothing(seed: int, left: tuple[str, ...]) -> None:
    volts, amps = circuit(seed)
    volts, amps = {p: volts[p] for p in left}, {p: amps[p] for p in left}
    assert unnamed_supply(list(left), (), volts, amps) is None


def test_two_nodes_that_draw_as_much_as_the_third_are_no_packs() -> None:
    volts, amps = circuit(1)
    third = amps["xa"] + amps["xb"]
    volts = {"x 1": volts["xa"], "x 2": volts["xb"], "xc": volts["zb"] - 0.05 * third}
    amps = {"x 1": amps["xa"], "x 2": amps["xb"], "xc": third}
    found = unnamed_supply(list(volts), (), volts, amps)
    assert found is None or not found.packs


_TITLES = {"Bus": "Zolu", "Left wing": "Murg", "Right wing": "Vesk", "Tail": "Ondra"}


def _log(folder: Path, *, without: str = "") -> telemetry.Log:
    """A healthy flight with places in words of no language."""
    scene = scenes.make(2, "aerobatic", update_s=0.2, controls=False)
    scene.columns = {
        next((t.replace(old, new) for old, new in _TITLES.items() if t.startswith(old)), t): v
        for t, v in scene.columns.items()
        if not without or not t.startswith(without)
    }
    return telemetry.read_log(scene.write(folder / "odd names.csv"))


def test_a_log_of_unknown_names_is_judged_by_what_its_places_read(tmp_path: Path) -> None:
    review = telemetry.review(_log(tmp_path))
    assert review.verdict == "clear"
    assert review.aircraft.bus == "zolu"
    assert {n.name for n in review.aircraft.nodes} == {"murg", "vesk", "ondra"}
    assert review.aircraft.by_readings == ("zolu",)
    assert "zolu for the bus" in telemetry.to_html(review)


def test_a_log_in_which_nothing_tells_the_supply_is_not_clear(tmp_path: Path) -> None:
    review = telemetry.review(_log(tmp_path, without="Bus"))
    assert review.verdict == "unknown"
    assert review.aircraft.unplaced == ("murg", "vesk", "ondra")
    (thin,) = review.findings
    assert thin.code == "log-too-thin"
    assert "'murg', 'vesk', 'ondra'" in thin.title
    assert "--set" in thin.confirm
    assert "profile" in thin.confirm


@pytest.mark.parametrize("value", [1e6, 1e308])
def test_wild_cells_say_nothing_of_what_feeds_what(value: float, tmp_path: Path) -> None:
    log = _log(tmp_path)
    frame = log.frame.copy()
    for place in ("murg", "vesk"):
        frame.iloc[[50, 90], frame.columns.get_loc(f"{place}/current")] = value
    assert infer_path(replace(log, frame=frame)) == infer_path(log)


def test_a_profile_settles_what_feeds_them(tmp_path: Path) -> None:
    log = _log(tmp_path, without="Bus")
    nodes = tuple({"name": n, "fed_from": "bus"} for n in ("murg", "vesk", "ondra"))
    aircraft = Aircraft.model_validate({"nodes": nodes})
    assert completed_from(log, aircraft).unplaced == ()
    assert telemetry.review(log, aircraft).verdict == "clear"


def test_nodes_with_known_names_need_no_supply_in_the_log(tmp_path: Path) -> None:
    scene = scenes.make(2, "aerobatic", update_s=0.2, controls=False)
    scene.columns = {t: v for t, v in scene.columns.items() if not t.startswith("Bus")}
    log = telemetry.read_log(scene.write(tmp_path / "nodes.csv"))
    assert infer_path(log).unplaced == ()
    assert telemetry.review(log).verdict == "clear"
