"""What one log shows for or against a fault of servos: how a node's current is unlike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from telemetry.checks.causes.signs import Sign
from telemetry.checks.draft import FindingDraft, clock
from telemetry.checks.facts import FlightFacts
from telemetry.model.channels import Quantity
from telemetry.results import PhaseKind, Resistance, StirPlace, UnusualCurrent, UnusualKind

# A current that came back to its rest, or stayed: part of what was added (heuristic).
_BACK, _STAYS = 0.25, 0.5
# As a large servo stalls, A; part of the stall current that the profile gives (heuristic).
_LARGE_A, _STALL = 2.0, 0.5
# Currents of a pair that are alike, and clearly more, as ratios (heuristic: unlike servos and 1 to
# 2 % of sensors).
_ALIKE, _MORE = 1.3, 1.5
# No current sensor is off by this factor (heuristic).
_NO_SENSOR = 1.6
# Resistances of a pair that agree, as a part of each other (heuristic).
_AGREE = 0.25
# A change of a current at rest that its sensor shows, in steps (heuristic).
_STEPS = 2.0
# A rest that fell with a servo (heuristic), and one that rose with a hot one.
_FELL, _ROSE = 0.85, 1.3


def swings(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it swings from reading to reading with nothing moving."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.HUNTS:
        return None
    return Sign(True, "the current swings from reading to reading, and nothing moves")


def climbs(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it climbs through the flight rather than in one step."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.HEATS:
        return None
    return Sign(True, "the current climbs through the flight, not in one step")


def came_in_flight(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it began in the air; absent where it was there from the start."""
    u = _unusual(facts, draft)
    flown = [p.start_s for p in facts.flight.phases if p.kind is PhaseKind.FLIGHT]
    if u is None or not flown:
        return None
    if u.kind is UnusualKind.RESTS_HIGH:
        return Sign(False, "it was there from the start")
    if u.kind is UnusualKind.STAYS_UP:
        return Sign(True, "before take-off it was not there")
    if u.kind in (UnusualKind.HEATS, UnusualKind.MORE) or u.start_s < flown[0]:
        return None
    return Sign(True, f"it began at {clock(u.start_s)}, in flight")


