"""What a figure or table shows of the log: readings looked up, never altered.

No drawing library is needed here, so that the terminal summary can look up a reading as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from telemetry.aircraft import Aircraft, Limits
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.envelope import Band, bands, min_max_indices
from telemetry.readings import Reading, Readings, lowest_voltage
from telemetry.results import WORKING_PHASES, Flight, Review, Span

# The order of the power path, from the source to what it feeds.
_ORDER = (
    PlaceKind.PACK,
    PlaceKind.REGULATOR,
    PlaceKind.BUS,
    PlaceKind.NODE,
    PlaceKind.RECEIVER,
    PlaceKind.OTHER,
    PlaceKind.SURFACE,
)
# So many gaps are drawn at the most.
_MOST_GAPS = 200
# Readings closer than this are the same reading: no log of a supply resolves less.
_SAME_V = 5e-4


def path_order(places: Iterable[str], aircraft: Aircraft) -> tuple[str, ...]:
    """Places from the source to what it feeds: packs, regulator, bus, nodes, receivers, others."""
    return tuple(sorted(dict.fromkeys(places), key=lambda p: _ORDER.index(aircraft.kind(p))))


def of_quantity(
    readings: Readings,
    quantity: Quantity,
    aircraft: Aircraft,
    places: Iterable[str] | None = None,
) -> tuple[Reading, ...]:
    """The readings of one quantity at all its places (or the given ones), in path order."""
    found = {r.place: r for r in readings.of(quantity) if r.size > 0}
    wanted = found if places is None else (p for p in places if p in found)
    return tuple(found[p] for p in path_order(wanted, aircraft))


@dataclass(frozen=True, slots=True, kw_only=True)
class Lowest:
    """The lowest voltage of a recording: where, when (s; None where no row shows it), how low (V).

    ``flight`` counts from 1. ``held`` where only the unit's own minimum shows it: it fell between
    two readings.
    """

    place: str
    flight: int
    volts: float
    time_s: float | None
    held: bool


def lowest_judged(review: Review, readings: Readings) -> Lowest | None:
    """The lowest voltage in stir and flight of the places behind the packs; None without any.

    A pack that is lost or switched off falls to nothing; what the electronics still had is the
    lowest voltage that counts.
    """
    known = [
        (m.lowest_v, m.place, number)
        for number, f in enumerate(review.flights, 1)
        for m in f.margins
        if m.lowest_v is not None
    ]
    if not known:
        return None
    volts, place, number = min(known, key=lambda k: k[0])
    working = [p for p in review.flights[number - 1].phases if p.kind in WORKING_PHASES]
    seen = lowest_voltage(readings, place, working)
    same = seen is not None and abs(seen.value - volts) < _SAME_V
    return Lowest(
        place=place,
        flight=number,
        volts=volts,
        time_s=seen.time_s if same and seen is not None else None,
        held=same and seen is not None and seen.held,
    )


def working_spans(flight: Flight) -> list[Span]:
    """The stirs and flights in it; all of it where nothing was under load."""
    return [p for p in flight.phases if p.kind in WORKING_PHASES] or [flight]


def envelope(reading: Reading, limits: Limits, columns: int) -> tuple[Band, ...]:
    """What to draw: every column's lowest and highest reading, parted at gaps."""
    return bands(reading.t, reading.v, columns, reading.hold_s(limits))


def sparse_enough(reading: Reading, most: int) -> tuple[FloatArray, FloatArray]:
    """Instants and values of at most ``most`` readings, every column's lowest and highest kept."""
    if reading.size <= most:
        return reading.t, reading.v
    keep = min_max_indices(reading.t, reading.v, max(1, most // 2 - 1))
    return reading.t[keep], reading.v[keep]


def levels(limits: Limits) -> tuple[tuple[float, str], ...]:
    """The known levels of a voltage, V, each with its name."""
    known = ((limits.restart_v, "restart level"), (limits.comfort_v, "comfort level"))
    return tuple((volts, f"{name} {volts:g} V") for volts, name in known if volts is not None)


def longest_gaps(gaps: Sequence[Span]) -> list[Span]:
    """The gaps that a picture shows, in time: all of them, of very many the longest."""
    found = sorted(gaps, key=lambda g: g.duration_s)[-_MOST_GAPS:]
    return sorted(found, key=lambda g: g.start_s)
