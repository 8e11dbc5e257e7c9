"""The tables of a budget and its numbers, from records made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.budget_records import Budget, LeadBudget, PlaceBudget, Thicker
from telemetry.numerics.intervals import Interval
from telemetry.report.document import Section, Table
from telemetry.report.documents import budget_parts as parts
from telemetry.report.documents.of_budget import budget_document
from telemetry.report.parts.worst import left_out, worst_table
from telemetry.report.words import NumberSteps
from telemetry.results import Level, PartLoad, WorstCase

LEAD = LeadBudget(
    place="tail", wire="AWG 20", length_m=1.0, expected_mohm=Interval(66.4, 60.2, 72.8),
    measured_mohm=Interval.exact(100.6), excess_mohm=Interval(34.2, 27.0, 41.0), differs=True,
    worst_drop_v=0.704, thicker=(),
)  # fmt: skip
THICKER = tuple(
    Thicker(wire=f"AWG {awg}", mohm=Interval.exact(mohm), gain_v=gain_v, grams=grams)
    for awg, mohm, gain_v, grams in ((18, 42.4, 0.168, 5.4), (16, 26.7, None, 13.6))
)
PART = PartLoad(
    place="tail", part="wire", what="AWG 20", usual_a=1.5, worst_a=7.04, worst_case="observed",
    limit_a=3.0, limit_from="profile", over=False, worst_over=True,
)  # fmt: skip


def case(name: str = "pack-lost", volts: float | None = 6.0, **more: Any) -> WorstCase:
    return WorstCase(
        **{"case": name, "current_a": 9.04, "voltage_v": volts, "low_v": None, "high_v": None}
        | more
    )


def place(name: str = "tail", *cases: WorstCase, **more: Any) -> PlaceBudget:
    plain: dict[str, Any] = {
        "predicted_v": None, "measured_v": None, "differs": None, "lowest_v": None,
        "restart_v": 4.0, "comfort_v": None,
    }  # fmt: skip
    return PlaceBudget(place=name, cases=cases, **plain | more)


def budget(**more: Any) -> Budget:
    plain: dict[str, Any] = {"basis": "measured", "places": (), "leads": (), "parts": ()}
    return Budget(aircraft="tern", **plain | more)


def table(section: Section) -> Table:
    return next(b for b in section.blocks if isinstance(b, Table))


def row(section: Section) -> list[str]:
    return [cell.text for cell in table(section).rows[0]]


@pytest.mark.parametrize(
    ("differs", "more", "cells"),
    [
        (None, {}, ["tail", "-", "-", "-", "-"]),
        (True, {"predicted_v": Interval(7.364, 7.2, 7.5)},
         ["tail", "7.36 (7.20-7.50)", "-", "yes", "-"]),
        (False, {"measured_v": Interval.exact(7.305), "lowest_v": 6.504},
         ["tail", "-", "7.30", "no", "6.50"]),
    ],
)  # fmt: skip
def test_predicted_and_measured(differs, more, cells) -> None:
    section = parts.places_section(budget(places=(place(differs=differs, **more),)))
    assert row(section) == cells


def test_what_a_design_is_worked_out_from_is_said() -> None:
    both = place("tail", case())
    design = parts.places_section(budget(basis="design", places=(both,)))
    flown = parts.places_section(budget(places=(both,)))
    for section, is_design in ((design, True), (flown, False)):
        first, worst = (b for b in section.blocks if isinstance(b, Table))
        assert ("servos moving" in first.note) is is_design
        notes = " ".join(column.note or "" for column in worst.columns)
        assert ("nominal voltage" in notes) is is_design
    for basis, words in (("design", "profile alone"), ("measured", "all flights given")):
        (told,) = parts.method_section(budget(basis=basis)).blocks
        assert words in told.text


@pytest.mark.parametrize(
    ("section", "told"),
    [
        (parts.places_section, "The profile names no bus and no nodes."),
        (parts.leads_section, "The profile describes no lead."),
        (parts.parts_section, "The profile describes no lead and no supply."),
        (parts.thicker_section, "There is no lead to compare."),
    ],
)
def test_what_there_is_nothing_of_is_said(section, told) -> None:
    assert [block.text for block in section(budget()).blocks] == [told]


@pytest.mark.parametrize(
    ("more", "cells"),
    [
        ({}, ["101", "+34", "0.70"]),
        ({"differs": False}, ["101", "no", "0.70"]),
        ({"differs": None, "worst_drop_v": None}, ["101", "-", "-"]),
        ({"measured_mohm": None, "excess_mohm": None}, ["-", "-", "0.70"]),
    ],
)
def test_a_lead_against_the_wire_table(more, cells) -> None:
    section = parts.leads_section(budget(leads=(replace(LEAD, **more),)))
    assert row(section) == ["tail", "AWG 20", "1", "66 (60-73)", *cells]


def test_what_a_thicker_wire_would_bring() -> None:
    section = parts.thicker_section(budget(leads=(replace(LEAD, thicker=THICKER),)))
    assert [[c.text for c in r] for r in table(section).rows] == [
        ["tail", "AWG 20", "AWG 18", "42", "0.17", "5"],
        ["tail", "AWG 20", "AWG 16", "27", "-", "14"],
    ]


@pytest.mark.parametrize(
    ("over", "worst_over", "told"),
    [
        (True, True, "yes"),
        (True, None, "yes"),
        (False, True, "for a moment"),
        (False, False, "no"),
        (False, None, "-"),
        (None, True, "in the worst case"),
        (None, False, "-"),
        (None, None, "-"),
    ],
)
def test_whether_a_part_is_over_its_limit(over, worst_over, told) -> None:
    section = parts.parts_section(
        budget(parts=(replace(PART, over=over, worst_over=worst_over, limit_from=""),))
    )
    assert row(section) == [
        "tail",
        "wire",
        "AWG 20",
        "1.5",
        "7.0",
        "highest seen",
        "3.0",
        "-",
        told,
    ]


@pytest.mark.parametrize(
    ("worst_case", "basis", "told"),
    [
        ("observed", "measured", "highest seen"),
        ("observed", "design", "all servos moving"),
        ("pack-lost", "measured", "one pack lost"),
        ("another", "measured", "another"),
        ("", "measured", "-"),
    ],
)
def test_in_which_case_a_part_carries_most(worst_case, basis, told) -> None:
    part = replace(PART, worst_case=worst_case, worst_a=None)
    section = parts.parts_section(budget(basis=basis, parts=(part,)))
    assert row(section)[4:6] == ["-", told]
    assert ("all servos moving)" in table(section).note) is (basis == "design")


# Worst cases.


@pytest.mark.parametrize(
    ("level", "told"),
    [(Level.GROUND, "too low"), (Level.WATCH, "low"), (Level.CLEAR, "enough"), (None, "-")],
)
def test_a_worst_case_and_what_it_means(level, told) -> None:
    found = worst_table(
        [place("tail", case(low_v=5.8, high_v=6.1, level=level), comfort_v=5.0)], NumberSteps({})
    )
    assert found is not None
    assert [c.text for c in found.rows[0]] == [
        "tail", "one pack lost", "9.0", "6.00 V (5.80 to 6.10)", "4.00", "5.00", told,
    ]  # fmt: skip
    assert found.note == ""


@pytest.mark.parametrize(
    ("name", "low_v", "shown"),
    [
        ("return-level", 4.0, True),  # 4 V of 8 V wide: half of it
        ("return-level", 3.9, False),
        ("pack-lost", 3.9, True),
    ],
)
def test_an_interval_over_half_of_the_supply_tells_nothing(name, low_v, shown) -> None:
    wide = [place("tail", case(name, 6.0, low_v=low_v, high_v=8.0))]
    assert (worst_table(wide, NumberSteps({})) is not None) is shown
    told = " Not worked out: peak of many flights (the peaks seen tell it from low to full)."
    assert left_out(wide) == ("" if shown else told)


def test_what_was_not_worked_out_is_said_once_with_its_reason() -> None:
    missing = case(volts=None, note="no pack is left")
    places = [place("tail", missing, case("all-stalled")), place("bus", missing, case("x", None))]
    assert left_out(places) == " Not worked out: one pack lost (no pack is left); x."
    found = worst_table(places, NumberSteps({}), before="Flight 2. ")
    assert found is not None
    assert found.caption == "Flight 2. Voltage to expect in worst cases"
    assert found.note == "All servos stalled at once is shown for design only." + left_out(places)
    assert worst_table([place("tail", missing)], NumberSteps({})) is None
    told = parts.places_section(budget(places=(place("tail", missing),))).blocks[1]
    assert told.text == "Not worked out: one pack lost (no pack is left)."


# The first page.

CRAFT = Aircraft.model_validate({"name": "tern", "bus": "bus"})


def first(**more: Any) -> Any:
    return budget_document(budget(**more), CRAFT, 1, "tern").first


def numbers(**more: Any) -> dict[str, tuple[str, str]]:
    return {n.label: (n.value, n.detail) for n in first(**more).numbers}


def test_the_highest_the_nearest_and_the_most_to_gain() -> None:
    near = replace(PART, place="left wing", usual_a=2.4, worst_a=9.0, worst_case="all-stalled")
    free = replace(PART, place="bus", limit_a=None, over=None, worst_a=None)
    other = replace(LEAD, place="left wing", worst_drop_v=0.9, thicker=THICKER[:1])
    thin = replace(LEAD, thicker=(replace(THICKER[0], gain_v=0.2), replace(THICKER[1], gain_v=0.9)))
    shown = numbers(
        parts=(PART, near, free),
        leads=(thin, other, replace(LEAD, worst_drop_v=None)),
        places=(place("tail", case(volts=5.2)), place("fin", case(volts=4.9), restart_v=3.5)),
    )
    assert shown == {
        "With one pack lost": ("5.20 V", "tail, 1.20 V above restart"),
        "Highest current": ("9.0 A", "tail, one pack lost"),  # 9.04 A, of the case
        "Nearest to its limit": ("80 %", "left wing, wire: 2.4 A of 3.0 A"),
        "Largest drop in a lead": ("0.90 V", "left wing, AWG 20, worst case"),
        "Most to gain": ("0.20 V", "tail with AWG 18, 5 g more"),
    }
    assert first(parts=(PART, near, free)).reason == (
        "Each part with a limit carries less than it; 1 part without a limit in the profile. "
        "A design cannot show wear."
    )


def test_what_the_margin_with_one_pack_lost_is_watched_at() -> None:
    watch_v = CRAFT.limits.margin_watch_v
    enough = place("tail", case(volts=4.0 + watch_v))
    assert first(places=(enough,)).level is Level.UNKNOWN
    for volts, told in ((3.98 + watch_v, f"{watch_v - 0.02:.2f} V above"), (3.8, "0.20 V below")):
        page = first(places=(place("tail", case(volts=volts)), enough))
        assert page.level is Level.WATCH
        assert page.reason == f"Tail: with one pack lost {volts:.2f} V, {told} the restart level."
    assert numbers(places=(place("tail", case(volts=3.8)),))["With one pack lost"] == (
        "3.80 V",
        "tail, 0.20 V below restart",
    )


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, True),
        ({"differs": False}, False),
        ({"excess_mohm": None}, False),
        ({"excess_mohm": Interval.exact(-5.0)}, False),
        ({"excess_mohm": Interval.exact(0.0)}, False),
    ],
)
def test_a_lead_of_more_than_its_copper_is_told(more, told) -> None:
    page = first(leads=(replace(LEAD, **more),))
    reason = "Tail: its lead measures 34 mOhm more than the 66 of the wire table."
    assert (page.reason == reason) is told
    assert (page.level is Level.WATCH) is told


@pytest.mark.parametrize(("count", "more"), [(5, []), (6, ["1 more: see the tables."])])
def test_five_checks_are_named_at_the_most(count: int, more: list[str]) -> None:
    leads = tuple(replace(LEAD, place=f"node {n}") for n in range(1, count + 1))
    page = first(leads=(*leads, leads[0]))
    assert page.reason.endswith(f"; {count} more below.")
    asked = [f"Check plugs and lead of node {n}" for n in range(1, 6)]
    assert [check.partition(",")[0] for check in page.checks[:5]] == asked
    assert list(page.checks[5:-1]) == more
    assert page.checks[-1].startswith("Your usual checks before flight remain")
