"""What the flights of one aircraft show for or against a cause of a finding across them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, usual
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.causes.signs import Sign
from telemetry.checks.draft import FindingDraft
from telemetry.checks.leads.breaks import falls_at
from telemetry.checks.listed import CODES
from telemetry.checks.sensors.moved import sensor_odds

# Log of the odds from which a sensor is out of the question (heuristic).
_SURE = -3.0
# Flights this much colder than before, or no colder than this, K (heuristic).
_COLDER_K, _ALIKE_K = 6.0, 2.0
# Voltage at rest lower than before: part of it (heuristic: sensors of 1 %).
_LOWER = 0.01
# A current at rest that rose, and one that stayed: parts of what it was (heuristic).
_RISEN, _STAYED = 1.3, 1.1
# Slower currents than this hide peaks, s (heuristic: servos move within it).
_SLOW_S = 0.5
# So many flights are no one-sided day (heuristic).
_SEVERAL = 3
# Days of the year from which on flights lie in another season (heuristic).
_SEASON_DAYS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class AcrossFacts:
    """The flights of an aircraft, and all that was found across them."""

    history: AircraftHistory
    drafts: Sequence[FindingDraft]

    def since(self, draft: FindingDraft) -> int | None:
        """Index of the first flight with it."""
        ids = [flight.id for flight in self.history.listed]
        return ids.index(draft.since_flight) if draft.since_flight in ids else None


AcrossLook = Callable[[AcrossFacts, FindingDraft], Sign | None]


def gradual(_facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it grew from flight to flight; absent where one flight brought it."""
    kind = draft.evidence.get("kind")
    if kind is None:
        return None
    if kind == "gradual":
        return Sign(True, "it grew from flight to flight")
    return Sign(False, "it came in one step, between two flights")


