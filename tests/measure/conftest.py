"""Readings made by hand, without a log around them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading, Readings


def reading(
    place: str,
    v: list[float] | np.ndarray,
    t: list[float] | np.ndarray | None = None,
    *,
    quantity: Quantity = Quantity.VOLTAGE,
    resolution: float | None = None,
    update_s: float | None = 1.0,
    hold: str = "",
    unit: str = "",
) -> Reading:
    """One channel, a reading a second unless said."""
    values = np.array(v, dtype=float)
    key = "/".join([place, quantity, *([hold] if hold else [])])
    return Reading(
        channel=Channel(
            key=key, column=place, quantity=quantity, place=place, hold=hold, unit=unit
        ),
        t=np.arange(float(values.size)) if t is None else np.array(t, dtype=float),
        v=values,
        update_s=update_s,
        resolution=resolution,
    )


def readings(*channels: Reading, row_s: float = 1.0, end_s: float | None = None) -> Readings:
    """Some channels, nothing set aside."""
    last = max((float(c.t[-1]) for c in channels if c.size), default=0.0)
    return Readings(
        channels=channels, row_s=row_s, start_s=0.0, end_s=last + row_s if end_s is None else end_s,
        gaps=(), dropouts=(), spurious=(), off=(),
    )  # fmt: skip


@pytest.fixture(scope="session")
def make_readings() -> Callable[..., Readings]:
    """Makes readings of ``{(place, quantity[, hold]): (t, v)}``.

    Keywords ``update_s`` and ``resolution``: of all channels, or a mapping by place.
    """

    def make(
        series: Mapping[tuple[Any, ...], tuple[Any, Any]],
        *,
        update_s: Any = 1.0,
        resolution: Any = None,
        row_s: float = 1.0,
        end_s: float | None = None,
        unit: str = "",
    ) -> Readings:
        def own(of: Any, place: str) -> Any:
            return of.get(place) if isinstance(of, Mapping) else of

        channels = [
            reading(
                place, v, t, quantity=quantity, hold="".join(hold),
                resolution=own(resolution, place), update_s=own(update_s, place), unit=unit,
            )
            for (place, quantity, *hold), (t, v) in series.items()
        ]  # fmt: skip
        return readings(*channels, row_s=row_s, end_s=end_s)

    return make
