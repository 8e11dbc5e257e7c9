"""Originals: byte for byte what was read, compressed with zstd."""

from __future__ import annotations

import hashlib
import io
import os
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa

from telemetry.book.files.writing import book_error, read_file, write_file
from telemetry.importer.text.archive import is_packed, read_bytes
from telemetry.model.errors import BookError
from telemetry.model.files import open_regular

_LEVEL = 3
_PIECE_BYTES = 1 << 20


def sha256_of(source: Path) -> str:
    """SHA-256 of a log's bytes, unpacked where it lies in an archive; hexadecimal.

    Raises
    ------
    BookError
        If it cannot be read.
    UnreadableLog
        If it lies in an archive that cannot.
    """
    try:
        if is_packed(source):
            return hashlib.sha256(read_bytes(source)).hexdigest()
        with open_regular(source) as file:
            return digest_of(file, os.fstat(file.fileno()).st_size)
    except OSError as error:
        raise book_error(error, source, "read") from error


def digest_of(file: BinaryIO, size_bytes: int) -> str:
    """SHA-256 of so many bytes: a file that something writes to has an end here all the same."""
    digest = hashlib.sha256()
    while size_bytes > 0 and (piece := file.read(min(size_bytes, _PIECE_BYTES))):
        digest.update(piece)
        size_bytes -= len(piece)
    return digest.hexdigest()


def read(source: Path) -> bytes:
    """The bytes of a log, unpacked where it lies in an archive.

    Raises
    ------
    BookError
        If it is missing or cannot be read.
    """
    try:
        return read_bytes(source)
    except OSError as error:
        raise book_error(error, source, "read") from error


def store(path: Path, data: bytes) -> bytes:
    """Keep an original; the bytes of its compressed copy."""
    packed: bytes = pa.Codec("zstd", compression_level=_LEVEL).compress(data, asbytes=True)
    write_file(path, packed)
    return packed


def fetch(path: Path, sha256: str, size_bytes: int, file: str) -> bytes:
    """An original, verified; ``file`` is the name it was added under, for messages.

    Never more than ``size_bytes`` are unpacked, whatever the file claims to hold.

    Raises
    ------
    BookError
        If it is missing, cut off, or not what was stored.
    """
    if not path.exists():
        raise BookError(
            f"the original of '{file}' is missing",
            path=path,
            hint="add the file again, and the book takes it in",
        )
    packed = read_file(path)
    try:
        with pa.CompressedInputStream(io.BytesIO(packed), "zstd") as stream:
            data: bytes = stream.read(size_bytes + 1)
    except (OSError, pa.ArrowException) as error:
        raise _changed(path, file) from error
    if len(data) != size_bytes or hashlib.sha256(data).hexdigest() != sha256:
        raise _changed(path, file)
    return data


def _changed(path: Path, file: str) -> BookError:
    return BookError(
        f"the original of '{file}' is not what was stored: it was cut off or changed",
        path=path,
        hint="add the file again, and the book takes it in its place",
    )
