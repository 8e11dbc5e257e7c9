"""All columns of one log together: settings first, then names, then what the values say.

A header is read by itself in `telemetry.importer.header`; here the columns of a log are weighed
against each other: a voltage without a place beside two packs is the bus's, numbers up to six
beside each other are no packs, two equal readings are two copies.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from telemetry.channels import CANONICAL_UNIT, Channel, PlaceKind, Quantity, kind_of_place
from telemetry.errors import UnreadableLog
from telemetry.importer.cells import is_blank
from telemetry.importer.evidence import Shape, judge_unit, reversed_current
from telemetry.importer.header import Reading, readings
from telemetry.importer.names import Name, take_apart
from telemetry.importer.places import find_spots
from telemetry.importer.settings import Setting, text_of
from telemetry.importer.values import convert, find_sentinels, leading_zeros
from telemetry.importer.wording import count, verb
from telemetry.units import UNITS, Unit

FloatArray = NDArray[np.float64]

#: Readings that score this close are alike: put to the user, not chosen.
TIE = 0.05
_NEAR = 0.12
_ELECTRICAL = (
    Quantity.VOLTAGE,
    Quantity.CURRENT,
    Quantity.CONSUMED,
    Quantity.REMAINING,
    Quantity.POWER,
    Quantity.ENERGY,
)


@dataclass(slots=True, kw_only=True)
class Column:
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
    readings : tuple of Reading
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
    readings: tuple[Reading, ...] = ()
    shape: Shape = field(
        default_factory=lambda: Shape(0, math.nan, math.nan, math.nan, False, False, False)
    )
    time_role: str = ""
    blank: bool = False


def titles(names: Sequence[str]) -> list[str]:
    """Unique names to address columns by: "Loop", "Loop#2", "column 5" without a header.

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


def make_column(index: int, name: str, title: str, unit_text: str = "", sensor: str = "") -> Column:
    """A column with its name taken apart.

    Parameters
    ----------
    index : int
    name, title, unit_text, sensor : str
        Cells of the header rows.
    """
    apart = take_apart(" ".join(name.split()), unit_text, sensor)
    return Column(index=index, name=name, title=title, apart=apart, readings=readings(apart))


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


def resolve(columns: Sequence[Column], notes: list[str], *, strict: bool = True) -> list[Resolved]:
    """Settle the reading of every column and convert its values.

    Parameters
    ----------
    columns : sequence of Column
    notes : list of str
        What the user should know is added to it.
    strict : bool
        False: a column that conversion empties is noted, not an error, and the columns keep
        their raw values; True: they give them up.

    Returns
    -------
    list of Resolved
        One for each column, in order.
    """
    chosen = [_choose(c) for c in columns]
    _place_the_unplaced(columns, chosen)
    chosen = [_check(c, r, notes) for c, r in zip(columns, chosen, strict=True)]
    out = []
    for column, choice in zip(columns, chosen, strict=True):
        out.append(_finish(column, choice, notes, strict=strict))
        if strict:
            column.numbers = None  # frees the raw values where they were converted
    _turn_currents(out, notes)
    _name_keys(columns, out)
    return out


@dataclass(slots=True, kw_only=True)
class _Choice:
    reading: Reading
    rivals: tuple[Reading, ...] = ()
    unit: Unit | None = None
    why_unit: str = ""
    fit: float = 1.0
    forced: bool = False
    unit_rivals: tuple[Unit, ...] = ()


