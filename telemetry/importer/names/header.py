"""Names to readings: what a column measures, where, in what unit, and why we think so.

A reading is composed from the meanings of the words in the header: quantity word or symbol, part
of the power path, its number and side, unit. No list of known headers stands behind it. Whatever
remains open (a number without a part, a unit that contradicts the word) comes out as several
readings, to be settled by the values or by the user.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.importer.names.header_cell import Name, Word
from telemetry.importer.names.places import Spot, find_spots
from telemetry.importer.names.quantities import ALONE, SYMBOLS, QuantityGuess, fits, quantities
from telemetry.importer.names.words import Role, fold
from telemetry.model.channels import Quantity
from telemetry.model.units import Unit


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
    score : float
        0 to 1.
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
    score: float = 1.0
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


def readings(name: Name) -> tuple[HeaderReading, ...]:
    """All ways to read a header, the best first.

    Parameters
    ----------
    name : Name

    Returns
    -------
    tuple of HeaderReading
        () where the header means nothing to the dictionary.
    """
    found: list[HeaderReading] = []
    name = _letter_as_index(name)
    hold, words = _take_hold(name.words)
    for guess in quantities(name, words):
        quantity, score = guess.quantity, guess.score
        if quantity in (Quantity.TIME, Quantity.COUNT, Quantity.STATUS):
            found.append(
                HeaderReading(
                    quantity=quantity, unit=name.unit, score=score, reason=guess.why, placed=False
                )
            )
            continue
        spots = find_spots(words, quantity, name.text)
        if quantity is Quantity.CONTROL and len(words) == 1 and fold(words[0].text) in ALONE:
            place = ALONE[fold(words[0].text)]
            spots = (Spot(place=place, label=words[0].text, controllable=True),)
        for spot in spots:
            kind = quantity
            if spot.cell is not None or (spot.is_cell and quantity is Quantity.VOLTAGE):
                kind = Quantity.CELL_VOLTAGE if quantity is Quantity.VOLTAGE else quantity
            if quantity is Quantity.CONTROL and not spot.controllable:
                continue
            found.append(_reading(name, kind, spot, hold, guess))
    found.sort(key=lambda r: -r.score)
    unique: dict[tuple[Quantity, str | None, int | None], HeaderReading] = {}
    for reading in found:
        unique.setdefault((reading.quantity, reading.place, reading.cell), reading)
    return tuple(unique.values())


def _reading(
    name: Name, quantity: Quantity, spot: Spot, hold: str, guess: QuantityGuess
) -> HeaderReading:
    reasons = [guess.why]
    if name.unit is not None and not guess.by_unit:
        reasons.append(f"unit {name.unit.symbol} from the {_WHERE[name.unit_from]}")
    if spot.reason:
        reasons.append(spot.reason)
    if hold:
        reasons.append(f"a {_HOLD_NAMES[hold]}")
    return HeaderReading(
        quantity=quantity,
        place=spot.place,
        unit=name.unit,
        score=round(guess.score * spot.score, 3),
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


def _letter_as_index(name: Name) -> Name:
    """Take the A of "V_A" as a letter: behind the symbol of another quantity it is no unit."""
    if not name.letter_unit or name.unit is None:
        return name
    named = [Quantity(w.value(Role.QUANTITY)) for w in name.words if w.has(Role.QUANTITY)]
    if not named and len(name.words) == 1:
        named = list(SYMBOLS.get(name.words[0].text.upper(), ()))
    if not named or any(fits(q, name.unit) for q in named):
        return name
    letter = name.unit.symbol
    words = (*name.words, Word(letter))
    return replace(name, words=words, unit=None, unit_from="", letter_unit=False)


_WHERE = {"row": "unit row", "brackets": "name", "name": "name", "": "name"}
_HOLD_NAMES = {"min": "minimum-hold", "max": "maximum-hold", "mean": "mean"}


def _take_hold(words: tuple[Word, ...]) -> tuple[str, tuple[Word, ...]]:
    """The hold that a name speaks of, and the other words.

    "Lowest cell" is the weakest of the pack's cells now, not the lowest in time: no hold.
    """
    hold = ""
    rest = []
    for word in words:
        if word.has(Role.HOLD) and not word.has(Role.NOISE):
            hold = word.value(Role.HOLD)
        else:
            rest.append(word)
    if any(w.has(Role.PLACE, "cell") for w in words) and not any(
        w.number is not None for w in words
    ):
        hold = ""
    return hold, tuple(rest)
