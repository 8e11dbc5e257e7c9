"""The demo aircraft and every aircraft of the tests: physics, faults, sensors, CSV writers.

All of it is invented. Chance comes from the numpy Generators passed in, so that a seed gives the
same bytes again::

    motion = move(usual_plan(rng, pilot), pilot, pilot.day(rng), rng)
    recording = simulate(aircraft, telemetry, motion, rng, faults=(fault,), flight=7)
    write_csv("flight 7.csv", recording, dialect=Dialect())
"""

from telemetry.simulate.csvfile import write_csv, written_columns
from telemetry.simulate.demo import demo_season
from telemetry.simulate.dialect import Dialect, TimeForm, UnitStyle, random_dialect
from telemetry.simulate.faults import Fault, FaultKind
from telemetry.simulate.motion import Motion, move
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
from telemetry.simulate.pilot import (
    Day,
    Pilot,
    Segment,
    SegmentKind,
    usual_plan,
)
from telemetry.simulate.recording import Recording, Truth, simulate
from telemetry.simulate.sensors import Mode, Sensor, Telemetry, Unit

__all__ = [
    "AircraftModel",
    "Day",
    "Dialect",
    "Fault",
    "FaultKind",
    "Mode",
    "Motion",
    "NodeModel",
    "PackModel",
    "Pair",
    "Path",
    "PathKind",
    "Pilot",
    "Recording",
    "Segment",
    "SegmentKind",
    "Sensor",
    "ServoLaw",
    "ServoModel",
    "Telemetry",
    "TimeForm",
    "Truth",
    "Unit",
    "UnitStyle",
    "demo_season",
    "move",
    "random_dialect",
    "simulate",
    "usual_plan",
    "write_csv",
    "written_columns",
]