def _choose(column: Column) -> _Choice:
    """The reading of one column by settings or by name, rivals kept."""
    if column.setting is not None:
        return _forced(column, column.setting)
    if column.time_role:
        return _Choice(reading=Reading(quantity=Quantity.TIME, unit=column.apart.unit, placed=True))
    found = [r for r in column.readings if _admissible(column, r)]
    if not found:
        return _Choice(reading=_of_unit_clock(column) or _row_number(column) or _nothing(column))
    best = found[0]
    near = tuple(r for r in found[1:] if r.score >= best.score - _NEAR)
    other = next((r for r in near if r.quantity is not best.quantity), None)
    if other is not None and other.score >= best.score - TIE:
        decided = _by_growth(column, best, other)
        if decided is not None:
            rest = tuple(r for r in near if r is not decided)
            return _Choice(reading=decided, rivals=rest)
        reading = replace(
            _nothing(column),
            score=best.score,
            reason=f"either {best.quantity.value} ({best.reason}) or {other.quantity.value} "
            f"({other.reason}): not chosen",
        )
        return _Choice(reading=reading, rivals=(best, *near))
    return _Choice(reading=best, rivals=near)


def _forced(column: Column, setting: Setting) -> _Choice:
    why = column.setting_from or "as you set it"
    if setting.ignore:
        why = f"left out, {why}"
    unit = setting.unit or column.apart.unit or column.cell_unit
    label = next((r.label for r in column.readings), column.title)
    reading = Reading(
        quantity=setting.quantity,
        place=setting.place,
        unit=unit,
        reason=why,
        label=label,
        hold=setting.hold,
        cell=setting.cell,
        placed=True,
    )
    return _Choice(reading=reading, forced=True)


def _nothing(column: Column) -> Reading:
    unit = column.apart.unit or column.cell_unit
    named = f"; unit {unit.symbol} kept" if unit is not None else ""
    if column.text is not None:
        why = "words"
    elif column.blank:
        why = "no values in this log"
    elif not column.name.strip():
        why = "no header names it"
    elif any(r.quantity is Quantity.TIME for r in column.readings):
        why = "a time, but not the clock of the rows"
    else:
        why = "no word of the name is known"
    return Reading(
        quantity=Quantity.UNKNOWN, unit=unit, score=0.0, reason=why + named, label=column.title
    )


def _of_unit_clock(column: Column) -> Reading | None:
    """A time beside the rows' clock that belongs to a part of the aircraft: how long it is on."""
    timed = next((r for r in column.readings if r.quantity is Quantity.TIME), None)
    if timed is None or column.numbers is None:
        return None
    spots = find_spots(column.apart.words, Quantity.UPTIME, column.title)
    place = spots[0].place
    if place is None or kind_of_place(place) is PlaceKind.OTHER:
        return None
    return replace(
        timed,
        quantity=Quantity.UPTIME,
        place=place,
        label=spots[0].label,
        score=0.8,
        reason=f"a time of {place} beside the clock of the rows: how long it has been on",
    )


def _row_number(column: Column) -> Reading | None:
    """A column without a telling name that counts the rows."""
    values = column.numbers
    if values is None or any(w.meanings for w in column.apart.words) or len(values) < 3:
        return None
    if values[0] not in (0.0, 1.0) or not np.all(np.diff(values) == 1.0):
        return None
    return Reading(quantity=Quantity.COUNT, score=0.7, reason="it counts the rows")


def _admissible(column: Column, reading: Reading) -> bool:
    """Whether the cells can be what the name says."""
    if column.text is not None and reading.quantity is not Quantity.STATUS:
        return False
    return reading.quantity is not Quantity.TIME


def _by_growth(column: Column, one: Reading, other: Reading) -> Reading | None:
    """Current or consumption: a column that only grows is the counter."""
    pair = {one.quantity: one, other.quantity: other}
    if set(pair) == {Quantity.CURRENT, Quantity.CONSUMED} and column.shape.count >= 30:
        return pair[Quantity.CONSUMED] if column.shape.only_grows else pair[Quantity.CURRENT]
    return None


