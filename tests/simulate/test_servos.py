"""Servo laws: current from motion, load and supply; faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.results import Phase, PhaseKind, Span
from telemetry.simulate.parts import AircraftModel, PackModel, ServoLaw, ServoModel
from telemetry.simulate.physics.motion import Motion
from telemetry.simulate.physics.servos import ServoDraw, ServoFault, demand_of_places, draw

DT = 0.01
QUIET = ServoModel(
    name="bus 1",
    node="bus",
    control="aileron",
    rest_a=0.05,
    travel_a=0.4,
    inrush_a=0.0,
    hold_a=1.0,
    noise=0.0,
    hunting_a=0.0,
)


def _motion(aileron: np.ndarray, *, air_load: float = 0.0, flying: bool = False) -> Motion:
    n = aileron.size
    whole = Span(start_s=0.0, end_s=n * DT)
    return Motion(
        time_s=np.arange(n) * DT,
        control_pct={"aileron": aileron},
        air_load=np.full(n, air_load),
        shaking=np.full(n, 1.0 if flying else 0.0),
        speed_ms=np.zeros(n),
        height_m=np.zeros(n),
        phases=(Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=n * DT),),
        flights=(whole,) if flying else (),
        checks=(),
        pack_off=(),
        power_off=(),
    )


def _draw(
    servo: ServoModel, motion: Motion, fault: ServoFault | None = None, seed: int = 1
) -> ServoDraw:
    aircraft = AircraftModel(name="one servo", packs=(PackModel(name="pack 1"),), servos=(servo,))
    faults = {} if fault is None else {servo.name: fault}
    return draw(aircraft, motion, np.random.default_rng(seed), faults)


def _sweep(pct_s: float, seconds: float = 0.3) -> np.ndarray:
    """Rest, a steady move at this rate, rest."""
    steps = round(seconds / DT)
    move = np.arange(steps) * DT * pct_s
    return np.concatenate((np.zeros(100), move, np.full(100, move[-1])))


def test_travel_law_is_in_proportion_to_rate() -> None:
    # Half way through a steady sweep the rate is the commanded one, 300 %/s = half the reference.
    steady = _draw(QUIET, _motion(_sweep(300.0, 0.6))).rated_a[0][100 + 50]
    assert steady == pytest.approx(0.05 + 0.4 * 0.5, rel=1e-3)


@pytest.mark.parametrize("law", list(ServoLaw))
def test_every_law_draws_travel_a_at_the_reference_rate(law: ServoLaw) -> None:
    servo = replace(QUIET, law=law)
    steady = _draw(servo, _motion(_sweep(600.0, 0.3))).rated_a[0][100 + 28]
    assert steady == pytest.approx(0.05 + 0.4, rel=0.02)


@pytest.mark.parametrize("law", list(ServoLaw))
def test_a_servo_at_rest_draws_its_rest_current(law: ServoLaw) -> None:
    amps = _draw(replace(QUIET, law=law), _motion(np.zeros(200))).rated_a[0]
    assert amps == pytest.approx(np.full(200, 0.05), abs=1e-12)


@pytest.mark.parametrize("law", list(ServoLaw))
def test_holding_against_air_load_draws_current(law: ServoLaw) -> None:
    still = np.full(6000, 80.0)
    held = _draw(replace(QUIET, law=law), _motion(still, air_load=1.0)).rated_a[0][500:]
    free = _draw(replace(QUIET, law=law), _motion(still)).rated_a[0][500:]
    assert free.mean() == pytest.approx(0.05, abs=1e-6)
    assert 0.4 < held.mean() < 1.2


def test_stall_is_the_most_it_draws() -> None:
    servo = replace(QUIET, inrush_a=50.0)
    assert _draw(servo, _motion(_sweep(900.0, 0.1))).rated_a[0].max() == servo.stall_a


@pytest.mark.parametrize("law", list(ServoLaw))
def test_binding_raises_the_moving_current(law: ServoLaw) -> None:
    rhythm = 90.0 * np.sin(2 * np.pi * 1.3 * np.arange(1000) * DT)
    servo = replace(QUIET, law=law)
    usual = _draw(servo, _motion(rhythm)).rated_a[0].mean() - 0.05
    worn = _draw(servo, _motion(rhythm), ServoFault(moving=1.3)).rated_a[0].mean() - 0.05
    assert worn / usual == pytest.approx(1.3, abs=0.06)


def test_heating_grows_within_a_flight_only() -> None:
    rhythm = 60.0 * np.sin(2 * np.pi * np.arange(60000) * DT)
    hot = ServoFault(heating=0.5)
    flown = _draw(QUIET, _motion(rhythm, flying=True), hot).rated_a[0] - 0.05
    ground = _draw(QUIET, _motion(rhythm), hot).rated_a[0] - 0.05
    assert flown[-6000:].mean() / flown[:6000].mean() > 1.3
    assert ground[-6000:].mean() == pytest.approx(ground[6000:12000].mean(), rel=1e-6)


def test_a_sticking_servo_does_not_fall_back_to_rest() -> None:
    move = _sweep(300.0)
    motion = _motion(np.concatenate((move, np.full(1500, move[-1]))))
    usual, worn = (
        _draw(QUIET, motion, fault).rated_a[0] for fault in (None, ServoFault(sticking_a=0.2))
    )
    at = lambda after_s: 130 + 20 + round(after_s / DT)  # noqa: E731
    assert worn[:100] == pytest.approx(usual[:100])
    assert worn[at(0.5)] - usual[at(0.5)] > 0.15
    assert worn[at(4.0)] - usual[at(4.0)] == pytest.approx(0.2 * np.exp(-1.0), rel=0.1)


def test_a_silent_servo_draws_nothing_from_its_moment() -> None:
    rhythm = 60.0 * np.sin(2 * np.pi * np.arange(1000) * DT)
    amps = _draw(QUIET, _motion(rhythm), ServoFault(silent_from_s=4.0)).rated_a[0]
    assert amps[:400].min() >= 0.05
    assert amps[400:].max() == 0.0


@pytest.mark.parametrize("power", [1.0, 0.0, -1.0])
def test_supply_dependence_is_first_order_about_the_rated_voltage(power: float) -> None:
    servo = replace(QUIET, volt_power=power)
    aircraft = AircraftModel(name="one servo", packs=(PackModel(name="pack 1"),), servos=(servo,))
    constant, slope = demand_of_places(aircraft, np.array([[2.0]]))
    at = lambda volts: float(constant[0, 0] + slope[0, 0] * volts)  # noqa: E731
    assert at(7.4) == pytest.approx(2.0)
    assert at(7.4 * 1.01) == pytest.approx(2.0 * 1.01**power, rel=2e-4)


def test_servos_add_up_at_their_place() -> None:
    servos = tuple(replace(QUIET, name=f"bus {i}") for i in (1, 2, 3))
    aircraft = AircraftModel(name="three", packs=(PackModel(name="pack 1"),), servos=servos)
    constant, slope = demand_of_places(aircraft, np.ones((3, 4)))
    np.testing.assert_allclose(constant + slope * 7.4, np.full((1, 4), 3.0))
