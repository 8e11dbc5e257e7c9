"""Surfaces told by a check of one control after the other, without control columns."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.app.pipeline import review
from telemetry.measure.control_check import check_shares
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.report.document import Table
from telemetry.report.parts.measures import servos_section
from telemetry.results import Phase, PhaseKind, ServoShare

WINGS = ("left wing", "right wing")
NODES = (*WINGS, "tail", "fuselage")
# Each control is moved three times: there, across, back. Rest current 0.2 A, moving 1.0 A more.
MOVES = ((0.0, 0.8), (1.6, 2.6), (3.4, 4.2))
SERVOS = (
    Servo(node="left wing", output=1, drives="left aileron"),
    Servo(node="right wing", output=1, drives="right aileron"),
    Servo(node="tail", output=1, drives="elevator", count=2),
    Servo(node="tail", output=2, drives="rudder"),
    Servo(node="fuselage", output=4, drives="rudder"),
    Servo(node="bus", output=1, drives="throttle"),
)


def craft(servos: tuple[Servo, ...] = SERVOS, nodes: tuple[str, ...] = NODES) -> Aircraft:
    return Aircraft(
        bus="bus", nodes=tuple(Node(name=n, fed_from="bus") for n in nodes), servos=servos
    )


def made(
    order: tuple[tuple[str, ...], ...],
    *,
    step_s: float = 0.1,
    amps: float = 1.0,
    held: float = 0.0,
    nodes: tuple[str, ...] = NODES,
    start: str | None = None,
    apart_s: float = 6.5,
) -> Log:
    """A minute on the ground; the places of ``order`` move one group after the other."""
    t = np.arange(0.0, 20.0 + apart_s * len(order) + 20.0, step_s)
    rng = np.random.default_rng(4)
    current = {n: 0.2 + 0.01 * rng.standard_normal(t.size) for n in (*nodes, "bus")}
    for k, places in enumerate(order):
        begin = 20.0 + apart_s * k
        between = (t >= begin) & (t < begin + MOVES[-1][1])
        for place in places:
            moving = np.zeros(t.size, dtype=bool)
            for a, b in MOVES:
                moving |= (t >= begin + a - 1e-9) & (t < begin + b - 1e-9)
            current[place] = current[place] + amps * moving + held * (between & ~moving)
    current["bus"] = sum(current.values())
    frame = {f"{p}/current": np.round(v, 2) for p, v in current.items()}
    frame |= {f"{p}/voltage": np.round(6.0 - 0.01 * v, 3) for p, v in current.items()}
    channels = tuple(
        Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
        for k in frame
    )
    return Log(
        frame=pd.DataFrame(frame, index=pd.Index(t, name="time_s")),
        channels=channels,
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=t.size, start=start),
    )


def told(log: Log, aircraft: Aircraft) -> list[ServoShare]:
    ground = (Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=1e9),)
    return list(check_shares(take_readings(log, aircraft.limits), aircraft, ground))


ONE_BY_ONE = (WINGS, ("tail",), ("tail", "fuselage"), ("bus",))


def test_each_control_is_named_by_its_nodes() -> None:
    found = told(made(ONE_BY_ONE), craft())
    assert [(s.drives, s.place, s.outputs) for s in found] == [
        ("aileron", "left wing", ("1",)),
        ("aileron", "right wing", ("1",)),
        ("elevator", "tail", ("1",)),
        ("rudder", "fuselage", ("4",)),
        ("rudder", "tail", ("2",)),
        ("throttle", "bus", ("1",)),
    ]
    for s in found:
        assert s.basis == "control check"
        assert s.moves == 3
        assert s.travel_a_per_pct_s is None  # nothing tells how far or how fast it moved
        assert s.moving_low_a is not None
        assert s.moving_high_a is not None
        assert s.moving_low_a <= 1.0 <= s.moving_high_a
        assert s.moving_a == pytest.approx(1.0, rel=0.15)
        assert s.condition_index < 10
    # Two elevator servos on one output stay a pair; a single servo is told apart.
    assert {s.drives: s.separable for s in found if s.place == "tail"} == {
        "elevator": False,
        "rudder": True,
    }


def test_a_surface_held_against_its_stop_shows_between_the_moves() -> None:
    for held in (0.0, 0.4):
        for s in told(made(ONE_BY_ONE[:3], held=held), craft()):
            assert s.resting_a == pytest.approx(held, abs=0.03)


def test_surfaces_at_the_same_nodes_stay_a_group() -> None:
    flaps = tuple(Servo(node=n, output=2, drives="flap") for n in WINGS)
    found = told(made((WINGS, ("tail",), WINGS)), craft((*SERVOS, *flaps)))
    wings = [s for s in found if s.place in WINGS]
    # Two controls moved at the wings, and nothing tells which came first.
    assert [s.drives for s in wings] == ["aileron or flap"] * 4
    assert not any(s.separable for s in wings)
    assert wings[0].outputs == ("1", "2")


def test_a_servo_too_small_to_be_seen_forbids_the_name() -> None:
    # The rudder also lives in the fuselage; where its servo there is not seen to move, the tail
    # alone may have been either.
    found = told(made((WINGS, ("tail",))), craft())
    assert [s.drives for s in found if s.place == "tail"] == ["elevator or rudder"]


def test_without_a_profile_only_the_nodes_are_told() -> None:
    bare = craft(servos=())
    found = told(made(ONE_BY_ONE[:3]), bare)
    assert {s.place for s in found} == set(NODES)
    for s in found:
        assert s.drives is None
        assert s.outputs == ()
        assert s.separable is False


def test_outputs_are_read_as_of_the_day() -> None:
    moved = (
        *SERVOS[:3],
        Servo(node="fuselage", output=4, drives="flap", until=date(2026, 5, 14)),
        Servo(node="fuselage", output=4, drives="rudder", since=date(2026, 5, 14)),
    )
    for day, name in (("2026-05-13", "flap"), ("2026-05-14", "rudder")):
        log = made((WINGS, ("tail",), ("fuselage",)), start=f"{day}T10:00:00")
        found = review(log, craft(moved)).flights[0].servos
        assert {s.drives for s in found if s.place == "fuselage"} == {name}


def test_no_check_no_names() -> None:
    everything = (NODES, NODES, NODES)
    assert told(made(everything), craft()) == []  # a stir moves all at once
    assert told(made((("tail",), ("tail",))), craft()) == []  # steering while taxiing
    assert told(made(ONE_BY_ONE, nodes=NODES, amps=0.0), craft()) == []
    assert told(made(ONE_BY_ONE, apart_s=15.0), craft()) == []  # no sequence
    alone = Aircraft(bus="bus", servos=(Servo(node="bus", output=1, drives="aileron"),))
    assert told(made(((), ()), nodes=()), alone) == []  # only the whole is logged


def test_readings_too_far_apart_to_see_every_move() -> None:
    """A unit that reads once in 2 s misses moves of a second: no place surely stood still."""
    assert told(made(ONE_BY_ONE, step_s=2.0), craft()) == []
    # At 0.5 s the moves are seen, but two of three end within two readings: names, and a range
    # that is wide, or none.
    for s in told(made(ONE_BY_ONE[:3], step_s=0.5), craft()):
        assert s.drives is not None
        if s.moving_a is not None:
            assert s.moving_low_a is not None
            assert s.moving_high_a is not None
            assert s.moving_low_a <= 1.0 <= s.moving_high_a


def test_the_review_takes_the_check_where_no_control_is_logged() -> None:
    (flight,) = review(made(ONE_BY_ONE), craft()).flights
    assert {s.drives for s in flight.servos} == {"aileron", "elevator", "rudder", "throttle"}


def test_the_report_shows_what_the_check_told() -> None:
    section = servos_section(review(made(ONE_BY_ONE), craft()))
    assert section is not None
    (table,) = section.blocks
    assert isinstance(table, Table)
    assert table.caption.endswith(", A")
    words = [[cell.text for cell in row] for row in table.rows]
    assert [row[:3] for row in words[:2]] == [
        ["left wing", "aileron", "3"],
        ["right wing", "aileron", "3"],
    ]


def test_a_node_that_reads_too_coarsely_keeps_the_main_unit_from_being_named() -> None:
    """The tail's sensor has steps of 0.8 A: what the whole alone shows may be the tail's."""
    log = made((WINGS, ("bus",), WINGS))
    assert any(s.drives == "throttle" for s in told(log, craft(nodes=(*WINGS, "tail"))))
    frame = log.frame.copy()
    coarse = np.where(np.arange(len(frame)) % 97 == 0, 0.8, 0.0)
    frame["tail/current"] = coarse * (frame.index.to_numpy() < 15.0)
    shares = told(dataclasses.replace(log, frame=frame), craft(nodes=(*WINGS, "tail")))
    assert all(s.drives != "throttle" for s in shares)