def _place_the_unplaced(columns: Sequence[Column], chosen: list[_Choice]) -> None:
    """Find the place of electrical columns whose name tells none, from the other columns."""
    taken: dict[Quantity, set[str]] = defaultdict(set)
    for choice in chosen:
        r = choice.reading
        if r.place is not None and r.placed:
            taken[r.quantity].add(r.place)
    _numbered_only(columns, chosen)
    packs = {p for places in taken.values() for p in places if p.startswith("pack ")}
    for i, choice in enumerate(chosen):
        r = choice.reading
        if r.place is not None or choice.forced or r.quantity not in _ELECTRICAL:
            continue
        if columns[i].blank or columns[i].text is not None:
            continue
        others = {p for p in packs if p in taken[r.quantity]} or (
            packs
            if r.quantity in (Quantity.CURRENT, Quantity.VOLTAGE) and len(packs) > 1
            else set()
        )
        bus_free = "bus" not in taken[r.quantity]
        if others and bus_free:
            place, why = "bus", "no place named, the packs have columns of their own: the bus"
        elif not others:
            place, why = "pack 1", "no place named: the one supply, pack 1"
        else:
            place, why = "", ""
        if not place:
            own = r.label.casefold() or columns[i].title.casefold()
            chosen[i].reading = replace(r, place=own, reason=f"{r.reason}; place not known")
            continue
        chosen[i].reading = replace(
            r, place=place, reason=f"{r.reason}; {why}", score=round(r.score * 0.85, 3)
        )
        taken[r.quantity].add(place)


def _numbered_only(columns: Sequence[Column], chosen: list[_Choice]) -> None:
    """Numbers without a part ("U1" to "U6"): beyond two no packs, but cells or channels."""
    families: dict[Quantity, list[int]] = defaultdict(list)
    for i, choice in enumerate(chosen):
        r = choice.reading
        if r.place is not None and "without a part taken as pack" in r.reason:
            families[r.quantity].append(i)
    for quantity, members in families.items():
        numbers = {i: int(str(chosen[i].reading.place).split()[-1]) for i in members}
        if max(numbers.values()) <= 2:
            continue
        shapes = [columns[i].shape for i in members if columns[i].shape.count]
        cells = (
            quantity is Quantity.VOLTAGE
            and shapes
            and all(any(2.0 <= s.top * f <= 4.5 for f in (1.0, 0.01, 0.001)) for s in shapes)
        )
        for i, number in numbers.items():
            r = chosen[i].reading
            head = r.reason.split(";")[0]
            if cells:
                chosen[i].reading = replace(
                    r, quantity=Quantity.CELL_VOLTAGE, place="pack 1", cell=number,
                    reason=f"{head}; {len(members)} numbered voltages of one cell each: cells",
                )  # fmt: skip
            else:
                chosen[i].reading = replace(
                    r, place=f"channel {number}",
                    reason=f"{head}; number {number} of {len(members)} without a part",
                )  # fmt: skip


def _check(column: Column, choice: _Choice, notes: list[str]) -> _Choice:
    """Let the values confirm or change quantity and unit."""
    r = choice.reading
    unit = r.unit if choice.forced and r.unit is not None else (r.unit or column.cell_unit)
    if column.numbers is None or r.quantity in (
        Quantity.UNKNOWN,
        Quantity.TIME,
        Quantity.STATUS,
        Quantity.COUNT,
    ):
        choice.unit = unit
        return choice
    if choice.forced:
        choice.unit = unit
        if unit is None:
            judged = judge_unit(column.shape, r.quantity, None)
            choice.unit, choice.why_unit = judged.unit, judged.why
        return choice
    if r.quantity is Quantity.CURRENT and column.shape.only_grows and r.hold == "":
        r = replace(r, quantity=Quantity.CONSUMED, reason=f"{r.reason}; it only grows: a counter")
        unit = _charge_unit(unit, column.shape)
        notes.append(f"column '{column.title}' is named a current but only grows: read as consumed")
    elif r.quantity is Quantity.CONSUMED and column.shape.only_falls and column.shape.low >= 0:
        r = replace(
            r, quantity=Quantity.REMAINING, reason=f"{r.reason}; it only falls: what is left"
        )
    judged = judge_unit(column.shape, r.quantity, unit)
    if judged.why and unit is not None and judged.unit is not unit:
        notes.append(f"column '{column.title}': {judged.why}")
    choice.reading = replace(r, score=round(r.score * judged.fit, 3))
    choice.unit, choice.why_unit, choice.unit_rivals = judged.unit, judged.why, judged.rivals
    return choice


