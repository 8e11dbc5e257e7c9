"""Add many files: folders, a memory card's whole tree, through any executor.

The executor's workers read and review, one file a task; this process hashes the files first, skips
what the book has, and writes. Files are written in the order in which they are named, whatever
order the workers finish in, and no more than ``pending`` logs are in memory at once.
"""

from __future__ import annotations

import logging
import os
import re
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from telemetry.book.adding import known_outcome, unsure_error
from telemetry.book.names import aircraft_key
from telemetry.book.originals import sha256_of
from telemetry.book.records import Outcome
from telemetry.book.store import Logbook
from telemetry.errors import BookError, BusbookError, UnreadableLog
from telemetry.importer import ColumnMap, read_log
from telemetry.log import Log
from telemetry.results import Flight

#: What a folder is searched for; a file that is named may be called anything.
LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat")

# Of these endings a file that is no log is worth a failure; a stray .txt is not.
_SURELY_LOGS = (".csv", ".tsv")

_log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """What a worker makes of one file.

    Attributes
    ----------
    log : Log
    flights : tuple of Flight
        The flights in it; empty: the whole log is one.
    measures : tuple of mapping
        The measures of each flight, as plain JSON values; empty: none yet.
    version : str
        Version of the measures.
    settings, row_interval_s
        What the log was read with.
    """

    log: Log
    flights: tuple[Flight, ...] = ()
    measures: tuple[Mapping[str, Any], ...] = ()
    version: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    row_interval_s: float | None = None


#: Reads one file; for a pool of processes it must be a function of a module (or a partial of one).
ReadFile = Callable[[Path], Incoming]

#: Called after each file: how many are done, of how many, and what became of it.
Progress = Callable[[int, int, Outcome], None]


def read_file(
    path: Path,
    *,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
) -> Incoming:
    """Read one file with :func:`telemetry.importer.read_log`, and say what it was read with."""
    log = read_log(path, settings=settings, row_interval_s=row_interval_s, column_maps=column_maps)
    used = next((m.readings for m in column_maps if m.fingerprint == log.provenance.header), {})
    return Incoming(log=log, settings={**used, **(settings or {})}, row_interval_s=row_interval_s)


@dataclass(frozen=True, slots=True)
class Found:
    """A file to be added; ``named`` is False where a folder was searched for it."""

    path: Path
    named: bool
    error: BookError | None = None


def find_files(paths: Sequence[str | Path], *, leave_out: Path | None = None) -> tuple[Found, ...]:
    """The files named, and the logs in the folders named, in the order of their numbers.

    Parameters
    ----------
    paths : sequence of path
    leave_out : path, optional
        A folder that is not searched: the book itself, if it lies among the logs.

    Returns
    -------
    tuple of Found
        Without repeats. Folders are searched to the bottom, without following links, passing by
        what begins with a dot. A folder that cannot be read is among them with its error.
    """
    found: dict[Path, Found] = {}
    for path in map(Path, paths):
        inside = _inside(path, leave_out) if path.is_dir() else [Found(path, named=True)]
        for one in inside:
            found.setdefault(one.path, one)
    return tuple(found.values())


def _inside(folder: Path, leave_out: Path | None) -> Iterator[Found]:
    errors: list[OSError] = []
    barred = None if leave_out is None else leave_out.resolve()
    for root, folders, files in os.walk(folder, onerror=errors.append):
        folders[:] = sorted(
            (d for d in folders if d[0] != "." and Path(root, d).resolve() != barred), key=_natural
        )
        for name in sorted(files, key=_natural):
            if name[0] != "." and Path(name).suffix.lower() in LOG_ENDINGS:
                yield Found(Path(root, name), named=False)
    for error in errors:
        path = Path(error.filename or folder)
        what = f"this folder cannot be read ({error.strerror or error})"
        yield Found(
            path, named=True, error=BookError(what, path=path, hint="check its permissions")
        )


def _natural(name: str) -> list[tuple[int, str]]:
    """Sorts "log 9" before "log 10": every second piece is a number."""
    pieces = re.split(r"([0-9]+)", name.lower())
    return [(int(p), "") if i % 2 else (0, p) for i, p in enumerate(pieces)]


