"""Falls of voltage that the load does not explain: a contact, the supply, or a pack.

The number of sags that the load explains never raises a level.
"""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import SLOWEST_DIP_S, Needs, Refusal, long_enough, packs, root, supplies
from telemetry.checks.packs.in_flight import pack_findings
from telemetry.checks.packs.paths import path_seen
from telemetry.checks.supply.droops import DROOP, droops
from telemetry.checks.supply.held import HELD_WORDS, judge_held
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.results import (
    FALLS,
    LOADED_PHASES,
    Event,
    EventKind,
    Finding,
    Flight,
    Level,
    NotJudged,
    Origin,
    PhaseKind,
)

# This many unexplained falls at one place are no accident of sampling (heuristic).
_SEVERAL = 3
# Readings of one thing at two places lie no further apart than this (heuristic).
_WITHIN_S = 2.0
# Falls of which the smaller is more than this part of the larger are alike (heuristic).
_ALIKE = 0.7
# Falls deeper than this ask for an origin, V (heuristic).
_DEEP_V = 0.5


def falls(facts: FlightFacts) -> list[FindingDraft]:
    """Falls of voltage that the load does not explain, one finding per place and origin."""
    flight, aircraft = facts.flight, facts.aircraft
    groups: dict[tuple[str, Origin], list[Event]] = {}
    lost = [e for e in flight.events if e.kind is EventKind.BROWNOUT]
    for e in flight.events:
        if (
            _of_lost_pack(e, flight, aircraft)
            or _of_empty_pack(e, flight, aircraft)
            or any(_of_brownout(e, b, aircraft) for b in lost)
        ):
            continue
        if e.kind in FALLS and e.origin in (Origin.CONTACT, Origin.SUPPLY, Origin.PACK):
            # What came from above is reported once, of the place that feeds.
            above = None if e.origin is Origin.CONTACT else aircraft.parent(e.place)
            if e.origin is Origin.SUPPLY and above and aircraft.kind(above) is PlaceKind.PACK:
                above = None  # the only pack held: it did not fall itself
            groups.setdefault((above or e.place, e.origin), []).append(e)
        elif e.kind in FALLS and e.unloaded and e.phase in LOADED_PHASES:
            groups.setdefault((e.place, Origin.UNKNOWN), []).append(e)
    packs_held = any(facts.logs(Quantity.VOLTAGE, p.name) for p in aircraft.packs)
    reported = {key: _seen_there(key[0], events, flight) for key, events in groups.items()}
    found = [
        _fall(place, origin, _apart(events), packs_held=packs_held)
        for (place, origin), events in reported.items()
        # Where no pack is seen to hold or to fall along, one fall alone says too little.
        if events and (origin is not Origin.UNKNOWN or len(_apart(events)) >= _SEVERAL)
    ]
    held = droops(facts)
    told = {d.place for d in held}
    return [*held, *(d for d in found if d.code != "regulator-droop" or d.place not in told)]


def _seen_there(place: str, events: list[Event], flight: Flight) -> list[Event]:
    """Those of the falls seen elsewhere that may be reported of the place that feeds.

    Where it fell itself, what is known of that fall decides. Where its voltage is read and did
    not fall, only their number: a few may have slipped between two of its readings.
    """
    own = [e for e in flight.events if e.place == place and e.kind in FALLS]
    if not any(m.place == place and m.lowest_v is not None for m in flight.margins):
        return events
    sure, open_ = [], []
    for e in events:
        near = [
            o for o in own if o.start_s <= e.end_s + _WITHIN_S and e.start_s <= o.end_s + _WITHIN_S
        ]
        if any(o.origin is e.origin for o in near):
            sure.append(e)
        elif not near:
            open_.append(e)
    return [*sure, *open_] if sure or len(_apart(open_)) >= _SEVERAL else []


def _of_brownout(e: Event, lost: Event, aircraft: Aircraft) -> bool:
    """Whether it is a supply lost at the place or above it, which a finding of its own tells."""
    return (
        bool(aircraft.feed_path(e.place, lost.place))
        and e.start_s <= lost.end_s + _WITHIN_S
        and lost.start_s <= e.end_s + _WITHIN_S
    )


def _apart(events: list[Event]) -> list[Event]:
    """The deepest of the events that several places saw at one time."""
    out: list[Event] = []
    for e in sorted(events, key=lambda e: e.start_s):
        if out and e.start_s < out[-1].end_s + 1.0:
            if (e.depth_v or 0.0) > (out[-1].depth_v or 0.0):
                out[-1] = e
        else:
            out.append(e)
    return out


