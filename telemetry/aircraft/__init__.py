"""The aircraft: what feeds what, and the limits in force.

Where the user has no profile, :func:`infer_path` reads the path from the places of the log: packs
feed the bus, the bus feeds nodes and receivers. :mod:`telemetry.aircraft.profile` reads profiles.
"""

from __future__ import annotations

from telemetry.aircraft.inferring import completed, completed_from, infer_path
from telemetry.aircraft.limits import Limits
from telemetry.aircraft.parts import CELL_V, Connector, Lead, Node, Pack, PackLabel, Servo, Supply
from telemetry.aircraft.path import Aircraft

__all__ = [
    "CELL_V",
    "Aircraft",
    "Connector",
    "Lead",
    "Limits",
    "Node",
    "Pack",
    "PackLabel",
    "Servo",
    "Supply",
    "completed",
    "completed_from",
    "infer_path",
]
