"""One column on its way from text to channel, and how the user addresses it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from telemetry.importer.names.evidence import Shape
from telemetry.importer.names.header import HeaderReading, readings
from telemetry.importer.names.header_cell import Name, take_apart
from telemetry.importer.names.settings import Setting
from telemetry.model.units import Unit

FloatArray = NDArray[np.float64]


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
    shape: Shape = field(
        default_factory=lambda: Shape(0, math.nan, math.nan, math.nan, False, False, False)
    )
    time_role: str = ""
    blank: bool = False


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
