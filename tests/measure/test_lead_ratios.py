"""Two mirrored leads held against each other, by means over blocks, planted by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.leads.ratios import drop_ratios
from telemetry.model.channels import Quantity
from telemetry.results import DropRatio

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "nodes": [
            {"name": "left wing", "fed_from": "bus", "mirror": "right wing"},
            {"name": "right wing", "fed_from": "bus"},
        ],
    }
)
SOUND, WORN = 0.03, 0.09  # Ohm


def flown(
    make_readings: Any,
    *,
    left: float,
    seed: int = 1,
    update_s: float = 0.5,
    currents: str = "left wing, right wing",
    stuck_a: float | None = None,
) -> Any:
    """Five minutes of manoeuvres of some seconds; units are read in turn, to 10 mV and 10 mA."""
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, 300.0, 0.05)
    work = np.convolve(rng.standard_normal(fine.size) ** 2, np.full(60, 1 / 60), "same")
    amps = {p: 0.2 + work * rng.uniform(0.9, 1.1) for p in ("left wing", "right wing")}
    if stuck_a is not None:
        amps = dict.fromkeys(amps, np.full(fine.size, stuck_a))
    bus = 7.4 - 0.03 * sum(amps.values())
    true = {("bus", U): bus, ("bus", I): 0.3 + sum(amps.values())}
    for place, ohm in (("left wing", left), ("right wing", SOUND)):
        true |= {(place, U): bus - ohm * amps[place], (place, I): amps[place]}
    table = {}
    for k, (key, x) in enumerate(true.items()):
        t = np.arange(0.1 * k % update_s, 300.0, update_s)
        read = np.interp(t, fine, x) + 0.004 * rng.standard_normal(t.size)
        if key[1] is U or key[0] in currents.split(", "):
            table[key] = (t, read.round(2))
    return make_readings(table, update_s=update_s, resolution=0.01)


def ratio(readings: Any) -> DropRatio | None:
    return next(iter(drop_ratios(readings, CRAFT, ())), None)


@pytest.mark.parametrize("currents", ["left wing, right wing", "bus"])
@pytest.mark.parametrize("update_s", [0.2, 0.5, 1.0])
def test_a_worn_lead_is_so_many_times_its_mirror(
    currents: str, update_s: float, make_readings: Any
) -> None:
    found = ratio(flown(make_readings, left=WORN, currents=currents, update_s=update_s))
    assert found is not None
    assert (found.place, found.mirror, found.parent) == ("left wing", "right wing", "bus")
    assert found.own is (currents != "bus")
    assert 1.7 < found.low_ratio < WORN / SOUND
    assert abs(found.ratio - WORN / SOUND) < 4 * found.error + 0.3
    if found.own:
        assert found.mohm == pytest.approx(1000 * WORN, rel=0.2)
        assert 10 < found.low_more_mohm < 1000 * (WORN - SOUND)


@pytest.mark.parametrize("currents", ["left wing, right wing", "bus"])
@pytest.mark.parametrize("seed", range(6))
def test_equal_leads_leave_equal_ones_open(currents: str, seed: int, make_readings: Any) -> None:
    found = ratio(flown(make_readings, left=SOUND, seed=seed, currents=currents))
    assert found is None or (found.low_ratio < 1.3 and found.low_more_mohm < 8.0)


def test_a_current_of_one_side_alone_or_none_that_moves_tells_nothing(make_readings: Any) -> None:
    assert ratio(flown(make_readings, left=WORN, currents="left wing, bus")) is None
    assert ratio(flown(make_readings, left=WORN, currents="")) is None
    still = ratio(flown(make_readings, left=WORN, stuck_a=0.5))
    assert still is None or still.low_ratio < 1.0


@pytest.mark.parametrize(("step_v", "told"), [(0.01, True), (0.2, False)])
def test_voltages_that_stand_within_their_steps_tell_no_ratio(
    step_v: float, told: bool, make_readings: Any
) -> None:
    # A calm flight: 60 mOhm more of some hundredths of an ampere stay within a step of 0.2 V.
    fine = flown(make_readings, left=WORN)
    coarse = {(r.place, I): (r.t, r.v) for r in fine.of(I)}
    coarse |= {(r.place, U): (r.t, (r.v / step_v).round() * step_v) for r in fine.of(U)}
    assert (ratio(make_readings(coarse, update_s=0.5, resolution=step_v)) is not None) is told


def test_a_feed_without_a_reading_tells_no_ratio(make_readings: Any) -> None:
    whole = flown(make_readings, left=WORN)
    table = {(r.place, q): (r.t, r.v) for q in (I, U) for r in whole.of(q)}
    table["bus", U] = (np.empty(0), np.empty(0))
    assert ratio(make_readings(table, update_s=0.5, resolution=0.01)) is None


def test_a_flight_of_two_minutes_at_a_reading_a_second_tells_a_ratio(make_readings: Any) -> None:
    """By the current of the whole both miss the same: blocks of three readings are enough."""
    whole = flown(make_readings, left=WORN, currents="bus", update_s=1.0)
    short = {(r.place, q): (r.t[:100], r.v[:100]) for q in (I, U) for r in whole.of(q)}
    found = ratio(make_readings(short, update_s=1.0, resolution=0.01))
    assert found is not None
    assert found.place == "left wing"
    assert found.low_ratio > 1.7
