"""Where a fall of voltage came from, rule by rule, with every number made by hand.

Levels are exact here: each series keeps one usual level all along, so that a fall or a rise is
a plain difference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.path import chance, placing
from telemetry.detect.path.path_load import Loads, LoadStep, PathSeries
from telemetry.detect.path.placing import place_events
from telemetry.model.channels import Quantity
from telemetry.results import Event, EventKind, Origin, Resistance

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [
            {"name": "left wing", "fed_from": "bus"},
            {"name": "right wing", "fed_from": "bus"},
        ],
    }
)
T = np.arange(200.0)
LEFT = "{} stopped giving current at that moment"
AT = 100  # the event is [100, 103) s, three readings


def fall(place: str = "left wing", depth: float | None = 4.0, **more: Any) -> Event:
    given = {"kind": EventKind.SAG, "start_s": 100.0, "end_s": 103.0, "residual_v": 1.0, **more}
    return Event(place=place, depth_v=depth, **given)


def dip(level: float, *dips: float, at: int = AT, t: np.ndarray = T) -> PathSeries:
    """Readings at one level, and what is added to those from the event on."""
    v = np.full(t.size, level)
    v[at : at + len(dips)] += dips
    return PathSeries(t=t, v=v, slow=np.full(t.size, level), update_s=1.0)


def step(ohm: float, current: PathSeries, high_ohm: float | None = None, **more: Any) -> LoadStep:
    given = {"place": "left wing", "kind": "branch", "how": "fitted", "left_out": (), **more}
    return LoadStep(
        ohm=ohm, high_ohm=ohm if high_ohm is None else high_ohm, current=current, **given
    )


Known = Callable[..., Loads]


@pytest.fixture
def known(make_readings) -> Known:
    """Loads with exactly these series, and one resistance of a place."""

    def make(
        volts: dict[str, PathSeries],
        amps: dict[str, PathSeries] | None = None,
        mohm: dict[tuple[str, str], float] | None = None,
        craft: Aircraft = CRAFT,
        high: float = 1.0,
    ) -> Loads:
        given = [
            Resistance(
                kind=k, place=p, mohm=x, low_mohm=None, high_mohm=high * x, updates=9
            )
            for (k, p), x in (mohm or {}).items()
        ]  # fmt: skip
        loads = Loads(make_readings({}), craft, given)
        loads.volts = volts
        loads.amps = amps or {}
        loads.total = loads.amps.get("bus")
        return loads

    return make


WING = {("branch", "left wing"): 500.0}  # 0.5 Ohm


def judged(loads: Loads, e: Event | None = None) -> Event:
    return placing.judge_fall(fall() if e is None else e, loads)


@pytest.mark.parametrize(
    ("rise_a", "depth", "explained", "origin"),
    [
        (6.0, 5.0, 0.6, Origin.LOAD),  # 0.5 Ohm x 6 A of 5 V: just enough
        (5.9, 5.0, 0.59, Origin.UNKNOWN),
        (20.0, 5.0, 1.0, Origin.LOAD),
        (-3.0, 5.0, 0.0, Origin.CONTACT),
    ],
)
def test_load_explains_from_three_fifths_on(rise_a, depth, explained, origin, known) -> None:
    loads = known({"left wing": dip(8.0, -depth)}, {"left wing": dip(2.0, *[rise_a] * 3)}, WING)
    found = judged(loads, fall(depth=depth))
    assert found.explained == pytest.approx(explained)
    assert found.origin is origin
    assert found.explained_by == "left wing branch 500 mOhm (fitted)"


@pytest.mark.parametrize(
    ("rise_a", "origin"), [(3.9, Origin.CONTACT), (4.0, Origin.UNKNOWN), (4.5, Origin.UNKNOWN)]
)
def test_under_half_of_the_depth_with_a_current_well_seen_is_no_load(rise_a, origin, known) -> None:
    # At the high end of the resistance, 0.5 Ohm: 4 A make half of 4 V. The value is half of it.
    loads = known(
        {"left wing": dip(8.0, -4.0)},
        {"left wing": dip(2.0, *[rise_a] * 3)},
        {("branch", "left wing"): 250.0},
        high=2.0,
    )
    assert judged(loads).origin is origin


@pytest.mark.parametrize(
    ("apart_s", "highest_a", "origin"),
    [
        (1.0, 9.0, Origin.CONTACT),  # three readings within: nothing was missed
        (1.5, 9.0, Origin.UNKNOWN),  # two: up to 1.2 x 9 A - 2 A = 8.8 A may have passed
        (1.5, 5.0, Origin.UNKNOWN),  # 4 A x 0.5 Ohm are half of 4 V
        (1.5, 4.9, Origin.CONTACT),
    ],
)
def test_a_peak_between_two_readings_may_be_the_cause(apart_s, highest_a, origin, known) -> None:
    current = dip(2.0, highest_a - 2.0, at=10, t=np.arange(0.0, 300.0, apart_s) + 0.5)
    loads = known({"left wing": dip(8.0, -4.0)}, {"left wing": current}, WING)
    loads.minimum_held = {"left wing"}  # tells nothing of the sampling
    found = judged(loads)
    assert found.origin is origin
    if origin is Origin.UNKNOWN:
        assert found.note == "the current may have peaked between two of its readings"


def test_the_least_seen_current_of_the_way_counts(known) -> None:
    """Of a lowest value, held: the wing's current is well seen, the bus's may have peaked."""
    slow = dip(2.0, 20.0, at=3, t=np.arange(0.0, 200.0, 2.0))
    amps = {"left wing": dip(2.0), "bus": slow}
    mohm = {**WING, ("source", "bus"): 500.0}
    loads = known({"left wing": dip(8.0, -4.0)}, amps, mohm)
    loads.minimum_held = {"left wing"}
    found = judged(loads)
    assert found.origin is Origin.UNKNOWN
    assert found.explained_by == "left wing branch 500 mOhm (fitted) + bus source 500 mOhm (fitted)"
    amps["bus"] = dip(2.0, 20.0, at=3)
    loads = known({"left wing": dip(8.0, -4.0)}, amps, mohm)
    loads.minimum_held = {"left wing"}
    assert judged(loads).origin is Origin.CONTACT


def test_a_current_read_often_enough_proves_no_fault_where_chance_makes_as_much(known) -> None:
    """Sensors read at different instants: a fall stands beside as large a rise elsewhere."""
    amps = dip(2.0, 1.0, 1.0, 1.0)
    amps.v[10] = 60.0  # so high the load was at other moments
    volts = dip(8.0, -2.0)
    mohm = {("branch", "left wing"): 100.0}
    assert judged(known({"left wing": volts}, {"left wing": amps}, mohm)).origin is Origin.UNKNOWN
    amps.v[10], volts.v[10] = 60.0, 8.0 - 0.1 * 58.0  # seen by both: then the fall stands out
    assert judged(known({"left wing": volts}, {"left wing": amps}, mohm)).origin is Origin.CONTACT


@pytest.mark.parametrize(
    ("bus_v", "rise_a", "origin"),
    [
        (-3.2, 0.0, Origin.SUPPLY),  # four fifths of 4 V: all of it came from above
        (-3.1, 0.0, Origin.UNKNOWN),
        (-1.0, 0.0, Origin.UNKNOWN),  # 0.5 x 0.5 x 4 V: along, but not whole
        (-0.9, 0.0, Origin.CONTACT),
        (-3.2, 4.0, Origin.LOAD),  # the load may be half of it
        (-1.0, 4.0, Origin.LOAD),
        (-0.9, 4.0, Origin.UNKNOWN),
    ],
)
def test_the_feeding_place_fell_along(bus_v, rise_a, origin, known) -> None:
    volts = {"left wing": dip(8.0, -4.0), "bus": dip(8.0, bus_v)}
    found = judged(known(volts, {"left wing": dip(2.0, *[rise_a] * 3)}, WING))
    assert found.origin is origin
    assert ("fell along" in found.note) is (origin is Origin.LOAD)


@pytest.mark.parametrize(
    ("wing_v", "bus_v", "origin"),
    [
        (-4.0, 0.0, Origin.CONTACT),
        (-2.0, 0.0, Origin.CONTACT),  # half of the 4 V by which it lies below its level
        (-1.9, 0.0, Origin.UNKNOWN),  # with its feed it lay below that level before
        (-2.5, -0.6, Origin.UNKNOWN),
    ],
)
def test_a_node_that_keeps_its_distance_to_its_feed_has_no_contact_of_its_own(
    wing_v, bus_v, origin, known
) -> None:
    volts = {"left wing": dip(8.0, *[wing_v] * 3), "bus": dip(8.0, *[bus_v] * 3)}
    found = judged(
        known(volts, {"left wing": dip(2.0)}, WING), fall(depth=4.0, residual_v=8.0 + wing_v)
    )
    assert found.origin is origin
    assert ("as near to what feeds it" in found.note) is (origin is Origin.UNKNOWN)


def test_what_only_its_own_minimum_saw_is_a_loss_too(known) -> None:
    """Readings 0.4 V down; the unit's own minimum between them 4 V, its feed where it was."""
    volts = {"left wing": dip(8.0, -0.4, -0.4, -0.4), "bus": dip(8.0)}
    found = judged(known(volts, {"left wing": dip(2.0)}, WING), fall(depth=4.0, residual_v=4.0))
    assert found.origin is Origin.CONTACT


