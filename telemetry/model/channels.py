"""The vocabulary: what a column measures (quantity), where (place), in what unit.

A *place* is a point of the power path: a pack, the regulator, the bus, a node in a wing panel, a
receiver, or the surface that a control drives. Places carry canonical names in lower case
("pack 1", "left wing", "node 3"); what the file itself called it is kept beside, as the label.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


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


# What a reading can be, in the canonical unit. Wide on purpose (common practice, no source): a
# model's radio power stays far inside.
POSSIBLE: dict[Quantity, tuple[float, float]] = {
    Quantity.VOLTAGE: (0.0, 100.0),
    Quantity.CELL_VOLTAGE: (0.0, 5.0),
    Quantity.CURRENT: (-500.0, 500.0),
    Quantity.CONSUMED: (0.0, 200_000.0),
    Quantity.REMAINING: (0.0, 200_000.0),
    Quantity.TEMPERATURE: (-60.0, 250.0),
    Quantity.RPM: (0.0, 250_000.0),
    Quantity.LINK: (-150.0, 150.0),
    Quantity.LOST: (0.0, 1e9),
    Quantity.UPTIME: (0.0, 1e9),
    Quantity.POWER: (-50_000.0, 50_000.0),
}
# What a quantity may well come to in flight, in the canonical unit (common practice, no source):
# however quiet a column is, a number of this size is none of its own kind.
SIZE: dict[Quantity, float] = {
    Quantity.VOLTAGE: 10.0,
    Quantity.CELL_VOLTAGE: 4.0,
    Quantity.CURRENT: 20.0,
    Quantity.REMAINING: 100.0,
    Quantity.POWER: 200.0,
    Quantity.RESISTANCE: 1.0,
    Quantity.TEMPERATURE: 30.0,
    Quantity.CONTROL: 100.0,
    Quantity.LINK: 100.0,
    Quantity.LOST: 1000.0,
    Quantity.ALTITUDE: 300.0,
    Quantity.SPEED: 50.0,
    Quantity.RPM: 5000.0,
    Quantity.ACCELERATION: 100.0,
    Quantity.PRESSURE: 1000.0,
}
# Counters, which grow and begin anew, and do nothing else.
COUNTERS = (Quantity.CONSUMED, Quantity.ENERGY, Quantity.UPTIME)
# What flows one way as a rule; where it flows back it does so for longer than one reading.
_ONE_WAY = (Quantity.CURRENT, Quantity.POWER)
# What moves about a middle that is not zero: a servo's pulse about 1,500 us.
_ABOUT_MIDDLE = (Quantity.CONTROL,)
#: No quantity has numbers beyond this, in whatever unit.
NO_NUMBER = 1e100


class Bounds(NamedTuple):
    """What tells a number that was never measured: see :func:`telemetry.numerics.wild.wild`."""

    low: float
    high: float
    size: float | None
    counter: bool
    one_way: bool
    about_middle: bool


def bounds_of(quantity: Quantity, hold: str = "") -> Bounds:
    """The bounds of a quantity, in its canonical unit; ``hold`` as a channel has it."""
    low, high = POSSIBLE.get(quantity, (-NO_NUMBER, NO_NUMBER))
    counter = quantity in COUNTERS and not hold
    one_way, about_middle = quantity in _ONE_WAY, quantity in _ABOUT_MIDDLE
    return Bounds(low, high, SIZE.get(quantity), counter, one_way, about_middle)


class PlaceKind(StrEnum):
    """The part a place plays in the power path."""

    PACK = "pack"
    REGULATOR = "regulator"
    BUS = "bus"
    NODE = "node"
    RECEIVER = "receiver"
    SURFACE = "surface"
    OTHER = "other"


#: The place of a note that is on every place of the aircraft.
EVERY_PLACE = "all"

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

    Any other name is OTHER. Whether such a place is a node, its readings tell
    (:func:`telemetry.aircraft.completed`).
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


def is_drive(name: str) -> bool:
    """Whether a place is the motor or its controller: no servos hang there."""
    return not {"motor", "esc"}.isdisjoint(name.split())


_OTHER_SIDE = {"left": "right", "right": "left", "l": "r", "r": "l"}
# A code of one to three letters, with or without a number: "wl", "rw2".
_CODE = re.compile(r"([a-z]{1,3})(\d*)")


def mirror_of(name: str, places: Collection[str]) -> str | None:
    """The place on the other side among some places: "left wing" for "right wing", "wr" for "wl".

    A side is a word, or an L or R that begins or ends a short code. None where no place, or more
    than one, is called so.
    """
    words = name.split()
    sided = " ".join(_OTHER_SIDE.get(w, w) if len(w) > 1 else w for w in words)
    coded = (
        " ".join([*words[:i], code, *words[i + 1 :]])
        for i, word in enumerate(words)
        for code in _other_codes(word)
    )
    found = {n for n in (sided, *coded) if n != name and n in places}
    return found.pop() if len(found) == 1 else None


def _other_codes(word: str) -> set[str]:
    """A short code with the side that begins or ends it turned round."""
    parts = _CODE.fullmatch(word)
    if parts is None:
        return set()
    code, number = parts.groups()
    first, last = _OTHER_SIDE.get(code[0]), _OTHER_SIDE.get(code[-1])
    turned = [first + code[1:]] if first else []
    turned += [code[:-1] + last] if last else []
    return {t + number for t in turned}


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
    own_word : bool
        True where no known word tells the place: it is what the header has besides.
    looks_like : str
        "voltage" or "current" where the column is not understood and its values go with a supply as
        one does: a voltage that falls with a current of the log, or a current with which one falls.
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
    own_word: bool = False
    looks_like: str = ""
