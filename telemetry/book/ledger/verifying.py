"""Every file of a book held against its entries; nothing is changed here."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from telemetry.book.files.layout import Places
from telemetry.book.files.writing import book_error
from telemetry.book.ledger.entries import (
    LISTED,
    PUT_BACK,
    Entry,
    Seal,
    entries_of,
    listed_name,
)
from telemetry.model.errors import BookError

#: Ending of a file that was found damaged and put aside.
DAMAGED = ".damaged"

# Parts of the book with files that no entry lists, and those whose folders hold listed ones.
_DERIVED = ("entries", "incoming", "maps", "measures")
# What systems put into every folder (common practice).
_LITTER = frozenset({"desktop.ini", "thumbs.db"})


class FileStand(StrEnum):
    """How a file differs from what the entries list."""

    CHANGED = "changed"
    MISSING = "missing"
    STRANGE = "strange"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileDifference:
    """One file that is not as it was written.

    Attributes
    ----------
    name : str
        As entries list it; of a file outside the listed parts its path in the book.
    path : Path
        Where it lies, or where it would for all that is known.
    kind : FileStand
        Strange is a file that no entry lists.
    seal : Seal or None
        What it held; None of a strange one.
    """

    name: str
    path: Path
    kind: FileStand
    seal: Seal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """How the files of a book stand against its entries.

    Attributes
    ----------
    listed : mapping of str to Seal
        The newest seal of each listed file.
    differences : tuple of FileDifference
    lost : tuple of str
        Names of entries that are missing or damaged and were not given up.
    problems : tuple of BookError
        The same in sentences.
    """

    listed: Mapping[str, Seal]
    differences: tuple[FileDifference, ...]
    lost: tuple[str, ...]
    problems: tuple[BookError, ...]


def verify(places: Places) -> Verified:
    """Hold every file against the entries.

    Raises
    ------
    BookError
        If a file or folder cannot be read.
    """
    entries, damaged = entries_of(places)
    listed: dict[str, Seal] = {}
    for entry in entries:
        listed.update(entry.files)
    there: dict[str, list[Path]] = {}
    strange: list[FileDifference] = []
    for path in _files(places):
        name = listed_name(places, path)
        if name is not None:
            there.setdefault(name, []).append(path)
        elif path.relative_to(places.root).parts[0] not in (*_DERIVED, "format.toml"):
            name = path.relative_to(places.root).as_posix()
            strange.append(_difference(name, path, FileStand.STRANGE, None))
    found = [d for name, seal in listed.items() for d in _held(places, name, seal, there)]
    for name in there.keys() - listed.keys():
        found += [_difference(name, p, FileStand.STRANGE, None) for p in there[name]]
    lost, missing = _lost(places, entries, damaged, bool(there))
    return Verified(
        listed=listed,
        differences=tuple(sorted([*found, *strange], key=lambda d: d.path)),
        lost=tuple(sorted(lost)),
        problems=(*(error for name, error in damaged.items() if name in lost), *missing),
    )


def _held(
    places: Places, name: str, seal: Seal, there: Mapping[str, list[Path]]
) -> Iterator[FileDifference]:
    paths = there.get(name, ())
    if not paths:
        folder, _, file = name.partition("/")
        yield _difference(name, places.root / folder / file, FileStand.MISSING, seal)
    for path in paths:
        if not seal.fits(path):
            yield _difference(name, path, FileStand.CHANGED, seal)


def _difference(name: str, path: Path, kind: FileStand, seal: Seal | None) -> FileDifference:
    return FileDifference(name=name, path=path, kind=kind, seal=seal)


def _lost(
    places: Places, entries: list[Entry], damaged: Mapping[str, BookError], filled: bool
) -> tuple[set[str], list[BookError]]:
    """Entries that others name and that are not there, and damaged ones; the missing ones told."""
    names = {entry.name for entry in entries}
    given_up = {name for entry in entries for name in entry.without}
    missing = {name for entry in entries for name in entry.before} - names - given_up - set(damaged)
    told = [
        BookError(
            "an entry of the book is missing: what was written with it can no longer be checked",
            path=places.entry(name),
            hint=PUT_BACK,
        )
        for name in sorted(missing)
    ]
    if filled and not entries and not damaged:
        told.append(
            BookError(
                "all entries of the book are missing: nothing in it can be checked",
                path=places.entry("x").parent,
                hint=PUT_BACK,
            )
        )
    return missing | (set(damaged) - given_up), told


def _files(places: Places) -> Iterator[Path]:
    """Every file, links among them; not those being written, put aside, or a system's own."""

    def refuse(error: OSError) -> None:
        raise book_error(error, places.root, "read") from error

    for folder, folders, files in os.walk(places.root, onerror=refuse):
        folders[:] = sorted(f for f in folders if not f.startswith("."))
        linked = [f for f in folders if (Path(folder) / f).is_symlink()]
        for file in (*files, *linked):
            if not (file.startswith(".") or file.endswith(DAMAGED) or file.lower() in _LITTER):
                yield Path(folder) / file


def strange_error(difference: FileDifference) -> BookError:
    """The error for a file that the book did not write."""
    hint = "move it out of the book"
    if difference.name.split("/")[0] in LISTED:
        hint += "; 'busbook check-book --accept' takes it in"
    return BookError(
        "the book did not write this file: it was put here by another program or by hand",
        path=difference.path,
        hint=hint,
    )
