"""What one log shows for or against a cause: each sign present, absent, or not to be told."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from telemetry.aircraft import Limits
from telemetry.checks.draft import FindingDraft
from telemetry.checks.facts import FlightFacts
from telemetry.model.channels import Quantity
from telemetry.results import (
    FALLS,
    Event,
    EventKind,
    Evidence,
    LowSupply,
    Origin,
    PhaseKind,
    Resistance,
)

# Events of one moment lie no further apart than this, s (heuristic).
_WITHIN_S = 1.0
_SEVERAL = 3
# A current this many times slower than its voltage can hide a peak (heuristic).
_SLOWER = 2.0
# Near the highest current, and far from it (heuristic).
_NEAR, _FAR = 0.7, 0.4
# Low nearly all of the time under load, or only for some of it (heuristic).
_ALWAYS, _SOMETIMES = 0.9, 0.3
# Currents that are alike (heuristic: sensors of 1 to 2 %, and unlike servos).
_ALIKE_A = 0.15
# A lead that did not change, by part of its resistance and mOhm (heuristic).
_STEADY, _STEADY_MOHM = 0.15, 5.0
# A unit that reads so little of its own supply and reports on reads wrongly, V (heuristic).
_NO_SUPPLY_V = 1.0


class Sign(NamedTuple):
    """Whether it is there, and what was seen, in words."""

    present: bool
    words: str


Look = Callable[[FlightFacts, FindingDraft], Sign | None]


def alone(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether no other place fell at that moment, those below it left out."""
    aircraft, place = facts.aircraft, draft.place or ""
    others = [
        m.place
        for m in facts.flight.margins
        if m.lowest_v is not None and m.place != place and not aircraft.feed_path(m.place, place)
    ]
    if draft.start_s is None or not others:
        return None
    fell = [p for p in others if any(e.place == p for e in _at_that_moment(facts, draft))]
    if fell:
        return Sign(False, f"{', '.join(fell)} fell at the same moment")
    return Sign(True, f"no other place fell then ({', '.join(others)})")


