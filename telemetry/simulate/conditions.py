"""Faults turned into what the physics and the sensors need for one recording."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.results import Span
from telemetry.simulate.faults import (
    SERVO_KINDS,
    SERVO_WEAR_HOLD,
    SERVO_WEAR_REST,
    SERVO_WEAR_STICK,
    Fault,
    FaultKind,
)
from telemetry.simulate.parts import BUS, AircraftModel, BoolArray, FloatArray
from telemetry.simulate.physics.motion import Motion
from telemetry.simulate.physics.servos import ServoFault
from telemetry.simulate.telemetry.rows import Loss, Wrong
from telemetry.simulate.telemetry.sensors import Mode, Sensor, Telemetry

OPEN_OHM = 1e4
HEAT_UP_S = 60.0  # a weak regulator warms this fast in flight, plausible, no source
COPPER_PER_K = 0.00393  # IEC 60028, at 20 degC
GREASE_PER_K = 0.004  # plausible, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact(Span):
    """One stretch of bad contact: where, and how much resistance it added."""

    place: str
    ohm: float


@dataclass(slots=True, kw_only=True)
class Conditions:
    """State of the machine during one recording.

    Attributes
    ----------
    branch_ohm : array, shape (places, n)
    pack_open, lead_out : array of bool, shape (packs, n)
    path_ohm, limit_a : array, shape (packs, n)
    servo_faults : dict
    charge : dict
        State of charge of each pack at the start.
    pack_c : float
        Temperature of the packs at the start.
    contacts, losses, wrong : list
        What was planted in time.
    outages : list of (str, Span)
        Packs or nodes without supply, by fault.
    """

    aircraft: AircraftModel
    telemetry: Telemetry
    branch_ohm: FloatArray
    pack_open: BoolArray
    lead_out: BoolArray
    path_ohm: FloatArray
    limit_a: FloatArray
    charge: dict[str, float]
    pack_c: float
    servo_faults: dict[str, ServoFault] = field(default_factory=dict)
    contacts: list[Contact] = field(default_factory=list)
    losses: list[Loss] = field(default_factory=list)
    wrong: list[Wrong] = field(default_factory=list)
    outages: list[tuple[str, Span]] = field(default_factory=list)


def conditions(
    aircraft: AircraftModel,
    telemetry: Telemetry,
    motion: Motion,
    faults: tuple[Fault, ...],
    flight: int,
    charge: dict[str, float],
    ambient_c: float,
    rng: Generator,
) -> Conditions:
    """The machine's state in flight number ``flight``, faults and pilot's switches applied."""
    n = motion.time_s.size
    state = Conditions(
        aircraft=_of_the_day(aircraft, ambient_c, rng),
        telemetry=telemetry,
        branch_ohm=np.zeros((len(aircraft.places), n)),
        pack_open=np.zeros((len(aircraft.packs), n), dtype=np.bool_),
        lead_out=np.zeros((len(aircraft.packs), n), dtype=np.bool_),
        path_ohm=np.zeros((len(aircraft.packs), n)),
        limit_a=np.empty((len(aircraft.packs), n)),
        charge={p.name: charge.get(p.name, 1.0) for p in aircraft.packs},
        pack_c=ambient_c,
        servo_faults=_usual_servos(aircraft, ambient_c, rng),
    )
    for i, pack in enumerate(aircraft.packs):
        state.limit_a[i] = pack.path.limit_a
    for name, span in motion.pack_off:
        state.pack_open[_pack_row(aircraft, name), _steps(motion, span)] = True
    for span in motion.power_off:
        state.pack_open[:, _steps(motion, span)] = True
    for fault in faults:
        level = fault.level(flight)
        if level != 0.0:
            _apply(fault, level, flight, state, motion, rng)
    for i, node in enumerate(state.aircraft.nodes, 1):
        state.branch_ohm[i] += node.branch_ohm
    return state


def _of_the_day(aircraft: AircraftModel, ambient_c: float, rng: Generator) -> AircraftModel:
    """Leads at the day's temperature, connectors as they were plugged in this time."""
    copper = 1.0 + COPPER_PER_K * (ambient_c - 20.0)
    for node in aircraft.nodes:
        plugged = float(np.exp(node.connector_spread * rng.standard_normal()))
        aircraft = aircraft.with_node(
            replace(
                node, lead_ohm=node.lead_ohm * copper, connector_ohm=node.connector_ohm * plugged
            )
        )
    return aircraft


