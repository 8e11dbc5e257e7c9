"""Servo currents across flights: a servo that draws more, one that heats, one that fell silent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    Looked,
    Unjudged,
    established,
    told_least,
    usual,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.sensors.gains import judge_gain
from telemetry.checks.servos.at_rest import judge_rest
from telemetry.checks.servos.claims import (
    Claim,
    by_another_hand,
    claims_of,
    drifted,
    is_a_servos_share,
    judge_place,
    place_parts,
    rather_the_mirror,
    reference_places,
    servo_pct,
)
from telemetry.checks.servos.heating import judge_heating
from telemetry.checks.servos.in_flight import fell_silent, servo_findings
from telemetry.checks.servos.naming import named, separating_stir, told
from telemetry.checks.servos.sees import NEEDS, sees_climb, sees_more, sees_silence
from telemetry.checks.servos.suspects import suspects
from telemetry.checks.servos.words import HEAT_WORDS, RAISED_WORDS, SILENT_WORDS
from telemetry.checks.tree import OF_SERVOS
from telemetry.results import OF_ONE_SERVO, Level, NotJudged
from telemetry.trends.evidence import Judgement
from telemetry.trends.features.flight import load_places
from telemetry.trends.table import FeatureTable

_FALL = "fall of current per average servo share"
# A rise must be seen in at least so many resolution steps.
_STEPS = 2.0


def loads_of(table: FeatureTable, aircraft: Aircraft) -> tuple[str, ...]:
    """Places that drive servos and whose own current was measured in the stir or in the air."""
    return load_places(aircraft, table.current_places)


def judge_servos(history: AircraftHistory) -> JudgedAcross:
    """Findings servo-current-rising, servo-silent and servo-heating."""
    found = JudgedAcross()
    loads = loads_of(history.table, history.aircraft)
    claims: dict[str, Claim] = {}
    if not loads:
        why = "servo currents: no place reports its own current"
        log = "log the current of every node"
        found.not_judged.append(Unjudged(OF_SERVOS, None, NotJudged.NO_COLUMN, why, log))
        return found
    while True:
        open_places = [p for p in loads if p not in claims]
        fresh = [c for p in open_places for c in claims_of(history, p, loads, claims)]
        if not fresh:
            break
        best = max(fresh, key=lambda c: _strength(c.judgement))
        if best.of_servo:
            best = rather_the_mirror(history, best, loads)
        claims[best.place] = best
    _let_go(history, claims, loads)
    for place in loads:
        claim = claims.get(place)
        others = reference_places(history, place, loads, claims)
        if claim is None and others is not None:
            j = judge_place(history, place, others, 1.0)
            if j is not None:
                trend = trend_of_claim(history, "servo-current-rising", place, j)
                found.trends.append(trend)
                found.looked.append(Looked("servo-silent", place, told_least(trend, _FALL)))
            else:
                why = f"servo currents of {place}: fewer than three flights tell them"
                few = Unjudged(OF_SERVOS, place, NotJudged.TOO_FEW_FLIGHTS, why)
                found.not_judged.append(few)
        elif claim is None:
            why = f"servo currents of {place}: no other place is beyond doubt"
            note = "put right what was found at the others, and note it"
            found.not_judged.append(Unjudged(OF_SERVOS, place, NotJudged.NO_COUNTERPART, why, note))
        elif claim is not None:
            found.trends.append(trend_of_claim(history, claim.code, place, claim.judgement))
        finding = None
        if others == ():
            why = f"warming of {place}: no other place reports its current beside it"
            log = "log the currents of all nodes"
            found.not_judged.append(
                Unjudged(("servo-heating",), place, NotJudged.NO_COUNTERPART, why, log)
            )
        if (claim is None or claim.code == "servo-current-rising") and others:
            sound = tuple(p for p in loads if p != place and p not in claims)
            parts = place_parts(history, place, others)
            finding = judge_heating(history, place, parts, sound, claim is not None, found)
        if claim is None and finding is None and others is not None:
            beyond_doubt = tuple(p for p in loads if p != place and p not in claims)
            finding = judge_rest(history, place, others, beyond_doubt, found)
        if finding is None and claim is not None:
            finding = sensor_finding(history, claim)
            if finding is None and claim.of_servo:
                finding = servo_finding(history, claim)
        if finding is not None:
            found.drafts.append(finding)
    if all(draft.code != "capacity-mismatch" for draft in found.drafts):
        gain = judge_gain(history, loads, claims)
        found.drafts += [] if gain is None else [gain]
    return found


def _let_go(history: AircraftHistory, claims: dict[str, Claim], loads: Sequence[str]) -> None:
    """Let go of claims that were measured against a place found later, and not against sound ones.

    The strongest claim comes first; where one of a place's references changed, that may be its own.
    """
    for claim in sorted(claims.values(), key=lambda c: _strength(c.judgement)):
        rest = {place: c for place, c in claims.items() if place != claim.place}
        if not set(claim.others) & rest.keys():
            continue
        if reference_places(history, claim.place, loads, rest) and not claims_of(
            history, claim.place, loads, rest
        ):
            del claims[claim.place]


def _strength(j: Judgement) -> float:
    return float(j.chart.max()) / j.limit


def level_of_claim(history: AircraftHistory, claim: Claim) -> Level:
    """How grave a claim is: ground only where it is sure and another hand does not explain it."""
    if claim.code == "servo-silent":
        grave = is_a_servos_share(history, claim)
    else:
        grave = servo_pct(history, claim) >= history.limits.servo_ground_pct
    grave = grave and claim.judgement.sure and not by_another_hand(history, claim)
    return Level.GROUND if grave else Level.WATCH


def servo_finding(history: AircraftHistory, claim: Claim) -> FindingDraft | None:
    """The finding of a claim on the servos of a place; None where it is too small to be told."""
    j = claim.judgement
    assert j.onset is not None
    place = claim.place
    servos, known = history.servos(place)
    since, n = int(j.at[j.onset]), len(history.flights)
    before = usual(history.table, place, "stir_mean_a", j.first, since)
    now = usual(history.table, place, "stir_mean_a", max(since, n - 3), n)
    step_a = float(history.table.steps_a(place).max())
    if before is not None and before * j.now < _STEPS * step_a:
        return None
    level = level_of_claim(history, claim)
    pct = servo_pct(history, claim)
    against = " and ".join(claim.others) if claim.others else "its own earlier flights"
    rising = claim.rising
    likely = suspects(history, place, since, j.now if rising else -j.now)
    servo = named(likely)
    more = "more" if rising else "less"
    title = f"{place} draws {100 * j.now:.0f} % {more} than usual, measured against {against}"
    if rising:
        title += f": about {pct:.0f} % of one servo's share"
    evidence: dict[str, float | int | str | None] = {
        "node_rise_pct": 100.0 * j.now if rising else -100.0 * j.now,
        "servo_share_pct": pct if rising else None,
        "servos": servos,
        "servos_known": "yes" if known else "assumed",
        "usual_stir_a": before,
        "stir_a": now,
        "compared_with": against,
    }
    if servo is not None and servo.rise is not None:
        evidence["group_rise_pct"] = 100.0 * servo.rise
    found = established(
        history,
        claim.code,
        place,
        j,
        level=level,
        title=title + ("" if known else f" (assuming {servos} servos there)"),
        quantity="stir mean current",
        unit="A",
        rise_unit=OF_ONE_SERVO,
        scale=100.0 * servos if rising else -100.0 * servos,
        limit=history.limits.servo_ground_pct if rising and level is Level.WATCH else None,
        before=before,
        now=now,
        servo=None if servo is None else servo.name,
        evidence={**evidence, **told(likely)},
    )
    return replace(found, bench=separating_stir(likely, history.flights[-1].update_s))


def sensor_finding(history: AircraftHistory, claim: Claim) -> FindingDraft | None:
    """The same change, where drop and total say that only a sensor moved: its own, or the mirror's.

    A ratio moves alike when the one reads more and when the other reads less.
    """
    found = drifted(history, claim)
    if found is None:
        return None
    place, moved = found
    j = claim.judgement
    pct = 100.0 * float(np.expm1(moved))
    more = "more" if moved > 0 else "less"
    return established(
        history,
        "capacity-mismatch",
        place,
        j,
        level=Level.WATCH,
        title=f"{place}: its current sensor reads {abs(pct):.0f} % {more} than it used to; "
        "drop and total say that the current itself did not change",
        quantity="reading of the current sensor",
        unit="",
        rise_unit="%",
        scale=pct / j.now,
        evidence={"sensor_alone": True},
    )


def trend_of_claim(history: AircraftHistory, code: str, place: str, j: Judgement) -> JudgedTrend:
    """A change as the trend that a history draws, % of an average servo's share."""
    servos, _ = history.servos(place)
    sign = -1.0 if code == "servo-silent" else 1.0
    return JudgedTrend(
        code,
        place,
        j,
        quantity="rise of current per average servo share",
        unit="%",
        scale=sign * 100.0 * servos,
        watch=history.limits.servo_watch_pct,
        ground=history.limits.servo_ground_pct,
    )


