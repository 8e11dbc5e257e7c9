"""Measures of the book's flights: kept there, made again where missing or of another profile."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from pathlib import Path

from telemetry.aircraft import Aircraft
from telemetry.app.pipeline import review
from telemetry.app.workers import Crew, calls
from telemetry.book import BookFlight, Logbook
from telemetry.checks.reported import judged_in, reported_in
from telemetry.results import Review
from telemetry.trends.features.flight import measure_flight
from telemetry.trends.measures import VERSION, Measures


def measures_of(
    book: Logbook,
    flights: Sequence[BookFlight],
    profile: Aircraft | None,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Measures]:
    """Measures of flights by their ids, in order; what is new is kept in the book.

    Parameters
    ----------
    book : Logbook
    flights : sequence of BookFlight
    profile : Aircraft or None
        Of the aircraft. Measures rest on it: another profile has other ones.
    executor : Executor, optional
        Makes the missing ones; without it this process does.
    progress : callable, optional
        Called after each one that had to be made: how many are done, of how many.
    """
    version = version_for(profile)
    kept = {f.id: _kept(book, f.id, version) for f in flights}
    missing = [flight for flight, found in kept.items() if found is None]
    make = partial(make_measures, book.path.absolute(), profile)
    # Measures are small: all may wait at once.
    results = calls(make, missing, Crew(executor, len(missing)))
    for done, (flight, call) in enumerate(zip(missing, results, strict=True), 1):
        made = call()
        document = made.document()
        book.put_measures(flight, version, document)
        # As they will be read the next time, so that the next time says the same.
        kept[flight] = Measures.of(document)
        if progress is not None:
            progress(done, len(missing))
    return {flight: found for flight, found in kept.items() if found is not None}


def _kept(book: Logbook, flight: str, version: str) -> Measures | None:
    doc = book.get_measures(flight, version)
    if doc is None:
        return None
    try:
        return Measures.of(doc)
    except (KeyError, TypeError, ValueError):
        return None  # another program's document


def make_measures(book: Path, profile: Aircraft | None, flight: str) -> Measures:
    """Review a flight of the book, and measure the longest that it holds."""
    found = review(Logbook(book, make=False).read(flight), profile)
    longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
    return measured(found, longest + 1)


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


def version_for(profile: Aircraft | None) -> str:
    """Version of cached measures: of the document, and of the profile they rest on."""
    text = "" if profile is None else profile.model_dump_json()
    return f"{VERSION}-{hashlib.sha256(text.encode()).hexdigest()[:12]}"
