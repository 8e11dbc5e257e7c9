"""How much of a voltage event the load explains, and where on the path it came from.

Load explains a fall by resistance times the rise of current. Two things limit the answer and are
both carried through: the interval of the resistance, and the current's own sampling, which can
miss the peak that pulled the voltage down. Where a missed peak could explain the event, it stays
"unknown" instead of being blamed on a part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.path.chance import FEW, beyond_sampling, deep_readings, like_no_other
from telemetry.detect.path.giving_way import gave_way
from telemetry.detect.path.path_load import Loads, LoadStep, PathSeries, rise
from telemetry.detect.path.running_down import FELL, load_rose, slow_fall
from telemetry.model.channels import PlaceKind
from telemetry.numerics.sampling import held_at
from telemetry.readings import Readings
from telemetry.results import FALLS, Event, EventKind, Origin, Resistance

# Shares of the depth (heuristic): above the first the load is the cause; below the second, with the
# highest resistance and current that can be true, it is not.
_EXPLAINED = 0.6
_UNEXPLAINED = 0.5
# A current that the log saw this often during an event is taken as seen.
_WELL_SEEN = 3
# A fall of a feeding place below this is noise and resolution (heuristic).
_FAINT_V = 0.03
# By less than the first part of a fall nothing fell along; by the second it fell alike (heuristic).
_PART, _ALIKE = 0.3, 0.6
# A total current is high above this quantile of it (heuristic).
_HIGH_LOAD = 0.98
# Packs share a current above this, A, and above the part of it that tells something of shares.
_SHARED_A = 0.3
# A contact of its own takes a node from what feeds it by so much of its fall (heuristic: all of it,
# less what both sensors miss of each other).
_OWN_PART = 0.5


def place_events(
    events: Sequence[Event],
    readings: Readings,
    aircraft: Aircraft,
    resistances: Sequence[Resistance],
) -> tuple[Event, ...]:
    """The same events with ``explained``, ``explained_by`` and ``origin`` filled in.

    Parameters
    ----------
    events : sequence of Event
        Spikes pass through unchanged.
    readings : Readings
        Of the flight or bench recording.
    aircraft : Aircraft
    resistances : sequence of Resistance
        Of the same flight, fitted without the moments at which a voltage fell too far for its
        current; or of earlier flights. Where that was refused, the wire table's value is taken.
    """
    loads = Loads(readings, aircraft, resistances)
    out: list[Event] = []
    for e in events:
        if e.kind is EventKind.SPIKE:
            out.append(e)
            continue
        out.append(judge_fall(e, loads))
    # From the packs down, so that what a bus takes over reaches its nodes.
    for kind in (PlaceKind.BUS, None):
        out = [
            inherit_origin(e, out, aircraft)
            if kind is None or aircraft.kind(e.place) is kind
            else e
            for e in out
        ]
    return tuple(out)


def judge_fall(e: Event, loads: Loads) -> Event:
    """The decision procedure for one fall of voltage.

    Load where it explains the fall. Else, where the feeding place fell along in proportion, what
    made that one fall. Else a fault of this place, if neither the current that was seen nor one
    that was missed can be the cause. Else unknown.
    """
    shifted = pack_shifted(e, loads)
    if shifted is not None:
        return replace(e, explained=0.0, origin=Origin.PACK, note=shifted)
    depth = drop_below_usual(e, loads)
    if depth is None or depth <= 0 or e.residual_v is None:
        return e
    steps = loads.path(e.place)
    above = AboveState.of(e, depth, steps, loads)
    if not steps:
        if _ran_down(e, loads):
            return _emptied(e)
        if above.whole or bus_gave_way(e, depth, loads):
            return replace(e, origin=Origin.SUPPLY)
        if _shared_by_all(e, depth, loads):
            note = "what it feeds fell along, at a load that cost little at other moments"
            return replace(e, origin=Origin.SUPPLY, together=True, note=note)
        alone = above.read and not above.fell and _may_be_alone(e, depth, loads)
        alone = alone and like_no_other(depth, loads.volts[e.place])
        alone = alone and not _at_its_highest(e, loads)
        return replace(e, origin=own_fault(e, loads) if alone else Origin.UNKNOWN)
    seen = sum(s.ohm * rise(s, e, missed=False) for s in steps)
    share = min(1.0, max(0.0, seen / depth))
    names = " + ".join(f"{s.place} {s.kind} {1000 * s.ohm:.0f} mOhm ({s.how})" for s in steps)
    found = replace(e, explained=share, explained_by=names)
    return _placed(found, depth, steps, above, loads)


def _placed(
    e: Event, depth: float, steps: list[LoadStep], above: AboveState, loads: Loads
) -> Event:
    """The event with its origin, by the share of its depth that the load explains."""
    if (e.explained or 0.0) >= _EXPLAINED:
        return replace(e, origin=Origin.LOAD)
    if _ran_down(e, loads):
        return _emptied(e)
    most = sum(s.high_ohm * rise(s, e, missed=True) for s in steps)
    surely = sum(s.high_ohm * rise(s, e, missed=False) for s in steps)
    stands_out = beyond_sampling(e, steps, loads)
    if stands_out is None:
        seen = [s.current.inside(e.start_s, e.end_s) for s in steps]
        stands_out = min(*seen, deep_readings(e, depth, loads)) >= _WELL_SEEN
    no_load = surely < _UNEXPLAINED * depth and (most < _UNEXPLAINED * depth or stands_out)
    if above.along:
        if no_load:
            return replace(e, origin=Origin.SUPPLY if above.whole else Origin.UNKNOWN)
        note = "the feeding place fell along, as a load peak between readings makes it"
        return replace(e, origin=Origin.LOAD, note=note)
    together = siblings_fell(e, depth, loads, fed=not above.read or above.fell)
    if no_load or above.stayed:
        if not together and _with_its_feed(e, depth, loads):
            note = "it stayed as near to what feeds it as before"
            return replace(e, origin=Origin.UNKNOWN, note=note)
        if not together:
            origin = own_fault(e, loads)
            return replace(e, origin=origin, unloaded=origin is Origin.UNKNOWN)
        note = "all places on this feed fell together"
        return replace(e, origin=Origin.SUPPLY, together=True, note=note)
    if together:
        note = "the other places fell along, as a load peak between readings makes it"
        return replace(e, origin=Origin.LOAD, note=note)
    note = "the current may have peaked between two of its readings"
    return replace(e, origin=Origin.UNKNOWN, note=note)


@dataclass(frozen=True, slots=True, kw_only=True)
class AboveState:
    """What the feeding place (for a bus: the packs) did meanwhile.

    Attributes
    ----------
    along : bool
        It fell at least half as far as a load through both would make it fall.
    whole : bool
        It fell nearly as far as the place itself.
    stayed : bool
        It was read several times meanwhile and did not fall.
    read, fell : bool
        It was read meanwhile at all; it fell by a good part of the fall.
    """

    along: bool = False
    whole: bool = False
    stayed: bool = False
    read: bool = False
    fell: bool = False

    @staticmethod
    def of(e: Event, depth: float, steps: list[LoadStep], loads: Loads) -> AboveState:
        """What fed the place of a fall did, by its own fall and the load's steps."""
        feeders = loads.feeds(e.place)
        if not feeders:
            return AboveState()
        drop = max(fall_of(s, e) for s in feeders)
        total = sum(s.ohm for s in steps)
        # Of a bus only the sum of pack and switch is known: half of it is taken for the packs.
        part = sum(s.ohm for s in steps[1:]) / total if len(steps) > 1 and total > 0 else 0.5
        least = max(0.5 * part * depth, _FAINT_V)
        readings = max(s.inside(e.start_s, e.end_s) for s in feeders)
        return AboveState(
            along=drop >= least,
            whole=drop >= 0.8 * depth,
            stayed=readings >= _WELL_SEEN
            and part * depth > 4.0 * _FAINT_V
            and drop < 0.2 * part * depth,
            read=readings >= 1,
            fell=drop >= max(_PART * depth, _FAINT_V),
        )


