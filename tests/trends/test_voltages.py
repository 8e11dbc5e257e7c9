"""Features of voltages, resistances and charge: a few readings, worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, hypot, pi, sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.model.channels import Quantity
from telemetry.readings import Reading
from telemetry.results import (
    Charge,
    Flight,
    PackCapacity,
    Phase,
    PhaseKind,
    Resistance,
    Stir,
    StirPlace,
)
from telemetry.trends.features.voltages import (
    charge,
    held_charge,
    resistances,
    rest_volts,
    sags,
    voltage_features,
)
from telemetry.trends.measures import Measure
from tests.trends.conftest import readings_of

Make = Callable[..., Any]
GROUND, STIR, FLIGHT = PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.FLIGHT


def phases(*rows: tuple[PhaseKind, float, float]) -> tuple[Phase, ...]:
    return tuple(Phase(kind=kind, start_s=a, end_s=b) for kind, a, b in rows)


def told(found: list[Measure]) -> dict[tuple[str, str], float | None]:
    return {(m.place, m.feature): m.value for m in found}


class TestVoltageFeatures:
    def test_lowest_by_phase_and_the_median_on_the_ground(self, make_reading: Make) -> None:
        r = make_reading("tail", range(8), [7.0, 7.4, 7.3, 6.5, 6.8, 6.1, 6.4, 7.2])
        found = voltage_features(
            r, phases((GROUND, 0, 3), (STIR, 3, 5), (FLIGHT, 5, 7), (GROUND, 7, 8))
        )
        assert told(found) == {
            ("tail", "lowest_idle_v"): 7.0,
            ("tail", "idle_v"): 7.25,  # of 7.0, 7.4, 7.3, 7.2
            ("tail", "lowest_stir_v"): 6.5,
            ("tail", "lowest_flight_v"): 6.1,
        }
        assert {m.unit for m in found} == {"V"}

    def test_phases_without_a_reading_tell_nothing(self, make_reading: Make) -> None:
        r = make_reading("tail", [1.0], [7.0])
        assert told(voltage_features(r, phases((STIR, 0, 5), (GROUND, 5, 9)))) == {
            ("tail", "lowest_stir_v"): 7.0
        }
        assert voltage_features(r, ()) == []


class TestRestVolts:
    """Ground from -0.3 s to 6.3 s: six stretches of one second, two readings in each."""

    T = tuple(np.arange(0.25, 6.0, 0.5))
    PHASES = phases((GROUND, -0.3, 6.3), (FLIGHT, 10.0, 100.0))
    # Drawn in the six stretches: the median of 1, 1, 2, 3, 5, 9 is 2.5: the first, second and
    # fourth are quiet.
    DRAWN = (1.0, 1.0, 5.0, 2.0, 9.0, 3.0)

    def currents(self, make_reading: Make, drawn: tuple[float, ...] = DRAWN) -> dict[str, Reading]:
        half = np.repeat(drawn, 2) / 2
        return {
            p: make_reading(p, self.T, half, quantity=Quantity.CURRENT, update_s=0.5)
            for p in ("left wing", "right wing")
        }

    def test_mean_of_the_quiet_half(self, make_reading: Make) -> None:
        volts = [7.0, 7.0, 7.0, 7.04, 6.9, 6.9, 7.02, 7.02, 6.9, 6.9, 6.9]
        r = make_reading("bus", self.T[:11], volts, update_s=0.5, resolution=0.1)
        loads = ["left wing", "right wing"]
        (found,) = rest_volts({"bus": r}, self.currents(make_reading), loads, self.PHASES)
        x = np.array([7.0, 7.02, 7.02])  # means of the first, second and fourth
        assert (found.place, found.feature, found.unit) == ("bus", "rest_v", "V")
        assert found.value == pytest.approx(x.mean())
        # Readings at or above their median, 7.00: three of them, twice 7.02, 7.04. By how far they
        # lie above the lowest of them, in square: 0.0024 / 6, a fifth of a step.
        left = 0.1 / sqrt(12) * exp(-2 * (pi * 0.2) ** 2)
        reach = 2 * hypot(x.std(ddof=1) / sqrt(3), left)
        assert (found.low, found.high) == pytest.approx((x.mean() - reach, x.mean() + reach))

    def test_a_stretch_that_draws_the_median_is_quiet(self, make_reading: Make) -> None:
        # Five stretches that draw 1, 2, 5, 9, 3 A: the median is 3 A.
        currents = self.currents(make_reading, (1.0, 2.0, 5.0, 9.0, 3.0, 0.0))
        volts = np.repeat([7.0, 7.1, 1.0, 1.0, 7.5, 1.0], 2)
        r = make_reading("bus", self.T, volts)
        ground = phases((GROUND, -0.3, 5.3), (FLIGHT, 10.0, 100.0))
        (found,) = rest_volts({"bus": r}, currents, ["left wing"], ground)
        assert found.value == pytest.approx(7.2)

    def test_rounding_counts_where_nothing_moves(self, make_reading: Make) -> None:
        r = make_reading("bus", self.T, [7.2] * 12, update_s=0.5, resolution=0.1)
        (found,) = rest_volts({"bus": r}, self.currents(make_reading), ["left wing"], self.PHASES)
        reach = 2 * 0.1 / sqrt(12)
        assert (found.low, found.high) == pytest.approx((7.2 - reach, 7.2 + reach))
        r = make_reading("bus", self.T, [7.2] * 12, update_s=0.5)
        (found,) = rest_volts({"bus": r}, self.currents(make_reading), ["left wing"], self.PHASES)
        assert (found.low, found.high) == pytest.approx((7.2, 7.2))

    def test_nothing_without_ground_or_loads(self, make_reading: Make) -> None:
        volts = {"bus": make_reading("bus", self.T, [7.2] * 12)}
        currents = self.currents(make_reading)
        in_air = phases((FLIGHT, 0.0, 100.0))
        assert rest_volts(volts, currents, ["left wing"], in_air) == []
        assert rest_volts(volts, currents, [], self.PHASES) == []
        assert rest_volts({}, currents, ["left wing"], self.PHASES) == []

    @pytest.mark.parametrize(("until_s", "told"), [(3.3, False), (4.3, True)])
    def test_four_stretches_at_the_least(
        self, make_reading: Make, until_s: float, told: bool
    ) -> None:
        volts = {"bus": make_reading("bus", self.T, [7.2] * 12)}
        ground = phases((GROUND, -0.3, until_s))
        found = rest_volts(volts, self.currents(make_reading), ["left wing"], ground)
        assert bool(found) is told

    @pytest.mark.parametrize(("readings", "told"), [(2, False), (4, True)])
    def test_two_quiet_stretches_of_the_place_at_the_least(
        self, make_reading: Make, readings: int, told: bool
    ) -> None:
        # Only its first stretch, or its first two, which are quiet both.
        r = make_reading("bus", self.T[:readings], [7.2] * readings)
        found = rest_volts({"bus": r}, self.currents(make_reading), ["left wing"], self.PHASES)
        assert bool(found) is told

    def test_stretches_hold_two_updates_of_the_slowest(self, make_reading: Make) -> None:
        # Voltages every 1.5 s: stretches of 3 s, of which 6 s of ground hold two: too few.
        currents = self.currents(make_reading)
        slow = {"bus": make_reading("bus", self.T, [7.2] * 12, update_s=1.5)}
        assert rest_volts(slow, currents, ["left wing"], self.PHASES) == []
        # Every 0.75 s: 1.5 s, four of them.
        quick = {"bus": make_reading("bus", self.T, [7.2] * 12, update_s=0.75)}
        assert len(rest_volts(quick, currents, ["left wing"], self.PHASES)) == 1
        # Unknown: one second.
        unknown = {"bus": make_reading("bus", self.T, [7.2] * 12)}
        assert len(rest_volts(unknown, currents, ["left wing"], self.PHASES)) == 1
        slow_load = {
            p: make_reading(p, r.t, r.v, quantity=Quantity.CURRENT, update_s=1.5)
            for p, r in currents.items()
        }
        assert rest_volts(unknown, slow_load, ["left wing"], self.PHASES) == []


def test_sag_per_amp_is_the_mean_of_the_stirs() -> None:
    def stir(**mohm: float | None) -> Stir:
        places = tuple(
            StirPlace(
                place=place,
                rest_a=None,
                mean_a=1.0,
                p95_a=None,
                peak_a=None,
                mah=None,
                lowest_v=None,
                sag_mohm=x,
            )
            for place, x in mohm.items()
        )
        return Stir(start_s=0, end_s=5, rhythm_hz=None, after_flight=False, places=places)

    flight = Flight(
        start_s=0,
        end_s=99,
        kind="flight",
        phases=(),
        stirs=(stir(tail=30.0, bus=None), stir(tail=34.0, bus=20.0)),
    )
    found = sags(flight)
    assert told(found) == {("tail", "stir_sag_mohm"): 32.0, ("bus", "stir_sag_mohm"): 20.0}
    assert {m.unit for m in found} == {"mOhm"}


class TestResistances:
    AIRCRAFT = Aircraft(packs=(Pack(name="pack 1"),), bus="bus")

    def found(self, **given: object) -> list[Measure]:
        plain: dict[str, object] = {
            "kind": "branch",
            "place": "tail",
            "parent": "bus",
            "mohm": 30.0,
            "low_mohm": 28.0,
            "high_mohm": 33.0,
            "updates": 100,
        }
        x = Resistance(**{**plain, **given})  # type: ignore[arg-type]
        flight = Flight(start_s=0, end_s=9, kind="flight", phases=(), resistances=(x,))
        return resistances(flight, self.AIRCRAFT)

    def test_of_a_lead_with_its_offset(self) -> None:
        assert self.found(offset_v=0.02, offset_low_v=0.01, offset_high_v=0.04) == [
            Measure(
                place="tail", feature="branch_mohm", value=30.0, unit="mOhm", low=28.0, high=33.0
            ),
            Measure(place="tail", feature="offset_v", value=0.02, unit="V", low=0.01, high=0.04),
        ]
        assert told(self.found()) == {("tail", "branch_mohm"): 30.0}
        assert told(self.found(parent=None)) == {("tail", "branch_mohm"): 30.0}

    def test_between_pack_and_bus_it_is_the_packs_path(self) -> None:
        found = self.found(place="bus", parent="pack 1", offset_v=0.3)
        assert told(found) == {("pack 1", "path_mohm"): 30.0}

    @pytest.mark.parametrize("kind", ["source", "apparent"])
    def test_of_another_kind_without_an_offset(self, kind: str) -> None:
        found = self.found(kind=kind, place="bus", parent="pack 1", offset_v=0.3)
        assert told(found) == {("bus", f"{kind}_mohm"): 30.0}

    def test_refused(self) -> None:
        assert self.found(mohm=None) == []


class TestCharge:
    PHASES = phases((GROUND, 0, 2), (FLIGHT, 2, 4), (GROUND, 4, 5), (FLIGHT, 5, 6))

    def found(
        self,
        given: dict[str, float | None],
        *channels: Reading,
        bus: str | None = "bus",
        flown_s: float = 3.0,
    ) -> list[Measure]:
        plain = dict.fromkeys(("logged_mah", "integrated_mah", "share", "start_v", "end_v"))
        rows = (Charge(place="pack 1", **{**plain, **given}),) if given else ()  # type: ignore[arg-type]
        flight = Flight(start_s=0, end_s=9, kind="flight", phases=self.PHASES, charge=rows)
        return charge(flight, readings_of(*channels), Aircraft(bus=bus), flown_s)

    def test_counter_over_current_and_their_error(self) -> None:
        found = self.found(
            {"logged_mah": 440.0, "integrated_mah": 400.0, "uncertain_mah": 10.0, "share": 0.5}
            | {"start_v": 8.2, "end_v": 7.7}
        )
        assert told(found) == {
            ("pack 1", "used_mah"): 400.0,
            ("pack 1", "share"): 0.5,
            ("pack 1", "start_v"): 8.2,
            ("pack 1", "end_v"): 7.7,
            ("pack 1", "counter_ratio"): pytest.approx(1.1),
        }
        by_name = {m.feature: m for m in found}
        # 10 of 400 mAh is one deviation: 5 % either way.
        used, ratio = by_name["used_mah"], by_name["counter_ratio"]
        assert (used.low, used.high) == pytest.approx((380.0, 420.0))
        assert (ratio.low, ratio.high) == pytest.approx((1.045, 1.155))
        assert (by_name["share"].low, by_name["share"].high) == (None, None)
        assert [m.unit for m in found] == ["mAh", "", "V", "V", ""]

    def test_capacity_where_one_kind_of_cells_fits(self) -> None:
        def held(**more: Any) -> list[Measure]:
            seen = PackCapacity(place="pack 1", drawn_mah=900.0, **more)
            flown = Flight(kind="flight", start_s=0.0, end_s=9.0, phases=(), capacities=(seen,))
            return held_charge(flown)

        (found,) = held(low_mah=1600.0, high_mah=2500.0, one_kind=True)
        assert (found.feature, found.value, found.unit) == ("capacity_mah", 2000.0, "mAh")
        assert (found.low, found.high) == (1600.0, 2500.0)
        assert held(low_mah=1600.0, high_mah=2500.0) == []
        assert held(low_mah=None, high_mah=None, one_kind=True) == []

    def test_by_the_counter_alone(self) -> None:
        (used,) = self.found({"logged_mah": 440.0})
        assert (used.value, used.low, used.high) == (440.0, None, None)

    @pytest.mark.parametrize("integrated", [None, 0.0])
    def test_no_ratio_without_charge(self, integrated: float | None) -> None:
        found = self.found(
            {"logged_mah": 440.0, "integrated_mah": integrated, "uncertain_mah": 3.0}
        )
        assert [m.feature for m in found] == ["used_mah"]
        # Of no charge there is no relative error.
        low = None if integrated == 0.0 else pytest.approx(434.0)
        assert found[0].low == low

    def test_a_charge_below_one_is_enough_for_a_ratio(self) -> None:
        found = told(self.found({"logged_mah": 0.25, "integrated_mah": 0.5}))
        assert found[("pack 1", "counter_ratio")] == 0.5
        assert ("pack 1", "counter_ratio") not in told(self.found({"integrated_mah": 0.5}))

    def test_charge_per_minute_in_the_air_alone(self, make_reading: Make) -> None:
        # At 2, 3 and 5 s it flies: mean of 3, 4, 8 A; 1 A for a minute is 16.67 mAh.
        r = make_reading("bus", range(7), [9, 9, 3, 4, 9, 8, 9], quantity=Quantity.CURRENT)
        (found,) = self.found({}, r)
        assert (found.place, found.feature) == ("bus", "mah_per_min")
        assert found.value == pytest.approx(5 * 1000 / 60)
        assert self.found({}, r, flown_s=0.0) == []
        assert self.found({}) == []
        none = make_reading("bus", [0.0, 1.0], [9.0, 9.0], quantity=Quantity.CURRENT)
        assert self.found({}, none) == []
        (found,) = self.found({}, r, bus=None)
        assert found.place == "total"
