"""Shares of the packs, worked out by hand on a few readings."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.packs import pack_currents
from telemetry.measure.sharing import (
    PackShare,
    pack_shares,
    ratio_of_sums,
    slope_of_change,
    with_gain_errors,
)
from telemetry.model.channels import Quantity
from telemetry.numerics.intervals import Interval
from telemetry.readings import Readings

Make = Callable[..., Readings]
A = Quantity.CURRENT
GAINS = 0.02 * math.sqrt(2)  # 2 % of two sensors


def _craft(*roles: str, **more: Any) -> Aircraft:
    packs = [{"name": f"pack {n}", "role": role} for n, role in enumerate(roles, 1)]
    return Aircraft.model_validate({"bus": "bus", "packs": packs, **more})


PAIR = _craft("shared", "shared")


def _flows(make: Make, *flows: Any, n: int = 16, **more: Any) -> Readings:
    """One reading a second at 0.5, 1.5, ... of each pack; each flow a number or an array."""
    t = np.arange(n) + 0.5
    series = {(f"pack {k}", A): (t, np.zeros(n) + flow) for k, flow in enumerate(flows, 1)}
    return make(series, **{"update_s": 0.5, "end_s": float(n)} | more)


def _first(readings: Readings, craft: Aircraft = PAIR, end_s: float = 16.0) -> PackShare:
    return pack_shares(readings, craft, [(0.0, end_s)])[0]


def test_a_ratio_with_its_scatter_its_zero_and_its_gains() -> None:
    # 4 of 6; left over -1/3, 2/3, -1/3 with a power of 2/3, no neighbours alike.
    found = ratio_of_sums(np.array([1.0, 2.0, 1.0]), np.array([2.0, 2.0, 2.0]), 0.6)
    scatter = 1.96 * math.sqrt(2 / 3) / 6
    zero = math.hypot(2 / 3, 1 / 3) * 0.3 / 2
    half = math.sqrt(scatter**2 + zero**2 + (GAINS * 2 / 9) ** 2)
    assert found.value == pytest.approx(2 / 3)
    assert found.low == pytest.approx(2 / 3 - half)
    assert found.high == pytest.approx(2 / 3 + half)


def test_a_ratio_of_neighbours_alike_is_known_less_well() -> None:
    # Left over 1, 1, -1, -1 of 2 each: 1.96 * sqrt(4 * 5/3) / 16.
    whole = np.full(4, 4.0)
    found = ratio_of_sums(np.array([3.0, 3.0, 1.0, 1.0]), whole, 0.0)
    half = math.hypot(1.96 * math.sqrt(4 * 5 / 3) / 16, GAINS / 4)
    assert found.high == pytest.approx(0.5 + half)


@pytest.mark.parametrize(("share", "part"), [(0.5, 0.25), (0.2, 0.16), (1.0, 0.0), (1.2, 0.24)])
def test_gains_of_two_sensors(share: float, part: float) -> None:
    found = with_gain_errors(share, 0.003)
    half = math.hypot(0.003, GAINS * part)
    assert (found.low, found.high) == pytest.approx((share - half, share + half))


# Thue and Morse: upright on a level, a line and a parabola; squares add up to 16.
HALF = np.array([1.0, -1.0, -1.0, 1.0, -1.0, 1.0, 1.0, -1.0])
MOVED, REST, AT_S = np.r_[HALF, -HALF], np.r_[HALF, HALF], np.arange(16.0)


def test_a_slope_by_hand() -> None:
    # 2 sqrt(power / (16 - 4) / 16), power 0.16; neighbours are unlike.
    found = slope_of_change(2.0 + 0.6 * MOVED + 0.1 * REST, 7.0 + MOVED, AT_S)
    half = math.hypot(2 * math.sqrt(0.16 / 12 / 16), GAINS * 0.24)
    assert found.value == pytest.approx(0.6)
    assert (found.low, found.high) == pytest.approx((0.6 - half, 0.6 + half))


def test_what_a_charge_that_evens_out_moves_is_no_part_of_a_change() -> None:
    """A stir while one pack stands higher, and a calm flight once it does not any more."""
    drift = 0.4 - 0.03 * AT_S + 0.002 * AT_S**2
    load = 2.0 + MOVED + 3.0 * (AT_S < 3)
    found = slope_of_change(0.5 * load + drift, load, AT_S)
    assert found.value == pytest.approx(0.5)


def test_a_slope_told_to_more_than_a_quarter_tells_nothing() -> None:
    # 2 sqrt(16 k^2 / 12 / 16) is a quarter at k = 0.433.
    k = 0.125 * math.sqrt(12)
    assert slope_of_change(0.6 * MOVED + 1.001 * k * REST, 7.0 + MOVED, AT_S) is None
    assert slope_of_change(0.6 * MOVED + 0.999 * k * REST, 7.0 + MOVED, AT_S) is not None


def test_a_current_that_does_not_move_has_no_slope() -> None:
    assert slope_of_change(np.full(16, 1.0), np.full(16, 2.0), AT_S) is None
    assert slope_of_change(HALF[:4], HALF[:4], AT_S[:4]) is None, "as many as are fitted"
    for sxx, told in ((0.9e-12, False), (1.1e-12, True)):
        whole = math.sqrt(sxx / 16) * MOVED
        assert (slope_of_change(0.5 * whole, whole, AT_S) is not None) is told


def test_constant_flows(make_readings: Make) -> None:
    one, two = pack_shares(_flows(make_readings, 1.8, 1.2), PAIR, [(0.0, 16.0)])
    assert (one.place, two.place) == ("pack 1", "pack 2")
    assert (one.share.value, two.share.value) == pytest.approx((0.6, 0.4))
    assert one.share.low == pytest.approx(0.6 - GAINS * 0.24), "no resolution, no scatter"
    assert (one.of_changes, one.judged_s, one.off_balance) == (None, 16.0, False)


def test_the_coarser_of_the_sensors_counts(make_readings: Make) -> None:
    readings = _flows(
        make_readings, 1.8, 1.2, resolution={"pack 1": 0.1, "pack 2": 0.4}
    )  # fmt: skip
    zero = math.hypot(0.6, 0.4) * 0.2 / 3.0
    assert _first(readings).share.high == pytest.approx(0.6 + math.hypot(zero, GAINS * 0.24))


def test_changes_are_shared_by_another_measure(make_readings: Make) -> None:
    # Blocks of 2 s alternate between 4 and 8 A; of the 4 A more pack 1 takes 1 A.
    high = np.repeat([0.0, 1.0] * 4, 2)
    one = _first(_flows(make_readings, 3.0 + high, 1.0 + 3 * high))
    assert one.share.value == pytest.approx((3 + 4) / 12)
    assert one.of_changes.value == pytest.approx(0.25)


def _held_off(total: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two equal regulators, one set 0.02 V lower, of 0.01 ohm each: by hand, from 2 A on half."""
    lower = np.maximum(total - 2.0, 0.0) / 2.0
    return total - lower, lower


