"""The budget becomes a document: what the wiring and the packs can carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from telemetry.aircraft import Aircraft
from telemetry.figures.names import plain
from telemetry.figures.stops import stops_of
from telemetry.power.budget_records import Budget, LeadBudget, PlaceBudget
from telemetry.power.intervals import Interval
from telemetry.report.document import (
    Block,
    Document,
    FigureBlock,
    FirstPage,
    KeyNumber,
    Paragraph,
    Section,
    Table,
)
from telemetry.report.json import made_by
from telemetry.report.method import cautions_section, limits_section
from telemetry.report.path import PathPicture
from telemetry.report.tables import NONE, cells, columns
from telemetry.report.words import CASE_WORD, NOT_MEASURED, Steps, counted, number, quoted, sentence
from telemetry.report.worst import left_out, worst_table
from telemetry.results import Level, PartLoad, WorstCase

_WORD = {
    Level.WATCH: "Watch",
    Level.CLEAR: "Within the limits known",
    Level.UNKNOWN: "Cannot be told",
}
_MOST_CHECKS = 5
_DESIGNED = "Packs at nominal voltage; intervals from packs at their floor to full ones."


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
        _places(budget),
        _leads(budget),
        _parts(budget),
        _thicker(budget),
        limits_section(aircraft, aircraft.limits),
        _method(budget),
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
                f"{plain(place.place)}: with one pack lost {_v(case.voltage_v)}, {_v(margin)} "
                "above the restart level",
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
    above = (case.voltage_v or 0.0) - place.restart_v
    return _key(label, _v(case.voltage_v), f"{plain(place.place)}, {_v(above)} above restart")


def _highest(budget: Budget) -> KeyNumber:
    label = "Highest current"
    found = [
        (p.worst_a, f"{plain(p.place)}, {_case(p, budget)}")
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


def _case(part: PartLoad, budget: Budget) -> str:
    """In which case a part carries most."""
    if part.worst_case == "observed":
        return "all servos moving" if budget.basis == "design" else "highest seen"
    return CASE_WORD.get(part.worst_case, part.worst_case) or NONE


def _ratio(part: PartLoad) -> float:
    return (part.usual_a or 0.0) / (part.limit_a or 1.0)


def _nearest(budget: Budget) -> KeyNumber:
    label = "Nearest to its limit"
    found = [p for p in budget.parts if p.over is not None]
    if not found:
        return _key(label, None, "no part with both a limit and a usual current")
    part = max(found, key=_ratio)
    detail = f"{plain(part.place)}, {part.part}: {_a(part.usual_a)} of {_a(part.limit_a)}"
    return _key(label, f"{100 * _ratio(part):.0f} %", detail)


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


def _places(budget: Budget) -> Section:
    blocks: list[Block] = []
    if budget.places:
        blocks.append(
            Table(
                caption="Predicted against measured",
                columns=columns("Place", "Predicted V", "Measured V", "Differ", ">Lowest V"),
                rows=tuple(
                    cells(
                        plain(p.place),
                        _interval(p.predicted_v, 0.01),
                        _interval(p.measured_v, 0.01),
                        _yes(p.differs),
                        NONE if p.lowest_v is None else number(p.lowest_v, 0.01),
                    )
                    for p in budget.places
                ),
                note=(
                    f"With all servos moving. {_DESIGNED}"
                    if budget.basis == "design"
                    else "At the mean load of the last minute before landing: what the feeding "
                    "place measured, less the wire table's resistance times the current. They "
                    "differ where neither the intervals nor two sensors explain it."
                ),
            )
        )
        if budget.basis == "design":
            worst = worst_table(budget.places, Steps({}), how=_DESIGNED)
        else:
            worst = worst_table(budget.places, Steps({}))
        missing = left_out(budget.places).strip()
        if worst is not None:
            blocks.append(worst)
        elif missing:
            blocks.append(Paragraph(text=missing))
    return _section("Places", "places", blocks, "The profile names no bus and no nodes.")


def _leads(budget: Budget) -> Section:
    blocks: list[Block] = []
    if budget.leads:
        blocks.append(
            Table(
                caption="Leads: resistance out and back with plugs, mOhm",
                columns=columns(
                    "Lead of", "Wire", "~>Length m", ">Expected", ">Measured", "Differ", ">Drop V"
                ),
                rows=tuple(
                    cells(
                        plain(x.place),
                        x.wire,
                        f"{x.length_m:g}",
                        _interval(x.expected_mohm, 1.0),
                        _interval(x.measured_mohm, 1.0),
                        _difference(x),
                        NONE if x.worst_drop_v is None else number(x.worst_drop_v, 0.01),
                    )
                    for x in budget.leads
                ),
                note="Expected: from gauge or section, length, copper of 0 to 40 degC, stranding "
                "and plugs. Differ: by how many mOhm the measured one surely lies off. Drop: at "
                "the worst current.",
            )
        )
    return _section("Leads", "leads", blocks, "The profile describes no lead.")


def _parts(budget: Budget) -> Section:
    blocks: list[Block] = []
    if budget.parts:
        blocks.append(
            Table(
                caption="Wires, plugs and supplies: current against limit, A",
                columns=columns(
                    "Place",
                    "Part",
                    "~What",
                    ">Usual",
                    ">Worst",
                    "~Worst case",
                    ">Limit",
                    "~From",
                    "Over",
                ),
                rows=tuple(
                    cells(
                        plain(p.place),
                        p.part,
                        plain(p.what),
                        _number(p.usual_a),
                        _number(p.worst_a),
                        _case(p, budget),
                        _number(p.limit_a),
                        p.limit_from or NONE,
                        _over(p),
                    )
                    for p in budget.parts
                ),
                note="Usual: the highest mean over a minute"
                + (" (of a design: all servos moving)" if budget.basis == "design" else "")
                + "; a continuous limit is for this one. The worst one may exceed it for a moment.",
            )
        )
    return _section("Limits", "parts", blocks, "The profile describes no lead and no supply.")


def _thicker(budget: Budget) -> Section:
    rows = tuple(
        cells(
            plain(x.place),
            x.wire,
            t.wire,
            f"{t.mohm.value:.0f}",
            NONE if t.gain_v is None else number(t.gain_v, 0.01),
            f"{t.grams:.0f}",
        )
        for x in budget.leads
        for t in x.thicker
    )
    blocks: list[Block] = []
    if rows:
        blocks.append(
            Table(
                caption="What a thicker wire would bring",
                columns=columns("Lead of", "Now", "With", ">mOhm", ">Gain V", ">More g"),
                rows=rows,
                note="Same length and plugs. Gain: at the worst current. Grams of copper.",
            )
        )
    return _section("Thicker wire", "thicker", blocks, "There is no lead to compare.")


def _method(budget: Budget) -> Section:
    if budget.basis == "design":
        text = (
            "Worked out from the profile alone: packs at nominal voltage with the resistance the "
            "profile gives, leads from the wire table, servos at their moving current; all servos "
            "stalled as resistances."
        )
    else:
        text = (
            "Currents and lowest voltages are the extremes of all flights given; voltages at "
            "landing and shares of the packs are those of the last flight; each resistance is the "
            "newest that could be measured."
        )
    return Section(title="Method", anchor="method", blocks=(Paragraph(text=text),))


def _section(title: str, anchor: str, blocks: list[Block], otherwise: str) -> Section:
    return Section(title=title, anchor=anchor, blocks=tuple(blocks) or (Paragraph(text=otherwise),))


def _v(volts: float | None) -> str:
    return f"{number(volts, 0.01)} V"


def _a(amps: float | None) -> str:
    return f"{number(amps, 0.1)} A"


def _number(amps: float | None) -> str:
    return NONE if amps is None else number(amps, 0.1)


def _interval(x: Interval | None, step: float) -> str:
    if x is None:
        return NONE
    ends = f"{number(x.low, step)}-{number(x.high, step)}"
    return number(x.value, step) if x.low == x.high else f"{number(x.value, step)} ({ends})"


def _yes(found: bool | None) -> str:
    return NONE if found is None else "yes" if found else "no"


def _difference(lead: LeadBudget) -> str:
    if lead.differs is None or lead.excess_mohm is None:
        return NONE
    return f"{lead.excess_mohm.value:+.0f}" if lead.differs else "no"


def _over(part: PartLoad) -> str:
    if part.over is None:
        return NONE
    if part.over:
        return "yes"
    return "for a moment" if part.worst_over else "no"
