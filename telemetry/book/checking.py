"""Check a book: verify every hash, make again what is derived, sweep out what crashes left."""

from __future__ import annotations

import re
import secrets
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

from telemetry.aircraft.profile import profile_errors
from telemetry.book.adding import learn, part_of, write_flights
from telemetry.book.changes import BookChange, Changes, load_change
from telemetry.book.files import originals
from telemetry.book.files.joining import read_again
from telemetry.book.files.layout import Places
from telemetry.book.files.tables import cut, log_of, read_table, recording_in, schema_of
from telemetry.book.files.writing import PART, book_error, read_json, remove, write_json
from telemetry.book.maps import Learnt
from telemetry.book.placing import found_place, put, right_place
from telemetry.book.records import Recording, load_note, load_recording
from telemetry.model.errors import BookError, BusbookError
from telemetry.model.log import Log

#: Reads an original again: path, settings, row interval in s.
Read = Callable[[Path, Mapping[str, str], float | None], Log]

#: Ending of an original that was found damaged and put aside.
DAMAGED = ".damaged"

# Files being written are younger than this; what is older was left by a crash.
_LEFT_BEHIND_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """What a check of the book found and did.

    Attributes
    ----------
    recordings, flights : int
        Counted.
    aside : int
        Flights and notes that are kept aside, counted.
    rebuilt : tuple of str
        What was made again, relative to the book.
    removed : tuple of str
        Leftovers and derived files that were removed, and damaged originals put aside.
    problems : tuple of BusbookError
        What is wrong and could not be put right.
    """

    recordings: int
    flights: int
    aside: int
    rebuilt: tuple[str, ...]
    removed: tuple[str, ...]
    problems: tuple[BusbookError, ...]


def check(places: Places, read: Read | None = None) -> CheckReport:
    """Check a book; see :meth:`telemetry.book.Logbook.check_book`."""
    return _Check(places, read or read_again).run()