def packs_fell(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a pack fell at that moment as well."""
    packs = [p.name for p in facts.aircraft.packs if facts.logs(Quantity.VOLTAGE, p.name)]
    if draft.start_s is None or not packs or draft.place in packs:
        return None
    fell = [p for p in packs if any(e.place == p for e in _at_that_moment(facts, draft))]
    if fell:
        return Sign(True, f"{', '.join(fell)} fell at the same moment")
    return Sign(False, f"{', '.join(packs)} held their voltage then")


def repeated(_facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it happened several times."""
    times = draft.evidence.get("times")
    if not isinstance(times, int):
        return None
    return Sign(times >= _SEVERAL, "it was seen once" if times == 1 else f"it came {times} times")


def several_readings(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether more than one reading in a row shows it."""
    event = _own_event(facts, draft)
    if event is None or event.updates is None:
        return None
    if event.updates > 1:
        return Sign(True, f"{event.updates} readings in a row show it")
    return Sign(False, "a single reading shows it")


def slow_current(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the current comes so much slower than the voltage that a peak can hide."""
    volts_s = facts.voltage_step_s(draft.place or "")
    found = [
        c.update_s
        for c in facts.recording.columns
        if c.used and c.quantity == Quantity.CURRENT and c.place == draft.place
    ]
    amps_s = next((s for s in found if s is not None), None)
    if not found:
        return Sign(True, f"{draft.place} has no current of its own in the log")
    if volts_s is None or amps_s is None:
        return None
    words = f"its current comes every {amps_s:.2g} s, its voltage every {volts_s:.2g} s"
    return Sign(amps_s >= _SLOWER * volts_s, words)


def loaded(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it came near the highest current of the flight."""
    event = _own_event(facts, draft)
    peaks = [x.peak_a for x in facts.flight.loads if x.place == draft.place and x.peak_a]
    if event is None or event.peak_a is None or not peaks:
        return None
    part = event.peak_a / peaks[0]
    words = f"it came at {event.peak_a:.1f} A; the highest current was {peaks[0]:.1f} A"
    return Sign(part >= _NEAR, words) if part >= _NEAR or part <= _FAR else None


def low_always(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it lay below its level nearly all the time under load."""
    low = _low_at(facts, draft)
    if low is None or low.loaded_s <= 0:
        return None
    part = low.below_s / low.loaded_s
    words = f"it was below its level for {100 * part:.0f} % of the time under load"
    return Sign(part >= _ALWAYS, words) if part >= _ALWAYS or part <= _SOMETIMES else None


def late(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it came in the last third of the flight; absent in the first."""
    flown = [p for p in facts.flight.phases if p.kind is PhaseKind.FLIGHT]
    if draft.start_s is None or not flown:
        return None
    begin, end = flown[0].start_s, flown[-1].end_s
    part = (draft.start_s - begin) / (end - begin)
    if 1 / 3 < part < 2 / 3:
        return None
    return Sign(part >= 2 / 3, f"it came {'late' if part >= 2 / 3 else 'early'} in the flight")


def sensor_reads_low(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its current is lower than its mirror's by as much as its resistance is higher."""
    place = draft.place or ""
    mirror = facts.aircraft.mirror(place) or ""
    own, other = (_branch(facts, p) for p in (place, mirror))
    ratios = [
        a / b
        for stir in facts.flight.stirs
        for means in [{p.place: p.mean_a for p in stir.places}]
        if (a := means.get(place)) and (b := means.get(mirror))
    ]
    if own is None or other is None or not own.mohm or not other.mohm or not ratios:
        return None
    ratio, times = ratios[0], own.mohm / other.mohm
    words = f"its stir current was {ratio:.2f} times its mirror's, its resistance {times:.1f} times"
    if abs(ratio * times - 1) < 2 * _ALIKE_A and ratio < 1 - _ALIKE_A:
        return Sign(True, words)
    return Sign(False, words) if ratio * times > 1 + 2 * _ALIKE_A else None


def mirror_lower(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the same lead on the other side has clearly less."""
    own = _branch(facts, draft.place or "")
    other = _branch(facts, facts.aircraft.mirror(draft.place or "") or "")
    if own is None or other is None or own.mohm is None or other.mohm is None:
        return None
    if (own.low_mohm or 0.0) <= (other.high_mohm or other.mohm):
        return None
    return Sign(True, f"the lead of {other.place}, its mirror, has {other.mohm:.0f} mOhm")


def steady(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its resistance stayed what it was: that of copper does, a worn contact's wanders."""
    change = next((c for c in facts.flight.lead_changes if c.place == draft.place), None)
    if change is None or draft.start_s is not None:
        return None
    least = max(_STEADY_MOHM, _STEADY * abs(change.usual_mohm))
    if abs(change.change_mohm) + 2 * change.error_mohm > least:
        return None
    return Sign(True, f"it stayed within {least:.0f} mOhm through the flight")


def wire_known(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the profile tells its lead."""
    own = _branch(facts, draft.place or "")
    if own is None or own.expected_mohm is None:
        return None
    return Sign(True, f"by the wire table its lead has {own.expected_mohm:.0f} mOhm")


def still_reports(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether one reading alone shows hardly any supply, of a unit that reports on."""
    event = _own_event(facts, draft)
    if event is None or event.residual_v is None or (event.updates or 0) > 1:
        return None
    if event.residual_v > _NO_SUPPLY_V or event.evidence is Evidence.REAL:
        return None
    return Sign(True, f"{event.residual_v:.1f} V was read by a unit that reported on")


def on_the_ground(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it happened on the ground, where a hand can be the cause."""
    aloft = in_flight(facts, draft)
    return None if aloft is None else Sign(not aloft.present, aloft.words)


def ran_over(_facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a counter came to the end of its numbers and ran on."""
    if not draft.evidence.get("ran_over"):
        return None
    return Sign(True, "it stood at the end of its numbers")


def grew(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it grew within the flight."""
    steps = [s for s in facts.flight.path_steps if s.place == draft.place]
    rise = draft.evidence.get("rise_mohm")
    if not steps and not isinstance(rise, int | float):
        return None
    return Sign(True, "it grew within the flight")


def confirmed(_facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a counter or a second unit confirms that a supply was lost."""
    evidence = draft.evidence.get("evidence")
    if evidence == "real":
        return Sign(True, "a counter that began again, or a second unit, confirms it")
    if evidence == "telemetry":
        return Sign(False, "its counter, or what it feeds, went on")
    return None


def in_flight(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it happened in the air."""
    at_s = draft.evidence.get("time_s")
    if not isinstance(at_s, int | float):
        return None
    for p in facts.flight.phases:
        if p.start_s <= at_s < p.end_s:
            aloft = p.kind is PhaseKind.FLIGHT
            return Sign(aloft, "it happened in flight" if aloft else "it happened on the ground")
    return None


def of_a_clock(_facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether an uptime began again; of a counter that a hand can set back it says nothing."""
    if not draft.evidence.get("of_a_clock"):
        return None
    return Sign(True, "it is an uptime, which no hand sets back")


def level_told(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the profile sets the level it is held against: restart level or lowest supply.

    A default speaks for nothing: no finding asks to set the level lower.
    """
    key = "comfort_v" if draft.code == "undervoltage" else "restart_v"
    node = facts.aircraft.node(draft.place or "")
    own = None if node is None else getattr(node, key)
    if own is None and getattr(facts.limits, key) == getattr(Limits(), key):
        return None
    return Sign(True, "the level it is held against is told by the profile")


def fell_unexplained(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its voltage fell for moments by a contact as well."""
    times = sum(
        e.place == draft.place and e.kind in FALLS and e.origin is Origin.CONTACT
        for e in facts.flight.events
    )
    if not times or draft.start_s is not None:
        return None
    return Sign(True, f"its voltage also fell {times} times for moments without load for it")


def _at_that_moment(facts: FlightFacts, draft: FindingDraft) -> list[Event]:
    start, end = draft.start_s or 0.0, draft.end_s or draft.start_s or 0.0
    kinds = (*FALLS, EventKind.UNDERVOLTAGE, EventKind.BROWNOUT)
    return [
        e
        for e in facts.flight.events
        if e.kind in kinds and e.start_s <= end + _WITHIN_S and start <= e.end_s + _WITHIN_S
    ]


def _own_event(facts: FlightFacts, draft: FindingDraft) -> Event | None:
    if draft.start_s is None:
        return None
    own = [e for e in _at_that_moment(facts, draft) if e.place == draft.place]
    return max(own, key=lambda e: e.depth_v or 0.0, default=None)


def _low_at(facts: FlightFacts, draft: FindingDraft) -> LowSupply | None:
    return next((x for x in facts.flight.low if x.place == draft.place), None)


def _branch(facts: FlightFacts, place: str) -> Resistance | None:
    found = (r for r in facts.flight.resistances if r.kind == "branch" and r.place == place)
    return next(found, None)
