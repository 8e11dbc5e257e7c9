"""Words of a file's own for quantities, learned from the pattern of all its columns.

"Zxq ragu" and "Zxq silt" share every word but one. Where one is a voltage and the other a current,
by their units, by a word that is known or by their values, that word names the quantity, in
whatever language, and what they share is the place. Values speak only where a voltage falls as the
current rises, as every supply's does, and only in plain numbers of volts.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.header import letter_as_word, readings
from telemetry.importer.names.header_cell import Name, split_words
from telemetry.importer.names.pattern.cutting import LIKE, may_be, unglued, unnumbered
from telemetry.importer.names.pattern.sides import sided
from telemetry.importer.names.words import SYMBOL_WEIGHTS, UNIT_WEIGHTS, Role, fits, fold, meanings
from telemetry.model.channels import Quantity
from telemetry.numerics.coupling import (
    COUPLED,
    counts,
    falls_with,
    is_power,
)

FloatArray = NDArray[np.float64]
#: A name without the word at one position, which stands here as "".
Stem = tuple[str, ...]
#: Stem to the words at its open position and the column of each.
Stems = dict[Stem, dict[str, int]]
Rows = list[dict[str, int]]
#: Word to what each place shows it to name, and how strongly.
Votes = dict[str, list[tuple[Quantity, float]]]

#: How a voltage must fall with the current where one place alone shows it (heuristic).
_COUPLED_ALONE = -0.5
#: Sum of the currents of some places as a part of that of all (heuristic: sensors are off).
_ADD_UP = (0.4, 1.1)
#: Part of the places with a word that must show what it names, where several do (heuristic).
_MOST = 0.6
#: Places that must show what a word names, unless one shows it beyond doubt.
_PLACES = 2
#: What a reading must weigh for its quantity to be known without the other columns.
_KNOWN = 2.0
# Words that may as well be the name of a place.
_FILLERS = (Role.SETTING, Role.NOISE, Role.TIME)
_SUPPLY = (Quantity.VOLTAGE, Quantity.CURRENT)
# What symbols alone may name there; the values of others tell more.
_BESIDE_SUPPLIES = (Quantity.TEMPERATURE, Quantity.POWER)


def read_families(columns: Sequence[LogColumn]) -> None:
    """Read the columns again with the words for quantities that their pattern teaches.

    Parameters
    ----------
    columns : sequence of LogColumn
        Their names and readings are changed in place.
    """
    these = [c for c in columns if c.numbers is not None and not (c.blank or c.time_role)]
    for column, name in (*unnumbered(columns), *unglued(these)):
        column.apart = name
        column.readings = readings(name)
    for column, name in sided(columns):
        column.apart = name
        column.readings = readings(name)
    stems = _stems(these)
    for column, name in _own_words(these, stems):
        column.apart = name
        column.readings = readings(name)
    learned = _learn(these, stems)
    beside = {(w, at) for slots in stems.values() for w, at in slots.items()}
    for at, column in enumerate(these):
        for word in learned.keys() & set(_words(column)):
            known = column.setting is not None or _sort(column) not in (None, learned[word])
            if not known and ((word, at) in beside or may_be(column, learned[word])):
                _teach(column, word, learned[word])


def _teach(column: LogColumn, word: str, quantity: Quantity) -> None:
    name = column.apart
    if name.letter_unit and not fits(quantity, name.unit):
        name = letter_as_word(name)  # the C of a charge, not of Celsius
    column.apart = name
    column.readings = readings(name, {word: quantity})


class _Known(NamedTuple):
    """The columns, the quantity of each as far as it is known, and what is learned."""

    columns: Sequence[LogColumn]
    sorts: list[Quantity | None]
    learned: dict[str, Quantity]
    votes: Votes
    falls: dict[tuple[int, int], float]

    def numbers(self, at: int) -> FloatArray:
        """The values of a column."""
        numbers = self.columns[at].numbers
        assert numbers is not None
        return numbers

    def fall(self, one: int, other: int) -> float:
        """How one column falls as another rises, worked out once."""
        if (one, other) not in self.falls:
            self.falls[one, other] = falls_with(self.numbers(one), self.numbers(other))
        return self.falls[one, other]


def _stems(columns: Sequence[LogColumn]) -> Stems:
    stems: Stems = defaultdict(dict)
    for at, column in enumerate(columns):
        plain = [fold(w.text) for w in column.apart.words]
        for words in (plain, _words(column)) if column.apart.letter_unit else (plain,):
            for i in range(len(words) if len(words) > 1 else 0):
                stems[(*words[:i], "", *words[i + 1 :])].setdefault(words[i], at)
    return {stem: slots for stem, slots in stems.items() if len(slots) > 1}


def _words(column: LogColumn) -> list[str]:
    name = column.apart
    letter = [name.unit.symbol[-1].lower()] if name.letter_unit and name.unit is not None else []
    return [fold(w.text) for w in name.words] + letter


def _own_words(columns: Sequence[LogColumn], stems: Stems) -> Iterator[tuple[LogColumn, Name]]:
    """Names in which a filler or a word for a limit is a place: "delta" beside "alpha" and "beta".

    It stands where the file has words of its own for places, of a voltage as of a current.
    """
    beside: dict[str, dict[Quantity | None, set[str]]] = defaultdict(dict)
    for slots in stems.values():
        own = {w for w in slots if w.isalpha() and not meanings(w)}
        sorts = {_sort(columns[slots[w]]) for w in own}
        for word in slots if len(sorts) == 1 else ():
            if any(m.role in _FILLERS or m.value == Quantity.COUNT for m in meanings(word)[:1]):
                beside[word].setdefault(sorts.copy().pop(), set()).update(own)
    for word, found in beside.items():
        # One letter among others that stand for places needs no current.
        letters = len(word) == 1 and len(found.get(Quantity.VOLTAGE, ())) >= _PLACES
        if letters or set.intersection(*(found.get(q, set()) for q in _SUPPLY)):
            for column in columns:
                words = tuple(
                    replace(w, meanings=()) if fold(w.text) == word else w
                    for w in column.apart.words
                )
                if words != column.apart.words:
                    yield column, replace(column.apart, words=words)


def _learn(columns: Sequence[LogColumn], stems: Stems) -> dict[str, Quantity]:
    """What the unknown words at the open positions name."""
    found: dict[str, Quantity] = {}
    seen = _Known(columns, [_sort(c) for c in columns], found, {}, {})
    unknown = {fold(w.text) for c in columns for w in c.apart.words if not w.meanings}
    unknown |= {_words(c)[-1] for c in columns if c.apart.letter_unit and _sort(c) is None}
    rows_of = {w: [slots for slots in stems.values() if w in slots] for w in unknown}
    # One word tells of another; the commonest goes first, what a single place shows comes last.
    for judge in (_by_units, _by_symbol, _by_values, _by_values, _by_units, _by_one_place):
        if unknown <= set(found):
            break
        seen.votes.clear()
        seen.votes.update(_votes(stems, seen) if judge in (_by_values, _by_one_place) else {})
        for word in sorted(unknown - set(found), key=lambda w: (-len(rows_of[w]), w)):
            quantity = judge(word, rows_of[word], seen)
            if quantity is not None:
                found[word] = quantity
                for slots in rows_of[word]:
                    seen.sorts[slots[word]] = seen.sorts[slots[word]] or quantity
    return found


def _sort(column: LogColumn) -> Quantity | None:
    """The quantity of a column as far as its setting, unit or name tells it beyond doubt."""
    if column.setting is not None:
        return column.setting.quantity
    unit = column.apart.unit or column.cell_unit
    if column.apart.letter_unit and unit is not None and unit.canonical == "degC":
        return None
    if unit is not None:
        weights = UNIT_WEIGHTS.get(unit.canonical, {})
        best = max(weights, key=lambda q: weights[q], default=None)
        return best if best is not None and weights[best] > _KNOWN else None
    best_reading = next(iter(column.readings), None)
    known = best_reading is not None and best_reading.weight >= _KNOWN
    return best_reading.quantity if best_reading is not None and known else None


def _by_units(word: str, rows: Rows, seen: _Known) -> Quantity | None:
    """What a word names by the quantities of the columns that have it and of those beside them."""
    own = {seen.sorts[slots[word]] for slots in rows} - {None}
    quantity = next(iter(own), None)
    if len(own) != 1 or quantity is None:
        return None
    shown = 0
    for slots in rows:
        if seen.sorts[slots[word]] is None:
            continue
        beside = {w: at for w, at in slots.items() if w != word and seen.sorts[at] is not None}
        if quantity in (seen.sorts[at] for at in beside.values()):
            return None  # the word tells two places of one quantity apart
        at = slots[word]
        sure = any(
            w in seen.learned
            or _names_quantity(w)
            or _relation(seen, at, b, quantity) <= _COUPLED_ALONE
            for w, b in beside.items()
        )
        shown += bool(beside) + sure
    return quantity if shown >= _PLACES else None


def _names_quantity(word: str) -> bool:
    return word.upper() in SYMBOL_WEIGHTS or bool(split_words(word)[0].meanings)


def _relation(seen: _Known, at: int, other: int, quantity: Quantity) -> float:
    return seen.fall(other, at) if quantity is Quantity.CURRENT else seen.fall(at, other)


def _by_symbol(word: str, rows: Rows, seen: _Known) -> Quantity | None:
    """What a T, P, Q or C names that stands beside the voltages or currents of a place."""
    weights = SYMBOL_WEIGHTS.get(word.upper(), {})
    if not weights or any(seen.sorts[slots[word]] is not None for slots in rows):
        return None
    beside = sum(any(seen.sorts[at] in _SUPPLY for at in slots.values()) for slots in rows)
    best = max(weights, key=lambda q: weights[q])
    if best is Quantity.CONSUMED:
        own = [seen.columns[slots[word]] for slots in rows]
        counting = all(c.shape.only_grows and not c.apart.letter_unit for c in own)
        return best if beside and counting else None
    return best if beside >= _PLACES and best in _BESIDE_SUPPLIES else None


def _votes(stems: Stems, seen: _Known) -> Votes:
    """What the places with each unknown word show it to name, and the strongest of each."""
    votes: Votes = defaultdict(list)
    for slots in stems.values():
        for word, vote in _shown(slots, seen).items():
            votes[word].append(vote)
    return votes


def _by_values(word: str, rows: Rows, seen: _Known) -> Quantity | None:
    """What a word names by the values of its columns beside those of the others of each place."""
    counts_ = {w: Counter(q for q, _ in shown) for w, shown in seen.votes.items()}
    own = counts_.get(word, Counter())
    quantity, count = next(iter(own.items()), (None, 0))
    if len(own) != 1 or quantity is None or count < max(_PLACES, _MOST * len(rows)):
        return None
    # Of two words for a current one may be a power: the commoner is the current.
    rivals = [c[quantity] for w, c in counts_.items() if w != word]
    if quantity is Quantity.CURRENT and max(rivals, default=0) >= count:
        return None
    return None if _another_current(word, quantity, seen) else quantity


def _another_current(word: str, quantity: Quantity, seen: _Known) -> bool:
    """Whether a word for a current stands beside another one: what falls so may be a power too.

    Where those of the word add up to the largest that is known, they are currents nevertheless.
    """
    if quantity is not Quantity.CURRENT:
        return False
    own, others = 0.0, [0.0]
    for at, column in enumerate(seen.columns):
        mean = abs(float(np.nanmean(seen.numbers(at)))) if column.shape.count else 0.0
        if word in _words(column):
            own += mean
        elif seen.sorts[at] is quantity:
            others.append(mean)
    return len(others) > 1 and not _ADD_UP[0] <= own / max(*others, 1e-9) <= _ADD_UP[1]


def _by_one_place(word: str, rows: Rows, seen: _Known) -> Quantity | None:
    """What a word of a single place names: the partner of a voltage or current that is known."""
    if len(rows) != 1 or len(seen.votes.get(word, ())) != 1:
        return None
    quantity, strength = seen.votes[word][0]
    if strength > _COUPLED_ALONE or _another_current(word, quantity, seen):
        return None
    return quantity


def _shown(slots: dict[str, int], seen: _Known) -> dict[str, tuple[Quantity, float]]:
    """What the values of one place show its unknown words to name, and how strongly.

    The strength is that of a voltage's fall with the current where either is known, else 0; what
    counts the current is sure.
    """
    numbers = {w: seen.numbers(at) for w, at in slots.items()}
    known = {w: seen.sorts[at] for w, at in slots.items() if seen.sorts[at] is not None}
    volts, amps = (
        [w for w in slots if (known[w] is q if w in known else like(numbers[w]))]
        for q, like in LIKE.items()
    )
    falls = {(v, a): seen.fall(slots[v], slots[a]) for v in volts for a in amps if v != a}
    pairs = {
        (v, a): fall
        for (v, a), fall in falls.items()
        if fall <= COUPLED or (v in known and a in known)
    }
    powers = {
        p
        for v, a in pairs
        for _, p in pairs
        if p not in (a, *known) and is_power(numbers[p], numbers[v], numbers[a])
    }
    left = [pair for pair in pairs if pair[1] not in powers]
    if len(left) != 1:
        return {}
    volt, amp = left[0]
    shown = {volt: Quantity.VOLTAGE, amp: Quantity.CURRENT, **dict.fromkeys(powers, Quantity.POWER)}
    for word, at in slots.items():
        if seen.columns[at].shape.only_grows and counts(numbers[word], numbers[amp]):
            shown[word] = Quantity.CONSUMED
    anchored = volt in known or amp in known
    strength = {w: -1.0 if q is Quantity.CONSUMED else pairs[volt, amp] for w, q in shown.items()}
    return {w: (q, strength[w] * anchored) for w, q in shown.items() if w not in known}
