"""Worst cases carried down the path, against the circuit solved exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import Measured
from telemetry.circuit.margins import CASES, margins
from telemetry.numerics.intervals import Interval
from telemetry.results import Margin, Resistance, WorstCase

exact = Interval.exact


def _resistance(kind: str, place: str, mohm: float, parent: str | None = None, pm: float = 0.0):
    return Resistance(
        kind=kind, place=place, parent=parent, mohm=mohm, low_mohm=mohm - pm, high_mohm=mohm + pm,
        updates=500,
    )  # fmt: skip


def _case(found: tuple[Margin, ...], place: str, case: str) -> WorstCase:
    margin = next(m for m in found if m.place == place)
    return next(c for c in margin.cases if c.case == case)


# An invented machine: two packs of 8.0 V behind ideal diodes, 40 and 60 mOhm to the bus; leads of
# 30 and 50 mOhm to wing and tail. At landing the wing draws 2 A, the tail 1 A, the bus itself 1 A.
TERN = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [{"name": "wing", "fed_from": "bus"}, {"name": "tail", "fed_from": "bus"}],
        "servos": [
            {"node": "wing", "output": 1, "drives": "aileron", "stall_a": 5, "stall_v": 7.5},
            {"node": "wing", "output": 2, "drives": "flap", "stall_a": 5, "stall_v": 7.5},
            {"node": "tail", "output": 1, "drives": "rudder", "stall_a": 6, "stall_v": 7.5},
        ],
        "limits": {"restart_v": 4.0},
    }
)
E1, R1, E2, R2, WING, TAIL = 8.0, 0.040, 8.0, 0.060, 0.030, 0.050
TOTAL = 4.0
BUS = (E1 / R1 + E2 / R2 - TOTAL) / (1 / R1 + 1 / R2)
STATE = Measured(
    yields=Interval(0.0, 0.0, 1.0),
    lowest_v={"bus": 7.1, "wing": 6.6, "tail": 6.9, "pack 1": 7.3},
    landing_v={"bus": exact(BUS), "wing": exact(BUS - 2 * WING), "tail": exact(BUS - TAIL)},
    landing_a={
        "total": exact(TOTAL),
        "wing": exact(2.0),
        "tail": exact(1.0),
        "pack 1": exact((E1 - BUS) / R1),
        "pack 2": exact((E2 - BUS) / R2),
    },
    peak_a={"total": exact(20.0), "wing": exact(12.0), "tail": exact(6.0)},
    return_a={"total": exact(26.0), "wing": exact(15.0)},
    share={"pack 1": exact(0.6), "pack 2": exact(0.4)},
)
PARALLEL = 1 / (1 / R1 + 1 / R2)
MEASURED = (
    _resistance("source", "bus", 1000 * PARALLEL),
    _resistance("branch", "wing", 30, "bus"),
    _resistance("branch", "tail", 50, "bus"),
)

# Pack 2 alone carries 4 A in the mean instead of 1.6 A, and relaxes by a quarter of its way's
# resistance times that; the bus is then left with 8.0 V - 60 mOhm * 20 A less this.
RELAXED = 0.25 * R2 * (TOTAL - 0.4 * TOTAL)
ALONE = 8.0 - R2 * 20 - RELAXED


def test_observed_margin_is_the_lowest_voltage_over_the_restart_level() -> None:
    found = {m.place: m for m in margins(TERN, MEASURED, STATE)}
    assert list(found) == ["bus", "wing", "tail"], "packs hold no electronics"
    assert found["wing"].observed_v == pytest.approx(2.6)
    assert found["wing"].restart_v == 4.0
    assert [c.case for c in found["wing"].cases] == list(CASES)


def test_a_lost_pack_leaves_the_peak_to_the_weaker_one() -> None:
    found = margins(TERN, MEASURED, STATE)
    # The better pack is lost; the wing loses 30 mOhm * 12 A more, the tail 50 mOhm * 6 A.
    assert _case(found, "bus", "pack-lost").voltage_v == pytest.approx(ALONE)
    assert _case(found, "wing", "pack-lost").voltage_v == pytest.approx(ALONE - 0.030 * 12)
    assert _case(found, "tail", "pack-lost").voltage_v == pytest.approx(ALONE - 0.050 * 6)
    assert _case(found, "wing", "pack-lost").current_a == 12.0
    assert _case(found, "bus", "pack-lost").current_a == 20.0


def test_servos_take_less_at_a_lower_voltage_at_the_best() -> None:
    """As resistances that took 20 A of both packs they leave one of 60 mOhm with more."""
    case = _case(margins(TERN, MEASURED, STATE), "bus", "pack-lost")
    both_v = BUS - PARALLEL * (20 - TOTAL)
    as_resistances = (8.0 - RELAXED) / (1 + R2 * 20 / both_v)
    # The pack may relax by nothing as well; the cautious end knows of neither.
    assert case.high_v == pytest.approx(ALONE + np.hypot(as_resistances - ALONE, RELAXED))
    assert case.low_v == pytest.approx(ALONE - RELAXED)


def test_a_load_yields_midway_unless_more_is_known() -> None:
    alone = _case(margins(TERN, MEASURED, STATE), "bus", "pack-lost")
    midway = replace(STATE, yields=Measured().yields)
    case = _case(margins(TERN, MEASURED, midway), "bus", "pack-lost")
    assert (Measured().yields.low, Measured().yields.high) == (0.0, 1.0)
    assert alone.voltage_v < case.voltage_v < alone.high_v


def test_a_place_that_stayed_higher_at_the_peak_is_put_higher_in_the_case() -> None:
    """Its packs were fuller then than at landing: 0.2 V less of a fall with both is so with one."""
    both_v = BUS - PARALLEL * (20 - TOTAL)
    state = replace(STATE, lowest_v={"bus": both_v + 0.2})
    case = _case(margins(TERN, MEASURED, state), "bus", "pack-lost")
    assert case.voltage_v == pytest.approx(ALONE + 0.2)
    # A reading below it has another cause: the case is as it was, and said to be possible.
    low = replace(STATE, lowest_v={"bus": both_v - 0.2})
    assert _case(margins(TERN, MEASURED, low), "bus", "pack-lost").voltage_v == pytest.approx(ALONE)


def test_a_way_measured_in_parts_gives_the_same_as_by_share() -> None:
    parts = (
        *MEASURED,
        _resistance("source", "pack 1", 25),
        _resistance("source", "pack 2", 45),
        _resistance("branch", "bus", 15, "pack 1"),
        _resistance("branch", "bus", 15, "pack 2"),
    )
    found = margins(TERN, parts, replace(STATE, share={}))
    assert _case(found, "bus", "pack-lost").voltage_v == pytest.approx(ALONE)


def test_the_return_level_falls_on_all_packs_together() -> None:
    found = margins(TERN, MEASURED, STATE)
    bus_v = 8.0 - PARALLEL * 26
    assert _case(found, "bus", "return-level").voltage_v == pytest.approx(bus_v)
    assert _case(found, "wing", "return-level").voltage_v == pytest.approx(bus_v - 0.030 * 15)
    tail = _case(found, "tail", "return-level")
    assert tail.voltage_v is None
    assert tail.note == "the return level of the current of tail is not known"


def test_a_refused_return_level_says_why() -> None:
    state = replace(STATE, return_a={}, no_return={"total": "12 peaks, and it needs 30"})
    case = _case(margins(TERN, MEASURED, state), "bus", "return-level")
    assert case.note.endswith("the whole is not known: 12 peaks, and it needs 30")


def test_all_stalled_is_the_network_of_resistances() -> None:
    """Nodal analysis of the whole circuit: bus, wing (2 x 1.5 Ohm), tail (1.25 Ohm)."""
    g = np.array(
        [
            [1 / PARALLEL + 1 / WING + 1 / TAIL, -1 / WING, -1 / TAIL],
            [-1 / WING, 1 / WING + 1 / 0.75, 0],
            [-1 / TAIL, 0, 1 / TAIL + 1 / 1.25],
        ]
    )
    volts = np.linalg.solve(g, [8.0 / PARALLEL, 0, 0])
    found = margins(TERN, MEASURED, STATE)
    for place, expected in zip(("bus", "wing", "tail"), volts, strict=True):
        assert _case(found, place, "all-stalled").voltage_v == pytest.approx(expected)
    assert _case(found, "wing", "all-stalled").current_a == pytest.approx(volts[1] / 0.75)
    assert _case(found, "bus", "all-stalled").current_a == pytest.approx(
        (8.0 - volts[0]) / PARALLEL
    )


def test_a_lower_reading_that_no_load_explains_stays_possible() -> None:
    state = replace(STATE, lowest_v={"wing": 5.2})
    case = _case(margins(TERN, MEASURED, state), "wing", "pack-lost")
    assert case.voltage_v == pytest.approx(ALONE - 0.030 * 12)
    assert case.low_v == 5.2
    assert case.note == "a lower reading was seen, which the load does not explain"


def test_sensor_offsets_stay_where_they_were_read() -> None:
    """A node that reads 0.1 V low does so in every case: its margin is in its own reading."""
    low = {**STATE.landing_v, "wing": exact(BUS - 2 * WING - 0.1)}
    found = margins(TERN, MEASURED, replace(STATE, landing_v=low))
    assert _case(found, "wing", "pack-lost").voltage_v == pytest.approx(ALONE - 0.36 - 0.1)


def test_intervals_follow_from_those_of_the_resistances_and_currents() -> None:
    wide = (
        _resistance("source", "bus", 1000 * PARALLEL, pm=2.0),
        _resistance("branch", "wing", 30, "bus", pm=6.0),
    )
    state = replace(
        STATE, return_a={"total": Interval(26, 22, 36), "wing": exact(15.0)}, lowest_v={}
    )
    case = _case(margins(TERN, wide, state), "wing", "return-level")
    # By hand: R_bus +-2 mOhm on 22 A more than at landing, the lead +-6 mOhm on 13 A more, and
    # the current 10 A up or 4 A down on R_bus.
    parts_low = [0.002 * 22, 0.006 * 13, PARALLEL * 10]
    parts_high = [0.002 * 22, 0.006 * 13, PARALLEL * 4]
    assert case.voltage_v - case.low_v == pytest.approx(np.sqrt(np.square(parts_low).sum()))
    assert case.high_v - case.voltage_v == pytest.approx(np.sqrt(np.square(parts_high).sum()))


REGULATED = Aircraft.model_validate(
    {
        **TERN.model_dump(exclude={"supplies", "regulator", "regulated_v"}),
        "supplies": [
            {"name": f"regulator {n}", "kind": "regulator", "fed_from": [f"pack {n}"],
             "set_point_v": 6.0, "dropout_v": 0.3, "limit_a": 15}
            for n in (1, 2)
        ],
    }
)  # fmt: skip
# Two regulators of 6.0 V with 8 mOhm each; packs of 7.6 and 7.4 V, 40 and 50 mOhm, 2 A each.
REG_STATE = replace(
    STATE,
    lowest_v={},
    landing_v={
        "bus": exact(6.0 - 0.004 * 4),
        "pack 1": exact(7.6 - 0.040 * 2),
        "pack 2": exact(7.4 - 0.050 * 2),
    },
    landing_a={"total": exact(4.0), "pack 1": exact(2.0), "pack 2": exact(2.0)},
    share={"pack 1": exact(0.5), "pack 2": exact(0.5)},
    peak_a={"total": exact(12.0)},
)
REG_MEASURED = (
    _resistance("source", "bus", 4.0),
    _resistance("source", "pack 1", 40),
    _resistance("source", "pack 2", 50),
)


def test_a_regulated_bus_holds_while_the_pack_left_is_high_enough() -> None:
    found = margins(REGULATED, REG_MEASURED, REG_STATE)
    # Pack 2 alone at 12 A: 7.4 - 0.6 = 6.8 V, and the regulator needs 6.3: it holds, at 8 mOhm.
    assert _case(found, "bus", "pack-lost").voltage_v == pytest.approx(6.0 - 0.008 * 12)


def test_a_regulated_bus_follows_the_pack_in_drop_out() -> None:
    weak = (*REG_MEASURED[:2], _resistance("source", "pack 2", 150))
    state = {**REG_STATE.landing_v, "pack 2": exact(7.4 - 0.150 * 2)}
    found = margins(REGULATED, weak, replace(REG_STATE, landing_v=state))
    relaxed = 0.25 * 0.150 * (4 - 2)
    assert _case(found, "bus", "pack-lost").voltage_v == pytest.approx(
        7.4 - 0.150 * 12 - relaxed - 0.3
    )


def test_beyond_its_limit_a_regulator_leaves_the_load_that_part_of_its_voltage() -> None:
    found = margins(REGULATED, REG_MEASURED, replace(REG_STATE, peak_a={"total": exact(20.0)}))
    alone = _case(found, "bus", "pack-lost").voltage_v
    assert alone == pytest.approx((6.0 - 0.008 * 20) * 15 / 20)


def test_all_stalled_is_held_to_the_regulators_limit() -> None:
    leads = (*REG_MEASURED, *MEASURED[1:])
    found = margins(REGULATED, leads, REG_STATE)
    # Load seen by the bus: (30 mOhm + 0.75 Ohm) beside (50 mOhm + 1.25 Ohm) = 0.4875 Ohm; 6 V
    # would drive 12.3 A, below twice 15 A; on one regulator of 10 A it is held to 10 A.
    load = 1 / (1 / 0.78 + 1 / 1.30)
    assert _case(found, "bus", "all-stalled").current_a == pytest.approx(
        6.0 / (load + 0.004), rel=1e-6
    )
    tight = REGULATED.model_dump(mode="json")
    for supply in tight["supplies"]:
        supply["limit_a"] = 5
    found = margins(Aircraft.model_validate(tight), leads, REG_STATE)
    assert _case(found, "bus", "all-stalled").voltage_v == pytest.approx(10 * load)


def test_a_bus_is_never_above_its_packs_whatever_the_profile_says() -> None:
    """Regulated, but nobody said so: the bus line alone would leave 5.9 V, the pack has 5.6."""
    silent = REGULATED.model_dump(mode="json", exclude={"supplies", "regulator", "regulated_v"})
    weak = (*REG_MEASURED[:2], _resistance("source", "pack 2", 150))
    state = replace(REG_STATE, landing_v={**REG_STATE.landing_v, "pack 2": exact(7.4 - 0.150 * 2)})
    case = _case(margins(Aircraft.model_validate(silent), weak, state), "bus", "pack-lost")
    assert case.voltage_v == pytest.approx(7.4 - 0.150 * 12 - 0.075)
    assert case.note == "the packs lie well above the bus: a regulator not in the profile?"


def test_a_held_bus_without_a_measured_droop_takes_it_from_its_lowest_reading() -> None:
    """The resistance of the bus was refused because a regulator holds it; profile or not."""
    refused = Resistance(
        kind="source", place="bus", mohm=None, low_mohm=None, high_mohm=None, updates=0,
        refused="a regulator holds this voltage: its fall is the regulator's own", regulated=True,
    )  # fmt: skip
    silent = Aircraft.model_validate(
        REGULATED.model_dump(mode="json", exclude={"supplies", "regulator", "regulated_v"})
    )
    state = replace(REG_STATE, lowest_v={"bus": 5.9})
    found = _case(margins(silent, (refused, *REG_MEASURED[1:]), state), "bus", "pack-lost")
    # 5.984 V at 4 A and 5.9 V at 12 A: 10.5 mOhm both together, 21 one alone; the open voltage
    # is then 6.026 V.
    assert found.voltage_v == pytest.approx(6.026 - 0.021 * 12)
    assert "droop of the regulator from the lowest reading" in found.note


def test_an_unknown_limit_is_said() -> None:
    free = REGULATED.model_dump(mode="json")
    for supply in free["supplies"]:
        supply["limit_a"] = None
    for craft, told in ((REGULATED, False), (Aircraft.model_validate(free), True)):
        note = _case(margins(craft, REG_MEASURED, REG_STATE), "bus", "pack-lost").note
        assert ("the regulator's current limit is not in the profile" in note) is told


def test_an_unknown_drop_out_is_an_interval_and_not_a_guess() -> None:
    plain = REGULATED.model_dump(mode="json")
    for supply in plain["supplies"]:
        supply["dropout_v"] = None
    weak = (*REG_MEASURED[:2], _resistance("source", "pack 2", 150))
    state = {**REG_STATE.landing_v, "pack 2": exact(7.4 - 0.150 * 2)}
    found = margins(Aircraft.model_validate(plain), weak, replace(REG_STATE, landing_v=state))
    case = _case(found, "bus", "pack-lost")
    # Drop-out 0 to 0.5 V about 0.25; relaxing 0 to 0.15 V about 0.075.
    assert case.voltage_v == pytest.approx(5.6 - 0.25 - 0.075)
    assert case.voltage_v - case.low_v == pytest.approx(np.hypot(0.25, 0.075))
    # The load may fall with the voltage besides.
    assert case.high_v - case.voltage_v > np.hypot(0.25, 0.075)


def test_a_standby_pack_takes_over_from_rest() -> None:
    craft = TERN.model_dump(mode="json")
    craft["packs"][1] |= {"role": "standby", "resistance_mohm": 40.0}
    craft["packs"][1]["lead"] = {"mm2": 1.0, "length_m": 0.29, "stranded": False}  # 10 mOhm
    state = replace(STATE, landing_v={**STATE.landing_v, "pack 2": exact(8.1)}, share={})
    found = margins(Aircraft.model_validate(craft), MEASURED, state)
    case = _case(found, "bus", "pack-lost")
    expected = 8.1 - 0.050 * 20 - 0.25 * 0.050 * 4
    assert case.voltage_v == pytest.approx(expected)
    assert case.note == (
        "resistance of pack 2 from the profile; lead of pack 2 from the wire table"
    )
    assert case.low_v < expected - 0.2, "a quarter of 40 mOhm at 20 A is 0.2 V"


def test_a_pack_lost_in_this_flight_is_the_case_itself() -> None:
    """Pack 1 came out before landing: pack 2 carries all, 8.0 V - 60 mOhm * 4 A at the bus."""
    state = replace(
        STATE,
        landing_v={**STATE.landing_v, "bus": exact(7.76), "pack 1": exact(0.0)},
        landing_a={**STATE.landing_a, "pack 1": exact(0.0), "pack 2": exact(4.0)},
        gone=frozenset({"pack 1"}),
    )
    case = _case(margins(TERN, MEASURED, state), "bus", "pack-lost")
    assert case.voltage_v == pytest.approx(8.0 - 0.060 * 20), "and it has relaxed already"
    assert case.note == "pack 1 gave nothing already"
    level = _case(margins(TERN, MEASURED, state), "bus", "return-level")
    assert level.voltage_v == pytest.approx(8.0 - 0.060 * 26), "nor does it share the other case"
    both = replace(state, gone=frozenset({"pack 1", "pack 2"}))
    assert "no pack is left" in _case(margins(TERN, MEASURED, both), "bus", "pack-lost").note


def test_a_single_pack_has_nothing_to_fall_back_on() -> None:
    craft = Aircraft.model_validate(
        {"packs": [{"name": "pack"}], "nodes": [{"name": "receiver", "fed_from": "pack"}]}
    )
    state = Measured(
        lowest_v={"pack": 7.4, "receiver": 7.2},
        landing_v={"pack": exact(7.8), "receiver": exact(7.7)},
        landing_a={"total": exact(2.0)},
        peak_a={"total": exact(9.0)},
        return_a={"total": exact(12.0)},
    )
    found = margins(
        craft,
        (_resistance("apparent", "pack", 50), _resistance("apparent", "receiver", 20)),
        state,
    )
    assert [m.place for m in found] == ["pack", "receiver"], "here the pack is the root"
    assert _case(found, "pack", "pack-lost").note == "there is no second pack to carry the load"
    assert _case(found, "pack", "return-level").voltage_v == pytest.approx(7.8 - 0.050 * 10)
    receiver = _case(found, "receiver", "return-level")
    assert receiver.voltage_v == pytest.approx(7.3 - 0.1 - 0.020 * 10)
    assert receiver.note == "lead of receiver judged by the total current"


def test_nodes_below_nodes_add_their_drops() -> None:
    craft = TERN.model_dump(mode="json")
    craft["nodes"].append({"name": "tip", "fed_from": "wing"})
    state = replace(
        STATE,
        landing_v={**STATE.landing_v, "tip": exact(7.7)},
        landing_a={**STATE.landing_a, "tip": exact(0.5)},
        peak_a={**STATE.peak_a, "tip": exact(4.0)},
    )
    found = margins(
        Aircraft.model_validate(craft), (*MEASURED, _resistance("branch", "tip", 80, "wing")), state
    )
    fall = (BUS - ALONE) + 0.030 * (12 - 2) + 0.080 * (4 - 0.5)
    assert _case(found, "tip", "pack-lost").voltage_v == pytest.approx(7.7 - fall)


@pytest.mark.parametrize(
    ("take_away", "case", "note"),
    [
        ({"peak_a": {}}, "pack-lost", "the highest current of the whole is not known"),
        ({"landing_v": {}}, "pack-lost", "the voltage of bus at landing is not known"),
        ({"share": {}}, "pack-lost", "the resistance from pack 1 to bus is not known"),
        ({"return_a": {}}, "return-level", "the return level of the current of the whole"),
        ({"landing_a": {}}, "return-level", "the total current at landing is not known"),
    ],
)
def test_what_is_not_known_is_said_and_not_guessed(
    take_away: dict[str, object], case: str, note: str
) -> None:
    found = _case(margins(TERN, MEASURED, replace(STATE, **take_away)), "bus", case)
    assert (found.voltage_v, found.low_v, found.high_v, found.current_a) == (None,) * 4
    assert note in found.note


def test_stall_needs_every_servo() -> None:
    some = TERN.model_dump(mode="json")
    some["servos"][2] |= {"stall_a": None, "stall_v": None}
    found = _case(margins(Aircraft.model_validate(some), MEASURED, STATE), "bus", "all-stalled")
    assert found.note == "no stall current of rudder on tail"
    few = TERN.model_dump(mode="json")
    few["nodes"][0]["servos"] = 4
    found = _case(margins(Aircraft.model_validate(few), MEASURED, STATE), "bus", "all-stalled")
    assert found.note == "only 2 of 4 servos of wing are listed"
    none = TERN.model_copy(update={"servos": ()})
    found = _case(margins(none, MEASURED, STATE), "bus", "all-stalled")
    assert found.note == "the profile lists no servos"


def test_a_voltage_never_falls_below_nothing() -> None:
    state = replace(STATE, return_a={"total": Interval(100, 50, 1000), "wing": exact(15.0)})
    case = _case(margins(TERN, MEASURED, state), "bus", "return-level")
    assert case.low_v == 0.0


def test_a_refused_resistance_counts_as_not_known() -> None:
    refused = Resistance(
        kind="source", place="bus", mohm=None, low_mohm=None, high_mohm=None, updates=3,
        refused="the current hardly moved",
    )  # fmt: skip
    found = margins(TERN, (refused, *MEASURED[1:]), STATE)
    assert _case(found, "bus", "return-level").voltage_v is None
    assert [m.observed_v for m in found] == pytest.approx([3.1, 2.6, 2.9])
