"""Stamps printed as numbers: 20260518, 101450.3, or hours, minutes and seconds in three columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.clock.stamps import Stamps, day_numbers, no_stamps
from telemetry.importer.clock.timesource import Stamped, TimeSource, speaks_of_time
from telemetry.importer.names.words import Role, fold

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Counts a second of a clock packed with its fraction: 101450, 10145030, 101450300.
_PER_SECOND = (1, 100, 1000)
#: A clock of sixties steps past a minute by no more than so many usual steps (heuristic).
_STEPS_PAST_A_MINUTE = 3.0
#: Rows of telemetry come too fast for more than this part of them to begin a minute (heuristic).
_TURNS = 0.2
#: Part of the rows that may not fit a clock and yet be wrong cells of one (heuristic).
_WRONG_CELLS = 0.01

# Words for the parts of a moment that may stand in columns of their own, without accents
# (dictionaries; "min", "sec", "sek" and "seg" begin the words of most languages).
_PARTS = {
    "year": "year yr yyyy jahr annee ano anno jaar rok ar ev vuosi \u5e74",
    "month": "month mon monat mois mes mese maand mesic miesiac manad maned kuukausi honap \u6708",
    "day": "day dd tag jour dia giorno dag den dzien paiva nap \u65e5",
    "hour": "hour hours hr hrs h hh std stunde stunden heure heures hora horas ora ore uur hodina "
    "hodiny godzina timme tunti \u6642",
    "minute": "min mm m minute minutes minuten minuto minutos minuti minuut minuta minuty minut "
    "minutter minuutti perc \u5206",
    "second": "s ss sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos "
    "secondo secondi sekunda sekundy sekund sekunder sekunti masodperc \u79d2",
}
_PART_OF = {word: part for part, words in _PARTS.items() for word in words.split()}


def packed_stamps(source: TimeSource) -> Stamped | None:
    """A date or a clock, or both, printed as one number; None where the column is none.

    Parameters
    ----------
    source : TimeSource
    """
    values = source.numbers
    if values is None or not speaks_of_time(source) or source.name.unit is not None:
        return None
    setting = source.setting
    if setting is not None and setting.time_form not in ("", "dmy", "mdy", "ymd", "hh:mm:ss"):
        return None
    known = np.isfinite(values)
    if not known.any() or values[known].min() < 0:
        return None
    for read in (_moment, _date, _six_digits, _clock):
        stamps = read(values, known)
        if stamps is not None:
            stamps.blank = ~known
            return Stamped(source, stamps)
    return None


def _moment(values: FloatArray, known: NDArray[np.bool_]) -> Stamps | None:
    """20260518101450: a day and a time of it, also with milliseconds behind."""
    for per_second in (1, 1000):
        inside, day = values[known] / per_second, 1e6 * per_second
        if inside.min() >= 1.97e13 and inside.max() <= 2.2e13:
            stamps = _date(np.floor(values / day), known)
            return None if stamps is None else _with_clock(stamps, values % day, per_second)
    return None


def _date(values: FloatArray, known: NDArray[np.bool_]) -> Stamps | None:
    """20260518: a day, with the year in four digits."""
    inside = values[known]
    if inside.min() < 19_700_101 or inside.max() > 22_001_231 or np.any(inside % 1):
        return None
    whole = _whole(values, known)
    stamps = no_stamps(len(values))
    stamps.year, stamps.month, stamps.day = whole // 10_000, whole // 100 % 100, whole % 100
    good = np.isfinite(day_numbers(stamps.year, stamps.month, stamps.day))
    return stamps if good[known].all() else None


def _six_digits(values: FloatArray, known: NDArray[np.bool_]) -> Stamps | None:
    """260518, the same in all rows but for a midnight: a day, its order open."""
    inside = np.unique(values[known])
    if len(inside) > 2 or np.any(inside % 1) or inside.min() < 10_100 or inside.max() > 991_231:
        return None
    stamps = no_stamps(len(values))
    whole = _whole(values, known)
    three = whole // 10_000, whole // 100 % 100, whole % 100
    if max(three[1][known].max(), min(three[0][known].max(), three[2][known].max())) > 31:
        return None
    stamps.first, stamps.second, stamps.third = three
    stamps.mark = np.zeros(len(values), dtype=np.int64)
    return stamps


def _clock(values: FloatArray, known: NDArray[np.bool_]) -> Stamps | None:
    """101450.3: a clock, told from a plain count by the sixties it counts in."""
    for per_second in _PER_SECOND:
        stamps = _with_clock(no_stamps(len(values)), values, per_second)
        minute, second = stamps.minute[known], stamps.second_[known]
        wrong = (minute > 59) | (second > 59) | (stamps.hour[known] > 23)
        if np.mean(wrong) > _WRONG_CELLS:
            continue
        elapsed = stamps.hour[known] * 3600.0 + minute * 60.0 + second + stamps.fraction[known]
        steps, turns = np.diff(elapsed), np.diff(minute) != 0
        usual = steps[~turns & (steps > 0)]
        if not turns.any() or np.mean(turns) > _TURNS or not len(usual):
            continue
        past = np.median(steps[turns])
        if 0 < past <= _STEPS_PAST_A_MINUTE * max(float(np.median(usual)), 1.0 / per_second):
            return stamps
    return None


def _with_clock(stamps: Stamps, values: FloatArray, per_second: int) -> Stamps:
    """Hours, minutes, seconds and fraction of packed numbers put into stamps."""
    known = np.isfinite(values)
    whole = _whole(values, known)
    packed, part = whole // per_second, whole % per_second
    stamps.hour, stamps.minute, stamps.second_ = packed // 10_000, packed // 100 % 100, packed % 100
    stamps.fraction = part / per_second + np.where(known, np.round(values - whole, 6), 0.0)
    for field in (stamps.hour, stamps.minute, stamps.second_):
        field[~known] = -1
    return stamps


def _whole(values: FloatArray, known: NDArray[np.bool_]) -> IntArray:
    return np.where(known, np.floor(values), 0.0).astype(np.int64)


def split_stamps(usable: Sequence[TimeSource]) -> Stamped | None:
    """A clock whose hours, minutes and seconds (and year, month, day) stand in columns each.

    Parameters
    ----------
    usable : sequence of TimeSource
    """
    parts: dict[str, TimeSource] = {}
    for source in usable:
        part = _part(source)
        if part:
            parts.setdefault(part, source)
    if not {"minute", "second"} <= set(parts) or not _carries(parts):
        return None
    numbers = {part: source.numbers for part, source in parts.items() if source.numbers is not None}
    second = numbers["second"]
    known = np.logical_and.reduce([np.isfinite(n) for n in numbers.values()])
    stamps = no_stamps(len(second))
    stamps.blank = ~known
    whole = {part: _whole(n, known) for part, n in numbers.items()}
    stamps.hour = whole.get("hour", np.zeros(len(second), dtype=np.int64))
    stamps.minute, stamps.second_ = whole["minute"], whole["second"]
    stamps.fraction = np.where(known, np.round(second - whole["second"], 9), 0.0)
    if {"year", "month", "day"} <= set(parts):
        year = whole["year"]
        stamps.year = np.where(year < 100, year + 2000, year)
        stamps.month, stamps.day = whole["month"], whole["day"]
    title = "', '".join(parts[p].title for p in _PARTS if p in parts)
    shown = replace(parts["second"], title=title, setting=None)
    used = {s.index: "time" if p in ("hour", "minute", "second") else "date"
            for p, s in parts.items()}  # fmt: skip
    return Stamped(shown, stamps, used)


def _part(source: TimeSource) -> str:
    """The part of a moment that a column's whole name speaks of, "" for any other."""
    words = [fold(w.text).rstrip(".") for w in source.name.words if not w.has(Role.TIME)]
    unit = source.name.unit
    if unit is not None and not words:
        words = [unit.symbol]
    known = words[0] if len(words) == 1 else ""
    if source.numbers is None:
        return ""
    for word in source.name.words:
        if not words and fold(word.text) in _PART_OF:
            known = fold(word.text)  # a word like "hora" may mean a time as well
    return _PART_OF.get(known, "")


def _carries(parts: Mapping[str, TimeSource]) -> bool:
    """Whether each column goes on by one where the finer one starts again."""
    finer = parts["second"].numbers
    assert finer is not None
    for name, size in (("minute", 60), ("hour", 24)):
        if name not in parts:
            continue
        coarse = parts[name].numbers
        assert coarse is not None
        known = np.isfinite(coarse) & np.isfinite(finer)
        if not known.any() or np.any(coarse[known] % 1) or coarse[known].min() < 0:
            return False
        if finer[known].min() < 0 or finer[known].max() >= 61 or coarse[known].max() >= size:
            return False
        fell = np.diff(finer[known]) < 0
        moved = np.diff(coarse[known]) != 0
        if np.count_nonzero(fell ^ moved) > _WRONG_CELLS * len(fell) + 1:
            return False
        finer = coarse
    return True
