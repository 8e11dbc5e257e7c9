"""Two packs held against one another: voltages of known cells, made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.supply.twins import pack_twins
from telemetry.model.channels import Quantity
from telemetry.results import PackTwins

STEP_S, SLOW_S = 0.2, 15.0
T = np.arange(0.0, 240.0, STEP_S)
AIRCRAFT = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))


def held_against(
    make_readings,
    *,
    other: tuple[float, float],
    own: tuple[float, float] = (0.02, 0.01),
    noise_v: float = 0.004,
    seconds: float = 240.0,
    slipped_a: float | None = None,
    aircraft: Aircraft = AIRCRAFT,
) -> tuple[PackTwins, ...]:
    """Packs of an Ohm at once and one after some seconds, under a load that moves all the time."""
    rng = np.random.default_rng(7)
    amps = 1.0 + 4.0 * np.repeat(rng.random(T.size // 15 + 1) ** 2, 15)[: T.size]
    keep = np.exp(-STEP_S / SLOW_S)
    slowed = lfilter([1 - keep], [1, -keep], amps)
    inside = seconds >= T
    columns = {}
    for name, (fast, slow) in (("pack 1", own), ("pack 2", other)):
        v = 8.3 - 0.0008 * T - fast * amps - slow * slowed
        v = v + noise_v * rng.standard_normal(T.size)
        columns[name, Quantity.VOLTAGE] = (T[inside], np.round(v, 2)[inside])
        logged = amps.copy()
        if slipped_a is not None and name == "pack 1":
            logged[600] = slipped_a
        columns[name, Quantity.CURRENT] = (T[inside], logged[inside])
    return pack_twins(make_readings(columns, resolution=0.01, update_s=STEP_S), aircraft, (), ())


def test_the_ratio_is_known_better_than_either_resistance(make_readings) -> None:
    (found,) = held_against(make_readings, other=(0.04, 0.02))
    assert (found.place, found.compared_with) == ("pack 2", "pack 1")
    assert found.times == pytest.approx(2.0, rel=0.05)
    assert found.low_times < 2.0 < found.high_times < 1.15 * found.low_times


def test_one_false_reading_of_a_current_turns_no_ratio(make_readings) -> None:
    (sound,) = held_against(make_readings, other=(0.04, 0.02))
    (found,) = held_against(make_readings, other=(0.04, 0.02), slipped_a=40.0)
    assert found.times == pytest.approx(sound.times, rel=0.02)
    assert found.high_times < 1.15 * found.low_times


def test_the_higher_one_is_named_whichever_it_is(make_readings) -> None:
    (found,) = held_against(make_readings, own=(0.05, 0.02), other=(0.025, 0.01))
    assert found.place == "pack 1"
    assert found.times == pytest.approx(2.0, rel=0.05)


def test_cells_answer_for_seconds_and_copper_at_once(make_readings) -> None:
    (cells,) = held_against(make_readings, other=(0.06, 0.03))
    (plug,) = held_against(make_readings, other=(0.08, 0.01))
    assert cells.slow_part == pytest.approx(0.5, abs=0.15)
    assert plug.slow_part == pytest.approx(0.0, abs=0.1)
    assert cells.low_slow_part > plug.high_slow_part


def test_noise_widens_the_interval(make_readings) -> None:
    (calm,) = held_against(make_readings, other=(0.04, 0.02))
    (noisy,) = held_against(make_readings, other=(0.04, 0.02), noise_v=0.1)
    assert noisy.high_times / noisy.low_times > 1.2 * calm.high_times / calm.low_times
    assert noisy.low_times < 2.0 < noisy.high_times


@pytest.mark.parametrize(
    ("seconds", "roles"),
    [(3.0, ("shared", "shared")), (240.0, ("shared", "standby"))],
)
def test_nothing_is_held_against_a_pack_that_stands_by_or_for_seconds(
    seconds: float, roles: tuple[str, str], make_readings
) -> None:
    packs = tuple(Pack(name=f"pack {n}", role=role) for n, role in enumerate(roles, 1))
    craft = Aircraft(packs=packs)
    found = held_against(make_readings, other=(0.04, 0.02), seconds=seconds, aircraft=craft)
    assert found == ()
