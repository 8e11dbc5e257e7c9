"""Comparisons without an axis of time: voltage against current, places, charge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from telemetry.model.text import short
from telemetry.report.figures import style
from telemetry.report.figures.pairs import Pairs
from telemetry.report.figures.style import Look
from telemetry.results import Charge, Resistance, StirPlace

_BAR = 0.56


def draw_voltage_against_current(
    ax: Axes, pairs: Pairs, resistance: Resistance, look: Look
) -> Axes:
    """Readings as dots, means over some seconds as rings, and the line of the resistance found.

    The line and its interval are the ones of the record; nothing is fitted here.
    """
    ax.plot(
        pairs.current_a,
        pairs.voltage_v,
        linestyle="none",
        marker=".",
        markersize=style.pt(3.5),
        color=style.MUTED,
        markeredgewidth=0,
        label="readings",
        gid="readings",
    )
    ax.plot(
        pairs.mean_current_a,
        pairs.mean_voltage_v,
        linestyle="none",
        marker="o",
        markersize=style.pt(4.5),
        markerfacecolor=style.PAPER,
        markeredgecolor=style.BLACK if look.colour == style.BLACK else look.colour,
        markeredgewidth=style.pt(1.1),
        label=f"means over {pairs.block_s:g} s",
        gid="means",
    )
    for mohm, width, dash, (gid, label) in (
        (resistance.mohm, 1.6, "solid", ("fitted", "fitted")),
        (resistance.low_mohm, 0.9, (0, (3, 2)), ("low", "95 % interval")),
        (resistance.high_mohm, 0.9, (0, (3, 2)), ("high", "_nolegend_")),
    ):
        if mohm is None:
            continue
        at_a, at_v = pairs.line(mohm)
        ax.plot(
            at_a,
            at_v,
            color=style.BLACK,
            linewidth=style.pt(width),
            linestyle=dash,
            label=label,
            gid=f"line-{gid}",
        )
    style.name_axis(ax, pairs.current_name, "A", "x")
    style.name_axis(ax, pairs.voltage_name, "V")
    ax.xaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]))
    ax.margins(0.04)
    ax.set_ylim(*pairs.view_v)
    if pairs.outside:
        ax.text(
            0.99,
            0.02 if pairs.rising else 0.96,
            f"outside the frame: {pairs.outside}",
            transform=ax.transAxes,
            ha="right",
            va="bottom" if pairs.rising else "top",
            fontsize=style.pt(style.SMALL_PT),
            color=style.MUTED,
            gid="outside",
        )
    style.legend_above(ax, columns=2)
    return ax


def draw_places(ax: Axes, places: Sequence[StirPlace], looks: Mapping[str, Look]) -> Axes:
    """Bar: mean current of a place in the stir; diamond: its peak; upright stroke: at rest."""
    shown = [p for p in places if p.mean_a is not None]
    for k, p in enumerate(shown):
        colour = looks[p.place].colour if p.place in looks else style.BLACK
        ax.barh(k, p.mean_a or 0.0, height=_BAR, color=colour, alpha=0.75, gid=f"mean-{k}")
        if p.rest_a is not None:
            ax.plot(
                [p.rest_a, p.rest_a],
                [k - _BAR / 2, k + _BAR / 2],
                color=style.BLACK,
                linewidth=style.pt(1.6),
                gid=f"rest-{k}",
            )
        if p.peak_a is not None:
            _diamond(ax, p.peak_a, k, size_pt=5, gid=f"peak-{k}")
    _rows(ax, [p.place for p in shown])
    top = max((v for p in shown for v in (p.mean_a, p.peak_a) if v is not None), default=1.0)
    ax.set_xlim(0, max(top * 1.06, 0.1))
    style.name_axis(ax, "current: bar mean, diamond peak, stroke at rest", "A", "x")
    return ax


def draw_charge(ax: Axes, charge: Sequence[Charge], looks: Mapping[str, Look]) -> Axes:
    """Bar: charge added up from the current; diamond: the unit's own counter."""
    shown = [c for c in charge if c.logged_mah is not None or c.integrated_mah is not None]
    for k, c in enumerate(shown):
        colour = looks[c.place].colour if c.place in looks else style.BLACK
        if c.integrated_mah is not None:
            ax.barh(k, c.integrated_mah, height=_BAR, color=colour, alpha=0.75, gid=f"added-{k}")
        if c.logged_mah is not None:
            _diamond(ax, c.logged_mah, k, size_pt=6, gid=f"counter-{k}")
    _rows(ax, [c.place for c in shown])
    both = (v for c in shown for v in (c.logged_mah, c.integrated_mah) if v is not None)
    ax.set_xlim(0, max(max(both, default=1.0) * 1.06, 0.1))
    style.name_axis(ax, "charge: bar added up, diamond by counter", "mAh", "x")
    return ax


def _diamond(ax: Axes, value: float, row: int, *, size_pt: float, gid: str) -> None:
    ax.plot(
        [value],
        [row],
        marker="D",
        markersize=style.pt(size_pt),
        color=style.PAPER,
        markeredgecolor=style.BLACK,
        linestyle="none",
        gid=gid,
    )


def _rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(
        range(len(names)), [short(n, 12) for n in names], fontsize=style.pt(style.TEXT_PT)
    )
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0)
    ax.grid(visible=False, axis="y")
    ax.grid(visible=True, axis="x", color=style.GUIDE, linewidth=style.pt(0.6))
    ax.xaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]))
