"""A review becomes a document: which parts there are, and in which order."""

from __future__ import annotations

from telemetry.readings import Readings
from telemetry.report.document import Document
from telemetry.report.first_page import first_page
from telemetry.report.json import made_by
from telemetry.report.measures import (
    charge_section,
    events_section,
    resistances_section,
    servos_section,
)
from telemetry.report.method import (
    cautions_section,
    limits_section,
    method_section,
    quality_section,
)
from telemetry.report.sections import findings_section, places_section, stirs_section
from telemetry.report.words import plain
from telemetry.results import Review


def document_of(review: Review, readings: Readings) -> Document:
    """The whole report of one log, as plain records.

    Parameters
    ----------
    review : Review
    readings : Readings
        Of the review's log.

    Returns
    -------
    Document
        First page, findings, places, stirs, events, resistances, charge, servos, data quality,
        limits, method, cautions. Parts that have nothing to tell say so in a sentence; stirs and
        servos are left out.
    """
    first = first_page(review, readings)
    file = plain(review.log.provenance.file)
    parts = (
        findings_section(review),
        places_section(review, readings),
        stirs_section(review),
        events_section(review),
        resistances_section(review),
        charge_section(review),
        servos_section(review),
        quality_section(review),
        limits_section(review),
        method_section(review),
        cautions_section(),
    )
    return Document(
        title=f"{first.aircraft}: {file}",
        file=file,
        first=first,
        sections=tuple(p for p in parts if p is not None),
        footer=f"{made_by()}. Advice from a log; no proof of airworthiness.",
    )
