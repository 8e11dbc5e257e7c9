from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from telemetry.aircraft import Limits
from telemetry.report.document import (
    Bars,
    Bullets,
    Document,
    FigureBlock,
    FindingBlock,
    Paragraph,
    Section,
    Table,
)
from telemetry.report.documents.of_review import document_of
from telemetry.report.parts.facts import facts
from telemetry.report.words import NumberSteps
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Level,
    Margin,
    PhaseKind,
    Review,
    WorstCase,
)

Make = Callable[..., Review]


def built(review: Review) -> Document:
    return document_of(review)


def section(document: Document, anchor: str) -> Section:
    (found,) = [s for s in document.sections if s.anchor == anchor]
    return found


def tables(part: Section) -> list[Table]:
    return [b for b in part.blocks if isinstance(b, Table)]


def texts(table: Table) -> list[list[str]]:
    return [[c.text for c in row] for row in table.rows]


@pytest.fixture(scope="module")
def document(review: Review) -> Document:
    return built(review)


def test_findings_come_worst_first_with_their_proof(document: Document) -> None:
    blocks = [b for b in section(document, "findings").blocks if isinstance(b, FindingBlock)]
    assert [b.level for b in blocks] == ["ground", "watch", "unknown"]
    assert [None if b.figure is None else b.figure.name for b in blocks] == [
        *("zoom", "scatter"),
        None,
    ]
    assert blocks[0].figure is not None
    assert blocks[0].figure.mark == (522.0, 522.6)
    assert blocks[0].figure.span == pytest.approx((510.0, 534.6))


def test_a_figure_beside_a_finding_is_not_shown_again(document: Document) -> None:
    again = [b for b in section(document, "resistances").blocks if isinstance(b, FigureBlock)]
    assert [b.place for b in again] == ["pack 1", "right wing"]


def test_places_show_the_lowest_of_each_phase(document: Document) -> None:
    table = tables(section(document, "places"))[0]
    rows = {row[0]: row[1:] for row in texts(table)}
    # The dip of the left wing to 4.60 V is in the flight, not in the stir.
    assert rows["left wing"][2] == "4.60"
    assert float(rows["left wing"][1]) > 5
    assert rows["left wing"][4:] == ["46 (42 to 50)", "1.10"]
    assert rows["receiver 1"] == ["-"] * 6


def test_cases_that_were_not_worked_out_are_named_with_their_reason(
    make_review: Make, review: Review
) -> None:
    cases = (
        WorstCase(
            case="pack-lost", current_a=5.0, voltage_v=4.0, low_v=3.8, high_v=4.2, level=Level.WATCH
        ),
        WorstCase(
            case="all-stalled",
            current_a=None,
            voltage_v=None,
            low_v=None,
            high_v=None,
            note="the profile lists no servos",
        ),
    )
    margin = Margin(
        place="bus", lowest_v=5.0, restart_v=3.5, observed_v=1.5, comfort_v=6.0, cases=cases
    )
    flight = replace(review.flights[0], margins=(margin,))
    table = tables(section(built(replace(review, flights=(flight,))), "places"))[1]
    assert texts(table) == [
        ["bus", "one pack lost", "5.0", "4.00 V (3.80 to 4.20)", "3.50", "6.00", "low"]
    ]
    assert "Not worked out: all servos stalled (the profile lists no servos)." in table.note


def test_stirs_compare_with_the_mirror(document: Document) -> None:
    part = section(document, "stirs")
    first = tables(part)[0]
    assert first.caption == "Stir at 01:00 (before flight, 15 s, 0.5 turns a second)"
    ratios = {row[0]: row[5] for row in texts(first)}
    # 3.4 / 3.1 and 3.1 / 3.4 by hand.
    assert ratios == {"bus": "-", "left wing": "1.10", "right wing": "0.91", "tail": "-"}
    (bars, *_) = [b for b in part.blocks if isinstance(b, Bars)]
    assert [b.share for b in bars.bars] == pytest.approx([1.0, 3.4 / 8.6, 3.1 / 8.6, 1.9 / 8.6])


def test_a_stir_on_the_bench_is_not_called_before_flight(review: Review) -> None:
    bench = replace(review.flights[0], kind="bench")
    part = section(built(replace(review, flights=(bench,))), "stirs")
    assert "(on the bench, 15 s" in tables(part)[0].caption


