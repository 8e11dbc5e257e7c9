"""The parts of an aircraft: leads and plugs, packs, supplies, nodes, servos."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from telemetry.aircraft.base import Record
from telemetry.model.channels import SURFACES

# Cell voltages: full, nominal, floor under load. Common practice; cell makers' tables.
CELL_V: dict[str, tuple[float, float, float]] = {
    "lipo": (4.20, 3.70, 3.30),
    "liion": (4.20, 3.60, 3.00),
    "life": (3.65, 3.20, 2.80),
    "nimh": (1.40, 1.20, 1.00),
}
# Canonical place names are lower case; a profile may write them as it likes.
PlaceName = Annotated[str, StringConstraints(strip_whitespace=True, to_lower=True, min_length=1)]


class Connector(Record):
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


class Lead(Record):
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


class _Dated(Record):
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


class Pack(Record):
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


class Supply(Record):
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


class Node(Record):
    """A place fed from another: a remote node, a receiver, or the bus itself."""

    name: PlaceName = Field(description="place name, such as left wing")
    fed_from: PlaceName | None = Field(None, description="name of the place that feeds it")
    kind: Literal["node", "receiver"] | None = Field(
        None, description="what it is, where its name does not say it"
    )
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

    @property
    def surface(self) -> str | None:
        """The kind of surface it drives, "aileron" of "left aileron"; None where no word tells."""
        return next((s for s in SURFACES if s in self.drives.split()), None)

    @model_validator(mode="after")
    def _stall(self) -> Servo:
        if (self.stall_a is None) != (self.stall_v is None):
            raise ValueError("stall_a and stall_v belong together: the current at which voltage")
        return self