def let_go(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether what was added was gone again before the landing."""
    u = _unusual(facts, draft)
    if u is None or u.end_s is None or u.kind is not UnusualKind.RAISED:
        return None
    return Sign(True, f"it was gone again at {clock(u.end_s)}")


def stayed_at_rest(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether what was added is still there at rest after landing, with nothing moving."""
    u = _unusual(facts, draft)
    if u is None or u.rest_before is None or u.rest_after is None or u.end_s is not None:
        return None
    if u.kind is not UnusualKind.RAISED or u.now is None or u.before is None:
        return None
    more, added = u.rest_after - u.rest_before, u.now - u.before
    words = f"at rest it drew {u.rest_after:.2f} A after landing, {u.rest_before:.2f} A before"
    if more >= _STAYS * added:
        return Sign(True, words)
    return Sign(False, words) if more <= _BACK * added else None


def flows_always(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a high rest is the same in flight: a servo that strains draws another once moved."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.RESTS_HIGH:
        return None
    if u.steady:
        return Sign(True, "it is the same at rest and in flight, as of lamps or a pump")
    return Sign(False, "it is not the same all the time")


def mirror_did_not(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the same place on the other side was free of it."""
    mirror = facts.aircraft.mirror(draft.place or "")
    u = _unusual(facts, draft)
    if u is None or mirror is None or mirror not in facts.currents():
        return None
    if any(o.place == mirror for o in facts.flight.unusual):
        return None
    return Sign(True, f"{mirror}, its mirror, shows nothing of it")


def like_a_stall(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether as much was added as a stalled servo draws."""
    u = _unusual(facts, draft)
    in_amperes = (UnusualKind.RAISED, UnusualKind.RESTS_HIGH, UnusualKind.STAYS_UP)
    if u is None or u.kind not in in_amperes or u.now is None or u.before is None:
        return None
    more = u.now - u.before
    stall = [s.stall_a for s in facts.aircraft.servos_at(u.place) if s.stall_a is not None]
    if stall:
        words = f"{more:.1f} A more; by the profile its servos stall at {max(stall):.1f} A"
        return Sign(more >= _STALL * max(stall), words)
    if more < _LARGE_A:
        return None
    return Sign(True, f"{more:.1f} A more is as much as a large servo draws when it stalls")


def ganged(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether by the profile two servos of that place drive one surface."""
    servos = facts.aircraft.servos_at(draft.place or "")
    if not servos:
        return None
    on_surface: Counter[str] = Counter()
    for s in servos:
        on_surface[s.surface or s.drives] += s.count
    several = [surface for surface, n in on_surface.items() if n > 1]
    if several:
        return Sign(True, f"by the profile two servos drive the {several[0]}")
    return Sign(False, "by the profile no two servos there drive one surface")


def moves_alike(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether in the stir, its rest taken off, it draws what its mirror does; absent where more."""
    own, other = _stirred(facts, draft)
    if own is None or other is None:
        return None
    a, b = ((p.mean_a or 0.0) - (p.rest_a or 0.0) for p in (own, other))
    if a <= 0 or b <= 0:
        return None
    words = f"its movement in the stir drew {a / b:.1f} times what {other.place} drew"
    if a / b >= _MORE:
        return Sign(False, words)
    return Sign(True, words) if 1 / _ALIKE <= a / b <= _ALIKE else None


def rests_alike(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Of a multiple of the mirror's current: whether both rest alike.

    Absent where the rest is a higher multiple still: something is held with nothing moving.
    """
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.MORE or not u.rest_before or not u.rest_mirror:
        return None
    ratio = u.rest_before / u.rest_mirror
    words = f"at rest it drew {ratio:.1f} times what {u.against} drew"
    if ratio >= _MORE * (u.now or 1.0):
        return Sign(False, words)
    return Sign(True, words) if ratio <= _ALIKE else None


def beyond_a_sensor(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the multiple is more than any sensor is off."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.MORE or u.now is None or u.now < _NO_SENSOR:
        return None
    return Sign(True, f"no current sensor is off by {u.now:.1f} times")


def drop_agrees(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its voltage drop says that the current is as read; absent where it is not.

    A sensor that reads a multiple makes the lead look better by as much than its mirror's.
    """
    u = _unusual(facts, draft)
    own, other = (
        _branch(facts, p) for p in (draft.place, facts.aircraft.mirror(draft.place or ""))
    )
    if u is None or own is None or not own.mohm or other is None or not other.mohm:
        return None
    ratio = own.mohm / other.mohm
    words = f"its lead has {own.mohm:.0f} mOhm by that current, its mirror's {other.mohm:.0f}"
    if 1 / (1 + _AGREE) <= ratio <= 1 + _AGREE:
        return Sign(True, words)
    multiple = u.kind is UnusualKind.MORE and u.now is not None
    if multiple and abs(ratio * (u.now or 1.0) - 1) <= _AGREE:
        return Sign(False, words)
    return None


def wholly_silent(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether nothing of its movement is left; absent where a part is."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.SILENT:
        return None
    if u.now is None:
        return Sign(True, "nothing is left of the current of its movements")
    return Sign(False, f"{100 * u.now:.0f} % of its current is left")


def rest_fell(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the idle current of a servo is gone as well."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.SILENT or not u.rest_before or u.rest_after is None:
        return None
    lost_a = u.rest_before * (1.0 - (u.now or 0.0))
    if lost_a < _STEPS * facts.steps(Quantity.CURRENT).get(u.place, 0.0):
        return None  # the idle current of what fell silent is within the steps of its sensor
    words = f"at rest it drew {u.rest_before:.2f} A before, {u.rest_after:.2f} A after"
    return Sign(u.rest_after <= _FELL * u.rest_before, words)


def rest_rose(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Of a climbing current: whether the rest after landing is up as well."""
    u = _unusual(facts, draft)
    if u is None or u.kind is not UnusualKind.HEATS or not u.rest_before or u.rest_after is None:
        return None
    words = f"at rest it drew {u.rest_before:.2f} A before, {u.rest_after:.2f} A after landing"
    return Sign(True, words) if u.rest_after >= _ROSE * u.rest_before else None


def _unusual(facts: FlightFacts, draft: FindingDraft) -> UnusualCurrent | None:
    """What is unusual at the place of a finding on servos."""
    return next((u for u in facts.flight.unusual if u.place == draft.place), None)


def _stirred(facts: FlightFacts, draft: FindingDraft) -> tuple[StirPlace | None, StirPlace | None]:
    """A place and its mirror in the first stir that has both."""
    mirror = facts.aircraft.mirror(draft.place or "")
    for stir in facts.flight.stirs:
        own, other = (_in(stir.places, p) for p in (draft.place, mirror))
        if own is not None and other is not None:
            return own, other
    return None, None


def _in(places: Sequence[StirPlace], name: str | None) -> StirPlace | None:
    found = (p for p in places if p.place == name and p.mean_a and p.rest_a is not None)
    return next(found, None)


def _branch(facts: FlightFacts, place: str | None) -> Resistance | None:
    found = (r for r in facts.flight.resistances if r.kind == "branch" and r.place == place)
    return next(found, None)
