"""What the review of one flight found, and what of it no later flight can show gone."""

from __future__ import annotations

from telemetry.checks.packs.in_flight import lost_in_flight
from telemetry.results import EventKind, Evidence, Finding, Flight, Level, Origin, PhaseKind, Review
from telemetry.trends.measures import Seen

# The silence before a restart can look like ground.
_BEFORE_S = 3.0
_FALLS = (EventKind.SAG, EventKind.SHIFT)


def seen_in(review: Review, number: int) -> tuple[Seen, ...]:
    """What a review found in one of its flights, from 1, or in the whole recording."""
    flight = review.flights[number - 1]
    return tuple(
        Seen(
            code=f.code,
            place=f.place or "",
            level=f.level,
            title=f.title,
            lasts=f.level > Level.CLEAR and _lasts(f, flight),
            explanations=f.explanations,
            confirm=f.confirm,
            advice=f.advice,
        )
        for f in review.findings
        if f.flight in (None, number)  # None: of the whole recording
    )


def _lasts(finding: Finding, flight: Flight) -> bool:
    """Whether only a note of what was done closes it.

    A pack that was lost in the air, a supply that was lost, a contact that opened in flight: that
    one flight went well since shows nothing.
    """
    grave = finding.level is Level.GROUND
    aloft = [e for e in flight.events if e.place == finding.place and e.phase is PhaseKind.FLIGHT]
    if finding.code == "pack-out":
        return finding.place in lost_in_flight(flight) or (grave and flight.kind == "flight")
    if finding.code == "brownout":
        # Where the unit's counter ran on, its telemetry alone may have failed.
        lost = finding.evidence.get("evidence") != Evidence.TELEMETRY
        return lost and (grave or any(e.kind is EventKind.BROWNOUT for e in aloft))
    if finding.code == "restart":
        time_s = finding.evidence.get("time_s")
        return isinstance(time_s, int | float) and _in_flight(flight, time_s)
    if finding.code == "sag-unexplained":
        return grave and any(e.kind in _FALLS and e.origin is Origin.CONTACT for e in aloft)
    return False


def _in_flight(flight: Flight, time_s: float) -> bool:
    return any(
        p.kind is PhaseKind.FLIGHT and p.start_s <= time_s < p.end_s + _BEFORE_S
        for p in flight.phases
    )
