"""Words to places: "Strom Fläche links" is drawn at the left wing, "RX1 Pack 2" at pack 2.

Names of places are canonical where they are recognised (`telemetry.model.channels`); otherwise the
file's own words in lower case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.importer.names.header_cell import Word
from telemetry.importer.names.parts import LETTER_INDEX, LETTERS, NamedPart, find_parts, find_side
from telemetry.importer.names.words import Role
from telemetry.model.channels import Quantity


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
    own_word : bool
        True where no known word tells the place.
    bare_number : int or None
        Of a place that a number without a part was taken for.
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
    own_word: bool = False
    bare_number: int | None = None


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """Everything a name says about its place."""

    words: tuple[Word, ...]
    quantity: Quantity
    by: dict[str, NamedPart]
    loose: int | None
    side: str
    side_word: str
    position: str
    ordinal: int | None
    total: bool
    body: NamedPart | None
    surface: NamedPart | None


def _scene(words: tuple[Word, ...], quantity: Quantity) -> _Scene:
    parts, loose = find_parts(words)
    by = {p.kind: p for p in reversed(parts)}
    side, side_word = find_side(words, by)
    return _Scene(
        words=words,
        quantity=quantity,
        by=by,
        loose=loose,
        side=side,
        side_word=side_word,
        position=next((w.value(Role.POSITION) for w in words if w.has(Role.POSITION)), ""),
        ordinal=next((int(w.value(Role.ORDINAL)) for w in words if w.has(Role.ORDINAL)), None),
        total=any(w.has(Role.TOTAL) for w in words),
        body=next((p for p in parts if p.word.has(Role.BODY) and p.kind in _BODY_KINDS), None),
        # The last one: "timón de profundidad" is the elevator.
        surface=next((p for p in reversed(parts) if p.word.has(Role.SURFACE)), None),
    )


def _spots(words: tuple[Word, ...], quantity: Quantity) -> list[Spot]:
    """The place by the strongest word: a numbered part, a part of the airframe, the bus."""
    s = _scene(words, quantity)
    receiver, pack, node = s.by.get("receiver"), s.by.get("pack"), s.by.get("node")
    copy = _numbered("receiver", receiver) if receiver is not None else ""
    numbered = pack is not None and (pack.number or pack.letter or s.ordinal)
    if "cell" in s.by:
        return [_cell_spot(s, copy)]
    if "regulator" in s.by and quantity is Quantity.TEMPERATURE:
        return [_spot(_numbered("regulator", s.by["regulator"]), s.by["regulator"])]
    if pack is not None and numbered and quantity is not Quantity.LINK:
        return [_spot(_pack_place(pack, s.ordinal, s.side), pack, copy_of=copy)]
    if s.surface is not None and quantity is Quantity.CONTROL:
        return [_surface_spot(s.surface, s.side, s.loose)]
    if s.body is not None:
        return [_body_spot(s)]
    if node is not None and (node.number is not None or node.letter):
        place = f"{s.side} wing" if s.side else _numbered("node", node)
        return [replace(_spot(place, node), closer=_closer(place, s.by))]
    if s.surface is not None:
        return [_surface_spot(s.surface, s.side, s.loose)]
    if s.total and quantity in _SUPPLIED:
        if pack is not None and quantity is Quantity.VOLTAGE:
            return [_spot("pack 1", pack)]
        return [Spot(place="bus", score=0.95, reason="a total is the bus's")]
    if "bus" in s.by:
        return [_spot(_numbered("bus", s.by["bus"]), s.by["bus"])]
    return _lesser_spots(s)


def _lesser_spots(s: _Scene) -> list[Spot]:
    """The place by weaker words: a servo, a receiver, a supply, an input, a side alone."""
    servo, pack, node = s.by.get("servo"), s.by.get("pack"), s.by.get("node")
    if servo is not None and ("supply" in s.by or "output" in s.by) and servo.number is None:
        return [_spot("bus", servo)]
    for kind in ("servo", "channel", "esc", "motor"):
        part = s.by.get(kind)
        if part is not None and (part.number is not None or kind in ("esc", "motor")):
            place = " ".join(x for x in (s.side, _numbered(kind, part)) if x)
            reason = f"'{part.word.text}' is {place}"
            return [Spot(place=place, reason=reason, controllable=kind in ("servo", "channel"))]
    if "receiver" in s.by:
        return _receiver_spots(s.by["receiver"], pack, s.ordinal, s.quantity)
    if "regulator" in s.by:
        return [_spot(_numbered("regulator", s.by["regulator"]), s.by["regulator"])]
    if pack is not None:
        if s.side:
            return [_spot("pack 1" if s.side == "left" else "pack 2", pack, score=0.85)]
        own = [w.text.casefold() for w in s.words if not w.meanings and len(w.text) > 2]
        closer = f"{' '.join(own)} pack" if own else ""
        return [replace(_spot(f"pack {s.loose or 1}", pack), closer=closer)]
    if "main" in s.by and "input" not in s.by:
        return [Spot(place="bus", score=0.93, reason="the main unit is the bus")]
    if "input" in s.by:
        part = s.by["input"]
        return [_spot(f"pack {part.number or s.loose or 1}", part, score=0.8)]
    output = s.by.get("output")
    if output is not None and output.number is not None and "supply" not in s.by:
        place = f"output {output.number}"
        reason = f"'{output.word.text}' is {place}"
        return [Spot(place=place, score=0.9, reason=reason, controllable=True)]
    if output is not None or "supply" in s.by:
        return [Spot(place="bus", score=0.85, reason="an output or supply is the bus")]
    if servo is not None and s.quantity in _SUPPLIED:
        return [Spot(place="bus", score=0.9, reason="all servos together hang on the bus")]
    for kind, name in (("unit", "node"), ("sensor", "sensor")):
        part = s.by.get(kind)
        if part is not None and part.number is not None:
            return [_spot(f"{name} {part.number}", part, score=0.8)]
    if node is not None:
        return [_spot(f"{s.side} wing" if s.side else "node", node, score=0.9)]
    if s.side and s.quantity not in (Quantity.LINK, Quantity.LOST):
        reason = f"'{s.side_word}' without a part counts as the wing"
        return [Spot(place=f"{s.side} wing", score=0.85, reason=reason)]
    return [_leftover(s.words, s.quantity, s.loose)]


def _cell_spot(s: _Scene, copy: str) -> Spot:
    cell, pack = s.by["cell"], s.by.get("pack")
    home = _pack_place(pack, s.ordinal, s.side) if pack is not None else "pack 1"
    return Spot(
        place=home,
        cell=cell.number if cell.number is not None else s.loose,
        is_cell=True,
        reason=f"'{cell.word.text}' is a cell of {home}",
        score=1.0 if pack is not None else 0.93,
        copy_of=copy,
    )


_BODY_KINDS = ("wing", "tail", "fuselage", "stab", "fin", "nose", "boom")


def _numbered(kind: str, part: NamedPart | None) -> str:
    if part is None:
        return kind
    if part.number is not None:
        return f"{kind} {part.number}"
    if part.letter:
        return (
            f"{kind} {LETTER_INDEX[part.letter]}"
            if kind == "receiver"
            else (f"{kind} {part.letter}")
        )
    return kind


def _pack_place(pack: NamedPart, ordinal: int | None, side: str) -> str:
    if pack.number is not None:
        return f"pack {pack.number}"
    if pack.letter:
        return f"pack {LETTER_INDEX[pack.letter]}"
    if ordinal is not None:
        return f"pack {ordinal}"
    return "pack 2" if side == "right" else "pack 1"


def _spot(place: str, part: NamedPart, *, score: float = 1.0, copy_of: str = "") -> Spot:
    said = part.word.text + (f" {part.number}" if part.number is not None else "")
    if not part.word.sure:
        score *= 0.97
    return Spot(place=place, score=score, reason=f"'{said}' is {place}", copy_of=copy_of)


def _body_spot(s: _Scene) -> Spot:
    body, by = s.body, s.by
    assert body is not None
    words = [s.side, s.position, body.kind]
    if body.number is not None:
        words.append(str(body.number))
    servo = by.get("servo")
    if servo is not None and servo.number is not None:
        words.append(f"servo {servo.number}")
    place = " ".join(w for w in words if w)
    said = " ".join(w for w in (body.word.text, s.side_word) if w)
    reason = f"'{said}' is {place}"
    return Spot(place=place, reason=reason, controllable="servo" in by, closer=_closer(place, by))


def _closer(place: str, by: dict[str, NamedPart]) -> str:
    """A closer name of a place: the numbered node, output or sensor in it."""
    for kind in ("node", "unit", "output", "channel", "sensor", "bus"):
        part = by.get(kind)
        if part is not None and (part.number is not None or part.letter):
            return f"{place} {_numbered(kind, part)}"
    return ""


def _surface_spot(surface: NamedPart, side: str, loose: int | None) -> Spot:
    number = surface.number if surface.number is not None else loose
    words = [side, surface.kind, "" if number is None else str(number)]
    place = " ".join(w for w in words if w)
    return Spot(place=place, reason=f"'{surface.word.text}' is {place}", controllable=True)


def _receiver_spots(
    receiver: NamedPart, pack: NamedPart | None, ordinal: int | None, quantity: Quantity
) -> list[Spot]:
    number = receiver.number
    place = _numbered("receiver", receiver)
    if number is None and ordinal is not None:
        place = f"receiver {ordinal}"
    at_receiver = _spot(place, receiver)
    if pack is None or quantity in (Quantity.LINK, Quantity.LOST):
        return [at_receiver]
    # "Receiver battery": the battery that feeds the receiver, or what the receiver sees of it.
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
    if quantity in _SUPPLIED and len(words) <= 2 and letter in LETTERS and not words[-1].meanings:
        place = f"pack {LETTER_INDEX[letter.lower()]}"
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
        why = "the file's own word for the place"
        return Spot(place=place, score=0.85, reason=why, own_word=True)
    if loose is not None and quantity in _SUPPLIED:
        return Spot(
            place=f"pack {loose}",
            score=0.75,
            reason=f"number {loose} without a part taken as pack {loose}",
            bare_number=loose,
        )
    if loose is not None:
        return Spot(place=f"sensor {loose}", score=0.8, reason="the file's own number")
    return Spot(place=None)


def _is_symbol(word: Word, words: tuple[Word, ...]) -> bool:
    """A single letter that names the quantity, not a place ("U", "I")."""
    return len(word.text) == 1 and word.text.upper() in "UVITPQC" and word is words[0]


def _join(pieces: list[str]) -> str:
    """Letters and the number behind them as one word: ["k", "2"] -> "k2"."""
    text = ""
    for piece in pieces:
        glue = text and piece.isdigit() and len(text.split()[-1]) <= 2
        text += piece if (glue or not text) else f" {piece}"
    return text
