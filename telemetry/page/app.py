"""The page as an application: the list of aircraft, all else behind it, the guard before both."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.types import Receive, Scope, Send

from telemetry.model.errors import BusbookError, sentence
from telemetry.page.answers import Desk, NotFound, shown, told, ways_home
from telemetry.page.rendered import Rendered
from telemetry.page.safety import Door, Guard, Refused
from telemetry.page.standing import Standing, home
from telemetry.page.start.loading import load
from telemetry.page.work.jobs import Work
from telemetry.report.words import sentence as as_sentence

_DROP = "/drop"


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
        routes=[Route("/", _home), Mount("/", _rest)],
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


async def _home(request: Request) -> Response:
    """The list of aircraft; the rest is loaded behind it."""
    response = await run_in_threadpool(home, request)
    response.background = BackgroundTask(load)
    return response


async def _rest(scope: Scope, receive: Receive, send: Send) -> None:
    """Every other page."""
    await (await run_in_threadpool(load))(scope, receive, send)


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
