"""Logs with a known truth, straight from the simulator's table (no CSV between)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, infer_path
from telemetry.detect.activity import GRID_S, Activity
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import Reading, Readings, take_readings
from telemetry.simulate import (
    AircraftModel,
    Fault,
    NodeModel,
    PackModel,
    Pilot,
    Segment,
    SegmentKind,
    Sensor,
    ServoModel,
    SimulatedRecording,
    Telemetry,
    TelemetryUnit,
    move,
    simulate,
)

PLACES = ("bus", "left wing", "right wing", "tail")


def plan_of(text: str) -> tuple[Segment, ...]:
    """A plan in short: "rest 20, stir 10, rest 15, flight 240, pack-off 8 pack 1"."""
    out = []
    for part in text.split(","):
        kind, seconds, *pack = part.split(maxsplit=2)
        out.append(
            Segment(kind=SegmentKind(kind), seconds=float(seconds), pack=pack[0] if pack else "")
        )
    return tuple(out)


def as_log(rec: SimulatedRecording) -> Log:
    """The transmitter's table as a Log."""
    columns = rec.table.columns
    time_s = rec.table.time_s - rec.table.time_s[0]
    return Log(
        frame=pd.DataFrame(
            {c.key: c.values for c in columns}, index=pd.Index(time_s, name="time_s")
        ),
        channels=tuple(
            Channel(
                key=c.key,
                column=c.key,
                quantity=c.quantity,
                place=c.place,
                label=c.place,
                unit=c.unit,
                hold=c.hold,
            )
            for c in columns
        ),
        provenance=Provenance(
            file="invented.csv",
            sha256="",
            size_bytes=0,
            rows=time_s.size,
            recordings=((0.0, float(time_s[-1])),),
        ),
    )


@dataclass(frozen=True)
class Case:
    rec: SimulatedRecording
    log: Log
    aircraft: Aircraft
    readings: Readings


MakeCase = Callable[..., Case]
MakeReading = Callable[..., Reading]
MakeReadings = Callable[..., Readings]


def steps(*stretches: tuple[float, float], every_s: float = GRID_S) -> np.ndarray:
    """Seconds and level of each stretch, on a grid: that of four a second."""
    return np.concatenate([np.full(round(s / every_s), float(v)) for s, v in stretches])


def active(mean: np.ndarray, **more: object) -> Activity:
    """An activity made by hand: at rest at 0 A, without scatter; keywords replace its parts."""
    usual: dict[str, object] = {
        "t": GRID_S * np.arange(mean.size),
        "mean": mean,
        "scatter": np.zeros(mean.size),
        "fast": mean,
        "window_s": 2.0,
        "rest_a": 0.0,
        "rest_sigma": 0.0,
        "at_rest": True,
        "known": np.isfinite(mean),
    }
    return Activity(**(usual | more))  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def make_reading() -> MakeReading:
    """Readings of one channel made by hand: place, quantity, instants, values."""

    def make(
        place: str | None,
        quantity: Quantity,
        t: Sequence[float],
        v: Sequence[float] | float,
        *,
        update_s: float | None = 0.25,
        resolution: float | None = 0.01,
        hold: str = "",
    ) -> Reading:
        key = f"{place}/{quantity}{hold}"
        at = np.asarray(t, dtype=float)
        return Reading(
            channel=Channel(key=key, column=key, quantity=quantity, place=place, hold=hold),
            t=at,
            v=np.broadcast_to(np.asarray(v, dtype=float), at.shape).copy(),
            update_s=update_s,
            resolution=resolution,
        )

    return make


@pytest.fixture(scope="session")
def make_readings() -> MakeReadings:
    """What a log would have been read to: these channels, with nothing set aside."""

    def make(*channels: Reading, start_s: float = 0.0, end_s: float, **more: Any) -> Readings:
        bare = Readings(
            channels=channels,
            row_s=0.1,
            start_s=start_s,
            end_s=end_s,
            gaps=(),
            dropouts=(),
            spurious=(),
            off=(),
        )
        return replace(bare, **more)

    return make


@pytest.fixture(scope="session")
def make_case() -> MakeCase:
    def make(
        plan: str,
        *,
        seed: int = 1,
        faults: Sequence[Fault] = (),
        flight: int = 1,
        interval_s: float | None = None,
        row_s: float = 0.1,
        step_v: float = 0.01,
        step_a: float = 0.01,
        controls: Sequence[str] = (),
    ) -> Case:
        rng = np.random.default_rng(seed)
        model = AircraftModel(
            name="invented",
            packs=(PackModel(name="pack 1"), PackModel(name="pack 2")),
            nodes=tuple(NodeModel(name=p) for p in PLACES[1:]),
            servos=tuple(
                ServoModel(name=f"{p} {k}", node=p, control=c)
                for p, cs in (
                    ("left wing", ("aileron",) * 3),
                    ("right wing", ("aileron",) * 3),
                    ("tail", ("elevator", "elevator", "rudder")),
                )
                for k, c in enumerate(cs, 1)
            ),
        )

        def unit(place: str, *quantities: Quantity) -> TelemetryUnit:
            step = {Quantity.VOLTAGE: step_v, Quantity.CURRENT: step_a}
            return TelemetryUnit(
                place=place,
                interval_s=interval_s or float(rng.uniform(0.2, 0.5)),
                sensors=tuple(
                    Sensor(place=place, quantity=q, resolution=step.get(q, 1.0)) for q in quantities
                ),
            )

        basic = (Quantity.VOLTAGE, Quantity.CURRENT)
        units = [unit(p, *basic, Quantity.CONSUMED) for p in ("pack 1", "pack 2")]
        units += [unit(p, *basic) for p in PLACES]
        pilot = Pilot()
        rec = simulate(
            model,
            Telemetry(units=tuple(units), row_s=row_s, controls=tuple(controls)),
            move(plan_of(plan), pilot, pilot.day(rng), rng),
            rng,
            faults=tuple(faults),
            flight=flight,
        )
        log = as_log(rec)
        aircraft = infer_path(log)
        return Case(rec, log, aircraft, take_readings(log, aircraft.limits))

    return make
