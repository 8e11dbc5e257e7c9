"""One recording simulated: true signals, sensed table, and the truth about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import scipy
from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.results import Phase, Span
from telemetry.simulate.conditions import Conditions, Contact, conditions
from telemetry.simulate.faults import Fault, FaultKind
from telemetry.simulate.parts import AircraftModel, FloatArray
from telemetry.simulate.physics.motion import Motion
from telemetry.simulate.physics.network import Demand, NetworkSolution, solve
from telemetry.simulate.physics.servos import ServoDraw, demand_of_places, draw
from telemetry.simulate.physics.truth import SourceTruth, sources_of
from telemetry.simulate.telemetry.rows import Loss, SensedTable, SensorUpdates, Wrong, sense
from telemetry.simulate.telemetry.sensors import Telemetry


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultNow:
    """A fault as it stands in one recording."""

    kind: FaultKind
    place: str
    servo: str
    since_flight: int
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartTruth:
    """A unit went down: when, where, and whether the pilot had switched it off."""

    time_s: float
    place: str
    by_pilot: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really was so in one recording.

    Attributes
    ----------
    flight : int
        Number of the flight in its season, from 1.
    phases : tuple of Phase
        Ground, stir, flight, redundancy check; half open, without holes.
    flights, checks, power_off : tuple of Span
        Airborne stretches, control checks on the ground, power off.
    faults : tuple of FaultNow
        Those with a level other than zero.
    sources : dict of str to SourceTruth
        Per pack (at the unit's terminals) and for the bus: resistance by time after a step.
    branch_mohm : dict of str to float
        Per node: lead and connector, out and back, outside moments of bad contact.
    parents : dict of str to str
    offset_v : dict of str to float
        Per voltage sensor: its offset.
    gain : dict of str to float
        Per current sensor: its gain.
    contacts, losses, wrong : tuple
        Moments of bad contact, link losses, impossible readings.
    outages : tuple of (str, Span)
        Packs or nodes cut off by a fault.
    restarts : tuple of RestartTruth
    drawn_mah : dict of str to float
        Per pack and per place.
    charge_start, charge_end : dict of str to float
        State of charge of each pack.
    lowest_v : dict of str to float
        Per pack and place, outside of the stretches with the power off.
    """

    flight: int
    phases: tuple[Phase, ...]
    flights: tuple[Span, ...]
    checks: tuple[Span, ...]
    power_off: tuple[Span, ...]
    faults: tuple[FaultNow, ...]
    sources: dict[str, SourceTruth]
    branch_mohm: dict[str, float]
    parents: dict[str, str]
    offset_v: dict[str, float]
    gain: dict[str, float]
    contacts: tuple[Contact, ...]
    losses: tuple[Loss, ...]
    wrong: tuple[Wrong, ...]
    outages: tuple[tuple[str, Span], ...]
    restarts: tuple[RestartTruth, ...]
    drawn_mah: dict[str, float]
    charge_start: dict[str, float]
    charge_end: dict[str, float]
    lowest_v: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedRecording:
    """One simulated recording.

    Attributes
    ----------
    aircraft : AircraftModel
        As it was in this recording, faults included.
    telemetry : Telemetry
        As it was in this recording, faults included.
    start : datetime
        Date and time of the first row.
    motion : Motion
    servo : ServoDraw
        Current of each servo at its rated voltage, its rate and position.
    signals : dict of array
        True signals on the fine grid: "left wing/voltage", "pack 1/current", ...
    table : SensedTable
        What the transmitter wrote.
    updates : dict of SensorUpdates
        Each sensor's own readings, by column key.
    truth : Truth
    """

    aircraft: AircraftModel
    telemetry: Telemetry
    start: datetime
    motion: Motion
    servo: ServoDraw
    signals: dict[str, FloatArray]
    table: SensedTable
    updates: dict[str, SensorUpdates]
    truth: Truth

    @property
    def time_s(self) -> FloatArray:
        """The fine grid, s."""
        return self.motion.time_s


