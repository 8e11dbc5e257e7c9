"""Readings made by hand, straight from instants and values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from telemetry.channels import Channel, Quantity
from telemetry.readings import Reading, Readings

MakeReadings = Callable[..., Readings]


@pytest.fixture(scope="session")
def make_readings() -> MakeReadings:
    """Makes readings of ``{(place, quantity[, hold]): (t, v)}``; each its own update samples.

    Keywords ``update_s`` and ``resolution``: of all channels, or a mapping by place.
    """

    def make(
        series: Mapping[tuple[Any, ...], tuple[Any, Any]],
        *,
        update_s: Any = 1.0,
        resolution: Any = None,
        row_s: float = 0.1,
        end_s: float | None = None,
        unit: str = "",
    ) -> Readings:
        def own(of: Any, place: str) -> Any:
            return of.get(place) if isinstance(of, Mapping) else of

        channels = []
        for (place, quantity, *hold), (t, v) in series.items():
            assert isinstance(quantity, Quantity)
            key = "/".join([place, quantity, *hold])
            channels.append(
                Reading(
                    channel=Channel(
                        key=key, column=key, quantity=quantity, place=place, unit=unit,
                        hold=hold[0] if hold else "",
                    ),
                    t=np.asarray(t, dtype=float),
                    v=np.asarray(v, dtype=float),
                    update_s=own(update_s, place),
                    resolution=own(resolution, place),
                )
            )  # fmt: skip
        last = max((float(r.t[-1]) for r in channels if r.size), default=0.0)
        return Readings(
            channels=tuple(channels),
            row_s=row_s,
            start_s=0.0,
            end_s=last + row_s if end_s is None else end_s,
            gaps=(),
            dropouts=(),
            spurious=(),
            off=(),
        )

    return make
