"""The page as an application: its addresses, what each does, and the guard before all of them."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from telemetry.model.errors import BusbookError, sentence
from telemetry.page import guiding, keeping, looking, settings
from telemetry.page.answers import Desk, NotFound, shown, told, ways_home
from telemetry.page.rendered import Rendered
from telemetry.page.safety import Door, Guard, Refused
from telemetry.page.standing import Standing
from telemetry.page.work import dropping, sorting
from telemetry.page.work.jobs import Work
from telemetry.report.words import sentence as as_sentence

_DROP = "/drop"
# Fields of the largest form: the settings of an aircraft with very many servos.
_MOST_FIELDS = 3000

Written = Callable[[Request, Mapping[str, Any]], Response]


def make_app(
    book: Path,
    *,
    door: Door,
    cache: Path | None = None,
    work: Work | None = None,
    addresses: tuple[str, ...] = (),
    stop: Callable[[], None] = lambda: None,
) -> Guard:
    """The page of a book.

    Parameters
    ----------
    book : Path
        Absolute; made where there is none.
    door : Door
        Where it is served, and the key that opens it.
    cache : Path, optional
        Folder for pages that were made once; without it they are kept in memory alone.
    work : Work, optional
        Adds the logs that come; it is started and stopped by whoever serves the page.
    addresses : tuple of str
        For other devices, told on the page.
    stop : callable
        Ends the server.

    Returns
    -------
    Guard
        An ASGI application.
    """
    desk = Desk(
        book=book,
        rendered=Rendered(cache),
        work=work or Work(book, workers=0),
        addresses=addresses,
    )
    desk.open()
    app = Starlette(
        routes=_routes(),
        exception_handlers={
            Refused: _refused,
            NotFound: _not_found,
            BusbookError: _wrong,
            HTTPException: _http,
            Exception: _fault,
        },
    )
    app.state.desk = desk
    app.state.standing = Standing(desk.rendered, desk.histories)
    app.state.stop = stop
    return Guard(app, door=door, ask=_ask_key, drops=_DROP)


def _routes() -> list[Route]:
    aircraft, flight = "/aircraft/{name}", "/aircraft/{name}/flights/{number:int}"
    return [
        Route("/", looking.home),
        Route(aircraft, looking.aircraft),
        Route(flight, looking.flight),
        Route(f"{flight}/change", keeping.change),
        Route(f"{flight}/marks", posted(keeping.keep_mark), methods=["POST"]),
        Route(f"{aircraft}/compare", looking.compare),
        Route(f"{aircraft}/checks", looking.checks),
        Route(f"{aircraft}/sheet", looking.sheet),
        Route(f"{aircraft}/note", keeping.note),
        Route(f"{aircraft}/notes", keeping.notes),
        Route(f"{aircraft}/notes", posted(keeping.keep_note), methods=["POST"]),
        Route(f"{aircraft}/settings", settings.settings),
        Route(f"{aircraft}/settings", posted(settings.save), methods=["POST"]),
        Route(f"{aircraft}/settings/text", posted(settings.save_text), methods=["POST"]),
        Route("/undo-settings", posted(settings.undo), methods=["POST"]),
        Route("/remove", posted(keeping.remove), methods=["POST"]),
        Route("/restore", posted(keeping.restore), methods=["POST"]),
        Route("/move", posted(keeping.move), methods=["POST"]),
        Route(_DROP, dropping.drop, methods=["POST"]),
        Route("/demo", posted(dropping.demo), methods=["POST"]),
        Route("/work", dropping.work),
        Route("/sort", sorting.sort),
        Route("/sort/aircraft", posted(sorting.name_aircraft), methods=["POST"]),
        Route("/sort/columns", posted(sorting.settle_columns), methods=["POST"]),
        Route("/guide", guiding.guide),
        Route("/guide/{topic}", guiding.topic),
        Route("/stop", posted(_stop), methods=["POST"]),
        Route("/key", lambda _: RedirectResponse("/", 303), methods=["POST"]),
    ]


def posted(write: Written) -> Callable[[Request], Awaitable[Response]]:
    """A write as an endpoint: the form is read here, the rest happens in a thread."""

    async def endpoint(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=_MOST_FIELDS) as form:
            return await run_in_threadpool(write, request, form)

    return endpoint


def _stop(request: Request, _: Mapping[str, Any]) -> Response:
    stop: Callable[[], None] = request.app.state.stop
    stop()
    return told(
        "busbook is closed.", "What was added is in the book. This page can be closed.", 200
    )


def _ask_key(wrong: bool) -> Response:
    return shown("key", ways_home("").nowhere(), status=403, wrong=wrong)


async def _refused(_: Request, error: Exception) -> Response:
    status = error.status if isinstance(error, Refused) else 400
    return PlainTextResponse(f"{error}\n", status, {"connection": "close"})


async def _not_found(_: Request, error: Exception) -> Response:
    what = error.what if isinstance(error, BusbookError) else "there is no such page"
    return told(as_sentence(what), "It may have been moved or removed.", 404)


async def _wrong(_: Request, error: Exception) -> Response:
    what = error.what if isinstance(error, BusbookError) else sentence(error)
    return told(as_sentence(what), "Nothing was changed.")


async def _http(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 400
    if status == 404:
        return told("There is no such page.", "The list of aircraft leads to all of them.", 404)
    what = error.detail if isinstance(error, HTTPException) else "this cannot be done"
    return told(as_sentence(what), "Nothing was changed.", status)


async def _fault(_: Request, error: Exception) -> Response:
    return told(as_sentence(sentence(error)), "Nothing was changed.", 500)
