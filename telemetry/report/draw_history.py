"""Draws the figures of a history's report: a drawer beside that of a review."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.document import FigureBlock
from telemetry.report.documents.across import Across, finite
from telemetry.report.documents.history_figures import (
    KINDS,
    PANELS,
    TOGETHER,
    FeatureFigure,
    difference,
    mirrored_pairs,
    season_places,
    supplied_places,
)
from telemetry.report.figures import style
from telemetry.report.figures.flights import (
    LEGEND_COLUMNS,
    FlightAxis,
    FlightSeries,
    draw_amounts,
    draw_panels,
    draw_series,
)
from telemetry.report.figures.season import FindingBar, draw_season
from telemetry.report.figures.style import AnyFigure, Look
from telemetry.report.figures.trends import draw_chart, draw_trend
from telemetry.report.words import LEVEL_WORD, code_words
from telemetry.results import NoteMark

# A scale of voltages spans at least this much, V: the last digit of a steady one looks steady.
_LEAST_V = 0.2
_MARKERS = "os^Dv<>P"


@dataclass(frozen=True, slots=True)
class HistoryScene:
    """Draws the figures of a history's report: a :class:`telemetry.report.draw.Drawer`."""

    across: Across
    looks: Mapping[str, Look] = field(default_factory=dict)

    @classmethod
    def of(cls, across: Across) -> HistoryScene:
        """Looks for every place."""
        return cls(across, style.looks({p for p, _ in across.rows}, across.history.aircraft))

    def height(self, block: FigureBlock) -> float:
        """Height of a figure in points that suits its content."""
        if block.name == "season":
            places = [f.place for f in self.across.history.open]
            most = max((places.count(p) for p in places), default=1)
            return 70.0 + max(28.0, 24.0 * most) * len(season_places(self.across))
        return {"trend": 330.0, "falls": 230.0, "lows": 420.0, "sides": 340.0}.get(
            block.name, 260.0
        )

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:
        """Draw a block into a figure; False where the history does not hold what it needs."""
        width, height = style.size_pt(fig)
        if block.name == "season":
            self._season(fig, width, height)
            return True
        if block.name == "trend":
            return self._trend(fig, block.item, width, height)
        if block.name in ("lows", "sides"):
            return self._panels(fig, block.name, width, height)
        if block.place is None:
            return False
        kind = KINDS.get(block.name)
        view: tuple[float, float] | None
        if kind is None:
            series = self._together(block.name)
            feature, name, unit, amounts = TOGETHER[block.name]
            ends = [v for p in self.across.packs for v in self._reach(p, feature)]
            view = style.padded(ends, ends, least=0.3)
        else:
            series = self._features(kind, block.place)
            name, unit, amounts = kind.name, kind.unit, kind.amounts
            view = self._view(kind, block.place)
        if not series:
            return False
        ax = style.axes_at(fig, 52, 40, width - 68, height - 92)
        flights = self._axis(block.place)
        if amounts:
            draw_amounts(ax, series, flights, name=name, unit=unit)
        else:
            draw_series(ax, series, flights, name=name, unit=unit, view=view)
        return True

    def _panels(self, fig: AnyFigure, name: str, width: float, height: float) -> bool:
        """All places at once: the stir above and the flight below, on one scale."""
        make = self._lows if name == "lows" else self._sides
        panels = {part: make(feature) for part, feature in PANELS.items()}
        shown = {part: series for part, series in panels.items() if series}
        if not shown:
            return False
        values = [v for x in shown.values() for s in x for v in s.values if v is not None]
        values += [0.0] if name == "sides" else []
        view = style.padded(values, values, least=_LEAST_V)
        rows = -(-max(len(series) for series in shown.values()) // LEGEND_COLUMNS)
        what = "voltage" if name == "lows" else "difference"
        top, below, between = 8.0 + 15.0 * rows, 52.0, 12.0
        tall = (height - top - below - between * (len(shown) - 1)) / len(shown)
        axes = []
        for k in range(len(shown)):
            axes.append(style.axes_at(fig, 52, top + k * (tall + between), width - 68, tall))
        draw_panels(axes, shown, self._axis(None), name=what, unit="V", view=view)
        return True

    def _lows(self, feature: str) -> list[FlightSeries]:
        places = supplied_places(self.across)
        return [
            self._series(p, feature, plain(p), self.looks[p], _MARKERS[k % len(_MARKERS)])
            for k, p in enumerate(places)
            if self.across.known(p, feature)
        ]

    def _sides(self, feature: str) -> list[FlightSeries]:
        out = []
        for k, (left, right) in enumerate(mirrored_pairs(self.across)):
            values = difference(self.across, left, right, feature)
            if any(v is not None for v in values):
                none = (None,) * len(values)
                name = f"{plain(left)} - {plain(right)}"
                look = self.looks[left]
                out.append(
                    FlightSeries(
                        name=name,
                        values=values,
                        low=none,
                        high=none,
                        look=look,
                        marker=_MARKERS[k % len(_MARKERS)],
                    )
                )
        return out

    def _axis(self, place: str | None) -> FlightAxis:
        """The flights, with the notes that concern a place."""
        history = self.across.history
        pack = place is not None and history.aircraft.kind(place) is PlaceKind.PACK
        notes = tuple(
            n
            for n in history.notes
            if (n.restarts or (pack and n.kind == "charged"))
            and (place is None or n.concerns(place, history.aircraft))
        )
        return FlightAxis(days=self.across.days, notes=notes)

    def _trend(self, fig: AnyFigure, item: int, width: float, height: float) -> bool:
        trend = self.across.history.trends[item]
        if not trend.flights:
            return False
        flights = self._axis(trend.place)
        look = self.looks.get(trend.place, Look(style.BLUE, ()))
        room = width - 52 - 52
        upper = style.axes_at(fig, 52, 18, room, height - 158)
        draw_trend(upper, trend, flights, look, self._trend_view(trend.code))
        style.no_time_labels(upper)
        lower = style.axes_at(fig, 52, height - 128, room, 72)
        draw_chart(lower, trend, flights)
        return True

    def _trend_view(self, code: str) -> tuple[float, float]:
        """The same view for all places of one kind: what is normal shows beside what is not."""
        trends = [t for t in self.across.history.trends if t.code == code]
        values = [v for t in trends for x in t.value if (v := finite(x)) is not None]
        values += [t.watch for t in trends if t.watch is not None] + [0.0]
        # Wide intervals may leave the frame: the values are what is to be seen.
        widest = 0.4 * (max(values) - min(values))
        ends = [
            (value, min(reach, widest))
            for t in trends
            for v, r in zip(t.value, t.reach, strict=True)
            if (value := finite(v)) is not None and (reach := finite(r)) is not None
        ]
        lows = values + [v - r for v, r in ends]
        highs = values + [v + r for v, r in ends]
        return style.padded(lows, highs, share=0.05)

    def _features(self, kind: FeatureFigure, place: str) -> list[FlightSeries]:
        return [
            self._series(place, feature, label, look, marker)
            for feature, label, marker, look in kind.lines
            if self.across.known(place, feature)
        ]

    def _together(self, name: str) -> list[FlightSeries]:
        feature = TOGETHER[name][0]
        return [
            self._series(p, feature, plain(p), Look(colour, ()), marker)
            for p, colour, marker in zip(
                [p for p in self.across.packs if self.across.known(p, feature)],
                (style.BLUE, style.VERMILLION, style.GREEN, style.PURPLE),
                "os^D",
                strict=False,
            )
        ]

    def _series(self, place: str, feature: str, name: str, look: Look, marker: str) -> FlightSeries:
        row = self.across.row(place, feature)
        return FlightSeries(
            name=name,
            values=tuple(None if f is None else finite(f.value) for f in row),
            low=tuple(None if f is None else finite(f.low) for f in row),
            high=tuple(None if f is None else finite(f.high) for f in row),
            look=look,
            marker=marker,
        )

    def _view(self, kind: FeatureFigure, place: str) -> tuple[float, float] | None:
        """One view for all places of a sort, so that they can be compared by eye."""
        if kind.amounts:
            return None
        features = [line[0] for line in kind.lines]
        craft = self.across.history.aircraft
        sort = _sort_of(place, craft)
        ends = [
            v
            for p, f in self.across.rows
            if f in features and _sort_of(p, craft) == sort
            for v in self._reach(p, f)
        ]
        least = {"V": 0.2, "A": 0.5, "mOhm": 10.0}.get(kind.unit, 0.05)
        return style.padded(ends, ends, least=least) if ends else None

    def _reach(self, place: str, feature: str) -> Iterable[float]:
        for f in self.across.row(place, feature):
            if f is not None:
                yield from (v for x in (f.value, f.low, f.high) if (v := finite(x)) is not None)

    def _measured(self, place: str) -> list[int]:
        """Numbers of the flights in which anything was measured at a place."""
        rows = [row for (p, _), row in self.across.rows.items() if p == place]
        return [n for n, found in enumerate(zip(*rows, strict=True), 1) if any(found)]

    def _season(self, fig: AnyFigure, width: float, height: float) -> None:
        across = self.across
        places = season_places(across)
        rows = {place: k for k, place in enumerate(places)}
        bars = [
            FindingBar(
                row=rows[f.place],
                since=since - 1,
                level=f.level,
                text=f"{LEVEL_WORD[f.level]}: {code_words(f.code)}",
            )
            for f in across.history.open
            if f.place in rows and (since := across.since(f)) is not None
        ]
        left = min(120.0, 24.0 + style.PT_PER_LETTER * max(len(p) for p in places))
        ax = style.axes_at(fig, left, 16, width - left - 16, height - 66)
        marks: list[tuple[NoteMark, list[int]]] = [
            (n, [k for p, k in rows.items() if n.concerns(p, across.history.aircraft)])
            for n in across.history.notes
            if n.restarts
        ]
        dots = [self._measured(place) for place in places]
        draw_season(ax, places, bars, FlightAxis(days=across.days), marks, dots)


def _sort_of(place: str, aircraft: Aircraft) -> str:
    kind = aircraft.kind(place)
    if kind is PlaceKind.PACK:
        return "pack"
    return "bus" if kind in (PlaceKind.BUS, PlaceKind.REGULATOR) else "node"
