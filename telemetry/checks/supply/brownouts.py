"""Supply lost: at the restart level, or a unit that restarted under load."""

from __future__ import annotations

import math

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import SLOWEST_DIP_S, Needs, behind_packs, long_enough
from telemetry.model.channels import Quantity
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    PhaseKind,
)

# So many readings that no other confirms, in one place and apart, are no false reading (heuristic).
_SEVERAL = 3


def brownouts(facts: FlightFacts) -> list[FindingDraft]:
    """One finding per place and evidence, however often it happened.

    Where losses of a place are confirmed, the others there are more of the same.
    """
    lost = [e for e in facts.flight.events if e.kind is EventKind.BROWNOUT]
    sure = {e.place for e in lost if e.evidence is Evidence.REAL}
    groups: dict[tuple[str, Evidence], list[Event]] = {}
    for e in lost:
        evidence = Evidence.REAL if e.place in sure else e.evidence
        groups.setdefault((e.place, evidence), []).append(e)
    return [
        _brownout(place, evidence, events, facts.aircraft.restart_v(place))
        for (place, evidence), events in groups.items()
    ]


def _brownout(
    place: str, evidence: Evidence, events: list[Event], restart_v: float
) -> FindingDraft:
    first, worst = events[0], min(events, key=_lowest)
    confirmed = [e for e in events if e.evidence is evidence]
    unsure = evidence is Evidence.UNKNOWN
    lasting = len(events) >= _SEVERAL or any(
        e.updates is not None and e.updates > 1 for e in events
    )
    sure = evidence is Evidence.REAL or (unsure and lasting)
    level = Level.GROUND if sure else Level.WATCH
    lows = [e.residual_v for e in events if e.residual_v is not None]
    low = f" (lowest reading {min(lows):.2f} V)" if lows else ""
    if lows and min(lows) > restart_v:
        low = ", too shortly for this log to read it"
    often = "" if len(events) == 1 else f"{len(events)} times, first "
    seen = {
        Evidence.REAL: ""
        if len(confirmed) == len(events)
        else f"; {len(confirmed)} of them confirmed",
        Evidence.TELEMETRY: f"; {first.note or 'its counter ran on'}, "
        "so this may be telemetry alone",
        Evidence.UNKNOWN: "; nothing else in the log confirms or denies it",
    }[evidence]
    return FindingDraft(
        code="brownout",
        level=level,
        place=place,
        title=f"{place}: supply lost {often}at {clock(first.start_s)} "
        f"in {_words(first.phase)}{low}{seen}",
        evidence={
            "times": len(events),
            "time_s": first.start_s,
            "lowest_v": min(lows) if lows else None,
            "evidence": str(evidence),
            "note": next((e.note for e in confirmed if e.note), first.note),
        },
        start_s=worst.start_s,
        end_s=worst.end_s,
    )


def _lowest(e: Event) -> float:
    return e.residual_v if e.residual_v is not None else math.inf


def _words(phase: PhaseKind) -> str:
    return {
        PhaseKind.FLIGHT: "flight",
        PhaseKind.STIR: "a stir",
        PhaseKind.GROUND: "ground time",
        PhaseKind.REDUNDANCY_CHECK: "a redundancy check",
    }[phase]


def _lasting(finding: Finding, flight: Flight) -> bool:
    """Whether the supply was lost in the air, or is known to have been lost.

    Where the unit's counter ran on, its telemetry alone may have failed.
    """
    aloft = any(
        e.kind is EventKind.BROWNOUT and e.place == finding.place and e.phase is PhaseKind.FLIGHT
        for e in flight.events
    )
    lost = finding.evidence.get("evidence") != Evidence.TELEMETRY
    return lost and (finding.level is Level.GROUND or aloft)


def _sees(facts: FlightFacts, place: str | None) -> str:
    return f"{facts.aircraft.restart_v(place or ''):.1f} V or less{long_enough(facts, place)}"


BROWNOUT = Check(
    code="brownout",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL, note_only=_lasting, lost=True),
    question="Was a supply lost, down to the level at which electronics restart?",
    meaning="The supply fell to the restart level, or a unit restarted under load.",
    bench="load the bus with a known load; move every plug and switch.",
    words=Words(
        (
            "the supply fell to the level at which electronics restart",
            "a connector, switch or lead opened for a moment",
            "a false reading, where no counter began again and no other unit saw it",
        ),
        "Load the bus on the bench with a known load and move every plug and switch in the path.",
        "Find out before the next flight whether the supply was lost or only its reading.",
        "Do not fly until the cause is found and put right.",
        kinds=(
            CauseKind.SUPPLY_LOST,
            CauseKind.CONTACT,
            CauseKind.FALSE_READING,
        ),
    ),
    in_flight=(brownouts,),
    needs=Needs(
        at=behind_packs,
        own=(Quantity.VOLTAGE,),
        slowest_s=SLOWEST_DIP_S,
        essential="always",
    ),
    sees=_sees,
    worst_by="lowest_v",
    worst_step=0.2,
    lower_is_worse=True,
    same_matter=("supply-dips", "contact-intermittent"),
)
