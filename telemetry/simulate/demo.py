"""The demo season: two invented aircraft, a dozen flights each, faults from a known flight on.

``tern`` carries a main unit and three remote nodes (left wing, right wing, tail) and logs dozens of
columns; ``dunlin`` has one cable a panel and only its main unit reports, a dozen parameters.
Nothing of them exists: not the machines, not the units, not the flights.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from telemetry.channels import Quantity
from telemetry.errors import OutputError
from telemetry.simulate.csvfile import write_csv
from telemetry.simulate.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.faults import Fault, FaultKind
from telemetry.simulate.motion import move
from telemetry.simulate.parts import (
    BUS,
    AircraftModel,
    NodeModel,
    PackModel,
    Pair,
    PathKind,
    ServoModel,
)
from telemetry.simulate.parts import (
    Path as SupplyPath,
)
from telemetry.simulate.pilot import Pilot, usual_plan
from telemetry.simulate.recording import Recording, simulate
from telemetry.simulate.season import Change, Habits, Season, fly
from telemetry.simulate.sensors import Mode, Sensor, Telemetry, Unit

DEMO_SEED = 2026
DEMO_FLIGHTS = 12
WINGS = ("left wing", "right wing")


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
                travel_a=0.42 * size,
                inrush_a=0.25 * size,
                hold_a=1.5 * size,
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
        path=SupplyPath(
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
    units = [Unit(place=BUS, sensors=tuple(main), interval_s=0.2, jitter_s=0.005, phase_s=0.05)]
    gains = {"left wing": 1.006, "right wing": 0.995, "tail": 0.992}
    offsets = {"left wing": 0.004, "right wing": -0.008, "tail": 0.010}
    for number, place in enumerate(gains):
        volts = _sensor(place, Quantity.VOLTAGE, offset=offsets[place])
        units.append(
            Unit(
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
        Unit(
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
    units.append(Unit(place=BUS, sensors=air, interval_s=0.4, phase_s=0.17))
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
            Unit(place=BUS, sensors=tuple(sensors), interval_s=0.5, jitter_s=0.01, staggered=True),
            Unit(place="receiver 1", sensors=radio, interval_s=1.0, phase_s=0.3),
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

TERN_FAULTS = (
    Fault(
        kind=FaultKind.SERVO_BINDING,
        place="tail",
        servo="tail 3",
        onset=5,
        start=0.10,
        growth=0.11,
    ),
    Fault(kind=FaultKind.CONNECTOR, place="left wing", onset=7, start=0.009, growth=0.007),
    Fault(kind=FaultKind.CONTACT, place="left wing", onset=9, start=0.8, growth=0.5),
    Fault(kind=FaultKind.LINK_LOSS, place=BUS, onset=4, start=1.0, cured=5),
)
DUNLIN_FAULTS = (
    Fault(kind=FaultKind.PACK_AGEING, place="pack 2", onset=5, start=0.10, growth=0.09),
    Fault(kind=FaultKind.PACK_LOW, place="pack 1", onset=8, start=0.5, cured=9),
    Fault(kind=FaultKind.PACK_OUT, place="pack 2", onset=11, start=1.0, cured=12),
)


def tern_season(seed: int = DEMO_SEED) -> Season:
    """The tern's season."""
    return Season(
        aircraft=tern(),
        telemetry=tern_telemetry(),
        dialect=TERN_DIALECT,
        pilot=Pilot(),
        seed=seed,
        flights=DEMO_FLIGHTS,
        faults=TERN_FAULTS,
        changes=(Change(flight=6, hardness=1.25),),
        habits=Habits(flight_s=390.0, stir=1.0, check=1.0, power_cycle=0.0, ambient_spread_c=4.0),
        start=datetime(2026, 4, 4, 10, 0),
    )


