"""Files written aside and renamed into place: the old state or the new one, never half.

A crash, a full disk or a second writer finds either the file as it was or the whole new one. The
leftovers of a crash begin with a dot and end with ``.part``: Parquet engines pass by names that
begin with a dot, and :meth:`telemetry.book.Logbook.check_book` sweeps them out.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import secrets
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO

from telemetry.model.errors import BookError, BusbookError
from telemetry.model.files import read_regular

#: Ending of files that are still being written.
PART = ".part"

_FULL = {errno.ENOSPC, errno.EDQUOT} if hasattr(errno, "EDQUOT") else {errno.ENOSPC}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
# On Windows a rename fails while another process has the old file open: tried again so often.
_PAUSES_S = (0.01, 0.03, 0.1, 0.3, 1.0)
# A change that another process began so long ago was broken off: one takes milliseconds.
_BROKEN_OFF_S = 20.0
_LOOKED_AFTER_S = 0.02


def book_error(error: OSError, path: Path, doing: str) -> BookError:
    """What the operating system refused, in one sentence; ``doing`` is "written" or "read"."""
    if error.errno in _FULL:
        what = "the disk is full"
        hint = "free some space and try again; what the book held is untouched"
    elif error.errno in _FORBIDDEN and doing == "written":
        what = "this place may not be written to"
        hint = "choose another folder for the book, or allow writing there"
    elif isinstance(error, FileNotFoundError):
        what, hint = "there is no such file or folder", "check the path"
    else:
        what = f"it cannot be {doing} ({error.strerror or error})"
        hint = "check the disk and its permissions"
    made = BookError(what, path=path, hint=hint)
    made.__cause__ = error
    return made


@contextmanager
def written_aside(path: Path) -> Iterator[BinaryIO]:
    """A file that appears under its name whole or not at all.

    It is written in the same folder, flushed to the disk and renamed when the block ends; if the
    block fails, nothing of it stays. Errors of the operating system come through as OSError.
    """
    temp = path.with_name(f".{secrets.token_hex(8)}{PART}")
    try:
        with temp.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        _replace(temp, path)
        _sync_folder(path.parent)
    except BaseException:
        with suppress(OSError):
            temp.unlink(missing_ok=True)
        raise


def write_file(path: Path, data: bytes) -> None:
    """Write a file of the book whole, and the folders above it.

    Raises
    ------
    BookError
        Disk full, folder not writable and the like; the old file, if any, is as it was.
    """
    try:
        make_folder(path.parent)
        with written_aside(path) as file:
            file.write(data)
    except OSError as error:
        raise book_error(error, path, "written") from error


def change_file(path: Path, change: Callable[[bytes | None], bytes]) -> None:
    """Write a file anew from what it holds, one process at a time.

    Parameters
    ----------
    path : Path
    change : callable
        From the old bytes, None where there is no file, to the new ones. What it raises comes
        through, and the file is as it was.

    Raises
    ------
    BookError
        Disk full, folder not writable and the like; the old file, if any, is as it was.
    """
    # The new file under a name of its own, which only one process can make, is also what keeps
    # the others waiting: no change is made from a file that is being changed.
    temp = path.with_name(f".{path.name}{PART}")
    try:
        make_folder(path.parent)
        file = _made_alone(temp)
        try:
            with file:
                file.write(change(read_file(path) if path.exists() else None))
                file.flush()
                os.fsync(file.fileno())
            _replace(temp, path)
            _sync_folder(path.parent)
        except BaseException:
            with suppress(OSError):
                temp.unlink(missing_ok=True)
            raise
    except OSError as error:
        if isinstance(error, BusbookError):
            raise
        raise book_error(error, path, "written") from error


def _made_alone(temp: Path) -> BinaryIO:
    """A new file; waits for the process that has it, and removes what a crash left."""
    while True:
        try:
            return temp.open("xb")
        except FileExistsError:
            with suppress(OSError):
                if time.time() - temp.stat().st_mtime > _BROKEN_OFF_S:
                    temp.unlink(missing_ok=True)
            time.sleep(_LOOKED_AFTER_S)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, so that they outlast a loss of power."""
    missing = [f for f in (folder, *folder.parents) if not f.is_dir()]
    folder.mkdir(parents=True, exist_ok=True)
    for made in missing:
        _sync_folder(made.parent)


def _replace(temp: Path, path: Path) -> None:
    for pause_s in _PAUSES_S:
        try:
            temp.replace(path)
            return
        except PermissionError:
            if not path.exists():
                raise
            time.sleep(pause_s)
    temp.replace(path)


def _sync_folder(folder: Path) -> None:
    """Make a rename last. Where folders cannot be opened (Windows) the system sees to it."""
    flag = getattr(os, "O_DIRECTORY", None)
    if flag is None:
        return
    with suppress(OSError):  # some network file systems refuse it
        handle = os.open(folder, os.O_RDONLY | flag)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def read_file(path: Path) -> bytes:
    """The bytes of a file.

    Raises
    ------
    BookError
        If it is missing or cannot be read.
    """
    try:
        return read_regular(path)
    except OSError as error:
        raise book_error(error, path, "read") from error


def json_bytes(doc: Mapping[str, Any]) -> bytes:
    """A document as the bytes of a JSON file; NaN and infinity are refused with ValueError."""
    return (json.dumps(doc, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def read_json(path: Path) -> dict[str, Any]:
    """A JSON document.

    Raises
    ------
    BookError
        If it is missing, cannot be read or is no JSON object.
    """
    return _object_in(read_file(path), path)


def write_sealed(path: Path, doc: Mapping[str, Any], *, indent: int | None = 1) -> None:
    """Write a derived document whose first value is the hash of all that follows it.

    NaN and infinity are refused with ValueError.
    """
    text = json.dumps(doc, ensure_ascii=False, allow_nan=False, indent=indent)
    rest = text.removeprefix("{").encode()
    write_file(path, _SEAL % hashlib.sha256(rest).hexdigest().encode() + rest)


def read_sealed(path: Path) -> dict[str, Any]:
    """A document as :func:`write_sealed` wrote it.

    Raises
    ------
    BookError
        If it is missing, cannot be read, or any byte of it is another one.
    """
    return sealed_in(read_file(path), path)


def sealed_in(data: bytes, path: Path) -> dict[str, Any]:
    """The same from the bytes of the file."""
    start = len(_SEAL % (b"0" * 64))
    if data[:start] != _SEAL % hashlib.sha256(data[start:]).hexdigest().encode():
        raise damaged(path)
    return _object_in(data, path)


_SEAL = b'{\n "sha256": "%s",'


def _object_in(data: bytes, path: Path) -> dict[str, Any]:
    try:
        doc = json.loads(data, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise damaged(path) from error
    if not isinstance(doc, dict):
        raise damaged(path)
    return doc


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no JSON")


def damaged(path: Path) -> BookError:
    """The error for a file of the book that does not hold what it should."""
    return BookError("this file of the book is damaged", path=path, hint="run busbook check-book")


def changing(path: str | Path) -> BookError:
    """The error for a log whose bytes are not those that were read."""
    return BookError(
        "the file is not what was read a moment ago: something is writing to it",
        path=path,
        hint="add it again when it is finished",
    )


def rename(path: Path, to: Path) -> None:
    """Give a file its other place, for good; errors of the operating system come through."""
    _replace(path, to)
    _sync_folder(to.parent)
    _sync_folder(path.parent)


def remove(path: Path) -> None:
    """Remove a file if it is there.

    Raises
    ------
    BookError
        If it may not be removed.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise book_error(error, path, "removed") from error
