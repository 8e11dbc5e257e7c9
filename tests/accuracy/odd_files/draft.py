"""A log on its way to a file: columns with cells, header rows, lines, bytes.

Each oddity alters a draft at its own stage: names, values, time, structure, encoding. What the
truth of a column is, in the rows of the file, goes with it.
"""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.accuracy.odd_files.flight import Flight, FloatArray
from tests.accuracy.odd_files.words import words_of

#: Units as files print them, beside what one is in the unit of the truth.
FACTORS = {
    "V": 1.0, "mV": 1e-3, "cV": 1e-2, "dV": 0.1, "10 mV": 1e-2, "A": 1.0, "mA": 1e-3, "cA": 1e-2,
    "dA": 0.1, "10 mA": 1e-2, "mAh": 1.0, "Ah": 1e3, "As": 1 / 3.6, "degC": 1.0, "0.1 degC": 0.1,
    "%": 1.0, "m": 1.0, "ft": 0.3048, "m/s": 1.0, "km/h": 1 / 3.6, "s": 1.0, "dBm": 1.0, "": 1.0,
}  # fmt: skip
#: Units that a header may show as a word for what the values truly are.
PRINTED = {"degC": "°C", "0.1 degC": "0.1 °C"}


@dataclass
class Column:
    """One column of the file.

    Attributes
    ----------
    quantity, place : str
        The truth; "time" for a clock, "junk" for what has no meaning.
    values : ndarray, shape (rows,)
        What a reader should find, in ``unit`` of the truth; NaN where the file has no true value.
    step : float
        Resolution in the unit of the truth.
    unit : str
        In which the file writes the numbers, a key of FACTORS.
    shows_unit : bool
        Whether the header tells it.
    decimals : int
    name : str
    cells : list of str
    knowable : bool
        False where nobody could tell what it is; then "not understood" and a question are right.
    sign : float
        -1 where the file writes what is drawn as a negative number.
    written : str
        The unit as the file spells it, where that is odd.
    """

    quantity: str
    place: str
    values: FloatArray
    step: float
    unit: str = ""
    shows_unit: bool = True
    decimals: int = 2
    name: str = ""
    cells: list[str] = field(default_factory=list)
    knowable: bool = True
    sign: float = 1.0
    written: str = ""

    def render(self, decimal: str = ".") -> None:
        """Write the values as cells, in the column's unit."""
        scaled = self.sign * self.values / FACTORS[self.unit]
        text = [f"{v:.{self.decimals}f}" if np.isfinite(v) else "" for v in scaled]
        self.cells = [x.replace(".", decimal) for x in text]

    def in_unit(self, unit: str) -> None:
        """Write in another unit from now on, as finely as before."""
        self.decimals = max(0, round(-np.log10(self.step / FACTORS[unit]) + 0.3))
        self.unit = unit

    @property
    def printed_unit(self) -> str:
        return self.written or PRINTED.get(self.unit, self.unit)


