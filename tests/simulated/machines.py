"""Random machines: layout, packs, paths, leads and servos drawn over plausible ranges."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from numpy.random import Generator

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
