"""Readings: what each channel really reported, with the false readings set aside.

Every detector works on these and not on the rows: a held repeat is no reading, a frozen link
brings none, and one impossible value alone in time is set aside and listed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import Channel, PlaceKind, Quantity, kind_of_place
from telemetry.log import FloatArray, Log
from telemetry.results import Dropout, Span, Spurious
from telemetry.signals import sampling

# A supply below this is no supply: the electronics that would report it are off (common practice,
# no source: receivers and units restart somewhere between 2.5 and 4.5 V).
_NO_SUPPLY_V = 1.5
ELECTRICAL = (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE, Quantity.CURRENT)
# What the transmitter itself knows goes on while the link is lost.
OF_TRANSMITTER = (Quantity.CONTROL, Quantity.LINK, Quantity.LOST, Quantity.TIME, Quantity.COUNT)


class Total(NamedTuple):
    """The current of the whole: instants [s], currents [A], interval [s], what it is made of."""

    t: FloatArray
    v: FloatArray
    update_s: float
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Update samples of one channel: instants t [s], values v, usual interval and resolution."""

    channel: Channel
    t: FloatArray
    v: FloatArray
    update_s: float | None
    resolution: float | None

    @property
    def place(self) -> str:
        """Place, or an empty name."""
        return self.channel.place or ""

    def hold_s(self, limits: Limits) -> float:
        """How long a reading counts when no next one comes: beyond lies a gap."""
        return max(limits.gap_intervals * (self.update_s or 0.0), limits.gap_s)

    def within(self, start_s: float, end_s: float) -> Reading:
        """The part in start_s <= t < end_s."""
        part = slice(*(int(i) for i in np.searchsorted(self.t, [start_s, end_s])))
        return replace(self, t=self.t[part], v=self.v[part])

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(self.t.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """All readings of a log, and what was set aside to get them."""

    channels: tuple[Reading, ...]
    row_s: float
    start_s: float
    end_s: float
    gaps: tuple[Span, ...]
    dropouts: tuple[Dropout, ...]
    spurious: tuple[Spurious, ...]
    off: tuple[Span, ...]

    def get(self, quantity: Quantity, place: str, *, hold: str = "") -> Reading | None:
        """The readings of a quantity at a place; the first copy where there are several."""
        for r in self.channels:
            c = r.channel
            if c.quantity is quantity and c.place == place and c.hold == hold:
                return r
        return None

    def of(self, quantity: Quantity, kind: PlaceKind | None = None) -> tuple[Reading, ...]:
        """Readings of a quantity, one per place, of one kind of place if given."""
        seen: dict[str, Reading] = {}
        for r in self.channels:
            c = r.channel
            if c.quantity is not quantity or c.hold or c.place is None:
                continue
            if kind is None or kind_of_place(c.place) is kind:
                seen.setdefault(c.place, r)
        return tuple(seen.values())

    def within(self, start_s: float, end_s: float) -> Readings:
        """The part in start_s <= t < end_s."""
        return replace(
            self,
            channels=tuple(r.within(start_s, end_s) for r in self.channels),
            start_s=start_s,
            end_s=end_s,
        )


def take_readings(log: Log, limits: Limits) -> Readings:
    """Update samples of every numeric channel, cleaned of what is no reading.

    Removed and listed: frozen or blank telemetry (dropouts), single impossible values
    (spurious). Removed and listed as ``off``: the supply not yet or no longer switched on at the
    ends of a recording, where voltages are near zero.
    """
    time_s = log.time_s
    row_s = sampling.row_step(time_s)
    end_s = float(time_s[-1]) + (row_s if np.isfinite(row_s) else 0.0) if time_s.size else 0.0
    gaps = sampling.gap_spans(time_s, row_s, intervals=limits.gap_intervals, least_s=limits.gap_s)
    channels = [c for c in log.channels if not c.text and c.key in log.frame.columns]
    intervals = _intervals(log, channels)
    raw = [
        Reading(
            channel=c,
            t=u.t,
            v=u.v,
            update_s=intervals[c.key],
            resolution=sampling.resolution(log.values(c.key)),
        )
        for c in channels
        for u in [sampling.update_samples(time_s, log.values(c.key), intervals[c.key])]
    ]
    dropouts = _dropouts(log, raw, gaps, limits)
    lost = [(d.start_s, d.end_s) for d in dropouts if d.place is None]
    cleaned: list[Reading] = []
    for r in raw:
        own = lost + [(d.start_s, d.end_s) for d in dropouts if d.place == r.place]
        lives_on = r.channel.quantity in OF_TRANSMITTER
        keep = sampling.outside(r.t, [] if lives_on else sorted(own))
        cleaned.append(r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep]))
    off = _switched_off(cleaned, log, gaps)
    powered = [_without(r, [(o.start_s, o.end_s) for o in off]) for r in cleaned]
    spurious: list[Spurious] = []
    final: list[Reading] = []
    for r in powered:
        bad = _impossible(r, powered, limits)
        spurious += [
            Spurious(
                time_s=float(r.t[i]),
                place=r.place,
                column=r.channel.column,
                value=float(r.v[i]),
                reason=why,
            )
            for i, _, why in bad
        ]
        keep = np.ones(r.size, dtype=bool)
        for i, end, _ in bad:
            keep[i:end] = False
        final.append(r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep]))
    return Readings(
        channels=tuple(final),
        row_s=row_s,
        start_s=0.0,
        end_s=end_s,
        gaps=tuple(Span(start_s=a, end_s=b) for a, b in gaps),
        dropouts=dropouts,
        spurious=tuple(sorted(spurious, key=lambda s: s.time_s)),
        off=off,
    )


