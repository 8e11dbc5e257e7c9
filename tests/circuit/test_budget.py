"""What the wiring carries, worked out by hand on invented machines."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest

from telemetry.aircraft import Aircraft
from telemetry.aircraft.wire import lead_mohm
from telemetry.circuit.budget import budget
from telemetry.circuit.budget_records import Budget
from telemetry.circuit.design import design_state
from telemetry.circuit.known import Measured
from telemetry.numerics.intervals import Interval
from telemetry.results import Resistance

exact = Interval.exact

# Two packs of 2s lithium ion on a plain bus; 1 mm2 solid leads of 0.58 m measure 20 mOhm out and
# back (2 * 0.58 / 58 Ohm), so that every number below can be checked by hand.
LEAD = {"mm2": 1.0, "length_m": 0.58, "stranded": False}
TERN = Aircraft.model_validate(
    {
        "name": "tern",
        "bus": "bus",
        "packs": [
            {"name": f"pack {n}", "chemistry": "liion", "cells": 2, "resistance_mohm": 40,
             "lead": {**LEAD, "length_m": 0.29, "connectors": [
                 {"kind": "panel", "contact_mohm": 0, "pins": 2}]}}
            for n in (1, 2)
        ],
        "nodes": [
            {"name": "wing", "fed_from": "bus", "lead": {**LEAD, "limit_a": 8, "connectors": [
                {"contact_mohm": 2.5, "pins": 1}]}},
            {"name": "tail", "fed_from": "bus", "lead": {"awg": 20, "length_m": 1.0}},
        ],
        "servos": [
            {"node": "wing", "output": 1, "drives": "aileron", "count": 2, "stall_a": 4,
             "stall_v": 7.2, "moving_a": 0.5},
            {"node": "tail", "output": 1, "drives": "rudder", "stall_a": 6, "stall_v": 7.2,
             "moving_a": 1.0},
        ],
    }
)  # fmt: skip


def _lead(b: Budget, place: str):
    return next(x for x in b.leads if x.place == place)


def _part(b: Budget, place: str, part: str):
    return next(x for x in b.parts if (x.place, x.part) == (place, part))


def _place(b: Budget, place: str):
    return next(x for x in b.places if x.place == place)


def test_a_design_needs_nothing_but_the_profile() -> None:
    found = budget(TERN)
    assert found.basis == "design"
    # All moving: 2 A; the packs' ways are 40 + 10 mOhm each, 25 together; wing 1 A on 25 mOhm.
    assert _place(found, "bus").predicted_v.value == pytest.approx(7.2 - 0.025 * 2)
    assert _place(found, "wing").predicted_v.value == pytest.approx(7.15 - 0.025 * 1)
    low = _place(found, "bus").predicted_v.low
    assert low == pytest.approx(6.0 - 0.05, abs=0.02), "an empty pack has 3.0 V a cell"
    assert _place(found, "bus").measured_v is None
    assert _place(found, "bus").lowest_v is None
    lost = _place(found, "bus").cases[0]
    # Half of the load falls with the voltage, from the 7.15 V of both packs.
    assert lost.voltage_v == pytest.approx((7.2 - 0.100 + 0.050) / (1 + 0.050 / 7.15))


def test_all_stalled_is_in_the_design() -> None:
    wing, tail = 7.2 / 8, 7.2 / 6
    load = 1 / (1 / (0.025 + wing) + 1 / (lead_mohm(TERN.nodes[1].lead).value / 1000 + tail))
    case = _place(budget(TERN), "bus").cases[2]
    assert case.voltage_v == pytest.approx(7.2 * load / (load + 0.025))
    assert _part(budget(TERN), "wing", "wire").worst_case == "all-stalled"


def test_currents_against_limits() -> None:
    found = budget(TERN)
    wire, plug = _part(found, "wing", "wire"), _part(found, "wing", "connector 1")
    assert (wire.usual_a, wire.limit_a, wire.limit_from, wire.over) == (1.0, 8.0, "profile", False)
    assert (plug.what, plug.limit_a, plug.limit_from) == ("1 pin of 3 A", 3.0, "default")
    assert plug.worst_a == pytest.approx(7.2, abs=0.5), "nearly 8 A at 7.2 V, two stalled servos"
    assert (plug.over, plug.worst_over) == (False, True)
    pack = _part(found, "pack 1", "connector 1")
    assert pack.limit_a == 10.0, "two panel pins of 5 A"
    assert pack.usual_a is None, "how the packs share is not in a profile"
    bare = _part(found, "tail", "wire")
    assert (bare.limit_a, bare.limit_from) == (pytest.approx(11.0), "default"), "AWG 20"


STATE = Measured(
    yields=Interval(0.0, 0.0, 1.0),
    lowest_v={"bus": 6.9, "wing": 6.5},
    landing_v={"bus": exact(7.4), "wing": exact(7.3), "tail": exact(7.25)},
    landing_a={
        "total": exact(4.0), "wing": exact(2.0), "tail": exact(1.5), "pack 1": exact(2.4),
    },
    usual_a={"total": 4.0, "wing": 2.0, "tail": 1.5, "pack 1": 2.4},
    peak_a={"total": exact(16.0), "wing": exact(9.0), "tail": exact(7.0)},
    share={"pack 1": exact(0.6), "pack 2": exact(0.4)},
)  # fmt: skip
RESISTANCES = (
    Resistance(kind="branch", place="wing", parent="bus", mohm=50, low_mohm=46, high_mohm=54,
               updates=300),
    Resistance(kind="source", place="bus", mohm=25, low_mohm=24, high_mohm=26, updates=300),
)  # fmt: skip


def test_measured_stands_beside_expected() -> None:
    found = budget(TERN, RESISTANCES, STATE)
    assert found.basis == "measured"
    wing, tail = _lead(found, "wing"), _lead(found, "tail")
    assert wing.expected_mohm.value == pytest.approx(25)
    assert wing.measured_mohm == Interval(50, 46, 54)
    assert wing.excess_mohm.value == pytest.approx(25)
    assert wing.differs is True
    assert wing.worst_drop_v == pytest.approx(0.050 * 9), "at the peak: no case draws more here"
    assert (tail.measured_mohm, tail.differs) == (None, None)
    place = _place(found, "wing")
    # Expected from the bus: 7.4 - 2 A * 25 mOhm = 7.35; 7.30 was read: 50 mV off, sensors 40.
    assert place.predicted_v.value == pytest.approx(7.35)
    assert (place.measured_v, place.lowest_v) == (exact(7.3), 6.5)
    assert place.differs is True
    assert _place(found, "bus").predicted_v is None, "nothing above it was measured"


def test_two_sensors_may_differ_a_little() -> None:
    near = Measured(landing_v={"bus": exact(7.4), "wing": exact(7.32)}, landing_a=STATE.landing_a)
    assert _place(budget(TERN, (), near), "wing").differs is False


@pytest.mark.parametrize(
    ("read_v", "differs"), [(0.04, False), (0.041, True), (-0.04, False), (-0.041, True)]
)
def test_sensors_may_differ_by_forty_millivolts(read_v: float, differs: bool) -> None:
    # No current and no voltage above: whatever is read is the difference, to the last digit.
    state = Measured(
        landing_v={"bus": exact(0.0), "wing": exact(read_v)}, landing_a={"wing": exact(0.0)}
    )
    assert _place(budget(TERN, (), state), "wing").differs is differs


def test_what_both_voltages_may_be_off_counts_too() -> None:
    # Half widths of 30 and 40 mV are 50 mV: 0.09 V may just be the 40 mV of two sensors.
    for read_v, differs in ((7.4 - 0.089, False), (7.4 - 0.091, True), (7.4 + 0.091, True)):
        state = Measured(
            landing_v={"bus": Interval.around(7.4, 0.03), "wing": Interval.around(read_v, 0.04)},
            landing_a={"wing": exact(0.0)},
        )
        assert _place(budget(TERN, (), state), "wing").differs is differs


@pytest.mark.parametrize(
    ("volts", "amps", "predicted"),
    [
        ({"bus": 7.4}, {"wing": 2.0}, 7.35),
        ({}, {"wing": 2.0}, None),
        ({"bus": 7.4}, {"tail": 2.0}, None),
    ],
    ids=["7.4 V less 25 mOhm at 2 A", "nothing above", "no current"],
)
def test_a_voltage_is_predicted_from_what_feeds_the_place(
    volts: dict[str, float], amps: dict[str, float], predicted: float | None
) -> None:
    state = Measured(
        landing_v={p: exact(v) for p, v in volts.items()},
        landing_a={p: exact(a) for p, a in amps.items()},
    )
    place = _place(budget(TERN, (), state), "wing")
    assert (place.predicted_v is None) is (predicted is None)
    if place.predicted_v is not None:
        assert place.predicted_v.value == pytest.approx(predicted)
    assert (place.measured_v, place.differs) == (None, None)


@pytest.mark.parametrize("missing", ["lead", "fed_from"])
def test_without_a_lead_or_what_feeds_it_nothing_is_predicted(missing: str) -> None:
    craft = TERN.model_dump(mode="json")
    craft["nodes"][0][missing] = None
    state = Measured(landing_v={"bus": exact(7.4)}, landing_a={"wing": exact(2.0)})
    found = budget(Aircraft.model_validate(craft), (), state)
    assert _place(found, "wing").predicted_v is None


def test_resistances_of_a_flight_go_before_those_of_the_design() -> None:
    craft = TERN.model_dump(mode="json") | {"regulated_v": 6.0}
    measured = Resistance(kind="source", place="bus", mohm=30, low_mohm=30, high_mohm=30, updates=9)
    found = budget(Aircraft.model_validate(craft), (measured,))
    # 2 A, all servos moving.
    assert _place(found, "bus").predicted_v.value == pytest.approx(6.0 - 0.030 * 2)


def test_a_pack_carries_its_share_or_everything_when_it_is_alone() -> None:
    found = budget(TERN, RESISTANCES, STATE)
    one, two = _part(found, "pack 1", "wire"), _part(found, "pack 2", "wire")
    assert one.usual_a == 2.4, "as measured"
    assert two.usual_a == pytest.approx(0.4 * 4.0), "as its share"
    assert (one.worst_a, one.worst_case) == (16.0, "pack-lost")


def test_a_regulator_carries_everything() -> None:
    craft = TERN.model_dump(mode="json")
    craft["supplies"] = [
        {"name": "regulator", "kind": "regulator", "fed_from": ["pack 1", "pack 2"],
         "set_point_v": 6.0, "dropout_v": 0.2, "resistance_mohm": 5, "limit_a": 15}
    ]  # fmt: skip
    found = budget(Aircraft.model_validate(craft), RESISTANCES, STATE)
    part = _part(found, "regulator", "regulator")
    assert (part.usual_a, part.limit_a) == (4.0, 15.0)
    assert (part.worst_a, part.worst_over) == (16.0, True)
    design = budget(Aircraft.model_validate(craft))
    assert _place(design, "bus").predicted_v.value == pytest.approx(6.0 - 0.005 * 2)


def test_what_a_thicker_wire_brings() -> None:
    found = budget(TERN, RESISTANCES, STATE)
    first, second = _lead(found, "wing").thicker
    assert (first.wire, second.wire) == ("1.5 mm2", "2.5 mm2")
    # 20 mOhm of copper become 13.3: 6.7 mOhm at 9 A; 2 * 0.58 m * 0.5 mm2 * 8.89 g more.
    assert first.mohm.value == pytest.approx(20 / 1.5 + 5)
    assert first.gain_v == pytest.approx(9 * (20 - 20 / 1.5) / 1000)
    assert first.grams == pytest.approx(8.89 * 2 * 0.58 * 0.5)
    assert [t.wire for t in _lead(found, "tail").thicker] == ["AWG 18", "AWG 16"]


def test_the_budget_is_json_without_holes() -> None:
    for found in (budget(TERN), budget(TERN, RESISTANCES, STATE), budget(Aircraft())):
        text = json.dumps(asdict(found), allow_nan=False)
        assert json.loads(text)["aircraft"] in ("tern", "unnamed")


def test_a_profile_that_tells_little_gives_little() -> None:
    bare = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1"}],
            "nodes": [{"name": "tail", "fed_from": "bus"}],
        }
    )
    found = budget(bare)
    assert (found.leads, found.parts) == ((), ())
    assert [p.predicted_v for p in found.places] == [None, None]
    assert all(c.voltage_v is None and c.note for p in found.places for c in p.cases)
    assert design_state(bare).landing_v == {}


def test_a_place_with_an_unknown_servo_has_no_moving_current() -> None:
    some = TERN.model_dump(mode="json")
    some["servos"][1]["moving_a"] = None
    state = design_state(Aircraft.model_validate(some))
    assert state.peak_a == {"wing": exact(1.0)}
