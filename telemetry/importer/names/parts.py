"""Words for parts of the aircraft with the numbers, letters and sides that belong to them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.importer.names.header_cell import Word
from telemetry.importer.names.words import Role, fold

#: Letters that number packs, nodes and receivers.
LETTERS = ("A", "B", "C", "D")
LETTER_INDEX = {"a": 1, "b": 2, "c": 3, "d": 4}


@dataclass(frozen=True, slots=True)
class NamedPart:
    """A word for a part with the number or letter that belongs to it.

    Attributes
    ----------
    kind : str
        "pack", "wing", "aileron", ...
    word : Word
    number : int or None
    letter : str
        In lower case, "" without.
    """

    kind: str
    word: Word
    number: int | None
    letter: str = ""


def find_parts(words: tuple[Word, ...]) -> tuple[list[NamedPart], int | None]:
    """Words for parts, each with its number; and a number that belongs to no part.

    Parameters
    ----------
    words : tuple of Word
    """
    found: list[NamedPart] = []
    used: set[int] = set()
    for i, word in enumerate(words):
        kind = _kind(word, words)
        if not kind:
            continue
        number, at = _number_near(words, i, used)
        letter = ""
        if at is None:
            nxt = words[i + 1].text if i + 1 < len(words) else ""
            if kind in ("pack", "node", "receiver", "bus", "servo") and nxt.upper() in LETTERS:
                letter = nxt.lower()
        else:
            used.add(at)
        found.append(NamedPart(kind, word, number, letter))
    loose = next(
        (w.number for i, w in enumerate(words) if w.number is not None and i not in used), None
    )
    bare = [i for i, part in enumerate(found) if part.number is None and not part.letter]
    if loose is not None and len(bare) == 1 and found[bare[0]].kind not in ("main", "supply"):
        # "Empfängerspannung 2": the number behind the quantity belongs to the one part.
        found[bare[0]] = replace(found[bare[0]], number=loose)
        loose = None
    return found, loose


def _kind(word: Word, words: tuple[Word, ...]) -> str:
    if word.has(Role.PLACE):
        kind = word.value(Role.PLACE)
        if (
            kind == "output"
            and word.text.casefold() == "port"
            and any(w.has(Role.BODY) or w.has(Role.SURFACE) for w in words)
        ):
            return ""  # the port wing
        if kind == "channel" and word.meanings[0].role is not Role.PLACE:
            return ""
        return kind
    if word.has(Role.BODY):
        return word.value(Role.BODY)
    if word.has(Role.SURFACE):
        return word.value(Role.SURFACE)
    return ""


def _number_near(words: tuple[Word, ...], i: int, used: set[int]) -> tuple[int | None, int | None]:
    """The number that belongs to word i: behind it (over filler words), else just before it."""
    j = i + 1
    while j < len(words) and words[j].has(Role.NOISE) and words[j].number is None:
        j += 1
    if j < len(words) and words[j].number is not None and j not in used:
        return words[j].number, j
    if i > 0 and words[i - 1].number is not None and i - 1 not in used:
        # "2. Akku", "1st pack"; but in "U1 Akku" the number belongs to the symbol before it.
        return words[i - 1].number, i - 1
    return None, None


def find_side(words: tuple[Word, ...], by: dict[str, NamedPart]) -> tuple[str, str]:
    """The side a name speaks of, and the word for it; ("", "") for none.

    Parameters
    ----------
    words : tuple of Word
    by : dict of str to Part
        The parts of the name by kind.
    """
    bodily = any(w.has(Role.BODY) or w.has(Role.SURFACE) for w in words) or any(
        kind in by for kind in ("node", "servo", "unit", "receiver", "channel")
    )
    weak: tuple[str, str] = ("", "")
    for i, word in enumerate(words):
        if word.has(Role.SIDE):
            text = fold(word.text)
            if text == "port" and not bodily:
                continue
            if text in ("der", "li", "re", "sin", "lev") and not (bodily or len(words) <= 2):
                continue
            if text == "der" and i < len(words) - 1 and not words[i - 1].has(Role.BODY):
                continue
            return word.value(Role.SIDE), word.text
        if len(word.text) == 1 and word.text.casefold() in "lrgd" and not word.number:
            letter = word.text.casefold()
            french = any(fold(w.text) in ("aile", "ailes", "panneau", "voilure") for w in words)
            if letter in "gd" and not french:
                continue
            if bodily:
                return ("left" if letter in "lg" else "right"), word.text
            if letter in "lr" and word.text.isupper():
                weak = ("left" if letter == "l" else "right"), word.text
    if weak[0] and (len(words) == 2 or any(w.text in ("U", "I", "V", "A") for w in words)):
        return weak
    return "", ""
