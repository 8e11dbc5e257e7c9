"""Files of strangers opened and read so that nothing waits for ever."""

from __future__ import annotations

import errno
import os
import re
import stat
import time
import tomllib
from pathlib import Path
from typing import Any, BinaryIO

#: How long a pipe may give nothing, s (heuristic): a person is waiting.
PATIENCE_S = 10.0
#: Bytes of a profile or a column map: those of the largest aircraft take some 20,000.
MOST_TEXT_BYTES = 100_000
#: Parts of a key of such a file between its dots: those of a profile have three.
MOST_PARTS = 100

_KEY_PART = re.compile(r"""[ \t]*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*""")
_LOOKED_AGAIN_S = 0.02
_PIECE_BYTES = 1 << 20


def is_regular(path: str | Path) -> bool:
    """Whether this is a file with an end, or a link to one: no folder, pipe, device or socket."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)  # noqa: PTH116 - Path.stat() takes no null byte
    except (OSError, ValueError):
        return False


def open_regular(path: str | Path) -> BinaryIO:
    """Open a file for reading, looking at what it is before anything could wait.

    Raises
    ------
    OSError
        As :func:`open`; also where it is a pipe, a device or a socket.
    """
    handle = _opened(path)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "it is a pipe or a device, not a file", str(path))
    return os.fdopen(handle, "rb")


def read_regular(path: str | Path) -> bytes:
    """The bytes of a file as long as it is now, though something writes to it.

    Raises
    ------
    OSError
        As :func:`open_regular`.
    """
    with open_regular(path) as file:
        return _so_many(file, os.fstat(file.fileno()).st_size)


def read_whole(path: str | Path, most_bytes: int) -> bytes:
    """The bytes of a file as long as it is now, or all that comes through a pipe.

    Parameters
    ----------
    path : path
    most_bytes : int
        A pipe that gives more is refused; a file that grows is read up to where it ended.

    Raises
    ------
    OSError
        As :func:`open`; where it is a device; where a pipe gives nothing for ``PATIENCE_S``, or
        more than ``most_bytes``.
    """
    handle = _opened(path)
    with os.fdopen(handle, "rb", buffering=0) as file:
        state = os.fstat(handle)
        if stat.S_ISREG(state.st_mode):
            return _so_many(file, state.st_size)
        if stat.S_ISFIFO(state.st_mode):
            return _piped(handle, str(path), most_bytes)
    raise OSError(errno.EINVAL, "it is a device, not a file", str(path))


def read_small_text(path: str | Path) -> str:
    """A text in UTF-8 of at most ``MOST_TEXT_BYTES``, a mark of its order of bytes left out.

    Raises
    ------
    OSError
        As :func:`open_regular`; also where it is larger.
    UnicodeDecodeError
        If it is no UTF-8.
    """
    with open_regular(path) as file:
        data = file.read(MOST_TEXT_BYTES + 1)
    if len(data) > MOST_TEXT_BYTES:
        what = f"it is larger than {MOST_TEXT_BYTES // 1000} kilobytes"
        raise OSError(errno.EFBIG, what, str(path))
    return data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")


def toml_of(text: str) -> dict[str, Any]:
    """The document of a text in TOML.

    Raises
    ------
    ValueError
        As :func:`tomllib.loads`; also where a key has more than ``MOST_PARTS`` parts, which takes
        the time of their square.
    RecursionError
        As :func:`tomllib.loads`.
    """
    parts = 1
    for one in text.split(".")[1:]:
        parts += 1
        if parts > MOST_PARTS:
            raise ValueError(f"a key has more than {MOST_PARTS} parts")
        if _KEY_PART.fullmatch(one) is None:
            parts = 1
    return tomllib.loads(text)


def _opened(path: str | Path) -> int:
    """A handle; opening a pipe to which nobody writes does not wait (where there are such)."""
    return os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))


def _so_many(file: BinaryIO, size: int) -> bytes:
    pieces = []
    while size > 0 and (piece := file.read(size)):
        pieces.append(piece)
        size -= len(piece)
    return pieces[0] if len(pieces) == 1 else b"".join(pieces)


def _piped(handle: int, path: str, most_bytes: int) -> bytes:
    pieces: list[bytes] = []
    count = 0
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            piece = os.read(handle, _PIECE_BYTES)
        except BlockingIOError:  # somebody holds it open and writes nothing yet
            piece = None
        if piece:
            pieces.append(piece)
            count += len(piece)
            until = time.monotonic() + PATIENCE_S
            if count > most_bytes:
                raise OSError(errno.EFBIG, f"more than {most_bytes >> 20} MB come through", path)
        elif piece == b"" and pieces:
            return b"".join(pieces)
        elif time.monotonic() > until:
            what = f"nothing came through this pipe for {PATIENCE_S:g} s"
            raise OSError(errno.ETIMEDOUT, what, path)
        else:
            time.sleep(_LOOKED_AGAIN_S)