def _usual_servos(
    aircraft: AircraftModel, ambient_c: float, rng: Generator
) -> dict[str, ServoFault]:
    """Each servo's own mood of the day, and grease that stiffens in the cold, all alike."""
    cold = 1.0 + GREASE_PER_K * (20.0 - ambient_c)
    return {
        s.name: ServoFault(moving=cold * float(np.exp(s.day_spread * rng.standard_normal())))
        for s in aircraft.servos
    }


def _apply(
    fault: Fault, level: float, flight: int, state: Conditions, motion: Motion, rng: Generator
) -> None:
    """Work one fault into the conditions."""
    if fault.kind in SERVO_KINDS:
        _apply_servo(fault, level, flight, state, motion, rng)
        return
    aircraft, packs = state.aircraft, {p.name for p in state.aircraft.packs}
    match fault.kind:
        case FaultKind.CONNECTOR:
            node = aircraft.node(fault.place)
            state.aircraft = aircraft.with_node(
                replace(node, connector_ohm=node.connector_ohm + level)
            )
        case FaultKind.CONTACT:
            _bad_contact(fault.place, level, state, motion, rng)
        case FaultKind.PACK_AGEING:
            pack = aircraft.pack(fault.place)
            capacity = pack.capacity_mah * max(0.5, 1.0 - 0.25 * level)
            state.aircraft = aircraft.with_pack(
                replace(pack, age=pack.age * (1.0 + level), capacity_mah=capacity)
            )
        case FaultKind.PACK_COLD:
            state.pack_c -= level
        case FaultKind.PACK_LOW:
            for name in packs if fault.place == BUS else (fault.place,):
                state.charge[name] = max(0.02, state.charge[name] - level)
        case FaultKind.PACK_OUT:
            span = Span(start_s=_moment(motion, rng, 0.2, 0.7), end_s=float(motion.time_s[-1]) + 1)
            state.lead_out[_pack_row(aircraft, fault.place), _steps(motion, span)] = True
            state.outages.append((fault.place, span))
        case FaultKind.PACK_LEAD:
            pack = aircraft.pack(fault.place)
            state.aircraft = aircraft.with_pack(replace(pack, lead_ohm=pack.lead_ohm + level))
        case FaultKind.REGULATOR_LIMIT:
            state.limit_a *= max(0.05, 1.0 - level)
        case FaultKind.REGULATOR_HOT:
            warm = 1.0 - np.exp(-np.maximum(motion.time_s - _take_off(motion), 0.0) / HEAT_UP_S)
            state.limit_a *= np.maximum(1.0 - level * warm, 0.05)
        case FaultKind.SWITCH_STEP:
            row = _pack_row(aircraft, fault.place)
            first = _moment(motion, rng, 0.3, 0.7) if flight == fault.onset else 0.0
            state.path_ohm[row] += level * (motion.time_s >= first)
        case FaultKind.BROWNOUT:
            for _ in range(round(level)):
                start = _moment(motion, rng, 0.1, 0.9)
                span = Span(start_s=start, end_s=start + 0.08 + 0.3 * rng.random())
                if fault.place == BUS:
                    state.pack_open[:, _steps(motion, span)] = True
                else:
                    row = aircraft.places.index(fault.place)
                    state.branch_ohm[row, _steps(motion, span)] += OPEN_OHM
                state.outages.append((fault.place, span))
        case FaultKind.LINK_LOSS:
            for _ in range(round(level)):
                start = _moment(motion, rng, 0.05, 0.9)
                seconds = 1.5 + 6.0 * rng.random()
                state.losses.append(
                    Loss(
                        start_s=start,
                        end_s=start + seconds,
                        receiver=1,
                        blank=bool(rng.random() < 0.4),
                    )
                )
        case FaultKind.SENSOR_OFFSET | FaultKind.SENSOR_GAIN:
            state.telemetry = _with_wrong_sensor(state.telemetry, fault, level)
        case FaultKind.SPURIOUS:
            _plant_spurious(fault.place, level, state, motion, rng)
        case _:
            raise ValueError(f"no physics for {fault.kind}")


