"""The aircraft: what feeds what, and the limits in force.

Where the user has no profile, :func:`infer_path` reads the path from the places of the log: packs
feed the bus, the bus feeds nodes and receivers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from telemetry.channels import PlaceKind, Quantity, kind_of_place, mirror_of

if TYPE_CHECKING:
    from telemetry.log import Log


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Limits(_Model):
    """Every threshold of the review in one place.

    Sources: "(cp)" common practice, no source: set it from the data sheet; "after IEC 61000-4-30"
    for the event definition; "ours" a default of this project, with its reason beside it.
    """

    restart_v: float = Field(3.5, gt=0, description="restart level of receivers and units, V (cp)")
    comfort_v: float | None = Field(
        None,
        gt=0,
        description="lowest comfortable servo supply, V; 5.0, or 6.0 on a bus above 6.8 V (cp)",
    )
    margin_watch_v: float = Field(1.0, ge=0, description="margin to restart: watch under, V (cp)")
    margin_ground_v: float = Field(0.5, ge=0, description="margin to restart: ground under, V (cp)")
    sag_pct: float = Field(
        5.0, gt=0, lt=100, description="sag threshold below reference, % (after IEC 61000-4-30)"
    )
    sag_v: float = Field(
        0.25, ge=0, description="sag threshold, at least this far below reference, V (cp)"
    )
    sag_hysteresis_pct: float = Field(
        2.0, ge=0, description="hysteresis, % of reference (after IEC 61000-4-30)"
    )
    sag_open_s: float = Field(
        10.0, gt=0, description="a sag open this long is a level shift, s (ours)"
    )
    reference_s: float = Field(
        60.0, gt=0, description="time constant of the sliding reference, s (after IEC 61000-4-30)"
    )
    spike_mads: float = Field(5.0, gt=0, description="spike above its median, in scaled MAD (ours)")
    spike_a: float = Field(1.0, ge=0, description="spike above its median, at least, A (ours)")
    spike_window_s: float = Field(30.0, gt=0, description="window of the running median, s (ours)")
    burst_s: float = Field(
        2.0, gt=0, description="spikes closer than this form one burst, s (ours)"
    )
    stir_s: float = Field(2.0, gt=0, description="shortest stir, s (ours)")
    stir_factor: float = Field(3.0, gt=1, description="stir mean over rest, factor (ours)")
    stir_a: float = Field(0.5, ge=0, description="stir mean over rest, at least, A (ours)")
    flight_s: float = Field(
        90.0, gt=0, description="shortest flight told by activity alone, s (ours)"
    )
    flight_pause_s: float = Field(20.0, gt=0, description="longest pause within a flight, s (ours)")
    gap_intervals: float = Field(
        3.0, gt=1, description="gap: over this many update intervals (ours)"
    )
    gap_s: float = Field(1.0, gt=0, description="gap: and over this long, s (ours)")
    reserve_pct: float = Field(
        30.0, ge=0, le=100, description="reserve left in a pack at landing, % (cp)"
    )
    share_points: float = Field(
        15.0, gt=0, le=50, description="share of a shared pair, 50 % +/- points (cp)"
    )
    branch_watch_mohm: float = Field(
        8.0, gt=0, description="branch resistance up by: watch, mOhm (ours)"
    )
    branch_watch_pct: float = Field(20.0, gt=0, description="and by, % (ours)")
    branch_over_expected: float = Field(
        1.5, gt=1, description="branch over expected: watch, factor (ours)"
    )
    branch_over_expected_mohm: float = Field(10.0, gt=0, description="and by, mOhm (ours)")
    branch_ground_mohm: float = Field(
        25.0, gt=0, description="branch resistance up by: ground, mOhm (ours)"
    )
    branch_ground_pct: float = Field(75.0, gt=0, description="and by, % (ours)")
    servo_watch_pct: float = Field(
        25.0, gt=0, description="rise per average servo share: watch, % (ours)"
    )
    servo_ground_pct: float = Field(
        60.0, gt=0, description="rise per average servo share: ground, % (ours)"
    )
    pin_a: float = Field(
        3.0, gt=0, description="continuous current of one servo-style connector pin, A (cp)"
    )
    panel_pin_a: float = Field(
        5.0, gt=0, description="continuous current of a panel connector pin, A (cp)"
    )


class Pack(_Model):
    """One pack."""

    name: str
    chemistry: str | None = Field(None, description="lipo, liion, life or nimh")
    cells: int | None = Field(None, gt=0, description="cells in series")
    capacity_mah: float | None = Field(None, gt=0)
    role: str = Field("shared", description="shared or standby")


class Node(_Model):
    """A place fed from another: a remote node, a receiver, or the bus itself."""

    name: str
    fed_from: str | None = None
    mirror: str | None = None
    servos: int | None = Field(None, gt=0, description="how many servos hang on it")


class Aircraft(_Model):
    """What feeds what."""

    name: str = "unnamed"
    inferred: bool = Field(False, description="True where the path was read from the log alone")
    packs: tuple[Pack, ...] = ()
    regulator: str | None = None
    bus: str | None = None
    regulated_v: float | None = Field(None, gt=0, description="regulator set-point, V")
    nodes: tuple[Node, ...] = ()
    limits: Limits = Limits()

    def parent(self, place: str) -> str | None:
        """The place that feeds this one; None for packs, unknown places and a bus on two packs."""
        for node in self.nodes:
            if node.name == place:
                return node.fed_from
        if place == self.bus and len(self.packs) == 1:
            return self.packs[0].name
        return None

    def children(self, place: str) -> tuple[str, ...]:
        """The nodes fed from this place."""
        return tuple(n.name for n in self.nodes if n.fed_from == place)

    def mirror(self, place: str) -> str | None:
        """The like place on the other side, if the aircraft has it."""
        for node in self.nodes:
            if node.name == place and node.mirror is not None:
                return node.mirror
        return None


# Cell voltages: full, nominal, floor under load. Common practice; cell makers' tables.
CELL_V: dict[str, tuple[float, float, float]] = {
    "lipo": (4.20, 3.70, 3.30),
    "liion": (4.20, 3.60, 3.00),
    "life": (3.65, 3.20, 2.80),
    "nimh": (1.40, 1.20, 1.00),
}


def infer_path(log: Log) -> Aircraft:
    """The power path as far as the places of a log tell it.

    Packs are the places named so; the bus is the place named so; every node and receiver with a
    voltage or current of its own is taken to be fed from the bus (common practice, no source: the
    two usual layouts). Nothing is assumed of chemistry, capacity or leads.
    """
    electrical = log.places(Quantity.VOLTAGE, Quantity.CURRENT)
    packs = tuple(
        Pack(name=p)
        for p in log.places(Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED)
        if kind_of_place(p) is PlaceKind.PACK
    )
    bus = next((p for p in electrical if kind_of_place(p) is PlaceKind.BUS), None)
    regulator = next((p for p in electrical if kind_of_place(p) is PlaceKind.REGULATOR), None)
    nodes = tuple(
        Node(
            name=p,
            fed_from=bus if bus is not None else regulator,
            mirror=m if (m := mirror_of(p)) in electrical else None,
        )
        for p in electrical
        if kind_of_place(p) in (PlaceKind.NODE, PlaceKind.RECEIVER)
    )
    return Aircraft(inferred=True, packs=packs, regulator=regulator, bus=bus, nodes=nodes)
