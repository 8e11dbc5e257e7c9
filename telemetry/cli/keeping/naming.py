"""Flights as they are named on the command line."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from telemetry.cli.shared import book_path, open_book


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
