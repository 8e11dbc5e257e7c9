"""Two recordings laid over one another: the same place, the same scale, one moment at zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from matplotlib.axes import Axes

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity
from telemetry.report.figures import style
from telemetry.report.figures.style import BLUE, VERMILLION, Look
from telemetry.report.figures.traces import envelope
from telemetry.results.readings import Reading

#: Of the first flight and of the second: told apart by colour and by dash.
LOOKS = (Look(BLUE, ()), Look(VERMILLION, (4.0, 1.2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlaidTrace:
    """One reading of one of the flights: which (0 or 1), its name, and its moment of zero, s."""

    which: int
    name: str
    reading: Reading
    zero_s: float


def draw_overlay(
    ax: Axes,
    traces: Sequence[OverlaidTrace],
    limits: Limits,
    quantity: Quantity,
    *,
    span: tuple[float, float],
    view: tuple[float, float],
) -> Axes:
    """The readings of one quantity of both flights.

    Parameters
    ----------
    ax : Axes
    traces : sequence of OverlaidTrace
    limits : Limits
    quantity : Quantity
        The line runs through the lowest voltages, and through the highest currents.
    span : (float, float)
        Shown, s from the moment of zero.
    view : (float, float)
        Ends of the scale, in the quantity's unit.
    """
    columns = max(60, round(style.size_pt_of_axes(ax)[0] / 2))
    edge = "low" if quantity is Quantity.VOLTAGE else "high"
    for one in traces:
        moved = replace(one.reading, t=one.reading.t - one.zero_s).within(*span)
        if moved.size:
            style.draw_envelope(
                ax,
                envelope(moved, limits, columns),
                LOOKS[one.which],
                name=one.name,
                edge=edge,
                gid=f"trace-{quantity}-{one.which}",
            )
    if span[0] < 0 < span[1]:
        ax.axvline(0.0, color=style.MUTED, linewidth=style.pt(0.9), gid="zero", zorder=0.5)
    ax.set_ylim(*view)
    name, unit = ("voltage", "V") if quantity is Quantity.VOLTAGE else ("current", "A")
    style.name_axis(ax, name, unit)
    return ax