@pytest.mark.parametrize(
    ("feeders", "steps", "along", "whole"),
    [
        # Half of what a load would take above: of one step half of the depth is taken for it.
        ((-1.0,), (1.0,), True, False),
        ((-0.99,), (1.0,), False, False),
        ((-0.5, -1.0), (1.0,), True, False),  # the one that fell most
        ((-1.5,), (0.25, 0.5, 0.25), True, False),  # 0.75 of the way lies above: 0.375 x 4 V
        ((-1.49,), (0.25, 0.5, 0.25), False, False),
        ((-3.2,), (1.0,), True, True),
        ((-3.19,), (1.0,), True, False),
        ((-1.0,), (0.0, 0.0), True, False),  # no resistance at all: half
        ((-0.99,), (0.0, 0.0), False, False),
        ((-1.0,), (), True, False),
        ((-0.03125,), (1.0, 0.0), True, False),  # nothing above it: noise is the least
        ((-0.0156,), (1.0, 0.0), False, False),
    ],
)
def test_how_far_the_feeding_place_must_fall(feeders, steps, along, whole, known) -> None:
    volts = {f"pack {n}": dip(8.0, x) for n, x in enumerate(feeders, 1)}
    loads = known({**volts, "bus": dip(8.0, -4.0)})
    above = placing.AboveState.of(fall("bus"), 4.0, [step(x, dip(2.0)) for x in steps], loads)
    assert (above.along, above.whole) == (along, whole)


