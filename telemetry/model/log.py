"""Log: one imported file, as tables plus the facts of where they came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from telemetry.model.brief import Facts, as_html, as_text, some
from telemetry.model.channels import Channel, Quantity

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What was read, how, and what was lost on the way.

    Attributes
    ----------
    file : str
        Name of the file as given by the user (joined files: the first).
    sha256 : str
        Of the file's bytes (joined files: of the concatenation of their digests).
    size_bytes : int
    rows : int
        Data rows read. ``rows + rows_refused`` is the number of data rows in the file, always.
    rows_refused : int
        Rows that could not be kept, each for a reason named in ``notes``.
    refused_lines : tuple of int
        Line numbers (from 1) of the first refused rows, at most 20.
    encoding, separator, decimal, layout : str
        As found or as forced. ``layout`` is "wide" or "long".
    header_line : int or None
        Line of the (name) header row, from 1; None where the file has none.
    header : str
        Fingerprint of the header, by which column maps know it; "" where there is none.
    start : str or None
        ISO 8601 date and time of the first row, the date alone where only the day is known; None
        where the file has no date.
    start_source : str
        Where the start came from ("column 'Date'", "preamble line 2", "").
    clock_s : float
        What the file's own clock showed at the first row, s (an elapsed time, a time of day);
        NaN where it has none. Tells whether another file runs on from this one.
    time_form : str
        How time was read, in words ("hh:mm:ss.fff in column 'Time'").
    row_s : float
        Median step between rows, s.
    recordings : tuple of (float, float)
        Start and end (s from the first row) of each recording in the file; more than one where
        the clock started again or a header was repeated.
    preamble : tuple of (str, str)
        Key and value lines before the header (model, date, firmware).
    packs : str or None
        Label of the packs that the file names; None where it names none.
    notes : tuple of str
        What the importer wants the user to know: losses, conversions, decisions. One sentence each.
    """

    file: str
    sha256: str
    size_bytes: int
    rows: int
    rows_refused: int = 0
    refused_lines: tuple[int, ...] = ()
    encoding: str = "utf-8"
    separator: str = ","
    decimal: str = "."
    layout: str = "wide"
    header_line: int | None = 1
    header: str = ""
    start: str | None = None
    start_source: str = ""
    clock_s: float = float("nan")
    time_form: str = ""
    row_s: float = float("nan")
    recordings: tuple[tuple[float, float], ...] = ()
    preamble: tuple[tuple[str, str], ...] = ()
    packs: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def has_time_of_day(self) -> bool:
        """Whether ``start`` tells more than the day (ISO 8601: a "T" parts date and time)."""
        return self.start is not None and "T" in self.start


def _no_words() -> pd.DataFrame:
    import pandas as pd  # what only names a log does without it

    return pd.DataFrame()


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """One imported file.

    Attributes
    ----------
    frame : pandas.DataFrame
        float64 columns named by ``Channel.key``; index ``time_s``, seconds from the first row,
        never decreasing. NaN where the file has no value in that row. Values are as in the file
        (a held value repeats), converted to the channel's unit.
    text : pandas.DataFrame
        Columns of words, same index.
    channels : tuple of Channel
        Every column of the file, time columns included (those have no column in ``frame``).
    provenance : Provenance
    """

    frame: pd.DataFrame
    channels: tuple[Channel, ...]
    provenance: Provenance
    text: pd.DataFrame = field(default_factory=_no_words)

    @property
    def time_s(self) -> FloatArray:
        """Time of each row, s from the first row, shape (rows,)."""
        return self.frame.index.to_numpy(dtype=np.float64)

    @property
    def duration_s(self) -> float:
        """Time from the first row to the last, s; 0 where there is no row."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self.frame) else 0.0

    def __repr__(self) -> str:
        return as_text(f"Log {self.provenance.file}", self._facts())

    def _repr_html_(self) -> str:
        return as_html(f"Log {self.provenance.file}", self._facts())

    def _facts(self) -> Facts:
        when = self.provenance.start or "no date"
        unread = sum(c.quantity is Quantity.UNKNOWN for c in self.channels)
        held = f"{len(self.frame.columns)} of numbers, {len(self.text.columns)} of words"
        return (
            ("recorded", f"{when}, {self.duration_s:.1f} s, {len(self.frame)} rows"),
            ("columns", f"{held}; {unread} not understood"),
            ("places", some(dict.fromkeys(c.place for c in self.channels if c.place is not None))),
        )

    def select(
        self, quantity: Quantity, place: str | None = None, *, hold: str = ""
    ) -> tuple[Channel, ...]:
        """Channels of one quantity (at one place, if given), in the file's order."""
        return tuple(
            c
            for c in self.channels
            if c.quantity is quantity
            and c.hold == hold
            and not c.text
            and (place is None or c.place == place)
            and c.key in self.frame.columns
        )

    def channel(self, quantity: Quantity, place: str, *, hold: str = "") -> Channel | None:
        """The channel of a quantity at a place; the first where the file has several copies."""
        found = self.select(quantity, place, hold=hold)
        return found[0] if found else None

    def places(self, *quantities: Quantity) -> tuple[str, ...]:
        """Places that have one of these quantities, in the file's order, without repeats."""
        seen: dict[str, None] = {}
        for c in self.channels:
            if c.quantity in quantities and c.place is not None and c.key in self.frame.columns:
                seen.setdefault(c.place)
        return tuple(seen)

    def values(self, key: str) -> FloatArray:
        """Values of one column row by row, NaN where the row has none, shape (rows,)."""
        return self.frame[key].to_numpy(dtype=np.float64)
