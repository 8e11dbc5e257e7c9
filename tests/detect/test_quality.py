"""What a log can show: balance of currents by hand, dips it is sure to show, columns in use."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Limits, Node
from telemetry.detect.quality import columns_used, current_balance, judge_quality
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings

CURRENT = Quantity.CURRENT
CRAFT = Aircraft(
    bus="bus", nodes=(Node(name="left", fed_from="bus"), Node(name="right", fed_from="bus"))
)
T = 0.5 * np.arange(40)  # ten blocks of 2 s


@pytest.fixture
def balanced(make_reading, make_readings):
    def balance(total, left=1.0, right=2.0, *, t=T, aircraft=CRAFT, start_s=0.0, **more):
        rows = [make_reading("bus", CURRENT, t, total)]
        rows += [make_reading(p, CURRENT, T, v) for p, v in (("left", left), ("right", right))]
        rows += more.get("rows", [])
        return current_balance(make_readings(*rows, start_s=start_s, end_s=20.0), aircraft)

    return balance


def test_the_balance_is_the_total_less_the_nodes(balanced) -> None:
    """Blocks of 2 s: five of 3.5 A, then 3.3, 3.3, 3.8, 4.0, 9.0 A; the nodes take 3 A.

    Rests 0.3 0.3 0.5 0.5 0.5 0.5 0.5 0.8 1.0 6.0 A: median 0.5; deviations 0 (five times), 0.2,
    0.2, 0.3, 0.5, 5.5 A: median 0.1 A, which is 0.148 A for a normal distribution.
    """
    total = np.repeat([3.5] * 5 + [3.3, 3.3, 3.8, 4.0, 9.0], 4)
    middle, spread = balanced(total)
    assert middle == pytest.approx(0.5)
    assert spread == pytest.approx(0.14826, abs=1e-5)


@pytest.mark.parametrize("start_s", [0.0, 0.5])
def test_blocks_of_2_s_begin_with_the_recording(start_s: float, balanced) -> None:
    """A swing over 2 s is in no block; begun 0.5 s later it is not either, of whole blocks."""
    swing = np.tile([0.0, 2.0, 4.0, 6.0], 10)
    middle, spread = balanced(swing + 1.0, start_s=start_s)
    assert (middle, spread) == (pytest.approx(1.0), pytest.approx(0.0, abs=1e-9))


def test_readings_at_other_instants_are_compared_over_blocks(balanced) -> None:
    total = np.repeat([3.5, 5.5] * 5, 4)
    left = np.repeat([1.0, 3.0] * 5, 4)
    assert balanced(total[1::2], left, t=T[1::2] + 0.1) == (
        pytest.approx(0.5),
        pytest.approx(0.0, abs=1e-9),
    )


@pytest.mark.parametrize(("blocks", "known"), [(5, True), (4, False)])
def test_five_blocks_are_needed(blocks: int, known: bool, balanced) -> None:
    n = 4 * blocks
    assert (balanced(np.full(n, 3.5), t=T[:n]) != (None, None)) is known


@pytest.mark.parametrize(("blocks", "known"), [(5, True), (4, False)])
def test_five_of_them_with_all_nodes(blocks, known, make_reading, make_readings) -> None:
    n = max(4 * blocks, 10)
    rows = [make_reading("bus", CURRENT, T, 3.5), make_reading("left", CURRENT, T, 1.0)]
    rows.append(make_reading("right", CURRENT, T[:n], 2.0))
    found = current_balance(make_readings(*rows, end_s=20.0), CRAFT)
    assert (found != (None, None)) is known


@pytest.mark.parametrize(("size", "known"), [(10, True), (9, False)])
def test_ten_readings_of_each_node(size, known, make_reading, make_readings) -> None:
    at = T[::4][:size]
    rows = [make_reading("bus", CURRENT, T, 3.5), make_reading("left", CURRENT, T, 1.0)]
    rows.append(make_reading("right", CURRENT, at, 2.0))
    found = current_balance(make_readings(*rows, end_s=20.0), CRAFT)
    assert found == ((0.5, 0.0) if known else (None, None))


def test_all_nodes_are_needed_and_two_of_them(balanced, make_readings, make_reading) -> None:
    three = CRAFT.model_copy(update={"nodes": (*CRAFT.nodes, Node(name="tail", fed_from="bus"))})
    assert balanced(3.5, aircraft=three) == (None, None)
    one = CRAFT.model_copy(update={"nodes": CRAFT.nodes[:1]})
    assert balanced(3.5, aircraft=one) == (None, None)
    nodes = [make_reading(n, CURRENT, T, 1.0) for n in ("left", "right")]
    alone = current_balance(make_readings(*nodes, end_s=20.0), CRAFT)
    assert alone == (0.0, 0.0), "the total is their sum"


def test_only_nodes_on_the_root_count(balanced) -> None:
    listed = (Node(name="bus"), *CRAFT.nodes, Node(name="tip", fed_from="left"))
    assert balanced(3.5, aircraft=CRAFT.model_copy(update={"nodes": listed}))[0] == 0.5
    loose = Aircraft(nodes=(Node(name="left"), Node(name="right")))
    assert balanced(3.5, aircraft=loose)[0] == 0.0, "without a root all nodes are the whole"


def test_a_total_with_a_pause_leaves_those_blocks_out(balanced) -> None:
    keep = (T < 4) | (T >= 12)
    total = np.where(T < 4, 3.5, 4.0)
    middle, _ = balanced(total[keep], t=T[keep])
    # Two blocks of 0.5 A and four of 1.0 A; those between hold no total.
    assert middle == 1.0


# --- the record


def logged(make_reading, make_readings, *rows, row_s=0.1):
    log = Log(
        frame=pd.DataFrame({r.channel.key: [1.0, 2.0] for r in rows}, index=[0.0, 1.0]),
        channels=tuple(r.channel for r in rows),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=2),
    )
    return log, make_readings(*rows, end_s=2.0, row_s=row_s)


def test_the_shortest_sure_dip_is_the_longest_interval(make_reading, make_readings) -> None:
    rows = [
        make_reading(p, Quantity.VOLTAGE, (0.0, 1.0), (6.0, 6.0), update_s=s)
        for p, s in (("bus", 0.2), ("tail", 0.7), ("nose", None))
    ]
    current = make_reading("bus", CURRENT, (0.0, 1.0), (6.0, 6.0), update_s=3.0)
    log, readings = logged(make_reading, make_readings, *rows, current)
    quality = judge_quality(log, readings, Aircraft())
    assert (quality.shortest_sure_dip_s, quality.row_s) == (0.7, 0.1)
    assert (quality.balance_a, quality.balance_spread_a) == (None, None)
    log, readings = logged(make_reading, make_readings, current, row_s=float("nan"))
    quality = judge_quality(log, readings, Aircraft())
    assert (quality.shortest_sure_dip_s, quality.row_s) == (None, None)


@pytest.mark.parametrize("share", [1.0, 1.05, 0.5, 0.2])
def test_a_dip_of_that_length_is_sure_to_show_and_a_shorter_one_by_chance(share: float) -> None:
    """Of a dip of d read every T the chance is min(1, d / T); Monte Carlo over its start."""
    rng = np.random.default_rng(5)
    rows = np.arange(6000)  # every 0.1 s; the sensor brings a new value every 0.4 s
    volts = np.round(6.0 + 0.2 * rng.standard_normal(1500), 2).repeat(4)
    channel = Channel(
        key="bus voltage",
        column="bus voltage",
        quantity=Quantity.VOLTAGE,
        place="bus",
        unit="V",
    )
    log = Log(
        frame=pd.DataFrame({"bus voltage": volts}, index=0.1 * rows),
        channels=(channel,),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=6000),
    )
    readings = take_readings(log, Limits())
    sure_s = judge_quality(log, readings, Aircraft()).shortest_sure_dip_s
    assert sure_s == pytest.approx(0.4)
    dip_s = share * sure_s
    instants = 0.4 * np.arange(1500)  # at which the sensor read
    start = rng.uniform(0, 590, 100_000)
    seen = instants[np.searchsorted(instants, start)] < start + dip_s
    assert seen.mean() == pytest.approx(min(1.0, share), abs=0.006)


def test_which_columns_are_used(make_reading, make_readings) -> None:
    volts = make_reading("bus", Quantity.VOLTAGE, (0.0,), (6.0,), update_s=0.5, resolution=0.25)
    empty = make_reading("tail", Quantity.VOLTAGE, (), ())
    warm = make_reading("bus", Quantity.TEMPERATURE, (0.0,), (25.0,))
    time = make_reading(None, Quantity.TIME, (), ())
    log, readings = logged(make_reading, make_readings, volts, empty, warm, time)
    readings = make_readings(volts, empty, warm, end_s=2.0)
    found = columns_used(log, readings)
    assert [c.used for c in found] == [True, False, False, True]
    assert [(c.update_s, c.resolution) for c in found][::3] == [(0.5, 0.25), (None, None)]


def test_a_total_that_is_never_whole_has_no_balance(make_reading, make_readings) -> None:
    """One node tells something before the other begins: their sum is known nowhere."""
    rows = [make_reading("left", CURRENT, T, 1.0), make_reading("right", CURRENT, T + 90.0, 2.0)]
    assert current_balance(make_readings(*rows, end_s=120.0), CRAFT) == (None, None)
