"""The tables of a history, from features made by hand: medians, packs, flights, trends."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest

from telemetry.report.document import FigureBlock, Section, Table
from telemetry.report.documents import history_parts as parts
from telemetry.report.documents.across import Across, flights_on_a_charge
from telemetry.results import Feature, History, Level, NoteMark, Trend

Make = Callable[..., History]
# By place and feature: a value for each flight, None where it was not measured.
Rows = Mapping[tuple[str, str], Sequence[float | None]]


@pytest.fixture
def across(make_history: Make) -> Callable[..., Across]:
    def make(rows: Rows, *, links: Mapping[str, str] | None = None, **more: Any) -> Across:
        count = len(next(iter(rows.values()), (0, 0, 0)))
        plain: dict[str, Any] = {"trends": (), "findings": (), "notes": (), "not_judged": ()}
        history = make_history(count=count, features=(), **plain | more)
        features = tuple(
            Feature(flight=flight.id, place=place, feature=feature, value=value, unit="")
            for (place, feature), values in rows.items()
            for flight, value in zip(history.flights, values, strict=True)
            if value is not None
        )
        return Across.of(replace(history, features=features), links)

    return make


def table(section: Section | None) -> list[list[str]]:
    assert section is not None
    (found,) = (b for b in section.blocks if isinstance(b, Table))
    return [[c.text for c in row] for row in found.rows]


def figures(section: Section | None) -> list[FigureBlock]:
    assert section is not None
    return [b for b in section.blocks if isinstance(b, FigureBlock)]


def trend(code: str, place: str, **more: Any) -> Trend:
    plain: dict[str, Any] = {
        "quantity": "rise", "unit": "%", "flights": (0, 1, 2), "value": (0.0, 4.0, 30.4),
        "reach": (1.0, 2.0, 6.3), "baseline": (0,), "score": (0.0, 0.1, 0.6),
        "chart": (0.0, 0.5, 6.2), "limit": 8.0, "watch": 25.0,
    }  # fmt: skip
    return Trend(code=code, place=place, **plain | more)


def test_voltages_are_the_median_the_last_and_the_lowest_with_its_flight(across) -> None:
    rows = {
        ("left wing", "idle_v"): [8.0, 8.4, 8.1],
        ("left wing", "lowest_flight_v"): [7.2, None, 7.6],
        ("bus", "lowest_stir_v"): [7.4, 7.4, None],
    }
    assert table(parts.voltages_section(across(rows))) == [
        ["bus", "-", "-", "7.40", "-", "-", "-", "7.40 V in No. 1"],
        ["left wing", "8.10", "8.10", "-", "-", "7.40", "7.60", "7.20 V in No. 1"],
    ]
    assert parts.voltages_section(across({("bus", "rest_a"): [1.0, 1.0]})) is None


def test_currents_with_what_was_judged_of_them(across) -> None:
    rows = {
        ("left wing", "stir_mean_a"): [1.0, 1.2, 2.0],
        ("bus", "stir_mean_a"): [3.0, 3.0, 3.0],
        ("right wing", "rest_a"): [0.2, 0.2, 0.3],
    }
    trends = (
        trend("servo-current-rising", "left wing", since=1),
        trend("servo-silent", "right wing", flights=(), value=(), reach=()),
        trend("servo-heating", "tail", since=2),
        trend("servo-heating", "left wing"),
    )
    section = parts.currents_section(across(rows, trends=trends))
    assert table(section) == [
        ["left wing", "-", "-", "1.20", "2.00", "-", "-", "30 (24 to 37)", "No. 2"],
        ["right wing", "0.20", "0.30", "-", "-", "-", "-", "-", "-"],
    ]
    without = parts.currents_section(across(rows, trends=(replace(trends[0], since=None),)))
    assert table(without)[0][-2:] == ["30 (24 to 37)", "-"]
    # Of heating only what was found; of all else what was judged.
    assert {b.item for b in figures(section) if b.name == "trend"} == {0, 1, 2}


def test_where_no_node_is_measured_the_whole_current_is_shown(across) -> None:
    whole = parts.currents_section(across({("bus", "air_mean_a"): [1.0, 1.0]}))
    assert [row[0] for row in table(whole)] == ["bus"]
    assert parts.currents_section(across({("bus", "idle_v"): [8.0, 8.0]})) is None


def test_resistances_are_the_median_and_the_last_that_was_measured(across) -> None:
    made = across(
        {
            ("tail", "branch_mohm"): [20.0, 30.0, 24.0, None],
            ("pack 1", "source_mohm"): [math.nan, 35.0, 36.0, 40.0],
        }
    )
    low = [
        replace(f, low=19.96, high=30.04) if (f.place, f.value) == ("pack 1", 40.0) else
        replace(f, low=1.0) if f.place == "tail" else f
        for f in made.history.features
    ]  # fmt: skip
    section = parts.leads_section(Across.of(replace(made.history, features=tuple(low))))
    assert table(section) == [
        ["pack 1", "source", "36.0", "40.0", "20.0 to 30.0", "4"],
        ["tail", "lead and contacts", "24.0", "24.0", "-", "3"],
    ]
    assert parts.leads_section(across({("bus", "idle_v"): [8.0, 8.0]})) is None


USED = {
    ("pack 1", "used_mah"): [200.0, 300.0, 250.0, 260.0],
    ("pack 2", "used_mah"): [100.0, None, 120.0, 110.0],
}


def note(kind: str, place: str | None, before: int) -> NoteMark:
    return NoteMark(kind=kind, place=place, text="", date="2026-04-02", before=before)


def test_packs_with_what_was_used_and_what_fits(across) -> None:
    notes = (
        note("charged", "pack 1", 1),
        note("charged", "pack 1", 2),
        note("repaired", "pack 2", 1),
    )
    shown = table(parts.packs_section(across(USED, notes=notes)))
    # 2600 mAh less the reserve of 30 %: 1820 mAh, six times 300 and fifteen times 120.
    assert shown == [
        ["pack 1", "2600", "255", "300", "6", "2", "510"],
        ["pack 2", "2600", "110", "120", "15", "-", "-"],
    ]


def test_a_pack_that_used_nothing_or_has_no_capacity_tells_no_flights(across) -> None:
    made = across({("pack 1", "used_mah"): [0.0] * 2, ("pack 2", "used_mah"): [1.0] * 2})
    aircraft = made.history.aircraft
    packs = (aircraft.packs[0], aircraft.packs[1].model_copy(update={"capacity_mah": None}))
    craft = aircraft.model_copy(update={"packs": packs})
    shown = table(parts.packs_section(Across.of(replace(made.history, aircraft=craft))))
    assert [row[1:] for row in shown] == [
        ["2600", "0", "0", "-", "-", "-"],
        ["-", "1", "1", "-", "-", "-"],
    ]
    assert parts.packs_section(across({("bus", "idle_v"): [8.0, 8.0]})) is None


@pytest.mark.parametrize(
    ("capacity", "reserve", "most", "fit"),
    [(2600, 30, 300, 6), (2600, 0, 650, 4), (2600, 0, 650.1, 3), (1000, 50, 501, 0)],
)
def test_flights_on_a_charge(capacity, reserve, most, fit) -> None:
    assert flights_on_a_charge(capacity, reserve, most) == fit


def test_shares_are_drawn_where_there_are_two_packs(across) -> None:
    share = {("pack 1", "share"): [0.5] * 4, ("pack 2", "share"): [0.5] * 4}
    one = {key: values for key, values in (USED | share).items() if key[0] == "pack 1"}
    both, alone = (figures(parts.packs_section(across(rows))) for rows in (USED | share, one))
    assert len(both) == len(alone) + 1


def test_flights_the_newest_first(across) -> None:
    rows = USED | {
        ("bus", "lowest_flight_v"): [None, 7.1, 7.3, None],
        ("tail", "lowest_stir_v"): [7.9, 7.0, None, None],
        ("tail", "idle_v"): [1.0] * 4,
    }
    made = across(rows)
    flights = list(made.history.flights)
    flights[1] = replace(flights[1], verdict=Level.WATCH)
    flights[2] = replace(flights[2], start=None, flight_s=None)
    history = replace(made.history, flights=tuple(flights))
    assert table(parts.flights_section(Across.of(history))) == [
        ["4", "2026-04-04 10:00", "06:40", "-", "-", "370", "-", "flight-03.csv"],
        ["3", "no date", "00:00", "7.30", "bus", "370", "-", "flight-02.csv"],
        ["2", "2026-04-02 10:00", "06:40", "7.00", "tail", "300", "watch", "flight-01.csv"],
        ["1", "2026-04-01 10:00", "bench", "7.90", "tail", "300", "-", "flight-00.csv"],
    ]


@pytest.mark.parametrize("linked", [True, False])
def test_how_a_flight_is_opened(across, linked) -> None:
    plain = across(USED)
    links = {plain.history.flights[3].id: "my flights/4.html"} if linked else {}
    section = parts.flights_section(across(USED, links=links))
    (found,) = section.blocks
    assert [row[-1].href for row in found.rows] == [
        "my%20flights/4.html" if linked else None, None, None, None,
    ]  # fmt: skip
    assert ("opens the review" in found.note) is linked
    assert ("busbook review" in found.note) is not linked


def test_all_that_was_judged_and_how_near_it_is(across) -> None:
    bare = trend(
        "sensor-offset", "tail", unit="", flights=(), value=(), reach=(), chart=(), watch=None
    )
    volts = trend(
        "supply-dips", "bus", unit="V", value=(0.0, 0.0, 0.046), reach=(0.0, 0.0, math.nan)
    )
    trends = (trend("servo-current-rising", "left wing"), bare, volts)
    section = parts.judged_section(across(USED, trends=trends))
    shown = next(b for b in section.blocks if isinstance(b, Table))
    assert not shown.brief
    assert [[c.text for c in row] for row in shown.rows] == [
        ["servo current rising", "left wing", "3", "30 %", "6", "25 %", "78 %"],
        ["sensor offset", "tail", "0", "-", "-", "-", "0 %"],
        ["supply dips", "bus", "3", "0.05 V", "-", "25 V", "78 %"],
    ]
    captions = [
        b.caption for b in parts.judged_section(across(USED)).blocks if isinstance(b, Table)
    ]
    assert "All that was judged" not in captions
