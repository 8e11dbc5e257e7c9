"""One lasting change flight by flight: the rise over its baseline, and the evidence behind it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from telemetry.report.figures import style
from telemetry.report.figures.flights import BAR, MANY, FlightAxis, draw_notes, flight_axis, strokes
from telemetry.report.figures.style import Look
from telemetry.results import Trend


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
    many = flights.count > MANY
    for part, marker, fill, gid in (
        (~since, "o", style.PAPER, "sound"),
        (since, "s", look.colour, "since"),
    ):
        if part.any():
            strokes(
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


def _small_fill(part: str, look: Look) -> str:
    """Dots too small for a ring or a square: the flights since a change are black."""
    return style.BLACK if part == "since" else look.colour


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
        _name_limit(ax, level, value)


def _name_limit(ax: Axes, text: str, value: float) -> None:
    """The name of a limit, outside the axes at its right end."""
    ax.annotate(
        text,
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
    """The evidence behind a trend: flights since a change against those before, and its limit."""
    at, chart = np.array(trend.flights) + 1, np.array(trend.chart)
    pitch = style.size_pt_of_axes(ax)[0] / max(flights.count, 1)
    strokes(
        ax,
        at,
        np.zeros(at.size),
        chart,
        colour=style.MUTED,
        gid="evidence",
        width=max(BAR * pitch, 0.5),
    )
    ax.axhline(
        trend.limit, color=style.BLACK, linewidth=style.pt(1.0), linestyle=(0, (5, 2)), gid="limit"
    )
    ax.set_ylim(0, max(trend.limit, *trend.chart) * 1.15)
    _name_limit(ax, "limit", trend.limit)
    flight_axis(ax, flights)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=3))
    style.name_axis(ax, "evidence", "")
    return ax
