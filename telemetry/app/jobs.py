"""One log, or several that continue each other, from file to finished reports.

This is what a worker does for ``busbook review``: here, in a process beside this one, or on
another machine. All it needs comes in a :class:`Job`; what it made goes back as text and bytes, a
small part of the log itself. It writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, partial
from pathlib import Path
from typing import Any

from telemetry.aircraft import Aircraft
from telemetry.book import Logbook
from telemetry.book.files.layout import is_book
from telemetry.book.files.names import is_flight
from telemetry.importer import ColumnMap, join_logs, read_log_in
from telemetry.measure.states import Drawn
from telemetry.model.errors import BusbookError, sentence
from telemetry.model.log import Log
from telemetry.report.document import Document
from telemetry.report.documents.index import IndexEntry, entry_of
from telemetry.report.documents.of_review import document_of
from telemetry.results import Level, Mark, Review


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A review to be made.

    Attributes
    ----------
    sources : tuple of str
        Files as they were named, or flights of the book by their ids; several continue each other.
    folder : Path
        Absolute; where names that are relative begin.
    how : mapping
        Keywords of ``read_log``.
    book : Path
        Absolute; where the logbook lies, if there is one.
    name : str or None
        The aircraft of the book whose log it is; without it what the book learnt of the log's
        columns tells, where it is sure.
    craft : Aircraft or None
        The profile.
    formats : tuple of str
        Reports to make: "html", "pdf".
    paper : str
        "a4" or "letter".
    as_json : bool
        Whether the document is wanted rather than the text.
    indexed : bool
        Whether it will be listed among others.
    next_step : (str, str), optional
        Why, and the command, with which the text ends; without it the usual one.
    """

    sources: tuple[str, ...]
    folder: Path
    how: Mapping[str, Any]
    book: Path
    name: str | None
    craft: Aircraft | None
    formats: tuple[str, ...]
    paper: str
    as_json: bool
    indexed: bool = False
    next_step: tuple[str, str] | None = None
    profile: str | None = None
    short: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Reviewed:
    """What became of a job.

    Attributes
    ----------
    failures : tuple of str
        Sentences; with no level the log itself could not be reviewed.
    level : Level or None
        Of the aircraft's answer, or of the log where no aircraft is known.
    file : str
        The log's name.
    remarks : tuple of str
        What the user should know besides.
    text : str
        The review for a terminal, unless the document was wanted.
    document : dict
        The review as plain JSON values, if it was wanted.
    entry : IndexEntry, optional
        What a list of several reviews tells of it.
    reports : mapping of str to bytes
        By format.
    """

    failures: tuple[str, ...] = ()
    level: Level | None = None
    file: str = ""
    remarks: tuple[str, ...] = ()
    text: str = ""
    document: Mapping[str, Any] = field(default_factory=dict)
    entry: IndexEntry | None = None
    reports: Mapping[str, bytes] = field(default_factory=dict)


def reviewed(job: Job) -> Reviewed:
    """Read and review a log and make its reports. Failure is data: nothing is raised."""
    remarks: list[str] = []
    try:
        one = review_of(job, remarks.append)
        report = cache(partial(document_of, one, job.profile))  # made once, where anything wants it
        if job.as_json:
            from telemetry.report.writers.json import review_document

            text, document = "", review_document(one)
        else:
            text, document = "" if job.indexed else _text(report(), job.next_step), {}
        entry = entry_of(one, report()) if job.indexed else None
    except Exception as error:  # one bad log does not stop the others
        return Reviewed(failures=(sentence(error),), remarks=tuple(remarks))
    reports: dict[str, bytes] = {}
    failures = []
    for kind in job.formats:
        try:
            reports[kind] = _report(one, report(), kind, job)
        except Exception as error:  # nor does a report that cannot be drawn spoil the review
            failures.append(sentence(error))
    return Reviewed(
        failures=tuple(failures),
        level=one.answer.level,
        file=one.log.provenance.file,
        remarks=tuple(remarks),
        text=text,
        document=document,
        entry=entry,
        reports=reports,
    )


def _text(report: Document, next_step: tuple[str, str] | None) -> str:
    from telemetry.report.writers.terminal import text_of

    return text_of(report if next_step is None else replace(report, next_step=next_step))


def _report(one: Review, report: Document, kind: str, job: Job) -> bytes:
    from telemetry.report.draw import Scene

    scene = Scene.of(one)
    if kind == "html":
        from telemetry.report.writers import html

        return html.render(report, scene).encode("utf-8", "replace")
    from telemetry.report.writers import pdf

    render = pdf.render_short if job.short else pdf.render
    return render(report, scene, job.paper)


