"""The step of a path's resistance: exact steps, and the F of one parameter by statsmodels."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm

from telemetry.aircraft import Aircraft
from telemetry.measure import steps
from telemetry.measure.steps import path_steps
from telemetry.model.channels import Quantity
from telemetry.readings import Reading, Readings
from telemetry.results import OutKind, PackOut

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
CRAFT = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}]})


def planted(n: int, at: int, rise: float = 0.02) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """0.05 V and 30 mOhm at 1 and 3 A by turns, every 2 s; more ohm from a block on."""
    x = np.where(np.arange(n) % 2, 3.0, 1.0)
    return 2.0 * np.arange(n), 0.05 + 0.03 * x + rise * x * (np.arange(n) >= at), x


@pytest.mark.parametrize(
    ("n", "at", "first", "last"),
    [
        (40, 20, 20, 20),
        (40, 12, 12, 12),  # twelve blocks to each side
        (40, 27, 27, 27),
        (40, 28, 20, 27),  # past the last instant that is looked at
        (25, 12, 12, 12),
        (100, 15, 15, 15),  # 15 % to each side
        (100, 84, 84, 84),
        (100, 85, 70, 84),
        (101, 16, 16, 16),  # 15.15: sixteen
        (101, 15, 16, 30),
    ],
)
def test_an_exact_step_is_found_where_it_is(n, at, first, last) -> None:
    found = steps.step_of_slope(*planted(n, at))
    assert found is not None
    at_s, before, rise, half = found
    assert 2.0 * first <= at_s <= 2.0 * last
    if first == last:
        assert (before, rise) == (pytest.approx(0.03), pytest.approx(0.02))
        assert 0.0 <= half < 1e-5


def test_too_few_blocks_or_no_step_tell_nothing() -> None:
    assert steps.step_of_slope(*planted(24, 12)) is None
    assert steps.step_of_slope(*planted(40, 20, rise=0.0)) is None


def by_reference(t: Any, y: Any, x: Any) -> tuple[int, float, float, Any]:
    """Best instant, F over the likeness of the residuals, that likeness, and the model there."""
    n = t.size

    def model(k: int) -> Any:
        return sm.OLS(y, np.column_stack([np.ones(n), x, x * (np.arange(n) >= k)])).fit()

    ends = max(12, int(np.ceil(0.15 * n)))
    k = min(range(ends, n - ends), key=lambda k: model(k).ssr)
    best = model(k)
    f = best.compare_f_test(sm.OLS(y, np.column_stack([np.ones(n), x])).fit())[0]
    e = best.resid
    r = min(max(float(e[1:] @ e[:-1]) / float(e @ e), 0.0), 0.9)
    likeness = (1 + r) / (1 - r)
    return k, f / likeness, likeness, best


@pytest.mark.parametrize("smooth", [False, True])
@pytest.mark.parametrize(("least", "most", "found"), [(27.0, 30.0, False), (30.0, 33.0, True)])
def test_the_f_of_a_step_and_its_interval(least, most, found, smooth) -> None:
    rng = np.random.default_rng(5)
    noise = 0.01 * rng.standard_normal(60)
    if smooth:
        noise = np.convolve(noise, [0.6, 0.5, 0.4], mode="same")
    # It moves so much that no level is taken for a resistance.
    x = 3.8 * (rng.random(60) < 0.5) + 0.5 * rng.random(60)
    t = 2.0 * np.arange(60)

    def made(rise: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return t, 0.05 + 0.03 * x + rise * x * (np.arange(60) >= 30) + noise, x

    # A rise of which the reference says that its F lies just on this side of 30: by halving.
    low, high = 0.0, 0.02
    while True:
        rise = 0.5 * (low + high)
        k, f, likeness, best = by_reference(*made(rise))
        if least < f < most:
            break
        low, high = (rise, high) if f < most else (low, rise)
    got = steps.step_of_slope(*made(rise))
    assert (got is not None) is found
    if got is not None:
        assert got[0] == 2.0 * k
        assert got[1:3] == pytest.approx(best.params[1:])
        assert got[3] == pytest.approx(2.0 * best.bse[2] * np.sqrt(likeness))


@pytest.mark.parametrize("seed", range(8))
def test_a_level_from_an_instant_on_is_no_resistance(seed) -> None:
    """Told by statsmodels: the squares left by a level, against those of a resistance."""
    rng = np.random.default_rng(seed)
    x = 0.5 + 2.0 * rng.random(120)
    since = np.arange(120) >= 60
    for level_v, rise_ohm in ((0.06, 0.0), (0.0, 0.04)):
        y = 0.03 * x + level_v * since + rise_ohm * since * x + 0.005 * rng.standard_normal(120)
        left = [
            sm.OLS(y, np.column_stack([np.ones(120), x, more])).fit().ssr
            for more in (since, since * x)
        ]
        assert bool(left[1] < left[0]) is (rise_ohm > 0)
        found = steps.step_of_slope(2.0 * np.arange(120), y, x, 0.1)
        assert (found is not None) is (rise_ohm > 0)
        # Sensors whose steps are far below that leave no level open.
        assert steps.step_of_slope(2.0 * np.arange(120), y, x, 0.01) is not None


# Blocks: readings every 0.2 s at 8.0 V on the pack, 7.9 V on the bus, 2 and 4 A by turns of 2 s


def logged(
    make_readings, seconds: float = 100.0, update_s: Any = 0.2, resolution: Any = None, **more: Any
) -> Readings:
    t = np.arange(0.0, seconds, 0.2)
    given = {
        "volts": np.full(t.size, 8.0),
        "bus": np.full(t.size, 7.9),
        "amps": np.where((t + 1e-9) // 2 % 2, 4.0, 2.0),
        **more,
    }
    return make_readings(
        {
            ("pack 1", U): (t, given["volts"]),
            ("bus", U): (t, given["bus"]),
            ("pack 1", I): (t, given["amps"]),
        },
        update_s=update_s,
        resolution=resolution,
        end_s=seconds,
        row_s=0.2,
    )


def blocks(readings: Readings, away: tuple[tuple[float, float], ...] = ()) -> Any:
    volts, bus, amps = readings.channels
    return steps.drop_blocks(volts, bus, amps, readings, list(away))


def test_means_over_two_seconds_or_six_updates(make_readings) -> None:
    start, drop, flow = blocks(logged(make_readings))
    assert start.tolist() == pytest.approx([2.0 * k for k in range(49)])
    assert drop == pytest.approx(0.1)
    assert flow[:3] == pytest.approx([2.0, 4.0, 2.0])
    slow = logged(make_readings, update_s={"pack 1": 0.2, "bus": 0.5})
    assert np.diff(blocks(slow)[0]) == pytest.approx(3.0)
    quiet = logged(make_readings, update_s=None)
    assert np.diff(blocks(quiet)[0]) == pytest.approx(2.0)


@pytest.mark.parametrize(("seconds", "told"), [(49.8, False), (50.0, False), (50.2, True)])
def test_more_than_twice_twelve_blocks_are_needed(seconds, told, make_readings) -> None:
    assert (blocks(logged(make_readings, seconds)) is not None) is told


def test_blocks_in_which_the_pack_was_out_do_not_count(make_readings) -> None:
    start, *_ = blocks(logged(make_readings), ((10.0, 20.0),))
    assert [s for s in start if 6.0 <= s < 24.0] == pytest.approx([6.0, 8.0, 20.0, 22.0])
    # 49 blocks: of the first 48 s there are 24, and so 25 remain.
    assert blocks(logged(make_readings), ((0.0, 47.0),)) is not None
    assert blocks(logged(make_readings), ((0.0, 49.0),)) is None


@pytest.mark.parametrize(
    ("low_a", "kept"),
    [(0.79, 25), (0.81, 49)],  # a fifth of the 4 A at its high end
)
def test_blocks_in_which_another_pack_may_hold_it_off_do_not_count(
    low_a, kept, make_readings
) -> None:
    t = np.arange(0.0, 100.0, 0.2)
    amps = np.where((t + 1e-9) // 2 % 2, low_a, 4.0)
    assert blocks(logged(make_readings, amps=amps))[0].size == kept
    # Of 47 blocks 24 are high: too few.
    short = blocks(logged(make_readings, 96.0, amps=amps[:480]))
    assert (short is None) is (kept == 25)


@pytest.mark.parametrize(
    ("amps", "resolution", "told"),
    [
        (0.5, None, True),
        (0.49, None, False),
        (2.0, 0.2, True),  # ten steps of its sensor
        (2.0, 0.21, False),
    ],
)
def test_a_pack_that_gives_too_little_tells_nothing(amps, resolution, told, make_readings) -> None:
    flow = np.full(500, amps)
    readings = logged(make_readings, amps=flow, resolution=resolution)
    assert (blocks(readings) is not None) is told


@pytest.mark.parametrize(("bus_v", "told"), [(7.21, True), (7.19, False)])
def test_a_drop_that_no_switch_makes_is_a_regulators(bus_v, told, make_readings) -> None:
    assert (blocks(logged(make_readings, bus=np.full(500, bus_v))) is not None) is told


# All of it: 30 mOhm, and 50 mOhm from 60 s on


def stepped(make_readings, rise: float = 0.02, resolution: Any = None, **more: Any) -> Readings:
    t = np.arange(0.0, 100.0, 0.2)
    amps = np.where((t + 1e-9) // 2 % 2, 4.0, 2.0)
    volts = 7.9 + (0.03 + rise * (t > 59.9)) * amps
    return logged(make_readings, amps=amps, volts=volts, resolution=resolution, **more)


def test_a_step_is_told_in_milliohm(make_readings) -> None:
    (found,) = path_steps(stepped(make_readings), CRAFT, ())
    assert (found.place, found.parent, found.time_s) == ("pack 1", "bus", pytest.approx(60.0))
    assert (found.before_mohm, found.rise_mohm) == pytest.approx((30.0, 20.0))
    low, high = found.low_rise_mohm, found.high_rise_mohm
    assert 19.99 < low < 20.0 < high < 20.01
    assert low + high == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("resolution", "told"),
    [
        # 20 mOhm at the 4 A of its high end: 80 mV, against the two sensors' steps.
        ({"pack 1": 0.05, "bus": 0.029}, True),
        ({"pack 1": 0.05, "bus": 0.031}, False),
        ({"pack 1": None, "bus": 0.079}, True),
        ({"pack 1": None, "bus": 0.081}, False),
        ({"pack 1": 0.079, "bus": None}, True),
        ({"pack 1": 0.081, "bus": None}, False),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_step_below_the_sensors_own_is_none(sign, resolution, told, make_readings) -> None:
    found = path_steps(stepped(make_readings, 0.02 * sign, resolution), CRAFT, ())
    assert len(found) == told


@pytest.mark.parametrize(("step_v", "told"), [(0.15, True), (0.17, False)])
def test_voltages_that_move_within_a_block_leave_half_of_their_step_open(
    step_v, told, make_readings
) -> None:
    # Of voltages that stand still 81 mV hide the step of 80 mV; these go up and down together.
    t = np.arange(0.0, 100.0, 0.2)
    stir = 0.3 * np.sin(9.0 * t)
    amps = np.where((t + 1e-9) // 2 % 2, 4.0, 2.0)
    volts = 7.9 + stir + (0.03 + 0.02 * (t > 59.9)) * amps
    readings = logged(make_readings, amps=amps, volts=volts, bus=7.9 + stir,
                      resolution={"pack 1": step_v, "bus": step_v})  # fmt: skip
    assert len(path_steps(readings, CRAFT, ())) == told


@pytest.mark.parametrize(("bus_step_v", "told"), [(0.059, True), (0.061, False)])
def test_the_surer_end_of_a_step_is_held_against_the_sensors(
    bus_step_v, told, make_readings, monkeypatch
) -> None:
    # 20 mOhm, 5 mOhm up and down: 15 mOhm at 4 A.
    monkeypatch.setattr(steps, "step_of_slope", lambda *_: (60.0, 0.03, 0.02, 0.005))
    readings = stepped(make_readings, resolution={"pack 1": None, "bus": bus_step_v})
    assert len(path_steps(readings, CRAFT, ())) == told


@pytest.mark.parametrize("late_a", [(2.0, 4.0), (0.6, 0.9)])
def test_a_step_is_held_against_the_sensors_at_the_load_of_both_sides(
    late_a, make_readings
) -> None:
    # 20 mOhm more from 60 s on: 80 mV at 4 A, 18 mV at 0.9 A, where the two sensors tell 40 mV.
    t = np.arange(0.0, 100.0, 0.2)
    high = (t + 1e-9) // 2 % 2 > 0
    amps = np.where(high, 4.0, 2.0)
    amps = np.where(t > 59.9, np.where(high, late_a[1], late_a[0]), amps)
    volts = 7.9 + (0.03 + 0.02 * (t > 59.9)) * amps
    readings = logged(make_readings, amps=amps, volts=volts, resolution=0.02)
    assert len(path_steps(readings, CRAFT, ())) == (late_a[1] > 2.0)


def test_where_no_path_is_judged(make_readings) -> None:
    readings = stepped(make_readings)
    volts, bus, amps = readings.channels

    def only(*channels: Reading) -> Readings:
        return make_readings(
            {(r.place, r.channel.quantity): (r.t, r.v) for r in channels},
            update_s=0.2,
            end_s=100.0,
        )

    assert len(path_steps(only(volts, bus, amps), CRAFT, ())) == 1
    assert path_steps(only(volts, amps), CRAFT, ()) == ()
    assert path_steps(only(bus, amps), CRAFT, ()) == ()
    assert path_steps(only(volts, bus), CRAFT, ()) == ()
    held = CRAFT.model_copy(update={"regulated_v": 6.0})
    assert path_steps(readings, held, ()) == ()
    alone = Aircraft.model_validate({"packs": [{"name": "pack 1"}]})
    assert path_steps(readings, alone, ()) == ()
    nowhere = Aircraft.model_validate({"packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
    assert path_steps(readings, nowhere, ()) == ()


def test_two_seconds_about_an_out_are_left_out(make_readings, monkeypatch) -> None:
    asked = []
    monkeypatch.setattr(steps, "drop_blocks", lambda *given: asked.append(given[4]))
    out = PackOut(
        place="pack 1", kind=OutKind.LOST, start_s=30.0, end_s=40.0, back=True,
        share_before=None, carried_a=None, bus_v=None, own_v=None,
    )  # fmt: skip
    assert path_steps(stepped(make_readings), CRAFT, (out,)) == ()
    assert asked == [[(28.0, 42.0)]]
