"""Two voltage sensors that differ at no load."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.leads.across import judge_leads
from telemetry.checks.needs import Needs, Refusal, nodes
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.results import Level, NotJudged

# Two sensors of one voltage further apart than this are told, and are watched, V; what is told is
# known to three quarters of it, what is watched wholly (heuristic).
_TOLD_V, _WATCH_V, _KNOWN = 0.1, 0.25, 0.75
# Where a place's own current is not known, its voltage is carried to no current of the whole.
_KINDS = ("branch", "apparent")


def offsets(facts: FlightFacts) -> list[FindingDraft]:
    """Two voltage sensors that differ at no load, by the resistance's own offset."""
    aircraft = facts.aircraft
    out = []
    for r in facts.flight.resistances:
        if r.kind not in _KINDS or r.parent is None or r.offset_v is None or r.offset_low_v is None:
            continue
        # A receiver often has a regulator of its own: what lies between is no offset.
        known = aircraft.node(r.place) is not None and r.place != aircraft.root
        if not known or aircraft.kind(r.place) is PlaceKind.RECEIVER:
            continue
        nearest = 0.0
        if r.offset_low_v > 0:
            nearest = r.offset_low_v
        elif r.offset_high_v is not None and r.offset_high_v < 0:
            nearest = -r.offset_high_v
        if abs(r.offset_v) >= _TOLD_V and nearest >= _KNOWN * _TOLD_V:
            out.append(
                FindingDraft(
                    code="sensor-offset",
                    level=Level.WATCH if nearest > _WATCH_V else Level.CLEAR,
                    place=r.place,
                    title=f"{r.place} reads {abs(r.offset_v):.2f} V "
                    f"{'below' if r.offset_v > 0 else 'above'} {r.parent} at no load",
                    evidence={
                        "offset_v": r.offset_v,
                        "low_v": r.offset_low_v,
                        "high_v": r.offset_high_v,
                    },
                )
            )
    return out


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    if facts.aircraft.kind(place or "") is PlaceKind.RECEIVER:
        why = "a receiver may have a regulator of its own"
        return Refusal(NotJudged.REGULATED, why, "compare both readings with one meter")
    known = (r for r in facts.flight.resistances if r.kind in _KINDS and r.place == place)
    own = next(known, None)
    if own is None or own.offset_v is None or own.offset_low_v is None:
        why = "the two voltages could not be brought to no load"
        return Refusal(NotJudged.CALM, why, "log voltage and current of both ends in a stir")
    return f"{_WATCH_V + own.offset_v - own.offset_low_v:.2f} V apart at no load"


SENSOR_OFFSET = Check(
    code="sensor-offset",
    part=CheckPart.SENSORS,
    question="Do two voltage sensors differ at no load, or otherwise than before?",
    meaning="Two voltage sensors differ at no load.",
    bench="compare both with one meter.",
    words=Words(
        ("the two voltage sensors differ", "a diode or switch lies between the two places"),
        "Compare both readings with one meter at no load.",
        "Nothing to repair; the offset is taken out of the resistances.",
        kinds=(CauseKind.UNLIKE_SENSORS, CauseKind.FORWARD_DROP),
    ),
    words_across=Words(
        (
            "a voltage sensor that drifted, or was changed",
            "a diode or switch in between that changed its forward drop",
        ),
        "Compare both readings with one meter at no load.",
        "Nothing to repair if the meter agrees with neither; note the change.",
        kinds=(CauseKind.UNLIKE_SENSORS, CauseKind.FORWARD_DROP),
    ),
    in_flight=(offsets,),
    needs=Needs(at=nodes, own=(Quantity.VOLTAGE,), parent_voltage=True, any_current=True),
    sees=_sees,
    across=(judge_leads,),
    proof="scatter",
)
