"""What a profile alone implies, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.design import design_resistances, design_state, designed, moving_a
from telemetry.circuit.known import Measured
from telemetry.circuit.margins import margins
from telemetry.numerics.intervals import Interval

exact = Interval.exact


def _craft(**parts: Any) -> Aircraft:
    return Aircraft.model_validate({"bus": "bus", **parts})


def _pack(n: int = 1, **more: Any) -> dict[str, Any]:
    return {"name": f"pack {n}", "chemistry": "lipo", "cells": 2, **more}


def _servo(node: str, output: int, **more: Any) -> dict[str, Any]:
    return {"node": node, "output": output, "drives": "rudder", **more}


@pytest.mark.parametrize(("charge", "cell_v"), [("full", 4.2), ("nominal", 3.7), ("floor", 3.3)])
def test_packs_at_one_charge(charge: Any, cell_v: float) -> None:
    state = design_state(
        _craft(packs=[_pack()], nodes=[{"name": "tail", "fed_from": "bus"}]), charge
    )
    volts = exact(2 * cell_v)
    assert state.landing_v == {"pack 1": volts, "bus": volts, "tail": volts}
    assert state.landing_a == {p: exact(0) for p in ("pack 1", "total", "tail")}
    assert (state.usual_a, state.peak_a, state.share, state.lowest_v) == ({}, {}, {}, {})


def test_packs_are_nominal_where_nothing_is_said() -> None:
    assert design_state(_craft(packs=[_pack()])).landing_v["bus"] == exact(7.4)


@pytest.mark.parametrize("missing", ["chemistry", "cells"])
def test_a_pack_that_is_not_told_has_no_voltage(missing: str) -> None:
    craft = _craft(packs=[_pack(), _pack(2, **{missing: None})])
    state = design_state(craft)
    assert state.landing_v == {"pack 1": exact(7.4)}, "nor has the bus"
    assert state.landing_a == {"pack 1": exact(0)}


def test_the_bus_has_the_lowest_of_the_shared_packs() -> None:
    packs = [_pack(cells=3), _pack(2), _pack(3, cells=1, role="standby")]
    assert design_state(_craft(packs=packs)).landing_v["bus"] == exact(7.4)
    alone = _craft(packs=[_pack(role="standby")])
    assert "bus" not in design_state(alone).landing_v


def test_a_regulated_bus_has_its_set_point() -> None:
    assert design_state(_craft(packs=[_pack()], regulated_v=6.0)).landing_v["bus"] == exact(6.0)


def test_a_pack_may_be_the_root() -> None:
    craft = Aircraft.model_validate(
        {"packs": [_pack()], "nodes": [{"name": "tail", "fed_from": "pack 1"}], "regulated_v": 5.0}
    )
    state = design_state(craft)
    assert state.landing_v == {"pack 1": exact(7.4), "tail": exact(7.4)}


def test_packs_that_join_nowhere_have_their_voltages_alone() -> None:
    craft = Aircraft.model_validate({"packs": [_pack(), _pack(2)]})
    assert design_state(craft).landing_v == {"pack 1": exact(7.4), "pack 2": exact(7.4)}
    assert "total" not in design_state(craft).landing_a


NESTED = _craft(
    packs=[_pack()],
    nodes=[
        {"name": "wing", "fed_from": "bus"},
        {"name": "tip", "fed_from": "wing"},
        {"name": "tail", "fed_from": "bus"},
    ],
    servos=[
        _servo("wing", 1, moving_a=0.5, count=3),
        _servo("wing", 2, moving_a=0.25),
        _servo("tip", 1, moving_a=1.0),
        _servo("tail", 1, moving_a=2.0),
        _servo("bus", 1, moving_a=4.0),
    ],
)


def test_all_servos_of_a_place_and_below_move() -> None:
    state = design_state(NESTED)
    # The wing's 3 * 0.5 + 0.25 and the 1.0 of its tip; the bus has its own 4 and all of them.
    assert state.usual_a == {"wing": 2.75, "tip": 1.0, "tail": 2.0, "bus": 8.75, "total": 8.75}
    assert state.peak_a == {place: exact(a) for place, a in state.usual_a.items()}


def test_a_servo_that_is_not_told_leaves_all_above_it_open() -> None:
    servos = [
        s.model_copy(update={"moving_a": None}) if s.node == "tip" else s for s in NESTED.servos
    ]
    state = design_state(NESTED.model_copy(update={"servos": tuple(servos)}))
    assert state.usual_a == {"tail": 2.0}


def test_no_servos_no_current() -> None:
    assert moving_a("bus", _craft(nodes=[{"name": "tail", "fed_from": "bus"}])) is None
    assert moving_a("tail", NESTED) == 2.0


def test_places_that_feed_each_other_count_once() -> None:
    ring = _craft(
        nodes=[{"name": "wing", "fed_from": "tip"}, {"name": "tip", "fed_from": "wing"}],
        servos=[_servo("wing", 1, moving_a=1.0), _servo("tip", 1, moving_a=2.0)],
    )
    assert (moving_a("wing", ring), moving_a("tip", ring)) == (3.0, 3.0)


def _regulated(*mohm: float | None) -> Aircraft:
    supplies = [
        {"name": f"regulator {n}", "kind": "regulator", "fed_from": [f"pack {n}"],
         "set_point_v": 6.0, "resistance_mohm": r}
        for n, r in enumerate(mohm, 1)
    ]  # fmt: skip
    return _craft(packs=[_pack(n) for n in range(1, len(mohm) + 1)], supplies=supplies)


@pytest.mark.parametrize(
    ("mohm", "together"),
    [((5.0,), 5.0), ((10.0, 40.0), 8.0), ((10.0, None), 10.0), ((None,), 0.0), ((0.0, 9.0), 0.0)],
)
def test_regulators_side_by_side(mohm: tuple[float | None, ...], together: float) -> None:
    (found,) = design_resistances(_regulated(*mohm))
    assert (found.kind, found.place, found.updates) == ("source", "bus", 0)
    assert (found.mohm, found.low_mohm, found.high_mohm) == pytest.approx((together,) * 3)


def test_packs_without_a_regulator_have_their_own_resistance() -> None:
    assert list(design_resistances(_craft(packs=[_pack()]))) == []
    nowhere = Aircraft.model_validate({"packs": [_pack(), _pack(2)], "regulated_v": 6.0})
    assert list(design_resistances(nowhere)) == []


def _designed(craft: Aircraft):
    found = margins(craft, (), design_state(craft))
    return designed(found, craft, ())


# 40 mOhm in the pack, and a lead of 10 mOhm (0.29 m of 1 mm2, there and back, 1/58 Ohm mm2/m).
LEAD = {"mm2": 1.0, "length_m": 0.29, "stranded": False}
TERN = _craft(
    packs=[_pack(n, resistance_mohm=40, lead=LEAD) for n in (1, 2)],
    nodes=[{"name": "tail", "fed_from": "bus", "lead": LEAD, "restart_v": 4.0}],
    servos=[_servo("tail", 1, moving_a=2.0)],
)


def test_a_design_lies_between_packs_at_their_floor_and_full_ones() -> None:
    bus, tail = _designed(TERN)
    # 2 A through two ways of 50 mOhm side by side: 50 mV; the tail's lead takes 20 mV more.
    assert (bus.place, tail.place) == ("bus", "tail")
    assert bus.predicted_v.value == pytest.approx(7.4 - 0.05)
    assert tail.predicted_v.value == pytest.approx(7.4 - 0.07)
    assert 6.6 - 0.07 < bus.predicted_v.low < 6.6 - 0.05
    assert 8.4 - 0.05 < bus.predicted_v.high < 8.4 - 0.03
    assert (bus.measured_v, bus.differs, bus.lowest_v) == (None, None, None)
    assert (bus.restart_v, tail.restart_v) == (3.5, 4.0)
    assert [c.case for c in bus.cases] == ["pack-lost", "return-level", "all-stalled"]
    lost, level, _ = bus.cases
    # Half of the load falls with the voltage, from the 7.35 V of both packs.
    assert lost.voltage_v == pytest.approx((7.4 - 0.1 + 0.05) / (1 + 0.05 / 7.35))
    assert 6.6 - 0.14 < lost.low_v < 6.6 - 0.1
    # A load that falls with the voltage takes a hundredth less.
    assert lost.high_v == pytest.approx(8.4 - 0.1, abs=0.002), "a better one does not help it"
    assert (level.voltage_v, level.low_v, level.high_v) == (None, None, None)


def test_a_design_without_voltages_predicts_none() -> None:
    craft = TERN.model_copy(update={"packs": tuple(
        p.model_copy(update={"cells": None}) for p in TERN.packs)})  # fmt: skip
    assert [p.predicted_v for p in _designed(craft)] == [None, None]


def test_an_empty_profile_has_no_state() -> None:
    assert design_state(Aircraft()) == Measured()
