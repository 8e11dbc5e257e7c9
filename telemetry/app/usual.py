"""One flight beside the earlier ones: what each place drew, how low it went, what is usual."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.app.cache import measures_of
from telemetry.app.timelines import note_marks
from telemetry.book import BookFlight, Logbook, Note
from telemetry.book.files.dates import sortable
from telemetry.book.files.names import recording_id
from telemetry.checks.aircraft_history import first_since
from telemetry.model.log import Provenance
from telemetry.results import Comparison, History, Level, NoteMark, Review
from telemetry.trends.features.flight import measure_flight
from telemetry.trends.measures import Measures

#: Features worth a line beside a review, and how people call them.
FEATURE_NAMES: dict[str, str] = {
    "rest_a": "rest current",
    "stir_mean_a": "stir mean",
    "stir_p95_a": "stir 95th percentile",
    "stir_mirror_ratio": "stir mean over its mirror's",
    "air_mean_a": "mean current in flight",
    "branch_mohm": "lead resistance",
    "source_mohm": "source resistance",
    "share": "share of the current",
    "start_v": "voltage at the start",
    "end_v": "voltage after landing",
    "mah_per_min": "charge per minute",
    "lowest_stir_v": "lowest voltage in the stir",
    "lowest_flight_v": "lowest voltage in flight",
}
# Fewer flights than this have no usual range.
_FEW = 3
#: Digits shown, by unit; finer than the columns of most logs nothing is told.
FEATURE_DIGITS = {"V": 2, "A": 2, "mOhm": 0, "mAh/min": 0, "": 2}
# The middle four fifths of the earlier flights.
_LOW, _HIGH = 0.1, 0.9


def compare(
    review: Review,
    earlier: Sequence[Measures],
    notes: Sequence[NoteMark] = (),
    *,
    faulty: Mapping[str, Collection[int]] | None = None,
    number: int = 1,
) -> tuple[Comparison, ...]:
    """Compare one flight of a review with earlier flights of the same aircraft.

    Parameters
    ----------
    review : Review
    earlier : sequence of Measures
        Of the earlier flights, in order; the flight itself must not be among them.
    notes : sequence of NoteMark
        ``before`` counts the earlier flights. What was measured at a place before it was repaired
        or changed tells nothing of what is usual there.
    faulty : mapping of str to collection of int, optional
        By place, which of the earlier flights had an open finding there, by index; "" is every
        place. They tell nothing of what is usual there either.
    number : int
        Which flight of the review, from 1.

    Returns
    -------
    tuple of Comparison
        What lies outside the earlier flights first. Features that fewer than three earlier
        flights had are left out.
    """
    rows = []
    for m in measure_flight(review, number).features:
        if m.feature not in FEATURE_NAMES or m.value is None:
            continue
        first = first_since(notes, review.aircraft, m.place)
        known = {
            k: v
            for k, e in enumerate(earlier)
            if k >= first and (v := e.value(m.place, m.feature)) is not None
        }
        left_out = known.keys() & _faulty_at(m.place, m.feature, faulty or {}, review.aircraft)
        past = [v for k, v in known.items() if k not in left_out]
        if len(past) < _FEW:
            continue
        low, high = (float(q) for q in np.quantile(past, [_LOW, _HIGH]))
        digits = FEATURE_DIGITS.get(m.unit, 1)
        rows.append(
            Comparison(
                flight=number,
                place=m.place,
                feature=m.feature,
                name=FEATURE_NAMES[m.feature],
                unit=m.unit,
                digits=digits,
                value=float(m.value),
                usual_low=low,
                usual_high=high,
                flights=len(past),
                left_out=len(left_out),
                # As printed: what differs only in digits that nobody sees is no difference.
                outside=not round(min(past), digits)
                <= round(m.value, digits)
                <= round(max(past), digits),
            )
        )
    return tuple(sorted(rows, key=lambda c: not c.outside))


def _faulty_at(
    place: str, feature: str, faulty: Mapping[str, Collection[int]], aircraft: Aircraft
) -> set[int]:
    """Flights that tell nothing of what is usual: of a ratio either side may have been at fault."""
    where = ["", place]
    if feature == "stir_mirror_ratio" and (other := aircraft.mirror(place, tuple(faulty))):
        where.append(other)
    return {k for p in where for k in faulty.get(p, ())}


def faulty_flights(history: History) -> dict[str, set[str]]:
    """By place, the ids of the flights in which a finding was open there; "" is every place."""
    ids = [flight.id for flight in history.flights]
    found: dict[str, set[str]] = {}
    for f in history.findings:
        if f.level > Level.UNKNOWN and f.since_flight in ids:
            end = len(ids) if f.closed_by is None else f.closed_by.before
            found.setdefault(f.place or "", set()).update(ids[ids.index(f.since_flight) : end])
    return found


def beside(
    book: Logbook, name: str, review: Review, history: History | None = None
) -> tuple[Comparison, ...]:
    """Compare every flight of a review with the flights of that aircraft before it in the book.

    ``history`` is that of the aircraft: flights in which a finding was open are left out there.
    """
    timeline = before(book, name, review.log.provenance)
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    earlier = list(measures_of(book, flights, book.profile(name)).values())
    notes = note_marks(timeline)
    index = {flight.id: k for k, flight in enumerate(flights)}
    open_at = {} if history is None else faulty_flights(history)
    faulty = {p: {index[i] for i in ids if i in index} for p, ids in open_at.items()}
    return tuple(
        row
        for number in range(1, len(review.flights) + 1)
        for row in compare(review, earlier, notes, faulty=faulty, number=number)
    )


def before(book: Logbook, name: str, log: Provenance) -> tuple[BookFlight | Note, ...]:
    """What the book holds of an aircraft from before a log.

    Where the book has this log, what stands before it in the book's order; else what has an earlier
    date; else all.
    """
    timeline = book.timeline(name)
    own = recording_id(log.sha256)
    known = next(
        (k for k, e in enumerate(timeline) if isinstance(e, BookFlight) and e.recording == own),
        None,
    )
    if known is not None:
        return timeline[:known]
    if log.start is None:
        return timeline
    now = sortable(log.start)
    return tuple(e for e in timeline if _when(e) < now)


def _when(entry: BookFlight | Note) -> str:
    """When it was, as text that sorts by time; "" for a flight without a date."""
    when = entry.start if isinstance(entry, BookFlight) else entry.date
    return "" if when is None else sortable(when)
