"""Sides that only two columns together tell: "FL li" beside "FL re", "Port" beside "Starboard"."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.header_cell import Name, Word
from telemetry.importer.names.words import Meaning, Role, fold

#: What a word that may be a side weighs for it where the other side stands in its place (log odds,
#: heuristic): as much as a word that is nothing else.
_SURE = 2.0


def sided(columns: Sequence[LogColumn]) -> Iterator[tuple[LogColumn, Name]]:
    """Names in which a word that may be a side is one, for another name differs in the side alone.

    Parameters
    ----------
    columns : sequence of LogColumn

    Yields
    ------
    (LogColumn, Name)
        What changes.
    """
    slots: dict[tuple[str, ...], dict[str, str]] = defaultdict(dict)
    for column in columns:
        words = column.apart.words
        plain = [fold(w.text) for w in words]
        for i, word in enumerate(words):
            if word.has(Role.SIDE):
                slots[(*plain[:i], "", *plain[i + 1 :])][plain[i]] = word.value(Role.SIDE)
    sides = {w: s for slot in slots.values() if len({*slot.values()}) > 1 for w, s in slot.items()}
    for column in columns:
        words = tuple(_as_side(w, sides.get(fold(w.text), "")) for w in column.apart.words)
        # The weight of a meaning takes no part in a comparison.
        if any(new is not old for new, old in zip(words, column.apart.words, strict=True)):
            yield column, replace(column.apart, words=words)


def _as_side(word: Word, side: str) -> Word:
    known = next((m for m in word.meanings if m.role is Role.SIDE), None)
    if not side or known is None or (len(word.meanings) == 1 and known.weight >= _SURE):
        return word
    return replace(word, meanings=(Meaning(Role.SIDE, side, max(_SURE, known.weight)),))
