"""Nodes fed from another node: path, resistances, margins, placing, budget and figure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Lead, Node, Pack, Servo
from telemetry.aircraft.profile import path_tree
from telemetry.app.pipeline import review
from telemetry.circuit.budget import budget
from telemetry.circuit.measured import measured_in
from telemetry.importer import read_log
from telemetry.measure.sharing import sharing_of
from telemetry.report.figures.stops import stops_of
from telemetry.results import Review
from telemetry.simulate import (
    AircraftModel,
    Dialect,
    Fault,
    FaultKind,
    NodeModel,
    Pilot,
    Segment,
    SegmentKind,
    SimulatedRecording,
    move,
    simulate,
    write_csv,
)
from telemetry.simulate.demo import tern
from tests.simulated.cases import random_telemetry

# The outer panel of each wing is fed from the inner one: node 3 from the left, node 4 from the
# right wing. All of it is invented.
OUTER = {"left wing": "node 3", "right wing": "node 4"}


def machine() -> AircraftModel:
    craft = tern()
    outer = (
        NodeModel(name=o, fed_from=i, lead_ohm=0.030, connector_ohm=0.006) for i, o in OUTER.items()
    )
    servos = []
    for s in craft.servos:
        if s.control == "flap":
            s = replace(s, node=OUTER[s.node], control="aileron", travel_a=1.0, hold_a=3.0)
        servos.append(s)
    return replace(craft, nodes=(*craft.nodes, *outer), servos=tuple(servos))


PROFILE = Aircraft(
    name="nested",
    bus="bus",
    packs=(Pack(name="pack 1"), Pack(name="pack 2")),
    nodes=(
        Node(
            name="left wing", fed_from="bus", mirror="right wing", lead=Lead(awg=16, length_m=0.7)
        ),
        Node(name="right wing", fed_from="bus", lead=Lead(awg=16, length_m=0.7)),
        Node(name="tail", fed_from="bus", lead=Lead(awg=16, length_m=1.1)),
        Node(name="node 3", fed_from="left wing", mirror="node 4", lead=Lead(awg=20, length_m=0.5)),
        Node(name="node 4", fed_from="right wing", lead=Lead(awg=20, length_m=0.5)),
    ),
    servos=(
        *(Servo(node=i, output=1, drives="aileron", count=2) for i in OUTER),
        *(Servo(node=o, output=1, drives="aileron") for o in OUTER.values()),
        Servo(node="tail", output=1, drives="elevator", count=2),
        Servo(node="tail", output=3, drives="rudder", count=2),
    ),
)


def recorded(faulty: str) -> SimulatedRecording:
    rng = np.random.default_rng(5)
    craft = machine()
    telemetry = random_telemetry(rng, craft, node_currents=True, controls=False, interval_s=0.2)
    plan = [(SegmentKind.REST, 20.0), (SegmentKind.CHECK, 15.0), (SegmentKind.REST, 8.0)]
    plan += [(SegmentKind.STIR, 12.0), (SegmentKind.REST, 10.0), (SegmentKind.FLIGHT, 240.0)]
    plan.append((SegmentKind.REST, 15.0))
    segments = tuple(Segment(kind=k, seconds=s) for k, s in plan)
    pilot = Pilot()
    motion = move(segments, pilot, pilot.day(rng), rng, dt_s=0.02)
    fault = Fault(kind=FaultKind.CONNECTOR, place=faulty, onset=1, start=0.045)
    return simulate(craft, telemetry, motion, rng, faults=(fault,))


@pytest.fixture(scope="module", params=["node 3", "left wing"])
def case(
    request: pytest.FixtureRequest, tmp_path_factory
) -> tuple[str, SimulatedRecording, Review]:
    recording = recorded(request.param)
    path = write_csv(
        Path(tmp_path_factory.mktemp("nested")) / "log.csv", recording, dialect=Dialect()
    )
    return request.param, recording, review(read_log(path), PROFILE)


def test_each_drop_is_measured_from_the_place_that_feeds(case) -> None:
    _, recording, found = case
    branches = {r.place: r for r in found.flights[0].resistances if r.kind == "branch"}
    for place, parent in {**{o: i for i, o in OUTER.items()}, "left wing": "bus"}.items():
        r = branches[place]
        assert r.parent == parent
        assert r.mohm is not None
        assert r.low_mohm is not None
        assert r.high_mohm is not None
        # The connector is plugged in a little differently each time; that is part of the truth.
        truth = recording.truth.branch_mohm[place]
        assert r.mohm == pytest.approx(truth, rel=0.25)


def test_the_fault_is_placed_on_its_own_lead_alone(case) -> None:
    faulty, _, found = case
    high = {f.place for f in found.findings if f.code == "branch-resistance-high"}
    assert high == {faulty}


def test_margins_fall_down_the_path(case) -> None:
    _, _, found = case
    (flight,) = found.flights
    lost = {m.place: c.voltage_v for m in flight.margins for c in m.cases if c.case == "pack-lost"}
    for inner, outer in OUTER.items():
        assert lost["bus"] > lost[inner] > lost[outer]
    amps = {load.place: load.peak_a for load in flight.loads}
    assert amps["left wing"] > amps["node 3"]  # what feeds a node carries its current too


def test_the_budget_knows_whose_lead_it_is(case) -> None:
    faulty, _, found = case
    (flight,) = found.flights
    packs = sharing_of(found.readings, PROFILE, flight.phases, flight.pack_outs)
    measured = measured_in(flight.phases, found.readings, PROFILE, packs)
    made = budget(PROFILE, flight.resistances, measured)
    rows = {lead.place: lead for lead in made.leads}
    assert set(rows) == {n.name for n in PROFILE.nodes}
    assert rows[faulty].differs
    excess = {place: row.excess_mohm.value for place, row in rows.items() if row.excess_mohm}
    assert max(excess, key=excess.__getitem__) == faulty
    assert all(row.worst_drop_v is not None for row in rows.values())


def test_tree_and_figure_hang_a_node_below_the_one_that_feeds_it() -> None:
    lines = path_tree(PROFILE).splitlines()
    wing, outer = (
        next(n for n, x in enumerate(lines) if w in x) for w in ("left wing:", "node 3:")
    )
    assert outer > wing
    assert lines[outer].index("node 3") > lines[wing].index("left wing")
    stops = {s.place: s for s in stops_of(PROFILE)}
    assert stops["node 3"].joined == ("left wing",)
    assert stops["node 3"].depth == stops["left wing"].depth + 1


def test_a_check_moves_the_outer_node_and_the_one_that_feeds_it(case) -> None:
    _, _, found = case
    told = {(s.place, s.drives) for s in found.flights[0].servos}
    assert ("node 3", "aileron") in told
    assert ("tail", "elevator or rudder") in told
