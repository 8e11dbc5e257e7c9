"""Add many files: folders, a memory card's whole tree, through any executor.

The executor's workers read and review, one file a task; this process hashes the files first, skips
what the book has, and writes. Files are written in the order in which they are named, whatever
order the workers finish in, and no more than ``pending`` logs are in memory at once.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from telemetry.app.workers import worker_error, worker_gone
from telemetry.book.adding import BookEntry, unsure_error
from telemetry.book.files.dates import checked_date
from telemetry.book.files.names import aircraft_key
from telemetry.book.files.originals import sha256_of
from telemetry.book.records import Outcome
from telemetry.book.store import Logbook
from telemetry.importer import ColumnMap, read_log_in
from telemetry.importer.finding import FoundFiles, find_files
from telemetry.model.errors import BookError, BusbookError, UnreadableLog
from telemetry.model.log import Log
from telemetry.results import Flight

# Of these endings a file that is no log is worth a failure; a stray .txt is not.
_SURELY_LOGS = (".csv", ".tsv")

#: What a radio logged while it was switched on and off is no flight: fewer rows (heuristic).
FEWEST_ROWS = 5

# Threads that write to the book at once.
_WRITERS = 4

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
    folder: Path | None = None,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
) -> Incoming:
    """Read one file with :func:`telemetry.importer.read_log`, and say what it was read with.

    ``folder`` is where a relative path begins, if not in this process's working folder.
    """
    log = read_log_in(
        Path() if folder is None else folder,
        path,
        settings=settings,
        row_interval_s=row_interval_s,
        column_maps=column_maps,
    )
    used = next((m.readings for m in column_maps if m.fingerprint == log.provenance.header), {})
    return Incoming(log=log, settings={**used, **(settings or {})}, row_interval_s=row_interval_s)


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
        Any executor of ``concurrent.futures`` or with its interface, such as that of
        :func:`telemetry.app.workers.worker_pool`; without it everything happens here. It is not
        shut down.
    pending : int
        Files that may be read at once; a few more may wait to be written.
    progress : callable, optional

    Raises
    ------
    BookError
        If the name of the aircraft cannot be one, before anything is read.
    """
    if aircraft is not None:
        aircraft_key(aircraft)
    if on is not None:
        checked_date(on)
    files = find_files(paths, leave_out=book.path)
    outcomes: list[Outcome] = []
    # Writers wait for the disk most of the time: several keep it busy.
    with _Here() if executor is None else ThreadPoolExecutor(_WRITERS) as writers:
        batch = _Batch(
            book=book,
            aircraft=aircraft,
            on=on,
            read=read,
            readers=executor or _Here(),
            writers=writers,
        )
        for outcome in batch.run(files, pending=0 if executor is None else pending):
            outcomes.append(outcome)
            if progress is not None:
                progress(len(outcomes), len(files), outcome)
    return tuple(outcomes)


