"""A node at rest on the ground: far above its counterpart, above itself before, or swinging."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.measure.currents.taking import STEPS, NodeCurrent, found_at
from telemetry.results import UnusualCurrent, UnusualKind

#: Rest over the mirror's, or over the highest of all others: A and factor (heuristic: digital
#: servos of one surface idle within a factor of two; pumps, receivers and lamps of a fuselage draw
#: up to some 1.5 A all the time).
_REST_MIRROR_A, _REST_MIRROR = 0.3, 2.5
_REST_ALONE_A, _REST_ALONE = 1.6, 4.0
#: Up to this much that is always the same may be a load by design, A (heuristic: pumps, lamps,
#: gyros and computers of a fuselage draw up to about that); the same is within this part.
_BY_DESIGN_A, _SAME = 3.5, 0.15
#: Rest after landing over that before take-off, A and factor; others' part of it at the most.
_AFTER_A, _AFTER, _AFTER_OTHERS = 0.3, 2.0, 0.4
#: The same of the whole current, which receivers, lamps and the other servos move as well, A
#: (heuristic).
_TOTAL_A = 0.9
#: Part of its rest that a node loses with a servo, at the least, steps of its sensor, and A.
_FELL, _REST_STEPS, _FAR_A = 0.25, 1.5, 0.02
#: A rest that fell to this part, and by so much, A, tells by itself.
_LOST, _LOST_A = 0.6, 0.05
#: Of rests of two mirrors one idles less at this part of the other's.
_IDLES_LESS = 0.75
#: Scatter at rest, A, and over that of every other place: hunting.
_HUNTS_A, _HUNTS = 0.12, 5.0
_TAKE_OFF = "before take-off"


def least_over(usual_a: float, *, mirror: bool) -> float:
    """By how much more than its mirror, or than all others, a node has to rest to show, A."""
    if mirror:
        return max(_REST_MIRROR_A, (_REST_MIRROR - 1.0) * usual_a)
    return max(_REST_ALONE_A, (_REST_ALONE - 1.0) * usual_a)


def hunting(node: NodeCurrent, others: Sequence[NodeCurrent]) -> UnusualCurrent | None:
    """A current that swings at rest on the ground while no other does."""
    for when in ("before", "after"):
        swing = node.scatter.get(when, 0.0)
        beside = [o.scatter[when] for o in others if when in o.scatter]
        least = max(_HUNTS_A, _REST_STEPS * node.step)
        if beside and swing >= least and swing >= _HUNTS * max(beside):
            found = found_at(UnusualKind.HUNTS, node, node.reading.t[0], None, "the others at rest")
            return replace(found, before=max(beside), now=swing)
    return None


def resting(
    node: NodeCurrent, mirror: NodeCurrent | None, others: Sequence[NodeCurrent]
) -> UnusualCurrent | None:
    """A rest far above the counterpart's, or after landing far above that before."""
    rest = node.rest
    for when in ("before", "after"):
        if when not in rest:
            continue
        if mirror is not None and when in mirror.rest:
            usual, factor, against = mirror.rest[when], _REST_MIRROR, mirror.place
        elif mirror is None and (beside := [o.rest[when] for o in others if when in o.rest]):
            usual, factor, against = max(beside), _REST_ALONE, "all others"
        else:
            continue
        over = node.lowest[when] - usual
        if over >= max(least_over(usual, mirror=mirror is not None), STEPS * node.step):
            both = all(rest.get(w, rest[when]) >= factor * usual for w in ("before", "after"))
            if when == "before" and both:
                steady = over <= _BY_DESIGN_A and _is_steady(node)
                # What is meant so stands in both of two mirrors, as a rule.
                meant = steady and mirror is None
                kind = UnusualKind.STEADY if meant else UnusualKind.RESTS_HIGH
                found = found_at(kind, node, node.reading.t[0], None, against)
                return replace(found, before=usual, now=rest[when], steady=steady)
    rise = node.gained
    if rise is None:
        return None
    before, after = rest["before"], node.lowest["after"]
    moved = [m for o in others if (m := o.gained) is not None]
    if rise < max(_AFTER_A, STEPS * node.step) or after < _AFTER * before:
        return None
    if any(m > _AFTER_OTHERS * rise for m in moved) or not moved:
        return None
    found = found_at(UnusualKind.STAYS_UP, node, node.reading.t[-1], None, _TAKE_OFF)
    return replace(found, before=before, now=after)


