"""What was drawn from the packs since they were last charged, by the book."""

from __future__ import annotations

import re
from datetime import date

from telemetry.aircraft import Aircraft, Pack
from telemetry.app.cache import measures_of
from telemetry.app.usual import before
from telemetry.book import BookFlight, Logbook, Note, NoteKind
from telemetry.measure.charge_state import ChargeEntry, drawn_since_full
from telemetry.measure.states import Drawn
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.log import Log
from telemetry.numerics.intervals import Interval
from telemetry.trends.measures import Measures

# "charged, 1850 mAh went in": an amount; without one the charge ended by itself.
_AMOUNT = re.compile(r"(\d+(?:[.,]\d+)?)\s*(mAh|Ah)\b", re.IGNORECASE)
# What a charger counts (heuristic: a few per cent).
_CHARGER_PART = 0.03
# Flights that tell what the next one takes, at the most.
_NEWEST = 20


def drawn_before(book: Logbook, name: str, log: Log, profile: Aircraft | None) -> Drawn:
    """What the book knows of the packs' charge before a log.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.
    log : Log
        It may be in the book already.
    profile : Aircraft or None
        With all its dates.

    Returns
    -------
    Drawn
        ``on_record`` where a note of kind "charged" was written before the log. Notes name a pack
        by its place or its label; without a place they are for all. Charge is counted at the pack
        that was fitted: flights of another label do not count.
    """
    timeline = before(book, name, log.provenance)
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    charges = [e for e in timeline if isinstance(e, Note) and e.kind is NoteKind.CHARGED]
    if profile is None or not flights:
        return Drawn()
    start = log.provenance.start
    craft = profile.on(None if start is None else date.fromisoformat(start[:10]))
    measured = measures_of(book, flights, book.profile(name))
    since: dict[str, Interval] = {}
    taken: dict[str, tuple[float, ...]] = {}
    for pack in craft.packs:
        entries: list[ChargeEntry] = []
        own: list[float] = []
        for e in timeline:
            if isinstance(e, Note):
                if e in charges and is_note_for(e, pack):
                    entries.append(ChargeEntry(kind="charged", mah=charged_mah(e.text)))
                continue
            found = measured.get(e.id)
            if found is None or found.labels.get(pack.name) != pack.label:
                continue
            if log.provenance.packs not in (None, e.packs or found.packs or log.provenance.packs):
                continue  # another set
            mah = used_in_flight(found, pack.name)
            entries.append(ChargeEntry(kind="drawn", mah=mah))
            if found.kind == "flight" and mah is not None:
                own.append(mah.value)
        drawn = drawn_since_full(entries, pack.chemistry)
        if drawn is not None:
            since[pack.name] = drawn
        taken[pack.name] = tuple(own[-_NEWEST:])
    return Drawn(since_full_mah=since, flights_mah=taken, on_record=bool(charges))


def is_note_for(note: Note, pack: Pack) -> bool:
    """Whether a note is about a pack: names it, its label, every place or none."""
    label = None if pack.label is None else pack.label.lower()
    return note.place in (None, EVERY_PLACE, pack.name, label)


def charged_mah(text: str) -> Interval | None:
    """Charge that the text of a note names, mAh, with a charger's error; None without one."""
    found = _AMOUNT.search(text)
    if found is None:
        return None
    mah = float(found[1].replace(",", ".")) * (1000 if found[2].lower() == "ah" else 1)
    return Interval.around(mah, _CHARGER_PART * mah)


def used_in_flight(measures: Measures, pack: str) -> Interval | None:
    """Charge that a pack gave in a flight, mAh, never below 0; None where not measured."""
    found = measures.get(pack, "used_mah")
    if found is None or found.value is None:
        return None
    value = max(found.value, 0.0)
    low = value if found.low is None else max(min(found.low, value), 0.0)
    high = value if found.high is None else max(found.high, value)
    return Interval(value, low, high)
