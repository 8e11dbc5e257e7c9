"""The logbook: originals, flights, notes, profiles and measures in a folder. It judges nothing."""

from telemetry.book.batch import Incoming, add_files, read_file
from telemetry.book.checking import CheckReport
from telemetry.book.export import export_log
from telemetry.book.finding import Found, find_files
from telemetry.book.maps import Guess, Learnt
from telemetry.book.names import aircraft_key
from telemetry.book.records import BookFlight, Note, NoteKind, Outcome, Part, Recording
from telemetry.book.store import Logbook

__all__ = [
    "BookFlight",
    "CheckReport",
    "Found",
    "Guess",
    "Incoming",
    "Learnt",
    "Logbook",
    "Note",
    "NoteKind",
    "Outcome",
    "Part",
    "Recording",
    "add_files",
    "aircraft_key",
    "export_log",
    "find_files",
    "read_file",
]
