"""The season in one figure: what was found at each place, and since which flight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from telemetry.model.text import short
from telemetry.report.figures import style
from telemetry.report.figures.flights import MANY, NOTE_LETTER, FlightAxis, flight_axis, floats
from telemetry.results import Level, NoteMark

_LEVEL_COLOUR = {
    Level.CLEAR: style.WASH,
    Level.UNKNOWN: style.WASH,
    Level.WATCH: style.ORANGE,
    Level.GROUND: style.VERMILLION,
}
# Text on vermillion stays dark on a dark page too, where the other texts turn light.
_ON_GROUND = "#010101"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingBar:
    """A finding in the figure of the season: which row, from which flight (from 0), how grave."""

    row: int
    since: int
    level: Level
    text: str


def draw_season(
    ax: Axes,
    places: Sequence[str],
    bars: Sequence[FindingBar],
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
    many = flights.count > MANY
    for row, numbers in enumerate(seen):
        known = set(numbers)
        measured = [row if k in known else None for k in range(1, flights.count + 1)]
        ax.plot(
            np.arange(1, flights.count + 1),
            floats(measured),
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
