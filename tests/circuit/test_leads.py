"""Leads and the thicker wires that might take their place, by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Lead
from telemetry.aircraft.wire import lead_mohm
from telemetry.circuit.currents import Currents
from telemetry.circuit.known import Measured
from telemetry.circuit.leads import branch_measured, lead_budget, leads, thicker_wires, wire_words
from telemetry.numerics.intervals import Interval
from telemetry.results import Resistance

# There and back 0.58 m of 1 mm2 and 1/58 Ohm mm2/m: 20 mOhm.
SOLID = {"mm2": 1.0, "length_m": 0.58, "stranded": False}
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1", "lead": {"awg": 14, "length_m": 0.1}}, {"name": "pack 2"}],
        "supplies": [
            {"name": "switch", "kind": "switch", "fed_from": ["pack 1"], "lead": SOLID},
        ],
        "nodes": [{"name": "tail", "fed_from": "bus", "lead": SOLID}, {"name": "bus"}],
    }
)


def _lead(**more: Any) -> Lead:
    return Lead.model_validate(SOLID | more)


def test_leads_of_packs_supplies_and_nodes() -> None:
    assert [place for place, _ in leads(CRAFT)] == ["pack 1", "switch", "tail"]


@pytest.mark.parametrize(
    ("lead", "words"),
    [
        (_lead(), "1 mm2"),
        (_lead(mm2=0.25), "0.25 mm2"),
        (_lead(wires=2), "2 x 1 mm2"),
        (_lead(mm2=None, awg=0), "AWG 0"),
        (_lead(mm2=None, awg=14, wires=3), "3 x AWG 14"),
    ],
)
def test_how_a_wire_is_called(lead: Lead, words: str) -> None:
    assert wire_words(lead) == words


BRANCH = {"kind": "branch", "place": "tail", "parent": "bus", "updates": 300,
          "mohm": 30.0, "low_mohm": 28.0, "high_mohm": 33.0}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, Interval(30, 28, 33)),
        ({"low_mohm": 31.0}, Interval(30, 30, 33)),
        ({"high_mohm": 29.0}, Interval(30, 28, 30)),
        ({"kind": "apparent"}, None),
        ({"place": "wing"}, None),
        ({"parent": "pack 1"}, None),
        ({"mohm": None}, None),
        ({"low_mohm": None}, None),
        ({"high_mohm": None}, None),
    ],
    ids=str,
)
def test_the_measured_lead_of_a_node(change: dict[str, Any], expected: Interval | None) -> None:
    assert branch_measured("tail", CRAFT, (Resistance(**BRANCH | change),)) == expected


def test_only_nodes_have_a_measured_lead() -> None:
    other = Resistance(**BRANCH | {"place": "pack 1", "parent": None})
    assert branch_measured("pack 1", CRAFT, (other,)) is None
    later = (other, Resistance(**BRANCH))
    assert branch_measured("tail", CRAFT, later) == Interval(30, 28, 33)


def _currents(**peaks: float) -> Currents:
    return Currents(CRAFT, Measured(peak_a={p: Interval.exact(a) for p, a in peaks.items()}), ())


def test_a_lead_that_was_measured() -> None:
    found = lead_budget("tail", _lead(), Interval(30, 29, 31), _currents(tail=10.0))
    assert (found.place, found.wire, found.length_m) == ("tail", "1 mm2", 0.58)
    assert found.expected_mohm.value == pytest.approx(20)
    assert found.measured_mohm == Interval(30, 29, 31)
    assert found.excess_mohm.value == pytest.approx(10)
    assert found.differs is True
    assert found.worst_drop_v == pytest.approx(0.3), "10 A through the 30 mOhm measured"
    assert [t.wire for t in found.thicker] == ["1.5 mm2", "2.5 mm2"]


def test_a_lead_that_was_not_measured() -> None:
    found = lead_budget("tail", _lead(), None, _currents(tail=10.0))
    assert (found.measured_mohm, found.excess_mohm, found.differs) == (None, None, None)
    assert found.worst_drop_v == pytest.approx(0.2)
    assert lead_budget("tail", _lead(), None, _currents()).worst_drop_v is None


# IEC 60228, flexible conductors, and what is sold below them.
SIZES = (0.14, 0.25, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)


@pytest.mark.parametrize("at", range(len(SIZES)))
def test_the_next_two_sections(at: int) -> None:
    def offered(mm2: float) -> list[str]:
        lead = _lead(mm2=mm2)
        return [t.wire for t in thicker_wires(lead, lead_mohm(lead), None)]

    above = [f"{mm2:g} mm2" for mm2 in SIZES[at : at + 3]]
    assert offered(SIZES[at]) == above[1:]
    assert offered(0.99 * SIZES[at]) == above[:2]


@pytest.mark.parametrize(
    ("awg", "wires"), [(20, [18, 16]), (4, [2, 0]), (3, [1]), (2, [0]), (1, []), (0, [])]
)
def test_the_next_two_even_gauges(awg: int, wires: list[int]) -> None:
    lead = _lead(mm2=None, awg=awg)
    assert [t.wire for t in thicker_wires(lead, lead_mohm(lead), None)] == [
        f"AWG {n}" for n in wires
    ]


def test_what_a_thicker_wire_brings() -> None:
    lead = _lead(wires=3)
    first, second = thicker_wires(lead, lead_mohm(lead), 9.0)
    # A third of 20 mOhm, by 1.5 and by 2.5; copper of 8.89 g/cm3, there and back, three wires.
    assert first.wire == "3 x 1.5 mm2"
    assert first.mohm.value == pytest.approx(20 / 3 / 1.5)
    assert first.gain_v == pytest.approx(0.009 * (20 / 3 - 20 / 3 / 1.5))
    assert first.grams == pytest.approx(8.89 * 2 * 0.58 * 3 * 0.5)
    assert second.grams == pytest.approx(8.89 * 2 * 0.58 * 3 * 1.5)
    assert [t.gain_v for t in thicker_wires(lead, lead_mohm(lead), None)] == [None, None]


def test_a_gauge_has_its_copper_too() -> None:
    # Six gauges double the diameter, nearly: 0.127 mm * 92^((36 - n) / 39) (ASTM B258).
    lead = _lead(mm2=None, awg=20)
    first, _ = thicker_wires(lead, lead_mohm(lead), None)
    thick, thin = (math.pi / 4 * (0.127 * 92 ** ((36 - n) / 39)) ** 2 for n in (18, 20))
    assert first.grams == pytest.approx(8.89 * 2 * 0.58 * (thick - thin))
