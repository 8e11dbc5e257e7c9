"""Where a fall of voltage came from: simulated faults and healthy flights against their truth."""

from __future__ import annotations

from collections import Counter

import pytest

from telemetry.detect.path.placing import place_events
from telemetry.detect.phases import find_parts
from telemetry.detect.sags import find_voltage_events
from telemetry.measure.packs import pack_outs
from telemetry.measure.resistance import measure_resistances
from telemetry.results import EventKind, Origin
from telemetry.simulate import Fault, FaultKind

FLIGHT = "rest 20, stir 10, rest 15, flight 260, rest 20"


def placed(case):
    (part,) = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    outs = pack_outs(case.readings, case.aircraft, part.phases)
    resistances = measure_resistances(case.readings, case.aircraft, part.phases, outs)
    events = find_voltage_events(case.readings, part.phases, case.aircraft, case.aircraft.limits)
    return place_events(events, case.readings, case.aircraft, resistances)


@pytest.mark.parametrize("interval_s", [None, 0.5, 1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_healthy_flights_blame_no_part(seed, interval_s, make_case) -> None:
    events = placed(make_case(FLIGHT, seed=seed, interval_s=interval_s))
    assert {e.origin for e in events} <= {Origin.LOAD, Origin.UNKNOWN}


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_bad_contact_is_placed_at_its_node(seed, make_case) -> None:
    fault = Fault(kind=FaultKind.CONTACT, place="left wing", start=3.0)
    events = placed(make_case(FLIGHT, seed=seed, faults=[fault], interval_s=0.2))
    blamed = Counter(e.place for e in events if e.origin is Origin.CONTACT)
    assert blamed["left wing"] >= 1
    assert set(blamed) == {"left wing"}
    for e in events:
        if e.origin is Origin.CONTACT:
            assert any(
                c.start_s - 1.0 <= e.end_s and e.start_s <= c.end_s + 1.0
                for c in case_contacts(make_case, seed, fault)
            )


def case_contacts(make_case, seed, fault):
    return make_case(FLIGHT, seed=seed, faults=[fault], interval_s=0.2).rec.truth.contacts


@pytest.mark.parametrize("seed", [1, 2])
def test_more_resistance_in_a_lead_is_load_and_no_contact(seed, make_case) -> None:
    """A steady resistance lets the load explain the sags: it shows in the resistance instead."""
    fault = Fault(kind=FaultKind.CONNECTOR, place="left wing", start=0.08)
    case = make_case(FLIGHT, seed=seed, faults=[fault])
    events = placed(case)
    assert any(e.place == "left wing" for e in events)
    assert {e.origin for e in events} <= {Origin.LOAD, Origin.UNKNOWN}
    explained = [e.explained for e in events if e.place == "left wing"]
    assert sum(x is not None and x > 0.6 for x in explained) >= 0.7 * len(explained)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_pack_that_leaves_is_a_shift_of_that_pack(seed, make_case) -> None:
    fault = Fault(kind=FaultKind.PACK_OUT, place="pack 1", start=1.0)
    case = make_case(FLIGHT, seed=seed, faults=[fault])
    (_, out), *_ = case.rec.truth.outages
    shifts = [e for e in placed(case) if e.kind is EventKind.SHIFT and e.place == "pack 1"]
    assert [e.origin for e in shifts] == [Origin.PACK]
    assert shifts[0].start_s == pytest.approx(out.start_s, abs=1.0)


def test_what_is_explained_is_a_share_or_nothing(make_case) -> None:
    fault = Fault(kind=FaultKind.CONTACT, place="tail", start=3.0)
    for e in placed(make_case(FLIGHT, seed=6, faults=[fault])):
        assert e.explained is None or 0.0 <= e.explained <= 1.0
        assert (e.explained is None) == (e.explained_by is None)
