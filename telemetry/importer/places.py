"""Words to places: "Strom Fläche links" is drawn at the left wing, "RX1 Pack 2" at pack 2.

Names of places are canonical where they are recognised (`telemetry.channels`); otherwise the
file's own words in lower case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.channels import Quantity
from telemetry.importer.names import Word
from telemetry.importer.words import Role, fold


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One place a name may speak of.

    Attributes
    ----------
    place : str or None
        None where the name tells none.
    score : float
    reason : str
    label : str
        The file's own words.
    cell : int or None
    is_cell : bool
        True for a cell, also where it has no number ("lowest cell").
    controllable : bool
        True where a control position makes sense.
    copy_of : str
        The receiver that reports the value.
    closer : str
        A closer name ("left wing node 2"), where several columns share the place.
    """

    place: str | None
    score: float = 1.0
    reason: str = ""
    label: str = ""
    cell: int | None = None
    is_cell: bool = False
    controllable: bool = False
    copy_of: str = ""
    closer: str = ""


_LETTERS = ("A", "B", "C", "D")
_LETTER_INDEX = {"a": 1, "b": 2, "c": 3, "d": 4}
# One letter and a number, where nothing better tells the place ("Kap. A1", "U_E2").
_CODES = {
    "a": "pack",
    "b": "pack",
    "p": "pack",
    "e": "receiver",
    "n": "node",
    "k": "node",
    "s": "servo",
}
_CELL_CODES = ("c", "z")
_SUPPLIED = (
    Quantity.VOLTAGE,
    Quantity.CURRENT,
    Quantity.CONSUMED,
    Quantity.POWER,
    Quantity.ENERGY,
)


@dataclass(frozen=True, slots=True)
class _Part:
    """A word for a part with the number or letter that belongs to it."""

    kind: str
    word: Word
    number: int | None
    letter: str = ""


def find_spots(words: tuple[Word, ...], quantity: Quantity, text: str) -> tuple[Spot, ...]:
    """Places a name may speak of, the best first; one without a place where it tells none.

    Parameters
    ----------
    words : tuple of Word
        Words of the header without its unit and hold.
    quantity : Quantity
        What is measured: a receiver's battery and a battery's receiver differ by it.
    text : str
        The header text.

    Returns
    -------
    tuple of Spot
    """
    spots = _spots(words, quantity)
    label = _label(words)
    return tuple(replace(s, label=label or text.strip()) for s in spots)


def _label(words: tuple[Word, ...]) -> str:
    """The file's words for the place: those that name no quantity."""
    kept = [
        w.text
        for w in words
        if not (w.meanings and w.meanings[0].role in (Role.QUANTITY, Role.NOISE, Role.CONTROL))
    ]
    return " ".join(kept)


