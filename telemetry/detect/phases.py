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
from telemetry.detect.activity import (
    Activity,
    SpanList,
    flying_spans,
    grid_spans,
    measure_activity,
    moving_sticks,
)
from telemetry.detect.ground import find_redundancy_checks, find_stirs, without_checks
from telemetry.model.channels import Quantity
from telemetry.model.log import Log
from telemetry.numerics.spans import complement, longer, mask_to_spans, merge, overlap_s
from telemetry.readings import Reading, Readings
from telemetry.results import Phase, PhaseKind

# A height or speed that no taxiing reaches (heuristic).
_AIRBORNE_M = 8.0
_AIRBORNE_MPS = 9.0
_THROTTLE_SHARE = 0.25
# The sticks of the air (a rudder also steers on the ground), how long they may pause in it, and
# from how long on their movement says that the current hides a part of the flight, s (heuristic).
_IN_THE_AIR, _BREATH_S, _UNSEEN_S = ("aileron", "elevator"), 4.0, 15.0
# Sticks or a throttle that move for so long are a flight, however little it draws; a motor that ran
# for less than a climb did not fly (heuristic).
_MINUTES_S, _CLIMB_S = 120.0, 10.0
# A log without any rest that is lively this near to its end was cut in the air (heuristic).
_CUT_S = 30.0
# After a pause in the rows of so many hours another session begins (heuristic).
_SESSION_PAUSE_S = 6 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightPart:
    """One flight with the ground around it, or a bench recording."""

    kind: str
    start_s: float
    end_s: float
    phases: tuple[Phase, ...]


def find_parts(
    log: Log, readings: Readings, aircraft: Aircraft, limits: Limits
) -> tuple[FlightPart, ...]:
    """Flights and bench recordings of a log, each with its phases.

    Returns
    -------
    tuple of FlightPart
        At least one. Where one recording holds several flights the ground between them is parted
        in the middle of its longest quiet stretch. Phases follow one another without holes;
        only a pause of hours belongs to no part.
    """
    recordings = [r for r in log.provenance.recordings if r[1] > r[0]] or [
        (readings.start_s, readings.end_s)
    ]
    parts: list[FlightPart] = []
    starts = [start for start, _ in recordings]
    for start, stop in pairwise([*starts, readings.end_s]):
        for a, b in session_spans(readings, start, stop):
            parts += flight_parts(readings.within(a, b), aircraft, limits)
    return tuple(parts)


def session_spans(readings: Readings, start_s: float, stop_s: float) -> SpanList:
    """The recording less the pauses in which nobody was there: clocks get set, days go by."""
    edges = [start_s]
    for gap in readings.gaps:
        if start_s <= gap.start_s and gap.end_s < stop_s and gap.duration_s > _SESSION_PAUSE_S:
            edges += [gap.start_s + readings.row_s, gap.end_s]
    edges.append(stop_s)
    return list(zip(edges[::2], edges[1::2], strict=True))


def flight_parts(readings: Readings, aircraft: Aircraft, limits: Limits) -> list[FlightPart]:
    """The flights of one session, each with its phases, s."""
    activity = measure_activity(readings, aircraft, limits)
    flights = without_checks(flight_spans(readings, activity, limits), readings, aircraft)
    ground = complement(flights, readings.start_s, readings.end_s)
    stirs = find_stirs(readings, activity, ground, limits)
    flights, stirs = touching_spans(flights, stirs)
    ground = complement(flights, readings.start_s, readings.end_s)
    checks = find_redundancy_checks(readings, aircraft, ground)
    stirs = [s for s in stirs if not any(overlap_s(s, c) > 0.5 * (s[1] - s[0]) for c in checks)]
    cuts = [parting_instant(activity, a[1], b[0], stirs) for a, b in pairwise(flights)]
    edges = [readings.start_s, *cuts, readings.end_s]
    marks = [
        *((s, PhaseKind.FLIGHT) for s in flights),
        *((s, PhaseKind.STIR) for s in stirs),
        *((s, PhaseKind.REDUNDANCY_CHECK) for s in checks),
    ]
    return [
        FlightPart(
            kind="flight" if flights else "bench",
            start_s=a,
            end_s=b,
            phases=fill_phases(marks, a, b),
        )
        for a, b in pairwise(edges)
    ]


def touching_spans(flights: SpanList, stirs: SpanList) -> tuple[SpanList, SpanList]:
    """Movement without a pause before take-off or after landing belongs to the flight."""
    alone: SpanList = []
    grown = list(flights)
    for stir in stirs:
        near = [i for i, f in enumerate(grown) if f[0] - 2.0 < stir[1] and stir[0] < f[1] + 2.0]
        for i in near[:1]:
            grown[i] = (min(grown[i][0], stir[0]), max(grown[i][1], stir[1]))
        if not near:
            alone.append(stir)
    return grown, alone


