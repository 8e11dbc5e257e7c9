"""Logs within archives: zip is read as a folder is, gzip as the file within.

A log in an archive has the path "card.zip/day 1/flight.csv". Nothing is unpacked to the disk, and
a name from within an archive is only ever looked up in that archive. What is unpacked is bounded,
for a few kilobytes can unpack to any amount.
"""

from __future__ import annotations

import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from telemetry.model.errors import UnreadableLog
from telemetry.model.files import is_regular, open_regular, read_whole

#: What a folder or an archive is searched for; a file that is named may be called anything.
LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat")
#: Endings of spreadsheets: they hold logs at times, and are not read.
SHEET_ENDINGS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods", ".numbers")
#: Entries of an archive that are looked at.
MOST_ENTRIES = 5_000
#: One log unpacked, and all logs of an archive together, bytes.
MOST_BYTES, MOST_TOTAL_BYTES = 1 << 29, 1 << 33
#: Times a log of more than so many bytes may have been compressed: tables of numbers go to 5 to
#: 50 (measured on logs of our own), what is made to fill a disk to 1,000.
MOST_RATIO, _RATIO_FROM_BYTES = 250, 1 << 24

_GZIP, _ZIP = b"\x1f\x8b", (b"PK\x03\x04", b"PK\x05\x06")
_BROKEN = (zipfile.BadZipFile, EOFError, zlib.error, lzma.LZMAError, struct.error, ValueError)
_AGAIN = "copy it again, or unpack it and give the logs themselves"


def read_bytes(path: Path) -> bytes:
    """The bytes of a file, of the one log in an archive, or of a log within one.

    Parameters
    ----------
    path : Path

    Raises
    ------
    OSError, ValueError
        As :func:`telemetry.model.files.read_whole`.
    UnreadableLog
        The archive is damaged, encrypted or too large, or holds several logs.
    """
    archive, inside = _within(path)
    if inside:
        return _member(archive, inside, path)
    raw = read_whole(path, MOST_BYTES)
    if raw.startswith(_GZIP):
        return _gunzipped(raw, path)
    if raw.startswith(_ZIP) and path.is_file():
        logs = [p for p, error in logs_inside(path) if error is None]
        if len(logs) > 1:
            raise UnreadableLog(
                f"is an archive of {len(logs)} logs", path=path, hint=f"name one, such as {logs[0]}"
            )
        if logs:
            return read_bytes(logs[0])
    return raw


def is_packed(path: Path) -> bool:
    """True where the bytes of a log are not those that lie on the disk.

    Parameters
    ----------
    path : Path

    Raises
    ------
    OSError, ValueError
        As `Path.open`.
    """
    return bool(_within(path)[1]) or _head(path).startswith((_GZIP, *_ZIP))


def is_archive(path: Path) -> bool:
    """True for a zip archive that is no spreadsheet.

    Parameters
    ----------
    path : Path
    """
    try:
        return path.suffix.lower() not in SHEET_ENDINGS and _head(path).startswith(_ZIP)
    except (OSError, ValueError):
        return False


def is_log(name: str) -> bool:
    """True where a name within a folder or an archive is that of a log, packed or not.

    Parameters
    ----------
    name : str
    """
    return Path(name.lower().removesuffix(".gz")).suffix in LOG_ENDINGS and name[0] != "."


def sheet_error(path: Path) -> UnreadableLog:
    """Why a spreadsheet among logs is not read.

    Parameters
    ----------
    path : Path
    """
    return UnreadableLog(
        "is a spreadsheet and not read", path=path, hint="save its sheet as CSV if it holds a log"
    )


