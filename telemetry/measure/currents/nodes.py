"""Each node's current against its counterpart, against itself before and after, and at rest.

The one picture behind all of it: ``current = rest + share x counterpart``, where the counterpart is
the mirror's current, else what the control columns say the servos had to do. A servo that binds or
stalls adds amperes for a stretch; one that is silent or hot changes the share; one that works
against a stop or against its neighbour raises the rest; one that hunts makes it swing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.measure.currents.added import (
    CurrentBlocks,
    added_stretch,
    least_added,
    lone_stretch,
)
from telemetry.measure.currents.rests import hunting, lost_rest, resting, with_rests
from telemetry.measure.currents.shares import (
    Moving,
    changed_share,
    constant_share,
    fell_still,
    flown_share,
    stirred_share,
)
from telemetry.measure.currents.taking import STEPS, NodeCurrent, found_at, node_of
from telemetry.measure.currents.work import control_work
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.stretches import Stretch
from telemetry.readings import Reading, Readings
from telemetry.results import Phase, PhaseKind, UnusualCurrent, UnusualKind, WatchedCurrent

BoolArray = NDArray[np.bool_]

_BLOCK_S = 1.0
_LEAST = 40  # readings of a current
_LEAST_BLOCKS = 40  # in flight
_AT_START = 3  # blocks: a stretch that begins there begins with the flight
_EDGE_S = 3.0  # take-off and landing are found to about this
#: A multiple of the mirror's current has to be so much more on the mean of the flight, A.
_MORE_A = 0.2
#: A stir that shows a multiple is borne out by a flight that shows this much of it.
_AGREES = 1.4
#: Kinds, the plainest first.
_PLAINEST = (
    *(UnusualKind.RESTS_HIGH, UnusualKind.STAYS_UP, UnusualKind.RAISED, UnusualKind.HUNTS),
    *(UnusualKind.SILENT, UnusualKind.HEATS, UnusualKind.MORE),
)
_STICKS = "the movement of the sticks"
_ITSELF = "its own current before and after"
#: Swing from reading to reading in a stretch, as part of what is added: it hunts, it does not bind.
_SWINGS = 0.35


def unusual_currents(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[tuple[UnusualCurrent, ...], tuple[WatchedCurrent, ...]]:
    """What one flight shows of nodes whose current is not that of their counterpart.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
        Which places are nodes, and which of them are mirrors.
    phases : sequence of Phase

    Returns
    -------
    tuple of UnusualCurrent
        One a place at the most, the plainest; empty where no node reports its own current.
    tuple of WatchedCurrent
        The nodes that were compared in flight, and what would have shown there.
    """
    ends = nodes_of(readings, aircraft)
    if not ends:
        return (), ()
    block_s = max(_BLOCK_S, *(r.update_s or 0.0 for r in ends))
    edges = np.arange(readings.start_s, readings.end_s + 0.5 * block_s, block_s)
    if edges.size < 3:
        return (), ()
    nodes = {r.place: node_of(r, edges, phases) for r in ends}
    flying = _flying(edges, phases)
    out: dict[str, UnusualCurrent] = {}
    watched: list[WatchedCurrent] = []
    for node in nodes.values():
        mirror = aircraft.mirror(node.place, set(nodes))
        other = nodes.get(mirror or "")
        others = [n for n in nodes.values() if n is not node]
        found = None
        if flying.sum() >= _LEAST_BLOCKS:
            pair = _InFlight.of(node, other, others, readings, edges, flying)
            found = None if pair is None else _in_flight(pair)
            watched += [] if pair is None else [pair.watched()]
        elif other is not None:
            found = _multiple(node, other, None, block_s)
        found = found or hunting(node, others) or resting(node, other, others)
        if found is not None:
            out[node.place] = with_rests(found, node, other)
    told = tuple(u for u in out.values() if not _told_by(out.get(u.against), u))
    return told, tuple(watched)


def _told_by(other: UnusualCurrent | None, u: UnusualCurrent) -> bool:
    """Whether what the mirror shows explains this one: of a pair one fault is told, once.

    What is seen in amperes or at rest goes before what only a share tells.
    """
    if other is None or other.against != u.place:
        return False
    if other.kind is not u.kind:
        return _rank(other) < _rank(u)
    return u.kind is UnusualKind.RAISED and (u.seconds or 0.0) > (other.seconds or 0.0)


def _rank(u: UnusualCurrent) -> int:
    """How plain it is: a node that answers nothing any more first."""
    return -1 if u.kind is UnusualKind.SILENT and u.now is None else _PLAINEST.index(u.kind)


def nodes_of(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    """The outermost currents below the root: what servos draw."""
    above = {p.name for p in aircraft.packs} | {s.name for s in aircraft.supplies}
    above |= {aircraft.root or "", aircraft.regulator or ""}
    known = [r for r in readings.of(Quantity.CURRENT) if r.size >= _LEAST and r.place not in above]
    known = [r for r in known if aircraft.kind(r.place) in (PlaceKind.NODE, PlaceKind.RECEIVER)]
    feeding = {up for r in known for up in aircraft.feeders(r.place)}
    return [r for r in known if r.place not in feeding]


def _flying(edges: FloatArray, phases: Sequence[Phase]) -> BoolArray:
    middle = 0.5 * (edges[1:] + edges[:-1])
    flying = np.zeros(middle.size, dtype=bool)
    for p in phases:
        if p.kind is PhaseKind.FLIGHT:
            flying |= (middle > p.start_s + _EDGE_S) & (middle < p.end_s - _EDGE_S)
    return flying


@dataclass(frozen=True, slots=True, kw_only=True)
class _InFlight:
    """A node in flight beside its counterpart and the other places, in blocks that all have."""

    node: NodeCurrent
    mirror: NodeCurrent | None
    others: Sequence[NodeCurrent]
    now: CurrentBlocks
    start_s: FloatArray
    beside: Mapping[str, CurrentBlocks]
    work: FloatArray | None

    @classmethod
    def of(
        cls,
        node: NodeCurrent,
        mirror: NodeCurrent | None,
        others: Sequence[NodeCurrent],
        readings: Readings,
        edges: FloatArray,
        flying: BoolArray,
    ) -> _InFlight | None:
        """None where too few blocks hold all of them."""
        known = flying & np.isfinite(node.mean)
        for other in others:
            known &= np.isfinite(other.mean)
        if known.sum() < _LEAST_BLOCKS:
            return None
        block_s = float(edges[1] - edges[0])

        def blocks(n: NodeCurrent) -> CurrentBlocks:
            return CurrentBlocks(
                mean=n.mean[known],
                low=n.low[known],
                block_s=block_s,
                step=n.step,
                update_s=n.reading.update_s or 0.0,
                fresh=np.histogram(n.reading.t, edges)[0][known].astype(float),
            )

        return cls(
            node=node,
            mirror=mirror,
            others=others,
            now=blocks(node),
            start_s=edges[:-1][known],
            beside={o.place: blocks(o) for o in others},
            work=control_work(readings, edges, node.mean, known),
        )

    @property
    def counterpart(self) -> FloatArray | None:
        """What it should follow, A: the mirror's current, else what the sticks say."""
        return self.work if self.mirror is None else self.beside[self.mirror.place].mean

    @property
    def against(self) -> str:
        """What it is compared with; "" where there is nothing."""
        return self.mirror.place if self.mirror is not None else _STICKS if self._told else ""

    @property
    def _told(self) -> bool:
        return self.work is not None

    def watched(self) -> WatchedCurrent:
        """What would have shown in half a minute at the least."""
        least = least_added(self.now, self.counterpart)
        return WatchedCurrent(place=self.node.place, against=self.against, least_a=least)


