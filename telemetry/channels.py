"""The vocabulary: what a column measures (quantity), where (place), in what unit.

A *place* is a point of the power path: a pack, the regulator, the bus, a node in a wing panel, a
receiver, or the surface that a control drives. Places carry canonical names in lower case
("pack 1", "left wing", "node 3"); what the file itself called it is kept beside, as the label.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What a column measures. The canonical unit stands beside each."""

    TIME = "time"  # s
    VOLTAGE = "voltage"  # V
    CELL_VOLTAGE = "cell-voltage"  # V, one cell of a pack
    CURRENT = "current"  # A, positive when drawn
    CONSUMED = "consumed"  # mAh, a counter
    REMAINING = "remaining"  # % or mAh left, as the unit counts it
    ENERGY = "energy"  # Wh, a counter
    POWER = "power"  # W
    RESISTANCE = "resistance"  # Ohm
    TEMPERATURE = "temperature"  # degC
    CONTROL = "control"  # %, us or deg: what was commanded at a surface
    LINK = "link"  # dBm, dB or %: quality of the radio link
    LOST = "lost"  # count of lost packets or dropouts of the radio link
    UPTIME = "uptime"  # s since a unit started
    ALTITUDE = "altitude"  # m
    SPEED = "speed"  # m/s
    RPM = "rpm"  # rpm
    ACCELERATION = "acceleration"  # g or m/s2
    PRESSURE = "pressure"  # hPa
    STATUS = "status"  # text or number naming a state
    COUNT = "count"  # a plain row or sequence number
    UNKNOWN = "unknown"


CANONICAL_UNIT: dict[Quantity, str] = {
    Quantity.TIME: "s",
    Quantity.VOLTAGE: "V",
    Quantity.CELL_VOLTAGE: "V",
    Quantity.CURRENT: "A",
    Quantity.CONSUMED: "mAh",
    Quantity.ENERGY: "Wh",
    Quantity.POWER: "W",
    Quantity.RESISTANCE: "Ohm",
    Quantity.TEMPERATURE: "degC",
    Quantity.UPTIME: "s",
    Quantity.ALTITUDE: "m",
    Quantity.SPEED: "m/s",
    Quantity.RPM: "rpm",
}


class PlaceKind(StrEnum):
    """The part a place plays in the power path."""

    PACK = "pack"
    REGULATOR = "regulator"
    BUS = "bus"
    NODE = "node"
    RECEIVER = "receiver"
    SURFACE = "surface"
    OTHER = "other"


SURFACES: tuple[str, ...] = (
    "aileron",
    "elevator",
    "rudder",
    "throttle",
    "flap",
    "spoiler",
    "airbrake",
    "canard",
    "gear",
    "brake",
)

_NODE_WORDS = frozenset(
    {"wing", "panel", "tail", "fuselage", "node", "fin", "stab", "nose", "boom"}
)


def kind_of_place(name: str) -> PlaceKind:
    """The part a canonical place name plays: "pack 2" is a pack, "left wing" a node.

    A servo-carrying place that is none of the known parts counts as OTHER: it is reviewed by
    itself and takes no part in the power path until the profile says what feeds it.
    """
    words = name.split()
    if not words:
        return PlaceKind.OTHER
    if words[0] == "pack":
        return PlaceKind.PACK
    if words[0] in ("bus", "regulator", "receiver"):
        return PlaceKind(words[0])
    if any(re.sub(r"\d+$", "", word) in _NODE_WORDS for word in words):
        return PlaceKind.NODE
    if any(word in SURFACES for word in words):
        return PlaceKind.SURFACE
    return PlaceKind.OTHER


def mirror_of(name: str) -> str | None:
    """The place on the other side: "left wing" for "right wing"; None where there is no side."""
    words = name.split()
    other = {"left": "right", "right": "left"}
    if not any(word in other for word in words):
        return None
    return " ".join(other.get(word, word) for word in words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One column of a log and how it was read.

    Attributes
    ----------
    key : str
        Column in ``Log.frame`` (numbers) or ``Log.text`` (words): "left wing/current".
    column : str
        The header text exactly as in the file.
    quantity : Quantity
    place : str or None
        Canonical place name; None where the quantity belongs to no place (altitude).
    label : str
        The file's own words for the place, shown to the user.
    unit : str
        Unit of the values in the frame (the canonical one where the quantity has one).
    source_unit : str
        Unit as the file prints it, "" where it names none.
    factor, offset : float
        ``value in frame = value in file * factor + offset``.
    hold : str
        "" for plain readings, "min" or "max" for a unit's own minimum- or maximum-hold.
    cell : int or None
        Number of the cell for CELL_VOLTAGE.
    reason : str
        Why it was read so, one line.
    score : float
        How well the reading fits, 0 to 1.
    rivals : tuple of str
        Other readings that fit about as well, as ``place/quantity[unit]``; empty when settled.
    text : bool
        True where the values are words and live in ``Log.text``.
    """

    key: str
    column: str
    quantity: Quantity
    place: str | None
    label: str = ""
    unit: str = ""
    source_unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    hold: str = ""
    cell: int | None = None
    reason: str = ""
    score: float = 1.0
    rivals: tuple[str, ...] = ()
    text: bool = False
