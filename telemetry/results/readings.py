"""The readings of one channel, and of a whole log: what every number of a review rests on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from telemetry.aircraft import Limits
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import FloatArray
from telemetry.results.recording import Dropout, Span, Spurious

#: A place spends this part of its readings at least under more load than at rest (heuristic).
_REST_QUANTILE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Update samples of one channel: instants t [s], values v, usual interval and resolution."""

    channel: Channel
    t: FloatArray
    v: FloatArray
    update_s: float | None
    resolution: float | None

    @property
    def place(self) -> str:
        """Place, or an empty name."""
        return self.channel.place or ""

    def hold_s(self, limits: Limits) -> float:
        """How long a reading counts when no next one comes: beyond lies a gap."""
        return max(limits.gap_intervals * (self.update_s or 0.0), limits.gap_s)

    def within(self, start_s: float, end_s: float) -> Reading:
        """The part in start_s <= t < end_s."""
        part = slice(*(int(i) for i in np.searchsorted(self.t, [start_s, end_s])))
        return replace(self, t=self.t[part], v=self.v[part])

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(self.t.size)

    @property
    def rest_v(self) -> float | None:
        """What a voltage rests at, V: that of the tenth of the readings with the least load."""
        return float(np.quantile(self.v, _REST_QUANTILE)) if self.size else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """All readings of a log, and what was set aside to get them."""

    channels: tuple[Reading, ...]
    row_s: float
    start_s: float
    end_s: float
    gaps: tuple[Span, ...]
    dropouts: tuple[Dropout, ...]
    spurious: tuple[Spurious, ...]
    off: tuple[Span, ...]

    def get(self, quantity: Quantity, place: str, *, hold: str = "") -> Reading | None:
        """The readings of a quantity at a place; the first copy where there are several."""
        for r in self.channels:
            c = r.channel
            if c.quantity is quantity and c.place == place and c.hold == hold:
                return r
        return None

    def of(self, quantity: Quantity) -> tuple[Reading, ...]:
        """Readings of a quantity, one per place."""
        seen: dict[str, Reading] = {}
        for r in self.channels:
            c = r.channel
            if c.quantity is not quantity or c.hold or c.place is None:
                continue
            seen.setdefault(c.place, r)
        return tuple(seen.values())

    def within(self, start_s: float, end_s: float) -> Readings:
        """The part in start_s <= t < end_s."""
        return replace(
            self,
            channels=tuple(r.within(start_s, end_s) for r in self.channels),
            start_s=start_s,
            end_s=end_s,
        )
