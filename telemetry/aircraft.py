"""The aircraft: what feeds what, and the limits in force.

Where the user has no profile, :func:`infer_path` reads the path from the places of the log: packs
feed the bus, the bus feeds nodes and receivers. Profiles are read by :mod:`telemetry.profile`.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from telemetry.channels import PlaceKind, Quantity, kind_of_place, mirror_of

if TYPE_CHECKING:
    from telemetry.log import Log


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Limits(_Model):
    """Every threshold of the review in one place.

    Sources: "(cp)" common practice, no source: set it from the data sheet; "after IEC 61000-4-30"
    for the event definition; "ours" a default of this project, with its reason beside it.
    """

    restart_v: float = Field(3.5, gt=0, description="restart level of receivers and units, V (cp)")
    comfort_v: float | None = Field(
        None,
        gt=0,
        description="lowest comfortable servo supply, V; 5.0, or 6.0 on a bus above 7.2 V (cp)",
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
    return_flights: float = Field(
        100.0, ge=1, description="a return level is reached once in this many flights (ours)"
    )
    pin_a: float = Field(
        3.0, gt=0, description="continuous current of one servo-style connector pin, A (cp)"
    )
    panel_pin_a: float = Field(
        5.0, gt=0, description="continuous current of a panel connector pin, A (cp)"
    )


# Canonical place names are lower case; a profile may write them as it likes.
PlaceName = Annotated[str, StringConstraints(strip_whitespace=True, to_lower=True, min_length=1)]


class Connector(_Model):
    """One plug and socket in a lead; its contact resistance counts out and back."""

    kind: Literal["servo", "panel"] = Field(
        "servo", description="form of the plug, for the default pin current"
    )
    pins: int = Field(1, ge=1, le=50, description="pins in parallel for each pole")
    contact_mohm: float | None = Field(
        None, ge=0, description="resistance of one closed contact, mOhm"
    )
    pin_a: float | None = Field(
        None, gt=0, description="continuous current of one pin, A, from the data sheet"
    )


class Lead(_Model):
    """A two-core lead: the current flows out on one core and back on the other."""

    length_m: float = Field(gt=0, le=100, description="one-way length, m")
    awg: int | None = Field(None, ge=0, le=40, description="wire gauge, AWG 0 to 40")
    mm2: float | None = Field(None, ge=0.005, le=100, description="copper cross-section, mm2")
    wires: int = Field(1, ge=1, le=20, description="equal wires in parallel for each pole")
    stranded: bool = Field(True, description="false for solid wire")
    connectors: tuple[Connector, ...] = Field((), description="the plugs along this lead")
    limit_a: float | None = Field(
        None, gt=0, description="continuous current of the wire or its fuse, A"
    )

    @model_validator(mode="after")
    def _one_gauge(self) -> Lead:
        if (self.awg is None) == (self.mm2 is None):
            raise ValueError("a lead needs either awg or mm2, and not both")
        return self


class _Dated(_Model):
    since: date | None = Field(None, description="first day it holds, as 2026-05-14")
    until: date | None = Field(None, description="first day it no longer holds")

    @model_validator(mode="after")
    def _in_order(self) -> _Dated:
        if self.since is not None and self.until is not None and self.since >= self.until:
            raise ValueError(f"until ({self.until}) must lie after since ({self.since})")
        return self

    def holds(self, when: date | None) -> bool:
        """Whether it holds on a day; for None (the day is unknown): whether it still holds."""
        if when is None:
            return self.until is None
        return (self.since is None or self.since <= when) and (
            self.until is None or when < self.until
        )

    def overlaps(self, other: _Dated) -> bool:
        """Whether the two hold on a common day."""
        return (self.until is None or other.since is None or other.since < self.until) and (
            other.until is None or self.since is None or self.since < other.until
        )


class PackLabel(_Dated):
    """Which physical pack was fitted, and when."""

    label: str = Field(min_length=1, description="what is written on the pack")


class Pack(_Model):
    """One pack of the power system: a position in the aircraft, filled by labelled packs."""

    name: PlaceName = Field(description="place name, such as pack 1")
    chemistry: Literal["lipo", "liion", "life", "nimh"] | None = Field(
        None, description="chemistry of the cells"
    )
    cells: int | None = Field(None, gt=0, le=100, description="cells in series")
    parallel: int | None = Field(None, gt=0, le=100, description="cells in parallel")
    capacity_mah: float | None = Field(None, gt=0, description="capacity, mAh")
    role: Literal["shared", "standby"] = Field(
        "shared", description="whether it shares the load or stands by"
    )
    resistance_mohm: float | None = Field(
        None, gt=0, description="internal resistance of the pack, mOhm"
    )
    labels: tuple[PackLabel, ...] = Field((), description="which physical pack, since when")
    lead: Lead | None = Field(None, description="lead from the pack to what it feeds")

    @property
    def label(self) -> str | None:
        """The one physical pack, after :meth:`Aircraft.on`; None where it is not told."""
        return self.labels[0].label if len(self.labels) == 1 else None


class Supply(_Model):
    """A switch, diode or regulator between packs and bus."""

    name: PlaceName = Field(description="place name, such as regulator")
    kind: Literal["switch", "diode", "regulator"] = Field(description="what it is")
    fed_from: tuple[PlaceName, ...] = Field(
        min_length=1, description="names of the packs or supplies that feed it"
    )
    set_point_v: float | None = Field(None, gt=0, description="regulator's set-point, V")
    dropout_v: float | None = Field(
        None, ge=0, description="least voltage across it, V: drop-out or forward drop"
    )
    resistance_mohm: float | None = Field(None, ge=0, description="its own resistance, mOhm")
    limit_a: float | None = Field(None, gt=0, description="highest current it can carry, A")
    lead: Lead | None = Field(None, description="lead from it to what it feeds")

    @model_validator(mode="after")
    def _set_point(self) -> Supply:
        if (self.kind == "regulator") != (self.set_point_v is not None):
            raise ValueError("a regulator, and nothing else, has a set_point_v")
        return self


class Node(_Model):
    """A place fed from another: a remote node, a receiver, or the bus itself."""

    name: PlaceName = Field(description="place name, such as left wing")
    fed_from: PlaceName | None = Field(None, description="name of the place that feeds it")
    mirror: PlaceName | None = Field(None, description="name of the like place on the other side")
    servos: int | None = Field(None, gt=0, description="how many servos hang on it")
    lead: Lead | None = Field(None, description="lead from the place that feeds it")
    restart_v: float | None = Field(
        None, gt=0, description="voltage at which its electronics restart, V"
    )
    comfort_v: float | None = Field(
        None, gt=0, description="lowest comfortable supply of its servos, V"
    )


class Servo(_Dated):
    """What hangs on one output, and which surface it drives, since when."""

    node: PlaceName = Field(description="name of the node or bus it is plugged into")
    output: int = Field(ge=0, le=99, description="number of the output")
    drives: PlaceName = Field(description="surface it drives, such as left aileron")
    count: int = Field(1, ge=1, le=8, description="like servos on this one output (Y lead)")
    stall_a: float | None = Field(None, gt=0, description="stall current of one servo, A")
    stall_v: float | None = Field(
        None, gt=0, description="voltage at which the stall current is given, V"
    )
    moving_a: float | None = Field(None, gt=0, description="current of one servo while it moves, A")

    @model_validator(mode="after")
    def _stall(self) -> Servo:
        if (self.stall_a is None) != (self.stall_v is None):
            raise ValueError("stall_a and stall_v belong together: the current at which voltage")
        return self


class Aircraft(_Model):
    """What feeds what.

    The path is a tree below its root: the bus, or the one pack or supply of an aircraft without a
    bus. Packs feed the bus through the supplies, or directly where there are none. Outputs and
    pack labels are dated: :meth:`on` gives the aircraft as it was on a day.
    """

    name: str = Field("unnamed", min_length=1, description="name of the aircraft")
    inferred: bool = Field(False, description="True where the path was read from the log alone")
    packs: tuple[Pack, ...] = ()
    supplies: tuple[Supply, ...] = ()
    regulator: PlaceName | None = Field(None, description="place name of the regulator")
    bus: PlaceName | None = Field(None, description="place name of the bus")
    regulated_v: float | None = Field(None, gt=0, description="regulator set-point, V")
    nodes: tuple[Node, ...] = ()
    servos: tuple[Servo, ...] = ()
    limits: Limits = Field(Limits(), description="limits of the user's own")

    @model_validator(mode="before")
    @classmethod
    def _regulator_from_supplies(cls, data: Any) -> Any:
        """Let regulators among the supplies name the regulator and the set-point of the bus.

        Of several the highest set-point counts: regulators that feed one bus through diodes hold
        it there.
        """
        supplies = data.get("supplies") if isinstance(data, dict) else None
        if not isinstance(supplies, list | tuple):
            return data
        rows = [dict(s) for s in supplies if isinstance(s, dict | Supply)]
        named = [str(r["name"]) for r in rows if r.get("kind") == "regulator" and "name" in r]
        points = [v for r in rows if isinstance(v := r.get("set_point_v"), float | int) and v > 0]
        found: dict[str, Any] = {}
        if named:
            found["regulator"] = named[0]
        if points:
            found["regulated_v"] = max(points)
        return {**data, **{key: v for key, v in found.items() if data.get(key) is None}}

    def node(self, place: str) -> Node | None:
        """The node of that name."""
        return next((n for n in self.nodes if n.name == place), None)

    def pack(self, place: str) -> Pack | None:
        """The pack of that name."""
        return next((p for p in self.packs if p.name == place), None)

    def supply(self, place: str) -> Supply | None:
        """The switch, diode or regulator of that name."""
        return next((s for s in self.supplies if s.name == place), None)

    def feeders(self, place: str) -> tuple[str, ...]:
        """The places that feed this one; () for packs and unknown places."""
        node, supply = self.node(place), self.supply(place)
        if node is not None and node.fed_from is not None:
            return (node.fed_from,)
        if supply is not None:
            return supply.fed_from
        if place == self.bus:
            return self._ends()
        # A regulator known by name only stands below all packs.
        return tuple(p.name for p in self.packs) if place == self.regulator else ()

    def _ends(self) -> tuple[str, ...]:
        """Where the packs' paths end: the supplies that feed no other, else the packs."""
        inner = {name for s in self.supplies for name in s.fed_from}
        ends = [s.name for s in self.supplies if s.name not in inner]
        return tuple(ends or [p.name for p in self.packs])

    @property
    def root(self) -> str | None:
        """The place below which the tree of nodes hangs; None where the packs join nowhere."""
        if self.bus is not None:
            return self.bus
        if self.regulator is not None and self.supply(self.regulator) is None:
            return self.regulator
        ends = self._ends()
        return ends[0] if len(ends) == 1 else None

    def parent(self, place: str) -> str | None:
        """The place that feeds this one; None for packs, unknown places and a bus on two packs."""
        feeders = self.feeders(place)
        return feeders[0] if len(feeders) == 1 else None

    def way_up(self, place: str, to: str) -> tuple[str, ...]:
        """The places from one up to another that feeds it, both included; () if it does not."""
        ways: list[tuple[str, ...]] = [(place,)]
        for way in ways:  # grows while it is read; no place comes twice in one way
            if way[-1] == to:
                return way
            ways += [(*way, up) for up in self.feeders(way[-1]) if up not in way]
        return ()

    def children(self, place: str) -> tuple[str, ...]:
        """The nodes fed from this place."""
        return tuple(n.name for n in self.nodes if n.fed_from == place)

    def mirror(self, place: str) -> str | None:
        """The like place on the other side, if the aircraft has it; naming it once is enough."""
        node = self.node(place)
        if node is not None and node.mirror is not None:
            return node.mirror
        return next((n.name for n in self.nodes if n.mirror == place), None)

    def lead(self, place: str) -> Lead | None:
        """The lead that feeds a node or the bus, or that leaves a pack or supply."""
        part = self.node(place) or self.supply(place) or self.pack(place)
        return None if part is None else part.lead

    def restart_v(self, place: str) -> float:
        """Voltage at which the electronics of a place restart, V: its own or the aircraft's."""
        node = self.node(place)
        own = None if node is None else node.restart_v
        return self.limits.restart_v if own is None else own

    def comfort_v(self, place: str) -> float | None:
        """Lowest comfortable servo supply of a place, V: its own or the aircraft's, if set."""
        node = self.node(place)
        own = None if node is None else node.comfort_v
        return self.limits.comfort_v if own is None else own

    def servos_at(self, place: str) -> tuple[Servo, ...]:
        """The servos plugged into a place; those of one day only after :meth:`on`."""
        return tuple(s for s in self.servos if s.node == place)

    def on(self, when: date | None) -> Aircraft:
        """The aircraft as it was on a day: the servos and pack labels that held then.

        Parameters
        ----------
        when : date or None
            Day of the log; None where the log has no date: what still holds, is taken.

        Returns
        -------
        Aircraft
            Each pack has at most one label, each output at most one servo, and a node whose
            number of servos was not told has that of its listed servos.
        """
        servos = tuple(s for s in self.servos if s.holds(when))
        counts: dict[str, int] = {}
        for s in servos:
            counts[s.node] = counts.get(s.node, 0) + s.count
        nodes = tuple(
            n.model_copy(update={"servos": counts.get(n.name)}) if n.servos is None else n
            for n in self.nodes
        )
        packs = tuple(
            p.model_copy(update={"labels": tuple(x for x in p.labels if x.holds(when))})
            for p in self.packs
        )
        return self.model_copy(update={"servos": servos, "nodes": nodes, "packs": packs})


