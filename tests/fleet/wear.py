"""How faults come: the level of a fault flight by flight, as a part of its full size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

SHAPES = ("step", "line", "exponential", "saturating", "intermittent", "warm", "cold")


@dataclass(frozen=True, kw_only=True)
class Wear:
    """A fault's course over a season, flights counted from 1."""

    shape: str
    onset: int
    gone_at: int | None
    levels: tuple[float, ...]

    def level(self, flight: int) -> float:
        return self.levels[flight - 1]


def random_wear(
    rng: Generator, flights: int, air_c: Sequence[float], shapes: Sequence[str] = SHAPES
) -> Wear:
    """A course over so many flights at these temperatures of the air [degC].

    The fault begins after a good fifth and before three fifths of the season; one in five is gone
    again, the part exchanged without a word to the logbook, where enough flights are left.
    """
    shape = str(rng.choice(list(shapes)))
    onset = int(rng.integers(max(5, flights // 4), max(7, 3 * flights // 5)))
    n = np.arange(flights - onset + 1)
    span = max(2.0, len(n) * float(rng.uniform(0.4, 0.9)))
    if shape == "step":
        level = np.ones(len(n))
    elif shape == "line":
        level = np.minimum((n + 1) / span, 1.3)
    elif shape == "exponential":
        level = np.minimum(np.expm1(2.5 * (n + 1) / span) / np.expm1(2.5), 1.5)
    elif shape == "saturating":
        level = 1.0 - np.exp(-3.0 * (n + 1) / span)
    elif shape == "intermittent":
        level = np.where(rng.random(len(n)) < 0.6, rng.uniform(0.6, 1.2, len(n)), 0.0)
        level[0] = 1.0
    else:  # comes with warmth or cold, against the median of the season's days
        sign = 1.0 if shape == "warm" else -1.0
        apart = sign * (np.asarray(air_c) - float(np.median(air_c)))[onset - 1 :]
        level = np.clip(0.7 + apart / 12.0, 0.0, 1.5)
        level[0] = max(level[0], 0.3)
    gone_at = None
    if len(n) > 10 and rng.random() < 0.2:
        gone_at = onset + int(rng.integers(5, len(n) - 3))
        level = np.where(n + onset >= gone_at, 0.0, level)
    return Wear(
        shape=shape,
        onset=onset,
        gone_at=gone_at,
        levels=(*[0.0] * (onset - 1), *(float(x) for x in level)),
    )
