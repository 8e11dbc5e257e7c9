"""Claims on servo currents: which place of those that drive servos has changed, and how."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.sensors.moved import SENSOR_SURE, sensor_odds
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, log_odds, moved_since
from telemetry.trends.ratios import RESPONSE, current_parts

#: A silent servo takes about its share of the node's current with it; this part of it, at least,
#: must be gone (heuristic: servos of one node are not alike).
SILENT_PART = 0.5
# No servo falls silent by degrees: so many nats for the one that draws more (heuristic).
_GRADUAL_LEAN = 6.0
# Another hand on the sticks moves one surface more and another less: without a mirror, moving
# currents that changed by less than this say nothing of a servo unless the rest changed as well
# (heuristic; a log of a ratio). The more by this part of what all others together moved by since.
_OTHER_HAND, _VIGOUR_PART = 0.22, 0.3
# No current falls by more than this, as a share: its logarithm is to stay finite.
_ALL_GONE = -0.99
# Log of the odds from which the rest current is held to have changed as well (heuristic).
_SURELY = 3.0
#: A current sensor that drifted counts from this part of its reading on, which is less than a
#: servo's share has to move by (common practice, no source: sensors agree within some per cent).
DRIFTED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One established change of one place's current.

    Too small for a servo where ``of_servo`` is False: it is then the sensor's.
    """

    code: str
    place: str
    others: tuple[str, ...]
    judgement: Judgement
    of_servo: bool = True

    @property
    def rising(self) -> bool:
        """Whether the place draws more."""
        return self.code == "servo-current-rising"

    @property
    def log_change(self) -> float:
        """The claimed change, as the natural logarithm of a ratio: above 0 where it rose."""
        sign = 1.0 if self.rising else -1.0
        return float(np.log1p(max(sign * self.judgement.mean_rise, _ALL_GONE)))


def reference_places(
    history: AircraftHistory, place: str, loads: Sequence[str], claims: Mapping[str, Claim]
) -> tuple[str, ...] | None:
    """What to compare a place with: its mirror, else all others that are not suspect themselves.

    None where every other place is suspect; () where there is no other.
    """
    rest = [p for p in loads if p != place]
    mirror = history.aircraft.mirror(place, loads)
    if mirror is not None and mirror not in claims:
        return (mirror,)
    sound = tuple(p for p in rest if p not in claims)
    return None if rest and not sound else sound


def places_to_compare(
    history: AircraftHistory, place: str, loads: Sequence[str], claims: dict[str, Claim]
) -> list[tuple[str, ...]]:
    """The same, and where a note on those restarts the comparison, what none of its notes touched.

    A repair on one side must not hide what goes on at the other.
    """
    others = reference_places(history, place, loads, claims)
    if others is None:
        return []
    first = history.first(place)
    if history.first(place, *others) <= first:
        return [others]
    untouched = tuple(
        p for p in loads if p != place and p not in claims and history.first(place, p) <= first
    )
    return [others, untouched]


def place_parts(
    history: AircraftHistory, place: str, others: tuple[str, ...]
) -> list[EvidencePart]:
    """A place's currents against those of other places, flight by flight."""
    mirror = history.aircraft.mirror(place, others) is not None and len(others) == 1
    return current_parts(history.table, place, others, mirror=mirror)


def judge_place(
    history: AircraftHistory, place: str, others: tuple[str, ...], sign: float
) -> Judgement | None:
    """Whether a place's currents rose (sign 1) or fell (-1) against those of other places."""
    asked = (place, others, sign)
    if asked not in history.judged_places:  # the same is asked for each claim that is weighed
        parts = place_parts(history, place, others)
        first = history.first(place, *others)
        found = history.judge(parts, first, place, sign=sign, logarithmic=True)
        history.judged_places[asked] = found
    return history.judged_places[asked]