# Cell voltages: full, nominal, floor under load. Common practice; cell makers' tables.
CELL_V: dict[str, tuple[float, float, float]] = {
    "lipo": (4.20, 3.70, 3.30),
    "liion": (4.20, 3.60, 3.00),
    "life": (3.65, 3.20, 2.80),
    "nimh": (1.40, 1.20, 1.00),
}


# What a transmitter calls the aircraft in the lines before the header, in seven languages.
_MODEL = frozenset(
    {"model", "model name", "aircraft", "modell", "modellname", "modèle", "modele", "modelo"}
    | {"modello", "modelnaam", "vliegtuig", "letadlo", "název modelu"}
)


def infer_path(log: Log) -> Aircraft:
    """The power path as far as the places of a log tell it.

    Packs are the places named so; the bus is the place named so; every node and receiver with a
    voltage or current of its own is taken to be fed from the bus (common practice, no source: the
    two usual layouts), without one from the regulator, else from the one pack there is. Nothing is
    assumed of chemistry, capacity or leads.
    """
    electrical = log.places(Quantity.VOLTAGE, Quantity.CURRENT)
    packs = tuple(
        Pack(name=p)
        for p in log.places(Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED)
        if kind_of_place(p) is PlaceKind.PACK
    )
    bus = next((p for p in electrical if kind_of_place(p) is PlaceKind.BUS), None)
    regulator = next((p for p in electrical if kind_of_place(p) is PlaceKind.REGULATOR), None)
    feed = bus or regulator or (packs[0].name if len(packs) == 1 else None)
    nodes = tuple(
        Node(
            name=p,
            fed_from=feed,
            mirror=m if (m := mirror_of(p)) in electrical else None,
        )
        for p in electrical
        if kind_of_place(p) in (PlaceKind.NODE, PlaceKind.RECEIVER)
    )
    return Aircraft(
        name=_named_in(log), inferred=True, packs=packs, regulator=regulator, bus=bus, nodes=nodes
    )


def _named_in(log: Log) -> str:
    """The aircraft's name as the lines before the header give it."""
    found = (value.strip() for key, value in log.provenance.preamble if key.casefold() in _MODEL)
    return next((name for name in found if name), "unnamed")
