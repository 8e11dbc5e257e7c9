"""Small helpers for the tables of a report."""

from __future__ import annotations

from telemetry.model.text import plain
from telemetry.report.document import Cell, TableColumn
from telemetry.report.words import bare_interval, clock
from telemetry.results import Flight, Resistance, Review


def cells(*texts: str) -> tuple[Cell, ...]:
    """A row of plain cells."""
    return tuple(Cell(text=t) for t in texts)


def columns(*titles: str | tuple[str, str]) -> tuple[TableColumn, ...]:
    """Columns from their titles: ">" in front sets numbers flush right, "~" leaves narrow output.

    "~>depth" is a column of numbers that narrow output may leave out. A pair is a title and a note
    that says what the column is.
    """
    made = []
    for one in titles:
        title, note = (one, "") if isinstance(one, str) else one
        brief = not title.startswith("~")
        title = title.removeprefix("~")
        right, title = title.startswith(">"), title.removeprefix(">")
        made.append(TableColumn(title=title, right=right, brief=brief, note=note))
    return tuple(made)


def each_flight(review: Review) -> list[tuple[int, Flight, str]]:
    """Index, flight, and what to put before a caption where there are several."""
    if len(review.flights) == 1:
        return [(0, review.flights[0], "")]
    return [
        (k, f, f"{f.kind.capitalize()} {k + 1}, {clock(f.start_s)} to {clock(f.end_s)}: ")
        for k, f in enumerate(review.flights)
    ]


def flight_name(review: Review, number: int | None) -> str:
    """A flight by kind and number, from 1: "flight 2"; "" where there is one, or none is meant."""
    if number is None or len(review.flights) == 1:
        return ""
    return f"{review.flights[number - 1].kind} {number}"


def resistance_caption(resistance: Resistance) -> str:
    """What the figure of a resistance shows: "Voltage against current, pack 1 to bus"."""
    place = plain(resistance.place)
    way = place if resistance.parent is None else f"{plain(resistance.parent)} to {place}"
    return f"Voltage against current, {way}"


def mohm_words(resistance: Resistance) -> str:
    """A resistance with its interval, without the unit."""
    return bare_interval(resistance.mohm, resistance.low_mohm, resistance.high_mohm, "mOhm")
