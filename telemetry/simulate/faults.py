"""Faults: what goes wrong, since which flight, and how far it has come.

A fault has a level that is zero before its onset, ``start`` at the onset and grows by ``growth``
a flight from there, until the flight in which it is cured. The unit of the level depends on the
kind; it stands beside each.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

SERVO_WEAR_HOLD = 0.5  # a binding servo's holding current rises by this share of its moving one
SERVO_WEAR_REST = 0.15  # its rest current by this share of travel_a
SERVO_WEAR_STICK = 0.30  # and after a move it draws this share of travel_a until it lets go


class FaultKind(StrEnum):
    """What can be planted. The unit of ``level`` stands beside each."""

    SERVO_BINDING = "servo-binding"  # relative rise of the moving current
    SERVO_HEATING = "servo-heating"  # relative rise within a flight
    SERVO_HUNTING = "servo-hunting"  # factor added on its hunting at rest
    SERVO_SILENT = "servo-silent"  # 1: draws nothing
    CONNECTOR = "connector"  # Ohm added in a node's lead
    CONTACT = "contact"  # interruptions a minute of flight in a node's lead
    PACK_AGEING = "pack-ageing"  # relative rise of the pack's internal resistance
    PACK_COLD = "pack-cold"  # K below the air's temperature, all packs
    PACK_LOW = "pack-low"  # charge missing at the start, 0 to 1
    PACK_OUT = "pack-out"  # 1: its lead comes out in flight
    PACK_LEAD = "pack-lead"  # Ohm added in a pack's lead
    REGULATOR_LIMIT = "regulator-limit"  # relative loss of its current limit
    REGULATOR_HOT = "regulator-hot"  # relative loss of its current limit when warm
    SWITCH_STEP = "switch-step"  # Ohm added in one pack's path, at once
    BROWNOUT = "brownout"  # supply holes in the flight
    LINK_LOSS = "link-loss"  # losses in the flight
    SENSOR_OFFSET = "sensor-offset"  # V added to a voltage reading
    SENSOR_GAIN = "sensor-gain"  # relative error of a current reading
    SPURIOUS = "spurious"  # impossible readings in the recording


SERVO_KINDS = frozenset(
    {
        FaultKind.SERVO_BINDING,
        FaultKind.SERVO_HEATING,
        FaultKind.SERVO_HUNTING,
        FaultKind.SERVO_SILENT,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault of a season.

    Attributes
    ----------
    kind : FaultKind
    place : str
        Canonical place: the node of a servo or lead, the pack, "bus".
    servo : str
        Name of the servo, for servo faults.
    onset : int
        First flight with it, from 1.
    start, growth : float
        Level at the onset, and rise per flight from there.
    cured : int or None
        First flight without it again.
    """

    kind: FaultKind
    place: str
    servo: str = ""
    onset: int = 1
    start: float = 0.0
    growth: float = 0.0
    cured: int | None = None

    def level(self, flight: int) -> float:
        """How far it has come in this flight, in the unit of its kind."""
        if flight < self.onset or (self.cured is not None and flight >= self.cured):
            return 0.0
        return self.start + self.growth * (flight - self.onset)
