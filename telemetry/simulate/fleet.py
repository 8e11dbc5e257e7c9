"""The two demo aircraft, their sensors and their dialects: all invented."""

from __future__ import annotations

from dataclasses import replace

from telemetry.model.channels import Quantity
from telemetry.simulate.parts import (
    BUS,
    AircraftModel,
    NodeModel,
    PackModel,
    Pair,
    Path,
    PathKind,
    ServoModel,
)
from telemetry.simulate.telemetry.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.telemetry.sensors import Mode, Sensor, Telemetry, TelemetryUnit


def _servos(node: str, controls: tuple[str, ...], first: int = 1) -> list[ServoModel]:
    """One servo an output; small ones drive throttle and flaps."""
    side = -1.0 if node == "right wing" else 1.0
    made = []
    for output, control in enumerate(controls, first):
        size = 0.5 if control in ("throttle", "flap") else 1.0
        made.append(
            ServoModel(
                name=f"{node} {output}",
                node=node,
                control=control,
                direction=side if control == "aileron" else 1.0,
                rest_a=0.035,
                travel_a=0.50 * size,
                inrush_a=0.25 * size,
                hold_a=1.8 * size,
            )
        )
    return made


def tern() -> AircraftModel:
    """A main unit and three remote nodes, two shared packs behind ideal diodes."""
    pack = PackModel(
        name="pack 1",
        chemistry="liion",
        capacity_mah=4000.0,
        r0_ohm=0.018,
        pairs=(Pair(ohm=0.003, tau_s=0.5), Pair(ohm=0.008, tau_s=18.0)),
        lead_ohm=0.007,
    )
    return AircraftModel(
        name="tern",
        packs=(pack, replace(pack, name="pack 2", r0_ohm=0.0195, lead_ohm=0.0075)),
        nodes=(
            NodeModel(name="left wing", lead_ohm=0.020, connector_ohm=0.006),
            NodeModel(name="right wing", lead_ohm=0.020, connector_ohm=0.0065),
            NodeModel(name="tail", lead_ohm=0.030, connector_ohm=0.005),
        ),
        servos=(
            *_servos("left wing", ("aileron", "aileron", "flap")),
            *_servos("right wing", ("aileron", "aileron", "flap")),
            *_servos("tail", ("elevator", "elevator", "rudder", "rudder")),
            *_servos(BUS, ("throttle",)),
        ),
    )


def dunlin() -> AircraftModel:
    """One cable a panel; two packs, each behind its own linear regulator; no node reports."""
    pack = PackModel(
        name="pack 1",
        chemistry="lipo",
        capacity_mah=3200.0,
        r0_ohm=0.017,
        pairs=(Pair(ohm=0.003, tau_s=0.4), Pair(ohm=0.006, tau_s=14.0)),
        lead_ohm=0.008,
        path=Path(
            kind=PathKind.REGULATOR,
            ohm=0.008,
            drop_v=0.3,
            setpoint_v=6.6,
            output_ohm=0.015,
            limit_a=16.0,
        ),
    )
    other = replace(pack.path, setpoint_v=6.605, output_ohm=0.016)
    return AircraftModel(
        name="dunlin",
        packs=(pack, replace(pack, name="pack 2", r0_ohm=0.018, path=other)),
        nodes=(
            NodeModel(name="left wing", lead_ohm=0.028, electronics_a=0.02),
            NodeModel(name="right wing", lead_ohm=0.028, electronics_a=0.02),
            NodeModel(name="tail", lead_ohm=0.034, electronics_a=0.02),
        ),
        servos=tuple(
            replace(s, rated_v=6.6, travel_a=0.9 * s.travel_a)
            for s in (
                *_servos("left wing", ("aileron", "aileron")),
                *_servos("right wing", ("aileron", "aileron")),
                *_servos("tail", ("elevator", "elevator", "rudder")),
                *_servos(BUS, ("throttle",)),
            )
        ),
        bus_a=0.3,
    )


def _sensor(
    place: str,
    quantity: Quantity,
    resolution: float = 0.01,
    *,
    offset: float = 0.0,
    gain: float = 1.0,
) -> Sensor:
    return Sensor(place=place, quantity=quantity, resolution=resolution, offset=offset, gain=gain)


