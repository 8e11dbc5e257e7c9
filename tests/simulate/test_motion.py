"""The pilot: plans, phases, stirs, control checks, flights, and how days differ."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.results import PhaseKind
from telemetry.simulate import Day, Motion, Pilot, Segment, SegmentKind, move, usual_plan
from telemetry.simulate.physics.manoeuvres import fly_figures

PILOT = Pilot()


def _move(*segments: tuple[SegmentKind, float], day: Day | None = None, seed: int = 2) -> Motion:
    plan = tuple(Segment(kind=kind, seconds=seconds) for kind, seconds in segments)
    return move(plan, PILOT, day or Day(), np.random.default_rng(seed))


def test_phases_cover_the_recording_without_holes() -> None:
    rng = np.random.default_rng(4)
    plan = usual_plan(
        rng,
        PILOT,
        flight_s=120,
        flights=2,
        stirs=2,
        stir_after=True,
        check_packs=("pack 1", "pack 2"),
        power_cycle=True,
    )
    motion = move(plan, PILOT, PILOT.day(rng), rng)
    assert motion.phases[0].start_s == 0.0
    for before, after in zip(motion.phases, motion.phases[1:], strict=False):
        assert before.end_s == after.start_s
    assert motion.phases[-1].end_s == pytest.approx(motion.time_s[-1] + motion.dt_s)
    kinds = [p.kind for p in motion.phases]
    assert kinds.count(PhaseKind.STIR) == 6
    assert kinds.count(PhaseKind.FLIGHT) == len(motion.flights) == 2
    assert [name for name, _ in motion.pack_off] == ["pack 1", "pack 2"]
    assert len(motion.power_off) == 1


def test_a_bench_plan_has_no_flight() -> None:
    plan = usual_plan(np.random.default_rng(1), PILOT, flights=0, stirs=2)
    assert SegmentKind.FLIGHT not in {s.kind for s in plan}
    assert [s.kind for s in plan].count(SegmentKind.STIR) == 2


def test_a_stir_swings_both_sticks_most_of_their_travel() -> None:
    motion = _move((SegmentKind.REST, 5), (SegmentKind.STIR, 12), (SegmentKind.REST, 5))
    inside = (motion.time_s > 6) & (motion.time_s < 16)
    for axis in ("aileron", "elevator", "rudder"):
        assert np.ptp(motion.control_pct[axis][inside]) > 140
    gas = motion.control_pct["throttle"]
    assert np.ptp(gas[inside]) > 120
    assert gas.min() >= -100.0
    assert gas.max() <= 100.0


def test_rhythm_and_vigour_of_the_day_show_in_the_stir() -> None:
    def crossings(day: Day) -> int:
        motion = _move((SegmentKind.STIR, 20), day=day)
        travel = motion.control_pct["aileron"]
        # The hand's tremble crosses zero too: count from far one side to far the other.
        return int(np.sum(np.diff(np.sign(travel[np.abs(travel) > 30])) != 0))

    # Two crossings a turn: 20 s at 1.3 Hz make some 52.
    assert crossings(Day()) == pytest.approx(52, rel=0.25)
    assert crossings(Day(rhythm=1.5)) / crossings(Day()) == pytest.approx(1.5, rel=0.1)
    strong = _move((SegmentKind.STIR, 20))
    weak = _move((SegmentKind.STIR, 20), day=Day(vigour=0.6))
    ratio = np.ptp(weak.control_pct["aileron"]) / np.ptp(strong.control_pct["aileron"])
    assert ratio == pytest.approx(0.6, rel=0.05)


def test_a_control_check_moves_one_axis_at_a_time() -> None:
    motion = _move((SegmentKind.REST, 3), (SegmentKind.CHECK, 15), (SegmentKind.REST, 3))
    out = np.stack([np.abs(motion.control_pct[a]) > 30 for a in ("aileron", "elevator", "rudder")])
    assert (out.sum(axis=0) <= 1).all()
    assert out.any(axis=1).all()
    assert len(motion.checks) == 1


def test_a_flight_has_load_speed_and_height_and_the_ground_has_none() -> None:
    motion = _move((SegmentKind.REST, 10), (SegmentKind.FLIGHT, 200), (SegmentKind.REST, 10))
    flight = motion.flights[0]
    aloft = (motion.time_s > flight.start_s + 20) & (motion.time_s < flight.end_s - 25)
    assert motion.air_load[~aloft].min() == 0.0
    assert 0.2 < motion.air_load[aloft].mean() < 1.0
    assert motion.height_m[aloft].min() > 5.0
    assert motion.height_m[motion.time_s < 10].max() == 0.0
    assert 10 < motion.speed_ms[aloft].mean() < 30


def test_days_differ_and_repeat_with_their_seed() -> None:
    days = [PILOT.day(np.random.default_rng(seed)) for seed in (1, 2, 1)]
    assert days[0] != days[1]
    assert days[0] == days[2]
    rng = np.random.default_rng(9)
    vigour = np.array([np.log(PILOT.day(rng).vigour) for _ in range(400)])
    assert vigour.std() == pytest.approx(PILOT.vigour_spread, rel=0.15)


def test_hard_flying_moves_more() -> None:
    def travel(hardness: float) -> float:
        flown = fly_figures(
            20_000,
            0.01,
            np.random.default_rng(3),
            hardness=hardness,
            correction_pct=5.0,
            correction_hz=1.5,
        )
        return float(np.abs(flown.control_pct["elevator"]).mean())

    assert travel(1.4) > 1.15 * travel(0.8)
