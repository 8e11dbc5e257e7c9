"""The parts of a report that tell what was found: findings, places, stirs, events, charge."""

from __future__ import annotations

from collections.abc import Iterable

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.text import plain
from telemetry.readings import Readings, highest_current, lowest_voltage
from telemetry.report.document import (
    Bar,
    Bars,
    Block,
    Bullets,
    Cell,
    FigureBlock,
    FindingBlock,
    Paragraph,
    Section,
    Table,
)
from telemetry.report.figures.traces import path_order, working_spans
from telemetry.report.parts.facts import beneath, cause_words, causes_head, facts
from telemetry.report.parts.first_page import by_gravity
from telemetry.report.parts.method import BEFORE_BENCH
from telemetry.report.parts.path import differences, path_figure
from telemetry.report.parts.proof import proof
from telemetry.report.parts.tables import cells, columns, each_flight, flight_name, mohm_words
from telemetry.report.parts.worst import worst_table
from telemetry.report.words import (
    LEVEL_STATE,
    NONE,
    NumberSteps,
    clock,
    lasting,
    number,
    sentence,
)
from telemetry.results import Flight, PhaseKind, Review, Stir, StirPlace
from telemetry.results.findings import standing_alone

_STIR_NOTE = (
    "To mirror: mean current against the like place on the other side. Compare it from stir to "
    "stir before the amperes: a pilot stirs faster one day than another."
)


def findings_section(review: Review) -> Section:
    """Each finding with its evidence, the other explanations, and how to tell them apart."""
    steps = NumberSteps.of(review)
    blocks: list[Block] = []
    for finding in standing_alone(by_gravity(review.findings)):
        when = None if finding.start_s is None else f"at {clock(finding.start_s)}"
        where = (finding.place, finding.servo, flight_name(review, finding.flight), when)
        span = None
        if finding.start_s is not None:
            span = (finding.start_s, finding.start_s if finding.end_s is None else finding.end_s)
        blocks.append(
            FindingBlock(
                level=finding.level,
                title=sentence(finding.title).rstrip("."),
                where=", ".join(plain(w) for w in where if w),
                facts=facts(finding, steps),
                explanations=cause_words(finding),
                causes_head=causes_head(finding),
                beneath=beneath(finding, review.findings),
                confirm=sentence(finding.confirm),
                advice=sentence(finding.advice),
                code=finding.code,
                place=plain(finding.place or ""),
                span=span,
                figure=proof(review, finding),
            )
        )
    if blocks:
        blocks.insert(0, Paragraph(text=BEFORE_BENCH))
    else:
        blocks.append(
            Paragraph(
                text="Nothing was found in this log. It shows only what was logged, at the log's "
                "interval, and does not clear the aircraft to fly."
            )
        )
    alone = {(f.code, f.place) for f in review.findings}
    others = [f for f in review.aircraft_open if (f.code, f.place) not in alone]
    if others:
        blocks.append(Paragraph(text="Open on the aircraft by its other flights:"))
        told = tuple(sentence(f"{LEVEL_STATE[f.level]}: {plain(f.title)}") for f in others)
        blocks.append(Bullets(items=told))
    return Section(title="Findings", anchor="findings", blocks=tuple(blocks))


def places_section(review: Review) -> Section:
    """Each place: lowest voltage by phase, highest current, resistance, margin, worst cases."""
    readings, steps = review.readings, NumberSteps.of(review)
    blocks: list[Block] = []
    for k, flight, before in each_flight(review):
        if (figure := path_figure(review, k, before)) is not None:
            blocks.append(figure)
        named: Iterable[str] = (
            *(r.place for q in (Quantity.VOLTAGE, Quantity.CURRENT) for r in readings.of(q)),
            *(m.place for m in flight.margins),
            *(r.place for r in flight.resistances),
        )
        places = path_order(named, review.aircraft)
        if not places:
            continue
        rows = tuple(_place_row(readings, flight, p, steps) for p in places)
        blocks.append(
            Table(
                caption=f"{before}Lowest voltage, highest current, resistance and margin",
                columns=columns(
                    "Place",
                    (">Ground V", "Lowest voltages by phase."),
                    ">Stir V",
                    ">Flight V",
                    ">Highest A",
                    (
                        "~Resistance, mOhm",
                        "Resistance: of the source for packs and bus, of lead and contacts "
                        "for the others, with its 95 % interval.",
                    ),
                    (
                        ">Margin V",
                        "Margin: lowest voltage in stir and flight above the restart level.",
                    ),
                ),
                rows=rows,
                note=f"{NONE} means not measured.",
            )
        )
        if apart := differences(flight):
            blocks.append(Bullets(items=apart))
        if (worst := worst_table(flight.margins, steps, before)) is not None:
            blocks.append(worst)
    if not blocks:
        blocks.append(Paragraph(text="The log has no place with a voltage or a current."))
    return Section(title="Places", anchor="places", blocks=tuple(blocks))


