"""The budget becomes a document: what the wiring and the packs can carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from telemetry.aircraft import Aircraft
from telemetry.circuit.budget_records import Budget, PlaceBudget
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.document import Document, FigureBlock, FirstPage, KeyNumber, Section
from telemetry.report.documents.budget_parts import (
    leads_section,
    method_section,
    parts_section,
    places_section,
    thicker_section,
    worst_case_words,
)
from telemetry.report.figures.stops import stops_of
from telemetry.report.parts.method import cautions_section, limits_section
from telemetry.report.parts.path import PathPicture
from telemetry.report.words import CASE_WORD, NONE, NOT_MEASURED, counted, number, quoted, sentence
from telemetry.results import Level, WorstCase

_WORD = {
    Level.WATCH: "Watch",
    Level.CLEAR: "Within the limits known",
    Level.UNKNOWN: "Cannot be told",
}
_MOST_CHECKS = 5


@dataclass(frozen=True, slots=True)
class _Problem:
    place: str
    what: str
    do: str


def budget_document(budget: Budget, aircraft: Aircraft, flights: int, named: str) -> Document:
    """The whole report of a budget, as plain records.

    Parameters
    ----------
    budget : Budget
    aircraft : Aircraft
        As it was worked out for.
    flights : int
        How many flights it rests on; 0 for a design.
    named : str
        What the profile was called by on the command line.
    """
    problems = tuple(_problems(budget, aircraft))
    level = _level(budget, problems)
    rests = f"From {counted(flights, 'flight')}" if flights else "From the profile alone: a design"
    sections = (
        Section(title="The power path", anchor="path", blocks=(_figure(budget, aircraft),)),
        places_section(budget),
        leads_section(budget),
        parts_section(budget),
        thicker_section(budget),
        limits_section(aircraft, aircraft.limits),
        method_section(budget),
        cautions_section(),
    )
    name = plain(aircraft.name)
    return Document(
        title=f"{name}: power budget",
        file="",
        first=FirstPage(
            aircraft=name,
            flight=f"Power budget. {rests}",
            level=level,
            word=_WORD[level],
            reason=_reason(budget, level, problems),
            numbers=_numbers(budget),
            checks=_checks(problems),
            timeline=None,
        ),
        sections=sections,
        footer=f"{made_by()}. Advice from a profile and logs; no proof of airworthiness.",
        next_step=_next_step(flights, named),
    )


def _next_step(flights: int, named: str) -> tuple[str, str]:
    if flights:
        return "The same with figures, to show or to print:", (
            f"busbook budget {quoted(named)} --out reports"
        )
    return "Held against what was measured:", f"busbook budget {quoted(named)} --log flight.csv"


def _problems(budget: Budget, aircraft: Aircraft) -> Iterator[_Problem]:
    """What is over a limit or unlike the wire table, in the order of gravity."""
    for p in budget.parts:
        if p.over:
            yield _Problem(
                p.place,
                f"{plain(p.place)}: {_a(p.usual_a)} for a minute through {p.part} "
                f"({plain(p.what)}), which may carry {_a(p.limit_a)}",
                f"Fit more pins or thicker wire at {plain(p.place)}, or set its limit from the "
                "data sheet.",
            )
    watch_v = aircraft.limits.margin_watch_v
    for place, case in _cases(budget, "pack-lost"):
        margin = (case.voltage_v or 0.0) - place.restart_v
        if margin < watch_v:
            yield _Problem(
                place.place,
                f"{plain(place.place)}: with one pack lost {_v(case.voltage_v)}, "
                f"{_beside(margin)} the restart level",
                "Shorten or thicken the path from the packs, or fit stronger packs.",
            )
    for lead in budget.leads:
        excess = lead.excess_mohm
        if lead.differs and excess is not None and excess.value > 0:
            yield _Problem(
                lead.place,
                f"{plain(lead.place)}: its lead measures {excess.value:.0f} mOhm more than the "
                f"{lead.expected_mohm.value:.0f} of the wire table",
                f"Check plugs and lead of {plain(lead.place)}, or correct its length and gauge.",
            )


def _cases(budget: Budget, name: str) -> list[tuple[PlaceBudget, WorstCase]]:
    return [
        (p, c) for p in budget.places for c in p.cases if c.case == name and c.voltage_v is not None
    ]


def _level(budget: Budget, problems: Sequence[_Problem]) -> Level:
    if problems:
        return Level.WATCH
    return Level.CLEAR if any(p.over is not None for p in budget.parts) else Level.UNKNOWN


def _reason(budget: Budget, level: Level, problems: Sequence[_Problem]) -> str:
    if problems:
        more = len(problems) - 1
        return sentence(problems[0].what)[:-1] + (f"; {more} more below." if more else ".")
    if level is Level.UNKNOWN:
        return (
            "No lead, plug or supply with both a limit and a usual current is known (servos "
            "stalled all at once are no use): put them into the profile, and give logs with --log."
        )
    free = sum(p.limit_a is None for p in budget.parts)
    told = f"; {counted(free, 'part')} without a limit in the profile" if free else ""
    return f"Each part with a limit carries less than it{told}. A design cannot show wear."


def _checks(problems: Sequence[_Problem]) -> tuple[str, ...]:
    asked = list(dict.fromkeys(p.do for p in problems))
    shown = asked[:_MOST_CHECKS]
    if len(asked) > len(shown):
        shown.append(f"{len(asked) - len(shown)} more: see the tables.")
    return (*shown, "Your usual checks before flight remain: see Cautions.")


def _numbers(budget: Budget) -> tuple[KeyNumber, ...]:
    return (
        _one_lost(budget),
        _highest(budget),
        _nearest(budget),
        _largest_drop(budget),
        _most_to_gain(budget),
    )


def _key(label: str, value: str | None, detail: str) -> KeyNumber:
    shown = NOT_MEASURED if value is None else value
    return KeyNumber(label=label, value=shown, detail=detail, measured=value is not None)


def _one_lost(budget: Budget) -> KeyNumber:
    label = "With one pack lost"
    found = _cases(budget, "pack-lost")
    if not found:
        return _key(label, None, "see the worst cases for what is missing")
    place, case = min(found, key=lambda x: (x[1].voltage_v or 0.0) - x[0].restart_v)
    margin = (case.voltage_v or 0.0) - place.restart_v
    return _key(label, _v(case.voltage_v), f"{plain(place.place)}, {_beside(margin)} restart")


def _highest(budget: Budget) -> KeyNumber:
    label = "Highest current"
    found = [
        (p.worst_a, f"{plain(p.place)}, {worst_case_words(p, budget)}")
        for p in budget.parts
        if p.worst_a is not None and p.worst_case
    ]
    found += [
        (c.current_a, f"{plain(p.place)}, {CASE_WORD.get(c.case, c.case)}")
        for p in budget.places
        for c in p.cases
        if c.current_a is not None
    ]
    if not found:
        return _key(label, None, "no part with a current is known")
    amps, where = max(found, key=lambda x: x[0])
    return _key(label, _a(amps), where)


def _nearest(budget: Budget) -> KeyNumber:
    label = "Nearest to its limit"
    found = [p for p in budget.parts if p.over is not None]
    if not found:
        return _key(label, None, "no part with both a limit and a usual current")
    part = max(found, key=lambda p: p.usual_ratio)
    detail = f"{plain(part.place)}, {part.part}: {_a(part.usual_a)} of {_a(part.limit_a)}"
    return _key(label, f"{100 * part.usual_ratio:.0f} %", detail)


def _largest_drop(budget: Budget) -> KeyNumber:
    label = "Largest drop in a lead"
    found = [x for x in budget.leads if x.worst_drop_v is not None]
    if not found:
        return _key(label, None, "no lead with a current is known")
    lead = max(found, key=lambda x: x.worst_drop_v or 0.0)
    return _key(label, _v(lead.worst_drop_v), f"{plain(lead.place)}, {lead.wire}, worst case")


def _most_to_gain(budget: Budget) -> KeyNumber:
    label = "Most to gain"
    found = [(t.gain_v, x, t) for x in budget.leads for t in x.thicker[:1] if t.gain_v is not None]
    if not found:
        return _key(label, None, "no thicker wire to compare")
    gain, lead, wire = max(found, key=lambda x: x[0])
    return _key(label, _v(gain), f"{plain(lead.place)} with {wire.wire}, {wire.grams:.0f} g more")


def picture_of_budget(budget: Budget, aircraft: Aircraft) -> PathPicture:
    """The path with expected voltage, worst current, resistance and drop at it."""
    problems = [p.place for p in _problems(budget, aircraft)]
    places = {p.place: p for p in budget.places}
    leads = {x.place: x for x in budget.leads}
    worst: dict[str, float] = {}
    for part in budget.parts:
        if part.worst_a is not None:
            worst[part.place] = max(worst.get(part.place, 0.0), part.worst_a)
    for p in budget.places:
        for case in p.cases:
            if case.current_a is not None:
                worst[p.place] = max(worst.get(p.place, 0.0), case.current_a)
    numbers = {}
    for stop in stops_of(aircraft):
        place, lead = places.get(stop.place), leads.get(stop.place)
        volts = None if place is None else place.predicted_v or place.measured_v
        mohm = None if lead is None else lead.measured_mohm or lead.expected_mohm
        numbers[stop.place] = (
            NONE if volts is None else number(volts.value, 0.01),
            NONE if stop.place not in worst else number(worst[stop.place], 0.1),
            NONE if mohm is None else f"{mohm.value:.0f}",
            NONE if lead is None or lead.worst_drop_v is None else number(lead.worst_drop_v, 0.01),
        )
    return PathPicture(
        aircraft=aircraft,
        headings=("expect V", "worst A", "mOhm", "drop V"),
        numbers=numbers,
        amps=worst,
        levels=dict.fromkeys(problems, Level.WATCH),
    )


def _figure(budget: Budget, aircraft: Aircraft) -> FigureBlock:
    load = "all servos moving" if budget.basis == "design" else "the mean load before landing"
    return FigureBlock(
        name="path",
        caption=f"Voltage to expect at {load}, highest current of the cases, resistance of the "
        "lead (measured where it was, else from the wire table), and what the lead takes at that "
        "current. Wider lines carry more. Triangle: see above.",
        alt=picture_of_budget(budget, aircraft).alt,
    )


def _beside(margin_v: float) -> str:
    return f"{_v(abs(margin_v))} {'above' if margin_v >= 0 else 'below'}"


def _v(volts: float | None) -> str:
    return f"{number(volts, 0.01)} V"


def _a(amps: float | None) -> str:
    return f"{number(amps, 0.1)} A"
