"""The whole recording at one look: phases, voltages, events, currents over one axis of time.

By the drawing library, not SVG written by hand: one figure serves the page, paper and a notebook.
Only a stretch that is looked at closer is drawn by the page itself, in the places told here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity
from telemetry.model.text import short
from telemetry.readings import Reading, Readings
from telemetry.report.figures import style
from telemetry.report.figures.style import AnyFigure, Look
from telemetry.report.figures.traces import (
    Lowest,
    envelope,
    levels,
    longest_gaps,
    lowest_judged,
    of_quantity,
)
from telemetry.results import Event, EventKind, Mark, Origin, Phase, PhaseKind, Review, Span

# Room beside the axes, in points: names on the left, nothing cut on the right.
_LEFT, _RIGHT, _STRIP, _UNDER, _LANE = 54.0, 20.0, 15.0, 15.0, 20.0
# The worst last, over the others; None for the sags that the load explains.
_MARKERS: dict[EventKind | None, str] = {
    None: "|",
    EventKind.SPIKE: "^",
    EventKind.SAG: "v",
    EventKind.SHIFT: "s",
    EventKind.UNDERVOLTAGE: "D",
    EventKind.BROWNOUT: "X",
}
_PHASE_NAMES = {
    PhaseKind.STIR: "stir",
    PhaseKind.FLIGHT: "flight",
    PhaseKind.REDUNDANCY_CHECK: "check",
    PhaseKind.GROUND: "ground",
}
_PHASE_LOOKS: dict[PhaseKind, tuple[str, str]] = {
    PhaseKind.FLIGHT: (style.SKY, ""),
    PhaseKind.STIR: (style.ORANGE, "////"),
    PhaseKind.REDUNDANCY_CHECK: (style.PAPER, "||||"),
    PhaseKind.GROUND: (style.WASH, ""),
}
# The restart level is drawn where the lowest voltage came this near to it.
_NEAR_RESTART_V = 2.0


@dataclass(frozen=True, slots=True)
class Panel:
    """Where one panel of the timeline lies (points from left and top) and what its y axis spans."""

    quantity: str
    left: float
    top: float
    width: float
    height: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TimelineLayout:
    """What a reader of the figure needs to find a value in it: panels, strips and the time span."""

    panels: tuple[Panel, ...]
    strip_top: float
    strip_height: float
    lane_top: float
    lane_height: float
    start_s: float
    end_s: float


def compose(
    fig: AnyFigure,
    review: Review,
    readings: Readings,
    looks: Mapping[str, Look],
    *,
    legend: bool = True,
) -> TimelineLayout:
    """Draw the timeline into a figure of any size.

    Parameters
    ----------
    fig : Figure or SubFigure
    review : Review
    readings : Readings
        Of the review's log.
    looks : mapping of place to Look
    legend : bool
        Whether to name the lines within the figure.
    """
    width, height = style.size_pt(fig)
    voltages = of_quantity(readings, Quantity.VOLTAGE, review.aircraft)
    currents = of_quantity(readings, Quantity.CURRENT, review.aircraft)
    named = dict.fromkeys(r.place for r in (*voltages, *currents))
    inner = width - _LEFT - _RIGHT
    per_row = style.names_per_row(list(named), width - _LEFT)
    rows = -(-len(named) // per_row) if legend else 0
    top = 4.0 + 15.0 * rows
    bottom = 38.0
    room = height - top - bottom - _STRIP - _UNDER - _LANE - 6.0
    shares = [0.58, 0.42] if voltages and currents else [1.0]
    phases = [p for f in review.flights for p in f.phases]
    events = [e for f in review.flights for e in f.events]
    span = (readings.start_s, readings.end_s)

    strip = style.axes_at(fig, _LEFT, top, inner, _STRIP)
    draw_phases(strip, phases, *span)
    y = top + _STRIP + _UNDER
    panels = []
    columns = max(60, round(inner / 2))
    # Between two panels, else above the one: below it stand the times.
    lane_first = not (voltages and currents)
    lane_top = y
    if lane_first:
        y += _LANE + 3.0
    if voltages:
        tall = room * shares[0]
        ax = style.axes_at(fig, _LEFT, y, inner, tall)
        draw_voltages(ax, voltages, looks, review.limits, columns)
        low = lowest_judged(review, readings)
        if low is not None:
            digits = next((r.resolution for r in voltages if r.place == low.place), None)
            draw_lowest(ax, low, digits)
        panels.append(_panel(ax, "voltage", inner, y, tall))
        _share_time(ax, span, last=not currents, inner=inner)
        y += tall + 3.0
    if not lane_first:
        lane_top = y
        y += _LANE + 3.0
    lane = style.axes_at(fig, _LEFT, lane_top, inner, _LANE)
    draw_events(lane, events, *span)
    if currents:
        tall = room * shares[-1]
        ax = style.axes_at(fig, _LEFT, y, inner, tall)
        draw_currents(ax, currents, looks, review.limits, columns)
        panels.append(_panel(ax, "current", inner, y, tall))
        _share_time(ax, span, last=True, inner=inner)
    draw_holes(fig, review.quality.gaps)
    draw_marks(fig, review.marks)
    if legend:
        style.legend_of(fig, looks, list(named), left=_LEFT)
    return TimelineLayout(tuple(panels), top, _STRIP, lane_top, _LANE, *span)


def _panel(ax: Axes, quantity: str, inner: float, top: float, tall: float) -> Panel:
    low, high = ax.get_ylim()
    return Panel(quantity, _LEFT, top, inner, tall, low, high)


def _share_time(ax: Axes, span: tuple[float, float], *, last: bool, inner: float) -> None:
    style.time_axis(ax, *span, most=max(3, int(inner // 62)), name=last)
    if not last:
        style.no_time_labels(ax)


def draw_phases(ax: Axes, phases: Sequence[Phase], start_s: float, end_s: float) -> Axes:
    """A strip of the phases, each with its name where there is room for it.

    Fill and hatching differ as well as colour: stir has slanting stripes, check upright ones.
    """
    ax.set_xlim(start_s, max(end_s, start_s + 0.1))
    ax.set_ylim(0, 1)
    ax.set_axis_off()
    for k, phase in enumerate(phases):
        colour, hatch = _PHASE_LOOKS[phase.kind]
        ax.axvspan(
            phase.start_s,
            phase.end_s,
            facecolor=colour,
            edgecolor=style.MUTED,
            hatch=hatch,
            linewidth=style.pt(0.6),
            gid=f"phase-{k}",
        )
    _name_phases(ax, phases, (end_s - start_s) / style.size_pt_of_axes(ax)[0])
    return ax


def _name_phases(ax: Axes, phases: Sequence[Phase], s_per_pt: float) -> None:
    """Names inside the strip where they fit, else under it, stirs before checks."""
    taken: list[tuple[float, float]] = []
    for k in sorted(range(len(phases)), key=lambda k: phases[k].kind is not PhaseKind.STIR):
        phase = phases[k]
        name = _PHASE_NAMES[phase.kind]
        half = (style.PT_PER_LETTER * len(name) + 4) * s_per_pt / 2
        middle = (phase.start_s + phase.end_s) / 2
        inside = phase.duration_s >= 2 * half and not _PHASE_LOOKS[phase.kind][1]
        if not inside:
            # Ground needs no name, and no name may run into another.
            beside = any(middle - half < b and middle + half > a for a, b in taken)
            if phase.kind is PhaseKind.GROUND or beside:
                continue
            taken.append((middle - half, middle + half))
        ax.text(
            middle,
            0.46 if inside else -0.12,
            name,
            ha="center",
            va="center" if inside else "top",
            fontsize=style.pt(style.SMALL_PT),
            color=style.BLACK,
            gid=f"phase-name-{k}",
        )


def draw_voltages(
    ax: Axes,
    traces: Sequence[Reading],
    looks: Mapping[str, Look],
    limits: Limits,
    columns: int,
) -> Axes:
    """Voltages by place: the line runs through the lowest readings. Levels that are near."""
    for k, r in enumerate(traces):
        seen = envelope(r, limits, columns)
        style.draw_envelope(
            ax, seen, looks[r.place], name=short(r.place), edge="low", gid=f"trace-voltage-{k}"
        )
    lows = [float(r.v.min()) for r in traces]
    highs = [float(r.v.max()) for r in traces]
    for level, words in levels(limits):
        if min(lows) - _NEAR_RESTART_V <= level <= max(highs):
            draw_level(ax, level, words)
            lows.append(level)
    ax.set_ylim(*style.padded(lows, highs, share=0.08, least=0.5))
    style.name_axis(ax, "voltage", "V")
    return ax


def draw_currents(
    ax: Axes,
    traces: Sequence[Reading],
    looks: Mapping[str, Look],
    limits: Limits,
    columns: int,
) -> Axes:
    """Currents by place, from zero: the line runs through the highest readings."""
    for k, r in enumerate(traces):
        seen = envelope(r, limits, columns)
        style.draw_envelope(
            ax, seen, looks[r.place], name=short(r.place), edge="high", gid=f"trace-current-{k}"
        )
    lows = [0.0, *(float(r.v.min()) for r in traces)]
    highs = [float(r.v.max()) for r in traces]
    low, high = style.padded(lows, highs, least=1.0)
    ax.set_ylim(0.0 if min(lows) >= 0 else low, high)
    style.name_axis(ax, "current", "A")
    return ax


def draw_level(ax: Axes, level: float, text: str) -> Axes:
    """A horizontal level with its name at the right end."""
    ax.axhline(level, color=style.MUTED, linewidth=style.pt(0.9), linestyle=(0, (2, 2)))
    ax.text(
        0.995,
        level,
        text,
        transform=blended_transform_factory(ax.transAxes, ax.transData),
        ha="right",
        va="bottom",
        fontsize=style.pt(style.SMALL_PT),
        color=style.MUTED,
        bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
    )
    return ax


def draw_lowest(ax: Axes, low: Lowest, resolution: float | None) -> Axes:
    """Ring and words at the lowest voltage that counts; the axis reaches down to it."""
    if low.time_s is None:
        return ax
    time_s, value = low.time_s, low.volts
    bottom, top = ax.get_ylim()
    ax.set_ylim(min(bottom, value - 0.06 * (top - value)), top)
    start, end = ax.get_xlim()
    digits = 2 if resolution is None or resolution < 0.1 else 1
    words = f"lowest {value:.{digits}f} V", f"{short(low.place)}, {style.clock_label(time_s)}"
    share = (time_s - start) / (end - start)
    room = max(share, 1 - share) * style.size_pt_of_axes(ax)[0]
    right = share < 0.5
    one_line = room > style.PT_PER_LETTER * (len(words[0]) + len(words[1]) + 4)
    ax.plot(
        [time_s],
        [value],
        marker="o",
        markersize=style.pt(8),
        markerfacecolor="none",
        markeredgecolor=style.BLACK,
        markeredgewidth=style.pt(1.4),
        linestyle="none",
        gid="lowest-ring",
    )
    ax.annotate(
        (", " if one_line else "\n").join(words),
        (time_s, value),
        xytext=(style.pt(9 if right else -9), style.pt(-1)),
        textcoords="offset points",
        ha="left" if right else "right",
        va="center",
        fontsize=style.pt(style.TEXT_PT),
        color=style.BLACK,
        bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.8},
        gid="lowest-name",
    )
    return ax


def draw_events(ax: Axes, events: Sequence[Event], start_s: float, end_s: float) -> Axes:
    """A lane of events: a shape for each kind; sags that the load explains are short ticks."""
    ax.set_xlim(start_s, max(end_s, start_s + 0.1))
    ax.set_ylim(0, 1)
    ax.set_axis_off()
    ax.axhline(0.5, color=style.GUIDE, linewidth=style.pt(0.6))
    ax.text(
        -0.008,
        0.5,
        "events",
        transform=ax.transAxes,
        ha="right",
        va="center",
        fontsize=style.pt(style.TEXT_PT),
        color=style.BLACK,
    )
    alike: dict[EventKind | None, list[float]] = {}
    for event in events:
        quiet = event.kind is EventKind.SAG and event.origin is Origin.LOAD
        kind = None if quiet else event.kind
        alike.setdefault(kind, []).append((event.start_s + event.end_s) / 2)
    for kind in sorted(alike, key=list(_MARKERS).index):
        middles = alike[kind]
        ax.plot(
            middles,
            [0.5] * len(middles),
            marker=_MARKERS[kind],
            markersize=style.pt(6) if kind is None else 8,
            color=style.PAPER if kind is EventKind.SPIKE else style.VERMILLION,
            markeredgecolor=style.MUTED if kind is None else style.BLACK,
            markeredgewidth=style.pt(0.9),
            linestyle="none",
            clip_on=False,
            gid=f"event-{'of-load' if kind is None else kind.value}",
        )
    return ax


def draw_marks(fig: AnyFigure, marks: Sequence[Mark]) -> None:
    """The moments that were marked: an upright line through the panels, with its number."""
    panels = [ax for ax in fig.axes if ax.get_ylabel()]
    for number, mark in enumerate(marks, 1):
        for ax in panels:
            ax.axvline(
                mark.time_s,
                color=style.BLACK,
                linewidth=style.pt(1.0),
                linestyle=(0, (4, 2)),
                gid=f"marked-{number}",
            )
        panels[0].text(
            mark.time_s,
            1.0,
            f"M{number}",
            transform=panels[0].get_xaxis_transform(),
            ha="center",
            va="bottom",
            fontsize=style.pt(style.SMALL_PT),
            color=style.BLACK,
            gid=f"marked-name-{number}",
        )


def draw_holes(fig: AnyFigure, gaps: Sequence[Span]) -> None:
    """Stretches without rows, set off in the panels of traces; of very many, the longest."""
    spans = [(g.start_s, g.duration_s) for g in longest_gaps(gaps)]
    for ax in fig.axes if spans else ():
        if ax.get_ylabel():
            ax.broken_barh(
                spans,
                (0.0, 1.0),
                transform=ax.get_xaxis_transform(),
                facecolor=style.WASH,
                edgecolor=style.MUTED,
                hatch="xxx",
                linewidth=0.0,
                gid="gap-all",
            )
