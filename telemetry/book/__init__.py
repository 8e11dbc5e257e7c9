"""The logbook: originals, flights, notes, profiles and measures in a folder. It judges nothing."""

from telemetry.book.changes import BookChange, ChangeKind, FlightMark
from telemetry.book.export import export_log
from telemetry.book.files.names import aircraft_key
from telemetry.book.ledger.checking import CheckReport
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
