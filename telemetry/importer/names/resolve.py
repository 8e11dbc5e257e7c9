"""Columns to channels: all columns of a log together, their values converted and checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.cells import is_blank
from telemetry.importer.names.choose import (
    Choice,
    by_company,
    check,
    choose,
    place_the_unplaced,
    tell_apart,
)
from telemetry.importer.names.columns import LogColumn, Resolved, name_keys
from telemetry.importer.names.evidence import reversed_current
from telemetry.importer.names.header import HeaderReading
from telemetry.importer.names.pattern.belonging import join_halves, set_apart
from telemetry.importer.names.pattern.cutting import LIKE
from telemetry.importer.names.pattern.learning import read_families
from telemetry.importer.names.pattern.numbered import settle_numbers
from telemetry.importer.names.scaling import settle_units
from telemetry.importer.names.settings import text_of
from telemetry.importer.names.values import (
    convert,
    find_sentinels,
    finite,
    garbage_at_the_ends,
    leading_zeros,
    zeros_in_a_counter,
)
from telemetry.importer.names.words import fits
from telemetry.importer.wording import count, verb
from telemetry.model.channels import CANONICAL_UNIT, Channel, Quantity
from telemetry.model.errors import UnreadableLog
from telemetry.model.units import Unit
from telemetry.model.unsettled import set_option
from telemetry.numerics.coupling import supply_like
from telemetry.numerics.wild import sound

FloatArray = NDArray[np.float64]


def resolve(
    columns: Sequence[LogColumn],
    notes: list[str],
    *,
    time_s: FloatArray | None = None,
    strict: bool = True,
) -> list[Resolved]:
    """Settle the reading of every column and convert its values.

    Parameters
    ----------
    columns : sequence of LogColumn
    notes : list of str
        What the user should know is added to it.
    time_s : ndarray or None
        Of the rows in the order of the file, NaN for rows without one: lets currents and counters
        of charge tell the units of each other.
    strict : bool
        False: a column that conversion empties is noted, not an error, and the columns keep
        their raw values; True: they give them up.

    Returns
    -------
    list of Resolved
        One for each column, in order.
    """
    read_families(columns)
    chosen = [choose(c) for c in columns]
    by_company(columns, chosen)
    tell_apart(chosen)
    settle_numbers(columns, chosen)
    place_the_unplaced(columns, chosen)
    chosen = [check(c, r, notes) for c, r in zip(columns, chosen, strict=True)]
    settle_units(columns, chosen, notes, time_s)
    out = []
    for column, choice in zip(columns, chosen, strict=True):
        out.append(_finish(column, choice, notes, strict=strict))
        if strict:
            column.numbers = None  # frees the raw values where they were converted
    _blank_garbage(out, notes)
    _blank_link_losses(out, notes)
    _turn_currents(out, notes)
    set_apart(chosen, out, notes)
    join_halves(out)
    _mark_supplies(out)
    name_keys(columns, out, notes)
    return out


def _finish(column: LogColumn, choice: Choice, notes: list[str], *, strict: bool) -> Resolved:
    r, unit = choice.reading, choice.unit
    reason = r.reason + (f"; {choice.why_unit}" if choice.why_unit else "")
    quantity = r.quantity
    words = column.text is not None
    ignored = column.setting is not None and column.setting.ignore
    values = None if words or column.blank or ignored or column.time_role else column.numbers
    if words and not ignored and not column.blank:
        _refuse_words(column, notes, strict=strict)
    canonical = CANONICAL_UNIT.get(quantity, "") or (unit.canonical if unit is not None else "")
    if unit is not None and quantity in _AS_IN_THE_FILE:
        canonical, factor, offset = unit.symbol, 1.0, 0.0
    elif unit is not None:
        factor, offset = unit.factor, unit.offset
    else:
        factor, offset = 1.0, 0.0
    if values is not None:
        scale = None if quantity in _AS_IN_THE_FILE else unit
        values = _clean(column, r, scale, values, notes, strict=strict)
    rivals = tuple(_rival(x, unit) for x in choice.rivals) + tuple(
        text_of(quantity, r.place, u.symbol, r.hold, r.cell) for u in choice.unit_rivals
    )
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
        own_word=r.own_word,
    )
    return Resolved(channel=channel, values=values)


def _rival(rival: HeaderReading, unit: Unit | None) -> str:
    """A rival reading in the form of a setting, in the unit of the column where that fits it."""
    named = rival.unit or (unit if fits(rival.quantity, unit) else None)
    symbol = named.symbol if named is not None else CANONICAL_UNIT.get(rival.quantity, "")
    return text_of(rival.quantity, rival.place, symbol, rival.hold, rival.cell)


_AS_IN_THE_FILE = (Quantity.UNKNOWN, Quantity.STATUS, Quantity.COUNT)
_IN_WORDS = (*_AS_IN_THE_FILE, Quantity.TIME)


def _refuse_words(column: LogColumn, notes: list[str], *, strict: bool) -> None:
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
        hint="settle it with "
        + set_option(column.title, "ignore", "status", number=column.index + 1),
    )
    if strict:
        raise emptied
    notes.append(str(emptied))


def _clean(
    column: LogColumn,
    r: HeaderReading,
    unit: Unit | None,
    values: FloatArray,
    notes: list[str],
    *,
    strict: bool,
) -> FloatArray:
    """Take out sentinels, convert, and take out the zeros before a sensor's first reading."""
    while sentinels := find_sentinels(values, r.quantity, unit):
        for sentinel in sentinels:
            values = np.where(values == sentinel.raw, np.nan, values)
            notes.append(
                f"{count(sentinel.count, 'value')} of {sentinel.raw:g} in column '{column.title}' "
                f"{verb(sentinel.count, 'counts', 'count')} as no value ({sentinel.why})"
            )
    out = finite(convert(values, unit)) if unit is not None else values
    voltage = r.quantity in (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE) and not r.hold
    if voltage and np.any(out == 0.0):
        leading = leading_zeros(sound(out, r.quantity))
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
            hint=f"check it with 'busbook columns', or leave it out: "
            f"{set_option(column.title, 'ignore', number=column.index + 1)}",
        )
        if strict:
            raise emptied
        notes.append(str(emptied))
    return out


