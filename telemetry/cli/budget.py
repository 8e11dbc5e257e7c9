"""``busbook budget``: what the wiring and the packs can carry."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.cli.keeping.completing import complete_aircraft_or_file
from telemetry.cli.shared import (
    find_logs,
    formats_of,
    how_to_read,
    is_profile,
    known_aircraft,
    open_book,
    profile_of,
    say,
    with_book,
    with_reading_options,
    with_report_options,
)
from telemetry.model.errors import BookError, BusbookError, sentence

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.circuit.budget_records import Budget
    from telemetry.model.log import Log
    from telemetry.report.document import Document
    from telemetry.results import Review


@click.command()
@click.argument("profile", metavar="FILE|NAME", shell_complete=complete_aircraft_or_file)
@click.option(
    "--log",
    "logs",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="LOG",
    help="Hold it against this log, or the logs of a folder; may be repeated.",
)
@click.option(
    "--last",
    type=click.IntRange(min=0),
    default=10,
    show_default=True,
    metavar="N",
    help="Without --log: newest flights of the book to take; 0 for a design.",
)
@with_book
@with_report_options
@click.option("--json", "as_json", is_flag=True, help="Print the budget as JSON instead of text.")
@with_reading_options
@click.pass_context
def budget(
    ctx: click.Context,
    profile: str,
    logs: tuple[Path, ...],
    last: int,
    book: Path | None,
    out: Path | None,
    formats: str | None,
    paper: str,
    as_json: bool,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    """Work out what wires, plugs, supplies and packs carry, and the voltage left at each place.

    From the profile alone it is a design; with logs, or flights of the book, it holds the
    prediction against what was measured.

    \b
    Examples:
      busbook budget tern.toml
      busbook budget tern --log flight.csv --out reports
    """
    from telemetry.app.pipeline import review
    from telemetry.circuit.budget import budget as worked_out
    from telemetry.circuit.together import together
    from telemetry.report.documents.of_budget import budget_document

    wanted = formats_of(formats, out)
    craft = profile_of(profile, book)
    if craft is None:
        raise BookError(
            f"the book has no profile of '{profile}'",
            hint=f"'busbook aircraft new {profile} --from LOG' begins one",
        )
    reading = how_to_read(settings, map_file, row_interval)
    found = _given(logs, reading) if logs else _of_book(profile, book, last)
    reviews: list[Review] = []
    errors: list[tuple[str, str]] = []
    for name, log in found:
        if isinstance(log, BusbookError):
            say(sentence(log))
            errors.append((name, sentence(log)))
        else:
            reviews.append(review(log, craft))
    if logs and not reviews:
        ctx.exit(2)
    reviews.sort(key=lambda r: r.log.provenance.start or "")
    state = together(reviews)
    if state is None:
        craft = craft.on(None)
        made = worked_out(craft)
    else:
        craft = state.aircraft
        made = worked_out(craft, state.resistances, state.measured)
    document = budget_document(made, craft, 0 if state is None else state.flights, profile)
    if wanted:
        _write(made, craft, document, Path() if out is None else out, wanted, paper)
    if as_json:
        from telemetry.report.writers import json as report_json

        files = [r.log.provenance.file for r in reviews]
        click.echo(report_json.dumps(report_json.budget_document(made, files, errors)), nl=False)
    else:
        from telemetry.report.writers.terminal import text_of

        click.echo(text_of(document), nl=False)
    if errors:
        ctx.exit(2)


def _given(
    logs: tuple[Path, ...], reading: dict[str, Any]
) -> Iterator[tuple[str, Log | BusbookError]]:
    """The logs named, each read; one that cannot be read does not stop the others."""
    from telemetry.importer import read_log

    paths = find_logs(logs)
    for number, path in enumerate(paths, 1):
        if isinstance(path, BusbookError):
            yield str(path.path), path
            continue
        if len(paths) > 1:
            say(f"{number}/{len(paths)} {path}")
        try:
            yield str(path), read_log(path, **reading)
        except BusbookError as error:
            yield str(path), error


def _of_book(
    profile: str, book: Path | None, last: int
) -> Iterator[tuple[str, Log | BusbookError]]:
    """The newest flights of an aircraft of the book; of a profile's file there are none."""
    if is_profile(profile) or not last:
        return
    shelf = open_book(book)
    flights = [f for f in shelf.flights(known_aircraft(shelf, profile)) if f.kind != "bench"]
    for number, flight in enumerate(flights[-last:], 1):
        say(f"{number}/{min(last, len(flights))} flight {flight.id}")
        try:
            yield flight.id, shelf.read(flight.id)
        except BusbookError as error:
            yield flight.id, error


def _write(
    made: Budget,
    craft: Aircraft,
    document: Document,
    folder: Path,
    wanted: tuple[str, ...],
    paper: str,
) -> None:
    from telemetry.report.documents.of_budget import picture_of_budget
    from telemetry.report.draw import PathScene
    from telemetry.report.writers.writing import report_name, write_bytes, write_text

    scene = PathScene(picture_of_budget(made, craft))
    for kind in wanted:
        path = folder / report_name(f"{craft.name}-budget.toml", f".{kind}")
        if kind == "html":
            from telemetry.report.writers.html import page

            write_text(path, page(document, scene))
        else:
            from telemetry.report.writers.pdf import render

            write_bytes(path, render(document, scene, paper))
        say(f"wrote {path}")