def _spots(words: tuple[Word, ...], quantity: Quantity) -> list[Spot]:
    parts, loose = _parts(words)
    by = {p.kind: p for p in reversed(parts)}
    side, side_word = _side(words, by)
    position = next((w.value(Role.POSITION) for w in words if w.has(Role.POSITION)), "")
    ordinal = next((int(w.value(Role.ORDINAL)) for w in words if w.has(Role.ORDINAL)), None)
    total = any(w.has(Role.TOTAL) for w in words)
    body = next((p for p in parts if p.word.has(Role.BODY) and p.kind in _BODY_KINDS), None)
    # The last one: "timón de profundidad" is the elevator.
    surface = next((p for p in reversed(parts) if p.word.has(Role.SURFACE)), None)
    receiver, pack, node = by.get("receiver"), by.get("pack"), by.get("node")
    copy = _numbered("receiver", receiver) if receiver is not None else ""

    if "cell" in by:
        number = by["cell"].number if by["cell"].number is not None else loose
        home = _pack_place(pack, ordinal, side) if pack is not None else "pack 1"
        why = f"'{by['cell'].word.text}' is a cell" + (f" of {home}" if home else "")
        score = 1.0 if pack is not None else 0.93
        return [Spot(place=home, cell=number, is_cell=True, reason=why, score=score, copy_of=copy)]
    if "regulator" in by and quantity is Quantity.TEMPERATURE:
        return [_spot(_numbered("regulator", by["regulator"]), by["regulator"])]
    if (
        pack is not None
        and (pack.number or pack.letter or ordinal)
        and quantity is not Quantity.LINK
    ):
        place = _pack_place(pack, ordinal, side)
        return [_spot(place, pack, copy_of=copy)]
    if surface is not None and quantity is Quantity.CONTROL:
        return [_surface_spot(surface, side, loose)]
    if body is not None:
        return [_body_spot(body, side, side_word, position, by)]
    if node is not None and (node.number is not None or node.letter):
        place = f"{side} wing" if side else _numbered("node", node)
        return [replace(_spot(place, node), closer=_closer(place, by))]
    if surface is not None:
        return [_surface_spot(surface, side, loose)]
    if total and quantity in (
        Quantity.CURRENT,
        Quantity.CONSUMED,
        Quantity.POWER,
        Quantity.ENERGY,
        Quantity.VOLTAGE,
    ):
        if pack is not None and quantity is Quantity.VOLTAGE:
            return [_spot("pack 1", pack)]
        return [Spot(place="bus", score=0.95, reason="a total is the bus's")]
    if "bus" in by and not (pack is not None and pack.number):
        return [_spot(_numbered("bus", by["bus"]), by["bus"])]
    servo = by.get("servo")
    if servo is not None and ("supply" in by or "output" in by) and servo.number is None:
        return [_spot("bus", servo)]
    for kind in ("servo", "channel", "esc", "motor"):
        part = by.get(kind)
        if part is not None and (part.number is not None or kind in ("esc", "motor")):
            place = " ".join(x for x in (side, _numbered(kind, part)) if x)
            return [
                Spot(
                    place=place,
                    reason=f"'{part.word.text}' is {place}",
                    controllable=kind in ("servo", "channel"),
                )
            ]
    if receiver is not None:
        return _receiver_spots(receiver, pack, ordinal, quantity)
    if "regulator" in by:
        return [_spot(_numbered("regulator", by["regulator"]), by["regulator"])]
    if pack is not None:
        if side:
            return [_spot("pack 1" if side == "left" else "pack 2", pack, score=0.85)]
        return [_spot(f"pack {loose or 1}", pack)]
    if "main" in by and "input" not in by:
        return [Spot(place="bus", score=0.93, reason="the main unit is the bus")]
    part = by.get("input")
    if part is not None:
        return [_spot(f"pack {part.number or loose or 1}", part, score=0.8)]
    part = by.get("output")
    if part is not None and part.number is not None and "supply" not in by:
        return [
            Spot(
                place=f"output {part.number}",
                score=0.9,
                reason=f"'{part.word.text} {part.number}'",
                controllable=True,
            )
        ]
    if part is not None or "supply" in by:
        return [Spot(place="bus", score=0.85, reason="an output or supply is the bus")]
    if servo is not None and quantity in (
        Quantity.VOLTAGE,
        Quantity.CURRENT,
        Quantity.CONSUMED,
        Quantity.POWER,
    ):
        return [Spot(place="bus", score=0.9, reason="all servos together hang on the bus")]
    part = by.get("unit")
    if part is not None and part.number is not None:
        return [_spot(f"node {part.number}", part, score=0.8)]
    part = by.get("sensor")
    if part is not None and part.number is not None:
        return [_spot(f"sensor {part.number}", part, score=0.8)]
    if node is not None:
        return [_spot(f"{side} wing" if side else "node", node, score=0.9)]
    if side and quantity not in (Quantity.LINK, Quantity.LOST):
        return [
            Spot(
                place=f"{side} wing",
                score=0.85,
                reason=f"'{side_word}' without a part counts as the wing",
                controllable=False,
            )
        ]
    return [_leftover(words, quantity, loose)]


_BODY_KINDS = ("wing", "tail", "fuselage", "stab", "fin", "nose", "boom")


def _parts(words: tuple[Word, ...]) -> tuple[list[_Part], int | None]:
    """Words for parts, each with its number; and a number that belongs to no part."""
    found: list[_Part] = []
    used: set[int] = set()
    for i, word in enumerate(words):
        kind = _kind(word, words)
        if not kind:
            continue
        number, at = _number_near(words, i, used)
        letter = ""
        if at is None:
            nxt = words[i + 1].text if i + 1 < len(words) else ""
            if kind in ("pack", "node", "receiver", "bus", "servo") and nxt.upper() in _LETTERS:
                letter = nxt.lower()
        else:
            used.add(at)
        found.append(_Part(kind, word, number, letter))
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


def _side(words: tuple[Word, ...], by: dict[str, _Part]) -> tuple[str, str]:
    """The side a name speaks of, and the word for it."""
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


def _numbered(kind: str, part: _Part | None) -> str:
    if part is None:
        return kind
    if part.number is not None:
        return f"{kind} {part.number}"
    if part.letter:
        return (
            f"{kind} {_LETTER_INDEX[part.letter]}"
            if kind == "receiver"
            else (f"{kind} {part.letter}")
        )
    return kind


def _pack_place(pack: _Part, ordinal: int | None, side: str) -> str:
    if pack.number is not None:
        return f"pack {pack.number}"
    if pack.letter:
        return f"pack {_LETTER_INDEX[pack.letter]}"
    if ordinal is not None:
        return f"pack {ordinal}"
    return "pack 2" if side == "right" else "pack 1"


