"""Words to places: "Strom Fläche links" is drawn at the left wing, "RX1 Pack 2" at pack 2.

Each word for a part of the aircraft proposes a place, and the part that tells it most closely is
taken. Names of places are canonical where they are recognised (`telemetry.model.channels`);
otherwise the file's own words in lower case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.importer.names.header_cell import Word
from telemetry.importer.names.parts import LETTER_INDEX, Part, find_parts, find_side
from telemetry.importer.names.words import Role
from telemetry.model.channels import Quantity

#: How closely a part tells the place, by itself and with a number or letter; 0 where it tells
#: none (heuristic).
_RANKS: dict[str, tuple[float, float]] = {
    "cell": (10, 10),
    "pack": (2.6, 8),
    "body": (7, 7),
    "node": (1.0, 6),
    "surface": (5, 5),
    "bus": (4, 4),
    "esc": (3.5, 3.5),
    "motor": (3.5, 3.5),
    "servo": (1.6, 3.5),
    "channel": (0, 3.5),
    "receiver": (3, 3),
    "regulator": (2.8, 2.8),
    "input": (2.2, 2.2),
    "main": (2.15, 2.15),
    "supply": (2.1, 2.1),
    "output": (2.1, 2.05),
    "unit": (0, 1.4),
    "sensor": (0, 1.3),
}
_TOTAL_RANK, _SIDE_RANK = 4.5, 0.8
#: Some quantities are of one part rather than another.
_RANK_MORE = {("surface", Quantity.CONTROL): 2.5, ("regulator", Quantity.TEMPERATURE): 6.2}
#: What it costs that a part stands for a place of another name (log odds, ours).
_STANDS_FOR = {"main": -0.1, "input": -0.3, "supply": -0.3, "output": -0.3, "unit": -0.3}
#: What it costs that a letter or number alone, a side alone, or an unknown word tells the place.
_CODE_COST, _SIDE_COST, _OWN_COST, _BEGUN_COST = -0.4, -0.3, -0.2, -0.1
# One letter and a number, where nothing better tells the place: "Kap. A1", "p1_v".
_PACK_CODES, _CELL_CODES = ("a", "b", "p"), ("c", "z")
#: Packs that a letter or number alone may stand for.
_MOST_PACKS = 4
# These letters name the quantity also before a number: "U1".
_PLAIN_SYMBOLS = "uvi"
_SUPPLIED = (
    Quantity.VOLTAGE,
    Quantity.CURRENT,
    Quantity.CONSUMED,
    Quantity.POWER,
    Quantity.ENERGY,
)
_OF_LINK = (Quantity.LINK, Quantity.LOST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One place a name may speak of.

    Attributes
    ----------
    place : str or None
        None where the name tells none.
    weight : float
        What speaks against it, log odds: 0 or less.
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
    weight: float = 0.0
    reason: str = ""
    label: str = ""
    cell: int | None = None
    is_cell: bool = False
    controllable: bool = False
    copy_of: str = ""
    closer: str = ""
    own_word: bool = False
    bare_number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """Everything a name says about its place."""

    words: tuple[Word, ...]
    quantity: Quantity
    symbols: frozenset[int]
    parts: tuple[Part, ...]
    loose: int | None
    side: str
    side_word: str
    position: str
    ordinal: int | None

    def get(self, kind: str) -> Part | None:
        """The first part of a kind."""
        return next((p for p in self.parts if p.kind == kind), None)


def find_spots(
    words: tuple[Word, ...], quantity: Quantity, text: str, symbols: frozenset[int] = frozenset()
) -> tuple[Spot, ...]:
    """Places a name may speak of, the best first; one without a place where it tells none.

    Parameters
    ----------
    words : tuple of Word
        Words of the header without its unit and hold.
    quantity : Quantity
        What is measured: a receiver's battery and a battery's receiver differ by it.
    text : str
        The header text.
    symbols : frozenset of int
        Which of the words spoke for the quantity as its symbol.

    Returns
    -------
    tuple of Spot
    """
    parts, loose = find_parts(words)
    side, side_word = find_side(words)
    scene = _Scene(
        words=words,
        quantity=quantity,
        symbols=symbols,
        parts=tuple(parts),
        loose=loose,
        side=side,
        side_word=side_word,
        position=next((w.value(Role.POSITION) for w in words if w.has(Role.POSITION)), ""),
        ordinal=next((int(w.value(Role.ORDINAL)) for w in words if w.has(Role.ORDINAL)), None),
    )
    unspoken = (Role.QUANTITY, Role.NOISE, Role.CONTROL)
    label = " ".join(w.text for w in words if not (w.meanings and w.meanings[0].role in unspoken))
    return tuple(replace(s, label=label or text.strip()) for s in _spots(scene))


def _spots(s: _Scene) -> list[Spot]:
    """The place by the part that tells it most closely, else by a side, else by what is left."""
    # Of several surfaces the last: "timón de profundidad" is the elevator.
    ranked = sorted(
        ((_rank(p, s), p.family == "surface", i) for i, p in enumerate(s.parts)),
        key=lambda r: (-r[0], -r[2] if r[1] else r[2]),
    )
    rank, part = (ranked[0][0], s.parts[ranked[0][2]]) if ranked else (0.0, None)
    if any(w.has(Role.TOTAL) for w in s.words) and s.quantity in _SUPPLIED and rank < _TOTAL_RANK:
        if s.get("pack") is not None and s.quantity is Quantity.VOLTAGE:
            return [Spot(place="pack 1", reason="the packs together are as one")]
        return [Spot(place="bus", weight=_BEGUN_COST, reason="a total is the bus's")]
    if part is not None and rank > _SIDE_RANK:
        return _spots_of(part, s)
    if s.side and s.quantity not in _OF_LINK:
        reason = f"'{s.side_word}' without a part counts as the wing"
        own = [
            w.text.casefold()
            for i, w in enumerate(s.words)
            if not w.meanings and w.number is None and not _is_symbol(i, s)
        ]
        closer = _join_names(*own, s.side) if own else ""
        place = f"{s.side} wing"
        return [Spot(place=place, weight=_SIDE_COST, reason=reason, closer=closer)]
    return [_leftover(s)]


def _rank(part: Part, s: _Scene) -> float:
    marked = part.index is not None or (part.kind == "pack" and s.ordinal is not None)
    rank = _RANKS[part.family][marked]
    if part.kind == "servo" and not marked and s.quantity not in _SUPPLIED:
        return 0.0
    return rank + _RANK_MORE.get((part.family, s.quantity), 0.0)


def _spots_of(part: Part, s: _Scene) -> list[Spot]:
    """The place that a part stands for."""
    receiver = s.get("receiver")
    weight = _STANDS_FOR.get(part.kind, 0.0) + (0.0 if part.word.sure else _BEGUN_COST)
    number = s.loose if part.number is None else part.number
    place, closer, controllable = part.name, "", False
    if part.kind == "cell":
        return [_cell_spot(part, s, receiver)]
    if part.kind == "receiver":
        return _receiver_spots(part, s)
    if part.family == "body":
        servo = s.get("servo")
        numbered_servo = servo.name if servo is not None and servo.number is not None else ""
        place = _join_names(s.side, s.position, part.name, numbered_servo)
        closer, controllable = _closer(place, s), servo is not None
    elif part.family == "surface":
        place, controllable = _join_names(s.side, part.kind, number), True
    elif part.kind == "pack":
        place = _pack_place(part, s)
        own = [w.text.casefold() for w in s.words if not w.meanings and len(w.text) > 2]
        closer = _join_names(*own, "pack") if own and part.index is None else ""
    elif part.kind == "node":
        place = f"{s.side} wing" if s.side else part.name
        closer = _closer(place, s)
    elif part.kind in ("servo", "channel", "esc", "motor") and _rank(part, s) > _RANKS["servo"][0]:
        place = _join_names(s.side, part.name)
        controllable = part.kind in ("servo", "channel")
    elif part.kind == "input":
        place = f"pack {number or 1}"
    elif part.kind == "output" and part.number is not None and s.get("supply") is None:
        controllable = True
    elif part.kind in ("main", "supply", "output", "servo"):
        place = "bus"
    elif part.kind == "unit":
        place = f"node {part.number}"
    said = part.word.text + (f" {part.number}" if part.number is not None else "")
    said = _join_names(said, s.side_word) if part.family == "body" else said
    return [
        Spot(
            place=place,
            weight=weight,
            reason=f"'{said}' is {place}",
            controllable=controllable,
            closer=closer,
            copy_of=receiver.name if receiver is not None and part.kind == "pack" else "",
        )
    ]


def _join_names(*names: str | int | None) -> str:
    return " ".join(str(n) for n in names if n not in ("", None))


def _cell_spot(part: Part, s: _Scene, receiver: Part | None) -> Spot:
    pack = s.get("pack")
    home = _pack_place(pack, s) if pack is not None else "pack 1"
    return Spot(
        place=home,
        cell=part.number if part.number is not None else s.loose,
        is_cell=True,
        reason=f"'{part.word.text}' is a cell of {home}",
        weight=0.0 if pack is not None else _BEGUN_COST,
        copy_of=receiver.name if receiver is not None else "",
    )


def _pack_place(pack: Part, s: _Scene) -> str:
    index = pack.index or s.ordinal or s.loose or (2 if s.side == "right" else 1)
    return f"pack {index}"


def _closer(place: str, s: _Scene) -> str:
    """A closer name of a place: the numbered node, output or sensor in it."""
    for kind in ("node", "unit", "output", "channel", "sensor", "bus"):
        part = s.get(kind)
        if part is not None and part.index is not None:
            return f"{place} {part.name}"
    return ""


def _receiver_spots(receiver: Part, s: _Scene) -> list[Spot]:
    pack, place = s.get("pack"), receiver.name
    if receiver.index is None and s.ordinal is not None:
        place = f"receiver {s.ordinal}"
    at_receiver = Spot(place=place, reason=f"'{receiver.word.text}' is {place}")
    if pack is None or s.quantity in _OF_LINK:
        return [at_receiver]
    # "Receiver battery": the battery that feeds the receiver, or what the receiver sees of it.
    at_pack = Spot(
        place=f"pack {receiver.number or 1}",
        weight=_OWN_COST,
        reason=f"'{pack.word.text}' is the battery behind the receiver",
    )
    if receiver.number is not None:
        return [at_receiver, at_pack]
    reason = f"the supply that '{receiver.word.text}' sees"
    return [at_pack, replace(at_receiver, weight=_SIDE_COST, reason=reason)]


def _leftover(s: _Scene) -> Spot:
    """No word of the dictionary names a place: a letter code, the file's own words, or none."""
    words = s.words
    if s.quantity in _OF_LINK:
        return Spot(place=None)
    for i, word in enumerate(words[:-1]):
        code, number = word.text.casefold(), words[i + 1].number
        if number is None or len(code) != 1 or word.meanings:
            continue
        if code in _CELL_CODES and s.quantity is Quantity.VOLTAGE:
            why = f"'{word.text}{number}' taken as cell {number}"
            return Spot(
                place="pack 1",
                cell=number,
                is_cell=True,
                weight=_CODE_COST,
                reason=why,
                bare_number=number,
                closer=f"{code}{number}",
            )
        if code in _PACK_CODES and 1 <= number <= _MOST_PACKS:
            why = f"'{word.text}{number}' taken as pack {number}"
            return Spot(
                place=f"pack {number}",
                weight=_CODE_COST,
                reason=why,
                bare_number=number,
                closer=f"{code}{number}",
            )
    letter = words[-1].text.casefold() if words else ""
    bare_letter = len(words) <= 2 and not (words and words[-1].meanings)
    if s.quantity in _SUPPLIED and bare_letter and letter in LETTER_INDEX:
        place = f"pack {LETTER_INDEX[letter]}"
        why = f"letter {letter.upper()} alone taken as {place}"
        return Spot(place=place, weight=_CODE_COST, reason=why)
    return _own_place(s)


