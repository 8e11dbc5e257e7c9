"""Phases of a recording: ground, stir, flight, redundancy check.

With columns for height, speed or throttle a flight is told by them; without, by how long the
servos are active. The current is judged by its level *and* its scatter: control movement raises
both above the rest on the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import Quantity
from telemetry.log import FloatArray, Log
from telemetry.readings import Reading, Readings, total_current
from telemetry.results import Phase, PhaseKind
from telemetry.signals import sampling
from telemetry.signals.baseline import MAD_TO_SIGMA
from telemetry.signals.spans import complement, longer, mask_to_spans, merge, overlap_s

SpanList = list[tuple[float, float]]

GRID_S = 0.25
# A height or speed that no taxiing reaches (ours).
_AIRBORNE_M = 8.0
_AIRBORNE_MPS = 9.0
_THROTTLE_SHARE = 0.25
# A stir longer than this is not told from flying by the current alone (ours).
_LONGEST_STIR_S = 90.0
# Scatter above which the calmest stretch of a log is no rest (ours): idling electronics and
# sensor steps stay below it, corrections in flight do not.
_RESTLESS_SHARE = 0.10
_RESTLESS_A = 0.10
# A pause in which the current does not really come to rest is bridged up to this length (ours).
_CALM_FLYING_S = 90.0
_STICKS = ("aileron", "elevator", "rudder")


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """The total current on an even grid, and what rest looks like.

    Attributes
    ----------
    t, mean, scatter : ndarray
        Grid [s]; mean and standard deviation over a centred 2 s window [A].
    fast : ndarray
        Mean over a centred window of 1 s [A], for edges.
    rest_a, rest_sigma : float
        Level and scatter at rest, A.
    at_rest : bool
        False where even the calmest stretch moves: the log shows no rest at all.
    known : ndarray of bool
        False where the log has no current.
    """

    t: FloatArray
    mean: FloatArray
    scatter: FloatArray
    fast: FloatArray
    rest_a: float
    rest_sigma: float
    at_rest: bool
    known: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One flight with the ground around it, or a bench recording."""

    kind: str
    start_s: float
    end_s: float
    phases: tuple[Phase, ...]


def find_parts(
    log: Log, readings: Readings, aircraft: Aircraft, limits: Limits
) -> tuple[Part, ...]:
    """Flights and bench recordings of a log, each with its phases.

    Returns
    -------
    tuple of Part
        At least one. Where one recording holds several flights the ground between them is parted
        in the middle of its longest quiet stretch. Phases follow one another without holes.
    """
    recordings = [r for r in log.provenance.recordings if r[1] > r[0]] or [
        (readings.start_s, readings.end_s)
    ]
    parts: list[Part] = []
    starts = [start for start, _ in recordings]
    for start, stop in pairwise([*starts, readings.end_s]):
        parts += _parts_of(readings.within(start, stop), aircraft, limits)
    return tuple(parts)


def _parts_of(readings: Readings, aircraft: Aircraft, limits: Limits) -> list[Part]:
    activity = measure_activity(readings, aircraft, limits)
    flights = _flights(readings, activity, limits)
    ground = complement(flights, readings.start_s, readings.end_s)
    stirs = [s for g in ground for s in _stirs(readings, activity, g, limits)]
    checks = _redundancy_checks(readings, aircraft, ground)
    stirs = [s for s in stirs if not any(overlap_s(s, c) > 0.5 * (s[1] - s[0]) for c in checks)]
    cuts = [_parting(activity, a[1], b[0], stirs) for a, b in pairwise(flights)]
    edges = [readings.start_s, *cuts, readings.end_s]
    marks = [
        *((s, PhaseKind.FLIGHT) for s in flights),
        *((s, PhaseKind.STIR) for s in stirs),
        *((s, PhaseKind.REDUNDANCY_CHECK) for s in checks),
    ]
    return [
        Part(
            kind="flight" if flights else "bench",
            start_s=a,
            end_s=b,
            phases=_fill(marks, a, b),
        )
        for a, b in pairwise(edges)
    ]


