"""Where things lie in the book, and which version of the layout that is."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from telemetry.book.files.writing import PART, book_error, make_folder, read_file, write_file
from telemetry.model.errors import BookError
from telemetry.model.files import toml_of

#: Version of the layout that this program writes. It reads this one and all before it.
LAYOUT = 3

FORMAT_FILE = "format.toml"
_TEXT = f"""\
# A busbook logbook. Keep this file: it tells how the folders beside it are laid out.
layout = {LAYOUT}
"""


class Stamp(NamedTuple):
    """What tells that a file has changed, without reading it: size, time of its last change, ns."""

    size_bytes: int
    changed_ns: int

    @classmethod
    def of(cls, found: os.stat_result) -> Stamp:
        """Of what the system says of a file."""
        return cls(found.st_size, found.st_mtime_ns)


@dataclass(frozen=True, slots=True)
class Places:
    """Paths within the book. Names and ids must have been checked before."""

    root: Path

    def original(self, recording: str) -> Path:
        """The compressed original."""
        return self.root / "originals" / f"{recording}.csv.zst"

    def record(self, recording: str) -> Path:
        """The book's record of a recording, written last: with it the recording is added."""
        return self.root / "originals" / f"{recording}.json"

    def profile(self, aircraft: str) -> Path:
        """The aircraft's profile."""
        return self.root / "aircraft" / f"{aircraft}.toml"

    def flight(self, aircraft: str, flight: str) -> Path:
        """The samples of a flight."""
        return self.root / "flights" / f"aircraft={aircraft}" / f"{flight}.parquet"

    def note(self, aircraft: str, note: str) -> Path:
        """One note."""
        return self.root / "notes" / f"aircraft={aircraft}" / f"{note}.json"

    def change(self, change: str) -> Path:
        """One change of what the book holds."""
        return self.root / "changes" / f"{change}.json"

    def entry(self, entry: str) -> Path:
        """What one write wrote."""
        return self.root / "entries" / f"{entry}.json"

    def removed_flight(self, aircraft: str, flight: str) -> Path:
        """The samples of a flight that is kept aside."""
        return self.root / "removed" / "flights" / f"aircraft={aircraft}" / f"{flight}.parquet"

    def removed_note(self, aircraft: str, note: str) -> Path:
        """One note that is kept aside."""
        return self.root / "removed" / "notes" / f"aircraft={aircraft}" / f"{note}.json"

    def learnt(self, aircraft: str, fingerprint: str) -> Path:
        """What is known of one header of an aircraft."""
        return self.root / "maps" / f"aircraft={aircraft}" / f"{fingerprint}.json"

    def measures(self, flight: str) -> Path:
        """Derived measures of a flight."""
        return self.root / "measures" / f"{flight}.json"

    def replay(self, aircraft: str) -> Path:
        """Derived: what the flights of an aircraft told together, flight by flight."""
        return self.root / "measures" / "replays" / f"{aircraft}.json"

    @property
    def index(self) -> Path:
        """Derived: the records of all recordings in one file."""
        return self.root / "measures" / "index" / "recordings.json"

    def fleet(self, aircraft: str) -> Path:
        """Derived: what the other aircraft tell of one."""
        return self.root / "measures" / "fleets" / f"{aircraft}.json"

    def answer(self, aircraft: str) -> Path:
        """Derived: how an aircraft stands."""
        return self.root / "measures" / "answers" / f"{aircraft}.json"

    def stamps(self, folder: str, ending: str = "") -> dict[str, Stamp]:
        """Stamps of the files of a folder by their names; those being written are passed by.

        Parameters
        ----------
        folder : str
        ending : str
            Of the names that are meant.

        Raises
        ------
        BookError
            If the folder cannot be read.
        """
        path, found = self.root / folder, {}
        try:
            with os.scandir(path) as there:
                for one in there:
                    if one.name.endswith(ending) and not one.name.startswith("."):
                        with suppress(FileNotFoundError):  # another process moves it just now
                            found[one.name] = Stamp.of(one.stat())
        except (FileNotFoundError, NotADirectoryError):
            return {}
        except OSError as error:
            raise book_error(error, path, "read") from error
        return found

    def files(self, pattern: str) -> list[Path]:
        """Files of the book that fit a pattern, in order; those being written are passed by.

        Raises
        ------
        BookError
            If a folder cannot be read.
        """
        try:
            found = sorted(self.root.glob(pattern))
        except OSError as error:
            raise book_error(error, self.root, "read") from error
        return [p for p in found if not p.name.startswith(".")]


def is_book(root: Path) -> bool:
    """Whether a folder is a logbook, of any version."""
    return (root / FORMAT_FILE).exists()


def open_book(root: Path, *, make: bool = True) -> Places:
    """Open a book, or make one in a folder that is missing or empty.

    Raises
    ------
    BookError
        If the folder holds other things, was written by a newer version, or cannot be made; or if
        there is no book and ``make`` is False.
    """
    path = root / FORMAT_FILE
    if not path.exists():
        if not make:
            raise BookError(
                "there is no logbook here",
                path=root,
                hint="'busbook add LOG --aircraft NAME' begins one; --book names another folder",
            )
        _make(root, path)
    _layout_of(path)
    return Places(root)


def layout_of(places: Places) -> int:
    """The version of the layout of a book that was opened before.

    Raises
    ------
    BookError
        As of :func:`open_book`; also where the book has gone in the meantime.
    """
    path = places.root / FORMAT_FILE
    if not path.exists():
        raise BookError(
            "the logbook has gone: its folder was moved or deleted while this ran",
            path=places.root,
            hint="put it back and give the same command again; what was finished is in it",
        )
    return _layout_of(path)


def write_format(places: Places) -> bool:
    """Mark a book as one of this layout; False where it says so already, word for word."""
    path = places.root / FORMAT_FILE
    if path.exists() and read_file(path) == _TEXT.encode():
        return False
    write_file(path, _TEXT.encode())
    return True


def _make(root: Path, path: Path) -> None:
    try:
        # Another process may be making the same book: its file still being written is no matter.
        others = root.is_dir() and any(not p.name.endswith(PART) for p in root.iterdir())
        if others and not path.exists():
            raise BookError(
                "this folder is no logbook: it holds other things and no format.toml",
                path=root,
                hint="give a new or empty folder, or put format.toml back",
            )
        if not path.exists():
            make_folder(root)
            write_file(path, _TEXT.encode())
    except OSError as error:
        raise book_error(error, root, "written") from error


def _layout_of(path: Path) -> int:
    """The layout of a book; BookError where it cannot be read or is newer than this program's."""
    try:
        layout = toml_of(read_file(path).decode()).get("layout")
    except (ValueError, RecursionError) as error:
        raise _unreadable(path) from error
    if isinstance(layout, bool) or not isinstance(layout, int) or layout < 1:
        raise _unreadable(path)
    if layout > LAYOUT:
        raise BookError(
            f"this logbook was written by a newer busbook (layout {layout}; this one knows up to "
            f"{LAYOUT})",
            path=path.parent,
            hint="install the newest busbook; nothing was changed",
        )
    return layout


def _unreadable(path: Path) -> BookError:
    return BookError(
        "the version of this logbook cannot be read",
        path=path,
        hint=f"it should hold the line: layout = {LAYOUT}",
    )
