"""``busbook history``: what all flights of one aircraft together tell."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import complete_aircraft
from telemetry.cli.shared import (
    crew_for,
    formats_of,
    known_aircraft,
    open_book,
    say,
    with_book,
    with_report_options,
    with_workers,
)
from telemetry.model.errors import sentence

if TYPE_CHECKING:
    from telemetry.book import Logbook
    from telemetry.results import History

# Flights that are judged in a moment.
_FEW = 50


@click.command()
@click.argument("name", shell_complete=complete_aircraft)
@with_book
@with_report_options
@click.option(
    "--reviews",
    type=click.IntRange(min=0),
    default=20,
    show_default=True,
    metavar="N",
    help="With html: also a review of the newest N flights, to open from the history.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the history as JSON instead of text.")
@with_workers
def history(
    name: str,
    book: Path | None,
    out: Path | None,
    formats: str | None,
    paper: str,
    reviews: int,
    as_json: bool,
    workers: int,
    scheduler: str | None,
) -> None:
    """Judge all flights of the aircraft NAME: servos, leads, contacts, packs.

    \b
    Examples:
      busbook history tern
      busbook history tern --out reports --format html,pdf
      busbook history tern --json
    """
    from telemetry.app.histories import history as judged

    wanted = formats_of(formats, out)
    shelf = open_book(book)
    key = known_aircraft(shelf, name)

    def tell(done: int, count: int) -> None:
        say(f"{done}/{count} measured")

    def tell_judged(done: int, count: int) -> None:
        if count > _FEW:
            say(f"{done}/{count} judged with the flights before them")

    with crew_for(workers, scheduler, [shelf.path]) as crew:
        found = judged(shelf, key, executor=crew.executor, progress=tell, judged=tell_judged)
    folder = Path() if out is None else out
    if wanted:
        _write(shelf, found, folder, wanted, paper, reviews)
    if as_json:
        from telemetry.report.writers import json as report_json

        click.echo(report_json.dumps(report_json.history_document(found)), nl=False)
    else:
        # Its document names figures by what draws them: the library for that is loaded only here.
        from telemetry.report.documents.of_history import history_document
        from telemetry.report.writers.terminal import text_of

        click.echo(text_of(history_document(found)), nl=False)


def _write(
    shelf: Logbook,
    found: History,
    folder: Path,
    wanted: tuple[str, ...],
    paper: str,
    reviews: int,
) -> None:
    from telemetry.report.documents.of_history import history_document
    from telemetry.report.output import to_pdf
    from telemetry.report.writers.writing import report_name, write_text

    stem = report_name(f"{found.name}-history.")
    if "html" in wanted:
        from telemetry.report.documents.across import Across
        from telemetry.report.draw_history import HistoryScene
        from telemetry.report.writers.html import page

        links = _write_reviews(
            shelf, found, folder, f"{report_name(f'{found.name}.')}-flights", reviews
        )
        path = folder / f"{stem}.html"
        write_text(path, page(history_document(found, links), HistoryScene.of(Across.of(found))))
        say(f"wrote {path}")
    if "pdf" in wanted:
        path = folder / f"{stem}.pdf"
        to_pdf(found, path, paper=paper)
        say(f"wrote {path}")


def _write_reviews(
    shelf: Logbook, found: History, folder: Path, inside: str, most: int
) -> dict[str, str]:
    """Reviews of the newest flights, and of those that findings began with; their links by id."""
    from telemetry.app.pipeline import review
    from telemetry.app.usual import beside
    from telemetry.report.output import to_html
    from telemetry.report.writers.writing import report_name

    began = {f.since_flight for f in found.findings} if most else set()
    newest = {f.id for f in found.flights[len(found.flights) - min(most, len(found.flights)) :]}
    chosen = [(n, f) for n, f in enumerate(found.flights, 1) if f.id in began or f.id in newest]
    profile = shelf.profile(found.name)
    links = {}
    for done, (n, flight) in enumerate(chosen, 1):
        link = f"{inside}/{n:03d}-{report_name(flight.file)}.html"
        try:
            one = review(shelf.read(flight.id), profile)
            one = replace(
                one,
                compared=beside(shelf, found.name, one, found),
                aircraft_answer=found.answer,
                aircraft_open=found.open,
            )
            to_html(one, folder / link)
        except Exception as error:  # one flight that cannot be shown does not cost the history
            say(f"{flight.file}: {sentence(error)}")
            continue
        links[flight.id] = link
        say(f"{done}/{len(chosen)} wrote {folder / link}")
    return links