def _with_its_feed(e: Event, depth: float, loads: Loads) -> bool:
    """Whether a node kept its distance to its feed, reading by reading: no lead of its own fell.

    A feed that was not read meanwhile lies, by its readings before and after, where it was.
    """
    parent = loads.aircraft.parent(e.place)
    if parent is None or parent not in loads.volts or not _is_node(e.place, loads.aircraft):
        return False
    own, feed = loads.volts[e.place], loads.volts[parent]
    lo, hi = np.searchsorted(own.t, [e.start_s - 1e-6, e.end_s + 1e-6])
    if hi <= lo or feed.t.size < FEW:
        return False
    fed = np.interp(own.t[lo:hi], feed.t, feed.v)
    lost = float((fed - own.v[lo:hi]).max())
    if e.residual_v is not None:
        # The unit's own minimum may have seen what no reading did.
        lost = max(lost, float(fed.min()) - e.residual_v)
    usual = feed.usual(e.start_s) - own.usual(e.start_s)
    return lost - usual < _OWN_PART * depth


def siblings_fell(e: Event, depth: float, loads: Loads, *, fed: bool) -> bool:
    """Whether another place on the same (logged) feed fell along: then no lead of one's own did it.

    A fault of the common supply shows at the feed itself, which is judged by its own current.
    Where the feed was read and did not fall, the others have to have fallen alike (not ``fed``).
    """
    parent = loads.aircraft.parent(e.place)
    if parent is None or parent not in loads.volts:
        return False
    least = max((_PART if fed else _ALIKE) * depth, 2.0 * _FAINT_V)
    others = [c for c in loads.aircraft.children(parent) if c != e.place and c in loads.volts]
    fell = [c for c in others if fall_of(loads.volts[c], e) >= least]
    return any(not _own_load(c, e, loads) for c in fell)


