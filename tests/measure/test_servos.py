"""Servo shares from control columns: simulated aircraft with known servos."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Servo, infer_path
from telemetry.measure.servos import measure_servos
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import Phase, PhaseKind, ServoShare
from telemetry.simulate import SimulatedRecording, move, simulate, usual_plan
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft
from tests.simulated.oracle import condition_index

I, C = Quantity.CURRENT, Quantity.CONTROL  # noqa: E741
FLIGHT = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=1e9),)


def log_of(
    time_s: np.ndarray,
    columns: dict[tuple[str, Quantity], np.ndarray],
    control_unit: str = "%",
) -> Log:
    return Log(
        frame=pd.DataFrame({f"{p}/{q}": v for (p, q), v in columns.items()}, index=time_s),
        channels=tuple(
            Channel(
                key=f"{p}/{q}",
                column=f"{p} {q}",
                quantity=q,
                place=p,
                unit=control_unit if q is C else "",
            )
            for p, q in columns
        ),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=time_s.size),
    )


def stick(rng: np.random.Generator, n: int, hold: int = 8) -> np.ndarray:
    """A stick that moves to a new place every ``hold`` rows, along straight lines."""
    points = 100 * rng.uniform(-1, 1, n // hold + 2)
    return np.interp(np.arange(n), hold * np.arange(points.size), points)


def shares(log: Log, servos: tuple[Servo, ...] = (), phases: tuple[Phase, ...] = ()) -> list:
    craft: Aircraft = infer_path(log).model_copy(update={"servos": servos})
    return list(measure_servos(take_readings(log, craft.limits), craft, phases))


def made(
    seed: int = 1, rudder_follows: bool = False
) -> tuple[np.ndarray, dict[tuple[str, Quantity], np.ndarray]]:
    """Tail: 0.2 A at rest; elevator 4 mA per %/s and 5 mA per %, rudder 2 mA per %/s."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 240.0, 0.1)
    elevator, rudder = stick(rng, t.size), stick(rng, t.size, 13)
    if rudder_follows:
        rudder = 0.6 * elevator
    rate = [np.abs(np.diff(x, prepend=x[:1])) / 0.1 for x in (elevator, rudder)]
    amps = 0.2 + 0.004 * rate[0] + 0.002 * rate[1] + 0.005 * np.abs(elevator)
    amps = amps + 0.03 * rng.standard_normal(t.size)
    columns = {
        ("bus", Quantity.VOLTAGE): np.round(6 - 0.01 * amps, 3),
        ("tail", I): np.round(amps, 2),
        ("elevator", C): np.round(elevator, 1),
        ("rudder", C): np.round(rudder, 1),
    }
    return t, columns


def test_travel_and_hold_of_two_controls() -> None:
    t, columns = made()
    found = {s.drives: s for s in shares(log_of(t, columns), phases=FLIGHT)}
    elevator, rudder = found["elevator"], found["rudder"]
    assert elevator.place == "tail"
    assert elevator.travel_a_per_pct_s == pytest.approx(0.004, rel=0.05)
    assert rudder.travel_a_per_pct_s == pytest.approx(0.002, rel=0.08)
    assert elevator.hold_a_per_pct == pytest.approx(0.005, rel=0.1)
    assert rudder.hold_a_per_pct == pytest.approx(0.0, abs=0.0004)
    for s, truth in ((elevator, 0.004), (rudder, 0.002)):
        assert s.low is not None
        assert s.high is not None
        assert s.low * 0.97 <= truth <= s.high * 1.03
        assert s.condition_index < 30


def test_pulses_and_degrees_give_the_same_as_per_cent() -> None:
    # 500 us of pulse for the whole travel to one side (common practice, no source).
    t, columns = made()
    in_percent = {s.drives: s.travel_a_per_pct_s for s in shares(log_of(t, columns))}
    pulses = {k: 1500 + 5 * v if k[1] is C else v for k, v in columns.items()}
    degrees = {k: 0.4 * v if k[1] is C else v for k, v in columns.items()}  # 40 degrees at the end
    for log in (log_of(t, pulses, "us"), log_of(t, degrees, "deg")):
        for s in shares(log):
            assert s.travel_a_per_pct_s == pytest.approx(in_percent[s.drives], rel=0.05)


