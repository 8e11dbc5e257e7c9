"""Names to readings: what a column measures, where, in what unit, and why we think so.

A reading is composed from the meanings of the words in the header: quantity word or symbol, part
of the power path, its number and side, unit. No list of known headers stands behind it. Whatever
remains open (a number without a part, a unit that contradicts the word) comes out as several
readings, to be settled by the values or by the user.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.channels import Quantity as Q
from telemetry.importer.names import Name, Word
from telemetry.importer.places import Spot, find_spots
from telemetry.importer.words import Role
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
    """

    quantity: Q
    place: str | None = None
    unit: Unit | None = None
    score: float = 1.0
    reason: str = ""
    label: str = ""
    hold: str = ""
    cell: int | None = None
    placed: bool = True
    copy_of: str = ""


# The quantity that a unit alone speaks for.
_OF_UNIT: dict[str, tuple[Q, ...]] = {
    "V": (Q.VOLTAGE, Q.CELL_VOLTAGE),
    "A": (Q.CURRENT,),
    "mAh": (Q.CONSUMED, Q.REMAINING),
    "Wh": (Q.ENERGY,),
    "W": (Q.POWER,),
    "Ohm": (Q.RESISTANCE,),
    "degC": (Q.TEMPERATURE,),
    "dBm": (Q.LINK,),
    "dB": (Q.LINK,),
    "us": (Q.CONTROL, Q.TIME),
    "rpm": (Q.RPM,),
    "m": (Q.ALTITUDE,),
    "m/s": (Q.SPEED,),
    "s": (Q.TIME, Q.UPTIME),
    "g": (Q.ACCELERATION,),
    "hPa": (Q.PRESSURE,),
    "%": (Q.REMAINING, Q.LINK, Q.CONTROL, Q.LOST, Q.CONSUMED),
    "deg": (Q.CONTROL,),
}
_ANY_UNIT = frozenset({Q.STATUS, Q.COUNT, Q.UNKNOWN, Q.TIME, Q.UPTIME})

# Symbols of physics, used where no word names the quantity.
_SYMBOLS: dict[str, tuple[Q, ...]] = {
    "U": (Q.VOLTAGE,),
    "V": (Q.VOLTAGE,),
    "I": (Q.CURRENT,),
    "T": (Q.TEMPERATURE,),
    "P": (Q.POWER,),
    "Q": (Q.CONSUMED,),
    "C": (Q.CONSUMED,),
    "R": (Q.RESISTANCE,),
    "E": (Q.ENERGY,),
    "A": (Q.CURRENT,),
}
_CONSUMPTION = ("consum", "verbr", "consom", "spotr", "usage")
# Context: these belong to the aircraft as a whole; without a word for a place they have none.
PLACELESS = frozenset(
    {
        Q.ALTITUDE,
        Q.SPEED,
        Q.RPM,
        Q.ACCELERATION,
        Q.PRESSURE,
        Q.STATUS,
        Q.COUNT,
        Q.TIME,
        Q.LINK,
        Q.LOST,
        Q.UPTIME,
        Q.TEMPERATURE,
        Q.UNKNOWN,
    }
)


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
    hold, words = _take_hold(name.words)
    for quantity, score, why in _quantities(name, words):
        if quantity in (Q.TIME, Q.COUNT, Q.STATUS):
            found.append(
                Reading(quantity=quantity, unit=name.unit, score=score, reason=why, placed=False)
            )
            continue
        for spot in find_spots(words, quantity, name.text):
            kind = quantity
            if spot.cell is not None or (spot.is_cell and quantity is Q.VOLTAGE):
                kind = Q.CELL_VOLTAGE if quantity is Q.VOLTAGE else quantity
            if quantity is Q.CONTROL and not spot.controllable:
                continue
            found.append(_reading(name, kind, spot, hold, score, why))
    found.sort(key=lambda r: -r.score)
    unique: dict[tuple[Q, str | None, int | None], Reading] = {}
    for reading in found:
        unique.setdefault((reading.quantity, reading.place, reading.cell), reading)
    return tuple(unique.values())


def _reading(name: Name, quantity: Q, spot: Spot, hold: str, score: float, why: str) -> Reading:
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
    )


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


