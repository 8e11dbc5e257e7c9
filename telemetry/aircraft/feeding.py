"""What feeds the others, where no name tells it: read from voltages and currents together.

A source stands above what it feeds, the more the more that draws, and its current is that of all
it feeds; a node falls below what feeds it as it draws itself (Ohm's and Kirchhoff's laws). Both
have to hold at every place, and for one assignment only; else nothing is inferred.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from telemetry.model.log import FloatArray
from telemetry.numerics.linear import least_squares

# Blocks of rows that are averaged, at most, and how many have to be filled (heuristic: units are
# polled in turn, over some rows all have reported).
_BLOCKS, _LEAST_BLOCKS = 60, 20
# What feeds all carries this part of the sum of what it feeds at least, block by block, and of
# the sums of two levels none is more than this much larger (heuristic: sensors are off by a few
# per cent, and a main unit has servos of its own).
_LEAST_PART, _MOST_PART, _SAME_PART = 0.9, 2.5, 1.15
# Correlation of a whole with the sum of its parts at least, with packs that give it and without
# (heuristic: it moves as they do).
_ALIKE, _ALIKE_ALONE = 0.8, 0.9
# Part of the blocks in which it has to be so.
_IN_BLOCKS = 0.9
# Standard errors that a fall has to be away from none, and the least that is one, Ohm (heuristic:
# below that an error of a sensor's gain makes it).
_ERRORS, _LEAST_OHM = 4.0, 0.002
# How far two sensors of one voltage may be off, as a part of it (heuristic).
_OFF = 0.02
_MOST_PACKS = 4


class FeedingPlaces(NamedTuple):
    """Places that feed the others by what they read; no name says so."""

    bus: str | None
    packs: tuple[str, ...]


class _Means:
    """Voltages and currents of all places, averaged over blocks of rows."""

    def __init__(self, volts: Mapping[str, FloatArray], amps: Mapping[str, FloatArray]) -> None:
        rows = max((x.size for x in (*volts.values(), *amps.values())), default=0)
        per_block = max(1, -(-rows // _BLOCKS))
        self.volts, self.amps = (
            {p: _block_means(x, per_block) for p, x in series.items() if x.size == rows}
            for series in (volts, amps)
        )

    def sum_a(self, places: Iterable[str]) -> FloatArray | None:
        """The currents of some places together; None where one is not logged."""
        series = [self.amps.get(p) for p in places]
        known = [x for x in series if x is not None]
        return np.sum(known, axis=0) if known and len(known) == len(series) else None

    def falls(self, above: str, below: str, *, by: Sequence[str]) -> int:
        """How the second voltage falls below the first with the first of some currents.

        The other currents are held even. 1 where it falls, -1 the other way, 0 where neither is
        sure or where a series is not logged.
        """
        if not {above, below} <= self.volts.keys() or by[0] not in self.amps:
            return 0
        drop = self.volts[above] - self.volts[below]
        currents = [self.amps[p] for p in by if p in self.amps]
        seen = np.isfinite([drop, *currents]).all(axis=0)
        if np.count_nonzero(seen) < _LEAST_BLOCKS:
            return 0
        design = np.stack([np.ones(drop.size), *currents], axis=1)[seen]
        if np.linalg.matrix_rank(design) < design.shape[1]:
            return 0
        fit = least_squares(design, drop[seen])
        ohm, error = float(fit.coef[1]), float(fit.se[1])
        return int(np.sign(ohm)) if abs(ohm) > max(_LEAST_OHM, _ERRORS * error) else 0

    def stands_above(self, place: str, other: str) -> bool:
        """Whether a voltage is nowhere below another by more than two sensors differ."""
        if place not in self.volts or other not in self.volts:
            return False
        more = self.volts[place] - self.volts[other]
        seen = np.isfinite(more)
        if np.count_nonzero(seen) < _LEAST_BLOCKS:
            return False
        off = _OFF * float(np.median(self.volts[other][seen]))
        return bool(np.quantile(more[seen], 1 - _IN_BLOCKS) > -off)


def _block_means(values: FloatArray, per_block: int) -> FloatArray:
    padding = -values.size % per_block
    blocks = np.append(values, np.full(padding, np.nan)).reshape(-1, per_block)
    known = np.isfinite(blocks)
    count = known.sum(axis=1)
    total = np.where(known, blocks, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _carries(
    whole: FloatArray, parts: FloatArray, most: float, least_alike: float = _ALIKE
) -> bool:
    """Whether one current is that of the parts together, or more by its own servos."""
    seen = np.isfinite(whole) & np.isfinite(parts)
    if np.count_nonzero(seen) < _LEAST_BLOCKS or parts[seen].sum() <= 0:
        return False
    if not (np.ptp(whole[seen]) > 0 and np.ptp(parts[seen]) > 0):
        return False
    ratio = float(whole[seen].sum() / parts[seen].sum())
    # A tenth of an ampere is what two sensors are off at rest.
    enough = whole[seen] > _LEAST_PART * parts[seen] - 0.1
    alike = float(np.corrcoef(whole[seen], parts[seen])[0, 1])
    together = _LEAST_PART <= ratio <= most and alike >= least_alike
    return together and float(np.mean(enough)) >= _IN_BLOCKS


def unnamed_supply(
    unnamed: Sequence[str],
    others: Sequence[str],
    volts: Mapping[str, FloatArray],
    amps: Mapping[str, FloatArray],
    *,
    bus: str | None = None,
    packs: Sequence[str] = (),
) -> FeedingPlaces | None:
    """Which places of unknown names feed all others; None where the readings do not tell.

    Parameters
    ----------
    unnamed : sequence of str
        Places that no known word tells.
    others : sequence of str
        Places that are known to be fed.
    volts, amps : mapping of str to ndarray, shape (rows,)
        Voltages (V) and currents (A) by place, rows that belong together; NaN where there is none.
    bus : str or None
        Where it is known by name.
    packs : sequence of str
        Those that are known by name.

    Returns
    -------
    FeedingPlaces or None
        With what was known by name. Packs are called alike but for their number. The only place of
        a log is what all hangs on, as far as that log goes.
    """
    seen = _Means(volts, amps)
    if not others and len(unnamed) == 1 and bus is None and not packs:
        return FeedingPlaces(unnamed[0], ())
    found: list[tuple[int, FeedingPlaces]] = []
    for supply in _assignments(unnamed, bus, tuple(packs)):
        feeding = {supply.bus, *supply.packs}
        fed = [p for p in (*others, *unnamed) if p not in feeding]
        fresh = len(feeding - {None, bus, *packs})
        if fresh and _holds(supply, fed, seen, bus, packs):
            found.append((fresh, supply))
    most = max((fresh for fresh, _ in found), default=0)
    best = [supply for fresh, supply in found if fresh == most]
    return best[0] if len(best) == 1 else None


def _assignments(
    unnamed: Sequence[str], bus: str | None, packs: tuple[str, ...]
) -> Iterator[FeedingPlaces]:
    groups: dict[str, list[str]] = defaultdict(list)
    for place in unnamed:
        groups[_stem(place)].append(place)
    alike = [tuple(g) for g in groups.values() if 1 < len(g) <= _MOST_PACKS]
    for root in [bus] if bus is not None else [None, *unnamed]:
        for feeding in [packs] if packs else [(), *alike]:
            if root not in feeding:
                yield FeedingPlaces(root, feeding)


def _holds(
    supply: FeedingPlaces, fed: Sequence[str], seen: _Means, bus: str | None, packs: Sequence[str]
) -> bool:
    """Whether all that is new in an assignment shows in voltages and currents alike."""
    root, feeding = supply
    given = seen.sum_a(feeding)
    if root is not None and root != bus:
        whole, drawn = seen.sum_a([root]), seen.sum_a([p for p in fed if p in seen.amps])
        sums = [x for x in (whole, given) if x is not None]
        # Without what is drawn, only packs that are known by name tell what they feed.
        if not sums or (drawn is None and (len(sums) < 2 or feeding != tuple(packs))):
            return False
        alike = _ALIKE if feeding else _ALIKE_ALONE
        if drawn is not None and not all(_carries(x, drawn, _MOST_PART, alike) for x in sums):
            return False
        if len(sums) > 1 and not _carries(sums[1], sums[0], _SAME_PART):
            return False
        # Nothing but what packs feed carries all they give. Else of two places either may feed the
        # other, and one node may draw what some others do together.
        at_least = 0 if len(sums) > 1 else 1 if feeding else 2
        if not _feeds(root, fed, seen, at_least=at_least):
            return False
    return feeding == tuple(packs) or _are_packs(feeding, root, fed, seen)


def _are_packs(packs: Sequence[str], root: str | None, fed: Sequence[str], seen: _Means) -> bool:
    """Whether places give what others take, and stand above what they feed."""
    below = [p for p in ([root] if root in seen.volts else fed) if p in seen.volts]
    above = all(seen.stands_above(q, p) for q in packs for p in below)
    if not below or not above:
        return False
    given, whole = seen.sum_a(packs), seen.sum_a([root] if root is not None else ())
    if given is None:
        # Voltages alone: what lies between a pack and the bus takes more the more flows.
        alone = root is not None and not any(q in seen.amps for q in packs)
        return alone and all(seen.falls(q, root or "", by=[root or ""]) > 0 for q in packs)
    drawn = whole if whole is not None else seen.sum_a([p for p in fed if p in seen.amps])
    most = _SAME_PART if whole is not None else _MOST_PART
    # A node falls below any other place as it draws itself; a pack does not.
    falls = any(seen.falls(p, q, by=[q] if p == root else [q, p]) > 0 for q in packs for p in below)
    return drawn is not None and _carries(given, drawn, most) and not falls


def _feeds(root: str, fed: Sequence[str], seen: _Means, *, at_least: int) -> bool:
    """Whether all others fall below a place as they draw, so many for certain.

    Those that are called like it all have to: one of two packs is no bus for the other.
    """
    signs = {p: seen.falls(root, p, by=[p if p in seen.amps else root]) for p in fed}
    above = all(seen.stands_above(root, p) for p in fed if p in seen.volts)
    like = [sign for p, sign in signs.items() if _stem(p) == _stem(root)]
    found = list(signs.values())
    return above and -1 not in found and found.count(1) >= at_least and 0 not in like


def _stem(place: str) -> str:
    """A name without its numbers."""
    return re.sub(r"\d+", "", place)
