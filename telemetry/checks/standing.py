"""Findings of single flights that stand: a history is never milder than its flights.

The newest flight's findings stand; so does what two of the last flights report alike, and for as
many flights what one of them grounded the aircraft for. What no later flight can show gone stands
until a note at its place.
"""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.listed import CODES
from telemetry.results import Finding, Level
from telemetry.trends.measures import ReportedFinding

#: So many of the last recordings are asked what they report alike (heuristic).
WINDOW = 5
_ALIKE = 2

#: Index of a flight, and what its review reported.
Report = tuple[int, ReportedFinding]


def standing_findings(history: AircraftHistory, established: Sequence[Finding]) -> list[Finding]:
    """Findings of single flights that stand and are not as grave in ``established``."""
    groups: dict[tuple[str, str], list[Report]] = {}
    for k, m in enumerate(history.flights):
        for reported in m.reported:
            if reported.level > Level.CLEAR:
                groups.setdefault((reported.code, reported.place), []).append((k, reported))
    found: list[Finding] = []
    for (code, place), reports in groups.items():
        first = history.first(place)
        finding = _standing(history, [s for s in reports if s[0] >= first])
        same = (code, *CODES[code].same_matter) if code in CODES else (code,)
        if finding is not None and not any(
            f.code in same and f.place == finding.place and f.level >= finding.level
            for f in established
        ):
            found.append(finding)
    return found


def _standing(history: AircraftHistory, reports: Sequence[Report]) -> Finding | None:
    """What stands of the findings of one code at one place since the last note there."""
    n, newest = len(history.flights), _newest(history)
    faults = [s for s in reports if s[1].level > Level.UNKNOWN]
    recent = [s for s in faults if s[0] >= n - WINDOW]
    stands = [
        (k, s)
        for k, s in reports
        if k == newest or (s.level > Level.UNKNOWN and (k > newest or s.lasts))
    ]
    stands += [s for s in recent if len(recent) >= _ALIKE or s[1].level is Level.GROUND]
    if not stands:
        return None
    level = max(s.level for _, s in stands)
    last, worst = max((k, s) for k, s in stands if s.level is level)
    since = min(*(k for k, _ in stands), _run(reports, last))
    flights = sum(k >= since for k, _ in reports)
    return Finding(
        code=worst.code,
        level=level,
        place=worst.place or None,
        title=worst.title + _often(flights) + _ago(n - 1 - reports[-1][0], lasts=worst.lasts),
        evidence={
            "flights_with": flights,
            "gravest_flight": history.listed[last].file,
            "recent_flights": f"{len(recent)} of the last {min(WINDOW, n)}",
            "flights_since": n - since,
        },
        explanations=tuple(c.cause for c in worst.causes),
        causes=worst.causes,
        ranked=worst.ranked,
        confirm=worst.confirm,
        advice=worst.advice,
        since_flight=history.listed[since].id,
    )


def _newest(history: AircraftHistory) -> int:
    """Index of the newest flight; of the newest recording where none is of a flight."""
    n = len(history.flights)
    return max((k for k in range(n) if history.flights[k].kind == "flight"), default=n - 1)


def _run(reports: Sequence[Report], last: int) -> int:
    """First of the flights up to ``last`` that reported it, no more than a window apart."""
    since = last
    for k, _ in reversed(reports):
        if since - WINDOW <= k < since:
            since = k
    return since


def _often(flights: int) -> str:
    return "" if flights == 1 else f"; {flights} flights show it, each by itself"


def _ago(flights: int, *, lasts: bool) -> str:
    if flights == 0:
        return ""
    ago = "the flight" if flights == 1 else f"the {flights} flights"
    note = ", but no repair is noted" if lasts else ""
    return f"; not seen in {ago} since{note}"
