"""The total current against the sum of the nodes."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.checks.needs import Needs, Refusal, whole
from telemetry.results import Level, NotJudged


def balance(facts: RecordingFacts) -> list[FindingDraft]:
    """Nodes that together draw more than the total current."""
    quality = facts.quality
    if quality.balance_a is None:
        return []
    if quality.balance_a < -_least_a(facts):
        return [
            FindingDraft(
                code="current-balance",
                level=Level.WATCH,
                place=None,
                title=f"the nodes together draw {-quality.balance_a:.2f} A more than the total",
                evidence={"balance_a": quality.balance_a, "spread_a": quality.balance_spread_a},
            )
        ]
    return []


def _least_a(facts: RecordingFacts) -> float:
    """What the nodes have to draw above the total to count, A (heuristic)."""
    stirs = [s for f in facts.flights for s in f.stirs]
    drawn = [p.mean_a for s in stirs for p in s.places if p.mean_a is not None]
    return max(0.15, 0.04 * max(drawn, default=3.0))


def _sees(facts: FlightFacts, _place: str | None) -> str | Refusal:
    if facts.quality.balance_a is None:
        why = "it takes the current of the whole and of all nodes"
        return Refusal(NotJudged.UNLOGGED, why, "log the current of the bus and of every node")
    return f"{_least_a(facts.recording):.2f} A more in the nodes than in the whole"


CURRENT_BALANCE = Check(
    code="current-balance",
    part=CheckPart.SENSORS,
    question="Do the nodes together draw more than the total?",
    meaning="The total current and the sum of the nodes do not agree.",
    bench="compare them at a known load.",
    words=Words(
        ("a current sensor is off in gain or offset", "a node's current is counted twice"),
        "Compare total and nodes at a known load on the bench.",
        "Trust ratios between flights more than absolute currents until it is settled.",
        kinds=(CauseKind.CURRENT_SENSOR, CauseKind.COUNTED_TWICE),
    ),
    in_recording=(balance,),
    needs=Needs(at=whole, phases=()),
    sees=_sees,
    proof=None,
)
