"""Every kind of fault: when it begins, how it grows, and what it does to the true signals."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.results import PhaseKind
from telemetry.simulate import (
    Fault,
    FaultKind,
    PathKind,
    Pilot,
    SimulatedRecording,
    move,
    simulate,
    usual_plan,
)
from telemetry.simulate.fleet import dunlin, dunlin_telemetry, tern, tern_telemetry
from telemetry.simulate.physics.motion import Motion

PILOT = Pilot()


@pytest.fixture(scope="module")
def motion() -> Motion:
    rng = np.random.default_rng(8)
    plan = usual_plan(rng, PILOT, flight_s=150)
    return move(plan, PILOT, PILOT.day(rng), rng, dt_s=0.02)


def _fly(
    motion: Motion, *faults: Fault, flight: int = 1, regulated: bool = False
) -> SimulatedRecording:
    aircraft, telemetry = (
        (dunlin(), dunlin_telemetry()) if regulated else (tern(), tern_telemetry())
    )
    rng = np.random.default_rng(21)
    return simulate(aircraft, telemetry, motion, rng, faults=faults, flight=flight)


def _during(recording: SimulatedRecording, kind: PhaseKind, name: str) -> np.ndarray:
    inside = np.zeros(recording.time_s.size, dtype=bool)
    for phase in recording.truth.phases:
        if phase.kind is kind:
            inside |= (recording.time_s >= phase.start_s) & (recording.time_s < phase.end_s)
    return recording.signals[name][inside]


def test_level_is_nothing_before_the_onset_and_after_the_cure() -> None:
    fault = Fault(
        kind=FaultKind.CONNECTOR, place="tail", onset=4, start=0.005, growth=0.002, cured=8
    )
    assert [round(fault.level(k), 4) for k in (3, 4, 6, 7, 8)] == [0.0, 0.005, 0.009, 0.011, 0.0]


def test_before_its_onset_a_fault_changes_nothing(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.CONNECTOR, place="tail", onset=5, start=0.05)
    healthy, before = _fly(motion), _fly(motion, fault, flight=4)
    assert before.truth.faults == ()
    for column, same in zip(healthy.table.columns, before.table.columns, strict=True):
        np.testing.assert_array_equal(column.values, same.values)


def _one(kind: FaultKind) -> Fault:
    """A large fault of this kind."""
    place, servo, level = {
        FaultKind.SERVO_BINDING: ("tail", "tail 1", 0.5),
        FaultKind.SERVO_HEATING: ("tail", "tail 1", 0.5),
        FaultKind.SERVO_HUNTING: ("tail", "tail 1", 5.0),
        FaultKind.SERVO_SILENT: ("tail", "tail 1", 1.0),
        FaultKind.CONNECTOR: ("left wing", "", 0.03),
        FaultKind.CONTACT: ("left wing", "", 6.0),
        FaultKind.SENSOR_OFFSET: ("left wing", "", 0.2),
        FaultKind.SENSOR_GAIN: ("left wing", "", 0.2),
        FaultKind.PACK_COLD: ("bus", "", 20.0),
        FaultKind.PACK_LOW: ("bus", "", 0.6),
        FaultKind.LINK_LOSS: ("bus", "", 2.0),
        FaultKind.SPURIOUS: ("bus", "", 2.0),
        FaultKind.BROWNOUT: ("bus", "", 1.0),
        FaultKind.REGULATOR_LIMIT: ("bus", "", 0.9),
        FaultKind.REGULATOR_HOT: ("bus", "", 1.0),
    }.get(kind, ("pack 2", "", 0.5))
    return Fault(kind=kind, place=place, servo=servo, start=level)


def _with(motion: Motion, *faults: Fault) -> SimulatedRecording:
    limited = {FaultKind.REGULATOR_LIMIT, FaultKind.REGULATOR_HOT}
    return _fly(motion, *faults, regulated=any(f.kind in limited for f in faults))


@pytest.mark.parametrize("kind", list(FaultKind))
def test_every_kind_changes_what_is_logged(motion: Motion, kind: FaultKind) -> None:
    faulty = _with(motion, _one(kind))
    healthy = _fly(motion, regulated=faulty.aircraft.name == "dunlin")
    assert [f.kind for f in faulty.truth.faults] == [kind]
    assert any(
        not np.array_equal(a.values, b.values, equal_nan=True)
        for a, b in zip(healthy.table.columns, faulty.table.columns, strict=True)
    )


@pytest.mark.parametrize("kind", [None, *FaultKind])
def test_ohm_and_kirchhoff_hold_whatever_is_wrong(motion: Motion, kind: FaultKind | None) -> None:
    fault = () if kind is None else (_one(kind),)
    recording = _with(motion, *fault)
    signals, truth = recording.signals, recording.truth
    packs = sum(signals[f"{p.name}/current"] for p in recording.aircraft.packs)
    np.testing.assert_allclose(packs, signals["bus/current"], atol=1e-6)
    nodes = sum(signals[f"{n.name}/current"] for n in recording.aircraft.nodes)
    assert (signals["bus/current"] - nodes).min() > -1e-9, "the main unit's own gives nothing"
    away = np.zeros(recording.time_s.size, dtype=bool)
    for contact in truth.contacts:
        away |= (recording.time_s >= contact.start_s - motion.dt_s / 2) & (
            recording.time_s < contact.end_s - motion.dt_s / 2
        )
    for node, above in truth.parents.items():
        drop = signals[f"{above}/voltage"] - signals[f"{node}/voltage"]
        ohm = truth.branch_mohm[node] / 1000
        sound = ~away if kind is FaultKind.CONTACT else slice(None)
        np.testing.assert_allclose(
            drop[sound], ohm * signals[f"{node}/current"][sound], atol=1e-9, err_msg=node
        )
    for pack in recording.aircraft.packs:
        amps = signals[f"{pack.name}/current"]
        if pack.path.kind is not PathKind.DIODE or kind is FaultKind.SWITCH_STEP:
            continue  # a regulator holds its own voltage; the step has a test of its own
        drop = signals[f"{pack.name}/voltage"] - signals["bus/voltage"]
        on = amps > 0.05
        assert on.any()
        expected = pack.path.drop_v + pack.path.ohm * amps[on]
        np.testing.assert_allclose(drop[on], expected, atol=1e-6, err_msg=pack.name)


def test_a_servo_that_heats_draws_more_and_more(motion: Motion) -> None:
    healthy, faulty = _fly(motion), _with(motion, _one(FaultKind.SERVO_HEATING))

    def ratios(name: str) -> list[float]:
        """Against the healthy flight, in each quarter of the time in the air."""
        quarters = [
            np.array_split(_during(r, PhaseKind.FLIGHT, name), 4) for r in (faulty, healthy)
        ]
        return [float(a.mean() / b.mean()) for a, b in zip(*quarters, strict=True)]

    tail = ratios("tail/current")
    assert tail == sorted(tail)
    assert tail[-1] > tail[0] + 0.02
    assert ratios("left wing/current") == pytest.approx([1.0] * 4, abs=0.001)


def test_a_servo_that_hunts_draws_at_rest_too(motion: Motion) -> None:
    healthy, faulty = _fly(motion), _with(motion, _one(FaultKind.SERVO_HUNTING))
    rest = [_during(r, PhaseKind.GROUND, "tail/current").mean() for r in (faulty, healthy)]
    assert rest[0] > 1.05 * rest[1]
    rest = [_during(r, PhaseKind.GROUND, "left wing/current").mean() for r in (faulty, healthy)]
    assert rest[0] == pytest.approx(rest[1], rel=0.001)


def test_a_packs_lead_is_in_its_source_alone(motion: Motion) -> None:
    healthy = _fly(motion)
    faulty = _fly(motion, Fault(kind=FaultKind.PACK_LEAD, place="pack 2", start=0.020))
    first = {
        name: float(faulty.truth.sources[name].mohm(0.0) - healthy.truth.sources[name].mohm(0.0))
        for name in ("pack 1", "pack 2")
    }
    # What the packs share moves with it, and with that how warm they are: hundredths of a mOhm.
    assert first == pytest.approx({"pack 1": 0.0, "pack 2": 20.0}, abs=0.05)
    assert faulty.truth.branch_mohm == healthy.truth.branch_mohm
    assert (
        _during(faulty, PhaseKind.FLIGHT, "pack 2/current").mean()
        < 0.9 * _during(healthy, PhaseKind.FLIGHT, "pack 2/current").mean()
    )


def test_a_hot_regulator_droops_later_than_one_that_is_weak(motion: Motion) -> None:
    healthy = _fly(motion, regulated=True)

    def first_droop_s(kind: FaultKind) -> float:
        faulty = _fly(motion, Fault(kind=kind, place="bus", start=0.95), regulated=True)
        assert faulty.truth.lowest_v["pack 1"] > 7.3
        fallen = healthy.signals["bus/voltage"] - faulty.signals["bus/voltage"] > 0.05
        assert fallen.any()
        return float(faulty.time_s[np.argmax(fallen)])

    takes_off = min(p.start_s for p in healthy.truth.phases if p.kind is PhaseKind.FLIGHT)
    assert first_droop_s(FaultKind.REGULATOR_LIMIT) < takes_off
    assert first_droop_s(FaultKind.REGULATOR_HOT) > takes_off + 60.0


def test_a_false_reading_is_in_the_log_and_not_in_the_aircraft(motion: Motion) -> None:
    recording = _with(motion, _one(FaultKind.SPURIOUS))
    assert len(recording.truth.wrong) == 2
    for wrong in recording.truth.wrong:
        assert wrong.value in recording.updates[wrong.key].values
        truth = recording.signals["bus/voltage"]
        assert np.abs(truth - wrong.value).min() > 5.0
    assert recording.truth.restarts == ()


def test_binding_raises_its_node_and_leaves_the_mirror(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.SERVO_BINDING, place="left wing", servo="left wing 1", start=0.5)
    healthy, faulty = _fly(motion), _fly(motion, fault)

    def ratio(name: str) -> float:
        stir = [_during(r, PhaseKind.STIR, name).mean() for r in (faulty, healthy)]
        return float(stir[0] / stir[1])

    # One of two large servos and a small one that hardly moves: half of half as much again.
    assert 1.12 < ratio("left wing/current") < 1.30
    assert ratio("right wing/current") == pytest.approx(1.0, abs=0.01)


def test_a_silent_servo_steps_down_and_the_drop_per_amp_stays(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.SERVO_SILENT, place="tail", servo="tail 2", onset=1, start=1.0)
    silent = _fly(motion, fault, flight=2)
    assert silent.servo.rated_a[7].max() == 0.0
    assert silent.aircraft.servos[7].name == "tail 2"
    drop = silent.signals["bus/voltage"] - silent.signals["tail/voltage"]
    np.testing.assert_allclose(
        drop, silent.truth.branch_mohm["tail"] / 1000 * silent.signals["tail/current"], atol=1e-9
    )


def test_connector_adds_its_resistance(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.CONNECTOR, place="left wing", start=0.020)
    healthy, faulty = _fly(motion), _fly(motion, fault)
    added = faulty.truth.branch_mohm["left wing"] - healthy.truth.branch_mohm["left wing"]
    assert added == pytest.approx(20.0, abs=1e-6)
    drop = faulty.signals["bus/voltage"] - faulty.signals["left wing/voltage"]
    measured = 1000 * drop / faulty.signals["left wing/current"]
    np.testing.assert_allclose(measured, faulty.truth.branch_mohm["left wing"], rtol=1e-9)


def test_bad_contact_drops_where_and_when_the_truth_says(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.CONTACT, place="left wing", start=8.0)
    recording = _fly(motion, fault)
    assert recording.truth.contacts
    ohm = recording.truth.branch_mohm["left wing"] / 1000
    drop = recording.signals["bus/voltage"] - recording.signals["left wing/voltage"]
    excess = drop - ohm * recording.signals["left wing/current"] > 1e-6
    inside = np.zeros_like(excess)
    for contact in recording.truth.contacts:
        a, b = (round(t / motion.dt_s) for t in (contact.start_s, contact.end_s))
        inside[a:b] = True
    np.testing.assert_array_equal(excess, inside)


def test_ageing_and_cold_raise_the_source_and_not_the_branch(motion: Motion) -> None:
    healthy = _fly(motion)
    for fault in (
        Fault(kind=FaultKind.PACK_AGEING, place="pack 2", start=0.5),
        Fault(kind=FaultKind.PACK_COLD, place="bus", start=18.0),
    ):
        faulty = _fly(motion, fault)
        before, after = (r.truth.sources["pack 2"].mohm(1.0) for r in (healthy, faulty))
        assert after > 1.25 * before
        assert faulty.truth.branch_mohm == healthy.truth.branch_mohm


def test_a_low_pack_starts_low(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.PACK_LOW, place="bus", start=0.6)
    recording = _fly(motion, fault)
    assert recording.truth.charge_start == pytest.approx({"pack 1": 0.4, "pack 2": 0.4})
    assert recording.signals["bus/voltage"][0] < 7.5


def test_a_lost_pack_hands_its_share_to_the_other(motion: Motion) -> None:
    recording = _fly(motion, Fault(kind=FaultKind.PACK_OUT, place="pack 2", start=1.0))
    place, span = recording.truth.outages[0]
    gone = recording.time_s >= span.start_s + motion.dt_s
    assert place == "pack 2"
    assert recording.signals["pack 2/current"][gone].max() == 0.0
    assert recording.signals["pack 2/voltage"][gone].max() == 0.0
    np.testing.assert_allclose(
        recording.signals["pack 1/current"][gone],
        recording.signals["bus/current"][gone],
        atol=1e-6,
    )


def test_regulator_in_limit_droops_while_the_pack_is_fine(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.REGULATOR_LIMIT, place="bus", start=0.85)
    healthy, faulty = (_fly(motion, *f, regulated=True) for f in ((), (fault,)))
    assert healthy.truth.lowest_v["bus"] > 6.3
    assert faulty.truth.lowest_v["bus"] < 6.0
    assert faulty.truth.lowest_v["pack 1"] > 7.4


def test_switch_step_begins_in_its_first_flight_and_stays(motion: Motion) -> None:
    fault = Fault(kind=FaultKind.SWITCH_STEP, place="pack 1", onset=2, start=0.03)
    first, later = (_fly(motion, fault, flight=k) for k in (2, 3))

    def step(recording: SimulatedRecording) -> np.ndarray:
        drop = recording.signals["pack 1/voltage"] - recording.signals["bus/voltage"]
        amps = recording.signals["pack 1/current"]
        return np.asarray((drop - 0.03)[amps > 0.3] / amps[amps > 0.3])

    assert step(first)[:500] == pytest.approx(np.full(500, 0.005), abs=1e-6)
    assert step(first)[-500:] == pytest.approx(np.full(500, 0.035), abs=1e-6)
    assert step(later)[:500] == pytest.approx(np.full(500, 0.035), abs=1e-6)


def test_brownout_restarts_units_and_their_counters(motion: Motion) -> None:
    recording = _fly(motion, Fault(kind=FaultKind.BROWNOUT, place="bus", start=1.0))
    assert {r.place for r in recording.truth.restarts} == {
        "bus",
        "left wing",
        "right wing",
        "tail",
    }
    assert not any(r.by_pilot for r in recording.truth.restarts)
    for key in ("bus/uptime", "pack 1/consumed"):
        values = recording.updates[key].values
        assert (np.diff(values) < 0).sum() == 1
    assert recording.truth.lowest_v["bus"] < 3.5


def test_link_loss_leaves_the_counters_running(motion: Motion) -> None:
    recording = _fly(motion, Fault(kind=FaultKind.LINK_LOSS, place="bus", start=1.0))
    assert recording.truth.restarts == ()
    assert len(recording.truth.losses) == 1
    made = recording.updates["bus/uptime"]
    assert not made.came.all()
    assert (np.diff(made.values[made.came]) >= 0).all()


def test_sensor_faults_leave_the_truth_alone(motion: Motion) -> None:
    healthy = _fly(motion)
    offset = _fly(motion, Fault(kind=FaultKind.SENSOR_OFFSET, place="left wing", start=0.15))
    gain = _fly(motion, Fault(kind=FaultKind.SENSOR_GAIN, place="left wing", start=-0.1))
    for other in (offset, gain):
        np.testing.assert_array_equal(
            healthy.signals["left wing/voltage"], other.signals["left wing/voltage"]
        )
    shift = offset.updates["left wing/voltage"].values - healthy.updates["left wing/voltage"].values
    assert shift == pytest.approx(np.full(shift.size, 0.15), abs=1e-6)
    before, after = (r.updates["left wing/current"].values.mean() for r in (healthy, gain))
    assert after / before == pytest.approx(0.9, abs=0.005)


def test_power_cycle_is_the_pilots() -> None:
    rng = np.random.default_rng(5)
    plan = usual_plan(rng, PILOT, flights=0, power_cycle=True)
    recording = _fly(move(plan, PILOT, PILOT.day(rng), rng, dt_s=0.02))
    assert recording.truth.restarts
    assert all(r.by_pilot for r in recording.truth.restarts)
    assert recording.truth.lowest_v["bus"] > 7.0  # the stretch without power does not count
    assert (np.diff(recording.updates["bus/uptime"].values) < 0).sum() == 1


def test_redundancy_check_leaves_the_bus_alive() -> None:
    rng = np.random.default_rng(6)
    plan = usual_plan(rng, PILOT, flights=0, check_packs=("pack 1", "pack 2"))
    recording = _fly(move(plan, PILOT, PILOT.day(rng), rng, dt_s=0.02))
    assert recording.truth.restarts == ()
    for name, span in recording.motion.pack_off:
        inside = (recording.time_s > span.start_s + 0.1) & (recording.time_s < span.end_s - 0.1)
        assert recording.signals[f"{name}/current"][inside].max() == 0.0
        assert recording.signals[f"{name}/voltage"][inside].min() > 7.5
        assert recording.signals["bus/voltage"][inside].min() > 7.5
