"""The true signals of the fleet: currents and voltages add up, and energy goes somewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid

from tests.fleet.pilots import DT_S
from tests.fleet.season import Recording, Season, random_season, record
from tests.fleet.servos import Servo, ServoFault, draw, move
from tests.fleet.supply import Pack, Path, Regulator, supply
from tests.fleet.truth import HEALTHY, KINDS

SERVO = Servo(
    drives="aileron",
    stall_nm=2.0,
    stall_a=4.0,
    free_rad_s=9.0,
    rated_v=8.0,
    idle_a=0.02,
    slides_nm=0.2,
    sticks_nm=0.3,
    hinge_nm_rad=1.6,
)


@pytest.fixture(scope="module", params=KINDS)
def flown(request: pytest.FixtureRequest) -> tuple[Season, Recording]:
    season = random_season(request.param, 40, flights=8)
    flight = 8 if season.wear is None else season.wear.onset
    return season, record(season, flight)


def test_currents_and_voltages_add_up(flown: tuple[Season, Recording]) -> None:
    season, recording = flown
    signals, given = recording.flown.signals, recording.flown.supplied
    assert recording.flown.drift_v < 0.01  # the last pass altered nothing that a sensor shows
    nodes = [n.name for n in season.aircraft.nodes]
    total = season.aircraft.main_a + sum(signals[f"{n}/current"] for n in nodes)
    np.testing.assert_allclose(signals["bus/current"], total, atol=1e-12)
    np.testing.assert_allclose(sum(given.pack_a), total, atol=1e-3)
    for n in nodes:
        fall = signals["bus/voltage"] - signals[f"{n}/voltage"]
        expected = recording.flown.lead_ohm[n] * signals[f"{n}/current"]
        np.testing.assert_allclose(fall, expected + recording.flown.contact_v[n], atol=1e-12)
    for i, path in enumerate(season.aircraft.paths):
        gives = given.pack_a[i] > 0.01
        after = given.pack_v[i] - path.ohm * given.pack_a[i] - (path.diode_v or 0.0)
        np.testing.assert_allclose(after[gives], given.joined_v[gives], atol=1e-3)


def test_a_servo_turns_what_it_takes_into_heat_and_work(flown: tuple[Season, Recording]) -> None:
    season, recording = flown
    if season.kind.startswith("servo"):
        recording = replace(recording, flown=recording.sound)
    for (node, i), motion in recording.flown.motions.items():
        servo = season.aircraft.node(node).servos[i]
        volts = recording.flown.signals[f"{node}/voltage"]
        winding_a = np.minimum(np.abs(motion.torque_nm) / servo.kt, volts / servo.winding_ohm)
        heat_w = winding_a**2 * servo.winding_ohm + servo.idle_a * volts
        work_w = np.maximum(motion.torque_nm, 0.0) * motion.speed_rad_s
        taken_w = volts * recording.flown.servo_a[node, i]
        # Where it can do no more, its speed is less than the stick asks for.
        can = recording.flown.servo_a[node, i] < volts / servo.winding_ohm
        assert can.mean() > 0.9
        energy = float(np.sum(heat_w[can] + work_w[can])) * DT_S
        assert float(np.sum(taken_w[can])) * DT_S == pytest.approx(energy, rel=0.01)
        assert (recording.flown.servo_a[node, i] >= 0.0).all()


def test_what_the_packs_give_is_lost_on_the_way_or_taken(flown: tuple[Season, Recording]) -> None:
    """Energy of the cells = heat of cells, paths, regulator and leads, and what the load takes."""
    season, recording = flown
    s, given, craft = recording.flown.signals, recording.flown.supplied, season.aircraft
    total = s["bus/current"]
    source = sum(v * a for v, a in zip(given.open_v, given.pack_a, strict=True))
    lost = (given.joined_v - s["bus/voltage"]) * total
    for path, v, e, a in zip(craft.paths, given.pack_v, given.open_v, given.pack_a, strict=True):
        lost = lost + (e - v) * a + (path.ohm * a + (path.diode_v or 0.0)) * a
    taken = craft.main_a * s["bus/voltage"]
    for node in craft.nodes:
        a = s[f"{node.name}/current"]
        lost = lost + recording.flown.lead_ohm[node.name] * a**2
        lost = lost + recording.flown.contact_v[node.name] * a
        taken = taken + s[f"{node.name}/voltage"] * a
    assert (lost > -1e-6).all()
    assert float(np.sum(source)) == pytest.approx(float(np.sum(lost + taken)), rel=1e-3)


def test_charge_is_the_integral_of_current(flown: tuple[Season, Recording]) -> None:
    season, recording = flown
    signals = recording.flown.signals
    for pack in season.aircraft.sets[0]:
        mah = float(trapezoid(signals[f"{pack.name}/current"], dx=DT_S)) / 3.6
        assert signals[f"{pack.name}/consumed"][-1] == pytest.approx(mah, rel=1e-3, abs=0.1)


def test_a_gear_holds_a_small_load_by_its_friction() -> None:
    air = np.zeros(4000)
    air[2000:] = np.linspace(0.0, 1.0, 2000)
    held = np.full(4000, 0.5)
    motion = move(SERVO, held, air, 0 * air, dt_s=DT_S, stiffness=1.0)
    amps = draw(SERVO, motion, np.full(4000, 8.0), dt_s=DT_S)
    # 0.375 rad: 0.12 N m at a fifth of the air are held by 0.3 N m, 0.6 N m at all of it are not.
    assert amps[2300] == pytest.approx(SERVO.idle_a, abs=1e-3)
    held_nm = 1.6 * 0.375 - 0.3 * 0.4
    expected_w = (held_nm / SERVO.kt) ** 2 * SERVO.winding_ohm
    assert amps[-1] == pytest.approx(SERVO.idle_a + expected_w / 8.0, rel=0.02)


def test_a_servo_draws_more_at_a_lower_voltage() -> None:
    t = np.arange(2000) * DT_S
    motion = move(SERVO, np.sin(4 * t), 0 * t, 0 * t, dt_s=DT_S, stiffness=1.0)
    high = draw(SERVO, motion, np.full(2000, 8.0), dt_s=DT_S) - SERVO.idle_a
    low = draw(SERVO, motion, np.full(2000, 6.0), dt_s=DT_S) - SERVO.idle_a
    np.testing.assert_allclose(low * 6.0, high * 8.0, rtol=1e-9)


def test_friction_costs_current_only_while_it_moves() -> None:
    t = np.arange(3000) * DT_S
    stick = np.where(t < 30.0, np.sin(4 * t), 0.0)
    rows = []
    for friction in (0.0, 2.0):
        fault = ServoFault(friction=friction)
        motion = move(SERVO, stick, 0 * t, 0 * t, dt_s=DT_S, stiffness=1.0, fault=fault)
        rows.append(draw(SERVO, motion, np.full(3000, 8.0), dt_s=DT_S, fault=fault))
    assert rows[1][:1500].mean() > 2.0 * rows[0][:1500].mean()
    assert rows[1][1600:].mean() < rows[0][:1500].mean()


def _packs(volts_apart: float = 0.0) -> list[Pack]:
    one = Pack(name="pack 1", chemistry="lipo", cells=2, capacity_ah=4.0, ohm_25c=0.01)
    return [one, replace(one, name="pack 2", left=1.0 - volts_apart)]


def test_equal_packs_share_and_a_diode_holds_the_lower_one_off() -> None:
    load, on = np.full(500, 6.0), [np.ones(500)] * 2
    path = Path(ohm=0.01, diode_v=0.3)
    equal = supply(_packs(), [path, path], load, dt_s=DT_S, temperature_c=25.0, on=on)
    np.testing.assert_allclose(equal.pack_a[0], 3.0, atol=1e-3)
    apart = supply(_packs(0.3), [path, path], load, dt_s=DT_S, temperature_c=25.0, on=on)
    assert apart.pack_a[1].max() == 0.0
    np.testing.assert_allclose(apart.pack_a[0], 6.0, atol=1e-3)


def test_a_pack_stiffens_in_the_cold_and_sags_by_ohm_and_relaxation() -> None:
    pack = _packs()[0]
    assert pack.ohm(0.0) > 1.8 * pack.ohm(25.0)
    load = np.concatenate([np.zeros(100), np.full(30000, 5.0)])
    args = {"dt_s": DT_S, "temperature_c": 25.0, "on": [np.ones(len(load))]}
    given = supply([pack], [Path(ohm=0.0)], load, **args)
    at_once = given.pack_v[0][99] - given.pack_v[0][101]
    assert at_once == pytest.approx(5.0 * 0.01, abs=0.003)
    later = supply([pack], [Path(ohm=0.0)], load, **args, before=given)
    used = 5.0 * 30000 * DT_S / 3600.0 / 4.0
    rest = pack.open_v(np.array([1.0 - used]))[0] - later.open_v[0][-1]
    # Two relaxations, 0.95 of the ohmic resistance, are all there after ten minutes.
    assert rest == pytest.approx(5.0 * 0.01 * 0.95, rel=0.02)


def test_a_regulator_holds_limits_and_drops_out() -> None:
    # 2 A beyond the limit come through a quarter of an ohm.
    regulator = Regulator(set_v=6.0, out_ohm=0.02, headroom_v=0.2, limit_a=10.0)
    joined, load = np.array([8.0, 8.0, 6.0]), np.array([5.0, 12.0, 5.0])
    np.testing.assert_allclose(regulator.out_v(joined, load), [5.9, 6.0 - 0.24 - 0.5, 5.8])


def test_faults_do_what_their_kind_says(flown: tuple[Season, Recording]) -> None:
    season, r = flown
    a, b = r.flown.signals, r.sound.signals
    if season.fault is None:
        assert season.kind == HEALTHY
        assert r.flown is r.sound
        return
    fault = season.fault
    air = (r.outing.time_s >= r.outing.flight[0]) & (r.outing.time_s < r.outing.flight[1])
    amps, volts = f"{fault.place}/current", f"{fault.place}/voltage"
    kind = season.kind
    if kind == "servo-silent":
        key = (fault.place, fault.servo)
        assert r.flown.servo_a[key][-1] < r.sound.servo_a[key][-1] + 1e-9
        assert r.flown.servo_a[key].sum() < 0.99 * r.sound.servo_a[key].sum()
    elif kind.startswith("servo"):
        assert a[amps][air].mean() > b[amps][air].mean()
    elif kind == "supply-dips":
        deep = (b[volts] - a[volts]) > 0.5
        assert 1.0 < deep.sum() * DT_S < 12.0
    elif kind in ("connector", "contact", "regulator-droop", "packs-ageing"):
        assert (b[volts] - a[volts])[air].max() > 0.01
        assert (b[volts] - a[volts])[air].min() > -0.05
    elif kind == "pack-out":
        assert a[amps][-200:].max() == 0.0
    elif kind.startswith("sensor"):
        assert all(np.array_equal(a[k], b[k]) for k in a)