def _blank_garbage(out: Sequence[Resolved], notes: list[str]) -> None:
    """Rows at the ends of the file in which nearly nothing can be a reading hold none."""
    items = [o for o in out if o.values is not None]
    first, last = garbage_at_the_ends([o.values for o in items if o.values is not None])
    for number, where, rows in (
        (first, "first", slice(0, first)),
        (last, "last", slice(-last or None, None)),
    ):
        if not number:
            continue
        for item in items:
            assert item.values is not None
            item.values = item.values.copy()
            item.values[rows] = np.nan
        notes.append(
            f"the {where} {count(number, 'row')} {verb(number, 'holds', 'hold')} numbers far from "
            f"all others in most columns: no readings"
        )


def _blank_link_losses(out: Sequence[Resolved], notes: list[str]) -> None:
    """Zeros of a counter that then goes on from where it was are no values.

    A counter cannot fall and go on: the unit was not heard, and the logger printed zeros. The
    same rows of that place's voltages and currents are no values either where they are zero.
    """
    for item in out:
        channel = item.channel
        if channel.quantity not in (Quantity.CONSUMED, Quantity.UPTIME) or item.values is None:
            continue
        lost = zeros_in_a_counter(item.sound)
        if not lost.any():
            continue
        for other in out:
            same = other.channel.place == channel.place and other.values is not None
            if not (other is item or (same and other.channel.quantity in _FROM_THE_UNIT)):
                continue
            assert other.values is not None
            gone = lost & (other.values == 0.0)
            if gone.any():
                other.values = np.where(gone, np.nan, other.values)
        notes.append(
            f"column '{channel.column}' is zero in {count(int(lost.sum()), 'row')} and then goes "
            f"on from where it was: no value there, nor in the zeros of {channel.place or 'it'}"
        )