def _charge_unit(unit: Unit | None, shape: Shape) -> Unit:
    if unit is not None and unit.symbol == "mA":
        return UNITS["mAh"]
    return UNITS["Ah"] if shape.high < 15 and not shape.whole else UNITS["mAh"]


def _finish(column: Column, choice: _Choice, notes: list[str], *, strict: bool) -> Resolved:
    r, unit = choice.reading, choice.unit
    reason = r.reason + (f"; {choice.why_unit}" if choice.why_unit else "")
    quantity = r.quantity
    words = column.text is not None
    ignored = column.setting is not None and column.setting.ignore
    values = None if words or column.blank or ignored or column.time_role else column.numbers
    if words and not ignored and not column.blank:
        _refuse_words(column, notes, strict=strict)
    canonical = CANONICAL_UNIT.get(quantity, "") or (unit.canonical if unit is not None else "")
    if unit is not None and quantity in (Quantity.UNKNOWN, Quantity.STATUS, Quantity.COUNT):
        canonical, factor, offset = unit.symbol, 1.0, 0.0
    elif unit is not None:
        factor, offset = unit.factor, unit.offset
    else:
        factor, offset = 1.0, 0.0
    if values is not None:
        scale = None if quantity in (Quantity.UNKNOWN, Quantity.STATUS, Quantity.COUNT) else unit
        values = _clean(column, r, scale, values, notes, strict=strict)
    rivals = tuple(
        text_of(
            x.quantity,
            x.place,
            (x.unit or unit or UNITS["V"]).symbol if x.unit or unit else "",
            x.hold,
            x.cell,
        )
        for x in choice.rivals
    ) + tuple(text_of(quantity, r.place, u.symbol, r.hold, r.cell) for u in choice.unit_rivals)
    if column.time_role:
        reason = f"the {column.time_role} of the rows"
    channel = Channel(
        key="",
        column=column.name,
        quantity=quantity,
        place=r.place,
        label=r.label,
        unit=canonical,
        source_unit=unit.symbol if unit is not None else "",
        factor=factor,
        offset=offset,
        hold=r.hold,
        cell=r.cell,
        reason=reason,
        score=min(1.0, r.score),
        rivals=rivals,
        text=words,
    )
    return Resolved(channel=channel, values=values)


_IN_WORDS = (Quantity.UNKNOWN, Quantity.STATUS, Quantity.TIME, Quantity.COUNT)


def _refuse_words(column: Column, notes: list[str], *, strict: bool) -> None:
    """A column whose unit promises numbers and whose cells are words would lose them all."""
    wanted = column.setting.quantity if column.setting is not None else None
    if wanted is None and not column.time_role and column.apart.unit is not None:
        wanted = next((r.quantity for r in column.readings if r.score >= 0.5), None)
    if wanted is None or wanted in _IN_WORDS:
        return
    assert column.text is not None
    cell = next((str(t) for t in column.text.to_pylist() if t and not is_blank(t)), "")
    emptied = UnreadableLog(
        f"no cell of this column is a number (the first is '{cell[:40]}'), though it is read as "
        f"{wanted.value}",
        column=column.title,
        hint=f"settle it with --set '{column.title}=ignore' or '{column.title}=status'",
    )
    if strict:
        raise emptied
    notes.append(str(emptied))


