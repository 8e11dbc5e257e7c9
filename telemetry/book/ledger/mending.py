"""Put right what differs from the entries of a book, as far as these hold it whole."""

from __future__ import annotations

import difflib
import hashlib
import json
import re
from collections.abc import Container, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from telemetry.book.files.layout import Places
from telemetry.book.files.writing import book_error, read_file, remove, write_file
from telemetry.book.ledger.entries import enter, listed_name, sealed
from telemetry.book.ledger.verifying import (
    DAMAGED,
    FileDifference,
    FileStand,
    Verified,
    strange_error,
)
from telemetry.book.records import Note
from telemetry.model.errors import BusbookError

# Documents that are what their entry says, whatever became of the file.
_WRITTEN_BACK = ("originals", "notes", "changes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Edited:
    """A profile that was changed since the book wrote it, by hand or by damage.

    Attributes
    ----------
    file : str
        Relative to the book.
    lines : tuple of str
        Lines that went, with "-" before them, and that came, with "+".
    """

    file: str
    lines: tuple[str, ...]


@dataclass(slots=True, kw_only=True)
class Mending:
    """What a check of the book has done and could not do so far; names relative to the book."""

    places: Places
    rebuilt: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    edited: list[Edited] = field(default_factory=list)
    problems: list[BusbookError] = field(default_factory=list)
    entered: set[Path] = field(default_factory=set)

    def name(self, path: Path) -> str:
        """A path as it is told."""
        return path.relative_to(self.places.root).as_posix()

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Keep an error as a problem and go on after the block."""
        try:
            yield
        except BusbookError as error:
            self.problems.append(error)

    def remove(self, path: Path) -> None:
        """Remove a file, or keep why not."""
        with self.noting():
            remove(path)
            self.removed.append(self.name(path))

    def put_aside(self, path: Path, ending: str = DAMAGED) -> None:
        """Give a damaged file a name that the book does not read, or keep why not."""
        with self.noting():
            aside = path.with_name(path.name + ending)
            try:
                path.replace(aside)
            except OSError as error:
                raise book_error(error, path, "put aside") from error
            self.damaged.append(self.name(aside))


def write_back(mending: Mending, verified: Verified) -> None:
    """Write documents back that were changed or lost, and enter profiles that were edited."""
    for one in verified.differences:
        with mending.noting():
            part = one.name.partition("/")[0]
            if part == "aircraft":
                _profile(mending, one)
            elif part in _WRITTEN_BACK and one.seal is not None and one.seal.text is not None:
                _write_back(mending, one, one.seal.text)


def _write_back(mending: Mending, one: FileDifference, text: str) -> None:
    path = one.path
    if one.kind is FileStand.CHANGED:
        # It may hold words that somebody wrote into it: kept under a name of its own.
        digest = hashlib.sha256(read_file(path)).hexdigest()
        mending.put_aside(path, f".{digest[:8]}{DAMAGED}")
    elif one.name.startswith("notes/"):
        # Whose note it is, it says itself; where it is kept aside, it is put there later.
        path = mending.places.note(Note.of(json.loads(text)).aircraft, path.stem)
    write_file(path, text.encode())
    mending.rebuilt.append(mending.name(path))


def _profile(mending: Mending, one: FileDifference) -> None:
    """A profile is the user's: what he changed is shown and entered; a lost one comes back."""
    old = "" if one.seal is None or one.seal.text is None else one.seal.text
    if one.kind is FileStand.MISSING:
        write_file(one.path, old.encode())
        mending.rebuilt.append(mending.name(one.path))
        return
    new = read_file(one.path).decode("utf-8", "replace")
    lines = difflib.unified_diff(old.splitlines(), new.splitlines(), n=0, lineterm="")
    # The first two lines name the files.
    told = tuple(line for line in [*lines][2:] if not line.startswith("@@"))
    mending.edited.append(Edited(file=mending.name(one.path), lines=told))
    enter(mending.places, {one.path: sealed(one.path)})


def take(mending: Mending, verified: Verified, kept: Container[str], *, accept: bool) -> None:
    """Tell of what no entry lists and of entries that are lost, or take the book as it is.

    ``kept`` are the recordings of the book: files of others, which were not added to their end,
    are told of elsewhere.
    """
    strange = [
        d
        for d in verified.differences
        if d.kind is FileStand.STRANGE
        and d.path.exists()
        and d.path not in mending.entered
        and d.name.partition("/")[0] != "aircraft"
        and not _is_unfinished(d.name, kept)
    ]
    if not accept:
        mending.problems += [*verified.problems, *map(strange_error, strange)]
        return
    taken = [d.path for d in strange if listed_name(mending.places, d.path) is not None]
    mending.problems += [strange_error(d) for d in strange if d.path not in taken]
    taken += [
        d.path
        for d in verified.differences
        if d.kind is FileStand.CHANGED
        and d.seal is not None
        and d.path.exists()
        and not d.seal.fits(d.path)
    ]
    if taken or verified.lost:
        for name in verified.lost:
            if (path := mending.places.entry(name)).exists():
                mending.put_aside(path)
        enter(mending.places, {p: sealed(p) for p in taken}, lost=verified.lost)


def _is_unfinished(name: str, kept: Container[str]) -> bool:
    found = re.match(r"(?:originals|flights)/([0-9a-f]{16})[.-]", name)
    return found is not None and found[1] not in kept
