"""Numbers without a part: the packs, cells or places they stand for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from telemetry.importer.names.choose import Choice
from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.header import HeaderReading
from telemetry.model.channels import Quantity

#: Packs that bare numbers may stand for: one or two feed a radio (common practice, no source).
_PACKS = 2


def settle_numbers(columns: Sequence[LogColumn], chosen: list[Choice]) -> None:
    """Numbers without a part ("U1" to "U6", "A1" to "A4"): the packs only where there are two.

    Beyond two, or beside packs that are named, they are cells or places of their own number.

    Parameters
    ----------
    columns : sequence of LogColumn
    chosen : list of Choice
        Changed in place.
    """
    groups: dict[str, dict[int, int]] = defaultdict(dict)
    for i, choice in enumerate(chosen):
        r = choice.reading
        if r.bare_number is not None and not choice.forced:
            groups[r.closer.rstrip("0123456789")][i] = r.bare_number
    for code, numbers in groups.items():
        group = {i: chosen[i].reading for i in numbers}
        as_packs = {i: r.quantity for i, r in group.items() if _is_pack(r)}
        named = any(
            _is_pack(c.reading) and c.reading.quantity in as_packs.values()
            for i, c in enumerate(chosen)
            if i not in group
        )
        coded = any(r.quantity is Quantity.CELL_VOLTAGE for r in group.values())
        most = max((numbers[i] for i in as_packs), default=0)
        if most <= _PACKS and not (named or coded):
            continue
        own = {f"{code}{number}" for number in numbers.values()}
        drawn = any(
            c.reading.quantity is Quantity.CURRENT and c.reading.place in own for c in chosen
        )
        volts = set(as_packs.values()) <= {Quantity.VOLTAGE, Quantity.CELL_VOLTAGE}
        cells = volts and not drawn and _of_cells(columns, as_packs)
        for i, number in numbers.items():
            r = group[i]
            if cells and i in as_packs:
                why = f"{r.quantity_reason}; one of {len(as_packs)} numbered cells"
                quantity, place, cell = Quantity.CELL_VOLTAGE, "pack 1", number
            else:
                why = f"{r.quantity_reason}; number {number} of {len(numbers)} without a part"
                plain = r.quantity is not Quantity.CELL_VOLTAGE
                quantity, cell = r.quantity if plain else Quantity.VOLTAGE, None
                place = f"{code}{number}" if code else f"channel {number}"
            chosen[i].reading = replace(
                r, quantity=quantity, place=place, cell=cell, own_word=bool(code), reason=why
            )
    supplied = {c.reading.place for c in chosen if c.reading.quantity is Quantity.CURRENT}
    for choice in chosen:
        r = choice.reading
        if r.own_word and r.quantity is Quantity.CELL_VOLTAGE and r.place in supplied:
            why = f"{r.place} has a current of its own, as no single cell has"
            choice.reading = replace(r, quantity=Quantity.VOLTAGE, reason=why)


def _is_pack(reading: HeaderReading) -> bool:
    return (reading.place or "").startswith("pack ")


def _of_cells(columns: Sequence[LogColumn], indexes: Iterable[int]) -> bool:
    shapes = [columns[i].shape for i in indexes if columns[i].shape.count]
    return bool(shapes) and all(
        any(2.0 <= s.top * f <= 4.5 for f in (1.0, 0.01, 0.001)) for s in shapes
    )