def test_of_a_change_one_takes_part_only_while_it_gives(make_readings: Make) -> None:
    total = np.repeat(np.random.default_rng(1).permutation(np.linspace(1.0, 7.0, 32)), 2)
    one = _first(_flows(make_readings, *_held_off(total), n=64), end_s=64.0)
    assert one.share.value > 0.7
    assert one.of_changes.value == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(("back_a", "beside"), [(0.3, True), (0.0, False)])
def test_what_gives_picks_no_blocks_where_one_charges_the_other(
    make_readings: Make, back_a: float, beside: bool
) -> None:
    """Packs side by side, the first 0.3 A into the second at rest; half of each ampere more.

    Blocks picked by what the second gave told it a part of a change that was too small.
    """
    mixed = np.repeat(np.random.default_rng(1).permutation(40), 2)
    total = np.linspace(0.6, 1.8, 40)[mixed]
    second = 0.5 * total - 0.4 + 0.1 * (-1.0) ** mixed
    rest = np.full(20, -back_a)
    flows = np.r_[1.0 - rest, total - second], np.r_[rest, np.maximum(second, -back_a)]
    readings = _flows(make_readings, *flows, n=100, end_s=100.0)
    told = pack_shares(readings, PAIR, [(20.0, 100.0)])[1].of_changes
    assert told is not None
    assert (told.value == pytest.approx(0.5, abs=0.03)) is beside


def test_a_pack_that_is_held_off_throughout_tells_no_change(make_readings: Make) -> None:
    total = np.repeat(np.linspace(1.0, 2.4, 32), 2)
    one = _first(_flows(make_readings, *_held_off(total), n=64), end_s=64.0)
    assert (one.off_balance, one.of_changes) == (True, None)


