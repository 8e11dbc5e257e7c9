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
#: Letters that are sides where they are the two that stand in one place of a name: "stab G", "stab
#: D", in English and French.
_LETTERS = ({"l": "left", "r": "right"}, {"g": "left", "d": "right"})


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
            side = word.value(Role.SIDE) if word.has(Role.SIDE) else ""
            if side or (len(plain[i]) == 1 and len(words) > 1):
                slots[(*plain[:i], "", *plain[i + 1 :])][plain[i]] = side
    sides: dict[str, str] = {}
    for slot in slots.values():
        said = {w: s for w, s in slot.items() if s}
        found = next((x for x in _LETTERS if x.keys() == slot.keys()), said)
        if {"left", "right"} == {*found.values()}:
            sides |= found
    for column in columns:
        words = tuple(_as_side(w, sides.get(fold(w.text), "")) for w in column.apart.words)
        # The weight of a meaning takes no part in a comparison.
        if any(new is not old for new, old in zip(words, column.apart.words, strict=True)):
            yield column, replace(column.apart, words=words)


def _as_side(word: Word, side: str) -> Word:
    known = max((m.weight for m in word.meanings if m.role is Role.SIDE), default=0.0)
    if not side or (len(word.meanings) == 1 and known >= _SURE):
        return word
    return replace(word, meanings=(Meaning(Role.SIDE, side, max(_SURE, known)),))
