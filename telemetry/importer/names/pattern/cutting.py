"""Names cut where only their neighbours show how: symbols glued to codes, running numbers."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.header_cell import Name, split_words
from telemetry.importer.names.words import SYMBOL_WEIGHTS, fits, fold
from telemetry.model.channels import Quantity
from telemetry.numerics.coupling import like_a_current, like_a_voltage

Stem = tuple[str, ...]

#: Columns from which on their running numbers are seen as such (heuristic).
_LEAST_NUMBERED = 4
#: Letters of a code with a symbol glued to it ("WLU", "UWL"), at most.
_LONGEST_CODE = 5
#: Quantities that numbers alone can look like.
LIKE = {Quantity.VOLTAGE: like_a_voltage, Quantity.CURRENT: like_a_current}


def unnumbered(columns: Sequence[LogColumn]) -> list[tuple[LogColumn, Name]]:
    """Names without the running number of their column: "10 Bus voltage", "11 Bus current".

    Parameters
    ----------
    columns : sequence of LogColumn

    Returns
    -------
    list of (LogColumn, Name)
        What changes.
    """
    named = [c for c in columns if c.apart.words]
    offsets = Counter(
        c.apart.words[0].number - c.index for c in named if c.apart.words[0].number is not None
    )
    offset, count = next(iter(offsets.most_common(1)), (0, 0))
    if count < max(_LEAST_NUMBERED, len(named) - 1):  # the clock may have none
        return []
    return [
        (c, replace(c.apart, words=c.apart.words[1:]))
        for c in named
        if c.apart.words[0].number == c.index + offset
    ]


def unglued(columns: Sequence[LogColumn]) -> Iterator[tuple[LogColumn, Name]]:
    """Names with a symbol glued to a code taken apart: "WLU" beside "WLI".

    Parameters
    ----------
    columns : sequence of LogColumn

    Yields
    ------
    (LogColumn, Name)
        What changes.
    """
    for front in (False, True):
        groups: dict[Stem, dict[str, tuple[LogColumn, int]]] = defaultdict(dict)
        for column in columns:
            words = column.apart.words
            for i, word in enumerate(words):
                if (
                    word.meanings
                    or not 2 <= len(word.text) <= _LONGEST_CODE
                    or not word.text.isalpha()
                ):
                    continue
                letter = word.text[0 if front else -1].upper()
                code = word.text[1:] if front else word.text[:-1]
                if letter in SYMBOL_WEIGHTS:
                    rest = [fold(w.text) for w in words]
                    key = (*rest[:i], fold(code), "", *rest[i + 1 :])
                    groups[key].setdefault(letter, (column, i))
        for group in groups.values():
            if _agree(group):
                for column, i in group.values():
                    yield column, _cut(column.apart, i, front=front)


def _agree(group: dict[str, tuple[LogColumn, int]]) -> bool:
    """Whether the letters of a code name the quantities of its columns: a voltage and a current."""
    volts = [group[letter][0] for letter in "UVE" if letter in group]
    amps = [group[letter][0] for letter in "IA" if letter in group]
    return any(may_be(v, Quantity.VOLTAGE) for v in volts) and any(
        may_be(a, Quantity.CURRENT) for a in amps
    )


def may_be(column: LogColumn, quantity: Quantity) -> bool:
    """Whether unit or values of a column are what a quantity has."""
    unit = column.apart.unit or column.cell_unit
    if unit is not None:
        return fits(quantity, unit)
    like = LIKE.get(quantity)
    return like is not None and column.numbers is not None and like(column.numbers)


def _cut(name: Name, i: int, *, front: bool) -> Name:
    text = name.words[i].text
    pieces = (text[:1], text[1:]) if front else (text[:-1], text[-1:])
    cut = tuple(w for piece in pieces for w in split_words(piece))
    return replace(name, words=(*name.words[:i], *cut, *name.words[i + 1 :]))