def measure_activity(readings: Readings, aircraft: Aircraft, limits: Limits) -> Activity | None:
    """Level and scatter of the total current; None where the log has no current.

    Rest is the lowest level that the recording keeps for at least 3 s together: the 5 % quantile
    of 3 s means, which one dropout or the moment before switching on cannot pull down.
    """
    total = total_current(readings, aircraft)
    if total is None or readings.end_s - readings.start_s < 2.0:
        return None
    t, v, update_s, _ = total
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    age = max(limits.gap_intervals * update_s, limits.gap_s)
    x = sampling.held_at(t, v, grid, age)
    known = np.isfinite(x)
    if known.sum() < 8:
        return None
    mean, scatter = _windowed(x, max(3, round(2.0 / GRID_S)))
    fast, _ = _windowed(x, max(3, round(1.0 / GRID_S)))
    slow, slow_scatter = _windowed(x, round(3.0 / GRID_S))
    usable = np.isfinite(slow)
    rest = float(np.quantile(slow[usable], 0.05))
    calm = usable & (slow <= rest + 0.1 * max(abs(rest), 0.5))
    sigma = float(np.median(slow_scatter[calm])) if calm.any() else 0.0
    return Activity(
        t=grid,
        mean=mean,
        scatter=scatter,
        fast=fast,
        rest_a=rest,
        rest_sigma=sigma,
        at_rest=sigma <= max(_RESTLESS_SHARE * abs(rest), _RESTLESS_A),
        known=known,
    )