def _quantities(name: Name, words: tuple[Word, ...]) -> list[tuple[Q, float, str]]:
    """Quantities a name may speak of: (quantity, score, why)."""
    if any(w.has(Role.SETTING) for w in words) and not any(
        w.has(Role.QUANTITY, Q.LOST) or w.has(Role.QUANTITY, Q.LINK) for w in words
    ):
        word = next(w for w in words if w.has(Role.SETTING))
        return [(Q.STATUS, 0.9, f"'{word.text}' names a limit, alarm or state, not a reading")]
    named = _named_quantities(words, name)
    unit = name.unit
    by_unit = _OF_UNIT.get(unit.canonical, ()) if unit is not None else ()
    symbol = f" and unit [{unit.symbol}]" if unit is not None else ""
    if named:
        out: list[tuple[Q, float, str]] = []
        agreeing = [(q, w) for q, w in named if fits(q, unit)]
        if agreeing:
            for rank, (quantity, word) in enumerate(agreeing):
                agrees = unit is not None and quantity in by_unit
                score = (1.0 if agrees else 0.95) - 0.03 * (not word.sure) - 0.02 * rank
                tail = symbol if agrees else ""
                out.append((quantity, score, f"'{word.text}'{tail} means {quantity.value}"))
            return out
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
    if any(w.has(Role.TIME) for w in words) or name.time_form:
        return [(Q.TIME, 0.95, "the name speaks of time")]
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
    return _by_place_alone(words)


def fits(quantity: Q, unit: Unit | None) -> bool:
    """True where a quantity can have this unit (or none is named)."""
    if unit is None or quantity in _ANY_UNIT:
        return True
    if quantity is Q.ACCELERATION:
        return unit.canonical in ("g", "m/s", "m")
    if quantity is Q.CELL_VOLTAGE:
        return unit.canonical == "V"
    return quantity in _OF_UNIT.get(unit.canonical, ())


def _named_quantities(words: tuple[Word, ...], name: Name) -> list[tuple[Q, Word]]:
    """Quantities named by words, after the words have been weighed against each other."""
    found = [(Q(w.value(Role.QUANTITY)), w) for w in words if _names_quantity(w, words)]
    kinds = [q for q, _ in found]

    def drop(quantity: Q) -> None:
        found[:] = [(q, w) for q, w in found if q is not quantity]

    def only(quantity: Q) -> None:
        found[:] = [(q, w) for q, w in found if q is quantity][:1]

    if not found:
        return []
    if len(set(kinds)) > 1:
        if kinds[0] is Q.CURRENT and found[0][1].text.casefold() in ("current", "actual", "now"):
            # "Current voltage": the adjective.
            unit = name.unit
            if not (unit is not None and unit.canonical == "A"):
                rest = [k for k in kinds[1:] if k is not Q.COUNT]
                consumption = Q.CONSUMED in rest and _is_consumption(found)
                if rest and not consumption:
                    found.pop(0)
        kinds = [q for q, _ in found]
        if Q.REMAINING in kinds:
            only(Q.REMAINING)
        elif Q.STATUS in kinds:
            pct = name.unit is not None and name.unit.canonical == "%"
            if Q.CONSUMED in kinds and pct:
                return [(Q.REMAINING, found[0][1])]
            only(Q.STATUS)
        elif Q.LOST in kinds:
            only(Q.LOST)
        elif Q.CONSUMED in kinds and Q.CURRENT in kinds:
            if not _is_consumption(found):
                # "discharge current", "charge current"
                only(Q.CURRENT)
        elif Q.CONSUMED in kinds and (Q.VOLTAGE in kinds or Q.TEMPERATURE in kinds):
            drop(Q.CONSUMED)
        for weak in (Q.COUNT, Q.POWER, Q.LINK):
            if any(q is not weak for q, _ in found):
                drop(weak)
    if found and all(q is Q.CONSUMED for q, _ in found) and _says_left(words):
        return [(Q.REMAINING, found[0][1])]
    if found and found[0][0] is Q.CONSUMED and _percent(name) and not _says_used(found):
        # A capacity in per cent is what is left, unless the name says used.
        return [(Q.REMAINING, found[0][1]), *found]
    return found


