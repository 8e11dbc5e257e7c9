"""The network against closed forms, Kirchhoff's laws and an equivalent-circuit battery library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from telemetry.simulate.parts import AircraftModel, NodeModel, PackModel, Pair, Path, PathKind
from telemetry.simulate.physics.chemistry import open_circuit_v
from telemetry.simulate.physics.network import Demand, NetworkSolution, solve
from telemetry.simulate.physics.truth import SourceTruth, in_parallel

Array = NDArray[np.float64]
STILL = 1e12  # mAh: charge and temperature stand still
DT = 0.01


def _pack(**changes: object) -> PackModel:
    """Half charged at 25 degC: all factors on its resistances are 1."""
    plain = PackModel(
        name="pack 1",
        cells=4,
        capacity_mah=STILL,
        r0_ohm=0.020,
        pairs=(Pair(ohm=0.010, tau_s=10.0),),
        lead_ohm=0.0,
        path=Path(kind=PathKind.DIRECT, ohm=0.0),
        heat_j_per_k=1e15,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def _solved(
    aircraft: AircraftModel,
    amps: Array,
    *,
    slope_s: Array | None = None,
    charge: float = 0.5,
    block_s: float = 5.0,
    pack_open: Array | None = None,
    dt_s: float = DT,
    branch_ohm: Array | None = None,
) -> NetworkSolution:
    """The machine under a given current at its last place (the bus where it has no nodes)."""
    n = amps.size
    places, packs = len(aircraft.places), len(aircraft.packs)
    constant, slope = np.zeros((places, n)), np.zeros((places, n))
    constant[-1] = amps
    if slope_s is not None:
        slope[-1] = slope_s
    branch = np.zeros((places, n))
    for i, node in enumerate(aircraft.nodes, 1):
        branch[i] = node.branch_ohm
    return solve(
        aircraft,
        Demand(
            constant_a=constant,
            slope_s=slope,
            electronics_a=np.array([0.0, *(x.electronics_a for x in aircraft.nodes)]),
            branch_ohm=branch if branch_ohm is None else branch_ohm,
            pack_open=np.zeros((packs, n), bool) if pack_open is None else pack_open > 0,
            lead_out=np.zeros((packs, n), bool),
            path_ohm=np.zeros((packs, n)),
            limit_a=np.stack([np.full(n, p.path.limit_a) for p in aircraft.packs]),
        ),
        charge={p.name: charge for p in aircraft.packs},
        ambient_c=25.0,
        dt_s=dt_s,
        block_s=block_s,
    )


def _step(seconds: float, amps: float, dt_s: float = DT) -> Array:
    """Nothing for one step, then a constant current."""
    values = np.full(round(seconds / dt_s) + 1, amps)
    values[0] = 0.0
    return values


def test_resistance_depends_on_when_it_is_read() -> None:
    # Closed form R(t) = R0 + R1 (1 - exp(-t / tau)), R0 20, R1 10 mOhm, tau 10 s. The numbers are
    # the closed form's, worked out by hand and confirmed by an ODE solver and a battery library.
    aircraft = AircraftModel(name="one pack", packs=(_pack(),), bus_a=0.0)
    volts = _solved(aircraft, _step(31.0, 20.0)).place_v[0]
    for after_s, expected in ((0.0, 20.0), (0.1, 20.0995), (1.0, 20.9516), (10.0, 26.3212)):
        read = 1000.0 * (volts[0] - volts[1 + round(after_s / DT)]) / 20.0
        assert read == pytest.approx(expected, abs=1e-4)
    assert 1000.0 * (volts[0] - volts[1 + 3000]) / 20.0 == pytest.approx(29.5021, abs=1e-4)


def test_truth_states_the_same_step_response() -> None:
    truth = SourceTruth(r0_ohm=0.020, pairs=(Pair(ohm=0.010, tau_s=10.0),))
    np.testing.assert_allclose(
        truth.mohm(np.array([0.1, 1.0, 10.0, 18.0, 30.0])),
        [20.0995, 20.9516, 26.3212, 28.3470, 29.5021],
        atol=1e-4,
    )


def test_pack_agrees_with_a_battery_library() -> None:
    # thevenin, an equivalent-circuit library with known parameters: one pack through loads and
    # rests, with its open-circuit voltage falling.
    thevenin = pytest.importorskip("thevenin")
    capacity_ah, cells = 2.0, 2
    charges = np.linspace(0, 1, 2001)
    curve = cells * open_circuit_v("lipo", charges)
    model = thevenin.Simulation(
        {
            "num_RC_pairs": 2,
            "soc0": 0.9,
            "capacity": capacity_ah,
            "ce": 1.0,
            "gamma": 0.0,
            "mass": 0.2,
            "isothermal": True,
            "Cp": 1000.0,
            "T_inf": 298.15,
            "h_therm": 10.0,
            "A_therm": 0.01,
            "ocv": lambda soc: float(np.interp(soc, charges, curve)),
            "M_hyst": lambda soc: 0.0,  # noqa: ARG005
            "R0": lambda soc, temp: 0.018,  # noqa: ARG005
            "R1": lambda soc, temp: 0.004,  # noqa: ARG005
            "C1": lambda soc, temp: 0.5 / 0.004,  # noqa: ARG005
            "R2": lambda soc, temp: 0.009,  # noqa: ARG005
            "C2": lambda soc, temp: 12.0 / 0.009,  # noqa: ARG005
        }
    )
    loads = (5.0, 0.5, 12.0, 2.0)
    experiment = thevenin.Experiment()
    for amps in loads:
        experiment.add_step("current_A", amps, (20.0, 0.1))
    solution = model.run(experiment)
    theirs_s, theirs_v = solution.vars["time_s"], solution.vars["voltage_V"]

    pack = _pack(
        cells=cells,
        capacity_mah=1000.0 * capacity_ah,
        r0_ohm=0.018,
        pairs=(Pair(ohm=0.004, tau_s=0.5), Pair(ohm=0.009, tau_s=12.0)),
    )
    aircraft = AircraftModel(name="one pack", packs=(pack,), bus_a=0.0)
    amps = np.repeat(loads, round(20.0 / DT))
    ours = _solved(aircraft, amps, charge=0.9)
    inside = theirs_s > 0.2  # the library's steps begin with a consistent-state instant
    for start in (0.0, 20.0, 40.0, 60.0):
        inside &= np.abs(theirs_s - start) > 0.05
    at = (theirs_s[inside] / DT).round().astype(int)
    keep = at < amps.size
    np.testing.assert_allclose(ours.pack_v[0][at[keep]], theirs_v[inside][keep], atol=1e-4)
    assert np.max(theirs_v[inside][keep]) - np.min(theirs_v[inside][keep]) > 0.35


def test_two_packs_share_by_their_resistances() -> None:
    # Two sources behind diodes: I1 = (E1 - E2 + R2 I) / (R1 + R2) while both conduct.
    diode = Path(kind=PathKind.DIODE, ohm=0.004, drop_v=0.03)
    one = _pack(pairs=(), r0_ohm=0.020, path=diode)
    two = _pack(name="pack 2", pairs=(), r0_ohm=0.032, path=diode)
    aircraft = AircraftModel(name="two packs", packs=(one, two), bus_a=0.0)
    solution = _solved(aircraft, np.full(10, 9.0))
    assert solution.pack_a[0] == pytest.approx(np.full(10, 9.0 * 0.036 / 0.060), abs=1e-6)
    assert solution.pack_a.sum(axis=0) == pytest.approx(np.full(10, 9.0), abs=1e-6)


def test_diodes_let_no_current_back_and_switches_do() -> None:
    low = _pack(name="pack 2", cells=3)
    for kind, back in ((PathKind.DIODE, False), (PathKind.DIRECT, True)):
        path = Path(kind=kind, ohm=0.004, drop_v=0.03)
        aircraft = AircraftModel(
            name="uneven", packs=(replace(_pack(), path=path), replace(low, path=path)), bus_a=0.0
        )
        weak = _solved(aircraft, np.full(10, 5.0)).pack_a[1]
        assert (weak < -1.0).all() if back else (weak == 0.0).all()


def test_standby_pack_feeds_only_when_the_other_is_gone() -> None:
    shared = Path(kind=PathKind.DIODE, ohm=0.004, drop_v=0.03)
    standby = replace(shared, standby_v=0.5)
    aircraft = AircraftModel(
        name="standby",
        packs=(replace(_pack(), path=shared), _pack(name="pack 2", path=standby)),
        bus_a=0.0,
    )
    gone = np.zeros((2, 400))
    gone[0, 200:] = 1.0
    solution = _solved(aircraft, np.full(400, 4.0), pack_open=gone)
    assert solution.pack_a[1, :200].max() == 0.0
    assert solution.pack_a[1, 201:] == pytest.approx(np.full(199, 4.0), abs=1e-6)
    assert solution.place_v[0, 300] < solution.place_v[0, 100] - 0.4


@pytest.mark.parametrize(
    ("amps", "expected_v"),
    [
        (5.0, 6.0 - 0.004 * 5.0),  # in regulation: set-point less its output resistance
        (14.0, 6.0 - 0.004 * 14.0 - 0.4 * 4.0),  # beyond its limit of 10 A it gives way
    ],
)
def test_regulator_holds_then_gives_way(amps: float, expected_v: float) -> None:
    path = Path(
        kind=PathKind.REGULATOR, ohm=0.01, drop_v=0.3, output_ohm=0.004, limit_a=10.0, limit_ohm=0.4
    )
    aircraft = AircraftModel(
        name="regulated", packs=(_pack(cells=2, path=path),), bus_a=0.0, bus_restart_v=1.0
    )
    bus = _solved(aircraft, np.full(20, amps)).place_v[0]
    assert bus == pytest.approx(np.full(20, expected_v), abs=1e-6)


def test_regulator_in_drop_out_follows_the_pack() -> None:
    path = Path(kind=PathKind.REGULATOR, ohm=0.01, drop_v=0.3, setpoint_v=7.6)
    aircraft = AircraftModel(name="regulated", packs=(_pack(cells=2, path=path),), bus_a=0.0)
    solution = _solved(aircraft, np.full(5, 5.0))
    expected = 2 * float(open_circuit_v("lipo", 0.5)) - 5.0 * 0.020 - 0.3 - 5.0 * 0.01
    assert solution.place_v[0, 0] == pytest.approx(expected, abs=1e-6)


def test_ohm_and_kirchhoff_hold_in_a_tree() -> None:
    nodes = (
        NodeModel(name="left wing", lead_ohm=0.030, connector_ohm=0.004),
        NodeModel(name="left wing outer", fed_from="left wing", lead_ohm=0.05, connector_ohm=0.006),
    )
    aircraft = AircraftModel(name="tree", packs=(_pack(cells=2),), nodes=nodes, bus_a=0.0)
    rng = np.random.default_rng(3)
    amps, slope = 1.0 + 3.0 * rng.random(600), 0.4 * rng.random(600)
    solution = _solved(aircraft, amps, slope_s=slope)
    bus, inner, outer = solution.place_v
    np.testing.assert_allclose(bus - inner, 0.034 * solution.place_a[1], atol=1e-12)
    np.testing.assert_allclose(inner - outer, 0.056 * solution.place_a[2], atol=1e-12)
    own = nodes[1].electronics_a + amps + slope * outer
    np.testing.assert_allclose(solution.place_a[2], own, atol=1e-9)
    np.testing.assert_allclose(
        solution.place_a[1], solution.place_a[2] + nodes[0].electronics_a, atol=1e-9
    )
    np.testing.assert_allclose(solution.pack_a[0], solution.place_a[0], atol=1e-4)


def test_charge_drawn_is_charge_lost() -> None:
    pack = _pack(capacity_mah=1500.0, cells=2)
    aircraft = AircraftModel(name="one pack", packs=(pack,), bus_a=0.0)
    amps = 2.0 + np.random.default_rng(5).random(6000) * 6.0
    solution = _solved(aircraft, amps, charge=0.8)
    drawn_mah = np.sum(solution.pack_a[0]) * DT / 3.6
    end = solution.pack_charge[0, -1] - solution.pack_a[0, -1] * DT / 3.6 / 1500.0
    assert (0.8 - end) * 1500.0 == pytest.approx(drawn_mah, rel=1e-9)
    assert drawn_mah == pytest.approx(np.sum(amps) * DT / 3.6, rel=1e-5)


def test_blocks_do_not_show() -> None:
    aircraft = AircraftModel(
        name="two packs", packs=(_pack(), _pack(name="pack 2", r0_ohm=0.03)), bus_a=0.0
    )
    amps = 3.0 + 10.0 * np.random.default_rng(7).random(3000)
    short, long = (_solved(aircraft, amps, block_s=b).place_v[0] for b in (0.7, 30.0))
    np.testing.assert_allclose(short, long, atol=1e-6)


def test_parallel_sources_answer_like_the_solver() -> None:
    packs = (
        _pack(r0_ohm=0.018, pairs=(Pair(ohm=0.004, tau_s=0.5), Pair(ohm=0.008, tau_s=12.0))),
        _pack(name="pack 2", r0_ohm=0.030, pairs=(Pair(ohm=0.012, tau_s=4.0),)),
    )
    ways = [SourceTruth(r0_ohm=p.r0_ohm, pairs=p.pairs) for p in packs]
    aircraft = AircraftModel(name="two packs", packs=packs, bus_a=0.0)
    volts = _solved(aircraft, _step(12.0, 10.0, 0.001), dt_s=0.001).place_v[0]
    at = np.array([0.0, 0.05, 0.5, 2.0, 11.0])
    read = 1000.0 * (volts[0] - volts[1 + (at / 0.001).round().astype(int)]) / 10.0
    np.testing.assert_allclose(in_parallel(ways).mohm(at), read, rtol=1e-4)


def test_equal_sources_in_parallel_halve() -> None:
    way = SourceTruth(r0_ohm=0.020, pairs=(Pair(ohm=0.010, tau_s=10.0),))
    at = np.array([0.0, 1.0, 10.0])
    np.testing.assert_allclose(in_parallel([way, way]).mohm(at), way.mohm(at) / 2, rtol=1e-9)


def test_a_unit_restarts_after_a_hole_in_its_supply() -> None:
    node = NodeModel(name="tail", boot_s=1.0)
    aircraft = AircraftModel(name="hole", packs=(_pack(cells=2),), nodes=(node,), bus_a=0.0)
    branch = np.zeros((2, 1000))
    branch[1] = node.branch_ohm
    branch[1, 300:310] = 1e4  # 0.1 s without contact
    solution = _solved(aircraft, np.full(1000, 2.0), branch_ohm=branch)
    assert [place for place, _ in solution.restarts] == [1]
    off = np.flatnonzero(~solution.on[1]) * DT
    assert off[0] == pytest.approx(3.01, abs=0.021)
    assert off[-1] - off[0] == pytest.approx(1.0, abs=0.02)
    # While it boots its servos are limp: only its own draw is left.
    assert solution.place_a[1, 350] == pytest.approx(node.electronics_a, rel=1e-6)
    assert solution.on[0].all()


def test_a_short_hole_is_ridden_through() -> None:
    node = NodeModel(name="tail")
    aircraft = AircraftModel(name="hole", packs=(_pack(cells=2),), nodes=(node,), bus_a=0.0)
    branch = np.full((2, 500), node.branch_ohm)
    branch[1, 300] = 1e4
    solution = _solved(aircraft, np.full(500, 2.0), branch_ohm=branch)
    assert solution.restarts == ()


def test_power_off_is_one_restart_not_many() -> None:
    aircraft = AircraftModel(name="off", packs=(_pack(cells=2),), bus_a=0.0)
    off = np.zeros((1, 3000))
    off[0, 500:2000] = 1.0
    solution = _solved(aircraft, np.full(3000, 2.0), pack_open=off)
    assert len(solution.restarts) == 1
    assert solution.place_v[0, 600:1900].max() < 1e-6
    assert solution.place_v[0, -1] > 7.0
    assert solution.on[0, -1]


def test_cold_and_age_raise_resistance() -> None:
    drops = []
    for age, ambient in ((1.0, 25.0), (1.5, 25.0), (1.0, 0.0)):
        pack = _pack(pairs=(), age=age)
        aircraft = AircraftModel(name="one pack", packs=(pack,), bus_a=0.0)
        n = 3
        demand = Demand(
            constant_a=np.full((1, n), 10.0),
            slope_s=np.zeros((1, n)),
            electronics_a=np.zeros(1),
            branch_ohm=np.zeros((1, n)),
            pack_open=np.zeros((1, n), bool),
            lead_out=np.zeros((1, n), bool),
            path_ohm=np.zeros((1, n)),
            limit_a=np.full((1, n), 99.0),
        )
        solved = solve(aircraft, demand, charge={"pack 1": 0.5}, ambient_c=ambient, dt_s=DT)
        drops.append(4 * float(open_circuit_v("lipo", 0.5)) - solved.place_v[0, 0])
    assert drops[0] == pytest.approx(0.2, abs=1e-6)
    assert drops[1] == pytest.approx(0.3, abs=1e-6)
    assert 0.34 < drops[2] < 0.42
