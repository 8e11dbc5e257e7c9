"""Measures of a stir worked out by hand, and its rhythm against sines of known pitch."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.detect.stirs import fallen_to, measure_stirs, rest_beside, rests_after, stick_rhythm
from telemetry.model.channels import Quantity
from telemetry.results import Phase, PhaseKind

STIR = (100.0, 110.0)
VOLTAGE, CURRENT = Quantity.VOLTAGE, Quantity.CURRENT


def ground(*spans: tuple[float, float]) -> tuple[Phase, ...]:
    return tuple(Phase(kind=PhaseKind.GROUND, start_s=a, end_s=b) for a, b in spans)


PHASES = (
    *ground((0.0, 100.0)),
    Phase(kind=PhaseKind.STIR, start_s=100.0, end_s=110.0),
    *ground((110.0, 200.0)),
)


@pytest.mark.parametrize(
    ("spans", "rest"),
    [
        ([(0, 100), (110, 200)], (85.0, 99.5)),
        ([(90, 100)], (90.0, 99.5)),
        ([(0, 95)], (85.0, 95.0)),
        ([(98.5, 100), (110, 200)], (98.5, 99.5)),
        ([(98.75, 100), (110, 200)], (110.5, 125.0)),
        ([(80, 88), (90, 100)], (90.0, 99.5)),
        ([(85, 94), (97, 100)], (97.0, 99.5)),
        ([(110, 111.5)], (110.5, 111.5)),
        ([(110, 111.25)], None),
        ([(0, 86)], (85.0, 86.0)),
        ([], None),
    ],
    ids=["15 s before", "from its start", "to its end", "one second", "less: after it",
         "the nearer one", "also if shorter", "a second after", "less",
         "a second, far before", "none"],
)  # fmt: skip
def test_the_rest_beside_a_stir(spans, rest) -> None:
    assert rest_beside(STIR, ground(*spans)) == rest


@pytest.mark.parametrize(
    ("spans", "rest"),
    [
        ([(0, 100), (110, 200)], [(112.0, 125.0)]),
        ([(110, 114)], [(112.0, 114.0)]),
        ([(110, 113.75)], []),
        ([(115, 120)], [(115.0, 120.0)]),
        ([(110, 113), (115, 120)], [(115.0, 120.0)]),
        ([(110, 115), (118, 120)], [(112.0, 115.0), (118.0, 120.0)]),
        ([(0, 100)], []),
        ([], []),
    ],
)
def test_the_rests_after_a_stir(spans, rest) -> None:
    assert rests_after(STIR, spans) == rest


# --- what a current falls back to


@pytest.mark.parametrize(
    ("t", "v", "span", "level"),
    [
        (112 + 0.25 * np.arange(8), np.arange(1.0, 9.0), (112, 114), 2.4),
        (112 + 0.25 * np.arange(7), np.arange(1.0, 8.0), (112, 113.75), None),
        ((112, 113), (1, 1), (112, 120), None),
        ((110.5, 112, 113), (1, 1, 1), (112, 120), 1.0),
        ((110.25, 112, 113), (1, 1, 1), (112, 120), None),
        ((112, 113, 120), (1, 1, 1), (112, 120), None),
        ((111, 111.5, 112, 116), (9, 9, 1, 5), (112, 160), 1.0),
        ((111, 111.5, 112, 114), (9, 9, 1, 5), (112, 160), 5.0),
        ((118.1, 118.2, 118.25), (1, 1, 1), (112, 120), None),
        ((118.1, 118.2, 118.25), (1, 1, 1), (112, 120.25), 1.0),
    ],
    ids=["a fifth of eight instants: 1.4", "under 2 s", "two readings", "1.5 s before at the most",
         "earlier", "at the end is outside", "16 of 57", "8 of 49", "1.75 s known", "2 s known"],
)  # fmt: skip
def test_the_level_to_which_a_current_falls(t, v, span, level) -> None:
    """A reading holds for 10 s: 41 instants on the grid, more than a fifth of which may be low."""
    found = fallen_to((np.asarray(t, float), np.asarray(v, float)), span)
    assert found == (None if level is None else pytest.approx(level))


def test_without_a_current_or_a_rest_it_falls_to_nothing() -> None:
    assert fallen_to(None, (112, 120)) is None
    assert fallen_to((np.arange(112.0, 120.0), np.ones(8)), None) is None


# --- measures of a place

REST_T, STIR_T = np.arange(90.0, 99.0), np.arange(100.0, 110.0)


@pytest.fixture
def measured(make_readings):
    def measure(*rows, aircraft=None, phases=PHASES, hold_s=1.0):
        readings = make_readings(*rows, end_s=200.0)
        craft = Aircraft(bus="bus") if aircraft is None else aircraft
        (stir,) = measure_stirs(readings, craft, phases, hold_s)
        return stir

    return measure


@pytest.fixture
def row(make_reading):
    """A quantity of a place: its level at rest, its values in the stir, its level after it."""

    def make(place, quantity, rest, stir, after=0.6):
        stir = np.broadcast_to(np.asarray(stir, float), np.shape(stir) or STIR_T.shape)
        later = np.arange(112.0, 125.0)
        t = np.r_[REST_T, STIR_T[: stir.size], later]
        v = np.r_[np.full(REST_T.size, rest), stir, np.full(later.size, after)]
        return make_reading(place, quantity, t, v, update_s=1.0)

    return make


def test_one_place_in_one_stir(measured, row) -> None:
    """1, 2 ... 10 A each second from 0.5 A: 55 less half of 11 are 49.5 As, 13.75 mAh.

    5.5 A in the mean, 5.0 A above rest; from 6.0 V to 5.9 V: 20 mOhm.
    """
    volts = np.full(10, 5.9)
    volts[:2] = 5.7, 6.1
    stir = measured(
        row("tail", CURRENT, 0.5, np.arange(1.0, 11.0)), row("tail", VOLTAGE, 6.0, volts)
    )
    assert (stir.start_s, stir.end_s, stir.after_flight, stir.rhythm_hz) == (100, 110, False, None)
    (tail,) = stir.places
    assert (tail.place, tail.rest_a, tail.mean_a, tail.peak_a) == ("tail", 0.5, 5.5, 10.0)
    assert tail.p95_a == pytest.approx(1 + 9 * 0.95)
    assert tail.mah == pytest.approx(13.75)
    assert tail.lowest_v == 5.7
    assert tail.sag_mohm == pytest.approx(20.0)
    assert tail.after_a == pytest.approx(0.6)


def test_charge_is_not_counted_over_a_gap(measured, row) -> None:
    (tail,) = measured(row("tail", CURRENT, 0.5, 3.6), hold_s=0.9).places
    assert tail.mah == 0.0


@pytest.mark.parametrize(
    ("n", "mean_a", "p95_a"), [(2, None, None), (3, 3.0, None), (9, 3.0, None), (10, 3.0, 3.0)]
)
def test_fewest_readings_of_a_stir(n, mean_a, p95_a, measured, row) -> None:
    (tail,) = measured(row("tail", CURRENT, 0.5, np.full(n, 3.0))).places
    assert (tail.mean_a, tail.peak_a, tail.p95_a) == (mean_a, mean_a, p95_a)
    assert (tail.mah is None) is (n < 3)
    (tail,) = measured(row("tail", VOLTAGE, 6.0, np.full(n, 3.0))).places
    assert (tail.mean_a, tail.mah, tail.lowest_v, tail.sag_mohm) == (None, None, 3.0, None)


@pytest.mark.parametrize(("n", "rest_a"), [(2, None), (3, 0.5)])
def test_fewest_readings_of_the_rest(n, rest_a, measured, make_reading) -> None:
    t = np.r_[REST_T[:n], STIR_T]
    amps = make_reading("tail", CURRENT, t, np.r_[np.full(n, 0.5), np.full(10, 5.5)])
    volts = make_reading("tail", VOLTAGE, np.r_[REST_T, STIR_T], np.r_[np.full(9, 6.0), [5.9] * 10])
    (tail,) = measured(amps, volts).places
    assert tail.rest_a == rest_a
    assert tail.sag_mohm == (None if n < 3 else pytest.approx(20.0))


@pytest.mark.parametrize(("n_rest", "n_stir"), [(2, 10), (9, 2)])
def test_a_sag_needs_three_voltages_on_both_sides(n_rest, n_stir, measured, row, make_reading):
    t = np.r_[REST_T[:n_rest], STIR_T[:n_stir]]
    volts = make_reading("tail", VOLTAGE, t, np.r_[np.full(n_rest, 6.0), np.full(n_stir, 5.9)])
    (tail,) = measured(row("tail", CURRENT, 0.5, 5.5), volts).places
    assert tail.sag_mohm is None


@pytest.mark.parametrize(("stir", "sag"), [(0.5, None), (0.55, 0.1 / 0.35 * 1000), (-5.0, None)])
def test_a_sag_per_amp_needs_a_rise_of_over_0_3_a(stir, sag, measured, row) -> None:
    (tail,) = measured(row("tail", CURRENT, 0.2, stir), row("tail", VOLTAGE, 6.0, 5.9)).places
    assert tail.sag_mohm == (None if sag is None else pytest.approx(sag))


def test_a_place_without_a_current_is_held_against_the_whole(measured, row) -> None:
    bus, tail = measured(row("bus", CURRENT, 0.5, 5.5), row("tail", VOLTAGE, 6.0, 5.9)).places
    assert (bus.place, bus.lowest_v, bus.sag_mohm) == ("bus", None, None)
    assert (tail.place, tail.mean_a, tail.mah) == ("tail", None, None)
    assert tail.sag_mohm == pytest.approx(20.0)


def test_a_whole_that_is_a_sum_has_a_row_of_its_own(measured, row) -> None:
    craft = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))
    rows = row("pack 1", CURRENT, 0.5, 2.0), row("pack 2", CURRENT, 0.25, 1.0)
    volts = row("pack 1", VOLTAGE, 8.0, 7.9)
    places = measured(*rows, volts, aircraft=craft).places
    assert [p.place for p in places] == ["pack 1", "pack 2", "total"]
    assert (places[2].rest_a, places[2].mean_a, places[2].lowest_v) == (0.75, 3.0, None)
    assert places[2].sag_mohm is None
    one = measured(rows[0], aircraft=craft).places
    assert [p.place for p in one] == ["pack 1"]


def test_a_stir_without_any_reading(measured) -> None:
    assert measured().places == ()


@pytest.mark.parametrize(("landed_s", "after"), [(100.0, True), (100.1, False)])
def test_a_stir_after_a_flight(landed_s: float, after: bool, measured) -> None:
    flight = Phase(kind=PhaseKind.FLIGHT, start_s=20.0, end_s=landed_s)
    assert measured(phases=(flight, PHASES[1])).after_flight is after


# --- rhythm


def sine(make_reading, *waves, seconds=40.0, update_s=0.5, place="aileron", told=0.0):
    """Waves of (Hz, reach), sampled each ``update_s``."""
    t = np.arange(0.0, seconds, update_s)
    v = sum((a * np.sin(2 * np.pi * f * t + 0.3) for f, a in waves), np.zeros(t.size))
    interval = update_s if told == 0.0 else told
    return make_reading(place, Quantity.CONTROL, t, v, update_s=interval)


@pytest.mark.parametrize(
    ("waves", "hertz"),
    [
        ([(0.3, 50)], 0.3),
        ([(0.45, 50)], 0.45),
        ([(0.6, 50)], None),
        ([(0.07, 50)], 0.07),
        ([(0.03, 50)], None),
        ([(0.2, 60), (0.4, 50)], 0.2),
        ([(0.2, 50), (0.3, 50), (0.4, 50)], None),
        ([(0.2, 50), (0.3, 30), (0.4, 30)], 0.2),
        ([(0.3, 0.01)], 0.3),
        ([(0.3, 0)], None),
    ],
    ids=["a line", "four readings a period", "fewer", "over two periods", "1.2 periods",
         "59 % of the power", "a third of it", "58 % of it",
         "a stick that hardly moves", "a stick at rest"],
)  # fmt: skip
def test_the_rhythm_of_a_stick(waves, hertz, make_reading, make_readings) -> None:
    """A reading each half second from 100 s on for 40 s: between 0.05 and 0.5 Hz."""
    row = sine(make_reading, *waves)
    row.t[:] += 100.0
    found = stick_rhythm(make_readings(row, end_s=140.0), (100.0, 140.0))
    assert found == (None if hertz is None else pytest.approx(hertz, abs=0.006))


@pytest.mark.parametrize(("seconds", "hertz"), [(8.0, 0.4), (7.5, None)])
def test_sixteen_readings_are_needed(seconds, hertz, make_reading, make_readings) -> None:
    readings = make_readings(sine(make_reading, (0.4, 50)), end_s=40.0)
    found = stick_rhythm(readings, (0.0, seconds))
    assert found == (None if hertz is None else pytest.approx(hertz, abs=0.03))


@pytest.mark.parametrize(("hertz", "seen"), [(10.0, True), (15.0, False)])
def test_no_control_is_taken_to_be_read_more_often_than_50_times_a_second(
    hertz, seen, make_reading, make_readings
) -> None:
    """A quarter of 50 Hz: up to 12.5 Hz."""
    readings = make_readings(sine(make_reading, (hertz, 50), seconds=4, update_s=0.005), end_s=4.0)
    assert stick_rhythm(readings, (0.0, 4.0)) == (pytest.approx(hertz, abs=0.05) if seen else None)


def test_the_stick_with_the_clearest_rhythm_tells(make_reading, make_readings) -> None:
    vague = sine(make_reading, (0.2, 60), (0.4, 50))
    clear = sine(make_reading, (0.3, 50), place="elevator")
    for rows in ((vague, clear), (clear, vague)):
        assert stick_rhythm(make_readings(*rows, end_s=40.0), (0.0, 40.0)) == pytest.approx(
            0.3, abs=0.006
        )


def test_the_throttle_and_a_control_of_unknown_pace_have_none(make_reading, make_readings) -> None:
    motor = sine(make_reading, (0.3, 50), place="throttle")
    assert stick_rhythm(make_readings(motor, end_s=40.0), (0.0, 40.0)) is None
    once = sine(make_reading, (0.3, 50), told=None)
    assert stick_rhythm(make_readings(once, end_s=40.0), (0.0, 40.0)) is None
    later = sine(make_reading, (0.4, 50), place="elevator")
    rows = motor, once, later
    assert stick_rhythm(make_readings(*rows, end_s=40.0), (0.0, 40.0)) == pytest.approx(
        0.4, abs=0.006
    )