def _of_lost_pack(e: Event, flight: Flight, aircraft: Aircraft) -> bool:
    """Whether it is how a pack left, or what came of that: reported by the finding on that pack.

    A pack switched off to check the other one is no fall at all.
    """
    if e.phase is PhaseKind.REDUNDANCY_CHECK and aircraft.kind(e.place) is PlaceKind.PACK:
        return True
    return any(
        (e.place == o.place or e.origin in (Origin.PACK, Origin.SUPPLY))
        and e.start_s <= o.end_s
        and o.start_s <= e.end_s + _WITHIN_S
        for o in flight.pack_outs
    )


def _of_empty_pack(e: Event, flight: Flight, aircraft: Aircraft) -> bool:
    """Whether it is the end of a pack's charge, told as such: no plug and no switch makes it."""
    if e.slow:
        return True
    # A node follows what feeds it: the fall is that one's.
    above = [o for o in flight.events if o.slow and aircraft.feed_path(e.place, o.place)]
    if e.origin is not Origin.CONTACT and any(
        o.start_s <= e.end_s + _WITHIN_S and e.start_s <= o.end_s + _WITHIN_S for o in above
    ):
        return True
    if e.origin is Origin.CONTACT and aircraft.node(e.place) is not None:
        return False
    if any(k.start_s <= e.end_s and e.start_s <= k.end_s for k in flight.knees):
        return True
    return _of_both_packs(e, flight)


def _of_both_packs(e: Event, flight: Flight) -> bool:
    """Whether two packs that ran empty fell alike at that time: a plug moves only its own pack."""
    empty = {k.place for k in flight.knees}
    return e.place in empty and any(
        o.place in empty - {e.place}
        and o.kind in FALLS
        and o.start_s <= e.end_s + _WITHIN_S
        and e.start_s <= o.end_s + _WITHIN_S
        and min(e.depth_v or 0.0, o.depth_v or 0.0)
        > _ALIKE * max(e.depth_v or 0.0, o.depth_v or 0.0)
        for o in flight.events
    )


def _fall(place: str, origin: Origin, events: list[Event], *, packs_held: bool) -> FindingDraft:
    worst = max(events, key=lambda e: e.depth_v or 0.0)
    shifts = [e for e in events if e.kind is EventKind.SHIFT]
    seen = sum(e.updates or 0 for e in events)
    several = len(events) >= _SEVERAL or (bool(shifts) and seen > _SEVERAL)
    level = Level.GROUND if several and origin is not Origin.UNKNOWN else Level.WATCH
    evidence: dict[str, float | int | str | None] = {
        "times": len(events),
        "deepest_v": worst.depth_v,
        "lowest_v": worst.residual_v,
        "time_s": worst.start_s,
        "explained": worst.explained,
        "explained_by": worst.explained_by,
    }
    first = clock(events[0].start_s)
    what = f"voltage dropped {worst.depth_v:.2f} V at {first}"
    if len(events) > 1:
        times = f"{len(events)} times, by up to {worst.depth_v:.2f} V"
        what = f"voltage dropped {times} (first at {first})"
    if origin is Origin.SUPPLY:
        code = "switch-step" if shifts else "regulator-droop"
        return FindingDraft(
            code=code,
            level=level,
            place=place,
            title=f"{place} {what} while the packs held"
            if packs_held
            else f"{place} {what}, and what it feeds with it; the load does not explain it",
            evidence=evidence,
            start_s=worst.start_s,
            end_s=worst.end_s,
        )
    title = f"{place} {what}; the load does not explain it"
    return FindingDraft(
        code="sag-unexplained",
        level=level,
        place=place,
        title=title,
        evidence=evidence,
        start_s=worst.start_s,
        end_s=worst.end_s,
    )


def _opened_aloft(finding: Finding, flight: Flight) -> bool:
    """Whether a contact opened in flight, as surely as grounds."""
    return finding.level is Level.GROUND and any(
        e.kind in FALLS
        and e.origin is Origin.CONTACT
        and e.place == finding.place
        and e.phase is PhaseKind.FLIGHT
        for e in flight.events
    )


def _unlaid(flight: Flight, aircraft: Aircraft) -> list[Event]:
    """Deep falls under load that could be laid to nothing, and that no finding tells."""
    return [
        e
        for e in flight.events
        if e.kind in FALLS
        and e.origin is Origin.UNKNOWN
        and e.phase in LOADED_PHASES
        and (e.depth_v or 0.0) > _DEEP_V
        and not e.unloaded
        and not _told(e, flight, aircraft)
    ]


