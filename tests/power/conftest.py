"""Readings made by hand, without a log around them."""

from __future__ import annotations

import numpy as np

from telemetry.channels import Channel, Quantity
from telemetry.readings import Reading, Readings


def reading(
    place: str,
    v: list[float] | np.ndarray,
    t: list[float] | np.ndarray | None = None,
    *,
    quantity: Quantity = Quantity.VOLTAGE,
    resolution: float | None = None,
) -> Reading:
    """One channel, a reading a second unless said."""
    values = np.array(v, dtype=float)
    return Reading(
        channel=Channel(key=f"{place}/{quantity}", column=place, quantity=quantity, place=place),
        t=np.arange(float(values.size)) if t is None else np.array(t, dtype=float),
        v=values,
        update_s=1.0,
        resolution=resolution,
    )


def readings(*channels: Reading) -> Readings:
    """Some channels, nothing set aside."""
    end = max((float(c.t[-1]) for c in channels if c.size), default=0.0) + 1.0
    return Readings(
        channels=channels, row_s=1.0, start_s=0.0, end_s=end, gaps=(), dropouts=(), spurious=(),
        off=(),
    )  # fmt: skip
