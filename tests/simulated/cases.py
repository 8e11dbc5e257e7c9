"""Random telemetry, pilots, faults and seasons for accuracy tests.

Nothing here resembles the demo aircraft by intent: layouts, servo laws, packs, leads, sensors and
dialects are drawn over ranges that a 2 to 3 m machine may have.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.simulate.faults import SERVO_KINDS, Fault, FaultKind
from telemetry.simulate.parts import BUS, AircraftModel, PathKind, ServoLaw
from telemetry.simulate.pilot import Pilot
from telemetry.simulate.season import Habits, PlannedChange, Season
from telemetry.simulate.telemetry.sensors import Mode, Sensor, Telemetry, TelemetryUnit
from tests.simulated.dialects import random_dialect
from tests.simulated.machines import between, pick, random_aircraft


def random_telemetry(
    rng: Generator,
    aircraft: AircraftModel,
    *,
    node_currents: bool | None = None,
    controls: bool | None = None,
    mode: Mode | None = None,
    interval_s: float | None = None,
) -> Telemetry:
    """Sensors drawn at random: the main unit's, one unit a node, the receiver's.

    Parameters
    ----------
    rng : numpy.random.Generator
    aircraft : AircraftModel
    node_currents : bool or None
        Whether nodes report their own current.
    controls : bool or None
        Whether control columns are logged.
    mode : Mode or None
        INSTANT or MEAN for voltages and currents.
    interval_s : float or None
        Update interval of the nodes.
    """
    currents = pick(rng, True, True, True, False) if node_currents is None else node_currents
    logged = pick(rng, True, False) if controls is None else controls
    how = mode or pick(rng, Mode.INSTANT, Mode.INSTANT, Mode.MEAN)
    step = interval_s or pick(rng, 0.1, 0.2, 0.25, 0.4, 0.5, 1.0)
    fine_v, fine_a = pick(rng, 0.01, 0.01, 0.02, 0.05), pick(rng, 0.01, 0.02, 0.05, 0.1)
    gain_sd, offset_sd = between(rng, 0.0, 0.012), between(rng, 0.0, 0.02)

    def electric(place: str, *, amps: bool, lowest: bool = False) -> list[Sensor]:
        made = [
            Sensor(
                place=place,
                quantity=Quantity.VOLTAGE,
                mode=how,
                resolution=fine_v,
                gain=1.0 + 0.002 * float(rng.standard_normal()),
                offset=offset_sd * float(rng.standard_normal()),
                noise=between(rng, 0.0, 0.5) * fine_v,
            )
        ]
        if amps:
            made.append(
                Sensor(
                    place=place,
                    quantity=Quantity.CURRENT,
                    mode=how,
                    resolution=fine_a,
                    gain=1.0 + gain_sd * float(rng.standard_normal()),
                    offset=0.3 * fine_a * float(rng.standard_normal()),
                    noise=between(rng, 0.0, 0.5) * fine_a,
                )
            )
        if lowest:
            made.append(replace(made[0], mode=Mode.MIN))
        return made

    def unit(
        place: str, sensors: list[Sensor], interval: float, receiver: int = 1
    ) -> TelemetryUnit:
        return TelemetryUnit(
            place=place,
            sensors=tuple(sensors),
            interval_s=interval,
            phase_s=interval * float(rng.random()),
            jitter_s=0.03 * interval * float(rng.random()),
            drift=2e-4 * float(rng.standard_normal()),
            staggered=bool(rng.random() < 0.55),
            delay_s=between(rng, 0.01, 0.08),
            receiver=receiver,
        )

    lowest = bool(rng.random() < 0.25)
    main: list[Sensor] = []
    for pack in aircraft.packs:
        main += electric(pack.name, amps=True)
        # The counter adds up what its own current sensor reads.
        counter = replace(main[-1], quantity=Quantity.CONSUMED, mode=Mode.INSTANT)
        main.append(replace(counter, resolution=1.0, offset=0.0, noise=0.0))
    main += electric(BUS, amps=len(aircraft.packs) > 1 or bool(rng.random() < 0.7), lowest=lowest)
    if rng.random() < 0.5:
        main.append(Sensor(place=BUS, quantity=Quantity.UPTIME, resolution=1.0))
    if rng.random() < 0.6:
        main.append(Sensor(place="regulator", quantity=Quantity.TEMPERATURE, resolution=1.0))
    units = [unit(BUS, main, step * pick(rng, 0.5, 1.0, 1.0, 2.0))]
    for node in aircraft.nodes:
        sensors = electric(node.name, amps=currents, lowest=lowest)
        if rng.random() < 0.5:
            sensors.append(Sensor(place=node.name, quantity=Quantity.TEMPERATURE, resolution=1.0))
        units.append(unit(node.name, sensors, step))
    radio = [
        Sensor(place="receiver 1", quantity=Quantity.LINK, resolution=1.0),
        Sensor(place="receiver 1", quantity=Quantity.LOST, resolution=1.0),
    ]
    units.append(unit("receiver 1", radio, 0.5))
    return Telemetry(
        units=tuple(units),
        row_s=pick(rng, 0.5, 0.5, 0.25, 1.0) * step,
        blanks=bool(rng.random() < 0.35),
        controls=("aileron", "elevator", "rudder", "throttle") if logged else (),
        control_us=bool(rng.random() < 0.3),
        row_jitter_s=0.005 if rng.random() < 0.3 else 0.0,
        rows_missing=0.002 if rng.random() < 0.2 else 0.0,
    )


def random_pilot(rng: Generator) -> Pilot:
    """A pilot's style drawn at random."""
    return Pilot(
        stir_hz=between(rng, 0.9, 1.9),
        stir_pct=between(rng, 80.0, 100.0),
        stir_s=between(rng, 7.0, 22.0),
        vigour_spread=between(rng, 0.05, 0.15),
        rhythm_spread=between(rng, 0.10, 0.25),
        hardness=between(rng, 0.7, 1.2),
        hardness_spread=between(rng, 0.08, 0.2),
        correction_pct=between(rng, 3.0, 8.0),
        correction_hz=between(rng, 1.0, 2.2),
    )


