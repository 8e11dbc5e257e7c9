"""What was done to an aircraft: the place that is meant, and what a note about it closes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import get_close_matches

from telemetry.app.histories import history
from telemetry.app.timelines import AsIfNoted
from telemetry.book import Logbook, Note, NoteKind
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.errors import UnknownSetting
from telemetry.results import Finding
from telemetry.trends.features.voltages import TOTAL

_CLOCK = re.compile(r"(?:(\d{1,4}):)?(\d{1,6}(?:\.\d{1,6})?)", re.ASCII)


def closed_by(book: Logbook, note: Note) -> tuple[Finding, ...]:
    """Open findings of an aircraft that a note would close, the worst first.

    Parameters
    ----------
    book : Logbook
    note : Note
        As of :meth:`telemetry.book.Logbook.draft_note`; it need not be in the book.

    Raises
    ------
    BookError
        If the book cannot be read.
    """
    if note.place is None or note.kind is NoteKind.CHARGED or not book.flights(note.aircraft):
        return ()
    after = history(AsIfNoted(book, note), note.aircraft).open
    still = {(f.code, f.place, f.servo) for f in after}
    before = history(book, note.aircraft).open
    return tuple(f for f in before if (f.code, f.place, f.servo) not in still)


def known_places(shelf: Logbook, name: str) -> Iterator[dict[str, str]]:
    """The places of an aircraft by their names and labels: those of the profile, then more.

    Each time with those of one flight more, from the newest on: a sensor may be gone.
    """
    profile = shelf.profile(name)
    known = {one: one for one in (EVERY_PLACE, "bus", TOTAL)}
    if profile is not None:
        known |= {one: one for one in (profile.root, profile.regulator) if one is not None}
        known |= {pack.name: pack.name for pack in profile.packs}
        known |= {node.name: node.name for node in profile.nodes}
        known |= {one.drives: one.drives for one in profile.servos}
        # A pack may be named by its own label; the note goes to where it is fitted.
        known |= {own.label.lower(): pack.name for pack in profile.packs for own in pack.labels}
    yield known
    for flight in reversed(shelf.flights(name)):
        for channel in shelf.channels(flight.id):
            if channel.place is not None:
                known.setdefault(channel.place, channel.place)
                known.setdefault(" ".join(channel.label.lower().split()), channel.place)
        yield known


def moment_named(given: str) -> float:
    """A time as typed, seconds (443.5) or minutes and seconds (07:23.5), in s.

    Raises
    ------
    UnknownSetting
        If it is none.
    """
    found = _CLOCK.fullmatch(given.strip())
    if found is None:
        raise UnknownSetting(
            f"'{given}' is no time", hint="give seconds (443.5) or mm:ss (07:23.5)"
        )
    return 60 * int(found[1] or 0) + float(found[2])


def place_named(shelf: Logbook, name: str, given: str) -> str:
    """The place as the book names it, or what is part of one; UnknownSetting where there is none.

    The newest flight is asked first, then the earlier ones: a sensor may be gone.
    """
    wanted = " ".join(given.lower().split())
    known: dict[str, str] = {}
    for known in known_places(shelf, name):
        if wanted in known:
            return known[wanted]
        if any(wanted.startswith(f"{one} ") for one in known.values() if one != EVERY_PLACE):
            return wanted
    places = sorted({*known.values()} - {TOTAL})
    near = list(dict.fromkeys(known[one] for one in get_close_matches(wanted, known, 3)))
    raise UnknownSetting(
        f"'{name}' has no place '{wanted}'", hint=f"it has {', '.join(near or places)}"
    )
