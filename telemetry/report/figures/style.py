"""How all figures look: palette, sizes, line styles by place, and the axis of time.

Palette: M. Okabe and K. Ito, "Color Universal Design", 2002 (2008); the eight colours stay apart
for readers with any of the common kinds of colour blindness. Lines on white use only those five
that reach 3:1 against it (WCAG 2.2, 1.4.11); the others are fills. No line is told by its colour
alone: places of one kind differ by dash as well, and every line is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure, SubFigure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind
from telemetry.model.text import short
from telemetry.numerics.envelope import Band
from telemetry.report.figures.traces import path_order

AnyFigure = Figure | SubFigure

BLACK, ORANGE, SKY, GREEN = "#000000", "#e69f00", "#56b4e9", "#009e73"
YELLOW, BLUE, VERMILLION, PURPLE = "#f0e442", "#0072b2", "#d55e00", "#cc79a7"
PAPER = "#ffffff"
# Beside the palette: text that steps back, lines that guide, and washes behind the traces.
MUTED, GUIDE, WASH, MARK = "#595959", "#d4d4d4", "#eceff2", "#fbe6bd"

TEXT_PT = 11.0
SMALL_PT = 10.0
LINE_PT = 1.1
# Room for one letter of the small text, with a margin: text is not measured before it is set.
PT_PER_LETTER = 6.2

_DASHES: tuple[tuple[float, ...], ...] = ((), (5.0, 1.6), (1.4, 1.4), (6.0, 1.5, 1.4, 1.5))
_ROLE_COLOURS: dict[str, tuple[str, ...]] = {
    "pack": (BLUE,),
    "bus": (BLACK,),
    "node": (VERMILLION, GREEN, PURPLE),
}
_ROLES = {
    PlaceKind.PACK: "pack",
    PlaceKind.REGULATOR: "bus",
    PlaceKind.BUS: "bus",
    PlaceKind.RECEIVER: "bus",
}
_TICK_STEPS_S = (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


@dataclass(frozen=True, slots=True)
class Look:
    """How the lines of one place are drawn, in every figure of a report alike."""

    colour: str
    dash: tuple[float, ...]

    @property
    def line(self) -> dict[str, Any]:
        """Arguments of a line: colour and dashes."""
        style = "solid" if not self.dash else (0, self.dash)
        return {"color": self.colour, "linestyle": style}


def looks(places: Iterable[str], aircraft: Aircraft) -> dict[str, Look]:
    """Colour and dash of each place, by its part in the power path.

    Packs are blue, regulator, bus and receivers black, all others vermillion, green and purple;
    the second, third ... of a colour are dashed, dotted ... Mirrored panels differ in colour.
    """
    used: dict[str, int] = {}
    found = {}
    for place in path_order(sorted(places), aircraft):
        role = _ROLES.get(aircraft.kind(place), "node")
        colours = _ROLE_COLOURS[role]
        count = used.get(role, 0)
        used[role] = count + 1
        dash = _DASHES[count // len(colours) % len(_DASHES)]
        found[place] = Look(colours[count % len(colours)], dash)
    return found


def unit() -> float:
    """How much smaller than on the screen figures are drawn: 1 on the screen, less on paper.

    The base size of text of the drawing library, over its default, says it: sizes of text, lines
    and marks are multiplied by it, and lengths are given in points of the screen throughout.
    """
    return float(mpl.rcParams["font.size"]) / 10.0


def pt(size: float) -> float:
    """A size of text, line or mark, as drawn."""
    return size * unit()


def new_figure(width_pt: float, height_pt: float) -> Figure:
    """An empty figure of this size in points, without any state outside it."""
    return Figure(figsize=(width_pt / 72, height_pt / 72), dpi=72, facecolor=PAPER)


def size_pt(fig: AnyFigure) -> tuple[float, float]:
    """Width and height of a figure, or of its part, in points of the screen."""
    scale = 72 / fig.dpi / unit()
    return fig.bbox.width * scale, fig.bbox.height * scale


def axes_at(fig: AnyFigure, left: float, top: float, width: float, height: float) -> Axes:
    """Axes placed in points from the left and the top edge."""
    whole_w, whole_h = size_pt(fig)
    box = (left / whole_w, 1 - (top + height) / whole_h, width / whole_w, height / whole_h)
    ax = fig.add_axes(box)
    dress(ax)
    ax.yaxis.set_label_coords(-36 / width, 0.5)
    ticks = max(3, round(height / 30))
    ax.yaxis.set_major_locator(MaxNLocator(nbins=ticks, steps=[1, 2, 2.5, 5, 10]))
    return ax


def dress(ax: Axes) -> None:
    """Quiet frame, horizontal guides, text sizes."""
    ax.set_facecolor("none")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(MUTED)
        ax.spines[side].set_linewidth(pt(0.8))
    ax.tick_params(
        colors=MUTED, labelcolor=BLACK, labelsize=pt(SMALL_PT), length=pt(3), width=pt(0.8)
    )
    ax.grid(visible=True, axis="y", color=GUIDE, linewidth=pt(0.6))
    ax.set_axisbelow(True)


def name_axis(ax: Axes, name: str, unit: str, axis: str = "y") -> None:
    """Name and unit of an axis: "voltage (V)"."""
    text = f"{name} ({unit})" if unit else name
    set_label = ax.set_ylabel if axis == "y" else ax.set_xlabel
    set_label(text, fontsize=pt(TEXT_PT), color=BLACK)


def clock_label(seconds: float, *, tenths: bool = False) -> str:
    """Time of the recording: mm:ss, with tenths where the axis is that fine."""
    whole = round(seconds * 10)
    minutes, rest = divmod(abs(whole), 600)
    sign = "-" if whole < 0 else ""
    text = f"{sign}{minutes:02d}:{rest // 10:02d}"
    return f"{text}.{rest % 10}" if tenths else text


def time_ticks(start_s: float, end_s: float, most: int) -> tuple[float, ...]:
    """Round instants between two times, at most ``most`` of them."""
    length = max(end_s - start_s, 0.1)
    step = next((s for s in _TICK_STEPS_S if length / s <= most), length / max(1, most))
    first = -int(-start_s // step)
    count = int((end_s - first * step) / step + 1e-9) + 1
    return tuple((first + k) * step for k in range(max(0, count)))


def time_axis(ax: Axes, start_s: float, end_s: float, *, most: int = 8, name: bool = True) -> None:
    """The axis of time as minutes and seconds of the recording."""
    ax.set_xlim(start_s, max(end_s, start_s + 0.1))
    ticks = time_ticks(start_s, end_s, most)
    fine = len(ticks) > 1 and ticks[1] - ticks[0] < 1
    ax.xaxis.set_major_locator(FixedLocator(list(ticks)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda s, _: clock_label(s, tenths=fine)))
    ax.xaxis.set_gid("x-axis")
    if name:
        name_axis(ax, "time of the recording", "mm:ss", "x")


def no_time_labels(ax: Axes) -> None:
    """Ticks without text, for axes that share the time below them."""
    ax.tick_params(labelbottom=False)


def legend_above(ax: Axes, columns: int = 4) -> None:
    """Names of the lines above the axes, where no trace runs."""
    handles, labels = ax.get_legend_handles_labels()
    if handles:
        ax.legend(
            handles,
            labels,
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=min(columns, len(handles)),
            frameon=False,
            fontsize=pt(SMALL_PT),
            handlelength=1.9,
            columnspacing=1.2,
            handletextpad=0.5,
            borderaxespad=0.2,
            borderpad=0.1,
        )


def names_per_row(places: Sequence[str], width: float) -> int:
    """How many names of lines fit beside one another in a width in points."""
    longest = max((len(short(p)) for p in places), default=1)
    return max(1, min(len(places), int(width // (PT_PER_LETTER * longest + 38))))


def legend_of(
    fig: AnyFigure,
    looks: Mapping[str, Look],
    places: Sequence[str],
    *,
    left: float,
) -> None:
    """Names of the lines of these places at the top of a figure."""
    if not places:
        return
    per_row = names_per_row(places, size_pt(fig)[0] - left)
    legend = fig.legend(
        [Line2D([], [], linewidth=pt(1.6), **looks[p].line) for p in places],
        [short(p) for p in places],
        loc="upper left",
        bbox_to_anchor=(left / size_pt(fig)[0], 1 - 3 / size_pt(fig)[1]),
        ncols=per_row,
        frameon=False,
        fontsize=pt(SMALL_PT),
        borderaxespad=0.0,
        borderpad=0.1,
        handlelength=2.0,
        columnspacing=1.4,
    )
    legend.set_gid("legend")


def padded(
    lows: Sequence[float], highs: Sequence[float], *, share: float = 0.06, least: float = 0.0
) -> tuple[float, float]:
    """Limits of an axis: a little room above and below, and at least ``least`` from end to end.

    The noise of a steady voltage must not fill a figure as a dip would.
    """
    low, high = min(lows), max(highs)
    room = max((high - low) * share, (least - (high - low)) / 2, 1e-6)
    return low - room, high + room


def draw_envelope(
    ax: Axes, bands: Sequence[Band], look: Look, *, name: str, edge: str, gid: str
) -> Axes:
    """A trace as a wash from its lowest to its highest readings, with one edge as its line.

    Parameters
    ----------
    ax : Axes
    bands : sequence of Band
    look : Look
    name : str
        Of the line.
    edge : str
        "low" draws the lowest readings as the line, "high" the highest.
    gid : str
        What the line is called within the figure.
    """
    outlines = [
        np.c_[np.r_[b.low_t, b.high_t[::-1]], np.r_[b.low_v, b.high_v[::-1]]]
        for b in bands
        if not np.array_equal(b.low_t, b.high_t)
    ]
    if outlines:
        wash = PolyCollection(
            outlines,
            facecolors=look.colour,
            alpha=0.22 if edge == "low" else 0.1,
            linewidths=0,
            gid=f"{gid}-range",
        )
        ax.add_collection(wash, autolim=False)
    low = edge == "low"
    time_s = [np.r_[(b.low_t if low else b.high_t), np.nan] for b in bands]
    values = [np.r_[(b.low_v if low else b.high_v), np.nan] for b in bands]
    ax.plot(
        np.concatenate(time_s)[:-1],
        np.concatenate(values)[:-1],
        linewidth=pt(LINE_PT),
        label=name,
        gid=gid,
        **look.line,
    )
    return ax


def size_pt_of_axes(ax: Axes) -> tuple[float, float]:
    """Width and height of axes, in points of the screen."""
    box = ax.get_window_extent()
    dpi = ax.figure.dpi
    scale = 72 / dpi / unit()
    return box.width * scale, box.height * scale