@pytest.mark.parametrize(
    ("depth", "drop", "end_s", "stayed"),
    [
        (4.0, 0.375, 103.0, True),  # under a fifth of half of 4 V, read three times
        (4.0, 0.4375, 103.0, False),
        (4.0, 0.375, 102.0, False),  # read twice
        (0.25, 0.0, 103.0, True),  # 0.125 V above: just over 4 x 0.03 V
        (0.23, 0.0, 103.0, False),
    ],
)
def test_a_feeding_place_that_stayed(depth, drop, end_s, stayed, known) -> None:
    loads = known({"pack 1": dip(8.0, -drop)})
    above = placing.AboveState.of(fall("bus", end_s=end_s), depth, [step(1.0, dip(2.0))], loads)
    assert above.stayed is stayed


def test_without_a_logged_feeder_nothing_is_said_of_it(known) -> None:
    above = placing.AboveState.of(fall("bus"), 4.0, [], known({"bus": dip(8.0, -4.0)}))
    assert (above.along, above.whole, above.stayed) == (False, False, False)


def test_a_feed_that_stayed_clears_the_load_too(known) -> None:
    """The current may have peaked unseen; but the bus would have shown it."""
    current = dip(2.0, 7.0, at=10, t=np.arange(0.0, 300.0, 1.5) + 0.5)
    volts = {"left wing": dip(8.0, -4.0), "bus": dip(8.0)}
    mohm = {**WING, ("source", "bus"): 500.0}
    assert judged(known(volts, {"left wing": current, "bus": current}, mohm)).origin is (
        Origin.CONTACT
    )


@pytest.mark.parametrize(
    ("other_v", "depth", "origin"),
    [
        (-1.25, 4.0, Origin.SUPPLY),
        (-0.3 * 4.0, 4.0, Origin.SUPPLY),
        (-1.1875, 4.0, Origin.CONTACT),  # under 0.3 x 4 V
        (-0.0625, 0.125, Origin.SUPPLY),  # at least twice the noise
        (-0.05, 0.125, Origin.CONTACT),
    ],
)
def test_another_place_on_the_feed_fell_along(other_v, depth, origin, known) -> None:
    """The feed was not read meanwhile."""
    bus = dip(8.0, t=np.array([0.0, 50.0, 97.0, 107.0, 300.0]))
    volts = {"left wing": dip(8.0, -depth), "right wing": dip(0.0, other_v), "bus": bus}
    loads = known(volts, {"left wing": dip(2.0)}, WING)
    found = judged(loads, fall(depth=depth))
    assert found.origin is origin
    assert found.note == ("all places on this feed fell together" * (origin is Origin.SUPPLY))


