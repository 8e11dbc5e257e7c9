"""What is kept in the book: measures of its flights, and what the other aircraft tell of one.

Made again where it is missing or rests on something else by now.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from telemetry.aircraft import Aircraft
from telemetry.app.pipeline import review
from telemetry.app.timelines import Timeline, note_marks, others_before
from telemetry.app.workers import Crew, calls
from telemetry.book import BookFlight, Logbook
from telemetry.checks.across import scatters_of
from telemetry.checks.reported import judged_in, reported_in
from telemetry.model.errors import BookError, BusbookError
from telemetry.results import FeatureScatter, Fleet, Review
from telemetry.trends.features.flight import measure_flight
from telemetry.trends.fleet import OwnScatter, fleet_of
from telemetry.trends.measures import VERSION, Measures

#: Version of what other aircraft tell of one; raised where it is worked out in another way.
FLEET_VERSION = "1"


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


def fleet_before(
    book: Logbook, name: str, timeline: Timeline, *, executor: Executor | None = None
) -> Fleet | None:
    """What the other aircraft tell of the scatter of one, by all that the book held when it began.

    Whatever is added later changes nothing of it. It is kept, and worked out anew only where
    something was removed or moved, or one of their profiles changed.

    Parameters
    ----------
    book : Logbook
    name : str
    timeline : sequence of BookFlight or Note
        Of that aircraft.
    executor : Executor, optional
        As of :func:`measures_of`.
    """
    first = min(e.order for e in timeline if isinstance(e, BookFlight))
    version = f"{FLEET_VERSION} {VERSION} {first}"
    kept = book.get_fleet(name)
    with suppress(KeyError, TypeError):  # another program's document
        if kept["rests_on"] == f"{version} {book.state_of_profiles(kept['others'])}":
            return _fleet_from(kept["told"])
    others = others_before(book, name, first)
    state = book.state_of_profiles(others)
    scatters, flights = {}, 0
    for other, entries in others.items():
        # What is wrong with another aircraft is told where that one is asked for.
        with suppress(BusbookError):
            own = _scatters(book, other, entries, executor)
            if own:
                scatters[other] = own
                flights += sum(isinstance(e, BookFlight) for e in entries)
    fleet = fleet_of(scatters, flights)
    told = None if fleet is None else asdict(fleet)
    if others or kept:
        with suppress(BookError):  # a book that cannot be written to is asked again
            doc = {"rests_on": f"{version} {state}", "others": list(others), "told": told}
            book.put_fleet(name, doc)
    return fleet


def _scatters(
    book: Logbook, name: str, entries: Timeline, executor: Executor | None
) -> tuple[OwnScatter, ...]:
    profile = book.profile(name)
    flights = [e for e in entries if isinstance(e, BookFlight)]
    measures = measures_of(book, flights, profile, executor=executor)
    return scatters_of([measures[f.id] for f in flights], note_marks(entries), profile)


def _fleet_from(doc: Mapping[str, Any] | None) -> Fleet | None:
    if doc is None:
        return None
    features = tuple(FeatureScatter(**one) for one in doc["features"])
    return Fleet(**{**doc, "aircraft": tuple(doc["aircraft"]), "features": features})


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
