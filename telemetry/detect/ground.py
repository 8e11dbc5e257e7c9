"""What happens on the ground: stirs and redundancy checks."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.detect.activity import GRID_S, STICKS, Activity, SpanList, grid_spans, plateaus
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.spans import longer, mask_to_spans, merge, overlap_s
from telemetry.readings import Reading, Readings

# Part of its travel that a stick sweeps in a stir at the least, where the current is raised too,
# and for how much of the time (heuristic).
_MOVED = 0.33
_MOST = 0.6
# Scatter of the current in a stir, as part of its rise, at the least: beside a steady load that
# makes three times the rest too much to ask (heuristic).
_RIPPLE = 0.04
# Two readings of a stick have to lie no further apart than this to show its swings: sticks go
# round about once a second (common practice, no source).
_SWING_S = 0.5
# How long one pack is switched off to check the other, s, and the part of its voltage that a pack
# behind an open switch shows at the most (heuristic).
_CHECK_S = (0.8, 60.0)
_OFF_SHARE = 0.25
# Without a current: by how much one pack rises and the other falls at the least, V and steps, and
# how long before and after they stand as they were, s (heuristic).
_RELIEVED_V, _RELIEVED_STEPS, _BESIDE_S = 0.015, 1.0, 5.0
# A check in what moves enough for a flight: how long after its beginning, the longest pause between
# two packs, and how long the switched pack needs to carry again, s (heuristic).
_BEFORE_S, _TURN_S, _TURNED_S = 120.0, 20.0, 1.0


class Stick(NamedTuple):
    """A stick axis, and how far it travels in the whole recording, in its own unit."""

    reading: Reading
    travel: float


def find_stirs(
    readings: Readings, activity: Activity | None, ground: SpanList, limits: Limits
) -> SpanList:
    """Stirs in the stretches on the ground, in order.

    By the sticks where two axes or more are logged: their movement tells start and end. A raised
    current counts too, if two sticks moved, or without sticks if it is raised by ``stir_factor``.
    """
    sticks = moving_sticks(readings)
    steady = [] if activity is None else plateaus(activity, limits)
    return [s for g in ground for s in _stirs_in(g, readings, sticks, activity, limits, steady)]


def _stirs_in(
    ground: tuple[float, float],
    readings: Readings,
    sticks: Sequence[Stick],
    activity: Activity | None,
    limits: Limits,
    steady: SpanList,
) -> SpanList:
    by_stick = stirs_by_sticks(sticks, ground, limits)
    by_current = stirs_by_current(activity, ground, limits)
    alone = [s for s in by_current if is_stir(s, activity, readings, limits, steady)]
    if by_stick is None:
        return alone
    if activity is None:
        return by_stick
    # Sticks that are read too seldom to show a swing can't deny one.
    slow = any((r.update_s or readings.row_s) > _SWING_S for r, _ in sticks)
    moved = [s for s in by_current if both_moved(sticks, s) >= _MOST or (slow and s in alone)]
    return sorted(by_stick + [m for m in moved if not any(overlap_s(m, s) > 0 for s in by_stick)])


def both_moved(sticks: Sequence[Stick], span: tuple[float, float]) -> float:
    """Share of a span in which two sticks at a time swept a third of their travel within 3 s."""
    grid = np.arange(span[0], span[1], GRID_S)
    count = np.zeros(grid.size)
    for r, travel in sticks:
        low, high = moving_range(sampling.held_at(r.t, r.v, grid, np.inf), round(3.0 / GRID_S))
        with np.errstate(invalid="ignore"):
            count += (high - low) > _MOVED * travel
    return float((count >= 2).mean())


def moving_sticks(readings: Readings) -> list[Stick]:
    """The logged stick axes that moved at all."""
    found = [r for s in STICKS if (r := readings.get(Quantity.CONTROL, s)) is not None]
    sticks = [Stick(r, float(r.v.max() - r.v.min())) for r in found if r.size >= 10]
    return [s for s in sticks if s.travel > 0]


def stirs_by_current(
    activity: Activity | None, ground: tuple[float, float], limits: Limits
) -> SpanList:
    """Stretches of ``stir_s`` and more with a mean of ``stir_a`` and more above rest."""
    if activity is None:
        return []
    part = activity.between(*ground)
    rest = activity.rest_a
    raised = rest + max(0.5 * limits.stir_a, 0.4 * abs(rest), 6.0 * activity.rest_sigma)
    high = np.zeros(activity.t.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        high[part] = activity.mean[part] >= raised
    candidates = grid_spans(activity.t, high)
    found = [stir_edges(c, activity, ground) for c in longer(merge(candidates, 1.5), 0.5)]
    return [s for s in longer(found, limits.stir_s) if _mean(s, activity) >= rest + limits.stir_a]


def _mean(span: tuple[float, float], activity: Activity) -> float:
    inside = activity.fast[activity.between(*span)]
    return float(np.nanmean(inside)) if inside.size else activity.rest_a


def is_stir(
    span: tuple[float, float],
    activity: Activity | None,
    readings: Readings,
    limits: Limits,
    steady: SpanList,
) -> bool:
    """Whether the current alone makes it a stir: ``stir_factor`` x rest in the whole or at a place.

    The draw of the electronics, which does not stir, is part of the whole's rest: a panel with
    little of it shows the factor more clearly. A steady plateau with rest on both sides, as a
    circular stir makes it, needs two thirds of the factor, or a ripple of its own.
    """
    if activity is None:
        return False
    shape = any(overlap_s(span, p) > 0.7 * (span[1] - span[0]) for p in steady)
    factor = limits.stir_factor * (2.0 / 3.0 if shape else 1.0)
    if _mean(span, activity) >= factor * activity.rest_a or (shape and _ripples(span, activity)):
        return True
    for r in readings.of(Quantity.CURRENT):
        rest = r.within(max(readings.start_s, span[0] - 15.0), span[0] - 0.5)
        part = r.within(*span)
        if min(rest.size, part.size) < 3:
            continue
        level = max(float(np.median(rest.v)), r.resolution or 0.0)
        if float(part.v.mean()) >= max(factor * level, level + 0.5 * limits.stir_a):
            return True
    return False


def _ripples(span: tuple[float, float], activity: Activity) -> bool:
    """Whether a raised current swings as moving servos make it, and a pump or lamps do not."""
    inside = activity.between(span[0] + 0.5 * activity.window_s, span[1] - 0.5 * activity.window_s)
    scatter = activity.scatter[inside]
    if not np.isfinite(scatter).any():
        return False
    rise = _mean(span, activity) - activity.rest_a
    return float(np.nanmedian(scatter)) >= max(_RIPPLE * rise, 3.0 * activity.rest_sigma)


def stir_edges(
    span: tuple[float, float], activity: Activity, ground: tuple[float, float]
) -> tuple[float, float]:
    """Where the 1 s mean crosses half way between rest and the level of the stir."""
    level = float(np.nanmedian(activity.fast[activity.between(*span)]))
    half = 0.5 * (level + activity.rest_a)
    reach = activity.between(max(ground[0], span[0] - 2.0), min(ground[1], span[1] + 2.0))
    with np.errstate(invalid="ignore"):
        high = activity.t[reach][activity.fast[reach] >= half]
    return (float(high[0]), float(high[-1] + GRID_S)) if high.size else span


def stirs_by_sticks(
    sticks: Sequence[Stick], ground: tuple[float, float], limits: Limits
) -> SpanList | None:
    """Stirs by control columns: two axes or more that each swing most of their travel.

    None where fewer than two of aileron, elevator and rudder are logged.
    """
    if len(sticks) < 2:
        return None
    grid = np.arange(ground[0], ground[1], GRID_S)
    if grid.size < 8:
        return []
    swinging = np.zeros(grid.size)
    moving = np.zeros(grid.size, dtype=bool)
    for r, travel in sticks:
        x = sampling.held_at(r.t, r.v, grid, np.inf)
        low, high = moving_range(x, round(3.0 / GRID_S))
        near_low, near_high = moving_range(x, round(0.75 / GRID_S))
        with np.errstate(invalid="ignore"):
            swinging += (high - low) > 0.5 * travel
            moving |= (near_high - near_low) > 0.1 * travel
    # The wide window finds the stir; the sticks' own movement tells where it starts and ends.
    cores = grid_spans(grid, swinging >= 2)
    moves = merge(grid_spans(grid, moving), 1.5)
    found = [m for m in moves if sum(overlap_s(m, c) for c in cores) >= 0.4 * (m[1] - m[0])]
    return longer(found, limits.stir_s)


def moving_range(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest value within so many readings about each one."""
    pad = width // 2
    padded = np.pad(x, (pad, width - 1 - pad), mode="edge")
    view = np.lib.stride_tricks.sliding_window_view(padded, width)
    return view.min(axis=1), view.max(axis=1)


