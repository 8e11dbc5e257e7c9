"""What several commands share: messages, settings, finding and reading logs."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from telemetry.model.errors import BookError, UnknownSetting, UnreadableLog

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.app.workers import Crew
    from telemetry.book import Logbook


class CommandGroup(click.Group):
    """Commands under one name, listed in the order in which they were added.

    The name alone is not enough: the help goes to stderr and the exit status is 2, with every
    version of click.
    """

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """The words of the command line; without any, the help."""
        if not args and not ctx.resilient_parsing:
            click.echo(ctx.get_help(), err=True)
            ctx.exit(2)
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """The names of the commands, in the order in which they were added."""
        return list(self.commands)

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        formatter: click.HelpFormatter,
    ) -> None:
        """The first sentence of each command, whole."""
        rows = [(c, self.commands[c].get_short_help_str(limit=200)) for c in self.commands]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def say(text: str) -> None:
    """Tell something that is not the result: on stderr, in one line."""
    from telemetry.model.text import plain

    click.echo(plain(text), err=True)


def tell(text: str) -> None:
    """Print one line of the result; names in it cannot steer the terminal."""
    from telemetry.model.text import plain

    click.echo(plain(text))


def on_a_terminal() -> bool:
    """Whether somebody sits there who can be asked."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def settings_of(pairs: Iterable[str]) -> dict[str, str]:
    """``COLUMN=place/quantity[unit]`` pairs; the last ``=`` parts them, headers may hold others."""
    out: dict[str, str] = {}
    for pair in pairs:
        column, sign, reading = pair.rpartition("=")
        if not sign or not column or not reading:
            raise UnknownSetting(
                f"--set '{pair}' is not of the form COLUMN=place/quantity[unit]",
                hint="for example --set 'Sensor 3=left wing/current[mA]'",
            )
        out[column] = reading
    return out


def find_logs(paths: Iterable[Path]) -> list[Path | UnreadableLog]:
    """The files named and every log inside the folders named, in order, without repeats.

    A folder without a log, or that cannot be read, stands as its error. A README is no log.
    """
    from telemetry.importer.finding import find_files
    from telemetry.importer.text.archive import LOG_ENDINGS

    found: dict[Path | UnreadableLog, None] = {}
    for path in paths:
        inside = [
            one
            for one in find_files([path])
            if one.named or not one.path.name.lower().startswith("readme")
        ]
        found.update(dict.fromkeys(one.error or one.path for one in inside))
        if not inside:
            empty = UnreadableLog(
                f"no log in it (looked for {', '.join(LOG_ENDINGS)})",
                path=path,
                hint="name the file itself if it ends otherwise",
            )
            found[empty] = None
    return list(found)


reading_options = (
    click.option(
        "--set",
        "settings",
        multiple=True,
        metavar="COLUMN=READING",
        help="Read a column as place/quantity[unit]; may be repeated.",
    ),
    click.option(
        "--map",
        "map_file",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Column map saved by 'busbook columns --save'.",
    ),
    click.option(
        "--row-interval",
        type=click.FloatRange(min=0, min_open=True),
        metavar="S",
        help="Seconds between rows, for a log without a time column.",
    ),
)


report_options = (
    click.option("--out", type=click.Path(path_type=Path), help="Folder for the reports."),
    click.option(
        "--format",
        "formats",
        metavar="html,pdf",
        help="Reports to write: html, pdf or both. With --out alone: html.",
    ),
    click.option(
        "--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Paper of the PDF."
    ),
)


def with_reading_options(command: Any) -> Any:
    """Decorate a command with the options that tell how a log is read."""
    return _decorated(command, reading_options)


def with_report_options(command: Any) -> Any:
    """Decorate a command with the options that tell which reports are written, and where."""
    return _decorated(command, report_options)


def _decorated(command: Any, options: Sequence[Any]) -> Any:
    for option in reversed(options):
        command = option(command)
    return command


def how_to_read(
    settings: Iterable[str], map_file: Path | None, row_interval: float | None
) -> dict[str, Any]:
    """The reading options as keywords of ``read_log`` and ``describe_columns``."""
    from telemetry.importer import load_column_map

    return {
        "settings": settings_of(settings),
        "row_interval_s": row_interval,
        "column_maps": () if map_file is None else (load_column_map(map_file),),
    }


def read_as(
    settings: Iterable[str], map_file: Path | None, row_interval: float | None
) -> tuple[str, ...]:
    """The reading options as words of the next command, so that it reads a log as this one did."""
    from telemetry.report.words import quoted

    words = [] if map_file is None else ["--map", quoted(str(map_file))]
    for one in settings:
        words += ["--set", quoted(one)]
    return (*words, *(() if row_interval is None else ("--row-interval", f"{row_interval:g}")))