def flight_spans(readings: Readings, activity: Activity | None, limits: Limits) -> SpanList:
    """Spans in the air, s, by height or speed, else by how current and sticks move."""
    told = airborne_spans(readings, limits)
    if told is not None:
        return told
    flights = longer(flying_spans(readings, activity, limits), limits.flight_s)
    if activity is not None and not activity.at_rest and flights:
        # No rest in the log: it begins or ends in the air.
        if flights[0][0] - readings.start_s < _CUT_S:
            flights[0] = (readings.start_s, flights[0][1])
        if readings.end_s - flights[-1][1] < _CUT_S:
            flights[-1] = (flights[-1][0], readings.end_s)
    if not flights and activity is not None:
        flights = longer(moving_sticks(readings, limits.flight_pause_s), _MINUTES_S)
    if activity is not None and activity.at_rest:
        sticks = moving_sticks(readings, _BREATH_S, _IN_THE_AIR)
        flights = merge([_while_moved(f, sticks) for f in flights], 1.0)
    run = _motor_ran(readings, limits)
    if not run:
        return flights
    # A motor that never ran through a stretch says it was no flight; a glider's runs for a climb.
    ran = [f for f in flights if sum(overlap_s(f, s) for s in run) >= _CLIMB_S]
    return ran or ([] if flights else longer(run, _MINUTES_S))


def _while_moved(flight: tuple[float, float], sticks: SpanList) -> tuple[float, float]:
    """A flight with the movement of the sticks that goes on beyond its ends.

    Half of the servos may have failed, or calm legs follow hard ones: the current then falls to
    what looks like taxiing.
    """
    for start, end in sticks:
        if start + _UNSEEN_S < flight[0] < end:
            flight = (start, flight[1])
        if start < flight[1] < end - _UNSEEN_S:
            flight = (flight[0], end)
    return flight


def _motor_ran(readings: Readings, limits: Limits) -> SpanList:
    """Stretches with the throttle away from idle; none where it is not logged or hardly moved."""
    throttle = readings.get(Quantity.CONTROL, "throttle")
    if throttle is None or not throttle.size:
        return []
    low, high = np.quantile(throttle.v, [0.01, 0.99])
    if high - low <= 4 * (throttle.resolution or 0.0):
        return []
    open_ = throttle.v > low + _THROTTLE_SHARE * (high - low)
    return merge(
        mask_to_spans(throttle.t, open_, hold_s=limits.flight_pause_s), limits.flight_pause_s
    )


def airborne_spans(readings: Readings, limits: Limits) -> SpanList | None:
    """Flights by height or speed; None where the log has neither or they never moved."""
    spans: SpanList = []
    height = _of_aircraft(readings, Quantity.ALTITUDE)
    speed = _of_aircraft(readings, Quantity.SPEED)
    told = False
    for r, least in ((height, _AIRBORNE_M), (speed, _AIRBORNE_MPS)):
        if r is None or r.size < 10:
            continue
        # The ground is where the recording begins or ends, whichever is lower.
        edge = max(5, r.size // 50)
        level = min(float(np.median(r.v[:edge])), float(np.median(r.v[-edge:])))
        if r is speed:
            level = max(0.0, float(np.quantile(r.v, 0.02)))
        up = r.v - level > least
        if up.mean() < 0.02:
            continue
        told = True
        spans += mask_to_spans(r.t, up, hold_s=r.hold_s(limits))
    if not told:
        return None
    found = longer(merge(sorted(spans), limits.flight_pause_s), 15.0)
    return found or None


def _of_aircraft(readings: Readings, quantity: Quantity) -> Reading | None:
    """Readings of the aircraft as a whole: a speed "at a place" may be the wind's or a joint's."""
    return next(
        (
            r
            for r in readings.channels
            if r.channel.quantity is quantity and r.channel.place is None and r.size
        ),
        None,
    )


def parting_instant(
    activity: Activity | None, landed_s: float, off_s: float, stirs: SpanList
) -> float:
    """Where to part the ground between two flights: the middle of its longest quiet stretch."""
    busy = [s for s in stirs if landed_s < s[1] and s[0] < off_s]
    if activity is not None:
        part = (activity.t >= landed_s) & (activity.t < off_s)
        with np.errstate(invalid="ignore"):
            loud = part & (activity.mean > activity.rest_a + 0.25)
        busy += grid_spans(activity.t, loud)
    quiet = complement(merge(sorted(busy), 0.5), landed_s, off_s)
    if not quiet:
        return 0.5 * (landed_s + off_s)
    a, b = max(quiet, key=lambda s: s[1] - s[0])
    return 0.5 * (a + b)


def fill_phases(
    marks: list[tuple[tuple[float, float], PhaseKind]], start_s: float, end_s: float
) -> tuple[Phase, ...]:
    """Phases from start to end without holes: marked stretches, and ground in between."""
    inside = sorted(((max(a, start_s), min(b, end_s)), kind) for (a, b), kind in marks)
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
