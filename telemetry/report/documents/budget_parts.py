"""The sections of a budget: places, leads, limits, thicker wire, and how it was worked out."""

from __future__ import annotations

from telemetry.circuit.budget_records import Budget, LeadBudget
from telemetry.model.text import plain
from telemetry.numerics.intervals import Interval
from telemetry.report.document import Block, Paragraph, Section, Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.parts.worst import left_out, worst_table
from telemetry.report.words import CASE_WORD, NONE, NumberSteps, number
from telemetry.results import PartLoad

_DESIGNED = "Packs at nominal voltage; intervals from packs at their floor to full ones."


def places_section(budget: Budget) -> Section:
    """Voltage of each place, predicted and measured, and what is left in the worst cases."""
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
            worst = worst_table(budget.places, NumberSteps({}), how=_DESIGNED)
        else:
            worst = worst_table(budget.places, NumberSteps({}))
        missing = left_out(budget.places).strip()
        if worst is not None:
            blocks.append(worst)
        elif missing:
            blocks.append(Paragraph(text=missing))
    return _section("Places", "places", blocks, "The profile names no bus and no nodes.")


def leads_section(budget: Budget) -> Section:
    """Resistance of each lead, expected and measured, and the voltage that it takes."""
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


def parts_section(budget: Budget) -> Section:
    """Current of each wire, plug and supply against its limit."""
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
                        worst_case_words(p, budget),
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


def worst_case_words(part: PartLoad, budget: Budget) -> str:
    """In which case a part carries most."""
    if part.worst_case == "observed":
        return "all servos moving" if budget.basis == "design" else "highest seen"
    return CASE_WORD.get(part.worst_case, part.worst_case) or NONE


def thicker_section(budget: Budget) -> Section:
    """What the next thicker wires would bring, and weigh."""
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


def method_section(budget: Budget) -> Section:
    """What the numbers rest on."""
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
    if part.over:
        return "yes"
    if part.worst_over is None:
        return NONE
    if part.over is None:
        return "in the worst case" if part.worst_over else NONE
    return "for a moment" if part.worst_over else "no"
