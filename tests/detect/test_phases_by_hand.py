"""Phases of logs made by hand, in which the words of each rule tell what must come out.

The limits here are the project's own ("ours"): airborne from 8 m or 9 m/s, hops of 15 s at least,
pauses of 20 s, throttle open from a quarter of its range.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.phases import find_parts, phase_at
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import Phase, PhaseKind

HZ = 10
UNIT = {
    Quantity.CURRENT: "A",
    Quantity.ALTITUDE: "m",
    Quantity.SPEED: "m/s",
    Quantity.CONTROL: "%",
}
Column = tuple[str | None, Quantity]
BUS_A: Column = ("bus", Quantity.CURRENT)
HEIGHT: Column = (None, Quantity.ALTITUDE)
SPEED: Column = (None, Quantity.SPEED)


def log_of(columns: dict[Column, np.ndarray]) -> Log:
    size = next(iter(columns.values())).size
    time_s = np.arange(size) / HZ
    return Log(
        frame=pd.DataFrame(
            {f"{p}/{q}": v for (p, q), v in columns.items()},
            index=pd.Index(time_s, name="time_s"),
        ),
        channels=tuple(
            Channel(
                key=f"{p}/{q}", column=f"{p} {q}", quantity=q, place=p, label=p or "", unit=UNIT[q]
            )
            for p, q in columns
        ),
        provenance=Provenance(
            file="made.csv",
            sha256="",
            size_bytes=0,
            rows=size,
            recordings=((0.0, float(time_s[-1])),),
        ),
    )


def level(*stretches: tuple[float, float], step: float = 0.01) -> np.ndarray:
    """Seconds and level of each stretch; a last digit that moves."""
    values = np.concatenate([np.full(round(s * HZ), v) for s, v in stretches])
    return values + np.where(np.arange(values.size) % 2, 0.5 * step, -0.5 * step)


def lively(seconds: float, seed: int = 1) -> np.ndarray:
    """A current that never rests: 1 to 5 A, another one every half second."""
    rng = np.random.default_rng(seed)
    return np.repeat(rng.uniform(1.0, 5.0, round(2 * seconds)), HZ // 2)


def circling(*stretches: tuple[float, float], turn: float = 0.0) -> np.ndarray:
    """Seconds and reach of a stick that goes round once a second."""
    t = np.arange(round(sum(s for s, _ in stretches) * HZ)) / HZ
    reach = np.concatenate([np.full(round(s * HZ), r) for s, r in stretches])
    return np.round(reach * np.sin(2 * np.pi * t + turn), 1)


def found_in(columns: dict[Column, np.ndarray]) -> list[tuple[PhaseKind, float, float]]:
    """Phases that are no rest on the ground: kind, start and end."""
    craft = Aircraft(bus="bus")
    log = log_of(columns)
    parts = find_parts(log, take_readings(log, craft.limits), craft, craft.limits)
    return [
        (p.kind, p.start_s, p.end_s)
        for part in parts
        for p in part.phases
        if p.kind is not PhaseKind.GROUND
    ]


def flights_in(columns: dict[Column, np.ndarray]) -> list[tuple[float, float]]:
    return [(a, b) for kind, a, b in found_in(columns) if kind is PhaseKind.FLIGHT]


@pytest.mark.parametrize(("metres", "flies"), [(7.0, False), (9.5, True)])
def test_height_tells_a_flight_from_eight_metres(metres: float, flies: bool) -> None:
    # The field lies at 412 m: the ground is where the recording begins or ends.
    height = level((30, 412.0), (60, 412.0 + metres), (30, 412.0), step=0.1)
    found = flights_in({HEIGHT: height, BUS_A: level((120, 0.3))})
    assert bool(found) is flies
    if flies:
        assert found[0] == (pytest.approx(30.0, abs=0.3), pytest.approx(90.0, abs=0.6))


@pytest.mark.parametrize(("mps", "flies"), [(8.0, False), (11.0, True)])
def test_speed_tells_a_flight_from_nine_metres_a_second(mps: float, flies: bool) -> None:
    found = flights_in(
        {SPEED: level((30, 0.5), (60, mps), (30, 0.5), step=0.1), BUS_A: level((120, 0.3))}
    )
    assert bool(found) is flies


@pytest.mark.parametrize(
    ("pause_s", "flights"), [(12.0, [(30, 142)]), (28.0, [(30, 80), (108, 158)])]
)
def test_a_low_pass_of_some_seconds_is_no_landing(
    pause_s: float, flights: list[tuple[float, float]]
) -> None:
    height = level((30, 0.0), (50, 40.0), (pause_s, 2.0), (50, 40.0), (30, 0.0), step=0.1)
    found = flights_in({HEIGHT: height, BUS_A: level((height.size / HZ, 0.3))})
    assert [(round(a), round(b)) for a, b in found] == flights


def test_a_hop_of_some_seconds_is_no_flight() -> None:
    height = level((30, 0.0), (8, 20.0), (40, 0.0), (60, 20.0), (30, 0.0), step=0.1)
    found = flights_in({HEIGHT: height, BUS_A: level((168, 0.3))})
    assert [(round(a), round(b)) for a, b in found] == [(78, 138)]


def test_the_speed_of_the_wind_is_no_flight() -> None:
    wind: Column = ("wind", Quantity.SPEED)
    speed = level((30, 0.5), (60, 14.0), (30, 0.5), step=0.1)
    assert flights_in({wind: speed, BUS_A: level((120, 0.3))}) == []


@pytest.mark.parametrize(("open_pct", "flies"), [(-95.0, False), (40.0, True)])
def test_a_motor_that_never_ran_says_it_was_no_flight(open_pct: float, flies: bool) -> None:
    throttle: Column = ("throttle", Quantity.CONTROL)
    amps = np.concatenate([level((40, 0.3)), lively(120), level((60, 0.3))])
    # Opened fully for a moment at the end, so that its range is known.
    stick = level((40, -100.0), (120, open_pct), (40, -100.0), (4, 100.0), (16, -100.0), step=1.0)
    assert bool(flights_in({BUS_A: amps, throttle: stick})) is flies


def test_the_ground_between_two_flights_is_parted_in_its_longest_quiet_stretch() -> None:
    height = level((30, 0.0), (60, 40.0), (100, 0.0), (60, 40.0), (30, 0.0), step=0.1)
    # Between the flights: 15 s of rest, 20 s of movement, 65 s of rest, whose middle is at 157.5 s.
    amps = np.concatenate(
        [level((30, 0.3)), lively(60), level((15, 0.3)), lively(20, 2), level((65, 0.3)),
         lively(60, 3), level((30, 0.3))]
    )  # fmt: skip
    craft = Aircraft(bus="bus")
    log = log_of({HEIGHT: height, BUS_A: amps})
    parts = find_parts(log, take_readings(log, craft.limits), craft, craft.limits)
    assert [p.kind for p in parts] == ["flight", "flight"]
    assert parts[0].end_s == parts[1].start_s == pytest.approx(157.5, abs=2.0)


def test_movement_without_a_pause_before_take_off_belongs_to_the_flight() -> None:
    height = level((40, 0.0), (60, 40.0), (30, 0.0), step=0.1)
    aileron, elevator = (
        circling((29, 0.0), (10, 90.0), (91, 20.0), turn=turn) for turn in (0.0, 1.6)
    )
    columns = {
        HEIGHT: height,
        BUS_A: np.concatenate(
            [level((29, 0.3), (10, 3.0), (1, 0.6)), lively(60), level((30, 0.3))]
        ),
        ("aileron", Quantity.CONTROL): aileron,
        ("elevator", Quantity.CONTROL): elevator,
    }
    found = found_in(columns)
    assert [kind for kind, *_ in found] == [PhaseKind.FLIGHT]
    assert found[0][1] == pytest.approx(29.0, abs=1.5)


def test_without_any_current_the_sticks_tell() -> None:
    stretches = ((30, 0.0), (12, 95.0), (40, 0.0), (120, 50.0), (30, 0.0))
    sticks = {
        (name, Quantity.CONTROL): circling(*stretches, turn=turn)
        for name, turn in (("aileron", 0.0), ("elevator", 1.6), ("rudder", 0.8))
    }
    found = found_in(sticks)
    assert [kind for kind, *_ in found] == [PhaseKind.STIR, PhaseKind.FLIGHT]
    assert found[0][1:] == (pytest.approx(30.0, abs=1.5), pytest.approx(42.0, abs=1.5))
    assert found[1][1:] == (pytest.approx(82.0, abs=1.5), pytest.approx(202.0, abs=1.5))


def test_the_phase_at_an_instant() -> None:
    phases = (
        Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=10.0),
        Phase(kind=PhaseKind.STIR, start_s=10.0, end_s=20.0),
    )
    assert phase_at(phases, 9.99) is PhaseKind.GROUND
    assert phase_at(phases, 10.0) is PhaseKind.STIR
    assert phase_at(phases, 20.0) is PhaseKind.STIR, "the end of the last phase is its own"
    assert phase_at((), 1.0) is PhaseKind.GROUND


@pytest.mark.parametrize(("ripple", "stirs"), [(0.25, 1), (0.0, 0)], ids=["stir", "a second pump"])
def test_a_stir_beside_a_steady_load_is_one(ripple: float, stirs: int) -> None:
    """1.3 A of a pump and 1 A more: under two times the rest, but it swings as servos do."""
    amps = level((30, 1.3), (12, 2.3), (30, 1.3), step=0.02)
    stir = slice(30 * HZ, 42 * HZ)
    amps[stir] += ripple * np.sin(2.2 * np.pi * np.arange(12 * HZ) / HZ)
    log, craft = log_of({BUS_A: amps}), Aircraft(bus="bus")
    parts = find_parts(log, take_readings(log, craft.limits), craft, craft.limits)
    assert sum(p.kind is PhaseKind.STIR for p in parts[0].phases) == stirs