def simulate(
    aircraft: AircraftModel,
    telemetry: Telemetry,
    motion: Motion,
    rng: Generator,
    *,
    faults: tuple[Fault, ...] = (),
    flight: int = 1,
    charge: dict[str, float] | None = None,
    ambient_c: float = 20.0,
    start: datetime | None = None,
) -> SimulatedRecording:
    """Simulate one recording.

    Parameters
    ----------
    aircraft : AircraftModel
        The healthy machine.
    telemetry : Telemetry
        Its healthy sensors.
    motion : Motion
        What is commanded (:func:`telemetry.simulate.pilot.move`).
    rng : numpy.random.Generator
        Source of all chance in servos, faults and sensors.
    faults : tuple of Fault
        Those of the season; each shows at its level in this flight.
    flight : int
        Number of the flight, from 1.
    charge : dict or None
        State of charge of packs at the start, 0 to 1; full where not given.
    ambient_c : float
        Temperature of the air, and of the packs at the start.
    start : datetime or None
        Date and time of the first row; None gives a fixed invented one.

    Returns
    -------
    SimulatedRecording
    """
    now = conditions(aircraft, telemetry, motion, faults, flight, charge or {}, ambient_c, rng)
    servo = draw(now.aircraft, motion, rng, now.servo_faults)
    constant, slope = demand_of_places(now.aircraft, servo.rated_a)
    demand = Demand(
        constant_a=constant,
        slope_s=slope,
        electronics_a=np.array(
            [now.aircraft.bus_a, *(x.electronics_a for x in now.aircraft.nodes)]
        ),
        branch_ohm=now.branch_ohm,
        pack_open=now.pack_open,
        lead_out=now.lead_out,
        path_ohm=now.path_ohm,
        limit_a=now.limit_a,
    )
    solution = solve(
        now.aircraft,
        demand,
        charge=now.charge,
        ambient_c=now.pack_c,
        dt_s=motion.dt_s,
    )
    signals = _signals(now, motion, solution, ambient_c, rng)
    on = {place: solution.on[i] for i, place in enumerate(now.aircraft.places)}
    table, updates = sense(
        now.telemetry,
        signals,
        motion.control_pct,
        on,
        motion.dt_s,
        rng,
        losses=tuple(now.losses),
        wrong=tuple(now.wrong),
    )
    return SimulatedRecording(
        aircraft=now.aircraft,
        telemetry=now.telemetry,
        start=start or datetime(2031, 5, 4, 10, 0, 0),
        motion=motion,
        servo=servo,
        signals=signals,
        table=table,
        updates=updates,
        truth=_truth(now, motion, solution, signals, faults, flight),
    )


