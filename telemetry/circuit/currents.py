"""Usual and worst current through each place, from measurements and the worst cases."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import TOTAL, Measured
from telemetry.results import Margin


class Currents:
    """Usual and worst current through each place."""

    def __init__(
        self,
        aircraft: Aircraft,
        measured: Measured,
        found: Sequence[Margin],
    ) -> None:
        self._aircraft = aircraft
        self._share = measured.share
        self._root = aircraft.root or ""
        self._usual = {self._own_name(p): amps for p, amps in measured.usual_a.items()}
        # The observed peak is known even where a case built on it has no voltage.
        self._cases: dict[str, dict[str, float]] = {
            self._own_name(place): {"observed": amps.value}
            for place, amps in measured.peak_a.items()
        }
        for m in found:
            cases = self._cases.setdefault(m.place, {})
            cases |= {c.case: c.current_a for c in m.cases if c.current_a is not None}

    def _own_name(self, place: str) -> str:
        return self._root if place == TOTAL else place

    def usual(self, place: str) -> float | None:
        """Highest mean over a minute, A; of a design that of all servos moving."""
        if place in self._usual:
            return self._usual[place]
        part, whole = self._part_of_root(place), self._usual.get(self._root)
        return None if part is None or whole is None else part * whole

    def worst(self, place: str) -> tuple[float | None, str]:
        """Highest current of the cases and its name; with a pack lost another carries it alone."""
        cases = dict(self._cases.get(place, {}))
        if self._feeds_root(place):
            part = self._part_of_root(place)
            for case, amps in self._cases.get(self._root, {}).items():
                carried = 1.0 if case == "pack-lost" else part
                if carried is not None:
                    cases.setdefault(case, carried * amps)
        if not cases:
            return None, ""
        case = max(cases, key=lambda c: cases[c])
        return cases[case], case

    def _feeds_root(self, place: str) -> bool:
        return place != self._root and bool(self._aircraft.feed_path(self._root, place))

    def _part_of_root(self, place: str) -> float | None:
        """Share of the total that flows through a pack or supply; None where not known."""
        if not self._feeds_root(place):
            return None
        packs = [p.name for p in self._aircraft.packs]
        through = [p for p in packs if self._aircraft.feed_path(place, p)]
        if len(through) == len(packs):
            return 1.0
        shares = [self._share[p].value for p in through if p in self._share]
        return sum(shares) if len(shares) == len(through) else None