@dataclass
class Draft:
    """A file that is being written.

    Attributes
    ----------
    columns : list of Column
        In the order of the file, clocks too.
    time_s : ndarray, shape (rows,)
        True times of the rows.
    time_tolerance_s : float
        What the file's clock leaves open.
    expects : str
        "read"; "asked" where nobody could know and a question is the right answer; "either" where
        only the values could tell, so that a question is as right.
    """

    flight: Flight
    rng: np.random.Generator
    columns: list[Column]
    time_s: FloatArray
    time_tolerance_s: float
    sep: str = ","
    decimal: str = "."
    newline: str = "\n"
    expects: str = "read"
    unit_style: str = "[]"
    header: list[list[str]] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    before: list[str] = field(default_factory=list)
    between: list[str] = field(default_factory=list)
    inserts: dict[int, list[str]] = field(default_factory=dict)
    after: list[str] = field(default_factory=list)
    edits: list[Callable[[str], str]] = field(default_factory=list)
    encoding: str = "utf-8"
    ending: str = ".csv"
    pack: str = ""
    files: dict[str, bytes] | None = None
    by_name: bool = False
    quote: Callable[[str], str] | None = None
    timed: bool = False
    lenient: set[int] = field(default_factory=set)

    def of(self, *quantities: str) -> list[Column]:
        return [c for c in self.columns if c.quantity in quantities]

    def data(self) -> list[Column]:
        return [c for c in self.columns if c.quantity not in ("time", "junk")]

    def one(self, *quantities: str) -> Column:
        """One column of these quantities, drawn."""
        found = self.of(*quantities)
        return found[int(self.rng.integers(len(found)))]

    def set_clock(self, *clocks: tuple[str, list[str]]) -> None:
        """Put other time columns in the place of those there are."""
        rest = [c for c in self.columns if c.quantity != "time"]
        new = [clock(name, cells) for name, cells in clocks]
        self.columns = [*new, *rest]
        self.timed = True

    def lay_out(self) -> None:
        """Names and cells as rows, from which the structure's oddities go on."""
        self.header = [[titled(c, self.unit_style) for c in self.columns]]
        self.rows = [list(row) for row in zip(*(c.cells for c in self.columns), strict=True)]

    def line(self, cells: list[str]) -> str:
        quote = self.quote or (lambda x: '"' + x.replace('"', '""') + '"' if (
            self.sep in x or '"' in x or "\n" in x) else x)  # fmt: skip
        return self.sep.join(quote(x) for x in cells)

    def text(self) -> str:
        lines = [*self.before, *(self.line(h) for h in self.header), *self.between]
        for k, row in enumerate(self.rows):
            lines += self.inserts.get(k, [])
            lines.append(self.line(row))
        text = "\n".join([*lines, *self.after]) + "\n"
        for edit in self.edits:
            text = edit(text)
        return text.replace("\n", self.newline)

    def written(self) -> dict[str, bytes]:
        """Names and contents of the files."""
        if self.files is not None:
            return self.files
        data = self.text().encode(self.encoding)
        name = f"log{self.ending}"
        if self.pack == "gz":
            return {f"{name}.gz": gzip.compress(data, mtime=0)}
        if self.pack == "zip":
            return {"log.zip": zipped({name: data})}
        return {name: data}

    def keep_rows(self, keep: slice | np.ndarray) -> None:
        """Drop rows of the truth, before anything is laid out."""
        index = np.arange(len(self.time_s))[keep]
        self.time_s = self.time_s[index]
        for c in self.columns:
            c.values = c.values[index]
            c.cells = [c.cells[i] for i in index]


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def clock(name: str, cells: list[str]) -> Column:
    return Column("time", "", np.full(len(cells), np.nan), 1.0, name=name, cells=cells,
                  shows_unit=False)  # fmt: skip


def junk(name: str, cells: list[str]) -> Column:
    return Column("junk", "", np.full(len(cells), np.nan), 1.0, name=name, cells=cells,
                  shows_unit=False)  # fmt: skip


def titled(c: Column, style: str) -> str:
    """A header cell: the name, and the unit in one of the ways it is written."""
    if not c.shows_unit or not c.unit or style == "none":
        return c.name
    unit = c.printed_unit
    return {
        "[]": f"{c.name} [{unit}]", "()": f"{c.name} ({unit})", "/": f"{c.name}/{unit}",
        " ": f"{c.name} {unit}", ",": f"{c.name}, {unit}", "_": f"{c.name}_{unit}",
        "()tight": f"{c.name}({unit})", "in": f"{c.name} in {unit}", "first": f"[{unit}] {c.name}",
    }[style]  # fmt: skip


def start(flight: Flight, rng: np.random.Generator, language: str = "english") -> Draft:
    """A plain log of a flight: one header row, commas, seconds, every unit told."""
    columns = []
    words = words_of(language)
    for s in flight.series:
        decimals = max(0, round(-np.log10(s.step) + 0.3))
        column = Column(s.quantity, s.place, s.values.copy(), s.step, s.unit, decimals=decimals)
        column.name = plain_name(column, words)
        columns.append(column)
    seconds = clock(words["time"], [f"{t:.2f}" for t in flight.time_s])
    seconds.unit, seconds.shows_unit = "s", True
    draft = Draft(flight=flight, rng=rng, columns=[seconds, *columns], time_s=flight.time_s,
                  time_tolerance_s=0.006)  # fmt: skip
    for c in columns:
        c.render()
    return draft


def place_words(place: str, words: dict[str, str]) -> str:
    """A place in a language: "left wing outer", "pack 2"."""
    if place in words:
        return words[place]
    head, _, tail = place.rpartition(" ")
    if tail == "outer":
        return f"{words[head]} {words['outer']}"
    return f"{words[head]} {tail}"


def plain_name(c: Column, words: dict[str, str]) -> str:
    """Place and quantity in words."""
    if c.quantity == "unknown":
        return c.place
    if c.quantity == "control":
        return place_words(c.place, words)
    quantity = words[c.quantity]
    return f"{place_words(c.place, words)} {quantity}" if c.place else quantity