@pytest.mark.parametrize(
    ("other_v", "origin"), [(-2.5, Origin.SUPPLY), (-2.25, Origin.CONTACT), (-1.25, Origin.CONTACT)]
)
def test_with_a_feed_that_held_only_a_fall_alike_is_one_of_the_supply(
    other_v, origin, known
) -> None:
    volts = {"left wing": dip(8.0, -4.0), "right wing": dip(0.0, other_v), "bus": dip(8.0)}
    loads = known(volts, {"left wing": dip(2.0)}, WING)
    assert judged(loads, fall(depth=4.0)).origin is origin


def test_another_place_that_fell_by_its_own_current_fell_not_along(known) -> None:
    bus = dip(8.0, t=np.array([0.0, 50.0, 97.0, 107.0, 300.0]))
    volts = {"left wing": dip(8.0, -4.0), "right wing": dip(8.0, -1.5), "bus": bus}
    mohm = {**WING, ("branch", "right wing"): 500.0}
    amps = {"left wing": dip(2.0), "right wing": dip(1.0, 3.0)}
    assert judged(known(volts, amps, mohm), fall(depth=4.0)).origin is Origin.CONTACT
    amps["right wing"] = dip(1.0)
    assert judged(known(volts, amps, mohm), fall(depth=4.0)).origin is Origin.SUPPLY


def test_places_fell_together_under_a_load_that_was_not_seen(known) -> None:
    current = dip(2.0, 7.0, at=10, t=np.arange(0.0, 300.0, 1.5) + 0.5)
    # The bus fell less than half, and more than nothing.
    volts = {"left wing": dip(8.0, -4.0), "right wing": dip(8.0, -3.0), "bus": dip(8.0, -0.5)}
    found = judged(known(volts, {"left wing": current}, WING))
    assert found.origin is Origin.LOAD
    assert "the other places fell along" in found.note
    del volts["bus"]  # nothing is said without the feed's own voltage
    assert judged(known(volts, {"left wing": current}, WING)).origin is Origin.UNKNOWN
    assert placing.siblings_fell(fall("pack 1"), 4.0, known(volts), fed=True) is False


@pytest.mark.parametrize(
    ("e", "found"),
    [
        (fall(depth=4.0), 4.0),
        (fall(kind=EventKind.SHIFT, depth=3.0), 3.0),
        (fall(kind=EventKind.BROWNOUT, depth=None, residual_v=2.5), 5.5),  # from its usual 8 V
        (fall(kind=EventKind.UNDERVOLTAGE, depth=None, residual_v=None), None),
        (fall("right wing", kind=EventKind.BROWNOUT, depth=None), None),
    ],
)
def test_how_far_it_fell(e, found, known) -> None:
    assert placing.drop_below_usual(e, known({"left wing": dip(8.0, -4.0)})) == found


@pytest.mark.parametrize(
    "e", [fall(depth=0.0), fall(depth=-1.0), fall(depth=None), fall(residual_v=None)]
)
def test_what_did_not_fall_is_left_as_it_is(e, known) -> None:
    loads = known({"left wing": dip(8.0)}, {"left wing": dip(2.0)}, WING)
    assert judged(loads, e) == e
    assert judged(loads, fall(depth=0.01)).explained is not None


@pytest.mark.parametrize(("bus_v", "origin"), [(-3.2, Origin.SUPPLY), (-3.1, Origin.UNKNOWN)])
def test_without_a_resistance_only_a_fall_from_above_is_told(bus_v, origin, known) -> None:
    found = judged(known({"left wing": dip(8.0, -4.0), "bus": dip(8.0, bus_v)}))
    assert found.origin is origin
    assert (found.explained, found.explained_by) == (None, None)


# Held buses


@pytest.mark.parametrize(
    ("packs", "most_v", "gave", "origin"),
    [
        # The better pack: 2 V above 6 V.
        ({"pack 1": 7.0, "pack 2": 8.0}, 3.5, True, Origin.SUPPLY),
        # Under 0.3 V of room; but its packs held, and it never fell like that before.
        ({"pack 1": 6.25}, 3.5, False, Origin.SUPPLY),
        ({"pack 1": 7.0}, 4.5, False, Origin.UNKNOWN),  # load may make 4.5 V of it
        ({"pack 1": 7.0}, None, False, Origin.SUPPLY),
        ({}, 3.5, False, Origin.UNKNOWN),
    ],
)
def test_a_held_bus_gave_way(packs, most_v, gave, origin, known) -> None:
    volts = {name: dip(v) for name, v in packs.items()}
    loads = known({"bus": dip(6.0, -4.0), **volts}, {"bus": dip(2.0)})
    loads.most_by_load = most_v
    assert placing.bus_gave_way(fall("bus"), 4.0, loads) is gave
    assert placing.bus_gave_way(fall("left wing"), 4.0, loads) is False
    assert judged(loads, fall("bus")).origin is origin
    loads.total = None
    assert placing.bus_gave_way(fall("bus"), 4.0, loads) is False


