"""Logs that are dropped on the page, the demo season, and how far they are."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from telemetry.importer.text.archive import is_log
from telemetry.page.answers import Desk, desk_of, gone, shown, told, ways_home
from telemetry.page.work.batches import STATES, WAITING, Batch
from telemetry.simulate import demo_season

# Files that may come at once, and bytes of one of them: a card of a season holds less.
_MOST_FILES = 2000
_MOST_BYTES = 1 << 29
# Of these many files, one that is named like no log is passed by without a word.
_MANY = 3


async def drop(request: Request) -> Response:
    """Take in the files that were dropped or chosen."""
    async with request.form(max_files=_MOST_FILES, max_fields=10) as form:
        sent = [one for one in form.getlist("logs") if isinstance(one, UploadFile)]
        return await run_in_threadpool(_taken, desk_of(request), sent)


def _taken(desk: Desk, sent: list[UploadFile]) -> Response:
    files = [(one.filename or "", one) for one in sent if one.filename and one.size]
    if len(files) > _MANY:
        files = [(name, one) for name, one in files if _may_be_one(name)]
    if not files:
        return told(
            "There was no log among these files.",
            "Choose the files that the transmitter wrote: most end in .csv; a zip of them will do.",
        )
    large = next((name for name, one in files if (one.size or 0) > _MOST_BYTES), None)
    if large is not None:
        return told(
            f"{large[:80]} is larger than {_MOST_BYTES >> 20} MB; nothing was taken in.",
            "No flight's log is so large; is it one?",
            413,
        )
    try:
        desk.work.came(desk.work.spool.take((name, one.file) for name, one in files))
    except OSError as error:
        why = error.strerror or str(error)
        return told(f"The logs could not be kept ({why}); nothing was taken in.", status=507)
    return gone("/work")


def _may_be_one(name: str) -> bool:
    last = name.replace("\\", "/").rpartition("/")[2]
    return bool(last) and (is_log(last) or last.lower().endswith(".zip"))


def demo(request: Request, _: Mapping[str, Any]) -> Response:
    """Take in the invented season of the demo, which the worker makes."""
    spool = desk_of(request).work.spool

    def make() -> Batch | None:
        with tempfile.TemporaryDirectory() as folder:
            files = [p for p in demo_season(Path(folder)) if is_log(p.name)]
            return spool.take((p.name, p) for p in files)

    desk_of(request).work.make("The invented season is being made.", make)
    return gone("/work")


def work(request: Request) -> Response:
    """How far is it?"""
    desk = desk_of(request)
    batches = desk.work.shown()
    return shown(
        "work",
        ways_home("/work"),
        batches=batches,
        busy=desk.work.busy,
        again=desk.work.busy,
        making=list(desk.work.making),
        waiting=sum(b.count(WAITING) for b in batches),
        asked=desk.work.questions(),
        states=STATES,
        broken=desk.work.broken,
        trouble=desk.work.trouble,
    )
