"""Servos within one log: each node's current against its counterpart, itself, and its rest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, nodes
from telemetry.model.channels import Quantity
from telemetry.results import (
    Finding,
    Flight,
    Level,
    NotJudged,
    PhaseKind,
    UnusualCurrent,
    UnusualKind,
    WatchedCurrent,
)

#: Added for so long in flight, s, and by so many amperes: as a stalled servo draws (heuristic:
#: large servos stall at 3 A and more). Where the profile gives the stall current, this part of it.
_STALL_S, _STALL_A, _STALL = 20.0, 2.0, 0.5
#: A short stall shows in so many readings, and from so many seconds on; parts of a flight are
#: compared from so many seconds on.
_BRIEF_S, _BRIEF_READINGS, _PARTS_S = 3.0, 3.0, 140.0
#: A node that answers with less than this part of what it did has lost most of its servos.
_MOSTLY_SILENT = 0.4

_LINKAGE = "a servo that works against a stop, a stiff or bent linkage, or a stalled surface"
_FIGHT = (
    "two servos of one surface that work against each other: they draw current with nothing moving"
)
_OVERHEATED = "a servo whose motor or driver is failing"
_CONSUMER = "something else at {place} was switched on (lamps, pump, gear)"
_HUNT = "a servo that hunts about its place: play or a flexible mount, a worn potentiometer"


def servo_findings(facts: FlightFacts) -> list[FindingDraft]:
    """What the node currents of one flight show, one finding a place."""
    return [_DRAFT[u.kind](facts, u) for u in facts.flight.unusual]


#: What the checks of node currents in flight need at a place.
NEEDS = Needs(at=nodes, own=(Quantity.CURRENT,), phases=(PhaseKind.FLIGHT,), counterpart=True)


def sees_more(facts: FlightFacts, place: str | None) -> str | Refusal:
    """How much more current would have shown at a place."""
    watched = _watched(facts, place)
    if watched is None:
        return _UNREAD
    brief = max(_BRIEF_S, _BRIEF_READINGS * watched.update_s)
    if not watched.against:
        return (
            f"{watched.least_a:.1f} A more for 40 s, or a quarter over all it draws else for "
            f"{brief:.0f} s"
        )
    more = f"{watched.least_a:.1f} A more for half a minute than {watched.against} says"
    if facts.aircraft.mirror(watched.place, {watched.against}) is None:
        return more
    return f"{more}, or 1.7 times the current of {watched.against} through the flight"


def sees_climb(facts: FlightFacts, place: str | None) -> str | Refusal:
    """How much of a climb through the flight would have shown at a place."""
    watched = _compared(facts, place)
    if isinstance(watched, Refusal):
        return watched
    if not watched.against:
        return "two fifths more drawn with nothing moving late in the flight than early"
    return f"a third more late in the flight than early for the same work as {watched.against}"


def sees_silence(facts: FlightFacts, place: str | None) -> str | Refusal:
    """What silence would have shown at a place."""
    watched = _compared(facts, place)
    if isinstance(watched, Refusal):
        return watched
    still = "a current that no longer moves for 20 s while others' do"
    if not watched.against:
        return f"a third less drawn with nothing moving from an instant on, or {still}"
    if facts.aircraft.mirror(watched.place, {watched.against}) is None:
        return f"half the current for the same work by {watched.against}, or {still}"
    return f"a quarter less for the same work as {watched.against}, or {still}"


def _compared(facts: FlightFacts, place: str | None) -> WatchedCurrent | Refusal:
    """What was compared with itself through a flight that was long enough for it."""
    watched = _watched(facts, place)
    if watched is None:
        return _UNREAD
    if watched.seconds < _PARTS_S:
        why = f"{watched.seconds:.0f} s of flight are too short to compare its parts"
        return Refusal(NotJudged.CALM, why, f"log a flight of {_PARTS_S:.0f} s or more")
    return watched


def _watched(facts: FlightFacts, place: str | None) -> WatchedCurrent | None:
    return next((w for w in facts.flight.watched if w.place == place), None)


_UNREAD = Refusal(
    NotJudged.CALM,
    "too little of the flight holds a current of every node",
    "log the currents of all nodes through the flight",
)


def _stall_a(facts: FlightFacts, place: str) -> float | None:
    """Stall current of the strongest servo of a place by the profile, A."""
    known = [s.stall_a for s in facts.aircraft.servos_at(place) if s.stall_a is not None]
    return max(known, default=None)


def _evidence(facts: FlightFacts, u: UnusualCurrent) -> dict[str, float | int | str | None]:
    by = None if u.now is None or u.before is None else u.now - u.before
    return {
        "time_s": u.start_s,
        "until_s": u.end_s,
        "compared_with": u.against,
        "usual_a": u.before,
        "now_a": u.now,
        "more_a": by,
        "error_a": u.error,
        "rest_before_a": u.rest_before,
        "rest_after_a": u.rest_after,
        "rest_mirror_a": u.rest_mirror,
        "stall_a": _stall_a(facts, u.place),
    }


def _draft(
    facts: FlightFacts, u: UnusualCurrent, code: str, title: str, words: Words, level: Level
) -> FindingDraft:
    servos = _servos(facts, u)
    evidence = _evidence(facts, u)
    return FindingDraft(
        code=code,
        level=level,
        place=u.place,
        title=f"{u.place}{'' if servos is None else f', servos on {servos}'}: {title}",
        evidence=evidence if u.control is None else {**evidence, "servos_on": u.control},
        words=words,
        start_s=u.start_s,
        end_s=u.end_s,
        servo=servos,
    )


def _servos(facts: FlightFacts, u: UnusualCurrent) -> str | None:
    """The servos that the sticks name, with their outputs where the profile lists them there."""
    if u.control is None:
        return None
    listed = facts.aircraft.servos_at(u.place)
    outputs = [str(s.output) for s in listed if u.control in (s.drives, s.surface)]
    if listed and not outputs:
        return None
    named = f" (output{'s' if len(outputs) > 1 else ''} {', '.join(outputs)})"
    return u.control + (named if outputs else "")


def _span(u: UnusualCurrent) -> str:
    start = clock(u.start_s)
    return f"from {start} on" if u.end_s is None else f"from {start} to {clock(u.end_s)}"


def _raised(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    more = (u.now or 0.0) - (u.before or 0.0)
    stall = _stall_a(facts, u.place)
    large = more >= (_STALL_A if stall is None else min(_STALL * stall, _STALL_A))
    level = Level.GROUND if large and (u.seconds or 0.0) >= _STALL_S else Level.WATCH
    title = f"{more:.1f} A more {_span(u)}, {u.now:.1f} A instead of {u.before:.1f} A"
    draft = _draft(facts, u, "servo-current-rising", title, RAISED_WORDS, level)
    if stall is not None and more >= _STALL * stall:
        stalled = f"a servo that stalls: the profile gives {stall:.1f} A"
        draft = replace(draft, likelier=(Possible(CauseKind.BINDING, stalled),))
    return draft


def _hunts(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    if u.seconds is None:
        title = f"its current swings by {u.now:.2f} A from reading to reading with all at rest"
    else:
        more = (u.now or 0.0) - (u.before or 0.0)
        title = f"its current swings {_span(u)} without the others, {more:.1f} A more on the mean"
    return _draft(facts, u, "servo-not-resting", title, HUNT_WORDS, Level.WATCH)


def _silent(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    part = None if u.before is None or u.now is None else max(u.now, 0.0) / u.before
    grave = part is None or part < _MOSTLY_SILENT
    what = (
        "its current no longer answers the movement of the controls"
        if part is None
        else f"draws {100 * (1 - part):.0f} % less for the same work"
    )
    draft = _draft(
        facts,
        u,
        "servo-silent",
        f"{what} from {clock(u.start_s)} on, measured against {u.against}",
        SILENT_WORDS,
        Level.GROUND if grave else Level.WATCH,
    )
    return replace(draft, evidence=_shares(draft, u))


def fell_silent(finding: Finding, _flight: Flight) -> bool:
    """Whether a servo fell silent in flight: one flight in which it moves shows a contact."""
    return finding.level is Level.GROUND


def _heats(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    by = 100 * ((u.now or 0.0) / (u.before or 1.0) - 1)
    title = f"its current climbs by {by:.0f} % through the flight, measured against {u.against}"
    draft = _draft(facts, u, "servo-heating", title, HEAT_WORDS, Level.WATCH)
    return replace(draft, evidence=_shares(draft, u))


def _more(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    title = f"draws {u.now:.1f} times the current of {u.against} through the flight"
    title += "; either of the two may be the one at fault" if u.either else ""
    draft = _draft(facts, u, "servo-current-rising", title, MORE_WORDS, Level.WATCH)
    return replace(draft, evidence=_shares(draft, u))


def _less(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    part = 100 * (1 - (u.now or 0.0))
    title = f"draws {part:.0f} % less than {u.against} through the flight, and less at rest"
    draft = _draft(facts, u, "servo-silent", title, LESS_WORDS, Level.WATCH)
    return replace(draft, evidence=_shares(draft, u))


def _shares(draft: FindingDraft, u: UnusualCurrent) -> dict[str, float | int | str | None]:
    """Evidence of a share, which has no amperes."""
    kept = {k: v for k, v in draft.evidence.items() if k not in _AMPERES}
    return {**kept, "share_before": u.before, "share_now": u.now, "error_pct": _pct(u.error)}


_AMPERES = ("usual_a", "now_a", "more_a", "error_a")


def _pct(part: float | None) -> float | None:
    return None if part is None else 100.0 * part


def _rests_high(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    title = f"{u.now:.2f} A at rest on the ground, against {u.before:.2f} A of {u.against}"
    stall = _stall_a(facts, u.place)
    more = (u.now or 0.0) - (u.before or 0.0)
    large = more >= (_STALL_A if stall is None else min(_STALL * stall, _STALL_A))
    level = Level.GROUND if large and u.rest_mirror is not None else Level.WATCH
    return _draft(facts, u, "servo-not-resting", title, REST_WORDS, level)


def _stays_up(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    title = f"{u.now:.2f} A at rest after landing, {u.before:.2f} A before take-off"
    part = facts.aircraft.node(u.place) is not None and u.place != facts.aircraft.root
    words = REST_WORDS if part else WHOLE_WORDS
    return _draft(facts, u, "servo-not-resting", title, words, Level.WATCH)


def _rests_low(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    title = f"{u.now:.2f} A at rest after landing, {u.before:.2f} A before take-off"
    return _draft(facts, u, "servo-silent", title, SILENT_WORDS, Level.WATCH)


def _steady(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    title = (
        f"{u.now:.2f} A flow all the time, at rest and in flight, against {u.before:.2f} A at rest "
        f"of {u.against}"
    )
    return _draft(facts, u, "servo-not-resting", title, STEADY_WORDS, Level.CLEAR)


_DRAFT: dict[UnusualKind, Callable[[FlightFacts, UnusualCurrent], FindingDraft]] = {
    UnusualKind.RAISED: _raised,
    UnusualKind.HUNTS: _hunts,
    UnusualKind.SILENT: _silent,
    UnusualKind.HEATS: _heats,
    UnusualKind.MORE: _more,
    UnusualKind.LESS: _less,
    UnusualKind.RESTS_HIGH: _rests_high,
    UnusualKind.STAYS_UP: _stays_up,
    UnusualKind.RESTS_LOW: _rests_low,
    UnusualKind.STEADY: _steady,
}

_ONE_BY_ONE = "Disconnect the linkages of {place} one at a time and watch its current at rest"
_GROUNDED = "Do not fly until the servo or linkage is found and put right."

RAISED_WORDS = Words(
    (_LINKAGE, _FIGHT, _OVERHEATED, "air load that one side alone had to hold", _CONSUMER),
    f"{_ONE_BY_ONE}, then while each surface moves; feel which servo is warm after landing.",
    "Find the servo or linkage and put it right before hard flying; note what was done.",
    _GROUNDED,
    kinds=(
        CauseKind.BINDING,
        CauseKind.FIGHTING,
        CauseKind.HOT_SERVO,
        CauseKind.AIR_LOAD,
        CauseKind.CONSUMER,
    ),
)
MORE_WORDS = Words(
    (
        "a servo or linkage of {place} that works harder than its mirror's",
        _FIGHT,
        "a servo of the mirror that moves nothing",
        "other servos, or other throws, than on the mirror",
        "the gain of one of the two current sensors",
    ),
    "Move both surfaces together and compare; swap the two nodes, or measure with one meter.",
    "See that every servo of both sides moves its surface freely and under load.",
    kinds=(
        CauseKind.BINDING,
        CauseKind.FIGHTING,
        CauseKind.MIRROR_AT_FAULT,
        CauseKind.OTHER_SERVOS,
        CauseKind.CURRENT_SENSOR,
    ),
)
REST_WORDS = Words(
    (_LINKAGE, _FIGHT, "a mixed trim that holds a surface out of neutral", _CONSUMER),
    f"{_ONE_BY_ONE}; where two servos drive one surface, disconnect one of them.",
    "Free the linkage, match the two servos or reset the end points before the next flight.",
    _GROUNDED,
    kinds=(CauseKind.BINDING, CauseKind.FIGHTING, CauseKind.TRIM, CauseKind.CONSUMER),
)
WHOLE_WORDS = Words(
    (
        _LINKAGE,
        _FIGHT,
        "a gear pump, lamps or another consumer that was switched on, or runs on after landing",
    ),
    "With all at rest, disconnect the servos and consumers one at a time and watch the current.",
    "Find out what draws this current before the next flight, and put it right.",
    kinds=(CauseKind.BINDING, CauseKind.FIGHTING, CauseKind.CONSUMER),
)
STEADY_WORDS = Words(
    (
        "a load by design on that node: a pump, lamps, a gyro, a computer",
        f"{_FIGHT}, always by as much",
    ),
    "Switch off what is meant to draw current there and read the current at rest again.",
    "Find out what draws this current; nothing in the log tells a load from a servo that strains.",
    kinds=(CauseKind.CONSUMER, CauseKind.FIGHTING),
)
HUNT_WORDS = Words(
    (
        _HUNT,
        _FIGHT,
        "control signals that jump: a radio or gyro that corrects without a pause",
        "the current sensor of {place}",
    ),
    "With the sticks still, listen and feel for a servo that trembles; disconnect its linkage.",
    "Find the servo that trembles before the next flight; flutter and hunting look alike.",
    _GROUNDED,
    kinds=(
        CauseKind.HUNTING,
        CauseKind.FIGHTING,
        CauseKind.RADIO_COMMANDS,
        CauseKind.CURRENT_SENSOR,
    ),
)
SILENT_WORDS = Words(
    (
        "a servo that failed, was unplugged, or lost its signal",
        "a linkage or surface that came off: its servo moves nothing",
        "the current sensor of {place}, or telemetry that held its last value",
    ),
    "Move every surface of {place} on the ground and look at each servo.",
    "See that every servo of {place} moves its surface under load before the next flight.",
    "Do not fly until every servo of {place} moves its surface under load.",
    kinds=(CauseKind.FAILED_SERVO, CauseKind.LOOSE_LINKAGE, CauseKind.CURRENT_SENSOR),
)
LESS_WORDS = Words(
    (
        "a servo that failed, was unplugged, or had no signal from the start",
        "fewer servos, other servos or other throws than on the mirror",
        "the current sensor of {place}",
    ),
    SILENT_WORDS.confirm,
    SILENT_WORDS.advice,
    kinds=(CauseKind.FAILED_SERVO, CauseKind.OTHER_SERVOS, CauseKind.CURRENT_SENSOR),
)
HEAT_WORDS = Words(
    (
        "a servo whose motor or driver fails as it warms",
        "a linkage that binds as the airframe warms or flexes in the air",
        "one-sided flying late in the flight",
    ),
    "Stir before the flight and at once after landing, and compare; feel each servo's case.",
    "Find the hot servo before the next flight; note what was done, with the place.",
    kinds=(CauseKind.HOT_SERVO, CauseKind.BINDING, CauseKind.AIR_LOAD),
)
