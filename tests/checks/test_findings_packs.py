"""Findings on packs and leads: each rule on records made by hand, and on simulated faults."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Lead
from telemetry.aircraft.wire import lead_mohm
from telemetry.app.pipeline import review
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import Words
from telemetry.checks.in_flight import judge_log
from telemetry.checks.listed import CHECKS
from telemetry.checks.listed import CODES as LISTED
from telemetry.checks.packs.low import RUN_DOWN
from telemetry.checks.supply.restarts import RESTART_UNDER_LOAD
from telemetry.checks.supply.undervoltage import PACK_UNDER
from telemetry.model.channels import Channel
from telemetry.model.log import Log, Provenance
from telemetry.results import (
    Charge,
    ColumnUse,
    Finding,
    Flight,
    Level,
    LoadDrop,
    OutKind,
    OutSign,
    PackCapacity,
    PackOut,
    PackState,
    PartLoad,
    PathStep,
    Phase,
    PhaseKind,
    PlaceLoad,
    Quality,
    Resistance,
    Review,
    Stir,
    StirPlace,
)
from telemetry.simulate import Fault, FaultKind, PathKind, move, simulate, usual_plan
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft

CODES = {"pack-out", "pack-low", "pack-weak", "pack-share", "switch-step", "source-resistance-high",
         "branch-resistance-high", "lead-undersized", "capacity-mismatch"}  # fmt: skip
PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0, end_s=50),
    Phase(kind=PhaseKind.STIR, start_s=50, end_s=60),
    Phase(kind=PhaseKind.GROUND, start_s=60, end_s=100),
    Phase(kind=PhaseKind.FLIGHT, start_s=100, end_s=400),
    Phase(kind=PhaseKind.GROUND, start_s=400, end_s=430),
)


def craft(pack: dict[str, Any] | None = None, **more: Any) -> Aircraft:
    """Two packs on a bus with two wings; keys of all packs, and of the aircraft."""
    packs = [{"name": f"pack {n}", **(pack or {})} for n in (1, 2)]
    whole = {
        "name": "tern",
        "bus": "bus",
        "packs": packs,
        "nodes": [
            {"name": "left wing", "fed_from": "bus", "mirror": "right wing"},
            {"name": "right wing", "fed_from": "bus"},
        ],
    }
    return Aircraft.model_validate({**whole, **more})


def found(flight: Flight, aircraft: Aircraft | None = None, **more: Any) -> list[Finding]:
    columns: tuple[ColumnUse, ...] = more.get("columns", ())
    all_found = judge_log(
        aircraft=aircraft or craft(),
        columns=columns,
        quality=Quality(row_s=0.1, shortest_sure_dip_s=0.2),
        flights=(flight,),
    ).findings
    kept = [f for f in all_found if f.code in CODES]
    for f in kept:
        assert f.evidence, "numbers"
        assert f.explanations, "other explanations"
        assert f.confirm
        assert f.advice
    return kept


def flight(**parts: Any) -> Flight:
    return Flight(kind="flight", start_s=0, end_s=430, phases=PHASES, **parts)


def pair(one: dict[str, Any], two: dict[str, Any]) -> tuple[PackState, PackState]:
    return (
        PackState(place="pack 1", role="shared", **one),
        PackState(place="pack 2", role="shared", **two),
    )


def only(findings: list[Finding]) -> Finding:
    (one,) = findings
    return one


# Lost packs


def out(start_s: float, end_s: float, **more: Any) -> PackOut:
    usual: dict[str, Any] = {
        "place": "pack 2", "kind": OutKind.LOST, "back": False, "share_before": 0.48,
        "carried_a": 11.2, "bus_v": 6.9, "own_v": 0.0,
    }  # fmt: skip
    merged = usual | more
    sign = OutSign.DEAD if merged["own_v"] < 1.5 else OutSign.UNKNOWN
    return PackOut(start_s=start_s, end_s=end_s, **({"sign": sign} | merged))


@pytest.mark.parametrize(
    ("outs", "level"),
    [
        ((out(200, 430),), Level.GROUND),
        ((out(200, 260, back=True, own_v=7.9),), Level.GROUND),
        ((out(200, 202, back=True),), Level.WATCH),
        ((out(200, 202, back=True), out(300, 302, back=True)), Level.GROUND),
        ((out(52, 75),), Level.WATCH),
        ((out(52, 75, back=True),), None),
        ((out(5, 40, back=True, own_v=8.1),), None),
        ((out(20, 28, kind=OutKind.CHECK, back=True),), None),
        ((out(410, 430, kind=OutKind.SWITCHED_OFF),), None),
    ],
    ids=["for good", "a minute", "two seconds", "two seconds twice", "in a stir for good",
         "in a stir and back", "on the ground and back", "a check", "switched off after landing"],
)  # fmt: skip
def test_a_pack_that_stops_giving(outs: tuple[PackOut, ...], level: Level | None) -> None:
    findings = found(flight(pack_outs=outs))
    assert [(f.code, f.level, f.place) for f in findings] == (
        [] if level is None else [("pack-out", level, "pack 2")]
    )
    if findings:
        assert findings[0].evidence["carried_a"] == 11.2
        assert findings[0].start_s == outs[0].start_s


SILENT = {"share": 0.0, "low_share": -0.01, "high_share": 0.01}
ALL = {"share": 1.0, "low_share": 0.99, "high_share": 1.01}


def test_a_pack_that_never_gave_may_stand_by_by_design() -> None:
    flown = flight(packs=pair(ALL, SILENT))
    one = only(found(flown))
    assert (one.code, one.level, one.place) == ("pack-out", Level.UNKNOWN, "pack 2")
    assert "stands by by design" in one.explanations[0]
    assert "role" in one.confirm
    assert only(found(flown, craft({"role": "shared"}))).level is Level.GROUND, "the profile says"
    standby = replace(flown, packs=(flown.packs[0], replace(flown.packs[1], role="standby")))
    assert found(standby) == []


@pytest.mark.parametrize(
    ("carried_a", "both_off", "level"),
    [(3.0, False, Level.CLEAR), (None, False, Level.GROUND), (3.0, True, Level.GROUND)],
)
def test_a_pack_that_took_over_in_a_check_can_give(
    carried_a: float | None, both_off: bool, level: Level
) -> None:
    check = PackOut(
        place="pack 1", kind=OutKind.CHECK, start_s=70.0, end_s=75.0, back=True,
        share_before=1.0, carried_a=carried_a, bus_v=7.9, own_v=8.2,
    )  # fmt: skip
    outs = (check, replace(check, place="pack 2")) if both_off else (check,)
    flown = flight(packs=pair(ALL, SILENT), pack_outs=outs)
    assert only(found(flown, craft({"role": "shared"}))).level is level


@pytest.mark.parametrize(
    ("high_mah", "told"),
    [(2350.0, True), (2450.0, False)],  # four fifths of 3 Ah
)
def test_a_pack_that_holds_less_than_the_profile_says(high_mah: float, told: bool) -> None:
    seen = PackCapacity(place="pack 2", drawn_mah=900.0, low_mah=1400.0, high_mah=high_mah)
    flown = flight(packs=pair({}, {}), capacities=(seen,))
    rated = craft({"chemistry": "lipo", "cells": 2, "capacity_mah": 3000.0})
    codes = {(f.code, f.place, f.level) for f in found(flown, rated)}
    assert codes == ({("pack-weak", "pack 2", Level.WATCH)} if told else set())


@pytest.mark.parametrize(
    ("rest_a", "mean_a", "drawn_mah", "told"),
    [
        (0.0, 1.3, 60.0, False),
        (0.3, 1.3, 60.0, True),  # it gave at rest, and no more
        (0.0, 0.1, 60.0, True),  # it gave next to nothing in the stir
        (0.0, 1.3, 160.0, True),  # the flight asked for as much
    ],
)
def test_a_pack_that_gives_only_under_more_load_is_not_out(
    rest_a: float, mean_a: float, drawn_mah: float, told: bool
) -> None:
    """Behind a regulator set a little lower: 0.7 A in the flight, 3.5 A in the stir before it."""
    unseen = dict.fromkeys(("p95_a", "peak_a", "mah", "lowest_v", "sag_mohm"))
    places = (
        StirPlace(place="pack 1", rest_a=0.5, mean_a=2.2, **unseen),
        StirPlace(place="pack 2", rest_a=rest_a, mean_a=mean_a, **unseen),
    )
    stir = Stir(start_s=50, end_s=60, rhythm_hz=None, after_flight=False, places=places)
    flown = flight(packs=pair({**ALL, "drawn_mah": drawn_mah}, SILENT), stirs=(stir,))
    assert ("pack-out" in {f.code for f in found(flown)}) is told


@pytest.mark.parametrize(("low_mohm", "told"), [(None, True), (0.0, True), (15.0, False)])
def test_a_pack_whose_voltage_fell_with_its_own_current_gave_some(
    low_mohm: float | None, told: bool
) -> None:
    """In a calm flight another holds it off, and the stir shows that it is there."""
    own = replace(branch("pack 2", 20.0), kind="source", parent=None, low_mohm=low_mohm)
    flown = flight(packs=pair(ALL, SILENT), resistances=(own,))
    assert ("pack-out" in {f.code for f in found(flown)}) is told


@pytest.mark.parametrize(("high_times", "told"), [(0.7, True), (0.8, False)])
def test_a_pack_that_holds_less_than_the_other(high_times: float, told: bool) -> None:
    seen = PackCapacity(
        place="pack 2", drawn_mah=900.0, low_mah=None, high_mah=None,
        compared_with="pack 1", low_times=0.4, high_times=high_times,
    )  # fmt: skip
    flown = flight(packs=pair({}, {}), capacities=(seen,))
    findings = found(flown, craft())
    assert [f.place for f in findings] == (["pack 2"] if told else [])
    if told:
        assert not findings[0].ranked, "a smaller pack looks the same on one day"
        assert any("smaller by design" in text for text in findings[0].explanations)


@pytest.mark.parametrize(("drop_pct", "level"), [(0.7, Level.CLEAR), (1.5, Level.WATCH)])
def test_at_a_light_load_packs_share_by_their_charge(drop_pct: float, level: Level) -> None:
    uneven = {"share": 0.24, "low_share": 0.15, "high_share": 0.33, "off_balance": True}
    most = {"share": 0.76, "low_share": 0.67, "high_share": 0.85, "off_balance": True}
    drop = LoadDrop(
        place="pack 2", mohm=25.0, low_mohm=20.0, high_mohm=30.0, high_a=2.4, rest_v=8.25,
        drop_pct=drop_pct, low_drop_pct=drop_pct,
    )  # fmt: skip
    flown = flight(packs=pair(uneven, most), drops=(drop,))
    assert [(f.code, f.level) for f in found(flown)] == [("pack-share", level)]


HELD = {"share": 0.08, "rest_v": 6.57, "loaded_v": 6.56, "drawn_mah": 20.0}
GAVE = {"share": 0.92, "rest_v": 6.68, "loaded_v": 6.58, "drawn_mah": 220.0}


@pytest.mark.parametrize(
    ("own", "other", "regulated", "told"),
    [
        ({}, {}, False, True),
        ({}, {}, True, False),  # set-points decide
        ({}, {"drawn_mah": 160.0}, False, False),  # it may yet come down
        ({"loaded_v": 6.60}, {}, False, False),  # it lies above: its way is bad
        ({"share": 0.25}, {}, False, False),
    ],
)
def test_a_pack_held_off_to_the_end_had_less_charge(
    own: dict[str, float], other: dict[str, float], regulated: bool, told: bool
) -> None:
    """Iron phosphate rests at nearly one voltage whatever its charge is."""
    bus = Resistance(
        kind="source", place="bus", mohm=30.0, low_mohm=28.0, high_mohm=32.0, updates=900,
        regulated=regulated,
    )  # fmt: skip
    flown = flight(packs=pair({**GAVE, **other}, {**HELD, **own}), resistances=(bus,))
    assert [(f.code, f.place) for f in found(flown)] == ([("pack-low", "pack 2")] if told else [])


def test_a_pack_that_is_held_off_by_its_lower_voltage_is_not_open() -> None:
    shared = craft({"role": "shared"})
    held = flight(packs=pair({**ALL, "loaded_v": 7.9}, {**SILENT, "loaded_v": 7.7}))
    one = only(found(held, shared))
    assert (one.code, one.level) == ("pack-out", Level.WATCH)
    assert "held off" in one.explanations[0]
    open_path = flight(packs=pair({**ALL, "loaded_v": 7.9}, {**SILENT, "loaded_v": 8.2}))
    assert only(found(open_path, shared)).level is Level.GROUND
    # Behind regulators the set-points decide, not the packs' voltages.
    regulated = craft({"role": "shared"}, regulated_v=6.0)
    assert only(found(held, regulated)).level is Level.GROUND


# Low packs


@pytest.mark.parametrize(
    ("low_v", "high_v", "told"),
    [(8.00, 8.28, False), (7.95, 8.28, True), (7.4, 8.3, True)],
)
def test_rest_voltages_of_a_pair(low_v: float, high_v: float, told: bool) -> None:
    """3.5 % of 8.28 V are 0.29 V."""
    findings = found(flight(packs=pair({"rest_v": high_v}, {"rest_v": low_v})))
    assert [(f.code, f.level, f.place) for f in findings] == (
        [("pack-low", Level.WATCH, "pack 2")] if told else []
    )
    if told:
        assert findings[0].evidence["gap_pct"] == pytest.approx(100 * (high_v - low_v) / high_v)
        assert any("of different kinds" in e for e in findings[0].explanations)


def test_packs_of_different_kinds_are_not_compared() -> None:
    mixed = craft(
        packs=[
            {"name": "pack 1", "chemistry": "lipo", "cells": 2},
            {"name": "pack 2", "chemistry": "life", "cells": 2},
        ]
    )
    assert found(flight(packs=pair({"rest_v": 8.3}, {"rest_v": 6.7})), mixed) == []


@pytest.mark.parametrize("known", [True, False])
def test_iron_phosphate_just_off_the_charger_makes_the_other_one_not_low(known: bool) -> None:
    """3.60 V a cell beside a rested 3.33 V: 7.5 % apart, and both full."""
    aircraft = craft({"chemistry": "life", "cells": 2}) if known else craft()
    assert found(flight(packs=pair({"rest_v": 7.2}, {"rest_v": 6.66})), aircraft) == []
    low = found(flight(packs=pair({"rest_v": 6.66}, {"rest_v": 6.36})), aircraft)
    assert [f.place for f in low] == ["pack 2"], "3.18 V a cell is nearly empty"


@pytest.mark.parametrize(
    ("chemistry", "cell_v", "told"),
    [("lipo", 3.70, True), ("lipo", 3.75, False), ("liion", 3.60, True), ("liion", 3.65, False),
     ("life", 3.20, True), ("life", 3.25, False), ("nimh", 1.20, True), ("nimh", 1.25, False)],
)  # fmt: skip
def test_a_cell_at_nominal_is_low(chemistry: str, cell_v: float, told: bool) -> None:
    aircraft = craft({"chemistry": chemistry, "cells": 2})
    both = {"rest_v": 2 * cell_v}
    findings = found(flight(packs=pair(both, both)), aircraft)
    assert [f.code for f in findings] == (["pack-low", "pack-low"] if told else [])


# Run down. No finding tells to charge a lithium pack below its floor.


def run_down(place: str, cell_v: float, **more: Any) -> PackState:
    """Two lithium-polymer cells after landing."""
    known: dict[str, Any] = {"rest_floor_v": 6.6, "damage_v": 6.0, "cells": 2} | more
    return PackState(place=place, role="shared", rest_v=8.2, landing_rest_v=2 * cell_v, **known)


@pytest.mark.parametrize(
    ("cell_v", "level"),
    [(3.31, None), (3.30, None), (3.29, Level.WATCH), (3.0, Level.WATCH), (2.99, Level.GROUND)],
)
def test_a_lithium_pack_below_its_floor_is_not_to_be_charged(
    cell_v: float, level: Level | None
) -> None:
    # At 0 % left as well: the words are those of the graver thing.
    empty = {"landing_pct": 0.0, "high_landing_pct": 0.0, "low_landing_pct": 0.0}
    for more in ({}, {**empty, "basis": "full"}):
        state = run_down("pack 1", cell_v, **more)
        findings = found(flight(packs=(state,)), craft({"chemistry": "lipo", "cells": 2}))
        if level is None:
            assert [f.level for f in findings] == ([Level.WATCH] if more else [])
            continue
        one = only(findings)
        assert (one.code, one.level, one.place) == ("pack-low", level, "pack 1")
        assert one.evidence["cell_v"] == pytest.approx(cell_v)
        assert f"{cell_v:.2f} V a cell" in one.title
        assert one.advice.startswith("Do not charge it")
        assert ("not fly" in one.advice) is (level is Level.GROUND)
        for text in (one.title, one.confirm, *one.explanations):
            assert "charge" not in text


def test_a_pack_that_was_run_down_before_the_flight_is_told_too() -> None:
    state = replace(run_down("pack 1", 3.4), rest_v=5.8)
    one = only(found(flight(packs=(state,)), craft({"chemistry": "lipo", "cells": 2})))
    assert (one.level, "began" in one.title) == (Level.GROUND, True)


def test_a_pack_of_unknown_cells_may_be_of_another_kind() -> None:
    state = run_down("pack 1", 2.9, rest_floor_v=6.0, damage_v=5.0, cells=None)
    one = only(found(flight(packs=(state,))))
    assert (one.level, one.evidence["cell_v"]) == (Level.WATCH, None)
    assert "a cell" not in one.title
    assert "no lithium pack" in one.explanations[0]
    unknown = replace(state, rest_floor_v=None, damage_v=None)
    assert found(flight(packs=(unknown,))) == [], "no chemistry is made up"


def test_what_is_told_of_a_pack_that_is_only_low_keeps_the_caution() -> None:
    both = {"rest_v": 7.4}
    low = found(flight(packs=pair(both, both)), craft({"chemistry": "lipo", "cells": 2}))
    assert all("not to be charged" in f.advice for f in low)


@pytest.mark.parametrize(
    ("basis", "pct", "told"),
    [
        ("records", (29, 24, 34), True),
        ("records", (31, 26, 36), False),
        ("full", (29, 28, 30), True),
        ("rest voltage", (20, 5, 40), False),
        ("rest voltage", (10, 2, 25), True),
    ],
)
def test_the_reserve_at_landing(basis: str, pct: tuple[int, int, int], told: bool) -> None:
    """30 % by default; a voltage tells charge roughly, so all of its interval must lie below."""
    value, low, high = pct
    state = {"landing_pct": value, "low_landing_pct": low, "high_landing_pct": high, "basis": basis}
    findings = found(flight(packs=pair(state, {})), craft({"capacity_mah": 3000}))
    assert [(f.code, f.level, f.place) for f in findings] == (
        [("pack-low", Level.WATCH, "pack 1")] if told else []
    )


# Shares and paths


@pytest.mark.parametrize(
    ("regulated", "change", "level"),
    [(True, None, Level.CLEAR), (False, None, Level.WATCH), (True, (0.2, 0.3), Level.WATCH)],
    ids=["set-points", "no regulator", "while both give"],
)
def test_behind_regulators_set_points_decide_who_gives(
    regulated: bool, change: tuple[float, float] | None, level: Level
) -> None:
    low, high = change or (None, None)
    one = {"share": 0.15, "low_share": 0.14, "high_share": 0.16, "off_balance": True,
           "low_change_share": low, "high_change_share": high}  # fmt: skip
    other = {"share": 0.85, "low_share": 0.84, "high_share": 0.86, "off_balance": True}
    bus = replace(branch("bus", 20.0), kind="source", parent=None, regulated=regulated)
    told = only(found(flight(packs=pair(one, other), resistances=(bus,))))
    assert (told.code, told.level, told.place) == ("pack-share", level, "pack 1")
    assert (told.causes[0].kind is CauseKind.SET_POINTS) is regulated


@pytest.mark.parametrize("place", ["bus", "left wing"])
@pytest.mark.parametrize(("bus_v", "level"), [(6.0, Level.CLEAR), (7.9, Level.WATCH)])
def test_a_bus_that_rests_far_below_its_packs_is_regulated(
    place: str, bus_v: float, level: Level
) -> None:
    """No switch and no diode takes two volts with next to nothing flowing, nor does a lead."""
    uneven = {"share": 0.15, "low_share": 0.14, "high_share": 0.16, "off_balance": True}
    most = {"share": 0.85, "low_share": 0.84, "high_share": 0.86, "off_balance": True}
    bus = Charge(
        place=place, logged_mah=None, integrated_mah=None, share=None, start_v=bus_v, end_v=bus_v
    )
    states = pair({**uneven, "rest_v": 8.2}, {**most, "rest_v": 8.2})
    told = only(found(flight(packs=states, charge=(bus,))))
    assert (told.code, told.level) == ("pack-share", level)


@pytest.mark.parametrize(
    ("share", "change", "level"),
    [
        (0.31, (0.30, 0.34), Level.WATCH),
        (0.31, (0.44, 0.52), Level.CLEAR),
        (0.10, (0.44, 0.52), Level.CLEAR),
        (0.31, None, Level.WATCH),
        (0.10, (0.05, 0.20), Level.WATCH),
    ],
    ids=["unlike paths", "unequal charge", "very unequal charge", "changes not known", "far off"],
)
def test_an_uneven_share(share: float, change: tuple[float, float] | None, level: Level) -> None:
    one: dict[str, Any] = {
        "share": share, "low_share": share - 0.02, "high_share": share + 0.02, "off_balance": True,
    }  # fmt: skip
    if change is not None:
        one |= {"low_change_share": change[0], "high_change_share": change[1],
                "change_share": sum(change) / 2}  # fmt: skip
    other = {"share": 1 - share, "low_share": 1 - share - 0.02, "high_share": 1 - share + 0.02,
             "off_balance": True}  # fmt: skip
    told = only(found(flight(packs=pair(one, other))))
    assert (told.code, told.level, told.place) == ("pack-share", level, "pack 1")
    if share < 0.2:  # below the other under load it is held off by it, whatever its path
        held = pair({**one, "loaded_v": 7.8}, {**other, "loaded_v": 7.9})
        assert only(found(flight(packs=held))).level is Level.CLEAR


@pytest.mark.parametrize(
    ("change", "tells"), [((0.28, 0.30), True), ((0.22, 0.38), False), ((0.44, 0.52), False)]
)
def test_an_even_share_of_unlike_paths(change: tuple[float, float], tells: bool) -> None:
    """A fuller pack gives its half through twice the resistance: how changes divide tells that."""
    one: dict[str, Any] = {"share": 0.48, "low_share": 0.45, "high_share": 0.51}
    low, high = change
    unlike = {"low_change_share": low, "high_change_share": high, "change_share": (low + high) / 2}
    told = found(flight(packs=pair({**one, **unlike}, {**one, "share": 0.52})))
    assert [(f.code, f.level, f.place) for f in told] == (
        [("pack-share", Level.WATCH, "pack 1")] if tells else []
    )


def branch(place: str, mohm: float, half: float = 2.0, **more: Any) -> Resistance:
    given: dict[str, Any] = {
        "kind": "branch", "place": place, "parent": "bus", "mohm": mohm, "low_mohm": mohm - half,
        "high_mohm": mohm + half, "updates": 900,
    }  # fmt: skip
    return Resistance(**(given | more))


def test_one_path_from_pack_to_bus_above_the_other() -> None:
    def two(high: float) -> Flight:
        return flight(
            resistances=(
                branch("bus", 8, parent="pack 1"),
                branch("bus", high, parent="pack 2"),
            )
        )

    told = only(found(two(34)))
    assert (told.code, told.level, told.place) == ("switch-step", Level.WATCH, "pack 2")
    assert found(two(19)) == [], "11 mOhm more, but within the intervals 7"


@pytest.mark.parametrize(
    ("before", "rise", "half", "level"),
    [
        (10, 30, 2, Level.GROUND),
        (50, 30, 2, Level.WATCH),
        (10, 12, 2, Level.WATCH),
        (10, 9, 2, None),
        (60, 12, 2, None),
        (20, -30, 2, None),
    ],
    ids=["25 mOhm and 75 %", "25 mOhm but not 75 %", "8 mOhm and 20 %", "not surely 8 mOhm",
         "not 20 %", "a fall"],
)  # fmt: skip
def test_a_step_within_the_flight(
    before: float, rise: float, half: float, level: Level | None
) -> None:
    step = PathStep(
        place="pack 1", parent="bus", time_s=192.0, before_mohm=before, rise_mohm=rise,
        low_rise_mohm=rise - half, high_rise_mohm=rise + half,
    )  # fmt: skip
    findings = found(flight(path_steps=(step,)))
    assert [(f.code, f.level, f.start_s) for f in findings] == (
        [] if level is None else [("switch-step", level, 192.0)]
    )


# Leads


def expected(value: float, low: float, high: float) -> dict[str, float]:
    return {"expected_mohm": value, "expected_low_mohm": low, "expected_high_mohm": high}


@pytest.mark.parametrize(
    ("mohm", "told"),
    [(41, True), (37, False), (24, False), (12, False)],
    ids=["1.5 times and 10 mOhm above", "within the limits", "as expected", "less"],
)
def test_a_branch_against_the_wire_table(mohm: float, told: bool) -> None:
    measured = branch("left wing", mohm, **expected(24, 21, 30))
    findings = found(flight(resistances=(measured,)))
    assert [f.code for f in findings] == (["branch-resistance-high"] if told else [])
    if told:
        assert (findings[0].level, findings[0].place) == (Level.WATCH, "left wing")
        assert findings[0].evidence["expected_mohm"] == 24


def test_a_branch_against_its_mirror_unless_the_leads_are_unlike() -> None:
    left, right = branch("left wing", 45), branch("right wing", 22)
    told = only(found(flight(resistances=(left, right))))
    assert (told.code, told.place) == ("branch-resistance-high", "left wing")
    unlike = (
        replace(left, expected_mohm=40, expected_low_mohm=36, expected_high_mohm=50),
        replace(right, expected_mohm=20, expected_low_mohm=18, expected_high_mohm=25),
    )
    assert found(flight(resistances=unlike)) == [], "the profile says that they differ"


@pytest.mark.parametrize(
    ("of_left", "of_right", "told"),
    [(40.0, 34.1, True), (40.0, 33.9, False), (34.1, 40.0, True), (33.9, 40.0, False)],
)
def test_leads_are_alike_within_15_percent_of_the_longer_one(
    of_left: float, of_right: float, told: bool
) -> None:
    """15 % of 40 mOhm are 6; of the smaller 34.1 only 5.1. No lead is far above the wire table."""
    leads = (
        branch("left wing", 42, **expected(of_left, of_left - 3, of_left + 9)),
        branch("right wing", 22, **expected(of_right, of_right - 3, of_right + 9)),
    )
    codes = [(f.code, f.place) for f in found(flight(resistances=leads))]
    assert codes == ([("branch-resistance-high", "left wing")] if told else [])


@pytest.mark.parametrize(("mohm", "told"), [(84, False), (91, False), (110, True)])
def test_a_long_lead_of_which_nothing_tells_how_long_it_is(mohm: float, told: bool) -> None:
    """2 m of AWG 18, out and back, are 84 mOhm of copper; a sixth of the supply at the peak."""
    copper = lead_mohm(Lead(length_m=2.0, awg=18)).value
    assert copper == pytest.approx(4.0 * 20.95, rel=0.04)  # ASTM B258, mOhm per m, from memory
    flown = flight(resistances=(branch("tail", mohm),), loads=(load("bus", 20), load("tail", 15.0)))
    codes = [f.code for f in found(flown)]
    assert codes == (["branch-resistance-high"] if told else [])


def load(place: str, peak_a: float, landing_v: float = 7.2) -> PlaceLoad:
    return PlaceLoad(place=place, usual_a=2.0, peak_a=peak_a, landing_a=1.5, landing_v=landing_v)


@pytest.mark.parametrize(("peak_a", "told"), [(9.0, True), (6.0, False)])
def test_a_sound_lead_that_is_too_thin(peak_a: float, told: bool) -> None:
    """8 % of 7.2 V are 0.58 V: 70 mOhm take that at 8.5 A (68 mOhm, the low end) and more."""
    measured = branch("left wing", 70, **expected(66, 60, 76))
    flown = flight(resistances=(measured,), loads=(load("bus", 20), load("left wing", peak_a)))
    findings = found(flown)
    assert [f.code for f in findings] == (["lead-undersized"] if told else [])
    if told:
        assert findings[0].evidence["drop_v"] == pytest.approx(0.070 * peak_a)


def test_a_part_over_its_limit_is_told_once_by_the_worst() -> None:
    def part(name: str, limit: float, source: str, over: bool) -> PartLoad:
        return PartLoad(
            place="tail", part=name, what="1 pin", usual_a=3.4, worst_a=8.0,
            worst_case="pack-lost", limit_a=limit, limit_from=source, over=over, worst_over=True,
        )  # fmt: skip

    flown = flight(
        parts=(
            part("wire", 3.2, "profile", True),
            part("connector 1", 3.0, "default", True),
            part("connector 2", 5.0, "default", False),
        )
    )
    told = only(found(flown))
    assert (told.code, told.level, told.place) == ("lead-undersized", Level.WATCH, "tail")
    assert "connector 1" in told.title
    assert told.explanations[0] == "the default limit is not that of your wire or connector"


@pytest.mark.parametrize(
    ("logged", "integrated", "uncertain", "step", "told"),
    [
        (560, 500, 4, 1, True),
        (520, 500, 4, 1, False),
        (560, 500, 40, 1, False),
        (540, 500, 4, 50, False),
    ],
    ids=["12 % apart", "4 % apart", "the log has holes", "a coarse counter"],
)
def test_counter_against_integral(
    logged: float, integrated: float, uncertain: float, step: float, told: bool
) -> None:
    charge = Charge(
        place="pack 1", logged_mah=logged, integrated_mah=integrated, share=None, start_v=None,
        end_v=None, uncertain_mah=uncertain,
    )  # fmt: skip
    column = ColumnUse(
        column="used", key="pack 1/consumed", quantity="consumed", place="pack 1", label="",
        unit="mAh", reason="", update_s=0.5, resolution=step, used=True,
    )  # fmt: skip
    findings = found(flight(charge=(charge,)), columns=(column,))
    assert [f.code for f in findings] == (["capacity-mismatch"] if told else [])


def test_every_code_has_its_words() -> None:
    assert {code for code, check in LISTED.items() if check.words} >= CODES
    for check in CHECKS:
        for words in (check.words, check.words_across):
            assert words is None or (words.confirm and words.advice), check.code


STANDING = [w for check in CHECKS for w in (check.words, check.words_across) if w is not None]


@pytest.mark.parametrize("words", [*STANDING, PACK_UNDER, RUN_DOWN, RESTART_UNDER_LOAD])
def test_words_fit_the_level_and_tell_nobody_to_charge(words: Words) -> None:
    assert "not fly" not in words.advice_at(Level.WATCH).lower()
    assert "do not fly" in words.advice_at(Level.GROUND).lower()
    for text in (words.confirm, words.advice, words.grounded):
        assert not re.match(r"charge|recharge", text.lower())
        assert not re.search(r"[;:.,] (then )?(re)?charge", text.lower())


# Simulated faults. The machines, pilots and sensors are drawn at random and were not looked at
# when the rules were made.


def flown(
    seed: int, *faults: Fault, charge: dict[str, float] | None = None, number: int = 1
) -> Review:
    """A flight of a random machine with two packs and remote nodes, reviewed without a profile."""
    rng = np.random.default_rng([seed, 4711])
    machine = random_aircraft(rng, packs=2, path=(PathKind.DIODE, PathKind.DIRECT)[seed % 2])
    sensors = random_telemetry(rng, machine, node_currents=True, interval_s=0.25)
    pilot = random_pilot(rng)
    motion = move(usual_plan(rng, pilot, flight_s=240), pilot, pilot.day(rng), rng, dt_s=0.02)
    recording = simulate(
        machine, sensors, motion, rng, faults=faults, flight=number, charge=charge or {},
    )  # fmt: skip
    table = recording.table
    channels = tuple(
        Channel(
            key=c.key, column=c.key, quantity=c.quantity, place=c.place, unit=c.unit, hold=c.hold
        )
        for c in table.columns
    )
    frame = pd.DataFrame(
        {c.key: c.values for c in table.columns},
        index=pd.Index(table.time_s - table.time_s[0], name="time_s"),
    )
    origin = Provenance(file="invented.csv", sha256="", size_bytes=0, rows=len(frame))
    return review(Log(frame=frame, channels=channels, provenance=origin))


def raised(seen: Review) -> list[tuple[str, str | None, Level]]:
    return [(f.code, f.place, f.level) for f in seen.findings if f.level >= Level.WATCH]


def causes_of(seen: Review) -> set[tuple[str, str | None]]:
    """What is raised without what follows from it: that a pack takes less of each change."""
    raised_here = [f for f in seen.findings if f.level >= Level.WATCH]
    return {(f.code, f.place) for f in raised_here if f.follows_code is None}


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_healthy_machine_stays_clear(seed: int) -> None:
    assert raised(flown(seed)) == []


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_a_lost_pack_grounds_and_is_told_once(seed: int) -> None:
    place = f"pack {1 + seed % 2}"
    seen = flown(seed, Fault(kind=FaultKind.PACK_OUT, place=place, start=1.0))
    assert raised(seen) == [("pack-out", place, Level.GROUND)]


@pytest.mark.parametrize("seed", [21, 22, 23])
def test_a_bad_way_of_one_pack_is_found_on_its_side(seed: int) -> None:
    """30 mOhm more: in the lead before the pack's voltage is read, or behind it in its switch."""
    place = f"pack {1 + seed % 2}"
    lead = flown(seed, Fault(kind=FaultKind.PACK_LEAD, place=place, start=0.03))
    assert causes_of(lead) == {("source-resistance-high", place)}
    # The step comes at a random moment of its first flight, and is there throughout the next.
    fault = Fault(kind=FaultKind.SWITCH_STEP, place=place, start=0.03)
    for number in (1, 2):
        assert causes_of(flown(seed, fault, number=number)) == {("switch-step", place)}


