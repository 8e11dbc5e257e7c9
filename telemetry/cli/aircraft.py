"""``busbook aircraft``: profiles, begun from a log, checked and shown."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from telemetry.cli.keeping.completing import complete_aircraft_or_file
from telemetry.cli.shared import (
    CommandGroup,
    how_to_read,
    next_step,
    open_book,
    profile_path,
    say,
    tell,
    with_book,
    with_reading_options,
)
from telemetry.model.errors import OutputError, UnknownSetting


@click.group(cls=CommandGroup)
def aircraft() -> None:
    """Profiles of aircraft: what feeds what, over which wire, driving which servos.

    \b
    Examples:
      busbook aircraft new tern --from flight.csv
      busbook aircraft check tern
    """


@aircraft.command()
@click.argument("name")
@click.option(
    "--from", "log", type=click.Path(path_type=Path), metavar="LOG", help="Take its places."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write it here instead of into the logbook.",
)
@click.option("--force", is_flag=True, help="Write over a profile that is there already.")
@with_book
@with_reading_options
def new(
    name: str,
    log: Path | None,
    out: Path | None,
    force: bool,
    book: Path | None,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> None:
    """Write a commented profile of the aircraft NAME, to be filled in with any editor.

    \b
    Examples:
      busbook aircraft new tern --from flight.csv
      busbook aircraft new tern --from flight.csv --out tern.toml
    """
    from telemetry.aircraft.profile import new_profile

    found = None
    if log is not None:
        from telemetry.importer import read_log

        found = read_log(log, **how_to_read(settings, map_file, row_interval))
    text = new_profile(name, found)
    if out is not None:
        from telemetry.report.writers.writing import write_text

        _leave_alone(out, force=force)
        write_text(out, text)
        tell(f"wrote {out}")
        tell(next_step("aircraft", "check", str(out), book=book))
        return
    shelf = open_book(book, make=True)
    _leave_alone(shelf.profile_path(name), force=force)
    tell(f"wrote {shelf.put_profile(name, text)}")
    tell(next_step("aircraft", "check", name, book=book))


def _leave_alone(path: Path, *, force: bool) -> None:
    if path.exists() and not force:
        raise OutputError(
            "there is a profile already",
            path=path,
            hint="edit it, or give --force to write it anew",
        )


@aircraft.command()
@click.argument("profile", metavar="FILE|NAME", shell_complete=complete_aircraft_or_file)
@with_book
@click.pass_context
def check(ctx: click.Context, profile: str, book: Path | None) -> None:
    """Check a profile: every error at once, with line, key and what is allowed.

    \b
    Examples:
      busbook aircraft check tern
      busbook aircraft check tern.toml
    """
    from telemetry.aircraft.profile import profile_errors, read_profile

    path = profile_path(profile, book)
    errors = profile_errors(path)
    for error in errors:
        say(str(error))
    if errors:
        ctx.exit(2)
    craft = read_profile(path)
    parts = (
        (len(craft.packs), "pack"),
        (len(craft.supplies), "supply"),
        (len(craft.nodes), "node"),
        (len(craft.servos), "servo output"),
    )
    listed = ", ".join(f"{n} {_plural(word, n)}" for n, word in parts)
    tell(f"{path}: nothing wrong found. {craft.name}: {listed}.")
    tell(next_step("aircraft", "show", profile, book=book))


def _plural(word: str, number: int) -> str:
    if number == 1:
        return word
    return word[:-1] + "ies" if word.endswith("y") else word + "s"


@aircraft.command()
@click.argument("profile", metavar="FILE|NAME", shell_complete=complete_aircraft_or_file)
@click.option("--on", "day", metavar="DATE", help="As it was on a day: 2026-05-14.")
@with_book
def show(profile: str, day: str | None, book: Path | None) -> None:
    """Show the power path of a profile as a tree.

    \b
    Examples:
      busbook aircraft show tern
      busbook aircraft show tern.toml --on 2026-05-14
    """
    from telemetry.aircraft.profile import path_tree, read_profile

    craft = read_profile(profile_path(profile, book))
    for line in path_tree(craft if day is None else craft.on(_day(day))).rstrip("\n").split("\n"):
        tell(line)
    tell(next_step("budget", profile, book=book))


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UnknownSetting(f"--on '{text}' is no date", hint="as in 2026-05-14") from error
