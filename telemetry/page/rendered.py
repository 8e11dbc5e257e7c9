"""Pages that were made once: kept by all that they depend on, in memory and in a folder."""

from __future__ import annotations

import gzip
import hashlib
import os
import sys
from collections import OrderedDict
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Lock, RLock

from telemetry.book.files.writing import write_file
from telemetry.model.errors import BookError

# Pages kept in memory, and files kept in the folder (a report has some 300 kB before packing).
_MOST_PAGES, _MOST_FILES = 64, 400


class Rendered:
    """Texts by what they depend on.

    Parameters
    ----------
    folder : Path or None
        Where they are kept from one start to the next; None for memory alone.
    """

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.version = _version()
        self.pages: OrderedDict[str, str] = OrderedDict()
        self.lock = Lock()
        # Figures are drawn one at a time: matplotlib knows no threads.
        self.drawing = RLock()

    def get(self, key: Sequence[str], make: Callable[[], str]) -> str:
        """The text of a key; made, by one thread at a time, where it is not there yet."""
        found = self.known(key)
        if found is not None:
            return found
        with self.drawing:
            found = self.known(key)  # another thread may have made it meanwhile
            if found is None:
                found = make()
                self.keep(key, found)
        return found

    def known(self, key: Sequence[str]) -> str | None:
        """The text of a key, if it was made before."""
        name = self._name(key)
        with self.lock:
            if name in self.pages:
                self.pages.move_to_end(name)
                return self.pages[name]
        path = self._path(name)
        if path is None or not path.exists():
            return None
        with suppress(OSError, EOFError, ValueError):
            text = gzip.decompress(path.read_bytes()).decode()
            self._remember(name, text)
            return text
        return None

    def _name(self, key: Sequence[str]) -> str:
        return hashlib.sha256("\0".join((self.version, *key)).encode()).hexdigest()

    def _path(self, name: str) -> Path | None:
        return None if self.folder is None else self.folder / f"{name}.gz"

    def _remember(self, name: str, text: str) -> None:
        with self.lock:
            self.pages[name] = text
            while len(self.pages) > _MOST_PAGES:
                self.pages.popitem(last=False)

    def keep(self, key: Sequence[str], text: str) -> None:
        """Keep the text of a key."""
        name = self._name(key)
        self._remember(name, text)
        path = self._path(name)
        if path is None:
            return
        with suppress(OSError, BookError):  # a page that cannot be kept is made again
            write_file(path, gzip.compress(text.encode("utf-8", "replace"), 5, mtime=0))
            files = sorted(path.parent.glob("*.gz"), key=lambda p: p.stat().st_mtime)
            for old in files[: max(0, len(files) - _MOST_FILES)]:
                old.unlink(missing_ok=True)


def _version() -> str:
    """Of all that makes a page: the program's own files, and what runs them.

    Their contents, not their times: two builds of one version may be told apart by nothing else.
    """
    runs = Path(sys.executable).stat()
    digest = hashlib.sha256(f"{runs.st_size} {runs.st_mtime_ns}".encode())
    for folder, within, files in os.walk(Path(__file__).parents[1]):
        within[:] = sorted(name for name in within if name != "__pycache__")
        for name in sorted(files):
            digest.update(Path(folder, name).read_bytes())
    return digest.hexdigest()
