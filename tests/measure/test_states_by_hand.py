"""The state of a pack from a few numbers, worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.sharing import sharing_of
from telemetry.measure.states import (
    Drawn,
    drawn_in_flight,
    flights_left_of,
    pack_charge,
    pack_states,
)
from telemetry.model.channels import Quantity
from telemetry.numerics.intervals import Interval
from telemetry.readings import Readings
from telemetry.results import Charge, OutKind, PackOut, PackState, Phase, PhaseKind

Make = Callable[..., Readings]
U, A, Q = Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED
exact = Interval.exact
PACK = {"chemistry": "lipo", "cells": 2, "capacity_mah": 2000}
PAIR = Aircraft.model_validate(
    {"bus": "bus", "packs": [{"name": "pack 1", **PACK}, {"name": "pack 2", **PACK}]}
)
FLIGHT = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=64.0),)


def _of(
    integrated: float | None = None,
    logged: float | None = None,
    uncertain: float | None = None,
    place: str = "pack 1",
    **more: Any,
) -> Charge:
    known = {"share": None, "start_v": None, "end_v": None} | more
    return Charge(
        place=place, logged_mah=logged, integrated_mah=integrated, uncertain_mah=uncertain, **known
    )


def states(
    readings: Readings,
    craft: Aircraft,
    phases: tuple[Phase, ...],
    charge: tuple[Charge, ...],
    outs: tuple[PackOut, ...],
) -> tuple[PackState, ...]:
    sharing = sharing_of(readings, craft, phases, outs)
    return pack_states(readings, craft, phases, charge, sharing, Drawn())


# What was drawn


@pytest.mark.parametrize(
    ("charge", "expected"),
    [
        (None, None),
        (_of(), None),
        (_of(500, uncertain=5), (500, 490, 510)),
        (_of(500), (500, 500, 500)),
        (_of(logged=500), (500, 480, 520)),  # 4 %
        (_of(500, 510, 5), (500, 490, 510)),  # alike: the integral
        (_of(500, 600, 5), (600, 490, 624)),
        (_of(600, 500, 5), (600, 480, 610)),
        (_of(-500, uncertain=10), (-500, -500, -480)),  # it was charged
        (_of(5, uncertain=10), (5, 0, 25)),
        (_of(15, 15, 2), (15, 11, 19)),  # too little to hold them against each other
        (_of(10, 12, 1), (12, 8, 12.48)),
    ],
    ids=str,
)
def test_drawn_in_a_flight(
    charge: Charge | None, expected: tuple[float, float, float] | None
) -> None:
    found = drawn_in_flight(charge)
    if found is None or expected is None:
        assert found is expected
    else:
        assert (found.value, found.low, found.high) == pytest.approx(expected)


def test_without_records_a_pack_was_full() -> None:
    assert Drawn().before("pack 1") == exact(0)
    assert Drawn(on_record=True).before("pack 1") is None
    known = {"pack 1": exact(7)}
    for on_record in (False, True):
        assert Drawn(since_full_mah=known, on_record=on_record).before("pack 1") == exact(7)


def _state(place: str, mah: tuple[float | None, float | None, float | None]) -> PackState:
    return PackState(
        place=place, role="shared", drawn_mah=mah[0], low_drawn_mah=mah[1], high_drawn_mah=mah[2]
    )


def test_flights_add_up() -> None:
    was = Drawn(since_full_mah={"pack 1": Interval(100, 97, 106)}, flights_mah={"pack 1": (90.0,)})
    found = was.then([_state("pack 1", (50, 46, 58)), _state("pack 2", (30, 20, 40))])
    assert found.since_full_mah["pack 1"] == Interval(150, 145, 160), "3, 4 -> 5; 6, 8 -> 10"
    assert found.since_full_mah["pack 2"] == Interval(30, 20, 40)
    assert found.flights_mah == {"pack 1": (90.0, 50), "pack 2": (30,)}
    assert was.flights_mah == {"pack 1": (90.0,)}, "inputs stay as they are"


@pytest.mark.parametrize("missing", range(3))
def test_what_a_flight_does_not_tell_is_lost(missing: int) -> None:
    mah: list[float | None] = [50.0, 46.0, 58.0]
    mah[missing] = None
    was = Drawn(since_full_mah={"pack 1": exact(100)})
    found = was.then([_state("pack 1", (mah[0], mah[1], mah[2]))])
    assert (found.since_full_mah, found.flights_mah) == ({}, {})
    assert Drawn(on_record=True).then([_state("pack 1", (1, 1, 1))]).since_full_mah == {}


# Charge


def _basis(pack: dict[str, Any], drawn: Drawn, rest_v: float | None) -> Any:
    return pack_charge(Pack(name="pack 1", **pack), drawn, exact(200), rest_v)


def test_records_then_rest_voltage_then_full() -> None:
    on_record = Drawn(since_full_mah={"pack 1": exact(500)}, on_record=True)
    told, basis, before = _basis(PACK, on_record, 7.6)
    assert (basis, before) == ("records", exact(500))
    assert (told.start_pct, told.landing_pct) == (exact(75), exact(65))

    # Two cells of 3.80 V are at 40 % of the pouch cell's curve: 60 % of 2000 mAh are drawn.
    told, basis, before = _basis(PACK, Drawn(), 7.6)
    assert basis == "rest voltage"
    assert told.start_pct.value == pytest.approx(40)
    assert before.value == pytest.approx(1200)
    assert before.low == pytest.approx(20 * (100 - told.start_pct.high))
    assert before.high == pytest.approx(20 * (100 - told.start_pct.low))

    told, basis, before = _basis(PACK, Drawn(), None)
    assert (basis, before, told.start_pct, told.landing_pct) == (
        "full", exact(0), exact(100), exact(90)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("pack", "drawn", "rest_v", "basis"),
    [
        (PACK, Drawn(on_record=True), 7.6, "rest voltage"),
        (PACK, Drawn(on_record=True), None, ""),
        (PACK, Drawn(since_full_mah={"pack 1": exact(500)}), 7.6, "rest voltage"),
        ({**PACK, "chemistry": "life"}, Drawn(), 6.6, "full"),
        ({**PACK, "cells": None}, Drawn(), 7.6, "full"),
        ({**PACK, "capacity_mah": None}, Drawn(), 7.6, ""),
        ({**PACK, "capacity_mah": None}, Drawn(on_record=True), 7.6, ""),
    ],
)
def test_what_the_charge_rests_on(
    pack: dict[str, Any], drawn: Drawn, rest_v: float | None, basis: str
) -> None:
    assert _basis(pack, drawn, rest_v)[1] == basis


def test_a_flight_since_full_counts_where_no_voltage_tells() -> None:
    told, basis, before = _basis(PACK, Drawn(since_full_mah={"pack 1": exact(500)}), None)
    assert (told.start_pct, basis, before) == (exact(75), "full", exact(500))


@pytest.mark.parametrize("lost", ["capacity_mah", "before", "amount"])
def test_flights_left_need_capacity_and_both_amounts(lost: str) -> None:
    pack = Pack(name="pack 1", **(PACK | ({lost: None} if lost == "capacity_mah" else {})))
    before = None if lost == "before" else exact(100)
    amount = None if lost == "amount" else exact(100)
    assert flights_left_of(pack, PAIR, before, amount, ()) is None


def test_flights_left_count_this_one_too() -> None:
    # 2000 mAh, 30 % stay: 1400, less 100 before and 300 now: 1000 at (100 + 300) / 2.
    found = flights_left_of(Pack(name="pack 1", **PACK), PAIR, exact(100), exact(300), (100.0,))
    assert found.usual == 5
    assert found.cautious == 2, "1.25 times 300 each"


# The whole


def _readings(make: Make, **more: Any) -> Readings:
    t = np.arange(64.0)
    series: dict[tuple[str, Quantity], Any] = {
        ("pack 1", A): (t, np.full(64, 2.4)),
        ("pack 2", A): (t, np.full(64, 1.6)),
        ("pack 1", U): (t, np.where(t < 32, 8.0, 7.0) - 0.001 * t),
        ("pack 1", Q): (t, 300 + t),
    }
    return make(series, update_s=0.5, **more)


def test_every_pack_has_its_state(make_readings: Make) -> None:
    charge = [
        _of(500, uncertain=5, place="pack 1", start_v=8.4, end_v=7.9),
        _of(400, uncertain=5, place="pack 2"),
    ]
    one, two = states(_readings(make_readings), PAIR, FLIGHT, charge, ())
    gains = 0.02 * math.sqrt(2) * 0.24
    assert (one.place, one.role, two.place) == ("pack 1", "shared", "pack 2")
    assert (one.share, one.low_share, one.high_share) == pytest.approx(
        (0.6, 0.6 - gains, 0.6 + gains)
    )
    assert (one.change_share, one.low_change_share, one.off_balance) == (None, None, False)
    assert (one.rest_v, one.landing_rest_v, one.counter_start_mah) == (8.4, 7.9, 300.0)
    assert (one.drawn_mah, one.low_drawn_mah, one.high_drawn_mah) == (500, 490, 510)
    assert (two.drawn_mah, two.counter_start_mah, two.loaded_v) == (400, None, None)
    # Two cells of 4.2 V: full by the pouch cell's curve; 500 of 2000 mAh.
    assert (one.basis, one.start_pct, one.landing_pct) == ("rest voltage", 100.0, 75.0)
    assert one.low_start_pct < one.high_start_pct == 100.0
    assert one.low_landing_pct < 75 < one.high_landing_pct
    # 1400 less 500: 1.8 flights.
    assert (one.flights_left, two.basis, two.flights_left) == (1, "full", 2)
    # Half of the readings lie between 8 and 7.969 V, half between 6.968 and 6.937.
    assert one.loaded_v == pytest.approx((7.969 + 6.968) / 2)


def test_a_stretch_without_a_pack_is_left_out(make_readings: Make) -> None:
    out = PackOut(
        place="pack 2", kind=OutKind.LOST, start_s=32.0, end_s=64.0, back=False,
        share_before=0.5, carried_a=None, bus_v=None, own_v=None,
    )  # fmt: skip
    one, _ = states(_readings(make_readings), PAIR, FLIGHT, (), (out,))
    assert one.loaded_v == pytest.approx((7.985 + 7.984) / 2)
    assert one.share == pytest.approx(0.6), "eight blocks of two seconds and more are left"
    assert (one.rest_v, one.drawn_mah, one.basis) == (None, None, "full")
    whole = replace(out, start_s=0.0)
    one, _ = states(_readings(make_readings), PAIR, FLIGHT, (), (whole,))
    assert (one.loaded_v, one.share) == (None, None)


@pytest.mark.parametrize(
    ("kinds", "loaded_v", "left"),
    [
        ((PhaseKind.FLIGHT, PhaseKind.STIR), 7.9845, 1),
        ((PhaseKind.GROUND, PhaseKind.STIR), 6.9525, None),
        ((PhaseKind.GROUND, PhaseKind.GROUND), None, None),
    ],
)
def test_stirs_stand_in_for_a_flight_but_leave_no_flights(
    make_readings: Make,
    kinds: tuple[PhaseKind, PhaseKind],
    loaded_v: float | None,
    left: int | None,
) -> None:
    phases = tuple(
        Phase(kind=k, start_s=32.0 * i, end_s=32.0 * (i + 1)) for i, k in enumerate(kinds)
    )
    charge = [_of(500, place="pack 1")]
    one, _ = states(_readings(make_readings), PAIR, phases, charge, ())
    assert one.loaded_v == (None if loaded_v is None else pytest.approx(loaded_v))
    assert one.flights_left == left


def test_how_a_change_divides_a_stir_tells_as_well(make_readings: Make) -> None:
    """A calm flight at 2 A of which pack 1 gives 1.5, and a stir of which both take half."""
    t = np.arange(64.0)
    more = np.where(t < 32, np.where(t % 4 < 2, 4.0, 2.0), 0.0)
    made = make_readings(
        {("pack 1", A): (t, 1.5 + more), ("pack 2", A): (t, 0.5 + more)}, update_s=0.5
    )
    phases = [
        Phase(kind=PhaseKind.STIR, start_s=0.0, end_s=32.0),
        Phase(kind=PhaseKind.FLIGHT, start_s=32.0, end_s=64.0),
    ]
    one, two = states(made, PAIR, phases, (), ())
    assert (one.share, two.share) == pytest.approx((0.75, 0.25))
    assert (one.change_share, two.change_share) == pytest.approx((0.5, 0.5), abs=0.02)


def test_shares_of_a_change_stand_beside_those_of_the_charge(make_readings: Make) -> None:
    # Every other block of 2 s 4 A more, of which pack 1 takes 1 A.
    t = np.arange(64.0)
    more = np.where(t % 4 < 2, 0.0, 1.0)
    made = make_readings(
        {("pack 1", A): (t, 3 + more), ("pack 2", A): (t, 1 + 3 * more)}, update_s=0.5
    )
    one, two = states(made, PAIR, FLIGHT, (), ())
    gains = 0.02 * math.sqrt(2) * 0.25 * 0.75
    assert (one.change_share, two.change_share) == pytest.approx((0.25, 0.75))
    assert one.low_change_share == pytest.approx(0.25 - gains)
    assert one.high_change_share == pytest.approx(0.25 + gains)
    assert one.share == pytest.approx(3.5 / 6)


@pytest.mark.parametrize(("packs", "drawn"), [(1, 500.0), (2, None)])
def test_the_bus_counts_for_the_only_pack(
    make_readings: Make, packs: int, drawn: float | None
) -> None:
    craft = PAIR.model_copy(update={"packs": PAIR.packs[:packs]})
    charge = [_of(500, place="bus")]
    found = states(_readings(make_readings), craft, FLIGHT, charge, ())
    assert [s.drawn_mah for s in found] == [drawn] * packs


def test_a_packs_own_charge_goes_before_that_of_the_bus(make_readings: Make) -> None:
    craft = PAIR.model_copy(update={"packs": PAIR.packs[:1]})
    charge = [_of(500, place="bus"), _of(450, place="pack 1")]
    (one,) = states(_readings(make_readings), craft, FLIGHT, charge, ())
    assert one.drawn_mah == 450


def test_no_counter_reading_no_beginning(make_readings: Make) -> None:
    made = make_readings({("pack 1", Q): ([], [])})
    one, _ = states(made, PAIR, FLIGHT, (), ())
    assert one.counter_start_mah is None
