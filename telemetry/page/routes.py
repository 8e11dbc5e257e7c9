"""The addresses of all pages but the list of aircraft, and what each does."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route, Router

from telemetry.page import guiding, keeping, looking, settings
from telemetry.page.answers import told
from telemetry.page.work import dropping, sorting

# Fields of the largest form: the settings of an aircraft with very many servos.
_MOST_FIELDS = 3000
_AIRCRAFT, _FLIGHT = "/aircraft/{name}", "/aircraft/{name}/flights/{number:int}"

Written = Callable[[Request, Mapping[str, Any]], Response]


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


#: What answers them.
REST = Router(
    [
        Route(_AIRCRAFT, looking.aircraft),
        Route(_FLIGHT, looking.flight),
        Route(f"{_FLIGHT}/change", keeping.change),
        Route(f"{_FLIGHT}/marks", posted(keeping.keep_mark), methods=["POST"]),
        Route(f"{_AIRCRAFT}/compare", looking.compare),
        Route(f"{_AIRCRAFT}/checks", looking.checks),
        Route(f"{_AIRCRAFT}/sheet", looking.sheet),
        Route(f"{_AIRCRAFT}/note", keeping.note),
        Route(f"{_AIRCRAFT}/notes", keeping.notes),
        Route(f"{_AIRCRAFT}/notes", posted(keeping.keep_note), methods=["POST"]),
        Route(f"{_AIRCRAFT}/settings", settings.settings),
        Route(f"{_AIRCRAFT}/settings", posted(settings.save), methods=["POST"]),
        Route(f"{_AIRCRAFT}/settings/text", posted(settings.save_text), methods=["POST"]),
        Route("/undo-settings", posted(settings.undo), methods=["POST"]),
        Route("/remove", posted(keeping.remove), methods=["POST"]),
        Route("/restore", posted(keeping.restore), methods=["POST"]),
        Route("/move", posted(keeping.move), methods=["POST"]),
        Route("/drop", dropping.drop, methods=["POST"]),
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
)
