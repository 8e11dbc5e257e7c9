"""Usual and worst currents of each place, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.currents import Currents
from telemetry.circuit.known import Measured
from telemetry.numerics.intervals import Interval
from telemetry.results import Margin, WorstCase

exact = Interval.exact
# Three packs; one feeds the bus through its own switch, two through a regulator.
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}, {"name": "pack 3"}],
        "supplies": [
            {"name": "switch", "kind": "switch", "fed_from": ["pack 1"]},
            {"name": "regulator", "kind": "regulator", "fed_from": ["pack 2", "pack 3"],
             "set_point_v": 6.0},
        ],
        "nodes": [{"name": "tail", "fed_from": "bus"}],
    }
)  # fmt: skip
SHARE = {"pack 1": exact(0.5), "pack 2": exact(0.3), "pack 3": exact(0.2)}
ONE = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}]})


def _margin(place: str, **amps: float | None) -> Margin:
    cases = tuple(
        WorstCase(case=c.replace("_", "-"), current_a=a, voltage_v=None, low_v=None, high_v=None)
        for c, a in amps.items()
    )
    return Margin(place=place, lowest_v=None, restart_v=3.5, observed_v=None, cases=cases)


def _currents(*found: Margin, craft: Aircraft = CRAFT, **measured: Any) -> Currents:
    return Currents(craft, Measured(**measured), found)


def test_the_total_is_the_current_of_the_root() -> None:
    made = _currents(usual_a={"total": 4.0, "tail": 1.5}, peak_a={"total": exact(9.0)})
    assert (made.usual("bus"), made.usual("tail")) == (4.0, 1.5)
    assert made.worst("bus") == (9.0, "observed")
    assert made.worst("tail") == (None, "")


@pytest.mark.parametrize(
    ("place", "usual_a"),
    [("pack 1", 2.0), ("switch", 2.0), ("pack 2", 1.2), ("regulator", 2.0), ("bus", 4.0),
     ("tail", None), ("nowhere", None)],
)  # fmt: skip
def test_what_feeds_the_root_carries_its_share(place: str, usual_a: float | None) -> None:
    made = _currents(usual_a={"total": 4.0}, share=SHARE)
    assert made.usual(place) == (None if usual_a is None else pytest.approx(usual_a))


def test_a_measured_current_goes_before_a_share() -> None:
    made = _currents(usual_a={"total": 4.0, "pack 1": 2.5, "regulator": 0.0}, share=SHARE)
    assert (made.usual("pack 1"), made.usual("regulator")) == (2.5, 0.0)


def test_without_all_shares_or_the_total_nothing_is_told() -> None:
    some = {"pack 1": exact(0.5), "pack 2": exact(0.3)}
    made = _currents(usual_a={"total": 4.0}, share=some)
    assert made.usual("switch") == pytest.approx(2.0)
    assert made.usual("regulator") is None
    assert _currents(usual_a={"tail": 1.0}, share=SHARE).usual("switch") is None


def test_what_carries_all_packs_carries_all() -> None:
    made = _currents(craft=ONE, usual_a={"total": 4.0}, peak_a={"total": exact(9.0)})
    assert made.usual("pack 1") == 4.0
    assert made.worst("pack 1") == (9.0, "observed")


def test_worst_of_the_cases() -> None:
    found = _margin("tail", pack_lost=5.0, return_level=7.0, all_stalled=None)
    made = _currents(found, peak_a={"tail": exact(6.0)})
    assert made.worst("tail") == (7.0, "return-level")
    assert _currents(found, peak_a={"tail": exact(8.0)}).worst("tail") == (8.0, "observed")
    none = _margin("tail", pack_lost=None, return_level=None, all_stalled=None)
    assert _currents(none).worst("tail") == (None, "")


def test_with_a_pack_lost_another_carries_everything() -> None:
    found = _margin("bus", pack_lost=9.0, return_level=16.0, all_stalled=24.0)
    made = _currents(found, share=SHARE)
    assert made.worst("pack 1") == (12.0, "all-stalled")
    assert made.worst("pack 2") == (9.0, "pack-lost"), "0.3 of 24 A are 7.2 A"
    assert _currents(found).worst("pack 2") == (9.0, "pack-lost"), "no share is known"
    assert made.worst("tail") == (None, "")


def test_a_peak_of_its_own_goes_before_its_share_of_the_total() -> None:
    peaks = {"total": exact(20.0), "pack 1": exact(7.0)}
    assert _currents(peak_a=peaks, share=SHARE).worst("pack 1") == (7.0, "observed")


def test_packs_that_join_nowhere_carry_what_they_carry() -> None:
    apart = Aircraft.model_validate({"packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
    made = _currents(craft=apart, usual_a={"total": 4.0, "pack 1": 1.0}, share=SHARE)
    assert (made.usual("pack 1"), made.usual("pack 2")) == (1.0, None)
