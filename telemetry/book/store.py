"""The logbook: a folder of plain files that any Parquet engine reads without this program.

::

    format.toml                              version of the layout
    originals/<recording>.csv.zst            byte for byte what was read
    originals/<recording>.json               what the book was told of it; written last
    aircraft/<name>.toml                     profiles
    flights/aircraft=<name>/<id>.parquet     samples, canonical columns, provenance in the metadata
    notes/aircraft=<name>/<id>.json          one note a file
    changes/<id>.json                        removed, restored, moved, marked; never rewritten
    removed/flights/..., removed/notes/...   what is kept aside
    entries/<order>-<hash>.json              what each write wrote, with its hashes
    maps/aircraft=<name>/<columns>.json      learnt: whose columns these are, how they are read
    measures/<id>.json                       derived; made again whenever missing
    measures/replays/<name>.json             likewise, of all flights of an aircraft
    measures/answers/<name>.json             likewise, how it stands
    measures/fleets/<name>.json              likewise, what the other aircraft tell of it
    measures/index/recordings.json           likewise, the records of all recordings

Recordings and flights are named by the content of the original, so adding twice changes nothing
and two writers of one recording write the same files. The record is written last: what a crash
left without one is not in the book, and adding it again completes it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from telemetry.book import adding
from telemetry.book.adding import BookEntry
from telemetry.book.files import originals
from telemetry.book.files.names import aircraft_key, checked_flight
from telemetry.book.files.writing import write_sealed
from telemetry.book.keeping import Keeper
from telemetry.book.ledger.entries import change_entered, write_entered
from telemetry.book.records import Outcome
from telemetry.book.selecting import flights_or_all
from telemetry.model.brief import Facts, as_html, as_text, some
from telemetry.model.errors import BookError
from telemetry.model.log import Log
from telemetry.results import Flight

if TYPE_CHECKING:
    from telemetry.book.ledger.checking import CheckReport, Read


class Logbook(Keeper):
    """A logbook in a folder; made if the folder is missing or empty, unless ``make`` is False.

    Safe with several processes writing at once. Nothing is written outside the folder, except by
    :meth:`export`.

    Parameters
    ----------
    path : path
    make : bool

    Raises
    ------
    BookError
        If the folder is no logbook, was written by a newer version, or cannot be made.
    """

    def __repr__(self) -> str:
        return as_text(f"Logbook {self.path}", self._facts())

    def _repr_html_(self) -> str:
        return as_html(f"Logbook {self.path}", self._facts())

    def _facts(self) -> Facts:
        try:
            flights = len(self._places.files("flights/*/*.parquet"))
            return (("aircraft", some(self.aircraft())), ("flights", str(flights)))
        except BookError as error:  # what cannot be read can still be named
            return (("flights", error.what),)

    # Adding.

    def add(
        self,
        log: Log,
        *,
        aircraft: str | None = None,
        source: bytes | str | Path | None = None,
        flights: Sequence[Flight] = (),
        on: str | None = None,
        settings: Mapping[str, str] | None = None,
        row_interval_s: float | None = None,
    ) -> Outcome:
        """Add a log. Adding the same content again changes nothing.

        Parameters
        ----------
        log : Log
        aircraft : str, optional
            Whose it is; a new one is made with a default profile. Without it the columns, the
            preamble and the file's name decide, see :meth:`guess`.
        source : bytes or path, optional
            The original; without it the file named in the log's provenance.
        flights : sequence of Flight
            The flights in it, as the review found them; empty: the whole log is one.
        on : str, optional
            Date, or date and time, of the first row, for a log that has none.
        settings, row_interval_s
            What the log was read with, kept so that the original can be read again.

        Returns
        -------
        Outcome
            "added", or "known" where the book has it already (perhaps for another aircraft).

        Raises
        ------
        BookError
            If it is not sure whose log it is, if the source is not what the log was read from, or
            if the book cannot be written to; nothing is lost then, and nothing half-written.
        """
        settled = self.settle(
            log,
            aircraft=aircraft,
            source=source,
            flights=flights,
            on=on,
            settings=settings,
            row_interval_s=row_interval_s,
        )
        return settled if isinstance(settled, Outcome) else self.write(settled)

    def settle(
        self,
        log: Log,
        *,
        aircraft: str | None = None,
        source: bytes | str | Path | None = None,
        flights: Sequence[Flight] = (),
        on: str | None = None,
        settings: Mapping[str, str] | None = None,
        row_interval_s: float | None = None,
    ) -> Outcome | BookEntry:
        """The first half of :meth:`add`: all but the writing, one log after the other."""
        data = source
        if not isinstance(data, bytes):
            data = originals.read(Path(log.provenance.file if data is None else data))
        return adding.settle(
            self._places,
            log,
            data,
            aircraft=aircraft,
            guess=self.guess,
            owners=self.owners,
            next_order=self._next_order,
            flights=flights,
            on=on,
            settings=settings or {},
            row_interval_s=row_interval_s,
        )

    def write(self, entry: BookEntry) -> Outcome:
        """The second half of :meth:`add`; several threads may write at once."""
        return adding.write(self._places, entry)

    # Profiles.

    def put_profile(self, aircraft: str, text: str) -> Path:
        """Write the profile of an aircraft (TOML); the path it was written to."""
        path = self.profile_path(aircraft)
        write_entered(self._places, path, text.encode())
        return path

    def change_profile(self, aircraft: str, change: Callable[[bytes | None], bytes]) -> Path:
        """Write the profile of an aircraft anew from what it holds, one process at a time.

        Parameters
        ----------
        aircraft : str
        change : callable
            From the old bytes, None where there is no profile, to the new ones; what it raises
            leaves the profile as it was.
        """
        path = self.profile_path(aircraft)
        change_entered(self._places, path, change)
        return path

    # Measures: derived by others, kept here.

    def put_measures(self, flight: str, version: str, doc: Mapping[str, Any]) -> None:
        """Keep the measures of a flight; ``doc`` holds plain JSON values, null for not measured.

        Raises
        ------
        ValueError
            If it holds NaN or infinity.
        BookError
            If the book cannot be written to.
        """
        path = self._places.measures(checked_flight(flight))
        write_sealed(path, {"flight": flight, "version": version, "measures": dict(doc)})

    def put_replay(self, aircraft: str, doc: Mapping[str, Any]) -> None:
        """Keep what the flights of an aircraft told together, as plain JSON values.

        Raises
        ------
        BookError
            If the book cannot be written to.
        """
        self._keep(self._places.replay(aircraft_key(aircraft)), "replay", doc)

    def put_fleet(self, aircraft: str, doc: Mapping[str, Any]) -> None:
        """Keep what other aircraft, by name in ``others``, tell of one, as plain JSON values.

        Raises
        ------
        BookError
            If the book cannot be written to.
        """
        self._keep(self._places.fleet(aircraft_key(aircraft)), "fleet", doc)

    def put_answer(self, aircraft: str, state: str, doc: Mapping[str, Any]) -> None:
        """Keep how an aircraft stands, as plain JSON values, by what that depends on.

        Raises
        ------
        BookError
            If the book cannot be written to.
        """
        key = aircraft_key(aircraft)
        path = self._places.answer(key)
        write_sealed(path, {"aircraft": key, "state": state, "answer": dict(doc)})

    def _keep(self, path: Path, what: str, doc: Mapping[str, Any]) -> None:
        write_sealed(path, {"aircraft": path.stem, what: dict(doc)})

    # Checking and handing on.

    def check_book(self, read: Read | None = None, *, accept: bool = False) -> CheckReport:
        """Hold every file against its entry, make again what is derived, sweep out leftovers.

        Small documents that were changed or lost are written back; profiles that were changed are
        shown and entered as they are. This finds accidents, not forgery.

        Parameters
        ----------
        read : callable, optional
            Reads an original again: ``read(path, settings, row_interval_s) -> Log``; by default
            with :func:`telemetry.importer.read_log`.
        accept : bool
            Take files that no entry lists, and what is changed and cannot be put right, as they
            are; give up entries that are lost.
        """
        from telemetry.book.ledger.checking import check  # reads logs

        return check(self._places, read, accept=accept)

    def export(self, what: str | Sequence[str], to: str | Path) -> None:
        """Write flights, or all flights of an aircraft, as Parquet or clean CSV.

        The ending of ``to`` tells which. The first columns are ``flight`` (its id), ``date``,
        ``aircraft`` and ``file``. Several flights become one table with every column that any of
        them has.

        Parameters
        ----------
        what : str or sequence of str
            An aircraft, or words as :func:`telemetry.book.flights_named` takes them.
        to : path

        Raises
        ------
        BookError
            If the book has no such flight or aircraft.
        OutputError
            If the file cannot be written, or its ending tells no format.
        """
        from telemetry.book.export import export_flights

        flights = flights_or_all(self, (what,) if isinstance(what, str) else what)
        paths = [(f, self.table_path(f)) for f in flights]
        export_flights(paths, Path(to))
