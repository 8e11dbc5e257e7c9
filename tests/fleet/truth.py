"""What is true of a season: the record that a generator of seasons gives with its files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

HEALTHY = "healthy"
FAULTS = (
    "servo-binding",  # a gear, a bearing or a linkage runs hard
    "servo-silent",  # a servo dies, or its plug is out
    "servo-heating-wing",  # a servo draws more and more as it warms
    "servo-heating-tail",
    "connector",  # a lead or plug grows
    "contact",  # a contact opens for moments
    "packs-ageing",  # all packs alike
    "pack-weak",  # one of the packs flown
    "pack-set-weak",  # one of the sets that take turns
    "supply-dips",  # the whole supply falls for moments
    "regulator-droop",
    "sensor-gain",
    "sensor-offset",
    "pack-out",  # one of two packs gives nothing any more
)
KINDS = (HEALTHY, *FAULTS)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """A season as it was flown.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    aircraft : str
        Its type, such as "tug".
    place : str
        The faulty place in the words of the log's header; "" in a healthy season.
    columns : tuple of str
        Headers of the columns of that place, and of others that may rightly be accused (of packs
        that age together each pack, and the bus): a bench asks which places the program read them
        as.
    servo : str
        What the faulty servo drives, such as "aileron"; "" where none is faulty.
    onset : int or None
        First flight, from 1, with the fault.
    gone_at : int or None
        First flight without it again, for good.
    visible_from : int or None
        First flight whose logged samples show it: at five standard errors and above the limit
        that the program states for it; None where none does.
    visible : tuple of int
        All such flights.
    shape : str
        How it came: "step", "exponential", ...
    files : tuple of Path
        The logs, in the order flown.
    """

    kind: str
    aircraft: str
    place: str = ""
    columns: tuple[str, ...] = ()
    servo: str = ""
    onset: int | None = None
    gone_at: int | None = None
    visible_from: int | None = None
    visible: tuple[int, ...] = ()
    shape: str = ""
    files: tuple[Path, ...] = ()
