"""What several flights of one aircraft measured together, for the budget."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import Measured
from telemetry.circuit.measured import PeakSet, current_peaks, measured_in, pooled_peaks
from telemetry.measure.sharing import Sharing, sharing_of
from telemetry.numerics.intervals import Interval
from telemetry.results import Flight, Resistance, Review
from telemetry.results.readings import Readings


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Measurements of several flights as one state.

    Attributes
    ----------
    aircraft : Aircraft
        As of the day of the last of them.
    resistances : tuple of Resistance
        The newest of each that could be measured.
    measured : Measured
        Lowest voltages and highest currents of all; return levels from the peaks of all; voltages
        and currents at landing, and shares, of the last flight.
    flights : int
    """

    aircraft: Aircraft
    resistances: tuple[Resistance, ...]
    measured: Measured
    flights: int


def together(reviews: Sequence[Review]) -> Together | None:
    """The flights of some reviews as one state; bench recordings count where there is no flight.

    Parameters
    ----------
    reviews : sequence of Review
        In the order of time.

    Returns
    -------
    Together or None
        None where the reviews hold nothing.
    """
    recorded = [(r, f) for r in reviews for f in r.flights]
    flown = [(r, f) for r, f in recorded if f.kind == "flight"] or recorded
    if not flown:
        return None
    parts = [(r, f, readings_of(r, f)) for r, f in flown]
    sets: dict[str, list[PeakSet]] = {}
    for r, f, readings in parts:
        for place, peaks in current_peaks(f.phases, readings, r.aircraft).items():
            sets.setdefault(place, []).append(peaks)
    pooled = {place: pooled_peaks(found) for place, found in sets.items()}
    *earlier, (review, flight, readings) = parts
    packs = sharing_of(readings, review.aircraft, flight.phases, flight.pack_outs)
    last = measured_in(flight.phases, readings, review.aircraft, packs, pooled)
    # Of the earlier ones neither shares nor outs count, nor return levels of their own.
    every = [measured_in(f.phases, x, r.aircraft, Sharing(), {}) for r, f, x in earlier] + [last]
    measured = replace(
        last,
        lowest_v=extremes_of([m.lowest_v.items() for m in every], lowest=True),
        usual_a=extremes_of([m.usual_a.items() for m in every], lowest=False),
        peak_a=highest_peaks([m.peak_a.items() for m in every]),
    )
    return Together(
        aircraft=review.aircraft,
        resistances=newest_resistances([f.resistances for _, f in flown]),
        measured=measured,
        flights=len(flown),
    )


def readings_of(review: Review, flight: Flight) -> Readings:
    """The readings of one flight of a review."""
    return review.readings.within(flight.start_s, flight.end_s)


def extremes_of(found: Iterable[Iterable[tuple[str, float]]], *, lowest: bool) -> dict[str, float]:
    """The lowest or the highest value of each place over all flights."""
    out: dict[str, float] = {}
    for items in found:
        for place, value in items:
            held = out.get(place, value)
            out[place] = min(held, value) if lowest else max(held, value)
    return out


def highest_peaks(found: Iterable[Iterable[tuple[str, Interval]]]) -> dict[str, Interval]:
    """The highest value of each place, and the highest that may have been missed in any."""
    out: dict[str, Interval] = {}
    for items in found:
        for place, x in items:
            held = out.get(place, x)
            value = max(held.value, x.value)
            out[place] = Interval(value, value, max(held.high, x.high))
    return out


def newest_resistances(flights: Sequence[Sequence[Resistance]]) -> tuple[Resistance, ...]:
    """Of each resistance the newest that was not refused, else the newest refusal."""
    out: dict[tuple[str, str, str | None], Resistance] = {}
    for resistances in flights:
        for r in resistances:
            key = (r.kind, r.place, r.parent)
            if r.mohm is not None or key not in out or out[key].mohm is None:
                out[key] = r
    return tuple(out.values())
