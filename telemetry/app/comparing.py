"""Two flights of the book held against one another: what both measured, what differs first."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from statistics import median

from telemetry.app.histories import history
from telemetry.app.pipeline import review
from telemetry.app.usual import FEATURE_DIGITS, FEATURE_NAMES
from telemetry.book import BookFlight, Logbook
from telemetry.model.errors import UnknownSetting
from telemetry.results import (
    Alignment,
    Difference,
    Feature,
    FlightPair,
    History,
    PairedFlight,
    PhaseKind,
    Review,
)

# Fewer flights than this have no usual range.
_FEW = 3
# Where no other flight tells what is usual: this part of the value (heuristic).
_USUAL_PART = 0.05
# So many times the usual step from one flight to the next is more than chance: 2.7 standard
# deviations of the difference of two flights, of normal values (heuristic).
_STEPS = 4.0
_NAMES = {**FEATURE_NAMES, "used_mah": "charge used", "idle_v": "idle voltage"}


def compare_flights(
    book: Logbook,
    first: BookFlight,
    second: BookFlight,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> FlightPair:
    """Compare two flights of one aircraft.

    Parameters
    ----------
    book : Logbook
    first, second : BookFlight
    progress : callable, optional
        As for :func:`telemetry.app.histories.history`.

    Returns
    -------
    FlightPair
        Aligned at take-off where both flew, else at the stir where both have one, else at the first
        row.

    Raises
    ------
    UnknownSetting
        For one flight twice, or flights of two aircraft.
    """
    if first.id == second.id:
        raise UnknownSetting("this is one flight twice", hint="name two flights")
    if first.aircraft != second.aircraft:
        what = f"one flight is of '{first.aircraft}' and one of '{second.aircraft}'"
        raise UnknownSetting(what, hint="compare two flights of one aircraft")
    found = history(book, first.aircraft, progress=progress)
    profile = book.profile(first.aircraft)
    reviews = [review(book.read(one.id), profile) for one in (first, second)]
    alignment = next(a for a in Alignment if all(_moment(r, a) is not None for r in reviews))
    numbers = {one.id: n for n, one in enumerate(found.flights, 1)}
    paired = [
        PairedFlight(
            number=numbers[one.id],
            listed=found.flights[numbers[one.id] - 1],
            review=made,
            aligned_s=_moment(made, alignment) or 0.0,
        )
        for one, made in zip((first, second), reviews, strict=True)
    ]
    return FlightPair(
        history=found,
        first=paired[0],
        second=paired[1],
        alignment=alignment,
        differences=differences(found, first.id, second.id),
    )


def _moment(one: Review, alignment: Alignment) -> float | None:
    """When it was in a recording, s; None where it was not."""
    if alignment is Alignment.START:
        return one.readings.start_s
    if alignment is Alignment.STIR:
        return next((s.start_s for f in one.flights for s in f.stirs), None)
    phases = (p for f in one.flights for p in f.phases if p.kind is PhaseKind.FLIGHT)
    return next((p.start_s for p in phases), None)


def differences(found: History, first: str, second: str) -> tuple[Difference, ...]:
    """What two flights of a history both measured, what differs most first.

    A feature that three places or more have in a flight is held against their median first: a
    harder stir moves all of them alike and is no difference of one.

    Parameters
    ----------
    found : History
    first, second : str
        Ids of the flights.
    """
    flights = [one.id for one in found.flights]
    rows: dict[str, dict[str, dict[str, Feature]]] = {}
    for f in found.features:
        if f.feature in _NAMES and f.value is not None:
            rows.setdefault(f.feature, {}).setdefault(f.place, {})[f.flight] = f
    made = []
    for of_places in rows.values():
        alike = _alike(of_places, flights)
        made += [
            _difference(row, alike, flights, first, second)
            for row in of_places.values()
            if first in row and second in row
        ]
    return tuple(sorted(made, key=lambda d: -d.score))


def _alike(of_places: dict[str, dict[str, Feature]], flights: list[str]) -> dict[str, float]:
    """What all places of a feature share in each flight, as :func:`_apart` takes it out again."""
    usual = {p: median(_value(f) for f in row.values()) for p, row in of_places.items()}
    shared = {}
    for flight in flights:
        moved = [
            _apart(_value(row[flight]), usual[p], row[flight].unit)
            for p, row in of_places.items()
            if flight in row and (row[flight].unit == "V" or usual[p] > 0)
        ]
        if len(moved) >= _FEW:
            shared[flight] = median(moved)
    return shared


def _apart(value: float, common: float, unit: str) -> float:
    """A value without a common part: voltages add, everything else multiplies."""
    return value - common if unit == "V" else value / common


def _value(feature: Feature) -> float:
    return float(feature.value or 0.0)


def _difference(
    row: dict[str, Feature], alike: dict[str, float], flights: list[str], first: str, second: str
) -> Difference:
    a, b = row[first], row[second]
    digits = FEATURE_DIGITS.get(a.unit, 0)
    none = 0.0 if a.unit == "V" else 1.0

    def own(flight: str) -> float:
        common = alike.get(flight, none)
        return _apart(_value(row[flight]), common if a.unit == "V" or common > 0 else none, a.unit)

    others = [flight for flight in flights if flight in row and flight not in (first, second)]
    enough = len(others) >= _FEW
    usual = _USUAL_PART * (abs(_value(a)) + abs(_value(b))) / 2
    if enough:
        # From flight to flight, not over all: a fault that grew shall not hide itself.
        usual = _STEPS * median(abs(own(y) - own(x)) for x, y in pairwise(others))
    chance = sum((f.high - f.low) / 2 for f in (a, b) if f.high is not None and f.low is not None)
    values = [_value(row[flight]) for flight in others]
    return Difference(
        place=a.place,
        feature=a.feature,
        name=_NAMES[a.feature],
        unit=a.unit,
        digits=digits,
        first=_value(a),
        second=_value(b),
        usual_low=min(values) if enough else None,
        usual_high=max(values) if enough else None,
        flights=len(others),
        score=abs(own(second) - own(first)) / max(usual, chance, 10.0**-digits),
    )
