"""Histories of aircraft, judged beside the pages: many flights take minutes the first time.

What was judged is kept, so that this is so once. Meanwhile a page says how far it is, and no other
page waits.
"""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock, Semaphore, Thread

from telemetry.book import Logbook
from telemetry.page.start.loading import load
from telemetry.results import History

_MOST_KEPT, _AT_ONCE = 4, 2


class Judging:
    """One history on its way: how many flights are judged, of how many."""

    def __init__(self, book: Logbook, name: str, turn: Semaphore) -> None:
        self.done = self.count = 0
        self.found: History | None = None
        self.error: Exception | None = None
        self.thread = Thread(target=self._run, args=(book, name, turn), daemon=True)
        self.thread.start()

    def _run(self, book: Logbook, name: str, turn: Semaphore) -> None:
        with turn:
            try:
                load()
                from telemetry.app.histories import history

                self.found = history(book, name, progress=self._tell, judged=self._tell)
            except Exception as error:  # told by whoever asks for it
                self.error = error

    def _tell(self, done: int, count: int) -> None:
        self.done, self.count = done, count


class Histories:
    """The histories of a book, each judged once for what the book holds."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.turn = Semaphore(_AT_ONCE)
        self.judged: OrderedDict[tuple[str, str], Judging] = OrderedDict()

    def get(self, book: Logbook, name: str, wait_s: float | None = None) -> History | Judging:
        """The history of an aircraft; what is on its way where it is not there in that time.

        Parameters
        ----------
        book : Logbook
        name : str
            Of an aircraft with flights.
        wait_s : float, optional
            Without it, until it is there.

        Raises
        ------
        BusbookError
            As :func:`telemetry.app.histories.history`.
        """
        key = name, book.state(name)
        with self.lock:
            one = self.judged.get(key)
            if one is None:
                one = self.judged[key] = Judging(book, name, self.turn)
            self.judged.move_to_end(key)
            over = [k for k, j in self.judged.items() if not j.thread.is_alive() and k != key]
            for old in over[: max(0, len(self.judged) - _MOST_KEPT)]:
                del self.judged[old]
        one.thread.join(wait_s)
        if one.error is not None:
            with self.lock:
                self.judged.pop(key, None)
            raise one.error
        return one if one.found is None else one.found
