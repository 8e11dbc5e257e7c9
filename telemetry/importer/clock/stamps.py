"""Columns of time stamps to numbers: "14:03:22,250", "2024-05-01T12:00:00Z", "01.05.24 3:04 PM".

Stamps of one length mostly have one shape (see `telemetry.importer.clock.grammar`). The shape is
read off the first of them and all others are decoded by it in one sweep over their bytes; what
does not fit gets the next shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.clock.grammar import StampShape, stamp_shape

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_MOST_SHAPES = 200
#: Longest cell that is looked at, bytes.
_LONGEST = 96
_BLANKS = ["", "-", "--", "---", "n/a", "N/A", "nan", "NaN", "null", "none", "None", "?"]
#: Two digits of a year from here on are of the last century (POSIX, strptime "%y": from 69 on).
_CENTURY = 70


@dataclass(slots=True, kw_only=True)
class Stamps:
    """A column of time stamps taken apart. Arrays have shape (rows,), -1 where a part is missing.

    Attributes
    ----------
    year, month, day : ndarray of int
        -1 where the order of day, month and year is open.
    first, second, third : ndarray of int
        The three numbers of such a date as they stand, -1 where there is nothing to settle.
    mark : ndarray of int
        Code of the character between them, 0 for none.
    hour, minute, second_ : ndarray of int
        ``second_`` is -1 in stamps of two parts ("12:34"); days gone by are in ``hour``.
    fraction : ndarray of float
        Of a second, 0 where there is none.
    afternoon : ndarray of int
        1 after noon, 0 before, -1 where nothing tells, 2 where a word does that is not known.
    zone_s : ndarray of float
        Offset from UTC, NaN without.
    negative : ndarray of bool
    elapsed : ndarray of bool
        True where the stamp says that it counts from a start.
    bad : ndarray of bool
        Filled cells that are no stamp.
    blank : ndarray of bool
    """

    year: IntArray
    month: IntArray
    day: IntArray
    first: IntArray
    second: IntArray
    third: IntArray
    mark: IntArray
    hour: IntArray
    minute: IntArray
    second_: IntArray
    fraction: FloatArray
    afternoon: IntArray
    zone_s: FloatArray
    negative: BoolArray
    elapsed: BoolArray
    bad: BoolArray
    blank: BoolArray

    @property
    def has_date(self) -> bool:
        """True where most filled cells carry a date."""
        return _mostly((self.year >= 0) | (self.first >= 0), ~self.blank)

    @property
    def has_clock(self) -> bool:
        """True where most filled cells carry a time of day (or an elapsed time)."""
        return _mostly(self.hour >= 0, ~self.blank)

    @property
    def two_part(self) -> bool:
        """True for "12:34" and "12:34.5", which may be hours or minutes first."""
        filled = ~self.blank & ~self.bad
        return bool(filled.any() and np.all(self.second_[filled & (self.hour >= 0)] < 0))


def _mostly(mask: BoolArray, among: BoolArray) -> bool:
    return bool(among.any() and np.mean(mask[among]) > 0.5)


def parse_stamps(column: pa.ChunkedArray) -> Stamps:
    """Take a column of text apart.

    Parameters
    ----------
    column : pyarrow string column

    Returns
    -------
    Stamps
    """
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    array = pc.utf8_trim_whitespace(array.fill_null(""))
    rows = len(array)
    out = no_stamps(rows)
    offsets = np.frombuffer(array.buffers()[1], dtype=np.int32, count=rows + 1 + array.offset)
    offsets = offsets[array.offset :].astype(np.int64)
    buffer = array.buffers()[2]
    data = (
        np.frombuffer(buffer, dtype=np.uint8)
        if buffer is not None and buffer.size
        else np.zeros(1, dtype=np.uint8)
    )
    lengths = np.diff(offsets)
    out.blank = np.asarray(pc.is_in(array, pa.array(_BLANKS)).to_numpy(zero_copy_only=False))
    todo = ~out.blank & (lengths <= _LONGEST)
    out.bad = ~out.blank
    shapes = 0
    for length in np.unique(lengths[todo]):
        rows_here = np.flatnonzero(todo & (lengths == length))
        while len(rows_here) and shapes < _MOST_SHAPES:
            shapes += 1
            text = array[int(rows_here[0])].as_py()
            if len(rows_here) == rows:
                # All cells have this length: their bytes lie side by side.
                whole = data[offsets[0] : offsets[0] + rows * length]
                matrix = whole.reshape(rows, length)
            else:
                matrix = data[offsets[rows_here][:, None] + np.arange(length)]
            fits = _decode(text, matrix, rows_here, out)
            rows_here = rows_here[~fits]
    return out


def no_stamps(rows: int) -> Stamps:
    """So many rows of which nothing is known.

    Parameters
    ----------
    rows : int
    """

    def minus() -> IntArray:
        return np.full(rows, -1, dtype=np.int64)

    def no() -> BoolArray:
        return np.zeros(rows, dtype=bool)

    return Stamps(
        year=minus(), month=minus(), day=minus(), first=minus(), second=minus(), third=minus(),
        mark=minus(), hour=minus(), minute=minus(), second_=minus(), fraction=np.zeros(rows),
        afternoon=minus(), zone_s=np.full(rows, np.nan), negative=no(), elapsed=no(), bad=no(),
        blank=no(),
    )  # fmt: skip


def _decode(text: str, matrix: NDArray[np.uint8], rows: IntArray, out: Stamps) -> BoolArray:
    """Decode the rows that have the shape of this text; True for those (and the text itself)."""
    shape = stamp_shape(text)
    literal = np.frombuffer(text.encode(), dtype=np.uint8)
    free = np.zeros(len(literal), dtype=bool)
    for begin, end in shape.digits.values() if shape is not None else ():
        free[begin:end] = True
    fits = np.ones(len(matrix), dtype=bool)
    for i in range(len(literal)):
        column = matrix[:, i]
        # Unsigned: below "0" wraps far above 9.
        fits &= (column - np.uint8(48)) <= 9 if free[i] else column == literal[i]
    if shape is not None:
        hit = rows[fits]
        _store(shape, matrix if len(hit) == len(rows) else matrix[fits], hit, out)
    return fits


def _store(shape: StampShape, matrix: NDArray[np.uint8], hit: IntArray, out: Stamps) -> None:
    """Put the numbers of rows of one shape in their places."""
    digits = shape.digits

    def number(part: str) -> IntArray:
        total = np.zeros(len(matrix), dtype=np.int64)
        for i in range(*digits[part]):
            total = total * 10 + (matrix[:, i].astype(np.int64) - 48)
        return total

    for part, field in (
        ("y", out.year), ("mo", out.month), ("d", out.day), ("h", out.hour),
        ("mi", out.minute), ("s", out.second_), ("a", out.first), ("b", out.second),
        ("c", out.third),
    ):  # fmt: skip
        if part in digits:
            field[hit] = number(part)
    if shape.month:
        out.month[hit] = shape.month
        if "c" in digits:
            out.year[hit] = _full_year(out.third[hit])
    if "a" in digits:
        end = digits["a"][1]
        out.mark[hit] = matrix[0, end] if len(matrix) and end < digits["b"][0] else 0
    if "mi" in digits or "s" in digits:
        for field, part in ((out.hour, "h"), (out.minute, "mi")):
            if part not in digits:
                field[hit] = 0
    if "dd" in digits:
        out.hour[hit] += 24 * number("dd")
    if "f" in digits:
        begin, end = digits["f"]
        out.fraction[hit] = number("f") / 10.0 ** (end - begin)
    if shape.zone:
        hours = number("zh") if "zh" in digits else 0
        minutes = number("zm") if "zm" in digits else 0
        out.zone_s[hit] = shape.zone * (hours * 3600 + minutes * 60)
    out.afternoon[hit] = shape.afternoon
    out.negative[hit] = shape.negative
    out.elapsed[hit] = shape.elapsed
    out.bad[hit] = False


def _full_year(year: IntArray) -> IntArray:
    return np.where(year < 100, np.where(year < _CENTURY, year + 2000, year + 1900), year)


def as_clock(stamps: Stamps) -> Stamps | None:
    """Three numbers taken for hours, minutes and seconds where they can be no date, else None.

    Parameters
    ----------
    stamps : Stamps
    """
    open_ = stamps.first >= 0
    if not open_.any() or (stamps.hour >= 0).any() or (stamps.month >= 0).any():
        return None
    a, b, c = stamps.first[open_], stamps.second[open_], stamps.third[open_]
    # No log goes over many years, and with dots the month stands second.
    no_date = len(np.unique(c)) > 3 or (stamps.mark[open_][0] == ord(".") and b.max() > 12)
    if not no_date or a.max() > 23 or max(b.max(), c.max()) > 59:
        return None
    stamps.hour, stamps.minute, stamps.second_ = stamps.first, stamps.second, stamps.third
    stamps.first = stamps.second = stamps.third = np.full(len(open_), -1, dtype=np.int64)
    return stamps


#: Where the day, the month and the year stand among the three numbers of a date.
ORDERS = {"dmy": (0, 1, 2), "mdy": (1, 0, 2), "ymd": (2, 1, 0)}


def days(stamps: Stamps, order: str) -> FloatArray:
    """Days since 1970-01-01, NaN where a stamp has no valid date.

    Parameters
    ----------
    stamps : Stamps
    order : str
        A key of ORDERS, for dates whose order is open.
    """
    year, month, day = stamps.year.copy(), stamps.month.copy(), stamps.day.copy()
    open_ = stamps.first >= 0
    if open_.any():
        three = (stamps.first, stamps.second, stamps.third)
        day[open_], month[open_], short = (three[i][open_] for i in ORDERS[order])
        year[open_] = _full_year(short)
    return day_numbers(year, month, day)


def day_numbers(year: IntArray, month: IntArray, day: IntArray) -> FloatArray:
    """Days since 1970-01-01, NaN where no calendar has the day.

    Parameters
    ----------
    year, month, day : ndarray of int
    """
    good = (year >= 1900) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    out = np.full(len(month), np.nan)
    if good.any():
        months = (year[good] - 1970).astype("datetime64[Y]") + (month[good] - 1).astype(
            "timedelta64[M]"
        )
        date = months.astype("datetime64[D]") + (day[good] - 1).astype("timedelta64[D]")
        inside = date.astype("datetime64[M]") == months
        out[good] = np.where(inside, date.astype(np.int64), np.nan)
    return out


def seconds(stamps: Stamps, *, minutes_first: bool) -> FloatArray:
    """Seconds of the day (or elapsed), NaN where a stamp has no time.

    Parameters
    ----------
    stamps : Stamps
    minutes_first : bool
        Read "12:34" as minutes and seconds.
    """
    hour, minute, second = stamps.hour, stamps.minute, stamps.second_
    if minutes_first:
        short = second < 0
        second = np.where(short, minute, second)
        minute = np.where(short, hour, minute)
        hour = np.where(short & (hour >= 0), 0, hour)
    half_day = stamps.afternoon >= 0
    hour24 = np.where(half_day, hour % 12 + 12 * (stamps.afternoon == 1), hour)
    total = hour24 * 3600.0 + minute * 60.0 + np.maximum(second, 0) + stamps.fraction
    total = np.where(stamps.negative, -total, total)
    good = (stamps.hour >= 0) & ~stamps.bad & (minute >= 0)
    if not minutes_first:
        # In "90:00" minutes may pass 59, and so may seconds that stand alone.
        good &= (minute < 60) | (hour == 0)
        good &= (second < 61) | ((hour == 0) & (minute == 0))
    else:
        good &= second < 61
    return np.where(good, total, np.nan)
