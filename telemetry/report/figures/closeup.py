"""Close-ups: a stretch of the recording by place, with what happened set off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes

from telemetry.aircraft import Limits
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.text import short
from telemetry.readings import Reading, Readings
from telemetry.report.figures import style
from telemetry.report.figures.style import AnyFigure, Look
from telemetry.report.figures.traces import envelope, of_quantity
from telemetry.results import Event, Review, Stir

_LEFT, _RIGHT, _TOP, _BOTTOM, _BETWEEN = 52.0, 20.0, 8.0, 38.0, 10.0
_DOTS_UNDER = 160
# A close-up spans at least this much, so that the last digit of a steady voltage looks steady.
_LEAST_V = 0.3


def draw_stretch(
    ax: Axes,
    traces: Sequence[Reading],
    looks: Mapping[str, Look],
    limits: Limits,
    quantity: Quantity,
) -> Axes:
    """Readings of some places, each reading a dot where they are few, with name and unit."""
    columns = max(60, round(style.size_pt_of_axes(ax)[0] / 2))
    for k, r in enumerate(traces):
        voltage = quantity is Quantity.VOLTAGE
        style.draw_envelope(
            ax,
            envelope(r, limits, columns),
            looks[r.place],
            name=short(r.place),
            edge="low" if voltage else "high",
            gid=f"trace-{quantity}-{k}",
        )
        if r.size < _DOTS_UNDER:
            ax.plot(
                r.t,
                r.v,
                linestyle="none",
                marker=".",
                markersize=style.pt(4),
                markeredgewidth=0,
                color=looks[r.place].colour,
                gid=f"dots-{quantity}-{k}",
            )
    lows = [float(r.v.min()) for r in traces]
    highs = [float(r.v.max()) for r in traces]
    if quantity is Quantity.CURRENT:
        low, high = style.padded([0.0, *lows], highs, least=0.5)
        ax.set_ylim(0.0 if min(lows) >= 0 else low, high)
        style.name_axis(ax, "current", "A")
    else:
        ax.set_ylim(*style.padded(lows, highs, share=0.16, least=_LEAST_V))
        style.name_axis(ax, "voltage", "V")
    return ax


def draw_mark(ax: Axes, mark: tuple[float, float], wash: str = style.MARK) -> Axes:
    """Set a stretch off: a wash with edges, so that a very short one is seen as well."""
    ax.axvspan(*mark, facecolor=wash, edgecolor="none", zorder=0, gid="mark")
    for edge in mark:
        ax.axvline(edge, color=style.MUTED, linewidth=style.pt(0.7), zorder=0.1)
    return ax


def draw_sag(ax: Axes, event: Event) -> Axes:
    """The reference a sag fell from as a line, and its lowest reading with both values."""
    if event.reference_v is not None:
        ax.axhline(
            event.reference_v, color=style.MUTED, linewidth=style.pt(0.9), linestyle=(0, (2, 2))
        )
    if event.residual_v is not None:
        # A unit's own minimum may lie below every reading drawn.
        bottom, top = ax.get_ylim()
        ax.set_ylim(min(bottom, event.residual_v - 0.08 * (top - bottom)), top)
        known = event.reference_v is not None and event.reference_v - event.residual_v >= 0.01
        fell_from = f" from {event.reference_v:.2f} V" if known else ""
        start, end = ax.get_xlim()
        # On the side with more room.
        right = end - event.end_s > event.start_s - start
        ax.annotate(
            f"{event.residual_v:.2f} V{fell_from}",
            (event.end_s if right else event.start_s, event.residual_v),
            xytext=(style.pt(7 if right else -7), 0),
            textcoords="offset points",
            ha="left" if right else "right",
            va="center",
            fontsize=style.pt(style.TEXT_PT),
            color=style.BLACK,
        )
    return ax


def zoom(
    fig: AnyFigure,
    review: Review,
    readings: Readings,
    looks: Mapping[str, Look],
    *,
    place: str | None,
    span: tuple[float, float],
    mark: tuple[float, float] | None,
) -> None:
    """Voltage and current of a place, of what feeds it and of its mirror, about an event."""
    places = _kin(review, place)
    ax = _two_panels(fig, review, readings.within(span[0], span[1]), looks, places, span, mark)
    event = _event_at(review, place, mark)
    if ax is not None and event is not None:
        draw_sag(ax, event)


def packs(
    fig: AnyFigure,
    review: Review,
    readings: Readings,
    looks: Mapping[str, Look],
    *,
    span: tuple[float, float],
    mark: tuple[float, float] | None,
) -> None:
    """Voltage and current of the packs side by side."""
    places = [p for p in looks if review.aircraft.kind(p) is PlaceKind.PACK]
    _two_panels(fig, review, readings.within(*span), looks, places, span, mark)


def stir(
    fig: AnyFigure,
    review: Review,
    readings: Readings,
    looks: Mapping[str, Look],
    *,
    stir: Stir,
) -> None:
    """A stir and the seconds about it: voltages and currents of the places stirred."""
    beside = max(3.0, 0.25 * stir.duration_s)
    span = (max(0.0, stir.start_s - beside), stir.end_s + beside)
    places = [p.place for p in stir.places]
    mark = (stir.start_s, stir.end_s)
    part = readings.within(*span)
    _two_panels(fig, review, part, looks, places, span, mark, wash=style.WASH)


def _kin(review: Review, place: str | None) -> list[str] | None:
    """The place, its parent and its mirror; None (all places) where no place is named."""
    if place is None:
        return None
    aircraft = review.aircraft
    kin = [place, aircraft.parent(place), aircraft.mirror(place)]
    return [p for p in kin if p is not None]


def _event_at(review: Review, place: str | None, mark: tuple[float, float] | None) -> Event | None:
    if mark is None:
        return None
    for flight in review.flights:
        for event in flight.events:
            here = event.place == place and event.residual_v is not None
            if here and event.start_s <= mark[1] and event.end_s >= mark[0]:
                return event
    return None


def _two_panels(
    fig: AnyFigure,
    review: Review,
    part: Readings,
    looks: Mapping[str, Look],
    places: Sequence[str] | None,
    span: tuple[float, float],
    mark: tuple[float, float] | None,
    wash: str = style.MARK,
) -> Axes | None:
    """Voltages above, currents below, one axis of time; the axes of the voltages, if any."""
    width, height = style.size_pt(fig)
    found = [
        (q, traces)
        for q in (Quantity.VOLTAGE, Quantity.CURRENT)
        if (traces := of_quantity(part, q, review.aircraft, places))
    ]
    names = list(dict.fromkeys(r.place for _, traces in found for r in traces))
    rows = -(-len(names) // style.names_per_row(names, width - _LEFT)) if names else 0
    inner = width - _LEFT - _RIGHT
    top = _TOP + 15.0 * rows
    room = height - top - _BOTTOM - _BETWEEN * (len(found) - 1)
    first = None
    for k, (quantity, traces) in enumerate(found):
        tall = room / len(found)
        ax = style.axes_at(fig, _LEFT, top, inner, tall)
        draw_stretch(ax, traces, looks, review.limits, quantity)
        last = k == len(found) - 1
        style.time_axis(ax, *span, most=max(3, int(inner // 66)), name=last)
        if not last:
            style.no_time_labels(ax)
        if mark is not None:
            draw_mark(ax, mark, wash)
        if k == 0:
            first = ax if quantity is Quantity.VOLTAGE else None
        top += tall + _BETWEEN
    style.legend_of(fig, looks, names, left=_LEFT)
    return first
