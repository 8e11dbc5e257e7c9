"""Features of one flight from hand-made readings and records: each rule by itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Limits, Node, Pack, PackLabel
from telemetry.app.cache import measured
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import Reading, Readings, take_readings
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    Origin,
    Phase,
    PhaseKind,
    Quality,
    Review,
    ServoShare,
    Stir,
    StirPlace,
)
from telemetry.trends.features.flight import (
    block_series,
    counted_falls,
    group_draws,
    load_places,
    measure_flight,
    place_currents,
    start_temperature,
)

Make = Callable[..., Any]


def readings(*channels: Reading, start_s: float = 0.0, end_s: float = 100.0) -> Readings:
    return Readings(
        channels=channels,
        row_s=1.0,
        start_s=start_s,
        end_s=end_s,
        gaps=(),
        dropouts=(),
        spurious=(),
        off=(),
    )


# Places that drive servos.


@pytest.mark.parametrize(
    ("places", "expected"),
    [
        pytest.param(("bus", "tail", "receiver", "pack 1"), ("tail", "receiver"), id="nodes"),
        pytest.param(("bus", "smoke"), ("smoke",), id="a node by the profile"),
        pytest.param(("pack 1", "junction"), ("junction",), id="the bus by the profile"),
        pytest.param(("pack 1", "bus", "total"), ("bus",), id="the bus before the sum"),
        pytest.param(("pack 1", "pack 2", "total"), ("total",), id="the sum"),
        pytest.param(("pack 1",), ("pack 1",), id="the only one"),
        pytest.param(("pack 1", "pack 2"), (), id="none of two packs"),
        pytest.param((), (), id="none"),
    ],
)
def test_load_places(places: tuple[str, ...], expected: tuple[str, ...]) -> None:
    craft = Aircraft(bus="junction", nodes=(Node(name="smoke"), Node(name="junction")))
    assert load_places(craft, places) == expected


# Currents.


def amps(make_reading: Make, place: str, v: list[float], **more: Any) -> Reading:
    return make_reading(place, np.arange(len(v)), v, quantity=Quantity.CURRENT, **more)


def test_the_sum_of_the_packs_is_the_whole(make_reading: Make) -> None:
    packs = [
        amps(make_reading, "pack 1", [1.0, 2.0, 3.0], update_s=1.0, resolution=0.1),
        amps(make_reading, "pack 2", [5.0, 5.0, 7.0], update_s=1.0, resolution=0.2),
        amps(make_reading, "pack 3", []),
    ]
    craft = Aircraft(packs=tuple(Pack(name=f"pack {n}") for n in (1, 2, 3)))
    found = place_currents(readings(*packs), craft)
    assert list(found) == ["pack 1", "pack 2", "total"]
    assert found["total"].v == pytest.approx([6.0, 7.0, 10.0])
    assert (found["total"].resolution, found["total"].update_s) == (0.1, 1.0)


def test_one_pack_or_a_bus_is_the_whole_itself(make_reading: Make) -> None:
    one = amps(make_reading, "pack 1", [1.0, 2.0])
    assert list(place_currents(readings(one), Aircraft(packs=(Pack(name="pack 1"),)))) == ["pack 1"]
    two = [one, amps(make_reading, "bus", [1.0, 2.0])]
    assert list(place_currents(readings(*two), Aircraft(bus="bus"))) == ["pack 1", "bus"]
    assert place_currents(readings(), Aircraft()) == {}


# Falls.


def event(kind: EventKind, **more: Any) -> Event:
    given = {"place": "tail", "phase": PhaseKind.FLIGHT, "depth_v": 0.5, "origin": Origin.CONTACT}
    return Event(start_s=0.0, end_s=1.0, kind=kind, **{**given, **more})


def falls(*events: Event) -> dict[tuple[str, str], tuple[int, float]]:
    flight = Flight(start_s=0.0, end_s=9.0, kind="flight", phases=(), events=events)
    return {(e.place, e.origin): (e.count, e.deepest_v) for e in counted_falls(flight)}


def test_falls_under_load_by_place_and_origin() -> None:
    found = falls(
        event(EventKind.SAG),
        event(EventKind.SHIFT, depth_v=0.75, phase=PhaseKind.STIR),
        event(EventKind.SAG, depth_v=None),
        event(EventKind.SAG, place="bus", depth_v=None),
        event(EventKind.SAG, origin=Origin.LOAD),
        event(EventKind.SAG, phase=PhaseKind.GROUND),
        event(EventKind.SPIKE),
    )
    assert found == {
        ("tail", "contact"): (3, 0.75),
        ("bus", "contact"): (1, 0.0),
        ("tail", "load"): (1, 0.5),
    }


@pytest.mark.parametrize(
    ("evidence", "counted"),
    [(Evidence.REAL, True), (Evidence.UNKNOWN, True), (Evidence.TELEMETRY, False)],
)
def test_brownouts_that_are_not_the_telemetry_s(evidence: Evidence, counted: bool) -> None:
    """In any phase: a unit that is off is off."""
    found = falls(event(EventKind.BROWNOUT, evidence=evidence, phase=PhaseKind.GROUND))
    assert found == ({("tail", "brownout"): (1, 0.5)} if counted else {})
    deep = falls(*(event(EventKind.BROWNOUT, depth_v=d) for d in (None, None)))
    assert deep == {("tail", "brownout"): (2, 0.0)}


# Controls.


def share(travel: float | None = 0.004, chance: float | None = 0.25, **more: Any) -> ServoShare:
    given = {"place": "tail", "outputs": ("1",), "drives": "rudder", "controls": ("rudder",)} | {
        "separable": True
    }
    return ServoShare(
        travel_a_per_pct_s=travel,
        chance=chance,
        hold_a_per_pct=None,
        low=None,
        high=None,
        condition_index=1.0,
        **{**given, **more},
    )


def test_draw_per_travel_and_its_range_by_chance() -> None:
    servos = (share(), share(controls=()), share(travel=None), share(chance=None))
    flight = Flight(start_s=0.0, end_s=9.0, kind="flight", phases=(), servos=servos)
    (first,) = group_draws(flight)
    assert (first.place, first.controls, first.outputs) == ("tail", ("rudder",), ("1",))
    assert (first.low, first.value, first.high) == pytest.approx((0.003, 0.004, 0.005))
    assert (first.separable, first.basis) == (True, "flight")


# Temperature, stretches.


def test_the_lowest_temperature_of_the_first_20_seconds(make_reading: Make) -> None:
    def temperature(place: str, t: list[float], v: list[float]) -> Reading:
        return make_reading(place, t, v, quantity=Quantity.TEMPERATURE)

    warm = temperature("pack 1", [10.0, 15.0, 20.0, 30.0], [25.0, 27.0, 35.0, 99.0])
    cool = temperature("tail", [12.0, 29.9, 30.0], [20.0, 24.0, -50.0])
    late = temperature("bus", [30.0, 40.0], [1.0, 1.0])
    # From 10 s on: middles of 25, 27, 35 and of 20, 24.
    assert start_temperature(readings(warm, cool, late, start_s=10.0)) == 22.0
    assert start_temperature(readings(warm, late, start_s=10.0)) == 27.0
    assert start_temperature(readings(late, start_s=10.0)) is None


def test_means_over_stretches_of_all_windows(make_reading: Make) -> None:
    r = amps(make_reading, "tail", [0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0])
    volts = {"bus": make_reading("bus", r.t, 7.0 + 0 * r.t)}
    found = block_series({"tail": r}, volts, [(-0.5, 3.5), (3.6, 5.5), (5.5, 7.5)], 2.0)
    assert found is not None
    assert found.block_s == 2.0
    # The window in the middle is shorter than one stretch.
    assert found.amps["tail"].tolist() == [1.0, 5.0, 13.0]
    assert found.volts["bus"].tolist() == [7.0, 7.0, 7.0]
    assert block_series({"tail": r}, volts, [(0.0, 1.9)], 2.0) is None
    assert block_series({}, {}, [(0.0, 8.0)], 2.0) is None
    assert block_series({"tail": r}, {}, [(0.0, 8.0)], 2.0) is not None
    assert block_series({}, volts, [(0.0, 8.0)], 2.0) is not None


# One flight as a whole: rest to 30 s, a stir to 40 s, flight from 45 s to 405 s; two readings each
# second. The tail draws 0.2 A at rest, 1.6 A moving, and the bus is at 7 V.

T = np.arange(0.0, 440.0, 0.5)
MOVES = ((T >= 30) & (T < 40)) | ((T >= 45) & (T < 405))
PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=30.0),
    Phase(kind=PhaseKind.STIR, start_s=30.0, end_s=40.0),
    Phase(kind=PhaseKind.GROUND, start_s=40.0, end_s=45.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=45.0, end_s=405.0),
    Phase(kind=PhaseKind.GROUND, start_s=405.0, end_s=440.0),
)


def channel(place: str, quantity: Quantity) -> Channel:
    key = f"{place}/{quantity}"
    return Channel(key=key, column=key, quantity=quantity, place=place)


@pytest.fixture(scope="module")
def review() -> Review:
    # A step of 0.01 A each reading: the channel is seen to be updated each time.
    step = 0.01 * (np.arange(T.size) % 2)
    columns = {
        "tail/current": np.where(MOVES, 1.6, 0.2) + step,
        "bus/voltage": 7.0 + step,
        "tail/voltage": np.where(MOVES, 6.95, 6.99) - step,
    }
    limits = Limits()
    stir = Stir(
        start_s=30.0,
        end_s=40.0,
        rhythm_hz=1.5,
        after_flight=False,
        places=(
            StirPlace(
                place="tail",
                rest_a=0.2,
                mean_a=1.5,
                p95_a=1.6,
                peak_a=1.7,
                mah=None,
                lowest_v=None,
                sag_mohm=30.0,
            ),
        ),
    )
    flight = Flight(
        start_s=0.0,
        end_s=440.0,
        kind="flight",
        phases=PHASES,
        stirs=(stir,),
        events=(
            event(EventKind.SAG),
            event(EventKind.SAG),
            event(EventKind.SAG, origin=Origin.LOAD),
            event(EventKind.SAG, origin=Origin.SENSOR),
            event(EventKind.SAG, place="bus", origin=Origin.UNKNOWN),
        ),
    )
    whole = Flight(start_s=0.0, end_s=10.0, kind="bench", phases=())
    frame = pd.DataFrame(columns, index=pd.Index(T, name="time_s"))
    log = Log(
        frame=frame,
        channels=(
            channel("tail", Quantity.CURRENT),
            channel("bus", Quantity.VOLTAGE),
            channel("tail", Quantity.VOLTAGE),
        ),
        provenance=Provenance(
            file="wren.csv",
            sha256="",
            size_bytes=1,
            rows=T.size,
            start="2026-05-01T10:00:00",
        ),
    )
    return Review(
        log=log,
        readings=take_readings(log, limits),
        aircraft=Aircraft(
            bus="bus",
            nodes=(Node(name="tail", fed_from="bus", servos=3), Node(name="nose", fed_from="bus")),
            packs=(Pack(name="pack 1", labels=(PackLabel(label="W1"),)), Pack(name="pack 2")),
        ),
        limits=limits,
        columns=(),
        quality=Quality(row_s=0.5, shortest_sure_dip_s=None),
        flights=(flight, whole),
        findings=(
            Finding(code="a", level=Level.GROUND, place="tail", title="", flight=1),
            Finding(code="b", level=Level.WATCH, place=None, title="", flight=1),
            Finding(code="c", level=Level.WATCH, place="tail", title="", flight=2),
            Finding(code="d", level=Level.UNKNOWN, place=None, title=""),
        ),
    )


def test_measures_of_a_flight(review: Review) -> None:
    m = measure_flight(review)
    assert (m.kind, m.start, m.file) == ("flight", "2026-05-01T10:00:00", "wren.csv")
    assert (m.duration_s, m.flight_s, m.update_s) == (440.0, 360.0, pytest.approx(0.5))
    assert m.temperature_c is None
    assert (m.servos, m.labels) == ({"tail": 3}, {"pack 1": "W1"})
    assert m.steps_a == {"tail": pytest.approx(0.01)}
    # The tail: two of a contact, one each of load and of the sensor.
    assert m.value("tail", "falls") == 4.0
    assert m.value("tail", "falls_unexplained") == 2.0
    assert m.value("bus", "falls") == 1.0
    assert m.value("bus", "falls_unexplained") == 1.0
    assert m.value("sticks", "stir_rhythm_hz") == 1.5
    assert m.value("tail", "rest_a") == pytest.approx(0.205)
    assert m.value("tail", "stir_mean_a") == 1.5
    assert m.value("tail", "air_mean_a") == pytest.approx(1.605)
    assert m.value("tail", "stir_sag_mohm") == 30.0


def test_findings_of_a_flight_and_of_the_whole_recording_but_of_no_other_flight(
    review: Review,
) -> None:
    assert [(s.code, s.place, s.level) for s in measured(review).reported] == [
        ("a", "tail", "ground"),
        ("b", "", "watch"),
        ("d", "", "unknown"),
    ]
    assert [s[:3] for s in measured(review, 2).reported] == [
        ("c", "tail", "watch"),
        ("d", "", "unknown"),
    ]


def test_stretches_of_a_flight(review: Review) -> None:
    m = measure_flight(review)
    assert m.stir is not None
    assert m.air is not None
    # The stir without 0.3 s at both ends: 9.4 s in stretches of 1 s; the air in 36 of 10 s.
    assert (m.stir.block_s, m.stir.amps["tail"].size) == (1.0, 9)
    assert (m.air.block_s, m.air.amps["tail"].size) == (10.0, 36)
    assert m.air.amps["tail"] == pytest.approx(np.full(36, 1.605))
    assert set(m.air.volts) == {"bus", "tail"}


def test_another_flight_of_the_same_log(review: Review) -> None:
    m = measure_flight(review, 2)
    assert (m.kind, m.duration_s, m.flight_s) == ("bench", 10.0, 0.0)
    assert (m.stir, m.air) == (None, None)
    assert m.value("sticks", "stir_rhythm_hz") is None
    assert m.value("tail", "falls") is None
    assert m.value("tail", "falls_unexplained") == 0.0
