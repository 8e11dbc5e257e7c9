"""What every judgement shares: false alarms, repairs, servos, and the records that are made."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from math import log
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedTrend,
    change_of,
    established,
    usual,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import Possible
from telemetry.checks.listed import CODES
from telemetry.numerics.statistics.runs import change_limit
from telemetry.results import Change, Level, NoteMark
from telemetry.trends.parts import EvidencePart
from telemetry.trends.table import FeatureTable

Make = Callable[..., Any]


def note(kind: str, before: int, place: str | None = "tail") -> NoteMark:
    return NoteMark(kind=kind, place=place, text="", date="2026-05-01", before=before)


def part(y: list[float], sigma: float = 1.0) -> EvidencePart:
    """A feature whose scatter is known for sure."""
    values = np.array(y, dtype=float)
    return EvidencePart(
        name="air",
        at=np.arange(values.size),
        y=values,
        se=np.zeros(values.size),
        sigma=sigma,
        weight=1e9,
    )


@pytest.fixture
def case_of(make_flight: Make, make_case: Make) -> Callable[..., AircraftHistory]:
    return lambda n=8, **more: make_case([make_flight() for _ in range(n)], **more)


# False alarms.


def test_charts_share_the_false_alarms_of_a_book(case_of: Make) -> None:
    case = case_of(charts=10)
    assert case.watch_run == pytest.approx(4_000)
    assert case.ground_run == pytest.approx(80_000)
    j = case.judge([part([0.0] * 8)], 0, "tail")
    assert j.limit == change_limit(4_000.0)


def test_what_may_ground_has_the_stricter_limit(case_of: Make) -> None:
    # 3 / sqrt(1/6 + 1/2) = 3.67; limits 3.4 and 4.2.
    j = case_of().judge([part([0.0] * 6 + [3.0] * 2)], 0, "tail")
    assert j.signal == 5
    assert not j.sure


def test_sign_and_logarithm_are_handed_on(case_of: Make) -> None:
    y = [0.0] * 6 + [-log(2.0)] * 4
    j = case_of(10).judge([part(y, 0.05)], 0, "tail", sign=-1.0, logarithmic=True)
    assert j.now == pytest.approx(0.5)
    assert case_of(10).judge([part(y, 0.05)], 0, "tail").signal is None


# Repairs. Six flights at 0, four at 8 deviations, then the note, then what follows.


def after_repair(
    case_of: Make,
    after: list[float],
    *,
    notes: Any = None,
    fault: Any = (8.0,) * 4,
    first: int = 10,
) -> Any:
    y = [0.0] * 6 + [*fault, *after]
    notes = [note("repaired", 10)] if notes is None else notes
    return case_of(len(y), notes=notes).judge([part(y)], 10, "tail")


@pytest.mark.parametrize("after", [[8.0, 8.0], [4.9, 4.9], [3.0, 7.0]])
def test_a_repair_that_left_60_percent_or_more_was_none(case_of: Make, after: list[float]) -> None:
    j = after_repair(case_of, after)
    assert j.uncured
    assert (j.first, j.at[j.onset]) == (0, 6)


@pytest.mark.parametrize(
    "after", [[4.7, 4.7], [0.0, 0.0], [8.0], []], ids=["58 %", "none", "one flight", "no flight"]
)
def test_a_repair_that_may_have_cured(case_of: Make, after: list[float]) -> None:
    assert after_repair(case_of, after) is None  # two flights are not judged


def test_a_cured_place_is_judged_from_the_repair_on(case_of: Make) -> None:
    j = after_repair(case_of, [0.0] * 4)
    assert (j.first, j.signal, j.uncured) == (10, None, False)
    again = after_repair(case_of, [0.0] * 6 + [8.0] * 3)
    assert (again.first, again.uncured) == (10, False)
    assert again.at[again.onset] == 16
    # Where it rises anew after a repair that left the fault, the new rise is told.
    anew = after_repair(case_of, [8.0] * 6 + [20.0] * 3)
    assert (anew.first, anew.uncured, anew.now) == (10, False, pytest.approx(12.0))


def test_the_last_three_flights_before_the_repair_are_what_it_is_held_against(
    case_of: Make,
) -> None:
    # Means of the last 2, 3 and 4: 8, 10 and 15; 60 % of them 4.8, 6 and 9.
    fault = (30.0, 14.0, 8.0, 8.0)
    assert after_repair(case_of, [5.8, 5.8], fault=fault) is None
    assert after_repair(case_of, [6.2, 6.2], fault=fault).uncured


@pytest.mark.parametrize(
    "notes",
    [
        pytest.param([note("changed", 10)], id="changed"),
        pytest.param([note("repaired", 9)], id="another flight"),
        pytest.param([note("repaired", 10, "left wing")], id="another place"),
        pytest.param([], id="no note"),
    ],
)
def test_only_a_repair_of_that_place_at_that_flight_is_held_to_it(
    case_of: Make, notes: list[NoteMark]
) -> None:
    assert after_repair(case_of, [8.0, 8.0], notes=notes) is None


def test_a_repair_of_the_whole_counts(case_of: Make) -> None:
    assert after_repair(case_of, [8.0, 8.0], notes=[note("repaired", 10, "all")]).uncured


def test_a_fault_that_was_not_found_before_the_repair_is_not_held_to_it(case_of: Make) -> None:
    # One flight with it before the repair: the chart exceeds its limit in the first flight after.
    y = [0.0] * 9 + [8.0] * 3
    assert case_of(12, notes=[note("repaired", 10)]).judge([part(y)], 10, "tail") is None
    # Two flights with it: established in the last one before the repair.
    y = [0.0] * 8 + [8.0] * 4
    assert case_of(12, notes=[note("repaired", 10)]).judge([part(y)], 10, "tail").uncured


def test_the_fault_is_told_against_its_own_baseline(case_of: Make) -> None:
    """An earlier note begins the baseline that the repaired fault is held against."""
    y = [50.0] * 3 + [0.0] * 6 + [8.0] * 6
    notes = [note("changed", 3), note("repaired", 13)]
    j = case_of(15, notes=notes).judge([part(y)], 13, "tail")
    assert (j.first, j.uncured, j.now) == (3, True, pytest.approx(8.0))


def test_first_flight_since_the_last_note_of_any_of_the_places(case_of: Make) -> None:
    case = case_of(notes=[note("changed", 2), note("repaired", 5, "bus"), note("flown", 7)])
    assert (case.first("tail"), case.first("tail", "bus"), case.first("left wing")) == (2, 5, 0)


# Days and servos.


def test_day_of_a_flight(make_flight: Make, make_case: Make) -> None:
    case = make_case([make_flight(start="2026-05-09T23:59:00"), make_flight()])
    assert case.day(0) == date(2026, 5, 9)
    assert case.day(1) is None


@pytest.mark.parametrize(
    ("place", "servos"),
    [
        pytest.param("tail", (5, True), id="on that day"),
        pytest.param("left wing", (3, True), id="by the profile"),
        pytest.param("right wing", (4, False), id="assumed of a node"),
        pytest.param("receiver", (4, False), id="assumed of a receiver"),
        pytest.param("bus", (8, False), id="assumed of the whole"),
    ],
)
def test_servos(make_flight: Make, make_case: Make, place: str, servos: tuple[int, bool]) -> None:
    craft = Aircraft(
        nodes=(
            Node(name="tail", servos=2),
            Node(name="left wing", servos=3),
            Node(name="right wing"),
        )
    )
    flights = [make_flight(servos={"tail": 9}), make_flight(servos={"tail": 5})]
    assert make_case(flights, aircraft=craft).servos(place) == servos


def test_servos_of_the_day_of_the_last_flight(make_flight: Make, make_case: Make) -> None:
    craft = Aircraft(
        nodes=(Node(name="tail"),),
        servos=(
            Servo(node="tail", output=1, drives="rudder", count=2, until=date(2026, 5, 2)),
            Servo(node="tail", output=1, drives="rudder", count=6, since=date(2026, 5, 2)),
        ),
    )
    for days, servos in ((("01", "02"), 6), (("02", "01"), 2)):
        flights = [make_flight(start=f"2026-05-{day}T10:00:00") for day in days]
        assert make_case(flights, aircraft=craft).servos("tail") == (servos, True)


def test_share_of_one_servo(make_flight: Make, make_case: Make, make_judgement: Make) -> None:
    case = make_case([make_flight(servos={"tail": 3})])
    assert case.servo_pct("tail", make_judgement(now=0.1)) == pytest.approx(30.0)


# Records.


@pytest.mark.parametrize("scale", [100.0, -100.0])
def test_trend(make_judgement: Make, scale: float) -> None:
    j = make_judgement(
        4,
        2,
        at=np.array([1, 3, 4, 7]),
        rise=np.array([0.0, 0.1, 0.5, 0.6]),
        sd=np.array([0.1, 0.2, 0.3, 0.4]),
        score=np.array([1.0, 0.0, 2.0, 3.0]),
    )
    t = JudgedTrend(
        "c", "tail", j, quantity="q", unit="%", scale=scale, watch=5.0, ground=9.0
    ).record()
    assert t.flights == (1, 3, 4, 7)
    assert t.value == pytest.approx([0.0, 0.1 * scale, 0.5 * scale, 0.6 * scale])
    assert t.reach == pytest.approx([19.6, 39.2, 58.8, 78.4])
    assert (t.baseline, t.since) == ((1, 3), 4)
    assert (t.limit, t.watch, t.ground) == (4.5, 5.0, 9.0)
    assert t.score == (1.0, 0.0, 2.0, 3.0)
    assert t.chart == pytest.approx((0.0, 3.0, 6.0, 9.0))
    assert t.ewma == pytest.approx((0.2, 0.16, 0.528, 1.0224))
    assert t.ewma_reach[0] == pytest.approx(0.6)


def test_without_an_onset_every_flight_is_baseline(make_judgement: Make) -> None:
    j = make_judgement(3, None, rise=np.array([0.25, 0.5, 0.75]))
    t = JudgedTrend("c", "tail", j, quantity="q", unit="V").record()
    assert (t.baseline, t.since, t.value) == ((0, 1, 2), None, (0.25, 0.5, 0.75))
    assert (t.watch, t.ground) == (None, None)


def change(j: Any, *, scale: float = 100.0, limit: float | None = 60.0, **more: Any) -> Change:
    given: dict[str, Any] = {"level": Level.WATCH, "before": 1.0, "now": 2.0, **more}
    return change_of(j, quantity="q", unit="A", rise_unit="%", scale=scale, limit=limit, **given)


def test_change(make_judgement: Make) -> None:
    j = make_judgement(now=0.5, per_flight=0.04, per_flight_low=0.03, per_flight_high=0.05)
    c = change(j)
    assert (c.before, c.now, c.unit, c.rise_unit) == (1.0, 2.0, "A", "%")
    assert (c.low, c.rise, c.high) == pytest.approx((40.0, 50.0, 70.0))
    assert (c.per_flight_low, c.per_flight, c.per_flight_high) == pytest.approx((3.0, 4.0, 5.0))
    assert (c.limit, c.false_alarm) == (60.0, pytest.approx(0.0986, abs=1e-4))
    assert change(j, level=Level.GROUND).false_alarm == pytest.approx(0.0052, abs=1e-4)
    turned = change(j, scale=-1.0)
    assert (turned.low, turned.rise, turned.high) == pytest.approx((-0.7, -0.5, -0.4))


@pytest.mark.parametrize(
    ("now", "rate", "limit", "flights"),
    [
        pytest.param(48.0, 4.0, 60.0, 3, id="12 at 4 a flight"),
        pytest.param(47.0, 4.0, 60.0, 4, id="13 at 4: the fourth flight is over"),
        pytest.param(59.0, 4.0, 60.0, 1, id="the next"),
        pytest.param(48.0, 0.5, 54.0, 12, id="slowly"),
    ],
)
@pytest.mark.parametrize("scale", [1.0, 100.0, -1.0])
def test_flights_to_the_limit(
    make_judgement: Make, now: float, rate: float, limit: float, flights: int, scale: float
) -> None:
    rise = np.r_[np.zeros(4), now - rate * np.arange(12)[::-1]]
    j = make_judgement(
        16, 4, now=now / scale, rise=rise / scale, sd=np.full(16, 0.05 / abs(scale)),
        per_flight=rate / scale,
    )  # fmt: skip
    c = change(j, scale=scale, limit=limit)
    assert c.flights_to_limit_low is not None
    assert c.flights_to_limit is not None
    assert c.flights_to_limit_high is not None
    assert c.flights_to_limit_low <= flights <= c.flights_to_limit_high
    assert c.flights_to_limit_low <= c.flights_to_limit <= c.flights_to_limit_high
    assert c.flights_to_limit == pytest.approx(flights, abs=max(1, 0.2 * flights))
    assert not c.too_uncertain
    gone = c.past()
    assert gone.flights_to_limit_low is gone.flights_to_limit_high is gone.flights_to_limit is None
    assert (gone.rise, gone.limit, gone.per_flight) == (c.rise, c.limit, c.per_flight)


@pytest.mark.parametrize(
    ("now", "rate", "limit", "step"),
    [
        pytest.param(60.0, 4.0, 60.0, False, id="reached"),
        pytest.param(70.0, 4.0, 60.0, False, id="passed"),
        pytest.param(48.0, 0.0, 60.0, False, id="standing"),
        pytest.param(48.0, -4.0, 60.0, False, id="falling"),
        pytest.param(48.0, None, 60.0, False, id="rate unknown"),
        pytest.param(48.0, 4.0, None, False, id="no limit"),
        pytest.param(48.0, 4.0, 60.0, True, id="one step"),
    ],
)
def test_what_does_not_grow_towards_a_limit_has_no_flights_left(
    make_judgement: Make, now: float, rate: float | None, limit: float | None, step: bool
) -> None:
    j = make_judgement(now=now, per_flight=rate, step=step)
    c = change(j, scale=1.0, limit=limit)
    told = (c.flights_to_limit_low, c.flights_to_limit, c.flights_to_limit_high)
    assert told == (None, None, None)
    assert (c.too_uncertain, c.per_flight) == (False, rate)


def test_a_trend_too_uncertain_to_date_says_so(make_judgement: Make) -> None:
    rise = np.r_[np.zeros(5), 6.0, 2.0, 9.0]
    j = make_judgement(8, 5, now=6.0, rise=rise, sd=np.full(8, 3.0), per_flight=1.5)
    c = change(j, scale=1.0, limit=100.0)
    assert c.too_uncertain
    assert (c.flights_to_limit_low, c.flights_to_limit, c.flights_to_limit_high) == (None,) * 3


@pytest.mark.parametrize(
    ("first", "end", "mean"),
    [(0, 5, 3.75), (1, 3, 2.0), (2, 3, None), (-3, 2, 1.5), (3, 9, 6.0), (5, 9, None)],
)
def test_usual(make_flight: Make, first: int, end: int, mean: float | None) -> None:
    table = FeatureTable([make_flight({("tail", "x"): v}) for v in (1.0, 2.0, None, 4.0, 8.0)])
    assert usual(table, "tail", "x", first, end) == mean
    assert usual(table, "tail", "y", first, end) is None


def test_established(case_of: Make, make_judgement: Make) -> None:
    code = "servo-current-rising"
    j = make_judgement(8, 5, now=0.5, p_trend=0.01)
    f = established(
        case_of(9),
        code,
        "tail",
        j,
        level=Level.WATCH,
        title="more",
        quantity="q",
        unit="A",
        rise_unit="%",
        scale=100.0,
        further=(Possible(CauseKind.AIR_LOAD, "and this"),),
        evidence={"more": 1},
    )
    assert (f.code, f.place, f.level, f.since_flight) == (code, "tail", Level.WATCH, "6")
    assert f.evidence == {
        "rise": 50.0,
        "kind": "gradual",
        "flights_since": 4,  # flights 6 to 9
        "chart": 9.0,
        "chart_limit": 4.5,
        "p_trend": 0.01,
        "more": 1,
    }
    words = CODES[code].words_across
    assert words is not None
    named = tuple(e.replace("{place}", "tail") for e in words.explanations)
    assert f.finding(words).explanations == (*named, "and this")
    assert f.title == "more"
    assert f.change is not None
    assert (f.change.rise, f.change.limit) == (50.0, None)
    stood = make_judgement(8, 5, now=0.5, step=True, uncured=True)
    again = established(
        case_of(9), code, "tail", stood, level=Level.WATCH, title="more", quantity="q",
        unit="A", rise_unit="A",
    )  # fmt: skip
    assert "repair" in again.title
    assert again.evidence["kind"] == "one step"
    assert again.evidence["rise"] == 0.5
