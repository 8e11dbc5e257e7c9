"""Random aircraft, telemetry, pilots, faults and seasons for accuracy tests.

Nothing here resembles the demo aircraft by intent: layouts, servo laws, packs, leads, sensors and
dialects are drawn over ranges that a 2 to 3 m machine may have.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from numpy.random import Generator

from telemetry.channels import Quantity
from telemetry.simulate.dialect import random_dialect
from telemetry.simulate.faults import SERVO_KINDS, Fault, FaultKind
from telemetry.simulate.parts import (
    BUS,
    AircraftModel,
    NodeModel,
    PackModel,
    Pair,
    Path,
    PathKind,
    ServoLaw,
    ServoModel,
)
from telemetry.simulate.pilot import Pilot
from telemetry.simulate.season import Change, Habits, Season
from telemetry.simulate.sensors import Mode, Sensor, Telemetry, Unit


def between(rng: Generator, low: float, high: float) -> float:
    """A number drawn evenly from a range."""
    return low + (high - low) * float(rng.random())


def pick(rng: Generator, *choices: Any) -> Any:
    """One of the choices, drawn evenly."""
    return choices[min(int(rng.random() * len(choices)), len(choices) - 1)]


_WINGS = ("left wing", "right wing")
_LAYOUTS: tuple[tuple[str, ...], ...] = (
    ("left wing", "right wing", "tail"),
    ("left wing", "right wing", "tail"),
    ("left wing", "right wing"),
    ("left wing", "right wing", "tail", "fuselage"),
)


def random_aircraft(
    rng: Generator,
    *,
    law: ServoLaw | None = None,
    nodes: tuple[str, ...] | None = None,
    packs: int | None = None,
    path: PathKind | None = None,
) -> AircraftModel:
    """A machine drawn at random.

    Parameters
    ----------
    rng : numpy.random.Generator
    law : ServoLaw or None
        Law of all servos; drawn where None.
    nodes : tuple of str or None
        Remote nodes, all fed from the bus; () puts every servo on the main unit. Drawn where None.
    packs : int or None
    path : PathKind or None
        What sits between packs and bus.
    """
    chosen = pick(rng, *_LAYOUTS) if nodes is None else nodes
    kind = path or pick(rng, PathKind.DIODE, PathKind.DIODE, PathKind.REGULATOR, PathKind.DIRECT)
    count = packs or pick(rng, 1, 2, 2, 2)
    law = law or pick(rng, *ServoLaw)
    chemistry = (
        pick(rng, "lipo", "liion")
        if kind is PathKind.REGULATOR
        else pick(rng, "lipo", "liion", "life")
    )
    setpoint = pick(rng, 5.9, 6.0, 6.6) if kind is PathKind.REGULATOR else 0.0
    rated = setpoint or (6.6 if chemistry == "life" else 7.4)
    wing_ohm, wing_connector = between(rng, 0.012, 0.040), between(rng, 0.003, 0.012)
    made = []
    for name in chosen:
        lead = wing_ohm if name in _WINGS else between(rng, 0.010, 0.050)
        connector = wing_connector if name in _WINGS else between(rng, 0.003, 0.012)
        made.append(
            NodeModel(
                name=name,
                lead_ohm=lead * between(rng, 0.95, 1.05),
                connector_ohm=connector * between(rng, 0.85, 1.15),
                connector_spread=between(rng, 0.03, 0.12),
                electronics_a=between(rng, 0.02, 0.08),
                boot_s=between(rng, 0.6, 2.5),
            )
        )
    servos = _random_servos(rng, chosen, law, rated)
    # A regulator that is strong enough for its machine: some way above the usual peak.
    peak = 0.65 * sum(s.travel_a + s.hold_a for s in servos)
    limit = peak * between(rng, 1.7, 2.4) / count
    base = _random_pack(rng, chemistry, kind, setpoint or rated, limit)
    feeding = [replace(base, name="pack 1")]
    for number in range(2, count + 1):
        other = between(rng, 0.92, 1.10)
        feeding.append(
            replace(
                base,
                name=f"pack {number}",
                r0_ohm=base.r0_ohm * other,
                lead_ohm=base.lead_ohm * between(rng, 0.9, 1.15),
                path=replace(base.path, ohm=base.path.ohm * between(rng, 0.9, 1.2)),
            )
        )
    return AircraftModel(
        name=f"machine {int(rng.random() * 9000) + 1000}",
        packs=tuple(feeding),
        nodes=tuple(made),
        servos=servos,
        bus_a=between(rng, 0.12, 0.30),
        bus_boot_s=between(rng, 0.8, 3.0),
    )


def _random_pack(
    rng: Generator, chemistry: str, kind: PathKind, setpoint: float, limit: float
) -> PackModel:
    inner = between(rng, 0.010, 0.030)
    return PackModel(
        name="pack 1",
        chemistry=chemistry,
        cells=2,
        capacity_mah=between(rng, 2200, 5200),
        r0_ohm=0.65 * inner,
        pairs=(
            Pair(ohm=inner * between(rng, 0.08, 0.18), tau_s=between(rng, 0.2, 1.5)),
            Pair(ohm=inner * between(rng, 0.2, 0.5), tau_s=between(rng, 6.0, 40.0)),
        ),
        lead_ohm=between(rng, 0.004, 0.012),
        age=between(rng, 0.95, 1.15),
        path=Path(
            kind=kind,
            ohm=between(rng, 0.003, 0.010),
            drop_v=between(rng, 0.25, 0.5)
            if kind is PathKind.REGULATOR
            else between(rng, 0.01, 0.05),
            setpoint_v=setpoint,
            output_ohm=between(rng, 0.003, 0.012),
            limit_a=limit,
        ),
    )


def _random_servos(
    rng: Generator, nodes: tuple[str, ...], law: ServoLaw, rated: float
) -> tuple[ServoModel, ...]:
    """Two to four servos a node: ailerons and flaps outside, elevators and rudders behind."""
    outputs: list[tuple[str, str, float]] = []
    ailerons, flaps = pick(rng, 1, 2, 2, 3), pick(rng, 0, 1, 1)
    for side, name in zip((1.0, -1.0), _WINGS, strict=True):
        place = name if name in nodes else BUS
        outputs += [(place, "aileron", side)] * ailerons
        outputs += [(place, "flap", 1.0)] * max(flaps, 2 - ailerons)
    behind = "tail" if "tail" in nodes else BUS
    outputs += [(behind, "elevator", 1.0), (behind, "elevator", -1.0)]
    outputs += [(behind, "rudder", 1.0)] * pick(rng, 1, 2)
    front = "fuselage" if "fuselage" in nodes else BUS
    outputs += [(front, "throttle", 1.0)]
    if front != BUS:
        outputs += [(front, "rudder", 1.0)]
    size = between(rng, 0.8, 1.25)
    travel, hold = between(rng, 0.35, 0.60) * size, between(rng, 1.0, 2.0) * size
    if law is ServoLaw.MOTOR:
        hold *= 1.2  # its copper loss falls with the square of the load
    power = {ServoLaw.MOTOR: -0.6}.get(law, between(rng, 0.3, 1.0))
    rest, lag = between(rng, 0.02, 0.06), between(rng, 0.025, 0.06)
    servos, used = [], dict.fromkeys([*nodes, BUS], 0)
    for place, control, direction in outputs:
        used[place] += 1
        small = 0.5 if control in ("throttle", "flap") else 1.0
        own = between(rng, 0.85, 1.15)
        servos.append(
            ServoModel(
                name=f"{place} {used[place]}",
                node=place,
                control=control,
                direction=direction * between(rng, 0.8, 1.0),
                law=law,
                rest_a=rest * between(rng, 0.8, 1.2),
                travel_a=travel * small * own,
                inrush_a=travel * small * between(rng, 0.3, 0.8),
                hold_a=hold * small * between(rng, 0.8, 1.2),
                stall_a=between(rng, 3.0, 6.0) * size,
                rated_v=rated,
                volt_power=power,
                lag_s=lag,
                noise=between(rng, 0.05, 0.2),
                hunting_a=between(rng, 0.0, 0.08),
                day_spread=between(rng, 0.01, 0.025),
            )
        )
    return tuple(servos)


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

    def unit(place: str, sensors: list[Sensor], interval: float, receiver: int = 1) -> Unit:
        return Unit(
            place=place,
            sensors=tuple(sensors),
            interval_s=interval,
            phase_s=interval * float(rng.random()),
            jitter_s=0.03 * interval * float(rng.random()),
            drift=2e-4 * float(rng.standard_normal()),
            staggered=bool(rng.random() < 0.3),
            delay_s=between(rng, 0.01, 0.08),
            receiver=receiver,
        )

    lowest = bool(rng.random() < 0.25)
    main: list[Sensor] = []
    for pack in aircraft.packs:
        main += electric(pack.name, amps=True)
        main.append(Sensor(place=pack.name, quantity=Quantity.CONSUMED, resolution=1.0))
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
    changes: list[Change] = []
    if harmless:
        at = 2 + int(rng.random() * max(1, flights - 2))
        if rng.random() < 0.3:
            changes.append(Change(flight=at, ambient_c=between(rng, 0.0, 8.0)))
        if rng.random() < 0.3:
            changes.append(Change(flight=max(1, at - 1), hardness=between(rng, 1.2, 1.5)))
        if rng.random() < 0.15:
            changes.append(Change(flight=at, slower=pick(rng, 1.5, 2.0)))
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
