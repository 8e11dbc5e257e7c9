"""What each check came to, place by place: the list, its reasons, and what makes a log unknown.

The expected side of each follows from the rule itself: a log is clear only where every essential
check judged, and what lies in the aircraft's nature never makes it unknown.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.checks.aircraft_history import JudgedAcross, JudgedTrend, Looked, Unjudged
from telemetry.checks.in_flight import Judged, judge_log
from telemetry.checks.listed import CHECKS
from telemetry.checks.outcomes import outcomes_across
from telemetry.model.channels import Quantity
from telemetry.model.unsettled import Unsettled
from telemetry.results import (
    CheckOutcome,
    Dropout,
    Finding,
    Flight,
    Level,
    Margin,
    NotJudged,
    Origin,
    OutcomeKind,
    PackState,
    Phase,
    PhaseKind,
    PlaceLoad,
    Quality,
    Resistance,
    SupplyLevel,
)
from telemetry.trends.evidence import Judgement
from tests.checks.test_findings import CRAFT, GOOD, PHASES, column, fall, low

SMALL = Aircraft(bus="bus")
ESSENTIAL = {"undervoltage", "brownout", "restart", "margin-low", "sag-unexplained"}


def judged(
    *columns: Any, aircraft: Aircraft = SMALL, unsettled: tuple[Unsettled, ...] = (), **parts: Any
) -> Judged:
    given = {"phases": PHASES, "levels": (SupplyLevel(place="bus", level_v=5.0, is_floor=False),)}
    flight = Flight(kind="flight", start_s=0, end_s=430, **{**given, **parts})
    return judge_log(
        aircraft=aircraft,
        columns=columns or GOOD,
        quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1),
        flights=(flight,),
        unsettled=unsettled,
    )


def at(judged: Judged, code: str, place: str | None) -> CheckOutcome:
    (one,) = [o for o in judged.outcomes if (o.code, o.place) == (code, place)]
    return one


def verdict(judged: Judged) -> Level:
    return max((f.level for f in judged.findings), default=Level.CLEAR)


def test_every_check_of_one_log_declares_what_it_needs_and_what_it_sees() -> None:
    for check in CHECKS:
        one_log = bool(check.in_recording or check.in_flight)
        assert (check.needs is not None) is (check.sees is not None) is one_log, check.code


def test_the_list_names_every_check_but_itself() -> None:
    found = judged(*GOOD, aircraft=CRAFT)
    named = {o.code for o in found.outcomes}
    # A check of packs or nodes has no place to be asked of where the aircraft has none.
    assert named >= {c.code for c in CHECKS if c.needs is None} - {"log-too-thin"}
    assert list(dict.fromkeys(o.code for o in found.outcomes)) == [
        c.code for c in CHECKS if c.code in named
    ]
    assert {c.code for c in CHECKS} >= named


def test_each_outcome_says_what_it_would_have_seen_or_why_not() -> None:
    for o in judged(*GOOD, aircraft=CRAFT).outcomes:
        assert (o.sees is not None) is (o.outcome is OutcomeKind.PASSED), o
        refused = o.outcome is OutcomeKind.NOT_JUDGED
        assert (o.reason is not None) is (o.why is not None) is (o.next_time is not None) is refused
        assert o.reason is None or o.reason in NotJudged


def test_voltage_and_current_of_the_bus_are_enough_and_voltage_alone_is_not() -> None:
    whole = judged(*GOOD)
    assert verdict(whole) is Level.CLEAR
    seen = {o.code for o in whole.outcomes if o.essential and o.outcome is OutcomeKind.PASSED}
    assert seen == ESSENTIAL - {"restart"}
    assert at(whole, "restart", None).reason is NotJudged.UNLOGGED
    alone = judged(column("voltage"))
    assert verdict(alone) is Level.UNKNOWN
    assert at(alone, "sag-unexplained", "bus").reason is NotJudged.NO_COLUMN
    assert at(alone, "undervoltage", "bus").outcome is OutcomeKind.PASSED


def test_what_each_essential_check_would_have_seen_carries_the_limits_in_force() -> None:
    found = judged(column("voltage", update_s=0.2), column("current"))
    assert (
        at(found, "undervoltage", "bus").sees == "less than 5.00 V under load for 0.2 s or longer"
    )
    assert at(found, "brownout", "bus").sees == "3.5 V or less for 0.2 s or longer"
    assert (at(found, "margin-low", "bus").sees or "").startswith("less than 4.5 V for 0.2 s")
    assert "5 % and 0.25 V" in (at(found, "sag-unexplained", "bus").sees or "")


@pytest.mark.parametrize(
    ("place", "feeds", "enough"),
    [
        ("left wing", "bus", True),  # its own
        ("bus", "bus", True),  # of what feeds it
        ("pack 1", "bus", True),
        ("right wing", "bus", False),  # of its neighbour
    ],
)
def test_falls_need_a_current_that_flows_there(place: str, feeds: str, enough: bool) -> None:
    craft = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1"}],
            "nodes": [{"name": n, "fed_from": feeds} for n in ("left wing", "right wing")],
        }
    )
    found = judged(column("voltage", "left wing"), column("current", place), aircraft=craft)
    one = at(found, "sag-unexplained", "left wing")
    assert (one.outcome is OutcomeKind.PASSED) is enough
    assert (verdict(found) is Level.CLEAR) is enough


def test_the_current_of_the_motor_is_none_of_the_supply() -> None:
    found = judged(column("voltage"), column("current", "motor"))
    assert at(found, "sag-unexplained", "bus").reason is NotJudged.NO_COLUMN
    assert not [o for o in judged(*GOOD, column("voltage", "motor")).outcomes if o.place == "motor"]


def test_a_profile_adds_no_essential_check() -> None:
    found = judged(*GOOD, aircraft=CRAFT)
    assert verdict(found) is Level.CLEAR
    assert at(found, "undervoltage", "left wing").reason is NotJudged.UNLOGGED
    assert not [o for o in found.outcomes if o.lacking]


def test_each_place_whose_voltage_is_logged_is_judged_at_its_own_pace() -> None:
    slow = column("voltage", "left wing", update_s=2.1)
    found = judged(*GOOD, slow, aircraft=CRAFT)
    assert verdict(found) is Level.UNKNOWN
    assert at(found, "brownout", "left wing").reason is NotJudged.TOO_SLOW
    assert at(found, "brownout", "bus").outcome is OutcomeKind.PASSED
    assert "2.1 s" in (at(found, "brownout", "left wing").why or "")
    assert "left wing" in (at(found, "brownout", "left wing").next_time or "")


def test_what_lies_in_the_nature_of_the_aircraft_makes_no_log_unknown() -> None:
    resting_low = judged(*GOOD, levels=())  # a system built for less than the usual level
    assert at(resting_low, "undervoltage", "bus").reason is NotJudged.NO_LEVEL
    assert verdict(resting_low) is Level.CLEAR
    assert {r for r in NotJudged if r.by_nature}.isdisjoint({r for r in NotJudged if r.of_the_log})


@pytest.mark.parametrize("quantity", [Quantity.VOLTAGE, Quantity.CURRENT])
def test_a_column_that_was_not_understood_is_a_place_that_was_not_judged(
    quantity: Quantity,
) -> None:
    unread = Unsettled(column="Ux", beside="", set_line="--set 'Ux=...'", quantity=quantity)
    found = judged(*GOOD, unsettled=(unread,))
    assert verdict(found) is Level.UNKNOWN
    there = [o for o in found.outcomes if o.place == "Ux" and o.essential]
    assert {o.reason for o in there} == {NotJudged.NOT_UNDERSTOOD}
    assert all("--set 'Ux=...'" in (o.next_time or "") for o in there)
    # Where the current may be the one that is missing, that check says so.
    alone = judged(column("voltage"), unsettled=(unread,))
    reason = at(alone, "sag-unexplained", "bus").reason
    assert (reason is NotJudged.NOT_UNDERSTOOD) is (quantity is Quantity.CURRENT)


def test_a_lead_whose_current_has_another_name_was_not_judged() -> None:
    loose = Unsettled(column="Ix", beside="left wing voltage", set_line="--set 'Ix=...'")
    columns = (*GOOD, column("voltage", "left wing"), column("current", "ix"))
    found = judged(*columns, aircraft=CRAFT, unsettled=(loose,))
    one = at(found, "branch-resistance-high", "left wing")
    assert (one.reason, one.essential) == (NotJudged.NOT_UNDERSTOOD, True)
    assert verdict(found) is Level.UNKNOWN


def test_too_much_telemetry_lost_leaves_nothing_judged() -> None:
    lost = Dropout(start_s=110.0, end_s=210.0, place=None, kind="frozen")
    found = judge_log(
        aircraft=SMALL,
        columns=GOOD,
        quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1, dropouts=(lost,)),
        flights=(Flight(kind="flight", start_s=0, end_s=430, phases=PHASES),),
    )
    assert at(found, "brownout", "bus").reason is NotJudged.TELEMETRY_LOST


def test_a_log_without_any_flight_or_bench_recording_had_no_load() -> None:
    quality = Quality(row_s=None, shortest_sure_dip_s=None)
    found = judge_log(aircraft=SMALL, columns=GOOD, quality=quality, flights=())
    assert verdict(found) is Level.UNKNOWN
    assert at(found, "brownout", "bus").reason is NotJudged.NO_LOAD


def test_every_place_that_a_finding_names_is_found_there() -> None:
    both = (low("bus", 4.6), low("left wing", 4.4))
    found = judged(*GOOD, column("voltage", "left wing"), aircraft=CRAFT, low=both)
    assert [f.place for f in found.findings] == ["left wing"]
    for place in ("bus", "left wing"):
        assert at(found, "undervoltage", place).outcome is OutcomeKind.FOUND
    margins = tuple(
        Margin(place=p, lowest_v=4.2, restart_v=3.5, observed_v=0.7) for p in ("bus", "left wing")
    )
    found = judged(*GOOD, column("voltage", "left wing"), aircraft=CRAFT, margins=margins)
    for place in ("bus", "left wing"):
        assert at(found, "margin-low", place).outcome is OutcomeKind.FOUND


def test_of_several_flights_the_least_favourable_outcome_counts() -> None:
    levels = (SupplyLevel(place="bus", level_v=5.0, is_floor=False),)
    still = (Phase(kind=PhaseKind.GROUND, start_s=500, end_s=600),)
    flown = Flight(kind="flight", start_s=0, end_s=430, phases=PHASES, levels=levels)
    quiet = Flight(kind="flight", start_s=500, end_s=600, phases=still, levels=levels)
    low_one = Flight(
        kind="flight", start_s=500, end_s=930, phases=PHASES, levels=levels, low=(low("bus", 4.6),)
    )

    def of(*flights: Flight) -> CheckOutcome:
        found = judge_log(
            aircraft=SMALL,
            columns=GOOD,
            quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1),
            flights=flights,
        )
        return at(found, "undervoltage", "bus")

    assert of(flown, flown).outcome is OutcomeKind.PASSED
    assert of(flown, quiet).reason is NotJudged.NO_LOAD
    assert of(flown, low_one).outcome is OutcomeKind.FOUND


def test_falls_that_nothing_explains_leave_falls_unjudged_where_they_were() -> None:
    events = tuple(fall(120.0 + 20 * k, Origin.UNKNOWN) for k in range(3))
    columns = (*GOOD, column("voltage", "left wing"))
    found = judged(*columns, aircraft=CRAFT, events=events)
    assert at(found, "sag-unexplained", "left wing").reason is NotJudged.TOO_SLOW
    assert at(found, "sag-unexplained", "bus").outcome is OutcomeKind.PASSED


def branch(place: str, mohm: float | None, doubt: float = 2.0, **more: Any) -> Resistance:
    known = mohm is not None
    return Resistance(
        kind="branch", place=place, parent="bus", updates=900, mohm=mohm,
        low_mohm=mohm - doubt if known else None, high_mohm=mohm + doubt if known else None, **more,
    )  # fmt: skip


WINGS = tuple(
    column(q, p) for p in ("bus", "left wing", "right wing") for q in ("voltage", "current")
)


def test_a_lead_passes_with_the_resistance_that_would_have_been_told() -> None:
    pair = (branch("left wing", 40.0, 5.0), branch("right wing", 30.0))
    found = judged(*WINGS, aircraft=CRAFT, resistances=pair)
    # The mirror's upper end is 32; half as much again is 48, and 5 are in doubt.
    one = at(found, "branch-resistance-high", "left wing")
    assert (one.sees, one.essential) == ("53 mOhm or more from bus", True)
    worse = (branch("left wing", 53.5, 5.0), branch("right wing", 30.0))
    found = judged(*WINGS, aircraft=CRAFT, resistances=worse)
    assert at(found, "branch-resistance-high", "left wing").outcome is OutcomeKind.FOUND


@pytest.mark.parametrize(
    ("usual_a", "more", "reason", "level"),
    [
        (5.0, {"refused": "swings too fast"}, NotJudged.UNCERTAIN, Level.UNKNOWN),
        (0.2, {"refused": "hardly moved"}, NotJudged.CALM, Level.CLEAR),
        (5.0, {"refused": "held", "regulated": True}, NotJudged.REGULATED, Level.CLEAR),
    ],
)
def test_a_lead_that_could_not_be_measured(
    usual_a: float, more: dict[str, Any], reason: NotJudged, level: Level
) -> None:
    """With the load for it the log is why; a calm flight is nobody's fault."""
    pair = (branch("left wing", None, **more), branch("right wing", 30.0))
    load = PlaceLoad(place="left wing", usual_a=usual_a, peak_a=8.0, landing_a=None, landing_v=None)
    found = judged(*WINGS, aircraft=CRAFT, resistances=pair, loads=(load,))
    assert at(found, "branch-resistance-high", "left wing").reason is reason
    assert verdict(found) is level