def tern_telemetry() -> Telemetry:
    """Four reporting units and two receivers, each with its own clock; controls logged."""
    main = [
        _sensor(place, quantity, resolution)
        for place in ("pack 1", "pack 2")
        for quantity, resolution in (
            (Quantity.VOLTAGE, 0.01),
            (Quantity.CURRENT, 0.01),
            (Quantity.CONSUMED, 1.0),
            (Quantity.TEMPERATURE, 1.0),
        )
    ]
    main += [
        _sensor(BUS, Quantity.VOLTAGE, offset=0.006),
        _sensor(BUS, Quantity.CURRENT, gain=1.004),
        _sensor(BUS, Quantity.UPTIME, 1.0),
    ]
    units = [
        TelemetryUnit(place=BUS, sensors=tuple(main), interval_s=0.2, jitter_s=0.005, phase_s=0.05)
    ]
    gains = {"left wing": 1.006, "right wing": 0.995, "tail": 0.992}
    offsets = {"left wing": 0.004, "right wing": -0.008, "tail": 0.010}
    for number, place in enumerate(gains):
        volts = _sensor(place, Quantity.VOLTAGE, offset=offsets[place])
        units.append(
            TelemetryUnit(
                place=place,
                sensors=(
                    volts,
                    _sensor(place, Quantity.CURRENT, gain=gains[place]),
                    replace(volts, mode=Mode.MIN),
                    _sensor(place, Quantity.TEMPERATURE, 1.0),
                ),
                interval_s=0.2,
                phase_s=0.03 + 0.06 * number,
                jitter_s=0.006,
                drift=(1.1e-4, -0.7e-4, 0.4e-4)[number],
            )
        )
    units += [
        TelemetryUnit(
            place=f"receiver {number}",
            sensors=(
                _sensor(f"receiver {number}", Quantity.LINK, 1.0),
                _sensor(f"receiver {number}", Quantity.LOST, 1.0),
            ),
            interval_s=0.5,
            phase_s=0.1 * number,
            receiver=number,
        )
        for number in (1, 2)
    ]
    air = (_sensor("aircraft", Quantity.SPEED, 0.5), _sensor("aircraft", Quantity.ALTITUDE, 1.0))
    units.append(TelemetryUnit(place=BUS, sensors=air, interval_s=0.4, phase_s=0.17))
    return Telemetry(
        units=tuple(units),
        row_s=0.1,
        blanks=True,
        controls=("aileron", "elevator", "rudder", "throttle"),
    )


def dunlin_telemetry() -> Telemetry:
    """The main unit alone, its parameters taking turns; the last reading repeats."""
    sensors = [
        _sensor(place, quantity, resolution)
        for place in ("pack 1", "pack 2")
        for quantity, resolution in (
            (Quantity.VOLTAGE, 0.01),
            (Quantity.CURRENT, 0.1),
            (Quantity.CONSUMED, 1.0),
        )
    ]
    volts = _sensor(BUS, Quantity.VOLTAGE)
    sensors += [
        volts,
        replace(volts, mode=Mode.MIN),
        _sensor(BUS, Quantity.CURRENT, 0.1, gain=1.01),
        _sensor("regulator", Quantity.TEMPERATURE, 1.0),
        _sensor(BUS, Quantity.UPTIME, 1.0),
    ]
    radio = (
        _sensor("receiver 1", Quantity.VOLTAGE, 0.1),
        _sensor("receiver 1", Quantity.LINK, 1.0),
        _sensor("receiver 1", Quantity.LOST, 1.0),
    )
    return Telemetry(
        units=(
            TelemetryUnit(
                place=BUS, sensors=tuple(sensors), interval_s=0.5, jitter_s=0.01, staggered=True
            ),
            TelemetryUnit(place="receiver 1", sensors=radio, interval_s=1.0, phase_s=0.3),
        ),
        row_s=0.2,
    )


TERN_DIALECT = Dialect(
    unit_style=UnitStyle.BRACKETS, time_form=TimeForm.ISO, preamble=":", comment="#"
)
DUNLIN_DIALECT = Dialect(
    separator=";",
    decimal=",",
    encoding="cp1252",
    newline="\r\n",
    language="de",
    unit_style=UnitStyle.PARENTHESES,
    unit_spelling=(("degC", "\N{DEGREE SIGN}C"),),
    time_form=TimeForm.DATE_AND_TIME,
    date_format="%d.%m.%Y",
    preamble=";",
)
