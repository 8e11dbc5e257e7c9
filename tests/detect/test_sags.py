"""Voltage events of a few readings each: levels, extents, areas and currents worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits, Pack
from telemetry.detect.sags import deficit_vs, find_voltage_events, minimum_series
from telemetry.model.channels import Quantity
from telemetry.results import EventKind, Phase, PhaseKind

LIMITS = Limits()
PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=10.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=10.0, end_s=100.0),
)
T = 0.25 * np.arange(160)
VOLTAGE, CURRENT = Quantity.VOLTAGE, Quantity.CURRENT


def level(usual: float, *parts: tuple[float, float, float]) -> np.ndarray:
    """A usual value, but for parts: start, end and value."""
    v = np.full(T.size, usual)
    for a, b, x in parts:
        v[(a <= T) & (b > T)] = x
    return v


@pytest.fixture
def volts(make_reading):
    return lambda v, place="bus", t=T, **more: make_reading(place, VOLTAGE, t, v, **more)


@pytest.fixture
def events(make_readings):
    def find(*rows, aircraft=None, limits=LIMITS, floors=None):
        craft = Aircraft(bus="bus") if aircraft is None else aircraft
        readings = make_readings(*rows, end_s=40.0)
        return find_voltage_events(readings, PHASES, craft, limits, floors)

    return find


@pytest.mark.parametrize(("high", "comfort"), [(3, 6.0), (1, 5.0)])
def test_a_system_rests_at_its_90_percent_level(high: int, comfort: float, volts) -> None:
    """Of 21 readings the third highest; the lower ones are under load."""
    v = np.full(21, 6.0)
    v[:high] = 7.4
    assert Aircraft(bus="bus").comfort_v("bus", volts(v, t=T[:21]).rest_v) == comfort


def test_without_readings_there_is_no_comfort_level(volts) -> None:
    assert Aircraft(bus="bus").comfort_v("bus", volts((), t=()).rest_v) is None


# --- the unit's own minimum


@pytest.mark.parametrize(
    ("size", "rises", "held"),
    [(20, 3, True), (20, 2, False), (10, 2, True), (9, 4, False)],
    ids=["over a tenth", "a tenth", "half as many", "nine readings"],
)
def test_a_minimum_that_begins_anew_with_each_report(size, rises, held, volts, make_readings):
    plain = volts(np.full(20, 6.0), t=T[:20])
    v = np.full(size, 5.0) - 0.01 * np.arange(size)
    v[1 : 2 * rises : 2] += 0.5
    low = volts(v, t=T[:size], hold="min")
    found = minimum_series(make_readings(plain, low, end_s=40.0), plain)
    assert (found is low) is held
    assert found is (low if held else plain)


def test_a_minimum_that_is_told_seldom_is_not_taken(volts, make_readings) -> None:
    v = 5.0 + 0.1 * (np.arange(10) % 2)
    low = volts(v, t=T[:10], hold="min")
    for n, held in ((20, True), (21, False), (10, True), (9, False)):
        plain = volts(np.full(n, 6.0), t=T[:n])
        assert (minimum_series(make_readings(plain, low, end_s=40.0), plain) is low) is held
        assert minimum_series(make_readings(plain, end_s=40.0), plain) is plain


# --- sags


def test_one_sag(events, volts) -> None:
    """From 6.0 V to 5.5 and 5.2 V: 0.5 V for 0.25 s and 0.8 V for 0.25 s are 0.325 Vs."""
    (sag,) = events(volts(level(6.0, (20, 20.25, 5.5), (20.25, 20.5, 5.2))))
    assert (sag.kind, sag.place, sag.start_s, sag.end_s) == (EventKind.SAG, "bus", 20.0, 20.5)
    assert (sag.truncated, sag.updates, sag.phase) == (False, 2, PhaseKind.FLIGHT)
    assert (sag.reference_v, sag.residual_v) == (6.0, 5.2)
    assert sag.depth_v == pytest.approx(0.8)
    assert sag.deficit_vs == pytest.approx(0.325)
    assert sag.peak_a is None


@pytest.mark.parametrize(
    ("usual", "low", "found"),
    [(4.0, 3.75, False), (4.0, 3.74, True), (8.0, 7.6, False), (8.0, 7.59, True)],
    ids=["0.25 V", "more", "5 %", "more"],
)
def test_how_deep_a_sag_is(usual: float, low: float, found: bool, events, volts) -> None:
    assert bool(events(volts(level(usual, (20, 21, low))))) is found


@pytest.mark.parametrize(("back", "end_s"), [(5.81, 21.0), (5.83, 20.5)])
def test_a_sag_ends_2_percent_above_its_threshold(back, end_s, events, volts) -> None:
    """5 % below 6.0 V are 5.70 V; the hysteresis of 2 % is 0.12 V."""
    (sag,) = events(volts(level(6.0, (20, 20.5, 5.5), (20.5, 21, back))))
    assert sag.end_s == end_s


@pytest.mark.parametrize(
    ("resolution", "end_s"), [(0.2, 20.5), (0.3, 21.0), (None, 20.5)], ids=["0.2", "0.3", "none"]
)
def test_the_hysteresis_is_a_step_at_the_least(resolution, end_s, events, volts) -> None:
    (sag,) = events(volts(level(6.0, (20, 20.5, 5.5), (20.5, 21, 5.95)), resolution=resolution))
    assert sag.end_s == end_s


def test_a_sag_still_open_after_10_s_is_a_shift(events, volts) -> None:
    (shift,) = events(volts(level(6.0, (20, 99, 5.5))))
    assert (shift.kind, shift.start_s, shift.end_s) == (EventKind.SHIFT, 20.0, 30.0)


@pytest.mark.parametrize(
    ("update_s", "end_s"), [(0.5, 40.25), (3.0, 40.75), (None, 39.75)], ids=["", "at most 1 s", "?"]
)
def test_a_sag_at_the_end_lasts_for_one_interval_more(update_s, end_s, events, volts) -> None:
    (sag,) = events(volts(level(6.0, (38, 99, 5.5)), update_s=update_s))
    assert (sag.truncated, sag.start_s, sag.end_s) == (True, 38.0, end_s)


@pytest.mark.parametrize(("bus", "regulated", "reference"), [("bus", 5.6, 5.6), ("x", 5.6, 6.0)])
def test_a_regulated_bus_is_held_against_its_set_point(bus, regulated, reference, events, volts):
    craft = Aircraft(bus=bus, regulated_v=regulated)
    (sag,) = events(volts(level(6.0, (20, 21, 5.2))), aircraft=craft)
    assert sag.reference_v == pytest.approx(reference)


def test_the_reference_follows_in_a_minute(events, volts) -> None:
    """6.0 V for 5 s, then 5.8 V: after 15 s it has come 1 - exp(-15 / 60) of 0.2 V nearer."""
    (sag,) = events(volts(level(6.0, (5.25, 99, 5.8), (20.25, 20.5, 5.3))))
    assert sag.reference_v == pytest.approx(5.8 + 0.2 * np.exp(-15 / 60), abs=1e-6)


# --- undervoltage


@pytest.mark.parametrize(("low", "found"), [(4.99, True), (5.0, False)])
def test_undervoltage_is_below_the_comfort_level(low: float, found: bool, events, volts) -> None:
    kinds = [e.kind for e in events(volts(level(6.0, (20, 21, low))))]
    assert (EventKind.UNDERVOLTAGE in kinds) is found
    assert EventKind.SAG in kinds


def test_undervoltage_is_told_for_as_long_as_it_lasts(events, volts) -> None:
    """4.9 V for 15 s are 0.1 V below 5.0 V: 1.5 Vs; it ends at 5.0 V and 2 % of it."""
    found = events(volts(level(6.0, (10, 25, 4.9), (25, 26, 5.09), (26, 27, 5.1))))
    (under,) = [e for e in found if e.kind is EventKind.UNDERVOLTAGE]
    assert (under.start_s, under.end_s, under.reference_v) == (10.0, 26.0, 5.0)
    assert under.deficit_vs == pytest.approx(1.5)
    assert (under.updates, under.phase) == (64, PhaseKind.FLIGHT)


@pytest.mark.parametrize(("gap_s", "parts"), [(1.0, 1), (1.25, 2)])
def test_a_gap_parts_an_undervoltage(gap_s: float, parts: int, events, volts) -> None:
    keep = (T <= 15) | (15 + gap_s <= T)
    found = events(volts(level(6.0, (10, 25, 4.9))[keep], t=T[keep]))
    assert [e.kind for e in found].count(EventKind.UNDERVOLTAGE) == parts


@pytest.mark.parametrize(("resolution", "end_s"), [(0.01, 25.0), (0.2, 26.0), (None, 25.0)])
def test_undervoltage_ends_a_step_above_the_level(resolution, end_s, events, volts) -> None:
    found = events(volts(level(6.0, (10, 25, 4.9), (25, 26, 5.15)), resolution=resolution))
    (under,) = [e for e in found if e.kind is EventKind.UNDERVOLTAGE]
    assert under.end_s == end_s


def kinds_at(found, place):
    return {e.kind for e in found if e.place == place}


def test_a_pack_is_held_against_its_floor_and_not_against_comfort(events, volts) -> None:
    rows = volts(level(8.0, (20, 21, 5.8)), "pack 1"), volts(np.full(T.size, 8.0))
    assert kinds_at(events(*rows), "pack 1") == {EventKind.SAG}
    both = {EventKind.SAG, EventKind.UNDERVOLTAGE}
    assert kinds_at(events(*rows, floors={"pack 1": 6.6}), "pack 1") == both
    assert kinds_at(events(*rows, floors={"pack 1": 5.7}), "pack 1") == {EventKind.SAG}


@pytest.mark.parametrize(
    ("usual", "floors", "reference"),
    [(8.0, {}, 6.0), (8.99, {}, 6.0), (9.0, {}, None), (8.0, {"pack 1": 6.6}, 6.6)],
    ids=["it feeds the servos", "under 9 V", "a flight battery", "its floor is known"],
)
def test_the_only_voltage_of_a_log(usual, floors, reference, events, volts) -> None:
    found = events(volts(level(usual, (20, 21, 5.8)), "pack 1"), floors=floors)
    assert [e.reference_v for e in found if e.kind is EventKind.UNDERVOLTAGE] == (
        [] if reference is None else [reference]
    )


def test_a_level_of_the_place_comes_before_comfort(events, volts) -> None:
    found = events(volts(level(6.0, (20, 21, 4.5))), floors={"bus": 4.6})
    (under,) = [e for e in found if e.kind is EventKind.UNDERVOLTAGE]
    assert under.reference_v == 4.6


def test_events_come_in_the_order_of_time_then_place(events, volts) -> None:
    early, late = level(6.0, (15, 16, 4.0)), level(6.0, (15, 16, 4.0), (20, 21, 4.0))
    found = [(e.start_s, e.place, e.kind) for e in events(volts(late, "tail"), volts(early))]
    assert found == sorted(found)
    assert len(found) == 6


# --- area and current


def test_area_below_the_reference() -> None:
    t, v = np.array([10.0, 11.0, 13.0]), np.array([5.5, 6.5, 5.8])
    # 0.5 V for 1 s, nothing above it for 2 s, 0.2 V until the end.
    assert deficit_vs(t, v, 6.0, 14.5) == pytest.approx(0.5 + 0.2 * 1.5)
    assert deficit_vs(t, v, 6.0, 12.0) == pytest.approx(0.5), "an end before the last reading"


@pytest.mark.parametrize(
    ("at_s", "peak"),
    [(19.5, 9.0), (19.4, 1.0), (21.4, 9.0), (21.5, 1.0)],
    ids=["one interval before", "earlier", "within one after", "one after"],
)
def test_the_current_an_interval_about_the_event_counts(
    at_s, peak, events, volts, make_reading
) -> None:
    t = np.sort(np.r_[np.arange(0.0, 40.0, 0.5) + 0.2, at_s])
    amps = make_reading("bus", CURRENT, t, np.where(t == at_s, 9.0, 1.0), update_s=0.5)
    found = events(volts(level(6.0, (20, 21, 5.2))), amps)
    assert [e.peak_a for e in found] == [peak]
    tail = events(volts(level(6.0, (20, 21, 5.2)), "tail"), amps)
    assert [e.peak_a for e in tail] == [peak], "of the whole"


def test_the_current_of_the_place_comes_first(events, volts, make_reading) -> None:
    sagging = volts(level(6.0, (20, 21, 5.2)), "tail")
    whole = make_reading("bus", CURRENT, T, 7.0)
    own = make_reading("tail", CURRENT, T, 3.0)
    empty = make_reading("tail", CURRENT, (), ())
    assert events(sagging, whole, own)[0].peak_a == 3.0
    assert events(sagging, whole, empty)[0].peak_a == 7.0
    assert events(sagging, whole)[0].peak_a == 7.0
    early = make_reading("tail", CURRENT, T[:40], 3.0)
    assert events(sagging, whole, early)[0].peak_a is None, "it told nothing then"


def test_a_current_of_unknown_interval_counts_a_row_about_the_event(
    events, volts, make_reading
) -> None:
    """A row is 0.1 s."""
    t = np.array([5.0, 19.85, 19.95, 30.0])
    own = make_reading("bus", CURRENT, t, (1.0, 9.0, 3.0, 1.0), update_s=None)
    assert events(volts(level(6.0, (20, 21, 5.2))), own)[0].peak_a == 3.0


def test_a_whole_of_two_packs(events, volts, make_reading) -> None:
    craft = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))
    rows = [make_reading(p, CURRENT, T, 2.0) for p in ("pack 1", "pack 2")]
    found = events(volts(level(6.0, (20, 21, 5.2)), "tail"), *rows, aircraft=craft)
    assert found[0].peak_a == 4.0


def test_a_place_whose_own_minimum_is_told_is_judged_by_it(events, volts) -> None:
    plain = volts(np.full(T.size, 6.0))
    low = np.where(np.arange(T.size) % 2, 5.99, 5.98)
    low[80] = 5.0
    held = replace(volts(low), channel=replace(plain.channel, key="m", hold="min"))
    (sag,) = events(plain, held)
    assert (sag.start_s, sag.residual_v) == (20.0, 5.0)