@pytest.mark.parametrize("seed", [24, 26])
def test_a_step_is_dated_and_sized(seed: int) -> None:
    seen = flown(seed, Fault(kind=FaultKind.SWITCH_STEP, place="pack 1", start=0.03))
    (step,) = seen.flights[0].path_steps
    assert step.low_rise_mohm <= 30 <= step.high_rise_mohm
    told = only([f for f in seen.findings if f.code == "switch-step"])
    assert told.start_s == step.time_s
    assert told.evidence["rise_mohm"] == step.rise_mohm


@pytest.mark.parametrize("kind", [FaultKind.SENSOR_GAIN, FaultKind.PACK_AGEING])
@pytest.mark.parametrize("seed", [31, 32])
def test_what_one_flight_cannot_tell_grounds_nobody(kind: FaultKind, seed: int) -> None:
    place = "left wing" if kind is FaultKind.SENSOR_GAIN else "pack 1"
    seen = flown(seed, Fault(kind=kind, place=place, start=0.15))
    assert [r for r in raised(seen) if r[2] is Level.GROUND] == []


@pytest.mark.parametrize("seed", [42, 44, 46])
def test_one_low_pack_of_a_pair_behind_diodes(seed: int) -> None:
    """It is held off and gives nothing: told once, with that reason, and nobody is grounded."""
    seen = flown(seed, charge={"pack 1": 1.0, "pack 2": 0.3})
    assert set(raised(seen)) == {
        ("pack-low", "pack 2", Level.WATCH),
    }
    low = only([f for f in seen.findings if f.code == "pack-low"])
    assert "gives nothing until" in low.title


@pytest.mark.parametrize("seed", [41, 43])
def test_one_low_pack_of_a_pair_behind_plain_switches(seed: int) -> None:
    """The full one charges it, so that none of the two is at rest: little can be told."""
    seen = flown(seed, charge={"pack 1": 1.0, "pack 2": 0.3})
    assert {p for _, p, _ in raised(seen)} <= {"pack 2"}
    assert [r for r in raised(seen) if r[2] is Level.GROUND] == []