def _own_load(place: str, e: Event, loads: Loads) -> bool:
    """Whether the current of a place itself makes its fall during an event of another one."""
    if place not in loads.amps:
        return False
    seen = sum(s.ohm * rise(s, e, missed=False) for s in loads.path(place))
    return seen >= _EXPLAINED * fall_of(loads.volts[place], e)


def _may_be_alone(e: Event, depth: float, loads: Loads) -> bool:
    """A node; a root that fell further than its load is known to make it."""
    most_v = loads.most_by_load
    beyond = e.place == loads.aircraft.root and (most_v is None or depth > most_v)
    return beyond or _is_node(e.place, loads.aircraft)


def _at_its_highest(e: Event, loads: Loads) -> bool:
    """Whether the place drew about the highest current of the log just then: load it may be."""
    own = loads.amps.get(e.place)
    near = np.empty(0) if own is None else own.about(e.start_s, e.end_s)
    return own is not None and near.size > 0 and float(near.max()) > own.high(_HIGH_LOAD)


def _shared_by_all(e: Event, depth: float, loads: Loads) -> bool:
    """Whether a root without a logged feed fell as never before, and other units saw it fall.

    At a current that is not among its highest: at those it never fell so far.
    """
    aircraft, total = loads.aircraft, loads.total
    if e.place != aircraft.root or total is None or loads.feeds(e.place):
        return False
    seen = [c for c in aircraft.children(e.place) if c in loads.volts]
    along = [c for c in seen if fall_of(loads.volts[c], e) >= _ALIKE * depth]
    near = total.about(e.start_s, e.end_s)
    usual_load = bool(near.size) and float(near.max()) <= total.high(_HIGH_LOAD)
    alike = len(along) >= 2 and 2 * len(along) >= len(seen)
    return usual_load and alike and like_no_other(depth, loads.volts[e.place])


def drop_below_usual(e: Event, loads: Loads) -> float | None:
    """How far the voltage fell from its own usual level, V."""
    if e.kind in FALLS:
        return e.depth_v
    volts = loads.volts.get(e.place)
    if volts is None or e.residual_v is None:
        return None
    return volts.usual(e.start_s) - e.residual_v


def _ran_down(e: Event, loads: Loads) -> bool:
    """Whether a voltage ran away from its slow mean over many seconds, and its packs with it.

    A contact or a switch lets go at once; at the end of a charge the voltage falls faster than the
    slow mean follows.
    """
    own = loads.volts.get(e.place)
    if e.kind not in FALLS or own is None or not slow_fall(own.t, own.v, e):
        return False
    if loads.total is not None and load_rose(loads.total.t, loads.total.v, e):
        return False
    packs = [p.name for p in loads.aircraft.packs if p.name in loads.volts]
    if e.place in packs or not packs:
        return e.place in packs or e.place == loads.aircraft.root
    beside = (loads.volts[p] for p in packs)
    return any(slow_fall(x.t, x.v, e, 0.5 * FELL) for x in beside)


