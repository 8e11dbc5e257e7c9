"""Logs into the book with all that is derived from them: reviewed once, measured once.

The book stores and the pipeline reviews; neither knows the other. Here they meet: each log is read
the way its aircraft's logs are read, reviewed with its aircraft's profile, cut into its flights,
and the measures that the judging across flights needs are kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from telemetry.aircraft.profile import new_profile
from telemetry.app.cache import measured, version_for
from telemetry.app.incoming.batch import Incoming, Progress, add_files, read_file
from telemetry.app.incoming.whose import introduce, models_of, refuse_two_headers
from telemetry.app.pipeline import review, with_values
from telemetry.app.workers import Crew
from telemetry.book import Logbook, Outcome
from telemetry.book.files.joining import joined
from telemetry.book.files.originals import sha256_of
from telemetry.importer import ColumnMap
from telemetry.importer.finding import find_files
from telemetry.model.errors import BookError, UnsettledColumns
from telemetry.model.text import plain
from telemetry.model.unsettled import unsettled_supplies


def add_logs(
    book: Logbook,
    paths: Sequence[str | Path],
    *,
    aircraft: str | None = None,
    on: str | None = None,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
    hold: bool = False,
    executor: Executor | None = None,
    pending: int = 8,
    progress: Progress | None = None,
    ask: Callable[[Sequence[Outcome]], str | None] | None = None,
) -> tuple[Outcome, ...]:
    """Add files and folders to the book, reviewed and measured; one outcome for each file.

    Parameters
    ----------
    book : Logbook
    paths : sequence of path
        Files, folders, a memory card's whole tree.
    aircraft : str, optional
        Whose they are; without it each log's header decides, else its columns and its name.
    on : str, optional
        Date of logs that have none.
    settings, row_interval_s, column_maps
        How the logs are read; what the book has learnt of the aircraft's columns comes after.
    hold : bool
        Whether a log with columns that may be of a supply, and that nobody has settled, is left
        out; its outcome's error is UnsettledColumns then.
    executor : Executor, optional
        Any executor of ``concurrent.futures``; without it everything happens in this process.
    pending : int
        Files that may be read at once.
    progress : callable, optional
        Called after each file: how many are done, of how many, and its outcome.
    ask : callable, optional
        Called once, with the outcomes of all logs that do not tell whose they are: gives the
        aircraft, or None to leave them out.

    Returns
    -------
    tuple of Outcome
        In the order of the files; a bad file stops no other.

    Raises
    ------
    BookError
        If the name cannot be an aircraft's, if the headers of the logs name two models and one
        aircraft is given, or if the book cannot be written to.
    """
    how: dict[str, Any] = {
        "settings": dict(settings or {}),
        "row_interval_s": row_interval_s,
        "column_maps": (*column_maps, *book.column_maps(aircraft)),
    }
    models = models_of(paths, leave_out=book.path)
    if aircraft is not None:
        refuse_two_headers(book, models, aircraft)
    crew = Crew(executor, pending)
    introduce(book, models, aircraft, how, crew)

    def add(files: Sequence[str | Path], whose: str | None) -> tuple[Outcome, ...]:
        """Add files; those that the book could not tell apart before may be known by now."""
        return add_files(
            book,
            files,
            aircraft=whose,
            on=on,
            read=partial(
                read_measured,
                book=book.path.absolute(),
                folder=Path.cwd(),
                aircraft=whose,
                hold=hold,
                **how,
            ),
            executor=executor,
            pending=pending,
            progress=progress,
        )

    outcomes = add(paths, aircraft)
    if any(o.status == "added" for o in outcomes):
        outcomes = _again(outcomes, lambda files: add(files, None))
    unsure = [o for o in outcomes if o.status == "unsure"]
    name = ask(unsure) if unsure and ask is not None else None
    if name is not None:
        introduce(book, {Path(o.file): "" for o in unsure}, name, how, crew)
        outcomes = _again(outcomes, lambda files: add(files, name))
    return outcomes


def _again(
    outcomes: Sequence[Outcome], add: Callable[[Sequence[str]], Sequence[Outcome]]
) -> tuple[Outcome, ...]:
    """The outcomes, with those of logs whose aircraft was not sure made once more."""
    unsure = [o.file for o in outcomes if o.status == "unsure"]
    if not unsure:
        return tuple(outcomes)
    later = {o.file: o for o in add(unsure)}
    return tuple(later.get(o.file, o) if o.status == "unsure" else o for o in outcomes)


def add_joined(
    book: Logbook,
    paths: Sequence[str | Path],
    *,
    aircraft: str | None = None,
    on: str | None = None,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
) -> Outcome:
    """Add files that continue each other as one recording; its original is all their bytes.

    Parameters
    ----------
    book, paths, aircraft, on, settings, row_interval_s, column_maps
        As in :func:`add_logs`.

    Raises
    ------
    UnreadableLog
        If one of them cannot be read, or they do not follow one another.
    BookError
        If the book has one of them by itself, or it is not sure whose they are.
    """
    how: dict[str, Any] = {
        "settings": dict(settings or {}),
        "row_interval_s": row_interval_s,
        "column_maps": (*column_maps, *book.column_maps(aircraft)),
    }
    found = find_files(paths, leave_out=book.path)
    for error in (one.error for one in found if one.error is not None):
        raise error
    files = [one.path for one in found]
    log, data, used = joined(files, **how)
    if len(files) > 1:
        _refuse_known(book, files)
    whose = book.guess(log).aircraft if aircraft is None else aircraft
    if whose is not None and not book.profile_path(whose).exists():
        book.put_profile(whose, new_profile(whose.strip(), log))
    profile = None if whose is None else book.profile(whose)
    reviewed = review(log, profile)
    outcome = book.add(
        log,
        aircraft=aircraft,
        source=data,
        flights=reviewed.flights,
        on=on,
        settings=used,
        row_interval_s=row_interval_s,
    )
    if outcome.status == "added":
        for number, flight in enumerate(outcome.flights, 1):
            book.put_measures(flight, version_for(profile), measured(reviewed, number).document())
    return outcome


def _refuse_known(book: Logbook, files: Sequence[Path]) -> None:
    for file in files:
        known = book.knows(sha256_of(file))
        if known is not None:
            raise BookError(
                f"the book has this part by itself, as a recording of '{known.aircraft}'",
                path=file,
                hint="joined as well, its flight would count twice",
            )


def read_measured(
    path: Path,
    *,
    book: Path,
    folder: Path,
    aircraft: str | None,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
    hold: bool = False,
) -> Incoming:
    """Read, review and measure one file; what a worker does of :func:`add_logs`.

    The worker may be on another machine: ``book`` and ``folder``, where relative paths begin, are
    absolute.
    """
    shelf = Logbook(book, make=False)
    found = read_file(
        path,
        folder=folder,
        settings=settings,
        row_interval_s=row_interval_s,
        column_maps=column_maps,
    )
    # A header that somebody settled, for this log or an earlier one, is not asked about again.
    asked = hold and not found.settings
    unsettled = unsettled_supplies(with_values(found.log)) if asked else ()
    if unsettled:
        names = ", ".join(f"'{plain(one.column)}'" for one in unsettled)
        raise UnsettledColumns(
            f"columns that may be of a supply are not settled: {names}", path=path
        )
    whose = shelf.guess(found.log).aircraft if aircraft is None else aircraft
    if whose is None:
        # The book may know it by the time it is written: its flights are told apart all the same.
        return replace(found, flights=review(found.log).flights)
    profile = shelf.profile(whose)
    reviewed = review(found.log, profile)
    return replace(
        found,
        flights=reviewed.flights,
        measures=tuple(measured(reviewed, n + 1).document() for n in range(len(reviewed.flights))),
        version=version_for(profile),
    )
