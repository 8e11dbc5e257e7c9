"""Time stamps of text to numbers: "14:03:22,250", "2024-05-01T12:00:00Z", "01.05.24 3:04 PM".

Stamps of one length mostly have one shape. The shape is read off the first of them and all
others are decoded by it in one sweep over their bytes; what does not fit gets the next shape.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_MOST_SHAPES = 200
_YMD = r"(?P<y>\d{4})(?:[-/.](?P<mo>\d{1,2})[-/.](?P<d>\d{1,2})|(?P<mo2>\d{2})(?P<d2>\d{2}))"
_ABY = r"(?P<a>\d{1,2})[-/.](?P<b>\d{1,2})[-/.](?P<y2>\d{4}|\d{2})"
_CLOCK = (
    r"(?P<sign>-)?(?P<h>\d{1,4}):(?P<mi>\d{1,2})(?::(?P<s>\d{1,2}))?(?:[.,:](?P<f>\d{1,9}))?"
    r"\s?(?P<ap>[AaPp]\.?[Mm]\.?)?"
)
_CLOCK_BASIC = r"(?P<h2>\d{2})(?P<mi2>\d{2})(?P<s2>\d{2})(?:[.,](?P<f2>\d{1,9}))?"
_ZONE = r"(?:\s?(?P<utc>Z|z|UTC)|\s?(?P<zs>[+-])(?P<zh>\d{2}):?(?P<zm>\d{2})?)?"
_SHAPES = tuple(
    re.compile(pattern)
    for pattern in (
        rf"{_YMD}(?:[T ]\s?{_CLOCK}{_ZONE})?",
        rf"{_YMD}[T _-]{_CLOCK_BASIC}{_ZONE}",
        rf"{_ABY}(?:,?[T ]\s?{_CLOCK}{_ZONE})?",
        rf"{_CLOCK}(?:\s?(?:Z|UTC))?",
        r"(?:(?P<h>\d{1,3})\s?h\s?)?(?P<mi>\d{1,3})\s?(?:m|min|')\s?(?P<s>\d{1,2})"
        r"(?:[.,](?P<f>\d{1,9}))?\s?(?:s|\"|'')?",
    )
)
_NAMED_MONTH = re.compile(
    r"(?:[^\W\d_]{2,4},? )?"
    r"(?:(?P<d>\d{1,2})\.?[-/. ]{1,2}(?P<m>[^\W\d_]{3,10})\.?[-/. ,]{1,2}(?P<y>\d{4}|\d{2})"
    r"|(?P<m2>[^\W\d_]{3,10})\.? (?P<d2>\d{1,2}),? (?P<y2>\d{4}))(?P<rest>[T ,].*)?"
)
# First letters of the months, without accents: English, German, French, Spanish, Italian, Dutch,
# Czech. "jui" would be June or July in French, so four letters stand there.
_MONTHS = {
    1: "jan ene gen led",
    2: "feb fev uno",
    3: "mar mrz maer maar mrt bre",
    4: "apr avr abr dub",
    5: "may mai mag mei maj kve",
    6: "jun juin giu cervn",
    7: "jul juil lug cervenec cervence",
    8: "aug aou ago srp",
    9: "sep set zar",
    10: "oct okt out ott rij",
    11: "nov lis",
    12: "dec dez dic pro",
}


@dataclass(slots=True, kw_only=True)
class Stamps:
    """A column of time stamps taken apart. Arrays have shape (rows,), -1 where a part is missing.

    Attributes
    ----------
    year, month, day : ndarray of int
        ``month`` and ``day`` are -1 where the order of the two is open; ``first`` and ``second``
        hold the two numbers then.
    hour, minute, second_ : ndarray of int
        ``second_`` is -1 in stamps of two parts ("12:34").
    fraction : ndarray of float
        Of a second, 0 where there is none.
    afternoon : ndarray of int
        1 for PM, 0 for AM, -1 without.
    zone_s : ndarray of float
        Offset from UTC, NaN without.
    bad : ndarray of bool
        Filled cells that are no stamp.
    blank : ndarray of bool
    """

    year: NDArray[np.int64]
    month: NDArray[np.int64]
    day: NDArray[np.int64]
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    hour: NDArray[np.int64]
    minute: NDArray[np.int64]
    second_: NDArray[np.int64]
    fraction: FloatArray
    afternoon: NDArray[np.int64]
    zone_s: FloatArray
    negative: NDArray[np.bool_]
    bad: NDArray[np.bool_]
    blank: NDArray[np.bool_]

    @property
    def has_date(self) -> bool:
        """True where most filled cells carry a date."""
        return bool(np.mean(self.year[~self.blank] >= 0) > 0.5) if (~self.blank).any() else False

    @property
    def has_clock(self) -> bool:
        """True where most filled cells carry a time of day (or an elapsed time)."""
        return bool(np.mean(self.hour[~self.blank] >= 0) > 0.5) if (~self.blank).any() else False

    @property
    def two_part(self) -> bool:
        """True for "12:34" and "12:34.5", which may be hours or minutes first."""
        filled = ~self.blank & ~self.bad
        return bool(filled.any() and np.all(self.second_[filled & (self.hour >= 0)] < 0))


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
    out = _empty(rows)
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
    todo = ~out.blank & (lengths <= 48)
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


_BLANKS = ["", "-", "--", "---", "n/a", "N/A", "nan", "NaN", "null", "none", "None", "?"]


def _empty(rows: int) -> Stamps:
    def minus() -> NDArray[np.int64]:
        return np.full(rows, -1, dtype=np.int64)

    return Stamps(
        year=minus(),
        month=minus(),
        day=minus(),
        first=minus(),
        second=minus(),
        hour=minus(),
        minute=minus(),
        second_=minus(),
        fraction=np.zeros(rows),
        afternoon=minus(),
        zone_s=np.full(rows, np.nan),
        negative=np.zeros(rows, dtype=bool),
        bad=np.zeros(rows, dtype=bool),
        blank=np.zeros(rows, dtype=bool),
    )


def _decode(
    text: str, matrix: NDArray[np.uint8], rows: NDArray[np.int64], out: Stamps
) -> NDArray[np.bool_]:
    """Decode the rows that have the shape of this text; True for those (and the text itself)."""
    named = _NAMED_MONTH.fullmatch(text)
    month = _month(named["m"] or named["m2"]) if named else 0
    if named and month:
        return _decode_named(named, month, text, matrix, rows, out)
    match = next((m for m in (s.fullmatch(text) for s in _SHAPES) if m), None)
    if match is None or not text.isascii():
        alike = np.zeros(len(rows), dtype=bool)
        same = np.frombuffer(text.encode(), dtype=np.uint8)
        alike[:] = np.all(matrix == same, axis=1) if matrix.shape[1] == len(same) else False
        alike[0] = True
        return alike
    groups = {k: match.span(k) for k, v in match.groupdict().items() if v is not None}
    literal = np.frombuffer(text.encode(), dtype=np.uint8)
    free = np.zeros(len(literal), dtype=bool)
    digits = np.zeros(len(literal), dtype=bool)
    for name, (begin, end) in groups.items():
        if name in ("ap", "sign", "zs", "utc"):
            free[begin:end] = name == "ap"
        else:
            digits[begin:end] = True
    fits = np.ones(len(matrix), dtype=bool)
    for i in range(len(literal)):
        column = matrix[:, i]
        if digits[i]:
            fits &= (column - np.uint8(48)) <= 9  # unsigned: below "0" wraps far above 9
        elif not free[i]:
            fits &= column == literal[i]
    if "ap" in groups:
        letter = matrix[:, groups["ap"][0]] | 0x20
        fits &= (letter == 0x61) | (letter == 0x70)
    hit = rows[fits]
    values = matrix if len(hit) == len(rows) else matrix[fits]

    def number(*names: str) -> NDArray[np.int64] | None:
        for name in names:
            if name in groups:
                begin, end = groups[name]
                total = np.zeros(len(values), dtype=np.int64)
                for i in range(begin, end):
                    total = total * 10 + (values[:, i].astype(np.int64) - 48)
                return total
        return None

    _store(out, hit, number, groups)
    if "ap" in groups:
        out.afternoon[hit] = ((matrix[fits][:, groups["ap"][0]] | 0x20) == 0x70).astype(np.int64)
    if "utc" in groups:
        out.zone_s[hit] = 0.0
    if "zs" in groups:
        hours = number("zh")
        minutes = number("zm")
        assert hours is not None
        sign = -1 if text[groups["zs"][0]] == "-" else 1
        out.zone_s[hit] = sign * (hours * 3600 + (0 if minutes is None else minutes * 60))
    if "sign" in groups:
        out.negative[hit] = True
    out.bad[hit] = False
    return fits


def _store(
    out: Stamps,
    hit: NDArray[np.int64],
    get: Callable[..., NDArray[np.int64] | None],
    groups: dict[str, tuple[int, int]],
) -> None:
    year = get("y", "y2")
    if year is not None:
        out.year[hit] = np.where(year < 100, np.where(year < 70, year + 2000, year + 1900), year)
    for field, names in (
        (out.month, ("mo", "mo2")),
        (out.day, ("d", "d2")),
        (out.first, ("a",)),
        (out.second, ("b",)),
        (out.hour, ("h", "h2")),
        (out.minute, ("mi", "mi2")),
        (out.second_, ("s", "s2")),
    ):
        value = get(*names)
        if value is not None:
            field[hit] = value
    if "mi" in groups and "h" not in groups:
        out.hour[hit] = 0
    for name in ("f", "f2"):
        if name in groups:
            value = get(name)
            assert value is not None
            begin, end = groups[name]
            out.fraction[hit] = value / 10.0 ** (end - begin)


def _month(word: str) -> int:
    from telemetry.importer.names.words import fold

    flat = fold(word)
    best, size = 0, 0
    for number, stems in _MONTHS.items():
        for stem in stems.split():
            if flat.startswith(stem) and len(stem) > size:
                best, size = number, len(stem)
    return best


def _decode_named(
    match: re.Match[str],
    month: int,
    text: str,
    matrix: NDArray[np.uint8],
    rows: NDArray[np.int64],
    out: Stamps,
) -> NDArray[np.bool_]:
    """Dates with a month's name: the rows with the same date text, their times by shape."""
    rest = match["rest"] or ""
    date = text[: len(text) - len(rest)].encode()
    fits: NDArray[np.bool_] = np.all(
        matrix[:, : len(date)] == np.frombuffer(date, dtype=np.uint8), axis=1
    )
    hit = rows[fits]
    if rest.strip(" ,T"):
        skip = len(text.encode()) - len(rest.lstrip(" ,T").encode())
        inner = _decode(rest.lstrip(" ,T"), matrix[fits][:, skip:], hit, out)
        kept = np.zeros(len(rows), dtype=bool)
        kept[np.flatnonzero(fits)[inner]] = True
        fits, hit = kept, hit[inner]
    year = int(match["y"] or match["y2"])
    out.year[hit] = year + (2000 if year < 70 else 1900) if year < 100 else year
    out.month[hit] = month
    out.day[hit] = int(match["d"] or match["d2"])
    if not rest.strip(" ,T"):
        out.bad[hit] = False
    return fits


def days(stamps: Stamps, order: str) -> FloatArray:
    """Days since 1970-01-01, NaN where a stamp has no valid date.

    Parameters
    ----------
    stamps : Stamps
    order : str
        "dmy" or "mdy", for dates of two leading numbers.
    """
    month = stamps.month.copy()
    day = stamps.day.copy()
    open_ = stamps.first >= 0
    if open_.any():
        a, b = (stamps.first, stamps.second) if order == "dmy" else (stamps.second, stamps.first)
        day[open_], month[open_] = a[open_], b[open_]
    good = (stamps.year >= 1900) & (stamps.year < 2200) & (month >= 1) & (month <= 12)
    good &= (day >= 1) & (day <= 31)
    out = np.full(len(month), np.nan)
    if good.any():
        years = (stamps.year[good] - 1970).astype("datetime64[Y]")
        months = years + (month[good] - 1).astype("timedelta64[M]")
        date = months.astype("datetime64[D]") + (day[good] - 1).astype("timedelta64[D]")
        out[good] = date.astype(np.int64)
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
    good = (stamps.hour >= 0) & ~stamps.bad & (minute >= 0) & (second < 61)
    if not minutes_first:
        good &= minute < 60
    return np.where(good, total, np.nan)