def test_the_packs_lowest_voltage_meanwhile_counts(known) -> None:
    loads = known({"bus": dip(6.0, -4.0), "pack 1": dip(7.0, 0.0, -0.9)}, {"bus": dip(2.0)})
    loads.most_by_load = 3.5
    assert placing.bus_gave_way(fall("bus"), 4.0, loads) is False  # 0.1 V of room
    silent = dip(7.0)
    loads.volts["pack 1"] = replace(silent, t=T + 1000.0)
    assert placing.bus_gave_way(fall("bus"), 4.0, loads) is False  # not read meanwhile


@pytest.mark.parametrize(
    ("place", "logged", "origin"),
    [
        ("pack 1", True, Origin.PACK),
        ("left wing", True, Origin.CONTACT),
        ("bus", True, Origin.SUPPLY),
        ("bus", False, Origin.UNKNOWN),
        ("regulator", True, Origin.UNKNOWN),  # not of this aircraft: nothing feeds it
        ("receiver", True, Origin.CONTACT),
    ],
)
def test_a_fault_of_ones_own(place, logged, origin, known) -> None:
    loads = known({"pack 2": dip(8.0)} if logged else {})
    assert placing.own_fault(fall(place), loads) is origin


@pytest.mark.parametrize(
    ("logged", "rise_a", "origin", "unloaded"),
    [
        (False, 0.0, Origin.UNKNOWN, True),  # the path or the packs: neither is seen
        (False, 3.0, Origin.UNKNOWN, True),
        (False, 4.0, Origin.UNKNOWN, False),  # half of it may be the load's
        (True, 0.0, Origin.SUPPLY, False),  # the pack was read and held
    ],
)
def test_a_bus_whose_packs_are_not_logged_fell_without_load(
    logged, rise_a, origin, unloaded, known
) -> None:
    volts = {"bus": dip(8.0, -4.0)} | ({"pack 1": dip(8.0)} if logged else {})
    loads = known(volts, {"bus": dip(2.0, rise_a)}, {("source", "bus"): 500.0})
    found = judged(loads, fall("bus"))
    assert (found.origin, found.unloaded) == (origin, unloaded)


def test_a_bus_by_any_other_name_is_still_the_bus(known) -> None:
    craft = Aircraft.model_validate({"bus": "left junction", "packs": [{"name": "pack 1"}]})
    loads = known({"pack 1": dip(8.0)}, craft=craft)
    assert placing.own_fault(fall("left junction"), loads) is Origin.SUPPLY


@pytest.mark.parametrize(
    ("span", "expected"),
    [((100.0, 101.0), 2.0), ((103.5, 104.0), 0.0), ((500.0, 501.0), 0.0)],
)
def test_the_fall_of_a_series_about_an_event(span, expected) -> None:
    e = fall(start_s=span[0], end_s=span[1])
    assert placing.fall_of(dip(8.0, -1.0, -2.0), e) == expected


# Beyond the accidents of sampling: 200 readings, all as usual but for some


def standing_out(
    known: Known, *, down: float, up: float = 0.0, low: tuple[int, float] = (0, 0.0), **more: Any
) -> bool | None:
    volts = dip(8.0, 0.0, -down)
    volts.v[20] += up
    volts.v[30 : 30 + low[0]] -= low[1]
    given = {"size": 200, "own": True, "held": False, "left_out": (), "e": fall(), **more}
    n = given["size"]
    volts = PathSeries(volts.t[-n:], volts.v[-n:], volts.slow[-n:], 1.0)
    current = given.get("current", dip(2.0))
    loads = known({"left wing": volts}, {"left wing": current} if given["own"] else {})
    loads.minimum_held = {"left wing"} if given["held"] else set()
    kind = "branch" if given["own"] else "apparent"
    way = [step(0.5, current, kind=kind, left_out=given["left_out"])]
    return chance.beyond_sampling(given["e"], way, loads)


