"""The causes of a finding, the likeliest first, with what the log says for and against each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from telemetry.checks.causes import signs
from telemetry.checks.causes.kinds import CauseKind as C
from telemetry.checks.causes.signs import Look
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.results import Cause

#: Fault by sign: what a sign that is there adds to a cause, and one that is surely absent takes
#: off. Negative: the other way round. 1 is a hint, 2 weighs, 3 decides (heuristic: as an expert
#: would).
TABLE: Mapping[C, Mapping[Look, int]] = {
    C.CONTACT: {
        signs.alone: 2,
        signs.repeated: 1,
        signs.several_readings: 1,
        signs.confirmed: 1,
        signs.wire_known: 1,
        signs.grew: 2,
        signs.way_open: 2,
        signs.own_dead: -1,
        signs.fell_unexplained: 3,
        signs.sensor_reads_low: -2,
    },
    C.LONGER_LEAD: {signs.wire_known: -2, signs.grew: -3, signs.fell_unexplained: -1},
    C.CURRENT_SENSOR: {signs.sensor_reads_low: 3, signs.way_open: -2, signs.own_dead: -2},
    C.MISSED_PEAK: {signs.slow_current: 2, signs.loaded: 1, signs.several_readings: -1},
    C.FALSE_READING: {signs.several_readings: -2, signs.repeated: -1, signs.confirmed: -3},
    C.REGULATOR_LIMIT: {signs.regulated: 2, signs.loaded: 2},
    C.LOW_INPUT: {signs.pack_low: 2, signs.packs_fell: 1, signs.regulated: 1},
    C.SUPPLY_PATH: {signs.regulated: -1, signs.loaded: -1, signs.in_packs: -2, signs.grew: 2},
    C.UNLIKE_SENSORS: {signs.grew: -2},
    C.WEAK_PACKS: {signs.in_packs: 2, signs.pack_low: 2, signs.packs_fell: 1, signs.late: 1},
    C.LEVEL_IN_FORCE: {signs.level_told: -2, signs.low_always: 1},
    C.SUPPLY_LOST: {signs.alone: -2, signs.confirmed: 1, signs.packs_fell: 1},
    C.RESET_BY_HAND: {signs.in_flight: -2, signs.of_a_clock: -3},
    C.RAN_EMPTY: {signs.late: 2, signs.low_always: -1},
    C.COLD_OR_AGED: {signs.late: -1, signs.path_apart: -2, signs.low_always: 1},
    C.OTHER_CELLS: {signs.cells_told: -3, signs.low_always: 1},
    C.UNLIKE_CHARGE: {signs.rest_apart: 2, signs.path_apart: -1},
    C.SET_POINTS: {signs.regulated: 2},
    C.PACK_PATH: {signs.path_apart: 3, signs.rest_apart: -1},
    C.CUT_OFF: {signs.own_dead: 2, signs.way_open: -2},
}
# What fits the case at hand was put first by the check itself.
_FITS = 2


@dataclass(frozen=True, slots=True)
class _Weighed:
    cause: Cause
    score: int


def with_causes(
    draft: FindingDraft, standing: Words | None, facts: FlightFacts
) -> tuple[tuple[Cause, ...], bool]:
    """The causes of a finding, and whether this log ranks them: the first is then the likeliest.

    Of equal ones the order in which the check names them stays.
    """
    words = draft.words or standing
    if words is None:
        return (), False
    kinds: Sequence[C | None] = words.kinds or (None,) * len(words.explanations)
    weighed = [_Weighed(Cause(cause=text), _FITS) for text in draft.likelier]
    weighed += [
        _weighed(text, kind, draft, facts)
        for text, kind in zip(words.explanations, kinds, strict=True)
    ]
    weighed += [_Weighed(Cause(cause=text), 0) for text in draft.further]
    weighed.sort(key=lambda w: -w.score)
    ranked = len(weighed) == 1 or (len(weighed) > 1 and weighed[0].score > max(weighed[1].score, 0))
    return tuple(w.cause for w in weighed), ranked


def _weighed(text: str, kind: C | None, draft: FindingDraft, facts: FlightFacts) -> _Weighed:
    speaks_for: list[str] = []
    against: list[str] = []
    score = 0
    for look, weight in TABLE.get(kind, {}).items() if kind is not None else ():
        sign = look(facts, draft)
        if sign is None:
            continue
        points = weight if sign.present else -weight
        score += points
        (speaks_for if points > 0 else against).append(sign.words)
    cause = Cause(cause=text, speaks_for=tuple(speaks_for), speaks_against=tuple(against))
    return _Weighed(cause, score)