def claims_of(
    history: AircraftHistory,
    place: str,
    loads: Sequence[str],
    claims: dict[str, Claim],
) -> list[Claim]:
    """What the charts of one place establish, beyond the limits."""
    out = []
    for others in places_to_compare(history, place, loads, claims):
        for sign, code in ((1.0, "servo-current-rising"), (-1.0, "servo-silent")):
            j = judge_place(history, place, others, sign)
            if j is None or j.signal is None:
                continue
            claim = Claim(code=code, place=place, others=others, judgement=j)
            if code == "servo-silent":
                counts = is_a_servos_share(history, claim)
            else:
                counts = servo_pct(history, claim) >= history.limits.servo_watch_pct
            if counts and _beyond_another_hand(history, claim) and moves_so(history, claim):
                out.append(claim)
            elif (found := drifted(history, claim)) is not None:
                out.append(_of_sensor(claim, *found))
    return out


def _of_sensor(claim: Claim, place: str, moved: float) -> Claim:
    """The claim as that of the place whose sensor moved, which may be the mirror."""
    code = "servo-current-rising" if moved > 0 else "servo-silent"
    others = claim.others if place == claim.place else (claim.place,)
    return replace(claim, place=place, code=code, others=others, of_servo=False)


def drifted(history: AircraftHistory, claim: Claim) -> tuple[str, float] | None:
    """The place whose sensor made the change, where drop and total say so, and how far it moved.

    That is the logarithm of the factor by which it now reads more. A ratio moves alike when the one
    reads more and when the other reads less: it may be the mirror's.
    """
    j = claim.judgement
    assert j.onset is not None
    since = int(j.at[j.onset])
    moved = read_more(history, claim, since)
    if abs(np.expm1(moved)) < DRIFTED:
        return None
    suspects = [(claim.place, moved)]
    if len(claim.others) == 1:
        suspects.append((claim.others[0], -moved))
    odds = [(sensor_odds(history, place, j.first, since, by), place, by) for place, by in suspects]
    best, place, by = max(odds)
    return (place, by) if best > SENSOR_SURE else None


def read_more(history: AircraftHistory, claim: Claim, since: int) -> float:
    """Logarithm of the factor by which the place reads more against the others since a flight.

    A sensor that drifts moves all of stir, air and rest alike; a servo does not.
    """
    learn = np.arange(len(history.flights)) < since
    parts = (
        p.since(claim.judgement.first) for p in place_parts(history, claim.place, claim.others)
    )
    seen = [found for p in parts if (found := moved_since(p, learn)) is not None]
    if not seen:
        return 0.0
    weight = np.array([1.0 / max(sd, 1e-9) ** 2 for _, sd in seen])
    return float(weight @ np.array([by for by, _ in seen]) / weight.sum())


def _beyond_another_hand(history: AircraftHistory, claim: Claim) -> bool:
    """Whether a change is more than another pilot's way of flying usually makes of it.

    His hand moves the currents of stir and air by one factor, whatever a servo would do to each.
    """
    seen = seen_to_move(history, claim, "stir", "air")
    weight = np.array([sd**-2 for _, sd in seen])
    moved = float(weight @ [m for m, _ in seen] / weight.sum()) if seen else claim.log_change
    most = _OTHER_HAND + _VIGOUR_PART * _vigour_moved(history, claim)
    return abs(moved) >= most or not by_another_hand(history, claim)


def _vigour_moved(history: AircraftHistory, claim: Claim) -> float:
    """How far the others' currents moved with it, logarithm: another hand moves all of them."""
    j = claim.judgement
    assert j.onset is not None
    moved = [0.0]
    for part in place_parts(history, claim.place, claim.others):
        since = part.at >= j.at[j.onset]
        before = (part.at >= j.first) & ~since
        if part.name != "rest" and part.design is not None and since.any() and before.any():
            level = part.design[:, 0]
            moved.append(abs(float(np.median(level[since]) - np.median(level[before]))))
    return max(moved)


def by_another_hand(history: AircraftHistory, claim: Claim) -> bool:
    """Whether another pilot's way of flying could be all of a change.

    Not against the mirror, which he moves as well; nor where the current at rest changed with the
    moving one, for no stick moves it.
    """
    mirrored = history.aircraft.mirror(claim.place, claim.others) is not None
    return not (mirrored and len(claim.others) == 1) and not _rest_agrees(history, claim)


