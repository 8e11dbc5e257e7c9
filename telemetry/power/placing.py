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
from telemetry.channels import PlaceKind, Quantity, kind_of_place
from telemetry.log import FloatArray
from telemetry.readings import Readings, total_current
from telemetry.results import Event, EventKind, Origin, Resistance
from telemetry.signals.baseline import sliding_reference
from telemetry.signals.sampling import held_at

# Shares of the depth (ours): above the first the load is the cause; below the second, with the
# highest resistance and current that can be true, it is not.
_EXPLAINED = 0.6
_UNEXPLAINED = 0.5
# A current that the log saw this often during an event is taken as seen.
_WELL_SEEN = 3
# Headroom over the highest current of the log for a peak between two readings (ours).
_MISSED = 1.2
# A residual this many times the greatest one to the other side is no accident of sampling (ours:
# for tails as heavy as exponential ones, 1000 readings pass it by chance once in some 60 flights).
_BEYOND = 1.6
_FEW = 100
_TAU_S = 60.0


@dataclass(frozen=True, slots=True)
class _Series:
    t: FloatArray
    v: FloatArray
    slow: FloatArray
    update_s: float

    def usual(self, at_s: float) -> float:
        """The slow mean just before an instant."""
        i = int(np.searchsorted(self.t, at_s)) - 1
        return float(self.slow[max(i, 0)])

    def about(self, start_s: float, end_s: float) -> FloatArray:
        lo, hi = np.searchsorted(self.t, [start_s - self.update_s, end_s + self.update_s])
        return self.v[lo:hi]

    def inside(self, start_s: float, end_s: float) -> int:
        lo, hi = np.searchsorted(self.t, [start_s, end_s], side="left")
        return int(hi - lo)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One resistance of the path with the current through it."""

    ohm: float
    high_ohm: float
    current: _Series
    name: str


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
        Of the same flight, fitted robustly over all of it, so that one event weighs nothing; or
        of earlier flights.
    """
    book = _Book(readings, aircraft, resistances)
    out: list[Event] = []
    for e in events:
        if e.kind is EventKind.SPIKE:
            out.append(e)
            continue
        out.append(_judge(e, book))
    return tuple(_inherit(e, out) for e in out)


class _Book:
    """Slow means of voltages and currents, each worked out once."""

    def __init__(
        self, readings: Readings, aircraft: Aircraft, resistances: Sequence[Resistance]
    ) -> None:
        self.readings = readings
        self.aircraft = aircraft
        self.resistances = [r for r in resistances if r.mohm is not None]
        self.volts = {
            r.place: _series(r.t, r.v, r.update_s or readings.row_s)
            for r in readings.of(Quantity.VOLTAGE)
            if r.size
        }
        self.amps = {
            r.place: _series(r.t, r.v, r.update_s or readings.row_s)
            for r in readings.of(Quantity.CURRENT)
            if r.size
        }
        total = total_current(readings, aircraft)
        self.total = (
            None if total is None or not total.t.size else _series(total.t, total.v, total.update_s)
        )

    def path(self, place: str) -> list[_Step]:
        """Resistances between the sources and a place, with their currents; empty if unknown."""
        own = self.amps.get(place)
        steps: list[_Step] = []
        direct = self._find(place, "source") or self._find(place, "apparent")
        if direct is not None:
            current = own if direct.kind == "source" and own is not None else self.total
            return [] if current is None else [_step(direct, current)]
        branch = self._find(place, "branch")
        parent = self.aircraft.parent(place)
        if branch is None or own is None:
            return []
        steps.append(_step(branch, own))
        if parent is not None:
            steps += self.path(parent)
        return steps

    def _find(self, place: str, kind: str) -> Resistance | None:
        return next((r for r in self.resistances if r.place == place and r.kind == kind), None)


def _series(t: FloatArray, v: FloatArray, update_s: float) -> _Series:
    start = float(np.median(v[: max(1, int(np.searchsorted(t, t[0] + 5.0)))]))
    return _Series(t, v, sliding_reference(t, v, _TAU_S, start), update_s)


def _step(r: Resistance, current: _Series) -> _Step:
    mohm = float(r.mohm or 0.0)
    high = mohm if r.high_mohm is None else r.high_mohm
    return _Step(
        ohm=mohm / 1000.0, high_ohm=high / 1000.0, current=current, name=f"{r.place} {r.kind}"
    )


def _judge(e: Event, book: _Book) -> Event:
    depth = _drop(e, book)
    if depth is None or depth <= 0 or e.residual_v is None:
        return e
    steps = book.path(e.place)
    parent_drop = _parent_drop(e, book)
    if not steps:
        return replace(e, origin=_upstream_or(depth, parent_drop, Origin.UNKNOWN))
    seen = sum(s.ohm * _rise(s, e, missed=False) for s in steps)
    most = sum(s.high_ohm * _rise(s, e, missed=True) for s in steps)
    surely = sum(s.high_ohm * _rise(s, e, missed=False) for s in steps)
    well_seen = min(s.current.inside(e.start_s, e.end_s) for s in steps) >= _WELL_SEEN
    share = min(1.0, max(0.0, seen / depth))
    names = " + ".join(f"{s.name} {1000 * s.ohm:.0f} mOhm" for s in steps)
    note = ""
    if share >= _EXPLAINED:
        origin = Origin.LOAD
    elif surely < _UNEXPLAINED * depth and (
        well_seen or most < _UNEXPLAINED * depth or _beyond_sampling(e, steps, book)
    ):
        origin = _upstream_or(depth, parent_drop, _own_fault(e, book))
    else:
        origin = Origin.UNKNOWN
        note = "the current may have peaked between two of its readings"
    shifted = _pack_shifted(e, book)
    if shifted is not None:
        origin, note = Origin.PACK, shifted
    return replace(e, explained=share, explained_by=names, origin=origin, note=note or e.note)


