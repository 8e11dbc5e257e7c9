"""The aircraft: what feeds what, as it was on a day."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from telemetry.aircraft import (
    Aircraft,
    Lead,
    Limits,
    Node,
    Pack,
    PackLabel,
    Servo,
    Supply,
    completed,
)
from telemetry.model.channels import PlaceKind, mirror_of

MAY = date(2026, 5, 14)


def _tern(**more: object) -> Aircraft:
    return Aircraft.model_validate(
        {
            "name": "tern",
            "packs": [{"name": "Pack 1"}, {"name": "pack 2"}],
            "bus": "bus",
            "nodes": [
                {"name": "left wing", "fed_from": "bus", "mirror": "right wing"},
                {"name": "right wing", "fed_from": "bus", "restart_v": 4.2},
                {"name": "left tip", "fed_from": "left wing"},
            ],
            **more,
        }
    )


def test_the_path_runs_from_packs_to_nodes() -> None:
    tern = _tern()
    assert tern.feeders("bus") == ("pack 1", "pack 2")
    assert tern.parent("bus") is None, "a bus on two packs has no single parent"
    assert tern.parent("left tip") == "left wing"
    assert tern.children("bus") == ("left wing", "right wing")
    assert tern.feeders("pack 1") == ()
    assert tern.root == "bus"


def test_supplies_stand_between_packs_and_bus() -> None:
    tern = _tern(
        supplies=[
            {"name": "switch", "kind": "switch", "fed_from": ["pack 1", "pack 2"]},
            {"name": "regulator", "kind": "regulator", "fed_from": ["switch"], "set_point_v": 7.4},
        ]
    )
    assert tern.feeders("bus") == ("regulator",)
    assert tern.parent("regulator") == "switch"
    assert tern.parent("switch") is None
    assert (tern.regulator, tern.regulated_v) == ("regulator", 7.4)
    assert Aircraft.model_validate(tern.model_dump()) == tern


def test_of_two_regulators_the_higher_set_point_holds_the_bus() -> None:
    tern = _tern(
        supplies=[
            Supply(name=f"regulator {n}", kind="regulator", fed_from=(f"pack {n}",), set_point_v=v)
            for n, v in ((1, 7.4), (2, 7.2))
        ]
    )
    assert tern.feeders("bus") == ("regulator 1", "regulator 2")
    assert tern.regulated_v == 7.4


def test_without_a_bus_the_one_pack_is_the_root() -> None:
    glider = Aircraft(packs=(Pack(name="pack"),), nodes=(Node(name="receiver", fed_from="pack"),))
    assert glider.root == "pack"
    assert glider.parent("receiver") == "pack"
    assert Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2"))).root is None


def test_a_regulator_known_by_name_stands_below_the_packs() -> None:
    """Without a bus in the log the regulator is where the packs join."""
    packs = (Pack(name="pack 1"), Pack(name="pack 2"))
    nodes = (Node(name="tail", fed_from="regulator"),)
    craft = Aircraft(packs=packs, regulator="regulator", nodes=nodes)
    assert craft.root == "regulator"
    assert craft.feed_path("tail", "pack 2") == ("tail", "regulator", "pack 2")


def test_a_mirror_named_once_holds_both_ways() -> None:
    tern = _tern()
    assert tern.mirror("left wing") == "right wing"
    assert tern.mirror("right wing") == "left wing"
    assert tern.mirror("left tip") is None


def test_of_some_places_the_mirror_is_the_listed_one_else_the_one_of_that_name() -> None:
    craft = Aircraft(nodes=(Node(name="left wing", mirror="gear bay"), Node(name="left tip")))
    assert craft.mirror("left wing", ["right wing", "gear bay"]) == "gear bay"
    assert craft.mirror("gear bay", ["right wing", "left wing"]) == "left wing"
    assert craft.mirror("left wing", ["right wing"]) is None, "another one is listed"
    assert craft.mirror("left tip", ["right tip", "left tip"]) == "right tip"
    assert craft.mirror("tail", ["right tip", "left tip"]) is None
    own = Aircraft(nodes=(Node(name="node 1", mirror="node 1"),))
    assert own.mirror("node 1", ["node 1"]) is None
    assert craft.mirror("left tip") is None


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("front battery", PlaceKind.PACK),
        ("bus of the left wing", PlaceKind.BUS),
        ("step-down", PlaceKind.REGULATOR),
        ("pack switch", PlaceKind.OTHER),
        ("pack bay", PlaceKind.NODE),
        ("aileron", PlaceKind.NODE),
        ("receiver 2", PlaceKind.RECEIVER),
        ("satellite", PlaceKind.RECEIVER),
        ("receiver bay", PlaceKind.NODE),
        ("pack 7", PlaceKind.PACK),
        ("left wing", PlaceKind.NODE),
        ("left flap", PlaceKind.SURFACE),
        ("joint", PlaceKind.OTHER),
        ("", PlaceKind.OTHER),
    ],
)
def test_a_place_is_what_it_is_listed_as_and_only_else_what_its_name_says(
    place: str, kind: PlaceKind
) -> None:
    nodes = ("pack bay", "aileron", "receiver 2", "bus of the left wing")
    told = (Node(name="satellite", kind="receiver"), Node(name="receiver bay", kind="node"))
    craft = Aircraft(
        packs=(Pack(name="front battery"),),
        supplies=(
            Supply(name="pack switch", kind="switch", fed_from=("front battery",)),
            Supply(name="step-down", kind="regulator", fed_from=("pack switch",), set_point_v=6.0),
        ),
        bus="bus of the left wing",
        nodes=(*(Node(name=n) for n in nodes), *told),
    )
    assert craft.kind(place) is kind


@pytest.mark.parametrize(
    ("drives", "surface"),
    [("Left aileron", "aileron"), ("rudder", "rudder"), ("tail wheel", None), ("flaperon", None)],
)
def test_the_surface_of_a_servo(drives: str, surface: str | None) -> None:
    assert Servo(node="tail", output=1, drives=drives).surface == surface


def test_levels_are_the_nodes_own_or_the_aircrafts() -> None:
    tern = _tern(limits=Limits(restart_v=3.8, comfort_v=6.0))
    assert tern.restart_v("right wing") == 4.2
    assert tern.restart_v("left wing") == 3.8
    assert tern.comfort_v("bus") == 6.0


def test_an_output_is_read_as_it_was_on_the_day() -> None:
    tern = _tern(
        servos=[
            {"node": "left wing", "output": 1, "drives": "Left aileron", "until": MAY},
            {"node": "left wing", "output": 1, "drives": "rudder", "since": MAY, "count": 2},
            {"node": "left wing", "output": 2, "drives": "left flap"},
        ]
    )
    before, after = tern.on(MAY - timedelta(days=1)), tern.on(MAY)
    assert [s.drives for s in before.servos_at("left wing")] == ["left aileron", "left flap"]
    assert [s.drives for s in after.servos_at("left wing")] == ["rudder", "left flap"]
    assert [before.node("left wing").servos, after.node("left wing").servos] == [2, 3]
    assert tern.on(None) == after, "a log without a date is read as the aircraft is now"
    assert after.node("right wing").servos is None, "no servo listed: not known, not none"


def test_a_pack_is_labelled_as_it_was_on_the_day() -> None:
    pack = Pack(
        name="pack 1",
        labels=(PackLabel(label="A1", until=MAY), PackLabel(label="A2", since=MAY)),
    )
    tern = Aircraft(packs=(pack,))
    assert pack.label is None, "two labels: without a day it cannot be told"
    assert tern.on(MAY - timedelta(days=1)).packs[0].label == "A1"
    assert tern.on(MAY).packs[0].label == "A2"


_DAYS = st.dates(date(2026, 1, 1), date(2026, 1, 12))
_ENDS = st.tuples(st.none() | _DAYS, st.none() | _DAYS).filter(
    lambda e: e[0] is None or e[1] is None or e[0] < e[1]
)


@given(_ENDS, _ENDS)
def test_two_spans_overlap_where_a_day_is_in_both(
    first: tuple[date | None, date | None], second: tuple[date | None, date | None]
) -> None:
    one, two = (PackLabel(label="A", since=s, until=u) for s, u in (first, second))
    days = [date(2025, 12, 25) + timedelta(days=n) for n in range(30)]
    assert one.overlaps(two) == any(one.holds(d) and two.holds(d) for d in days)


@pytest.mark.parametrize(
    ("model", "values", "why"),
    [
        (Lead, {"length_m": -1, "awg": 16}, "greater than 0"),
        (Lead, {"length_m": float("inf"), "awg": 16}, "finite"),
        (Lead, {"length_m": 1, "awg": 41}, "less than or equal to 40"),
        (Lead, {"length_m": 1}, "either awg or mm2"),
        (Lead, {"length_m": 1, "awg": 16, "mm2": 1.5}, "either awg or mm2"),
        (Servo, {"node": "tail", "output": 1, "drives": "rudder", "stall_a": 4}, "belong together"),
        (PackLabel, {"label": "A", "since": MAY, "until": MAY}, "must lie after since"),
        (Supply, {"name": "s", "kind": "switch", "fed_from": ["p"], "set_point_v": 7}, "set_point"),
        (Supply, {"name": "s", "kind": "regulator", "fed_from": ["p"]}, "set_point"),
        (Pack, {"name": "pack 1", "role": "spare"}, "'shared' or 'standby'"),
    ],
)
def test_impossible_parts_are_refused(model: type, values: dict[str, object], why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        model(**values)


def test_the_way_up_is_found_through_whichever_supply_leads_there() -> None:
    tern = _tern(
        supplies=[
            {"name": f"switch {n}", "kind": "switch", "fed_from": [f"pack {n}"]} for n in (1, 2)
        ]
    )
    assert tern.feed_path("left tip", "pack 2") == (
        "left tip",
        "left wing",
        "bus",
        "switch 2",
        "pack 2",
    )
    assert tern.feed_path("bus", "bus") == ("bus",)
    assert tern.feed_path("bus", "left wing") == ()


def test_a_loop_ends_the_way_up() -> None:
    nodes = (Node(name="a", fed_from="b"), Node(name="b", fed_from="a"))
    assert Aircraft(nodes=nodes).feed_path("a", "bus") == ()


def _fed(aircraft: Aircraft, volts: dict[str, float], amps: dict[str, float]) -> dict[str, object]:
    """Nodes with what feeds them, for constant voltages (V) and currents (A)."""
    made = completed(aircraft, *({p: np.full(9, x) for p, x in d.items()} for d in (volts, amps)))
    return {n.name: n.fed_from for n in made.nodes}


SUPPLY_V, SUPPLY_A = {"pack 1": 8.0, "pack 2": 8.1, "bus": 7.4}, {"bus": 5.0}
BUS = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")), bus="bus")


def test_a_place_below_the_bus_is_a_node_whatever_it_is_called() -> None:
    volts = {**SUPPLY_V, "wl": 7.3, "siipi": 7.45, "tail": 3.0}
    fed = _fed(BUS, volts, {**SUPPLY_A, "wl": 1.0, "left aileron": 0.2, "qq": 0.5})
    # One servo's current hangs on one of the nodes, which of them is not known.
    assert fed == {
        "wl": "bus", "siipi": "bus", "tail": "bus", "left aileron": None, "qq": "bus"
    }  # fmt: skip
    assert _fed(BUS, SUPPLY_V, {**SUPPLY_A, "servo 3": 0.4}) == {"servo 3": "bus"}


@pytest.mark.parametrize(
    ("place", "volts", "amps"),
    [
        ("drive", 22.2, 1.0),  # a voltage above the supply's
        ("drive", None, 40.0),  # a current above that of the whole
        ("kokonaisvirta", None, 4.9),  # the whole under another name
        ("logic", 3.3, None),  # another rail, and nothing says what feeds it
        ("motor", 7.2, 1.0),
        ("left esc", None, 1.0),
        ("pack 3", 8.0, 1.0),
        ("regulator", 7.4, 1.0),
    ],
)
def test_what_hangs_elsewhere_is_no_node(
    place: str, volts: float | None, amps: float | None
) -> None:
    more_v, more_a = ({} if x is None else {place: x} for x in (volts, amps))
    assert _fed(BUS, SUPPLY_V | more_v, SUPPLY_A | more_a) == {}


def test_a_regulator_of_its_own_leaves_the_feed_open() -> None:
    assert _fed(BUS, {**SUPPLY_V, "rx": 5.0}, {**SUPPLY_A, "rx": 0.4}) == {"rx": None}


def test_a_node_with_a_voltage_may_draw_all_there_is() -> None:
    assert _fed(BUS, {**SUPPLY_V, "wl": 7.3}, {**SUPPLY_A, "wl": 5.1}) == {"wl": "bus"}


def test_without_a_known_whole_the_sum_of_the_others_is_no_node() -> None:
    amps = {"left wing": 2.0, "right wing": 1.8, "summa": 3.9}
    assert _fed(Aircraft(), {}, amps) == {"left wing": None, "right wing": None}
    assert set(_fed(Aircraft(), {}, {"wl": 1.0, "wr": 1.0})) == {"wl", "wr"}


def test_names_tell_the_supply_where_the_aircraft_does_not() -> None:
    assert _fed(Aircraft(), {**SUPPLY_V, "wl": 7.3}, {}) == {"wl": "bus"}
    assert _fed(Aircraft(), {"pack 1": 8.0, "wl": 7.9, "x": 22.0}, {}) == {"wl": "pack 1"}
    two = {"pack 1": 8.0, "pack 2": 8.1, "wl": 7.9, "x": 22.0}
    assert _fed(Aircraft(), two, {}) == {"wl": None}


def test_nodes_of_the_profile_stay_and_others_are_added() -> None:
    tern = _tern()
    seen = {"left wing": 7.3, "left tip": 7.2, "right wing": 7.3, "zz": 7.3, "bus": 7.4}
    made = completed(tern, {p: np.full(9, v) for p, v in seen.items()}, {})
    assert made.nodes[:3] == tern.nodes
    assert made.nodes[3:] == (Node(name="zz", fed_from="bus"),)


@pytest.mark.parametrize(
    ("name", "places", "mirror"),
    [
        ("left wing", ("left wing", "right wing"), "right wing"),
        ("left wing", ("left wing", "tail"), None),
        ("wl", ("wl", "wr"), "wr"),
        ("rw2", ("rw2", "lw2", "rw1"), "lw2"),
        ("l", ("l", "r"), "r"),
        ("wing l", ("wing r", "wing l"), "wing r"),
        ("lr", ("lr", "rr", "ll"), None),  # two could be meant
        ("rail", ("rail", "lail"), None),  # a word, not a code
        ("tail", ("tail", "tair"), None),
        ("front wing", ("front wing", "rear wing"), None),
    ],
)
def test_mirrors_differ_in_their_side_alone(
    name: str, places: tuple[str, ...], mirror: str | None
) -> None:
    assert mirror_of(name, places) == mirror


@pytest.mark.parametrize(
    ("rest", "comfort"),
    [(5.5, 5.0), (5.49, None), (7.2, 6.0), (7.19, 5.0), (8.4, 6.0), (None, None)],
)
def test_the_comfort_level_of_a_system(rest: float | None, comfort: float | None) -> None:
    """Common practice, no source: 5.0 V, high-voltage servos 6.0 V."""
    assert Aircraft().comfort_v("bus", rest) == comfort
    assert Aircraft.model_validate({"limits": {"comfort_v": 4.8}}).comfort_v("bus", rest) == 4.8
    # The set-point of a regulator that is not reached tells the system all the same.
    assert Aircraft(regulated_v=7.4).comfort_v("bus", rest) == 6.0