@pytest.mark.parametrize(
    ("down", "up", "low", "found"),
    [
        (1.85, 1.0, (0, 0.0), True),  # 1.8 times the greatest residual upwards
        (1.75, 1.0, (0, 0.0), False),
        (3.05, 0.1, (9, 1.0), True),  # three times the hundredth lowest of 200: 1 V
        (2.95, 0.1, (9, 1.0), False),
        (0.5, 0.0, (1, 0.5), True),  # two such are less than the hundredth part
        (0.5, 0.0, (2, 0.5), False),
    ],
)
def test_a_residual_beyond_both_tails(down, up, low, found, known) -> None:
    assert standing_out(known, down=down, up=up, low=low) is found


def test_a_hundred_readings_are_needed(known) -> None:
    e = {"down": 2.0, "left_out": ((100.0, 103.0),)}
    assert standing_out(known, **e, size=100)
    assert standing_out(known, **e, size=99) is None


def test_holds_and_the_whole_current_say_nothing(known) -> None:
    assert standing_out(known, down=2.0)
    assert standing_out(known, down=2.0, held=True) is None
    assert standing_out(known, down=2.0, own=False) is None
    whole = known({"left wing": dip(8.0, -2.0)})
    assert chance.beyond_sampling(
        fall(), [step(0.5, dip(2.0), place="pack 1", kind="source")], whole
    )
    assert chance.beyond_sampling(fall("tail"), [step(0.5, dip(2.0))], whole) is None


def test_moments_left_out_are_none_of_the_usual(known) -> None:
    # Five of eleven such readings are of the event itself and another left out: without them the
    # hundredth lowest is 0.
    low = (9, 1.0)
    assert not standing_out(known, down=2.0, low=low)
    assert standing_out(known, down=2.0, low=low, left_out=((30.0, 39.0), (100.0, 103.0)))
    assert standing_out(known, down=2.0, left_out=((0.0, 500.0),)) is None


def test_readings_on_the_way_back_are_not_deep(known) -> None:
    loads = known({"left wing": dip(8.0, -2.0, -1.0, -0.9)})
    assert chance.deep_readings(fall(), 2.0, loads) == 2
    loads.minimum_held = {"left wing"}
    assert chance.deep_readings(fall(), 2.0, loads) == np.inf
    assert chance.deep_readings(fall("tail"), 2.0, loads) == np.inf


@pytest.mark.parametrize(
    ("span", "found"),
    [
        ((101.0, 101.5), True),
        ((101.0000005, 101.5), True),  # a rounded start
        ((101.1, 101.5), None),  # not read meanwhile
        ((100.5, 101.0), None),  # the end is no part of it
    ],
)
def test_the_readings_of_the_event_itself(span, found, known) -> None:
    e = fall(start_s=span[0], end_s=span[1])
    assert standing_out(known, down=2.0, e=e) is found


@pytest.mark.parametrize(
    ("later_s", "row", "found"),
    [
        # 4 A more through 0.5 Ohm make 2 V: nothing is left of the dip at 101 s if the nearest
        # reading of the current is that one.
        (0.25, 101, False),
        (0.25, 100, True),
        (0.75, 100, False),
        (0.75, 101, True),
        (0.5, 101, False),  # as near on both sides: the later
    ],
)
def test_the_nearest_reading_of_the_current_counts(later_s, row, found, known) -> None:
    current = dip(2.0, 4.0, at=row, t=T + later_s)
    # Elsewhere the current's residual is 0, and where it is not, that reading is left out.
    left = ((99.5, 102.5),)
    assert standing_out(known, down=2.0, current=current, left_out=left) is found


# A pack that left


def packs(known: Known, *flows: tuple[float, float], t: np.ndarray | None = None) -> Loads:
    """Each pack's current before and after the start of the event."""
    t = np.arange(90.0, 110.0, 0.25) if t is None else t
    amps = {
        f"pack {n}": PathSeries(t, np.where(t < 100.25, a, b), np.zeros(t.size), 0.25)
        for n, (a, b) in enumerate(flows, 1)
    }
    return known({"pack 1": dip(8.0, -4.0), "bus": dip(8.0, -4.0)}, amps)


