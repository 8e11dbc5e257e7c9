"""What one log shows for or against a cause: each sign on both sides of its limit, by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.checks.causes import signs
from telemetry.checks.draft import FindingDraft
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.results import (
    ColumnUse,
    Event,
    Evidence,
    Flight,
    LeadChange,
    Level,
    Margin,
    Origin,
    PlaceLoad,
    Quality,
    Stir,
)
from tests.checks.test_findings import CRAFT, GOOD, PHASES, column, fall, low, offset, stirred


def draft(place: str | None = "left wing", start_s: float | None = 150.0, **evidence: Any) -> Any:
    return FindingDraft(
        code="sag-unexplained",
        level=Level.WATCH,
        place=place,
        title="it fell",
        evidence=evidence,
        start_s=start_s,
        end_s=None if start_s is None else start_s + 0.5,
    )


def facts(
    *events: Event,
    columns: tuple[ColumnUse, ...] = GOOD,
    aircraft: Aircraft = CRAFT,
    **parts: Any,
) -> FlightFacts:
    flight = Flight(kind="flight", start_s=0, end_s=430, phases=PHASES, events=events, **parts)
    quality = Quality(row_s=0.1, shortest_sure_dip_s=0.1)
    recording = RecordingFacts(
        aircraft=aircraft, columns=columns, quality=quality, flights=(flight,)
    )
    return FlightFacts(flight=flight, recording=recording)


def there(sign: signs.Sign | None) -> bool | None:
    return None if sign is None else sign.present


MARGINS = tuple(
    Margin(place=p, lowest_v=6.4, restart_v=3.5, observed_v=2.9)
    for p in ("left wing", "right wing")
)


@pytest.mark.parametrize(
    ("other_s", "alone"),
    [(None, True), (151.5, False), (151.75, True), (148.5, False), (148.25, True)],
)
def test_another_place_fell_within_a_second(other_s: float | None, alone: bool) -> None:
    """From 150.0 to 150.5 s here; half a second there."""
    events = [fall(150.0, Origin.CONTACT)]
    if other_s is not None:
        events.append(fall(other_s, Origin.CONTACT, place="right wing"))
    assert there(signs.alone(facts(*events, margins=MARGINS), draft())) is alone
    assert signs.alone(facts(*events, margins=MARGINS[:1]), draft()) is None
    assert signs.alone(facts(*events, margins=MARGINS), draft(start_s=None)) is None


@pytest.mark.parametrize(("times", "is_there"), [(1, False), (2, False), (3, True), (None, None)])
def test_three_times_are_several(times: int | None, is_there: bool | None) -> None:
    assert there(signs.repeated(facts(), draft(times=times))) is is_there


@pytest.mark.parametrize(("updates", "is_there"), [(1, False), (2, True), (None, None)])
def test_two_readings_are_several(updates: int | None, is_there: bool | None) -> None:
    event = fall(150.0, Origin.CONTACT, updates=updates)
    assert there(signs.several_readings(facts(event), draft())) is is_there
    assert signs.several_readings(facts(event), draft(place="right wing")) is None


@pytest.mark.parametrize(
    ("amps_s", "is_there"), [(0.125, False), (0.2, False), (0.25, True), (1.0, True)]
)
def test_a_current_half_as_often_as_the_voltage_hides_a_peak(amps_s: float, is_there: bool) -> None:
    columns = (
        column("voltage", "left wing", update_s=0.125),
        column("current", "left wing", update_s=amps_s),
    )
    assert there(signs.slow_current(facts(columns=columns), draft())) is is_there
    assert there(signs.slow_current(facts(columns=columns[:1]), draft())) is True
    assert signs.slow_current(facts(columns=columns[1:]), draft()) is None


@pytest.mark.parametrize(
    ("peak_a", "is_there"), [(7.0, True), (6.9, None), (4.1, None), (4.0, False), (None, None)]
)
def test_it_came_near_the_highest_current(peak_a: float | None, is_there: bool | None) -> None:
    event = fall(150.0, Origin.CONTACT, peak_a=peak_a)
    load = PlaceLoad(place="left wing", usual_a=5.0, peak_a=10.0, landing_a=None, landing_v=None)
    assert there(signs.loaded(facts(event, loads=(load,)), draft())) is is_there
    assert signs.loaded(facts(event), draft()) is None


@pytest.mark.parametrize(
    ("below_s", "is_there"), [(270.0, True), (269.0, None), (91.0, None), (90.0, False)]
)
def test_low_for_nine_tenths_of_the_time_is_always(below_s: float, is_there: bool | None) -> None:
    """Of 300 s under load."""
    made = facts(low=(low("left wing", 4.6, below_s=below_s),))
    assert there(signs.low_always(made, draft())) is is_there
    never = facts(low=(low("left wing", 4.6, below_s=below_s, loaded_s=0.0),))
    assert signs.low_always(never, draft()) is None


def leads(own: float, other: float) -> tuple[Any, ...]:
    return tuple(
        replace(offset(p, 0.0, 0.0), mohm=mohm, low_mohm=mohm - 2.0, high_mohm=mohm + 2.0)
        for p, mohm in (("left wing", own), ("right wing", other))
    )


@pytest.mark.parametrize(
    ("own_a", "own_mohm", "is_there"),
    [
        (1.0, 60.0, True),  # half the current and twice the resistance: one sensor reads low
        (1.0, 40.0, None),
        (1.0, 76.0, True),
        (1.0, 79.0, False),
        (1.8, 33.0, None),  # servos differ by a seventh
        (2.0, 60.0, False),
    ],
)
def test_a_sensor_that_reads_low_makes_a_lead_look_bad(
    own_a: float, own_mohm: float, is_there: bool | None
) -> None:
    places = (stirred("left wing", 0.2, 0.2, own_a), stirred("right wing", 0.2, 0.2, 2.0))
    stir = Stir(start_s=50, end_s=60, rhythm_hz=None, after_flight=False, places=places)
    made = facts(stirs=(stir,), resistances=leads(own_mohm, 30.0))
    assert there(signs.sensor_reads_low(made, draft())) is is_there
    assert signs.sensor_reads_low(facts(resistances=leads(60.0, 30.0)), draft()) is None


@pytest.mark.parametrize(("own_mohm", "is_there"), [(34.0, None), (34.5, True), (26.0, None)])
def test_the_lead_of_the_mirror_has_clearly_less(own_mohm: float, is_there: bool | None) -> None:
    """Intervals of 2 mOhm to both sides must not touch."""
    made = facts(resistances=leads(own_mohm, 30.0))
    assert there(signs.mirror_lower(made, draft())) is is_there


@pytest.mark.parametrize(
    ("residual_v", "updates", "evidence", "is_there"),
    [
        (1.0, 1, Evidence.UNKNOWN, True),
        (1.1, 1, Evidence.UNKNOWN, None),
        (0.5, 2, Evidence.UNKNOWN, None),
        (0.5, None, Evidence.UNKNOWN, True),
        (0.5, 1, Evidence.REAL, None),
        (None, 1, Evidence.UNKNOWN, None),
    ],
)
def test_a_unit_without_supply_reports_nothing(
    residual_v: float | None, updates: int | None, evidence: Evidence, is_there: bool | None
) -> None:
    event = fall(150.0, Origin.UNKNOWN, residual_v=residual_v, updates=updates, evidence=evidence)
    assert there(signs.still_reports(facts(event), draft())) is is_there


@pytest.mark.parametrize(
    ("at_s", "aloft"), [(99.0, False), (100.0, True), (399.0, True), (400.0, False), (430.0, None)]
)
def test_it_happened_in_flight_or_on_the_ground(at_s: float, aloft: bool | None) -> None:
    assert there(signs.in_flight(facts(), draft(time_s=at_s))) is aloft
    other = None if aloft is None else not aloft
    assert there(signs.on_the_ground(facts(), draft(time_s=at_s))) is other


@pytest.mark.parametrize(
    ("usual_mohm", "change_mohm", "error_mohm", "is_there"),
    [
        (40.0, 4.0, 1.0, True),  # by 6 mOhm with its error: 15 % of 40
        (40.0, -4.0, 1.0, True),
        (40.0, 4.25, 1.0, None),
        (20.0, 3.0, 1.0, True),  # 5 mOhm are none of any lead
        (20.0, 3.25, 1.0, None),
    ],
)
def test_copper_stays_what_it_was(
    usual_mohm: float, change_mohm: float, error_mohm: float, is_there: bool | None
) -> None:
    change = LeadChange(
        place="left wing", parent="bus", start_s=150.0, end_s=None, from_start=False,
        usual_mohm=usual_mohm, change_mohm=change_mohm, error_mohm=error_mohm, seconds=60.0,
        rms_a=2.0, step_v=0.01, confirmed=False,
    )  # fmt: skip
    made = facts(lead_changes=(change,))
    assert there(signs.steady(made, draft(start_s=None))) is is_there
    assert signs.steady(made, draft()) is None, "of an event that lasted a moment"