def test_events_are_told_apart_by_what_explains_them(document: Document) -> None:
    part = section(document, "events")
    (head,) = [b for b in part.blocks if isinstance(b, Paragraph)]
    assert head.text == "61 sags, 1 undervoltage, 1 current spike; 60 explained by load."
    rest, loads, spikes = tables(part)
    assert [row[:3] for row in texts(rest)] == [
        ["08:42", "left wing", "sag"],
        ["14:58", "tail", "undervoltage"],
    ]
    assert texts(rest)[1][6] == "1.9 s +"
    assert rest.rows[0][0].span == (522.0, 522.6)
    assert loads.caption == "Sags that the load explains: the 20 most serious of 60"
    assert "The JSON holds them all." in loads.note
    assert [row[0] for row in texts(loads)] == sorted(row[0] for row in texts(loads))
    assert texts(spikes) == [["10:10", "tail", "6.2", "4.8", "0.4 s", "0.4", "1", "flight"]]


def test_the_worst_events_are_never_left_out(make_review: Make, review: Review) -> None:
    many = tuple(
        Event(
            kind=EventKind.SAG,
            place="bus",
            start_s=10.0 * k,
            end_s=10.0 * k + 1,
            depth_v=3.0 if k == 55 else 0.3,
            residual_v=3.0 if k == 55 else 5.7,
        )
        for k in range(80)
    )
    flight = replace(review.flights[0], events=many)
    (table,) = tables(section(built(replace(review, flights=(flight,))), "events"))
    assert len(table.rows) == 60
    assert "09:10" in [row[0] for row in texts(table)]


def test_a_brownout_says_where_it_was_seen(review: Review) -> None:
    event = Event(
        kind=EventKind.BROWNOUT,
        place="bus",
        start_s=300.0,
        end_s=301.0,
        residual_v=3.1,
        phase=PhaseKind.FLIGHT,
        evidence=Evidence.REAL,
        note="a counter began again",
    )
    flight = replace(review.flights[0], events=(event,))
    (table,) = tables(section(built(replace(review, flights=(flight,))), "events"))
    assert texts(table)[0][9:] == ["in the aircraft", "a counter began again"]


def test_several_flights_are_numbered(review: Review) -> None:
    first = replace(review.flights[0], end_s=400.0)
    second = replace(review.flights[0], start_s=400.0)
    document = built(replace(review, flights=(first, second)))
    assert "2 flights, 15 min 00 s recorded" in document.first.flight
    captions = [t.caption for t in tables(section(document, "charge"))]
    assert captions == [
        "Flight 1, 00:00 to 06:40: Charge, mAh",
        "Flight 2, 06:40 to 14:59: Charge, mAh",
    ]
    assert document.first.numbers[4].value == "1", "after the last one"


def test_numbers_that_need_a_profile_say_so(make_review: Make, review: Review) -> None:
    bare = review.aircraft.model_copy(
        update={
            "packs": tuple(
                p.model_copy(update={"capacity_mah": None}) for p in review.aircraft.packs
            )
        }
    )
    unknown = tuple(
        replace(s, flights_left=None, cautious_left=None, landing_pct=None)
        for s in review.flights[0].packs
    )
    flown = replace(review.flights[0], packs=unknown)
    number = built(replace(review, aircraft=bare, flights=(flown,))).first.numbers[4]
    assert (number.value, number.measured) == ("not measured", False)
    assert number.detail == "no pack capacity in the profile"


@pytest.mark.parametrize(("left", "shown"), [((3, 1), "1"), ((1, 3), "1"), ((2, 2), "2")])
def test_flights_left_are_those_of_the_pack_that_has_the_fewest(
    left: tuple[int, int], shown: str, review: Review
) -> None:
    packs = tuple(
        replace(s, flights_left=n) for s, n in zip(review.flights[0].packs, left, strict=True)
    )
    number = built(replace(review, flights=(replace(review.flights[0], packs=packs),)))
    assert number.first.numbers[4].value == shown