@pytest.mark.parametrize(
    ("first", "second", "gone"),
    [
        ((2.0, 0.0), (2.0, 4.0), "pack 1"),
        ((2.0, 4.0), (2.0, 0.0), "pack 2"),
        ((0.21, 0.0), (0.79, 1.0), "pack 1"),  # from above a fifth
        ((0.19, 0.0), (0.81, 1.0), None),
        ((2.0, 0.04), (2.0, 0.96), "pack 1"),  # to under a twentieth
        ((2.0, 0.06), (2.0, 0.94), None),
        ((0.2, 0.0), (0.11, 0.31), "pack 1"),  # above 0.3 A together
        ((0.2, 0.0), (0.09, 0.31), None),
        ((0.2, 0.0), (0.11, 0.29), None),
    ],
)
def test_a_pack_leaves(first, second, gone, known) -> None:
    found = placing.pack_shifted(fall("bus"), packs(known, first, second))
    assert found == (None if gone is None else LEFT.format(gone))


def test_a_pack_that_left_is_the_cause_of_a_fall_of_pack_and_bus_but_not_of_a_node(known) -> None:
    loads = packs(known, (2.0, 0.0), (2.0, 4.0))
    for place in ("pack 1", "bus"):
        e = judged(loads, fall(place))
        assert (e.origin, e.explained, e.note) == (Origin.PACK, 0.0, LEFT.format("pack 1"))
    assert placing.pack_shifted(fall("left wing"), loads) is None
    assert placing.pack_shifted(fall("bus"), packs(known, (2.0, 0.0))) is None


@pytest.mark.parametrize(
    ("span", "gone"),
    [
        # Held for 3 s at most; grid of 0.5 s, before up to 0.5 s ahead of the start, after from
        # 1.5 s beyond it; four are needed on both sides.
        ((90.0, 110.0), True),
        ((97.4, 110.0), True),  # 97.5, 98, 98.5 and 99 s
        ((97.6, 110.0), False),
        ((90.0, 100.75), True),  # its last reading holds until 103.7 s: 102, 102.5, 103, 103.5
        ((90.0, 100.45), False),  # until 103.4 s
    ],
)
def test_enough_must_be_known_on_both_sides(span, gone, known) -> None:
    t = np.arange(span[0], span[1], 0.1)
    loads = packs(known, (2.0, 0.0), (2.0, 4.0), t=t)
    assert (placing.pack_shifted(fall("bus"), loads) is not None) is gone


@pytest.mark.parametrize(
    ("moments", "gone"),
    [
        ([99.5, 101.5], True),  # about the start itself nothing counts
        ([102.0], False),  # 102 to 106 s are nine: one of them is more than the tenth lets pass
    ],
)
def test_what_pack_one_gave_for_a_moment(moments, gone, known) -> None:
    loads = packs(known, (2.0, 0.0), (2.0, 4.0))
    s = loads.amps["pack 1"]
    for at in moments:
        s.v[(s.t >= at) & (s.t < at + 0.5)] = 4.0
    assert (placing.pack_shifted(fall("bus"), loads) is not None) is gone


# What came from above


def supply(place: str, start_s: float = 100.0, end_s: float = 103.0, **more: Any) -> Event:
    return fall(place, start_s=start_s, end_s=end_s, **{"origin": Origin.SUPPLY, **more})


@pytest.mark.parametrize(
    ("other", "origin"),
    [
        (supply("bus", origin=Origin.PACK), Origin.PACK),
        (supply("bus", kind=EventKind.SHIFT, origin=Origin.LOAD), Origin.LOAD),
        (supply("bus", kind=EventKind.BROWNOUT, origin=Origin.PACK), Origin.UNKNOWN),
        (supply("right wing", origin=Origin.PACK), Origin.UNKNOWN),
        (supply("bus", 104.0, 105.0, origin=Origin.PACK), Origin.PACK),  # within a second
        (supply("bus", 104.1, 105.0, origin=Origin.PACK), Origin.UNKNOWN),
        (supply("bus", 98.0, 99.0, origin=Origin.PACK), Origin.PACK),
        (supply("bus", 98.0, 98.9, origin=Origin.PACK), Origin.UNKNOWN),
    ],
)
def test_a_fall_from_above_takes_the_origin_found_there(other, origin) -> None:
    assert placing.inherit_origin(supply("left wing"), [other], CRAFT).origin is origin


def test_what_is_inherited_and_what_is_not() -> None:
    pack = supply("pack 1", origin=Origin.PACK)
    assert placing.inherit_origin(supply("bus"), [pack], CRAFT).origin is Origin.PACK
    assert placing.inherit_origin(supply("bus"), [], CRAFT).origin is Origin.SUPPLY
    assert placing.inherit_origin(supply("pack 1"), [pack], CRAFT).origin is Origin.SUPPLY
    assert placing.inherit_origin(supply("left tip"), [pack], CRAFT).origin is Origin.SUPPLY
    load = supply("left wing", origin=Origin.LOAD)
    assert placing.inherit_origin(load, [supply("bus")], CRAFT) == load
    together = supply("left wing", together=True)
    assert placing.inherit_origin(together, [supply("bus", origin=Origin.PACK)], CRAFT) == together


