"""Invented aircraft and their logs: physics, faults, sensors, CSV writers; the demo season.

All of it is invented. Chance comes from the numpy Generators passed in, so that a seed gives the
same bytes again::

    motion = move(usual_plan(rng, pilot), pilot, pilot.day(rng), rng)
    recording = simulate(aircraft, telemetry, motion, rng, faults=(fault,), flight=7)
    write_csv("flight 7.csv", recording, dialect=Dialect())

    season = replace(tern_season(), faults=...)
    for recording in fly(season):
        write_csv(f"{recording.truth.flight}.csv", recording, dialect=season.dialect)
"""

from telemetry.simulate.demo import demo_season
from telemetry.simulate.faults import Fault, FaultKind
from telemetry.simulate.parts import (
    AircraftModel,
    NodeModel,
    PackModel,
    Pair,
    Path,
    PathKind,
    ServoLaw,
    ServoModel,
)
from telemetry.simulate.physics.motion import Motion, move
from telemetry.simulate.pilot import Day, Pilot, Segment, SegmentKind, usual_plan
from telemetry.simulate.recording import SimulatedRecording, Truth, simulate
from telemetry.simulate.season import Habits, PlannedChange, Season, fly
from telemetry.simulate.telemetry.csvfile import write_csv, written_columns
from telemetry.simulate.telemetry.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.telemetry.sensors import Mode, Sensor, Telemetry, TelemetryUnit

__all__ = [
    "AircraftModel",
    "Day",
    "Dialect",
    "Fault",
    "FaultKind",
    "Habits",
    "Mode",
    "Motion",
    "NodeModel",
    "PackModel",
    "Pair",
    "Path",
    "PathKind",
    "Pilot",
    "PlannedChange",
    "Season",
    "Segment",
    "SegmentKind",
    "Sensor",
    "ServoLaw",
    "ServoModel",
    "SimulatedRecording",
    "Telemetry",
    "TelemetryUnit",
    "TimeForm",
    "Truth",
    "UnitStyle",
    "demo_season",
    "fly",
    "move",
    "simulate",
    "usual_plan",
    "write_csv",
    "written_columns",
]
