"""What the review of one flight found, where it looked, and what no later flight shows gone."""

from __future__ import annotations

import math

from telemetry.checks.listed import CHECKS, CODES
from telemetry.results import Finding, Flight, Level, OutcomeKind, Review
from telemetry.trends.measures import ReportedFinding


def reported_in(review: Review, number: int) -> tuple[ReportedFinding, ...]:
    """What a review found in one of its flights, from 1, or in the whole recording."""
    flight = review.flights[number - 1]
    return tuple(
        ReportedFinding(
            code=f.code,
            place=f.place or "",
            level=f.level,
            title=f.title,
            lasts=closed_by_note_only(f, flight),
            causes=f.causes,
            ranked=f.ranked,
            confirm=f.confirm,
            advice=f.advice,
            size=_size(f),
            or_place=str(f.evidence.get("or_place") or ""),
        )
        for f in review.findings
        if f.flight in (None, number)  # None: of the whole recording
    )


def judged_in(review: Review) -> dict[str, tuple[str, ...]]:
    """Where each check of a review judged, by its code; "" for the whole aircraft.

    A check that is asked of what the others came to judges always.
    """
    judged: dict[str, dict[str, None]] = {
        check.code: {"": None} for check in CHECKS if check.of_outcomes is not None
    }
    for one in review.checks:
        if one.outcome is not OutcomeKind.NOT_JUDGED:
            judged.setdefault(one.code, {})[one.place or ""] = None
    return {code: tuple(places) for code, places in judged.items()}


def closed_by_note_only(finding: Finding, flight: Flight) -> bool:
    """Whether only a note of what was done closes a finding of one flight; its check says so."""
    by_note = CODES[finding.code].closing.note_only if finding.code in CODES else None
    return finding.level > Level.CLEAR and by_note is not None and by_note(finding, flight)


def _size(finding: Finding) -> float | None:
    worst_by = CODES[finding.code].worst_by if finding.code in CODES else None
    value = None if worst_by is None else finding.evidence.get(worst_by)
    fit = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if fit else None  # type: ignore[arg-type]
