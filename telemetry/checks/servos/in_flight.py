"""Servos within one log: each node's current against its counterpart, itself, and its rest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.servos.naming import (
    Suspect,
    named,
    of_one_log,
    separating_stir,
    told,
)
from telemetry.checks.servos.words import (
    HEAT_WORDS,
    HUNT_WORDS,
    LESS_WORDS,
    MORE_WORDS,
    RAISED_WORDS,
    REST_WORDS,
    SILENT_WORDS,
    STEADY_WORDS,
    WHOLE_WORDS,
)
from telemetry.results import (
    Finding,
    Flight,
    Level,
    UnusualCurrent,
    UnusualKind,
)

#: Added for so long in flight, s, and by so many amperes: as a stalled servo draws (heuristic:
#: large servos stall at 3 A and more). Where the profile gives the stall current, this part of it.
_STALL_S, _STALL_A, _STALL = 20.0, 2.0, 0.5
#: What a stir of one control after the other tells: how much each draws while it moves.
_ANSWERS = frozenset(
    {
        *(UnusualKind.SILENT, UnusualKind.HEATS, UnusualKind.MORE, UnusualKind.LESS),
        UnusualKind.RAISED,
    }
)
#: A node that answers with less than this part of what it did has lost most of its servos.
_MOSTLY_SILENT = 0.4


def servo_findings(facts: FlightFacts) -> list[FindingDraft]:
    """What the node currents of one flight show, one finding a place."""
    return [_DRAFT[u.kind](facts, u) for u in facts.flight.unusual]


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
    likely = _suspects(facts, u)
    servo = named(likely)
    update_s = next((w.update_s for w in facts.flight.watched if w.place == u.place), None)
    return FindingDraft(
        code=code,
        level=level,
        place=u.place,
        title=f"{u.place}{'' if servo is None else f', servos on {servo.name}'}: {title}",
        evidence={**_evidence(facts, u), **told(likely)},
        bench=separating_stir(likely, update_s) if u.kind in _ANSWERS else "",
        words=words,
        start_s=u.start_s,
        end_s=u.end_s,
        servo=None if servo is None else servo.name,
    )


def _suspects(facts: FlightFacts, u: UnusualCurrent) -> tuple[Suspect, ...]:
    """Whose servos it may be; none of the whole aircraft, or where all of a place are off."""
    node = facts.aircraft.node(u.place)
    if node is None or (_all_of_it(u) and not u.controls):
        return ()
    servos = facts.aircraft.servos_at(u.place)
    unlisted = max((node.servos or 0) - sum(s.count for s in servos), 0)
    return of_one_log(servos, dict(u.controls), unlisted)


def _all_of_it(u: UnusualCurrent) -> bool:
    """Whether the place answers nothing any more."""
    return u.kind is UnusualKind.SILENT and u.now is None


def _span(u: UnusualCurrent) -> str:
    start = clock(u.start_s)
    return f"from {start} on" if u.end_s is None else f"from {start} to {clock(u.end_s)}"


def _raised(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    more, stall = (u.now or 0.0) - (u.before or 0.0), _stall_a(facts, u.place)
    level = _level_of_added(facts, u)
    title = f"{more:.1f} A more {_span(u)}, {u.now:.1f} A instead of {u.before:.1f} A"
    draft = _draft(facts, u, "servo-current-rising", title, RAISED_WORDS, level)
    if stall is not None and more >= _STALL * stall:
        stalled = f"a servo that stalls: the profile gives {stall:.1f} A"
        draft = replace(draft, likelier=(Possible(CauseKind.BINDING, stalled),))
    return draft


def _level_of_added(facts: FlightFacts, u: UnusualCurrent) -> Level:
    """How grave it is that so many amperes were added for so long."""
    stall = _stall_a(facts, u.place)
    least = _STALL_A if stall is None else min(_STALL * stall, _STALL_A)
    large = (u.now or 0.0) - (u.before or 0.0) >= least
    return Level.GROUND if large and (u.seconds or 0.0) >= _STALL_S else Level.WATCH


def _hunts(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    if u.seconds is None:
        title = f"its current swings by {u.now:.2f} A from reading to reading with all at rest"
    else:
        more = (u.now or 0.0) - (u.before or 0.0)
        title = f"its current swings {_span(u)} without the others, {more:.1f} A more on the mean"
    return _draft(facts, u, "servo-not-resting", title, HUNT_WORDS, _level_of_added(facts, u))


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
    draft = _draft(facts, u, "servo-current-rising", title + _or(u), MORE_WORDS, Level.WATCH)
    return replace(draft, evidence={**_shares(draft, u), **_or_place(u)})


def _less(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    part = 100 * (1 - (u.now or 0.0))
    title = f"draws {part:.0f} % less than {u.against} through the flight"
    own, other = u.rest_before, u.rest_mirror
    title += ", and less at rest" if own is not None and other is not None and own < other else ""
    draft = _draft(facts, u, "servo-silent", title + _or(u), LESS_WORDS, Level.WATCH)
    return replace(draft, evidence={**_shares(draft, u), **_or_place(u)})


def _or(u: UnusualCurrent) -> str:
    return "; either of the two may be the one at fault" if u.either else ""


def _or_place(u: UnusualCurrent) -> dict[str, str]:
    return {"or_place": u.against} if u.either else {}


def _shares(draft: FindingDraft, u: UnusualCurrent) -> dict[str, float | int | str | None]:
    """Evidence of a share, which has no amperes."""
    kept = {k: v for k, v in draft.evidence.items() if k not in _AMPERES}
    return {**kept, "share_before": u.before, "share_now": u.now, "error_pct": _pct(u.error)}


_AMPERES = ("usual_a", "now_a", "more_a", "error_a")


def _pct(part: float | None) -> float | None:
    return None if part is None else 100.0 * part


def _rests_high(facts: FlightFacts, u: UnusualCurrent) -> FindingDraft:
    where = "all the time, at rest and in flight" if u.steady else "at rest on the ground"
    title = f"{u.now:.2f} A {where}, against {u.before:.2f} A of {u.against}"
    stall = _stall_a(facts, u.place)
    more = (u.now or 0.0) - (u.before or 0.0)
    large = more >= (_STALL_A if stall is None else min(_STALL * stall, _STALL_A))
    # Lamps or a pump on one side look the same: what may be one is watched.
    grave = large and u.rest_mirror is not None and not u.steady
    level = Level.GROUND if grave else Level.WATCH
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
