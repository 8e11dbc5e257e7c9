"""The lowest voltage and the highest current of a place: one answer for all who ask."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.results import Span
from telemetry.results.readings import Reading, Readings


class Extreme(NamedTuple):
    """A value, when it was read (s), and whether only a unit's own hold shows it."""

    value: float
    time_s: float
    held: bool


def lowest_voltage(readings: Readings, place: str, spans: Iterable[Span]) -> Extreme | None:
    """The lowest voltage of a place within the spans, V, by its readings or its own minimum."""
    return _of_place(readings, Quantity.VOLTAGE, "min", place, spans)


def highest_current(readings: Readings, place: str, spans: Iterable[Span]) -> Extreme | None:
    """The highest current of a place within the spans, A, by its readings or its own maximum."""
    return _of_place(readings, Quantity.CURRENT, "max", place, spans)


def _of_place(
    readings: Readings, quantity: Quantity, hold: str, place: str, spans: Iterable[Span]
) -> Extreme | None:
    r = readings.get(quantity, place)
    if r is None:
        return None
    held = readings.get(quantity, place, hold=hold)
    sign = 1.0 if hold == "min" else -1.0
    found = lowest_of(r.t, sign * r.v, held, spans, sign)
    return None if found is None else found._replace(value=sign * found.value)


def lowest_of(
    t: FloatArray, v: FloatArray, hold: Reading | None, spans: Iterable[Span], sign: float = 1.0
) -> Extreme | None:
    """The lowest value within the spans; a unit's own hold counts where it moved within them.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
    hold : Reading or None
    spans : iterable of Span
    sign : float
        1, or -1 where ``v`` is turned round: then ``hold`` is as well.
    """
    found = []
    for span in spans:
        a, b = np.searchsorted(t, [span.start_s, span.end_s])
        if b > a:
            k = a + int(np.argmin(v[a:b]))
            found.append(Extreme(float(v[k]), float(t[k]), held=False))
        if hold is not None:
            part = hold.within(span.start_s, span.end_s)
            values = sign * part.v
            if part.size and values.min() < values[0]:
                k = int(np.argmin(values))
                found.append(Extreme(float(values[k]), float(part.t[k]), held=True))
    return min(found, key=lambda x: (x.value, x.held), default=None)
