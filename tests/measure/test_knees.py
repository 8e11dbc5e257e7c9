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


@pytest.mark.parametrize("after_v", [0.0, 0.4])
def test_a_fall_that_goes_on_as_it_began_is_no_end_of_a_charge(
    after_v: float, make_readings
) -> None:
    """The whole flight falls by 5 mV a second; only what lies well below that line is a knee."""
    v = 8.0 - 0.005 * np.maximum(T - 40.0, 0.0)
    v = np.where(T >= 150.0, v - after_v, v)
    v = np.where(T >= 180.0, v[179], v)
    readings = make_readings({("pack 1", Quantity.VOLTAGE): (T, v)}, resolution=0.01)
    fall = slow_fall(150.0, float(v[140]))
    assert bool(find_knees(readings, AIRCRAFT, PHASES, (), (fall,))) is (after_v > 0.0)
