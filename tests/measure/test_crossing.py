"""A pack that the other one charges, and how near a case comes to a restart: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits
from telemetry.measure.supply.crossing import charged_packs
from telemetry.measure.supply.nearness import near_restart
from telemetry.model.channels import Quantity
from telemetry.results import Level, WorstCase

I = Quantity.CURRENT  # noqa: E741
PAIR = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
T = np.arange(0.0, 121.0)


def flows(into_a: float, seconds: float, taken_a: float = 1.0) -> dict[tuple[str, Quantity], tuple]:
    """The first pack gives what the bus takes and what flows into the second for some seconds."""
    into = np.where(seconds > T, into_a, 0.0)
    return {
        ("pack 1", I): (T, taken_a + into),
        ("pack 2", I): (T, -into),
        ("bus", I): (T, np.full(T.size, taken_a)),
    }


@pytest.mark.parametrize(
    ("into_a", "seconds", "told"),
    [
        (2.0, 60.0, True),  # 2 A for a minute are 33 mAh
        (0.9, 60.0, True),
        (0.75, 60.0, False),  # less than 0.8 A is no current into a pack
        (2.0, 19.0, True),  # 10.6 mAh
        (2.0, 17.0, False),  # 9.4 mAh
    ],
)
def test_a_pack_is_charged_by_ten_milliampere_hours(
    into_a: float, seconds: float, told: bool, make_readings
) -> None:
    found = charged_packs(make_readings(flows(into_a, seconds)), PAIR)
    assert set(found) == ({"pack 2"} if told else set())
    if told:
        assert found["pack 2"].amps == pytest.approx(into_a)
        assert found["pack 2"].seconds == pytest.approx(seconds)
        # A coulomb is an ampere second, 3.6 of them a milliampere hour (SI).
        assert found["pack 2"].mah == pytest.approx(into_a * seconds / 3.6)


@pytest.mark.parametrize(
    ("place", "factor", "told"),
    [
        ("pack 1", 0.85, True),  # 2 of 2.4 A: the other gives most of it
        ("pack 1", 0.45, False),  # 1.35 A for 2 A and what the bus takes
        ("bus", 1.9, True),  # 0.9 A more than both packs give: under half of 2 A
        ("bus", 2.1, False),
    ],
)
def test_a_sensor_that_is_off_charges_no_pack(
    place: str, factor: float, told: bool, make_readings
) -> None:
    made = flows(2.0, 60.0)
    t, v = made[place, I]
    made[place, I] = (t, v * factor)
    assert bool(charged_packs(make_readings(made), PAIR)) is told


def test_one_pack_alone_is_charged_by_none(make_readings) -> None:
    made = flows(2.0, 60.0)
    del made["pack 1", I]
    assert charged_packs(make_readings(made), PAIR) == {}


@pytest.mark.parametrize(
    ("voltage_v", "high_v", "level"),
    [
        (None, None, None),
        (-0.125, -0.0625, Level.GROUND),
        (0.0, 0.125, Level.GROUND),
        (0.0, 0.25, Level.WATCH),
        (0.25, 0.75, Level.WATCH),
        (0.25, 1.0, Level.CLEAR),
        (0.125, 2.0, Level.WATCH),
        (0.125, None, Level.GROUND),
        (0.25, None, Level.WATCH),
        (1.0, None, Level.CLEAR),
    ],
)
def test_even_the_highest_voltage_decides_to_ground(
    voltage_v: float | None, high_v: float | None, level: Level | None
) -> None:
    """Volts above a restart at 4 V; 0.25 V of margin ground, 1 V is to be watched."""
    case = WorstCase(
        case="one pack lost",
        current_a=20.0,
        voltage_v=None if voltage_v is None else 4.0 + voltage_v,
        low_v=None,
        high_v=None if high_v is None else 4.0 + high_v,
        note="",
    )
    limits = Limits(margin_ground_v=0.25, margin_watch_v=1.0)
    assert near_restart(case, 4.0, limits) is level