def _intervals(log: Log, channels: list[Channel]) -> dict[str, float | None]:
    """Update interval per channel; a quiet one takes that of a livelier one in its frame."""
    time_s = log.time_s
    own = {c.key: sampling.update_interval(time_s, log.values(c.key)) for c in channels}
    changes = {c.key: sampling.change_rows(log.values(c.key)) for c in channels}
    out = dict(own)
    for c in channels:
        mine = own[c.key]
        if mine is None or c.place is None:
            continue
        best = mine
        for other in channels:
            theirs = own[other.key]
            if other.place == c.place and other is not c and theirs is not None:
                best = sampling.shared_interval(
                    best, changes[c.key], changes[other.key], theirs, time_s.size
                )
        out[c.key] = best
    return out


def _without(r: Reading, spans: list[tuple[float, float]]) -> Reading:
    if not spans or r.channel.quantity not in ELECTRICAL:
        return r
    keep = sampling.outside(r.t, spans)
    return r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep])


def _dropouts(
    log: Log, raw: list[Reading], gaps: list[tuple[float, float]], limits: Limits
) -> tuple[Dropout, ...]:
    """Stretches in which all that comes by radio froze or went blank."""
    group = [
        r
        for r in raw
        if r.channel.quantity not in OF_TRANSMITTER
        and r.channel.quantity is not Quantity.UNKNOWN
        and r.update_s is not None
    ]
    if not group:
        return ()
    time_s = log.time_s
    out: list[Dropout] = []
    blank = np.ones(time_s.size, dtype=bool)
    for r in group:
        blank &= ~np.isfinite(log.values(r.channel.key))
    sparse = all(sampling.is_sparse(log.values(r.channel.key)) for r in group)
    present = np.flatnonzero(~blank)
    usual = min(r.update_s for r in group if r.update_s is not None)
    least = max(limits.gap_s, limits.gap_intervals * usual)
    if present.size:
        for a, b in sampling.gap_spans(
            time_s[present], usual, intervals=limits.gap_intervals, least_s=limits.gap_s
        ):
            row_gap = any(g0 <= a and b <= g1 for g0, g1 in gaps)
            if not row_gap:
                out.append(Dropout(place=None, start_s=a, end_s=b, kind="blank"))
    if sparse:
        return tuple(out)
    changed = np.zeros(time_s.size, dtype=bool)
    for r in group:
        changed[sampling.change_rows(log.values(r.channel.key))] = True
    at = time_s[changed & ~blank]
    if at.size < 50:
        return tuple(out)
    steps = np.diff(at)
    # Quiet ground time makes long stretches without a change; a frozen link stands out of them.
    quiet = float(np.quantile(steps, 0.99))
    for i in np.flatnonzero(steps > max(least, 3.0 * quiet)):
        a, b = float(at[i]), float(at[i + 1])
        known = any(d.start_s <= a + least and b <= d.end_s + least for d in out)
        row_gap = any(min(b, g1) - max(a, g0) > 0.5 * (b - a) for g0, g1 in gaps)
        if not known and not row_gap:
            out.append(Dropout(place=None, start_s=a + usual, end_s=b, kind="frozen"))
    return _merged(sorted(out, key=lambda d: d.start_s), least)


