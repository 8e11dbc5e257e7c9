"""Writing an output: aside first, then renamed into place, so that nothing half-written stays."""

from __future__ import annotations

import contextlib
import hashlib
import re
import secrets
from collections.abc import Iterator
from pathlib import Path

from telemetry.model.errors import OutputError

# Names that Windows keeps for devices, whatever the ending.
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)
# File systems take 255 bytes; the ending and a number come behind.
_MOST_BYTES = 180
_HASH_DIGITS = 6


def report_name(log_file: str, ending: str = "") -> str:
    """Name of a report after the log's own: "day 1/evening.csv", ".html" -> "evening.html".

    Only the last part of a path is used, only letters, digits and ``. _ -`` are kept, and the name
    neither starts with a dot nor is one that Windows keeps for a device: a log's name can't lead
    out of the folder. Where more than spaces went, some digits of a hash of the log's name come
    with it, so that logs whose names differ in such characters alone have reports of their own.

    Parameters
    ----------
    log_file : str
        Name or path of the log.
    ending : str
        With its dot.
    """
    last = re.split(r"[/\\]", log_file)[-1]
    stem = last.rpartition(".")[0] or last
    whole = re.sub(r"[^\w.-]+", "-", stem).strip(".-_ ")
    kept = whole.encode("utf-8", "ignore")[:_MOST_BYTES].decode("utf-8", "ignore").strip(".-_ ")
    odd = re.search(r"[^\w. -]", stem) or kept != whole
    if not kept or _DEVICES.fullmatch(kept):
        kept = f"log-{kept}".rstrip("-")
    if odd:
        digest = hashlib.sha256(stem.encode("utf-8", "surrogatepass")).hexdigest()
        kept = f"{kept}-{digest[:_HASH_DIGITS]}"
    return kept + ending


@contextlib.contextmanager
def aside(path: Path) -> Iterator[Path]:
    """A path beside ``path`` to write to; renamed onto it at the end, removed on any failure.

    Parameters
    ----------
    path : Path
        Where the output goes; folders are made if missing.

    Raises
    ------
    OutputError
        Where the folder or the file can't be written.
    """
    temporary = path.with_name(f".{path.stem[:40]}-{secrets.token_hex(4)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield temporary
        temporary.replace(path)
    except OSError as error:
        why = error.strerror or str(error)
        hint = "choose another folder with --out, or make room in this one"
        if isinstance(error, PermissionError) and path.is_file():
            # On Windows nothing can take the place of a file that is open.
            hint = "close it where it is open, or choose another folder with --out"
        raise OutputError(
            f"cannot be written ({why[0].lower()}{why[1:]})", path=path, hint=hint
        ) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a text as UTF-8 with plain line ends, aside and renamed.

    Raises
    ------
    OutputError
    """
    write_bytes(path, text.encode("utf-8", "replace"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write an output, aside and renamed.

    Raises
    ------
    OutputError
    """
    with aside(path) as temporary:
        temporary.write_bytes(data)
