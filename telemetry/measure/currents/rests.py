"""A node at rest on the ground: far above its counterpart, above itself before, or swinging."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.measure.currents.taking import STEPS, NodeCurrent, found_at
from telemetry.results import UnusualCurrent, UnusualKind

#: Rest over the mirror's, or over the highest of all others: A and factor (heuristic: digital
#: servos of one surface idle within a factor of two; pumps, receivers and lamps of a fuselage draw
#: up to some 1.5 A all the time).
_REST_MIRROR_A, _REST_MIRROR = 0.3, 2.5
_REST_ALONE_A, _REST_ALONE = 1.6, 4.0
#: Rest after landing over that before take-off, A and factor; others' part of it at the most.
_AFTER_A, _AFTER, _AFTER_OTHERS = 0.3, 2.0, 0.4
#: Part of its rest that a node loses with a servo, at the least, and steps of its sensor.
_FELL, _REST_STEPS = 0.25, 1.5
#: Scatter at rest, A, and over that of every other place: hunting.
_HUNTS_A, _HUNTS = 0.12, 5.0


def hunting(node: NodeCurrent, others: Sequence[NodeCurrent]) -> UnusualCurrent | None:
    """A current that swings at rest on the ground while no other does."""
    for when in ("before", "after"):
        swing = node.scatter.get(when, 0.0)
        beside = [o.scatter[when] for o in others if when in o.scatter]
        if beside and swing >= max(_HUNTS_A, STEPS * node.step) and swing >= _HUNTS * max(beside):
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
            usual, least, factor = mirror.rest[when], _REST_MIRROR_A, _REST_MIRROR
            against = mirror.place
        elif mirror is None and (beside := [o.rest[when] for o in others if when in o.rest]):
            usual, least, factor = max(beside), _REST_ALONE_A, _REST_ALONE
            against = "all others"
        else:
            continue
        over = rest[when] - usual
        if over >= max(least, STEPS * node.step) and rest[when] >= factor * usual:
            both = all(rest.get(w, rest[when]) >= factor * usual for w in ("before", "after"))
            if when == "before" and both:
                found = found_at(UnusualKind.RESTS_HIGH, node, node.reading.t[0], None, against)
                return replace(found, before=usual, now=rest[when])
    before, after = rest.get("before"), rest.get("after")
    if before is None or after is None:
        return None
    rise = after - before
    moved = [o.rest["after"] - o.rest["before"] for o in others if len(o.rest) == 2]
    if rise < max(_AFTER_A, STEPS * node.step) or after < _AFTER * before:
        return None
    if any(m > _AFTER_OTHERS * rise for m in moved) or not moved:
        return None
    found = found_at(UnusualKind.STAYS_UP, node, node.reading.t[-1], None, "before take-off")
    return replace(found, before=before, now=after)


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


def lost_rest(node: NodeCurrent, others: Sequence[NodeCurrent]) -> bool:
    """Whether it rests far lower after landing than before, and no other does."""

    def fell(n: NodeCurrent) -> bool:
        if len(n.rest) < 2:
            return False
        before, after = n.rest["before"], n.rest["after"]
        return before - after >= max(_REST_STEPS * n.step, _FELL * before)

    return fell(node) and not any(fell(o) for o in others)
