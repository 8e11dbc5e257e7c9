"""Pages that only show: an aircraft, a flight, two flights, the checks, the sheet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from telemetry.app.comparing import compare_flights
from telemetry.app.jobs import Job, review_of
from telemetry.app.pipeline import review
from telemetry.book import BookFlight, Logbook
from telemetry.page.answers import (
    Desk,
    NotFound,
    answered,
    desk_of,
    known,
    rendered,
    shown,
    to,
    ways_of,
)
from telemetry.page.histories import Judging
from telemetry.page.said import said_in
from telemetry.report.documents.across import Across
from telemetry.report.documents.of_history import history_document
from telemetry.report.documents.of_pair import pair_document
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene
from telemetry.report.draw_history import HistoryScene
from telemetry.report.draw_pair import PairScene
from telemetry.report.parts.checked import checked_across_section, checked_section
from telemetry.report.sheet import page as sheet_page
from telemetry.report.sheet.content import sheet_of
from telemetry.report.words import date_words
from telemetry.report.writers import html
from telemetry.results import History

# How long a page waits for a history, s, before it says how far that is.
PATIENCE_S = 10.0


def aircraft(request: Request) -> Response:
    """What about this one?"""
    return _of_history(request, "aircraft", _history_page, said=True)


def _history_page(_: Logbook, name: str, found: History) -> str:
    links = {f.id: to("aircraft", name, "flights", n) for n, f in enumerate(found.flights, 1)}
    document = history_document(found, links)
    return html.page(document, HistoryScene.of(Across.of(found)), around=ways_of(name))


def _of_history(
    request: Request,
    page: str,
    make: Callable[[Logbook, str, History], str],
    *,
    said: bool = False,
) -> Response:
    """A page made of a history; the one that says how far it is, while that is judged."""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    told = said_in(desk, book, request) if said else ""
    key = (page, *_whole(desk, book, name))
    ready = desk.rendered.known(key)
    if ready is not None:
        return answered(ready, told)
    around = ways_of(name, "" if page == "aircraft" else page.partition(" ")[0])
    if not book.flights(name):
        return shown("bare", around, said=told, name=name)
    found = desk.histories.get(book, name, PATIENCE_S)
    if isinstance(found, Judging):
        return shown("judging", around, said=told, name=name, judging=found, again=True)
    return answered(desk.rendered.get(key, lambda: make(book, name, found)), told)


def flight(request: Request) -> Response:
    """What happened in this flight?"""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    number = request.path_params["number"]
    key = ("flight", str(number), *_whole(desk, book, name))
    ready = desk.rendered.known(key)
    if ready is not None:
        return answered(ready, said_in(desk, book, request))
    one = numbered(book, request)[2]
    last = len(book.flights(name))

    def make() -> str:
        made = review_of(
            Job(
                sources=(one.id,),
                folder=desk.book,
                how={},
                book=desk.book,
                name=name,
                craft=book.profile(name),
                formats=(),
                paper="a4",
                as_json=False,
            ),
            lambda _: None,
        )
        around = replace(
            ways_of(name, "flight", number, last),
            mark=to("aircraft", name, "flights", number, "marks"),
        )
        around = around.with_more(
            "Move or remove this flight", to("aircraft", name, "flights", number, "change")
        )
        return html.render(document_of(made), Scene.of(made), around)

    # The review stands beside the history, which may take its time.
    found = desk.histories.get(book, name, PATIENCE_S)
    if isinstance(found, Judging):
        return shown("judging", ways_of(name), name=name, judging=found, again=True)
    return answered(desk.rendered.get(key, make), said_in(desk, book, request))


def compare(request: Request) -> Response:
    """What changed between two flights?"""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    flights = book.flights(name)
    asked = [request.query_params.get(key, "") for key in ("a", "b")]
    chosen = [
        int(n) for n in asked if n.isascii() and n.isdecimal() and 0 < int(n[:9]) <= len(flights)
    ]
    around = ways_of(name, "compare")
    if len(chosen) < 2 or chosen[0] == chosen[1]:
        problem = "" if not any(asked) else "Choose two different flights of this aircraft."
        listed = [(n, date_words(f.start), f.file) for n, f in enumerate(flights, 1)]
        return shown("compare", around, name=name, flights=listed, chosen=chosen, problem=problem)

    def make() -> str:
        pair = compare_flights(book, *(flights[n - 1] for n in chosen))
        return html.page(pair_document(pair), PairScene(pair), around=around)

    key = ("compare", *map(str, chosen), *_whole(desk, book, name))
    return answered(desk.rendered.get(key, make))


def checks(request: Request) -> Response:
    """What was looked for, and what would have been seen?"""
    return _of_history(request, "checks", _checks_page)


def _checks_page(book: Logbook, name: str, found: History) -> str:
    newest = review(book.read(found.flights[-1].id), book.profile(name))
    across = checked_across_section(found.checks)
    sections = [replace(checked_section(newest.checks), title="In the newest recording")]
    if across is not None:
        sections.insert(0, replace(across, title="Across all flights"))
    return rendered(
        "sections",
        ways_of(name, "checks"),
        title=f"{name}: what was checked",
        lead="What each check looked for, where, and what it would have seen there. What could "
        "not be judged says why, and what would make it possible.",
        sections=sections,
    )


def sheet(request: Request) -> Response:
    """What do I take to the field?"""
    paper = "letter" if request.query_params.get("paper") == "letter" else "a4"

    def make(book: Logbook, name: str, found: History) -> str:
        newest = review(book.read(found.flights[-1].id), book.profile(name))
        hashes = {part.id: one.sha256 for one in book.recordings(name) for part in one.flights}
        made = sheet_of(found, newest, hashes)
        return sheet_page.render(made, paper, around=ways_of(name, "sheet"))

    return _of_history(request, f"sheet {paper}", make)


def numbered(book: Logbook, request: Request) -> tuple[str, int, BookFlight]:
    """The aircraft, the number and the flight that an address names.

    Raises
    ------
    NotFound
        Where the book has no such flight.
    """
    name = known(book, request.path_params["name"])
    flights = book.flights(name)
    number = request.path_params["number"]
    if not 1 <= number <= len(flights):
        raise NotFound(f"'{name}' has no flight {number}")
    return name, number, flights[number - 1]


def _whole(desk: Desk, book: Logbook, name: str) -> tuple[str, str, str]:
    """What every page of an aircraft depends on."""
    return str(desk.book), name, book.state(name)
