"""The simulated machine: packs, the paths from them to the bus, nodes, servos.

Everything here is an invented but physically meaningful parameter set. Resistances are in Ohm,
currents in A, times in s, travel in % of full travel (-100 to 100).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BUS = "bus"


class PathKind(StrEnum):
    """What sits between a pack and the bus."""

    DIRECT = "direct"  # a plain switch: current may flow either way between the packs
    DIODE = "diode"  # an ideal diode: no way back
    REGULATOR = "regulator"  # linear: set-point, drop-out, current limit


class ServoLaw(StrEnum):
    """How a servo's current follows its motion and load (see ``servos.py``)."""

    TRAVEL = "travel"
    FRICTION = "friction"
    MOTOR = "motor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One relaxation pair of a pack: resistance in parallel with a capacitor, tau = R C."""

    ohm: float
    tau_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Switch, ideal diode or linear regulator between one pack and the bus.

    Attributes
    ----------
    kind : PathKind
    ohm : float
        Resistance of the path while it conducts (for a regulator: of its pass element).
    drop_v : float
        Drop besides the resistance: an ideal diode's control drop, a regulator's drop-out.
    setpoint_v : float
        Regulator's output at no load.
    output_ohm : float
        Regulator's output resistance while it regulates.
    limit_a : float
        Current from which the regulator gives way.
    limit_ohm : float
        Further output resistance beyond that current.
    standby_v : float
        How far the bus must fall below this pack's own level before it feeds: 0 for a shared
        pack, some 0.5 V for one that stands by.
    """

    kind: PathKind = PathKind.DIODE
    ohm: float = 0.005
    drop_v: float = 0.03
    setpoint_v: float = 6.0
    output_ohm: float = 0.004
    limit_a: float = 25.0
    limit_ohm: float = 0.4
    standby_v: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PackModel:
    """One pack with its lead.

    Attributes
    ----------
    name : str
        Canonical place name, "pack 1".
    r0_ohm : float
        Series resistance of the whole pack, new, at 25 degC and half charge.
    pairs : tuple of Pair
        Relaxation pairs of the whole pack at the same state.
    lead_ohm : float
        Lead and connector to the unit's terminals, where the pack's voltage is measured.
    age : float
        Factor on all internal resistances; 1 when new.
    heat_j_per_k, cooling_w_per_k : float
        Heat capacity, and heat given to the air per K.
    """

    name: str
    chemistry: str = "lipo"
    cells: int = 2
    capacity_mah: float = 4000.0
    r0_ohm: float = 0.016
    pairs: tuple[Pair, ...] = (Pair(ohm=0.003, tau_s=0.4), Pair(ohm=0.007, tau_s=15.0))
    lead_ohm: float = 0.008
    age: float = 1.0
    path: Path = Path()
    heat_j_per_k: float = 200.0
    cooling_w_per_k: float = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeModel:
    """A unit that hands current on to servos: in a panel, the tail, or a receiver.

    Attributes
    ----------
    fed_from : str
        The bus or another node.
    lead_ohm, connector_ohm : float
        Out and back together, at 20 degC.
    connector_spread : float
        How far the connector differs each time it is plugged in, relative standard deviation.
    electronics_a : float
        The unit's own draw.
    restart_v : float
        Level below which it restarts.
    boot_s : float
        How long it takes until it works again; its servos are limp meanwhile.
    """

    name: str
    fed_from: str = BUS
    lead_ohm: float = 0.025
    connector_ohm: float = 0.006
    connector_spread: float = 0.08
    electronics_a: float = 0.05
    restart_v: float = 3.5
    boot_s: float = 1.5

    @property
    def branch_ohm(self) -> float:
        """Resistance between the feeding place and this one."""
        return self.lead_ohm + self.connector_ohm


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoModel:
    """One servo.

    Attributes
    ----------
    name : str
        "left wing 2": node and output.
    node : str
        Place that feeds it (a node, or the bus).
    control : str
        The control it follows ("aileron").
    direction : float
        Share of the control's travel, with sign.
    law : ServoLaw
    rest_a : float
        Draw at rest without load.
    travel_a : float
        Draw by moving at 600 %/s without load, above rest.
    inrush_a : float
        Draw by speeding up at 10 000 %/s2.
    hold_a : float
        Draw by holding full deflection against full air load.
    stall_a : float
        Most it can draw, at ``rated_v``.
    rated_v : float
        Voltage at which the currents above are given.
    volt_power : float
        Current follows (V / rated_v) to about this power: 1 for a motor at full duty, 0 for a
        constant current, -1 for a constant power.
    lag_s : float
        Time constant of the position loop.
    noise : float
        Relative scatter of the moving current.
    hunting_a : float
        Height of the bursts in which it hunts at rest.
    day_spread : float
        How far its moving current differs from day to day, relative standard deviation.
    """

    name: str
    node: str
    control: str
    direction: float = 1.0
    law: ServoLaw = ServoLaw.TRAVEL
    rest_a: float = 0.05
    travel_a: float = 0.40
    inrush_a: float = 0.25
    hold_a: float = 1.6
    stall_a: float = 4.5
    rated_v: float = 7.4
    volt_power: float = 1.0
    lag_s: float = 0.04
    noise: float = 0.12
    hunting_a: float = 0.05
    day_spread: float = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class AircraftModel:
    """A machine: what feeds what, and what hangs on it.

    Attributes
    ----------
    bus_a : float
        Draw of the main unit itself.
    bus_restart_v, bus_boot_s : float
        As for nodes.
    heat_k_per_w, heat_s : float
        Regulator's or switch's heating per W lost in it, and its time constant.
    """

    name: str
    packs: tuple[PackModel, ...]
    nodes: tuple[NodeModel, ...] = ()
    servos: tuple[ServoModel, ...] = ()
    bus_a: float = 0.25
    bus_restart_v: float = 3.5
    bus_boot_s: float = 2.0
    heat_k_per_w: float = 1.5
    heat_s: float = 90.0

    def __post_init__(self) -> None:
        """Hold what the solver relies on: parents before children, servos on known places."""
        known = {BUS}
        for node in self.nodes:
            if node.fed_from not in known:
                raise ValueError(f"{node.name} is fed from {node.fed_from}, which is not known yet")
            known.add(node.name)
        for servo in self.servos:
            if servo.node not in known:
                raise ValueError(f"servo {servo.name} hangs on {servo.node}, which is not known")
        if not self.packs:
            raise ValueError("an aircraft needs a pack")

    @property
    def places(self) -> tuple[str, ...]:
        """The bus and the nodes, parents first."""
        return (BUS, *(n.name for n in self.nodes))

    def pack(self, name: str) -> PackModel:
        """The pack of that name."""
        return next(p for p in self.packs if p.name == name)

    def node(self, name: str) -> NodeModel:
        """The node of that name."""
        return next(n for n in self.nodes if n.name == name)

    def servo(self, name: str) -> ServoModel:
        """The servo of that name."""
        return next(s for s in self.servos if s.name == name)

    def servos_of(self, place: str) -> tuple[ServoModel, ...]:
        """The servos fed by one place itself."""
        return tuple(s for s in self.servos if s.node == place)

    def with_pack(self, pack: PackModel) -> AircraftModel:
        """The same machine with the pack of that name replaced."""
        return replace(self, packs=tuple(pack if p.name == pack.name else p for p in self.packs))

    def with_node(self, node: NodeModel) -> AircraftModel:
        """The same machine with the node of that name replaced."""
        return replace(self, nodes=tuple(node if n.name == node.name else n for n in self.nodes))
