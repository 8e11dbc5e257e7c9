"""The total current against the sum of the nodes."""

from __future__ import annotations

from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import RecordingFacts
from telemetry.results import Level


def balance(facts: RecordingFacts) -> list[FindingDraft]:
    """Nodes that together draw more than the total current."""
    quality, flights = facts.quality, facts.flights
    if quality.balance_a is None:
        return []
    stirred = [p.mean_a for f in flights for s in f.stirs for p in s.places if p.mean_a is not None]
    scale = max(stirred, default=3.0)
    if quality.balance_a < -max(0.15, 0.04 * scale):
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
    ),
    in_recording=(balance,),
    proof=None,
)
