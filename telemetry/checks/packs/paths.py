"""The paths of the packs to the bus: one that grew worse in a flight, one unlike the other's."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.draft import FindingDraft, clock
from telemetry.results import Flight, Level, Resistance

# Paths of a pair from pack to bus: one above the other by this factor and by this much (ours).
_PATH_FACTOR, _PATH_MOHM = 1.5, 8.0


def path_findings(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """Paths that grew worse within the flight; where none did, one unlike the other's."""
    return _steps(flight, aircraft) or _paths(flight, aircraft)


def _steps(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """A path whose resistance went up within the flight."""
    limits = aircraft.limits
    out = []
    for s in flight.path_steps:
        part = s.low_rise_mohm / max(s.before_mohm, 1.0)
        if s.low_rise_mohm < limits.branch_watch_mohm or part < limits.branch_watch_pct / 100:
            continue
        grave = s.low_rise_mohm >= limits.branch_ground_mohm
        grave = grave and part >= limits.branch_ground_pct / 100
        out.append(
            FindingDraft(
                code="switch-step",
                level=Level.GROUND if grave else Level.WATCH,
                place=s.place,
                title=f"{s.place}: {s.rise_mohm:.0f} mOhm more to {s.parent} from "
                f"{clock(s.time_s)} on, {max(s.before_mohm, 0):.0f} before",
                evidence={
                    "time_s": s.time_s,
                    "before_mohm": s.before_mohm,
                    "rise_mohm": s.rise_mohm,
                    "low_rise_mohm": s.low_rise_mohm,
                    "high_rise_mohm": s.high_rise_mohm,
                },
                start_s=s.time_s,
                end_s=s.time_s,
            )
        )
    return out


def _paths(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """Of a shared pair: one path from pack to bus clearly above the other's."""
    shared = {p.name for p in aircraft.packs if p.role == "shared"}
    known = [
        r
        for r in flight.resistances
        if r.kind == "branch" and r.parent in shared and r.mohm is not None
    ]
    if len(shared) != 2 or len(known) != 2:
        return []
    low, high = sorted(known, key=lambda r: r.mohm or 0.0)
    least, most = high.low_mohm or 0.0, _most(low)
    if least - most <= _PATH_MOHM or least <= _PATH_FACTOR * most:
        return []
    return [
        FindingDraft(
            code="switch-step",
            level=Level.WATCH,
            place=high.parent or "",
            title=f"{high.parent}: {high.mohm:.0f} mOhm from pack to {high.place}, against "
            f"{low.mohm:.0f} of {low.parent}",
            evidence={
                "mohm": high.mohm,
                "low_mohm": high.low_mohm,
                "high_mohm": high.high_mohm,
                "compared_with": low.parent,
                "compared_mohm": low.mohm,
            },
            likelier=("the two paths were built unlike",),
        )
    ]


def _most(r: Resistance) -> float:
    return max(r.high_mohm if r.high_mohm is not None else (r.mohm or 0.0), 0.0)
