"""Low supply under load: times and depths of a few readings, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.low import low_supplies
from telemetry.detect.sags import low_levels
from telemetry.model.channels import Quantity
from telemetry.results import OutKind, OutSign, PackOut, Phase, PhaseKind

PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=10.0),
    Phase(kind=PhaseKind.STIR, start_s=10.0, end_s=15.0),
    Phase(kind=PhaseKind.GROUND, start_s=15.0, end_s=20.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=20.0, end_s=40.0),
)
T = 0.25 * np.arange(160)
BARE = Aircraft.model_validate({"bus": "bus", "limits": {"comfort_v": 6.0}})


def volts(usual: float, *parts: tuple[float, float, float]) -> np.ndarray:
    """A usual value, but for parts: start, end and value."""
    v = np.full(T.size, usual)
    for a, b, x in parts:
        v[(a <= T) & (b > T)] = x
    return v


def out(sign: OutSign, start_s: float, end_s: float) -> PackOut:
    return PackOut(
        place="pack 1", kind=OutKind.LOST, start_s=start_s, end_s=end_s, back=True,
        share_before=0.5, carried_a=None, bus_v=None, own_v=None, sign=sign,
    )  # fmt: skip


@pytest.fixture
def low(make_reading, make_readings):
    def find(v, place="bus", aircraft=BARE, outs=(), floors=None, t=T, held=None):
        rows = [make_reading(place, Quantity.VOLTAGE, t, v)]
        if held is not None:
            rows.append(make_reading(place, Quantity.VOLTAGE, t, held, hold="min"))
        readings = make_readings(*rows, end_s=40.0)
        return low_supplies(readings, aircraft, PHASES, outs, floors or {})

    return find


def test_all_of_the_time_under_load_counts_whenever_it_began(low) -> None:
    """From the first row to the last: 5 s of stir and 20 s of flight, 0.3 V short."""
    (one,) = low(volts(5.7))
    assert (one.loaded_s, one.below_s, one.longest_s, one.times) == (25.0, 25.0, 20.0, 2)
    assert one.short_v == pytest.approx(0.3)
    assert (one.place, one.level_v, one.is_floor, one.deep_s) == ("bus", 6.0, False, 0.0)


@pytest.mark.parametrize(
    "v",
    [volts(6.2, (2, 9, 4.0)), volts(0.0, (4, 9, 4.0), (9, 40, 6.2)), np.full(T.size, 0.0)],
    ids=["for seconds", "switched on", "switched off"],
)
def test_what_is_low_at_rest_for_a_while_only_is_a_switch(v: np.ndarray, low) -> None:
    assert low(np.where((T >= 10) & (T < 15) | (T >= 20), 6.2, v)) == ()


def test_a_supply_that_breaks_down_shows_no_load(make_reading, make_readings) -> None:
    """At 2.5 to 5 V the servos draw nothing that looks like flying: 60 s of a ground of 100 s."""
    t = 0.25 * np.arange(400)
    v = np.where((t >= 20) & (t < 80), 4.0 + 0.9 * np.sin(t), 6.2)
    readings = make_readings(make_reading("bus", Quantity.VOLTAGE, t, v), end_s=100.0)
    ground = (Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=100.0),)
    (one,) = low_supplies(readings, BARE, ground, (), {})
    assert one.lowest_v == pytest.approx(3.1, abs=0.01)
    assert one.below_s == pytest.approx(60.0, abs=1.0)


def test_a_part_counts_by_its_share(low) -> None:
    """8 s to 12 s: 2 s of them in the stir; 38 s to the end: 2 s of the flight. 0.6 V for 4 s."""
    (one,) = low(volts(7.4, (8, 12, 5.4), (38, 99, 5.4)))
    assert (one.below_s, one.lowest_v, one.lowest_s) == (4.0, 5.4, 10.0)
    assert one.short_v == pytest.approx(0.6 * 4 / 25)
    assert (one.deep_s, one.deep_readings) == (4.0, 16), "5.4 V are a tenth below 6.0 V"
    assert (one.short_s, one.deepest_s, one.deepest_readings) == (4.0, 0.0, 0)
    (one,) = low(volts(7.4, (8, 12, 5.83), (38, 99, 4.8)))
    assert (one.short_s, one.deepest_s, one.deepest_readings) == (2.0, 2.0, 8), "a fifth below"
    (one,) = low(volts(7.4, (8, 12, 5.41)))
    assert (one.below_s, one.deep_s) == (2.0, 0.0)


@pytest.mark.parametrize(("v", "told"), [(5.99, True), (6.0, False)])
def test_low_is_below_the_level(v: float, told: bool, low) -> None:
    assert bool(low(volts(v))) is told


def test_at_rest_nothing_hangs_on_it(low) -> None:
    assert low(volts(7.4, (0, 10, 5.0), (15, 20, 5.0))) == ()


def test_a_supply_that_is_gone_is_not_deep(low) -> None:
    """At the restart level, 3.5 V, it is a brownout or its telemetry, which is told by itself."""
    (one,) = low(volts(7.4, (25, 37, 3.5)))
    assert (one.below_s, one.lowest_v, one.deep_s, one.short_v) == (12.0, 3.5, 0.0, 0.0)
    (one,) = low(volts(7.4, (25, 37, 3.51)))
    assert one.deep_s == 12.0
    (one,) = low(volts(7.8, (25, 37, 0.0)), "pack 1", floors={"pack 1": 6.0})
    assert (one.deep_s, one.short_v) == (0.0, 0.0)


def test_across_a_gap_no_time_is_counted(low) -> None:
    """Nothing between 22 s and 36 s: the last reading before holds for a second."""
    keep = (T < 22) | (T >= 36)
    (one,) = low(volts(5.7)[keep], t=T[keep])
    assert one.loaded_s == one.below_s == pytest.approx(5 + 1.75 + 1 + 4)


def test_a_minimum_held_tells_the_lowest_and_not_for_how_long(low) -> None:
    held = volts(7.0, (25, 26, 5.2))
    held[::3] += 0.01
    (one,) = low(volts(7.4), held=held)
    assert one.lowest_v == pytest.approx(5.2, abs=0.011)
    assert (one.below_s, one.deep_s) == (0.0, 0.0)


def test_what_a_lost_pack_makes_is_told_of_the_pack(low) -> None:
    """Out from 24 to 36 s, and 2 s about it."""
    fell = volts(7.4, (23, 37, 5.5))
    assert low(fell, outs=(out(OutSign.DEAD, 24, 36),)) == ()
    assert low(fell, outs=(out(OutSign.UNKNOWN, 24, 36),))[0].below_s == 14.0
    assert low(fell, "pack 1", outs=(out(OutSign.UNKNOWN, 24, 36),), floors={"pack 1": 6.6}) == ()
    (one,) = low(volts(5.5), outs=(out(OutSign.DEAD, 24, 36),))
    assert one.below_s == pytest.approx(25 - 16)


def test_each_place_has_its_own_level(make_reading, make_readings) -> None:
    craft = Aircraft.model_validate(
        {
            "bus": "bus",
            "regulated_v": 7.4,
            "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
            "nodes": [{"name": "tail", "fed_from": "bus", "comfort_v": 5.6}],
        }
    )
    places = ("bus", "tail", "pack 1", "pack 2")
    readings = make_readings(
        *(make_reading(p, Quantity.VOLTAGE, T, volts(6.5)) for p in places), end_s=40.0
    )
    levels = low_levels(readings, craft, {"pack 1": 6.6})
    # A bus that does not reach its set-point is still one of high-voltage servos.
    assert levels == {"bus": 6.0, "tail": 5.6, "pack 1": 6.6}
    assert Aircraft(bus="bus").comfort_v("bus", readings.channels[0].rest_v) == 5.0
