"""``busbook aircraft``: profiles, begun from a log, checked, changed and shown."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from telemetry.cli.keeping.completing import complete_aircraft_or_file, complete_places
from telemetry.cli.shared import (
    CommandGroup,
    how_to_read,
    is_profile,
    known_aircraft,
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


@aircraft.command("set", context_settings={"ignore_unknown_options": True})
@click.argument("name", metavar="FILE|NAME", shell_complete=complete_aircraft_or_file)
@click.argument(
    "words",
    metavar="PLACE... --KEY VALUE...",
    nargs=-1,
    type=click.UNPROCESSED,
    shell_complete=complete_places,
)
@with_book
def set_key(name: str, words: tuple[str, ...], book: Path | None) -> None:
    """Set keys of one or more places in a profile; the rest of the file stays as it is.

    \b
    Examples:
      busbook aircraft set tern "pack 1" --cells 2 --capacity 3200
      busbook aircraft set tern "left wing" "right wing" --awg 16 --length 0.8

    \b
    Keys (the page "profile" of the guide says what each is):
      a pack       --chemistry --cells --parallel --capacity --role --resistance
      its lead     --awg or --mm2, --length --wires --lead-limit
      a node       --fed-from --mirror --kind --servos --restart --comfort
      its servos   --output with --drives --count --stall-a --stall-v --moving
      a supply     --kind --fed-from --set-point --dropout --resistance --limit
      the bus      --regulated
      limits       every limit by its name: --reserve 25
    """
    from telemetry.book.profiles import set_in_book, set_in_file

    places, options = _places_and_keys(words)
    if is_profile(name):
        path = Path(name)
        set_in_file(path, places, options)
    else:
        shelf = open_book(book)
        path = set_in_book(shelf, known_aircraft(shelf, name), places, options)
    keys = ", ".join(f"{key} {value}" for key, value in options.items())
    tell(f"{path}: {', '.join(places)}: {keys}; the rest is as it was.")
    tell(next_step("aircraft", "show", name, book=book))


def _places_and_keys(words: tuple[str, ...]) -> tuple[list[str], dict[str, str]]:
    """The places, and the keys with their values: ``--key VALUE`` or ``--key=VALUE``."""
    places: list[str] = []
    keys: dict[str, str] = {}
    rest = iter(words)
    for word in rest:
        if not word.startswith("--"):
            places.append(word)
            continue
        key, sign, value = word[2:].partition("=")
        found = value if sign else next(rest, None)
        if found is None:
            raise UnknownSetting(f"--{key} has no value", hint=f"write it behind: --{key} VALUE")
        keys[key] = found
    if not places:
        raise UnknownSetting("no place is named", hint="name one, such as 'pack 1'")
    if not keys:
        raise UnknownSetting("no key is named", hint="name one with its value: --capacity 3200")
    return places, keys


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