def _beyond_sampling(e: Event, steps: list[_Step], book: _Book) -> bool:
    """True where the event stands out of what the sensors' different instants make by chance.

    Voltage and current are two samplings of one process. Where the load alone acts, the voltage
    misses a peak of the current as often as the current misses a peak that the voltage shows:
    the residual ``u - (usual - R (i - usual i))`` is as large upwards as downwards. A bad contact
    only ever pulls it down.
    """
    volts = book.volts.get(e.place)
    if volts is None or volts.t.size < _FEW:
        return False
    residual = volts.v - volts.slow
    for s in steps:
        near = np.clip(np.searchsorted(s.current.t, volts.t), 1, s.current.t.size - 1)
        earlier = volts.t - s.current.t[near - 1] < s.current.t[near] - volts.t
        k = np.where(earlier, near - 1, near)
        residual = residual + s.ohm * (s.current.v[k] - s.current.slow[k])
    lo, hi = np.searchsorted(volts.t, [e.start_s - 1e-6, e.end_s])
    if hi <= lo:
        return False
    return bool(-residual[lo:hi].min() > _BEYOND * max(float(residual.max()), 0.0))


def _drop(e: Event, book: _Book) -> float | None:
    """How far the voltage fell from its own usual level, V."""
    if e.kind in (EventKind.SAG, EventKind.SHIFT):
        return e.depth_v
    volts = book.volts.get(e.place)
    if volts is None or e.residual_v is None:
        return None
    return volts.usual(e.start_s) - e.residual_v


def _rise(step: _Step, e: Event, *, missed: bool) -> float:
    """Rise of the current over its usual level about the event, A."""
    usual = step.current.usual(e.start_s)
    near = step.current.about(e.start_s, e.end_s)
    top = float(near.max()) if near.size else usual
    if missed:
        top = max(top, _MISSED * float(step.current.v.max()))
    return max(0.0, top - usual)


def _parent_drop(e: Event, book: _Book) -> float | None:
    """Greatest fall of the feeding place about the event, V; None where it is not logged."""
    parent = book.aircraft.parent(e.place)
    volts = book.volts.get(parent) if parent is not None else None
    if volts is None:
        return None
    near = volts.about(e.start_s, e.end_s)
    return None if near.size == 0 else volts.usual(e.start_s) - float(near.min())


def _upstream_or(depth: float, parent_drop: float | None, own: Origin) -> Origin:
    """SUPPLY where the feeding place fell along, else the origin given."""
    if parent_drop is not None and parent_drop >= _EXPLAINED * depth:
        return Origin.SUPPLY if own is not Origin.UNKNOWN else own
    return own


def _own_fault(e: Event, book: _Book) -> Origin:
    kind = kind_of_place(e.place)
    if kind is PlaceKind.PACK:
        return Origin.PACK
    if e.place == book.aircraft.bus or kind in (PlaceKind.BUS, PlaceKind.REGULATOR):
        packs = [book.volts[p.name] for p in book.aircraft.packs if p.name in book.volts]
        if not packs:
            return Origin.UNKNOWN
        fell = max(_fall(p, e) for p in packs)
        return Origin.PACK if fell >= _EXPLAINED * (e.depth_v or 0.0) else Origin.SUPPLY
    return Origin.CONTACT


def _fall(s: _Series, e: Event) -> float:
    near = s.about(e.start_s, e.end_s)
    return 0.0 if near.size == 0 else s.usual(e.start_s) - float(near.min())


def _pack_shifted(e: Event, book: _Book) -> str | None:
    """What happened to a pack's share across the start of an event, if it left for good."""
    packs = [(p.name, book.amps[p.name]) for p in book.aircraft.packs if p.name in book.amps]
    if len(packs) < 2 or kind_of_place(e.place) is PlaceKind.NODE:
        return None
    grid = np.arange(-6.0, 6.01, 0.5) + e.start_s
    flows = np.vstack([held_at(s.t, s.v, grid, 3.0) for _, s in packs])
    sums = flows.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(sums > 0.3, flows / sums, np.nan)
    early, late = grid < e.start_s - 0.5, grid > e.start_s + 1.5
    for k, (name, _) in enumerate(packs):
        before, after = shares[k, early], shares[k, late]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if min(before.size, after.size) < 4:
            continue
        if float(np.median(before)) > 0.2 and float(np.quantile(after, 0.9)) < 0.05:
            return f"{name} stopped giving current at that moment"
    return None


def _inherit(e: Event, judged: Sequence[Event]) -> Event:
    """A fall that the feeding place made too carries the origin found there."""
    if e.origin is not Origin.SUPPLY or kind_of_place(e.place) is PlaceKind.BUS:
        return e
    for other in judged:
        if (
            kind_of_place(other.place) is PlaceKind.BUS
            and other.kind in (EventKind.SAG, EventKind.SHIFT)
            and other.start_s <= e.end_s + 1.0
            and e.start_s <= other.end_s + 1.0
        ):
            return replace(e, origin=other.origin)
    return e
