"""Which files are meant: those named, and what may be a log in the folders named."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from telemetry.importer.text.archive import (
    SHEET_ENDINGS,
    is_archive,
    is_log,
    logs_inside,
    sheet_error,
)
from telemetry.model.errors import UnreadableLog
from telemetry.model.files import is_regular


@dataclass(frozen=True, slots=True)
class FoundFiles:
    """A file to be read; ``named`` is False where a folder was searched for it."""

    path: Path
    named: bool
    error: UnreadableLog | None = None


def find_files(
    paths: Sequence[str | Path], *, leave_out: Path | None = None
) -> tuple[FoundFiles, ...]:
    """The files named, and the logs in the folders named, in the order of their numbers.

    Parameters
    ----------
    paths : sequence of path
    leave_out : path, optional
        A folder that is not searched: the book itself, if it lies among the logs.

    Returns
    -------
    tuple of FoundFiles
        Without repeats. Folders are searched to the bottom, without following links, passing by
        what begins with a dot; archives are searched as folders are. A folder that cannot be
        read, and a spreadsheet in one, is among them with its error.
    """
    found: dict[Path, FoundFiles] = {}
    for path in map(Path, paths):
        # Path.is_dir() raises on too long a name, of which the reading tells better.
        folder = os.path.isdir(path)  # noqa: PTH112
        if folder:
            inside = _inside(path, leave_out)
        elif is_archive(path):
            inside = _unpacked(path)
        else:
            inside = iter([FoundFiles(path, named=True)])
        for one in inside:
            found.setdefault(one.path, one)
    return tuple(found.values())


def _inside(folder: Path, leave_out: Path | None) -> Iterator[FoundFiles]:
    errors: list[OSError] = []
    barred = None if leave_out is None else os.path.realpath(leave_out)
    for root, folders, files in os.walk(folder, onerror=errors.append):
        folders[:] = sorted(
            (d for d in folders if d[0] != "." and os.path.realpath(Path(root, d)) != barred),
            key=_natural,
        )
        for name in sorted(files, key=_natural):
            path = Path(root, name)
            if name[0] == "." or (path.exists() and not is_regular(path)):
                continue  # a pipe, a device, or a link to one
            if path.suffix.lower() in SHEET_ENDINGS:
                yield FoundFiles(path, named=False, error=sheet_error(path))
            elif path.suffix.lower() == ".zip":
                yield from _unpacked(path)
            elif is_log(name):
                yield FoundFiles(path, named=False)
    for error in errors:
        path = Path(error.filename or folder)
        what = f"this folder cannot be read ({error.strerror or error})"
        yield FoundFiles(
            path, named=True, error=UnreadableLog(what, path=path, hint="check its permissions")
        )


def _unpacked(path: Path) -> Iterator[FoundFiles]:
    inside = sorted(logs_inside(path), key=lambda one: _natural(str(one[0])))
    for inner, error in inside:
        yield FoundFiles(inner, named=False, error=error)


def _natural(name: str) -> list[tuple[int, str]]:
    """Sorts "log 9" before "log 10": every second piece is a number."""
    pieces = re.split(r"([0-9]+)", name.lower())
    return [(int(p), "") if i % 2 else (0, p) for i, p in enumerate(pieces)]