def moves_so(history: AircraftHistory, claim: Claim) -> bool:
    """Whether the moving currents speak for it rather than against: else it is of rest alone.

    All parts are weighed together, and a steady rest that moved outweighs them.
    """
    j = claim.judgement
    assert j.onset is not None
    learn = np.arange(len(history.flights)) < j.at[j.onset]
    odds = 0.0
    for part in place_parts(history, claim.place, claim.others):
        seen = None if part.name == "rest" else moved_since(part.since(j.first), learn)
        if seen is not None:
            odds += log_odds(*seen, claim.log_change * part.response, 0.0)
    return odds > 0.0


def _rest_agrees(history: AircraftHistory, claim: Claim) -> bool:
    """Whether the rest current surely changed with the moving one."""
    seen = seen_to_move(history, claim, "rest")
    return bool(seen) and log_odds(*seen[0], claim.log_change * RESPONSE["rest"], 0.0) > _SURELY


def seen_to_move(history: AircraftHistory, claim: Claim, *names: str) -> list[tuple[float, float]]:
    """How far some currents of the place moved with the claimed change, and how sure that is."""
    j = claim.judgement
    assert j.onset is not None
    learn = np.arange(len(history.flights)) < j.at[j.onset]
    own = [p for p in place_parts(history, claim.place, claim.others) if p.name in names]
    return [found for p in own if (found := moved_since(p.since(j.first), learn)) is not None]


def servo_pct(history: AircraftHistory, claim: Claim) -> float:
    """Rise that is claimed per average servo share, %."""
    return history.servo_pct(claim.place, claim.judgement)


def is_a_servos_share(history: AircraftHistory, claim: Claim) -> bool:
    """A sudden loss of about one servo's share."""
    servos, _ = history.servos(claim.place)
    return claim.judgement.step and claim.judgement.now >= SILENT_PART / servos


def rather_the_mirror(history: AircraftHistory, claim: Claim, loads: Sequence[str]) -> Claim:
    """Of a ratio that moved: did this place rise, or did its mirror fall silent?

    The other places decide, or where there are none each place's own past.
    """
    mirror = history.aircraft.mirror(claim.place, loads)
    if mirror is None or claim.others != (mirror,):
        return claim
    up, down = (claim.place, mirror) if claim.rising else (mirror, claim.place)
    j = claim.judgement
    sound = tuple(p for p in loads if p not in (up, down))
    servos, _ = history.servos(down)
    # The logarithm of the ratio has moved by so much, whichever of the two it was.
    moved = abs(claim.log_change)
    lean = lean_to_rise(history, up, down, sound, j, moved)
    if not (j.step and -float(np.expm1(-moved)) >= SILENT_PART / servos):
        lean += _GRADUAL_LEAN
    if (lean >= 0) == claim.rising:
        return claim
    up_it_is = lean >= 0
    place, other, sign = (up, down, 1.0) if up_it_is else (down, up, -1.0)
    turned = judge_place(history, place, (other,), sign)
    code = "servo-current-rising" if up_it_is else "servo-silent"
    # A repair noted at one of them ends the other's chart where its own still stands.
    if turned is None or turned.onset is None:
        turned = j
    return Claim(code=code, place=place, others=(other,), judgement=turned)


def lean_to_rise(
    history: AircraftHistory, up: str, down: str, sound: tuple[str, ...], j: Judgement, moved: float
) -> float:
    """Log of the odds that ``up`` rose rather than that ``down`` fell, by the other places."""
    learn = np.ones(len(history.flights), dtype=bool)
    assert j.onset is not None
    learn[j.at[j.onset] :] = False
    total = 0.0
    for place, if_up, if_down in ((up, moved, 0.0), (down, 0.0, -moved)):
        for part in place_parts(history, place, sound):
            seen = moved_since(part.since(history.first(place, *sound)), learn)
            if seen is not None:
                # Halved: both places are set against the same others.
                r = part.response
                total += 0.5 * log_odds(*seen, if_up * r, if_down * r)
    return total
