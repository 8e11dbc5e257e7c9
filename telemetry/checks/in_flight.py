"""One log judged by the list of checks: measures in, findings out.

A finding says what was seen and what else could have made it look so. The number of sags that
the load explains never raises a level; a single reading never grounds an aircraft by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from telemetry.aircraft import Aircraft
from telemetry.checks.causes.consequences import with_consequences
from telemetry.checks.causes.ranking import with_causes
from telemetry.checks.draft import FindingDraft
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.checks.listed import CHECKS, CODES, not_yet_called
from telemetry.checks.outcomes import found_at, outcomes_of
from telemetry.model.unsettled import Unsettled
from telemetry.results import CheckOutcome, ColumnUse, Finding, Flight, Quality


class Judged(NamedTuple):
    """Findings of one log, worst first, and what each check came to at each place."""

    findings: tuple[Finding, ...]
    outcomes: tuple[CheckOutcome, ...]


def judge_log(
    *,
    aircraft: Aircraft,
    columns: tuple[ColumnUse, ...],
    quality: Quality,
    flights: tuple[Flight, ...],
    unsettled: tuple[Unsettled, ...] = (),
) -> Judged:
    """One log judged by all checks; of several flights the worst is told first."""
    recording = RecordingFacts(
        aircraft=aircraft, columns=columns, quality=quality, flights=flights, unsettled=unsettled
    )
    by_flight = [FlightFacts(flight=flight, recording=recording) for flight in flights]
    drafts: list[FindingDraft] = []
    called: set[object] = set()
    for check in CHECKS:
        for in_recording in not_yet_called(check.in_recording, called):
            drafts += in_recording(recording)
        for in_flight in not_yet_called(check.in_flight, called):
            drafts += _worst_first(
                [replace(draft, flight=number) for draft in in_flight(facts)]
                for number, facts in enumerate(by_flight, 1)
            )
    seen = by_flight or [_nothing(recording)]
    found = [_with_causes(draft, seen) for draft in drafts]
    outcomes = list(outcomes_of(CHECKS, seen, found))
    for check in CHECKS:
        if check.of_outcomes is not None:
            more = [d.finding(check.words) for d in check.of_outcomes(recording, outcomes)]
            found += more
            outcomes += [found_at(check, f.place) for f in more]
    return Judged(tuple(with_consequences(found, aircraft)), tuple(outcomes))


def _with_causes(draft: FindingDraft, by_flight: Sequence[FlightFacts]) -> Finding:
    """The finding, its causes ranked by what its flight shows."""
    words, number = CODES[draft.code].words, draft.flight or 1
    causes, ranked = with_causes(draft, words, by_flight[number - 1])
    explanations = tuple(c.cause for c in causes)
    made = draft.finding(words)
    return replace(made, causes=causes, ranked=ranked, explanations=explanations)


def _nothing(recording: RecordingFacts) -> FlightFacts:
    """A log without any flight or bench recording: nothing was under load in it."""
    flight = Flight(kind="bench", start_s=0.0, end_s=0.0, phases=())
    return FlightFacts(flight=flight, recording=recording)


def _worst_first(by_flight: Iterable[Sequence[FindingDraft]]) -> list[FindingDraft]:
    """What one function found in each flight: the worst flight first, equal ones in order of time.

    Within a flight the function's own order stays. A code without a measure of its own keeps the
    order of time within its level.
    """
    found = [flight for flight in by_flight if flight]
    return [d for flight in sorted(found, key=lambda x: min(map(_badness, x))) for d in flight]


def _badness(draft: FindingDraft) -> tuple[int, float]:
    """Lower is worse: by level, then by the measure of the check."""
    check = CODES[draft.code]
    value = None if check.worst_by is None else draft.evidence.get(check.worst_by)
    if not isinstance(value, int | float) or not math.isfinite(value):
        return -draft.level.rank, math.inf
    return -draft.level.rank, float(value) if check.lower_is_worse else -float(value)