@pytest.mark.parametrize(
    ("other", "origin"),
    [
        (supply("bus", depth=2.0), Origin.SUPPLY),  # half as far
        (supply("bus", depth=1.9), Origin.CONTACT),
        (supply("bus", depth=None), Origin.CONTACT),
        (supply("bus", origin=Origin.LOAD), Origin.CONTACT),
        (supply("right wing"), Origin.CONTACT),
        (supply("bus", 103.5, 105.0), Origin.SUPPLY),  # within half a second
        (supply("bus", 103.6, 105.0), Origin.CONTACT),
        (supply("bus", 98.0, 99.5), Origin.SUPPLY),
        (supply("bus", 98.0, 99.4), Origin.CONTACT),
    ],
)
def test_no_contact_is_blamed_while_the_feed_gave_way(other, origin) -> None:
    contact = fall(origin=Origin.CONTACT)
    assert placing.inherit_origin(
        replace(contact, depth_v=None), [supply("bus", depth=None)], CRAFT
    ) == (replace(contact, depth_v=None, origin=Origin.SUPPLY)), (
        "of neither is told how deep it fell"
    )
    assert placing.inherit_origin(contact, [other], CRAFT).origin is origin


def test_all_events_from_the_packs_down(make_readings) -> None:
    """The bus follows pack 1 all the way, the wing the bus: both are the pack's. A spike stays."""
    t = np.arange(0.0, 200.0, 0.5)
    low = np.where((t >= 100) & (t < 103), 4.0, 8.0)
    series = {(p, U): (t, low) for p in ("pack 1", "bus", "left wing")}
    series |= {(p, I): (t, np.full(t.size, 2.0)) for p in ("pack 1", "left wing")}
    mohm = [
        Resistance(kind=k, place=p, mohm=10, low_mohm=9, high_mohm=11, updates=9)
        for k, p in (("source", "pack 1"), ("source", "bus"), ("branch", "left wing"))
    ]
    spike = Event(kind=EventKind.SPIKE, place="left wing", start_s=1.0, end_s=2.0)
    events = (fall(), spike, fall("bus"), fall("pack 1"))
    found = place_events(events, make_readings(series, update_s=0.5), CRAFT, mohm)
    assert [e.origin for e in found] == [Origin.PACK, Origin.UNKNOWN, Origin.PACK, Origin.PACK]
    assert found[1] == spike
    assert [e.place for e in found] == [e.place for e in events]


def test_a_node_without_a_known_resistance_that_fell_as_nothing_else(known) -> None:
    """One reading of a volt and a half where the others swing by hundredths, its feed read."""
    volts = {"left wing": dip(8.0, -1.5), "bus": dip(8.0)}
    assert judged(known(volts), fall(depth=1.5)).origin is Origin.CONTACT
    assert judged(known({**volts, "bus": dip(8.0, -1.0)}), fall(depth=1.5)).origin is Origin.UNKNOWN
    # At the highest current of the log it may be the load.
    calm = {"left wing": dip(1.0)}
    assert judged(known(volts, calm), fall(depth=1.5)).origin is Origin.CONTACT
    most = {"left wing": dip(1.0, 12.0)}
    assert judged(known(volts, most), fall(depth=1.5)).origin is Origin.UNKNOWN


def test_a_bus_without_a_logged_feed_that_all_it_feeds_saw_fall(known) -> None:
    """At a current that cost nothing at other moments; one place alone does not tell it."""
    amps = {"bus": dip(2.0, 6.0, at=10)}
    volts = {"bus": dip(8.0, -1.0), "left wing": dip(8.0, -1.0), "right wing": dip(8.0, -0.75)}
    found = judged(known(volts, amps), fall("bus", depth=1.0))
    assert found.origin is Origin.SUPPLY
    assert found.together
    one = {**volts, "right wing": dip(8.0)}
    assert judged(known(one, amps), fall("bus", depth=1.0)).origin is Origin.UNKNOWN
    peak = {"bus": dip(2.0, 6.0)}  # at the highest current it may be the load
    assert judged(known(volts, peak), fall("bus", depth=1.0)).origin is Origin.UNKNOWN
