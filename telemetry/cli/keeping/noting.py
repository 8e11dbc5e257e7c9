"""``busbook note``: what was done, and what that closes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import complete_aircraft, complete_places
from telemetry.cli.shared import (
    known_aircraft,
    next_step,
    on_a_terminal,
    open_book,
    say,
    tell,
    with_book,
)
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.errors import BusbookError, sentence

if TYPE_CHECKING:
    from telemetry.book import Note
    from telemetry.results import Finding


@click.command()
@click.argument("name", shell_complete=complete_aircraft)
@click.argument("text")
@click.option(
    "--kind",
    required=True,
    type=click.Choice(["repaired", "changed", "checked", "charged"]),
    help="repaired and changed close what was found at their place; checked accepts it as it is.",
)
@click.option(
    "--place",
    metavar="P",
    shell_complete=complete_places,
    help="Such as 'left wing' or 'pack 1'; 'all' is every place. Without it nothing is closed.",
)
@click.option(
    "--on", metavar="DATE", help="Date, or date and time, not later than today; else now."
)
@click.option("--yes", is_flag=True, help="Keep it without a question.")
@with_book
def note(
    name: str,
    text: str,
    kind: str,
    place: str | None,
    on: str | None,
    yes: bool,
    book: Path | None,
) -> None:
    """Note on the aircraft NAME what was done, in TEXT.

    What it closes is shown before it is kept, and asked about on a terminal. A script's note is
    kept; 'busbook remove note' takes it back.

    \b
    Examples:
      busbook note tern "plug cleaned" --kind repaired --place "left wing"
      busbook note tern "both packs full" --kind charged --on 2026-05-14T09:30
    """
    from telemetry.app.noting import closed_by, place_named
    from telemetry.book import NoteKind
    from telemetry.report.words import quoted

    shelf = open_book(book)
    key = known_aircraft(shelf, name)
    where = None if place is None else place_named(shelf, key, place)
    draft = shelf.draft_note(key, text, kind=NoteKind(kind), place=where, on=on)
    try:
        closed = closed_by(shelf, draft)
    except BusbookError as error:  # a history that cannot be made keeps no note from the book
        say(f"what it closes cannot be told: {sentence(error)}")
        closed = ()
    if closed:
        _show(closed)
        if not yes and on_a_terminal() and not click.confirm("Keep the note?", err=True):
            tell("not kept; nothing is changed")
            return
    made = shelf.keep_note(draft)
    tell(f"noted for {key}, {made.date[:10]}: {made.kind}{_at(made)}: {made.text}")
    if made.kind in (NoteKind.REPAIRED, NoteKind.CHANGED):
        tell(_effect(made))
    tell(f"take it back: busbook remove note {quoted(key)} {made.number}")
    tell(next_step("history", key, book=book))


def _show(closed: Sequence[Finding]) -> None:
    from telemetry.report.writers.screen import wrap

    tell("it closes:" if len(closed) == 1 else f"it closes {len(closed)} findings:")
    for one in closed:
        for line in wrap(f"{one.level}: {one.title}", 80, "  ", "    "):
            tell(line)


def _at(made: Note) -> str:
    return "" if made.place is None else f", {made.place}"


def _effect(made: Note) -> str:
    if made.place is None:
        return "it names no place and closes nothing; --place P is one place, --place all every one"
    of = "every place" if made.place == EVERY_PLACE else made.place
    return f"the baseline of {of} begins anew with the next flight after that"
