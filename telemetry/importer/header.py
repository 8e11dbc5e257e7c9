"""Names to readings: what a column measures, where, in what unit, and why we think so.

A reading is composed from the meanings of the words in the header: quantity word or symbol, part
of the power path, its number and side, unit. No list of known headers stands behind it. Whatever
remains open (a number without a part, a unit that contradicts the word) comes out as several
readings, to be settled by the values or by the user.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.channels import Quantity
from telemetry.importer.names import Name, Word
from telemetry.importer.places import Spot, find_spots
from telemetry.importer.words import Role, fold
from telemetry.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
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


# The quantity that a unit alone speaks for.
_OF_UNIT: dict[str, tuple[Quantity, ...]] = {
    "V": (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE),
    "A": (Quantity.CURRENT,),
    "mAh": (Quantity.CONSUMED, Quantity.REMAINING),
    "Wh": (Quantity.ENERGY,),
    "W": (Quantity.POWER,),
    "Ohm": (Quantity.RESISTANCE,),
    "degC": (Quantity.TEMPERATURE,),
    "dBm": (Quantity.LINK,),
    "dB": (Quantity.LINK,),
    "us": (Quantity.CONTROL, Quantity.TIME),
    "rpm": (Quantity.RPM,),
    "m": (Quantity.ALTITUDE,),
    "m/s": (Quantity.SPEED,),
    "s": (Quantity.TIME, Quantity.UPTIME),
    "g": (Quantity.ACCELERATION,),
    "hPa": (Quantity.PRESSURE,),
    "%": (Quantity.REMAINING, Quantity.LINK, Quantity.CONTROL, Quantity.LOST, Quantity.CONSUMED),
    "deg": (Quantity.CONTROL,),
}
_ANY_UNIT = frozenset(
    {Quantity.STATUS, Quantity.COUNT, Quantity.UNKNOWN, Quantity.TIME, Quantity.UPTIME}
)

# Symbols of physics, used where no word names the quantity.
_SYMBOLS: dict[str, tuple[Quantity, ...]] = {
    "U": (Quantity.VOLTAGE,),
    "V": (Quantity.VOLTAGE,),
    "I": (Quantity.CURRENT,),
    "T": (Quantity.TEMPERATURE,),
    "P": (Quantity.POWER,),
    "Q": (Quantity.CONSUMED,),
    "C": (Quantity.CONSUMED,),
    "R": (Quantity.RESISTANCE,),
    "E": (Quantity.ENERGY,),
    "A": (Quantity.CURRENT,),
}
# Short German names of controls, which mean something else beside other words.
_ALONE = {"hohe": "elevator", "hoehe": "elevator", "seite": "rudder", "quer": "aileron"}
_COUNT_WORDS = ("nr", "no", "num", "number", "nummer", "numero", "n", "cislo")
_CONSUMPTION = ("consum", "verbr", "consom", "spotr", "usage")


def readings(name: Name) -> tuple[Reading, ...]:
    """All ways to read a header, the best first.

    Parameters
    ----------
    name : Name

    Returns
    -------
    tuple of Reading
        () where the header means nothing to the dictionary.
    """
    found: list[Reading] = []
    name = _letter_as_index(name)
    hold, words = _take_hold(name.words)
    for quantity, score, why in _quantities(name, words):
        if quantity in (Quantity.TIME, Quantity.COUNT, Quantity.STATUS):
            found.append(
                Reading(quantity=quantity, unit=name.unit, score=score, reason=why, placed=False)
            )
            continue
        spots = find_spots(words, quantity, name.text)
        if quantity is Quantity.CONTROL and len(words) == 1 and fold(words[0].text) in _ALONE:
            place = _ALONE[fold(words[0].text)]
            spots = (Spot(place=place, label=words[0].text, controllable=True),)
        for spot in spots:
            kind = quantity
            if spot.cell is not None or (spot.is_cell and quantity is Quantity.VOLTAGE):
                kind = Quantity.CELL_VOLTAGE if quantity is Quantity.VOLTAGE else quantity
            if quantity is Quantity.CONTROL and not spot.controllable:
                continue
            found.append(_reading(name, kind, spot, hold, score, why))
    found.sort(key=lambda r: -r.score)
    unique: dict[tuple[Quantity, str | None, int | None], Reading] = {}
    for reading in found:
        unique.setdefault((reading.quantity, reading.place, reading.cell), reading)
    return tuple(unique.values())


def _reading(
    name: Name, quantity: Quantity, spot: Spot, hold: str, score: float, why: str
) -> Reading:
    reasons = [why]
    if name.unit is not None and f"[{name.unit.symbol}]" not in why:
        reasons.append(f"unit {name.unit.symbol} from the {_WHERE[name.unit_from]}")
    if spot.reason:
        reasons.append(spot.reason)
    if hold:
        reasons.append(f"a {_HOLD_NAMES[hold]}")
    return Reading(
        quantity=quantity,
        place=spot.place,
        unit=name.unit,
        score=round(score * spot.score, 3),
        reason="; ".join(reasons),
        label=spot.label,
        hold=hold,
        cell=spot.cell,
        placed=spot.place is not None,
        copy_of=spot.copy_of,
        closer=spot.closer,
    )


def _letter_as_index(name: Name) -> Name:
    """Take the A of "V_A" as a letter: behind the symbol of another quantity it is no unit."""
    if not name.letter_unit or name.unit is None:
        return name
    named = [Quantity(w.value(Role.QUANTITY)) for w in name.words if w.has(Role.QUANTITY)]
    if not named and len(name.words) == 1:
        named = list(_SYMBOLS.get(name.words[0].text.upper(), ()))
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


def _quantities(name: Name, words: tuple[Word, ...]) -> list[tuple[Quantity, float, str]]:
    """Quantities a name may speak of: (quantity, score, why)."""
    if any(w.has(Role.SETTING) for w in words) and not any(
        w.has(Role.QUANTITY, Quantity.LOST) or w.has(Role.QUANTITY, Quantity.LINK) for w in words
    ):
        word = next(w for w in words if w.has(Role.SETTING))
        return [
            (Quantity.STATUS, 0.9, f"'{word.text}' names a limit, alarm or state, not a reading")
        ]
    named = _named_quantities(words, name)
    unit = name.unit
    if unit is not None and unit.canonical == "s" and [w.text.casefold() for w in words] == ["t"]:
        return [(Quantity.TIME, 0.97, f"symbol t and unit [{unit.symbol}] mean time")]
    by_unit = _OF_UNIT.get(unit.canonical, ()) if unit is not None else ()
    symbol = f" and unit [{unit.symbol}]" if unit is not None else ""
    if named:
        out: list[tuple[Quantity, float, str]] = []
        agreeing = [(q, w) for q, w in named if fits(q, unit)]
        alone = _ALONE.get(fold(words[0].text)) if len(words) == 1 else None
        if agreeing:
            if alone is not None and unit is None:
                out.append((Quantity.CONTROL, 0.6, f"'{words[0].text}' may be the {alone}"))
            for rank, (quantity, word) in enumerate(agreeing):
                agrees = unit is not None and quantity in by_unit
                score = (1.0 if agrees else 0.95) - 0.03 * (not word.sure) - 0.02 * rank
                tail = symbol if agrees else ""
                out.append((quantity, score, f"'{word.text}'{tail} means {quantity.value}"))
            return out
        if alone is not None and fits(Quantity.CONTROL, unit):
            return [(Quantity.CONTROL, 0.95, f"'{words[0].text}' is the {alone}; its position")]
        quantity, word = named[0]
        for other in by_unit[:1]:
            out.append(
                (
                    other,
                    0.66,
                    f"unit [{unit.symbol if unit else ''}] means {other.value}, "
                    f"although '{word.text}' says {quantity.value}",
                )
            )
        out.append(
            (
                quantity,
                0.5,
                f"'{word.text}' means {quantity.value}, although the unit does not fit",
            )
        )
        return out
    controls = _controls(words, unit)
    if len(words) == 1 and fold(words[0].text) in _ALONE and fits(Quantity.CONTROL, unit):
        alone = _ALONE[fold(words[0].text)]
        return [(Quantity.CONTROL, 0.65, f"'{words[0].text}' alone may be the {alone}")]
    if any(w.has(Role.TIME) for w in words) or name.time_form:
        return [(Quantity.TIME, 0.95, "the name speaks of time")]
    by_symbol = _by_symbol(words, unit)
    if by_symbol:
        return [*by_symbol, *controls]
    if controls:
        return controls
    if by_unit:
        assert unit is not None
        return [
            (q, score, f"unit [{unit.symbol}] means {q.value}")
            for q, score in _by_unit_alone(by_unit, unit, words)
        ]
    if words and all(w.has(Role.NOISE) and fold(w.text) in _COUNT_WORDS for w in words):
        return [(Quantity.COUNT, 0.7, f"'{words[0].text}' numbers the rows")]
    return _by_place_alone(words)


def fits(quantity: Quantity, unit: Unit | None) -> bool:
    """True where a quantity can have this unit (or none is named)."""
    if unit is None or quantity in _ANY_UNIT:
        return True
    if quantity is Quantity.ACCELERATION:
        return unit.canonical in ("g", "m/s", "m")
    if quantity is Quantity.CELL_VOLTAGE:
        return unit.canonical == "V"
    return quantity in _OF_UNIT.get(unit.canonical, ())


def _named_quantities(words: tuple[Word, ...], name: Name) -> list[tuple[Quantity, Word]]:
    """Quantities named by words, after the words have been weighed against each other."""
    found = [(Quantity(w.value(Role.QUANTITY)), w) for w in words if _names_quantity(w, words)]
    kinds = [q for q, _ in found]

    def drop(quantity: Quantity) -> None:
        found[:] = [(q, w) for q, w in found if q is not quantity]

    def only(quantity: Quantity) -> None:
        found[:] = [(q, w) for q, w in found if q is quantity][:1]

    if not found:
        return []
    if len(set(kinds)) > 1:
        if kinds[0] is Quantity.CURRENT and found[0][1].text.casefold() in (
            "current",
            "actual",
            "now",
        ):
            # "Current voltage": the adjective.
            unit = name.unit
            if not (unit is not None and unit.canonical == "A"):
                rest = [k for k in kinds[1:] if k is not Quantity.COUNT]
                consumption = Quantity.CONSUMED in rest and _is_consumption(found)
                if rest and not consumption:
                    found.pop(0)
        kinds = [q for q, _ in found]
        if Quantity.REMAINING in kinds:
            only(Quantity.REMAINING)
        elif Quantity.STATUS in kinds:
            pct = name.unit is not None and name.unit.canonical == "%"
            if Quantity.CONSUMED in kinds and pct:
                return [(Quantity.REMAINING, found[0][1])]
            only(Quantity.STATUS)
        elif Quantity.LOST in kinds:
            only(Quantity.LOST)
        elif Quantity.CONSUMED in kinds and Quantity.CURRENT in kinds:
            if not _is_consumption(found):
                # "discharge current", "charge current"
                only(Quantity.CURRENT)
        elif Quantity.CONSUMED in kinds and (
            Quantity.VOLTAGE in kinds or Quantity.TEMPERATURE in kinds
        ):
            drop(Quantity.CONSUMED)
        for weak in (Quantity.COUNT, Quantity.POWER, Quantity.LINK):
            if any(q is not weak for q, _ in found):
                drop(weak)
    if found and all(q is Quantity.CONSUMED for q, _ in found) and _says_left(words):
        return [(Quantity.REMAINING, found[0][1])]
    if found and found[0][0] is Quantity.CONSUMED and _percent(name) and not _says_used(found):
        # A capacity in per cent is what is left, unless the name says used.
        return [(Quantity.REMAINING, found[0][1]), *found]
    return found


def _percent(name: Name) -> bool:
    return name.unit is not None and name.unit.canonical == "%"


def _says_used(found: list[tuple[Quantity, Word]]) -> bool:
    stems = ("used", "consum", "verbr", "entn", "consom", "spotr", "drawn", "disch")
    return any(fold(w.text).startswith(stems) for _, w in found)


def _is_consumption(found: list[tuple[Quantity, Word]]) -> bool:
    return any(q is Quantity.CONSUMED and fold(w.text).startswith(_CONSUMPTION) for q, w in found)


def _says_left(words: tuple[Word, ...]) -> bool:
    """True for "capacity left": a side without a part of the airframe."""
    return words[-1].text.casefold() == "left" and not any(
        w.has(Role.BODY) or w.has(Role.SURFACE) for w in words
    )


def _names_quantity(word: Word, words: tuple[Word, ...]) -> bool:
    if not word.has(Role.QUANTITY):
        return False
    first = word.meanings[0].role
    if first is Role.QUANTITY:
        return True
    # A word of several meanings counts as a quantity only where no other word names one.
    others = [w for w in words if w is not word and w.meanings[:1]]
    return not any(w.meanings[0].role is Role.QUANTITY for w in others) and first is not Role.PLACE


def _by_symbol(words: tuple[Word, ...], unit: Unit | None) -> list[tuple[Quantity, float, str]]:
    """Quantities named by the symbols of physics: "U1", "I ges", "T Regler"."""
    found: list[tuple[Quantity, float, str]] = []
    body = any(w.has(Role.BODY) or w.has(Role.SURFACE) for w in words)
    for i, word in enumerate(words):
        if len(word.text) != 1 or word.text.upper() not in _SYMBOLS:
            continue
        letter = word.text.upper()
        for quantity in _SYMBOLS[letter]:
            if unit is not None:
                if fits(quantity, unit):
                    found.append(
                        (
                            quantity,
                            0.97,
                            f"symbol {word.text} and unit [{unit.symbol}] mean {quantity.value}",
                        )
                    )
                continue
            if letter in "UVI" and not (letter == "I" and i > 0 and len(words) > 2 and False):
                found.append((quantity, 0.85, f"symbol {word.text} means {quantity.value}"))
            elif letter == "R" and body:
                continue
            elif letter in "TP" and not body:
                found.append((quantity, 0.6, f"symbol {word.text} may mean {quantity.value}"))
            elif letter == "A" and not body and any(w.number is not None for w in words):
                # "A1" alone: an ampere, or an analogue input that may well be a voltage.
                found.append((Quantity.CURRENT, 0.4, "A may stand for ampere"))
                found.append((Quantity.VOLTAGE, 0.4, "A may stand for an analogue voltage"))
    found.sort(key=lambda item: -item[1])
    return found[:3]


def _controls(words: tuple[Word, ...], unit: Unit | None) -> list[tuple[Quantity, float, str]]:
    """Control positions: a surface, a servo or a channel by itself, or with a word for it."""
    if not fits(Quantity.CONTROL, unit):
        return []
    surface = next((w for w in words if w.has(Role.SURFACE)), None)
    word = next((w for w in words if w.has(Role.CONTROL)), None)
    if surface is not None:
        return [
            (
                Quantity.CONTROL,
                0.92 if word is None else 0.95,
                f"'{surface.text}' is a control; its position",
            )
        ]
    carrier = next(
        (w for w in words if any(w.has(Role.PLACE, p) for p in ("servo", "channel", "output"))),
        None,
    )
    if carrier is not None and (word is not None or unit is not None):
        return [(Quantity.CONTROL, 0.9, f"position of '{carrier.text}'")]
    if carrier is not None and any(w.number is not None for w in words):
        return [
            (Quantity.CONTROL, 0.7, f"'{carrier.text}' with a number may be a control position")
        ]
    if word is not None and word.text.casefold() not in ("position", "pos", "positions", "pozice"):
        return [(Quantity.CONTROL, 0.7, f"'{word.text}' may be a control position")]
    return []


def _by_unit_alone(
    by_unit: tuple[Quantity, ...], unit: Unit, words: tuple[Word, ...]
) -> list[tuple[Quantity, float]]:
    if unit.canonical == "%":
        if any(w.has(Role.PLACE, "pack") for w in words):
            return [(Quantity.REMAINING, 0.8)]
        if any(w.has(Role.PLACE, "receiver") for w in words):
            return [(Quantity.LINK, 0.75)]
        return []
    if unit.canonical in ("s", "deg"):
        return [(by_unit[0], 0.5)] if not words else []
    if unit.canonical == "us":
        return [(Quantity.CONTROL, 0.6)] if words else []
    if unit.canonical in ("m", "g"):
        return [(by_unit[0], 0.55)]
    return [(by_unit[0], 0.88)]


def _by_place_alone(words: tuple[Word, ...]) -> list[tuple[Quantity, float, str]]:
    """A part of the power path without quantity or unit: a battery column holds its voltage."""
    for word in words:
        if word.has(Role.PLACE, "cell"):
            return [(Quantity.VOLTAGE, 0.8, f"'{word.text}' alone: a cell's voltage")]
    for word in words:
        if word.has(Role.PLACE, "pack"):
            return [
                (
                    Quantity.VOLTAGE,
                    0.7,
                    f"'{word.text}' without a quantity: most likely its voltage",
                ),
                (Quantity.REMAINING, 0.5, f"'{word.text}' may be what is left"),
            ]
    if any(w.has(Role.PLACE, p) for w in words for p in ("bus", "supply")):
        return [(Quantity.VOLTAGE, 0.6, f"'{words[0].text}' without a quantity: its voltage")]
    return []
