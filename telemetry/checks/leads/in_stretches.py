"""A lead or contact whose resistance changed within one flight."""

from __future__ import annotations

from telemetry.aircraft import Limits
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, nodes, without_resistance
from telemetry.model.channels import Quantity
from telemetry.results import LeadChange, Level

#: Standard errors: the likeliest of some thousand stretches is looked at; more for one that passed,
#: of which there are far more than of those to the end, and at ground.
_ERRORS, _PASSED, _SURE = 6.0, 8.0, 9.0
#: What instants of voltage and current read apart may do to a resistance, as a part of it
#: (heuristic: it differs between hard and calm flying).
_DOUBT = 0.10
#: The change has to move the voltage by this part of its step, and by so much, V: of two voltages
#: that stand still each is anywhere within its step.
_OF_STEP, _LEAST_V = 1.0, 0.005
#: Shortest stretch, s; from so long on a change is lasting.
_LEAST_S, _LASTING_S = 20.0, 60.0

NEEDS = Needs(at=nodes, own=(Quantity.VOLTAGE, Quantity.CURRENT), parent_voltage=True)


def changed_leads(facts: FlightFacts) -> list[FindingDraft]:
    """Leads that took more per ampere from an instant on, or for a stretch of the flight."""
    return [_draft(c, facts.limits) for c in facts.flight.lead_changes if is_changed(c, facts)]


def is_changed(c: LeadChange, facts: FlightFacts) -> bool:
    """Whether the likeliest change is more than chance, and than what a sound lead does."""
    errors = _ERRORS if c.end_s is None else _PASSED
    # A lead has no less than none: what lies below is of the sensors.
    change_mohm = c.usual_mohm + c.change_mohm - max(c.usual_mohm, 0.0)
    moved_v = change_mohm * c.rms_a / 1000
    return (
        c.confirmed
        and change_mohm >= max(least_mohm(c, facts.limits), errors * c.error_mohm)
        and moved_v >= max(_OF_STEP * c.step_v, _LEAST_V)
        and c.seconds >= _LEAST_S
        and c.usual_mohm > -_ERRORS * c.error_mohm
    )


def least_mohm(c: LeadChange, limits: Limits) -> float:
    """The least change of a lead that counts, mOhm."""
    usual = max(c.usual_mohm, 0.0)
    return max(limits.branch_watch_mohm, limits.branch_watch_pct / 100 * usual) + _DOUBT * usual


def sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    """How much a change would have to be to show."""
    c = next((c for c in facts.flight.lead_changes if c.place == place), None)
    if c is None:
        r = next((r for r in facts.flight.resistances if r.place == place and r.parent), None)
        return without_resistance(facts, r, place or "")
    least = max(least_mohm(c, facts.limits), _ERRORS * c.error_mohm)
    return f"{least:.0f} mOhm more for a stretch of the flight"


def _draft(c: LeadChange, limits: Limits) -> FindingDraft:
    lasting = c.end_s is None
    now = c.usual_mohm + c.change_mohm
    large = c.change_mohm >= max(
        limits.branch_ground_mohm, limits.branch_ground_pct / 100 * max(c.usual_mohm, 0.0)
    )
    sure = c.change_mohm >= _SURE * c.error_mohm and c.seconds >= _LASTING_S
    until = "" if c.end_s is None else f" until {clock(c.end_s)}"
    when = f"from the start{until}" if c.from_start else f"from {clock(c.start_s)} on{until}"
    if not c.from_start and c.end_s is not None:
        when = f"from {clock(c.start_s)}{until}"
    more = f"{c.change_mohm:.0f} mOhm more from {c.parent} {when}"
    before = f"({now:.0f} instead of {c.usual_mohm:.0f} mOhm)"
    if c.usual_mohm <= 0.0:
        # A lead has no less than none: what lies below is of the sensors.
        more = f"{now:.0f} mOhm from {c.parent} {when}"
        before = "(otherwise too little to be measured)"
    return FindingDraft(
        code="branch-resistance-rising" if lasting else "contact-intermittent",
        level=Level.GROUND if large and sure else Level.WATCH,
        place=c.place,
        title=f"{c.place}: {more} {before}",
        evidence={
            "change_mohm": min(c.change_mohm, now),
            "error_mohm": c.error_mohm,
            "usual_mohm": c.usual_mohm if c.usual_mohm > 0.0 else None,
            "now_mohm": now,
            "time_s": c.start_s,
            "until_s": c.end_s,
            "lasted_s": c.seconds,
        },
        start_s=c.start_s,
        end_s=c.end_s,
    )


CHANGED_WORDS = Words(
    (
        "a contact of the lead of {place} that loosened or opened in the air: plug, "
        "solder joint, crimp, or "
        "broken strands; it may grow hot",
        "a voltage or current sensor there that drifted",
    ),
    "Unplug and look at every contact of the lead of {place}; measure its drop at a "
    "known load while you "
    "move plug and lead.",
    "Clean or replace the plug and lead of {place} before the next flight; note what was done.",
    "Do not fly until the plug and lead of {place} are replaced or proved sound under load.",
    kinds=(CauseKind.CONTACT, CauseKind.UNLIKE_SENSORS),
)
