"""The measures of one flight that a book keeps: its features, and what its review found."""

from __future__ import annotations

from dataclasses import replace

from telemetry.checks.reported import judged_in, reported_in
from telemetry.results import Review
from telemetry.trends.features.flight import measure_flight
from telemetry.trends.measures import Measures


def measured(review: Review, number: int = 1) -> Measures:
    """What the book keeps of one flight.

    Parameters
    ----------
    review : Review
    number : int
        Which of its flights, from 1.

    Returns
    -------
    Measures
    """
    return replace(
        measure_flight(review, number),
        reported=reported_in(review, number),
        judged=judged_in(review),
    )