def random_fault(
    rng: Generator, aircraft: AircraftModel, kind: FaultKind, flights: int = 20
) -> tuple[Fault, ...]:
    """A fault of one kind with a random place, onset and growth.

    The onset leaves at least five healthy flights before it and five flights after it, where the
    season is long enough.
    """
    first, last = min(6, flights), max(min(6, flights), flights - 7)
    onset = first + int(rng.random() * (last - first + 1))
    nodes = [n.name for n in aircraft.nodes]
    carried = [n for n in nodes if aircraft.servos_of(n)] or [BUS]
    node = pick(rng, *(nodes or [BUS]))
    pack = pick(rng, *aircraft.packs).name

    def one(place: str, start: float, growth: float = 0.0, **more: Any) -> Fault:
        return Fault(kind=kind, place=place, onset=onset, start=start, growth=growth, **more)

    if kind in SERVO_KINDS:
        at = pick(rng, *carried)
        strong = [s for s in aircraft.servos_of(at) if s.control not in ("throttle", "flap")]
        servo = pick(rng, *(strong or aircraft.servos_of(at))).name
        start, growth = {
            FaultKind.SERVO_BINDING: (0.10, between(rng, 0.08, 0.12)),
            FaultKind.SERVO_HEATING: (0.20, between(rng, 0.08, 0.15)),
            FaultKind.SERVO_HUNTING: (2.0, between(rng, 0.5, 1.5)),
            FaultKind.SERVO_SILENT: (1.0, 0.0),
        }[kind]
        return (one(at, start, growth, servo=servo),)
    match kind:
        case FaultKind.CONNECTOR:
            return (one(node, between(rng, 0.003, 0.008), between(rng, 0.004, 0.009)),)
        case FaultKind.CONTACT:
            return (one(node, between(rng, 0.8, 2.0), between(rng, 0.2, 0.8)),)
        case FaultKind.PACK_AGEING:
            return (one(pack, 0.06, between(rng, 0.05, 0.10)),)
        case FaultKind.PACK_COLD:
            return (one(BUS, between(rng, 12.0, 22.0), cured=onset + 1),)
        case FaultKind.PACK_LOW:
            return (one(pick(rng, pack, BUS), between(rng, 0.45, 0.7), cured=onset + 1),)
        case FaultKind.PACK_OUT:
            return (one(pack, 1.0, cured=onset + 1),)
        case FaultKind.PACK_LEAD:
            return (one(pack, between(rng, 0.003, 0.008), between(rng, 0.004, 0.008)),)
        case FaultKind.REGULATOR_LIMIT:
            return (one(BUS, between(rng, 0.5, 0.65), 0.02),)
        case FaultKind.REGULATOR_HOT:
            return (one(BUS, between(rng, 0.55, 0.7), 0.02),)
        case FaultKind.SWITCH_STEP:
            return (one(pack, between(rng, 0.015, 0.035)),)
        case FaultKind.BROWNOUT:
            place = pick(rng, BUS, node)
            return (one(place, 1.0, cured=onset + 1),)
        case FaultKind.LINK_LOSS:
            return (one(BUS, float(pick(rng, 1, 2, 4)), cured=onset + 1),)
        case FaultKind.SENSOR_OFFSET:
            return (one(node, pick(rng, -1, 1) * between(rng, 0.08, 0.2)),)
        case FaultKind.SENSOR_GAIN:
            return (one(node, pick(rng, -1, 1) * between(rng, 0.06, 0.15)),)
        case _:
            return (one(pick(rng, BUS, node), float(pick(rng, 1, 2, 3)), cured=onset + 1),)