#: Voltages and currents that a column that is not understood is held against, of each at most.
_PARTNERS = 6
_FROM_THE_UNIT = (
    Quantity.VOLTAGE,
    Quantity.CELL_VOLTAGE,
    Quantity.CURRENT,
    Quantity.POWER,
    Quantity.TEMPERATURE,
    Quantity.CONSUMED,
    Quantity.UPTIME,
)


def _beside(out: Sequence[Resolved], quantity: Quantity, place: str | None) -> FloatArray | None:
    """The first values of a quantity at a place that are no minimum or maximum held."""
    return next(
        (
            o.sound
            for o in out
            if o.values is not None
            and o.channel.quantity is quantity
            and o.channel.place == place
            and not o.channel.hold
        ),
        None,
    )


def _other_pack(out: Sequence[Resolved], place: str | None) -> FloatArray | None:
    """What another pack gives, each value held until the next, where this place is a pack too."""
    if not (place or "").startswith("pack "):
        return None
    packs = dict.fromkeys(
        o.channel.place for o in out if (o.channel.place or "").startswith("pack ")
    )
    others = (_beside(out, Quantity.CURRENT, p) for p in packs if p != place)
    given = next((x for x in others if x is not None and np.nansum(x) > 0), None)
    if given is None:
        return None
    last = np.maximum.accumulate(np.where(np.isfinite(given), np.arange(given.size), 0))
    return given[last]


def _turn_currents(out: list[Resolved], notes: list[str]) -> None:
    """Currents that count negative when drawn are turned round, and their counters with them."""
    for item in out:
        channel = item.channel
        if channel.quantity is not Quantity.CURRENT or item.values is None or channel.hold:
            continue
        if not np.any(item.values < 0.0):
            continue
        voltage = _beside(out, Quantity.VOLTAGE, channel.place)
        turned, why = reversed_current(item.sound, voltage, _other_pack(out, channel.place))
        if not turned:
            if turned is None:
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
                and _runs_against(other, item.sound)
            ):
                other.values = 0.0 - other.values
                _flip(other, "turned round with the current")
                notes.append(
                    f"column '{other.channel.column}' was turned round with column "
                    f"'{channel.column}'"
                )


def _mark_supplies(out: Sequence[Resolved]) -> None:
    """Say of columns that are not understood which go with a voltage or current of the log."""
    filled = [(o.channel.quantity, o.values) for o in out if o.values is not None]
    unknown = [values for quantity, values in filled if quantity is Quantity.UNKNOWN]
    if not unknown:
        return
    volts, amps = (
        [v for q, v in filled if q is quantity] or [v for v in unknown if like(v)]
        for quantity, like in LIKE.items()
    )
    for item in out:
        known = item.channel.looks_like or item.channel.quantity is not Quantity.UNKNOWN
        if not known and item.values is not None:
            found = supply_like(item.values, volts[:_PARTNERS], amps[:_PARTNERS])
            item.channel = replace(item.channel, looks_like=found)


def _flip(item: Resolved, why: str) -> None:
    item.channel = replace(
        item.channel,
        factor=-item.channel.factor,
        offset=-item.channel.offset,
        reason=f"{item.channel.reason}; {why}",
    )


def _runs_against(item: Resolved, current: FloatArray) -> bool:
    both = np.isfinite(item.sound) & np.isfinite(current)
    values, amps = item.sound[both], current[both]
    if item.channel.quantity is Quantity.POWER:
        return float(np.sum(values * amps)) < 0
    steps = np.diff(values)
    usual = np.percentile(np.abs(steps), 99) if len(steps) else 0.0
    # Not the fall to zero where the counter starts again.
    small = np.abs(steps) <= max(10 * usual, 1e-12)
    return float(np.sum(np.where(small, steps, 0.0) * amps[1:])) < 0
