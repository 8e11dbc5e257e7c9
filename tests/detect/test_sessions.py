"""Clocks that jump: what is judged is bounded by the rows, not by what the clock says."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import infer_path
from telemetry.app.pipeline import review
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import PhaseKind


def _log(jump_s: float) -> Log:
    """Two minutes with a stir each, parted by a jump of the clock."""
    rng = np.random.default_rng(2)
    t = np.arange(0, 120, 0.1)
    amps = np.where((t >= 60) & (t < 75), 3 + rng.normal(0, 0.8, t.size), 0.5)
    amps = np.round(np.maximum(amps, 0.3) + 0.02 * rng.normal(size=t.size), 2)
    t, amps = np.r_[t, t + 120 + jump_s], np.r_[amps, amps]
    columns = {
        "bus/current": amps,
        "left wing/current": np.round(0.4 * amps, 2),
        "right wing/current": np.round(0.4 * amps, 2),
        "bus/voltage": np.round(6.0 - 0.03 * amps, 2),
    }
    channels = tuple(
        Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
        for k in columns
    )
    return Log(
        frame=pd.DataFrame(columns, index=pd.Index(t, name="time_s")),
        channels=channels,
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=t.size),
    )


@pytest.mark.parametrize("jump_s", [8 * 3600.0, 26 * 365.25 * 86400.0])
def test_a_clock_that_jumps_parts_two_sessions_and_costs_nothing(jump_s: float) -> None:
    log = _log(jump_s)
    tracemalloc.start()
    found = review(log, infer_path(log))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 50e6
    first, second = found.flights
    assert (first.start_s, second.start_s) == (0.0, 120.0 + jump_s)
    for flight in found.flights:
        (stir,) = [p for p in flight.phases if p.kind is PhaseKind.STIR]
        assert stir.start_s - flight.start_s == pytest.approx(60, abs=1.5)
        assert flight.duration_s == pytest.approx(120, abs=0.5)
    assert len(found.quality.gaps) == 1


def test_a_pause_of_minutes_parts_nothing() -> None:
    log = _log(1800.0)
    (bench,) = review(log, infer_path(log)).flights
    assert len(bench.stirs) == 2
