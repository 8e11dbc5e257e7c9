"""The power path: each place a row, the wires between them as lines, its numbers beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes

from telemetry.aircraft import Aircraft
from telemetry.channels import PlaceKind, kind_of_place
from telemetry.figures import style
from telemetry.figures.names import short
from telemetry.figures.stops import stops_of
from telemetry.results import Level

ROW_PT = 24.0
_TOP_PT, _LEFT_PT, _STEP_PT = 30.0, 12.0, 16.0
# Where each column of numbers ends, as a part of the width; the names stand before the first.
_ENDS = (0.555, 0.685, 0.875, 0.985)
_THINNEST_PT, _THICKEST_PT = 0.9, 4.0
_MARKS = {
    PlaceKind.PACK: ("s", style.BLUE),
    PlaceKind.REGULATOR: ("D", style.BLACK),
    PlaceKind.BUS: ("s", style.BLACK),
}
_NODE_MARK = ("o", style.GREEN)
_LEVEL_MARKS = {Level.WATCH: ("^", style.ORANGE), Level.GROUND: ("8", style.VERMILLION)}


def height_pt(aircraft: Aircraft) -> float:
    """Height of the figure in points."""
    return _TOP_PT + ROW_PT * len(stops_of(aircraft)) + 4.0


def draw_path(
    ax: Axes,
    aircraft: Aircraft,
    headings: Sequence[str],
    numbers: Mapping[str, Sequence[str]],
    amps: Mapping[str, float],
    levels: Mapping[str, Level],
) -> Axes:
    """Draw the path over the whole of the axes.

    Parameters
    ----------
    ax : Axes
    aircraft : Aircraft
    headings : sequence of str
        Of the columns of numbers, at most four.
    numbers : mapping
        Place to its numbers in words, one for each heading.
    amps : mapping
        Place to the highest current through what joins it to the path, A: the wider the line.
    levels : mapping
        Place to the gravest level of its findings; watch and ground get a mark.
    """
    width, height = style.size_pt_of_axes(ax)
    ax.set_xlim(0, width)
    ax.set_ylim(height, 0)
    ax.set_axis_off()
    stops = stops_of(aircraft)
    x = {s.place: _LEFT_PT + _STEP_PT * s.depth for s in stops}
    y = {s.place: _TOP_PT + ROW_PT * (k + 0.5) for k, s in enumerate(stops)}
    most = max((amps[place] for place in x if place in amps), default=0.0)
    for stop in stops:
        share = amps.get(stop.place, 0.0) / most if most > 0 else 0.0
        wide = _THINNEST_PT + share * (_THICKEST_PT - _THINNEST_PT)
        for to in stop.joined:
            ax.plot(
                [x[to], x[to], x[stop.place]],
                [y[to], y[stop.place], y[stop.place]],
                color=style.MUTED,
                linewidth=style.pt(wide),
                solid_capstyle="butt",
                solid_joinstyle="miter",
                gid=f"line-{stop.place}",
            )
    ends = [width * end for end in _ENDS[: len(headings)]]
    for end, heading in zip(ends, headings, strict=True):
        _text(ax, end, _TOP_PT / 2, heading, right=True, muted=True)
    for stop in stops:
        at = (x[stop.place], y[stop.place])
        _row(ax, stop.place, at, numbers.get(stop.place, ()), ends, levels.get(stop.place))
    return ax


def _row(
    ax: Axes,
    place: str,
    at: tuple[float, float],
    numbers: Sequence[str],
    ends: Sequence[float],
    level: Level | None,
) -> None:
    x, y = at
    mark, colour = _MARKS.get(kind_of_place(place), _NODE_MARK)
    _mark(ax, x, y, mark, colour, 7.0)
    left = x + 10.0
    if level in _LEVEL_MARKS:
        _mark(ax, left + 5.0, y, *_LEVEL_MARKS[level], 10.0)
        left += 14.0
    room = max(4, int((ends[0] - 46.0 - left) / style.PT_PER_LETTER)) if ends else 20
    _text(ax, left, y, short(place, room))
    for end, number in zip(ends, numbers, strict=False):
        _text(ax, end, y, number, right=True)


def _mark(ax: Axes, x: float, y: float, mark: str, colour: str, size: float) -> None:
    ax.plot(
        [x],
        [y],
        linestyle="none",
        marker=mark,
        markersize=style.pt(size),
        markerfacecolor=colour,
        markeredgecolor=style.BLACK,
        markeredgewidth=style.pt(0.8),
        clip_on=False,
    )


def _text(
    ax: Axes, x: float, y: float, text: str, *, right: bool = False, muted: bool = False
) -> None:
    ax.text(
        x,
        y,
        text,
        ha="right" if right else "left",
        va="center_baseline",
        fontsize=style.pt(style.SMALL_PT),
        color=style.MUTED if muted else style.BLACK,
    )