def _percent(name: Name) -> bool:
    return name.unit is not None and name.unit.canonical == "%"


def _says_used(found: list[tuple[Q, Word]]) -> bool:
    stems = ("used", "consum", "verbr", "entn", "consom", "spotr", "drawn", "disch")
    return any(_folded(w).startswith(stems) for _, w in found)


def _is_consumption(found: list[tuple[Q, Word]]) -> bool:
    return any(q is Q.CONSUMED and _folded(w).startswith(_CONSUMPTION) for q, w in found)


def _folded(word: Word) -> str:
    from telemetry.importer.words import fold

    return fold(word.text)


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


def _by_symbol(words: tuple[Word, ...], unit: Unit | None) -> list[tuple[Q, float, str]]:
    """Quantities named by the symbols of physics: "U1", "I ges", "T Regler"."""
    found: list[tuple[Q, float, str]] = []
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
                found.append((Q.CURRENT, 0.4, "A may stand for ampere"))
                found.append((Q.VOLTAGE, 0.4, "A may stand for an analogue voltage"))
    found.sort(key=lambda item: -item[1])
    return found[:3]


def _controls(words: tuple[Word, ...], unit: Unit | None) -> list[tuple[Q, float, str]]:
    """Control positions: a surface, a servo or a channel by itself, or with a word for it."""
    if not fits(Q.CONTROL, unit):
        return []
    surface = next((w for w in words if w.has(Role.SURFACE)), None)
    word = next((w for w in words if w.has(Role.CONTROL)), None)
    if surface is not None:
        return [
            (
                Q.CONTROL,
                0.92 if word is None else 0.95,
                f"'{surface.text}' is a control; its position",
            )
        ]
    carrier = next(
        (w for w in words if any(w.has(Role.PLACE, p) for p in ("servo", "channel", "output"))),
        None,
    )
    if carrier is not None and (word is not None or unit is not None):
        return [(Q.CONTROL, 0.9, f"position of '{carrier.text}'")]
    if carrier is not None and any(w.number is not None for w in words):
        return [(Q.CONTROL, 0.7, f"'{carrier.text}' with a number may be a control position")]
    if word is not None and word.text.casefold() not in ("position", "pos", "positions", "pozice"):
        return [(Q.CONTROL, 0.7, f"'{word.text}' may be a control position")]
    return []


def _by_unit_alone(
    by_unit: tuple[Q, ...], unit: Unit, words: tuple[Word, ...]
) -> list[tuple[Q, float]]:
    if unit.canonical == "%":
        if any(w.has(Role.PLACE, "pack") for w in words):
            return [(Q.REMAINING, 0.8)]
        if any(w.has(Role.PLACE, "receiver") for w in words):
            return [(Q.LINK, 0.75)]
        return []
    if unit.canonical in ("s", "deg"):
        return [(by_unit[0], 0.5)] if not words else []
    if unit.canonical == "us":
        return [(Q.CONTROL, 0.6)] if words else []
    if unit.canonical in ("m", "g"):
        return [(by_unit[0], 0.55)]
    return [(by_unit[0], 0.88)]


def _by_place_alone(words: tuple[Word, ...]) -> list[tuple[Q, float, str]]:
    """A part of the power path without quantity or unit: a battery column holds its voltage."""
    for word in words:
        if word.has(Role.PLACE, "cell"):
            return [(Q.VOLTAGE, 0.8, f"'{word.text}' alone: a cell's voltage")]
    for word in words:
        if word.has(Role.PLACE, "pack"):
            return [
                (Q.VOLTAGE, 0.7, f"'{word.text}' without a quantity: most likely its voltage"),
                (Q.REMAINING, 0.5, f"'{word.text}' may be what is left"),
            ]
    return []


def with_place(reading: Reading, place: str | None, why: str, factor: float = 1.0) -> Reading:
    """The same reading at another place."""
    return replace(
        reading,
        place=place,
        reason=f"{reading.reason}; {why}" if why else reading.reason,
        score=round(reading.score * factor, 3),
        placed=place is not None,
    )