def _windowed(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Centred moving mean and deviation that pass over NaN; NaN where under half is known."""
    known = np.isfinite(x)
    filled = np.where(known, x, 0.0)
    kernel = np.ones(width)
    count = np.convolve(known.astype(float), kernel, mode="same")
    total = np.convolve(filled, kernel, mode="same")
    square = np.convolve(filled * filled, kernel, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(count >= width / 2, total / count, np.nan)
        variance = np.where(count >= width / 2, square / count - mean * mean, np.nan)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def _flights(readings: Readings, activity: Activity | None, limits: Limits) -> SpanList:
    told = _airborne(readings, limits)
    if told is not None:
        return told
    active = _active(readings, activity, limits)
    joined = _bridged(active, activity, limits)
    flights = longer([_trimmed(f, active, activity, limits) for f in joined], limits.flight_s)
    if activity is not None and not activity.at_rest and flights:
        # No rest in the log: it begins and ends in the air.
        flights = [(readings.start_s, readings.end_s)]
    throttle = readings.get(Quantity.CONTROL, "throttle")
    if throttle is not None and throttle.size and flights:
        low, high = np.quantile(throttle.v, [0.01, 0.99])
        if high - low > 4 * (throttle.resolution or 0.0):
            open_ = throttle.v > low + _THROTTLE_SHARE * (high - low)
            spans = mask_to_spans(throttle.t, open_, hold_s=limits.flight_pause_s)
            run = merge(spans, limits.flight_pause_s)
            # A motor that never ran through a stretch says it was no flight.
            flights = [
                f for f in flights if sum(overlap_s(f, s) for s in run) >= 0.2 * (f[1] - f[0])
            ]
    if activity is not None and len(flights) == 1 and _steady_stir(flights[0], activity):
        return []
    return flights


def _airborne(readings: Readings, limits: Limits) -> SpanList | None:
    """Flights by height or speed; None where the log has neither or they never moved."""
    spans: SpanList = []
    height = readings.of(Quantity.ALTITUDE) or _anywhere(readings, Quantity.ALTITUDE)
    speed = readings.of(Quantity.SPEED) or _anywhere(readings, Quantity.SPEED)
    told = False
    for r, least in ((height, _AIRBORNE_M), (speed, _AIRBORNE_MPS)):
        if not r or r[0].size < 10:
            continue
        # The ground is where the recording begins or ends, whichever is lower.
        edge = max(5, r[0].size // 50)
        level = min(float(np.median(r[0].v[:edge])), float(np.median(r[0].v[-edge:])))
        if r[0].channel.quantity is Quantity.SPEED:
            level = max(0.0, float(np.quantile(r[0].v, 0.02)))
        up = r[0].v - level > least
        if up.mean() < 0.02:
            continue
        told = True
        spans += mask_to_spans(r[0].t, up, hold_s=r[0].hold_s(limits))
    if not told:
        return None
    found = longer(merge(sorted(spans), limits.flight_pause_s), 15.0)
    return found or None


def _anywhere(readings: Readings, quantity: Quantity) -> tuple[Reading, ...]:
    return tuple(r for r in readings.channels if r.channel.quantity is quantity and r.size)


def _active(readings: Readings, activity: Activity | None, limits: Limits) -> SpanList:
    """Stretches in which servos move: current above rest, or sticks that travel."""
    spans: SpanList = []
    if activity is not None:
        rest, sigma = activity.rest_a, max(activity.rest_sigma, 0.01)
        raised = activity.mean > rest + max(0.5 * limits.stir_a, 0.25 * abs(rest), 4.0 * sigma)
        restless = activity.scatter > max(4.0 * sigma, 0.25 * limits.stir_a, 0.1 * abs(rest))
        with np.errstate(invalid="ignore"):
            spans += mask_to_spans(activity.t, raised | restless, hold_s=2 * GRID_S)
    else:
        moving = _stick_rate(readings)
        if moving is not None:
            t, rate, _ = moving
            spans += mask_to_spans(t, rate > 5.0, hold_s=2 * GRID_S)
    return merge(sorted(spans), 1.0)


def _bridged(active: SpanList, activity: Activity | None, limits: Limits) -> SpanList:
    """Join active stretches over short pauses, and over calm flying.

    In a calm leg the current sinks but does not rest: the servos hold and correct. Such a pause
    is bridged up to 90 s where under half of it is truly quiet.
    """
    if activity is None:
        return merge(active, limits.flight_pause_s)
    sigma = max(activity.rest_sigma, 0.01)
    level = activity.rest_a + max(0.1, 0.08 * abs(activity.rest_a), 3.0 * sigma)
    with np.errstate(invalid="ignore"):
        quiet = (activity.mean <= level) & (activity.scatter <= max(3.0 * sigma, 0.05))
    out: SpanList = []
    for span in active:
        if out:
            pause = (activity.t >= out[-1][1]) & (activity.t < span[0])
            length = span[0] - out[-1][1]
            seen = pause & np.isfinite(activity.mean)
            calm = (
                length < _CALM_FLYING_S
                and seen.sum() > 0.8 * pause.sum()
                and quiet[seen].mean() < 0.5
            )
            if length < limits.flight_pause_s or calm:
                out[-1] = (out[-1][0], span[1])
                continue
        out.append(span)
    return out


def _trimmed(
    span: tuple[float, float], active: SpanList, activity: Activity | None, limits: Limits
) -> tuple[float, float]:
    """Take stirs and single movements off the ends of a stretch that short pauses join to it.

    In flight the servos hold against air load; a return to rest of several seconds between two
    bursts belongs to the ground.
    """
    bursts = [a for a in active if overlap_s(a, span) > 0]
    start, end = span

    def of_ground(b: tuple[float, float]) -> bool:
        if b[1] - b[0] < 5.0:
            return True  # a touch of the sticks, a bump while taxiing
        if activity is None or b[1] - b[0] > 60.0:
            return False
        part = (activity.t >= b[0]) & (activity.t < b[1])
        level = float(np.nanmean(activity.mean[part])) if part.any() else 0.0
        return level >= max(1.8 * activity.rest_a, activity.rest_a + limits.stir_a)

    while len(bursts) > 1 and bursts[1][0] - bursts[0][1] >= 3.0 and of_ground(bursts[0]):
        bursts = bursts[1:]
        start = bursts[0][0]
    while len(bursts) > 1 and bursts[-1][0] - bursts[-2][1] >= 3.0 and of_ground(bursts[-1]):
        bursts = bursts[:-1]
        end = bursts[-1][1]
    return start, end


def _steady_stir(span: tuple[float, float], activity: Activity) -> bool:
    """A short active stretch whose level never varies: a long stir at home, not a flight.

    A circular stir gives a nearly constant raised current; manoeuvres make it swing.
    """
    if span[1] - span[0] > 2.0 * _LONGEST_STIR_S:
        return False
    part = (activity.t >= span[0] + 2.0) & (activity.t < span[1] - 2.0) & activity.known
    x = activity.mean[part]
    x = x[np.isfinite(x)] - activity.rest_a
    if x.size < 20:
        return False
    middle = float(np.median(x))
    swing = MAD_TO_SIGMA * float(np.median(np.abs(x - middle)))
    return middle > 0 and swing < 0.15 * middle


def _stick_rate(
    readings: Readings,
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Grid [s], rate of travel of the fastest surface [% of travel per s], sticks in motion."""
    sticks = [r for s in _STICKS if (r := readings.get(Quantity.CONTROL, s)) is not None]
    sticks = [r for r in sticks if r.size >= 10]
    if not sticks:
        return None
    grid = np.arange(readings.start_s, readings.end_s, GRID_S)
    rates = []
    for r in sticks:
        travel = float(r.v.max() - r.v.min())
        if travel <= 0:
            continue
        x = np.interp(grid, r.t, r.v) / travel * 100.0
        rates.append(np.abs(np.gradient(x, GRID_S)))
    if not rates:
        return None
    stack = np.vstack(rates)
    return grid, stack.max(axis=0), (stack > 5.0).sum(axis=0).astype(float)


def _stirs(
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
    sticks = [r for s in _STICKS if (r := readings.get(Quantity.CONTROL, s)) is not None]
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


def _redundancy_checks(readings: Readings, aircraft: Aircraft, ground: SpanList) -> SpanList:
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


def _parting(activity: Activity | None, landed_s: float, off_s: float, stirs: SpanList) -> float:
    """Where to part the ground between two flights: the middle of its longest quiet stretch."""
    busy = [s for s in stirs if landed_s < s[1] and s[0] < off_s]
    if activity is not None:
        part = (activity.t >= landed_s) & (activity.t < off_s)
        with np.errstate(invalid="ignore"):
            loud = part & (activity.mean > activity.rest_a + 0.25)
        busy += mask_to_spans(activity.t, loud, hold_s=2 * GRID_S)
    quiet = complement(sorted(merge(sorted(busy), 0.5)), landed_s, off_s)
    if not quiet:
        return 0.5 * (landed_s + off_s)
    a, b = max(quiet, key=lambda s: s[1] - s[0])
    return 0.5 * (a + b)


def _fill(
    marks: list[tuple[tuple[float, float], PhaseKind]], start_s: float, end_s: float
) -> tuple[Phase, ...]:
    """Phases from start to end without holes: marked stretches, and ground in between."""
    inside = sorted(
        ((max(a, start_s), min(b, end_s)), kind)
        for (a, b), kind in marks
        if b > start_s and a < end_s
    )
    out: list[Phase] = []
    at = start_s
    for (a, b), kind in inside:
        first = max(a, at)
        if b <= first:
            continue
        if first > at:
            out.append(Phase(kind=PhaseKind.GROUND, start_s=at, end_s=first))
        out.append(Phase(kind=kind, start_s=first, end_s=b))
        at = b
    if at < end_s:
        out.append(Phase(kind=PhaseKind.GROUND, start_s=at, end_s=end_s))
    return tuple(out)


def phase_at(phases: tuple[Phase, ...], time_s: float) -> PhaseKind:
    """The phase at an instant."""
    for p in phases:
        if p.start_s <= time_s < p.end_s:
            return p.kind
    return phases[-1].kind if phases else PhaseKind.GROUND


def spans_of(phases: tuple[Phase, ...], *kinds: PhaseKind) -> SpanList:
    """Spans of these kinds, in time order."""
    return [(p.start_s, p.end_s) for p in phases if p.kind in kinds]
