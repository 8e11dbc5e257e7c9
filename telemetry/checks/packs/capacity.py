"""Packs that hold less charge than they should: against the profile, and against the other."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Refusal
from telemetry.results import Level, NotJudged, PackCapacity

#: A pack that holds less than this part of what the profile gives it is retired (common practice,
#: no source); of a pair, less than this part of the other's is no scatter of making (heuristic).
_RETIRED, _UNLIKE = 0.8, 0.75

WEAK_BY_CHARGE = Words(
    (
        "{place} has lost capacity, or a cell of it has",
        "it is cold",
    ),
    "Read each cell at rest; where none is below its floor, let a tester "
    "read the capacity of both.",
    "Fly fewer flights on a charge, or replace the pack.",
    kinds=(CauseKind.LOST_CAPACITY, CauseKind.COLD),
)


def weak_by_charge(facts: FlightFacts) -> list[FindingDraft]:
    """Packs whose voltage at rest fell further than what they gave should make it."""
    return [d for c in facts.flight.capacities if (d := _weak(c, facts)) is not None]


def _weak(c: PackCapacity, facts: FlightFacts) -> FindingDraft | None:
    rated = _rated(facts, c.place)
    evidence: dict[str, float | int | str | None] = {
        "drawn_mah": c.drawn_mah,
        "holds_mah": _middle(c.low_mah, c.high_mah),
        "low_holds_mah": c.low_mah,
        "high_holds_mah": c.high_mah,
        "rated_mah": rated,
    }
    if rated is not None and c.high_mah is not None and c.high_mah < _RETIRED * rated:
        title = f"{c.place}: fell at rest as a pack of {c.high_mah:.0f} mAh at most does for the "
        title += f"{c.drawn_mah:.0f} mAh it gave; by the profile it has {rated:.0f} mAh"
        return _draft(c, title, evidence, ())
    if c.high_times is None or c.high_times >= _UNLIKE:
        return None
    other = c.compared_with or ""
    theirs = _rated(facts, other)
    if rated is not None and theirs is not None and c.high_times >= _UNLIKE * rated / theirs:
        return None  # by design it holds less
    low, high = c.low_times or 0.0, c.high_times
    title = f"{c.place}: holds {100 * low:.0f} to {100 * high:.0f} % of what {other} holds, by how "
    title += "far both fell at rest for what they gave"
    evidence |= {
        "compared_with": other,
        "capacity_ratio": _middle(low, high),
        "low_capacity_ratio": low,
        "high_capacity_ratio": high,
    }
    by_design = Possible(CauseKind.TOO_SMALL, "it is smaller by design, as no profile says")
    return _draft(c, title, evidence, () if rated and theirs else (by_design,))


def _middle(low: float | None, high: float | None) -> float | None:
    return None if low is None or high is None else (low * high) ** 0.5


def _draft(
    c: PackCapacity,
    title: str,
    evidence: dict[str, float | int | str | None],
    further: tuple[Possible, ...],
) -> FindingDraft:
    return FindingDraft(
        code="pack-weak",
        level=Level.WATCH,
        place=c.place,
        title=title,
        evidence=evidence,
        further=further,
    )


def _rated(facts: FlightFacts, place: str) -> float | None:
    pack = facts.aircraft.pack(place)
    return None if pack is None else pack.capacity_mah


def capacity_seen(facts: FlightFacts, place: str | None) -> str | Refusal:
    """The capacity that would have been told as too little."""
    c = next((c for c in facts.flight.capacities if c.place == place), None)
    rated = None if c is None else _rated(facts, c.place)
    if c is not None and rated is not None and c.high_mah is not None and c.low_mah is not None:
        least = _RETIRED * rated * c.low_mah / c.high_mah
        return f"less than {least:.0f} mAh"
    if c is not None and c.high_times is not None and c.low_times is not None:
        least = _UNLIKE * c.low_times / c.high_times
        return f"less than {100 * least:.0f} % of what {c.compared_with} holds"
    why = "too little was drawn, or its voltage at rest tells no charge"
    what = "log it at rest before and after a long flight; say chemistry, cells and capacity"
    return Refusal(NotJudged.CALM, why, what)
