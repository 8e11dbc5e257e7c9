"""What the review of one flight found, and what of it no later flight can show gone."""

from __future__ import annotations

from telemetry.checks.listed import CODES
from telemetry.results import Finding, Flight, Level, Review
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
        )
        for f in review.findings
        if f.flight in (None, number)  # None: of the whole recording
    )


def closed_by_note_only(finding: Finding, flight: Flight) -> bool:
    """Whether only a note of what was done closes a finding of one flight; its check says so."""
    lasting = CODES[finding.code].lasting if finding.code in CODES else None
    return finding.level > Level.CLEAR and lasting is not None and lasting(finding, flight)
