"""What a shell completes from the logbook: aircraft, their flights, their places.

A completion never fails and never writes: where the book cannot be read, nothing is offered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

from telemetry.cli.shared import open_book
from telemetry.model.errors import BusbookError
from telemetry.model.text import plain

if TYPE_CHECKING:
    from telemetry.book import Logbook

Items = list[CompletionItem]
Complete = Callable[[click.Context, click.Parameter, str], Items]


def _quietly(complete: Complete) -> Complete:
    """A completion that offers nothing where it fails."""

    @wraps(complete)
    def quiet(ctx: click.Context, param: click.Parameter, incomplete: str) -> Items:
        try:
            return complete(ctx, param, incomplete)
        except (BusbookError, OSError):
            return []

    return quiet


@_quietly
def complete_aircraft(ctx: click.Context, _: click.Parameter, incomplete: str) -> Items:
    """Aircraft of the book."""
    return _starting(_book(ctx).aircraft(), incomplete)


@_quietly
def complete_flights(ctx: click.Context, param: click.Parameter, incomplete: str) -> Items:
    """Aircraft of the book, and behind one the numbers of its flights."""
    book = _book(ctx)
    everyone = book.aircraft()
    said = [str(word) for word in ctx.params.get(param.name or "") or ()]
    named = [word.lower() for word in said if word.lower() in everyone]
    flights = book.flights(named[-1]) if named else ()
    numbers = [
        CompletionItem(str(f.number), help=plain(f"{(f.start or '')[:10]} {f.file}"))
        for f in flights
        if str(f.number).startswith(incomplete) and str(f.number) not in said
    ]
    return numbers + _starting(everyone, incomplete)


@_quietly
def complete_places(ctx: click.Context, _: click.Parameter, incomplete: str) -> Items:
    """Places of the aircraft that is named: of its profile and its newest flight."""
    # Before an option that has no value yet click leaves the words as they are.
    from telemetry.app.noting import known_places

    name = str(ctx.params.get("name") or next(iter(ctx.args), "")).lower()
    book = _book(ctx)
    if name not in book.aircraft():
        return []
    known = list(islice(known_places(book, name), 2))[-1]
    return _starting(sorted({*known.values()}), incomplete)


@_quietly
def complete_removed(ctx: click.Context, __: click.Parameter, incomplete: str) -> Items:
    """Ids of what was removed."""
    shelf = _book(ctx)
    aside = (*shelf.removed(), *shelf.removed_marks())
    return _starting((entry.id for entry, _ in aside), incomplete)


@_quietly
def complete_marks(ctx: click.Context, __: click.Parameter, incomplete: str) -> Items:
    """Ids of marks."""
    return _starting((mark.id for mark in _book(ctx).marks()), incomplete)


@_quietly
def complete_aircraft_or_file(ctx: click.Context, param: click.Parameter, incomplete: str) -> Items:
    """Aircraft of the book, and files."""
    return _or_files(complete_aircraft(ctx, param, incomplete), incomplete)


@_quietly
def complete_flights_or_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> Items:
    """As :func:`complete_flights`, and files."""
    return _or_files(complete_flights(ctx, param, incomplete), incomplete)


def _book(ctx: click.Context) -> Logbook:
    given = ctx.params.get("book")
    return open_book(None if given is None else Path(given))


def _starting(words: Iterable[str], incomplete: str) -> Items:
    return [CompletionItem(one) for one in words if one.startswith(incomplete.lower())]


def _or_files(found: Items, incomplete: str) -> Items:
    """With files by the shell; beside words of our own, which keep some shells from it, by us."""
    if not found:
        return [CompletionItem(incomplete, type="file")]
    path = Path(incomplete)
    folder, start = (path, "") if incomplete.endswith(("/", "\\")) else (path.parent, path.name)
    inside = sorted(folder.glob("*")) if folder.is_dir() else []
    shown = (p for p in inside if p.name.startswith(start) and p.name[0] != ".")
    return found + [CompletionItem(str(p)) for p in shown]
