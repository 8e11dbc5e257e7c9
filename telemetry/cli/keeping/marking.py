"""``busbook mark``: a moment of a flight, in words."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.cli.keeping.completing import complete_flights
from telemetry.cli.shared import next_step, open_book, tell, with_book


@click.command()
@click.argument("what", metavar="ID...", nargs=-1, required=True, shell_complete=complete_flights)
@click.argument("text")
@click.option(
    "--at",
    required=True,
    metavar="TIME",
    help="From the flight's first row, as its own report counts: seconds, or mm:ss.",
)
@with_book
def mark(what: tuple[str, ...], text: str, at: str, book: Path | None) -> None:
    """Mark a moment of a flight in TEXT; the flight's report shows it.

    ID is the aircraft and the flight's number, the name of its log, or the start of its id. A mark
    closes nothing; 'busbook note' is for what was done.

    \b
    Examples:
      busbook mark tern 11 "hard landing" --at 07:23
      busbook mark may-14.csv "motor stuttered" --at 212.5
    """
    from telemetry.app.noting import moment_named
    from telemetry.book import flights_named
    from telemetry.model.errors import BookError
    from telemetry.report.documents.flights import entry_words

    shelf = open_book(book)
    flights = flights_named(shelf, what)
    if len(flights) != 1:
        raise BookError(
            f"{len(flights)} flights are named, and a mark is of one",
            path=shelf.path,
            hint="name it by its aircraft and number",
        )
    made = shelf.mark(flights[0].id, moment_named(at), text)
    tell(f"in the book: {entry_words(made)}")
    tell(f"take it back: busbook remove mark {made.id}")
    tell(next_step("review", flights[0].id, book=book))
