"""One pack's resistance against the other's."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, packs, without_resistance
from telemetry.model.channels import Quantity
from telemetry.results import Level, NotJudged

# One pack above the other by this factor (ours).
_FACTOR = 1.5


def sources(facts: FlightFacts) -> list[FindingDraft]:
    """Of packs that share the load: one whose resistance lies clearly above the other's."""
    shared = {p.name for p in facts.aircraft.packs if p.role == "shared"}
    known = [
        r
        for r in facts.flight.resistances
        if r.kind == "source" and r.mohm is not None and r.place in shared
    ]
    if len(known) < 2:
        return []
    high = max(known, key=lambda r: r.mohm or 0.0)
    low = min(known, key=lambda r: r.mohm or 0.0)
    if (high.low_mohm or 0.0) > _FACTOR * (low.high_mohm or 0.0) > 0.0:
        return [
            FindingDraft(
                code="source-resistance-high",
                level=Level.WATCH,
                place=high.place,
                title=f"{high.place}: {high.mohm:.0f} mOhm against {low.mohm:.0f} of {low.place}",
                evidence={
                    "mohm": high.mohm,
                    "low_mohm": high.low_mohm,
                    "high_mohm": high.high_mohm,
                    "compared_with": low.place,
                    "compared_mohm": low.mohm,
                },
            )
        ]
    return []


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    shared = {p.name for p in facts.aircraft.packs if p.role == "shared"}
    if place not in shared:
        return Refusal(NotJudged.STANDBY, "it stands by, by the profile", "switch the other off")
    known = {r.place: r for r in facts.flight.resistances if r.kind == "source"}
    own = known.pop(place, None)
    if own is None or own.mohm is None:
        return without_resistance(facts, own, place)
    others = [r.high_mohm for p, r in known.items() if p in shared and r.high_mohm is not None]
    if not others:
        why = "no other pack's resistance to hold it against"
        return Refusal(NotJudged.NO_COUNTERPART, why, "log voltage and current of both packs")
    least = _FACTOR * min(others) + (own.mohm - (own.low_mohm or 0.0))
    return f"{least:.0f} mOhm or more"


SOURCE_RESISTANCE_HIGH = Check(
    code="source-resistance-high",
    part=CheckPart.PACKS,
    question="Is one pack's resistance clearly above the other's?",
    meaning="A pack has aged or is cold, or its path adds resistance.",
    bench="swap the packs: does the resistance move with the pack?",
    words=Words(
        (
            "that pack has aged or is colder than the other",
            "resistance in that pack's plug, switch or lead",
        ),
        "Swap the packs: if the value moves with the pack it is the pack, else its path.",
        "Measure the pack's internal resistance warm, at a known charge.",
        kinds=(
            CauseKind.COLD_OR_AGED,
            CauseKind.PACK_PATH,
        ),
    ),
    in_flight=(sources,),
    needs=Needs(at=packs, own=(Quantity.VOLTAGE,)),
    sees=_sees,
    proof="scatter",
    worst_by="mohm",
    same_matter=("source-resistance-rising",),
)
