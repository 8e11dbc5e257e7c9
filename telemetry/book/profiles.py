"""A profile changed key by key, that of an aircraft of the book or a file anywhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from telemetry.aircraft import infer_path
from telemetry.aircraft.profile import new_profile, set_keys
from telemetry.book.files.writing import change_file
from telemetry.book.store import Logbook
from telemetry.model.errors import ProfileError
from telemetry.model.files import MOST_TEXT_BYTES


def set_in_book(
    book: Logbook, name: str, places: Sequence[str], options: Mapping[str, str]
) -> Path:
    """Set keys of an aircraft's profile; one is begun from its newest flight where there is none.

    Parameters
    ----------
    book : Logbook
    name : str
        An aircraft that the book knows.
    places : sequence of str
        Those of the profile, and those of the newest flight.
    options : mapping of str to str
        As for :func:`telemetry.aircraft.profile.set_keys`, whose errors come through.

    Returns
    -------
    path
        Where the profile lies.
    """
    flights = book.flights(name)
    log = book.read(flights[-1].id) if flights else None
    seen = None if log is None else infer_path(log)
    path = book.profile_path(name)

    def change(old: bytes | None) -> bytes:
        text = new_profile(name, log) if old is None else _text(old, path)
        return set_keys(text, places, options, path=path, seen=seen).encode()

    return book.change_profile(name, change)


def set_in_file(path: Path, places: Sequence[str], options: Mapping[str, str]) -> None:
    """Set keys of a profile that lies anywhere; the errors are those of :func:`set_in_book`."""

    def change(old: bytes | None) -> bytes:
        if old is None:
            hint = "begin it with 'busbook aircraft new NAME --out FILE'"
            raise ProfileError("there is no such profile", path=path, hint=hint)
        return set_keys(_text(old, path), places, options, path=path).encode()

    change_file(path, change)


def _text(data: bytes, path: Path) -> str:
    if len(data) > MOST_TEXT_BYTES:
        what = f"this is larger than any profile ({MOST_TEXT_BYTES // 1000} kilobytes at most)"
        raise ProfileError(what, path=path, hint="shorten it in an editor")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ProfileError("this is no UTF-8 text", path=path, hint="save it as UTF-8") from error