def find_redundancy_checks(readings: Readings, aircraft: Aircraft, ground: SpanList) -> SpanList:
    """Ground stretches in which one pack is switched off, the other takes over, and back."""
    offs = [o for o in _offs(readings, aircraft) if o.lies_in(ground)]
    return merge(sorted((o.start_s, o.end_s) for o in offs), 0.5)


def without_checks(flights: SpanList, readings: Readings, aircraft: Aircraft) -> SpanList:
    """Flights less what lies before a redundancy check at their beginning.

    Packs that are off and back in turn, each once, for seconds and seconds apart, were switched by
    somebody who stood there: what moved before was no flight yet.
    """
    names = {p.name for p in aircraft.packs if p.role == "shared"}
    if len(names) < 2:
        return flights
    every = sorted(_offs(readings, aircraft)) if flights else []
    out = []
    for start, end in flights:
        offs = [o for o in every if o.lies_in([(start, min(end, start + _BEFORE_S))])]
        pauses = [b.start_s - a.end_s for a, b in pairwise(offs)]
        in_turn = len(offs) == len(names) and {o.place for o in offs} == names
        if in_turn and min(pauses) > 0.0 and max(pauses) <= _TURN_S:
            start = min(offs[-1].end_s + _TURNED_S, end)
        out.append((start, end))
    return out