class _Check:
    """One pass over the book. Each step goes on after a problem and keeps it for the report."""

    def __init__(self, places: Places, read: Read) -> None:
        self.places = places
        self.read = read
        self.changes = Changes.of(())
        self.whole = True
        self.kept: dict[str, Recording] = {}
        self.rebuilt: list[str] = []
        self.removed: list[str] = []
        self.problems: list[BusbookError] = []

    def run(self) -> CheckReport:
        self._leftovers()
        self._changes()
        for identity in self._identities():
            with self._noting():
                recording = self._record(identity)
                self.kept[identity] = recording
                self._recording(recording)
        self._strays()
        self._notes_and_maps()
        for path in self.places.files("aircraft/*.toml"):
            self.problems += profile_errors(path)
        return CheckReport(
            recordings=len(self.kept),
            flights=sum(
                len(own.flights) for r in self.kept.values() for own in self.changes.left(r)
            ),
            aside=len(self.changes.removed),
            rebuilt=tuple(dict.fromkeys(self.rebuilt)),
            removed=tuple(self.removed),
            problems=tuple(self.problems),
        )

    @contextmanager
    def _noting(self) -> Iterator[None]:
        try:
            yield
        except BusbookError as error:
            self.problems.append(error)

    def _name(self, path: Path) -> str:
        return path.relative_to(self.places.root).as_posix()

    def _remove(self, path: Path) -> None:
        with self._noting():
            remove(path)
            self.removed.append(self._name(path))

    def _changes(self) -> None:
        """Read every change; where one cannot be read, nothing is taken for astray."""
        found: list[BookChange] = []
        for path in self.places.files("changes/*.json"):
            before = len(self.problems)
            with self._noting():
                found.append(load_change(path))
            self.whole = self.whole and len(self.problems) == before
        self.changes = Changes.of(found)

    def _leftovers(self) -> None:
        old = time.time() - _LEFT_BEHIND_S
        for path in sorted(self.places.root.rglob(f".*{PART}")):
            with suppress(FileNotFoundError):
                if path.stat().st_mtime >= old:
                    continue
                if path.is_dir():
                    shutil.rmtree(path, ignore_errors=True)
                    self.removed.append(self._name(path))
                else:
                    self._remove(path)

    def _identities(self) -> list[str]:
        """Every recording of which there is any trace."""
        files = [
            *self.places.files("originals/*.csv.zst"),
            *self.places.files("originals/*.json"),
            *self._tables(),
        ]
        found = (re.match(r"[0-9a-f]{16}(?=[.-])", p.name) for p in files)
        return sorted({m[0] for m in found if m})

    def _record(self, identity: str) -> Recording:
        path = self.places.record(identity)
        try:
            if path.exists():
                return load_recording(path)
        except BookError as error:
            damage = error
        else:
            damage = BookError(
                "this recording was not added to its end",
                path=self.places.original(identity),
                hint="add its file again",
            )
        # Each flight carries the record in its metadata.
        for flight in self._tables():
            if not flight.name.startswith(f"{identity}-"):
                continue
            with suppress(BookError):
                recording = Recording.of(recording_in(schema_of(flight)))
                if recording.id == identity:
                    write_json(path, recording.document())
                    self.rebuilt.append(self._name(path))
                    return recording
        raise damage

    def _recording(self, recording: Recording) -> None:
        path = self.places.original(recording.id)
        data = None
        try:
            data = originals.fetch(path, recording.sha256, recording.size_bytes, recording.file)
            aside = path.with_name(path.name + DAMAGED)
            if aside.exists():
                self._remove(aside)
        except BookError as error:
            self.problems.append(error)
            if path.exists():
                # Put aside, the book no longer claims to have it, and takes it when added again.
                self._put_aside(path)
        try:
            self._flights(recording)
        except BookError:
            if data is None:
                raise
            self._rebuild(recording, data)

    def _put_aside(self, path: Path) -> None:
        with self._noting():
            try:
                path.replace(path.with_name(path.name + DAMAGED))
            except OSError as error:
                raise book_error(error, path, "put aside") from error
            self.removed.append(self._name(path))

    def _flights(self, recording: Recording) -> None:
        """Read every flight of a recording to its end, and learn its header where that is lost."""
        whose = {p.id: own for own in self.changes.left(recording) for p in own.flights}
        for part in recording.flights:
            path = found_place(self.places, self.changes, recording, part.id)
            right = right_place(self.places, self.changes, recording, part.id)
            if path != right and path.exists() and self.whole:
                put(self.places, part.id)
                self.rebuilt.append(self._name(right))
                path = right
            log = log_of(read_table(path, part.rows), path)
            if log.provenance.sha256 != recording.sha256:
                raise BookError("this flight's table is another flight's", path=path)
            if part.id in whose:
                learn(self.places, log, whose[part.id])

    def _rebuild(self, recording: Recording, data: bytes) -> None:
        folder = self.places.root / f".{secrets.token_hex(8)}{PART}"
        path = folder / re.sub(r"[^\w .()+-]", "_", recording.file)
        try:
            folder.mkdir()
            path.write_bytes(data)
            log = self.read(path, recording.settings, recording.row_interval_s)
        except OSError as error:
            raise book_error(error, self.places.root, "written") from error
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        log = replace(log, provenance=replace(log.provenance, file=recording.file))
        try:
            cuts = cut(log, tuple(p.start_s for p in recording.flights))
        except ValueError as error:
            raise BookError(
                "read again, this recording has no longer the flights that the book lists",
                path=self.places.original(recording.id),
                hint="read it with the version of busbook that added it",
            ) from error
        parts = tuple(
            replace(part_of(recording.id, first, log, own, part.kind), id=part.id)
            for (first, own), part in zip(cuts, recording.flights, strict=True)
        )
        again = replace(recording, flights=parts)
        write_flights(self.places, again, [own for _, own in cuts])
        for own in self.changes.left(again):
            learn(self.places, log, own)
        if again != recording:
            write_json(self.places.record(recording.id), again.document())
        for part in parts:
            path = right_place(self.places, self.changes, again, part.id)
            self.rebuilt.append(self._name(path))

    def _strays(self) -> None:
        """Flights in another aircraft's folder, and measures of no flight: derived, so removed."""
        ids = {p.id for r in self.kept.values() for p in r.flights}
        right = {
            right_place(self.places, self.changes, r, p.id)
            for r in self.kept.values()
            for p in r.flights
        }
        for path in self._tables() if self.whole else ():
            if path.stem.partition("-")[0] in self.kept and path not in right:
                self._remove(path)
        for path in self.places.files("measures/*.json"):
            try:
                read_json(path)
                stray = path.stem not in ids
            except BookError:
                stray = True
            if stray:
                self._remove(path)

    def _tables(self) -> list[Path]:
        """The samples of every flight, of those that are kept aside too."""
        return [
            *self.places.files("flights/*/*.parquet"),
            *self.places.files("removed/flights/*/*.parquet"),
        ]

    def _notes_and_maps(self) -> None:
        notes = self.places.files("notes/*/*.json")
        for path in (*notes, *self.places.files("removed/notes/*/*.json")):
            with self._noting():
                load_note(path)
        for path in self.places.files("maps/*/*.json"):
            try:
                Learnt.of(read_json(path))
            except BookError:
                self._remove(path)
