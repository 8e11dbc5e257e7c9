"""What the worst cases start from: every mean, peak and window worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from math import log, nan, sqrt

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit import measured
from telemetry.circuit.known import Measured
from telemetry.circuit.measured import (
    PeakSet,
    current_peaks,
    measured_in,
    place_loads,
    pooled_peaks,
)
from telemetry.measure.sharing import Sharing
from telemetry.model.channels import Quantity
from telemetry.numerics.intervals import Interval
from telemetry.readings import lowest_of
from telemetry.results import OutKind, PackOut, Phase, PhaseKind, Span

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [{"name": "tail", "fed_from": "bus"}],
    }
)
GROUND, STIR, FLIGHT = PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.FLIGHT


def phase(kind: PhaseKind, start_s: float, end_s: float) -> Phase:
    return Phase(kind=kind, start_s=start_s, end_s=end_s)


@pytest.mark.parametrize(
    ("amps", "update_s", "missed"),
    [
        # Of 0 to 10 A a tenth lies above 9 A, by 1 A in the mean; twice as often: ln 2.
        (range(11), 0.2, log(2)),
        (range(11), 0.8, log(8)),
        (range(11), 0.1, 0.0),
        (range(11), 0.05, 0.0),
        (range(11), nan, 0.0),
        ([0, 0, 0, 0, 10], 0.2, 4.0 * log(2)),  # the level is 6 A
        ([0, 0, 0, 10], 0.2, 0.0),  # four readings are too few
        ([3.0] * 9, 0.2, 0.0),
    ],
)
def test_what_may_have_passed_between_two_readings(amps, update_s, missed) -> None:
    assert measured.missed_peak_a(np.array(amps, float), update_s) == pytest.approx(missed)


@pytest.mark.parametrize(
    ("phases", "span"),
    [
        ([(FLIGHT, 100, 500)], (440, 500)),
        ([(FLIGHT, 100, 150)], (100, 150)),
        ([(FLIGHT, 100, 200), (STIR, 300, 400), (FLIGHT, 500, 700)], (640, 700)),
        ([(STIR, 10, 20), (STIR, 30, 130), (GROUND, 130, 200)], (70, 130)),
        ([(GROUND, 0, 10)], None),
        ([], None),
    ],
)
def test_the_last_minute_before_landing(phases, span) -> None:
    assert measured.landing_span([phase(*p) for p in phases]) == span


def test_spans_hold_their_start_and_not_their_end() -> None:
    t = np.arange(10.0)
    assert np.flatnonzero(measured.is_inside(t, [(1, 3), (7, 9)])).tolist() == [1, 2, 7, 8]
    assert not measured.is_inside(t, []).any()


V = np.array([5.0, 4.0, 3.0, 4.0, 5.0, 4.5, 5.0, 5.0, 5.0, 1.0])


@pytest.mark.parametrize(
    ("held", "spans", "lowest"),
    [
        (None, [(1, 4)], 3.0),
        (None, [(4, 7)], 4.5),
        (None, [(1, 4), (4, 7)], 3.0),
        (None, [(20, 30)], None),
        (None, [], None),
        ([9, 8, 2, 2, 2, 2, 2, 2, 2, 2], [(1, 4)], 2.0),  # the hold moved within
        ([9, 8, 2, 2, 2, 2, 2, 2, 2, 2], [(4, 7)], 4.5),  # not within this one
        ([9, 8, 2, 2, 2, 2, 2, 2, 2, 2], [(1, 4), (4, 7)], 2.0),
        ([9, 8, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5], [(1, 4)], 3.0),
        ([2, 2, 2, 9, 9, 9, 9, 9, 9, 9], [(1, 4)], 3.0),  # it was set back, and did not fall
    ],
)
def test_the_lowest_reading_and_a_units_own_hold(held, spans, lowest, make_readings) -> None:
    t = np.arange(10.0)
    hold = None
    if held is not None:
        hold = make_readings({("bus", U, "min"): (t, held)}).get(U, "bus", hold="min")
    stretches = [Span(start_s=a, end_s=b) for a, b in spans]
    found = lowest_of(t, V, hold, stretches)
    assert (None if found is None else found.value) == lowest
    # Of a current the highest is told, with the sign turned.
    if hold is not None:
        hold = replace(hold, v=-hold.v)
    found = lowest_of(t, V, hold, stretches, -1.0)
    assert (None if found is None else found.value) == lowest


def block(start_s: float, end_s: float, n: int = 300) -> np.ndarray:
    """1 A, and 3 A in a stretch, once a second."""
    t = np.arange(float(n))
    return np.where((t >= start_s) & (t < end_s), 3.0, 1.0)


@pytest.mark.parametrize(
    ("amps", "spans", "mean"),
    [
        (block(30, 90), [(0, 120)], 3.0),  # windows begin every 15 s
        (block(20, 80), [(0, 120)], (55 * 3 + 5) / 60),  # from 15 s: five seconds of it are lost
        (block(52, 112), [(0, 112)], 3.0),  # and the last one ends with the stretch
        (block(52, 112), [(0, 120)], 3.0 - 2 * 7 / 60),  # 45 and 60 s: 53 and 52 of it
        (block(0, 60), [(0, 120)], 3.0),
        (block(115, 120), [(0, 120)], (5 * 3 + 55) / 60),  # no shorter window at its end
        (block(0, 5), [(0, 5)], 3.0),
        (block(0, 4), [(0, 4)], None),  # four readings
        (block(0, 30), [(0, 40)], (30 * 3 + 10) / 40),  # shorter than a minute: all of it
        (block(40, 60), [(0, 40)], 1.0),
        (block(200, 260), [(0, 120), (190, 270)], 3.0 - 2 * 5 / 60),
        (block(200, 260), [(0, 120), (200, 270)], 3.0),
        (block(0, 0), [], None),
    ],
)
def test_the_highest_mean_over_a_minute(amps, spans, mean) -> None:
    found = measured.warm_currents({"tail": (np.arange(amps.size) * 1.0, amps, 1.0)}, spans)
    assert found == ({} if mean is None else {"tail": pytest.approx(mean)})


@pytest.mark.parametrize(
    ("span", "mean", "half"),
    [
        # Of 1 to 5 the scatter is sqrt(2.5): 1.96 sqrt(2.5 / 5).
        ((1.0, 6.0), 3.0, 1.96 * sqrt(0.5)),
        ((1.0, 5.9), 3.0, 1.96 * sqrt(0.5)),
        ((1.1, 6.0), None, None),
        ((1.0, 5.0), None, None),
        (None, None, None),
    ],
)
def test_the_mean_of_a_stretch_and_what_sampling_leaves_open(span, mean, half) -> None:
    t = np.arange(10.0)
    found = measured.mean_currents({"bus": (t, t.copy(), 1.0)}, span)
    if mean is None:
        assert found == {}
    else:
        x = found["bus"]
        assert (x.value, x.low, x.high) == pytest.approx((mean, mean - half, mean + half))


def test_currents_with_their_interval_and_the_whole(make_readings) -> None:
    t = np.arange(5.0)
    readings = make_readings(
        {("bus", I): (t, t), ("tail", I): (t, t)}, update_s={"bus": 0.5}, row_s=0.2
    )
    found = measured.current_series(readings, CRAFT)
    assert {p: x[2] for p, x in found.items()} == {"bus": 0.5, "tail": 0.2, "total": 0.5}
    assert measured.current_series(make_readings({("bus", U): (t, t)}), CRAFT) == {}


def test_a_return_level_with_room_for_what_was_missed_or_a_reason() -> None:
    values = 5.0 + np.linspace(0.1, 4.0, 40)
    some = PeakSet(threshold_a=5.0, value_a=values, flights=2)
    levels = measured.return_levels(
        {"all": some, "missed": replace(some, missed_a=1.5), "few": replace(some, value_a=V)}, 100.0
    )
    plain, missed = levels["all"], levels["missed"]
    assert isinstance(plain, Interval)
    assert isinstance(missed, Interval)
    assert (missed.value, missed.low) == (plain.value, plain.low)
    assert missed.high == pytest.approx(plain.high + 1.5)
    assert plain.high > 9.0
    assert levels["few"] == "10 peaks, and a return level needs 30"


def test_peaks_of_a_flight(make_readings) -> None:
    """Readings 10 to 109 s: 0, 1 .. 9 A by turns. A tenth is above 8.1 A: 9 A at 19, 29 .. s."""
    t = np.arange(200.0)
    amps = np.where((t >= 10) & (t < 110), t % 10, 50.0)
    readings = make_readings({("bus", I): (t, amps)}, update_s=1.0)
    found = current_peaks([phase(GROUND, 0, 10), phase(FLIGHT, 10, 110)], readings, CRAFT)
    assert sorted(found) == ["bus", "total"]
    peaks = found["total"]
    assert peaks.threshold_a == pytest.approx(8.1)
    assert peaks.value_a.tolist() == [9.0] * 10
    assert peaks.missed_a == pytest.approx(0.9 * log(10))
    assert peaks.flights == 1
    # Peaks closer than a burst are one.
    wide = CRAFT.model_copy(update={"limits": CRAFT.limits.model_copy(update={"burst_s": 10.0})})
    assert current_peaks([phase(FLIGHT, 10, 110)], readings, wide)["bus"].value_a.size == 1
    assert current_peaks([phase(STIR, 10, 110)], readings, CRAFT) == {}
    assert current_peaks([phase(FLIGHT, 10, 14)], readings, CRAFT) == {}, "four readings"
    assert list(current_peaks([phase(FLIGHT, 10, 15)], readings, CRAFT)) == ["bus", "total"]


def test_peaks_of_flights_together() -> None:
    one = PeakSet(threshold_a=5.0, value_a=np.array([5.5, 6.0, 7.0]), missed_a=0.4, flights=2)
    other = PeakSet(threshold_a=6.0, value_a=np.array([6.5]), missed_a=0.1)
    both = pooled_peaks(iter([one, other]))
    assert (both.threshold_a, both.missed_a, both.flights) == (6.0, 0.4, 3)
    assert both.value_a.tolist() == [7.0, 6.5]


def out(place: str, start_s: float, end_s: float) -> PackOut:
    return PackOut(
        place=place, kind=OutKind.LOST, start_s=start_s, end_s=end_s, back=False,
        share_before=None, carried_a=None, bus_v=None, own_v=None,
    )  # fmt: skip


@pytest.fixture
def flown(make_readings):
    """A stir 0 to 20 s, a flight 100 to 300 s; 2 A, 7.9 V on the ground, 7.0 V and 5 A flying."""
    t = np.arange(400.0)
    flying = (t >= 100) & (t < 300)
    return make_readings(
        {
            ("bus", U): (t, np.where(flying, 7.0, 7.9)),
            ("bus", I): (t, np.where(flying, 5.0, 2.0)),
            ("bus", U, "min"): (t, np.where(t < 200, 7.5, 6.5)),
            ("tail", I, "max"): (t, np.where(t < 200, 1.0, 4.0)),
            ("tail", I): (t, np.where(flying, 2.0, 1.0)),
        }
    )


PHASES = (phase(STIR, 0, 20), phase(GROUND, 20, 100), phase(FLIGHT, 100, 300))


def test_the_state_of_a_flight(flown) -> None:
    found = measured_in(PHASES, flown, CRAFT, Sharing())
    assert found.lowest_v == {"bus": 6.5}  # the unit's own minimum
    assert found.peak_a["total"].value == 5.0
    assert found.peak_a["tail"].value == 4.0  # and its own maximum
    assert found.landing_v["bus"] == Interval.exact(7.0)
    assert {p: x.value for p, x in found.landing_a.items()} == {
        "bus": 5.0, "tail": 2.0, "total": 5.0,
    }  # fmt: skip
    assert found.usual_a == {"bus": 5.0, "tail": 2.0, "total": 5.0}
    assert (found.return_a, found.gone) == ({}, frozenset())
    assert set(found.no_return) == {"tail", "total"}, "the bus has that of the whole"
    own = {"total": PeakSet(threshold_a=5.0, value_a=5.0 + np.linspace(0.1, 4.0, 40))}
    assert list(measured_in(PHASES, flown, CRAFT, Sharing(), own).return_a) == ["total"]


def test_what_may_have_been_missed_goes_on_the_peak_under_load_alone(make_readings) -> None:
    t = np.arange(100.0)
    amps = np.where(t < 50, t % 10, 40.0)  # from 50 s on the ground
    readings = make_readings({("bus", I): (t, amps)})
    peak = measured_in([phase(FLIGHT, 0, 50)], readings, CRAFT, Sharing()).peak_a["bus"]
    # 0 to 9 A by turns, read once a second: a tenth is above 8.1 A, by 0.9 A; ten times as often.
    assert (peak.value, peak.low, peak.high) == pytest.approx((9.0, 9.0, 9.0 + 0.9 * log(10)))


@pytest.mark.parametrize(
    ("start_s", "end_s", "gone"),
    [
        (150.0, 400.0, True),
        (294.9, 400.0, True),
        (295.0, 400.0, False),  # within 5 s of landing it was switched off
        (150.0, 300.0, True),
        (150.0, 299.9, False),  # it was back
    ],
)
def test_packs_that_gave_nothing_at_landing(start_s, end_s, gone, flown) -> None:
    packs = Sharing(outs=(out("pack 2", start_s, end_s),))
    assert measured_in(PHASES, flown, CRAFT, packs).gone == ({"pack 2"} if gone else set())
    on_the_ground = (phase(GROUND, 0, 300),)
    assert measured_in(on_the_ground, flown, CRAFT, packs).gone == set()


@pytest.mark.parametrize(
    ("root", "expected"),
    [
        ("bus", {"bus": (3.0, 20.0, 4.0, 7.0), "tail": (None, 6.0, None, 6.9)}),
        ("tail", {"bus": (1.5, 19.0, 3.9, 7.0), "tail": (3.0, 20.0, 4.0, 6.9)}),
        (None, {"bus": (1.5, 19.0, 3.9, 7.0), "tail": (None, 6.0, None, 6.9)}),
    ],
)
def test_what_each_place_carried(root, expected) -> None:
    exact = Interval.exact
    state = Measured(
        landing_v={"bus": exact(7.0), "tail": exact(6.9)},
        landing_a={"total": exact(4.0), "bus": exact(3.9)},
        usual_a={"total": 3.0, "bus": 1.5},
        peak_a={"total": exact(20.0), "bus": exact(19.0), "tail": exact(6.0)},
    )
    found = place_loads(state, root)
    assert {x.place: (x.usual_a, x.peak_a, x.landing_a, x.landing_v) for x in found} == expected


def test_the_root_is_told_by_the_whole_alone() -> None:
    state = Measured(peak_a={"total": Interval.exact(20.0)})
    assert [(x.place, x.peak_a) for x in place_loads(state, "bus")] == [("bus", 20.0)]
    assert place_loads(state, None) == ()
    assert place_loads(Measured(), "bus") == ()
    # Without a whole the root has its own.
    own = Measured(peak_a={"bus": Interval.exact(9.0)})
    assert [(x.place, x.peak_a) for x in place_loads(own, "bus")] == [("bus", 9.0)]