def _apply_servo(
    fault: Fault, level: float, flight: int, state: Conditions, motion: Motion, rng: Generator
) -> None:
    servo = state.aircraft.servo(fault.servo)
    now = state.servo_faults.get(servo.name, ServoFault())
    match fault.kind:
        case FaultKind.SERVO_BINDING:
            now = replace(
                now,
                moving=now.moving * (1.0 + level),
                holding=now.holding * (1.0 + SERVO_WEAR_HOLD * level),
                rest_a=now.rest_a + SERVO_WEAR_REST * level * servo.travel_a,
                sticking_a=now.sticking_a + SERVO_WEAR_STICK * level * servo.travel_a,
            )
        case FaultKind.SERVO_HEATING:
            now = replace(now, heating=now.heating + level)
        case FaultKind.SERVO_HUNTING:
            now = replace(now, hunting=now.hunting * (1.0 + level))
        case _:
            first = _moment(motion, rng, 0.2, 0.8) if flight == fault.onset else 0.0
            now = replace(now, silent_from_s=first)
    state.servo_faults[servo.name] = now


def _bad_contact(
    place: str, per_minute: float, state: Conditions, motion: Motion, rng: Generator
) -> None:
    """Interruptions at random, as often as it is shaken; moved a little on the ground as well."""
    row = state.aircraft.places.index(place)
    share = motion.shaking + 0.1 * (motion.control_pct["aileron"] != 0.0)
    expected = np.cumsum(per_minute / 60.0 * share) * motion.dt_s
    at = 0.0
    while True:
        at += float(-np.log(1.0 - rng.random()))
        if at >= expected[-1]:
            return
        start = float(motion.time_s[int(np.searchsorted(expected, at))])
        # Bad contacts chatter: a few short stretches one after the other.
        for _ in range(1 + int(3 * rng.random())):
            contact = Contact(
                place=place,
                start_s=start,
                end_s=start + 0.03 + 0.35 * float(rng.random()) ** 2,
                ohm=0.12 + 0.5 * float(rng.random()) ** 2,
            )
            state.branch_ohm[row, _steps(motion, contact)] += contact.ohm
            state.contacts.append(contact)
            start = contact.end_s + 0.02 + 0.2 * float(rng.random())


def _with_wrong_sensor(telemetry: Telemetry, fault: Fault, level: float) -> Telemetry:
    """The place's voltage sensor off by ``level`` V, or its current sensor by a share."""
    wanted = Quantity.VOLTAGE if fault.kind is FaultKind.SENSOR_OFFSET else Quantity.CURRENT

    def turned(sensor: Sensor) -> Sensor:
        if sensor.place != fault.place or sensor.quantity is not wanted:
            return sensor
        if wanted is Quantity.VOLTAGE:
            return replace(sensor, offset=sensor.offset + level)
        return replace(sensor, gain=sensor.gain * (1.0 + level))

    units = tuple(
        replace(unit, sensors=tuple(turned(s) for s in unit.sensors)) for unit in telemetry.units
    )
    return replace(telemetry, units=units)


def _plant_spurious(
    place: str, count: float, state: Conditions, motion: Motion, rng: Generator
) -> None:
    sensors = [
        s
        for s in state.telemetry.sensors
        if s.place == place and s.quantity is Quantity.VOLTAGE and s.mode is not Mode.MIN
    ]
    for _ in range(round(count) if sensors else 0):
        sensor = sensors[int(rng.random() * len(sensors))]
        value = 0.0 if rng.random() < 0.7 else 32.7
        at = float(motion.time_s[-1]) * (0.05 + 0.9 * rng.random())
        state.wrong.append(Wrong(time_s=at, key=sensor.key, value=value))


def _pack_row(aircraft: AircraftModel, name: str) -> int:
    return [p.name for p in aircraft.packs].index(name)


def _steps(motion: Motion, span: Span) -> slice:
    n = motion.time_s.size
    first = min(n, max(0, round(span.start_s / motion.dt_s)))
    return slice(first, max(first, min(n, round(span.end_s / motion.dt_s))))


def _take_off(motion: Motion) -> float:
    return motion.flights[0].start_s if motion.flights else 0.0


def _moment(motion: Motion, rng: Generator, early: float, late: float) -> float:
    """A moment in the first flight, or in the recording where there is none."""
    start, end = 0.0, float(motion.time_s[-1])
    if motion.flights:
        start, end = motion.flights[0].start_s, motion.flights[0].end_s
    return start + (end - start) * (early + (late - early) * float(rng.random()))
