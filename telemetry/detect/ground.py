"""What happens on the ground: stirs and redundancy checks."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import Quantity
from telemetry.detect.activity import GRID_S, STICKS, Activity, SpanList
from telemetry.log import FloatArray
from telemetry.readings import Readings
from telemetry.signals import sampling
from telemetry.signals.spans import longer, mask_to_spans, merge, overlap_s


def find_stirs(
    readings: Readings,
    activity: Activity | None,
    ground: tuple[float, float],
    limits: Limits,
) -> SpanList:
    """Stirs in a stretch on the ground."""
    by_stick = _stirs_by_sticks(readings, ground, limits)
    if by_stick is not None:
        return by_stick
    if activity is None:
        return []
    part = (activity.t >= ground[0]) & (activity.t < ground[1])
    rest = activity.rest_a
    raised = rest + max(0.5 * limits.stir_a, 0.4 * abs(rest), 6.0 * activity.rest_sigma)
    with np.errstate(invalid="ignore"):
        candidates = mask_to_spans(activity.t, part & (activity.mean >= raised), hold_s=2 * GRID_S)
    found = [_edges(c, activity, ground) for c in longer(merge(candidates, 1.5), 0.5)]
    return [s for s in longer(found, limits.stir_s) if _is_stir(s, activity, readings, limits)]


def _is_stir(
    span: tuple[float, float], activity: Activity, readings: Readings, limits: Limits
) -> bool:
    """Mean of the whole up by ``stir_a``, and ``stir_factor`` x rest in the whole or at a place.

    The draw of the electronics, which does not stir, is part of the whole's rest: a panel with
    little of it shows the factor more clearly.
    """
    inside = (activity.t >= span[0]) & (activity.t < span[1])
    mean = float(np.nanmean(activity.fast[inside])) if inside.any() else activity.rest_a
    if mean < activity.rest_a + limits.stir_a:
        return False
    if mean >= limits.stir_factor * activity.rest_a:
        return True
    for r in readings.of(Quantity.CURRENT):
        rest = r.within(max(readings.start_s, span[0] - 15.0), span[0] - 0.5)
        part = r.within(*span)
        if min(rest.size, part.size) < 3:
            continue
        level = max(float(np.median(rest.v)), r.resolution or 0.0)
        if float(part.v.mean()) >= max(limits.stir_factor * level, level + 0.5 * limits.stir_a):
            return True
    return False


def _edges(
    span: tuple[float, float], activity: Activity, ground: tuple[float, float]
) -> tuple[float, float]:
    """Where the 1 s mean crosses half way between rest and the level of the stir."""
    inner = (activity.t >= span[0]) & (activity.t < span[1])
    level = float(np.nanmedian(activity.fast[inner]))
    half = 0.5 * (level + activity.rest_a)
    reach = (activity.t >= max(ground[0], span[0] - 2.0)) & (
        activity.t < min(ground[1], span[1] + 2.0)
    )
    with np.errstate(invalid="ignore"):
        high = np.flatnonzero(reach & (activity.fast >= half))
    if high.size == 0:
        return span
    return float(activity.t[high[0]]), float(activity.t[high[-1]] + GRID_S)


def _stirs_by_sticks(
    readings: Readings, ground: tuple[float, float], limits: Limits
) -> SpanList | None:
    """Stirs by control columns: two axes or more that each swing most of their travel.

    None where fewer than two of aileron, elevator and rudder are logged.
    """
    sticks = [r for s in STICKS if (r := readings.get(Quantity.CONTROL, s)) is not None]
    sticks = [r for r in sticks if r.size >= 10 and r.v.max() > r.v.min()]
    if len(sticks) < 2:
        return None
    grid = np.arange(ground[0], ground[1], GRID_S)
    if grid.size < 8:
        return []
    swinging = np.zeros(grid.size)
    moving = np.zeros(grid.size, dtype=bool)
    for r in sticks:
        x = sampling.held_at(r.t, r.v, grid, np.inf)
        travel = float(r.v.max() - r.v.min())
        low, high = _moving_range(x, round(3.0 / GRID_S))
        near_low, near_high = _moving_range(x, round(0.75 / GRID_S))
        with np.errstate(invalid="ignore"):
            swinging += (high - low) > 0.5 * travel
            moving |= (near_high - near_low) > 0.1 * travel
    # The wide window finds the stir; the sticks' own movement tells where it starts and ends.
    cores = mask_to_spans(grid, swinging >= 2, hold_s=2 * GRID_S)
    moves = merge(mask_to_spans(grid, moving, hold_s=2 * GRID_S), 1.5)
    found = [m for m in moves if sum(overlap_s(m, c) for c in cores) >= 0.4 * (m[1] - m[0])]
    return longer(found, limits.stir_s)


def _moving_range(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    pad = width // 2
    padded = np.pad(x, (pad, width - 1 - pad), mode="edge")
    view = np.lib.stride_tricks.sliding_window_view(padded, width)
    return view.min(axis=1), view.max(axis=1)


def find_redundancy_checks(readings: Readings, aircraft: Aircraft, ground: SpanList) -> SpanList:
    """Ground stretches in which one pack's current goes to zero, the other's takes over, and back.

    Before and after it the pack carries its share; the steps are sharp. A pack that gives nothing
    at light load because the other one's voltage is a little higher makes no such step.
    """
    packs = [readings.get(Quantity.CURRENT, p.name) for p in aircraft.packs if p.role == "shared"]
    known = [r for r in packs if r is not None and r.size >= 10]
    if len(known) < 2:
        return []
    spans: SpanList = []
    for r in known:
        others = [o for o in known if o is not r]
        rest = sum(sampling.held_at(o.t, o.v, r.t, 5.0) for o in others)
        total = rest + r.v
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(total > 0, r.v / total, np.nan)
        zero = (share < 0.05) & (total > 4 * (r.resolution or 0.01))
        for a, b in merge(mask_to_spans(r.t, zero, hold_s=5.0), 1.0):
            if not 0.8 <= b - a <= 60.0 or not any(g[0] <= a and b <= g[1] for g in ground):
                continue
            before = share[(r.t >= a - 5.0) & (r.t < a)]
            after = share[(r.t >= b) & (r.t < b + 5.0)]
            before, after = before[np.isfinite(before)], after[np.isfinite(after)]
            if before.size < 2 or after.size < 2:
                continue
            if min(float(np.median(before)), float(np.median(after))) > 0.2:
                spans.append((a, b))
    return merge(sorted(spans), 0.5)