def test_slow_control_columns_widen_the_range_downwards() -> None:
    """Sticks that turn round within two readings of 0.8 s go further than their columns tell."""
    t, columns = made()
    rng = np.random.default_rng(5)
    # Each stick rests and works by turns, as between stir and flight.
    works = [(t // period) % 2 for period in (12.0, 17.0)]
    stirred = {
        ("elevator", C): works[0] * stick(rng, t.size, 4),
        ("rudder", C): works[1] * stick(rng, t.size, 5),
    }
    rate = [np.abs(np.diff(x, prepend=x[:1])) / 0.1 for x in stirred.values()]
    amps = np.round(0.2 + 0.004 * rate[0] + 0.002 * rate[1], 2)
    columns = {**columns, **stirred, ("tail", I): amps}
    slow = log_of(t[::8], {k: v[::8] for k, v in columns.items()})
    for s in shares(slow):
        truth = {"elevator": 0.004, "rudder": 0.002}[s.drives]
        assert s.low is not None
        assert s.high is not None
        assert s.low <= truth <= s.high
        assert s.high > 2 * s.low  # it says how little it knows


def test_on_the_ground_there_is_no_hold() -> None:
    t, columns = made()
    for s in shares(log_of(t, columns)):
        assert s.hold_a_per_pct is None


def test_controls_that_move_together_stay_one_group() -> None:
    t, columns = made(rudder_follows=True)
    (group,) = shares(log_of(t, columns))
    assert group.drives == "elevator + rudder"
    assert group.separable is False
    # Per unit of the mean rate: (0.004 + 0.002 * 0.6) / 0.8.
    assert group.travel_a_per_pct_s == pytest.approx(0.0065, rel=0.15)


def test_names_come_from_the_profile() -> None:
    t, columns = made()
    servos = (
        Servo(node="tail", output=1, drives="left elevator"),
        Servo(node="tail", output=2, drives="right elevator"),
        Servo(node="tail", output=3, drives="rudder"),
        Servo(node="left wing", output=1, drives="aileron"),
    )
    found = {s.drives: s for s in shares(log_of(t, columns), servos)}
    assert found["elevator"].outputs == ("1", "2")
    assert found["elevator"].separable is False  # two servos on one control
    assert found["rudder"].outputs == ("3",)
    assert found["rudder"].separable is True
    # A node whose servos follow no logged control gives nothing.
    only = (Servo(node="tail", output=1, drives="flap"),)
    assert shares(log_of(t, columns), only) == []


def test_without_node_currents_the_bus_tells() -> None:
    t, columns = made()
    columns["bus", I] = columns.pop(("tail", I))
    columns["left wing", Quantity.VOLTAGE] = columns["bus", Quantity.VOLTAGE] - 0.01
    servos = (
        Servo(node="tail", output=1, drives="elevator"),
        Servo(node="tail", output=2, drives="rudder"),
    )
    for profile in ((), servos):
        found = {s.drives: s for s in shares(log_of(t, columns), profile)}
        assert found["elevator"].place == "bus"
        assert found["elevator"].separable is bool(profile)
    # A lone pack does the same; of two packs neither does.
    lone = {("pack 1", I) if k == ("bus", I) else k: v for k, v in columns.items()}
    assert {s.place for s in shares(log_of(t, lone))} == {"pack 1"}
    assert shares(log_of(t, lone | {("pack 2", I): lone["pack 1", I] + 0.1})) == []


def test_controls_without_effect_are_not_named() -> None:
    # Without a profile every control may act everywhere: a third one that does nothing is left out.
    t, columns = made()
    columns["aileron", C] = np.round(stick(np.random.default_rng(9), t.size, 10), 1)
    assert {s.drives for s in shares(log_of(t, columns))} == {"elevator", "rudder"}


def test_without_control_columns_nothing_is_told() -> None:
    t, columns = made()
    bare = {k: v for k, v in columns.items() if k[1] is not C}
    assert shares(log_of(t, bare)) == []
    still = columns | {("elevator", C): np.zeros(t.size), ("rudder", C): np.zeros(t.size)}
    assert shares(log_of(t, still)) == []


def recorded(seed: int) -> SimulatedRecording:
    rng = np.random.default_rng(seed)
    aircraft = random_aircraft(rng)
    telemetry = random_telemetry(rng, aircraft, node_currents=True, controls=True)
    pilot = random_pilot(rng)
    motion = move(usual_plan(rng, pilot, flight_s=240), pilot, pilot.day(rng), rng)
    return simulate(aircraft, telemetry, motion, rng)


def test_no_refusal_where_the_truth_is_well_conditioned() -> None:
    """Nodes whose true regressors have a scaled condition index of at most 10: every control in the
    log gets a number, or an honest zero, and the strong ones lie above zero.
    """
    nodes = named = 0
    strongest_found = []
    for seed in range(5):
        rec = recorded(seed)
        columns = {
            (c.place, c.quantity): c.values for c in rec.table.columns if c.place and not c.hold
        }
        log = log_of(rec.table.time_s - rec.table.time_s[0], columns)
        servos = tuple(
            Servo(node=s.node, output=n, drives=s.control)
            for n, s in enumerate(rec.aircraft.servos)
        )
        found: list[ServoShare] = shares(log, servos, rec.truth.phases)
        for node in rec.aircraft.nodes:
            index = condition_index(rec, node.name)
            if index is None or index > 10 or ("aileron", C) not in columns:
                continue
            mine = {s.drives: s for s in found if s.place == node.name}
            logged = {s.control for s in rec.aircraft.servos_of(node.name)}
            logged &= {p for p, q in columns if q is C}
            nodes += 1
            named += set(mine) == logged
            for control in ("aileron", "elevator"):
                if control in mine:
                    strongest_found.append((mine[control].travel_a_per_pct_s or 0.0) > 0)
    assert nodes >= 10
    assert named == nodes
    assert np.mean(strongest_found) > 0.9