SERVO_CURRENT_RISING = Check(
    code="servo-current-rising",
    part=CheckPart.SERVOS,
    rise_step=lambda limits: limits.servo_watch_pct,
    question="Does a servo or linkage draw more than it used to?",
    meaning="A servo or linkage works harder than it used to.",
    bench="disconnect the linkages one at a time, stir, watch the current.",
    words=RAISED_WORDS,
    in_flight=(servo_findings,),
    needs=NEEDS,
    sees=sees_more,
    words_across=Words(
        (
            "a servo of {place} that wears: gears, bearing, motor",
            "a linkage that grew stiff or was set against a stop",
            "a servo or horn that was changed without a note in the book",
            "the current sensor of {place}, where the balance with the total changed as well",
        ),
        "Disconnect the linkages of {place} one at a time, stir, and watch its current.",
        "Find the servo or linkage and put it right; note what was done, with the place.",
        kinds=(
            CauseKind.WORN_SERVO,
            CauseKind.BINDING,
            CauseKind.UNNOTED_CHANGE,
            CauseKind.CURRENT_SENSOR,
        ),
    ),
    across=(judge_servos,),
)

SERVO_SILENT = Check(
    code="servo-silent",
    part=CheckPart.SERVOS,
    closing=Closing(
        flights=FITFUL,
        note_only=fell_silent,
        across_note_only=True,
        instead=("servo-current-rising",),
    ),
    question="Did a servo stop drawing current?",
    meaning="A servo of that place no longer draws current.",
    bench="move every surface of that place and look at each servo.",
    words=SILENT_WORDS,
    in_flight=(servo_findings,),
    needs=NEEDS,
    sees=sees_silence,
    words_across=Words(
        (
            "a servo that failed, was unplugged, or lost its signal",
            "fewer servos or other servos fitted without a note in the book",
            "the current sensor of {place}",
        ),
        "Move every surface of {place} on the ground and look at each servo.",
        "See that every servo of {place} moves its surface under load before the next flight.",
        "Do not fly until every servo of {place} moves its surface under load.",
        kinds=(CauseKind.FAILED_SERVO, CauseKind.UNNOTED_CHANGE, CauseKind.CURRENT_SENSOR),
    ),
    across=(judge_servos,),
)


SERVO_HEATING = Check(
    code="servo-heating",
    part=CheckPart.SERVOS,
    closing=Closing(flights=FITFUL),
    question="Does a servo draw more as it warms within a flight?",
    meaning="The current climbs within the flight, at one place.",
    bench="stir before the flight and at once after it; feel the case of each servo.",
    words=HEAT_WORDS,
    in_flight=(servo_findings,),
    needs=NEEDS,
    sees=sees_climb,
    words_across=HEAT_WORDS,
    across=(judge_servos,),
)
