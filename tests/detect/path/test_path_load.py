"""The way from the sources to a place: resistances, currents and slow means by hand."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.path.path_load import Loads, LoadStep, PathSeries, rise
from telemetry.model.channels import Quantity
from telemetry.results import Event, EventKind, Resistance

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
T = np.arange(20.0)
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}],
        "nodes": [{"name": "left wing", "fed_from": "bus"}],
    }
)
SERIES = PathSeries(t=np.arange(5.0), v=10 + np.arange(5.0), slow=20 + np.arange(5.0), update_s=0.5)


def event(start_s: float, end_s: float) -> Event:
    return Event(kind=EventKind.SAG, place="left wing", start_s=start_s, end_s=end_s)


def of(kind: str, place: str, mohm: float | None, high: float | None = None, **more) -> Resistance:
    return Resistance(
        kind=kind, place=place, mohm=mohm, low_mohm=None, high_mohm=high, updates=9, **more
    )


@pytest.mark.parametrize(
    ("at_s", "slow"),
    [(-1.0, 20.0), (0.0, 20.0), (1.0, 20.0), (1.1, 21.0), (4.0, 23.0), (99.0, 24.0)],
)
def test_the_usual_level_is_that_of_the_last_reading_before(at_s: float, slow: float) -> None:
    assert SERIES.usual(at_s) == slow


@pytest.mark.parametrize(
    ("span", "about", "inside"),
    [
        ((2.0, 3.0), [12, 13], 1),  # 1.5 <= t < 3.5
        ((1.5, 3.5), [11, 12, 13], 2),  # 1 <= t < 4
        ((1.0, 4.0), [11, 12, 13, 14], 3),
        ((2.2, 2.4), [12], 0),
        ((9.0, 10.0), [], 0),
    ],
)
def test_readings_about_and_inside_a_stretch(span, about, inside) -> None:
    assert SERIES.about(*span).tolist() == about
    assert SERIES.inside(*span) == inside


@pytest.mark.parametrize(
    ("span", "missed", "expected"),
    [
        ((2.0, 3.0), False, 13 - 11.5),  # usual before 2 s: that at 1 s
        ((2.0, 3.0), True, 1.2 * 14 - 11.5),  # a peak up to a fifth above the highest of the log
        ((9.0, 10.0), False, 0.0),  # nothing near: as usual
        ((9.0, 10.0), True, 1.2 * 14 - 14.5),
    ],
)
def test_the_rise_of_a_current(span, missed, expected) -> None:
    current = PathSeries(SERIES.t, SERIES.v, slow=10.5 + np.arange(5.0), update_s=0.5)
    step = LoadStep(ohm=1.0, high_ohm=1.0, current=current, place="", kind="", how="", left_out=())
    assert rise(step, event(*span), missed=missed) == pytest.approx(expected)
    low = LoadStep(ohm=1.0, high_ohm=1.0, current=SERIES, place="", kind="", how="", left_out=())
    assert rise(low, event(*span), missed=False) == 0.0, "below its usual level"


def test_the_slow_mean_starts_at_the_median_of_five_seconds_and_takes_a_minute(
    make_readings,
) -> None:
    v = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 99.0, 99.0])
    readings = make_readings({("bus", U): (10 + np.arange(7.0), v)})
    slow = Loads(readings, CRAFT, ()).volts["bus"].slow
    # The readings at 10 to 14 s; that at 15 s is no longer among them.
    assert slow[0] == 4.0
    assert slow[1] == pytest.approx(4.0 + (1 - exp(-1 / 60)) * (1.0 - 4.0))


def test_the_interval_of_a_quiet_channel_is_that_of_the_rows(make_readings) -> None:
    series = {("bus", U): (T, T), ("bus", I): (T, T), ("tail", U): (T, T), ("tail", I): (T, T)}
    loads = Loads(make_readings(series, update_s={"bus": 0.7}, row_s=0.3), CRAFT, ())
    assert {p: s.update_s for p, s in loads.volts.items()} == {"bus": 0.7, "tail": 0.3}
    assert {p: s.update_s for p, s in loads.amps.items()} == {"bus": 0.7, "tail": 0.3}
    assert loads.total is not None
    assert loads.total.update_s == 0.7


def test_channels_without_a_reading_are_none(make_readings) -> None:
    series = {("bus", U): ([], []), ("bus", I): ([], []), ("tail", U): (T, T)}
    loads = Loads(make_readings(series), CRAFT, ())
    assert list(loads.volts) == ["tail"]
    assert loads.amps == {}
    assert loads.total is None
    assert loads.most_by_load is None


def test_a_minimum_hold_is_known_by_its_place(make_readings) -> None:
    series = {("bus", U): (T, T), ("tail", U): (T, T), ("tail", U, "min"): (T, T)}
    assert Loads(make_readings(series), CRAFT, ()).minimum_held == {"tail"}


def test_what_load_can_make_of_the_bus(make_readings) -> None:
    # 0.1 Ohm exactly: 8 V less 0.1 V/A, 1 to 3 A by turns, once 11 A. From the tenth at 1 A that
    # is 10 A more: 2 x 0.1 x 10 + 0.2 V. Without a bus, or without its voltage, nothing is known.
    t = np.arange(100.0)
    amps = np.tile([1.0, 1.5, 2.0, 3.0], 25)
    amps[7] = 11.0
    series = {("bus", U): (t, 8 - 0.1 * amps), ("bus", I): (t, amps)}
    assert Loads(make_readings(series), CRAFT, ()).most_by_load == pytest.approx(2.2)
    only = {("bus", I): (t, amps), ("tail", U): (t, amps)}
    assert Loads(make_readings(only), CRAFT, ()).most_by_load is None


WHOLE = {("bus", I): (T, T), ("bus", U): (T, T)}
OWN = {**WHOLE, ("left wing", I): (T, T + 1)}
BUS, WING, SEEN = (
    of("source", "bus", 20, 30),
    of("branch", "left wing", 40, 44),
    of("apparent", "left wing", 8, 9),
)


@pytest.mark.parametrize(
    ("series", "given", "place", "names"),
    [
        (WHOLE, (BUS,), "bus", ["bus source"]),
        (OWN, (BUS, WING), "left wing", ["left wing branch", "bus source"]),
        (WHOLE, (BUS, SEEN), "left wing", ["left wing apparent", "bus source"]),
        (OWN, (BUS, SEEN), "left wing", []),  # its own current wants its own lead
        (WHOLE, (BUS, WING), "left wing", []),  # no own current
        (OWN, (WING,), "left wing", ["left wing branch"]),
        ({("bus", U): (T, T)}, (BUS, SEEN), "bus", []),
        ({("bus", U): (T, T)}, (BUS, SEEN), "left wing", []),
        (OWN, (of("branch", "left wing", None),), "left wing", []),
    ],
)
def test_the_way_down_to_a_place(series, given, place, names, make_readings) -> None:
    loads = Loads(make_readings(series), CRAFT, given)
    assert [f"{s.place} {s.kind}" for s in loads.path(place)] == names


def test_a_place_is_taken_with_its_own_current_where_it_has_one(make_readings) -> None:
    loads = Loads(make_readings(OWN), CRAFT, (BUS, WING, of("source", "left wing", 5)))
    (source,) = loads.path("left wing")
    assert source.current is loads.amps["left wing"]
    (bus,) = loads.path("bus")
    assert bus.current is loads.amps["bus"]
    loads = Loads(make_readings(OWN), CRAFT, (BUS, WING))
    assert [s.current for s in loads.path("left wing")] == [
        loads.amps["left wing"],
        loads.amps["bus"],
    ]
    packs = {("pack 1", I): (T, T), ("bus", U): (T, T)}
    loads = Loads(make_readings(packs), CRAFT, (BUS, SEEN))
    assert [s.current for s in loads.path("left wing")] == [loads.total, loads.total]


@pytest.mark.parametrize(
    ("given", "ohm", "high_ohm", "how"),
    [
        (of("branch", "left wing", 40, 44), 0.040, 0.044, "fitted"),
        (of("branch", "left wing", 40), 0.040, 0.040, "fitted"),
        (
            of("branch", "left wing", 40, 44, left_out=((1.0, 2.0),)),
            0.040, 0.044, "fitted outside such moments",
        ),
        (
            of("branch", "left wing", None, expected_mohm=30, expected_high_mohm=36),
            0.030, 0.036, "wire table",
        ),
        (
            of("branch", "left wing", 40, 44, expected_mohm=30, expected_high_mohm=36),
            0.040, 0.044, "fitted",
        ),
    ],
)  # fmt: skip
def test_a_step_of_the_way(given, ohm, high_ohm, how, make_readings) -> None:
    (step,) = Loads(make_readings(OWN), CRAFT, (given,)).path("left wing")
    assert (step.ohm, step.high_ohm, step.how) == (pytest.approx(ohm), pytest.approx(high_ohm), how)
    assert step.left_out == given.left_out


def test_an_apparent_resistance_may_hide_five_times_as_much(make_readings) -> None:
    (step,) = Loads(make_readings(WHOLE), CRAFT, (SEEN,)).path("left wing")
    assert (step.ohm, step.high_ohm) == (0.008, 0.045)
