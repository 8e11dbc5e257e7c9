"""Findings on the voltage, from records made by hand: whose fall it is, and what is told once."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.in_flight import judge_log
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Flight,
    Margin,
    Origin,
    OutKind,
    OutSign,
    PackOut,
    Phase,
    PhaseKind,
    Quality,
)

CRAFT = Aircraft.model_validate(
    {
        "name": "tern",
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [{"name": "left wing", "fed_from": "bus"}, {"name": "tail", "fed_from": "bus"}],
    }
)
PHASES = (Phase(kind=PhaseKind.FLIGHT, start_s=0, end_s=300),)


def sag(
    place: str, at_s: float, origin: Origin, depth_v: float = 0.5, *, unloaded: bool = False
) -> Event:
    return Event(
        kind=EventKind.SAG, place=place, start_s=at_s, end_s=at_s + 0.5, reference_v=7.0,
        residual_v=7.0 - depth_v, depth_v=depth_v, phase=PhaseKind.FLIGHT, origin=origin, updates=2,
        unloaded=unloaded,
    )  # fmt: skip


def codes(
    *events: Event, outs: tuple[PackOut, ...] = (), craft: Aircraft = CRAFT
) -> list[tuple[str, str | None]]:
    flight = Flight(
        kind="flight", start_s=0, end_s=300, phases=PHASES, events=events, pack_outs=outs,
        margins=(Margin(place="bus", lowest_v=6.5, restart_v=3.5, observed_v=3.0),),
    )  # fmt: skip
    found = judge_log(
        aircraft=craft, columns=(), flights=(flight,),
        quality=Quality(row_s=0.1, shortest_sure_dip_s=0.2),
    ).findings  # fmt: skip
    return [(f.code, f.place) for f in found if f.code not in ("log-too-thin", "pack-out")]


def test_what_a_bus_did_itself_decides_over_what_its_nodes_show() -> None:
    nodes = (sag("tail", 100, Origin.SUPPLY), sag("left wing", 100.2, Origin.SUPPLY))
    assert codes(*nodes) == [], "the bus is read and did not fall"
    assert codes(*nodes, sag("bus", 100.1, Origin.UNKNOWN)) == []
    assert codes(*nodes, sag("bus", 100.1, Origin.LOAD)) == []
    assert codes(*nodes, sag("bus", 100.1, Origin.SUPPLY)) == [("regulator-droop", "bus")]
    often = [sag("tail", at, Origin.SUPPLY) for at in (50, 100, 150)]
    assert codes(*often) == [("regulator-droop", "bus")], "three are no chance"


def test_a_bus_that_fell_while_its_only_pack_held_is_told_at_the_bus() -> None:
    one = CRAFT.model_copy(update={"packs": CRAFT.packs[:1]})
    assert one.parent("bus") == "pack 1"
    falls = [sag("bus", at, Origin.SUPPLY) for at in (50, 100, 150)]
    assert codes(*falls, craft=one) == [("regulator-droop", "bus")]


def test_falls_of_a_bus_that_no_load_makes_are_told_where_no_pack_is_logged() -> None:
    falls = [sag("bus", at, Origin.UNKNOWN, unloaded=True) for at in (50, 100, 150)]
    assert codes(*falls) == [("sag-unexplained", "bus")]
    assert codes(*falls[:2]) == [], "two may be chance"
    may_be_load = [sag("bus", at, Origin.UNKNOWN) for at in (50, 100, 150)]
    assert codes(*may_be_load) == []


def test_what_one_pack_alone_does_to_the_bus_is_told_of_the_lost_pack() -> None:
    out = PackOut(
        place="pack 2", kind=OutKind.LOST, start_s=90, end_s=300, back=False, share_before=0.5,
        carried_a=9.0, bus_v=6.4, own_v=0.0, sign=OutSign.DEAD,
    )  # fmt: skip
    falls = [sag("bus", at, Origin.SUPPLY) for at in (100, 150, 200)]
    assert codes(*falls) == [("regulator-droop", "bus")]
    assert codes(*falls, outs=(out,)) == []


def test_falls_of_a_brownout_are_told_once() -> None:
    lost = Event(
        kind=EventKind.BROWNOUT, place="bus", start_s=100, end_s=101.5, phase=PhaseKind.FLIGHT,
        evidence=Evidence.REAL,
    )  # fmt: skip
    falls = (sag("tail", 100.1, Origin.CONTACT, 5.0), sag("bus", 100.1, Origin.SUPPLY, 5.0))
    assert codes(lost, *falls) == [("brownout", "bus")]
    later = sag("tail", 200, Origin.CONTACT)
    assert codes(lost, *falls, later) == [("brownout", "bus"), ("sag-unexplained", "tail")]