def _merged(dropouts: list[Dropout], pause_s: float) -> tuple[Dropout, ...]:
    """Dropouts with hardly a reading between them are one."""
    out: list[Dropout] = []
    for d in dropouts:
        if out and d.start_s - out[-1].end_s <= pause_s and d.kind == out[-1].kind:
            out[-1] = replace(out[-1], end_s=max(d.end_s, out[-1].end_s))
        else:
            out.append(d)
    return tuple(out)


def _switched_off(
    readings: list[Reading], log: Log, gaps: list[tuple[float, float]]
) -> tuple[Span, ...]:
    """Ends of the recordings at which no supply voltage is on: before the switch, after it.

    Off means every supply below a fifth of its usual level, in a stretch that touches an end of
    a recording or a gap: in the air such a stretch has readings on both sides.
    """
    volts = [r for r in readings if r.channel.quantity is Quantity.VOLTAGE and not r.channel.hold]
    volts = [r for r in volts if r.size >= 3]
    if not volts:
        return ()
    time_s = log.time_s
    on = np.zeros(time_s.size, dtype=bool)
    known = np.zeros(time_s.size, dtype=bool)
    for r in volts:
        level = float(np.quantile(r.v, 0.75))
        held = sampling.held_at(r.t, r.v, time_s, np.inf)
        on |= held > max(0.2 * level, _NO_SUPPLY_V)
        known |= np.isfinite(held)
    edges = [0.0, float(time_s[-1])]
    edges += [t for start, end in log.provenance.recordings for t in (start, end)]
    edges += [t for gap in gaps for t in gap]
    row = sampling.row_step(time_s)
    spans = []
    dark = known & ~on
    edge = np.diff(np.r_[False, dark, False].astype(np.int8))
    for a, b in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
        start, end = float(time_s[a]), float(time_s[b - 1])
        if any(abs(start - e) <= 2 * row or abs(end - e) <= 2 * row for e in edges):
            # The ramp itself belongs to it: one reading more on each side.
            slack = max((r.update_s or row) for r in volts) * 1.5
            spans.append(Span(start_s=start - slack, end_s=end + slack))
    return tuple(spans)


def _impossible(
    r: Reading, everything: list[Reading], limits: Limits
) -> list[tuple[int, int, str]]:
    """First and past-last index of single impossible readings, with the reason.

    A voltage near zero for one reading, both neighbours normal, while the same place or the
    place that reports it goes on as before: the unit that sends the value could not have sent it
    without supply. A current several times above everything else for one reading, while no
    voltage answers. A held value can be taken for two readings: one that another place or the
    place's own current contradicts may have been.
    """
    if r.channel.quantity not in (Quantity.VOLTAGE, Quantity.CURRENT) or r.channel.hold:
        return []
    if r.size < 5:
        return []
    close = r.hold_s(limits)
    edges = np.r_[0, np.flatnonzero(np.diff(r.v)) + 1, r.size]
    first, end = edges[:-1], edges[1:]
    before, at, after = r.v[first[:-2]], r.v[first[1:-1]], r.v[first[2:]]
    pauses = r.t[first[1:]] - r.t[end[:-1] - 1]
    alone = (pauses[:-1] <= close) & (pauses[1:] <= close) & ((end - first)[1:-1] <= 2)
    others = [
        o
        for o in everything
        if o is not r and o.channel.quantity is Quantity.VOLTAGE and not o.channel.hold and o.size
    ]

    def answered(k: int, share: float = 0.25) -> bool:
        span = (float(r.t[first[k]]), float(r.t[end[k] - 1]))
        return any(_fell(o, span, r.update_s or 0.0, share) for o in others)

    out: list[tuple[int, str]] = []
    if r.channel.quantity is Quantity.VOLTAGE:
        level = np.minimum(before, after)
        dead = alone & (at < np.minimum(0.25 * level, _NO_SUPPLY_V)) & (level > _NO_SUPPLY_V)
        for k in np.flatnonzero(dead) + 1:
            witness = _own_witness(r, int(first[k]), everything)
            sure = end[k] - first[k] == 1 or bool(others) or witness is True
            if sure and witness is not False and not answered(int(k)):
                out.append((int(k), "no supply for one reading while the unit kept reporting"))
        above = alone & (at > 1.25 * np.maximum(before, after)) & (at - after > 1.0)
        out += [
            (int(k), "far above both its neighbours; no supply jumps so")
            for k in np.flatnonzero(above) + 1
        ]
    else:
        values = r.v[first]
        top = float(np.quantile(values, 0.999) if values.size >= 1000 else np.sort(values)[-2:][0])
        neighbours = np.maximum(np.abs(before), np.abs(after))
        wild = alone & (at > 3.0 * max(top, 1.0)) & (at > 5.0 * (neighbours + 0.5))
        out += [
            (int(k), "a current that no voltage answered, for one reading")
            for k in np.flatnonzero(wild) + 1
            if not answered(int(k), share=0.04)
        ]
    return [(int(first[k]), int(end[k]), why) for k, why in sorted(out)]


