"""Brownouts from events and restarts made by hand: what lies near what, with which evidence."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from telemetry.aircraft import Aircraft, Limits, Node, Pack
from telemetry.detect.brownouts import find_brownouts, without_switching
from telemetry.model.channels import Quantity
from telemetry.results import Dropout, Event, EventKind, Evidence, Phase, PhaseKind, Restart, Span

CRAFT = Aircraft(
    bus="bus", packs=(Pack(name="pack 1"),), nodes=(Node(name="tail", fed_from="bus"),)
)
AT = ((0, PhaseKind.GROUND), (30, PhaseKind.STIR), (45, PhaseKind.GROUND), (60, PhaseKind.FLIGHT),
      (200, PhaseKind.GROUND), (300, PhaseKind.GROUND))  # fmt: skip
PHASES = tuple(Phase(kind=kind, start_s=a, end_s=b) for (a, kind), (b, _) in pairwise(AT))


def dip(start: float = 100.0, end: float = 102.0, place: str = "tail", **more: object) -> Event:
    usual: dict[str, object] = {
        "kind": EventKind.SAG,
        "reference_v": 6.0,
        "residual_v": 3.5,
        "depth_v": 2.5,
        "phase": PhaseKind.FLIGHT,
    }
    return Event(place=place, start_s=start, end_s=end, **(usual | more))  # type: ignore[arg-type]


def begun(time_s: float, place: str = "tail", **more: object) -> Restart:
    """A counter of a unit that fell silent for 1 s and began anew."""
    usual: dict[str, object] = {"column": "used", "before": 700.0, "after": 0.0, "silent_s": 1.0}
    return Restart(time_s=time_s, place=place, **(usual | more))  # type: ignore[arg-type]


@pytest.fixture
def found(make_readings):
    def find(*events, restarts=(), channels=(), phases=PHASES, aircraft=CRAFT, **more):
        readings = make_readings(*channels, **({"end_s": 300.0} | more))
        return find_brownouts(readings, phases, events, restarts, aircraft)

    return find


def test_each_place_has_its_own_restart_level(found) -> None:
    node = Node(name="tail", fed_from="bus", restart_v=4.2)
    craft = CRAFT.model_copy(update={"nodes": (node,)})
    assert found(dip(residual_v=4.1), aircraft=craft)
    assert not found(dip(residual_v=4.3), aircraft=craft)


def test_a_pack_is_a_supply_lost_only_where_it_is_the_only_one(found) -> None:
    assert not found(dip(place="pack 1"))
    alone = Aircraft(packs=(Pack(name="pack 1"),))
    assert [e.place for e in found(dip(place="pack 1"), aircraft=alone)] == ["pack 1"]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, True),
        ({"residual_v": 3.51}, False),
        ({"residual_v": None}, False),
        ({"kind": EventKind.SHIFT}, True),
        ({"kind": EventKind.UNDERVOLTAGE}, True),
        ({"kind": EventKind.SPIKE}, False),
        ({"phase": PhaseKind.STIR}, True),
        ({"phase": PhaseKind.GROUND}, False),
        ({"phase": PhaseKind.REDUNDANCY_CHECK}, False),
        ({"place": "pack 1"}, False),
        ({"place": "bus"}, True),
    ],
)
def test_what_is_a_brownout(changes: dict[str, object], told: bool, found) -> None:
    events = found(replace(dip(), **changes))
    assert [e.kind for e in events] == ([EventKind.BROWNOUT] if told else [])


def test_the_restart_level_is_that_of_the_limits(found) -> None:
    craft = CRAFT.model_copy(update={"limits": Limits(restart_v=3.0)})
    assert found(dip(), aircraft=craft) == ()


@pytest.mark.parametrize(
    ("time_s", "near"),
    [(99.0, True), (98.9, False), (117.0, True), (117.1, False)],
    ids=["1 s before", "earlier", "15 s after its end", "later"],
)
def test_a_counter_that_began_again_near_a_dip_makes_it_real(time_s, near, found) -> None:
    """A restart that no dip goes with is a brownout of its own, if its unit restarted."""
    events = found(dip(), restarts=[begun(time_s, "left wing")])
    assert len(events) == (1 if near else 2)
    if near:
        (event,) = events
        assert (event.place, event.evidence) == ("left wing", Evidence.REAL)
        assert event.note
        assert (event.start_s, event.end_s) == (100.0, 102.0)


def test_a_dip_without_a_restart_stays_where_it_was(found) -> None:
    (event,) = found(dip())
    assert (event.place, event.evidence, event.note) == ("tail", Evidence.UNKNOWN, "")


def test_a_restart_that_may_be_a_reset_makes_no_brownout_by_itself(found) -> None:
    assert found(restarts=[begun(100.0, silent_s=None)]) == ()
    assert len(found(restarts=[begun(100.0)])) == 1


@pytest.mark.parametrize(
    ("time_s", "phase"),
    [(40.0, PhaseKind.STIR), (100.0, PhaseKind.FLIGHT), (202.9, PhaseKind.FLIGHT), (203.1, None),
     (20.0, None), (47.9, PhaseKind.STIR), (61.0, PhaseKind.FLIGHT), (1.0, None)],
)  # fmt: skip
def test_the_phase_of_a_restart_is_that_of_three_seconds_before(time_s, phase, found) -> None:
    events = found(restarts=[begun(time_s)])
    assert [e.phase for e in events] == ([] if phase is None else [phase])


@pytest.mark.parametrize(
    ("kinds", "told"),
    [((PhaseKind.GROUND, PhaseKind.FLIGHT), False), ((PhaseKind.STIR, PhaseKind.GROUND), True)],
    ids=["before the start lies nothing", "the first moment counts"],
)
def test_a_restart_in_the_first_seconds(kinds, told, found) -> None:
    first, last = kinds
    phases = (
        Phase(kind=first, start_s=0.0, end_s=0.5),
        Phase(kind=PhaseKind.GROUND, start_s=0.5, end_s=30.0),
        Phase(kind=last, start_s=30.0, end_s=90.0),
    )
    assert bool(found(restarts=[begun(2.0)], phases=phases)) is told


@pytest.mark.parametrize(
    ("start_s", "end_s", "told"), [(100.0, 300.0, 1), (100.5, 300.0, 0), (0.0, 100.0, 0)]
)
def test_a_restart_of_another_part_of_the_log_is_told_there(start_s, end_s, told, found) -> None:
    assert len(found(restarts=[begun(100.0)], start_s=start_s, end_s=end_s)) == told


@pytest.mark.parametrize(("later_s", "told"), [(115.0, 1), (115.25, 2)])
def test_units_that_restart_together_are_one_brownout(later_s, told, found) -> None:
    """The first event is from 98 to 100 s: what begins again until 98 + 2 + 15 s is told."""
    restarts = [begun(100.0, "left wing", silent_s=2.0), begun(later_s, "right wing")]
    assert len(found(restarts=restarts)) == told


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [(116.0, 117.0, 1), (116.1, 117.0, 2), (84.0, 85.0, 1), (84.0, 84.9, 2)],
    ids=["within 15 s after", "later", "within 15 s before", "earlier"],
)
def test_a_brownout_is_told_where_the_supply_was_lost_first(start, end, told, found) -> None:
    events = found(dip(100.0, 101.0, "bus"), dip(start, end, "tail"))
    assert len(events) == told
    assert "bus" in [e.place for e in events]
    assert [e.start_s for e in events] == sorted(e.start_s for e in events)


def test_places_beside_one_another_are_both_told(found) -> None:
    events = found(dip(place="tail"), dip(place="left wing"))
    assert [e.place for e in events] == ["left wing", "tail"]


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [(103.0, 104.0, 1), (103.1, 104.0, 2), (98.0, 99.0, 1), (98.0, 98.9, 2), (100.5, 101.0, 1)],
)
def test_one_dip_is_one_brownout(start, end, told, found) -> None:
    """The sag from 100 to 102 s stands for what is low within a second of it."""
    under = dip(start, end, kind=EventKind.UNDERVOLTAGE, residual_v=3.4)
    events = found(under, dip())
    assert len(events) == told
    assert 3.5 in [e.residual_v for e in events]


@pytest.mark.parametrize(
    ("other", "evidence"),
    [
        ({}, Evidence.REAL),
        ({"kind": EventKind.SHIFT}, Evidence.REAL),
        ({"kind": EventKind.UNDERVOLTAGE}, Evidence.UNKNOWN),
        ({"place": "tail"}, Evidence.UNKNOWN),
        ({"depth_v": 1.2}, Evidence.UNKNOWN),
        ({"depth_v": None}, Evidence.UNKNOWN),
        ({"start_s": 102.5, "end_s": 103.0}, Evidence.REAL),
        ({"start_s": 102.6, "end_s": 103.0}, Evidence.UNKNOWN),
        ({"start_s": 99.0, "end_s": 99.5}, Evidence.REAL),
        ({"start_s": 99.0, "end_s": 99.4}, Evidence.UNKNOWN),
    ],
)
def test_a_dip_that_another_unit_saw_too_is_real(other, evidence, found) -> None:
    """Half as deep at the least, within half a second; 1.25 V here."""
    seen = dip(place="left wing", residual_v=4.0, depth_v=1.25)
    (event,) = found(dip(), replace(seen, **other))
    assert event.evidence is evidence


@pytest.mark.parametrize(
    ("own", "other", "evidence"),
    [(1.5, None, Evidence.UNKNOWN), (None, 0.25, Evidence.REAL), (None, None, Evidence.REAL)],
)
def test_a_depth_that_is_not_known_counts_nothing(own, other, evidence, found) -> None:
    seen = dip(place="left wing", residual_v=4.0, depth_v=other)
    (event,) = found(dip(depth_v=own), seen)
    assert event.evidence is evidence


@pytest.mark.parametrize(
    ("t", "v", "evidence"),
    [
        ((90, 95, 103, 110), (10, 12, 12, 13), Evidence.TELEMETRY),
        ((90, 95, 103, 110), (10, 12, 11, 13), Evidence.UNKNOWN),
        ((90, 95, 103), (10, 12, 13), Evidence.UNKNOWN),
        ((90, 95, 102, 132), (10, 12, 13, 13), Evidence.UNKNOWN),
        ((90, 95, 98, 131.9), (10, 12, 12, 12), Evidence.TELEMETRY),
        ((100, 101, 103, 104), (10, 12, 12, 13), Evidence.UNKNOWN),
        ((90, 100, 103, 104), (10, 99, 12, 12), Evidence.TELEMETRY),
        ((90, 95, 102, 104), (10, 12, 1, 12), Evidence.TELEMETRY),
    ],
    ids=["ran on", "fell", "three readings", "none within 30 s after", "one just within",
         "none before", "at its start is not before", "at its end is not after"],
)  # fmt: skip
@pytest.mark.parametrize("quantity", [Quantity.CONSUMED, Quantity.ENERGY, Quantity.UPTIME])
def test_a_counter_that_ran_on_tells_of_telemetry(
    t, v, evidence, quantity, found, make_reading
) -> None:
    (event,) = found(dip(), channels=[make_reading("tail", quantity, t, v)])
    assert event.evidence is evidence


@pytest.mark.parametrize(
    ("place", "quantity"), [("bus", Quantity.CONSUMED), ("tail", Quantity.CURRENT)]
)
def test_only_the_place_s_own_counter_tells(place, quantity, found, make_reading) -> None:
    other = make_reading(place, quantity, (90, 95, 103, 110), (10, 12, 12, 13))
    assert found(dip(), channels=[other])[0].evidence is Evidence.UNKNOWN


VOLTS_T = (84.9, 85.0, 96.0, 97.0, 97.5, 98.0, 100.5, 101.0)
VOLTS_V = (1.0, 3.0, 4.0, 5.0, 5.5, 0.5, 6.5, 0.2)


@pytest.mark.parametrize("place", ["tail", "bus"], ids=["its own", "another's"])
def test_a_restart_without_a_low_reading(place: str, found, make_reading) -> None:
    """Silent from 98 s on. The last three readings before: 4.0, 5.0, 5.5 V.

    From 15 s before the restart to 1 s after it: 3.0, 4.0, 5.0, 5.5, 0.5, 6.5 V, median 4.5 V.
    """
    volts = make_reading(place, Quantity.VOLTAGE, VOLTS_T, VOLTS_V)
    empty = make_reading("tail", Quantity.VOLTAGE, (), ())
    channels = [volts] if place == "tail" else [empty, volts]
    (event,) = found(restarts=[begun(100.0, silent_s=2.0)], channels=channels)
    assert (event.kind, event.place, event.evidence) == (EventKind.BROWNOUT, "tail", Evidence.REAL)
    assert (event.start_s, event.end_s) == (98.0, 100.0)
    assert (event.residual_v, event.reference_v, event.depth_v) == (4.0, 4.5, 0.5)
    assert "from 700 to 0" in event.note


def test_a_restart_with_few_readings_before_it_or_none(found, make_reading) -> None:
    two = make_reading("tail", Quantity.VOLTAGE, (96.0, 97.0, 100.5), (4.0, 5.0, 6.0))
    (event,) = found(restarts=[begun(100.0, silent_s=2.0)], channels=[two])
    assert (event.residual_v, event.reference_v) == (4.0, 5.0)
    none = make_reading("tail", Quantity.VOLTAGE, (98.0, 100.5), (4.0, 5.0))
    for channels in ([none], []):
        (event,) = found(restarts=[begun(100.0, silent_s=2.0)], channels=channels)
        assert (event.residual_v, event.reference_v, event.depth_v) == (None, None, None)


def test_a_clock_whose_silence_is_not_known_restarts_at_once(found) -> None:
    (event,) = found(restarts=[begun(100.0, silent_s=None, clock=True, after=3.0)])
    assert (event.start_s, event.end_s) == (100.0, 100.0)


# --- the pilot's switch


def ground(start: float = 210.0, end: float = 212.0, place: str = "bus", **more: object) -> Event:
    return dip(start, end, place, **({"phase": PhaseKind.GROUND, "residual_v": 3.0} | more))


@pytest.fixture
def kept(make_readings, make_reading):
    def keep(*events, restarts=(), supplies=("bus",), **more):
        volts = [make_reading(p, Quantity.VOLTAGE, (1.0,), (6.0,)) for p in supplies]
        empty = make_reading("tail", Quantity.VOLTAGE, (), ())
        readings = make_readings(*volts, empty, end_s=300.0, **more)
        return len(without_switching(events, restarts, readings, Aircraft()))

    return keep


@pytest.mark.parametrize(
    ("time_s", "stays"), [(208.0, 0), (207.9, 1), (242.0, 0), (242.1, 1)],
    ids=["2 s before", "earlier", "30 s after its end", "later"],
)  # fmt: skip
def test_a_fall_on_the_ground_with_a_counter_begun_anew(time_s, stays, kept) -> None:
    assert kept(ground(), restarts=[begun(time_s)]) == stays
    assert kept(ground(phase=PhaseKind.FLIGHT), restarts=[begun(time_s)]) == 1
    assert kept(ground(residual_v=None), restarts=[begun(time_s)]) == 1


@pytest.mark.parametrize(
    ("start", "end", "stays"),
    [(215.0, 220.0, 0), (215.1, 220.0, 1), (200.0, 207.0, 0), (200.0, 206.9, 1)],
    ids=["3 s after", "later", "3 s before", "earlier"],
)
def test_a_fall_beside_a_stretch_without_telemetry(start, end, stays, kept) -> None:
    assert kept(ground(), gaps=(Span(start_s=start, end_s=end),)) == stays
    lost = Dropout(place=None, start_s=start, end_s=end, kind="blank")
    assert kept(ground(), dropouts=(lost,)) == stays
    assert kept(ground(), dropouts=(replace(lost, place="tail"),)) == 1


@pytest.mark.parametrize(("residual_v", "stays"), [(1.4, 0), (1.5, 1), (0.0, 0)])
def test_a_fall_to_nothing_of_the_only_supply(residual_v, stays, kept) -> None:
    assert kept(ground(residual_v=residual_v)) == stays
    assert kept(ground(residual_v=residual_v), supplies=("bus", "pack 1")) == stays


@pytest.mark.parametrize(
    ("start", "end", "stays"),
    [(215.0, 216.0, 0), (215.1, 216.0, 2), (205.0, 207.0, 0), (205.0, 206.9, 2)],
)
def test_all_supplies_fall_together_within_3_s(start, end, stays, kept) -> None:
    events = ground(residual_v=0.0), ground(start, end, "left wing", residual_v=0.0)
    assert kept(*events, supplies=("bus", "left wing")) == stays
    assert kept(events[0], supplies=("bus", "left wing")) == 1
    assert kept(events[0], replace(events[1], residual_v=3.0), supplies=("bus", "left wing")) == 2


def test_a_bus_at_zero_whose_nodes_held_is_a_false_reading(found, make_reading) -> None:
    """Its node was read four times meanwhile and stayed; one that fell makes it a lost supply."""
    t = [0.5 * k for k in range(400)]
    zero = dip(place="bus", residual_v=0.0, depth_v=6.0)
    for lowest_v, evidence in ((5.0, Evidence.TELEMETRY), (2.0, Evidence.UNKNOWN)):
        volts = [lowest_v if k == 202 else 6.0 for k in range(400)]
        node = make_reading("tail", Quantity.VOLTAGE, t, volts)
        (event,) = found(zero, channels=(node,))
        assert event.evidence is evidence
