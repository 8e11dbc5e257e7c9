"""Sags, brownouts, dropouts and false readings of simulated recordings against their truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Node
from telemetry.app.pipeline import review
from telemetry.detect.brownouts import find_brownouts
from telemetry.detect.phases import find_parts
from telemetry.detect.quality import judge_quality
from telemetry.detect.restarts import find_restarts
from telemetry.detect.sags import deficit_vs, find_voltage_events
from telemetry.model.channels import Quantity
from telemetry.results import EventKind, Evidence, Level, PhaseKind
from telemetry.simulate import Fault, FaultKind

FLIGHT = "rest 20, stir 10, rest 15, flight 240, rest 20"


def judged(case):
    (part,) = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    events = find_voltage_events(case.readings, part.phases, case.aircraft, case.aircraft.limits)
    return part.phases, events


@pytest.mark.parametrize("seed", range(1, 5))
def test_sags_are_those_of_the_readings(seed, make_case) -> None:
    """Each sag lies where the true voltage fell, no deeper than it truly was."""
    fault = Fault(kind=FaultKind.CONTACT, place="left wing", start=3.0)
    case = make_case(FLIGHT, seed=seed, faults=[fault], interval_s=0.25)
    _, events = judged(case)
    sags = [e for e in events if e.kind is EventKind.SAG]
    assert sags
    t = case.rec.time_s
    for e in sags:
        true = case.rec.signals[f"{e.place}/voltage"]
        near = (t >= e.start_s - 0.5) & (t <= e.end_s + 0.5)
        assert true[near].min() <= e.residual_v + 0.011
        assert e.depth_v == pytest.approx(e.reference_v - e.residual_v)
        assert e.depth_v > max(0.05 * e.reference_v, 0.25) - 1e-9


def test_a_long_bad_contact_is_not_missed(make_case) -> None:
    """A contact longer than the update interval shows at least once (chance min(1, d/T) = 1)."""
    fault = Fault(kind=FaultKind.CONTACT, place="left wing", start=3.0)
    case = make_case(FLIGHT, seed=5, faults=[fault], interval_s=0.2)
    _, events = judged(case)
    t = case.rec.time_s
    true = case.rec.signals["left wing/voltage"]
    for c in case.rec.truth.contacts:
        inside = (t >= c.start_s) & (t < c.end_s)
        usual = np.median(true[(t > c.start_s - 20) & (t < c.start_s)])
        if c.duration_s > 0.25 and true[inside].max() < usual - 0.7:
            assert any(e.start_s - 0.5 <= c.end_s and e.end_s + 0.5 >= c.start_s for e in events)


def test_brownout_of_the_bus_is_real_by_its_counters(make_case) -> None:
    fault = Fault(kind=FaultKind.BROWNOUT, place="bus", start=1.0)
    case = make_case(FLIGHT, seed=3, faults=[fault])
    phases, events = judged(case)
    restarts = find_restarts(case.log, case.readings)
    found = find_brownouts(case.readings, phases, events, restarts, case.aircraft)
    true = [o for o in case.rec.truth.outages if o[0] == "bus"]
    assert len(found) == len(true) == 1
    assert found[0].evidence is Evidence.REAL
    assert found[0].place == "bus"
    assert found[0].phase is PhaseKind.FLIGHT
    assert abs(found[0].start_s - true[0][1].start_s) < 1.0


def test_power_cycle_on_the_ground_is_no_brownout(make_case) -> None:
    case = make_case("rest 20, stir 10, rest 15, power-off 20, rest 30, stir 10, rest 15", seed=2)
    (part,) = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    restarts = find_restarts(case.log, case.readings)
    assert restarts
    assert find_brownouts(case.readings, part.phases, (), restarts, case.aircraft) == ()


def test_link_loss_is_a_dropout_and_no_event(make_case) -> None:
    fault = Fault(kind=FaultKind.LINK_LOSS, place="bus", start=3.0)
    case = make_case(FLIGHT, seed=4, faults=[fault])
    phases, events = judged(case)
    quality = judge_quality(case.log, case.readings, case.aircraft)
    assert find_brownouts(case.readings, phases, events, quality.restarts, case.aircraft) == ()
    assert len(case.rec.truth.losses) == len(quality.dropouts)
    for loss, found in zip(
        sorted(case.rec.truth.losses, key=lambda x: x.start_s), quality.dropouts, strict=True
    ):
        assert abs(found.start_s - loss.start_s) < 0.6
        assert abs(found.end_s - loss.end_s) < 0.6


def test_false_readings_are_set_aside_and_make_no_event(make_case) -> None:
    fault = Fault(kind=FaultKind.SPURIOUS, place="left wing", start=3.0)
    case = make_case(FLIGHT, seed=6, faults=[fault])
    _, events = judged(case)
    found = sorted(s.time_s for s in case.readings.spurious)
    assert found == pytest.approx(sorted(w.time_s for w in case.rec.truth.wrong), abs=0.6)
    assert all((e.residual_v or 1.0) > 3.0 for e in events)


@pytest.mark.parametrize("seed", range(3))
def test_intervals_and_balance_against_the_sensors(seed, make_case) -> None:
    case = make_case(FLIGHT, seed=seed)
    true = {u.place: u.interval_s for u in case.rec.telemetry.units}
    for r in case.readings.channels:
        if r.channel.quantity in (Quantity.VOLTAGE, Quantity.CURRENT):
            assert r.update_s == pytest.approx(max(true[r.place], 0.1), rel=0.12)
    quality = judge_quality(case.log, case.readings, case.aircraft)
    assert quality.shortest_sure_dip_s == pytest.approx(max(true.values()), rel=0.12)
    assert quality.balance_a == pytest.approx(case.rec.aircraft.bus_a, abs=0.15)
    assert quality.gaps == quality.restarts == quality.dropouts == quality.spurious == ()


def test_the_balance_counts_each_current_once(make_case) -> None:
    """A profile may list the bus as a node, and a node behind a node: neither counts twice."""
    case = make_case(FLIGHT, seed=1)
    plain = judge_quality(case.log, case.readings, case.aircraft).balance_a
    bus = Node(name="bus")
    listed = case.aircraft.model_copy(update={"nodes": (bus, *case.aircraft.nodes)})
    assert judge_quality(case.log, case.readings, listed).balance_a == plain
    behind = Node(name="tail", fed_from="left wing")
    nodes = tuple(behind if n.name == "tail" else n for n in case.aircraft.nodes)
    chained = case.aircraft.model_copy(update={"nodes": nodes})
    tail = case.readings.get(Quantity.CURRENT, "tail")
    balance = judge_quality(case.log, case.readings, chained).balance_a
    assert balance == pytest.approx(plain + np.median(tail.v), abs=0.3)


def test_deficit_by_hand() -> None:
    # 0.5 V for 1 s and 0.2 V for 2 s below 6 V.
    t, v = np.array([10.0, 11.0]), np.array([5.5, 5.8])
    assert deficit_vs(t, v, 6.0, 13.0) == pytest.approx(0.5 * 1 + 0.2 * 2)


@pytest.mark.parametrize("held", [1, 2])
def test_a_false_zero_held_for_two_rows_is_one_reading(held, make_case) -> None:
    """Of a quiet bus the interval is found short, and a held value counts twice."""
    case = make_case(FLIGHT, seed=3, interval_s=0.5, row_s=0.5)
    frame = case.log.frame.copy()
    at = int(np.searchsorted(case.log.time_s, 150.0))
    frame.iloc[at : at + held, list(frame.columns).index("bus/voltage")] = 0.0
    seen = review(replace(case.log, frame=frame))
    assert [s.place for s in seen.quality.spurious] == ["bus"]
    assert [(f.code, f.place) for f in seen.findings if f.level >= Level.WATCH] == []
