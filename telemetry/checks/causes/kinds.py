"""The faults that findings name as their causes."""

from __future__ import annotations

from enum import StrEnum


class CauseKind(StrEnum):
    """What may be at fault."""

    CONTACT = "contact"
    LONGER_LEAD = "longer-lead"
    MISSED_PEAK = "missed-peak"  # of the current, between two of its readings
    FALSE_READING = "false-reading"
    CURRENT_SENSOR = "current-sensor"
    REGULATOR_LIMIT = "regulator-limit"
    LOW_INPUT = "low-input"
    SUPPLY_PATH = "supply-path"  # switch, plug or lead between pack and bus
    UNLIKE_SENSORS = "unlike-sensors"
    WEAK_PACKS = "weak-packs"
    LEVEL_IN_FORCE = "level-in-force"  # not that of this equipment
    SUPPLY_LOST = "supply-lost"
    RESET_BY_HAND = "reset-by-hand"
    RAN_EMPTY = "ran-empty"
    COLD_OR_AGED = "cold-or-aged"
    OTHER_CELLS = "other-cells"
    UNLIKE_CHARGE = "unlike-charge"
    SET_POINTS = "set-points"
    PACK_PATH = "pack-path"
    CUT_OFF = "cut-off"  # a pack's own protection, or its plug at the pack
