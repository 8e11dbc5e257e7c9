"""The path as a circuit, against a dense nodal analysis and hand-worked circuits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.circuit.network import Line, load_ohm, loaded_v, place_volts, together_v


def test_operating_point_example() -> None:
    """Source 8.2 V, 30 mOhm, harness 35 mOhm: at 2, 10, 20 A the bus has 8.14, 7.90, 7.60 V
    (Ohm's law by hand); the node has 6.0 V at 33.846 A.
    """
    source = Line(8.2, 0.0, 0.030)
    assert [together_v([source], i) for i in (2, 10, 20)] == pytest.approx([8.14, 7.90, 7.60])
    amps = 33.846
    assert source.at(amps) - 0.035 * amps == pytest.approx(6.0, abs=1e-4)


def test_a_line_runs_through_the_point_at_which_it_was_measured() -> None:
    line = Line(7.4, 5.0, 0.04)
    assert line.at(5.0) == 7.4
    assert line.open_v == pytest.approx(7.6)


def test_equal_sources_share_and_a_low_one_gives_nothing() -> None:
    high, low = Line(8.0, 0, 0.05), Line(7.0, 0, 0.05)
    assert together_v([high, high], 10) == pytest.approx(8.0 - 0.025 * 10)
    assert together_v([high, low], 10) == pytest.approx(7.5), "the low one is held off"
    # At 40 A: (8 - U + 7 - U) / 0.05 = 40 -> U = 6.5; 30 A and 10 A.
    assert together_v([low, high], 40) == pytest.approx(6.5)


def test_a_source_without_resistance_holds_its_voltage() -> None:
    assert together_v([Line(7.0, 5.0, 0.0), Line(6.9, 0, 0.05)], 20) == pytest.approx(7.0, abs=1e-3)
    assert together_v([Line(7.0, 5.0, -0.01)], 20) == pytest.approx(7.0, abs=1e-3)


@given(
    st.lists(st.tuples(st.floats(5, 9), st.floats(0.005, 0.2)), min_size=1, max_size=4),
    st.floats(0, 60),
)
def test_currents_of_parallel_sources_add_up(
    sources: list[tuple[float, float]], amps: float
) -> None:
    lines = [Line(v, 0.0, r) for v, r in sources]
    volts = together_v(lines, amps)
    given_a = sum(max(0.0, (line.open_v - volts) / line.ohm) for line in lines)
    assert given_a == pytest.approx(amps, abs=1e-6)


@st.composite
def _trees(draw: st.DrawFn) -> tuple[list[int], list[float], list[float | None]]:
    """Parents (place 0 is the bus), branch resistances and servo resistances."""
    n = draw(st.integers(1, 7))
    parents = [draw(st.integers(0, i - 1)) for i in range(1, n)]
    branch = [draw(st.floats(0.001, 0.3)) for _ in range(1, n)]
    servos = [draw(st.none() | st.floats(0.3, 20)) for _ in range(n)]
    return parents, branch, servos


def _dense(
    source_v: float, source_ohm: float, tree: tuple[list[int], list[float], list[float | None]]
) -> np.ndarray:
    """Nodal analysis: G v = i, the textbook way."""
    parents, branch, servos = tree
    n = len(servos)
    g, i = np.zeros((n, n)), np.zeros(n)
    g[0, 0] += 1 / source_ohm
    i[0] = source_v / source_ohm
    for k, r in enumerate(servos):
        g[k, k] += 1e-9 if r is None else 1 / r
    for child, (parent, r) in enumerate(zip(parents, branch, strict=True), 1):
        for a, b in ((child, parent), (parent, child)):
            g[a, a] += 1 / r
            g[a, b] -= 1 / r
    return np.linalg.solve(g, i)


@given(_trees(), st.floats(4, 9), st.floats(0.005, 0.3))
def test_the_tree_is_that_of_a_dense_nodal_analysis(
    tree: tuple[list[int], list[float], list[float | None]], source_v: float, source_ohm: float
) -> None:
    parents, branch, servos = tree
    names = [str(k) for k in range(len(servos))]
    children = {p: [str(c) for c, q in enumerate(parents, 1) if str(q) == p] for p in names}
    branch_ohm = {str(c): r for c, r in enumerate(branch, 1)}
    servo_ohm = {str(k): r for k, r in enumerate(servos) if r is not None}
    load = load_ohm("0", children, branch_ohm, servo_ohm)
    bus_v = loaded_v(Line(source_v, 0.0, source_ohm).at, load, source_v)
    ours = place_volts("0", bus_v, children, branch_ohm, servo_ohm)
    assert [ours[k] for k in names] == pytest.approx(_dense(source_v, source_ohm, tree), rel=1e-6)


def test_a_supply_that_gives_way_meets_its_load_where_the_curves_cross() -> None:
    """6 V regulator limited to 10 A on 0.3 Ohm: 20 A would flow, so 10 A and 3 V."""

    def limited(amps: float) -> float:
        return 6.0 if amps < 10 else 6.0 - 1e6 * (amps - 10)

    assert loaded_v(limited, 0.3, 6.0) == pytest.approx(3.0, abs=1e-4)
    assert loaded_v(limited, float("inf"), 6.0) == 6.0


def test_a_dead_supply_leaves_nothing() -> None:
    assert loaded_v(lambda amps: -0.1 - amps, 1.0, 0.0) == 0.0


def test_a_voltage_falls_with_the_current_from_its_point() -> None:
    line = Line(7.4, 5.0, 0.04)
    assert line.at(10.0) == pytest.approx(7.2)
    assert line.at(2.5) == pytest.approx(7.5)
    assert Line(7.4, -5.0, 0.04).open_v == pytest.approx(7.2)


def test_three_sources_take_over_one_after_another() -> None:
    # Open at 8, 7 and 6 V, 0.1 Ohm each. Up to 10 A the first alone; then two: (15 - U) / ... at
    # 30 A (8 - U + 7 - U) / 0.1 = 30 -> 6 V; then all: at 45 A (21 - 3 U) / 0.1 = 45 -> 5.5 V.
    lines = [Line(6.0, 0, 0.1), Line(8.0, 0, 0.1), Line(7.0, 0, 0.1)]
    volts = [together_v(lines, i) for i in (0, 10, 20, 30, 45)]
    assert volts == pytest.approx([8.0, 7.0, 6.5, 6.0, 5.5])


def test_no_resistance_counts_as_a_microohm() -> None:
    assert together_v([Line(7.0, 0.0, 0.0)], 1e6) == pytest.approx(6.0)
    assert together_v([Line(7.0, 0.0, 1e-7)], 1e6) == pytest.approx(6.0)
    assert together_v([Line(7.0, 0.0, 2e-6)], 1e6) == pytest.approx(5.0)


CHILDREN = {"bus": ["wing", "tail"], "wing": ["tip"]}
BRANCH = {"wing": 0.5, "tail": 1.0, "tip": 2.0}


def test_a_tree_of_resistances_by_hand() -> None:
    # tip: 2 Ohm and 2 of servos; wing: 4 beside 4 of its own: 2; bus: 0.5 + 2 beside 1 + 4 beside
    # 5 of its own: 0.4 + 0.2 + 0.2 siemens.
    servos = {"tip": 2.0, "wing": 4.0, "tail": 4.0, "bus": 5.0}
    assert load_ohm("tip", CHILDREN, BRANCH, servos) == 2.0
    assert load_ohm("wing", CHILDREN, BRANCH, servos) == 2.0
    assert load_ohm("bus", CHILDREN, BRANCH, servos) == pytest.approx(1.25)
    # 10 V at the bus: wing 2 of 2.5, tail 4 of 5, tip half of the wing's.
    volts = place_volts("bus", 10.0, CHILDREN, BRANCH, servos)
    assert volts == pytest.approx({"bus": 10.0, "wing": 8.0, "tip": 4.0, "tail": 8.0})


def test_where_nothing_draws_nothing_falls() -> None:
    assert load_ohm("bus", CHILDREN, BRANCH, {}) == float("inf")
    assert load_ohm("tail", CHILDREN, BRANCH, {"bus": 1.0}) == float("inf")
    volts = place_volts("bus", 10.0, CHILDREN, BRANCH, {"tail": 4.0})
    assert volts == pytest.approx({"bus": 10.0, "wing": 10.0, "tip": 10.0, "tail": 8.0})
    assert load_ohm("bus", CHILDREN, BRANCH, {"tail": 4.0}) == pytest.approx(5.0)


def test_an_open_voltage_may_be_given_too_low_by_a_volt() -> None:
    # 8 V behind 0.1 Ohm on 7.9 Ohm: 7.9 V, also where only 7 V were said; and half across half.
    assert loaded_v(Line(8.0, 0.0, 0.1).at, 7.9, 8.0) == pytest.approx(7.9)
    assert loaded_v(Line(8.0, 0.0, 0.1).at, 7.9, 7.0) == pytest.approx(7.9)
    assert loaded_v(Line(8.0, 0.0, 0.1).at, 0.1, 8.0) == pytest.approx(4.0)
    assert loaded_v(lambda _: 0.0, 1.0, 8.0) == 0.0
    assert loaded_v(Line(8.0, 0.0, 0.1).at, float("inf"), 9.0) == 8.0
