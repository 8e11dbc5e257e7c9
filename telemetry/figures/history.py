"""Figures across flights: changes against their limits, values flight by flight, the season.

The flights of an aircraft stand side by side, numbered from 1 as in the report's table. Nothing is
worked out here: values, intervals, limits and the flights of a baseline come from the records.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedFormatter, FixedLocator, MaxNLocator

from telemetry.figures import style
from telemetry.figures.names import short
from telemetry.figures.style import Look
from telemetry.results import Level, NoteMark, Trend

Values = Sequence[float | None]

# Letters that stand for the kinds of notes.
NOTE_LETTER = {"repaired": "R", "changed": "C", "checked": "k", "charged": "f"}
_LEVEL_COLOUR = {
    Level.CLEAR: style.WASH,
    Level.UNKNOWN: style.WASH,
    Level.WATCH: style.ORANGE,
    Level.GROUND: style.VERMILLION,
}
# Text on vermillion stays dark on a dark page too, where the other texts turn light.
_ON_GROUND = "#010101"
# Beyond so many flights a mark for each would be a band.
_MANY = 120
# Room for the number of a flight, and for a day such as "28 Mar", in points.
_NUMBER_PT, _DAY_PT, _EDGE_PT = 24.0, 42.0, 10.0
_BAR = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightAxis:
    """The flights side by side: their days in words ("" where not known), and the notes."""

    days: tuple[str, ...]
    notes: tuple[NoteMark, ...] = ()

    @property
    def count(self) -> int:
        """How many flights."""
        return len(self.days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One feature of one place, flight by flight; None where it was not measured."""

    name: str
    values: tuple[float | None, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    look: Look
    marker: str = "o"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A finding in the figure of the season: which row, from which flight (from 0), how grave."""

    row: int
    since: int
    level: Level
    text: str


def flight_axis(ax: Axes, flights: FlightAxis, *, name: bool = True) -> None:
    """The axis of flights: numbers, and the day under the first flight of each."""
    count = flights.count
    ax.set_xlim(0.4, max(count, 1) + 0.6)
    pitch = style.size_pt_of_axes(ax)[0] / max(count, 1)
    every = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 10**9) if s * pitch >= _NUMBER_PT)
    odd = every == 2
    at = [k for k in range(1, count + 1) if k == 1 or k % every == odd]
    # Two lines each, so that all numbers stand at one height.
    labels = {k: f"{k}\n " for k in at}
    last_at, last_day = -_DAY_PT, ""
    for k in at:
        day = flights.days[k - 1]
        # A day at the very edge would be cut off.
        day = day if (count + 0.6 - k) * pitch > _EDGE_PT else ""
        if day and day != last_day and k * pitch - last_at >= _DAY_PT:
            labels[k] = f"{k}\n{day}"
            last_at, last_day = k * pitch, day
    ax.xaxis.set_major_locator(FixedLocator(list(labels)))
    ax.xaxis.set_major_formatter(FixedFormatter(list(labels.values())))
    ax.xaxis.set_gid("x-axis")
    if name:
        style.name_axis(ax, "flight", "No.", "x")


def draw_notes(ax: Axes, flights: FlightAxis) -> Axes:
    """Notes as upright lines before the next flight: drawn through where a baseline begins anew."""
    for note in flights.notes:
        at = note.before + 0.5
        ax.axvline(
            at,
            color=style.BLACK if note.restarts else style.MUTED,
            linewidth=style.pt(1.2 if note.restarts else 0.8),
            linestyle="solid" if note.restarts else (0, (1.5, 2.5)),
            gid=f"note-{note.kind}",
        )
        ax.annotate(
            NOTE_LETTER.get(note.kind, "?"),
            (at, 1.0),
            xycoords=ax.get_xaxis_transform(),
            xytext=(style.pt(-3), style.pt(-1)),
            textcoords="offset points",
            ha="right",
            va="top",
            fontsize=style.pt(style.SMALL_PT),
            fontweight="bold",
            gid=f"note-letter-{note.kind}",
        )
    return ax


def draw_trend(
    ax: Axes, trend: Trend, flights: FlightAxis, look: Look, view: tuple[float, float]
) -> Axes:
    """A rise over its baseline, flight by flight, with its intervals and the limits.

    Rings belong to the baseline (washed) or to nothing established; filled squares are the flights
    since a lasting change began.
    """
    ax.set_ylim(*view)
    flight_axis(ax, flights, name=False)
    if trend.baseline:
        ax.axvspan(
            min(trend.baseline) + 0.6,
            max(trend.baseline) + 1.4,
            color=style.WASH,
            linewidth=0,
            zorder=0,
            gid="baseline",
        )
    ax.axhline(0.0, color=style.MUTED, linewidth=style.pt(0.8), gid="zero")
    _limits(ax, trend, view)
    at = np.array(trend.flights) + 1
    rise, reach = np.array(trend.value), np.array(trend.reach)
    since = np.zeros(at.size, dtype=bool) if trend.since is None else at > trend.since
    many = flights.count > _MANY
    for part, marker, fill, gid in (
        (~since, "o", style.PAPER, "sound"),
        (since, "s", look.colour, "since"),
    ):
        if part.any():
            _strokes(
                ax,
                at[part],
                (rise - reach)[part],
                (rise + reach)[part],
                colour=look.colour,
                gid=f"interval-{gid}",
            )
            ax.plot(
                at[part],
                rise[part],
                linestyle="none",
                marker="." if many else marker,
                markersize=style.pt(3.0 if many else 5.0),
                markerfacecolor=_small_fill(gid, look) if many else fill,
                markeredgecolor=look.colour,
                markeredgewidth=style.pt(0.0 if many else 1.2),
                gid=f"dots-{gid}" if many else f"rise-{gid}",
            )
    draw_notes(ax, flights)
    style.name_axis(ax, "rise", trend.unit)
    return ax


def _limits(ax: Axes, trend: Trend, view: tuple[float, float]) -> None:
    """The limits that lie within the view, named at the right unless their names would overlap."""
    shown = [
        (level, value, dash)
        for level, value, dash in (
            ("watch", trend.watch, (5, 2)),
            ("ground", trend.ground, (7, 2, 1.5, 2)),
        )
        if value is not None and view[0] < value < view[1]
    ]
    per_pt = (view[1] - view[0]) / style.size_pt_of_axes(ax)[1]
    for k, (level, value, dash) in enumerate(shown):
        ax.axhline(
            value,
            color=style.BLACK,
            linewidth=style.pt(1.0),
            linestyle=(0, dash),
            gid=f"limit-{level}",
        )
        if k == 0 and len(shown) == 2 and abs(shown[1][1] - value) < style.TEXT_PT * per_pt:
            continue
        ax.annotate(
            level,
            (1.0, value),
            xycoords=ax.get_yaxis_transform(),
            xytext=(style.pt(3), 0),
            textcoords="offset points",
            ha="left",
            va="center",
            fontsize=style.pt(style.SMALL_PT),
            annotation_clip=False,
        )


def draw_chart(ax: Axes, trend: Trend, flights: FlightAxis) -> Axes:
    """The evidence behind a trend: the CUSUM of its scores against the limit that tells."""
    at, chart = np.array(trend.flights) + 1, np.array(trend.chart)
    pitch = style.size_pt_of_axes(ax)[0] / max(flights.count, 1)
    _strokes(
        ax,
        at,
        np.zeros(at.size),
        chart,
        colour=style.MUTED,
        gid="cusum",
        width=max(_BAR * pitch, 0.5),
    )
    ax.axhline(
        trend.limit, color=style.BLACK, linewidth=style.pt(1.0), linestyle=(0, (5, 2)), gid="limit"
    )
    ax.set_ylim(0, max(trend.limit, *trend.chart) * 1.15)
    ax.annotate(
        "limit",
        (1.0, trend.limit),
        xycoords=ax.get_yaxis_transform(),
        xytext=(style.pt(3), 0),
        textcoords="offset points",
        ha="left",
        va="center",
        fontsize=style.pt(style.SMALL_PT),
        annotation_clip=False,
    )
    flight_axis(ax, flights)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=3))
    style.name_axis(ax, "evidence", "")
    return ax


def draw_series(
    ax: Axes,
    series: Sequence[Series],
    flights: FlightAxis,
    *,
    name: str,
    unit: str,
    view: tuple[float, float] | None = None,
) -> Axes:
    """Features flight by flight: marks joined by lines where flights follow one another.

    A stroke through a mark is its 95 % interval.
    """
    at = np.arange(1, flights.count + 1)
    many = flights.count > _MANY
    for k, one in enumerate(series):
        value = _floats(one.values)
        low, high = _floats(one.low), _floats(one.high)
        known = np.isfinite(low) & np.isfinite(high)
        if known.any():
            _strokes(
                ax, at[known], low[known], high[known], colour=one.look.colour, gid=f"interval-{k}"
            )
        ax.plot(
            at,
            value,
            linewidth=style.pt(style.LINE_PT),
            marker=None if many else one.marker,
            markersize=style.pt(4.5),
            markerfacecolor=style.PAPER,
            markeredgewidth=style.pt(1.1),
            label=one.name,
            gid=f"value-{k}",
            **one.look.line,
        )
    if view is not None:
        ax.set_ylim(*view)
    flight_axis(ax, flights)
    draw_notes(ax, flights)
    style.name_axis(ax, name, unit)
    style.legend_above(ax, columns=3)
    return ax


def draw_amounts(
    ax: Axes, series: Sequence[Series], flights: FlightAxis, *, name: str, unit: str
) -> Axes:
    """Amounts flight by flight, as bars side by side from zero."""
    at = np.arange(1, flights.count + 1)
    wide = _BAR / max(1, len(series))
    pitch = style.size_pt_of_axes(ax)[0] / max(flights.count, 1)
    for k, one in enumerate(series):
        middle, amount = at + (k - (len(series) - 1) / 2) * wide, _floats(one.values)
        if flights.count > _MANY:
            _strokes(
                ax,
                middle,
                np.zeros(at.size),
                amount,
                colour=one.look.colour,
                gid=f"amount-{k}",
                width=max(wide * pitch, 0.4),
                name=one.name,
            )
            continue
        ax.bar(
            middle,
            amount,
            width=wide,
            color=one.look.colour,
            alpha=0.85,
            edgecolor=style.BLACK,
            linewidth=style.pt(0.5),
            hatch="" if k == 0 else "///",
            label=one.name,
            gid=f"amount-{k}",
        )
    ax.set_ylim(bottom=0)
    flight_axis(ax, flights)
    draw_notes(ax, flights)
    style.name_axis(ax, name, unit)
    style.legend_above(ax, columns=3)
    return ax


def draw_season(
    ax: Axes,
    places: Sequence[str],
    bars: Sequence[Bar],
    flights: FlightAxis,
    marks: Sequence[tuple[NoteMark, Sequence[int]]] = (),
    seen: Sequence[Sequence[int]] = (),
) -> Axes:
    """Places one below the other over the flights: what was found, where, and since when.

    A dot is a flight in which the place was measured: ``seen`` holds their numbers, row by row. A
    bar begins with the first flight of a lasting change; what it says stands in it or before it.
    ``marks`` are the notes that begin a baseline anew, with the rows that they concern.
    """
    flight_axis(ax, flights)
    ax.set_ylim(len(places) - 0.45, -0.75)
    ax.set_yticks(
        range(len(places)), [short(p, 16) for p in places], fontsize=style.pt(style.TEXT_PT)
    )
    ax.tick_params(axis="y", length=0)
    for row in range(len(places)):
        ax.plot(
            [0.4, flights.count + 0.6],
            [row, row],
            color=style.GUIDE,
            linewidth=style.pt(0.8),
            zorder=0,
        )
    ax.grid(visible=False, axis="y")
    many = flights.count > _MANY
    for row, numbers in enumerate(seen):
        known = set(numbers)
        measured = [row if k in known else None for k in range(1, flights.count + 1)]
        ax.plot(
            np.arange(1, flights.count + 1),
            _floats(measured),
            linestyle="solid" if many else "none",
            linewidth=style.pt(1.6),
            marker=None if many else "o",
            markersize=style.pt(4.0),
            color=style.MUTED,
            markeredgewidth=0,
            zorder=1,
            gid=f"dots-seen-{row}",
        )
    stacked: dict[int, int] = {}
    total = {b.row: sum(other.row == b.row for other in bars) for b in bars}
    wide = style.size_pt_of_axes(ax)[0]
    pitch = wide / (max(flights.count, 1) + 0.2)
    for k, bar in enumerate(bars):
        tall = 0.72 / total[bar.row]
        top = bar.row - 0.36 + tall * stacked.get(bar.row, 0)
        stacked[bar.row] = stacked.get(bar.row, 0) + 1
        left = bar.since + 0.6
        ax.add_patch(
            Rectangle(
                (left, top + 0.04 * tall),
                flights.count + 0.5 - left,
                0.92 * tall,
                facecolor=_LEVEL_COLOUR[bar.level],
                edgecolor=style.BLACK,
                linewidth=style.pt(0.8),
                gid=f"finding-{k}",
            )
        )
        # In the bar where it fits, else before it, else as much of it as the longer side takes.
        within, before = (flights.count + 0.5 - left) * pitch, (left - 0.4) * pitch
        needed = style.PT_PER_LETTER * len(bar.text) + 8
        inside = within >= needed or within >= before
        room = int((max(within, before) - 8) // style.PT_PER_LETTER)
        ax.annotate(
            bar.text if needed <= max(within, before) else short(bar.text, max(room, 3)),
            (left, top + tall / 2),
            xytext=(style.pt(5 if inside else -5), 0),
            textcoords="offset points",
            ha="left" if inside else "right",
            va="center",
            fontsize=style.pt(style.SMALL_PT),
            color=_ON_GROUND if inside and bar.level is Level.GROUND else style.BLACK,
            gid=f"finding-text-{k}",
        )
    for note, rows in marks:
        _note_at(ax, note, rows)
    return ax


def _note_at(ax: Axes, note: NoteMark, rows: Sequence[int]) -> None:
    at = note.before + 0.5
    for row in rows:
        ax.plot(
            [at, at],
            [row - 0.5, row + 0.5],
            color=style.BLACK,
            linewidth=style.pt(2.0),
            gid=f"note-{note.kind}-{row}",
        )
    if rows:
        ax.annotate(
            NOTE_LETTER[note.kind],
            (at, min(rows)),
            xytext=(style.pt(-3), 0),
            textcoords="offset points",
            ha="right",
            va="center",
            fontsize=style.pt(style.SMALL_PT),
            fontweight="bold",
            gid=f"note-letter-{note.kind}",
        )


def _strokes(
    ax: Axes,
    at: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    *,
    colour: str,
    gid: str,
    width: float = 1.0,
    name: str = "_nolegend_",
) -> None:
    """Upright strokes from low to high, all in one path: a thousand of them stay small."""
    gaps = np.full(len(at), np.nan)
    ax.plot(
        np.c_[at, at, gaps].ravel(),
        np.c_[low, high, gaps].ravel(),
        color=colour,
        linewidth=style.pt(width),
        alpha=0.65,
        solid_capstyle="butt",
        label=name,
        gid=gid,
    )


def _small_fill(part: str, look: Look) -> str:
    """Dots too small for a ring or a square: the flights since a change are black."""
    return style.BLACK if part == "since" else look.colour


def _floats(values: Values) -> np.ndarray:
    """None as NaN, which the drawing leaves out."""
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)
