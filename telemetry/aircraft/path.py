"""The aircraft: what feeds what."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any

from pydantic import Field, model_validator

from telemetry.aircraft.base import Record
from telemetry.aircraft.limits import Limits
from telemetry.aircraft.parts import Lead, Node, Pack, PlaceName, Servo, Supply
from telemetry.model.channels import PlaceKind, is_drive, kind_of_place, mirror_of

#: A supply that rests below this is built for less than the usual servo supply (a four-cell NiMH
#: pack, a 5 V regulator): no default comfort level applies to it. V (common practice, no source).
LOW_SYSTEM_V = 5.5
#: From this on the servos are high-voltage ones, V (common practice, no source).
HIGH_SYSTEM_V = 7.2


class Aircraft(Record):
    """What feeds what.

    The path is a tree below its root: the bus, or the one pack or supply of an aircraft without a
    bus. Packs feed the bus through the supplies, or directly where there are none. Outputs and
    pack labels are dated: :meth:`on` gives the aircraft as it was on a day.
    """

    name: str = Field("unnamed", min_length=1, description="name of the aircraft")
    inferred: bool = Field(False, description="True where the path was read from the log alone")
    added: tuple[PlaceName, ...] = Field(
        (), description="places that no profile lists, taken from the log"
    )
    by_readings: tuple[PlaceName, ...] = Field(
        (), description="bus and packs that no name tells, taken for them by what they read"
    )
    unplaced: tuple[PlaceName, ...] = Field(
        (), description="places of a log without a known supply, of which any may be it"
    )
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

    @model_validator(mode="before")
    @classmethod
    def _bus_from_nodes(cls, data: Any) -> Any:
        """Let nodes that are fed from the bus name it."""
        nodes = data.get("nodes") if isinstance(data, dict) else None
        if not isinstance(nodes, list | tuple) or data.get("bus") is not None:
            return data
        feeds = (n.get("fed_from") for n in nodes if isinstance(n, dict))
        names = (f.strip().lower() for f in feeds if isinstance(f, str))
        bus = next((f for f in names if kind_of_place(f) is PlaceKind.BUS), None)
        return data if bus is None else {**data, "bus": bus}

    def kind(self, place: str) -> PlaceKind:
        """The part a place plays: the one it is listed as; its name tells it only of all others.

        A listed node is a receiver where it or its name says so. A switch or diode is of kind
        OTHER.
        """
        supply, node = self.supply(place), self.node(place)
        if self.pack(place) is not None:
            return PlaceKind.PACK
        if place == self.bus:
            return PlaceKind.BUS
        if place == self.regulator or (supply is not None and supply.kind == "regulator"):
            return PlaceKind.REGULATOR
        named = kind_of_place(place)
        if node is not None:
            is_receiver = (node.kind or named) == PlaceKind.RECEIVER
            return PlaceKind.RECEIVER if is_receiver else PlaceKind.NODE
        return named if supply is None else PlaceKind.OTHER

    def of_motor(self, place: str) -> bool:
        """Whether a place is the drive, not the radio's supply: no servos hang there."""
        return self.kind(place) is PlaceKind.OTHER and is_drive(place)

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
        """Where the packs' paths end: the supplies and packs that feed no other supply."""
        inner = {name for s in self.supplies for name in s.fed_from}
        names = [*(s.name for s in self.supplies), *(p.name for p in self.packs)]
        return tuple(name for name in names if name not in inner)

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

    def feed_path(self, place: str, to: str) -> tuple[str, ...]:
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

    def mirror(self, place: str, among: Collection[str] | None = None) -> str | None:
        """The like place on the other side, as it is listed; naming it once is enough.

        Parameters
        ----------
        place : str
        among : collection of str, optional
            The places that count. Where none is listed, the names of these tell it.
        """
        node = self.node(place)
        found = None if node is None else node.mirror
        found = found or next((n.name for n in self.nodes if n.mirror == place), None)
        if among is None:
            return found
        found = found or mirror_of(place, among)
        return found if found in among and found != place else None

    def lead(self, place: str) -> Lead | None:
        """The lead that feeds a node or the bus, or that leaves a pack or supply."""
        part = self.node(place) or self.supply(place) or self.pack(place)
        return None if part is None else part.lead

    def restart_v(self, place: str) -> float:
        """Voltage at which the electronics of a place restart, V: its own or the aircraft's."""
        node = self.node(place)
        own = None if node is None else node.restart_v
        return self.limits.restart_v if own is None else own

    def comfort_v(self, place: str, rest_v: float | None = None) -> float | None:
        """Lowest comfortable servo supply of a place, V: its own, the aircraft's, or the usual one.

        Parameters
        ----------
        place : str
        rest_v : float or None
            What its voltage rests at, which tells the usual one. The set-point of a regulator
            tells it of a supply that is too low to reach it.

        Returns
        -------
        float or None
            None where nothing is set and the place rests below 5.5 V: such a system is built for
            less than the usual level, and only its data sheets tell by how much.
        """
        node = self.node(place)
        own = None if node is None else node.comfort_v
        own = self.limits.comfort_v if own is None else own
        rest = max(rest_v or 0.0, self.regulated_v or 0.0)
        if own is not None or rest < LOW_SYSTEM_V:
            return own
        return 6.0 if rest >= HIGH_SYSTEM_V else 5.0

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