def _own_place(s: _Scene) -> Spot:
    """The file's own words for the place, or its number, or none."""
    own: list[str] = []
    numbered = unknown = False
    for i, word in enumerate(s.words):
        code = len(word.text) == 2 and word.text.isupper() and _numbered(i, s)  # "DA1"
        where = bool(word.meanings) and word.meanings[0].role in (Role.SIDE, Role.POSITION)
        if (word.meanings and not code and not where) or _is_symbol(i, s):
            continue
        unknown |= word.number is None and not where
        text = word.text.casefold()
        if word.number is not None and own and len(own[-1]) <= 2 and own[-1].isalpha():
            own[-1] += text  # "k", "2": one code
        else:
            own.append(text)
        numbered |= word.number is not None
    if unknown:  # a known side or position beside it is a part of the name
        why = "the file's own word for the place"
        return Spot(place=" ".join(own), weight=_OWN_COST, reason=why, own_word=True)
    if s.loose is not None and s.quantity in _SUPPLIED:
        why = f"number {s.loose} without a part taken as pack {s.loose}"
        return Spot(place=f"pack {s.loose}", weight=_CODE_COST, reason=why, bare_number=s.loose)
    if s.loose is not None:
        return Spot(
            place=f"sensor {s.loose}",
            weight=_CODE_COST,
            reason="the file's own number",
            bare_number=s.loose,
        )
    return Spot(place=None)


def _numbered(i: int, s: _Scene) -> bool:
    return i + 1 < len(s.words) and s.words[i + 1].number is not None


def _is_symbol(i: int, s: _Scene) -> bool:
    """A single letter that named the quantity, not a code as in "A7"."""
    return i in s.symbols and (not _numbered(i, s) or s.words[i].text.casefold() in _PLAIN_SYMBOLS)