@pytest.mark.parametrize(
    ("end_s", "count"), [(16.0, 2), (16.0 - 0.9e-9, 2), (16.0 - 1.1e-9, 0), (14.0, 0)]
)
def test_eight_whole_blocks_are_needed(make_readings: Make, end_s: float, count: int) -> None:
    assert len(pack_shares(_flows(make_readings, 1.0, 1.0), PAIR, [(0.0, end_s)])) == count


def test_stretches_add_up(make_readings: Make) -> None:
    flow = np.r_[np.full(8, 3.0), np.full(4, 9.0), np.full(8, 1.0)]
    readings = _flows(make_readings, flow, 2.0, n=20)
    (one, _) = pack_shares(readings, PAIR, [(0.0, 8.0), (9.0, 9.5), (12.0, 20.0)])
    assert one.share.value == pytest.approx((3.0 + 1.0) / 8.0)
    assert one.judged_s == 16.0
    assert pack_shares(readings, PAIR, []) == ()
    assert pack_shares(readings, PAIR, [(9.0, 10.0)]) == ()


@pytest.mark.parametrize(("light_a", "judged_s"), [(0.5, 16.0), (0.51, 18.0)])
def test_only_above_a_third_of_the_high_current(
    make_readings: Make, light_a: float, judged_s: float
) -> None:
    # Eight blocks of 3 A and one of twice this: its 95th percentile is 3 A, a third of it 1 A.
    flow = np.r_[np.full(16, 1.5), np.full(2, light_a)]
    assert _first(_flows(make_readings, flow, flow, n=18), end_s=18.0).judged_s == judged_s


def test_the_high_current_is_the_95th_percentile(make_readings: Make) -> None:
    # Of 21 blocks the second highest: 6 A. The highest is 100 A, the others 2.2 A.
    flow = np.repeat(np.r_[50.0, 3.0, np.full(19, 1.1)], 2)
    one = _first(_flows(make_readings, flow, flow, n=42), end_s=42.0)
    assert one.judged_s == 42.0


@pytest.mark.parametrize(
    ("update_s", "row_s", "block_s"),
    [(0.1, 9.0, 2.0), (0.5, 9.0, 2.0), (1.0, 9.0, 4.0), (None, 1.5, 6.0),
     ({"pack 1": 0.5, "pack 2": 2.0}, 9.0, 8.0)],
)  # fmt: skip
def test_a_block_holds_four_updates_of_the_slower(
    make_readings: Make, update_s: Any, row_s: float, block_s: float
) -> None:
    readings = _flows(make_readings, 1.0, 1.0, n=64, update_s=update_s, row_s=row_s)
    assert _first(readings, end_s=8 * block_s).judged_s == 8 * block_s
    assert pack_shares(readings, PAIR, [(0.0, 8 * block_s - 0.1)]) == ()


def test_a_block_without_readings_is_left_out(make_readings: Make) -> None:
    t = np.r_[np.arange(8) + 0.5, np.arange(8) + 12.5]
    readings = make_readings(
        {("pack 1", A): (t, np.ones(16)), ("pack 2", A): (np.arange(20) + 0.5, np.ones(20))},
        update_s=0.5,
    )
    assert _first(readings, end_s=20.0).judged_s == 16.0


def test_packs_that_are_charged_share_nothing(make_readings: Make) -> None:
    assert pack_shares(_flows(make_readings, -1.0, -1.0), PAIR, [(0.0, 16.0)]) == ()
    # Four blocks of nothing and four of a draw among 200 of a charge.
    flow = np.repeat(np.r_[np.zeros(4), np.ones(4), np.full(192, -1.0)], 2)
    readings = _flows(make_readings, flow, flow, n=400)
    assert pack_shares(readings, PAIR, [(0.0, 400.0)]) == ()


@pytest.mark.parametrize(
    ("share", "off"), [(0.6573, True), (0.656, False), (0.345, False), (0.3427, True)]
)
def test_off_balance_is_beyond_fifteen_points(make_readings: Make, share: float, off: bool) -> None:
    # The gains leave 0.0064 about each share: 0.6509, 0.6496, 0.3514 and 0.3491.
    readings = _flows(make_readings, 4 * share, 4 * (1 - share))
    assert _first(readings).off_balance is off


