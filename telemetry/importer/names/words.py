"""The dictionary: what single words of a header mean, in fifteen languages.

English, German, French, Spanish, Italian, Dutch, Czech, Polish, Hungarian, Finnish, Swedish,
Danish, Norwegian, Portuguese, Japanese. It holds meanings (a quantity, a part of the aircraft, a
side, a hold, ...), never whole headers: `telemetry.importer.names.header` composes a reading from
them. Words are matched without case and accents; "ä" also as "ae". What each weighs for a quantity
is log odds (heuristic): of words in ``vocabulary.txt``, of units, symbols and parts named alone
here.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from importlib.resources import files
from itertools import pairwise

from telemetry.model.channels import Quantity
from telemetry.model.units import Unit


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


#: Letters of a word that its accents may make another one, at most (heuristic).
_SHORT = 4
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
    plain: list[tuple[set[str], Meaning]] = []
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
            spellings = _spellings(word.replace("_", " "))
            if short := _short(word):
                plain.append((spellings, meaning))
                spellings = {short}
            for spelling in spellings:
                found.setdefault(spelling, {}).setdefault(meaning)
    others = set(found)
    for spellings, meaning in plain:  # without its accents, where that is no other word
        for spelling in spellings - others:
            found.setdefault(spelling, {}).setdefault(meaning)
    return {word: tuple(meanings) for word, meanings in found.items()}


#: Short forms that stand for several words.
PAIRS: dict[str, tuple[str, ...]] = {
    "lw": ("left", "wing"),
    "rw": ("right", "wing"),
    "vcc": ("voltage",),
    "vdd": ("voltage",),
    "vin": ("voltage", "input"),
    "uin": ("voltage", "input"),
    "vout": ("voltage", "output"),
    "uout": ("voltage", "output"),
    "iin": ("current", "input"),
    "iout": ("current", "output"),
}


@cache
def phrases() -> frozenset[tuple[str, ...]]:
    """The entries of several words."""
    return frozenset(tuple(entry.split()) for entry in dictionary() if " " in entry)


def meanings(word: str) -> tuple[Meaning, ...]:
    """Meanings of one word, () where the dictionary does not know it.

    A short word with accents is another one than the same letters without: "sağ" is no "sag".
    """
    return dictionary().get(_short(word) or fold(word), ())


def _short(word: str) -> str:
    """A short word with accents as it is written, "" for any other."""
    written = unicodedata.normalize("NFC", word.casefold())
    return written if len(written) <= _SHORT and written != fold(word) else ""


# Letters that German and Dutch put between the parts of a compound ("Flächen-s-trom").
_LINKS = ("", "s", "n", "en", "es", "er", "e", "-")


_BEHIND_SYMBOLS = (Role.PLACE, Role.BODY, Role.HOLD, Role.TOTAL)
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
    behind = dictionary().get(word[1:], ())
    if word[0] in "uvi" and any(m.role in _BEHIND_SYMBOLS for m in behind):
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


#: The quantities that can have a unit, by the unit used inside, and what the unit weighs for each.
UNIT_WEIGHTS: dict[str, dict[Quantity, float]] = {
    "V": {Quantity.VOLTAGE: 4, Quantity.CELL_VOLTAGE: 0},
    "A": {Quantity.CURRENT: 4},
    "mAh": {Quantity.CONSUMED: 3.5, Quantity.REMAINING: 0.8},
    "Wh": {Quantity.ENERGY: 4},
    "W": {Quantity.POWER: 4},
    "Ohm": {Quantity.RESISTANCE: 4},
    "degC": {Quantity.TEMPERATURE: 4},
    "dBm": {Quantity.LINK: 4},
    "dB": {Quantity.LINK: 4},
    "us": {Quantity.CONTROL: 1, Quantity.TIME: 0.3},
    "rpm": {Quantity.RPM: 4},
    "m": {Quantity.ALTITUDE: 0.6, Quantity.ACCELERATION: 0},
    "m/s": {Quantity.SPEED: 3, Quantity.ACCELERATION: 0},
    "s": {Quantity.TIME: 0.3, Quantity.UPTIME: 0},
    "g": {Quantity.ACCELERATION: 0.6},
    "hPa": {Quantity.PRESSURE: 4},
    # A capacity in per cent is what is left, unless the name says used.
    "%": {
        Quantity.REMAINING: 0.3,
        Quantity.LINK: 0.3,
        Quantity.CONTROL: 0.3,
        Quantity.LOST: 0,
        Quantity.CONSUMED: -2,
    },
    "deg": {Quantity.CONTROL: 0.3},
}
#: What the symbols of physics weigh. An A before a number may be a letter, of a voltage too;
#: without a number it is no symbol here (as a unit it has been taken off the name).
SYMBOL_WEIGHTS: dict[str, dict[Quantity, float]] = {
    "U": {Quantity.VOLTAGE: 2.5},
    "V": {Quantity.VOLTAGE: 2.5},
    "E": {Quantity.VOLTAGE: 0.3, Quantity.ENERGY: 0.3},
    "I": {Quantity.CURRENT: 2.5},
    "A": {Quantity.CURRENT: 0.9, Quantity.VOLTAGE: 0.9},
    "T": {Quantity.TEMPERATURE: 0.8, Quantity.TIME: 0.3},
    "P": {Quantity.POWER: 0.6},
    "Q": {Quantity.CONSUMED: 0.3},
    "C": {Quantity.CONSUMED: 0.3},
    "R": {Quantity.RESISTANCE: 0.3},
}
#: What a part without a quantity most likely shows: a battery column its voltage.
PART_WEIGHTS: dict[str, dict[Quantity, float]] = {
    "cell": {Quantity.VOLTAGE: 1.8},
    "pack": {Quantity.VOLTAGE: 1, Quantity.REMAINING: 0.3},
    "bus": {Quantity.VOLTAGE: 0.6},
    "supply": {Quantity.VOLTAGE: 0.6},
    "receiver": {Quantity.LINK: 0.3},
    "servo": {Quantity.CONTROL: 0.3},
    "channel": {Quantity.CONTROL: 0.3},
    "output": {Quantity.CONTROL: 0.3},
}
_ANY_UNIT = frozenset(
    {Quantity.STATUS, Quantity.COUNT, Quantity.UNKNOWN, Quantity.TIME, Quantity.UPTIME}
)


def fits(quantity: Quantity, unit: Unit | None) -> bool:
    """True where a quantity can have this unit (or none is named)."""
    if unit is None or quantity in _ANY_UNIT:
        return True
    return quantity in UNIT_WEIGHTS.get(unit.canonical, {})