def _signals(
    now: Conditions, motion: Motion, solution: NetworkSolution, ambient_c: float, rng: Generator
) -> dict[str, FloatArray]:
    """All true signals a sensor could read."""
    signals: dict[str, FloatArray] = {}
    for i, pack in enumerate(now.aircraft.packs):
        signals[f"{pack.name}/voltage"] = solution.pack_v[i]
        signals[f"{pack.name}/current"] = solution.pack_a[i]
        signals[f"{pack.name}/temperature"] = solution.pack_c[i]
        signals[f"{pack.name}/remaining"] = 100.0 * solution.pack_charge[i]
        for cell in range(1, pack.cells + 1):
            # Cells differ a little, and keep to their differences.
            share = (1.0 + 0.002 * ((cell * 37) % 5 - 2)) / pack.cells
            signals[f"{pack.name}/cell-voltage {cell}"] = solution.pack_v[i] * share
    for i, place in enumerate(now.aircraft.places):
        signals[f"{place}/voltage"] = solution.place_v[i]
        signals[f"{place}/current"] = solution.place_a[i]
        signals[f"{place}/power"] = solution.place_v[i] * solution.place_a[i]
        keep = float(np.exp(-motion.dt_s / 150.0))
        warm, _ = scipy.signal.lfilter(
            [1.0 - keep], [1.0, -keep], 0.12 * solution.place_a[i] ** 2, zi=[0.0]
        )
        signals[f"{place}/temperature"] = ambient_c + 3.0 + warm
    signals["regulator/voltage"] = solution.place_v[0]
    signals["regulator/current"] = solution.place_a[0]
    signals["regulator/temperature"] = solution.path_c.max(axis=0) + 4.0
    far = np.clip(motion.height_m / 150.0, 0.0, 1.0)
    for receiver in (1, 2):
        place = f"receiver {receiver}"
        fading = 100.0 - 25.0 * far - 6.0 * np.abs(rng.standard_normal(motion.time_s.size))
        signals[f"{place}/link"] = np.clip(fading, 0.0, 100.0)
        lost = np.cumsum(fading < 60.0 + 8.0 * receiver) // 40
        signals[f"{place}/lost"] = np.asarray(lost, dtype=np.float64)
        signals[f"{place}/voltage"] = signals.get(f"{place}/voltage", solution.place_v[0])
    signals["aircraft/speed"] = motion.speed_ms
    signals["aircraft/altitude"] = motion.height_m
    return signals


def _truth(
    now: Conditions,
    motion: Motion,
    solution: NetworkSolution,
    signals: dict[str, FloatArray],
    faults: tuple[Fault, ...],
    flight: int,
) -> Truth:
    aircraft, dt_s = now.aircraft, motion.dt_s
    restarts = []
    for step_place, step in solution.restarts:
        at = step * dt_s
        restarts.append(
            RestartTruth(
                time_s=at,
                place=aircraft.places[step_place],
                by_pilot=any(s.start_s - 1 <= at < s.end_s + 1 for s in motion.power_off),
            )
        )
    names = [*(p.name for p in aircraft.packs), *aircraft.places]
    powered = np.ones(motion.time_s.size, dtype=np.bool_)
    for span in motion.power_off:
        powered &= ~((motion.time_s >= span.start_s) & (motion.time_s < span.end_s))
    return Truth(
        flight=flight,
        phases=motion.phases,
        flights=motion.flights,
        checks=motion.checks,
        power_off=motion.power_off,
        faults=tuple(
            FaultNow(
                kind=f.kind,
                place=f.place,
                servo=f.servo,
                since_flight=f.onset,
                level=f.level(flight),
            )
            for f in faults
            if f.level(flight) != 0.0
        ),
        sources=sources_of(aircraft, now, solution),
        branch_mohm={n.name: 1000.0 * n.branch_ohm for n in aircraft.nodes},
        parents={n.name: n.fed_from for n in aircraft.nodes},
        offset_v={
            s.place: s.offset for s in now.telemetry.sensors if s.quantity is Quantity.VOLTAGE
        },
        gain={s.place: s.gain for s in now.telemetry.sensors if s.quantity is Quantity.CURRENT},
        contacts=tuple(now.contacts),
        losses=tuple(now.losses),
        wrong=tuple(now.wrong),
        outages=tuple(now.outages),
        restarts=tuple(sorted(restarts, key=lambda r: (r.time_s, r.place))),
        drawn_mah={name: float(np.sum(signals[f"{name}/current"])) * dt_s / 3.6 for name in names},
        charge_start={
            p.name: float(solution.pack_charge[i, 0]) for i, p in enumerate(aircraft.packs)
        },
        charge_end={
            p.name: float(
                solution.pack_charge[i, -1] - solution.pack_a[i, -1] * dt_s / 3.6 / p.capacity_mah
            )
            for i, p in enumerate(aircraft.packs)
        },
        lowest_v={name: float(np.min(signals[f"{name}/voltage"][powered])) for name in names},
    )
