"""The parts of a report that list what was measured: events, resistances, charge, servos."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from telemetry.model.text import plain
from telemetry.report.document import Block, Cell, FigureBlock, Paragraph, Section, Table
from telemetry.report.parts.tables import (
    cells,
    columns,
    each_flight,
    mohm_words,
    resistance_caption,
)
from telemetry.report.words import (
    EVENT_WORD,
    EVIDENCE_WORD,
    NONE,
    ORIGIN_WORD,
    PHASE_WORD,
    RESISTANCE_WORD,
    NumberSteps,
    clock,
    counted,
    lasting,
    percent,
)
from telemetry.results import Event, EventKind, Mark, Origin, Resistance, Review, ServoShare

_MOST_EVENTS = 60
_MOST_BY_LOAD = 20


def events_section(review: Review) -> Section:
    """Events that the load does not explain, then the deepest of those that it explains."""
    steps = NumberSteps.of(review)
    blocks: list[Block] = []
    for _, flight, before in each_flight(review):
        if not flight.events:
            continue
        blocks.append(Paragraph(text=f"{before}{_event_counts(flight.events)}."))
        spikes = [e for e in flight.events if e.kind is EventKind.SPIKE]
        loads = [e for e in flight.events if _by_load(e)]
        rest = [e for e in flight.events if e.kind is not EventKind.SPIKE and not _by_load(e)]
        if rest:
            blocks.append(_fall_table("Falls that the load does not explain", rest, steps))
        if loads:
            blocks.append(_fall_table("Sags that the load explains", loads, steps, brief=False))
        if spikes:
            blocks.append(_spike_table(spikes, steps))
    if not blocks:
        blocks.append(Paragraph(text="No sag, undervoltage, spike or brownout was seen."))
    if review.marks:
        blocks.insert(0, _mark_table(review.marks))
    return Section(title="Events", anchor="events", blocks=tuple(blocks))


def _mark_table(marks: Sequence[Mark]) -> Table:
    return Table(
        caption="Moments that were marked",
        columns=columns(">No.", "At", "Words"),
        rows=tuple(
            (
                Cell(text=str(number)),
                Cell(text=clock(mark.time_s), span=(mark.time_s, mark.time_s)),
                Cell(text=plain(mark.text)),
            )
            for number, mark in enumerate(marks, 1)
        ),
    )


def _fall_table(
    caption: str, events: Sequence[Event], steps: NumberSteps, *, brief: bool = True
) -> Table:
    """The events by time; where there are many, the deepest and the highest of them."""
    most = _MOST_EVENTS if brief else _MOST_BY_LOAD
    shown, left = _worst(events, most, lambda e: e.depth_v or 0.0)
    by_load = "By load: how much of the depth the load explains." if brief else ""
    cut = "+: cut off by a gap or the end." if any(e.truncated for e in shown) else ""
    return Table(
        caption=f"{caption}: the {most} most serious of {len(events)}" if left else caption,
        columns=columns(
            "At",
            "Place",
            "What",
            ">Lowest V",
            ">Depth V",
            ">Peak A",
            (">Lasted", cut),
            "~Phase",
            ("~>By load", by_load),
            "~Origin",
            "~Remark",
        ),
        rows=tuple(_fall_row(e, steps) for e in shown),
        note="The JSON holds them all." if left else "",
        brief=brief,
    )


def _worst(
    events: Sequence[Event], most: int, gravity: Callable[[Event], float]
) -> tuple[list[Event], int]:
    """The worst events by time, and how many are left out."""
    kept = sorted(events, key=gravity, reverse=True)[:most]
    return sorted(kept, key=lambda e: (e.start_s, e.place)), len(events) - len(kept)


def _spike_table(events: Sequence[Event], steps: NumberSteps) -> Table:
    shown, left = _worst(events, _MOST_BY_LOAD, lambda e: e.prominence_a or e.peak_a or 0.0)
    caption = "Current spikes"
    return Table(
        caption=f"{caption}: the highest {_MOST_BY_LOAD} of {len(events)}" if left else caption,
        columns=columns(
            "At", "Place", ">Peak A", ">Above usual A", ">Lasted", ">mAh", ">Burst", "Phase"
        ),
        rows=tuple(
            (
                Cell(text=clock(e.start_s), span=(e.start_s, e.end_s)),
                *cells(
                    plain(e.place),
                    steps.bare_amps(e.peak_a, e.place),
                    steps.bare_amps(e.prominence_a, e.place),
                    _lasted(e),
                    NONE if e.charge_mah is None else f"{e.charge_mah:.1f}",
                    NONE if e.burst is None else str(e.burst),
                    PHASE_WORD[e.phase],
                ),
            )
            for e in shown
        ),
        note="Spikes that follow one another closely form one burst."
        + (" The JSON holds them all." if left else ""),
        brief=False,
    )


def _lasted(event: Event) -> str:
    return lasting(event.duration_s) + (" +" if event.truncated else "")


def _by_load(event: Event) -> bool:
    return event.kind is EventKind.SAG and event.origin is Origin.LOAD


def _event_counts(events: Sequence[Event]) -> str:
    counts = []
    for kind in EventKind:
        number = sum(e.kind is kind for e in events)
        if number:
            plural = "brownouts" if kind is EventKind.BROWNOUT else ""
            counts.append(counted(number, EVENT_WORD[kind], plural))
    loads = sum(_by_load(e) for e in events)
    words = ", ".join(counts)
    return f"{words}; {loads} explained by load" if loads else words


def _fall_row(event: Event, steps: NumberSteps) -> tuple[Cell, ...]:
    texts = cells(
        plain(event.place),
        EVENT_WORD[event.kind],
        steps.bare_volts(event.residual_v, event.place),
        steps.bare_volts(event.depth_v, event.place),
        steps.bare_amps(event.peak_a, event.place),
        _lasted(event),
        PHASE_WORD[event.phase],
        NONE if event.explained is None else percent(event.explained),
        EVIDENCE_WORD[event.evidence]
        if event.kind is EventKind.BROWNOUT
        else ORIGIN_WORD[event.origin],
        plain(event.note),
    )
    at = Cell(text=clock(event.start_s), span=(event.start_s, event.end_s))
    return (at, *texts)


def resistances_section(review: Review) -> Section:
    """Each measured resistance with its interval, or why there is none."""
    blocks: list[Block] = []
    for k, flight, before in each_flight(review):
        if not flight.resistances:
            continue
        rows = tuple(_resistance_row(r) for r in flight.resistances)
        refused = "; ".join(
            f"{plain(r.place)} ({plain(r.refused) or 'no reason given'})"
            for r in flight.resistances
            if r.mohm is None
        )
        blocks.append(
            Table(
                caption=f"{before}Resistances, mOhm with 95 % interval",
                columns=columns(
                    "Place",
                    "Of what",
                    ">mOhm",
                    (
                        ">Expected",
                        "Expected: from the wire table, where the profile knows the lead.",
                    ),
                    ("~>Updates", "Updates: independent updates behind the estimate."),
                    (
                        "~>Read after",
                        "Read after: how long after a change of current the voltage was read; "
                        "compare only like with like.",
                    ),
                ),
                rows=rows,
                note=f"Refused: {refused}." if refused else "",
            )
        )
        blocks += [
            FigureBlock(
                name="scatter",
                flight=k,
                item=n,
                place=r.place,
                caption=resistance_caption(r),
                alt=f"Each point one update; the line has the slope of {mohm_words(r)} mOhm.",
                quiet=all(r.place not in (f.place, *f.also) for f in review.findings),
            )
            for n, r in enumerate(flight.resistances)
            if r.mohm is not None
        ]
    if not blocks:
        blocks.append(Paragraph(text="No resistance could be measured from this log."))
    return Section(title="Resistances", anchor="resistances", blocks=tuple(blocks))


def _resistance_row(resistance: Resistance) -> tuple[Cell, ...]:
    what = RESISTANCE_WORD.get(resistance.kind, plain(resistance.kind))
    if resistance.parent:
        what += f" from {plain(resistance.parent)}"
    expected = resistance.expected_mohm
    return cells(
        plain(resistance.place),
        what,
        "refused" if resistance.mohm is None else mohm_words(resistance),
        NONE if expected is None else f"{expected:.0f}",
        str(resistance.updates),
        NONE if resistance.scale_s is None else lasting(resistance.scale_s),
    )


def charge_section(review: Review) -> Section:
    """Charge by place: logged against added up, share, voltages at both ends."""
    steps = NumberSteps.of(review)
    blocks: list[Block] = []
    for k, flight, before in each_flight(review):
        if not flight.charge:
            continue
        rows = tuple(
            cells(
                plain(c.place),
                steps.bare_mah(c.logged_mah, c.place),
                steps.bare_mah(c.integrated_mah, c.place),
                NONE if c.share is None else percent(c.share),
                steps.bare_volts(c.start_v, c.place),
                steps.bare_volts(c.end_v, c.place),
            )
            for c in flight.charge
        )
        blocks.append(
            Table(
                caption=f"{before}Charge, mAh",
                columns=columns(
                    "Place", ">By counter", ">Added up", ">Share", ">Start V", ">End V"
                ),
                rows=rows,
                note="By counter: the unit's own. Added up: from the logged current, not across "
                "gaps. The two should agree within the sensor's error.",
            )
        )
        blocks.append(
            FigureBlock(
                name="charge",
                flight=k,
                caption="Charge by place",
                alt="; ".join(
                    f"{plain(c.place)} {steps.mah(c.logged_mah, c.place)} by counter, "
                    f"{steps.mah(c.integrated_mah, c.place)} added up"
                    for c in flight.charge
                ),
            )
        )
    if not blocks:
        blocks.append(Paragraph(text="The log has neither a counter of charge nor a current."))
    return Section(title="Charge", anchor="charge", blocks=tuple(blocks))


def servos_section(review: Review) -> Section | None:
    """Current by servo or group, from columns or checks; None where neither tells."""
    shares = [s for f in review.flights for s in f.servos]
    tables = (_by_control(shares), _by_check(shares))
    blocks = tuple(t for t in tables if t is not None)
    return Section(title="Servos", anchor="servos", blocks=blocks) if blocks else None


def _by_control(shares: Sequence[ServoShare]) -> Table | None:
    rows = tuple(
        cells(
            plain(s.place),
            plain(s.drives or ", ".join(s.outputs) or NONE),
            NONE if s.travel_a_per_pct_s is None else f"{1000 * s.travel_a_per_pct_s:.1f}",
            NONE
            if s.low is None or s.high is None
            else f"{1000 * s.low:.1f} to {1000 * s.high:.1f}",
            f"{s.condition_index:.0f}",
            "yes" if s.separable else "no, moves with others",
        )
        for s in shares
        if s.moves is None
    )
    if not rows:
        return None
    return Table(
        caption="Current of servos by control, mA for each % of travel a second",
        columns=columns(
            "Place",
            "Drives",
            ">Value",
            ">95 % range",
            (
                "~>Condition",
                "Condition: above about 30 the controls moved too much alike for names "
                "(Belsley, Kuh & Welsch 1980, from memory).",
            ),
            "Told apart",
        ),
        rows=rows,
        note="Servos that move together cannot be told apart. Of controls logged slowly the "
        "columns miss some travel: the range then reaches far down.",
    )


def _by_check(shares: Sequence[ServoShare]) -> Table | None:
    rows = tuple(
        cells(
            plain(s.place),
            plain(s.drives or NONE),
            f"{s.moves}",
            NONE if s.moving_a is None else f"{s.moving_a:.1f}",
            NONE
            if s.moving_low_a is None or s.moving_high_a is None
            else f"{s.moving_low_a:.1f} to {s.moving_high_a:.1f}",
            NONE if s.resting_a is None else f"{s.resting_a:.2f}",
            "yes" if s.separable else "no",
        )
        for s in shares
        if s.moves is not None
    )
    if not rows:
        return None
    return Table(
        caption="Current above rest while one control after the other was checked on the ground, A",
        columns=columns(
            "Place",
            "Drives",
            "~>Moves",
            ">Moving",
            ">95 % range",
            ">Between moves",
            "One servo",
        ),
        rows=rows,
        note="No control is logged: the surface is the one whose servos live at just the places "
        "that drew. Joined by 'or': these live at the same places. Without a name: the profile has "
        "no surface at just these places. A current between the moves is that of a surface held "
        "against its stop.",
    )