def random_season(
    rng: Generator,
    fault: FaultKind | None = None,
    *,
    flights: int = 20,
    flight_s: float = 300.0,
    dt_s: float = 0.02,
    law: ServoLaw | None = None,
    path: PathKind | None = None,
    packs: int | None = None,
    node_currents: bool | None = None,
    controls: bool | None = None,
    mode: Mode | None = None,
    interval_s: float | None = None,
    harmless: bool = True,
) -> Season:
    """A season of a random aircraft, with a fault of one kind or healthy.

    Parameters
    ----------
    rng : numpy.random.Generator
    fault : FaultKind or None
        None gives a healthy season.
    flights : int
    flight_s, dt_s : float
        Usual length of a flight; grid step (20 ms keeps seasons quick).
    law, path, packs, node_currents, controls, mode, interval_s
        As for :func:`random_aircraft` and :func:`random_telemetry`; drawn where None. Regulator
        faults draw a machine with regulators, a lost pack one with two packs, a gain error one
        whose nodes report currents.
    harmless : bool
        Also a cold day, a hard-flying day or slower telemetry from some flight on, by chance.

    Returns
    -------
    Season
    """
    if fault in (FaultKind.REGULATOR_LIMIT, FaultKind.REGULATOR_HOT):
        path = PathKind.REGULATOR
    if fault is FaultKind.PACK_OUT:
        packs = packs or 2
    if fault is FaultKind.SENSOR_GAIN:
        node_currents = True
    aircraft = random_aircraft(rng, law=law, path=path, packs=packs)
    telemetry = random_telemetry(
        rng,
        aircraft,
        node_currents=node_currents,
        controls=controls,
        mode=mode,
        interval_s=interval_s,
    )
    changes: list[PlannedChange] = []
    if harmless:
        at = 2 + int(rng.random() * max(1, flights - 2))
        if rng.random() < 0.3:
            changes.append(PlannedChange(flight=at, ambient_c=between(rng, 0.0, 8.0)))
        if rng.random() < 0.3:
            changes.append(PlannedChange(flight=max(1, at - 1), hardness=between(rng, 1.2, 1.5)))
        if rng.random() < 0.15:
            changes.append(PlannedChange(flight=at, slower=pick(rng, 1.5, 2.0)))
    return Season(
        aircraft=aircraft,
        telemetry=telemetry,
        dialect=random_dialect(rng),
        pilot=random_pilot(rng),
        seed=int(rng.random() * 2**31),
        flights=flights,
        faults=() if fault is None else random_fault(rng, aircraft, fault, flights),
        changes=tuple(changes),
        habits=Habits(
            flight_s=flight_s,
            flights_per_day=pick(rng, 2, 3, 4),
            flights_per_charge=pick(rng, 1, 2, 2, 3),
            ambient_c=between(rng, 12.0, 24.0),
            ambient_spread_c=between(rng, 2.0, 7.0),
        ),
        dt_s=dt_s,
    )
