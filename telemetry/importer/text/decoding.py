"""Bytes to text: what kind of file it is, its encoding, its line ends.

Everything downstream sees UTF-8 with line feeds or carriage return + line feed, no byte order
mark and no padding. What is no text at all is refused here, by what it is.
"""

from __future__ import annotations

import codecs
import hashlib
import os
import re
import stat
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from telemetry.importer.codepages import code_page, decoded
from telemetry.importer.text.archive import read_bytes
from telemetry.importer.wording import count, verb
from telemetry.model.errors import UnreadableLog

#: Longest line that is read, bytes. A row of 2,000 values takes about 20,000; the limit keeps the
#: time and memory that a broken or hostile file can take in bounds.
MAX_LINE_BYTES = 131_072

_SAMPLE_BYTES = 65_536
BLOCK_BYTES = 1 << 17

_SIGNATURES: tuple[tuple[bytes, str, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", "a picture (PNG)", ""),
    (b"\xff\xd8\xff", "a picture (JPEG)", ""),
    (b"GIF8", "a picture (GIF)", ""),
    (b"II*\x00", "a picture (TIFF)", ""),
    (b"MM\x00*", "a picture (TIFF)", ""),
    (b"%PDF", "a PDF document", ""),
    (b"\x1f\x8b", "an archive within an archive", "unpack it and give the file inside"),
    (b"BZh", "a bzip2 archive", "unpack it and give the file inside"),
    (b"\xfd7zXZ\x00", "an xz archive", "unpack it and give the file inside"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it and give the file inside"),
    (b"Rar!", "a RAR archive", "unpack it and give the file inside"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", "unpack it and give the file inside"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or office document", "save the sheet as CSV"),
    (b"PAR1", "a Parquet table", "export it as CSV"),
    (b"SQLite format 3\x00", "a database", "export the table as CSV"),
    (b"\x7fELF", "a program", ""),
    (b"RIFF", "a sound, video or picture (RIFF)", ""),
)

_MARKUP = (
    (re.compile(rb"\s*(?:<\?xml|<!DOCTYPE svg|<svg|<gpx|<kml)", re.I), "an XML document"),
    (re.compile(rb"\s*(?:<!DOCTYPE html|<html|<head|<body)", re.I), "a web page"),
    (re.compile(rb"\s*\{\\rtf"), "a text-processor document (RTF)"),
    (re.compile(rb"\s*[\[{]\s*[\"\[{]"), "a JSON document"),
)


@dataclass(slots=True, kw_only=True)
class Text:
    """The text of a file and how it was found.

    Attributes
    ----------
    data : bytes
        UTF-8 without byte order mark, lines ended by LF or CR LF.
    encoding : str
        Of the file.
    digest : Future of str
        SHA-256 of the file's bytes as they lie on the disk.
    size_bytes : int
        Of the file.
    notes : tuple of str
    first_line : int
        Line of the file in which ``data`` begins, from 0.
    """

    data: bytes
    encoding: str
    digest: Future[str]
    size_bytes: int
    notes: tuple[str, ...] = ()
    first_line: int = 0

    @property
    def sha256(self) -> str:
        """SHA-256 of the file, hexadecimal; waits until it is there."""
        return self.digest.result()


def load(path: str | Path, *, encoding: str | None = None) -> Text:
    """Read a file and turn it into clean UTF-8.

    Parameters
    ----------
    path : path
    encoding : str or None
        Forced by the user; found from the bytes where None.

    Returns
    -------
    Text

    Raises
    ------
    UnreadableLog
        The file cannot be opened, is empty, or is no text; the message says which.
    """
    if _is_device(path):
        # Some give bytes without end.
        raise UnreadableLog("is a device, not a file", path=path, hint="give a log file")
    try:
        raw = read_bytes(Path(path))
    except UnreadableLog:
        raise
    except IsADirectoryError:
        raise UnreadableLog(
            "is a folder, not a file", path=path, hint="give the log files in it"
        ) from None
    except OSError as error:
        if os.path.isdir(path):  # noqa: PTH112 - Path.is_dir() raises on a name that is too long
            what = "is a folder, not a file"
        elif isinstance(error, FileNotFoundError):
            what = "there is no such file"
        else:
            what = f"cannot be opened ({error.strerror or error})"
        raise UnreadableLog(what, path=path, hint="check the path and the permissions") from None
    except ValueError as error:  # an embedded null character in the path
        raise UnreadableLog(f"is no valid path ({error})", path=path) from None
    refuse_what_is_no_text(raw, path)
    # The digest runs beside decoding and parsing; all let go of the interpreter's lock.
    pool = ThreadPoolExecutor(max_workers=1)
    digest = pool.submit(_digest, raw)
    pool.shutdown(wait=False)
    data, found, notes = decode(raw, path=path, encoding=encoding)
    data, more = clean(data)
    _refuse_long_lines(data, path)
    return Text(
        data=data, encoding=found, digest=digest, size_bytes=len(raw), notes=(*notes, *more)
    )


def _is_device(path: str | Path) -> bool:
    try:
        mode = Path(path).stat().st_mode
    except (OSError, ValueError):
        return False
    return stat.S_ISCHR(mode) or stat.S_ISBLK(mode)


def _digest(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def refuse_what_is_no_text(raw: bytes, path: str | Path | None = None) -> None:
    """Raise UnreadableLog for an empty file and for the kinds of file that are no CSV.

    Parameters
    ----------
    raw : bytes
        The file, or its beginning.
    path : path or None
        Named in the message.
    """
    if not raw:
        raise UnreadableLog(
            "the file is empty", path=path, hint="copy it from the transmitter again"
        )
    if raw[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        head = raw[:4096]
        if b"[Content_Types].xml" in head or b"xl/" in head or b"opendocument" in head:
            raise UnreadableLog(
                "is a spreadsheet workbook, not a CSV", path=path, hint="save the sheet as CSV"
            )
        raise UnreadableLog("is a zip archive without a log", path=path, hint="give the log itself")
    for signature, what, hint in _SIGNATURES:
        if raw.startswith(signature):
            raise UnreadableLog(
                f"is {what}, not a CSV", path=path, hint=hint or "give the log itself"
            )
    if raw[:2] == b"BM" and len(raw) > 14 and int.from_bytes(raw[2:6], "little") == len(raw):
        raise UnreadableLog("is a picture (BMP), not a CSV", path=path, hint="give the log itself")
    head = raw.removeprefix(codecs.BOM_UTF8)[:512]
    for pattern, what in _MARKUP:
        if pattern.match(head):
            raise UnreadableLog(f"is {what}, not a CSV", path=path, hint="export the log as CSV")


def decode(
    raw: bytes, *, path: str | Path | None = None, encoding: str | None = None
) -> tuple[bytes, str, tuple[str, ...]]:
    """Find the encoding and give the text as UTF-8.

    Parameters
    ----------
    raw : bytes
    path : path or None
        Named in the message.
    encoding : str or None
        Forced by the user.

    Returns
    -------
    data : bytes
        UTF-8 without byte order mark.
    encoding : str
    notes : tuple of str
    """
    if encoding is not None:
        try:
            return raw.decode(encoding).lstrip("\ufeff").encode(), encoding, ()
        except (LookupError, UnicodeError) as error:
            raise UnreadableLog(
                f"cannot be read as '{encoding}' ({error})",
                path=path,
                hint="leave the encoding to be found, or name another",
            ) from None
    for mark, name in (
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF32_BE, "utf-32-be"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if raw.startswith(mark):
            return _wide(raw[len(mark) :], name, path)
    bare = raw.removeprefix(codecs.BOM_UTF8)
    unmarked = _unmarked_wide(bare)
    if unmarked is not None:
        return _wide(bare, unmarked, path)
    _refuse_binary(bare, path)
    if bare.isascii():
        return bare, "utf-8", ()
    wrong = _utf8_error(bare)
    if wrong is not None:
        if wrong.start >= len(bare) - 3 and wrong.reason == "unexpected end of data":
            return bare[: wrong.start], "utf-8", ("the last character is cut off",)
        if len(bare) != len(raw) or _mostly_utf8(bare):
            text = bare.decode("utf-8", errors="replace")
            number = text.count("\ufffd")
            lost = verb(number, "is no UTF-8 and was", "are no UTF-8 and were")
            return text.encode(), "utf-8", (f"{count(number, 'byte')} {lost} replaced",)
        name = code_page(bare)
        return decoded(bare, name).encode(), name, ()
    return bare, "utf-8", ()


def _utf8_error(bare: bytes) -> UnicodeDecodeError | None:
    """What is wrong with a text as UTF-8; blocks of plain ASCII are passed over quickly."""
    at = 0
    while at < len(bare):
        block = bare[at : at + BLOCK_BYTES]
        if block.isascii():
            at += len(block)
            continue
        try:
            # A character may be cut by the end of the block: end it before the last one.
            end = at + len(block)
            while end < len(bare) and end > at + 1 and bare[end] & 0xC0 == 0x80:
                end -= 1
            bare[at:end].decode("utf-8")
        except UnicodeDecodeError as error:
            error.start += at
            return error
        at = end
    return None


def clean(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Bring line ends to LF or CR LF and cut off padding behind the text.

    Parameters
    ----------
    data : bytes
        UTF-8.

    Returns
    -------
    data : bytes
    notes : tuple of str
    """
    notes: list[str] = []
    # One byte is looked for far more quickly than three.
    there = occurring(data, (codecs.BOM_UTF8[:1], b"\r"))
    if codecs.BOM_UTF8[:1] in there and data.find(codecs.BOM_UTF8) >= 0:
        data = data.replace(codecs.BOM_UTF8, b"")  # where files were laid one behind the other
    if b"\r" in there and data.count(b"\r") != data.count(b"\r\n"):
        data = data.replace(b"\r\r\n", b"\n")
        if data.count(b"\r") != data.count(b"\r\n"):
            data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    stripped = data.rstrip(b"\x00\x1a\xff")
    if len(stripped) != len(data):
        padding = count(len(data) - len(stripped), "byte")
        notes.append(f"{padding} of padding behind the text left out")
        data = stripped
    return data, tuple(notes)


def occurring(
    data: bytes, marks: Sequence[bytes], begin: int = 0, end: int | None = None
) -> set[bytes]:
    """Which of some single bytes occur, found in one sweep through the memory.

    Parameters
    ----------
    data : bytes
    marks : sequence of bytes
        One byte each.
    begin, end : int
        Where to look; to the end of the data where ``end`` is None.
    """
    found: set[bytes] = set()
    end = len(data) if end is None else end
    for at in range(begin, end, BLOCK_BYTES):
        stop = min(at + BLOCK_BYTES, end)
        found |= {m for m in marks if m not in found and data.find(m, at, stop) >= 0}
    return found


def _refuse_binary(bare: bytes, path: str | Path | None) -> None:
    head = bare[:_SAMPLE_BYTES].rstrip(b"\x00\x1a\xff")
    if not head.strip(b"\x00"):
        raise UnreadableLog(
            "holds only zero bytes", path=path, hint="copy it from the transmitter again"
        )
    control = sum(head.count(bytes((b,))) for b in range(1, 32) if b not in (9, 10, 12, 13, 26))
    if control > 0.05 * len(head) or head.count(b"\x00") > 0.3 * len(head):
        raise UnreadableLog("holds binary data, not text", path=path, hint="export the log as CSV")


def _unmarked_wide(bare: bytes) -> str | None:
    """UTF-16 without its mark, told by the zero bytes of Latin letters."""
    head = bare[:4096]
    half = len(head) // 2
    if half < 8:
        return None
    even, odd = head[0 : 2 * half : 2].count(0), head[1 : 2 * half : 2].count(0)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return None


def _wide(raw: bytes, name: str, path: str | Path | None) -> tuple[bytes, str, tuple[str, ...]]:
    width = 4 if "32" in name else 2
    whole = raw[: len(raw) // width * width]
    text = whole.decode(name, errors="replace").lstrip("\ufeff").rstrip("\ufffd")
    data = text.encode("utf-8", errors="replace")
    if not data.strip():
        raise UnreadableLog(
            "the file is empty", path=path, hint="copy it from the transmitter again"
        )
    _refuse_binary(data, path)
    notes = ("the last character is cut off",) if len(whole) != len(raw) else ()
    return data, name, notes


def _mostly_utf8(bare: bytes) -> bool:
    """True where far more multi-byte characters are right than wrong."""
    text = bare[: 4 * _SAMPLE_BYTES].decode("utf-8", errors="replace")
    wrong = text.count("\ufffd")
    right = sum(1 for ch in text if ord(ch) > 127) - wrong
    return right > 4 * wrong


def _refuse_long_lines(data: bytes, path: str | Path | None) -> None:
    """Hop from line end to line end in strides of the limit: no line over it can be missed."""
    at, size = 0, len(data)
    while at + MAX_LINE_BYTES < size:
        end = data.rfind(b"\n", at, at + MAX_LINE_BYTES + 1)
        if end < 0:
            line = data.count(b"\n", 0, at) + 1
            raise UnreadableLog(
                f"the line is longer than {MAX_LINE_BYTES:,} bytes",
                path=path,
                line=line,
                hint="a log's rows are shorter; the file is damaged or no log",
            )
        at = end + 1