def test_the_band_is_a_limit(make_readings: Make) -> None:
    tight = _craft("shared", "shared", limits={"share_points": 5})
    assert _first(_flows(make_readings, 2.4, 1.6), tight).off_balance
    assert not _first(_flows(make_readings, 2.4, 1.6), PAIR).off_balance


def test_a_band_of_fifty_points_holds_every_share(make_readings: Make) -> None:
    wide = _craft("shared", "shared", limits={"share_points": 50})
    pair = pack_shares(_flows(make_readings, 2.0, 0.0), wide, [(0.0, 16.0)])
    assert [p.off_balance for p in pair] == [False, False]


def test_seven_blocks_under_load_are_too_few(make_readings: Make) -> None:
    flow = np.r_[np.full(14, 1.5), np.full(2, 0.1)]
    assert pack_shares(_flows(make_readings, flow, flow), PAIR, [(0.0, 16.0)]) == ()


def test_a_small_load_is_a_load(make_readings: Make) -> None:
    assert _first(_flows(make_readings, 0.15, 0.05)).share.value == pytest.approx(0.75)


def test_three_that_share_have_no_balance(make_readings: Make) -> None:
    readings = _flows(make_readings, 8.0, 1.0, 1.0)
    three = pack_shares(readings, _craft("shared", "shared", "shared"), [(0.0, 16.0)])
    assert [p.off_balance for p in three] == [False, False, False]
    pair = pack_shares(readings, _craft("shared", "shared", "standby"), [(0.0, 16.0)])
    assert [p.off_balance for p in pair] == [True, True, False]


def test_one_pack_without_a_current_gives_the_rest(make_readings: Make) -> None:
    series = {
        ("pack 1", A): ([0.0, 1.0, 2.0], [1.0, 2.0, 3.0]),
        ("bus", A): ([0.5, 1.0, 7.0, 7.1], [5.0, 5.0, 5.0, 5.0]),
    }
    readings = make_readings(series, update_s={"bus": 0.5, "pack 1": 1.0}, resolution={"bus": 0.1})
    found = pack_currents(readings, PAIR)
    assert list(found) == ["pack 1", "pack 2"]
    rest = found["pack 2"]
    # The current of pack 1 holds for 5 s: at 7.1 s nothing is known of it.
    assert rest.t.tolist() == [0.5, 1.0, 7.0]
    assert rest.v.tolist() == [4.0, 3.0, 2.0]
    assert (rest.update_s, rest.resolution) == (0.5, 0.1)


EMPTY: tuple[list[float], list[float]] = ([], [])
ONE = ([0.0], [1.0])


@pytest.mark.parametrize(
    ("series", "craft", "known"),
    [
        ({"pack 1": ONE, "pack 2": ONE}, PAIR, True),
        ({"pack 1": ONE, "pack 2": EMPTY, "bus": ONE}, PAIR, True),
        ({"pack 1": ONE, "pack 2": EMPTY, "bus": EMPTY}, PAIR, False),
        ({"pack 1": ONE}, PAIR, False),
        ({"bus": ONE}, PAIR, False),
        ({"pack 1": ONE, "bus": ONE}, PAIR.model_copy(update={"bus": None}), False),
        ({"pack 1": ONE, "bus": ONE}, _craft("shared"), False),
        ({"pack 1": ONE, "bus": ONE}, _craft("shared", "shared", "shared"), False),
    ],
    ids=[
        "both", "rest", "no reading of the bus", "no bus current", "two missing", "no bus",
        "one pack", "two of three missing",
    ],
)  # fmt: skip
def test_which_currents_tell_shares(
    make_readings: Make, series: dict[str, Any], craft: Aircraft, known: bool
) -> None:
    found = pack_currents(make_readings({(p, A): x for p, x in series.items()}), craft)
    assert (found is not None) is known
    if not known:
        readings = make_readings({(p, A): x for p, x in series.items()})
        assert pack_shares(readings, craft, [(0.0, 16.0)]) == ()


def test_shares_are_exact_where_one_gives_all(make_readings: Make) -> None:
    one, two = pack_shares(_flows(make_readings, 2.0, 0.0), PAIR, [(0.0, 16.0)])
    assert (one.share, two.share) == (Interval.exact(1.0), Interval.exact(0.0))