def _in_flight(f: _InFlight) -> UnusualCurrent | None:
    """The first of: it fell still, amperes were added for a stretch, its share changed."""
    node, mirror, now, counterpart = f.node, f.mirror, f.now, f.counterpart
    lost = lost_rest(node, f.others)
    beside = [o.mean for o in f.beside.values()]
    fallen = fell_still(now.mean, beside, node.step, lost_rest=lost)
    if fallen is not None:
        start = f.start_s[fallen]
        return found_at(UnusualKind.SILENT, node, start, None, f.against or "the others")
    # What it drew more up to an instant, with a higher rest, it lost there.
    if counterpart is None:
        added = lone_stretch(now, [o.low for o in f.beside.values()])
        if added is None:
            return None
        if lost and added.first <= _AT_START:
            part = float(np.median(now.mean[added.end :]) / np.median(now.mean[: added.end]))
            found = found_at(UnusualKind.SILENT, node, f.start_s[added.end], None, _ITSELF)
            return replace(found, before=1.0, now=part, error=added.se / max(added.excess, 1e-6))
        return _of_stretch(node, added, now, f.start_s, _ITSELF)
    added = added_stretch(now, counterpart)
    if added is not None and not (lost and added.first <= _AT_START):
        return _of_stretch(node, added, now, f.start_s, f.against)
    pair = Moving.of(now.mean, counterpart)
    third = [o.mean for p, o in f.beside.items() if mirror is None or p != mirror.place]
    third += [] if f.work is None or mirror is None else [f.work]
    share = None if pair is None else changed_share(pair, now.block_s, third, lost_rest=lost)
    if share is not None:
        return replace(
            found_at(share.kind, node, f.start_s[share.at], None, f.against),
            before=share.before,
            now=share.now,
            error=share.error,
        )
    return None if mirror is None or pair is None else _multiple(node, mirror, pair, now.block_s)


