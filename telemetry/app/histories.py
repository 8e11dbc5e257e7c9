"""Across flights: measures per flight, judging of places against one another and their past.

history = telemetry.history(book, "tern")
history.findings, history.trends, history.series("left wing", "stir_mean_a")
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor

from telemetry.app.cache import measures_of
from telemetry.app.note_marks import note_marks
from telemetry.book import BookFlight, Logbook
from telemetry.checks.across import judge
from telemetry.model.errors import BookError
from telemetry.results import History, HistoryFlight


def history(
    book: Logbook,
    name: str,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> History:
    """Judge everything the book holds of one aircraft.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.
    executor : Executor, optional
        Measures the flights whose measures the book lacks; without it this process does.
    progress : callable, optional
        Called after each flight that had to be measured: how many are done, of how many.

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
    kept = measures_of(book, flights, profile, executor=executor, progress=progress)
    return judge(
        [kept[f.id] for f in flights],
        note_marks(timeline),
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
                verdict=kept[f.id].verdict,
                codes=kept[f.id].codes,
            )
            for f in flights
        ],
    )
