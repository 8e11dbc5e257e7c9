"""Steps of the resistance from pack to bus, on drops made by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import infer_path
from telemetry.channels import Channel, Quantity
from telemetry.log import Log, Provenance
from telemetry.power.steps import path_steps
from telemetry.readings import take_readings


def steps(rise_mohm: float, resolution_v: float, drift_v: float = 0.0) -> list[float]:
    """Rises found on 300 s of a pack behind 10 mOhm, read in steps of ``resolution_v``."""
    rng = np.random.default_rng(5)
    t = np.arange(0, 300, 0.2)
    amps = 0.3 + 2.0 * np.abs(np.convolve(rng.normal(size=t.size + 9), np.ones(10) / 5, "valid"))
    bus = 8.25 - drift_v * t / t[-1] - 0.02 * amps
    pack = bus + amps * np.where(t < 150, 0.010, 0.010 + rise_mohm / 1000)

    def read(v: np.ndarray) -> np.ndarray:
        return np.round(np.round(v / resolution_v) * resolution_v, 3)

    columns = {
        "pack 1/voltage": read(pack),
        "pack 1/current": np.round(amps, 2),
        "bus/voltage": read(bus),
    }
    log = Log(
        frame=pd.DataFrame(columns, index=t),
        channels=tuple(
            Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
            for k in columns
        ),
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=t.size),
    )
    craft = infer_path(log)
    return [s.rise_mohm for s in path_steps(take_readings(log, craft.limits), craft, ())]


@pytest.mark.parametrize("resolution_v", [0.01, 0.05])
def test_a_step_is_found_where_it_stands_out_of_the_sensors(resolution_v: float) -> None:
    (rise,) = steps(60.0, resolution_v)
    assert rise == pytest.approx(60.0, abs=12.0)


@pytest.mark.parametrize("drift_v", [0.03, 0.06, 0.1, 0.15])
def test_coarse_sensors_make_no_step(drift_v: float) -> None:
    """Steps of 50 mV let a drop of 20 mV come and go as the two voltages drift."""
    assert steps(0.0, 0.05, drift_v) == []
