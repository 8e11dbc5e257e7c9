"""The end of a charge, told from what load alone pulls down: voltages made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.supply.knees import find_knees
from telemetry.model.channels import Quantity
from telemetry.results import Event, EventKind, Phase, PhaseKind

T = np.arange(0.0, 200.0, 1.0)
PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=40.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=40.0, end_s=180.0),
    Phase(kind=PhaseKind.GROUND, start_s=180.0, end_s=200.0),
)
AIRCRAFT = Aircraft(packs=(Pack(name="pack 1"),))


def slow_fall(start_s: float, reference_v: float) -> Event:
    return Event(
        kind=EventKind.SAG, place="pack 1", start_s=start_s, end_s=start_s + 8.0,
        reference_v=reference_v, residual_v=reference_v - 0.5, depth_v=0.5, slow=True,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("start_s", "usual", "later", "rest", "is_empty"),
    [
        (150.0, 7.4, 6.9, 7.1, True),
        (150.0, 7.4, 6.9, 7.38, False),  # it rests where it stood: load alone pulled it down
        (150.0, 7.4, 7.35, 7.1, False),  # it came back under load
        (42.0, 7.8, 7.4, 7.5, False),  # the first load of a flight
        (80.0, 7.4, 6.9, 7.1, False),  # most of the flight lies behind it
    ],
)
def test_a_slow_fall_is_the_end_of_a_charge(
    start_s: float, usual: float, later: float, rest: float, is_empty: bool, make_readings
) -> None:
    v = np.where(start_s > T, usual, later)
    v = np.where(T >= 180.0, rest, v)
    readings = make_readings({("pack 1", Quantity.VOLTAGE): (T, v)}, resolution=0.01)
    found = find_knees(readings, AIRCRAFT, PHASES, (), (slow_fall(start_s, usual),))
    assert bool(found) is is_empty


@pytest.mark.parametrize(
    ("after_v", "is_empty"), [(0.0, False), (0.14, False), (0.2, True), (0.4, True)]
)
def test_a_fall_that_goes_on_as_it_began_is_no_end_of_a_charge(
    after_v: float, is_empty: bool, make_readings
) -> None:
    """The whole flight falls by 5 mV a second; only what lies 2 % below that line is a knee."""
    v = 8.0 - 0.005 * np.maximum(T - 40.0, 0.0)
    v = np.where(T >= 150.0, v - after_v, v)
    v = np.where(T >= 180.0, v[179], v)
    readings = make_readings({("pack 1", Quantity.VOLTAGE): (T, v)}, resolution=0.01)
    fall = slow_fall(150.0, float(v[140]))
    assert bool(find_knees(readings, AIRCRAFT, PHASES, (), (fall,))) is is_empty


SECONDS = np.arange(0.0, 700.0, 1.0)


def emptied(depth_v: float, *, since_s: float = 450.0, back_v: float = 0.0) -> np.ndarray:
    """7.4 V that fall faster and faster up to 600 s, by ``depth_v`` in all."""
    far = np.clip((SECONDS - since_s) / (600.0 - since_s), 0.0, 1.0)
    return 7.4 - depth_v * far**2 + np.where(SECONDS > 600.0, back_v, 0.0)


def step(depth_v: float) -> np.ndarray:
    return np.where(SECONDS < 500.0, 7.4, 7.4 - depth_v)


@pytest.mark.parametrize(
    ("volts", "is_empty"),
    [
        (emptied(0.4), True),
        (emptied(0.32), True),
        (emptied(0.28), False),  # less than 4 % of 7.4 V
        (emptied(0.4, since_s=590.0), False),  # within two blocks of 5 s
        (emptied(0.4, back_v=0.08), True),
        (emptied(0.4, back_v=0.12), False),  # a quarter came back under load
        (step(0.4), False),
        (7.4 - 0.4 * SECONDS / 600.0, False),  # as fast as it was from the start
    ],
)
def test_a_pack_that_falls_faster_and_faster_is_empty(
    volts: np.ndarray, is_empty: bool, make_readings
) -> None:
    readings = make_readings({("pack 1", Quantity.VOLTAGE): (SECONDS, volts)}, resolution=0.01)
    found = find_knees(readings, AIRCRAFT, (), (), ())
    assert bool(found) is is_empty
    for knee in found:
        assert knee.place == "pack 1"
        assert knee.depth_v == pytest.approx(7.4 - volts.min(), abs=0.03)
        assert knee.end_v == pytest.approx(float(volts.min()), abs=0.03)
        # It leaves its line by 1 % of 7.4 V at 7.326 V.
        assert knee.before_v == pytest.approx(7.326, abs=0.03)
        assert 450.0 < knee.start_s < 540.0


@pytest.mark.parametrize(("times", "is_empty"), [(1.0, True), (1.3, True), (1.5, False)])
def test_a_load_that_rose_may_have_pulled_the_voltage_down(
    times: float, is_empty: bool, make_readings
) -> None:
    amps = np.where(SECONDS < 510.0, 4.0, 4.0 * times)
    series = {
        ("pack 1", Quantity.VOLTAGE): (SECONDS, emptied(0.4)),
        ("bus", Quantity.CURRENT): (SECONDS, amps),
    }
    readings = make_readings(series, resolution=0.01)
    assert bool(find_knees(readings, AIRCRAFT, (), (), ())) is is_empty
