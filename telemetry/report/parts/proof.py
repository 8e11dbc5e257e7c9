"""Which figure proves a finding."""

from __future__ import annotations

from telemetry.checks.listed import CODES
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.text import plain
from telemetry.report.document import FigureBlock
from telemetry.report.parts.tables import resistance_caption
from telemetry.report.words import clock
from telemetry.results import Finding, Review

_AROUND_S = 12.0


def proof(review: Review, finding: Finding) -> FigureBlock | None:
    """The figure that shows what the finding says; None where no figure can show it."""
    figure = CODES[finding.code].proof if finding.code in CODES else "zoom"
    if not review.flights or figure is None:
        return None
    number = max(1, min(finding.flight or 1, len(review.flights))) - 1
    # A path belongs to its pack and is measured at the bus.
    kind = review.aircraft.kind(finding.place or "")
    of_pack = figure == "path" and kind is PlaceKind.PACK
    if figure in ("scatter", "path") and finding.start_s is None:
        of_place = _scatter(review, finding, number, path=of_pack)
        return of_place or _zoom(review, finding, number)
    if figure == "charge":
        return FigureBlock(
            name="charge",
            flight=number,
            caption="By counter against added up",
            alt="Charge by place, by the logged counter and added up from the current.",
        )
    if figure == "packs" or of_pack:
        return _packs(review, finding, number, whole=of_pack)
    if figure == "nodes" and review.flights[number].stirs and finding.start_s is None:
        return FigureBlock(
            name="nodes",
            flight=number,
            caption="Current by place in the stir",
            alt="Mean and peak current of each place in the stir.",
        )
    return _zoom(review, finding, number)


def _scatter(review: Review, finding: Finding, number: int, *, path: bool) -> FigureBlock | None:
    """Voltage against current of the place's resistance, or of the path from a pack."""
    for item, found in enumerate(review.flights[number].resistances):
        whose = found.parent if path and found.kind == "branch" else found.place
        if (
            whose == finding.place
            and found.mohm is not None
            and (found.kind == "branch" or not path)
        ):
            return FigureBlock(
                name="scatter",
                flight=number,
                item=item,
                place=found.place,
                caption=resistance_caption(found),
                alt=f"Each point one update; the line falls by {found.mohm:.0f} mOhm.",
            )
    return None


def _packs(
    review: Review, finding: Finding, number: int, *, whole: bool = False
) -> FigureBlock | None:
    """Both packs about what happened, or over the whole flight: how they share from then on."""
    packs = [
        p
        for p in review.log.places(Quantity.CURRENT, Quantity.VOLTAGE)
        if review.aircraft.kind(p) is PlaceKind.PACK
    ]
    if not packs:
        return None
    flight = review.flights[number]
    span, mark = (flight.start_s, flight.end_s), None
    if finding.start_s is not None:
        mark = (finding.start_s, finding.end_s or finding.start_s)
        if not whole and mark[1] - mark[0] < (span[1] - span[0]) / 2:
            span = _around(mark, *span)
    return FigureBlock(
        name="packs",
        flight=number,
        span=span,
        mark=mark,
        caption="The packs side by side",
        alt=f"Voltage and current of each pack from {clock(span[0])} to {clock(span[1])}.",
    )


def _zoom(review: Review, finding: Finding, number: int) -> FigureBlock | None:
    place = finding.place
    mark = None
    if finding.start_s is not None:
        mark = (finding.start_s, finding.start_s if finding.end_s is None else finding.end_s)
    elif place is not None:
        here = [
            e
            for e in review.flights[number].events
            if e.place == place and e.residual_v is not None
        ]
        if here:
            lowest = min(here, key=lambda e: e.residual_v or 0.0)
            mark = (lowest.start_s, lowest.end_s)
    if mark is None or not review.log.places(Quantity.VOLTAGE, Quantity.CURRENT):
        return None
    flight = review.flights[number]
    span = _around(mark, flight.start_s, flight.end_s)
    where = "all places" if place is None else plain(place)
    return FigureBlock(
        name="zoom",
        flight=number,
        place=place,
        span=span,
        mark=mark,
        caption=f"{where[0].upper()}{where[1:]}, {clock(span[0])} to {clock(span[1])}",
        alt=f"Voltage and current of {where}; the event is set off at {clock(mark[0])}.",
    )


def _around(mark: tuple[float, float], start_s: float, end_s: float) -> tuple[float, float]:
    """The mark with some seconds on both sides, within the flight as far as the mark allows."""
    beside = max(_AROUND_S, 0.6 * (mark[1] - mark[0]))
    start = min(mark[0], max(start_s, mark[0] - beside))
    return start, max(mark[1], min(end_s, mark[1] + beside))