def at_others_too(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the same was found elsewhere."""
    others = [
        *draft.also,
        *(d.place for d in facts.drafts if d.code == draft.code and d.place != draft.place),
    ]
    others = [place for place in others if place is not None]
    if others:
        return Sign(True, f"{', '.join(dict.fromkeys(map(str, others)))} shows the same")
    against = draft.evidence.get("compared_with")
    if against is None:
        return None
    return Sign(False, f"measured against {against}, which does not show it")


def colder(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the flights with it were colder than those before; not where that was taken out."""
    since = facts.since(draft)
    if since is None or draft.evidence.get("temperature") == "taken out":
        return None
    logged = [m.temperature_c for m in facts.history.flights]
    parts = [[t for t in part if t is not None] for part in (logged[:since], logged[since:])]
    if not all(parts):
        return None
    before, now = (float(np.mean(part)) for part in parts)
    words = f"{now:.0f} degC on the mean of these flights, {before:.0f} before"
    if before - now >= _COLDER_K:
        return Sign(True, words)
    return Sign(False, words) if before - now <= _ALIKE_K else None


def beyond_cold(_facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it is what is left after the temperature that was logged was taken out."""
    if draft.evidence.get("temperature") != "taken out":
        return None
    return Sign(True, "what the logged temperature explains was taken out before")


def another_season(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the flights with it lie in another season, where no temperature is logged."""
    since = facts.since(draft)
    if since is None or draft.evidence.get("temperature") != "not logged":
        return None
    days = [facts.history.day(k) for k in range(len(facts.history.flights))]
    parts = [[d for d in part if d is not None] for part in (days[:since], days[since:])]
    if not all(parts):
        return None
    (before, now) = (sorted(part)[len(part) // 2] for part in parts)
    apart = abs(before.timetuple().tm_yday - now.timetuple().tm_yday)
    apart = min(apart, 365 - apart)
    words = f"these flights are of {now:%B}, those before of {before:%B}"
    return Sign(True, words) if apart >= _SEASON_DAYS else Sign(False, words)


def of_the_path(_facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it was measured between pack and bus, behind the cells."""
    if not draft.evidence.get("of_the_path"):
        return None
    return Sign(True, "it lies between the voltages of pack and bus, not within the pack")


def began_lower(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the flights with it began at a lower voltage than those before."""
    before, now = _before_and_now(facts, draft, "start_v")
    if before is None or now is None:
        return None
    words = f"it began them at {now:.2f} V, at {before:.2f} V before"
    return Sign(now < (1 - _LOWER) * before, words)


def rest_apart(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it rests lower against the other pack than it used to."""
    packs = [p.name for p in facts.history.aircraft.packs if p.name != draft.place]
    if len(packs) != 1:
        return None
    own, other = (
        _before_and_now(facts, draft, "rest_v", place) for place in (draft.place, packs[0])
    )
    if None in own or None in other:
        return None
    before, now = ((own[k] or 0.0) - (other[k] or 0.0) for k in (0, 1))
    words = f"at rest it had {now:+.2f} V against {packs[0]}, {before:+.2f} V before"
    return Sign(now < before - _LOWER * (other[1] or 0.0), words)


def weaker(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether its resistance rose as well."""
    code = "source-resistance-rising"
    if draft.code == code:
        return None
    if any(d.code == code and d.place == draft.place for d in facts.drafts):
        return Sign(True, "its resistance rose as well")
    return None


def holds_less(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it ends its flights lower than before as well."""
    if any(d.code == "pack-weak" and d.place == draft.place for d in facts.drafts):
        return Sign(True, "it ends its flights lower as well: it holds less charge")
    return None


def rest_rose(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the current at rest rose as well: something is held against."""
    before, now = _before_and_now(facts, draft, "rest_a")
    if not before or now is None:
        return None
    words = f"at rest it draws {now:.2f} A, {before:.2f} A before"
    if now >= _RISEN * before:
        return Sign(True, words)
    return Sign(False, words) if now <= _STAYED * before else None


def drop_moved_with_it(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether voltage drop and total say that the current itself changed."""
    since, change = facts.since(draft), draft.change
    if since is None or change is None or draft.place is None:
        return None
    moved = draft.evidence.get("node_rise_pct")
    if not isinstance(moved, int | float) or moved <= -100:
        return None
    first = facts.history.first(draft.place)
    odds = sensor_odds(facts.history, draft.place, first, since, float(np.log1p(moved / 100)))
    if odds > _SURE:
        return None
    return Sign(True, "voltage drop and total changed with it")


def sensor_alone(_facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether voltage drop and total say that the current itself did not change."""
    if not draft.evidence.get("sensor_alone"):
        return None
    return Sign(True, "voltage drop and total did not change with it")


def fell_there_too(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether the voltage there fell for moments as well since then, without load for it."""
    since = facts.since(draft)
    if since is None or draft.place is None or draft.code == "contact-intermittent":
        return None
    times = sum(falls_at(facts.history, draft.place, ("contact",))[since:])
    return Sign(True, f"its voltage also fell {times} times without load for it") if times else None


def slow_currents(facts: AcrossFacts, _draft: FindingDraft) -> Sign | None:
    """Whether currents are reported so slowly that peaks hide between two readings."""
    steps = [m.update_s for m in facts.history.flights if m.update_s is not None]
    if not steps:
        return None
    usual_s = float(np.median(steps))
    return Sign(usual_s >= _SLOW_S, f"currents are reported every {usual_s:.2g} s")


def packs_held(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether most of the falls came while the packs held; absent where they came with a pack."""
    place = draft.place or ""
    of_supply, of_packs = (sum(falls_at(facts.history, place, (o,))) for o in ("supply", "pack"))
    if of_supply == of_packs:
        return None
    words = f"{of_supply} falls came while the packs held, {of_packs} with a pack"
    return Sign(of_supply > of_packs, words)


def in_several_flights(_facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
    """Whether it lasts over several flights."""
    flights = draft.evidence.get("flights_since")
    if not isinstance(flights, int) or flights < _SEVERAL:
        return None
    return Sign(True, f"{flights} flights show it, however they were flown")


def first_of_a_review(kind: CauseKind) -> AcrossLook:
    """Whether the review of a flight with it, by itself, holds this cause for the likeliest."""

    def look(facts: AcrossFacts, draft: FindingDraft) -> Sign | None:
        since = facts.since(draft) or 0
        of_one = {c for c, check in CODES.items() if draft.code in (c, *check.same_matter)}
        for k in reversed(range(since, len(facts.history.flights))):
            for r in facts.history.flights[k].reported:
                if r.code in of_one and r.place == draft.place and r.ranked and r.causes:
                    if r.causes[0].kind != kind:
                        return None
                    file = facts.history.listed[k].file
                    return Sign(True, f"the review of {file} alone holds it for the likeliest")
        return None

    return look


def _before_and_now(
    facts: AcrossFacts, draft: FindingDraft, feature: str, place: str | None = None
) -> tuple[float | None, float | None]:
    """Mean of a feature before it began, and since."""
    since, where = facts.since(draft), place or draft.place
    if since is None or where is None:
        return None, None
    history = facts.history
    first, n = history.first(where), len(history.flights)
    parts = ((first, since), (since, n))
    before, now = (usual(history.table, where, feature, a, b) for a, b in parts)
    return before, now