def review_of(job: Job, remark: Callable[[str], None]) -> Review:
    """The review of a job, beside the earlier flights where the book knows whose log it is.

    Parameters
    ----------
    job : Job
    remark : callable
        Takes what the user should know besides, sentence by sentence.
    """
    from telemetry.app.pipeline import review

    log, name, craft = _read(job, remark)
    for note in log.provenance.notes if log.provenance.rows_refused else ():
        remark(f"{job.sources[0]}: {note}")
    if name is None:
        return review(log, craft)
    one = review(log, craft, _drawn(job, log, name, craft, remark))
    one = replace(one, marks=_marks(job, log, remark))
    return _with_history(job, one, name, remark)


def _marks(job: Job, log: Log, remark: Callable[[str], None]) -> tuple[Mark, ...]:
    """The moments of this log, or of this flight of the book, that were marked."""
    if len(job.sources) != 1:
        return ()  # times of logs that were joined are those of neither
    source = job.sources[0]
    try:
        if is_flight(source) and not (job.folder / source).exists():
            found = tuple((m.at_s, m) for m in _book(job).marks(source))
        else:
            found = _book(job).marks_of_log(log.provenance.sha256)
    except BusbookError as error:  # a damaged book does not keep a log from its review
        remark(f"marked moments not known: {sentence(error)}")
        return ()
    return tuple(Mark(time_s=time_s, text=mark.text) for time_s, mark in found)


def _read(job: Job, remark: Callable[[str], None]) -> tuple[Log, str | None, Aircraft | None]:
    """The log, and whose it is."""
    name, craft = job.name, job.craft
    how = dict(job.how)
    how["column_maps"] = (*how.get("column_maps", ()), *_learnt(job))
    parts = []
    for source in job.sources:
        if is_flight(source) and not (job.folder / source).exists():
            shelf = _book(job)
            parts.append(shelf.read(source))
            if name is None and craft is None:
                name = shelf.flight(source).aircraft
                craft = shelf.profile(name)
        else:
            parts.append(read_log_in(job.folder, source, **how))
    log = parts[0] if len(parts) == 1 else join_logs(parts)
    if name is None:
        try:
            name, craft = _by_header(job, log, remark)
        except BusbookError as error:  # a damaged book does not keep a log from its review
            remark(f"whose log it is cannot be told: {sentence(error)}")
    return log, name, craft


def _learnt(job: Job) -> tuple[ColumnMap, ...]:
    """How the book reads columns; of a book that no aircraft was named for, where it tells."""
    try:
        return _book(job).column_maps(job.name)
    except BusbookError:
        if job.name is not None:
            raise
        return ()


def _by_header(
    job: Job, log: Log, remark: Callable[[str], None]
) -> tuple[str | None, Aircraft | None]:
    """The aircraft of the book whose columns the log has, where that is sure, and its profile."""
    if not is_book(job.book):
        return None, job.craft
    shelf = _book(job)
    found = shelf.guess(log)
    if found.aircraft is None or found.aircraft not in shelf.aircraft():
        return None, job.craft
    craft = shelf.profile(found.aircraft) if job.craft is None else job.craft
    remark(f"{job.sources[0]}: taken as a log of '{found.aircraft}', {found.reason}")
    return found.aircraft, craft


def _book(job: Job) -> Logbook:
    return Logbook(job.book, make=False)


def _drawn(
    job: Job, log: Log, name: str, craft: Aircraft | None, remark: Callable[[str], None]
) -> Drawn | None:
    from telemetry.app.charging import drawn_before

    try:
        return drawn_before(_book(job), name, log, craft)
    except BusbookError as error:  # a damaged book does not keep a log from its review
        remark(f"charge of earlier flights not known: {sentence(error)}")
        return None


def _with_history(job: Job, one: Review, name: str, remark: Callable[[str], None]) -> Review:
    """The review beside the earlier flights, and how the aircraft stands."""
    from telemetry.app.histories import history
    from telemetry.app.usual import beside

    try:
        found = history(_book(job), name, newer=one)
        compared = beside(_book(job), name, one, found)
    except BusbookError as error:  # a damaged book does not keep a log from its review
        remark(f"not compared with earlier flights: {sentence(error)}")
        return one
    if not compared:
        remark(f"not compared: the book has fewer than three earlier flights of '{name}'")
    return replace(one, compared=compared, aircraft_answer=found.answer, aircraft_open=found.open)