def formats_of(formats: str | None, out: Path | None) -> tuple[str, ...]:
    """The formats of --format, checked; with a folder alone: html."""
    if formats is None:
        return ("html",) if out is not None else ()
    wanted = tuple(dict.fromkeys(f.strip().lower() for f in formats.split(",") if f.strip()))
    wrong = [f for f in wanted if f not in ("html", "pdf")]
    if wrong or not wanted:
        raise UnknownSetting(f"--format '{formats}' is not known", hint="use html, pdf or html,pdf")
    return wanted


def with_book(command: Any) -> Any:
    """Decorate a command with the option that names the logbook."""
    return click.option(
        "--book",
        "book",
        type=click.Path(path_type=Path, file_okay=False),
        envvar="BUSBOOK",
        metavar="DIR",
        help="The logbook's folder; else $BUSBOOK, else one of the user's own.",
    )(command)


def book_path(book: Path | None) -> Path:
    """Where the logbook lies: as given, else in the platform's folder for applications."""
    return Path(click.get_app_dir("busbook")) if book is None else book


def open_book(book: Path | None, *, make: bool = False) -> Logbook:
    """The logbook. A command that only reads makes none.

    Raises
    ------
    BookError
        If there is none and ``make`` is False, or it cannot be opened.
    """
    from telemetry.book import Logbook

    return Logbook(book_path(book), make=make)


def next_step(command: str, *words: str, book: Path | None) -> str:
    """The next useful command, with the book where one was named on the command line."""
    from telemetry.report.words import quoted

    named = click.get_current_context().get_parameter_source("book")
    where = ("--book", str(book)) if named is ParameterSource.COMMANDLINE else ()
    return f"next: busbook {' '.join((command, *map(quoted, (*words, *where))))}"


def known_aircraft(book: Logbook, name: str) -> str:
    """The name under which the book keeps an aircraft; BookError where it does not know it."""
    from telemetry.book import aircraft_key

    key, everyone = aircraft_key(name), book.aircraft()
    if key not in everyone:
        hint = f"it knows {', '.join(everyone)}" if everyone else "'busbook add' puts logs into it"
        raise BookError(f"the book has no aircraft '{key}'", path=book.path, hint=hint)
    return key


def is_profile(aircraft: str) -> bool:
    """Whether --aircraft names a profile's file rather than an aircraft of the book."""
    path = Path(aircraft)
    return path.is_file() or path.suffix == ".toml"


def profile_path(aircraft: str, book: Path | None) -> Path:
    """Where a profile lies that is named by its file or by its name in the book.

    An aircraft of the book need not have one.

    Raises
    ------
    UnknownSetting, BookError
        If there is no book, or it does not know the name.
    """
    if is_profile(aircraft):
        return Path(aircraft)
    if not (book_path(book) / "format.toml").exists():
        raise UnknownSetting(
            f"no profile of an aircraft named '{aircraft}'",
            hint="give the path of a profile (.toml), or --book with the logbook that knows it",
        )
    shelf = open_book(book)
    return shelf.profile_path(known_aircraft(shelf, aircraft))


def profile_of(aircraft: str | None, book: Path | None = None) -> Aircraft | None:
    """The profile named on the command line, by its file or by its name in the book.

    None where none was named, and for an aircraft of the book that has no profile.
    """
    if aircraft is None:
        return None
    from telemetry.aircraft.profile import read_profile

    path = profile_path(aircraft, book)
    return read_profile(path) if is_profile(aircraft) or path.exists() else None


def with_workers(command: Any) -> Any:
    """Decorate a command with the options that tell who does the work."""
    many = click.option(
        "--workers",
        type=click.IntRange(min=1, max=64),
        default=1,
        metavar="N",
        help="Processes that read at once; pays from some ten logs on.",
    )
    cluster = click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="Let the workers of this Dask cluster do it instead: tcp://host:8786. Logs and "
        "logbook must lie in a folder that all its machines share under one path.",
    )
    return many(cluster(command))


@contextlib.contextmanager
def crew_for(workers: int, scheduler: str | None, paths: Sequence[Path]) -> Iterator[Crew]:
    """Who does the work: this process, a pool of processes, or a cluster that sees the paths."""
    from telemetry.app.workers import crew_of

    if scheduler is not None and workers != 1:
        raise UnknownSetting("--workers and --scheduler exclude each other", hint="give one")
    # A folder that is shared is seen with all that is in it.
    folders = {_folder_of(path) for path in paths} if scheduler is not None else ()
    with crew_of(workers, scheduler, sorted(folders)) as crew:
        yield crew


def _folder_of(path: Path) -> Path:
    whole = path.absolute()
    # Not Path.is_dir(), as in find_files; a log may lie within an archive.
    return next((f for f in (whole, *whole.parents) if os.path.isdir(f)), whole.parent)  # noqa: PTH112