def _place_row(
    readings: Readings, flight: Flight, place: str, steps: NumberSteps
) -> tuple[Cell, ...]:
    by_phase = []
    for kind in (PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.FLIGHT):
        spans = [p for p in flight.phases if p.kind is kind]
        low = lowest_voltage(readings, place, spans)
        by_phase.append(steps.bare_volts(None if low is None else low.value, place))
    high = highest_current(readings, place, working_spans(flight))
    margin = next((m for m in flight.margins if m.place == place), None)
    resistance = next(
        (r for r in flight.resistances if r.place == place and r.mohm is not None), None
    )
    return cells(
        plain(place),
        *by_phase,
        steps.bare_amps(None if high is None else high.value, place),
        NONE if resistance is None else mohm_words(resistance),
        steps.bare_volts(None if margin is None else margin.observed_v, place),
    )


def stirs_section(review: Review) -> Section | None:
    """Each stir by place; None where there was none."""
    blocks: list[Block] = []
    for k, flight, before in each_flight(review):
        for n, stir in enumerate(flight.stirs):
            title = f"{before}Stir at {clock(stir.start_s)} ({_stir_words(stir, flight)})"
            note = "" if blocks else _STIR_NOTE
            blocks += _stir_blocks(k, n, stir, review, title, note)
    if not blocks:
        return None
    return Section(title="Stirs", anchor="stirs", blocks=tuple(blocks))


def _stir_words(stir: Stir, flight: Flight) -> str:
    when = "before flight"
    if flight.kind == "bench":
        when = "on the bench"
    elif stir.after_flight:
        when = "after landing, servos warm"
    rhythm = "" if stir.rhythm_hz is None else f", {stir.rhythm_hz:.1f} turns a second"
    return f"{when}, {lasting(stir.duration_s)}{rhythm}"


def _stir_blocks(
    flight: int, item: int, stir: Stir, review: Review, title: str, note: str
) -> list[Block]:
    steps = NumberSteps.of(review)
    means = {p.place: p.mean_a for p in stir.places}
    longest = max((m for m in means.values() if m is not None), default=0.0)
    rows = tuple(
        cells(
            plain(p.place),
            steps.bare_amps(p.rest_a, p.place),
            steps.bare_amps(p.mean_a, p.place),
            steps.bare_amps(p.p95_a, p.place),
            steps.bare_amps(p.peak_a, p.place),
            _to_mirror(p, means, review.aircraft),
            steps.bare_volts(p.lowest_v, p.place),
            NONE if p.sag_mohm is None else number(p.sag_mohm, 1.0),
        )
        for p in stir.places
    )
    bars = tuple(
        Bar(
            label=plain(p.place),
            share=None if p.mean_a is None or longest <= 0 else max(0.0, p.mean_a / longest),
            value=steps.amps(p.mean_a, p.place),
        )
        for p in stir.places
    )
    span = (stir.start_s, stir.end_s)
    return [
        Table(
            caption=title,
            columns=columns(
                "Place",
                ">Rest A",
                ">Mean A",
                "~>95 % A",
                ">Peak A",
                ">To mirror",
                ">Lowest V",
                ">Sag mOhm",
            ),
            rows=rows,
            note=note,
        ),
        Bars(caption="Mean current by place", bars=bars),
        FigureBlock(
            name="nodes",
            flight=flight,
            item=item,
            caption=f"Current by place, stir at {clock(stir.start_s)}",
            alt="Mean and peak current of each place: "
            + "; ".join(f"{b.label} {b.value}" for b in bars),
        ),
        FigureBlock(
            name="stir",
            flight=flight,
            item=item,
            span=span,
            caption=f"The stir at {clock(stir.start_s)} close up",
            alt=f"Currents and voltages by place from {clock(span[0])} to {clock(span[1])}.",
        ),
    ]


def _to_mirror(place: StirPlace, means: dict[str, float | None], aircraft: Aircraft) -> str:
    mirror = aircraft.mirror(place.place, means)
    other = None if mirror is None else means[mirror]
    if place.mean_a is None or other is None or other <= 0:
        return NONE
    return f"{place.mean_a / other:.2f}"