def add_files(
    book: Logbook,
    paths: Sequence[str | Path],
    *,
    aircraft: str | None = None,
    on: str | None = None,
    read: ReadFile = read_file,
    executor: Executor | None = None,
    pending: int = 8,
    progress: Progress | None = None,
) -> tuple[Outcome, ...]:
    """Add files and folders; one outcome for each file, in order. A bad file stops no other.

    Parameters
    ----------
    book : Logbook
    paths : sequence of path
    aircraft : str, optional
        Whose they are; without it each log's columns, preamble and name decide, and those that
        leave it open come back as "unsure".
    on : str, optional
        Date of the logs that have none.
    read : callable, optional
        Reads, and perhaps reviews, one file.
    executor : Executor, optional
        Any executor of ``concurrent.futures`` or with its interface; without it everything happens
        here. It is not shut down.
    pending : int
        Files that may be under way at once.
    progress : callable, optional

    Raises
    ------
    BookError
        If the name of the aircraft cannot be one, before anything is read.
    """
    batch = _Batch(
        book=book,
        aircraft=None if aircraft is None else aircraft.strip(),
        on=on,
        read=read,
        executor=executor or _Here(),
    )
    if aircraft is not None:
        aircraft_key(aircraft)
    files = find_files(paths, leave_out=book.path)
    outcomes: list[Outcome] = []
    waiting: deque[tuple[Found, Outcome | Future[Incoming]]] = deque()

    def finish() -> None:
        one, state = waiting.popleft()
        outcome = state if isinstance(state, Outcome) else batch.write(one, state)
        outcomes.append(outcome)
        if progress is not None:
            progress(len(outcomes), len(files), outcome)

    for one in files:
        waiting.append((one, batch.begin(one)))
        while len(waiting) > (0 if executor is None else pending):
            finish()
    while waiting:
        finish()
    return tuple(outcomes)


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """A pool of so many processes for :func:`add_files`, started afresh on every system.

    A copy of this process (fork) could take over a lock that one of its threads holds.
    """
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


class _Here(Executor):
    """Does each task at once, in this thread."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    """The two halves of adding one file: before the worker and after it."""

    book: Logbook
    aircraft: str | None
    on: str | None
    read: ReadFile
    executor: Executor

    def begin(self, one: Found) -> Outcome | Future[Incoming]:
        """Hash a file and hand it to a worker, unless the book has it."""
        if one.error is not None:
            return _failed(one, one.error)
        try:
            known = self.book.knows(sha256_of(one.path))
            if known is not None:
                wanted = None if self.aircraft is None else aircraft_key(self.aircraft)
                return known_outcome(str(one.path), known, wanted)
            return self.executor.submit(self.read, one.path)
        except BusbookError as error:
            return _failed(one, error)
        except RuntimeError as error:
            return _failed(one, _worker_gone(one.path, error))

    def write(self, one: Found, future: Future[Incoming]) -> Outcome:
        """Take what the worker made of a file into the book."""
        try:
            incoming = future.result()
            return self._add(one, incoming)
        except UnreadableLog as error:
            if one.named or one.path.suffix.lower() in _SURELY_LOGS:
                return _failed(one, error)
            return replace(_failed(one, error), status="skipped")
        except BusbookError as error:
            return _failed(one, error)
        except BrokenExecutor as error:
            return _failed(one, _worker_gone(one.path, error))
        except Exception as error:
            # A fault of this program in one log must not cost the others of the evening.
            _log.exception("adding %s", one.path)
            what = f"adding it failed by a fault of this program ({type(error).__name__}: {error})"
            hint = "please report it with this file; the other files are not concerned"
            return _failed(one, BookError(what, path=one.path, hint=hint))

    def _add(self, one: Found, incoming: Incoming) -> Outcome:
        if self.aircraft is None:
            found = self.book.guess(incoming.log)
            if found.aircraft is None:
                return Outcome(
                    file=str(one.path),
                    status="unsure",
                    candidates=found.candidates,
                    reason=found.reason,
                    error=unsure_error(str(one.path), found),
                )
        outcome = self.book.add(
            incoming.log,
            aircraft=self.aircraft,
            source=one.path,
            flights=incoming.flights,
            on=self.on,
            settings=incoming.settings,
            row_interval_s=incoming.row_interval_s,
        )
        if outcome.status == "added" and incoming.measures:
            for flight, doc in zip(outcome.flights, incoming.measures, strict=True):
                self.book.put_measures(flight, incoming.version, doc)
        return replace(outcome, file=str(one.path))


def _failed(one: Found, error: BusbookError) -> Outcome:
    return Outcome(file=str(one.path), status="failed", reason=error.what, error=error)


def _worker_gone(path: Path, error: Exception) -> BookError:
    made = BookError(
        "the worker that should read it has ended",
        path=path,
        hint="add it again with one worker; a very large log may need more memory",
    )
    made.__cause__ = error
    return made
