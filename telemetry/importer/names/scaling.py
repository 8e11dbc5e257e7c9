"""The unit of columns that name none: candidates, scored by their size and by known relations.

Every column has candidates: the units loggers write its quantity in. Each scores by whether its
values are likely in it, and by whether they then agree with what they must agree with: the charge
with the integral of the current, cells with their pack, nodes with the whole, a voltage with the
others of the supply, a temperature with another at the start. Columns printed alike are one; one
believes another as far as that is certain itself. Where two candidates end alike nothing is chosen
and the user is asked.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.names.choose import Choice
from telemetry.importer.names.columns import LogColumn
from telemetry.importer.names.evidence import LEAD, Candidate, flowed, units_by_size
from telemetry.importer.names.settings import text_of
from telemetry.importer.names.values import measured
from telemetry.model.channels import PlaceKind, Quantity, is_drive, kind_of_place, mirror_of
from telemetry.model.units import Unit
from telemetry.model.unsettled import set_option
from telemetry.numerics.wild import calm

FloatArray = NDArray[np.float64]


#: What a relation that holds speaks for a unit (heuristic; beside what `units_by_size` weighs).
_HOLDS = 4.0
#: Kelvin at 0 degC.
_KELVIN = 273.15
#: Between what the quotient of two values that belong together lies (heuristic).
_CHARGE_WITHIN = (1 / 2.2, 2.2)
_CELLS_WITHIN = (0.85, 1.18)
_SUPPLY_WITHIN = (0.5, 2.0)
_NODES_OF_ALL = (0.2, 1.2)
_NODE_OF_ALL = (0.04, 1.2)
_ALIKE_WITHIN = (0.3, 3.3)
_START_WITHIN = (0.93, 1.07)
#: Cells of a column that are looked at for its middle.
_LOOK_AT = 4000


class Relation(NamedTuple):
    """Two columns whose values belong together: ``low <= second / first <= high`` in right units.

    ``x`` and ``y`` are what the columns show in their own units, ``beside_x`` and ``beside_y`` are
    added to them in the canonical one, ``why`` says what relates them. Of several of one ``kind``
    one counts.
    """

    first: int
    second: int
    x: float
    y: float
    low: float
    high: float
    kind: str
    why: str
    beside_x: float = 0.0
    beside_y: float = 0.0

    def holds(self, first: Unit, second: Unit) -> bool:
        """Whether the two belong together if they are in these units."""
        x = self.x * first.factor + first.offset + self.beside_x
        y = self.y * second.factor + second.offset + self.beside_y
        return x > 0 and self.low <= y / x <= self.high


def settle_units(
    columns: Sequence[LogColumn],
    chosen: list[Choice],
    notes: list[str],
    time_s: FloatArray | None,
) -> None:
    """Find the units that are not named; leave a column out where two would do.

    Parameters
    ----------
    columns : sequence of LogColumn
    chosen : list of Choice
        Changed in place.
    notes : list of str
        What the user has to settle is added to it.
    time_s : ndarray or None
        Of the rows.
    """
    candidates = {i: _candidates(columns[i], c) for i, c in enumerate(chosen)}
    open_ = [i for i, c in enumerate(chosen) if candidates[i] and not _is_named(columns[i], c)]
    if not open_:
        return
    group = _grouped(columns, chosen, candidates, open_)
    relations = [
        r for r in _relations(columns, chosen, candidates, group, time_s)
        if group[r.first] != group[r.second]
    ]  # fmt: skip
    scores, whys = _scored(candidates, group, relations)
    for i in open_:
        best, *others = sorted(scores[group[i]], key=lambda c: -c.score)
        near = tuple(c.unit for c in others if c.score > best.score - LEAD)
        choice, unit = chosen[i], best.unit
        if near and not choice.forced:
            _ask(columns[i], choice, (unit, *near), notes)
            continue
        why = whys.get((group[i], unit.symbol))
        if why is not None:
            choice.why_unit = f"no unit named; {why} in {unit.symbol}"
        elif unit is not choice.unit:
            choice.why_unit = f"no unit named; the size of its values speaks for {unit.symbol}"
        choice.unit, choice.unit_rivals = unit, near


def _ask(column: LogColumn, choice: Choice, units: tuple[Unit, ...], notes: list[str]) -> None:
    """Leave a column without a reading, its candidates as rivals, and say so."""
    r = choice.reading
    symbols = [u.symbol for u in units]
    either = " or ".join((", ".join(symbols[:-1]), symbols[-1]))
    settings = [text_of(r.quantity, r.place, s, r.hold, r.cell) for s in symbols]
    line = set_option(column.title, *settings, number=column.index + 1)
    notes.append(
        f"column '{column.title}' names no unit, and its values may be {either}: it is not read; "
        f"settle it with {line}"
    )
    choice.rivals = tuple(replace(r, unit=u) for u in units)
    choice.reading = replace(
        r,
        quantity=Quantity.UNKNOWN,
        place=None,
        unit=None,
        reason=f"{r.quantity.value} without a unit, {either}: not chosen",
    )
    choice.unit, choice.why_unit, choice.unit_rivals = None, "", ()


def _is_named(column: LogColumn, choice: Choice) -> bool:
    return choice.reading.unit is not None or column.cell_unit is not None


def _candidates(column: LogColumn, choice: Choice) -> list[Candidate]:
    """Units a column may be in: the one that is named, else those in which its size is possible."""
    r = choice.reading
    if column.numbers is None or column.time_role or column.shape.count == 0:
        return []
    found = [] if _is_named(column, choice) else units_by_size(column.shape, r.quantity)
    if found:
        return found
    return [] if choice.unit is None else [Candidate(choice.unit, 0.0)]


def _grouped(
    columns: Sequence[LogColumn],
    chosen: Sequence[Choice],
    candidates: dict[int, list[Candidate]],
    open_: Sequence[int],
) -> dict[int, int]:
    """Columns of one quantity that are printed alike are in one unit, where one is possible to all.

    Their candidates become those they share. Gives the first column of each one's group.
    """
    alike: dict[tuple[Quantity, bool], list[int]] = defaultdict(list)
    for i in open_:
        alike[(chosen[i].reading.quantity, columns[i].shape.whole)].append(i)
    group = {i: i for i in candidates}
    for members in alike.values():
        scores: dict[Unit, list[float]] = defaultdict(list)
        for i in members:
            for c in candidates[i]:
                scores[c.unit].append(c.score)
        shared = [
            Candidate(u, sum(s) / len(s)) for u, s in scores.items() if len(s) == len(members)
        ]
        if shared:
            shared.sort(key=lambda c: -c.score)
            group |= dict.fromkeys(members, members[0])
            candidates |= dict.fromkeys(members, shared)
    return group


def _median(column: LogColumn) -> float:
    """Middle of what a column shows while it shows anything, in its own unit."""
    assert column.numbers is not None
    filled = measured(column.numbers[:: max(1, len(column.numbers) // _LOOK_AT)])
    filled = calm(filled[np.isfinite(filled)])
    filled = filled[filled != 0.0]
    return float(np.median(np.abs(filled))) if len(filled) else 0.0


def _relations(
    columns: Sequence[LogColumn],
    chosen: Sequence[Choice],
    candidates: Mapping[int, Sequence[Candidate]],
    group: Mapping[int, int],
    time_s: FloatArray | None,
) -> list[Relation]:
    """All pairs of columns that have to agree."""
    of: dict[Quantity, list[int]] = defaultdict(list)
    for i, choice in enumerate(chosen):
        if candidates[i] and not choice.reading.hold and columns[i].shape.top > 0:
            of[choice.reading.quantity].append(i)
    place = [c.reading.place or "" for c in chosen]
    found = [] if time_s is None else _charges(columns, place, of, time_s)
    volts, cells = of[Quantity.VOLTAGE], of[Quantity.CELL_VOLTAGE]
    middle = {i: _median(columns[i]) for i in (*volts, *cells)}
    for i in volts:
        own = [j for j in cells if place[j] == place[i]]
        if len(own) > 1:
            why = "its cells add up to it"
            found += [
                Relation(i, j, middle[i], len(own) * middle[j], *_CELLS_WITHIN, "cells", why)
                for j in own
            ]
    for i, j in combinations([i for i in volts if not is_drive(place[i])], 2):
        why = f"columns '{columns[i].title}' and '{columns[j].title}' are of one supply"
        found.append(Relation(i, j, middle[i], middle[j], *_SUPPLY_WITHIN, "supply", why))
    for i, j in combinations(of[Quantity.TEMPERATURE], 2):
        x, y = columns[i].shape.start, columns[j].shape.start
        why = f"columns '{columns[i].title}' and '{columns[j].title}' begin alike"
        found.append(Relation(i, j, x, y, *_START_WITHIN, "start", why, _KELVIN, _KELVIN))
    found += _shares(columns, place, candidates, group, of[Quantity.CURRENT])
    return found


def _charges(
    columns: Sequence[LogColumn],
    place: Sequence[str],
    of: Mapping[Quantity, Sequence[int]],
    time_s: FloatArray,
) -> list[Relation]:
    """Counters of charge and the currents of their places."""
    found = []
    for i in of[Quantity.CURRENT]:
        for j in of[Quantity.CONSUMED]:
            current, counter = columns[i].numbers, columns[j].numbers
            if place[i] != place[j] or current is None or counter is None:
                continue
            both = flowed(measured(counter), measured(current), time_s)
            if both is not None:
                x, y = both.integral_mah, both.counted
                why = "the charge grows with the current"
                found.append(Relation(i, j, x, y, *_CHARGE_WITHIN, "charge", why))
    return found


def _shares(
    columns: Sequence[LogColumn],
    place: Sequence[str],
    candidates: Mapping[int, Sequence[Candidate]],
    group: Mapping[int, int],
    currents: Sequence[int],
) -> list[Relation]:
    """What packs give and nodes take; places that do the same work take alike."""
    own = [i for i in currents if not is_drive(place[i])]
    packs = [i for i in own if kind_of_place(place[i]) is PlaceKind.PACK]
    above = (PlaceKind.PACK, PlaceKind.BUS, PlaceKind.REGULATOR)
    nodes = [i for i in own if kind_of_place(place[i]) not in above]
    middle = {i: _median(columns[i]) for i in own}
    found = []
    for i, j in [*combinations(packs, 2), *_mirrored(nodes, place)]:
        why = f"columns '{columns[i].title}' and '{columns[j].title}' do the same work"
        found.append(Relation(i, j, middle[i], middle[j], *_ALIKE_WITHIN, "alike", why))

    def parted(all_: Sequence[int]) -> tuple[list[int], float]:
        """Those without a unit, or one of all, and what the others show in A."""
        rest = [i for i in all_ if len(candidates[i]) > 1] or list(all_[:1])
        return rest, sum(middle[i] * candidates[i][0].unit.factor for i in all_ if i not in rest)

    giving, given = parted(packs)
    taking, taken = parted(nodes)
    one_unit = [len({group[i] for i in those}) == 1 for those in (giving, taking)]
    if not one_unit[0] or not nodes:
        return found
    x = sum(middle[i] for i in giving)
    for j in nodes:
        why = "no node takes more than the packs give"
        found.append(Relation(giving[0], j, x, middle[j], *_NODE_OF_ALL, "share", why, given))
    if one_unit[1] and len(nodes) > 1:
        y, why = sum(middle[j] for j in taking), "nodes take what the packs give"
        pairs = [(giving[0], j) for j in taking] + [(i, taking[0]) for i in giving[1:]]
        found += [
            Relation(i, j, x, y, *_NODES_OF_ALL, "shares", why, given, taken) for i, j in pairs
        ]
    return found


def _mirrored(nodes: Sequence[int], place: Sequence[str]) -> list[tuple[int, int]]:
    at = {place[i]: i for i in nodes}
    pairs = ((i, mirror_of(place[i], at)) for i in nodes)
    return [(i, at[other]) for i, other in pairs if other is not None and i < at[other]]


def _scored(
    candidates: Mapping[int, Sequence[Candidate]],
    group: Mapping[int, int],
    relations: Sequence[Relation],
) -> tuple[dict[int, list[Candidate]], dict[tuple[int, str], str]]:
    """Candidates of each group with what the best fitting ones of related columns add, and why."""
    added: dict[tuple[int, str], dict[str, float]] = defaultdict(dict)
    whys: dict[tuple[int, str], str] = {}
    for r in relations:
        for me, other in ((r.first, r.second), (r.second, r.first)):
            best = candidates[other][0].score
            for mine in candidates[me]:
                fits = [
                    _HOLDS + c.score - best
                    for c in candidates[other]
                    if (r.holds(mine.unit, c.unit) if me == r.first else r.holds(c.unit, mine.unit))
                ]
                key = (group[me], mine.unit.symbol)
                if fits and max(fits) > added[key].get(r.kind, 0.0):
                    added[key][r.kind] = max(fits)
                    whys.setdefault(key, r.why)
    scores = {
        i: [Candidate(c.unit, c.score + sum(added[i, c.unit.symbol].values())) for c in found]
        for i, found in candidates.items()
        if group[i] == i
    }
    return scores, whys