def dunlin_season(seed: int = DEMO_SEED) -> Season:
    """The dunlin's season."""
    return Season(
        aircraft=dunlin(),
        telemetry=dunlin_telemetry(),
        dialect=DUNLIN_DIALECT,
        pilot=Pilot(stir_hz=1.5, stir_s=10.0, hardness=0.9),
        seed=seed + 1,
        flights=DEMO_FLIGHTS,
        faults=DUNLIN_FAULTS,
        changes=(Change(flight=10, ambient_c=4.0),),
        habits=Habits(flight_s=450.0, stir=1.0, check=0.5, power_cycle=0.0, ambient_spread_c=4.0),
        start=datetime(2026, 4, 11, 9, 30),
    )


def bench_stir(season: Season) -> Recording:
    """A bench recording at home, a week before the season: two stirs, no flight."""
    rng = np.random.default_rng([season.seed, 3])
    day = season.pilot.day(rng)
    plan = usual_plan(rng, season.pilot, flights=0, stirs=2)
    motion = move(plan, season.pilot, day, rng, dt_s=season.dt_s)
    return simulate(
        season.aircraft,
        season.telemetry,
        motion,
        rng,
        ambient_c=18.0,
        start=datetime(2026, 3, 28, 15, 20),
    )


def demo_logs(seed: int = DEMO_SEED) -> Iterator[tuple[str, Recording, Dialect]]:
    """File name, recording and dialect of every log of the demo season, in order."""
    for season in (tern_season(seed), dunlin_season(seed)):
        name = season.aircraft.name
        if name == "tern":
            yield f"{name} bench stir.csv", bench_stir(season), season.dialect
        for recording in fly(season):
            number = recording.truth.flight
            yield f"{name} flight {number:02d}.csv", recording, season.dialect


def demo_season(directory: str | Path, seed: int = DEMO_SEED) -> tuple[Path, ...]:
    """Write the demo season.

    Parameters
    ----------
    directory : path
        Made if missing; files of the same names are replaced.
    seed : int
        Another seed gives another season with the same faults.

    Returns
    -------
    tuple of Path
        The logs written, in order. A README.txt beside them says what is wrong from when.

    Raises
    ------
    OutputError
        Where the directory cannot be written.
    """
    folder = Path(directory)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, recording, dialect in demo_logs(seed):
            written.append(write_csv(folder / name, recording, dialect=dialect))
        with (folder / "README.txt").open("w", encoding="utf-8", newline="") as file:
            file.write(demo_readme())
    except OSError as error:
        raise OutputError(
            f"cannot write the demo season: {error.strerror or error}",
            path=folder,
            hint="choose a folder that can be written",
        ) from error
    return tuple(written)


_IN_WORDS = {
    FaultKind.SERVO_BINDING: "it begins to bind; its moving current rises flight by flight",
    FaultKind.CONNECTOR: "the resistance of the panel's connector rises flight by flight",
    FaultKind.CONTACT: "the same connector begins to break contact for moments",
    FaultKind.LINK_LOSS: "the radio link's telemetry is lost for some seconds; nothing is wrong",
    FaultKind.PACK_AGEING: "the pack ages; its inner resistance rises flight by flight",
    FaultKind.PACK_LOW: "the pack was not charged",
    FaultKind.PACK_OUT: "the pack's lead comes out in the air; the other pack carries on",
}


def demo_readme() -> str:
    """What is in the season, what is wrong, and from which flight on."""
    lines = [
        "These logs are invented. No such aircraft, unit, pilot or flight exists; a program",
        "computed them from a model of packs, leads and servos.",
        "",
        "tern: a main unit and three remote nodes (left wing, right wing, tail).",
        "dunlin: one cable a panel; only the main unit reports. Its columns are in German.",
        "",
        "What is wrong, and from when:",
    ]
    for season in (tern_season(), dunlin_season()):
        for fault in season.faults:
            last = "" if fault.cured is None else " only"
            where = fault.place + (f" (servo on output {fault.servo[-1]})" if fault.servo else "")
            lines += [
                f"- {season.aircraft.name}, flight {fault.onset}{last}, {where}:",
                f"  {_IN_WORDS[fault.kind]}.",
            ]
    lines += [
        "",
        "Harmless, and there to be told apart: tern's flight 6 is flown harder than usual;",
        "dunlin's flight 10 is on a cold day.",
        "",
    ]
    return "\n".join(lines)