class _Here(Executor):
    """Does each task at once, in this thread."""

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@dataclass(slots=True, kw_only=True)
class _Batch:
    """Files on their way: hashed and read, settled one after the other, written."""

    book: Logbook
    aircraft: str | None
    on: str | None
    read: ReadFile
    readers: Executor
    writers: Executor
    reading: deque[tuple[FoundFiles, Outcome | Future[Incoming]]] = field(default_factory=deque)
    writing: deque[tuple[FoundFiles, Outcome | Future[Outcome]]] = field(default_factory=deque)
    seen: set[str] = field(default_factory=set)

    def run(self, files: Sequence[FoundFiles], pending: int) -> Iterator[Outcome]:
        """The outcomes in order; at most ``pending`` files are being read at once."""
        for one in files:
            sha256 = self._hash(one)
            if sha256 in self.seen:
                # The same content again: whatever becomes of the first decides what it is.
                yield from self._advance(reading=0, writing=0)
            if isinstance(sha256, str):
                self.seen.add(sha256)
                self.reading.append((one, self._begin(one, sha256)))
            else:
                self.reading.append((one, sha256))
            yield from self._advance(reading=pending, writing=_WRITERS if pending else 0)
        yield from self._advance(reading=0, writing=0)

    def _advance(self, *, reading: int, writing: int) -> Iterator[Outcome]:
        while len(self.reading) > reading:
            one, state = self.reading.popleft()
            done = state if isinstance(state, Outcome) else self._settle(one, state)
            self.writing.append((one, done))
            while len(self.writing) > writing:
                yield self._finish()
        while len(self.writing) > writing:
            yield self._finish()

    def _finish(self) -> Outcome:
        one, state = self.writing.popleft()
        if isinstance(state, Outcome):
            return state
        with _Failure(one) as failure:
            return replace(state.result(), file=str(one.path))
        return failure.outcome

    def _hash(self, one: FoundFiles) -> str | Outcome:
        if one.error is not None:
            return _failed(one, one.error)
        with _Failure(one) as failure:
            return sha256_of(one.path)
        return failure.outcome

    def _begin(self, one: FoundFiles, sha256: str) -> Outcome | Future[Incoming]:
        """Hand a file to a worker, unless the book has it."""
        with _Failure(one) as failure:
            known = self.book.knows(sha256)
            if known is not None:
                return self.book.known_outcome(str(one.path), known, self.aircraft)
            return self.readers.submit(self.read, one.path)
        return failure.outcome

    def _settle(self, one: FoundFiles, future: Future[Incoming]) -> Outcome | Future[Outcome]:
        """Take what the worker made of a file, and hand it to a writer."""
        with _Failure(one) as failure:
            incoming = future.result()
            rows = len(incoming.log.frame)
            if rows < FEWEST_ROWS:
                reason = f"{rows} row{'s' * (rows != 1)} are no flight"
                return Outcome(file=str(one.path), status="skipped", reason=reason)
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
            settled = self.book.settle(
                incoming.log,
                aircraft=self.aircraft,
                source=one.path,
                flights=incoming.flights,
                on=self.on,
                settings=incoming.settings,
                row_interval_s=incoming.row_interval_s,
            )
            if isinstance(settled, Outcome):
                return replace(settled, file=str(one.path))
            return self.writers.submit(self._write, settled, incoming)
        return failure.outcome

    def _write(self, entry: BookEntry, incoming: Incoming) -> Outcome:
        outcome = self.book.write(entry)
        if incoming.measures:
            for flight, doc in zip(outcome.flights, incoming.measures, strict=True):
                self.book.put_measures(flight, incoming.version, doc)
        return outcome


class _Failure:
    """Turns an error within the block into an outcome: failure is data."""

    def __init__(self, one: FoundFiles) -> None:
        self.one = one
        self.outcome = Outcome(file=str(one.path), status="failed")

    def __enter__(self) -> _Failure:
        return self

    def __exit__(self, _: object, error: BaseException | None, __: object) -> bool:
        path = self.one.path
        if isinstance(error, BusbookError):
            self.outcome = _failed(self.one, error)
            stray = not self.one.named and path.suffix.lower() not in _SURELY_LOGS
            if isinstance(error, UnreadableLog) and stray:
                self.outcome = replace(self.outcome, status="skipped")
        elif error is not None and worker_gone(error):
            self.outcome = _failed(self.one, worker_error(error, path))
        elif isinstance(error, Exception):
            # A fault of this program in one log must not cost the others of the evening.
            _log.error("adding %s", path, exc_info=error)
            what = f"adding it failed by a fault of this program ({type(error).__name__}: {error})"
            hint = "please report it with this file; the other files are not concerned"
            self.outcome = _failed(self.one, BookError(what, path=path, hint=hint))
        else:
            return False
        return True


def _failed(one: FoundFiles, error: BusbookError) -> Outcome:
    return Outcome(file=str(one.path), status="failed", reason=error.what, error=error)
