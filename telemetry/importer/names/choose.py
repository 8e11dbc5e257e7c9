"""Which reading a column gets: settings first, then names, then what the values say.

A header is read by itself in `telemetry.importer.names.header`; here the columns of a log are
weighed against each other: a voltage without a place beside two packs is the bus's, numbers up to
six beside each other are no packs, two nodes in one wing keep their numbers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.evidence import Shape, judge_unit
from telemetry.importer.names.header import HeaderReading
from telemetry.importer.names.places import find_spots
from telemetry.importer.names.settings import Setting
from telemetry.importer.names.words import Role
from telemetry.model.channels import PlaceKind, Quantity, kind_of_place
from telemetry.model.units import UNITS, Unit

#: Readings whose weights are this close are alike, and put to the user, not chosen; farther apart
#: up to the second they are shown beside the one chosen (log odds, ours).
TIE, _NEAR = 0.55, 1.0
#: What it costs that the neighbours, not the name, tell what or where a column is (log odds, ours).
_BY_COMPANY = -1.0
#: What values that do not fit at all cost (log odds, ours).
_PER_MISFIT = -5.0
#: What values weigh for a quantity that only grow, that only fall, that do neither (log odds,
#: ours). From so many values on.
_COUNTING = {
    Quantity.CONSUMED: (1.5, -2.0, -1.5),
    Quantity.REMAINING: (-2.0, 0.0, 0.0),
    Quantity.CURRENT: (-2.0, 0.0, 0.0),
}
_MANY = 30
#: A voltage of a supply is no farther below zero than this part of its highest (heuristic: an
#: offset).
_BELOW_ZERO, _ROWS = 0.2, 20_000
#: A voltage of a supply is no farther below zero than this part of its highest (heuristic: an
#: offset).
_BELOW_ZERO, _ROWS = 0.2, 20_000
#: Packs that bare numbers may stand for: one or two feed a radio (common practice, no source).
_PACKS = 2
#: Of what is settled.
CERTAIN = 10.0
FloatArray = NDArray[np.float64]
#: Copies of one value are equal in this share of the rows (heuristic).
_COPY = 0.99
_ELECTRICAL = (
    Quantity.VOLTAGE,
    Quantity.CURRENT,
    Quantity.CONSUMED,
    Quantity.REMAINING,
    Quantity.POWER,
    Quantity.ENERGY,
)


@dataclass(slots=True, kw_only=True)
class Choice:
    """The reading of one column and what speaks for and against it.

    Attributes
    ----------
    reading : HeaderReading
    rivals : tuple of HeaderReading
        Readings that score about as well.
    unit : Unit or None
        As the values confirm or change it.
    why_unit : str
        What the values say about the unit, "" where they merely agree.
    fit : float
    forced : bool
        True where the user settled it.
    unit_rivals : tuple of Unit
    """

    reading: HeaderReading
    rivals: tuple[HeaderReading, ...] = ()
    unit: Unit | None = None
    why_unit: str = ""
    fit: float = 1.0
    forced: bool = False
    unit_rivals: tuple[Unit, ...] = ()


def choose(column: LogColumn) -> Choice:
    """The reading of one column by settings or by name, rivals kept."""
    if column.setting is not None:
        return _forced(column, column.setting)
    if column.time_role:
        return Choice(
            reading=HeaderReading(
                quantity=Quantity.TIME, unit=column.apart.unit, weight=CERTAIN, placed=True
            )
        )
    found = [
        replace(r, weight=r.weight + _of_values(column, r.quantity))
        for r in column.readings
        if _admissible(column, r)
    ]
    found = [r for r in found if r.weight > 0]
    found.sort(key=lambda r: -r.weight)
    if not found:
        return Choice(reading=_of_unit_clock(column) or _row_number(column) or _nothing(column))
    best = found[0]
    near = tuple(r for r in found[1:] if r.weight > best.weight - _NEAR)
    other = next((r for r in near if r.quantity is not best.quantity), None)
    if other is not None and other.weight > best.weight - TIE:
        reading = replace(
            _nothing(column),
            weight=best.weight,
            reason=f"either {best.quantity.value} ({best.reason}) or {other.quantity.value} "
            f"({other.reason}): not chosen",
        )
        return Choice(reading=reading, rivals=(best, *near))
    return Choice(reading=best, rivals=near)


def _forced(column: LogColumn, setting: Setting) -> Choice:
    why = column.setting_from or "as you set it"
    if setting.ignore:
        why = f"left out, {why}"
    unit = setting.unit or column.apart.unit or column.cell_unit
    label = next((r.label for r in column.readings), column.title)
    reading = HeaderReading(
        quantity=setting.quantity,
        place=setting.place,
        unit=unit,
        reason=why,
        label=label,
        hold=setting.hold,
        cell=setting.cell,
        weight=CERTAIN,
        placed=True,
    )
    return Choice(reading=reading, forced=True)


def _nothing(column: LogColumn) -> HeaderReading:
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
    elif column.readings or any(w.has(Role.QUANTITY) for w in column.apart.words):
        why = "its words, unit and values do not fit together"
    else:
        why = "no word of the name is known"
    return HeaderReading(
        quantity=Quantity.UNKNOWN,
        unit=unit,
        weight=-CERTAIN,
        reason=why + named,
        label=column.title,
    )


def by_company(columns: Sequence[LogColumn], chosen: list[Choice]) -> None:
    """Settle what the neighbours tell: sticks among sticks, a receiver's supply beside packs.

    Parameters
    ----------
    columns : sequence of LogColumn
    chosen : list of Choice
        Changed in place.
    """
    controls = [c for c in chosen if c.reading.quantity is Quantity.CONTROL]
    # "Quer", "Seite": whoever names his sticks so means the elevator by "Höhe".
    short = any(
        c.reading.quantity is Quantity.CONTROL and _is_stick(columns[i])
        for i, c in enumerate(chosen)
    )
    letters = {"a", "v"} <= {c.title for c in columns}
    for i, choice in enumerate(chosen):
        r = choice.reading
        if choice.forced:
            continue
        if columns[i].title in ("a", "v") and not letters:
            # One of "a", "b", "c" rather than amperes, unless volts stand beside it.
            choice.reading, choice.rivals = replace(_nothing(columns[i]), unit=None), (r,)
            continue
        stick = next((x for x in choice.rivals if x.quantity is Quantity.CONTROL), None)
        stick = stick or next(
            (x for x in columns[i].readings if x.quantity is Quantity.CONTROL), None
        )
        inside = columns[i].shape.count > 0 and columns[i].shape.top <= 160
        taken = stick is not None and any(c.reading.place == stick.place for c in controls)
        if r.quantity is Quantity.ALTITUDE and stick is not None and short and inside and not taken:
            why = f"{stick.reason}; it stands among other controls"
            choice.reading, choice.rivals = replace(stick, reason=why), (r,)
            continue
        other = next(
            (x for x in choice.rivals if x.quantity is r.quantity and x.place != r.place), None
        )
        if other is None or r.place is None or not r.place.startswith("pack"):
            continue
        packs = [
            c.reading
            for c in chosen
            if c is not choice
            and c.reading.quantity is r.quantity
            and (c.reading.place or "").startswith("pack ")
        ]
        if packs and (other.place or "").startswith("receiver"):
            why = f"{other.reason}; the packs have columns of their own"
            choice.reading, choice.rivals = replace(other, reason=why), ()


def _is_stick(column: LogColumn) -> bool:
    return len(column.apart.words) == 1 and column.apart.words[0].has(Role.STICK)


def _of_unit_clock(column: LogColumn) -> HeaderReading | None:
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
        weight=timed.weight + _BY_COMPANY,
        reason=f"a time of {place} beside the clock of the rows: how long it has been on",
    )


def _row_number(column: LogColumn) -> HeaderReading | None:
    """A column without a telling name that counts the rows."""
    values = column.numbers
    if values is None or any(w.meanings for w in column.apart.words) or len(values) < 3:
        return None
    if values[0] not in (0.0, 1.0) or not np.all(np.diff(values) == 1.0):
        return None
    return HeaderReading(quantity=Quantity.COUNT, weight=-_BY_COMPANY, reason="it counts the rows")


def _admissible(column: LogColumn, reading: HeaderReading) -> bool:
    """Whether the cells can be what the name says."""
    if column.text is not None and reading.quantity is not Quantity.STATUS:
        return False
    return reading.quantity is not Quantity.TIME


def _of_values(column: LogColumn, quantity: Quantity) -> float:
    """What the values weigh for a quantity: a counter only grows, what is left only falls."""
    shape, values = column.shape, column.numbers
    if quantity is Quantity.VOLTAGE and values is not None and shape.low < 0:
        # One number over and over stands for no value.
        below = values[:_ROWS][values[:_ROWS] < -_BELOW_ZERO * np.nanmax(values[:_ROWS])]
        if len(np.unique(below)) > _MANY:
            return -CERTAIN
    if shape.count < _MANY:
        return 0.0
    grows, falls, neither = _COUNTING.get(quantity, (0.0, 0.0, 0.0))
    return grows if shape.only_grows else falls if shape.only_falls else neither


def place_the_unplaced(columns: Sequence[LogColumn], chosen: list[Choice]) -> None:
    """Find the place of electrical columns whose name tells none, from the other columns."""
    _one_name_for_several(columns, chosen)
    taken: dict[Quantity, set[str]] = defaultdict(set)
    for choice in chosen:
        r = choice.reading
        if r.place is not None and r.placed:
            taken[r.quantity].add(r.place)
    packs = {p for places in taken.values() for p in places if p.startswith("pack ")}
    for i, choice in enumerate(chosen):
        r = choice.reading
        if r.place is not None or choice.forced or r.quantity not in _ELECTRICAL:
            continue
        if columns[i].blank or columns[i].text is not None:
            continue
        others = {p for p in packs if p in taken[r.quantity]} or (
            packs if len(packs) > 1 else set()
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
            chosen[i].reading = replace(
                r, place=own, own_word=True, reason=f"{r.reason}; place not known"
            )
            continue
        chosen[i].reading = replace(
            r, place=place, reason=f"{r.reason}; {why}", weight=r.weight + _BY_COMPANY
        )
        taken[r.quantity].add(place)


def _one_name_for_several(columns: Sequence[LogColumn], chosen: list[Choice]) -> None:
    """Columns under one name that tells no place, and with other values: which is which is open."""
    groups: dict[str, list[int]] = defaultdict(list)
    for i, choice in enumerate(chosen):
        r, numbers = choice.reading, columns[i].numbers
        loose = r.place is None and r.quantity in _ELECTRICAL and not choice.forced
        if loose and numbers is not None and not columns[i].blank:
            groups[" ".join(columns[i].name.split())].append(i)
    for name, group in groups.items():
        first = columns[group[0]].numbers
        if all(_equal(first, columns[i].numbers) for i in group[1:]):
            continue
        for i in group:
            r = chosen[i].reading
            unit = judge_unit(columns[i].shape, r.quantity, r.unit).unit
            why = f"{len(group)} columns are named '{name}' and hold other values: no place told"
            chosen[i] = Choice(reading=replace(_nothing(columns[i]), unit=unit, reason=why))


def _equal(a: FloatArray | None, b: FloatArray | None) -> bool:
    """True where two columns hold the same in nearly all rows that both have."""
    assert a is not None
    assert b is not None
    both = np.isfinite(a) & np.isfinite(b)
    return bool(both.any()) and float(np.mean(a[both] == b[both])) >= _COPY


def tell_apart(chosen: list[Choice]) -> None:
    """Two nodes in one wing: columns that share place and quantity get their closer names."""
    groups: dict[tuple[object, ...], list[Choice]] = defaultdict(list)
    for choice in chosen:
        r = choice.reading
        if r.place is not None and not choice.forced:
            groups[(r.quantity, r.place, r.hold, r.cell, r.copy_of)].append(choice)
    for group in groups.values():
        names = {c.reading.closer for c in group}
        if len(group) > 1 and len(names) == len(group):
            for choice in group:
                place = choice.reading.closer or choice.reading.place
                choice.reading = replace(choice.reading, place=place)


def check(column: LogColumn, choice: Choice, notes: list[str]) -> Choice:
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
    choice.reading = replace(r, weight=r.weight + _PER_MISFIT * (1.0 - judged.fit))
    choice.unit, choice.why_unit, choice.unit_rivals = judged.unit, judged.why, judged.rivals
    return choice


def _charge_unit(unit: Unit | None, shape: Shape) -> Unit:
    if unit is not None and unit.symbol == "mA":
        return UNITS["mAh"]
    return UNITS["Ah"] if shape.high < 15 and not shape.whole else UNITS["mAh"]
