"""Currents of wires, connectors and supplies against their limits, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import Measured
from telemetry.circuit.parts import part_loads
from telemetry.numerics.intervals import Interval
from telemetry.results import PartLoad


def _craft(limits: dict[str, float] | None = None, **lead: Any) -> Aircraft:
    return Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1"}],
            "supplies": [
                {"name": "main", "kind": "switch", "fed_from": ["pack 1"], "limit_a": 15},
            ],
            "nodes": [{"name": "tail", "fed_from": "bus",
                       "lead": {"mm2": 1.0, "length_m": 0.5, **lead}}],
            "limits": limits or {},
        }
    )  # fmt: skip


def _parts(craft: Aircraft, usual: float | None = 4.0, peak: float | None = 9.0) -> list[PartLoad]:
    state = Measured(
        usual_a={} if usual is None else {"tail": usual, "total": usual},
        peak_a={} if peak is None else dict.fromkeys(("tail", "total"), Interval.exact(peak)),
    )
    return list(part_loads(craft, state, ()))


def test_every_part_in_order() -> None:
    craft = _craft(limit_a=8, connectors=[{"kind": "panel", "pins": 2}, {"pin_a": 2.5}])
    wire, first, second, supply = _parts(craft)
    assert wire == PartLoad(
        place="tail", part="wire", what="1 mm2", usual_a=4.0, worst_a=9.0, worst_case="observed",
        limit_a=8.0, limit_from="profile", over=False, worst_over=True,
    )  # fmt: skip
    assert (first.part, first.what, first.limit_a) == ("connector 1", "2 pins of 5 A", 10.0)
    assert (first.limit_from, first.over, first.worst_over) == ("default", False, False)
    assert (second.part, second.what, second.limit_a) == ("connector 2", "1 pin of 2.5 A", 2.5)
    assert (second.limit_from, second.over, second.worst_over) == ("profile", True, True)
    assert (supply.place, supply.part, supply.what) == ("main", "switch", "main")
    assert (supply.limit_a, supply.limit_from, supply.usual_a) == (15.0, "profile", 4.0)


@pytest.mark.parametrize(("kind", "limit_a"), [("servo", 2.0), ("panel", 7.0)])
def test_pins_have_the_limits_in_force(kind: str, limit_a: float) -> None:
    craft = _craft({"pin_a": 2.0, "panel_pin_a": 7.0}, connectors=[{"kind": kind}])
    assert _parts(craft)[1].limit_a == limit_a


@pytest.mark.parametrize(("amps", "over"), [(8.0, False), (8.01, True), (None, None)])
def test_over_is_above_the_limit(amps: float | None, over: bool | None) -> None:
    craft = _craft(limit_a=8)
    assert _parts(craft, usual=amps)[0].over is over
    assert _parts(craft, peak=amps)[0].worst_over is over


def test_a_part_without_a_limit_is_never_over() -> None:
    craft = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1"}],
            "supplies": [{"name": "main", "kind": "switch", "fed_from": ["pack 1"]}],
        }
    )
    (supply,) = _parts(craft)
    assert (supply.limit_a, supply.limit_from) == (None, "")
    assert (supply.over, supply.worst_over) == (None, None)
    assert (supply.usual_a, supply.worst_a) == (4.0, 9.0)


@pytest.mark.parametrize(("wires", "limit_a"), [(1, 1.4), (3, 4.2)])
def test_a_wire_without_a_limit_has_that_of_its_gauge(wires: int, limit_a: float) -> None:
    """AWG 28 carries 1.4 A: the common gauge tables, see ampacity_a; 14 A is far beyond."""
    craft = _craft(mm2=None, awg=28, wires=wires)
    wire = _parts(craft, usual=14.0, peak=20.0)[0]
    assert (wire.limit_a, wire.limit_from) == (pytest.approx(limit_a), "default")
    assert (wire.over, wire.worst_over) == (True, True)
