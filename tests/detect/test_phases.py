"""Phases of simulated recordings against what the simulated pilot did."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from telemetry import review
from telemetry.detect.phases import find_parts, spans_of
from telemetry.detect.stirs import fallen_to, measure_stirs
from telemetry.model.channels import Quantity
from telemetry.numerics.spans import overlap_s
from telemetry.results import Level, PhaseKind

FLIGHT = "rest 20, stir 10, rest 15, flight 200, rest 20"
PLANS = {
    "flight": FLIGHT,
    "bench": "rest 20, stir 15, rest 20",
    "two stirs": "rest 10, stir 40, rest 6, stir 8, rest 10",
    "checked": "rest 15, check 20, rest 8, stir 10, rest 15, engine 40, flight 200, rest 25",
    "stir after landing": "rest 15, stir 10, rest 12, flight 200, rest 20, stir 10, rest 15",
    "two flights": FLIGHT + ", rest 30, stir 10, rest 15, flight 180, rest 15",
    "power cycle": FLIGHT + ", power-off 30, rest 25, stir 10, rest 15, flight 180, rest 15",
    "packs checked": "rest 20, pack-off 8 pack 1, rest 6, pack-off 8 pack 2, rest 10, stir 10,"
    " rest 15, flight 200, rest 25",
    "only flying": "flight 300",
}
SENSORS = {
    "fast": {},
    "sticks": {"controls": ("aileron", "elevator", "rudder", "throttle")},
    "slow and coarse": {"interval_s": 1.0, "step_a": 0.1, "row_s": 0.2},
}


# With one reading a second and no sticks, short pauses and calm legs cannot all be told apart; the
# plain plans still must be.
CASES = [(p, s) for p in PLANS for s in SENSORS if s != "slow and coarse"]
CASES += [(p, "slow and coarse") for p in ("flight", "bench", "two stirs")]


@pytest.mark.parametrize(("plan", "sensors"), CASES)
def test_phases_are_those_flown(plan, sensors, make_case) -> None:
    case = make_case(PLANS[plan], **SENSORS[sensors], seed=len(plan))
    parts = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    found = tuple(p for part in parts for p in part.phases)
    truth = case.rec.truth.phases
    tolerance = 4.0 if sensors != "slow and coarse" else 8.0
    for kind in (PhaseKind.FLIGHT, PhaseKind.STIR, PhaseKind.REDUNDANCY_CHECK):
        want, got = spans_of(truth, kind), spans_of(found, kind)
        assert len(got) == len(want), (kind, want, got)
        for w, g in zip(want, got, strict=True):
            # Engine run and taxiing may be counted to the flight's first seconds.
            early = 40.0 if kind is PhaseKind.FLIGHT and "engine" in PLANS[plan] else tolerance
            late = 8.0 if plan == "two flights" else tolerance
            assert -max(early, late) <= g[0] - w[0] <= tolerance, (kind, w, g)
            assert abs(g[1] - w[1]) <= tolerance, (kind, w, g)
    flights = len(spans_of(truth, PhaseKind.FLIGHT))
    assert [p.kind for p in parts] == (["flight"] * flights if flights else ["bench"])


def test_phases_leave_no_hole(make_case) -> None:
    case = make_case(PLANS["two flights"])
    parts = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    edges = [(p.start_s, p.end_s) for part in parts for p in part.phases]
    assert edges[0][0] == case.readings.start_s
    assert edges[-1][1] == case.readings.end_s
    assert all(a[1] == b[0] for a, b in pairwise(edges))


def test_ground_rest_alone_is_a_bench_recording_without_stir(make_case) -> None:
    case = make_case("rest 90")
    (part,) = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)
    assert part.kind == "bench"
    assert [p.kind for p in part.phases] == [PhaseKind.GROUND]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_stir_measures_against_the_true_signals(seed, make_case) -> None:
    case = make_case(FLIGHT, seed=seed, controls=("aileron", "elevator", "rudder"))
    part = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)[0]
    (stir,) = measure_stirs(case.readings, case.aircraft, part.phases, 1.0)
    assert not stir.after_flight
    t = case.rec.time_s
    inside = (t >= stir.start_s) & (t < stir.end_s)
    rest = (t >= stir.start_s - 10) & (t < stir.start_s - 1)
    for p in stir.places:
        amps = case.rec.signals[f"{p.place}/current"]
        volts = case.rec.signals[f"{p.place}/voltage"]
        assert p.mean_a == pytest.approx(amps[inside].mean(), rel=0.15, abs=0.03)
        assert p.rest_a == pytest.approx(amps[rest].mean(), rel=0.15, abs=0.05)
        assert p.peak_a <= amps[inside].max() * 1.05 + 0.05
        assert p.lowest_v >= volts[inside].min() - 0.02
        step = t[1] - t[0]
        assert p.mah == pytest.approx(amps[inside].sum() * step / 3.6, rel=0.2, abs=0.2)
    by_place = {p.place: p for p in stir.places}
    left = case.rec.truth.branch_mohm["left wing"]
    drop = by_place["left wing"].sag_mohm - by_place["bus"].sag_mohm * (
        (by_place["bus"].mean_a - by_place["bus"].rest_a)
        / (by_place["left wing"].mean_a - by_place["left wing"].rest_a)
    )
    assert drop == pytest.approx(left, rel=0.5)


def test_rhythm_comes_from_the_sticks_alone(make_case) -> None:
    with_sticks = make_case("rest 15, stir 15, rest 15", controls=("aileron", "elevator"))
    without = make_case("rest 15, stir 15, rest 15")
    found = []
    for case in (with_sticks, without):
        part = find_parts(case.log, case.readings, case.aircraft, case.aircraft.limits)[0]
        (stir,) = measure_stirs(case.readings, case.aircraft, part.phases, 1.0)
        found.append(stir.rhythm_hz)
    assert found[1] is None
    # Count the aileron's own turns in the true motion.
    case = with_sticks
    x = case.readings.get(Quantity.CONTROL, "aileron")
    part = (x.t > 16) & (x.t < 29)
    v = x.v[part] - x.v[part].mean()
    turns = np.count_nonzero((v[:-1] < 0) & (v[1:] >= 0)) / 13.0
    assert found[0] == pytest.approx(turns, abs=0.12)


@pytest.mark.parametrize("sensors", ["fast", "sticks"])
def test_a_current_that_stays_up_after_the_stir_is_no_flying(sensors, make_case) -> None:
    """A servo that binds from the stir on draws 0.9 A more for good; the phases stay."""
    case = make_case("rest 25, stir 14, rest 20, flight 150, rest 25", **SENSORS[sensors], seed=4)
    stir = spans_of(case.rec.truth.phases, PhaseKind.STIR)[0]
    from_s = stir[0] + 4.0
    frame = case.log.frame.copy()
    key = next(
        c.key
        for c in case.log.channels
        if c.place == "left wing" and c.quantity is Quantity.CURRENT
    )
    whole = [
        c.key for c in case.log.channels if c.place == "bus" and c.quantity is Quantity.CURRENT
    ]
    packs = [
        c.key
        for c in case.log.channels
        if c.quantity is Quantity.CURRENT and (c.place or "").startswith("pack")
    ]
    late = frame.index >= from_s
    for k in (key, *whole):
        frame.loc[late, k] += 0.9
    for k in packs:
        frame.loc[late, k] += 0.45
    # The counters know nothing of the added current.
    channels = tuple(c for c in case.log.channels if c.quantity is not Quantity.CONSUMED)
    log = replace(case.log, frame=frame[[c.key for c in channels]], channels=channels)
    found = review(log)
    phases = [p for f in found.flights for p in f.phases]
    for kind in (PhaseKind.STIR, PhaseKind.FLIGHT):
        (want,), (got,) = spans_of(case.rec.truth.phases, kind), spans_of(tuple(phases), kind)
        assert abs(got[0] - want[0]) < 4.0
        assert abs(got[1] - want[1]) < 4.0
    # It rests higher since, or draws more since: both say the same of one current.
    ((code, place),) = [(f.code, f.place) for f in found.findings]
    assert code in ("servo-not-resting", "servo-current-rising")
    assert place == "left wing"


def test_a_level_written_once_holds_until_the_next() -> None:
    """Only changes are written: the rest after a stir is one cell, and still 0.30 A."""
    t = np.array([0.0, 10.0, 20.0, 20.5, 21.0, 30.0, 31.2, 31.6, 39.5])
    v = np.array([0.1, 0.12, 1.5, 2.0, 1.6, 1.8, 0.31, 0.30, 0.31])
    assert fallen_to((t, v), (32.5, 45.0)) == pytest.approx(0.30)
    # What the stir wrote is no rest, and one reading is no level.
    assert fallen_to((t[:6], v[:6]), (32.5, 45.0)) is None
    assert fallen_to((t[:7], v[:7]), (32.5, 45.0)) is None


def test_a_pack_that_gives_little_at_rest_is_seen_switched_off_by_its_voltage(make_case) -> None:
    """Behind ideal diodes the fuller pack carries the rest alone: no current steps at the other."""
    case = make_case("rest 20, stir 10, rest 30, flight 120, rest 20", seed=6)
    off = (case.log.frame.index >= 38.0) & (case.log.frame.index < 43.0)
    frame = case.log.frame.copy()
    frame.loc[frame.index < 62.0, "pack 2/current"] *= 0.05
    frame.loc[off, "pack 2/voltage"] = 0.01
    log = replace(case.log, frame=frame)
    found = review(log)
    (check,) = [p for p in found.flights[0].phases if p.kind is PhaseKind.REDUNDANCY_CHECK]
    assert check.start_s == pytest.approx(38.0, abs=0.5)
    assert check.end_s == pytest.approx(43.0, abs=0.5)
    assert not [
        f for f in found.findings if f.code in ("sag-unexplained", "undervoltage", "pack-out")
    ]


def test_sticks_read_in_step_with_their_swing_do_not_hide_a_stir(make_case) -> None:
    """A stick that goes round once a second looks still when it is read once a second."""
    case = make_case(FLIGHT, **SENSORS["sticks"], seed=8)
    frame = case.log.frame.copy()
    stir = spans_of(case.rec.truth.phases, PhaseKind.STIR)[0]
    inside = (frame.index >= stir[0]) & (frame.index < stir[1])
    second = np.floor(frame.index.to_numpy())
    for c in case.log.channels:
        if c.quantity is Quantity.CONTROL:
            values = frame[c.key].where(~inside, 0.0)
            frame[c.key] = values.groupby(second).transform("first")
    found = review(replace(case.log, frame=frame)).flights[0].phases
    (got,) = spans_of(found, PhaseKind.STIR)
    assert abs(got[0] - stir[0]) < 4.0
    assert abs(got[1] - stir[1]) < 4.0


def test_lively_flying_without_any_rest_is_a_flight(make_case) -> None:
    """The log begins and ends in the air, and its calmest seconds are full of corrections."""
    case = make_case("flight 200", seed=9)
    frame = case.log.frame.copy()
    rng = np.random.default_rng(9)
    wild = 2.0 + 1.5 * np.abs(rng.standard_normal(len(frame)))
    for c in case.log.channels:
        if c.quantity is Quantity.CURRENT:
            frame[c.key] = frame[c.key] + wild * (3.0 if c.place == "bus" else 1.0)
    phases = [p for f in review(replace(case.log, frame=frame)).flights for p in f.phases]
    (got,) = spans_of(tuple(phases), PhaseKind.FLIGHT)
    assert got[0] < 5.0
    assert got[1] > 195.0


def test_voltage_alone_tells_when_there_was_load_and_that_supply_was_lost(make_case) -> None:
    case = make_case("rest 25, stir 12, rest 30, flight 200, rest 30", seed=10)
    channels = tuple(
        c
        for c in case.log.channels
        if c.place in ("pack 1", "bus") and c.quantity is Quantity.VOLTAGE
    )
    frame = case.log.frame[[c.key for c in channels]].copy()
    hole = (frame.index >= 150.0) & (frame.index < 151.5)
    frame.loc[hole, "bus/voltage"] = 2.4
    found = review(replace(case.log, frame=frame, channels=channels))
    (got,) = spans_of(found.flights[0].phases, PhaseKind.FLIGHT)
    (want,) = spans_of(case.rec.truth.phases, PhaseKind.FLIGHT)
    assert overlap_s(got, want) > 0.9 * (want[1] - want[0])
    assert {f.code for f in found.findings} >= {"brownout", "margin-low", "log-too-thin"}
    assert found.verdict is Level.GROUND
