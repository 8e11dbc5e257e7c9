"""The paths of the packs to the bus: one that grew worse in a flight, one unlike the other's."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Refusal, told_already, without_resistance
from telemetry.results import Flight, Level, NotJudged, OutKind, Resistance

#: A pack that gives less than this of the current waits behind a diode (heuristic).
WAITS = 0.2
# Paths of a pair from pack to bus: one above the other by this factor and by this much (heuristic).
_PATH_FACTOR, _PATH_MOHM = 1.5, 8.0
# A pack's resistance rises before its voltage does fall at the end of its charge, s (heuristic).
_ROUND_S = 120.0


def path_findings(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """Paths that grew worse within the flight; where none did, one unlike the other's."""
    return _steps(flight, aircraft) or _paths(flight, aircraft)


def _steps(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """A path whose resistance went up within the flight."""
    limits = aircraft.limits
    out = []
    for s in flight.path_steps:
        if any(k.start_s - _ROUND_S <= s.time_s <= k.end_s + _ROUND_S for k in flight.knees):
            continue  # a pack that runs empty
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
    if any(p.share is not None and p.share < WAITS for p in flight.packs):
        return []  # one that a diode holds off most of the time tells nothing of its path
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
            likelier=(Possible(CauseKind.BUILT_UNLIKE, "the two paths were built unlike"),),
        )
    ]


def path_seen(facts: FlightFacts, place: str | None) -> str | Refusal:
    """The resistance of a pack's path that would have been told from the other's."""
    if any(o.place == place and o.kind is OutKind.LOST for o in facts.flight.pack_outs):
        return told_already("what is said of the pack that gave nothing")
    pack = facts.aircraft.pack(place or "")
    if pack is not None and pack.role == "standby":
        return Refusal(NotJudged.STANDBY, "it stands by, by the profile", "switch the other off")
    paths = [r for r in facts.flight.resistances if r.kind == "branch" and r.parent is not None]
    own = next((r for r in paths if r.parent == place), None)
    if own is None or own.mohm is None:
        return without_resistance(facts, own, place or "")
    shared = {p.name for p in facts.aircraft.packs if p.role == "shared"} - {place}
    other = next((r for r in paths if r.parent in shared and r.mohm is not None), None)
    if len(shared) != 1 or other is None:
        why = "no path of another pack to hold it against"
        return Refusal(NotJudged.NO_COUNTERPART, why, "log current and voltage of both packs")
    most = _most(other)
    # What is doubtful of its own value comes on top.
    least = max(most + _PATH_MOHM, most * _PATH_FACTOR) + (own.mohm - (own.low_mohm or 0.0))
    return f"{least:.0f} mOhm or more from pack to {own.place}"


def _most(r: Resistance) -> float:
    return max(r.high_mohm if r.high_mohm is not None else (r.mohm or 0.0), 0.0)
