"""What each kind of fault needs of an aircraft, where it sits, and what it does on one day."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.fleet.aircraft import Aircraft
from tests.fleet.flying import Wrong
from tests.fleet.pilots import Outing
from tests.fleet.sensing import Rig
from tests.fleet.servos import ServoFault

FloatArray = NDArray[np.float64]

# Shapes of wear that each kind may take.
_ANY = ("step", "line", "exponential", "saturating", "intermittent", "warm", "cold")
_GROWS = ("line", "exponential", "saturating")
SHAPES: dict[str, tuple[str, ...]] = {
    "servo-binding": (*_GROWS, "step", "cold"),
    "servo-silent": ("step",),
    "servo-heating-wing": (*_GROWS, "step", "warm"),
    "servo-heating-tail": (*_GROWS, "step", "warm"),
    "connector": _ANY,
    "contact": ("step", "line", "intermittent", "warm"),
    "packs-ageing": _GROWS,
    "pack-weak": (*_GROWS, "step"),
    "pack-set-weak": (*_GROWS, "step"),
    "supply-dips": ("step", "line", "intermittent"),
    "regulator-droop": (*_GROWS, "step", "warm"),
    "sensor-gain": ("step", "line", "saturating"),
    "sensor-offset": ("step", "line", "saturating", "warm"),
    "pack-out": ("step",),
}
AT_A_NODE = (
    "servo-binding",
    "servo-silent",
    "servo-heating-wing",
    "servo-heating-tail",
    "connector",
    "contact",
    "sensor-gain",
    "sensor-offset",
)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A fault at its full size: where it is, and numbers that its kind uses.

    ``size`` is a part (of friction, current, resistance, gain), Ohm of a lead or regulator, V of a
    dip or an offset, or openings a minute.
    """

    kind: str
    place: str
    servo: int | None = None
    pack_set: int | None = None
    size: float = 0.0
    bias_nm: float = 0.0
    unplugged: bool = False
    limited: bool = False
    at: float = 0.5  # part of the flight of the onset after which it begins


def random_fault(rng: Generator, kind: str, aircraft: Aircraft) -> Fault:
    nodes = [n.name for n in aircraft.nodes]
    if kind == "servo-heating-wing":
        nodes = [n for n in nodes if "wing" in n]
    elif kind == "servo-heating-tail":
        nodes = [n for n in nodes if "tail" in n]
    nodes = [n for n in nodes if n != "nose"]
    place = str(rng.choice(nodes))
    packs = [p.name for p in aircraft.sets[0]]
    fault = Fault(kind=kind, place=place, at=float(rng.uniform(0.0, 0.9)))
    if kind.startswith("servo"):
        node = aircraft.node(place)
        number = int(rng.integers(len(node.servos)))
        fault = replace(fault, servo=number, unplugged=bool(rng.random() < 0.5))
        if kind == "servo-binding":
            bias = float(rng.choice([0.0, 0.2])) * node.servos[number].stall_nm
            return replace(fault, size=float(rng.uniform(0.8, 2.5)), bias_nm=bias)
        return replace(fault, size=float(rng.uniform(0.5, 1.5)))
    sizes: dict[str, tuple[float, float]] = {
        "connector": (0.015, 0.08),
        "contact": (1.0, 5.0),
        "packs-ageing": (0.6, 2.0),
        "pack-weak": (0.6, 2.0),
        "pack-set-weak": (0.6, 2.0),
        "supply-dips": (0.7, 1.3),
        "regulator-droop": (0.04, 0.12),
        "sensor-gain": (0.08, 0.25),
        "sensor-offset": (0.08, 0.25),
        "pack-out": (1.0, 1.0),
    }
    size = float(rng.uniform(*sizes[kind]))
    if kind in ("sensor-gain", "sensor-offset"):
        size *= float(rng.choice([-1.0, 1.0]))
    if kind in ("pack-weak", "pack-out"):
        place = str(rng.choice(packs))
    elif kind in ("packs-ageing", "pack-set-weak"):
        place = packs[0]
    elif kind in ("supply-dips", "regulator-droop"):
        place = "bus"
    return replace(
        fault,
        place=place,
        size=size,
        pack_set=int(rng.integers(len(aircraft.sets))) if kind == "pack-set-weak" else None,
        limited=bool(rng.random() < 0.4),
    )