def _own_witness(r: Reading, i: int, everything: list[Reading]) -> bool | None:
    """Whether the same place's current went on (True), stopped (False) or is not logged (None)."""
    for o in everything:
        if o.place == r.place and o.channel.quantity is Quantity.CURRENT and not o.channel.hold:
            if o.size == 0 or o.update_s is None:
                return None
            reach = max(o.update_s, r.update_s or 0.0)
            lo, hi = np.searchsorted(o.t, [r.t[i] - reach, r.t[i] + reach], side="right")
            near = o.v[lo:hi]
            around = o.v[max(0, lo - 20) : hi + 20]
            usual = float(np.quantile(around, 0.1)) if around.size else 0.0
            if near.size == 0 or usual <= 2 * (o.resolution or 0.0):
                return None
            return bool(near.min() > 0.3 * usual)
    return None


def _fell(o: Reading, span: tuple[float, float], interval_s: float, share: float) -> bool:
    """True where this voltage fell by more than ``share`` about that span."""
    reach = max(interval_s, o.update_s or 0.0)
    lo, hi = np.searchsorted(o.t, [span[0] - reach, span[1] + reach], side="right")
    if hi <= lo:
        return False
    usual = float(np.median(o.v[max(0, lo - 10) : hi + 10]))
    return bool(o.v[lo:hi].min() < (1.0 - share) * usual)


def block_means(t: FloatArray, v: FloatArray, edges: FloatArray) -> FloatArray:
    """Mean of the readings in each block between edges; NaN where a block has none."""
    at = np.searchsorted(t, edges)
    sums = np.r_[0.0, np.cumsum(v)]
    count = np.diff(at)
    total = np.diff(sums[at])
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def total_current(readings: Readings, aircraft: Aircraft) -> Total | None:
    """The current of the whole: bus, else packs added up, else nodes, else the only one there is.

    None where the log has no current.
    """
    if aircraft.bus is not None:
        r = readings.get(Quantity.CURRENT, aircraft.bus)
        if r is not None and r.size:
            return Total(r.t, r.v, r.update_s or readings.row_s, aircraft.bus)
    packs = [readings.get(Quantity.CURRENT, p.name) for p in aircraft.packs]
    nodes = [readings.get(Quantity.CURRENT, n.name) for n in aircraft.nodes]
    single = readings.of(Quantity.CURRENT)
    for group in (packs, nodes, single[:1]):
        known = [r for r in group if r is not None and r.size]
        if known:
            return _summed(known, readings.row_s)
    return None


def _summed(parts: list[Reading], row_s: float) -> Total:
    name = " + ".join(r.place for r in parts)
    update_s = max(r.update_s or row_s for r in parts)
    if len(parts) == 1:
        return Total(parts[0].t, parts[0].v, update_s, name)
    t = np.unique(np.concatenate([r.t for r in parts]))
    v = np.zeros(t.size)
    for r in parts:
        v = v + sampling.held_at(r.t, r.v, t, max(3.0 * (r.update_s or row_s), 1.0))
    known = np.isfinite(v)
    return Total(t[known], v[known], update_s, name)