def _clean(
    column: Column,
    r: Reading,
    unit: Unit | None,
    values: FloatArray,
    notes: list[str],
    *,
    strict: bool,
) -> FloatArray:
    """Take out sentinels, convert, and take out the zeros before a sensor's first reading."""
    sentinels = find_sentinels(values, r.quantity, unit)
    for sentinel in sentinels:
        values = np.where(values == sentinel.raw, np.nan, values)
        notes.append(
            f"{count(sentinel.count, 'value')} of {sentinel.raw:g} in column '{column.title}' "
            f"{verb(sentinel.count, 'counts', 'count')} as no value ({sentinel.why})"
        )
    out = convert(values, unit) if unit is not None else values
    if r.quantity in (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE) and not r.hold:
        leading = leading_zeros(out)
        if leading:
            out = out.copy()
            out[:leading] = np.nan
            notes.append(
                f"column '{column.title}' is zero for {count(leading, 'row')} before its first "
                f"reading; that counts as no value"
            )
    if not np.isfinite(out).any():
        emptied = UnreadableLog(
            "no value of this column is left after conversion",
            column=column.title,
            hint="check its reading with 'busbook columns' and settle it with --set",
        )
        if strict:
            raise emptied
        notes.append(str(emptied))
    return out


def _turn_currents(out: list[Resolved], notes: list[str]) -> None:
    """Currents that count negative when drawn are turned round, and their counters with them."""
    for item in out:
        channel = item.channel
        if channel.quantity is not Quantity.CURRENT or item.values is None or channel.hold:
            continue
        voltage = next(
            (
                o.values
                for o in out
                if o.values is not None
                and o.channel.quantity is Quantity.VOLTAGE
                and o.channel.place == channel.place
                and not o.channel.hold
            ),
            None,
        )
        turned, why = reversed_current(item.values, voltage)
        if not turned:
            if why.startswith("its sign"):
                notes.append(f"column '{channel.column}': {why}; kept as it is")
            continue
        item.values = 0.0 - item.values
        _flip(item, f"turned round: {why}")
        notes.append(f"column '{channel.column}' was turned round: {why}")
        for other in out:
            if (
                other.values is not None
                and other.channel.place == channel.place
                and other.channel.quantity in (Quantity.POWER, Quantity.CONSUMED, Quantity.ENERGY)
                and _runs_against(other, item.values)
            ):
                other.values = 0.0 - other.values
                _flip(other, "turned round with the current")
                notes.append(
                    f"column '{other.channel.column}' was turned round with column "
                    f"'{channel.column}'"
                )


def _flip(item: Resolved, why: str) -> None:
    item.channel = replace(
        item.channel,
        factor=-item.channel.factor,
        offset=-item.channel.offset,
        reason=f"{item.channel.reason}; {why}",
    )


def _runs_against(item: Resolved, current: FloatArray) -> bool:
    values = item.values
    assert values is not None
    if item.channel.quantity is Quantity.POWER:
        return float(np.nansum(values * current)) < 0
    steps = np.diff(values)
    usual = np.nanpercentile(np.abs(steps), 99) if len(steps) else 0.0
    # Not the fall to zero where the counter starts again.
    small = np.abs(steps) <= max(10 * usual, 1e-12)
    return float(np.nansum(np.where(small, steps, 0.0) * current[1:])) < 0


def _name_keys(columns: Sequence[Column], out: list[Resolved]) -> None:
    used: dict[str, int] = {}
    plain = {
        (o.channel.quantity, o.channel.place)
        for o in out
        if not o.channel.hold and o.channel.place is not None
    }
    for column, item in zip(columns, out, strict=True):
        channel = item.channel
        if channel.hold == "mean" and (channel.quantity, channel.place) not in plain:
            channel = replace(channel, hold="")
        if (
            channel.quantity in (Quantity.UNKNOWN, Quantity.STATUS, Quantity.COUNT, Quantity.TIME)
            or channel.text
        ):
            key = column.title
        else:
            parts = [channel.place or "", channel.quantity.value, channel.hold,
                     "" if channel.cell is None else str(channel.cell)]  # fmt: skip
            key = "/".join(p for p in parts if p)
        used[key] = used.get(key, 0) + 1
        if used[key] > 1:
            base, number = key, used[key]
            while f"{base}/{number}" in used:
                number += 1
            key = f"{base}/{number}"
            used[key] = 1
        item.channel = replace(channel, key=key)
