"""What the book wrote, one small file a write, so that every later change of a file is noticed.

An entry lists the files of one write with their hashes, small documents with their whole text, and
names the entries before it. Its own name holds the hash of its bytes. So an entry or a file that
was changed, cut off, swapped or taken away is found; small documents are written back from their
text. Several writers at once each name the entries that they see, and the next one names them all.
This detects accidents. Who forges a file can forge its entry too.

An entry is written aside before the last file of its write and appears under its name after it.
Where a crash left it aside, the next writer completes it if all its files are there as it lists
them; otherwise the write never happened.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from telemetry.book.files.layout import LAYOUT, Places, layout_of, write_format
from telemetry.book.files.originals import digest_of
from telemetry.book.files.writing import (
    PART,
    book_error,
    change_file,
    read_file,
    read_json,
    rename,
    write_file,
    write_sealed,
)
from telemetry.model.errors import BookError
from telemetry.model.files import open_regular

#: Parts of the book whose files are listed; of ``removed`` those of flights and notes.
LISTED = ("originals", "aircraft", "flights", "notes", "changes")
#: What helps where an entry is damaged or lost.
PUT_BACK = (
    "put it back from a copy of the book; 'busbook check-book --accept' takes the book as it is"
)

# Small documents are written back from their text; these never are larger.
_LARGEST_TEXT = 1_000_000
# Entries that nothing names yet lie among the newest: writers at once are fewer than these.
_NEWEST = 32
_NAME = re.compile(r"[0-9]{8}-[0-9a-f]{32}")
# A listed name is joined to the book's folder: one part of it and one file, no way out.
_FILE = re.compile(rf"(?:{'|'.join(LISTED)})/[^/\\:*?\[\]\0.][^/\\:*?\[\]\0]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """What a file held when it was written.

    Attributes
    ----------
    sha256 : str
        Of its bytes, hexadecimal.
    size_bytes : int
    text : str or None
        All of it, of small documents.
    """

    sha256: str
    size_bytes: int
    text: str | None = None

    @classmethod
    def of(cls, data: bytes, *, whole: bool = False) -> Seal:
        """The seal of these bytes; ``whole`` keeps them as text where they are UTF-8."""
        text = None
        if whole and len(data) <= _LARGEST_TEXT:
            with suppress(UnicodeDecodeError):
                text = data.decode()
        return cls(sha256=hashlib.sha256(data).hexdigest(), size_bytes=len(data), text=text)

    def fits(self, path: Path) -> bool:
        """Whether a file holds just that.

        Raises
        ------
        BookError
            If it is there and cannot be read.
        """
        try:
            if path.stat().st_size != self.size_bytes:
                return False
            with open_regular(path) as file:
                return digest_of(file, self.size_bytes) == self.sha256
        except FileNotFoundError:
            return False
        except OSError as error:
            raise book_error(error, path, "read") from error


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One write.

    Attributes
    ----------
    name : str
        Its order and the hash of its bytes: the name of its file without ending.
    made : str
        When, by the clock of that machine, ISO 8601 in UTC.
    before : tuple of str
        Names of the entries before it that no other entry named.
    without : tuple of str
        Names of entries that were lost, where the user took the book as it is.
    files : mapping of str to Seal
        By the names that :func:`listed_name` gives.
    """

    name: str
    made: str
    before: tuple[str, ...]
    without: tuple[str, ...]
    files: Mapping[str, Seal]


def listed_name(places: Places, path: Path) -> str | None:
    """The name under which entries list a file of the book; None for files that none lists.

    Flights and notes are listed without their folder: they may be given to another aircraft or
    kept aside, and are the same files.
    """
    parts = path.relative_to(places.root).parts
    if parts[0] == "removed":
        parts = parts[1:]
    if len(parts) < 2 or parts[0] not in LISTED:
        return None
    return f"{parts[0]}/{parts[-1]}"


@contextmanager
def entering(
    places: Places, files: Mapping[Path, Seal], *, lost: Iterable[str] = ()
) -> Iterator[None]:
    """Write the last file of a write within this block; the entry of all of them comes with it.

    Parameters
    ----------
    places : Places
    files : mapping of Path to Seal
        Every file of the write, by where it lies.
    lost : iterable of str
        Names of entries that are given up.

    Raises
    ------
    BookError
        If the entry cannot be written. It is no entry then, and nothing else was written here.
    """
    _begin(places)
    listed = {name: seal for path, seal in files.items() if (name := listed_name(places, path))}
    aside, final = _written_aside(places, listed, lost)
    try:
        yield
    except BaseException as error:
        # A process that dies leaves it: then the next writer sees whether the write was done.
        if isinstance(error, Exception):
            with suppress(OSError):
                aside.unlink(missing_ok=True)
        raise
    _finish(aside, final)


def enter(places: Places, files: Mapping[Path, Seal], *, lost: Iterable[str] = ()) -> None:
    """The entry of files that are there already; errors as of :func:`entering`."""
    with entering(places, files, lost=lost):
        pass


def write_entered(places: Places, path: Path, data: bytes) -> None:
    """Write a small document of the book with its entry; errors as of :func:`entering`."""
    with entering(places, {path: Seal.of(data, whole=True)}):
        write_file(path, data)


def change_entered(places: Places, path: Path, change: Callable[[bytes | None], bytes]) -> None:
    """Write a small document anew from what it holds, one process at a time, with its entry.

    Parameters and errors are those of :func:`telemetry.book.files.writing.change_file`.
    """
    with ExitStack() as entry:

        def entered(old: bytes | None) -> bytes:
            new = change(old)
            entry.enter_context(entering(places, {path: Seal.of(new, whole=True)}))
            return new

        change_file(path, entered)


