"""Invented aircraft: what is fed from where, by which leads, and what moves in them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from tests.fleet.servos import Servo
from tests.fleet.supply import CELL_MOHM_AH, Pack, Path, Regulator

# What each type has in which place; a number behind an axis stands for so many servos.
TYPES: dict[str, dict[str, tuple[str, ...]]] = {
    "aerobat": {
        "left wing": ("aileron", "aileron"),
        "right wing": ("aileron", "aileron"),
        "tail": ("elevator", "elevator", "rudder", "rudder"),
    },
    "warbird": {
        "left wing": ("aileron", "flap"),
        "right wing": ("aileron", "flap"),
        "tail": ("elevator", "rudder"),
        "nose": ("throttle",),
    },
    "tug": {
        "left wing": ("aileron", "flap"),
        "right wing": ("aileron", "flap"),
        "tail": ("elevator", "elevator", "rudder"),
    },
    "sailplane": {
        "left wing": ("aileron", "aileron", "flap"),
        "right wing": ("aileron", "aileron", "flap"),
        "tail": ("elevator", "rudder"),
    },
    "jet": {
        "left wing": ("aileron", "flap"),
        "right wing": ("aileron", "flap"),
        "left tail": ("elevator", "rudder"),
        "right tail": ("elevator", "rudder"),
    },
    "biplane": {
        "upper wing": ("aileron", "aileron"),
        "lower wing": ("aileron", "aileron"),
        "tail": ("elevator", "elevator", "rudder"),
    },
    "trainer": {"main": ("aileron", "aileron", "elevator", "rudder", "throttle")},
}
STYLES_OF = {
    "aerobat": ("wild", "pattern"),
    "warbird": ("scale", "calm"),
    "tug": ("tow",),
    "sailplane": ("soaring", "calm"),
    "jet": ("pattern", "scale"),
    "biplane": ("pattern", "scale"),
    "trainer": ("calm", "scale", "pattern"),
}
_SIZE_NM = {
    "aerobat": 4.6,
    "warbird": 3.6,
    "tug": 2.8,
    "sailplane": 1.6,
    "jet": 3.6,
    "biplane": 3.0,
    "trainer": 1.5,
}
SUPPLIES = ("lipo", "liion", "life", "nimh", "regulated")
# Nickel cells are too soft for what moves much.
_SUPPLIES_OF = dict.fromkeys(("aerobat", "jet"), ("lipo", "liion", "life", "regulated"))


@dataclass(frozen=True, kw_only=True)
class Node:
    """A place with servos on a lead from the bus; ``main`` is the main unit itself."""

    name: str
    servos: tuple[Servo, ...]
    lead_ohm: float
    steady_a: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Aircraft:
    """One aircraft: nodes, sets of packs that take turns, the path of each pack of a set."""

    kind: str
    supply: str
    nodes: tuple[Node, ...]
    sets: tuple[tuple[Pack, ...], ...]
    paths: tuple[Path, ...]
    regulator: Regulator | None
    main_a: float  # of receivers and the main unit

    def node(self, name: str) -> Node:
        return next(n for n in self.nodes if n.name == name)


def random_aircraft(
    rng: Generator,
    *,
    kind: str | None = None,
    supply: str | None = None,
    packs: int | None = None,
    sets: int | None = None,
) -> Aircraft:
    """An aircraft drawn at random; what is named is not drawn."""
    kind = kind or str(rng.choice(list(TYPES)))
    supply = supply or str(rng.choice(_SUPPLIES_OF.get(kind, SUPPLIES)))
    count = packs or int(rng.choice([1, 2, 2]))
    sets = sets or int(rng.choice([1, 1, 2, 3]))
    chemistry = supply if supply != "regulated" else str(rng.choice(["lipo", "liion"]))
    cells = {"lipo": 2, "liion": 2, "life": 2, "nimh": 5}[chemistry]
    capacity = float(rng.uniform(3.0, 6.0)) * (1.0 if count == 2 else 1.5)
    regulator = _regulator(rng) if supply == "regulated" else None
    volts = (
        regulator.set_v
        if regulator
        else {"lipo": 7.6, "liion": 7.3, "life": 6.5, "nimh": 6.3}[chemistry]
    )
    return Aircraft(
        kind=kind,
        supply=supply,
        nodes=_nodes(rng, kind, volts),
        sets=tuple(
            tuple(_pack(rng, f"pack {i + 1}", chemistry, cells, capacity) for i in range(count))
            for _ in range(sets)
        ),
        paths=_paths(rng, count),
        regulator=regulator,
        main_a=float(rng.uniform(0.12, 0.4)),
    )


def _pack(rng: Generator, name: str, chemistry: str, cells: int, capacity_ah: float) -> Pack:
    mohm = cells * CELL_MOHM_AH[chemistry] / capacity_ah * float(np.exp(0.08 * rng.normal()))
    return Pack(
        name=name,
        chemistry=chemistry,
        cells=cells,
        capacity_ah=capacity_ah * float(1 + 0.02 * rng.normal()),
        ohm_25c=mohm / 1000.0,
    )


def _paths(rng: Generator, count: int) -> tuple[Path, ...]:
    wire = float(rng.uniform(0.006, 0.016))
    diode = None if count == 1 else float(rng.choice([0.02, 0.03, 0.30]))
    return tuple(Path(ohm=wire * float(rng.uniform(0.9, 1.1)), diode_v=diode) for _ in range(count))


def _regulator(rng: Generator) -> Regulator:
    return Regulator(
        set_v=float(rng.choice([5.5, 5.9, 6.0])),
        out_ohm=float(rng.uniform(0.010, 0.022)),
        headroom_v=float(rng.uniform(0.15, 0.3)),
        limit_a=float(rng.uniform(25.0, 35.0)),
    )


def _nodes(rng: Generator, kind: str, volts: float) -> tuple[Node, ...]:
    """Panels of a pair are built alike: leads of one length and gauge, servos of one type."""
    built: dict[str, tuple[float, tuple[Servo, ...]]] = {}
    nodes = []
    for name, axes in TYPES[kind].items():
        pair = name.removeprefix("left ").removeprefix("right ")
        if pair not in built:
            metres = float(rng.uniform(0.4, 0.9)) * (1.9 if "tail" in name else 1.0)
            servos = tuple(_servo(rng, a, _SIZE_NM[kind], volts) for a in axes)
            # Whoever builds so large an aircraft takes a gauge for its servos.
            mm2 = float(np.clip(sum(s.stall_a for s in servos) / 10.0, 0.5, 2.5))
            built[pair] = 2.0 * metres * 0.0175 / mm2, servos
        copper, servos = built[pair]
        plug = float(rng.uniform(0.006, 0.012))
        nodes.append(
            Node(
                name=name,
                servos=tuple(_one_of(rng, s, name) for s in servos),
                lead_ohm=0.005 if name == "main" else copper + plug,
                steady_a=float(rng.uniform(0.02, 0.06)),
            )
        )
    return tuple(nodes)


def _one_of(rng: Generator, servo: Servo, place: str) -> Servo:
    """One servo of its type: no two have the same friction or idle current."""
    own = float(np.exp(0.1 * rng.normal()))
    return replace(
        servo,
        side=(-1.0 if place.startswith("right") else 1.0) if servo.drives == "aileron" else 0.0,
        slides_nm=servo.slides_nm * own,
        sticks_nm=servo.sticks_nm * own,
        idle_a=servo.idle_a * float(rng.uniform(0.9, 1.1)),
        hinge_nm_rad=servo.hinge_nm_rad * float(1 + 0.03 * rng.normal()),
    )


def _servo(rng: Generator, axis: str, size_nm: float, volts: float) -> Servo:
    part = {"aileron": 1.0, "elevator": 1.0, "rudder": 1.2, "flap": 1.0, "throttle": 0.3}[axis]
    stall = size_nm * part * float(1 + 0.04 * rng.normal())
    free = 9.0
    # Electrical power at stall is some three times what the shaft could carry away at its best.
    stall_a = 3.0 * stall * free / 4.0 / volts * 1.4
    slides = stall * float(rng.uniform(0.10, 0.17))
    return Servo(
        drives=axis,
        stall_nm=stall,
        stall_a=stall_a,
        free_rad_s=free,
        rated_v=volts,
        idle_a=float(rng.uniform(0.01, 0.05)),
        slides_nm=slides,
        sticks_nm=slides * float(rng.uniform(1.2, 1.6)),
        hinge_nm_rad=stall * (0.0 if axis == "throttle" else float(rng.uniform(0.5, 0.8))),
        gusts_nm=stall * (0.0 if axis == "throttle" else float(rng.uniform(0.05, 0.10))),
    )
