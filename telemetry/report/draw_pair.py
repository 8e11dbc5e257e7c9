"""Draws the figures of two flights held against one another: a drawer beside that of a review."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from telemetry.model.channels import PlaceKind, Quantity
from telemetry.report.document import FigureBlock
from telemetry.report.figures import style
from telemetry.report.figures.overlay import LOOKS, OverlaidTrace, draw_overlay
from telemetry.report.figures.style import AnyFigure
from telemetry.results import Alignment, FlightPair, PairedFlight, Stir

_LEFT, _RIGHT, _TOP, _BOTTOM, _BETWEEN = 52.0, 16.0, 24.0, 38.0, 10.0
_SHOWN = (Quantity.VOLTAGE, Quantity.CURRENT)
# A scale spans at least this much: the last digit of a steady reading looks steady.
_LEAST = {Quantity.VOLTAGE: 0.3, Quantity.CURRENT: 0.5}
# Shown before and after a stir, s.
_BESIDE_S = 3.0
_ZERO = {
    Alignment.TAKE_OFF: "time from take-off",
    Alignment.STIR: "time from the stir",
    Alignment.START: "time from the first row",
}


@dataclass(frozen=True, slots=True)
class PairScene:
    """Draws the figures of a comparison: a :class:`telemetry.report.draw.Drawer`."""

    pair: FlightPair

    def height(self, block: FigureBlock) -> float:
        """Height of a figure in points that suits its content."""
        return 360.0 if block.place is None else 300.0

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:
        """Draw a block into a figure; False where neither flight has what it needs."""
        both = (self.pair.first, self.pair.second)
        if block.name == "stirs":
            stirs = [stir_of(one) for one in both]
            if any(stir is None for stir in stirs):
                return False
            zeros = [0.0 if s is None else s.start_s for s in stirs]
            longest = max(0.0 if s is None else s.duration_s for s in stirs)
            span, name = (-_BESIDE_S, longest + _BESIDE_S), _ZERO[Alignment.STIR]
        else:
            zeros = [one.aligned_s for one in both]
            starts = [r.review.readings.start_s - z for r, z in zip(both, zeros, strict=True)]
            ends = [r.review.readings.end_s - z for r, z in zip(both, zeros, strict=True)]
            span, name = (min(starts), max(ends)), _ZERO[self.pair.alignment]
        return self._panels(fig, block.place, zeros, span, name)

    def _panels(
        self,
        fig: AnyFigure,
        place: str | None,
        zeros: list[float],
        span: tuple[float, float],
        name: str,
    ) -> bool:
        traces = {q: found for q in _SHOWN if (found := self._traces(q, place, zeros))}
        if not traces:
            return False
        width, height = style.size_pt(fig)
        room = height - _TOP - _BOTTOM - _BETWEEN * (len(traces) - 1)
        tall, inner = room / len(traces), width - _LEFT - _RIGHT
        for k, (quantity, found) in enumerate(traces.items()):
            ax = style.axes_at(fig, _LEFT, _TOP + k * (tall + _BETWEEN), inner, tall)
            limits = self.pair.history.aircraft.limits
            view = self._view(quantity, found[0].reading.place)
            draw_overlay(ax, found, limits, quantity, span=span, view=view)
            style.time_axis(ax, *span, most=max(3, int(inner // 66)), name=False)
            if k < len(traces) - 1:
                style.no_time_labels(ax)
            else:
                style.name_axis(ax, name, "mm:ss", "x")
        names = [flight_name(one) for one in (self.pair.first, self.pair.second)]
        style.legend_of(fig, dict(zip(names, LOOKS, strict=True)), names, left=_LEFT)
        return True

    def _traces(
        self, quantity: Quantity, place: str | None, zeros: list[float]
    ) -> list[OverlaidTrace]:
        """Readings of a place in both flights; of the supply's root where none is named."""
        where = root_of(self.pair) if place is None else place
        return [
            OverlaidTrace(which=k, name=flight_name(one), reading=reading, zero_s=zeros[k])
            for k, one in enumerate((self.pair.first, self.pair.second))
            for reading in one.review.readings.of(quantity)
            if reading.place == where and reading.size
        ]

    def _view(self, quantity: Quantity, place: str) -> tuple[float, float]:
        """One scale for all places of a sort, packs or not, in both flights."""
        kind = self.pair.history.aircraft.kind
        pack = kind(place) is PlaceKind.PACK
        # The bus carries what all nodes draw: its current has a scale of its own.
        alone = quantity is Quantity.CURRENT and place == root_of(self.pair)
        found = [
            r
            for one in (self.pair.first, self.pair.second)
            for r in one.review.readings.of(quantity)
            if r.size
            and (kind(r.place) is PlaceKind.PACK) == pack
            and (
                r.place == place
                if alone
                else quantity is Quantity.VOLTAGE or not self._total(r.place)
            )
        ]
        lows = [float(r.v.min()) for r in found]
        highs = [float(r.v.max()) for r in found]
        lows += [0.0] if quantity is Quantity.CURRENT else []
        return style.padded(lows, highs, least=_LEAST[quantity])

    def _total(self, place: str) -> bool:
        return place == root_of(self.pair)


def root_of(pair: FlightPair) -> str | None:
    """The place that shows the whole supply: the root of the path, else any with a reading."""
    aircraft = pair.history.aircraft
    seen: Mapping[str, None] = {
        r.place: None
        for one in (pair.first, pair.second)
        for q in _SHOWN
        for r in one.review.readings.of(q)
        if r.size
    }
    if aircraft.root in seen:
        return aircraft.root
    return next(iter(seen), None)


def stir_of(one: PairedFlight) -> Stir | None:
    """The first stir of a flight."""
    return next((s for f in one.review.flights for s in f.stirs), None)


def flight_name(one: PairedFlight) -> str:
    """What a figure calls one of the two: "flight 6"."""
    return f"flight {one.number}"
