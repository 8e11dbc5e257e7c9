"""The power path: each place a row, the wires between them as lines, its numbers beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes

from telemetry.aircraft import Aircraft
from telemetry.model.text import short
from telemetry.report.figures import style
from telemetry.report.figures.stops import stops_of
from telemetry.results import Level

ROW_PT = 24.0
_TOP_PT, _LEFT_PT, _STEP_PT = 30.0, 12.0, 16.0
_GAP_PT, _RIGHT_PT = 12.0, 6.0
_THINNEST_PT, _THICKEST_PT = 0.9, 4.0
_PACK_MARK, _SUPPLY_MARK = ("s", style.BLUE), ("D", style.ORANGE)
_ROOT_MARK, _NODE_MARK = ("s", style.BLACK), ("o", style.GREEN)
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
        Place to the worst level of its findings; watch and ground get a mark.
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
    ends, name_end = _column_ends(width, headings, [numbers.get(s.place, ()) for s in stops])
    for end, heading in zip(ends, headings, strict=True):
        _text(ax, end, _TOP_PT / 2, heading, right=True, muted=True)
    for stop in stops:
        at = (x[stop.place], y[stop.place])
        _mark(ax, *at, *_mark_of(stop.place, aircraft), 7.0)
        left, level = at[0] + 10.0, levels.get(stop.place)
        if level in _LEVEL_MARKS:
            _mark(ax, left + 5.0, at[1], *_LEVEL_MARKS[level], 10.0)
            left += 14.0
        room = max(4, int((name_end - left) / style.PT_PER_LETTER))
        _text(ax, left, at[1], short(stop.place, room))
        for end, number in zip(ends, numbers.get(stop.place, ()), strict=False):
            _text(ax, end, at[1], number, right=True)
    return ax


def _mark_of(place: str, aircraft: Aircraft) -> tuple[str, str]:
    if aircraft.pack(place) is not None:
        return _PACK_MARK
    if place == aircraft.root:
        return _ROOT_MARK
    supply = aircraft.supply(place) is not None or place == aircraft.regulator
    return _SUPPLY_MARK if supply else _NODE_MARK


def _column_ends(
    width: float, headings: Sequence[str], rows: Sequence[Sequence[str]]
) -> tuple[list[float], float]:
    """Where each column ends, flush with the right edge, and where the names have to end."""
    ends: list[float] = []
    end = width - _RIGHT_PT
    for k in reversed(range(len(headings))):
        ends.insert(0, end)
        longest = max(len(text) for text in (headings[k], *(r[k] for r in rows if len(r) > k)))
        end -= longest * style.PT_PER_LETTER + _GAP_PT
    return ends, end


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
