"""Names that are safe as files on every system: aircraft, ids.

Aircraft names become folder names. Windows and macOS take "Tern" and "tern" for the same file and
several systems normalise accents, so the key of an aircraft is its name in lower case, composed.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from pathlib import PurePosixPath

from telemetry.model.errors import BookError

#: Longest name of an aircraft in characters: file names hold 255 bytes, a character takes up to 4.
LONGEST_NAME = 60

# Device names that Windows reserves in every folder, with any ending (common practice).
_RESERVED = re.compile(
    r"(?:con|prn|aux|nul|clock\$|conin\$|conout\$|(?:com|lpt)[0-9¹²³]) ?(?:\..*)?"
)
_EXTRA = frozenset(" -_.+()'&,")
_RECORDING = re.compile(r"[0-9a-f]{16}")
_CHANGE = re.compile(r"[0-9]{8}T[0-9]{6}-[0-9a-f]{8}")
_APART = re.compile(r"[/\\]")
_FLIGHT = re.compile(r"[0-9a-f]{16}-[0-9]{1,12}")


@lru_cache(maxsize=1024)
def aircraft_key(name: str) -> str:
    """The key under which the book keeps an aircraft: "  Große  Möwe" -> "große möwe".

    Raises
    ------
    BookError
        If the name could not be a folder's name on every system; it says why.
    """
    key = " ".join(unicodedata.normalize("NFC", name).split()).lower()
    # Lower case can come out decomposed ("İ"), so it is composed once more.
    key = unicodedata.normalize("NFC", key)
    shown = repr(name if len(name) <= LONGEST_NAME else name[:LONGEST_NAME] + "...")
    reason = _unfit(key)
    if reason:
        raise BookError(
            f"{shown} cannot be the name of an aircraft: {reason}",
            hint="use letters, digits, spaces, - and _, such as 'tern 2'",
        )
    return key


def _unfit(key: str) -> str:
    if not key:
        return "it is empty"
    if len(key) > LONGEST_NAME:
        return f"it is longer than {LONGEST_NAME} characters"
    wrong = sorted({c for c in key if c not in _EXTRA and unicodedata.category(c)[0] not in "LMN"})
    if wrong:
        return f"{wrong[0]!r} is not allowed in it"
    if not any(c.isalpha() for c in key):
        return "it needs a letter, because readers of the folders take bare digits for a number"
    if key[0] in "._-" or key[-1] == ".":
        return "it begins with . _ or -, or ends with a full stop"
    if _RESERVED.fullmatch(key):
        return "Windows keeps this name for a device"
    return ""


def file_name(given: str) -> str:
    """The last part of a path of any system, which is safe to join to a folder."""
    if not _APART.search(given):
        return "unnamed" if given in ("", ".", "..") else given
    name = PurePosixPath(given.replace("\\", "/")).name
    return "unnamed" if name in ("", ".", "..") else name


def recording_id(sha256: str) -> str:
    """Id of a recording: the first 16 hexadecimal digits of the hash of its bytes."""
    return sha256[:16]


def flight_id(recording: str, first_row: int) -> str:
    """Id of a flight: its recording and its first row, counted from 0."""
    return f"{recording}-{first_row}"


def checked_recording(recording: str) -> str:
    """The id, if it has the form of one; else BookError. Ids become file names."""
    if not _RECORDING.fullmatch(recording):
        raise BookError(f"{recording!r} is no id of a recording", hint="see busbook flights")
    return recording


def is_flight(text: str) -> bool:
    """Whether a text has the form of a flight's id."""
    return _FLIGHT.fullmatch(text) is not None


def checked_flight(flight: str) -> str:
    """The id, if it has the form of one; else BookError. Ids become file names."""
    if not is_flight(flight):
        raise BookError(f"{flight!r} is no id of a flight", hint="see busbook flights")
    return flight


def checked_change(change: str) -> str:
    """The id, if it has the form of one; else BookError. Ids become file names."""
    if not _CHANGE.fullmatch(change):
        raise BookError(f"{change!r} is no id of a change")
    return change
