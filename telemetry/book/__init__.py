"""The logbook: originals, flights, notes, profiles and measures in a folder. It judges nothing."""

from typing import TYPE_CHECKING

from telemetry.book.changes import BookChange, ChangeKind, FlightMark
from telemetry.book.files.names import aircraft_key
from telemetry.book.maps import AircraftGuess, Learnt
from telemetry.book.records import BookFlight, Note, NoteKind, Outcome, Recording, RecordingPart
from telemetry.book.selecting import (
    flights_named,
    flights_or_all,
    logs_named,
    marks_named,
    names_flight,
    notes_named,
    parts_named,
    removed_named,
)
from telemetry.book.store import Logbook
from telemetry.model.lazily import lazily

if TYPE_CHECKING:
    from telemetry.book.export import export_log as export_log
    from telemetry.book.ledger.checking import CheckReport as CheckReport

# What reads or writes tables of samples, which a list of flights does without.
_HOME = {"CheckReport": "telemetry.book.ledger.checking", "export_log": "telemetry.book.export"}

__all__ = [
    "AircraftGuess",
    "BookChange",
    "BookFlight",
    "ChangeKind",
    "CheckReport",
    "FlightMark",
    "Learnt",
    "Logbook",
    "Note",
    "NoteKind",
    "Outcome",
    "Recording",
    "RecordingPart",
    "aircraft_key",
    "export_log",
    "flights_named",
    "flights_or_all",
    "logs_named",
    "marks_named",
    "names_flight",
    "notes_named",
    "parts_named",
    "removed_named",
]
__getattr__, __dir__ = lazily(__name__, _HOME)
