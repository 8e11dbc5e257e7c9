"""``busbook review``: logs to reviews and reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.cli.shared import (
    find_logs,
    formats_of,
    how_to_read,
    is_profile,
    open_book,
    profile_of,
    read_as,
    say,
    sentence,
    with_book,
    with_reading_options,
)
from telemetry.errors import BusbookError, OutputError, UnreadableLog

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.log import Log
    from telemetry.power.states import Drawn
    from telemetry.report.index import Entry
    from telemetry.results import Review

# The page that leads to the reports of several logs; no report may take its name.
_INDEX = "index"
_MOST_NAMED = 3


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--aircraft",
    metavar="FILE|NAME",
    help="Profile of the aircraft; one the logbook knows is compared with its earlier flights.",
)
@with_book
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the reports.")
@click.option(
    "--format",
    "formats",
    metavar="html,pdf",
    help="Reports to write: html, pdf or both. With --out alone: html.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Paper of the PDF."
)
@click.option("--json", "as_json", is_flag=True, help="Print the reviews as JSON instead of text.")
@click.option("--join", is_flag=True, help="The logs continue each other: review them as one.")
@with_reading_options
@click.option(
    "--fail-on",
    type=click.Choice(["watch", "ground"]),
    help="Exit with 1 if a finding reaches this level.",
)
@click.pass_context
def review(
    ctx: click.Context,
    logs: tuple[Path, ...],
    aircraft: str | None,
    book: Path | None,
    out: Path | None,
    formats: str | None,
    paper: str,
    as_json: bool,
    join: bool,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
    fail_on: str | None,
) -> None:
    """Review one or more LOGS: files, folders, or flights of the logbook by their ids.

    \b
    Examples:
      busbook review flight.csv
      busbook review flight.csv --aircraft tern
      busbook review season/ --out reports --format html,pdf
      busbook review flight.csv --json --fail-on ground
    """
    from telemetry.results import Level

    wanted = formats_of(formats, out)
    readers = _Readers(aircraft, book, how_to_read(settings, map_file, row_interval))
    found = find_logs(logs)
    groups = [found] if join else [[one] for one in found]
    many = len(groups) > 1
    how = (*(("--join",) if join else ()), *read_as(settings, map_file, row_interval))
    reports = _Reports(out if out is not None else Path(), wanted, paper, many=many)
    verdict = Level.CLEAR
    reviews: list[Review] = []
    errors: list[tuple[str, str]] = []

    def failed(file: str, error: Exception) -> None:
        errors.append((file, sentence(error)))
        say(errors[-1][1])

    for number, group in enumerate(groups, 1):
        file = _file_of(group[0])
        if many:
            say(f"{number}/{len(groups)} {file}")
        try:
            one = readers.review(group)
        except Exception as error:  # one bad log does not stop the others
            failed(file, error)
            continue
        for note in one.log.provenance.notes if one.log.provenance.rows_refused else ():
            say(f"{file}: {note}")
        link = None
        try:
            link = reports.write(one)
        except Exception as error:
            failed(file, error)
        verdict = max(verdict, one.verdict)
        if as_json:
            reviews.append(one)
        else:
            files = [_file_of(x) for x in group]
            step = _to_book(files, how, aircraft, link) or _with_figures(files, how, aircraft)
            _print_review(one, blank=number > 1, next_step=step)
    if many:
        try:
            reports.write_index(errors)
        except Exception as error:
            failed("index.html", error)
    if as_json:
        from telemetry.report import json as report_json

        click.echo(report_json.dumps(report_json.document(reviews, errors)), nl=False)
    elif many:
        _print_index(reports, [str(path) for path in logs], how, aircraft)
    if many and errors:
        say(f"{len(errors)} of {len(groups)} logs failed, for the reasons above:")
        for file, _ in errors:
            say(f"  {file}")
    if errors:
        ctx.exit(2)
    if fail_on is not None and verdict >= Level(fail_on):
        ctx.exit(1)


def _listed(named: Sequence[str]) -> str:
    """Logs as words of a command; very many stand as what they were."""
    from telemetry.report.words import quoted

    return " ".join(map(quoted, named)) if len(named) <= _MOST_NAMED else "LOG..."


_FIGURES = "The same with figures, to show or to print:"


def _with_figures(
    named: Sequence[str], how: Sequence[str], aircraft: str | None
) -> tuple[str, str] | None:
    """The same command with reports; None where nothing was said that the report does not know."""
    words = [*how, *(() if aircraft is None else ("--aircraft", _listed((aircraft,))))]
    if not words:
        return None
    return _FIGURES, " ".join(["busbook review", _listed(named), *words, "--out reports"])


def _to_book(
    named: Sequence[str], how: Sequence[str], aircraft: str | None, reported: object
) -> tuple[str, str] | None:
    """What to do after the reports are written; None where none were."""
    if not reported:
        return None
    name = "NAME" if aircraft is None or is_profile(aircraft) else _listed((aircraft,))
    why = "Kept in the logbook, the flights of one aircraft are judged together:"
    return why, " ".join(["busbook add", _listed(named), *how, "--aircraft", name])


def _file_of(found: Path | UnreadableLog) -> str:
    return str(found.path if isinstance(found, UnreadableLog) else found)


class _Readers:
    """Reads and reviews logs, and sets those of an aircraft of the book beside its flights."""

    def __init__(self, aircraft: str | None, book: Path | None, how: dict[str, Any]) -> None:
        self.book, self.how = book, how
        self.craft = profile_of(aircraft, book)
        self.name = None if aircraft is None or is_profile(aircraft) else aircraft

    def review(self, group: Sequence[Path | UnreadableLog]) -> Review:
        """The review of one log, or of several that continue each other."""
        from telemetry.book.names import is_flight
        from telemetry.importer import join_logs, read_log
        from telemetry.pipeline import review as review_log

        name, craft, parts = self.name, self.craft, []
        how = self.how
        if name is not None:
            maps = open_book(self.book).column_maps(name)
            how = {**how, "column_maps": (*how["column_maps"], *maps)}
        for found in group:
            if isinstance(found, UnreadableLog):
                raise found
            if is_flight(str(found)) and not found.exists():
                shelf = open_book(self.book)
                parts.append(shelf.read(str(found)))
                if name is None and craft is None:
                    name = shelf.flight(str(found)).aircraft
                    craft = shelf.profile(name)
            else:
                parts.append(read_log(found, **how))
        log = parts[0] if len(parts) == 1 else join_logs(parts)
        if name is None:
            return review_log(log, craft)
        return self._compared(review_log(log, craft, self._drawn(log, name, craft)), name)

    def _drawn(self, log: Log, name: str, craft: Aircraft | None) -> Drawn | None:
        from telemetry.season import drawn_before

        try:
            return drawn_before(open_book(self.book), name, log, craft)
        except BusbookError as error:  # a damaged book does not keep a log from its review
            say(f"charge of earlier flights not known: {sentence(error)}")
            return None

    def _compared(self, one: Review, name: str) -> Review:
        from telemetry.season import beside

        try:
            compared = beside(open_book(self.book), name, one)
        except BusbookError as error:  # a damaged book does not keep a log from its review
            say(f"not compared with earlier flights: {sentence(error)}")
            return one
        if not compared:
            say(f"not compared: the book has fewer than three earlier flights of '{name}'")
        return replace(one, compared=compared)


class _Reports:
    """Writes the reports wanted; logs of one name in different folders are told apart."""

    def __init__(self, folder: Path, wanted: Sequence[str], paper: str, *, many: bool) -> None:
        self.folder, self.wanted, self.paper = folder, wanted, paper
        self.entries: list[Entry] | None = [] if many else None
        self.taken: set[str] = {_INDEX} if many else set()

    def write(self, one: Review) -> str | None:
        """Every report wanted of one review; the name of the first, None where none is wanted."""
        if self.entries is not None:
            from telemetry.report.index import entry_of

            self.entries.append(entry_of(one))
        if not self.wanted:
            return None
        name = self._free(one.log.provenance.file)
        for kind in self.wanted:
            path = self.folder / f"{name}.{kind}"
            if path.exists() and path.samefile(one.log.provenance.file):
                raise OutputError("is the log itself", path=path, hint="choose a folder with --out")
            if kind == "html":
                from telemetry.report.html import render
                from telemetry.report.writing import write_text

                write_text(path, render(one))
            else:
                from telemetry.report.pdf import write

                write(one, path, paper=self.paper)
            say(f"wrote {path}")
        first = f"{name}.{self.wanted[0]}"
        if self.entries is not None:
            self.entries[-1] = replace(self.entries[-1], link=first)
        return first

    def write_index(self, errors: Sequence[tuple[str, str]]) -> None:
        """A page that leads to all the reports, where there are any."""
        if "html" not in self.wanted or not self.entries:
            return
        from telemetry.report.html import render_index
        from telemetry.report.writing import write_text

        path = self.folder / f"{_INDEX}.html"
        write_text(path, render_index(self.entries, [message for _, message in errors]))
        say(f"wrote {path}")

    def _free(self, file: str) -> str:
        from telemetry.report.writing import report_name

        first = name = report_name(file)
        number = 1
        # Some file systems do not tell "Day.html" from "day.html".
        while name.casefold() in self.taken:
            number += 1
            name = f"{first}-{number}"
        self.taken.add(name.casefold())
        return name


def _print_review(one: Review, *, blank: bool, next_step: tuple[str, str] | None) -> None:
    from telemetry.report.terminal import render

    if blank:
        click.echo()
    click.echo(render(one, next_step=next_step), nl=False)


def _print_index(
    reports: _Reports, named: Sequence[str], how: Sequence[str], aircraft: str | None
) -> None:
    from telemetry.report.terminal import render_index

    again = f"busbook review {_listed(named)} --out reports"
    next_step = _to_book(named, how, aircraft, reports.wanted)
    if reports.entries:
        click.echo(
            "\n"
            + render_index(
                reports.entries,
                next_step or _with_figures(named, how, aircraft) or (_FIGURES, again),
            ),
            nl=False,
        )
