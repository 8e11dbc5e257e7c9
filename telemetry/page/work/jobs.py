"""The worker beside the pages: adds one batch of logs after the other, as ``busbook add`` does."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from threading import Event, RLock, Thread

from telemetry.app.workers import Crew, worker_pool
from telemetry.book import Logbook, Outcome
from telemetry.importer.finding import find_files
from telemetry.model.errors import BusbookError, UnreadableLog, sentence
from telemetry.model.files import is_regular
from telemetry.page.start.loading import load
from telemetry.page.work.batches import (
    ADDED,
    ASKED,
    DROPPED,
    FAILED,
    KNOWN,
    OPEN,
    SKIPPED,
    UNSURE,
    WAITING,
    Batch,
    LogOnTheWay,
    Spool,
    changed,
)
from telemetry.report.words import sentence as as_sentence

# Columns of a table that somebody could settle.
_FEWEST_COLUMNS = 2
_LOOKED_EVERY_S = 2.0


class _Stopped(Exception):
    """The program ends."""


class Work:
    """The batches of a book and the thread that works them off.

    Parameters
    ----------
    book : Path
    workers : int
        Processes that read at once; 0 for none beside this one.
    inbox : Path, optional
        A folder that is watched: what appears in it is added.
    """

    def __init__(self, book: Path, *, workers: int = 1, inbox: Path | None = None) -> None:
        self.book, self.workers, self.inbox = book, workers, inbox
        self.spool = Spool(book / "incoming")
        self.lock = RLock()
        self.batches: dict[str, Batch] = {}
        self.broken = 0
        self.trouble = ""
        self.making: dict[str, Callable[[], Batch | None]] = {}
        self.stopping, self.news = Event(), Event()
        self.threads: list[Thread] = []

    # The batches.

    def start(self) -> None:
        """Take up what an earlier start left, and begin to work."""
        self.broken = self.spool.cut_off()
        for batch in self.spool.batches():
            cut = batch.begun and batch.count(WAITING) > 0
            self.batches[batch.id] = replace(batch, cut=cut or batch.cut)
        jobs: list[Callable[[], None]] = [self._work]
        if self.inbox is not None:
            jobs.append(self._watch)
        for job in jobs:
            thread = Thread(target=job, daemon=True)
            thread.start()
            self.threads.append(thread)
        self.news.set()

    def stop(self) -> None:
        """End the work; what is not done is taken up by the next start."""
        self.stopping.set()
        self.news.set()
        for thread in self.threads:
            thread.join(20)

    def came(self, batch: Batch | None) -> None:
        """A batch that the spool has taken in."""
        if batch is None:
            return
        with self.lock:
            self.batches[batch.id] = batch
        self.news.set()

    def make(self, words: str, make: Callable[[], Batch | None]) -> None:
        """Let the worker make a batch that takes its time; ``words`` say what it is."""
        with self.lock:
            self.making.setdefault(words, make)
        self.news.set()

    def shown(self) -> tuple[Batch, ...]:
        """All batches, the newest first."""
        with self.lock:
            return tuple(self.batches[k] for k in sorted(self.batches, reverse=True))

    def questions(self) -> int:
        """How many logs wait for an answer."""
        return sum(batch.count(*ASKED) for batch in self.shown())

    @property
    def busy(self) -> bool:
        """Whether a log is still to be read."""
        return bool(self.making) or any(batch.count(WAITING) for batch in self.shown())

    def decide(
        self,
        which: Callable[[LogOnTheWay], bool],
        *,
        aircraft: str = "",
        settings: Mapping[str, str] | None = None,
        row_interval_s: float | None = None,
        leave: bool = False,
    ) -> int:
        """Answer what was asked of some logs, which are then taken up again; how many they are."""

        def answered(log: LogOnTheWay) -> LogOnTheWay:
            if log.status not in ASKED or not which(log):
                return log
            if leave:
                return replace(log, status=DROPPED, words="Left out, as you said.")
            return replace(
                log,
                status=WAITING,
                words="",
                given=aircraft or log.given,
                settings={**log.settings, **(settings or {})},
                row_interval_s=row_interval_s or log.row_interval_s,
            )

        count = 0
        with self.lock:
            for batch in self.batches.values():
                after = changed(batch, answered)
                count += sum(a != b for a, b in zip(after.logs, batch.logs, strict=True))
                if after != batch:
                    self.keep(after)
        self.news.set()
        return count

    def keep(self, batch: Batch) -> None:
        """Take a batch as it stands now, in place of the one of its id."""
        with self.lock:
            self.batches[batch.id] = batch
            with suppress(BusbookError):  # a list that cannot be written is in memory still
                self.spool.keep(batch)

    # The thread.

    def _work(self) -> None:
        while not self.stopping.is_set():
            self.news.wait(60)
            self.news.clear()
            self.work_off()

    def work_off(self) -> None:
        """Make what was asked for and work off all that waits; ends early where it is stopped."""
        with suppress(_Stopped):
            self._make()
            while (batch := self._next()) is not None:
                self._one(batch)

    def _make(self) -> None:
        for words, make in tuple(self.making.items()):
            try:
                self.came(make())
            except Exception as error:  # the disk is full, and whatever else
                self.trouble = as_sentence(sentence(error))
            finally:
                with self.lock:
                    self.making.pop(words, None)

    def _next(self) -> Batch | None:
        if self.stopping.is_set():
            raise _Stopped
        return next((b for b in reversed(self.shown()) if b.count(WAITING)), None)

    def _one(self, batch: Batch) -> None:
        """Work off the logs of a batch that were answered alike."""
        load()
        from telemetry.app.adding import add_logs

        first = next(log for log in batch.logs if log.status == WAITING)
        how = (first.given, first.settings, first.row_interval_s)
        alike = [
            log
            for log in batch.logs
            if log.status == WAITING and (log.given, log.settings, log.row_interval_s) == how
        ]
        self.keep(replace(batch, begun=True))
        paths = {str(self.spool.path(batch, log)): log.path for log in alike}

        def follow(_: int, __: int, outcome: Outcome) -> None:
            # One that is not sure yet may be known by the others, and is tried again.
            if outcome.file in paths and outcome.status != "unsure":
                self._became(batch.id, paths[outcome.file], outcome)
            if self.stopping.is_set():
                raise _Stopped

        try:
            with _crew(self.workers) as crew:
                outcomes = add_logs(
                    Logbook(self.book),
                    list(paths),
                    aircraft=first.given or None,
                    settings=first.settings,
                    row_interval_s=first.row_interval_s,
                    hold=True,
                    executor=crew.executor,
                    pending=crew.pending,
                    progress=follow,
                )
            for outcome in outcomes:
                if outcome.status == "unsure" and outcome.file in paths:
                    self._became(batch.id, paths[outcome.file], outcome)
        except _Stopped:
            raise
        except Exception as error:  # the whole of it: no aircraft of that name, two models in one
            self._failed(batch.id, set(paths.values()), sentence(error), asked=bool(first.given))
        self._failed(batch.id, set(paths.values()), "It could not be read.")
        self.spool.forget_old()

    def _became(self, batch: str, path: str, outcome: Outcome) -> None:
        """Note what became of one log."""
        with self.lock:
            now = self.batches[batch]
            log = next(one for one in now.logs if one.path == path)
            after = _after(log, outcome, self.spool.path(now, log))
            self.keep(changed(now, lambda one: after if one.path == path else one))

    def _failed(self, batch: str, paths: set[str], words: str, *, asked: bool = False) -> None:
        """Note of all logs that nothing became of what went wrong."""

        def failed(log: LogOnTheWay) -> LogOnTheWay:
            if log.path not in paths or log.status != WAITING:
                return log
            return replace(log, status=UNSURE if asked else FAILED, given="", words=words)

        with self.lock:
            now = self.batches[batch]
            after = changed(now, failed)
            if after != now:
                self.keep(after)

    # The inbox.

    def _watch(self) -> None:
        """Take in what appears in a folder and has stopped growing; again where it changed."""
        seen: set[tuple[str, int, int]] = set()
        before: set[tuple[str, int, int]] = set()
        while not self.stopping.wait(_LOOKED_EVERY_S):
            now = _listed(self.inbox) if self.inbox is not None else set()
            fresh = sorted((now & before) - seen)
            before = now
            if fresh:
                with suppress(OSError):  # a card that was pulled out is looked for again
                    self.came(self.spool.take((Path(p).name, Path(p)) for p, _, _ in fresh))
                    seen |= set(fresh)


@contextmanager
def _crew(workers: int) -> Iterator[Crew]:
    """Processes that read beside the pages, so that these stay quick; 0: this one."""
    if workers == 0:
        yield Crew(None, 0)
        return
    with worker_pool(workers) as pool:
        yield Crew(pool, 2 * workers)


def _listed(folder: Path) -> set[tuple[str, int, int]]:
    found = set()
    with suppress(OSError):
        for one in find_files([folder]) if folder.is_dir() else ():
            path = one.path
            while not is_regular(path) and path != folder and path.parent != path:
                path = path.parent  # a log in an archive: the archive itself
            if is_regular(path):
                state = path.stat()
                found.add((str(path), state.st_size, state.st_mtime_ns))
    return found


def _after(log: LogOnTheWay, outcome: Outcome, path: Path) -> LogOnTheWay:
    """A log with what became of it."""
    log = replace(
        log,
        aircraft=outcome.aircraft or "",
        flights=outcome.flights,
        candidates=outcome.candidates,
    )
    if outcome.status == "added":
        words = f"{len(outcome.flights)} recordings in it." if len(outcome.flights) > 1 else ""
        if not outcome.named:
            words = f"{words} {as_sentence(outcome.reason)}".strip()
        return replace(log, status=ADDED, words=words)
    if outcome.status == "known":
        words = as_sentence(outcome.reason) or "The book has it; nothing was changed."
        return replace(log, status=KNOWN, words=words)
    if outcome.status == "unsure":
        return replace(log, status=UNSURE, words=as_sentence(outcome.reason))
    if isinstance(outcome.error, UnreadableLog):
        header = _to_settle(path, log)
        if header:
            what = outcome.error.what
            return replace(log, status=OPEN, header=header, words=as_sentence(what))
    if outcome.error is not None:
        told = filter(None, (outcome.error.what, outcome.error.hint))
        return replace(log, status=FAILED, words=as_sentence("; ".join(told)))
    return replace(log, status=SKIPPED, words=as_sentence(outcome.reason) or "Passed by.")


def _to_settle(path: Path, log: LogOnTheWay) -> str:
    """Fingerprint of the header of a log whose columns somebody could settle; else ""."""
    from telemetry.importer.describe import ListingState, describe_columns

    with suppress(BusbookError, OSError):
        listing = describe_columns(path, settings=log.settings, row_interval_s=log.row_interval_s)
        if listing.state is not ListingState.SETTLED and len(listing.columns) >= _FEWEST_COLUMNS:
            return listing.fingerprint
    return ""
