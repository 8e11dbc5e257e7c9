"""Names to readings: what a column measures, where, in what unit, and why we think so.

A reading is composed from the meanings of the words in the header: quantity word or symbol, part
of the power path, its number and side, unit. No list of known headers stands behind it. Each word,
symbol and unit adds its weight to the quantities it may speak for, and the highest sum is read.
Whatever remains open comes out as several readings, to be settled by the values or by the user.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from telemetry.importer.names.header_cell import Name, Word
from telemetry.importer.names.parts import LETTER_INDEX
from telemetry.importer.names.places import Spot, find_spots
from telemetry.importer.names.words import (
    PART_WEIGHTS,
    SYMBOL_WEIGHTS,
    UNIT_WEIGHTS,
    Meaning,
    Role,
    fits,
    fold,
)
from telemetry.model.channels import Quantity
from telemetry.model.units import Unit

#: Its number makes it one of several alike.
_NUMBERED = {"servo": 0.5, "channel": 0.5, "output": 0.5}
#: What it costs that a quantity cannot have the unit, and, as a share of its weight, that a word
#: for such a quantity is left unexplained; what a unit that is the whole name weighs more, and, as
#: a share, one bare letter less, which may be an index.
_MISFIT, _UNEXPLAINED, _UNIT_ALONE, _LETTER = -6.0, 0.5, 1.0, 0.5
#: A word whose meaning rests on its beginning.
_UNSURE = -0.5
#: A sum below is no reading.
LEAST = 0.4
#: Evidence that names a quantity: beside it a part tells nothing of it. What it weighs where it can
#: hardly be anything else.
_NAMES, _PLAIN = ("word", "symbol"), 1.0
_OF_ROLE = {
    Role.SETTING: Quantity.STATUS,
    Role.TIME: Quantity.TIME,
    Role.SURFACE: Quantity.CONTROL,
    Role.CONTROL: Quantity.CONTROL,
    Role.STICK: Quantity.CONTROL,
}


class QuantityGuess(NamedTuple):
    """A quantity that a name may speak of.

    Attributes
    ----------
    quantity : Quantity
    weight : float
        Sum of what speaks for it and against it, log odds.
    why : str
    by_unit : bool
        True where the unit speaks for it, which ``why`` then says.
    symbols : frozenset of int
        Which of the words are symbols that spoke for it.
    """

    quantity: Quantity
    weight: float
    why: str
    by_unit: bool = False
    symbols: frozenset[int] = frozenset()


class _Voice(NamedTuple):
    """One piece of evidence. Of several of one kind for a quantity the strongest counts."""

    quantity: Quantity
    kind: str
    weight: float
    source: str
    symbol: int | None = None


def quantities(name: Name, words: tuple[Word, ...]) -> list[QuantityGuess]:
    """Quantities a name may speak of, the likeliest first.

    Parameters
    ----------
    name : Name
    words : tuple of Word
        Its words without a hold.
    """
    heard: dict[Quantity, dict[str, _Voice]] = defaultdict(dict)
    for voice in (*_of_words(words), *_of_unit(name, words)):
        best = heard[voice.quantity].get(voice.kind)
        if best is None or voice.weight > best.weight:
            heard[voice.quantity][voice.kind] = voice
    named = [v for kinds in heard.values() for v in kinds.values() if v.kind in _NAMES]
    if any(v.weight >= LEAST and fits(v.quantity, name.unit) for v in named):
        for kinds in heard.values():
            kinds.pop("part", None)
    unexplained = max(
        (v.weight for v in named if v.weight >= _PLAIN and not fits(v.quantity, name.unit)),
        default=0.0,
    )
    guesses = [
        _sum(q, tuple(kinds.values()), name.unit, unexplained)
        for q, kinds in heard.items()
        if kinds
    ]
    return sorted((g for g in guesses if g.weight >= LEAST), key=lambda g: -g.weight)


def _sum(
    quantity: Quantity, voices: tuple[_Voice, ...], unit: Unit | None, unexplained: float
) -> QuantityGuess:
    weight = sum(v.weight for v in voices) - _UNEXPLAINED * unexplained
    why = " and ".join(v.source for v in voices) + f" means {quantity.value}"
    if not fits(quantity, unit):
        weight += _MISFIT
    elif unexplained:
        why += ", although another word says otherwise"
    return QuantityGuess(
        quantity,
        round(weight, 3),
        why,
        by_unit=any(v.kind == "unit" for v in voices),
        symbols=frozenset(v.symbol for v in voices if v.symbol is not None),
    )


def _of_words(words: tuple[Word, ...]) -> Iterator[_Voice]:
    # Beside a word that may name any quantity a part tells none but its own control.
    open_ = any(
        not w.meanings and w.number is None and not _is_index(i, words) for i, w in enumerate(words)
    )
    for i, word in enumerate(words):
        said = f"'{word.text}'"
        for meaning in word.meanings:
            weight = meaning.weight + (0.0 if word.sure else _UNSURE)
            if meaning.role is Role.QUANTITY:
                yield _Voice(Quantity(meaning.value), "word", weight, said)
            elif meaning.role is Role.STICK:
                if len(words) == 1:
                    yield _Voice(Quantity.CONTROL, "stick", weight, said)
            elif meaning.role in _OF_ROLE:
                kind = "part" if meaning.role is Role.SURFACE else meaning.role.value
                yield _Voice(_OF_ROLE[meaning.role], kind, weight, said)
            elif meaning.role is Role.PLACE:
                more = _NUMBERED.get(meaning.value, 0.0) if _has_number(words) else 0.0
                for quantity, part_weight in PART_WEIGHTS.get(meaning.value, {}).items():
                    if open_ and quantity is not Quantity.CONTROL:
                        continue
                    yield _Voice(quantity, "part", part_weight + more, said)
        if len(word.text) == 1 and not word.meanings and not _bare_a(i, words):
            for quantity, weight in SYMBOL_WEIGHTS.get(word.text.upper(), {}).items():
                index = None if word.text in "Aa" else i
                yield _Voice(quantity, "symbol", weight, f"symbol {word.text}", index)


def _bare_a(i: int, words: tuple[Word, ...]) -> bool:
    return words[i].text in "Aa" and not (i + 1 < len(words) and words[i + 1].number is not None)


def _is_index(i: int, words: tuple[Word, ...]) -> bool:
    """A letter that tells a side, or numbers the part before it."""
    letter = words[i].text.upper()
    behind = i > 0 and any(m.role is Role.PLACE for m in words[i - 1].meanings)
    return letter in "LR" or (letter.lower() in LETTER_INDEX and behind)


def _has_number(words: tuple[Word, ...]) -> bool:
    return any(w.number is not None for w in words)


def _of_unit(name: Name, words: tuple[Word, ...]) -> Iterator[_Voice]:
    if name.time_form:
        yield _Voice(Quantity.TIME, "form", 3.0, f"the form {name.time_form}")
    if name.unit is None:
        return
    alone = _UNIT_ALONE if not words else 0.0
    share = _LETTER if name.letter_unit and words else 1.0
    for quantity, weight in UNIT_WEIGHTS.get(name.unit.canonical, {}).items():
        if weight:
            yield _Voice(quantity, "unit", share * weight + alone, f"unit [{name.unit.symbol}]")


#: What a word weighs for the quantity that the columns of its file show it to name.
LEARNED_WEIGHT = 4.5
_PLACELESS = (Quantity.TIME, Quantity.COUNT, Quantity.STATUS)
_WHERE = {"row": "unit row", "brackets": "name", "name": "name", "": "name"}
_HOLD_NAMES = {"min": "minimum-hold", "max": "maximum-hold", "mean": "mean"}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderReading:
    """One way to read a column.

    Attributes
    ----------
    quantity : Quantity
    place : str or None
        None where the quantity belongs to no place, or the name tells none.
    unit : Unit or None
        None where the name names none.
    weight : float
        What speaks for it, log odds.
    reason : str
    label : str
        The file's own words for the place.
    hold : str
        "", "min", "max" or "mean".
    cell : int or None
    placed : bool
        False where the name tells no place, so that the whole log may settle it.
    copy_of : str
        The reporting receiver, where the value itself belongs to another place.
    closer : str
        A closer name of the place, where several columns share it.
    own_word : bool
        True where no known word tells the place.
    bare_number : int or None
        Of a place that a number without a part was taken for.
    quantity_reason : str
        The part of ``reason`` that is of the quantity.
    """

    quantity: Quantity
    place: str | None = None
    unit: Unit | None = None
    weight: float = 0.0
    reason: str = ""
    label: str = ""
    hold: str = ""
    cell: int | None = None
    placed: bool = True
    copy_of: str = ""
    closer: str = ""
    own_word: bool = False
    bare_number: int | None = None
    quantity_reason: str = ""

    @property
    def score(self) -> float:
        """Its weight as a share of 0 to 1."""
        return round(1 / (1 + math.exp(-self.weight)), 3)


def readings(
    name: Name, learned: Mapping[str, Quantity] | None = None
) -> tuple[HeaderReading, ...]:
    """All ways to read a header, the best first.

    Parameters
    ----------
    name : Name
    learned : mapping of str to Quantity, optional
        Folded words to the quantities that the columns of the file show them to name.

    Returns
    -------
    tuple of HeaderReading
        () where the header means nothing to the dictionary.
    """
    name = _letter_as_index(name)
    hold, words = _take_hold(tuple(_taught(w, learned or {}) for w in name.words))
    found = [
        _reading(name, spot, hold, guess)
        for guess in quantities(name, words)
        for spot in _spots(name, words, guess)
        if guess.quantity is not Quantity.CONTROL or spot.controllable
    ]
    found.sort(key=lambda r: -r.weight)
    unique: dict[tuple[Quantity, str | None, int | None], HeaderReading] = {}
    for reading in found:
        unique.setdefault((reading.quantity, reading.place, reading.cell), reading)
    return tuple(unique.values())


def _taught(word: Word, learned: Mapping[str, Quantity]) -> Word:
    quantity = learned.get(fold(word.text))
    if quantity is None or any(m.role is Role.QUANTITY for m in word.meanings[:1]):
        return word
    return replace(word, meanings=(Meaning(Role.QUANTITY, quantity.value, LEARNED_WEIGHT),))


def _spots(name: Name, words: tuple[Word, ...], guess: QuantityGuess) -> tuple[Spot, ...]:
    if guess.quantity in _PLACELESS:
        return (Spot(place=None),)
    if guess.quantity is Quantity.CONTROL and len(words) == 1 and words[0].has(Role.STICK):
        place = words[0].value(Role.STICK)
        return (Spot(place=place, label=words[0].text, controllable=True),)
    return find_spots(words, guess.quantity, name.text, guess.symbols)


def _reading(name: Name, spot: Spot, hold: str, guess: QuantityGuess) -> HeaderReading:
    quantity = guess.quantity
    if quantity in _PLACELESS:
        hold = ""
    reasons = [guess.why]
    if name.unit is not None and not guess.by_unit and quantity not in _PLACELESS:
        reasons.append(f"unit {name.unit.symbol} from the {_WHERE[name.unit_from]}")
    if spot.reason:
        reasons.append(spot.reason)
    if hold:
        reasons.append(f"a {_HOLD_NAMES[hold]}")
    return HeaderReading(
        quantity=Quantity.CELL_VOLTAGE
        if spot.is_cell and quantity is Quantity.VOLTAGE
        else quantity,
        place=spot.place,
        unit=name.unit,
        weight=round(guess.weight + spot.weight, 3),
        reason="; ".join(reasons),
        label=spot.label,
        hold=hold,
        cell=spot.cell,
        placed=spot.place is not None,
        copy_of=spot.copy_of,
        closer=spot.closer,
        own_word=spot.own_word,
        bare_number=spot.bare_number,
        quantity_reason=guess.why,
    )


def letter_as_word(name: Name) -> Name:
    """A name whose one bare letter is a word of it, not its unit."""
    assert name.unit is not None
    words = (*name.words, Word(name.unit.symbol[-1]))
    return replace(name, words=words, unit=None, unit_from="", letter_unit=False)


def _letter_as_index(name: Name) -> Name:
    """Take the A of "V_A" as a letter: behind the symbol of another quantity it is no unit."""
    if not name.letter_unit or name.unit is None:
        return name
    named = [Quantity(w.value(Role.QUANTITY)) for w in name.words if w.has(Role.QUANTITY)]
    if not named and len(name.words) == 1:
        named = list(SYMBOL_WEIGHTS.get(name.words[0].text.upper(), ()))
    if not named or any(fits(q, name.unit) for q in named):
        return name
    return letter_as_word(name)


def _take_hold(words: tuple[Word, ...]) -> tuple[str, tuple[Word, ...]]:
    """The hold that a name speaks of, and the other words.

    "Lowest cell" is the weakest of the pack's cells now, not the lowest in time: no hold.
    """
    holds = [w for w in words if w.has(Role.HOLD) and not w.has(Role.NOISE)]
    cells = any(w.has(Role.PLACE, "cell") for w in words)
    hold = holds[-1].value(Role.HOLD) if holds else ""
    if cells and not any(w.number is not None for w in words):
        hold = ""
    return hold, tuple(w for w in words if w not in holds)