def load_entry(path: Path) -> Entry:
    """The entry in a file; BookError if it is missing, or its bytes are not those of its name."""
    return entry_in(read_file(path), path.stem, path)


def entries_of(places: Places) -> tuple[list[Entry], dict[str, BookError]]:
    """All entries in the order in which they count, and by name what is wrong with others."""
    found, damaged = [], {}
    for path in places.files("entries/*.json"):
        try:
            found.append(load_entry(path))
        except BookError as error:
            damaged[path.stem] = error
    return sorted(found, key=lambda e: (e.name[:8], e.made, e.name)), damaged


def complete(places: Places) -> None:
    """Complete entries that a crash left aside, where all their files are there as listed."""
    for stem in _listing(places)[1]:
        aside = places.entry(stem).with_name(f".{stem}{PART}")
        with suppress(BookError, FileNotFoundError):
            entry = entry_in(read_file(aside), stem, aside)
            if all(
                any(seal.fits(p) for p in where(places, name)) for name, seal in entry.files.items()
            ):
                _finish(aside, places.entry(stem))


def where(places: Places, name: str) -> list[Path]:
    """Where a listed file lies: one place, or several copies of one that is being moved."""
    folder, _, file = name.partition("/")
    if folder in ("flights", "notes"):
        # Names of files hold no characters that a pattern could take for its own.
        return [*places.files(f"{folder}/*/{file}"), *places.files(f"removed/{folder}/*/{file}")]
    path = places.root / folder / file
    return [path] if path.exists() else []


def _begin(places: Places) -> None:
    """Enter all that a book of an older layout holds, and make it one of this."""
    if layout_of(places) >= LAYOUT:
        return
    there = [p for part in (*LISTED, "removed/*") for p in places.files(f"{part}/**/*")]
    seals = {p: sealed(p) for p in there if p.is_file() and listed_name(places, p)}
    aside, final = _written_aside(
        places, {str(listed_name(places, p)): s for p, s in seals.items()}, ()
    )
    _finish(aside, final)
    for path in places.files("maps/*/*.json"):
        with suppress(BookError):  # a damaged one is learnt anew by the check of the book
            doc = read_json(path)
            if "sha256" not in doc:
                write_sealed(path, doc)
    write_format(places)


def sealed(path: Path) -> Seal:
    """The seal of a file as it is now; BookError if it cannot be read."""
    return Seal.of(read_file(path), whole=path.suffix in (".json", ".toml"))


def _written_aside(
    places: Places, files: Mapping[str, Seal], lost: Iterable[str]
) -> tuple[Path, Path]:
    complete(places)
    before = _newest(places)
    order = 1 + max((int(name[:8]) for name in before), default=0)
    doc = {
        "made": datetime.now(UTC).isoformat(timespec="microseconds"),
        "before": before,
        "without": list(lost),
        "files": {
            name: {"sha256": s.sha256, "bytes": s.size_bytes}
            | ({} if s.text is None else {"text": s.text})
            for name, s in files.items()
        },
    }
    data = (json.dumps(doc, ensure_ascii=False, indent=1) + "\n").encode("utf-8", "surrogatepass")
    name = f"{order:08d}-{hashlib.sha256(data).hexdigest()[:32]}"
    final = places.entry(name)
    aside = final.with_name(f".{name}{PART}")
    write_file(aside, data)
    return aside, final


def _finish(aside: Path, final: Path) -> None:
    try:
        rename(aside, final)
    except FileNotFoundError:
        return  # another writer was first to complete it
    except OSError as error:
        raise book_error(error, final, "written") from error


def _newest(places: Places) -> list[str]:
    """Entries that no other names; damaged ones are passed over."""
    named: set[str] = set()
    free = []
    for name in _listing(places)[0][-_NEWEST:]:
        with suppress(BookError):
            named |= set(load_entry(places.entry(name)).before)
            free.append(name)
    return sorted(set(free) - named)


def _listing(places: Places) -> tuple[list[str], list[str]]:
    """Names of the entries in order, and of those that are written aside."""
    try:
        with os.scandir(places.root / "entries") as found:
            files = sorted(one.name for one in found)
    except FileNotFoundError:
        return [], []
    except OSError as error:
        raise book_error(error, places.root / "entries", "read") from error
    names = [one[:-5] for one in files if one.endswith(".json")]
    asides = [one[1 : -len(PART)] for one in files if one[:1] == "." and one.endswith(PART)]
    return [one for one in names if _NAME.fullmatch(one)], [
        one for one in asides if _NAME.fullmatch(one)
    ]


def entry_in(data: bytes, stem: str, path: Path) -> Entry:
    """An entry from its bytes; BookError if they are not those of its name."""
    damage = BookError("this entry of the book was changed or cut off", path=path, hint=PUT_BACK)
    if not _NAME.fullmatch(stem) or hashlib.sha256(data).hexdigest()[:32] != stem[9:]:
        raise damage
    try:
        doc: dict[str, Any] = json.loads(data)
        if not all(_FILE.fullmatch(name) for name in doc["files"]):
            raise ValueError("a name that is none of the book's")
        return Entry(
            name=stem,
            made=str(doc["made"]),
            before=tuple(str(one) for one in doc["before"]),
            without=tuple(str(one) for one in doc["without"]),
            files={
                str(name): Seal(
                    sha256=str(one["sha256"]),
                    size_bytes=int(one["bytes"]),
                    text=None if one.get("text") is None else str(one["text"]),
                )
                for name, one in doc["files"].items()
            },
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise damage from error
