"""Odd logs: empty, constant, blank, tiny or senseless columns give records or reasons, no error."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Servo, infer_path
from telemetry.measure.charge import measure_charge
from telemetry.measure.currents.work import nearest
from telemetry.measure.packs import pack_outs
from telemetry.measure.resistance import measure_resistances
from telemetry.measure.servos import measure_servos
from telemetry.measure.sharing import sharing_of
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import Phase, PhaseKind, as_dict

PLACES = ("pack 1", "pack 2", "bus", "left wing", "tail", "aileron", "rudder")
ELECTRIC = (Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED)


def odd_values(rng: np.random.Generator, n: int) -> np.ndarray:
    kind = int(rng.integers(0, 6))
    values = [
        np.full(n, 6.0),
        rng.normal(6, 1, n),
        np.round(rng.normal(6, 0.05, n), 1),
        np.cumsum(rng.random(n)),
        np.where(rng.random(n) < 0.5, np.nan, rng.normal(3, 1, n)),
        np.full(n, np.nan),
    ][kind]
    return np.repeat(values[::5], 5)[:n] if n >= 5 and rng.random() < 0.2 else values


@pytest.mark.parametrize("seed", range(150))
def test_records_or_reasons(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.choice([1, 2, 3, 10, 30, 200, 2000]))
    t = np.sort(np.round(rng.uniform(0, 0.2 * n, n), 2))
    columns = {
        (place, q): odd_values(rng, n)
        for place in PLACES
        for q in ((Quantity.CONTROL,) if place in PLACES[-2:] else ELECTRIC)
        if rng.random() > 0.25
    }
    log = Log(
        frame=pd.DataFrame({f"{p}/{q}": v for (p, q), v in columns.items()}, index=t - t[0]),
        channels=tuple(
            Channel(key=f"{p}/{q}", column=f"{p} {q}", quantity=q, place=p) for p, q in columns
        ),
        provenance=Provenance(file="odd.csv", sha256="", size_bytes=0, rows=n),
    )
    craft = infer_path(log)
    if rng.random() < 0.5:
        servo = Servo(node="tail", output=1, drives="rudder")
        craft = craft.model_copy(update={"servos": (servo,)})
    phases: tuple[Phase, ...] = ()
    if rng.random() < 0.7:
        phases = (
            Phase(kind=PhaseKind.GROUND, start_s=0, end_s=0.05 * n),
            Phase(kind=PhaseKind.FLIGHT, start_s=0.05 * n, end_s=0.2 * n),
        )
    readings = take_readings(log, craft.limits)
    outs = pack_outs(readings, craft, phases)
    resistances = measure_resistances(readings, craft, phases, outs)
    records = (
        *resistances,
        *measure_charge(readings, craft, phases, sharing_of(readings, craft, phases, outs)),
        *measure_servos(readings, craft, phases),
    )
    for record in records:
        numbers = [v for v in as_dict(record).values() if isinstance(v, float)]
        assert np.isfinite(numbers).all(), record
    for r in resistances:
        assert (r.mohm is None) == bool(r.refused)


def test_a_control_that_moved_by_next_to_nothing_drew_nothing() -> None:
    ramp = np.linspace(0.0, 1.0, 60)
    drawn = 0.4 + 2.0 * ramp
    design = np.stack([np.ones(60), ramp, 1e-320 * ramp, 5e-321 * ramp[::-1]], axis=1)
    assert nearest(drawn, design) == pytest.approx([0.4, 2.0, 0.0, 0.0])