def wrong_today(
    rng: Generator, fault: Fault, level: float, outing: Outing, *, pack_set: int, first: bool
) -> Wrong:
    """What the fault does in one flight at this level; ``first`` is the flight of its onset."""
    if level == 0.0:
        return Wrong()
    kind, size = fault.kind, fault.size * level
    begins_s = outing.flight[0] + fault.at * (outing.flight[1] - outing.flight[0])
    begins_s = begins_s if first else 0.0
    if fault.servo is not None:
        key = (fault.place, fault.servo)
        if kind == "servo-binding":
            return Wrong(servos={key: ServoFault(friction=size, bias_nm=fault.bias_nm * level)})
        if kind == "servo-silent":
            dead = ServoFault(dead_from_s=begins_s, unplugged=fault.unplugged)
            return Wrong(servos={key: dead})
        return Wrong(servos={key: ServoFault(warms=size)})
    if kind == "connector":
        return Wrong(lead_ohm={fault.place: size})
    if kind == "contact":
        return Wrong(contact_v={fault.place: _openings(rng, outing, size)})
    if kind == "packs-ageing" or (kind == "pack-set-weak" and pack_set == fault.pack_set):
        names = ("pack 1", "pack 2")
        return Wrong(
            pack_ohm=dict.fromkeys(names, 1.0 + size),
            pack_capacity=dict.fromkeys(names, 1.0 - 0.12 * size),
        )
    if kind == "pack-weak":
        return Wrong(
            pack_ohm={fault.place: 1.0 + size}, pack_capacity={fault.place: 1.0 - 0.15 * size}
        )
    if kind == "supply-dips":
        return Wrong(dip_v=_dips(rng, outing, fault.size, level))
    if kind == "regulator-droop":
        if fault.limited:
            return Wrong(limit=1.0 - min(0.93, 0.9 * level), out_ohm=0.3 * size)
        return Wrong(out_ohm=size)
    if kind == "pack-out":
        return Wrong(pack_off_s={fault.place: begins_s})
    return Wrong()


def wrong_rig(rig: Rig, fault: Fault, level: float) -> Rig:
    """The rig with a sensor that is off."""
    quantity = {"sensor-gain": "current", "sensor-offset": "voltage"}.get(fault.kind)
    if quantity is None or level == 0.0:
        return rig
    key, by = f"{fault.place}/{quantity}", fault.size * level
    sensors = tuple(
        s
        if s.key != key
        else replace(s, gain=s.gain * (1.0 + by))
        if quantity == "current"
        else replace(s, offset=s.offset + by)
        for s in rig.sensors
    )
    return replace(rig, sensors=sensors)


def _openings(rng: Generator, outing: Outing, a_minute: float) -> FloatArray:
    """V that a contact takes which opens for moments of the flight."""
    volts = np.zeros(len(outing.time_s))
    count = int(rng.poisson(a_minute * (outing.flight[1] - outing.flight[0]) / 60.0))
    for _ in range(count):
        at = rng.uniform(*outing.flight)
        lasts = float(np.clip(rng.lognormal(-1.2, 0.9), 0.04, 2.5))
        inside = (outing.time_s >= at) & (outing.time_s < at + lasts)
        volts[inside] = float(rng.lognormal(-0.1, 0.5))
    return volts


def _dips(rng: Generator, outing: Outing, depth_v: float, level: float) -> FloatArray:
    """V that a contact of the whole supply takes for 0.6 to 1.5 s, two to seven times a flight."""
    dip = np.zeros(len(outing.time_s))
    for _ in range(max(2, round(level * rng.integers(2, 8)))):
        at, lasts = rng.uniform(*outing.flight), rng.uniform(0.6, 1.5)
        inside = (outing.time_s >= at) & (outing.time_s < at + lasts)
        dip[inside] = depth_v * float(rng.uniform(0.8, 1.2))
    return dip
