"""The axis of flights, and values along it.

The flights of an aircraft stand side by side, numbered from 1 as in the report's table. Nothing is
worked out here, nor in the figures that share this axis: values, intervals, limits and the flights
of a baseline come from the records.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator

from telemetry.report.figures import style
from telemetry.report.figures.style import Look
from telemetry.results import NoteMark

# Letters that stand for the kinds of notes.
NOTE_LETTER = {"repaired": "R", "changed": "C", "checked": "k", "charged": "f"}
# Beyond so many flights a mark for each would be a band.
MANY = 120
# Room for the number of a flight, and for a day such as "28 Mar", in points.
_NUMBER_PT, _DAY_PT, _EDGE_PT = 24.0, 42.0, 10.0
BAR = 0.8
# Names of lines beside one another above a figure.
LEGEND_COLUMNS = 3


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
class FlightSeries:
    """One feature of one place, flight by flight; None where it was not measured."""

    name: str
    values: tuple[float | None, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    look: Look
    marker: str = "o"


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


def draw_series(
    ax: Axes,
    series: Sequence[FlightSeries],
    flights: FlightAxis,
    *,
    name: str,
    unit: str,
    view: tuple[float, float] | None = None,
    legend: bool = True,
) -> Axes:
    """Features flight by flight: marks joined by lines where flights follow one another.

    A stroke through a mark is its 95 % interval.
    """
    at = np.arange(1, flights.count + 1)
    many = flights.count > MANY
    for k, one in enumerate(series):
        value = floats(one.values)
        low, high = floats(one.low), floats(one.high)
        known = np.isfinite(low) & np.isfinite(high)
        if known.any():
            strokes(
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
    if legend:
        style.legend_above(ax, columns=LEGEND_COLUMNS)
    return ax


def draw_panels(
    axes: Sequence[Axes],
    panels: Mapping[str, Sequence[FlightSeries]],
    flights: FlightAxis,
    *,
    name: str,
    unit: str,
    view: tuple[float, float],
) -> Sequence[Axes]:
    """Panels of one quantity below one another, on one scale and one axis of flights.

    ``panels`` are the series by what each panel shows, one for each of the axes. A scale that holds
    zero shows it as a line.
    """
    for k, (ax, (part, series)) in enumerate(zip(axes, panels.items(), strict=True)):
        draw_series(ax, series, flights, name=f"{name}, {part}", unit=unit, view=view, legend=not k)
        if view[0] <= 0 <= view[1]:
            ax.axhline(0.0, color=style.MUTED, linewidth=style.pt(0.9), gid="zero", zorder=1.5)
        if k < len(panels) - 1:
            ax.set_xlabel("")
            style.no_time_labels(ax)
    return axes


def draw_amounts(
    ax: Axes, series: Sequence[FlightSeries], flights: FlightAxis, *, name: str, unit: str
) -> Axes:
    """Amounts flight by flight, as bars side by side from zero."""
    at = np.arange(1, flights.count + 1)
    wide = BAR / max(1, len(series))
    for k, one in enumerate(series):
        middle, amount = at + (k - (len(series) - 1) / 2) * wide, floats(one.values)
        if flights.count > MANY:
            pitch = style.size_pt_of_axes(ax)[0] / flights.count
            strokes(
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
    style.legend_above(ax, columns=LEGEND_COLUMNS)
    return ax


def strokes(
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


def floats(values: Sequence[float | None]) -> np.ndarray:
    """None as NaN, which the drawing leaves out."""
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)
