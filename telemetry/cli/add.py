"""``busbook add``: logs into the logbook, reviewed and measured on the way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import complete_aircraft
from telemetry.cli.shared import (
    crew_for,
    how_to_read,
    next_step,
    open_book,
    say,
    tell,
    with_book,
    with_reading_options,
    with_workers,
)
from telemetry.model.errors import sentence

if TYPE_CHECKING:
    from telemetry.book import Logbook, Outcome


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--aircraft",
    metavar="NAME",
    shell_complete=complete_aircraft,
    help="Whose logs these are; a new one is made. Else told by the columns the book has learnt.",
)
@with_book
@click.option("--on", metavar="DATE", help="Date of logs that have none: 2026-05-14.")
@with_workers
@click.option("--join", is_flag=True, help="The logs continue each other: add them as one.")
@with_reading_options
@click.pass_context
def add(
    ctx: click.Context,
    logs: tuple[Path, ...],
    aircraft: str | None,
    book: Path | None,
    on: str | None,
    workers: int,
    scheduler: str | None,
    join: bool,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    """Add LOGS to the logbook: files, folders, a whole memory card.

    What the book has already, by its content, is passed by; so the same card can be added again
    and again. The originals are kept. One log that cannot be read does not stop the others.

    \b
    Examples:
      busbook add flight.csv --aircraft tern
      busbook add /media/card --workers 2
      busbook add undated/ --aircraft tern --on 2026-05-14
      busbook add /club/logs --book /club/book --scheduler tcp://192.0.2.10:8786
    """
    from telemetry.app.adding import add_joined, add_logs

    shelf = open_book(book, make=True)
    how = how_to_read(settings, map_file, row_interval)

    def follow(done: int, count: int, one: Outcome) -> None:
        if one.status == "skipped":
            say(f"{done}/{count} {one.file}: no log, passed by")
        elif one.error is not None:
            say(f"{done}/{count} {sentence(one.error)}")
        elif text := _line(one):
            say(f"{done}/{count} {one.file}: {text}")

    if join:
        outcomes: Sequence[Outcome] = (add_joined(shelf, logs, aircraft=aircraft, on=on, **how),)
        follow(1, 1, outcomes[0])
    else:
        with crew_for(workers, scheduler, [*logs, shelf.path]) as crew:
            outcomes = add_logs(
                shelf,
                logs,
                aircraft=aircraft,
                on=on,
                executor=crew.executor,
                pending=crew.pending,
                progress=follow,
                **how,
            )
    _summary(shelf, outcomes, book)
    bad = [o for o in outcomes if o.status in ("failed", "unsure")]
    if bad or not outcomes:
        ctx.exit(2)


def _line(one: Outcome) -> str:
    """What became of one file; nothing for what the book had, which may be a whole card."""
    if one.status == "added":
        count = len(one.flights)
        whose = "" if one.named else f" ({one.reason})"
        return f"added to {one.aircraft}, {count} flight{'s' * (count != 1)}{whose}"
    if one.status == "known":
        return one.reason
    return "not added"


def _summary(shelf: Logbook, outcomes: Sequence[Outcome], book: Path | None) -> None:
    added = Counter(o.aircraft or "" for o in outcomes if o.status == "added")
    flights = Counter[str]()
    for one in outcomes:
        if one.status == "added" and one.aircraft is not None:
            flights[one.aircraft] += len(one.flights)
    for name in sorted(added):
        tell(
            f"{name}: {_counted(flights[name], 'flight')} added from "
            f"{_counted(added[name], 'log')}; the book holds {len(shelf.flights(name))}"
        )
    count = Counter(o.status for o in outcomes)
    if count["known"]:
        tell(f"{_counted(count['known'], 'log')} known already, nothing changed")
    if not outcomes:
        tell("no log found")
    for status, words in (("unsure", "whose they are is not sure"), ("failed", "failed")):
        files = [o.file for o in outcomes if o.status == status]
        if files:
            say(f"{_counted(len(files), 'log')} not added ({words}, reasons above):")
            for file in files:
                say(f"  {file}")
    if count["unsure"]:
        say("Say it once: busbook add LOG --aircraft NAME. Later logs are known by their columns.")
    names = sorted(added) or sorted({o.aircraft for o in outcomes if o.aircraft})
    if names:
        tell(next_step("history", names[0], book=book))


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'s' * (count != 1)}"
