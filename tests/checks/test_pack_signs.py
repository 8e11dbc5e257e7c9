"""What one log shows of packs and regulator: each sign on both sides of its limit, by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.checks.causes import pack_signs as signs
from telemetry.results import (
    Droop,
    DroopKind,
    LoadDrop,
    OutKind,
    OutSign,
    PackOut,
    PackState,
    Resistance,
)
from tests.checks.test_findings import low, twins
from tests.checks.test_one_cause import knee
from tests.checks.test_signs import draft, facts, there

PACK = draft(place="pack 1")
BUS = draft(place="bus")


def state(place: str, **more: Any) -> PackState:
    return PackState(place=place, role="shared", **more)


def pair(*values: float | None, name: str = "rest_v") -> dict[str, Any]:
    """One value of each pack."""
    return {"packs": tuple(state(f"pack {k}", **{name: v}) for k, v in enumerate(values, 1))}


@pytest.mark.parametrize(
    ("first_v", "second_v", "apart"),
    [(8.0, 7.875, True), (8.0, 7.9375, False), (7.875, 8.0, True), (8.0, None, None)],
)
def test_packs_at_rest_are_alike_within_a_hundredth(
    first_v: float, second_v: float | None, apart: bool | None
) -> None:
    assert there(signs.rest_apart(facts(**pair(first_v, second_v)), PACK)) is apart


@pytest.mark.parametrize(("second_v", "is_there"), [(7.75, None), (7.7, True)])
def test_a_pack_that_began_well_below_the_other_is_at_fault(
    second_v: float, is_there: bool | None
) -> None:
    """3.5 % of 8 V are 0.28 V."""
    made = facts(**pair(8.0, second_v))
    assert there(signs.pack_at_fault(made, BUS)) is is_there
    assert signs.pack_at_fault(made, PACK) is None, "of a place that the packs feed"


def drop(low_drop_pct: float = 5.0, **more: Any) -> LoadDrop:
    return LoadDrop(
        place="pack 1", mohm=30.0, low_mohm=28.0, high_mohm=32.0, high_a=20.0, rest_v=8.0,
        drop_pct=low_drop_pct + 1.0, low_drop_pct=low_drop_pct,
        **({"sound_mohm": None, "by_profile": False, "temperature_c": None} | more),
    )  # fmt: skip


@pytest.mark.parametrize(("low_drop_pct", "is_there"), [(12.0, True), (11.9, None)])
def test_a_pack_that_loses_an_eighth_under_load_is_weak(
    low_drop_pct: float, is_there: bool | None
) -> None:
    assert there(signs.pack_at_fault(facts(drops=(drop(low_drop_pct),)), BUS)) is is_there


@pytest.mark.parametrize(
    ("degc", "cold"), [(9.9, True), (10.0, None), (17.9, None), (18.0, False), (None, None)]
)
def test_a_day_is_cold_or_mild(degc: float | None, cold: bool | None) -> None:
    assert there(signs.cold_day(facts(drops=(drop(temperature_c=degc),)), PACK)) is cold


@pytest.mark.parametrize(("sound_mohm", "is_there"), [(27.9, True), (28.0, False), (None, None)])
def test_a_pack_has_more_than_a_sound_one(sound_mohm: float | None, is_there: bool | None) -> None:
    made = facts(drops=(drop(sound_mohm=sound_mohm),))
    assert there(signs.above_sound(made, PACK)) is is_there


@pytest.mark.parametrize(
    ("start_mah", "carried"), [(50.0, True), (49.0, False), (0.0, False), (None, None)]
)
def test_a_counter_that_began_with_a_charge_was_not_set_back(
    start_mah: float | None, carried: bool | None
) -> None:
    made = facts(**pair(start_mah, name="counter_start_mah"))
    assert there(signs.counter_carried(made, PACK)) is carried


@pytest.mark.parametrize(
    ("first_v", "second_v", "below"), [(7.4, 7.5, True), (7.5, 7.5, False), (7.4, None, None)]
)
def test_a_diode_holds_off_what_lies_below(
    first_v: float, second_v: float | None, below: bool | None
) -> None:
    assert there(signs.lies_below(facts(**pair(first_v, second_v, name="loaded_v")), PACK)) is below


def resistance(place: str, mohm: float, **more: Any) -> Resistance:
    given: dict[str, Any] = {"kind": "source", "parent": None, "low_mohm": mohm - 1.0,
                             "high_mohm": mohm + 1.0, "updates": 400}  # fmt: skip
    return Resistance(place=place, mohm=mohm, **(given | more))


@pytest.mark.parametrize(
    ("own_mohm", "apart", "alike"),
    [(30.0, False, True), (37.5, False, True), (38.0, False, None), (42.0, True, None)],
)
def test_two_packs_are_alike_within_a_quarter_and_one_clearly_above_by_three_tenths(
    own_mohm: float, apart: bool, alike: bool | None
) -> None:
    """The other has 30 mOhm, each known to 1: 41 is more than 1.3 times 31."""
    made = facts(resistances=(resistance("pack 1", own_mohm), resistance("pack 2", 30.0)))
    assert there(signs.source_apart(made, PACK)) is apart
    assert there(signs.alike_in_all(made, PACK)) is alike
    about = replace(PACK, code="source-resistance-high")
    assert signs.source_apart(made, about) is None
    assert signs.alike_in_all(made, replace(PACK, code="pack-weak")) is None


@pytest.mark.parametrize(
    ("own_mohm", "apart"), [(20.5, True), (19.5, None), (16.0, None), (15.5, False)]
)
def test_paths_of_a_pair_differ_by_two_plugs(own_mohm: float, apart: bool | None) -> None:
    """The other has 10 mOhm, each known to 1; two plugs are 8."""
    made = facts(
        resistances=tuple(
            resistance("bus", mohm, kind="branch", parent=p)
            for p, mohm in (("pack 1", own_mohm), ("pack 2", 10.0))
        )
    )
    assert there(signs.path_apart(made, PACK)) is apart


@pytest.mark.parametrize(
    ("low_part", "high_part", "slow"),
    [
        (0.125, 0.6, True),
        (0.0625, 0.6, None),
        (-0.25, 0.1875, False),
        (-0.25, 0.25, None),
        (-0.375, 0.1875, None),
        (None, 0.6, None),
    ],
)
def test_cells_answer_slowly_and_copper_at_once(
    low_part: float | None, high_part: float, slow: bool | None
) -> None:
    one = replace(
        twins(45.0, 30.0, (1.3, 1.5, 1.7)), place="pack 1", compared_with="pack 2",
        low_slow_part=low_part, slow_part=0.1, high_slow_part=high_part,
    )  # fmt: skip
    assert there(signs.relaxes(facts(twins=(one,)), PACK)) is slow


def test_a_pack_that_is_low_or_landed_with_its_reserve() -> None:
    floor = low("pack 1", 6.2, is_floor=True)
    assert there(signs.pack_low(facts(low=(floor,)), BUS)) is True
    assert signs.pack_low(facts(low=(low("bus", 4.6),)), BUS) is None
    reserve = facts().limits.reserve_pct
    for left, is_there in ((reserve + 1, False), (reserve, None)):
        made = facts(**pair(90.0, left, name="landing_pct"))
        assert there(signs.pack_low(made, BUS)) is is_there


def test_a_knee_is_that_of_the_pack_or_of_any() -> None:
    made = facts(knees=(knee("pack 2"),))
    assert signs.knee(made, PACK) is None
    assert there(signs.knee(made, draft(place="pack 2"))) is True
    assert there(signs.knee(made, BUS)) is True


@pytest.mark.parametrize(
    ("rest_v", "full"),
    [(8.4, True), (8.2, True), (7.6, False), (6.6, True), (12.6, True), (None, None)],
)
def test_the_voltage_of_full_cells(rest_v: float | None, full: bool | None) -> None:
    """Two of 4.1 to 4.2 V, two of 3.3 V, three of 4.2 V."""
    assert there(signs.full_of_a_kind(facts(**pair(rest_v)), PACK)) is full


def test_what_the_voltage_says_of_a_pack_that_gave_nothing() -> None:
    for sign in OutSign:
        out = PackOut(
            place="pack 1", kind=OutKind.LOST, start_s=200.0, end_s=210.0, back=True,
            share_before=0.5, carried_a=12.0, bus_v=6.4, own_v=0.0, sign=sign,
        )  # fmt: skip
        made = facts(pack_outs=(out,))
        assert there(signs.way_open(made, PACK)) is (True if sign is OutSign.OPEN else None)
        assert there(signs.own_dead(made, PACK)) is (True if sign is OutSign.DEAD else None)
        assert signs.own_dead(made, draft(place="pack 2")) is None


def droop(kind: DroopKind, degc: float | None = None) -> Droop:
    return Droop(
        start_s=150.0, end_s=151.0, place="bus", kind=kind, held_v=6.0, lowest_v=5.5,
        lowest_s=150.5, pack_v=7.4, times=3, readings=3, current_a=12.0, temperature_c=degc,
    )  # fmt: skip


@pytest.mark.parametrize("kind", list(DroopKind))
def test_how_a_held_bus_fell(kind: DroopKind) -> None:
    made = facts(droops=(droop(kind),))
    assert there(signs.in_limit(made, BUS)) is (True if kind is DroopKind.LIMIT else None)
    follows = None if kind is DroopKind.UNKNOWN else kind is DroopKind.DROP_OUT
    assert there(signs.dropped_out(made, BUS)) is follows
    assert there(signs.regulated(made, BUS)) is True


@pytest.mark.parametrize(
    ("degc", "hot"), [(80.0, True), (79.0, None), (61.0, None), (60.0, False), (None, None)]
)
def test_a_regulator_limits_itself_at_eighty_degrees(degc: float | None, hot: bool | None) -> None:
    made = facts(droops=(droop(DroopKind.HOT, degc),))
    assert there(signs.ran_hot(made, BUS)) is hot


@pytest.mark.parametrize(("told", "held"), [(True, True), (False, False), (None, None)])
def test_a_bus_follows_its_packs_or_is_held(told: bool | None, held: bool | None) -> None:
    made = facts(resistances=(resistance("bus", 30.0, regulated=told),))
    assert there(signs.regulated(made, BUS)) is held
