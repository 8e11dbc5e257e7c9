"""Each node's current against its counterpart, against itself before and after, and at rest.

The one picture behind all of it: ``current = rest + share x counterpart``, where the counterpart is
the mirror's current, else what the control columns say the servos had to do. A servo that binds or
stalls adds amperes for a stretch; one that is silent or hot changes the share; one that works
against a stop or against its neighbour raises the rest; one that hunts makes it swing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.measure.currents.active import active_spans
from telemetry.measure.currents.added import (
    CurrentBlocks,
    added_stretch,
    lone_stretch,
    rather_a_share,
    swings,
)
from telemetry.measure.currents.flown import NodeInFlight
from telemetry.measure.currents.named import Columns
from telemetry.measure.currents.rests import (
    gained_rest,
    hunting,
    idles_less,
    lost,
    lost_rest,
    resting,
    total_stays_up,
    with_rests,
    works_harder,
)
from telemetry.measure.currents.shares import (
    HARDLY,
    Share,
    Shared,
    changed_share,
    climbing,
)
from telemetry.measure.currents.still import changed_floor, fell_still
from telemetry.measure.currents.stirred import (
    changed_stir,
    multiple,
    stirred_multiple,
    stirred_shares,
)
from telemetry.measure.currents.taking import (
    LEAST,
    NodeCurrent,
    found_at,
    in_blocks,
    node_of,
    node_readings,
    rests_of,
)
from telemetry.measure.currents.work import control_columns
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.stretches import Stretch
from telemetry.readings import Reading, Readings
from telemetry.results import FrozenCurrent, Phase, UnusualCurrent, UnusualKind, WatchedCurrent

BoolArray = NDArray[np.bool_]

_BLOCK_S = 1.0
_LEAST_BLOCKS = 40  # in flight
_AT_START = 3  # blocks: a stretch that begins there begins with the flight
_EDGE_S = 3.0  # take-off and landing are found to about this
#: Kinds, the plainest first.
_PLAINEST = (
    *(UnusualKind.RESTS_HIGH, UnusualKind.STAYS_UP, UnusualKind.RAISED, UnusualKind.HUNTS),
    *(UnusualKind.SILENT, UnusualKind.HEATS, UnusualKind.LESS, UnusualKind.MORE),
    *(UnusualKind.RESTS_LOW, UnusualKind.STEADY),
)
#: Kinds that a place shows by itself: nothing is measured against one that does.
_BY_ITSELF = (UnusualKind.HUNTS, UnusualKind.RESTS_HIGH, UnusualKind.STAYS_UP)
#: Below this part of the mirror's moves none of its own is seen, whatever it rests at; above that
#: one, a mirror that works harder looks the same (heuristic).
_STILL, _MOVES = 0.05, 0.15
_ITSELF = "its own current before and after"
_OTHERS = "the other places"


def unusual_currents(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    frozen: Sequence[FrozenCurrent] = (),
) -> tuple[tuple[UnusualCurrent, ...], tuple[WatchedCurrent, ...]]:
    """What one flight shows of nodes whose current is not that of their counterpart.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
        Which places are nodes, and which of them are mirrors.
    phases : sequence of Phase
    frozen : sequence of FrozenCurrent
        Nodes whose reading stood still: they are not judged, and nothing is held against them.

    Returns
    -------
    tuple of UnusualCurrent
        One a place at the most, the plainest; empty where no node reports its own current.
    tuple of WatchedCurrent
        The nodes that were compared in flight, and what would have shown there.
    """
    stands = {f.place for f in frozen}
    ends = [r for r in node_readings(readings, aircraft) if r.place not in stands]
    whole = _whole(readings, aircraft)
    known = [*ends, *whole]
    if not known:
        return (), ()
    block_s = max(_BLOCK_S, *(r.update_s or 0.0 for r in known))
    edges = np.arange(readings.start_s, readings.end_s + 0.5 * block_s, block_s)
    if edges.size < 3:
        return (), ()
    blocks = [in_blocks(r, edges) for r in ends]
    totals = [in_blocks(r, edges) for r in whole]
    active = active_spans([mean for mean, _ in blocks or totals], edges, phases)
    rests = rests_of(readings, ends or whole, phases, active)
    nodes = {
        r.place: node_of(r, both, phases, active, rests)
        for r, both in zip(ends, blocks, strict=True)
    }
    beside = _Beside(
        nodes=nodes,
        aircraft=aircraft,
        columns=control_columns(readings, edges),
        edges=edges,
        flying=_flying(edges, active),
    )
    pairs = {p: beside.pair(p) for p in nodes}
    # What would have shown there in flight, where something was compared.
    watched = [pair.watched() for pair in pairs.values() if pair is not None]
    out = {p: u for p in nodes if (u := beside.found(p, pairs[p])) is not None}
    for r, both in zip(whole, totals, strict=True):
        found = total_stays_up(node_of(r, both, phases, active, rests), list(nodes.values()))
        if found is not None:
            out[r.place] = found
    sound = {u.place: u for u in beside.beside_sound_ones(list(out.values()))}
    told = [u for u in sound.values() if not _told_by(sound.get(u.against), u)]
    return tuple(told), tuple(watched)


@dataclass(frozen=True, kw_only=True)
class _Beside:
    """The nodes of one flight, each to be judged beside all others or some of them."""

    nodes: Mapping[str, NodeCurrent]
    aircraft: Aircraft
    columns: Columns
    edges: FloatArray
    flying: BoolArray

    def beside_sound_ones(self, told: Sequence[UnusualCurrent]) -> list[UnusualCurrent]:
        """The same where nothing is measured against a place that is found by itself.

        A sound wing is silent beside one that hunts, and lies still where the log goes on because
        that one does.
        """
        unsound = {u.place for u in told if u.kind in _BY_ITSELF}
        out = []
        for u in told:
            if u.place in unsound or u.place not in self.nodes or not unsound:
                out.append(u)
            else:
                again = self.found(u.place, self.pair(u.place, unsound), unsound)
                out += [] if again is None else [again]
        return out

    def found(
        self, place: str, pair: NodeInFlight | None, without: Collection[str] = ()
    ) -> UnusualCurrent | None:
        """The plainest that a node shows beside the others, without some of them.

        In flight as ``pair`` has it, of the same place and others.
        """
        node, mirror, others = self._among(place, without)
        found = None if pair is None else _named(_in_flight(pair), pair)
        found = found or hunting(node, others)
        if found is None and mirror is not None and (pair is not None or not self._long):
            found = _named(_multiple(node, mirror, pair), pair)
        found = found or resting(node, mirror, others)
        found = found or (mirror and changed_stir(node, mirror)) or lost(node, mirror, others)
        return None if found is None else with_rests(found, node, mirror)

    @property
    def _long(self) -> bool:
        return bool(self.flying.sum() >= _LEAST_BLOCKS)

    def _among(
        self, place: str, without: Collection[str]
    ) -> tuple[NodeCurrent, NodeCurrent | None, list[NodeCurrent]]:
        """A node, its mirror, and all others."""
        known = {p: n for p, n in self.nodes.items() if p not in without}
        mirror = known.get(self.aircraft.mirror(place, set(known)) or "")
        return self.nodes[place], mirror, [n for p, n in known.items() if p != place]

    def pair(self, place: str, without: Collection[str] = ()) -> NodeInFlight | None:
        """A node in flight beside the others; None where too little was flown."""
        if not self._long:
            return None
        return NodeInFlight.of(*self._among(place, without), self.columns, self.edges, self.flying)


def _told_by(other: UnusualCurrent | None, u: UnusualCurrent) -> bool:
    """Whether what the mirror shows explains this one: of a pair one fault is told, once.

    What is seen in amperes or at rest goes before what only a share tells.
    """
    if other is None or u.against != other.place:
        return False
    if other.against != u.place:
        return True  # that one tells itself
    if UnusualKind.MORE in (u.kind, other.kind) and UnusualKind.RAISED in (u.kind, other.kind):
        # What draws a multiple throughout says nothing of a stretch of the other's, which is sound.
        return other.kind is UnusualKind.MORE
    if other.kind is not u.kind:
        return _rank(other) < _rank(u)
    return u.kind is UnusualKind.RAISED and (u.seconds or 0.0) > (other.seconds or 0.0)


def _rank(u: UnusualCurrent) -> int:
    """How plain it is: a node that answers nothing any more first."""
    return -1 if u.kind is UnusualKind.SILENT and u.now is None else _PLAINEST.index(u.kind)


def _whole(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    """The one current that is that of the whole: the root's, else the only pack's; or none."""
    alone = aircraft.packs[0].name if len(aircraft.packs) == 1 else None
    read = {r.place: r for r in readings.of(Quantity.CURRENT) if r.size >= LEAST}
    return [read[p] for p in (aircraft.root, alone) if p is not None and p in read][:1]


def _flying(edges: FloatArray, active: Sequence[tuple[float, float]]) -> BoolArray:
    middle = 0.5 * (edges[1:] + edges[:-1])
    flying = np.zeros(middle.size, dtype=bool)
    for start, end in active:
        flying |= (middle > start + _EDGE_S) & (middle < end - _EDGE_S)
    return flying


def _in_flight(f: NodeInFlight) -> UnusualCurrent | None:
    """The first of: it fell still, amperes were added, its share or floor changed."""
    node, now = f.node, f.now
    lost_too = lost_rest(node, f.others)
    beside = [o.mean for o in f.beside.values()]
    landed_a = node.rest.get("after")
    fallen = fell_still(now.mean, beside, node.step, lost_rest=lost_too, landed_a=landed_a)
    if fallen is not None:
        start = f.start_s[fallen]
        return found_at(UnusualKind.SILENT, node, start, None, f.against or _OTHERS)
    gained = gained_rest(node, f.others)
    shared = f.shared()
    swapped = shared.swapped() if shared is not None and shared.mirror else None
    if swapped is not None and climbing(swapped) is not None:
        return None
    # What surfaces of other kinds do says too little of a climb.
    share = climbing(shared, gained_rest=gained) if shared is not None and f.against else None
    found = _added(f, shared, climbs=share is not None, lost_too=lost_too)
    if found is not None:
        return found
    if shared is not None and share is None:
        share = changed_share(shared, f.third(), lost_rest=lost_too, gained_rest=gained)
    if share is not None:
        return _of_share(f, share, f.against or _OTHERS)
    floor = changed_floor(now.mean, beside, now.block_s, node.step, gained_rest=gained)
    return None if floor is None else _of_share(f, floor, _ITSELF)


def _named(found: UnusualCurrent | None, f: NodeInFlight | None) -> UnusualCurrent | None:
    """The same with the controls whose servos may have changed, where the sticks tell them."""
    if found is None or f is None or not f.controls:
        return found
    first = int(np.searchsorted(f.start_s, found.start_s))
    return replace(found, controls=f.changed(found.kind, first))


def _added(
    f: NodeInFlight, shared: Shared | None, *, climbs: bool, lost_too: bool
) -> UnusualCurrent | None:
    """Amperes added for a stretch; what it drew more until its rest fell, it lost there."""
    node, now = f.node, f.now
    if f.counterpart is None:
        added = lone_stretch(now, [o.low for o in f.beside.values()])
        if added is None:
            return None
        if not (lost_too and added.first <= _AT_START):
            return _of_stretch(node, added, now, f.start_s, _ITSELF)
        part = float(np.median(now.mean[added.end :]) / np.median(now.mean[: added.end]))
        found = found_at(UnusualKind.SILENT, node, f.start_s[added.end], None, _ITSELF)
        return replace(found, before=1.0, now=part, error=added.se / max(added.excess, 1e-6))
    added = added_stretch(now, f.counterpart)
    if added is None or (lost_too and added.first <= _AT_START):
        return None
    found = _of_stretch(node, added, now, f.start_s, f.against, f.counterpart)
    may_be_share = shared is not None and (climbs or shared.mirror)
    if not may_be_share or found.kind is UnusualKind.HUNTS:  # no share swings by itself
        return found
    span = (added.first, added.end)
    return None if rather_a_share(now, f.counterpart, span, climbs=climbs) else found


def _of_share(f: NodeInFlight, share: Share, against: str) -> UnusualCurrent:
    """A share that changed; one that rose at an instant in amperes."""
    found = found_at(share.kind, f.node, f.start_s[share.at], None, against)
    found = replace(found, before=share.before, now=share.now, error=share.error)
    if share.kind is not UnusualKind.RAISED:
        return found
    seconds = (f.now.mean.size - share.at) * f.now.block_s
    if against == _ITSELF:  # a floor is in amperes
        return replace(found, error=share.error * share.before, seconds=seconds)
    now = float(f.now.mean[share.at :].mean())
    more = now * (1.0 - share.before / share.now)
    return replace(found, before=now - more, now=now, error=share.error * more, seconds=seconds)


def _multiple(
    node: NodeCurrent, mirror: NodeCurrent, f: NodeInFlight | None
) -> UnusualCurrent | None:
    """A multiple of the mirror's current throughout, or the mirror's multiple of its own.

    Servos that were off from the start took their idle current with them: then it is this one
    that draws less, where it is hardly anything; where it still moves, either of the two may be at
    fault. A larger part is left as well by servos that work harder at the other, which idle higher
    for it.
    """
    less = _ratio(mirror, node, f)
    if less is not None and _is_off(node, mirror, less[0], f):
        found = found_at(UnusualKind.LESS, node, node.reading.t[0], None, mirror.place)
        either = f is not None and f.moves(node.place, mirror.place) > _MOVES
        return replace(found, before=1.0, now=1.0 / less[0], error=less[1], either=either)
    more = _ratio(node, mirror, f)
    if more is None or _is_off(mirror, node, more[0], f):
        return None
    found = found_at(UnusualKind.MORE, node, node.reading.t[0], None, mirror.place)
    either = not works_harder(node, mirror)
    return replace(found, before=1.0, now=more[0], error=more[1], either=either)


def _is_off(node: NodeCurrent, mirror: NodeCurrent, times: float, f: NodeInFlight | None) -> bool:
    """Whether it is the one that draws less, by so many times, that has servos that are off."""
    still = f is not None and f.moves(node.place, mirror.place) < _STILL
    return times >= HARDLY and (still or idles_less(node, mirror))


def _ratio(
    node: NodeCurrent, mirror: NodeCurrent, f: NodeInFlight | None
) -> tuple[float, float] | None:
    """The multiple and its relative error, where a node draws one of the mirror's current."""
    stirred = stirred_shares(node.stirs, mirror.stirs)
    if f is None:
        return stirred_multiple(node.stirs, mirror.stirs, stirred)
    mine, other = f.drawn(node.place), f.drawn(mirror.place)
    return multiple(mine, other, f.now.block_s, stirred, max(node.step, mirror.step))


def _of_stretch(
    node: NodeCurrent,
    s: Stretch,
    blocks: CurrentBlocks,
    start_s: FloatArray,
    against: str,
    counterpart: FloatArray | None = None,
) -> UnusualCurrent:
    mine, block_s = blocks.mean, blocks.block_s
    start, end = float(start_s[s.first]), float(start_s[s.end - 1]) + block_s
    lasting = s.end >= mine.size - 3
    now = float(np.median(mine[s.first : s.end]))
    # Of a flight that began so, what came after may be a servo that is off.
    hunts = s.first > _AT_START and swings(node.reading, s, blocks, start_s, counterpart)
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
