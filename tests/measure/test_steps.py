"""A step of the resistance from pack to bus: planted by hand, and none where none was planted."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.steps import path_steps
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import Readings, take_readings
from telemetry.results import OutKind, PackOut, PathStep

CRAFT = Aircraft.model_validate(
    {"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}], "nodes": []}
)
STEP_S = 250.0


def readings_of(
    before_mohm: float, after_mohm: float, *, seed: int = 1, step_v: float = 0.01
) -> Readings:
    """400 s at 10 Hz of two packs of equal share; the first one's path steps at 250 s."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 400.0, 0.1)
    amps = np.repeat(2.0 + rng.gamma(2.0, 2.0, t.size // 5), 5)
    bus = 7.6 - 0.01 * amps - 0.0004 * t
    ohm = np.where(t < STEP_S, before_mohm, after_mohm) / 1000
    columns = {
        "bus/voltage": bus,
        "pack 1/voltage": bus + ohm * amps / 2,
        "pack 2/voltage": bus + 0.030 * amps / 2,
        "pack 1/current": amps / 2,
        "pack 2/current": amps / 2,
    }
    steps = {"voltage": step_v, "current": 0.05}
    rounded = {
        k: np.round(v / steps[k.split("/")[1]]) * steps[k.split("/")[1]] for k, v in columns.items()
    }
    log = Log(
        frame=pd.DataFrame(rounded, index=pd.Index(t, name="time_s")),
        channels=tuple(
            Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
            for k in columns
        ),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=t.size),
    )
    return take_readings(log, CRAFT.limits)


def only(found: tuple[PathStep, ...]) -> PathStep:
    assert [s.place for s in found] == ["pack 1"]
    return found[0]


@pytest.mark.parametrize(("before", "after"), [(30.0, 70.0), (70.0, 30.0)])
def test_a_planted_step_is_dated_and_sized(before: float, after: float) -> None:
    step = only(path_steps(readings_of(before, after), CRAFT, ()))
    assert step.parent == "bus"
    assert step.time_s == pytest.approx(STEP_S, abs=4.0)
    assert step.before_mohm == pytest.approx(before, abs=2.0)
    assert step.rise_mohm == pytest.approx(after - before, abs=2.0)
    assert step.low_rise_mohm < after - before < step.high_rise_mohm
    assert step.high_rise_mohm - step.low_rise_mohm < 10.0
    assert step.rise_mohm == pytest.approx(0.5 * (step.low_rise_mohm + step.high_rise_mohm))


@pytest.mark.parametrize("seed", range(6))
def test_a_sound_path_has_none(seed: int) -> None:
    assert path_steps(readings_of(30.0, 30.0, seed=seed), CRAFT, ()) == ()


@pytest.mark.parametrize(
    ("before", "after", "told"), [(-15.0, -3.0, False), (-3.0, -15.0, False), (-15.0, 40.0, True)]
)
def test_a_path_of_less_than_no_resistance_shows_how_far_off_it_is(
    before: float, after: float, told: bool
) -> None:
    """What was measured is off by as much as it lies below none: of 55 mOhm by 15."""
    found = [s for s in path_steps(readings_of(before, after), CRAFT, ()) if s.place == "pack 1"]
    assert bool(found) is told
    assert all(s.low_rise_mohm == pytest.approx(55.0 - 15.0, abs=2.0) for s in found)


def test_a_step_within_the_steps_of_the_sensors_is_none() -> None:
    # 4 mOhm at 6 A and less: 24 mV, where both sensors tell 50 mV.
    assert path_steps(readings_of(30.0, 34.0, step_v=0.05), CRAFT, ()) == ()


def test_behind_a_regulator_there_is_no_resistance_to_judge() -> None:
    held = CRAFT.model_copy(update={"regulated_v": 7.0})
    assert path_steps(readings_of(30.0, 70.0), held, ()) == ()


def test_what_a_pack_shows_while_it_was_out_does_not_count() -> None:
    out = PackOut(
        place="pack 1",
        kind=OutKind.LOST,
        start_s=STEP_S,
        end_s=400.0,
        back=False,
        share_before=0.5,
        carried_a=8.0,
        bus_v=7.0,
        own_v=7.6,
    )
    assert path_steps(readings_of(30.0, 70.0), CRAFT, (out,)) == ()
