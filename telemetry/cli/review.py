"""``busbook review``: logs to reviews and reports."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.cli.keeping.completing import (
    complete_aircraft_or_file,
    complete_flights_or_files,
)
from telemetry.cli.keeping.naming import with_flights
from telemetry.cli.shared import (
    book_path,
    crew_for,
    find_logs,
    formats_of,
    how_to_read,
    is_profile,
    profile_of,
    read_as,
    say,
    with_book,
    with_reading_options,
    with_report_options,
    with_workers,
)
from telemetry.model.errors import BusbookError, OutputError, UnreadableLog, WorkersError, sentence

if TYPE_CHECKING:
    from telemetry.app.jobs import Job, Reviewed
    from telemetry.app.workers import Crew
    from telemetry.report.documents.index import IndexEntry

# The page that leads to the reports of several logs; no report may take its name.
_INDEX = "index"
_MOST_NAMED = 3


@click.command()
@click.argument(
    "logs",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path),
    shell_complete=complete_flights_or_files,
)
@click.option(
    "--aircraft",
    metavar="FILE|NAME",
    shell_complete=complete_aircraft_or_file,
    help="Profile of the aircraft; one the logbook knows is compared with its earlier flights.",
)
@with_book
@with_report_options
@click.option("--short", is_flag=True, help="The PDF in two pages, without the proof.")
@click.option("--json", "as_json", is_flag=True, help="Print the reviews as JSON instead of text.")
@click.option("--join", is_flag=True, help="The logs continue each other: review them as one.")
@with_workers
@with_reading_options
@click.option(
    "--fail-on",
    type=click.Choice(["watch", "ground"]),
    help="Exit with 1 if the answer reaches this level: the aircraft's where the logbook knows it.",
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
    short: bool,
    as_json: bool,
    join: bool,
    workers: int,
    scheduler: str | None,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
    fail_on: str | None,
) -> None:
    """Review one or more LOGS: files, folders, or flights of the logbook.

    A flight of the logbook is meant by its aircraft and number, by its log's name, or by the start
    of its id.

    \b
    Examples:
      busbook review flight.csv
      busbook review flight.csv --aircraft tern
      busbook review tern 11
      busbook review season/ --out reports --format html,pdf
      busbook review flight.csv --json --fail-on ground
      busbook review season/ --out reports --workers 2
    """
    from telemetry.report.writers.json import dumps, whole
    from telemetry.results import Level

    wanted = formats_of(formats, out)
    craft = profile_of(aircraft, book)
    how = how_to_read(settings, map_file, row_interval)
    found = find_logs(with_flights(logs, book))
    groups = [found] if join else [[one] for one in found]
    many = len(groups) > 1
    name = None if aircraft is None or is_profile(aircraft) else aircraft
    make = partial(
        _job,
        folder=Path.cwd(),
        how=how,
        book=book_path(book).absolute(),
        name=name,
        craft=craft,
        formats=wanted,
        paper=paper,
        short=short,
        as_json=as_json,
        indexed=many,
    )
    said = (*(("--join",) if join else ()), *read_as(settings, map_file, row_interval))
    jobs = [make(group, said, aircraft) for group in groups]
    reports = _Reports(out if out is not None else Path(), wanted, many=many)
    level = Level.CLEAR
    documents: list[Mapping[str, object]] = []
    errors: list[tuple[str, str]] = []
    with crew_for(workers, scheduler, _needed(found, name, book)) as crew:
        for number, (file, call) in enumerate(_results(jobs, crew), 1):
            if many:
                say(f"{number}/{len(jobs)} {file}")
            one = call()
            for remark in one.remarks:
                say(remark)
            for failure in (*one.failures, *reports.write(one, file)):
                errors.append((file, failure))
                say(failure)
            if one.level is not None:
                level = max(level, one.level)
            if one.document:
                documents.append(one.document)
            elif one.text:
                click.echo(("\n" if number > 1 else "") + one.text, nl=False)
    if many:
        for failure in reports.write_index([message for _, message in errors]):
            errors.append(("index.html", failure))
            say(failure)
    if as_json:
        click.echo(dumps(whole(documents, errors)), nl=False)
    elif many:
        _print_index(reports, [str(path) for path in logs], said, aircraft)
    if many and errors:
        say(f"{len(errors)} of {len(jobs)} logs failed, for the reasons above:")
        for file, _ in errors:
            say(f"  {file}")
    if errors:
        ctx.exit(2)
    if fail_on is not None and level >= Level(fail_on):
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
    if not words and all(map(_is_file, named)):
        return None
    return _FIGURES, " ".join(["busbook review", _listed(named), *words, "--out reports"])


def _to_book(
    named: Sequence[str], how: Sequence[str], aircraft: str | None, reported: object
) -> tuple[str, str] | None:
    """What to do after the reports are written; None where none were, or the book has the logs."""
    if not reported or not any(map(_is_file, named)):
        return None
    why = "Kept in the logbook, the flights of one aircraft are judged together:"
    whose = ["--aircraft", "NAME"]
    if aircraft is not None and not is_profile(aircraft):
        whose = ["--aircraft", _listed((aircraft,))]
    elif _all_tell(named):
        whose = []
    return why, " ".join(["busbook add", _listed(named), *how, *whose])


def _is_file(named: str) -> bool:
    """Whether a file, a folder or a log in an archive is named, and not a flight of the book."""
    path = Path(named)
    # Not Path.exists(), which raises on too long a name.
    return os.path.isdir(path) or any(os.path.isfile(one) for one in (path, *path.parents))  # noqa: PTH112, PTH113


def _all_tell(named: Sequence[str]) -> bool:
    """Whether the header of every log names its model, so that the book needs no --aircraft."""
    from telemetry.app.incoming.whose import models_of

    models = models_of([path for path in named if os.path.exists(path)])  # noqa: PTH110 - as below
    return bool(models) and all(models.values())


Found = Path | UnreadableLog
Named = tuple[str, "Job | UnreadableLog"]


def _job(group: Sequence[Found], said: Sequence[str], aircraft: str | None, **job: Any) -> Named:
    """A name for what is to be reviewed, and the job, or why there can be none."""
    from telemetry.app.jobs import Job

    first = str(_path_of(group[0]))
    lost = next((one for one in group if isinstance(one, UnreadableLog)), None)
    files = [str(_path_of(one)) for one in group]
    after = _to_book(files, said, aircraft, job["formats"])
    after = after or _with_figures(files, said, aircraft)
    return first, lost or Job(
        sources=tuple(map(str, group)), next_step=after, profile=aircraft, **job
    )


def _path_of(found: Found) -> Path:
    return Path(found.path or "") if isinstance(found, UnreadableLog) else found


def _needed(found: Sequence[Found], name: str | None, book: Path | None) -> list[Path]:
    """What workers must see: the logs, and the logbook where it has a part in the reviews."""
    from telemetry.book.files.names import is_flight

    flights = [one for one in found if is_flight(str(one))]
    shelf = [book_path(book)] if flights or name is not None else []
    return [_path_of(one) for one in found if one not in flights] + shelf


def _results(jobs: Sequence[Named], crew: Crew) -> Iterator[tuple[str, Callable[[], Reviewed]]]:
    """Each name with a call that gives what became of it, in order."""
    from telemetry.app.jobs import Job, reviewed
    from telemetry.app.workers import calls

    made = calls(reviewed, [job for _, job in jobs if isinstance(job, Job)], crew)
    for file, job in jobs:
        yield file, partial(_outcome, job if isinstance(job, UnreadableLog) else next(made), file)


def _outcome(made: UnreadableLog | Callable[[], Reviewed], file: str) -> Reviewed:
    from telemetry.app.jobs import Reviewed

    try:
        if isinstance(made, UnreadableLog):
            raise made
        return made()
    except (UnreadableLog, WorkersError) as error:
        error.path = error.path or file
        return Reviewed(failures=(sentence(error),))


class _Reports:
    """Writes reports; those of logs of one name in different folders are told apart."""

    def __init__(self, folder: Path, wanted: Sequence[str], *, many: bool) -> None:
        self.folder, self.wanted = folder, wanted
        self.entries: list[IndexEntry] = []
        self.taken: set[str] = {_INDEX} if many else set()

    def write(self, one: Reviewed, source: str) -> Iterator[str]:
        """Write every report of a review; yields a sentence for each that cannot be written."""
        from telemetry.report.writers.writing import write_bytes

        link = None
        name = self._free(one.file) if one.reports else ""
        for kind, data in one.reports.items():
            path = self.folder / f"{name}.{kind}"
            try:
                if path.exists() and os.path.exists(source) and path.samefile(source):  # noqa: PTH110 - Path.exists() raises on too long a name
                    raise OutputError(
                        "is the log itself", path=path, hint="choose a folder with --out"
                    )
                write_bytes(path, data)
            except (BusbookError, OSError) as error:
                yield sentence(error)
            else:
                link = link or path.name
                say(f"wrote {path}")
        if one.entry is not None:
            self.entries.append(replace(one.entry, link=link))

    def write_index(self, errors: Sequence[str]) -> Iterator[str]:
        """A page that leads to all the reports, where there are any; yields as :meth:`write`."""
        if "html" not in self.wanted or not self.entries:
            return
        from telemetry.report.writers.html import render_index
        from telemetry.report.writers.writing import write_text

        path = self.folder / f"{_INDEX}.html"
        try:
            write_text(path, render_index(self.entries, errors))
        except OutputError as error:
            yield sentence(error)
        else:
            say(f"wrote {path}")

    def _free(self, file: str) -> str:
        from telemetry.report.writers.writing import report_name

        first = name = report_name(file)
        number = 1
        # Some file systems do not tell "Day.html" from "day.html".
        while name.casefold() in self.taken:
            number += 1
            name = f"{first}-{number}"
        self.taken.add(name.casefold())
        return name


def _print_index(
    reports: _Reports, named: Sequence[str], said: Sequence[str], aircraft: str | None
) -> None:
    from telemetry.report.writers.terminal import render_index

    again = f"busbook review {_listed(named)} --out reports"
    after = _to_book(named, said, aircraft, reports.wanted)
    if reports.entries:
        after = after or _with_figures(named, said, aircraft) or (_FIGURES, again)
        click.echo("\n" + render_index(reports.entries, after), nl=False)
