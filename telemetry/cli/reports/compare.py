"""``busbook compare``: two flights of an aircraft laid over one another."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import complete_flights
from telemetry.cli.shared import formats_of, open_book, say, with_book, with_report_options
from telemetry.model.errors import UnknownSetting

if TYPE_CHECKING:
    from telemetry.report.document import Document
    from telemetry.results import FlightPair


@click.command()
@click.argument(
    "flights", nargs=-1, required=True, metavar="NAME A B", shell_complete=complete_flights
)
@with_book
@with_report_options
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as JSON instead.")
def compare(
    flights: tuple[str, ...],
    book: Path | None,
    out: Path | None,
    formats: str | None,
    paper: str,
    as_json: bool,
) -> None:
    """Hold flights A and B of the aircraft NAME against one another: what differs first.

    Both are drawn on one scale and aligned at take-off, or at the stir where one did not fly.

    \b
    Examples:
      busbook compare tern 6 12
      busbook compare tern 6 12 --out reports --format html,pdf
    """
    from telemetry.app.comparing import compare_flights
    from telemetry.book import flights_named

    wanted = formats_of(formats, out)
    shelf = open_book(book)
    found = flights_named(shelf, flights)
    if len(found) != 2:
        what = f"{len(found)} flight{'s' * (len(found) != 1)} named"
        raise UnknownSetting(what, hint="name two different ones: busbook compare tern 6 12")

    def tell(done: int, count: int) -> None:
        say(f"{done}/{count} measured")

    pair = compare_flights(shelf, *found, progress=tell)
    from telemetry.report.documents.of_pair import pair_document

    document = pair_document(pair)
    if wanted:
        _write(pair, document, Path() if out is None else out, wanted, paper)
    if as_json:
        from telemetry.report.writers import json as report_json

        click.echo(report_json.dumps(report_json.pair_content(pair)), nl=False)
    else:
        from telemetry.report.writers.terminal import text_of

        click.echo(text_of(document), nl=False)


def _write(
    pair: FlightPair, document: Document, folder: Path, wanted: tuple[str, ...], paper: str
) -> None:
    from telemetry.report.draw_pair import PairScene
    from telemetry.report.writers.writing import report_name, write_bytes, write_text

    scene = PairScene(pair)
    stem = f"{pair.history.name}-{pair.first.number}-{pair.second.number}."
    for kind in wanted:
        path = folder / report_name(stem, f".{kind}")
        if kind == "html":
            from telemetry.report.writers.html import page

            write_text(path, page(document, scene))
        else:
            from telemetry.report.writers.pdf import render

            write_bytes(path, render(document, scene, paper))
        say(f"wrote {path}")