def logs_inside(path: Path) -> Iterator[tuple[Path, UnreadableLog | None]]:
    """The logs within a zip archive, and what within it is not read, with the reason.

    Parameters
    ----------
    path : Path

    Yields
    ------
    path : Path
        Of the archive, with the name within behind it.
    error : UnreadableLog or None
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = _entries(archive)
    except (*_BROKEN, OSError):
        yield path, UnreadableLog("is a damaged archive", path=path, hint=_AGAIN)
        return
    if len(entries) > MOST_ENTRIES or sum(e.file_size for e in entries.values()) > MOST_TOTAL_BYTES:
        what = (
            f"is an archive of more than {MOST_ENTRIES:,} files or "
            f"{MOST_TOTAL_BYTES >> 30} gigabytes"
        )
        yield path, UnreadableLog(what, path=path, hint="unpack it and give the logs themselves")
        return
    for name in entries:
        inner, ending = path / name, Path(name.lower()).suffix
        if any(part[0] in "._" for part in name.split("/")):
            continue
        if ending in SHEET_ENDINGS:
            yield inner, sheet_error(inner)
        elif ending in (".zip", ".gz"):
            what = "is an archive within an archive and not read"
            yield inner, UnreadableLog(what, path=inner, hint="unpack it first")
        elif is_log(name.rpartition("/")[2]):
            yield inner, None


def _within(path: Path) -> tuple[Path, str]:
    """The archive a path leads into, and the name within it, "" where it leads into none."""
    for parent in path.parents:
        if parent.suffix.lower() == ".zip" and parent.is_file():
            return parent, path.relative_to(parent).as_posix()
    return path, ""


def _entries(archive: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """The files of an archive by a name that leads nowhere else."""
    found: dict[str, zipfile.ZipInfo] = {}
    for entry in archive.infolist():
        parts = [re.sub(r'[:*?"<>|\x00-\x1f]', "_", p) for p in re.split(r"[/\\]", entry.filename)]
        name = "/".join(p for p in parts if p.strip(". "))
        if entry.is_dir() or not name:
            continue
        unique, number = name, 1
        while unique in found:
            number += 1
            head, dot, ending = name.rpartition(".")
            unique = f"{head} ({number}){dot}{ending}"
        found[unique] = entry
    return found


def _member(path: Path, name: str, shown: Path) -> bytes:
    try:
        with zipfile.ZipFile(path) as archive:
            entry = _entries(archive).get(name)
            if entry is None:
                raise FileNotFoundError(2, "the archive holds no such file", str(shown))
            if entry.flag_bits & 1:
                raise UnreadableLog("is encrypted", path=shown, hint="unpack it with its password")
            _refuse_large(entry.file_size, entry.compress_size, shown)
            return archive.read(entry)
    except (UnreadableLog, FileNotFoundError, PermissionError):
        raise
    except NotImplementedError:
        what = "is packed in a way that is not known"
        raise UnreadableLog(what, path=shown, hint="unpack it and give the log itself") from None
    except (*_BROKEN, OSError):
        raise UnreadableLog("lies in a damaged archive", path=shown, hint=_AGAIN) from None


def _gunzipped(raw: bytes, path: Path) -> bytes:
    unpack = zlib.decompressobj(wbits=31)
    pieces, size = [], 0
    try:
        while raw:
            pieces.append(unpack.decompress(raw, MOST_BYTES + 1 - size))
            size += len(pieces[-1])
            _refuse_large(size, len(raw), path)
            if not unpack.eof:
                raise EOFError
            raw = unpack.unused_data.lstrip(b"\0")
            unpack = zlib.decompressobj(wbits=31)
    except (EOFError, zlib.error):
        raise UnreadableLog("is a damaged gzip file", path=path, hint=_AGAIN) from None
    return b"".join(pieces)


def _refuse_large(size: int, packed: int, path: Path) -> None:
    if size > MOST_BYTES or (size > _RATIO_FROM_BYTES and size > MOST_RATIO * packed):
        raise UnreadableLog(
            f"unpacks to more than {MOST_BYTES >> 20} megabytes, or to {MOST_RATIO} times its size",
            path=path,
            hint="unpack it and give the log itself if it is one",
        )


def _head(path: Path) -> bytes:
    if path.exists() and not is_regular(path):
        return b""  # a pipe gives its bytes once
    with open_regular(path) as file:
        return file.read(4)