def test_the_checks_are_the_advice_worst_first_and_end_with_the_usual(
    document: Document,
) -> None:
    first, *others = document.first.checks
    assert first.startswith("Before any stir or bench step: motor or engine off")
    assert tuple(others) == (
        "Left wing: clean or replace the left panel connector before the next flight.",
        "Look at the crimps of the left wing lead.",
        "Tail: set the transmitter to a shorter interval, or log the unit's own minimum.",
        "Your usual checks before flight remain: see Cautions.",
    )


def test_limits_say_where_they_come_from(make_review: Make, review: Review) -> None:
    ours = Limits(restart_v=4.2)
    craft = review.aircraft.model_copy(update={"limits": ours})
    in_force = ours.model_copy(update={"comfort_v": 6.0})
    part = section(built(replace(review, aircraft=craft, limits=in_force)), "limits")
    table = tables(part)[-1]
    assert len(table.rows) == len(Limits.model_fields)
    rows = {row[0]: row[1:] for row in texts(table)}
    assert rows["Restart level of receivers and units, V"] == ["4.2", "the aircraft's profile"]
    (comfort,) = [v for k, v in rows.items() if k.startswith("Lowest comfortable")]
    assert comfort[0] == "6"
    assert comfort[1].endswith("chosen for this log")


def test_quality_tells_every_hole(document: Document) -> None:
    (words,) = [b for b in section(document, "quality").blocks if isinstance(b, Bullets)]
    joined = " ".join(words.items)
    for part in (
        *("9000 rows read; 1 could not be kept.", "lasts 0.2 s or longer"),
        *("1 gap in the rows: 04:59 for 4.1 s.", "1 restart or reset: 00:10 tail"),
        *("Telemetry lost 1 time: 04:59 all places blank", "'Bus U [V]' 0 ("),
        *("0.35 A, spread 0.04 A", "The last line was cut off"),
    ):
        assert part in joined, part


def test_evidence_becomes_words() -> None:
    finding = Finding(
        code="margin-low",
        level=Level.WATCH,
        place="bus",
        title="t",
        evidence={
            "mohm": 46.2,
            "low_mohm": 42.3,
            "high_mohm": 50.4,
            "voltage_v": 4.31,
            "low_v": 4.1,
            "high_v": 4.5,
            "case": "pack-lost",
            "evidence": "telemetry",
            "time_s": 522.4,
            "duration_s": 0.6,
            "share": 0.24,
            "times": 3,
            "also_low": None,
            "offset_points": 15.0,
            "new_thing_a": 1.234,
        },
    )
    assert facts(finding, NumberSteps({})) == (
        ("resistance", "46 mOhm (42 to 50)"),
        ("voltage to expect", "4.31 V (4.10 to 4.50)"),
        ("case", "one pack lost"),
        ("seen", "in the telemetry only"),
        ("at", "08:42"),
        ("lasted", "0.6 s"),
        ("share of the current", "24 %"),
        ("how often", "3"),
        ("offset points", "15"),
        ("new thing", "1.2 A"),
    )


def test_every_kind_of_finding_gets_a_document(review: Review) -> None:
    codes = (
        *("sag-unexplained", "margin-low", "brownout", "restart", "undervoltage"),
        *("lead-undersized", "branch-resistance-high", "source-resistance-high", "pack-share"),
        *("pack-out", "pack-low", "regulator-droop", "switch-step", "servo-not-resting"),
        *("current-balance", "capacity-mismatch", "sensor-offset", "log-too-thin", "unheard-of"),
    )
    found = tuple(
        Finding(code=c, level=Level.WATCH, place=p, title=c, start_s=t)
        for c in codes
        for p in ("left wing", "pack 1", None)
        for t in (None, 522.0)
    )
    caution, *blocks, last = section(built(replace(review, findings=found)), "findings").blocks
    assert isinstance(caution, Paragraph)
    assert "propeller" in caution.text, "what has to be safe stands before what to do"
    assert len(blocks) == len(found)
    # Nobody looks at a hundred figures, and a page must stay small.
    assert sum(isinstance(b, FindingBlock) and b.figure is not None for b in blocks) == 16
    assert isinstance(last, Paragraph)
    assert last.text.endswith("more figures left out.")
    _, *bare = section(built(replace(review, findings=found, flights=())), "findings").blocks
    assert all(isinstance(b, FindingBlock) and b.figure is None for b in bare)
