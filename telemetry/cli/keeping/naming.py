"""Flights and places as they are named on the command line."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.cli.shared import book_path, open_book
from telemetry.model.channels import EVERY_PLACE

if TYPE_CHECKING:
    from telemetry.book import Logbook


def with_flights(words: Sequence[Path], book: Path | None) -> list[Path]:
    """Files as they are named, and the flights of the book that are meant, by their ids.

    What is a file is one, except an aircraft before a number: ``tern 11``, beside a folder of that
    name.

    Raises
    ------
    BookError
        If the book has an aircraft of that name, and not that flight.
    """
    texts = [str(word) for word in words]
    there = [os.path.lexists(text) for text in texts]
    if all(there) or not (book_path(book) / "format.toml").exists():
        return list(words)
    from telemetry.book import flights_named, names_flight

    shelf = open_book(book)
    everyone = shelf.aircraft()
    out: list[Path] = []
    k = 0
    while k < len(texts):
        end = k + 1
        numbered = end < len(texts) and texts[end].isdecimal() and not there[end]
        if texts[k].lower() in everyone and (numbered or not there[k]):
            while end < len(texts) and not there[end] and texts[end].lower() not in everyone:
                end += 1
        elif there[k] or not names_flight(shelf, texts[k]):
            out.append(words[k])
            k = end
            continue
        out += [Path(flight.id) for flight in flights_named(shelf, texts[k:end])]
        k = end
    return out


def known_places(shelf: Logbook, name: str) -> Iterator[dict[str, str]]:
    """The places of an aircraft by their names and labels: those of the profile, then more.

    Each time with those of one flight more, from the newest on: a sensor may be gone.
    """
    from telemetry.trends.features.voltages import TOTAL

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
