"""Across flights: measures per flight, judging of places against one another and their past.

history = telemetry.history(book, "tern")
history.findings, history.trends, history.series("left wing", "stir_mean_a")
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from telemetry.aircraft import Aircraft
from telemetry.book import BookFlight, Logbook, Note
from telemetry.errors import BookError
from telemetry.pipeline import review
from telemetry.results import History, HistoryFlight, NoteMark
from telemetry.season.features import measure_flight, measures
from telemetry.season.judge import judge
from telemetry.season.measures import VERSION, Measures
from telemetry.season.usual import Comparison, compare

__all__ = [
    "Comparison",
    "Measures",
    "compare",
    "history",
    "judge",
    "measure_flight",
    "measures",
    "measures_of",
    "version_for",
]


def history(book: Logbook, name: str) -> History:
    """Judge everything the book holds of one aircraft.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.

    Returns
    -------
    History

    Raises
    ------
    BookError
        If the book has no flight of it.
    """
    timeline = book.timeline(name)
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    if not flights:
        raise BookError(
            f"the book has no flights of '{name}'", path=book.path, hint="see busbook flights"
        )
    profile = book.profile(name)
    kept = dict(measures_of(book, flights, profile))
    notes = []
    before = 0
    for entry in timeline:
        if isinstance(entry, Note):
            notes.append(
                NoteMark(
                    kind=str(entry.kind),
                    place=entry.place,
                    text=entry.text,
                    date=entry.date,
                    before=before,
                )
            )
        else:
            before += 1
    return judge(
        [kept[f.id] for f in flights],
        notes,
        profile,
        name=flights[0].aircraft,
        listed=[
            HistoryFlight(
                id=f.id,
                start=f.start,
                file=f.file,
                kind=kept[f.id].kind,
                order=f.start_source,
                duration_s=f.duration_s,
                flight_s=kept[f.id].flight_s,
            )
            for f in flights
        ],
    )


def measures_of(
    book: Logbook, flights: list[BookFlight], profile: Aircraft | None
) -> Iterator[tuple[str, Measures]]:
    """Measures of flights, from the book's cache or from their logs; what is new is kept there."""
    version = version_for(profile)
    for flight in flights:
        doc = book.get_measures(flight.id, version)
        if doc is not None:
            try:
                yield flight.id, Measures.of(doc)
                continue
            except (KeyError, TypeError, ValueError):
                pass  # another program's document: made again below
        found = review(book.read(flight.id), profile)
        longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
        made = measure_flight(found, longest + 1)
        book.put_measures(flight.id, version, made.document())
        yield flight.id, made


def version_for(profile: Aircraft | None) -> str:
    """Version of cached measures: of the document, and of the profile they rest on."""
    text = "" if profile is None else profile.model_dump_json()
    return f"{VERSION}-{hashlib.sha256(text.encode()).hexdigest()[:12]}"