def _spot(place: str, part: _Part, *, score: float = 1.0, copy_of: str = "") -> Spot:
    said = part.word.text + (f" {part.number}" if part.number is not None else "")
    if not part.word.sure:
        score *= 0.97
    return Spot(place=place, score=score, reason=f"'{said}' is {place}", copy_of=copy_of)


def _body_spot(body: _Part, side: str, side_word: str, position: str, by: dict[str, _Part]) -> Spot:
    words = [side, position, body.kind]
    if body.number is not None:
        words.append(str(body.number))
    servo = by.get("servo")
    if servo is not None and servo.number is not None:
        words.append(f"servo {servo.number}")
    place = " ".join(w for w in words if w)
    said = " ".join(w for w in (body.word.text, side_word) if w)
    reason = f"'{said}' is {place}"
    return Spot(place=place, reason=reason, controllable="servo" in by, closer=_closer(place, by))


def _closer(place: str, by: dict[str, _Part]) -> str:
    """A closer name of a place: the numbered node, output or sensor in it."""
    for kind in ("node", "unit", "output", "channel", "sensor", "bus"):
        part = by.get(kind)
        if part is not None and (part.number is not None or part.letter):
            return f"{place} {_numbered(kind, part)}"
    return ""


def _surface_spot(surface: _Part, side: str, loose: int | None) -> Spot:
    number = surface.number if surface.number is not None else loose
    words = [side, surface.kind, "" if number is None else str(number)]
    place = " ".join(w for w in words if w)
    return Spot(place=place, reason=f"'{surface.word.text}' is {place}", controllable=True)


def _receiver_spots(
    receiver: _Part, pack: _Part | None, ordinal: int | None, quantity: Quantity
) -> list[Spot]:
    number = receiver.number
    place = _numbered("receiver", receiver)
    if number is None and ordinal is not None:
        place = f"receiver {ordinal}"
    at_receiver = _spot(place, receiver)
    if pack is None or quantity in (Quantity.LINK, Quantity.LOST):
        return [at_receiver]
    # "RX Batt": the battery that feeds the receiver, or the voltage the receiver sees of it.
    at_pack = Spot(
        place=f"pack {number or 1}",
        score=0.9,
        reason=f"'{pack.word.text}' is the battery behind the receiver",
    )
    if number is not None:
        return [at_receiver, at_pack]
    seen = Spot(place=place, score=0.87, reason=f"the supply that '{receiver.word.text}' sees")
    return [at_pack, seen]


def _leftover(words: tuple[Word, ...], quantity: Quantity, loose: int | None) -> Spot:
    """No word of the dictionary names a place: a letter code, the file's own words, or none."""
    if quantity in (Quantity.LINK, Quantity.LOST):
        return Spot(place=None)
    for i, word in enumerate(words[:-1]):
        code, number = word.text.casefold(), words[i + 1].number
        if code in _CELL_CODES and number is not None and quantity is Quantity.VOLTAGE:
            why = f"'{word.text}{number}' taken as cell {number}"
            return Spot(place="pack 1", cell=number, is_cell=True, score=0.8, reason=why)
        if len(code) == 1 and code in _CODES and number is not None and len(words) > 2:
            place = f"{_CODES[code]} {number}"
            return Spot(place=place, score=0.8, reason=f"'{word.text}{number}' taken as {place}")
    letter = words[-1].text.upper() if words else ""
    if quantity in _SUPPLIED and len(words) <= 2 and letter in _LETTERS and not words[-1].meanings:
        place = f"pack {_LETTER_INDEX[letter.lower()]}"
        return Spot(place=place, score=0.75, reason=f"letter {letter} alone taken as {place}")
    own = [
        w.text.casefold()
        for w in words
        if not w.meanings and w.number is None and not _is_symbol(w, words)
    ]
    if own:
        place = " ".join(own)
        if loose is not None:
            last = [w.text.casefold() for w in words if not w.meanings or w.number is not None]
            place = _join(last)
        return Spot(place=place, score=0.85, reason="the file's own word for the place")
    if loose is not None and quantity in _SUPPLIED:
        return Spot(
            place=f"pack {loose}",
            score=0.75,
            reason=f"number {loose} without a part taken as pack {loose}",
        )
    if loose is not None:
        return Spot(place=str(loose), score=0.8, reason="the file's own number")
    return Spot(place=None)


def _is_symbol(word: Word, words: tuple[Word, ...]) -> bool:
    """A single letter that names the quantity, not a place ("U", "I")."""
    return len(word.text) == 1 and word.text.upper() in "UVITPQC" and word is words[0]


def _join(pieces: list[str]) -> str:
    """Letters and the number behind them as one word: ["j", "0"] -> "j0"."""
    text = ""
    for piece in pieces:
        glue = text and piece.isdigit() and len(text.split()[-1]) <= 2
        text += piece if (glue or not text) else f" {piece}"
    return text
