"""One column on its way from text to channel, and how the user addresses it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from telemetry.importer.names.evidence import Shape, shape_of
from telemetry.importer.names.header import HeaderReading, readings
from telemetry.importer.names.header_cell import Name, take_apart
from telemetry.importer.names.settings import Setting
from telemetry.model.channels import Channel, Quantity
from telemetry.model.units import Unit
from telemetry.numerics.wild import sound

FloatArray = NDArray[np.float64]
# Of these the title is the key.
_BY_TITLE = (Quantity.UNKNOWN, Quantity.STATUS, Quantity.COUNT, Quantity.TIME)


@dataclass(slots=True, kw_only=True)
class LogColumn:
    """One column on its way from text to channel.

    Attributes
    ----------
    index : int
    name : str
        Header text exactly as in the file, "" without a header.
    title : str
        Unique name that the user addresses it by.
    apart : Name
    numbers : ndarray or None
        As in the file; None for a column of words.
    text : pyarrow strings or None
    cell_unit : Unit or None
        Printed in the cells.
    setting : Setting or None
    readings : tuple of HeaderReading
    shape : Shape
    time_role : str
        "time", "date" or "fraction" for the columns of the clock.
    blank : bool
        True where no cell holds anything.
    """

    index: int
    name: str
    title: str
    apart: Name
    numbers: FloatArray | None = None
    text: pa.ChunkedArray | None = None
    cell_unit: Unit | None = None
    setting: Setting | None = None
    setting_from: str = ""
    readings: tuple[HeaderReading, ...] = ()
    shape: Shape = field(default_factory=lambda: shape_of(np.empty(0)))
    time_role: str = ""
    blank: bool = False


@dataclass(slots=True, kw_only=True)
class Resolved:
    """A column's channel and its values in the channel's unit.

    Attributes
    ----------
    channel : Channel
    values : ndarray or None
        None where the column has no place in the frame (words, time, blank, ignored).
    """

    channel: Channel
    values: FloatArray | None

    @property
    def sound(self) -> FloatArray:
        """The values without wild ones, for what they tell of the column."""
        assert self.values is not None
        return sound(self.values, self.channel.quantity, self.channel.hold)


def titles(names: Sequence[str]) -> list[str]:
    """Unique names to address columns by: "Extra", "Extra#2", "column 5" without a header.

    Parameters
    ----------
    names : sequence of str
        Header texts.
    """
    seen: dict[str, int] = defaultdict(int)
    out = []
    for i, name in enumerate(names):
        bare = " ".join(name.split())
        if not bare:
            out.append(f"column {i + 1}")
            continue
        seen[bare] += 1
        out.append(bare if seen[bare] == 1 else f"{bare}#{seen[bare]}")
    return out


def make_column(
    index: int, name: str, title: str, unit_text: str = "", sensor: str = ""
) -> LogColumn:
    """A column with its name taken apart.

    Parameters
    ----------
    index : int
    name, title, unit_text, sensor : str
        Cells of the header rows.
    """
    apart = take_apart(" ".join(name.split()), unit_text, sensor)
    return LogColumn(index=index, name=name, title=title, apart=apart, readings=readings(apart))


def name_keys(columns: Sequence[LogColumn], out: list[Resolved], notes: list[str]) -> None:
    """Give every channel the key of its column in the frame: what it is, else how it is titled.

    Parameters
    ----------
    columns : sequence of LogColumn
    out : list of Resolved
        Changed in place.
    notes : list of str
        Which columns are copies of one value is added to it.
    """
    used: dict[str, int] = {}
    copies: dict[str, list[str]] = defaultdict(list)
    plain = {
        (o.channel.quantity, o.channel.place)
        for o in out
        if not o.channel.hold and o.channel.place is not None
    }
    for column, item in zip(columns, out, strict=True):
        channel = item.channel
        if channel.hold == "mean" and (channel.quantity, channel.place) not in plain:
            channel = replace(channel, hold="")
        if channel.quantity in _BY_TITLE or channel.text:
            key = column.title
        else:
            parts = [channel.place or "", channel.quantity.value, channel.hold,
                     "" if channel.cell is None else str(channel.cell)]  # fmt: skip
            key = "/".join(p for p in parts if p)
            if item.values is not None and channel.place is not None:
                copies[key].append(column.title)
        used[key] = used.get(key, 0) + 1
        if used[key] > 1:
            base, number = key, used[key]
            while f"{base}/{number}" in used:
                number += 1
            key = f"{base}/{number}"
            used[key] = 1
        item.channel = replace(channel, key=key)
    for key, names in copies.items():
        if len(names) > 1:
            notes.append(
                f"{len(names)} columns are read as {key} ("
                + ", ".join(f"'{n}'" for n in names)
                + "): taken as copies of one value; the first is used"
            )
