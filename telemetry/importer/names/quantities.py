"""What a name measures: quantity words, symbols and units weighed against each other."""

from __future__ import annotations

from typing import NamedTuple

from telemetry.importer.names.header_cell import Name, Word
from telemetry.importer.names.words import Role, fold
from telemetry.model.channels import Quantity
from telemetry.model.units import Unit

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
SYMBOLS: dict[str, tuple[Quantity, ...]] = {
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
ALONE = {"hohe": "elevator", "hoehe": "elevator", "seite": "rudder", "quer": "aileron"}
_COUNT_WORDS = ("nr", "no", "num", "number", "nummer", "numero", "n", "cislo")
_CONSUMPTION = ("consum", "verbr", "consom", "spotr", "usage")


class QuantityGuess(NamedTuple):
    """A quantity that a name may speak of, with a score of 0 to 1 and why.

    ``by_unit`` is True where its unit speaks for it, which ``why`` then says.
    """

    quantity: Quantity
    score: float
    why: str
    by_unit: bool = False


def quantities(name: Name, words: tuple[Word, ...]) -> list[QuantityGuess]:
    """Quantities a name may speak of, each with a score and why.

    Parameters
    ----------
    name : Name
    words : tuple of Word
        Its words without a hold.
    """
    if any(w.has(Role.SETTING) for w in words) and not any(
        w.has(Role.QUANTITY, Quantity.LOST) or w.has(Role.QUANTITY, Quantity.LINK) for w in words
    ):
        word = next(w for w in words if w.has(Role.SETTING))
        why = f"'{word.text}' names a limit, alarm or state, not a reading"
        return [QuantityGuess(Quantity.STATUS, 0.9, why)]
    named = _named_quantities(words, name)
    unit = name.unit
    if unit is not None and unit.canonical == "s" and [w.text.casefold() for w in words] == ["t"]:
        why = f"symbol t and unit [{unit.symbol}] mean time"
        return [QuantityGuess(Quantity.TIME, 0.97, why, by_unit=True)]
    by_unit = _OF_UNIT.get(unit.canonical, ()) if unit is not None else ()
    symbol = f" and unit [{unit.symbol}]" if unit is not None else ""
    if named:
        out: list[QuantityGuess] = []
        agreeing = [(q, w) for q, w in named if fits(q, unit)]
        alone = ALONE.get(fold(words[0].text)) if len(words) == 1 else None
        if agreeing:
            if alone is not None and unit is None:
                out.append(
                    QuantityGuess(Quantity.CONTROL, 0.6, f"'{words[0].text}' may be the {alone}")
                )
            for rank, (quantity, word) in enumerate(agreeing):
                agrees = unit is not None and quantity in by_unit
                score = (1.0 if agrees else 0.95) - 0.03 * (not word.sure) - 0.02 * rank
                tail = symbol if agrees else ""
                why = f"'{word.text}'{tail} means {quantity.value}"
                out.append(QuantityGuess(quantity, score, why, by_unit=agrees))
            return out
        if alone is not None and fits(Quantity.CONTROL, unit):
            why = f"'{words[0].text}' is the {alone}; its position"
            return [QuantityGuess(Quantity.CONTROL, 0.95, why)]
        quantity, word = named[0]
        for other in by_unit[:1]:
            why = (
                f"unit [{unit.symbol if unit else ''}] means {other.value}, "
                f"although '{word.text}' says {quantity.value}"
            )
            out.append(QuantityGuess(other, 0.66, why, by_unit=True))
        why = f"'{word.text}' means {quantity.value}, although the unit does not fit"
        out.append(QuantityGuess(quantity, 0.5, why))
        return out
    controls = _controls(words, unit)
    if len(words) == 1 and fold(words[0].text) in ALONE and fits(Quantity.CONTROL, unit):
        alone = ALONE[fold(words[0].text)]
        return [
            QuantityGuess(Quantity.CONTROL, 0.65, f"'{words[0].text}' alone may be the {alone}")
        ]
    if any(w.has(Role.TIME) for w in words) or name.time_form:
        return [QuantityGuess(Quantity.TIME, 0.95, "the name speaks of time")]
    by_symbol = _by_symbol(words, unit)
    if by_symbol:
        return [*by_symbol, *controls]
    if controls:
        return controls
    if by_unit:
        assert unit is not None
        return [
            QuantityGuess(q, score, f"unit [{unit.symbol}] means {q.value}", by_unit=True)
            for q, score in _by_unit_alone(by_unit, unit, words)
        ]
    if words and all(w.has(Role.NOISE) and fold(w.text) in _COUNT_WORDS for w in words):
        return [QuantityGuess(Quantity.COUNT, 0.7, f"'{words[0].text}' numbers the rows")]
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


def _by_symbol(words: tuple[Word, ...], unit: Unit | None) -> list[QuantityGuess]:
    """Quantities named by the symbols of physics: "U1", "I ges", "T Regler"."""
    found: list[QuantityGuess] = []
    body = any(w.has(Role.BODY) or w.has(Role.SURFACE) for w in words)
    for word in words:
        if len(word.text) != 1 or word.text.upper() not in SYMBOLS:
            continue
        letter = word.text.upper()
        for quantity in SYMBOLS[letter]:
            if unit is not None:
                if fits(quantity, unit):
                    why = f"symbol {word.text} and unit [{unit.symbol}] mean {quantity.value}"
                    found.append(QuantityGuess(quantity, 0.97, why, by_unit=True))
                continue
            if letter in "UVI":
                found.append(
                    QuantityGuess(quantity, 0.85, f"symbol {word.text} means {quantity.value}")
                )
            elif letter == "R" and body:
                continue
            elif letter in "TP" and not body:
                found.append(
                    QuantityGuess(quantity, 0.6, f"symbol {word.text} may mean {quantity.value}")
                )
            elif letter == "A" and not body and any(w.number is not None for w in words):
                # A letter and a number alone: amperes, or a voltage of something so lettered.
                found.append(QuantityGuess(Quantity.CURRENT, 0.4, "A may stand for ampere"))
                found.append(
                    QuantityGuess(Quantity.VOLTAGE, 0.4, "A may be a name, of a voltage too")
                )
    found.sort(key=lambda guess: -guess.score)
    return found[:3]


def _controls(words: tuple[Word, ...], unit: Unit | None) -> list[QuantityGuess]:
    """Control positions: a surface, a servo or a channel by itself, or with a word for it."""
    if not fits(Quantity.CONTROL, unit):
        return []
    surface = next((w for w in words if w.has(Role.SURFACE)), None)
    word = next((w for w in words if w.has(Role.CONTROL)), None)
    if surface is not None:
        why = f"'{surface.text}' is a control; its position"
        return [QuantityGuess(Quantity.CONTROL, 0.92 if word is None else 0.95, why)]
    carrier = next(
        (w for w in words if any(w.has(Role.PLACE, p) for p in ("servo", "channel", "output"))),
        None,
    )
    if carrier is not None and (word is not None or unit is not None):
        return [QuantityGuess(Quantity.CONTROL, 0.9, f"position of '{carrier.text}'")]
    if carrier is not None and any(w.number is not None for w in words):
        why = f"'{carrier.text}' with a number may be a control position"
        return [QuantityGuess(Quantity.CONTROL, 0.7, why)]
    if word is not None and word.text.casefold() not in ("position", "pos", "positions", "pozice"):
        return [QuantityGuess(Quantity.CONTROL, 0.7, f"'{word.text}' may be a control position")]
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


def _by_place_alone(words: tuple[Word, ...]) -> list[QuantityGuess]:
    """A part of the power path without quantity or unit: a battery column holds its voltage."""
    for word in words:
        if word.has(Role.PLACE, "cell"):
            return [QuantityGuess(Quantity.VOLTAGE, 0.8, f"'{word.text}' alone: a cell's voltage")]
    for word in words:
        if word.has(Role.PLACE, "pack"):
            why = f"'{word.text}' without a quantity: most likely its voltage"
            return [
                QuantityGuess(Quantity.VOLTAGE, 0.7, why),
                QuantityGuess(Quantity.REMAINING, 0.5, f"'{word.text}' may be what is left"),
            ]
    if any(w.has(Role.PLACE, p) for w in words for p in ("bus", "supply")):
        return [
            QuantityGuess(
                Quantity.VOLTAGE, 0.6, f"'{words[0].text}' without a quantity: its voltage"
            )
        ]
    return []
