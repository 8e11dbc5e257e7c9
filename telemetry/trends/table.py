"""The measures of all flights by column: an array per place and feature, NaN where not measured."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import KnownScores

FloatArray = NDArray[np.float64]

# A 95 % interval is this many standard errors wide.
_WIDE = 3.92


class FeatureTable:
    """Measures of flights, in time order, read by column.

    Parameters
    ----------
    flights : sequence of Measures

    Attributes
    ----------
    scores : KnownScores
        Of the parts that are made of it, for its parts as well.
    """

    def __init__(self, flights: Sequence[Measures]) -> None:
        self.flights = flights
        self.size = len(flights)
        self._columns: dict[tuple[str, str], tuple[FloatArray, FloatArray]] = {}
        for k, m in enumerate(flights):
            for f in m.features:
                if f.value is None:
                    continue
                key = (f.place, f.feature)
                if key not in self._columns:
                    self._columns[key] = (np.full(self.size, np.nan), np.zeros(self.size))
                value, se = self._columns[key]
                value[k] = f.value
                if f.low is not None and f.high is not None:
                    se[k] = (f.high - f.low) / _WIDE
        self._stacks: dict[tuple[str, str, str], FloatArray | None] = {}
        self._rows: dict[Hashable, tuple[FloatArray, ...] | None] = {}
        self.scores = KnownScores()
        self._whole: FeatureTable | None = None

    def until(self, end: int) -> FeatureTable:
        """The table of the first ``end`` flights; what was worked out here is not done again."""
        part = FeatureTable.__new__(FeatureTable)
        part.flights, part.size = self.flights[:end], min(end, self.size)
        columns = ((key, (v[:end], se[:end])) for key, (v, se) in self._columns.items())
        part._columns = {key: both for key, both in columns if not np.isnan(both[0]).all()}
        part._stacks, part._rows, part._whole = {}, self._rows, self._whole or self
        part.scores = self.scores
        return part

    def rows(
        self, what: Hashable, work: Callable[[FeatureTable], tuple[FloatArray, ...] | None]
    ) -> tuple[FloatArray, ...] | None:
        """Arrays with a value a flight, each by itself, worked out once for a table and its parts.

        ``work`` gets the table of all flights.
        """
        if what not in self._rows:
            self._rows[what] = work(self._whole or self)
        found = self._rows[what]
        return None if found is None else tuple(x[: self.size] for x in found)

    def column(self, place: str, feature: str) -> tuple[FloatArray, FloatArray]:
        """Values and standard errors of a feature, shape (flights,); NaN where not measured."""
        found = self._columns.get((place, feature))
        return (np.full(self.size, np.nan), np.zeros(self.size)) if found is None else found

    def has(self, place: str, feature: str) -> bool:
        """Whether any flight has it."""
        return (place, feature) in self._columns

    @property
    def measured(self) -> tuple[tuple[str, str], ...]:
        """All pairs of place and feature that any flight has."""
        return tuple(self._columns)

    @cached_property
    def current_places(self) -> tuple[str, ...]:
        """Places with currents in the stretches of stirs or flights."""
        return self._places("amps")

    @cached_property
    def voltage_places(self) -> tuple[str, ...]:
        """Places with voltages in the stretches of stirs or flights."""
        return self._places("volts")

    def _places(self, what: str) -> tuple[str, ...]:
        found = self._whole or self
        return tuple(p for p, first in found._first_seen[what].items() if first < self.size)

    @cached_property
    def _first_seen(self) -> dict[str, dict[str, int]]:
        """For "amps" and "volts" each place with the first flight that has any, in their order."""
        seen: dict[str, dict[str, int]] = {"amps": {}, "volts": {}}
        for k, m in enumerate(self.flights):
            for what, blocks in product(seen, (m.stir, m.air)):
                for place in () if blocks is None else getattr(blocks, what):
                    seen[what].setdefault(place, k)
        return seen

    def steps_a(self, place: str) -> FloatArray:
        """Resolution of a place's current, flight by flight, A; 0 where it is not known."""
        found = self.rows(
            ("steps", place),
            lambda whole: (np.array([m.steps_a.get(place, 0.0) for m in whole.flights]),),
        )
        assert found is not None
        return found[0]

    def stretches(self, part: str, what: str, place: str) -> FloatArray | None:
        """Means over the stretches of all flights, shape (flights, stretches), NaN where none.

        Parameters
        ----------
        part : str
            "stir" or "air".
        what : str
            "amps" or "volts".
        place : str

        Returns
        -------
        ndarray or None
            None where no flight has any. Flights with fewer stretches are filled up with NaN, all
            places of one part alike, so that rows of two places belong together.
        """
        key = (part, what, place)
        if key not in self._stacks:
            self._stacks[key] = self._stack(part, what, place)
        return self._stacks[key]

    def row_of_stretches(self, part: str, what: str, place: str) -> FloatArray:
        """As :meth:`stretches`, flight behind flight, shape (n,); NaN where there is none."""
        found = self.stretches(part, what, place)
        return np.full(self.size * self._widths[part], np.nan) if found is None else found.ravel()

    @cached_property
    def _widths(self) -> dict[str, int]:
        return {
            part: max(
                (
                    x.size
                    for m in self.flights
                    if (b := _blocks(m, part)) is not None
                    for x in (*b.amps.values(), *b.volts.values())
                ),
                default=0,
            )
            for part in ("stir", "air")
        }

    def _stack(self, part: str, what: str, place: str) -> FloatArray | None:
        if self._whole is not None:
            whole = self._whole.stretches(part, what, place)
            out = None if whole is None else whole[: self.size]
            return None if out is None or np.isnan(out).all() else out
        out = np.full((self.size, self._widths[part]), np.nan)
        for k, m in enumerate(self.flights):
            blocks = _blocks(m, part)
            values = None if blocks is None else getattr(blocks, what).get(place)
            if values is not None:
                out[k, : values.size] = values
        return None if np.isnan(out).all() else out


def _blocks(m: Measures, part: str) -> Blocks | None:
    return m.stir if part == "stir" else m.air
