"""The voltages of what feeds the aircraft."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.results.readings import Reading, Readings


def source_voltages(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    """Voltages [V] of the packs that are logged, else of the root; [] where none is."""
    packs = [readings.get(Quantity.VOLTAGE, p.name) for p in aircraft.packs]
    root = None if aircraft.root is None else readings.get(Quantity.VOLTAGE, aircraft.root)
    known = [r for r in packs if r is not None and r.size]
    return known or ([] if root is None or not root.size else [root])
