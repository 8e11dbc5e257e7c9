"""What the logbook holds: ``flights``, ``note``, ``check-book``, ``export``."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import (
    complete_aircraft,
    complete_flights_or_files,
)
from telemetry.cli.shared import (
    known_aircraft,
    next_step,
    open_book,
    say,
    tell,
    with_book,
    with_reading_options,
)
from telemetry.model.errors import BusbookError, sentence
from telemetry.model.text import plain

if TYPE_CHECKING:
    from telemetry.book import Logbook
    from telemetry.report.documents.flights import FleetEntry


@click.command()
@click.argument("name", required=False, shell_complete=complete_aircraft)
@with_book
def flights(name: str | None, book: Path | None) -> None:
    """List the flights and notes of the aircraft NAME; without a name, how all aircraft stand.

    \b
    Examples:
      busbook flights
      busbook flights tern
      busbook flights tern --book /media/stick/book
    """
    from telemetry.app.histories import standing_of
    from telemetry.report.documents.flights import render, render_fleet
    from telemetry.report.words import answer_told
    from telemetry.report.writers.screen import wrap

    shelf = open_book(book)
    if name is None:
        fleet = [_standing(shelf, one) for one in shelf.aircraft()]
        click.echo(render_fleet(fleet), nl=False)
        if fleet:
            tell(f"The book lies in {shelf.path}")
            tell(next_step("flights", fleet[0].name, book=book))
        return
    key = known_aircraft(shelf, name)
    timeline = shelf.timeline(key)
    click.echo(render(timeline, shelf.marks()), nl=False)
    answer = standing_of(shelf, key).answer
    if answer is not None:
        click.echo("\n".join(wrap(answer_told(answer), 80)))
    aside = sum(one.aircraft == key for one, _ in shelf.removed())
    if aside:
        tell(f"{aside} of its flights and notes removed; busbook restore lists them")
    tell(next_step("history", key, book=book))


def _standing(shelf: Logbook, name: str) -> FleetEntry:
    """How one aircraft stands; what cannot be judged of one leaves the others be."""
    from telemetry.app.histories import held_of, standing_of
    from telemetry.report.documents.flights import FleetEntry

    try:
        return FleetEntry(name=name, standing=standing_of(shelf, name))
    except BusbookError as error:
        return FleetEntry(name=name, standing=held_of(shelf, name), why=sentence(error))


@click.command("check-book")
@click.option(
    "--accept",
    is_flag=True,
    help="Take files that busbook did not write, and what cannot be put right, as they are.",
)
@with_book
@click.pass_context
def check_book(ctx: click.Context, book: Path | None, accept: bool) -> None:
    """Hold every file of the logbook against what was written; make again what can be.

    Small files that were changed or lost are written back. A profile that was changed is shown.
    This finds accidents of disks, copies and hands, not forgery.

    \b
    Examples:
      busbook check-book
      busbook check-book --book logs/book
      busbook check-book --book /media/stick/book
      busbook check-book --accept
    """
    shelf = open_book(book)
    say(f"checking {shelf.path}")
    report = shelf.check_book(accept=accept)
    aside = f", {report.aside} kept aside" if report.aside else ""
    tell(f"{report.recordings} recordings with {report.flights} flights checked{aside}")
    for title, names in (
        ("made again", report.rebuilt),
        ("damaged and put aside", report.damaged),
        ("removed", report.removed),
    ):
        if names:
            tell(f"{title}:")
            for one in names:
                tell(f"  {one}")
    for edited in report.edited:
        tell(f"changed since busbook wrote it, and kept as it is now: {edited.file}")
        for line in edited.lines:
            tell(f"  {plain(line)}")
    for problem in report.problems:
        say(sentence(problem))
    if report.problems:
        number = len(report.problems)
        tell(f"{number} problem{'s' if number > 1 else ''}, told above")
        ctx.exit(2)
    mended = report.rebuilt or report.damaged or report.edited
    tell(f"everything{' else' if mended else ''} is as it was stored")


@click.command()
@click.argument(
    "what",
    metavar="NAME|FLIGHT...|LOG",
    nargs=-1,
    required=True,
    shell_complete=complete_flights_or_files,
)
@click.option(
    "--to",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Parquet or clean CSV, by its ending.",
)
@with_book
@with_reading_options
def export(
    what: tuple[str, ...],
    to: Path,
    book: Path | None,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    """Write an aircraft's flights, some of them, or a log as one table: Parquet or clean CSV.

    A flight is meant by its aircraft and number, by its log's name, or by the start of its id.
    Each row begins with the flight's id, its date, the aircraft and the name of the log.

    \b
    Examples:
      busbook export tern --to tern.parquet
      busbook export tern 11 12 --to two.csv
      busbook export flight.csv --to clean.csv
    """
    if len(what) == 1 and os.path.isfile(what[0]):  # noqa: PTH113 - Path.is_file() raises on too long a name
        _export_log(Path(what[0]), to, settings, map_file, row_interval)
    else:
        open_book(book).export(what, to)
    tell(f"wrote {to}")


def _export_log(
    log: Path,
    to: Path,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    from telemetry.book import export_log
    from telemetry.cli.shared import how_to_read
    from telemetry.importer import read_log
    from telemetry.model.errors import OutputError

    if to.exists() and to.samefile(log):
        raise OutputError("is the log itself", path=to, hint="name another file")
    export_log(read_log(log, **how_to_read(settings, map_file, row_interval)), to)
