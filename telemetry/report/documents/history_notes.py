"""What was done to the aircraft, and what it closed: notes and closed findings of a history."""

from __future__ import annotations

from telemetry.model.channels import EVERY_PLACE
from telemetry.model.text import plain
from telemetry.report.document import Block, Bullets, Paragraph, Section, Table
from telemetry.report.documents.across import Across
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import LEVEL_STATE, NONE, counted, date_words, day_words
from telemetry.results import ClosedBy, Finding, NoteMark


def notes_section(across: Across) -> Section | None:
    """The maintenance notes, the newest first, and what each began."""
    notes = across.history.notes
    if not notes:
        return None
    count = len(across.history.flights)
    rows = []
    for note in reversed(notes):
        effect = ""
        if note.kind in ("repaired", "changed"):
            effect = "closes nothing: it names no place"
        if note.restarts:
            since = count - note.before
            effect = f"new baseline, {counted(since, 'flight')} since"
        shut = [f for f in across.history.closed if _closed_by(f, note)]
        if shut:
            what = "accepts" if note.kind == "checked" else "closes"
            told = f"{what} {counted(len(shut), 'finding')}"
            effect = f"{effect}; {told}" if effect else told
        rows.append(
            cells(
                note.date[:10],
                note.kind,
                plain(
                    "every place" if note.place == EVERY_PLACE else note.place or "whole aircraft"
                ),
                plain(note.text),
                effect or NONE,
            )
        )
    table = Table(
        caption="Notes, the newest first",
        columns=columns("Date", "Kind", "Place", "What was done", "Effect"),
        rows=tuple(rows),
    )
    return Section(title="Maintenance notes", anchor="notes", blocks=(table,))


def closed_blocks(across: Across) -> tuple[Block, ...]:
    """Closed findings, the last closed first, and what closed each."""
    closed = across.history.closed
    if not closed:
        return ()
    items = tuple(
        f"{LEVEL_STATE[f.level].capitalize()}: {plain(f.title).rstrip('.')}. Since "
        f"{_flight_and_day(across, f.since_flight)}, last seen in "
        f"{_flight_and_day(across, f.last_flight)}. Closed: "
        f"{NONE if f.closed_by is None else closed_words(f.closed_by)}."
        for f in closed
    )
    return Paragraph(text=f"Closed, the last first ({len(items)}):"), Bullets(items=items)


def _flight_and_day(across: Across, flight: str | None) -> str:
    number = None if flight is None else across.number.get(flight)
    if number is None:
        return NONE
    day = day_words(across.history.flights[number - 1].start)
    return f"No. {number}" + (f", {day}" if day else "")


def closed_words(by: ClosedBy) -> str:
    """What closed a finding: "repaired, 12 May 2026: plug cleaned"."""
    day = date_words(None if by.date is None else by.date[:10])
    if by.kind == "flights":
        flights = counted(by.flights or 0, "later flight")
        return f"{flights} without it" + (f", until {day}" if day else "")
    where = "every place" if by.place == EVERY_PLACE else plain(by.place or "")
    what = "accepted as it is" if by.kind == "checked" else by.kind
    text = f": {plain(by.text)}" if by.text else ""
    return f"{what}, {where}" + (f", {day}" if day else "") + text


def _closed_by(finding: Finding, note: NoteMark) -> bool:
    by = finding.closed_by
    return by is not None and (by.kind, by.date, by.before, by.place, by.text) == (
        note.kind,
        note.date,
        note.before,
        note.place,
        note.text,
    )
