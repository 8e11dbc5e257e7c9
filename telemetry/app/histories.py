"""Across flights: measures per flight, judging of places against one another and their past.

history = telemetry.history(book, "tern")
history.findings, history.trends, history.series("left wing", "stir_mean_a")
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace

from telemetry.app.cache import fleet_before, measured, measures_of
from telemetry.app.replays import kept_standing, together_of, with_earlier
from telemetry.app.timelines import as_if_added, note_marks
from telemetry.book import BookFlight, Logbook
from telemetry.book.files.names import aircraft_key
from telemetry.checks.across import replay
from telemetry.model.errors import BookError
from telemetry.results import AircraftStanding, History, HistoryFlight, Review
from telemetry.trends.measures import Measures
from telemetry.trends.table import FeatureTable


def history(
    book: Logbook,
    name: str,
    *,
    newer: Review | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    judged: Callable[[int, int], None] | None = None,
) -> History:
    """Judge everything the book holds of one aircraft.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.
    newer : Review, optional
        Of a log of it. Where the book lacks the log, it is judged as if it were in it, at its date.
    executor : Executor, optional
        Measures the flights whose measures the book lacks; without it this process does.
    progress : callable, optional
        Called after each flight that had to be measured: how many are done, of how many.
    judged : callable, optional
        Likewise, after some flights that had to be judged with those before them.

    Returns
    -------
    History

    Raises
    ------
    BookError
        If the book has no flight of it.
    """
    timeline, lacking = as_if_added(book, name, newer)
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    if not flights:
        raise BookError(
            f"the book has no flights of '{name}'", path=book.path, hint="see busbook flights"
        )
    profile = book.profile(name)
    held = [f for f in flights if f.id not in lacking]
    kept = measures_of(book, held, profile, executor=executor, progress=progress)
    if newer is not None:
        # As they would be read from the book.
        made = [Measures.of(measured(newer, n).document()) for n in range(1, len(lacking) + 1)]
        kept |= dict(zip(lacking, made, strict=True))
    listed = [
        HistoryFlight(
            id=f.id,
            start=f.start,
            file=f.file,
            kind=kept[f.id].kind,
            order=f.start_source,
            duration_s=f.duration_s,
            flight_s=kept[f.id].flight_s,
            verdict=kept[f.id].verdict,
            codes=kept[f.id].codes,
            packs=f.packs,
        )
        for f in flights
    ]
    measures, notes = [kept[f.id] for f in flights], note_marks(timeline)
    table = FeatureTable(measures)
    fleet = fleet_before(book, name, timeline, executor=executor)
    together = together_of(
        book,
        name,
        measures,
        listed,
        notes,
        profile,
        table=table,
        fleet=fleet,
        lacking=lacking,
        executor=executor,
        progress=judged,
    )
    found = replay(
        measures,
        notes,
        profile,
        name=aircraft_key(name),
        listed=listed,
        together=together,
        table=table,
        fleet=fleet,
    )
    return found if lacking else with_earlier(book, found, profile)


def standing_of(book: Logbook, name: str) -> AircraftStanding:
    """How an aircraft of the book stands, kept there; parameters and errors as of :func:`history`.

    Without a flight it has no answer.
    """

    def judged() -> AircraftStanding:
        held = held_of(book, name)
        flown = held.flights or held.benches
        return replace(held, answer=history(book, name).answer) if flown else held

    return kept_standing(book, name, judged)


def held_of(book: Logbook, name: str) -> AircraftStanding:
    """What the book holds of an aircraft, which is not judged."""
    timeline = book.timeline(name)
    flights = [entry for entry in timeline if isinstance(entry, BookFlight)]
    return AircraftStanding(
        flights=sum(one.kind != "bench" for one in flights),
        benches=sum(one.kind == "bench" for one in flights),
        notes=len(timeline) - len(flights),
        newest=max((one.start[:10] for one in flights if one.start is not None), default=None),
    )
