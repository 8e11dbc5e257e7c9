"""Seasons and random cases: repeatable, plausible, and with the faults they promise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.results import PhaseKind
from telemetry.simulate import FaultKind, PathKind, ServoLaw, SimulatedRecording, fly
from telemetry.simulate.demo import dunlin_season, tern_season
from telemetry.simulate.faults import SERVO_KINDS
from telemetry.simulate.season import PlannedChange, Season
from tests.simulated.cases import random_fault, random_season
from tests.simulated.machines import random_aircraft


def _short(season: Season, flights: int, flight_s: float = 120.0) -> Season:
    return replace(
        season,
        flights=flights,
        dt_s=0.02,
        habits=replace(season.habits, flight_s=flight_s),
    )


def _mean(recording: SimulatedRecording, kind: PhaseKind, name: str = "bus/current") -> float:
    inside = np.zeros(recording.time_s.size, dtype=bool)
    for phase in recording.truth.phases:
        if phase.kind is kind:
            inside |= (recording.time_s >= phase.start_s) & (recording.time_s < phase.end_s)
    return float(recording.signals[name][inside].mean()) if inside.any() else float("nan")


def test_a_season_repeats() -> None:
    first, again = (
        list(fly(_short(random_season(np.random.default_rng(5), FaultKind.CONTACT), 2)))
        for _ in range(2)
    )
    for a, b in zip(first, again, strict=True):
        assert a.truth == b.truth
        assert a.start == b.start
        for one, two in zip(a.table.columns, b.table.columns, strict=True):
            np.testing.assert_array_equal(one.values, two.values)


def test_a_longer_season_begins_like_a_short_one() -> None:
    season = _short(random_season(np.random.default_rng(6)), 2)
    short, long = list(fly(season)), list(fly(replace(season, flights=3)))
    np.testing.assert_array_equal(short[1].signals["bus/current"], long[1].signals["bus/current"])


def test_charge_carries_over_until_the_packs_are_charged() -> None:
    season = _short(tern_season(), 4)
    starts, ends = [], []
    for recording in fly(season):
        starts.append(recording.truth.charge_start["pack 1"])
        ends.append(recording.truth.charge_end["pack 1"])
    assert starts[0] > 0.95
    assert starts[1] == pytest.approx(ends[0])
    assert starts[2] > 0.95


def test_flights_are_dated_in_order() -> None:
    starts = [r.start for r in fly(_short(tern_season(), 7, 60.0))]
    assert starts == sorted(starts)
    assert len({s.date() for s in starts}) == 3


def test_slower_telemetry_is_a_change_of_all_intervals() -> None:
    season = replace(_short(tern_season(), 2, 60.0), changes=(PlannedChange(flight=2, slower=2.0),))
    before, after = (
        float(np.median(np.diff(r.updates["tail/current"].time_s))) for r in fly(season)
    )
    assert after == pytest.approx(2 * before, rel=0.02)


@pytest.mark.parametrize("kind", list(FaultKind))
def test_a_random_fault_begins_late_and_grows(kind: FaultKind) -> None:
    for seed in range(6):
        rng = np.random.default_rng([seed, 4])
        aircraft = random_aircraft(rng, packs=2)
        (fault,) = random_fault(rng, aircraft, kind, 20)
        assert fault.kind is kind
        assert 6 <= fault.onset <= 13
        assert fault.level(fault.onset) != 0.0
        assert fault.level(fault.onset - 1) == 0.0
        if kind in SERVO_KINDS:
            assert aircraft.servo(fault.servo).node == fault.place


def test_the_wanted_law_and_sensors_are_drawn() -> None:
    for law in ServoLaw:
        season = random_season(
            np.random.default_rng(1), law=law, node_currents=True, controls=True, interval_s=0.4
        )
        assert {s.law for s in season.aircraft.servos} == {law}
        assert season.telemetry.controls
        keys = {s.key for s in season.telemetry.sensors}
        assert all(f"{n.name}/current" in keys for n in season.aircraft.nodes)


def _plausible(season: Season) -> dict[str, bool]:
    """Whether one flight lies where a 2 to 3 m aerobatic machine's does (common practice)."""
    recording = next(iter(fly(replace(season, habits=replace(season.habits, stir=1.0)))))
    rest = _mean(recording, PhaseKind.GROUND)
    stir, flight = (_mean(recording, k) for k in (PhaseKind.STIR, PhaseKind.FLIGHT))
    return {
        "rest": 0.4 < rest < 2.2,
        "stir": 1.5 < stir < 9.0,
        "stir stands out": stir > 2.0 * rest,
        "flight": 1.0 < flight < 7.0,
        "peak": 5.0 < recording.signals["bus/current"].max() < 35.0,
        "no restart": all(r.by_pilot for r in recording.truth.restarts),
        "branches": all(10 < r < 70 for r in recording.truth.branch_mohm.values()),
        "packs": all(
            10 < float(s.mohm(1.0)) < 60 for p, s in recording.truth.sources.items() if p != "bus"
        ),
    }


def test_demo_aircraft_are_plausible() -> None:
    for season in (tern_season(), dunlin_season()):
        assert all(_plausible(season).values()), _plausible(season)


def test_random_aircraft_are_mostly_plausible() -> None:
    found = [
        _plausible(_short(random_season(np.random.default_rng([9, i]), harmless=False), 1, 150))
        for i in range(30)
    ]
    for what in found[0]:
        assert sum(f[what] for f in found) >= 26, what
    assert all(f["no restart"] for f in found)


@pytest.mark.parametrize("path", list(PathKind))
def test_truth_states_what_the_true_signals_show(path: PathKind) -> None:
    # Regression of steps of voltage on steps of current, over one grid step: the series
    # resistance, a pack's at its terminals and the bus's over all packs.
    season = _short(random_season(np.random.default_rng(13), path=path, packs=2), 1, 200)
    recording = next(iter(fly(season)))
    flight = recording.truth.flights[0]
    aloft = (recording.time_s[1:] > flight.start_s) & (recording.time_s[1:] < flight.end_s)
    for place, source in recording.truth.sources.items():
        fall = -np.diff(recording.signals[f"{place}/voltage"])
        rise = np.diff(recording.signals[f"{place}/current"])
        clear = aloft & (np.abs(rise) > 0.02)
        seen = 1000.0 * (fall[clear] @ rise[clear]) / (rise[clear] @ rise[clear])
        assert seen == pytest.approx(float(source.mohm(0.0)), rel=0.01), place