def _is_steady(node: NodeCurrent) -> bool:
    """Whether what it draws at rest flows all the time, and is always the same.

    A servo that works against a stop, a linkage or another servo draws another current once it
    has moved; a lamp or a pump does not.
    """
    before = node.rest["before"]
    least = max(_SAME * before, _REST_STEPS * node.step)
    lowest = float(np.nanquantile(node.mean, 0.02))
    return abs(node.rest.get("after", before) - before) <= least and lowest >= before - least


def total_stays_up(total: NodeCurrent, others: Sequence[NodeCurrent]) -> UnusualCurrent | None:
    """A whole current that rests far higher after landing, where no node shows as much more."""
    rise = total.gained
    if rise is None:
        return None
    before, after = total.rest["before"], total.lowest["after"]
    if rise < max(_TOTAL_A, STEPS * total.step) or after < _AFTER * before:
        return None
    shown = sum(m for o in others if (m := o.gained) is not None)
    if shown > _AFTER_OTHERS * rise:
        return None
    found = found_at(UnusualKind.STAYS_UP, total, total.reading.t[-1], None, _TAKE_OFF)
    return replace(found, before=before, now=after, rest_before=before, rest_after=after)


def with_rests(
    found: UnusualCurrent, node: NodeCurrent, mirror: NodeCurrent | None
) -> UnusualCurrent:
    """The same with what the node and its mirror draw at rest."""
    beside = mirror.rest if mirror is not None else {}
    return replace(
        found,
        rest_before=node.rest.get("before"),
        rest_after=node.rest.get("after"),
        rest_mirror=beside.get("before"),
    )


def lost(
    node: NodeCurrent, mirror: NodeCurrent | None, others: Sequence[NodeCurrent]
) -> UnusualCurrent | None:
    """A rest after landing far below that before, at this place alone: a servo is off.

    When, the flight did not show.
    """
    fall = node.lost
    if fall is None or mirror is None or not lost_rest(node, others):
        return None
    before, after = node.lowest["before"], node.rest["after"]
    if after > _LOST * before or fall < _LOST_A:
        return None
    found = found_at(UnusualKind.RESTS_LOW, node, node.reading.t[-1], None, _TAKE_OFF)
    return replace(found, before=before, now=after)


def idles_less(node: NodeCurrent, mirror: NodeCurrent) -> bool:
    """Whether the idle current of a servo is missing beside the mirror, at every rest seen.

    A mirror that holds something at rest draws far more over it than that.
    """
    pairs = [(node.rest[w], mirror.rest[w]) for w in node.rest if w in mirror.rest]
    step = max(node.step, mirror.step)
    least = max(_REST_STEPS * step, _FAR_A)
    return bool(pairs) and all(
        least <= other - own < _REST_MIRROR_A and own <= _IDLES_LESS * other for own, other in pairs
    )


def works_harder(node: NodeCurrent, mirror: NodeCurrent) -> bool:
    """Whether the rests tell that a node that draws more works harder than a sound mirror.

    It holds something with nothing moving. Rests that are alike tell nothing: a servo whose gear
    is stripped, or that has no signal, idles as before.
    """
    step = max(node.step, mirror.step)
    least = max(_REST_MIRROR_A, STEPS * step)
    return any(node.rest[w] - mirror.rest[w] >= least for w in node.rest if w in mirror.rest)


def lost_rest(node: NodeCurrent, others: Sequence[NodeCurrent]) -> bool:
    """Whether it rests far lower after landing than before, and no other does."""
    return _moved(node) < 0 and not any(_moved(o) < 0 for o in others)


def gained_rest(node: NodeCurrent, others: Sequence[NodeCurrent]) -> bool:
    """Whether it rests far higher after landing than before, and no other does."""
    return _moved(node) > 0 and not any(_moved(o) > 0 for o in others)


def _moved(node: NodeCurrent) -> int:
    """-1 where its rest fell over the flight, 1 where it rose, else 0."""
    gained, lost = node.gained, node.lost
    if gained is None or lost is None:
        return 0
    far = max(_REST_STEPS * node.step, _FELL * node.rest["before"], _FAR_A)
    return int(gained >= far) - int(lost >= far)
