"""Which figures the report of a history shows, and how they are drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.document import FigureBlock
from telemetry.report.documents.across import STEP, Across, finite
from telemetry.report.figures import style
from telemetry.report.figures.flights import FlightAxis, FlightSeries, draw_amounts, draw_series
from telemetry.report.figures.season import FindingBar, draw_season
from telemetry.report.figures.style import AnyFigure, Look
from telemetry.report.figures.trends import draw_chart, draw_trend
from telemetry.report.words import LEVEL_WORD, code_words, number
from telemetry.results import Finding, NoteMark

_DASHED, _DOTTED = (5.0, 1.6), (1.4, 1.4)
# Places in the figure of the season, at the most.
_MOST_PLACES = 14
# Values told in words beside a figure, at the most: the newest.
_MOST_VALUES = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureFigure:
    """One kind of figure of features: which ones, how they are named and marked."""

    name: str
    unit: str
    lines: tuple[tuple[str, str, str, Look], ...]
    amounts: bool = False


KINDS: dict[str, FeatureFigure] = {
    "volts": FeatureFigure(
        name="voltage",
        unit="V",
        lines=(
            ("idle_v", "idle", "o", Look(style.BLACK, ())),
            ("lowest_stir_v", "lowest in the stir", "^", Look(style.BLUE, _DASHED)),
            ("lowest_flight_v", "lowest in flight", "s", Look(style.VERMILLION, _DOTTED)),
        ),
    ),
    "amps": FeatureFigure(
        name="current",
        unit="A",
        lines=(
            ("rest_a", "at rest", "o", Look(style.BLACK, ())),
            ("stir_mean_a", "mean in the stir", "^", Look(style.BLUE, _DASHED)),
            ("air_mean_a", "mean in flight", "s", Look(style.VERMILLION, _DOTTED)),
        ),
    ),
    "mirror": FeatureFigure(
        name="current over the mirror's",
        unit="",
        lines=(
            ("stir_mirror_ratio", "in the stir", "^", Look(style.BLUE, _DASHED)),
            ("air_mirror_ratio", "in flight", "s", Look(style.VERMILLION, _DOTTED)),
        ),
    ),
    "mohm": FeatureFigure(
        name="resistance",
        unit="mOhm",
        lines=(
            ("source_mohm", "of the source", "o", Look(style.BLACK, ())),
            ("branch_mohm", "of lead and contacts", "^", Look(style.BLUE, ())),
            ("path_mohm", "between pack and bus", "s", Look(style.GREEN, _DASHED)),
            ("apparent_mohm", "apparent", "D", Look(style.PURPLE, _DOTTED)),
        ),
    ),
    "ends": FeatureFigure(
        name="voltage",
        unit="V",
        lines=(
            ("start_v", "before the flight", "o", Look(style.BLACK, ())),
            ("end_v", "after landing", "s", Look(style.VERMILLION, _DASHED)),
        ),
    ),
    "falls": FeatureFigure(
        name="falls without a load",
        unit="",
        lines=(("falls_unexplained", "falls that no load explains", "o", Look(style.ORANGE, ())),),
        amounts=True,
    ),
    "counter": FeatureFigure(
        name="counter over current",
        unit="",
        lines=(
            (
                "counter_ratio",
                "charge by counter over charge by current",
                "o",
                Look(style.BLACK, ()),
            ),
        ),
    ),
}
# Features of several places in one figure.
TOGETHER: dict[str, tuple[str, str, str, bool]] = {
    "use": ("used_mah", "charge used", "mAh", True),
    "share": ("share", "share of the current", "", False),
}
# Findings without a trend of their own, by the figure that shows them.
_SHOWN_BY = {
    "brownout": "falls",
    "contact-intermittent": "falls",
    "regulator-droop": "falls",
    "sag-unexplained": "falls",
    "switch-step": "falls",
    "supply-dips": "falls",
    "pack-out": "share",
    "pack-share": "share",
    "pack-weak": "ends",
    "capacity-mismatch": "counter",
}

_HOW_TO_READ = (
    ". Washed: the baseline; filled: since the change. Below: the evidence that it lasts, and the "
    "limit from which it is told."
)


def season_figure(across: Across) -> FigureBlock | None:
    """The figure of the first page: what was found, where, and since when."""
    history = across.history
    if not history.flights:
        return None
    told = [
        f"{plain(f.place or 'whole aircraft')}: {code_words(f.code)}, "
        f"{LEVEL_WORD[f.level].lower()}, since No. {since}"
        for f in history.findings
        if (since := across.since(f)) is not None
    ]
    return FigureBlock(
        name="season",
        caption="All flights side by side; a dot: measured. A bar begins with the first flight of "
        "a lasting change. R repaired, C changed: the baseline of that place begins anew.",
        alt="Places over the flights. " + ("; ".join(told) or "No lasting change") + ".",
    )


def trend_figure(across: Across, finding: Finding) -> FigureBlock | None:
    """The figure that proves a finding; None where no figure can."""
    if finding.place is None:
        return None
    item = across.trend(finding.code, finding.place)
    if item is not None and finding.change is not None:
        return of_trend(across, item, explained=True)
    name = _SHOWN_BY.get(finding.code)
    if name is not None:
        return of_features(across, name, finding.place)
    return None if item is None else of_trend(across, item, explained=True)


def of_trend(across: Across, item: int, *, explained: bool = False) -> FigureBlock:
    """A trend against its limits, with the evidence below it."""
    trend = across.history.trends[item]
    what = f"{trend.quantity[0].upper()}{trend.quantity[1:]}"
    numbers = [number(finite(v), STEP.get(trend.unit, 0.01)) for v in trend.value]
    words = []
    for n, text in list(zip(trend.flights, numbers, strict=True))[-_MOST_VALUES:]:
        words.append(f"| {text}" if n == trend.since else text)
    row = " ".join(words)
    limits = [
        f"{level} {number(value, STEP.get(trend.unit, 0.01))}"
        for level, value in (("watch", trend.watch), ("ground", trend.ground))
        if value is not None
    ]
    unit = f", {trend.unit}" if trend.unit else ""
    asked = f" Limits: {', '.join(limits)}." if limits else ""
    return FigureBlock(
        name="trend",
        place=trend.place,
        item=item,
        caption=f"{what}, {plain(trend.place)}" + (_HOW_TO_READ if explained else ""),
        alt=f"{what} at {plain(trend.place)}{unit}, flight by flight: {row}.{asked}",
        text=f"Flight by flight{unit}: {row}.{asked}",
    )


def of_features(across: Across, name: str, place: str) -> FigureBlock | None:
    """Features of a place (of all packs, for a share) flight by flight; None without any."""
    kind = KINDS.get(name)
    features = [TOGETHER[name][0]] if kind is None else [line[0] for line in kind.lines]
    if not any(across.known(place, f) for f in features):
        return None
    what = TOGETHER[name][1] if kind is None else kind.name
    told = []
    for feature in features:
        found = across.known(place, feature)[-_MOST_VALUES:]
        if found:
            unit = TOGETHER[name][2] if kind is None else kind.unit
            step = 1.0 if kind is not None and kind.amounts else STEP.get(unit, 0.01)
            row = " ".join(number(v, step) for _, v in found)
            told.append(f"{_words(name, feature)}: {row}{' ' if unit else ''}{unit}")
    where = "the packs" if kind is None else plain(place)
    return FigureBlock(
        name=name,
        place=place,
        caption=f"{what[0].upper()}{what[1:]}, {where}",
        alt=f"{what[0].upper()}{what[1:]} of {plain(place)} flight by flight. {'; '.join(told)}.",
        text=f"Flight by flight, {'; '.join(told)}." if name in _SHOWN_BY.values() else "",
    )


def _words(name: str, feature: str) -> str:
    kind = KINDS.get(name)
    if kind is None:
        return TOGETHER[name][1]
    return next(label for f, label, _, _ in kind.lines if f == feature)


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
            places = [f.place for f in self.across.history.findings]
            most = max((places.count(p) for p in places), default=1)
            return 70.0 + max(28.0, 24.0 * most) * len(season_places(self.across))
        return {"trend": 330.0, "falls": 230.0}.get(block.name, 260.0)

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:
        """Draw a block into a figure; False where the history does not hold what it needs."""
        width, height = style.size_pt(fig)
        if block.name == "season":
            self._season(fig, width, height)
            return True
        if block.name == "trend":
            return self._trend(fig, block.item, width, height)
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
            for f in across.history.findings
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


def season_places(across: Across) -> tuple[str, ...]:
    """The places of the figure of the season: those with findings first in mind, then the rest."""
    found = {f.place for f in across.history.findings if f.place}
    judged = {t.place for t in across.history.trends}
    kind = across.history.aircraft.kind
    rest = {p for p, _ in across.rows if kind(p) in (PlaceKind.PACK, PlaceKind.NODE)}
    wanted = [*found, *sorted(judged - found), *sorted(rest - judged - found)][:_MOST_PLACES]
    return across.in_order(sorted(wanted)) or ("whole aircraft",)


def _sort_of(place: str, aircraft: Aircraft) -> str:
    kind = aircraft.kind(place)
    if kind is PlaceKind.PACK:
        return "pack"
    return "bus" if kind in (PlaceKind.BUS, PlaceKind.REGULATOR) else "node"