def _multiple(
    node: NodeCurrent, mirror: NodeCurrent, pair: Moving | None, block_s: float
) -> UnusualCurrent | None:
    """A multiple of the mirror's current throughout the flight and in the stirs."""
    stirred = stirred_share(node.stirs, mirror.stirs)
    ratio = None
    if pair is not None:
        flown = constant_share(pair, block_s)
        over = float(np.mean(pair.mine - pair.counterpart))
        if flown is not None and over >= max(_MORE_A, STEPS * node.step):
            ratio = flown
        agrees = flown_share(pair, block_s) >= _AGREES
    if ratio is None and stirred is not None and (pair is None or agrees):
        ratio = stirred
    if ratio is None:
        return None
    found = found_at(UnusualKind.MORE, node, node.reading.t[0], None, mirror.place)
    return replace(found, before=1.0, now=ratio[0], error=ratio[1])


def _of_stretch(
    node: NodeCurrent,
    s: Stretch,
    blocks: CurrentBlocks,
    start_s: FloatArray,
    against: str,
) -> UnusualCurrent:
    mine, block_s = blocks.mean, blocks.block_s
    start, end = float(start_s[s.first]), float(start_s[s.end - 1]) + block_s
    inside = node.reading.within(start, end).v
    outside = np.concatenate(
        [node.reading.within(float(start_s[0]), start).v, node.reading.within(end, np.inf).v]
    )
    jumps = [float(np.median(np.abs(np.diff(x)))) if x.size > 3 else 0.0 for x in (inside, outside)]
    lasting = s.end >= mine.size - 3
    hunts = inside.size > 12 and jumps[0] - jumps[1] > _SWINGS * s.excess
    now = float(np.median(mine[s.first : s.end]))
    return replace(
        found_at(
            UnusualKind.HUNTS if hunts else UnusualKind.RAISED,
            node,
            start,
            None if lasting else end,
            against,
        ),
        before=now - s.excess,
        now=now,
        error=s.se,
        seconds=(s.end - s.first) * block_s,
    )
