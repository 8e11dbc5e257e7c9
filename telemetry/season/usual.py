"""One flight beside the earlier ones: what each place drew, how low it went, what is usual."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.results import Review
from telemetry.season.features import measure_flight
from telemetry.season.measures import Measures

# Features worth a line beside a review, and how people call them.
_SHOWN: dict[str, str] = {
    "rest_a": "rest current",
    "stir_mean_a": "stir mean",
    "stir_p95_a": "stir 95th percentile",
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
# The middle four fifths of the earlier flights.
_LOW, _HIGH = 0.1, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One feature of this flight and its usual range.

    Attributes
    ----------
    place, feature, unit, name : str
        ``name`` is the feature in words.
    value : float
    usual_low, usual_high : float
        10th and 90th percentile of the earlier flights.
    flights : int
        How many earlier flights had it.
    outside : bool
        Outside everything that the earlier flights showed.
    """

    place: str
    feature: str
    name: str
    unit: str
    value: float
    usual_low: float
    usual_high: float
    flights: int
    outside: bool

    @property
    def sentence(self) -> str:
        """In words: left wing stir mean 2.9 A, usual 2.1 to 2.4 A over 14 flights."""
        digits = {"V": 2, "A": 2, "mOhm": 0, "mAh/min": 0, "": 2}.get(self.unit, 1)
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"{self.place} {self.name} {self.value:.{digits}f}{unit}, usual "
            f"{self.usual_low:.{digits}f} to {self.usual_high:.{digits}f}{unit} "
            f"over {self.flights} flights"
        )


def compare(
    review: Review, earlier: Sequence[Measures], *, number: int = 1
) -> tuple[Comparison, ...]:
    """Compare one flight of a review with earlier flights of the same aircraft.

    Parameters
    ----------
    review : Review
    earlier : sequence of Measures
        Of the earlier flights; the flight itself must not be among them.
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
        if m.feature not in _SHOWN or m.value is None:
            continue
        past = [v for e in earlier if (v := e.value(m.place, m.feature)) is not None]
        if len(past) < _FEW:
            continue
        low, high = (float(q) for q in np.quantile(past, [_LOW, _HIGH]))
        rows.append(
            Comparison(
                place=m.place,
                feature=m.feature,
                name=_SHOWN[m.feature],
                unit=m.unit,
                value=float(m.value),
                usual_low=low,
                usual_high=high,
                flights=len(past),
                outside=not min(past) <= m.value <= max(past),
            )
        )
    return tuple(sorted(rows, key=lambda c: not c.outside))
