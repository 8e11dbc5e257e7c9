"""The named numbers of a power path, and its voltages, each worked out by hand.

The cases as a whole are in test_margins.py; here is what stands between.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import DROPOUT, SLOW, YIELDS, Input, Known, Measured
from telemetry.circuit.worst_cases import Circuit, Missing
from telemetry.numerics.intervals import Interval
from telemetry.results import Resistance

exact = Interval.exact


def of(kind: str, place: str, mohm: float | None, pm: float = 0.0, **more: Any) -> Resistance:
    given = {"low_mohm": None, "high_mohm": None, **more}
    if mohm is not None and pm:
        given |= {"low_mohm": mohm - pm, "high_mohm": mohm + pm}
    return Resistance(kind=kind, place=place, mohm=mohm, updates=9, **given)


def craft(**more: Any) -> Aircraft:
    return Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
            "nodes": [{"name": "wing", "fed_from": "bus"}],
            **more,
        }
    )


LEAD = {"mm2": 1.0, "length_m": 0.58, "stranded": False}  # 20 mOhm of copper


def numbers(
    aircraft: Aircraft, resistances: tuple[Resistance, ...] = (), state: Measured | None = None
) -> dict[Input, Interval]:
    return Known(aircraft, resistances, state or Measured()).inputs


def test_every_measured_number_has_its_name() -> None:
    state = Measured(
        landing_v={"bus": exact(7.5)},
        landing_a={"total": exact(4.0)},
        share={"pack 1": exact(0.6)},
        peak_a={"wing": exact(9.0)},
        return_a={"total": exact(20.0)},
    )
    x = numbers(craft(), (), state)
    assert {k: v.value for k, v in x.items()} == {
        Input("volts", "bus"): 7.5,
        Input("amps", "total"): 4.0,
        Input("share", "pack 1"): 0.6,
        Input("peak", "wing"): 9.0,
        Input("return", "total"): 20.0,
        SLOW: 0.25,
        DROPOUT: 0.25,
        YIELDS: 0.5,
    }
    assert (x[YIELDS].low, x[YIELDS].high) == (0.0, 1.0)
    assert (x[SLOW].low, x[SLOW].high) == (0.0, 0.5)
    assert (x[DROPOUT].low, x[DROPOUT].high) == (0.0, 0.5)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ((of("source", "bus", 40, low_mohm=38, high_mohm=45),), (0.040, 0.038, 0.045)),
        ((of("source", "bus", 40),), (0.040, 0.040, 0.040)),
        # An interval beside its value is widened to hold it.
        ((of("source", "bus", 40, low_mohm=41, high_mohm=45),), (0.040, 0.040, 0.045)),
        ((of("source", "bus", 40, low_mohm=38, high_mohm=39),), (0.040, 0.038, 0.040)),
        ((of("source", "bus", None), of("source", "bus", 30)), (0.030, 0.030, 0.030)),
        ((of("source", "bus", 0.0),), (0.0, 0.0, 0.0)),
        ((of("branch", "bus", 40),), None),
        ((of("source", "wing", 40),), None),
    ],
)
def test_a_resistance_in_ohm_with_its_interval(given, expected) -> None:
    found = numbers(craft(), given).get(Input("ohm", "bus"))
    if expected is None:
        assert found is None
    else:
        assert (found.value, found.low, found.high) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("packs", "given", "share", "ohm"),
    [
        (2, ("source", 30), 0.6, 0.030),
        (2, ("apparent", 30), 0.6, 0.050),  # of the whole current it carries three fifths
        (2, ("apparent", 30), None, 0.080),  # nothing tells its share: as the profile says
        (1, ("apparent", 30), None, 0.030),
        (2, None, None, 0.080),
    ],
)
def test_the_resistance_of_a_pack(packs, given, share, ohm) -> None:
    names = [{"name": f"pack {n}", "resistance_mohm": 80.0} for n in range(1, packs + 1)]
    state = Measured(share={} if share is None else {"pack 1": exact(share)})
    resistances = () if given is None else (of(given[0], "pack 1", given[1]),)
    known = Known(craft(packs=names), resistances, state)
    own = known.inputs[Input("ohm", "pack 1")]
    assert own.value == pytest.approx(ohm)
    told = "resistance of pack 1 from the profile" in known.notes_on("bus")
    assert told is (ohm == 0.080)
    if told:
        assert (own.low, own.high) == pytest.approx((0.060, 0.100))  # a quarter to each side


@pytest.mark.parametrize(
    ("given", "ohm", "note"),
    [
        ((of("branch", "wing", 33, parent="bus"),), 0.033, None),
        ((of("branch", "wing", 33, parent="pack 1"),), 0.020, "lead of wing from the wire table"),
        ((), 0.020, "lead of wing from the wire table"),
    ],
)
def test_the_lead_of_a_node(given, ohm, note) -> None:
    nodes = [{"name": "wing", "fed_from": "bus", "lead": LEAD}]
    known = Known(craft(nodes=nodes), given, Measured())
    assert known.inputs[Input("ohm", "wing")].value == pytest.approx(ohm)
    assert known.notes_on("wing") == ([] if note is None else [note])
    assert known.notes_on("bus") == []
    assert Input("ohm", "wing") not in numbers(craft(), ())


def test_a_node_that_is_the_bus_has_the_resistance_of_the_whole() -> None:
    nodes = [{"name": "bus", "lead": LEAD}, {"name": "wing", "fed_from": "bus"}]
    own = of("branch", "bus", 33)
    assert (
        numbers(craft(nodes=nodes), (own, of("source", "bus", 12)))[Input("ohm", "bus")].value
        == 0.012
    )
    known = Known(craft(nodes=nodes), (own,), Measured())
    assert Input("ohm", "bus") not in known.inputs
    assert known.notes_on("bus") == []


@pytest.mark.parametrize(
    ("amps", "notes"),
    [({}, ["lead of wing judged by the total current"]), ({"wing": exact(1.0)}, [])],
)
def test_an_apparent_lead_is_judged_by_the_whole_where_its_own_current_is_missing(
    amps, notes
) -> None:
    known = Known(craft(), (of("apparent", "wing", 9),), Measured(landing_a=amps))
    assert known.inputs[Input("apparent", "wing")].value == pytest.approx(0.009)
    assert known.notes_on("wing") == notes


def test_the_only_pack_carries_the_whole() -> None:
    one, two = [{"name": "pack 1"}], [{"name": "pack 1"}, {"name": "pack 2"}]
    whole = Measured(landing_a={"total": exact(4.0)})
    assert numbers(craft(packs=one), (), whole)[Input("amps", "pack 1")].value == 4.0
    assert Input("amps", "pack 1") not in numbers(craft(packs=two), (), whole)
    own = replace(whole, landing_a={"total": exact(4.0), "pack 1": exact(3.9)})
    assert numbers(craft(packs=one), (), own)[Input("amps", "pack 1")].value == 3.9
    assert Input("amps", "pack 1") not in numbers(craft(packs=one))


@pytest.mark.parametrize(
    ("drops", "expected"),
    [
        ([0.3, 0.4], (0.4, 0.4, 0.4)),
        ([0.3, None], (0.25, 0.0, 0.5)),
        ([None, None], (0.25, 0.0, 0.5)),
    ],
)
def test_the_drop_out_of_the_regulators(drops, expected) -> None:
    supplies = [
        {"name": f"r{n}", "kind": "regulator", "fed_from": [f"pack {n}"], "set_point_v": 6.0,
         "dropout_v": d}
        for n, d in enumerate(drops, 1)
    ]  # fmt: skip
    supplies.append({"name": "d", "kind": "diode", "fed_from": ["pack 1"], "dropout_v": 0.7})
    found = numbers(craft(supplies=supplies))[DROPOUT]
    assert (found.value, found.low, found.high) == expected


@pytest.mark.parametrize(
    ("low_v", "peak_a", "ohm"),
    [
        (5.9, 14.0, 0.010),  # 0.1 V over 10 A
        (6.1, 14.0, 0.0),  # never below nothing
        (5.9, 4.0, None),  # no more current than at landing
        (None, 14.0, None),
        (5.9, None, None),
    ],
)
def test_the_droop_of_a_regulator_from_its_lowest_reading(low_v, peak_a, ohm) -> None:
    state = Measured(
        lowest_v={} if low_v is None else {"bus": low_v},
        landing_v={"bus": exact(6.0)},
        landing_a={"total": exact(4.0)},
        peak_a={} if peak_a is None else {"total": exact(peak_a)},
    )
    found = numbers(craft(regulated_v=6.0), (), state).get(Input("ohm", "bus"))
    if ohm is None:
        assert found is None
    else:
        assert (found.value, found.low, found.high) == pytest.approx((ohm, 0.0, 1.5 * ohm))
    assert Input("ohm", "bus") not in numbers(craft(), (), state), "no regulator, no droop"
    measured = of("source", "bus", 7)
    assert numbers(craft(regulated_v=6.0), (measured,), state)[Input("ohm", "bus")].value == 0.007


@pytest.mark.parametrize(
    ("given", "share", "leads", "ohm", "note"),
    [
        # In parts: 30 mOhm inside and 12 from pack to bus.
        ((of("source", "pack 1", 30), of("branch", "bus", 12, parent="pack 1")), 0.5, True,
         0.042, None),
        # By share: 20 mOhm of the whole, of which it carries two fifths.
        ((of("source", "pack 1", 30), of("source", "bus", 20)), 0.4, True, 0.050, None),
        # Expected: 30 mOhm inside and 20 of the lead.
        ((of("source", "pack 1", 30), of("source", "bus", 20)), None, True, 0.050,
         "lead of pack 1 from the wire table"),
        ((of("source", "pack 1", 30), of("source", "bus", 20)), 0.0, True, 0.050,
         "lead of pack 1 from the wire table"),
        ((of("source", "pack 1", 30),), 0.4, False, None, None),
        ((of("branch", "bus", 12, parent="pack 1"),), None, True, None, None),
    ],
)  # fmt: skip
def test_the_way_from_inside_a_pack_to_the_bus(given, share, leads, ohm, note) -> None:
    packs = [{"name": "pack 1", **({"lead": LEAD} if leads else {})}, {"name": "pack 2"}]
    state = Measured(share={} if share is None else {"pack 1": exact(share)})
    known = Known(craft(packs=packs), given, state)
    way = known.inputs.get(Input("way", "pack 1"))
    assert (None if way is None else way.value) == (None if ohm is None else pytest.approx(ohm))
    assert known.notes_on("bus") == ([] if note is None else [note])
    assert Input("way", "pack 2") not in known.inputs


def test_a_share_that_may_be_nothing_tells_no_way() -> None:
    state = Measured(share={"pack 1": Interval(0.4, 0.0, 0.5)})
    assert Input("way", "pack 1") not in numbers(craft(), (of("source", "bus", 20),), state)


@pytest.mark.parametrize(
    ("packs_v", "bus_v", "told"),
    [
        ({"pack 1": 0.8, "pack 2": 0.9}, 0.0, False),  # the lowest lies 0.8 V above: a diode may
        ({"pack 1": 0.81, "pack 2": 0.9}, 0.0, True),
        ({"pack 1": 9.0, "pack 2": 0.5}, 0.0, False),
        ({"pack 1": 9.0}, 0.0, True),
        ({}, 0.0, False),
        ({"pack 1": 9.0}, None, False),
    ],
)
def test_packs_well_above_the_bus_are_said(packs_v, bus_v, told) -> None:
    volts = {p: exact(v) for p, v in packs_v.items()}
    if bus_v is not None:
        volts["bus"] = exact(bus_v)
    words = "the packs lie well above the bus: a regulator not in the profile?"
    assert (words in Known(craft(), (), Measured(landing_v=volts)).notes_on("wing")) is told
    held = Known(craft(regulated_v=6.0), (), Measured(landing_v=volts))
    assert held.notes_on("wing") == ["the regulator's current limit is not in the profile"]


def test_notes_without_a_root_are_those_of_the_packs() -> None:
    packs = [{"name": "pack 1", "resistance_mohm": 50}, {"name": "pack 2"}]
    loose = Aircraft.model_validate({"packs": packs})
    known = Known(loose, (), Measured())
    assert known.root is None
    assert known.notes_on("pack 2") == ["resistance of pack 1 from the profile"]


@pytest.mark.parametrize(
    ("limits", "packs", "total"),
    [
        ([10.0, 4.0], ["pack 1", "pack 2"], 14.0),
        ([10.0, 4.0], ["pack 2"], 4.0),
        ([10.0, None], ["pack 1"], None),
        ([0.5, 0.25], ["pack 2"], 0.25),
        ([10.0, 4.0], [], None),
    ],
)
def test_the_current_limit_of_what_some_packs_feed(limits, packs, total) -> None:
    supplies = [
        {"name": f"s{n}", "kind": "switch", "fed_from": [f"pack {n}"], "limit_a": a}
        for n, a in enumerate(limits, 1)
    ]
    assert Known(craft(supplies=supplies), (), Measured()).limit_a(packs) == total
    assert Known(craft(), (), Measured()).limit_a(packs) is None


# Voltages. Landing: bus 7.6 V, 4 A in all, pack 1 gave 3 A and pack 2 1 A, at 40 mOhm each way.

STATE = Measured(
    yields=Interval(0.0, 0.0, 1.0),
    landing_v={
        "bus": exact(7.6), "pack 1": exact(7.7), "pack 2": exact(7.65), "wing": exact(7.5),
    },
    landing_a={"total": exact(4.0), "pack 1": exact(3.0), "pack 2": exact(1.0)},
    share={"pack 1": exact(0.5), "pack 2": exact(0.5)},
    peak_a={"total": exact(20.0)},
)  # fmt: skip
WHOLE = of("source", "bus", 20)


def values(circuit: Circuit) -> dict[Input, float]:
    return {name: x.value for name, x in circuit.inputs.items()}


def alone(pack: str, state: Measured = STATE) -> float:
    circuit = Circuit(craft(), (WHOLE,), state)
    return circuit.supply_v(values(circuit), 20.0, [pack])


def test_one_pack_alone_relaxes_by_what_it_carries_more() -> None:
    # Pack 2 gave 1 A and now carries 4 A in the mean: a quarter of 40 mOhm x 3 A. Pack 1: 1 A.
    assert alone("pack 2") == pytest.approx(7.6 - 0.25 * 0.040 * 3 - 0.040 * 19)
    assert alone("pack 1") == pytest.approx(7.6 - 0.25 * 0.040 * 1 - 0.040 * 17)
    # One that gave more than the whole does now relaxes by nothing, and gains nothing.
    much = replace(STATE, landing_a={**STATE.landing_a, "pack 1": exact(5.0)})
    assert alone("pack 1", much) == pytest.approx(7.6 - 0.040 * 15)
    # Without the whole at landing nothing is known of it.
    rest = {p: x for p, x in STATE.landing_a.items() if p != "total"}
    assert alone("pack 2", replace(STATE, landing_a=rest)) == pytest.approx(7.6 - 0.040 * 19)


def test_all_packs_together_relax_by_nothing() -> None:
    circuit = Circuit(craft(), (WHOLE,), STATE)
    both = circuit.supply_v(values(circuit), 20.0, ["pack 1", "pack 2"])
    assert both == pytest.approx(7.6 - 0.020 * 16)
    with pytest.raises(Missing, match="no pack is left"):
        circuit.supply_v(values(circuit), 20.0, [])


def test_two_of_three_packs_share_the_mean() -> None:
    three = craft(packs=[{"name": f"pack {n}"} for n in (1, 2, 3)])
    state = replace(STATE, share={f"pack {n}": exact(0.5) for n in (1, 2)})
    circuit = Circuit(three, (WHOLE,), state)
    # 4 A over two packs: pack 2 carries 1 A more than before, pack 1 less. Both at 40 mOhm.
    lines = [7.6 + 0.040 * 3, 7.6 + 0.040 * 1 - 0.25 * 0.040 * 1]
    expected = (sum(lines) / 0.040 - 20.0) / (2 / 0.040)
    assert circuit.supply_v(values(circuit), 20.0, ["pack 1", "pack 2"]) == pytest.approx(expected)


def test_a_standby_pack_starts_from_its_own_voltage_at_rest() -> None:
    packs = [{"name": "pack 1"}, {"name": "pack 2", "role": "standby"}]
    given = (WHOLE, of("source", "pack 2", 30), of("branch", "bus", 10, parent="pack 2"))
    rest = {p: x for p, x in STATE.landing_a.items() if p != "pack 2"}
    circuit = Circuit(craft(packs=packs), given, replace(STATE, landing_a=rest))
    x = values(circuit)
    assert circuit.supply_v(x, 20.0, ["pack 2"]) == pytest.approx(
        7.65 - 0.25 * 0.040 * 4 - 0.040 * 20
    )
    # The pack itself: 30 mOhm from no current.
    line = circuit.pack_line(x, "pack 2", ["pack 2"])
    assert (line.volts, line.amps, line.ohm) == pytest.approx((7.65 - 0.25 * 0.030 * 4, 0.0, 0.03))
    with pytest.raises(Missing, match="the current of pack 1 at landing is not known"):
        circuit.pack_line(
            {Input("volts", "pack 1"): 7.7, Input("ohm", "pack 1"): 0.03}, "pack 1", ["pack 1"]
        )


def test_the_bus_is_never_above_what_the_packs_give() -> None:
    given = (WHOLE, of("source", "pack 1", 100), of("source", "pack 2", 100))
    circuit = Circuit(craft(), given, STATE)
    # Packs: 7.7 V at 3 A and 7.65 V at 1 A, of 100 mOhm: 8.0 and 7.75 V open; at 20 A 6.875 V.
    assert circuit.supply_v(values(circuit), 20.0, ["pack 1", "pack 2"]) == pytest.approx(6.875)


TWO_REGULATORS = [
    {"name": f"r{n}", "kind": "regulator", "fed_from": [f"pack {n}"], "set_point_v": 6.0}
    for n in (1, 2)
]


@pytest.mark.parametrize(
    ("more", "shares", "gone", "expected"),
    [
        # 20 mOhm together, 40 when half of it is left; the open voltage is 6.08 V.
        ({"supplies": TWO_REGULATORS}, (0.5, 0.5), (), (6.08, 0.0, 0.040)),
        # Lost before landing: the line through the state at landing, where it was the same.
        ({"supplies": TWO_REGULATORS}, (0.5, 0.5), ("pack 2",), (6.0, 4.0, 0.040)),
        ({"supplies": TWO_REGULATORS}, (1.5, 0.5), (), (6.08, 0.0, 0.020)),  # no more than all
        ({"supplies": TWO_REGULATORS}, (0.0, 1.0), (), (6.0, 4.0, 0.020)),
        ({"supplies": TWO_REGULATORS}, (), (), (6.0, 4.0, 0.020)),
        # One regulator for all packs holds as before.
        ({"supplies": [{**TWO_REGULATORS[0], "fed_from": ["pack 1", "pack 2"]}]},
         (0.5, 0.5), (), (6.0, 4.0, 0.020)),
    ],
)  # fmt: skip
def test_regulators_that_are_left_hold_with_their_own_resistance(
    more, shares, gone, expected
) -> None:
    state = replace(
        STATE,
        landing_v={"bus": exact(6.0)},
        share={f"pack {n}": exact(s) for n, s in enumerate(shares, 1)},
        gone=frozenset(gone),
    )
    circuit = Circuit(craft(**more), (WHOLE,), state)
    line = circuit.regulating_line(values(circuit), ["pack 1"])
    assert tuple(line) == pytest.approx(expected)


@pytest.mark.parametrize(("amps", "part"), [(10.0, 1.0), (10.1, 10 / 10.1), (20.0, 0.5)])
def test_beyond_the_limit_a_part_of_the_voltage_is_left(amps, part) -> None:
    supplies = [{"name": "s1", "kind": "switch", "fed_from": ["pack 1", "pack 2"], "limit_a": 10.0}]
    state = replace(STATE, peak_a={"total": exact(amps)})
    circuit = Circuit(craft(supplies=supplies), (WHOLE,), state)
    found = circuit.root_v(values(circuit), "peak", ["pack 1", "pack 2"])
    assert found == pytest.approx((7.6 - 0.020 * (amps - 4)) * part)


def test_a_stalled_load_on_a_feeble_source() -> None:
    """8 V open behind 5 Ohm, and 5 Ohm of servo: 4 V, far below the open voltage."""
    servos = [{"node": "bus", "output": 1, "drives": "rudder", "stall_a": 1.2, "stall_v": 6.0}]
    state = Measured(landing_v={"bus": exact(3.0)}, landing_a={"total": exact(1.0)})
    circuit = Circuit(craft(servos=servos, nodes=[]), (of("source", "bus", 5000),), state)
    case = circuit.case("all-stalled")
    assert case.volts(values(circuit))("bus") == pytest.approx(4.0)
    assert case.amps(values(circuit), "bus") == pytest.approx(0.8)


def test_all_packs_at_the_peak() -> None:
    circuit = Circuit(craft(), (WHOLE, of("branch", "wing", 30, parent="bus")), STATE)
    case = circuit.case("all-packs")
    x = {**values(circuit), Input("amps", "wing"): 2.0, Input("peak", "wing"): 9.0}
    # The bus falls by 20 mOhm x 16 A, and the wing's lead takes 30 mOhm x 7 A more.
    assert case.volts(x)("bus") == pytest.approx(7.28)
    assert case.volts(x)("wing") == pytest.approx(7.5 - 0.32 - 0.21)
    assert (case.amps(x, "bus"), case.amps(x, "wing")) == (20.0, 9.0)
    # By the whole, where only that is known of it.
    del x[Input("amps", "wing")]
    x[Input("apparent", "wing")] = 0.005
    assert case.volts(x)("wing") == pytest.approx(7.5 - 0.32 - 0.005 * 16)
    with pytest.raises(Missing, match="what feeds canopy is not known"):
        case.volts({**x, Input("volts", "canopy"): 7.0})("canopy")


def test_without_a_bus_no_case_is_worked_out() -> None:
    loose = Aircraft.model_validate({"packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
    with pytest.raises(Missing, match="names no bus"):
        Circuit(loose, (), STATE).case("pack-lost")
