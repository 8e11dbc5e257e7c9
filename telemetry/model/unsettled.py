"""What a user still has to say of a log's columns, and how that is typed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from telemetry.model.channels import Channel, PlaceKind, Quantity, is_drive, kind_of_place
from telemetry.model.units import UNITS

_SUPPLY = (Quantity.VOLTAGE, Quantity.CURRENT)
# What parts a setting: a place with one of these cannot be typed.
_MARKS = "/[]=\"'"
#: The name of an axis at the end of a column's name, before a unit if there is one.
_AXIS = re.compile(r"(?:^|(?<=[^a-zA-Z]))([xyzw])(?=[^a-zA-Z]*$|\s*[\[(])", re.IGNORECASE)
_ABOVE = (PlaceKind.PACK, PlaceKind.REGULATOR, PlaceKind.BUS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsettled:
    """A column that carries a supply and of which the log does not tell what or where it is.

    Attributes
    ----------
    column : str
        As in the file.
    beside : str
        The column of a voltage without a current, to which this current may belong; "" for a column
        that was not understood at all.
    set_line : str
        The option that settles it.
    quantity : Quantity
        What it may be: a voltage or a current.
    """

    column: str
    beside: str
    set_line: str
    quantity: Quantity = Quantity.CURRENT


def unsettled_supplies(
    channels: Mapping[int, Channel], kind: Callable[[str], PlaceKind] = kind_of_place
) -> tuple[Unsettled, ...]:
    """Supply columns that were not understood, and currents that may belong to a lone voltage.

    Of a current that no voltage shares and of a node's voltage that has no current, one under a
    name that nobody knows, both may be of one node, whose lead then goes unjudged. Alone it is a
    current like any other, and a node may well report its voltage alone.

    Parameters
    ----------
    channels : mapping of int to Channel
        Channels with values other than zero, by their column's number in the file, from 1.
    kind : callable
        The part a place plays, as the aircraft knows it; by its name where there is no aircraft.
    """
    times = Counter(c.column.strip() for c in channels.values())

    def line(number: int, reading: str) -> str:
        title = channels[number].column.strip()
        single = title and times[title] == 1
        return set_option(title if single else f"#{number}", reading, number=number)

    axes = _axes([c.column for c in channels.values() if c.quantity is Quantity.UNKNOWN])
    out = [
        Unsettled(column=c.column, beside="", set_line=line(number, taken[1]), quantity=taken[0])
        for number, c in channels.items()
        if c.quantity is Quantity.UNKNOWN
        and not c.text
        and c.column not in axes
        and (taken := _taken_for(c))
    ]
    supplies = {n: c for n, c in channels.items() if c.quantity in _SUPPLY and c.place}
    has = {(c.quantity, c.place) for c in supplies.values()}
    lone = [
        n
        for n, c in supplies.items()
        if c.quantity is Quantity.VOLTAGE
        and (Quantity.CURRENT, c.place) not in has
        and kind(c.place or "") not in _ABOVE
        and not is_drive(c.place or "")
    ]
    unknown = [n for n in lone if supplies[n].own_word]
    # One of the two has to have a name that nobody knows; two such are asked about first.
    for number, c in sorted(supplies.items(), key=lambda x: not x[1].own_word):
        asked = lone if c.own_word else unknown
        loose = (
            c.quantity is Quantity.CURRENT and not c.hold and (Quantity.VOLTAGE, c.place) not in has
        )
        node = kind_of_place(c.place or "") is PlaceKind.NODE
        if not asked or not loose or not (c.own_word or node):
            continue
        at = max(
            asked, key=lambda n: (not supplies[n].hold, _likeness(supplies[n].column, c.column))
        )
        best = supplies[at]
        unknown = [n for n in unknown if n != at]
        place = (best if c.own_word else c).place or ""
        typed = "PLACE" if set(place) & set(_MARKS) else place
        told, what = (c, "current") if c.own_word else (best, "voltage")
        reading = f"{typed}/{what}[{told.source_unit or told.unit}]"
        settles = line(number if c.own_word else at, reading)
        out.append(Unsettled(column=c.column, beside=best.column, set_line=settles))
    return tuple(out)


def _axes(columns: Sequence[str]) -> set[str]:
    """Columns that differ in an axis only, x, y, z and perhaps w: parts of a vector, no supply."""
    ends = {c: _AXIS.search(c) for c in columns}
    stems = {c: (c[: m.start()], m[1].casefold()) for c, m in ends.items() if m}
    held = {stem: {axis for s, axis in stems.values() if s == stem} for stem, _ in stems.values()}
    return {c for c, (stem, _) in stems.items() if held[stem] >= {"x", "y", "z"}}


def _taken_for(c: Channel) -> tuple[Quantity, str] | None:
    """The supply that an unknown column may be, by rivals, unit or values, and as a setting."""
    # One rival alone was weighed and set aside; of several that fit alike none was chosen.
    for rival in c.rivals if len(c.rivals) > 1 else ():
        words = rival.partition("[")[0].split("/")
        for quantity in _SUPPLY:
            if quantity.value in words:
                return quantity, rival
    unit = UNITS.get(c.source_unit)
    by_unit = {"V": Quantity.VOLTAGE, "A": Quantity.CURRENT}
    found = by_unit.get("" if unit is None else unit.canonical)
    if found is not None:
        return found, f"PLACE/{found}[{c.source_unit}]"
    return (Quantity(c.looks_like), f"PLACE/{c.looks_like}") if c.looks_like else None


def _likeness(a: str, b: str) -> float:
    return SequenceMatcher(None, a.casefold(), b.casefold()).ratio()


def set_option(title: str, *readings: str, number: int | None = None) -> str:
    """The options that settle a column, as they are typed: ``--set 'COLUMN=READING'``.

    Parameters
    ----------
    title : str
        The column's. It comes from a file of anybody: where it holds what a shell would act on
        within any quotation marks, the number stands for it.
    readings : str
        One option for each, joined by "or"; only the first says ``--set``.
    number : int, optional
        The column's, from 1.
    """
    quote = '"' if "'" in title else "'"
    unsafe = quote == '"' and set(title) & set('"$`!\\')
    # "@" and "#" begin what is no name of a column.
    if number is not None and (unsafe or title[:1] in ("@", "#") or not title.isprintable()):
        title, quote = f"#{number}", "'"
    elif unsafe:
        title, quote = "COLUMN", "'"
    return "--set " + " or ".join(f"{quote}{title}={reading}{quote}" for reading in readings)
