"""The dictionary: what single words of a header mean, in fifteen languages.

English, German, French, Spanish, Italian, Dutch, Czech, Polish, Hungarian, Finnish, Swedish,
Danish, Norwegian, Portuguese, Japanese. It holds meanings (a quantity, a part of the aircraft, a
side, a hold, ...), never whole headers: `telemetry.importer.names.header` composes a reading from
them. Words are matched without case and accents; "ä" also as "ae".
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from importlib.resources import files
from itertools import pairwise


class Role(StrEnum):
    """The part a word plays in a header."""

    QUANTITY = "quantity"
    TIME = "time"
    PLACE = "place"  # a part that takes a number: pack, receiver, node, servo, cell, ...
    BODY = "body"  # a part of the airframe: wing, tail, fuselage, ...
    SURFACE = "surface"
    SIDE = "side"
    POSITION = "position"  # inner, outer, front, rear, upper, lower
    HOLD = "hold"
    TOTAL = "total"
    ORDINAL = "ordinal"
    SETTING = "setting"  # an alarm, limit or state: no reading of the thing it names
    CONTROL = "control"
    STICK = "stick"  # a surface's short name where it stands alone
    NOISE = "noise"


@dataclass(frozen=True, slots=True)
class Meaning:
    """One meaning of a word, and what the word weighs for it (log odds)."""

    role: Role
    value: str
    weight: float = field(default=0.0, compare=False)


# Letters that no decomposition of Unicode takes their stroke from.
_UNDIVIDED = str.maketrans(
    {"\u0153": "oe", "\u00e6": "ae", "\u00f8": "o", "\u0142": "l", "\u0111": "d", "\u0131": "i"}
)


def fold(word: str) -> str:
    """A word without case and accents: "Höhe" -> "hohe", "Fläche" -> "flache", "ß" -> "ss"."""
    if word.isascii():
        return word.lower()
    flat = unicodedata.normalize("NFKD", word.casefold().translate(_UNDIVIDED))
    return "".join(ch for ch in flat if not unicodedata.combining(ch))


_PAIRS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe"})


def _spellings(word: str) -> set[str]:
    """A dictionary word as it may be written: accents dropped, or umlauts as two letters."""
    lower = word.casefold()
    return {fold(lower), fold(lower.translate(_PAIRS))}


@cache
def dictionary() -> dict[str, tuple[Meaning, ...]]:
    """All words of ``vocabulary.txt`` with their meanings, the likeliest first.

    Words that mean something together are one entry with a blank between them.
    """
    found: dict[str, dict[Meaning, None]] = {}
    meaning = Meaning(Role.NOISE, "")
    text = files(__package__).joinpath("vocabulary.txt").read_text(encoding="utf-8")
    for line in text.splitlines():
        if line.startswith("#") or not line:
            continue
        if not line.startswith(" "):
            role, value, weight, *_ = [*line.split(), "", "0"]
            meaning = Meaning(Role(role), value, float(weight or 0))
            continue
        for word in line.split():
            for spelling in _spellings(word.replace("_", " ")):
                found.setdefault(spelling, {}).setdefault(meaning)
    return {word: tuple(meanings) for word, meanings in found.items()}


@cache
def phrases() -> frozenset[tuple[str, ...]]:
    """The entries of several words."""
    return frozenset(tuple(entry.split()) for entry in dictionary() if " " in entry)


@cache
def known_words() -> frozenset[str]:
    """Every spelling in the dictionary."""
    return frozenset(dictionary())


def meanings(word: str) -> tuple[Meaning, ...]:
    """Meanings of one word, () where the dictionary does not know it."""
    return dictionary().get(fold(word), ())


# Letters that German and Dutch put between the parts of a compound ("Flächen-s-trom").
_LINKS = ("", "s", "n", "en", "es", "er", "e", "-")


# Scripts that set no blanks between words: kana, Han characters, Hangul.
_UNSPACED = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]+")


@cache
def split_compound(word: str) -> tuple[str, ...]:
    """Split a compound into dictionary words: "akkuspannung" -> ("akku", "spannung").

    Parameters
    ----------
    word : str
        Folded.

    Returns
    -------
    tuple of str
        The parts, () where the word is not made of dictionary words altogether.
    """
    if _UNSPACED.match(unicodedata.normalize("NFC", word)):
        return _split(word, shortest=1, links=("",))
    if len(word) < 4:
        return ()
    # A leading symbol: "vbatt", "ugesamt", "imax".
    if word[0] in "uvi" and word[1:] in dictionary():
        return (word[0], word[1:])
    return _split(word, shortest=3, links=_LINKS)


def _split(word: str, shortest: int, links: tuple[str, ...]) -> tuple[str, ...]:
    """The word in two or more dictionary words, the longest first; () where it is not made so."""
    for size in range(len(word) - shortest, shortest - 1, -1):
        part = word[:size]
        if part not in dictionary():
            continue
        for link in links:
            rest = word[size + len(link) :]
            if not word.startswith(link, size) or len(rest) < shortest:
                continue
            tail = (rest,) if rest in dictionary() else _split(rest, shortest, links)
            if tail:
                return (part, *tail)
    return ()


def by_script(run: str) -> list[str]:
    """Letters cut where a script without blanks between words begins or ends: "左翼V"."""
    cuts = [0, *(at for m in _UNSPACED.finditer(run) for at in m.span()), len(run)]
    return [run[a:b] for a, b in pairwise(sorted(set(cuts)))]
