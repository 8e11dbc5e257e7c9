"""The rules on voltage and sensors, on records made by hand: what is told, how gravely, what not.

The expected side of each follows from the rule's own words (limits: common practice, no source, or
the project's own; tests/test_limits.py).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.in_flight import judge_log
from telemetry.results import (
    ColumnUse,
    Dropout,
    DropRatio,
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    LoadDrop,
    LowSupply,
    Origin,
    OutKind,
    PackOut,
    PackTwins,
    Phase,
    PhaseKind,
    Quality,
    Resistance,
    Restart,
    Stir,
    StirPlace,
    UnusualCurrent,
    UnusualKind,
)

PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0, end_s=50),
    Phase(kind=PhaseKind.STIR, start_s=50, end_s=60),
    Phase(kind=PhaseKind.GROUND, start_s=60, end_s=100),
    Phase(kind=PhaseKind.FLIGHT, start_s=100, end_s=400),
    Phase(kind=PhaseKind.GROUND, start_s=400, end_s=430),
)
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [
            {"name": "left wing", "fed_from": "bus", "mirror": "right wing"},
            {"name": "right wing", "fed_from": "bus"},
        ],
    }
)


def column(
    quantity: str, place: str = "bus", resolution: float = 0.01, update_s: float = 0.1
) -> ColumnUse:
    return ColumnUse(
        column=f"{place} {quantity}",
        key=f"{place}/{quantity}",
        quantity=quantity,
        place=place,
        label=place,
        unit="",
        reason="",
        update_s=update_s,
        resolution=resolution,
        used=True,
    )


GOOD = (column("voltage"), column("current"))


def found_in(
    *events: Event,
    columns: tuple[ColumnUse, ...] = GOOD,
    quality: Quality | None = None,
    phases: tuple[Phase, ...] = PHASES,
    aircraft: Aircraft = CRAFT,
    **parts: Any,
) -> tuple[Finding, ...]:
    flight = Flight(kind="flight", start_s=0, end_s=430, phases=phases, events=events, **parts)
    return judge_log(
        aircraft=aircraft,
        columns=columns,
        quality=quality or Quality(row_s=0.1, shortest_sure_dip_s=0.1),
        flights=(flight,),
    ).findings


def told(found: tuple[Finding, ...]) -> list[tuple[str, str | None, Level]]:
    return [(f.code, f.place, f.level) for f in found]


def twins(
    mohm: float,
    compared_mohm: float,
    times: tuple[float, float, float],
    more_v: float | None = None,
    step_v: float = 0.01,
) -> PackTwins:
    """Pack 2 held against pack 1; how many times as much, with both ends of the interval."""
    return PackTwins(
        place="pack 2",
        compared_with="pack 1",
        mohm=mohm,
        compared_mohm=compared_mohm,
        low_times=times[0],
        times=times[1],
        high_times=times[2],
        more_v=more_v,
        step_v=step_v,
    )


def low(place: str, lowest_v: float, **more: Any) -> LowSupply:
    given: dict[str, Any] = {
        "level_v": 5.0, "is_floor": False, "lowest_s": 150.0, "loaded_s": 300.0, "below_s": 20.0,
        "longest_s": 5.0, "times": 4, "short_v": 0.02, "deep_v": 4.5, "deep_s": 0.0,
        "deep_readings": 9,
    }  # fmt: skip
    return LowSupply(place=place, lowest_v=lowest_v, **(given | more))


def fall(start_s: float, origin: Origin, place: str = "left wing", **more: Any) -> Event:
    given: dict[str, Any] = {
        "kind": EventKind.SAG,
        "end_s": start_s + 0.5,
        "reference_v": 7.4,
        "residual_v": 6.4,
        "depth_v": 1.0,
        "phase": PhaseKind.FLIGHT,
        "updates": 3,
    }
    return Event(place=place, start_s=start_s, origin=origin, **{**given, **more})


def test_falls_that_the_load_explains_never_raise_a_level() -> None:
    hard = [fall(100.0 + 3 * k, Origin.LOAD) for k in range(90)]
    assert found_in(*hard) == ()


@pytest.mark.parametrize(
    ("times", "level"), [(1, Level.WATCH), (2, Level.WATCH), (3, Level.GROUND)]
)
def test_one_fall_by_a_contact_is_watched_and_several_ground(times: int, level: Level) -> None:
    found = found_in(*(fall(120.0 + 20 * k, Origin.CONTACT, depth_v=0.5 + k) for k in range(times)))
    assert told(found) == [("sag-unexplained", "left wing", level)]
    evidence = found[0].evidence
    assert (evidence["times"], evidence["deepest_v"]) == (times, times - 0.5)


def test_a_long_shift_by_a_contact_grounds_where_more_than_three_readings_saw_it() -> None:
    one = fall(120.0, Origin.CONTACT, kind=EventKind.SHIFT, updates=4)
    assert told(found_in(one)) == [("sag-unexplained", "left wing", Level.GROUND)]
    few = fall(120.0, Origin.CONTACT, kind=EventKind.SHIFT, updates=3)
    assert told(found_in(few)) == [("sag-unexplained", "left wing", Level.WATCH)]


def test_what_comes_from_above_is_told_once_of_the_place_that_feeds() -> None:
    both = [
        fall(120.0, Origin.SUPPLY, place=p, depth_v=d)
        for p, d in (("left wing", 1.2), ("right wing", 1.1))
    ]
    found = found_in(*both)
    assert told(found) == [("regulator-droop", "bus", Level.WATCH)]
    assert (found[0].evidence["times"], found[0].evidence["deepest_v"]) == (1, 1.2)
    lasting = [fall(120.0, Origin.SUPPLY, place="bus", kind=EventKind.SHIFT, updates=50)]
    assert told(found_in(*lasting)) == [("switch-step", "bus", Level.GROUND)]


def test_a_fall_while_a_pack_was_out_is_told_of_the_pack() -> None:
    out = PackOut(
        place="pack 1",
        kind=OutKind.LOST,
        start_s=200.0,
        end_s=210.0,
        back=True,
        share_before=0.5,
        carried_a=12.0,
        bus_v=6.4,
        own_v=0.0,
    )
    found = found_in(
        fall(205.0, Origin.PACK, place="bus"),
        fall(205.0, Origin.CONTACT, place="pack 1"),
        pack_outs=(out,),
    )
    assert [f.code for f in found] == ["pack-out"]


def brownout(evidence: Evidence, updates: int = 1, start_s: float = 200.0) -> Event:
    return fall(
        start_s,
        Origin.UNKNOWN,
        kind=EventKind.BROWNOUT,
        evidence=evidence,
        residual_v=3.1,
        updates=updates,
    )


@pytest.mark.parametrize(
    ("evidence", "updates", "level"),
    [
        (Evidence.REAL, 1, Level.GROUND),  # a counter began again, or a second unit saw it
        (Evidence.TELEMETRY, 5, Level.WATCH),  # counters ran on
        (Evidence.UNKNOWN, 1, Level.WATCH),  # a single reading grounds nobody by itself
        (Evidence.UNKNOWN, 2, Level.GROUND),
    ],
)
def test_a_brownout_is_as_grave_as_its_evidence(
    evidence: Evidence, updates: int, level: Level
) -> None:
    assert told(found_in(brownout(evidence, updates))) == [("brownout", "left wing", level)]


def test_brownouts_of_one_place_and_evidence_are_one_finding() -> None:
    found = found_in(*(brownout(Evidence.REAL, start_s=s) for s in (200.0, 250.0, 300.0)))
    assert len(found) == 1
    assert (found[0].evidence["times"], found[0].evidence["time_s"]) == (3, 200.0)
    assert found[0].evidence["lowest_v"] == 3.1


def test_a_low_supply_under_load_is_one_finding_of_the_lowest_place() -> None:
    found = found_in(low=(low("left wing", 4.8), low("right wing", 4.6)))
    assert told(found) == [("undervoltage", "right wing", Level.WATCH)]
    assert found[0].evidence["places"] == "left wing, right wing"
    # The graver one counts, not the lowest reading.
    found = found_in(low=(low("left wing", 4.8, deep_s=10.0), low("right wing", 4.6)))
    assert told(found) == [("undervoltage", "left wing", Level.GROUND)]
    # A low event alone, at rest on the ground, has nothing that hangs on it.
    resting = fall(5.0, Origin.UNKNOWN, kind=EventKind.UNDERVOLTAGE, phase=PhaseKind.GROUND)
    assert found_in(resting) == ()


def test_each_pack_below_its_floor_is_told_beside_the_supply() -> None:
    packs = tuple(low(p, 6.3, level_v=6.6, is_floor=True) for p in ("pack 1", "pack 2"))
    found = found_in(low=(low("left wing", 4.8), *packs))
    assert [f.place for f in found] == ["left wing", "pack 1", "pack 2"]
    assert all("is not to be charged" in f.advice for f in found[1:])
    assert "6.60 V of its floor for 20 s of 300 s" in found[1].title


@pytest.mark.parametrize(
    ("more", "level"),
    [
        ({"deep_s": 10.0}, Level.GROUND),
        ({"deep_s": 9.9}, Level.WATCH),
        ({"deep_s": 30.0, "deep_readings": 2}, Level.WATCH),  # a few readings ground nobody
        ({"deepest_s": 2.0, "deepest_readings": 3}, Level.GROUND),  # a fifth below for a move
        ({"deepest_s": 1.9, "deepest_readings": 3}, Level.WATCH),
        ({"deepest_s": 6.0, "deepest_readings": 2}, Level.WATCH),
        ({"short_s": 75.0}, Level.GROUND),  # a quarter of 300 s, and over a minute
        ({"short_s": 74.0}, Level.WATCH),
        ({"short_s": 59.0, "loaded_s": 80.0}, Level.WATCH),
        ({"below_s": 300.0}, Level.WATCH),  # just below all the time
    ],
)
def test_a_low_supply_is_as_grave_as_it_is_deep_and_long(more: dict, level: Level) -> None:
    (found,) = found_in(low=(low("left wing", 4.0, **more),))
    assert found.level is level
    assert ("not fly" in found.advice) is (level is Level.GROUND)
    assert "comfort_v" not in found.confirm + found.advice, "no one is asked to silence it"


@pytest.mark.parametrize(
    ("balance_a", "told_of"),
    [(0.4, False), (0.0, False), (-0.14, False), (-0.17, True)],  # 4 % of 4 A: 0.16 A
)
def test_nodes_may_not_draw_more_than_the_whole(balance_a: float, told_of: bool) -> None:
    stir = Stir(
        start_s=50,
        end_s=60,
        rhythm_hz=None,
        after_flight=False,
        places=(stirred("bus", 0.5, 0.5, mean_a=4.0),),
    )
    quality = Quality(
        row_s=0.1, shortest_sure_dip_s=0.1, balance_a=balance_a, balance_spread_a=0.02
    )
    found = found_in(quality=quality, stirs=(stir,))
    assert [f.code for f in found] == (["current-balance"] if told_of else [])


def stirred(place: str, rest_a: float, after_a: float, mean_a: float = 2.0) -> StirPlace:
    return StirPlace(
        place=place,
        rest_a=rest_a,
        mean_a=mean_a,
        p95_a=3.0,
        peak_a=3.5,
        mah=5.0,
        lowest_v=7.0,
        sag_mohm=None,
        after_a=after_a,
    )


@pytest.mark.parametrize(
    ("left_a", "right_a", "places"),
    [
        (0.8, 0.3, ["left wing"]),  # half an ampere above 0.3 A, the other one fell back
        (0.45, 0.3, []),  # 0.15 A: within the limit of 0.2 A
        (0.8, 0.8, []),  # both up together: the engine, the gear, the pilot's hand
    ],
)
def test_one_node_that_does_not_fall_back_to_rest(
    left_a: float, right_a: float, places: list[str]
) -> None:
    stir = Stir(
        start_s=50,
        end_s=60,
        rhythm_hz=None,
        after_flight=False,
        places=(stirred("left wing", 0.3, left_a), stirred("right wing", 0.3, right_a)),
    )
    found = found_in(stirs=(stir,))
    assert [f.place for f in found if f.code == "servo-not-resting"] == places


@pytest.mark.parametrize(
    ("low_v", "high_v", "level"),
    [
        (0.05, 0.3, None),  # surely 0.05 V only
        (0.15, 0.3, Level.CLEAR),
        (0.09, 0.12, Level.CLEAR),
        (0.07, 0.11, None),  # less than a tenth
        (0.06, 0.16, None),  # or hardly known
        (0.26, 0.4, Level.WATCH),
        (-0.40, -0.26, Level.WATCH),
        (-0.1, 0.4, None),
    ],
)
def test_an_offset_between_sensors(low_v: float, high_v: float, level: Level | None) -> None:
    found = found_in(resistances=(offset("left wing", low_v, high_v),))
    assert [f.level for f in found if f.code == "sensor-offset"] == (
        [] if level is None else [level]
    )


def test_an_offset_is_told_where_only_the_whole_current_is_known() -> None:
    apparent = replace(offset("left wing", 0.15, 0.2), kind="apparent")
    assert "sensor-offset" in {f.code for f in found_in(resistances=(apparent,))}


@pytest.mark.parametrize(("kind", "accused"), [("receiver", False), ("node", True), (None, True)])
def test_a_receiver_of_any_name_may_have_a_regulator_of_its_own(kind: Any, accused: bool) -> None:
    craft = Aircraft(bus="bus", nodes=(Node(name="satellite", fed_from="bus", kind=kind),))
    found = found_in(resistances=(offset("satellite", 0.9, 1.1),), aircraft=craft)
    assert ("sensor-offset" in {f.code for f in found}) is accused


@pytest.mark.parametrize(
    ("own", "ratio", "low_ratio", "low_more_mohm", "more_v", "told"),
    [
        (True, 1.6, 1.3, 9.0, 0.04, True),
        (True, 1.4, 1.3, 9.0, 0.04, False),  # no half more
        (True, 2.3, 1.1, 9.0, 0.04, False),  # sound ones differ as much
        (True, 1.6, 1.3, 7.0, 0.04, False),  # a few milliohm
        (True, 1.6, 1.3, 9.0, 0.02, False),  # which take next to nothing
        (False, 1.8, 1.5, 0.0, 0.06, True),
        (False, 1.6, 1.5, 20.0, 0.06, False),  # its servos may draw half more
        (False, 2.3, 1.3, 20.0, 0.06, False),
        (False, 1.8, 1.5, 20.0, 0.04, True),
        (False, 1.8, 1.5, 20.0, 0.03, False),
    ],
)
def test_a_lead_beside_its_mirror_by_the_same_means(
    own: bool, ratio: float, low_ratio: float, low_more_mohm: float, more_v: float, told: bool
) -> None:
    beside = DropRatio(
        place="left wing", mirror="right wing", parent="bus", own=own, ratio=ratio,
        low_ratio=low_ratio, error=0.1, mohm=30.0 * ratio, mirror_mohm=30.0,
        low_more_mohm=low_more_mohm, more_v=more_v,
    )  # fmt: skip
    found = [f for f in found_in(drop_ratios=(beside,)) if f.code == "branch-resistance-high"]
    assert [(f.place, f.level) for f in found] == ([("left wing", Level.WATCH)] if told else [])


def test_a_lead_that_the_wire_table_says_is_longer_is_not_held_against_its_mirror() -> None:
    beside = DropRatio(
        place="left wing", mirror="right wing", parent="bus", own=True, ratio=3.0, low_ratio=2.5,
        error=0.2, mohm=90.0, mirror_mohm=30.0, low_more_mohm=50.0, more_v=0.2,
    )  # fmt: skip
    leads = tuple(
        replace(offset(p, 0.0, 0.0), expected_mohm=mohm, mohm=None)
        for p, mohm in (("left wing", 80.0), ("right wing", 30.0))
    )
    found = found_in(drop_ratios=(beside,), resistances=leads)
    assert "branch-resistance-high" not in {f.code for f in found}


def offset(place: str, low_v: float, high_v: float) -> Resistance:
    return Resistance(
        kind="branch",
        place=place,
        parent="bus",
        mohm=30.0,
        low_mohm=28.0,
        high_mohm=32.0,
        updates=400,
        offset_v=0.5 * (low_v + high_v),
        offset_low_v=low_v,
        offset_high_v=high_v,
    )


@pytest.mark.parametrize(
    ("mohm", "times", "low", "raised"),
    [
        (45.0, 1.5, 1.3, True),
        (44.0, 1.47, 1.4, False),  # less than half as much again
        (60.0, 2.0, 1.2, False),  # not surely
        (60.0, 2.0, 1.26, True),
    ],
)
def test_one_pack_surely_half_as_much_again_as_the_other(
    mohm: float, times: float, low: float, raised: bool
) -> None:
    found = found_in(twins=(twins(mohm, 30.0, (low, times, 3.0)),))
    assert ("source-resistance-high" in {f.code for f in found}) is raised


@pytest.mark.parametrize(("rest_a", "less"), [(0.1, True), (0.2, False), (None, False)])
def test_a_wing_that_draws_less_is_said_to_rest_lower_where_it_does(
    rest_a: float | None, less: bool
) -> None:
    unusual = UnusualCurrent(
        kind=UnusualKind.LESS,
        place="left wing",
        start_s=0.0,
        end_s=None,
        against="right wing",
        before=1.0,
        now=0.1,
        rest_before=rest_a,
        rest_mirror=0.2,
    )
    (found,) = [f for f in found_in(unusual=(unusual,)) if f.code == "servo-silent"]
    assert "draws 90 % less than right wing" in found.title
    assert ("less at rest" in found.title) is less


@pytest.mark.parametrize(
    ("more_v", "step_v", "raised"),
    [(0.03, 0.01, True), (0.02, 0.01, False), (None, 0.01, True), (0.04, 0.05, False)],
)
def test_a_manifold_resistance_is_told_though_little_was_drawn(
    more_v: float | None, step_v: float, raised: bool
) -> None:
    """Three times as much, surely; but two hundredths of a volt is how cells come to rest.

    Less than a step of the sensors is how they round.
    """
    found = found_in(twins=(twins(69.0, 19.0, (3.4, 3.6, 3.8), more_v, step_v),))
    assert ("source-resistance-high" in {f.code for f in found}) is raised


@pytest.mark.parametrize(
    ("rest_v", "low_pct", "more", "raised"),
    [
        (8.3, 16.5, {}, True),
        (8.3, 15.5, {}, False),
        (8.3, 15.5, {"temperature_c": 22.0}, True),  # no cold explains it
        (6.9, 19.0, {}, False),  # it may be nickel
        (6.9, 21.0, {}, True),
        (6.9, 17.0, {"chemistry": "lipo"}, True),
        (8.3, 19.0, {"of_a_pack": False}, False),  # with the way to the bus
    ],
)
def test_what_load_takes_of_packs(
    rest_v: float, low_pct: float, more: dict[str, Any], raised: bool
) -> None:
    drop = LoadDrop(
        place="pack 1", mohm=90.0, low_mohm=85.0, high_mohm=95.0, high_a=15.0, rest_v=rest_v,
        drop_pct=low_pct + 0.5, low_drop_pct=low_pct, **more,
    )  # fmt: skip
    assert bool(found_in(drops=(drop,))) is raised


def test_a_few_milliohms_more_than_the_other_pack_are_a_plug() -> None:
    assert not found_in(twins=(twins(17.0, 8.0, (1.7, 1.9, 2.1)),))


def test_a_restart_on_the_ground_is_told_without_alarm_unless_it_was_a_brownout() -> None:
    again = Restart(time_s=30.0, place="bus", column="used", before=120.0, after=0.0)
    quality = Quality(row_s=0.1, shortest_sure_dip_s=0.1, restarts=(again,))
    assert told(found_in(quality=quality)) == [("restart", "bus", Level.CLEAR)]
    real = brownout(Evidence.REAL, start_s=25.0)
    assert [f.code for f in found_in(real, quality=quality)] == ["brownout"]


@pytest.mark.parametrize(
    ("time_s", "level"),
    [
        (99.0, Level.CLEAR),  # a second before take-off
        (101.0, Level.WATCH),
        (399.0, Level.WATCH),
        (402.9, Level.WATCH),  # the hole before it took the end of the flight
        (403.1, Level.CLEAR),
        (49.0, Level.CLEAR),
        (62.9, Level.WATCH),  # so in a stir
        (63.1, Level.CLEAR),
    ],
)
def test_a_restart_within_3_s_after_load_belongs_to_it(time_s: float, level: Level) -> None:
    again = Restart(time_s=time_s, place="bus", column="used", before=120.0, after=0.0)
    quality = Quality(row_s=0.1, shortest_sure_dip_s=0.1, restarts=(again,))
    assert told(found_in(quality=quality)) == [("restart", "bus", level)]


def thin(**more: Any) -> list[str]:
    return [f.title for f in found_in(**more) if f.code == "log-too-thin"]


def test_what_a_log_cannot_tell_is_said_with_its_reason() -> None:
    assert thin() == []
    assert "no voltage" in thin(columns=(column("current"),))[0]
    assert "no current" in thin(columns=(column("voltage"),))[0]
    still = (Phase(kind=PhaseKind.GROUND, start_s=0, end_s=430),)
    assert "nothing was under load" in thin(phases=still)[0]
    slow, just = (column("voltage", update_s=s) for s in (2.5, 2.0))
    assert "shorter than 2.5 s" in thin(columns=(slow, column("current")))[0]
    assert thin(columns=(just, column("current"))) == []


@pytest.mark.parametrize(
    ("lost_s", "said"), [(80.0, False), (90.0, True)]
)  # of 430 s: 20 % is 86 s
def test_lost_telemetry_counts_from_a_fifth_of_the_time(lost_s: float, said: bool) -> None:
    lost = Dropout(start_s=110.0, end_s=110.0 + lost_s, place=None, kind="frozen")
    quality = Quality(row_s=0.1, shortest_sure_dip_s=0.1, dropouts=(lost,))
    assert bool(thin(quality=quality)) is said


def test_between_two_flights_of_one_file_no_telemetry_is_lost() -> None:
    apart = Dropout(start_s=430.0, end_s=90_000.0, place=None, kind="blank")
    assert thin(quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1, dropouts=(apart,))) == []


@pytest.mark.parametrize(("times", "said"), [(2, False), (3, True)])
def test_falls_that_nothing_can_be_laid_to_make_a_log_too_thin(times: int, said: bool) -> None:
    unknown = [fall(120.0 + 20 * k, Origin.UNKNOWN) for k in range(times)]
    found = found_in(*unknown, columns=(*GOOD, column("voltage", "left wing")))
    assert [(f.code, f.level) for f in found] == ([("log-too-thin", Level.UNKNOWN)] if said else [])


def test_findings_come_worst_first_and_carry_their_standing_words() -> None:
    found = found_in(
        fall(120.0, Origin.CONTACT),
        brownout(Evidence.REAL),
        columns=(column("voltage", update_s=2.5), column("current")),
    )
    assert [f.level for f in found] == [Level.GROUND, Level.WATCH, Level.UNKNOWN]
    for f in found[:2]:
        assert f.explanations
        assert f.confirm
        assert f.advice
        assert f.flight == 1
