"""``busbook add``: logs into the logbook, reviewed and measured on the way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import complete_aircraft
from telemetry.cli.keeping.naming import with_flights
from telemetry.cli.shared import (
    crew_for,
    how_to_read,
    next_step,
    on_a_terminal,
    open_book,
    say,
    tell,
    with_book,
    with_reading_options,
    with_workers,
)
from telemetry.model.errors import BookError, sentence

if TYPE_CHECKING:
    from telemetry.book import Logbook, Outcome

# Logs that are named where a question is about many.
_MOST_NAMED = 5


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--aircraft",
    metavar="NAME",
    shell_complete=complete_aircraft,
    help="Whose logs these are, where they do not tell; a new one is made.",
)
@with_book
@click.option("--on", metavar="DATE", help="Date of logs that have none: 2026-05-14.")
@with_workers
@click.option(
    "--packs",
    metavar="NAME",
    help="The set of packs they were flown with; also of flights in the book. '' takes it back.",
)
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
    packs: str | None,
    join: bool,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    """Add LOGS to the logbook: files, folders, a whole memory card.

    A log whose header names the model goes to that aircraft, also where it is new; else its columns
    and its name tell. For those that do not tell, --aircraft says it, or a question once for all.

    What the book has already, by its content, is passed by; so the same card can be added again
    and again. The originals are kept. One log that cannot be read does not stop the others.

    \b
    Examples:
      busbook add /media/card
      busbook add flight.csv --aircraft tern
      busbook add /media/card --workers 2
      busbook add undated/ --aircraft tern --on 2026-05-14
      busbook add flight.csv --aircraft tern --packs blue
      busbook add tern 2 5 8 --packs blue
      busbook add /club/logs --book /club/book --scheduler tcp://192.0.2.10:8786
    """
    from telemetry.app.adding import add_joined, add_logs

    shelf = open_book(book, make=True)
    if packs is not None:
        named = with_flights(logs, book)
        _say_packs(shelf, [str(word) for word in named if word not in logs], packs)
        logs = tuple(word for word in named if word in logs)
        if not logs:
            return
    how = how_to_read(settings, map_file, row_interval)

    def follow(done: int, count: int, one: Outcome) -> None:
        why = one.reason if one.error is None else "no log"
        if one.status == "skipped":
            say(f"{done}/{count} {one.file}: {why}, passed by")
        elif one.status == "unsure":
            say(f"{done}/{count} {one.file}: it does not tell whose it is")
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
                ask=partial(_ask, shelf) if on_a_terminal() else None,
                **how,
            )
    if packs is not None:
        _say_packs(shelf, [flight for one in outcomes for flight in one.flights], packs)
    _summary(shelf, outcomes, book)
    bad = [o for o in outcomes if o.status in ("failed", "unsure")]
    if bad or all(o.status == "skipped" for o in outcomes):
        ctx.exit(2)


def _say_packs(shelf: Logbook, flights: Sequence[str], packs: str) -> None:
    from telemetry.report.words import counted

    if not flights:
        return
    shelf.say_packs(flights, packs)
    with_what = f"flown with the packs '{packs}'" if packs else "without a word of their packs"
    tell(f"{counted(len(flights), 'flight')} {with_what}")


def _line(one: Outcome) -> str:
    """What became of one file; nothing for what the book had, which may be a whole card."""
    if one.status == "added":
        held = f", {len(one.flights)} recordings in it" if len(one.flights) > 1 else ""
        whose = "" if one.named else f" ({one.reason})"
        return f"added to {one.aircraft}{held}{whose}"
    if one.status == "known":
        return one.reason
    return "not added"


def _summary(shelf: Logbook, outcomes: Sequence[Outcome], book: Path | None) -> None:
    from telemetry.report.words import flights_counted

    added = Counter(o.aircraft or "" for o in outcomes if o.status == "added")
    new = {flight for one in outcomes if one.status == "added" for flight in one.flights}
    for name in sorted(added):
        held = shelf.flights(name)
        came = flights_counted(one.kind for one in held if one.id in new)
        tell(
            f"{name}: {came} added from {_counted(added[name], 'log')}; the book holds "
            f"{flights_counted(one.kind for one in held)}"
        )
    count = Counter(o.status for o in outcomes)
    if count["known"]:
        tell(f"{_counted(count['known'], 'log')} known already, nothing changed")
    if not outcomes:
        tell("no log found")
    failed = [o.file for o in outcomes if o.status == "failed"]
    if failed:
        say(f"{_counted(len(failed), 'log')} not added (failed, reasons above):")
        for file in failed:
            say(f"  {file}")
    _tell_unsure([o for o in outcomes if o.status == "unsure"])
    names = sorted(added) or sorted({o.aircraft for o in outcomes if o.aircraft})
    if names:
        tell(f"The book lies in {shelf.path}")
    if len(names) > 1:
        tell(next_step("flights", book=book))
    elif names:
        tell(next_step("history", names[0], book=book))


def _tell_unsure(unsure: Sequence[Outcome]) -> None:
    """The logs that do not tell whose they are, by the reason, and what to do."""
    for reason in dict.fromkeys(o.reason for o in unsure):
        files = [o.file for o in unsure if o.reason == reason]
        does = "does" if len(files) == 1 else "do"
        say(f"{_counted(len(files), 'log')} not added: {does} not tell whose; {reason}:")
        for file in files:
            say(f"  {file}")
    if unsure:
        known = list(dict.fromkeys(name for o in unsure for name in o.candidates))
        which = f" ({', '.join(known)}, or a new name)" if known else ""
        say(f"Say it once: busbook add LOG... --aircraft NAME{which}.")
        say("Later logs are known by their header or their columns.")


def _ask(shelf: Logbook, unsure: Sequence[Outcome]) -> str | None:
    """Whose these logs are, asked once for all of them; None to leave them out."""
    from telemetry.book import aircraft_key

    say(f"{_counted(len(unsure), 'log')} of which nothing tells whose they are:")
    for one in unsure[:_MOST_NAMED]:
        say(f"  {one.file}")
    if len(unsure) > _MOST_NAMED:
        say(f"  and {len(unsure) - _MOST_NAMED} more")
    known = ", ".join(shelf.aircraft())
    say(f"The book knows {known}." if known else "The book is empty.")
    while True:
        question = "Whose are they? A name, known or new; nothing leaves them out"
        name = str(click.prompt(question, default="", show_default=False, err=True)).strip()
        try:
            return name if name and aircraft_key(name) else None
        except BookError as error:
            say(sentence(error))


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'s' * (count != 1)}"
