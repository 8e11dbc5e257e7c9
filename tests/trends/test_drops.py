"""Drop per amp of a lead from means over stretches: resistances and errors by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, nan, sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.trends.drops import drop_parts, feature_part, offset_parts, slope, slope_part
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.table import FeatureTable

Make = Callable[..., Any]

BUS_V = 7.0
UP_DOWN = [1.0, 3.0, 1.0, 3.0]  # a mean of 2 A
APART = [1.0, 1.0, -1.0, -1.0]  # goes with neither the current nor the mean


def blocks(amps: list[float], fall_mv: list[float]) -> Blocks:
    """Stretches of a tail that hangs on the bus, some mV below it."""
    return Blocks(
        block_s=1.0,
        amps={"tail": np.array(amps)},
        volts={"bus": np.full(len(amps), BUS_V), "tail": BUS_V - np.array(fall_mv) / 1000.0},
    )


def lead(
    amps: list[float], mohm: float, *, offset_mv: float = 0.0, noise_mv: float = 0.0
) -> Blocks:
    noise = [noise_mv * a for _, a in zip(amps, APART * 3, strict=False)]
    return blocks(amps, [mohm * i + offset_mv + e for i, e in zip(amps, noise, strict=True)])


@pytest.fixture
def parts(make_flight: Make) -> Callable[..., dict[str, EvidencePart]]:
    def make(*air: Blocks | None, **more: Any) -> dict[str, EvidencePart]:
        flights: list[Measures] = [make_flight(air=b, **more) for b in air]
        return {
            p.name: p
            for p in drop_parts(FeatureTable(flights), "tail", "bus", "tail", fit="branch_mohm")
        }

    return make


def test_mean_drop_over_mean_current(parts: Make) -> None:
    found = parts(lead(UP_DOWN, 30.0), lead([2 * a for a in UP_DOWN], 40.0))
    assert set(found) == {"air"}
    air = found["air"]
    assert air.at.tolist() == [0, 1]
    assert air.y == pytest.approx([30.0, 40.0])
    assert air.se == pytest.approx([0.0, 0.0], abs=1e-9)
    assert air.sigma == 1.0
    # One over 2 A and 4 A against the first; an offset of 30 mV is not known.
    assert air.design == pytest.approx(np.array([[0.0], [-0.25]]))
    assert air.slope is not None
    assert air.slope_sd is not None
    assert (air.slope.tolist(), air.slope_sd.tolist()) == ([0.0], [30.0])


def test_stretches_of_the_stir_are_a_part_of_their_own(make_flight: Make) -> None:
    table = FeatureTable([make_flight(stir=lead(UP_DOWN, 25.0))])
    (stir,) = drop_parts(table, "tail", "bus", "tail", fit="branch_mohm")
    assert (stir.name, stir.sigma, stir.y[0]) == ("stir", 2.0, pytest.approx(25.0))


def test_an_offset_adds_itself_over_the_current_but_no_error(parts: Make) -> None:
    air = parts(lead(UP_DOWN, 30.0, offset_mv=10.0))["air"]
    assert air.y == pytest.approx([35.0])
    assert air.se == pytest.approx([0.0], abs=1e-9)


def test_error_of_a_mean_drop(parts: Make) -> None:
    # Noise of 4 mV in each of four stretches, two degrees taken: 4 / sqrt(2) mV, over 2 A.
    air = parts(lead(UP_DOWN, 30.0, noise_mv=4.0))["air"]
    assert air.y == pytest.approx([30.0])
    assert air.se == pytest.approx([4 / sqrt(2) / 2])


@pytest.mark.parametrize("what", ["amps", "low", "high"])
def test_a_stretch_that_lacks_a_reading_is_left_out(parts: Make, what: str) -> None:
    whole = blocks([*UP_DOWN, 50.0], [30.0, 90.0, 30.0, 90.0, 7.0])
    {"amps": whole.amps["tail"], "low": whole.volts["tail"], "high": whole.volts["bus"]}[what][
        4
    ] = nan
    air = parts(whole)["air"]
    assert air.y == pytest.approx([30.0])
    assert air.se == pytest.approx([0.0], abs=1e-9)


def test_four_stretches_tell_a_drop_three_do_not(parts: Make) -> None:
    found = parts(lead(UP_DOWN[:3], 30.0), lead(UP_DOWN, 30.0), None)
    assert found["air"].at.tolist() == [1]
    assert parts(lead(UP_DOWN[:3], 30.0)) == {}


@pytest.mark.parametrize(("amps", "told"), [(0.15, True), (0.149, False)])
def test_a_current_below_0_15_a_tells_none(parts: Make, amps: float, told: bool) -> None:
    found = parts(lead([amps] * 4, 30.0, noise_mv=3.0))
    assert ("air" in found) is told
    if told:
        assert found["air"].y == pytest.approx([30.0])
        assert found["air"].se == pytest.approx([3.0 / sqrt(2) / 0.15])


@pytest.mark.parametrize(("amps", "told"), [(0.2, True), (0.1, False)])
def test_a_stretch_that_is_left_out_is_no_current(parts: Make, amps: float, told: bool) -> None:
    found = parts(lead([amps, amps, nan, amps, amps], 30.0))
    assert ("air" in found) is told


def test_a_movement_below_a_microampere_takes_nothing_off(parts: Make) -> None:
    """0.8 uA to both sides with 1 mV: the slope is over 1 uA squared, so 0.64 of it is taken."""
    up = [-1.0, 1.0, -1.0, 1.0]
    air = parts(blocks([2.0 + 0.8e-6 * u for u in up], [60.0 + u for u in up]))["air"]
    assert air.se == pytest.approx([0.36 / sqrt(2) / 2], rel=1e-4)


def test_the_fitted_resistance_is_a_part(make_flight: Make) -> None:
    features = {("tail", "branch_mohm"): (30.0, 30.0 - 1.96 * 2, 30.0 + 1.96 * 2)}
    (fit,) = drop_parts(
        FeatureTable([make_flight(features)]), "tail", "bus", "tail", fit="branch_mohm"
    )
    assert (fit.name, fit.sigma, fit.y[0]) == ("branch_mohm", 2.5, 30.0)
    assert fit.se == pytest.approx([2.0])


# Slopes.


def test_slope_and_its_error() -> None:
    x = np.array([-1.0, 1.0, -1.0, 1.0])
    # Left over: 1, 1, -1, -1; its square 4 over 4 - 2 degrees and the square of x, 4.
    assert slope(x, 3.0 * x + 7.0 + np.array(APART)) == pytest.approx((3.0, sqrt(0.5)))
    assert slope(x + 5.0, -3.0 * x) == pytest.approx((-3.0, 0.0), abs=1e-12)


@pytest.mark.parametrize(("spread_a", "told"), [(0.01, False), (0.0101, True), (0.02, True)])
def test_a_slope_needs_more_than_0_01_a(spread_a: float, told: bool) -> None:
    x = spread_a * np.array([-1.0, 1.0, -1.0, 1.0])
    found = slope(x, 30.0 * x)
    assert np.isfinite(found).all() == told
    if told:
        assert found == pytest.approx((30.0, 0.0), abs=1e-9)


def test_slope_of_each_flight(make_flight: Make) -> None:
    still = lead([2.0] * 8, 30.0)
    flights = [
        make_flight(air=b)
        for b in (
            lead(UP_DOWN * 2, 30.0, offset_mv=50.0, noise_mv=4.0),
            lead((UP_DOWN * 2)[:7], 30.0),
            still,
            lead(UP_DOWN * 2, 40.0),
        )
    ]
    part = slope_part(FeatureTable(flights), "tail", "bus", "tail")
    assert part is not None
    assert (part.name, part.sigma) == ("slope", 2.0)
    assert part.at.tolist() == [0, 3]
    assert part.y == pytest.approx([30.0, 40.0])
    # Eight stretches of 4 mV: 8 * 16 over 6 degrees and the square of the current, 8.
    assert part.se == pytest.approx([sqrt(16 / 6), 0.0], abs=1e-9)
    assert slope_part(FeatureTable([make_flight(air=still)]), "tail", "bus", "tail") is None
    assert slope_part(FeatureTable(flights[1:2]), "tail", "bus", "tail") is None


@pytest.mark.parametrize("what", ["amps", "low", "high"])
def test_slope_leaves_stretches_out_that_lack_a_reading(make_flight: Make, what: str) -> None:
    whole = blocks([*UP_DOWN * 2, 50.0], [*[30.0, 90.0] * 4, 7.0])
    {"amps": whole.amps["tail"], "low": whole.volts["tail"], "high": whole.volts["bus"]}[what][
        8
    ] = nan
    part = slope_part(FeatureTable([make_flight(air=whole)]), "tail", "bus", "tail")
    assert part is not None
    assert part.y == pytest.approx([30.0])


def test_drop_parts_hold_the_slope(parts: Make) -> None:
    assert list(parts(lead(UP_DOWN * 2, 30.0))) == ["air", "slope"]


@pytest.mark.parametrize("missing", ["tail", "bus", "current"])
def test_a_place_without_its_voltage_or_current_tells_nothing(
    make_flight: Make, missing: str
) -> None:
    full = lead(UP_DOWN * 2, 30.0)
    volts = {p: v for p, v in full.volts.items() if p != missing}
    amps = {} if missing == "current" else full.amps
    table = FeatureTable([make_flight(air=Blocks(block_s=1.0, amps=amps, volts=volts))])
    assert drop_parts(table, "tail", "bus", "tail", fit="branch_mohm") == []


# Offsets and features.


def test_offset_as_fitted_and_at_rest(make_flight: Make) -> None:
    def about(value: float, se: float) -> tuple[float, float, float]:
        return value, value - 1.96 * se, value + 1.96 * se

    rows = [
        {("bus", "rest_v"): about(7.0, 0.003), ("tail", "rest_v"): about(6.9, 0.004)},
        {("bus", "rest_v"): 7.0},
        {("tail", "rest_v"): 7.0, ("tail", "offset_v"): about(0.02, 0.001)},
    ]
    fitted, rest = offset_parts(FeatureTable([make_flight(r) for r in rows]), "tail", "bus")
    assert (fitted.name, fitted.at.tolist(), fitted.y.tolist()) == ("offset_v", [2], [0.02])
    assert fitted.se == pytest.approx([0.001])
    assert (rest.name, rest.at.tolist()) == ("rest", [0])
    assert rest.y == pytest.approx([0.1])
    assert rest.se == pytest.approx([hypot(0.003, 0.004)])
    assert (fitted.sigma, rest.sigma) == (0.008, 0.008)
    assert offset_parts(FeatureTable([make_flight(rows[1])]), "tail", "bus") == []


def test_a_feature_as_a_part(make_flight: Make) -> None:
    rows = [{}, {("tail", "x"): (5.0, 1.08, 8.92)}, {("tail", "x"): 6.0}]
    table = FeatureTable([make_flight(r) for r in rows])
    part = feature_part(table, "tail", "x", 0.25)
    assert part is not None
    assert (part.name, part.sigma) == ("x", 0.25)
    assert (part.at.tolist(), part.y.tolist()) == ([1, 2], [5.0, 6.0])
    assert part.se == pytest.approx([2.0, 0.0])
    assert feature_part(table, "tail", "y", 0.25) is None


def test_while_a_diode_holds_a_pack_off_its_drop_says_nothing(make_flight: Make) -> None:
    """10 mOhm behind a diode of 300 mV; while it blocks, anything less than that lies over it."""
    gives = [1.0, 1.4, 1.8, 2.2] * 3
    flows = lead(gives, 10.0, offset_mv=300.0)
    over = [10.0 * i + 300.0 for i in gives]
    # It closes within a stretch, of which the means then say nothing.
    held = blocks([*gives, 0.6, *[0.01] * 6], [*over, 240.0, *[200.0] * 6])
    table = FeatureTable([make_flight(air=b) for b in (flows, held)])
    found = {p.name: p for p in drop_parts(table, "tail", "bus", "tail", fit="", held_off=True)}
    assert found["slope"].y == pytest.approx([10.0, 10.0])
    assert found["air"].y == pytest.approx([10.0 + 300.0 / 1.6] * 2, rel=0.02)
    slope_sd = found["air"].slope_sd
    assert slope_sd is not None
    assert slope_sd.tolist() == [400.0]
    # As a lead's, without a diode, all stretches count.
    without = slope_part(table, "tail", "bus", "tail")
    assert without is not None
    assert without.y[1] > 50.0


def test_a_diode_is_open_from_0_15_a_on(make_flight: Make) -> None:
    table = FeatureTable([make_flight(air=lead([0.15, 0.65] * 6, 10.0, offset_mv=300.0))])
    found = {p.name: p for p in drop_parts(table, "tail", "bus", "tail", fit="", held_off=True)}
    assert found["slope"].y == pytest.approx([10.0])
