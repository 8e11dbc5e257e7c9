"""The part of a report for the next flight: charge, open findings, bench checks."""

from __future__ import annotations

from telemetry.model.text import plain
from telemetry.report.asks import asked_table
from telemetry.report.document import Block, Bullets, Paragraph, Section, Table
from telemetry.report.parts.first_page import by_gravity
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import LEVEL_WORD, NONE, NumberSteps, clock, lasting, sentence
from telemetry.results import ChargeBasis, Flight, Level, OutKind, PackOut, PackState, Review
from telemetry.results.findings import standing_alone

_BASIS = {
    ChargeBasis.RECORDS: "charge records",
    ChargeBasis.REST_VOLTAGE: "voltage at rest",
    ChargeBasis.FULL: "full at the start",
    ChargeBasis.NONE: NONE,
}


def next_flight_section(review: Review, profile: str = "NAME") -> Section:
    """Charge of the packs after the last flight, findings still open, what to test on the bench.

    Parameters
    ----------
    review : Review
    profile : str
        What stands for the aircraft in a command.
    """
    blocks: list[Block] = []
    if review.flights:
        blocks += _charge(review, review.flights[-1])
    alone = standing_alone(by_gravity(review.findings))
    open_ones = [f for f in alone if f.level is not Level.CLEAR]
    if open_ones:
        blocks.append(
            Table(
                caption="Open findings",
                columns=columns("Level", "Place", "Finding", "Do"),
                rows=tuple(
                    cells(
                        LEVEL_WORD[f.level],
                        plain(f.place or "whole log"),
                        sentence(f.title),
                        sentence(f.advice),
                    )
                    for f in open_ones
                ),
                brief=False,
            )
        )
        tests: dict[str, dict[str, None]] = {}
        for f in open_ones:
            if f.confirm:
                tests.setdefault(sentence(f.confirm), {})[plain(f.place or "whole log")] = None
        if tests:
            blocks.append(
                Table(
                    caption="To test on the bench, motor off and the aircraft held",
                    columns=columns("Place", "Test"),
                    rows=tuple(cells(", ".join(places), test) for test, places in tests.items()),
                    brief=False,
                )
            )
    else:
        blocks.append(Paragraph(text="This log leaves no finding open."))
    if (asked := asked_table(review, profile)) is not None:
        blocks.append(asked)
    return Section(
        title="Before the next flight: charge, findings, bench checks",
        anchor="next-flight",
        blocks=tuple(blocks),
    )


def _charge(review: Review, flight: Flight) -> list[Block]:
    blocks: list[Block] = []
    steps = NumberSteps.of(review)
    if flight.packs:
        blocks.append(
            Table(
                caption="The packs after the last flight",
                columns=columns(
                    "Pack",
                    ">Rest V",
                    ">Start %",
                    ">Landing %",
                    ">Drawn mAh",
                    ">Flights left",
                    "~Rests on",
                ),
                rows=tuple(
                    cells(
                        plain(s.place if s.label is None else f"{s.place} ({s.label})"),
                        steps.bare_volts(s.landing_rest_v, s.place),
                        _percent(s.start_pct, s.low_start_pct, s.high_start_pct),
                        _percent(s.landing_pct, s.low_landing_pct, s.high_landing_pct),
                        NONE if s.drawn_mah is None else f"{s.drawn_mah:.0f}",
                        _left(s),
                        _BASIS[s.basis],
                    )
                    for s in flight.packs
                ),
                note=_note(review, flight),
            )
        )
    outs = [o for o in flight.pack_outs if o.kind is not OutKind.LOST]
    if outs:
        blocks.append(Bullets(items=tuple(_out(o, steps) for o in outs)))
    return blocks


def _percent(value: float | None, low: float | None, high: float | None) -> str:
    if value is None or low is None or high is None:
        return NONE
    return f"{value:.0f}" if high - low < 1.5 else f"{value:.0f} ({low:.0f}-{high:.0f})"


def _left(state: PackState) -> str:
    if state.flights_left is None or state.cautious_left is None:
        return NONE
    if state.flights_left == state.cautious_left:
        return str(state.flights_left)
    return f"{state.cautious_left} to {state.flights_left}"


def _note(review: Review, flight: Flight) -> str:
    if all(s.landing_pct is None for s in flight.packs):
        return (
            "How much is left cannot be told: it takes the packs' capacity in the profile and "
            "their current or counter in the log."
        )
    words = (
        f"Flights left keep {review.limits.reserve_pct:.0f} % in reserve; the lower number allows "
        "for flights that take more."
    )
    if any(s.basis == ChargeBasis.FULL for s in flight.packs):
        words += " Full at the start is taken, not known: from a pack that was not, less is left."
    return words


def _out(out: PackOut, steps: NumberSteps) -> str:
    held = "" if out.bus_v is None else f", the bus no lower than {steps.volts(out.bus_v)}"
    what = "Redundancy check" if out.kind is OutKind.CHECK else "Switched off"
    carried = "" if out.carried_a is None else f" at up to {steps.amps(out.carried_a)}"
    return (
        f"{what} at {clock(out.start_s)}: {plain(out.place)} off for {lasting(out.duration_s)}"
        f"{held}{carried}."
    )
