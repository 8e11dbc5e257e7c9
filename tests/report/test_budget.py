"""The budget's document: problems first, numbers by hand, a design told as one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.budget import budget
from telemetry.circuit.budget_records import Budget
from telemetry.circuit.known import Measured
from telemetry.numerics.intervals import Interval
from telemetry.report.document import Document, FigureBlock, Paragraph, Section, Table
from telemetry.report.documents.of_budget import budget_document, picture_of_budget
from telemetry.report.writers.terminal import text_of
from telemetry.results import Level, Resistance

exact = Interval.exact

# An invented aircraft: 1 mm2 of 0.58 m measures 20 mOhm out and back (2 * 0.58 / 58 Ohm).
CURLEW = Aircraft.model_validate(
    {
        "name": "curlew",
        "bus": "bus",
        "packs": [
            {"name": f"pack {n}", "chemistry": "liion", "cells": 2, "resistance_mohm": 40,
             "lead": {"mm2": 1.0, "length_m": 0.29, "stranded": False}}
            for n in (1, 2)
        ],
        "nodes": [
            {"name": "left wing", "fed_from": "bus",
             "lead": {"mm2": 1.0, "length_m": 0.58, "stranded": False, "limit_a": 1.8}},
            {"name": "tail", "fed_from": "bus", "lead": {"awg": 20, "length_m": 1.0}},
        ],
        "servos": [
            {"node": "left wing", "output": 1, "drives": "left aileron", "moving_a": 0.5},
            {"node": "tail", "output": 1, "drives": "rudder", "moving_a": 1.0},
        ],
    }
)  # fmt: skip
STATE = Measured(
    lowest_v={"bus": 6.9, "left wing": 6.5},
    landing_v={"bus": exact(7.4), "left wing": exact(7.30), "tail": exact(7.3),
               "pack 1": exact(7.5), "pack 2": exact(7.5)},
    landing_a={"total": exact(4.0), "left wing": exact(2.0), "tail": exact(1.5),
               "pack 1": exact(2.0), "pack 2": exact(2.0)},
    usual_a={"total": 4.0, "left wing": 2.0, "tail": 1.5, "pack 1": 2.0, "pack 2": 2.0},
    peak_a={"total": exact(16.0), "left wing": exact(9.0), "tail": exact(7.0)},
    share={"pack 1": exact(0.5), "pack 2": exact(0.5)},
)  # fmt: skip
RESISTANCES = (
    Resistance(kind="branch", place="left wing", parent="bus", mohm=60, low_mohm=56, high_mohm=64,
               updates=300),
    Resistance(kind="source", place="bus", mohm=25, low_mohm=24, high_mohm=26, updates=300),
)  # fmt: skip


@pytest.fixture(scope="module")
def made() -> Budget:
    return budget(CURLEW, RESISTANCES, STATE)


@pytest.fixture(scope="module")
def document(made: Budget) -> Document:
    return budget_document(made, CURLEW, 3, "curlew.toml")


def _section(document: Document, anchor: str) -> Section:
    return next(s for s in document.sections if s.anchor == anchor)


def _rows(section: Section, caption: str) -> list[list[str]]:
    table = next(b for b in section.blocks if isinstance(b, Table) and caption in b.caption)
    return [[c.text for c in row] for row in table.rows]


def test_what_is_over_a_limit_comes_first(document: Document) -> None:
    first = document.first
    assert (first.level, first.word) == (Level.WATCH, "Watch")
    assert first.reason == (
        "Left wing: 2.0 A for a minute through wire (1 mm2), which may carry 1.8 A; 1 more below."
    )
    assert first.checks[0].startswith("Fit more pins or thicker wire at left wing")
    assert first.checks[-1] == "Your usual checks before flight remain: see Cautions."
    assert first.flight == "Power budget. From 3 flights"


def test_the_numbers_by_hand(document: Document) -> None:
    numbers = {n.label: (n.value, n.detail) for n in document.first.numbers}
    # One pack's way is 25 mOhm / 0.5; for the mean of a lost pack a quarter of it more at 2 A. The
    # bus: 7.4 - 0.0125 * 2 - 0.05 * (16 - 2) = 6.675; the wing: 7.30 - 0.725 - 0.06 * (9 - 2); half
    # of the load falls with the voltage, some 35 mV less at the wing.
    lost, where = numbers["With one pack lost"]
    assert float(lost.removesuffix(" V")) == pytest.approx(6.19, abs=0.006)
    assert where.startswith("left wing, 2.6")
    assert numbers["Highest current"] == ("16.0 A", "pack 1, one pack lost")
    assert numbers["Nearest to its limit"] == ("111 %", "left wing, wire: 2.0 A of 1.8 A")
    assert numbers["Largest drop in a lead"] == ("0.54 V", "left wing, 1 mm2, worst case")
    assert numbers["Most to gain"][1].startswith(("tail with", "left wing with"))


def test_predicted_stands_beside_measured(document: Document) -> None:
    rows = _rows(_section(document, "places"), "Predicted against measured")
    # 7.4 V less 2 A in 20 mOhm is 7.36; 60 mV less was read, of which two sensors explain 40.
    wing = next(r for r in rows if r[0] == "left wing")
    assert (wing[1].split()[0], wing[2], wing[3]) == ("7.36", "7.30", "yes")
    leads = _rows(_section(document, "leads"), "Leads")
    assert next(r for r in leads if r[0] == "left wing")[5] == "+40"
    assert next(r for r in leads if r[0] == "tail")[4:6] == ["-", "-"]


def test_a_design_says_so_and_names_what_is_missing() -> None:
    bare = CURLEW.model_copy(update={"servos": ()})
    document = budget_document(budget(bare), bare, 0, "curlew.toml")
    assert "a design" in document.first.flight
    assert document.next_step[1] == "busbook budget curlew.toml --log flight.csv"
    paragraphs = [b.text for b in _section(document, "places").blocks if isinstance(b, Paragraph)]
    assert any("no servos" in text for text in paragraphs)
    assert all(not n.measured for n in document.first.numbers)
    assert document.first.level is Level.UNKNOWN


def test_within_the_limits_is_no_leave_to_fly() -> None:
    wide = CURLEW.model_dump(mode="json")
    wide["nodes"][0]["lead"]["limit_a"] = 8
    craft = Aircraft.model_validate(wide)
    document = budget_document(budget(craft), craft, 0, "curlew.toml")
    assert (document.first.level, document.first.word) == (Level.CLEAR, "Within the limits known")
    assert "cannot show wear" in document.first.reason
    assert document.sections[-1].anchor == "cautions"


def test_the_picture_has_every_place_and_marks_the_problems(made: Budget) -> None:
    picture = picture_of_budget(made, CURLEW)
    assert set(picture.numbers) == {"pack 1", "pack 2", "bus", "left wing", "tail"}
    assert picture.numbers["left wing"] == ("7.36", "9.0", "60", "0.54")
    assert picture.levels == {"left wing": Level.WATCH}
    assert "left wing: expect V 7.36, worst A 9.0, mOhm 60, drop V 0.54, finding: watch" in (
        picture.alt
    )


def test_the_text_fits_the_screen(document: Document) -> None:
    text = text_of(document)
    assert max(map(len, text.splitlines())) <= 80
    assert "-- The power path" not in text, "a part that is all figure has nothing to say here"
    assert isinstance(_section(document, "path").blocks[0], FigureBlock)
    assert text.index("WATCH") < text.index("With one pack lost")
    odd = replace(document, first=replace(document.first, aircraft="x" * 200))
    assert max(map(len, text_of(odd).splitlines())) <= 80