class _Off(NamedTuple):
    """A stretch in which one pack is switched off, the other takes over, and back."""

    start_s: float
    end_s: float
    place: str
    by_voltage: bool

    def lies_in(self, spans: SpanList) -> bool:
        """Whether it lies in one of them; told by the voltage, with more of it on either side."""
        if self.by_voltage:
            return any(a < self.start_s and self.end_s < b for a, b in spans)
        return any(a <= self.start_s and self.end_s <= b for a, b in spans)


def _offs(readings: Readings, aircraft: Aircraft) -> list[_Off]:
    """All stretches of a recording in which one pack is switched off.

    By its own voltage, where that is logged and goes to nothing. Else by its current: before and
    after it the pack carries its share; the steps are sharp. A pack that gives nothing at light
    load because the other one's voltage is a little higher makes no such step. Where no current of
    a pack is logged, by what the load moves to: its own voltage rises and the other's falls.
    """
    spans = _switched_off(readings, aircraft)
    packs = [readings.get(Quantity.CURRENT, p.name) for p in aircraft.packs if p.role == "shared"]
    known = [r for r in packs if r is not None and r.size >= 10]
    if not known:
        return [*spans, *_relieved(readings, aircraft)]
    for r in known:
        others = [o for o in known if o is not r]
        rest = sum(sampling.held_at(o.t, o.v, r.t, 5.0) for o in others)
        total = rest + r.v
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(total > 0, r.v / total, np.nan)
        step = r.resolution or 0.01
        zero = (np.abs(r.v) <= np.maximum(0.05 * total, 1.5 * step)) & (total > 4 * step)
        for a, b in merge(mask_to_spans(r.t, zero, hold_s=5.0), 1.0):
            if not _CHECK_S[0] <= b - a <= _CHECK_S[1]:
                continue
            at = np.searchsorted(r.t, (a - 5.0, a, b, b + 5.0))
            before, after = share[at[0] : at[1]], share[at[2] : at[3]]
            before, after = before[np.isfinite(before)], after[np.isfinite(after)]
            if before.size < 2 or after.size < 2:
                continue
            steep = float(np.median(r.v[at[0] : at[1]])) > 4.0 * step
            if steep and min(float(np.median(before)), float(np.median(after))) > 0.2:
                spans.append(_Off(a, b, r.place, by_voltage=False))
    return spans


def _switched_off(readings: Readings, aircraft: Aircraft) -> list[_Off]:
    """Stretches in which a shared pack's voltage goes to nothing while another's stays."""
    packs = [readings.get(Quantity.VOLTAGE, p.name) for p in aircraft.packs if p.role == "shared"]
    known = [(r, float(np.median(r.v))) for r in packs if r is not None and r.size >= 10]
    spans = []
    for r, usual in known:
        off = mask_to_spans(r.t, r.v < _OFF_SHARE * usual, hold_s=5.0)
        for a, b in merge(off, 1.0):
            ends = np.array([a, b])
            held = any(
                sampling.held_at(o.t, o.v, ends, _CHECK_S[1]).min() > 0.5 * theirs
                for o, theirs in known
                if o is not r
            )
            if held and _CHECK_S[0] <= b - a <= _CHECK_S[1]:
                spans.append(_Off(a, b, r.place, by_voltage=True))
    return spans


def _relieved(readings: Readings, aircraft: Aircraft) -> list[_Off]:
    """Stretches in which one of two shared packs rises as the other falls, at once, and back.

    A load that moves both, moves them to one side; only one that goes from the one to the other
    moves them apart.
    """
    packs = [readings.get(Quantity.VOLTAGE, p.name) for p in aircraft.packs if p.role == "shared"]
    known = [r for r in packs if r is not None and r.size >= 10]
    if len(known) != 2:
        return []
    spans = []
    for r, other in (known, known[::-1]):
        least = max(_RELIEVED_V, _RELIEVED_STEPS * max(x.resolution or 0.0 for x in known))
        apart = r.v - sampling.held_at(other.t, other.v, r.t, 5.0)
        high = apart > float(np.nanmedian(apart)) + 2.0 * least
        for a, b in merge(mask_to_spans(r.t, high, hold_s=5.0), 1.0):
            rise, fall = (_stepped(x, a, b) for x in (r, other))
            if _CHECK_S[0] <= b - a <= _CHECK_S[1] and min(rise, -fall) >= least:
                spans.append(_Off(a, b, r.place, by_voltage=True))
    return spans


def _stepped(r: Reading, start_s: float, end_s: float) -> float:
    """How far a voltage stood off what it was both before and after, V; 0 where it did not."""
    parts = ((start_s - _BESIDE_S, start_s), (start_s, end_s), (end_s, end_s + _BESIDE_S))
    each = [r.within(a, b).v for a, b in parts]
    if min(x.size for x in each) < 2:
        return 0.0
    before, inside, after = (float(np.median(x)) for x in each)
    by = (inside - before, inside - after)
    return min(by) if min(by) > 0 else max(by) if max(by) < 0 else 0.0
