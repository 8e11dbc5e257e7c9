"""Check a book: hold it against its entries, make again what is derived, sweep out leftovers."""

from __future__ import annotations

import re
import secrets
import shutil
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from telemetry.aircraft.profile import profile_errors
from telemetry.book.adding import learn, part_of, write_flights
from telemetry.book.changes import BookChange, Changes, load_change
from telemetry.book.files import originals
from telemetry.book.files.joining import read_again
from telemetry.book.files.layout import LAYOUT, Places, layout_of, write_format
from telemetry.book.files.tables import cut, log_of, read_table, recording_in, schema_of
from telemetry.book.files.writing import (
    PART,
    book_error,
    json_bytes,
    read_file,
    read_sealed,
    write_file,
)
from telemetry.book.index import index_fits
from telemetry.book.ledger.entries import Seal, complete, enter, listed_name, sealed
from telemetry.book.ledger.mending import Edited, Mending, take, write_back
from telemetry.book.ledger.verifying import DAMAGED, FileStand, verify
from telemetry.book.maps import Learnt, clues_of, clues_of_flight
from telemetry.book.placing import found_place, put, right_place
from telemetry.book.records import Recording, load_note, load_recording
from telemetry.model.errors import BookError, BusbookError
from telemetry.model.log import Log

#: Reads an original again: path, settings, row interval in s.
Read = Callable[[Path, Mapping[str, str], float | None], Log]

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
        What was made again or written back, relative to the book.
    removed : tuple of str
        Leftovers and derived files that were removed.
    damaged : tuple of str
        Files that were not what was stored, by the names under which they were put aside.
    edited : tuple of Edited
        Profiles that were changed since; they are entered as they are now.
    problems : tuple of BusbookError
        What is wrong and could not be put right.
    """

    recordings: int
    flights: int
    aside: int
    rebuilt: tuple[str, ...]
    removed: tuple[str, ...]
    damaged: tuple[str, ...]
    edited: tuple[Edited, ...]
    problems: tuple[BusbookError, ...]


def check(places: Places, read: Read | None = None, *, accept: bool = False) -> CheckReport:
    """Check a book; see :meth:`telemetry.book.Logbook.check_book`."""
    return _Check(places, read or read_again, accept).run()


class _Check:
    """One pass over the book. Each step goes on after a problem and keeps it for the report."""

    def __init__(self, places: Places, read: Read, accept: bool) -> None:
        self.places = places
        self.read = read
        self.accept = accept
        self.changes = Changes.of(())
        self.whole = True
        self.listed: Mapping[str, Seal] = {}
        self.changed: set[str] = set()
        self.kept: dict[str, Recording] = {}
        self.recovered: set[str] = set()
        self.mending = Mending(places=places)

    def run(self) -> CheckReport:
        complete(self.places)
        self._leftovers()
        entered = layout_of(self.places) >= LAYOUT
        verified = verify(self.places) if entered else None
        if verified is not None:
            self.listed = verified.listed
            self.changed = {d.name for d in verified.differences if d.kind is FileStand.CHANGED}
            write_back(self.mending, verified)
        self._changes()
        for identity in self._identities():
            with self.mending.noting():
                recording = self._record(identity)
                self.kept[identity] = recording
                self._recording(recording)
                if identity in self.recovered:
                    self._enter(recording)
        self._strays()
        self._notes()
        self._derived()
        for path in self.places.files("aircraft/*.toml"):
            self.mending.problems += profile_errors(path)
        if verified is not None:
            take(self.mending, verified, self.kept, accept=self.accept)
            if write_format(self.places):
                self.mending.rebuilt.append("format.toml")
        elif not self.mending.problems:
            enter(self.places, {})  # which enters all that such a book holds
        return CheckReport(
            recordings=len(self.kept),
            flights=sum(
                len(own.flights) for r in self.kept.values() for own in self.changes.left(r)
            ),
            aside=len(self.changes.removed),
            rebuilt=tuple(dict.fromkeys(self.mending.rebuilt)),
            removed=tuple(self.mending.removed),
            damaged=tuple(self.mending.damaged),
            edited=tuple(self.mending.edited),
            problems=tuple(self.mending.problems),
        )

    def _changes(self) -> None:
        """Read every change; where one cannot be read, nothing is taken for astray."""
        found: list[BookChange] = []
        for path in self.places.files("changes/*.json"):
            before = len(self.mending.problems)
            with self.mending.noting():
                found.append(load_change(path))
            self.whole = self.whole and len(self.mending.problems) == before
        self.changes = Changes.of(found)

    def _leftovers(self) -> None:
        old = time.time() - _LEFT_BEHIND_S
        for path in sorted(self.places.root.rglob(f".*{PART}")):
            with suppress(FileNotFoundError):
                if path.stat().st_mtime >= old:
                    continue
                if path.is_dir():
                    shutil.rmtree(path, ignore_errors=True)
                    self.mending.removed.append(self.mending.name(path))
                else:
                    self.mending.remove(path)

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
                    write_file(path, json_bytes(recording.document()))
                    self.recovered.add(identity)
                    self.mending.rebuilt.append(self.mending.name(path))
                    return recording
        raise damage

    def _recording(self, recording: Recording) -> None:
        path = self.places.original(recording.id)
        data = None
        try:
            data = originals.fetch(path, recording.sha256, recording.size_bytes, recording.file)
            aside = path.with_name(path.name + DAMAGED)
            if aside.exists():
                self.mending.remove(aside)
            if (name := f"originals/{path.name}") in self.changed:
                again = Seal.of(originals.store(path, data))  # the same content, otherwise packed
                self.mending.rebuilt.append(self.mending.name(path))
                if again != self.listed[name]:
                    enter(self.places, {path: again})
        except BookError as error:
            self.mending.problems.append(error)
            if path.exists():
                # Put aside, the book no longer claims to have it, and takes it when added again.
                self.mending.put_aside(path)
        try:
            self._flights(recording)
        except BookError:
            if data is None:
                raise
            self._rebuild(recording, data)

    def _enter(self, recording: Recording) -> None:
        """Enter a recording whose own record is lost, and which is what its flights say of it."""
        held = [self.places.record(recording.id), self.places.original(recording.id)]
        held += [found_place(self.places, self.changes, recording, p.id) for p in recording.flights]
        there = [path for path in held if path.exists()]
        enter(self.places, {path: sealed(path) for path in there})
        self.mending.entered |= set(there)

    def _flights(self, recording: Recording) -> None:
        """Hold every flight of a recording against its entry; learn its header where that is lost.

        Without an entry it is read to its end.
        """
        whose = {p.id: own for own in self.changes.left(recording) for p in own.flights}
        for part in recording.flights:
            path = found_place(self.places, self.changes, recording, part.id)
            right = right_place(self.places, self.changes, recording, part.id)
            if path != right and path.exists() and self.whole:
                put(self.places, part.id)
                self.mending.rebuilt.append(self.mending.name(right))
                path = right
            name = f"flights/{part.id}.parquet"
            if name not in self.listed:
                log = log_of(read_table(path, part.rows), path)
                if log.provenance.sha256 != recording.sha256:
                    raise BookError("this flight's table is another flight's", path=path)
            elif name in self.changed or not path.exists():
                raise BookError("this flight's table is not what was stored", path=path)
            if part.id in whose:
                learn(self.places, clues_of_flight(path), whose[part.id])

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
        written = write_flights(self.places, again, [own for _, own in cuts])
        for own in self.changes.left(again):
            learn(self.places, clues_of(log), own)
        if again != recording:
            path = self.places.record(recording.id)
            data = json_bytes(again.document())
            write_file(path, data)
            written[path] = Seal.of(data, whole=True)
        if any(self.listed.get(str(listed_name(self.places, p))) != s for p, s in written.items()):
            enter(self.places, written)
        for part in parts:
            path = right_place(self.places, self.changes, again, part.id)
            self.mending.rebuilt.append(self.mending.name(path))

    def _strays(self) -> None:
        """Flights in another aircraft's folder: copies, so removed."""
        right = {
            right_place(self.places, self.changes, r, p.id)
            for r in self.kept.values()
            for p in r.flights
        }
        for path in self._tables() if self.whole else ():
            if path.stem.partition("-")[0] in self.kept and path not in right:
                self.mending.remove(path)

    def _tables(self) -> list[Path]:
        """The samples of every flight, of those that are kept aside too."""
        return [
            *self.places.files("flights/*/*.parquet"),
            *self.places.files("removed/flights/*/*.parquet"),
        ]

    def _notes(self) -> None:
        """Notes where they say whose they are, or where the changes put them."""
        notes = self.places.files("notes/*/*.json")
        for path in (*notes, *self.places.files("removed/notes/*/*.json")):
            with self.mending.noting():
                note = load_note(path)
                aside = note.id in self.changes.removed
                place = self.places.removed_note if aside else self.places.note
                right = place(note.aircraft, note.id)
                if path == right or not self.whole:
                    continue
                data = read_file(path)
                if not right.exists():
                    write_file(right, data)
                    self.mending.rebuilt.append(self.mending.name(right))
                if read_file(right) == data:
                    self.mending.remove(path)

    def _derived(self) -> None:
        """Maps and measures that are not what was written, or of nothing the book has, go."""
        ids = {p.id for r in self.kept.values() for p in r.flights}
        for path in self.places.files("maps/*/*.json"):
            try:
                one = Learnt.of(read_sealed(path))
                stray = path != self.places.learnt(one.aircraft, one.fingerprint)
            except BookError:
                stray = True
            if stray:
                self.mending.remove(path)
        for path in self.places.files("measures/*.json"):
            if path.stem not in ids or not _is_sealed(path, "flight"):
                self.mending.remove(path)
        for folder in ("replays", "answers", "fleets"):
            for path in self.places.files(f"measures/{folder}/*.json"):
                if not _is_sealed(path, "aircraft"):
                    self.mending.remove(path)
        if not index_fits(self.places, self.kept):
            self.mending.remove(self.places.index)


def _is_sealed(path: Path, whose: str) -> bool:
    """Whether a derived document is what was written, and of what its name says."""
    try:
        return read_sealed(path).get(whose) == path.stem
    except BookError:
        return False
