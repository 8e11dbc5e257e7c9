"""Words for parts of the aircraft with the numbers, letters and sides that belong to them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from telemetry.importer.names.header_cell import Word
from telemetry.importer.names.words import Role, fold

#: Letters that number packs, nodes and receivers.
LETTER_INDEX = {"a": 1, "b": 2, "c": 3, "d": 4}
_LETTERED = ("pack", "node", "receiver", "bus", "servo")
# What may be in a wing or another part of the airframe.
_CARRIERS = ("node", "servo", "unit", "receiver", "channel")
#: How plainly a word or letter must speak of a side, what a letter says, and what a part of the
#: airframe beside it adds, or that there is little else (heuristic).
_SIDE_LEAST, _SIDE_LETTER, _SIDE_BODY, _SIDE_SHORT = 1.0, 0.5, 1.0, 0.5


@dataclass(frozen=True, slots=True)
class Part:
    """A word for a part with the number or letter that belongs to it."""

    kind: str
    word: Word
    number: int | None = None
    letter: str = ""

    @property
    def family(self) -> str:
        """Its row in the table of ranks."""
        for role in (Role.BODY, Role.SURFACE):
            if self.word.has(role, self.kind):
                return role.value
        return self.kind

    @property
    def index(self) -> int | None:
        """Its number, also where a letter numbers it."""
        return LETTER_INDEX[self.letter] if self.letter else self.number

    @property
    def name(self) -> str:
        """As "node 3", "node b", "receiver 2"."""
        index = self.index if self.kind in ("pack", "receiver") else self.letter or self.number
        return self.kind if index is None else f"{self.kind} {index}"


def find_parts(words: tuple[Word, ...]) -> tuple[list[Part], int | None]:
    """Words for parts, each with its number or letter; and a number that belongs to no part."""
    found: list[Part] = []
    used: set[int] = set()
    for i, word in enumerate(words):
        kind = _kind(word, words)
        if not kind:
            continue
        number, at = _number_near(words, i, used)
        letter = ""
        if at is not None:
            used.add(at)
        elif kind in _LETTERED and i + 1 < len(words) and not words[i + 1].meanings:
            letter = words[i + 1].text.casefold()
        found.append(Part(kind, word, number, letter if letter in LETTER_INDEX else ""))
    loose = next(
        (w.number for i, w in enumerate(words) if w.number is not None and i not in used), None
    )
    bare = [i for i, part in enumerate(found) if part.index is None]
    if loose is not None and len(bare) == 1 and found[bare[0]].kind not in ("main", "supply"):
        # "Empfängerspannung 2": the number behind the quantity belongs to the one part.
        found[bare[0]] = replace(found[bare[0]], number=loose)
        loose = None
    return found, loose


def _kind(word: Word, words: tuple[Word, ...]) -> str:
    # What has sides is the one of the airframe: "estabilizador izquierdo".
    lateral = word.has(Role.BODY) and any(w.has(Role.SIDE) for w in words)
    for role in (Role.BODY,) if lateral else (Role.PLACE, Role.BODY, Role.SURFACE):
        if word.has(role):
            # The port wing is no port.
            sided = word.has(Role.SIDE) and _bodily(words)
            return "" if sided and role is Role.PLACE else word.value(role)
    return ""


def _bodily(words: tuple[Word, ...]) -> bool:
    return any(w.has(Role.BODY) or w.has(Role.SURFACE) for w in words)


def _number_near(words: tuple[Word, ...], i: int, used: set[int]) -> tuple[int | None, int | None]:
    """The number that belongs to word i: behind it (over filler words), else just before it."""
    j = i + 1
    while j < len(words) and words[j].has(Role.NOISE) and words[j].number is None:
        j += 1
    for at in (j, i - 1):  # "Akku 2"; "2. Akku"
        if 0 <= at < len(words) and words[at].number is not None and at not in used:
            return words[at].number, at
    return None, None


def find_side(words: tuple[Word, ...]) -> tuple[str, str]:
    """The side a name speaks of, and the word for it; ("", "") for none."""
    bodily = _bodily(words) or any(w.has(Role.PLACE, c) for w in words for c in _CARRIERS)
    symbols = any(w.text in ("U", "I", "V", "A") for w in words)
    best = (_SIDE_LEAST, "", "")
    for i, word in enumerate(words):
        side, weight = "", 0.0
        letter = word.text.casefold()
        meaning = next((m for m in word.meanings if m.role is Role.SIDE), None)
        if meaning is not None:
            side, weight = meaning.value, meaning.weight + _SIDE_BODY * bodily
            weight += _SIDE_SHORT * (len(words) <= 2 and not word.has(Role.PLACE))
            article = word.has(Role.NOISE) and i < len(words) - 1
            if article and not (i and words[i - 1].has(Role.BODY)):
                continue  # "Strom der Fläche"
        elif letter in ("l", "r") or (letter in ("g", "d") and _french(words)):
            side = "left" if letter in "lg" else "right"
            short = word.text.isupper() and (len(words) == 2 or symbols)
            weight = _SIDE_LETTER + max(_SIDE_BODY * bodily, _SIDE_SHORT * short)
        if weight > best[0] or (weight == best[0] and not best[1]):
            best = (weight, side, word.text)
    return best[1], best[2]


def _french(words: tuple[Word, ...]) -> bool:
    return any(fold(w.text) in ("aile", "ailes", "panneau", "voilure") for w in words)
