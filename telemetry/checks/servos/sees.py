"""What the checks of node currents in one log need, and what they would have seen at a place."""

from __future__ import annotations

from telemetry.checks.draft import clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, nodes
from telemetry.model.channels import Quantity
from telemetry.results import NotJudged, PhaseKind, WatchedCurrent

#: A short stall shows in so many readings, and from so many seconds on; parts of a flight are
#: compared from so many seconds on.
_BRIEF_S, _BRIEF_READINGS, _PARTS_S = 3.0, 3.0, 140.0
# What a place is held against of which no mirror is known.
_BESIDE = ", beside the other nodes: no mirror of it is known"

#: What the checks of node currents in flight need at a place.
NEEDS = Needs(at=nodes, own=(Quantity.CURRENT,), phases=(PhaseKind.FLIGHT,), counterpart=True)


def sees_more(facts: FlightFacts, place: str | None) -> str | Refusal:
    """How much more current would have shown at a place."""
    watched = _watched(facts, place)
    if watched is None:
        return _unread(facts, place)
    brief = max(_BRIEF_S, _BRIEF_READINGS * watched.update_s)
    if not watched.against:
        return (
            f"{watched.least_a:.1f} A more for 40 s, or a quarter over all it draws else for "
            f"{brief:.0f} s{_beside(facts)}"
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
        late = "two fifths more drawn with nothing moving late in the flight than early"
        return late + _beside(facts)
    return f"a third more late in the flight than early for the same work as {watched.against}"


def sees_silence(facts: FlightFacts, place: str | None) -> str | Refusal:
    """What silence would have shown at a place."""
    watched = _compared(facts, place)
    if isinstance(watched, Refusal):
        return watched
    still = "a current that no longer moves for 20 s while others' do"
    if not watched.against:
        return (
            f"a third less drawn with nothing moving from an instant on, or {still}{_beside(facts)}"
        )
    if facts.aircraft.mirror(watched.place, {watched.against}) is None:
        return f"half the current for the same work by {watched.against}, or {still}"
    return f"a quarter less for the same work as {watched.against}, or {still}"


def _compared(facts: FlightFacts, place: str | None) -> WatchedCurrent | Refusal:
    """What was compared with itself through a flight that was long enough for it."""
    watched = _watched(facts, place)
    if watched is None:
        return _unread(facts, place)
    if watched.seconds < _PARTS_S:
        why = f"{watched.seconds:.0f} s of flight are too short to compare its parts"
        return Refusal(NotJudged.CALM, why, f"log a flight of {_PARTS_S:.0f} s or more")
    return watched


def _beside(facts: FlightFacts) -> str:
    """What a place is held against of which no mirror is known; "" where it is the only one."""
    return _BESIDE if len(facts.flight.watched) > 1 else ""


def _watched(facts: FlightFacts, place: str | None) -> WatchedCurrent | None:
    return next((w for w in facts.flight.watched if w.place == place), None)


def stood_still(facts: FlightFacts, place: str | None) -> Refusal | None:
    """Why a place cannot be judged whose reading stood still; None where it did not."""
    found = next((f for f in facts.flight.frozen if f.place == place), None)
    if found is None:
        return None
    why = (
        f"its reading stood still at {found.value_a:.2f} A from {clock(found.start_s)} to "
        f"{clock(found.end_s)} while the others moved: it tells nothing of its servos"
    )
    return Refusal(NotJudged.UNCERTAIN, why, "look at that sensor, its plug and its telemetry")


def _unread(facts: FlightFacts, place: str | None) -> Refusal:
    return stood_still(facts, place) or Refusal(
        NotJudged.CALM,
        "too little of the flight holds a current of every node",
        "log the currents of all nodes through the flight",
    )
