"""The resistances between the sources and each place, with the currents through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.path.giving_way import most_by_load
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.baseline import sliding_reference
from telemetry.readings import Readings, total_current
from telemetry.results import Event, Resistance

# Headroom over the highest current of the log for a peak between two readings (heuristic).
_MISSED = 1.2
# An apparent resistance is the true one times the place's share of the changes of the total: that
# can be a fifth (heuristic: a panel of a machine with four nodes and servos on the main unit).
_APPARENT = 5.0
# The slow mean: its time constant, and the time over which its first value is taken (heuristic).
_TAU_S, _START_S = 60.0, 5.0


@dataclass(frozen=True, slots=True)
class PathSeries:
    """Readings at instants t [s] with their slow mean, and the usual interval [s]."""

    t: FloatArray
    v: FloatArray
    slow: FloatArray
    update_s: float

    def usual(self, at_s: float) -> float:
        """The slow mean just before an instant."""
        i = int(np.searchsorted(self.t, at_s)) - 1
        return float(self.slow[max(i, 0)])

    def about(self, start_s: float, end_s: float) -> FloatArray:
        """The readings of a stretch, and one interval to each side."""
        lo, hi = np.searchsorted(self.t, [start_s - self.update_s, end_s + self.update_s])
        return self.v[lo:hi]

    def high(self, part: float) -> float:
        """What this part of the readings does not exceed."""
        return float(np.quantile(self.v, part))

    def inside(self, start_s: float, end_s: float) -> int:
        """Number of readings within a stretch, its end left out."""
        lo, hi = np.searchsorted(self.t, [start_s, end_s], side="left")
        return int(hi - lo)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadStep:
    """One resistance of the path, of a place and a kind, with the current through it."""

    ohm: float
    high_ohm: float
    current: PathSeries
    place: str
    kind: str
    how: str
    left_out: tuple[tuple[float, float], ...]


class Loads:
    """Slow means of voltages and currents, each worked out once."""

    def __init__(
        self, readings: Readings, aircraft: Aircraft, resistances: Sequence[Resistance]
    ) -> None:
        self.readings = readings
        self.aircraft = aircraft
        self.resistances = [
            r for r in resistances if r.mohm is not None or r.expected_mohm is not None
        ]
        self.volts = {
            r.place: _series(r.t, r.v, r.update_s or readings.row_s)
            for r in readings.of(Quantity.VOLTAGE)
            if r.size
        }
        self.amps = {
            r.place: _series(r.t, r.v, r.update_s or readings.row_s)
            for r in readings.of(Quantity.CURRENT)
            if r.size
        }
        self.minimum_held = {
            r.place
            for r in readings.of(Quantity.VOLTAGE)
            if readings.get(Quantity.VOLTAGE, r.place, hold="min") is not None
        }
        total = total_current(readings, aircraft)
        self.total = (
            None if total is None or not total.t.size else _series(total.t, total.v, total.update_s)
        )

    @cached_property
    def most_by_load(self) -> float | None:
        """Deepest fall that load can make of a bus that something holds, V."""
        volts = self.volts.get(self.aircraft.bus or "")
        if volts is None or self.total is None:
            return None
        return most_by_load((volts.t, volts.v), (self.total.t, self.total.v))

    @cached_property
    def shared_a(self) -> float:
        """The whole current above which its shares tell something of the packs, A.

        At light load one pack may give all of it (ideal diodes, regulators of unlike set points).
        """
        return 0.0 if self.total is None else float(np.quantile(self.total.v, 0.95)) / 3.0

    def feeds(self, place: str) -> list[PathSeries]:
        """Voltages of what feeds a place, as far as they are logged."""
        return [self.volts[n] for n in self.aircraft.feeders(place) if n in self.volts]

    def path(self, place: str) -> list[LoadStep]:
        """Resistances between the sources and a place, with their currents; empty if unknown."""
        own = self.amps.get(place)
        source = self._find(place, "source")
        if source is not None:
            current = own if own is not None else self.total
            return [] if current is None else [_step(source, current)]
        lead = self._find(place, "branch") if own is not None else self._find(place, "apparent")
        current = own if own is not None else self.total
        if lead is None or current is None:
            return []
        parent = self.aircraft.parent(place)
        return [_step(lead, current), *(self.path(parent) if parent is not None else [])]

    def _find(self, place: str, kind: str) -> Resistance | None:
        return next((r for r in self.resistances if r.place == place and r.kind == kind), None)


def _series(t: FloatArray, v: FloatArray, update_s: float) -> PathSeries:
    start = float(np.median(v[: int(np.searchsorted(t, t[0] + _START_S))]))
    return PathSeries(t, v, sliding_reference(t, v, _TAU_S, start), update_s)


def _step(r: Resistance, current: PathSeries) -> LoadStep:
    if r.mohm is not None:
        known, top = r.mohm, r.high_mohm
        how = "fitted outside such moments" if r.left_out else "fitted"
    else:
        known, top, how = r.expected_mohm or 0.0, r.expected_high_mohm, "wire table"
    high = known if top is None else top
    if r.kind == "apparent":
        high *= _APPARENT
    return LoadStep(
        ohm=known / 1000.0,
        high_ohm=high / 1000.0,
        current=current,
        place=r.place,
        kind=r.kind,
        how=how,
        left_out=r.left_out,
    )


def rise(step: LoadStep, e: Event, *, missed: bool) -> float:
    """Rise of the current over its usual level about the event, A."""
    usual = step.current.usual(e.start_s)
    near = step.current.about(e.start_s, e.end_s)
    top = float(near.max()) if near.size else usual
    if missed:
        top = max(top, _MISSED * float(step.current.v.max()))
    return max(0.0, top - usual)