def _told(e: Event, flight: Flight, aircraft: Aircraft) -> bool:
    """Whether a lost supply, a lost or empty pack, or a regulator in its limit makes it."""
    lost = (b for b in flight.events if b.kind is EventKind.BROWNOUT)
    drooped = (
        aircraft.feed_path(e.place, d.place) and d.start_s <= e.end_s and e.start_s <= d.end_s
        for d in flight.droops
    )
    return (
        any(_of_brownout(e, b, aircraft) for b in lost)
        or any(drooped)
        or _of_lost_pack(e, flight, aircraft)
        or _of_empty_pack(e, flight, aircraft)
    )


def _sees_falls(facts: FlightFacts, place: str | None) -> str | Refusal:
    unlaid = [e for f in facts.recording.flights for e in _unlaid(f, facts.aircraft)]
    if len(unlaid) >= _SEVERAL and any(e.place == place for e in unlaid):
        why = (
            f"{len(unlaid)} voltage drops could not be attributed to load or fault: "
            "the current is missing or reported too slowly"
        )
        return Refusal(NotJudged.TOO_SLOW, why, f"log the current of {place} and faster")
    limits = facts.limits
    least = f"{limits.sag_pct:g} % and {limits.sag_v:g} V"
    return f"a fall of {least} that its load does not explain,{long_enough(facts, place)}"


def _sees_droop(facts: FlightFacts, place: str | None) -> str | Refusal:
    if not any(facts.logs(Quantity.VOLTAGE, p.name) for p in facts.aircraft.packs):
        why = "no voltage of a pack is logged to hold the bus against"
        return Refusal(NotJudged.NO_COUNTERPART, why, "log the voltage of each pack")
    return _sees_falls(facts, place)


SAG_UNEXPLAINED = Check(
    code="sag-unexplained",
    part=CheckPart.LEADS,
    closing=Closing(flights=FITFUL, note_only=_opened_aloft),
    question="Did a voltage fall further than its load explains?",
    meaning="The voltage fell, and the load cannot explain the fall.",
    bench="with the system on and a steady load, move that plug and lead and watch the voltage.",
    words=Words(
        (
            "a contact that opens for moments: plug, switch, broken strands",
            "a current peak that fell between two readings of the current sensor",
            "a false reading of the voltage sensor",
        ),
        "With the system on and a steady load, move the plug and lead of {place} and "
        "watch the voltage.",
        "Clean or replace the plug and lead of {place}, then repeat the stir before the "
        "next flight.",
        kinds=(
            CauseKind.CONTACT,
            CauseKind.MISSED_PEAK,
            CauseKind.FALSE_READING,
        ),
    ),
    in_flight=(falls,),
    needs=Needs(
        at=supplies,
        own=(Quantity.VOLTAGE,),
        any_current=True,
        slowest_s=SLOWEST_DIP_S,
        essential="always",
    ),
    sees=_sees_falls,
    worst_by="deepest_v",
    worst_step=0.2,
    same_matter=("supply-dips", "contact-intermittent"),
)

REGULATOR_DROOP = Check(
    code="regulator-droop",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL),
    question="Did the bus voltage fall, or drift, while the packs held theirs?",
    meaning="The bus voltage falls, or drifts from flight to flight, while the packs hold theirs.",
    bench="load the bus with full, sound packs; feel the regulator, move switch and plugs.",
    words=DROOP,
    words_across=HELD_WORDS,
    in_flight=(falls,),
    across=(judge_held,),
    needs=Needs(at=root, own=(Quantity.VOLTAGE,), any_current=True, slowest_s=SLOWEST_DIP_S),
    sees=_sees_droop,
    worst_by="deepest_v",
    worst_step=0.2,
    same_matter=("supply-dips",),
)

SWITCH_STEP = Check(
    code="switch-step",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL),
    question="Did the voltage drop from pack to bus step, or is it unlike the other pack's?",
    meaning="The voltage drop from pack to bus stepped.",
    bench="move switch and plugs under a steady load and watch that drop.",
    words=Words(
        (
            "a switch, diode or plug between packs and bus changed its resistance",
            "the packs' currents are read by unlike sensors",
        ),
        "Move the switch and plugs under a steady load and watch the drop from pack to bus.",
        "Replace the switch or plug that shows it.",
        kinds=(
            CauseKind.SUPPLY_PATH,
            CauseKind.UNLIKE_SENSORS,
        ),
    ),
    in_flight=(falls, pack_findings),
    needs=Needs(at=packs, own=(Quantity.VOLTAGE,), any_current=True),
    sees=path_seen,
    proof="path",
    worst_by="deepest_v",
    worst_step=0.2,
    same_matter=("supply-dips",),
)
