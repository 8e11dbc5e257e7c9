"""What single flights say by themselves, carried on: a history is never milder than its flights.

The newest flight's findings stand; so does what two of the last flights say alike, and for as many
flights what one of them grounded the aircraft for. What no later flight can show gone stands until
a note at its place.
"""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.listed import CODES
from telemetry.results import Finding, Level
from telemetry.trends.measures import Seen

#: So many of the last recordings are asked what they say alike (ours).
WINDOW = 5
_ALIKE = 2
Said = tuple[int, Seen]  # index of the flight, and what its review found


def standing_findings(case: AircraftHistory, established: Sequence[Finding]) -> list[Finding]:
    """Findings of single flights that stand and are not as grave in ``established``."""
    groups: dict[tuple[str, str], list[Said]] = {}
    for k, m in enumerate(case.flights):
        for seen in m.seen:
            if seen.level > Level.CLEAR:
                groups.setdefault((seen.code, seen.place), []).append((k, seen))
    found: list[Finding] = []
    for (code, place), said in groups.items():
        first = case.first(place)
        finding = _standing(case, [s for s in said if s[0] >= first])
        same = (code, *CODES[code].same_matter) if code in CODES else (code,)
        if finding is not None and not any(
            f.code in same and f.place == finding.place and f.level >= finding.level
            for f in established
        ):
            found.append(finding)
    return found


def _standing(case: AircraftHistory, said: Sequence[Said]) -> Finding | None:
    """What stands of the findings of one code at one place since the last note there."""
    n, newest = len(case.flights), _newest(case)
    faults = [s for s in said if s[1].level > Level.UNKNOWN]
    recent = [s for s in faults if s[0] >= n - WINDOW]
    stands = [
        (k, s)
        for k, s in said
        if k == newest or (s.level > Level.UNKNOWN and (k > newest or s.lasts))
    ]
    stands += [s for s in recent if len(recent) >= _ALIKE or s[1].level is Level.GROUND]
    if not stands:
        return None
    level = max(s.level for _, s in stands)
    last, told = max((k, s) for k, s in stands if s.level is level)
    since = min(*(k for k, _ in stands), _run(said, last))
    flights = sum(k >= since for k, _ in said)
    return Finding(
        code=told.code,
        level=level,
        place=told.place or None,
        title=told.title + _often(flights) + _ago(n - 1 - said[-1][0], lasts=told.lasts),
        evidence={
            "flights_with": flights,
            "gravest_flight": case.listed[last].file,
            "recent_flights": f"{len(recent)} of the last {min(WINDOW, n)}",
            "flights_since": n - since,
        },
        explanations=told.explanations,
        confirm=told.confirm,
        advice=told.advice,
        since_flight=case.listed[since].id,
    )


def _newest(case: AircraftHistory) -> int:
    """Index of the newest flight; of the newest recording where none is of a flight."""
    n = len(case.flights)
    return max((k for k in range(n) if case.flights[k].kind == "flight"), default=n - 1)


def _run(said: Sequence[Said], last: int) -> int:
    """First of the flights up to ``last`` that said so with no more than a window between them."""
    since = last
    for k, _ in reversed(said):
        if since - WINDOW <= k < since:
            since = k
    return since


def _often(flights: int) -> str:
    return "" if flights == 1 else f"; {flights} flights say so by themselves"


def _ago(flights: int, *, lasts: bool) -> str:
    if flights == 0:
        return ""
    ago = "the flight" if flights == 1 else f"the {flights} flights"
    note = ", but no repair is noted" if lasts else ""
    return f"; not seen in {ago} since{note}"