def _emptied(e: Event) -> Event:
    note = "it fell slowly with its packs, as they do at the end of their charge"
    return replace(e, origin=Origin.PACK, slow=True, note=note)


def bus_gave_way(e: Event, depth: float, loads: Loads) -> bool:
    """Whether a bus fell further than load makes it while the packs had room to hold it."""
    if e.place != loads.aircraft.bus or loads.total is None:
        return False
    volts = loads.volts[e.place]
    packs = [loads.volts[n] for n in loads.aircraft.feeders(e.place) if n in loads.volts]
    lows = [float(x.min()) for p in packs if (x := p.about(e.start_s, e.end_s)).size]
    if not lows:
        return False
    headroom = max(lows) - volts.usual(e.start_s)
    return gave_way(depth, headroom, loads.most_by_load)


def own_fault(e: Event, loads: Loads) -> Origin:
    """What a fall of the place alone is called, by what the place is."""
    kind = loads.aircraft.kind(e.place)
    if kind is PlaceKind.PACK:
        return Origin.PACK
    if kind in (PlaceKind.BUS, PlaceKind.REGULATOR):
        logged = any(name in loads.volts for name in loads.aircraft.feeders(e.place))
        return Origin.SUPPLY if logged else Origin.UNKNOWN
    return Origin.CONTACT


def _is_node(place: str, aircraft: Aircraft) -> bool:
    own = aircraft.node(place) is not None and place != aircraft.root
    return own and aircraft.kind(place) is not PlaceKind.RECEIVER


def fall_of(s: PathSeries, e: Event) -> float:
    """How far a place fell below its usual level about an event, V."""
    near = s.about(e.start_s, e.end_s)
    return 0.0 if near.size == 0 else s.usual(e.start_s) - float(near.min())


def pack_shifted(e: Event, loads: Loads) -> str | None:
    """What happened to a pack's share across the start of an event, if it left for good."""
    packs = [(p.name, loads.amps[p.name]) for p in loads.aircraft.packs if p.name in loads.amps]
    if len(packs) < 2 or _is_node(e.place, loads.aircraft):
        return None
    grid = np.arange(-6.0, 6.01, 0.5) + e.start_s
    flows = np.vstack([held_at(s.t, s.v, grid, 3.0) for _, s in packs])
    sums = flows.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(sums > max(_SHARED_A, loads.shared_a), flows / sums, np.nan)
    early, late = grid < e.start_s - 0.5, grid > e.start_s + 1.5
    for k, (name, _) in enumerate(packs):
        before, after = shares[k, early], shares[k, late]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if min(before.size, after.size) < 4:
            continue
        if float(np.median(before)) > 0.2 and float(np.quantile(after, 0.9)) < 0.05:
            return f"{name} stopped giving current at that moment"
    return None


def inherit_origin(e: Event, judged: Sequence[Event], aircraft: Aircraft) -> Event:
    """A fall that came from above carries the origin found there."""
    if e.origin is Origin.CONTACT and _feed_gave_way(e, judged, aircraft):
        return replace(e, origin=Origin.SUPPLY)
    if e.origin is not Origin.SUPPLY or e.together or not _came_from_above(e, aircraft):
        return e
    for other in judged:
        if (
            other.place in aircraft.feeders(e.place)
            and other.kind in FALLS
            and other.start_s <= e.end_s + 1.0
            and e.start_s <= other.end_s + 1.0
        ):
            return replace(e, origin=other.origin)
    # What fed it fell too, but so little that it was no event there: nothing to blame it on.
    is_bus = aircraft.kind(e.place) is PlaceKind.BUS
    return e if is_bus else replace(e, origin=Origin.UNKNOWN)


def _feed_gave_way(e: Event, judged: Sequence[Event], aircraft: Aircraft) -> bool:
    """Whether the feed's own supply gave way just then, by half as much or more."""
    return any(
        other.place in aircraft.feeders(e.place)
        and other.origin is Origin.SUPPLY
        and (other.depth_v or 0.0) >= 0.5 * (e.depth_v or 0.0)
        and other.start_s <= e.end_s + 0.5
        and e.start_s <= other.end_s + 0.5
        for other in judged
    )


def _came_from_above(e: Event, aircraft: Aircraft) -> bool:
    return bool(aircraft.feeders(e.place)) and aircraft.kind(e.place) is not PlaceKind.PACK
