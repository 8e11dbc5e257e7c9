"""Which figures the report of a history shows: of what, with which words."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.document import FigureBlock
from telemetry.report.documents.across import STEP, Across, finite, side_by_side
from telemetry.report.figures import style
from telemetry.report.figures.style import Look
from telemetry.report.words import LEVEL_WORD, code_words, counted, number
from telemetry.results import Finding

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
# Figures of all places at once: the panels, one below the other on one scale, and their feature.
PANELS: dict[str, str] = {"stir": "lowest_stir_v", "flight": "lowest_flight_v"}
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
        for f in history.open
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
        quiet=not explained and trend.since is None and not across.found_at(trend.place),
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
        quiet=kind is not None and not across.found_at(place),
        text=f"Flight by flight, {'; '.join(told)}." if name in _SHOWN_BY.values() else "",
    )


def _words(name: str, feature: str) -> str:
    kind = KINDS.get(name)
    if kind is None:
        return TOGETHER[name][1]
    return next(label for f, label, _, _ in kind.lines if f == feature)


def of_lows(across: Across) -> FigureBlock | None:
    """The lowest voltages of all places behind the packs in one figure; None without any."""
    rows = {p: lowest_of(across, p) for p in supplied_places(across)}
    told = [f"{plain(p)} {number(min(row), 0.01)} V" for p, row in rows.items() if row]
    if not told:
        return None
    return FigureBlock(
        name="lows",
        caption="Lowest voltage of every place in the stir (above) and in flight (below), flight "
        "by flight on one scale",
        alt=f"Lowest voltages flight by flight. Lowest of all flights: {'; '.join(told)}.",
    )


def of_sides(across: Across) -> FigureBlock | None:
    """Left minus right of the lowest voltages, pair by pair; None where nothing is mirrored."""
    told = []
    for left, right in mirrored_pairs(across):
        gaps = [
            (abs(v), v, n)
            for feature in PANELS.values()
            for n, v in enumerate(difference(across, left, right, feature), 1)
            if v is not None
        ]
        if gaps:
            _, value, n = max(gaps)
            told.append(f"{plain(left)} minus {plain(right)} at most {value:+.2f} V, No. {n}")
    if not told:
        return None
    return FigureBlock(
        name="sides",
        caption="Left minus right of the lowest voltages, in the stir (above) and in flight "
        "(below); a pair that is alike stays near zero",
        alt=f"{counted(len(told), 'pair')} of mirrored places. {'; '.join(told)}.",
    )


def supplied_places(across: Across) -> tuple[str, ...]:
    """Places with a lowest voltage that are no packs, in the order of the path."""
    kind = across.history.aircraft.kind
    return tuple(p for p in across.places(*PANELS.values()) if kind(p) is not PlaceKind.PACK)


def lowest_of(across: Across, place: str) -> list[float]:
    """All lowest voltages of a place, V."""
    return [v for feature in PANELS.values() for _, v in across.known(place, feature)]


def mirrored_pairs(across: Across) -> list[tuple[str, str]]:
    """Places behind the packs that mirror one another, the left one first."""
    pairs, _ = side_by_side(supplied_places(across), across.history.aircraft)
    return list(zip(pairs[::2], pairs[1::2], strict=True))


def difference(across: Across, left: str, right: str, feature: str) -> tuple[float | None, ...]:
    """One place's values minus the other's, flight by flight; None where either is not known."""
    both = zip(across.values(left, feature), across.values(right, feature), strict=True)
    return tuple(None if a is None or b is None else a - b for a, b in both)


def season_places(across: Across) -> tuple[str, ...]:
    """The places of the figure of the season: those with findings first in mind, then the rest."""
    found = {f.place for f in across.history.open if f.place}
    judged = {t.place for t in across.history.trends}
    kind = across.history.aircraft.kind
    rest = {p for p, _ in across.rows if kind(p) in (PlaceKind.PACK, PlaceKind.NODE)}
    wanted = [*found, *sorted(judged - found), *sorted(rest - judged - found)][:_MOST_PLACES]
    return across.in_order(sorted(wanted)) or ("whole aircraft",)