def test_a_pack_that_stands_by_shares_nothing() -> None:
    craft = Aircraft.model_validate(
        {"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2", "role": "standby"}]}
    )
    states = (PackState(place="pack 1", role="shared"), PackState(place="pack 2", role="standby"))
    columns = (*GOOD, column("current", "pack 1"), column("current", "pack 2"))
    found = judged(*columns, aircraft=craft, packs=states)
    assert at(found, "pack-share", "pack 2").reason is NotJudged.STANDBY
    assert verdict(found) is Level.CLEAR


# Across flights


def across(judged: JudgedAcross, *findings: Finding) -> dict[tuple[str, str | None], CheckOutcome]:
    return {(o.code, o.place): o for o in outcomes_across(CHECKS, judged, findings)}


def charted(code: str, place: str, sd: float) -> JudgedTrend:
    none = np.zeros(3)
    judgement = Judgement(
        at=np.arange(3), score=none, rise=none, sd=np.full(3, sd), charted=lambda: none,
        limit=4.5, first=0, sure=False,
    )  # fmt: skip
    return JudgedTrend(code, place, judgement, quantity="rise", unit="mOhm", watch=8.0)


def test_across_flights_each_check_and_place_has_an_outcome() -> None:
    few = Unjudged(("sensor-offset",), "tail", NotJudged.TOO_FEW_FLIGHTS, "two flights only")
    judged = JudgedAcross(
        trends=[charted("branch-resistance-rising", p, 1.0) for p in ("left wing", "tail")],
        looked=[Looked("pack-out", "pack 1", "less than 3 %")],
        not_judged=[few],
    )
    found = Finding(code="branch-resistance-rising", level=Level.WATCH, place="tail", title="")
    out = across(judged, found)
    assert out["branch-resistance-rising", "tail"].outcome is OutcomeKind.FOUND
    assert out["branch-resistance-rising", "left wing"].outcome is OutcomeKind.PASSED
    assert out["pack-out", "pack 1"].sees == "less than 3 %"
    told = out["sensor-offset", "tail"]
    assert (told.outcome, told.reason) == (OutcomeKind.NOT_JUDGED, NotJudged.TOO_FEW_FLIGHTS)
    assert told.next_time
    # What no place had the columns for is said of the whole.
    assert out["servo-silent", None].reason is NotJudged.NO_COLUMN
    assert {code for code, _ in out} == {c.code for c in CHECKS if c.across}


@pytest.mark.parametrize(("sd", "told"), [(1.0, "8 mOhm"), (10.0, "26 mOhm")])
def test_what_a_chart_would_have_told_is_the_limit_or_what_chance_allows(
    sd: float, told: str
) -> None:
    """The mean of three flights stands 4.5 deviations out at d = 4.5 / sqrt(3) sd = 2.6 sd."""
    judged = JudgedAcross(trends=[charted("branch-resistance-rising", "tail", sd)])
    assert f": {told} or more" in (across(judged)["branch-resistance-rising", "tail"].sees or "")


def test_what_one_flight_found_and_stands_is_found() -> None:
    found = Finding(code="regulator-droop", level=Level.GROUND, place="bus", title="")
    assert across(JudgedAcross(), found)["regulator-droop", "bus"].outcome is OutcomeKind.FOUND
