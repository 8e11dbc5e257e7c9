"""The faults that findings name as their causes."""

from __future__ import annotations

from enum import StrEnum


class CauseKind(StrEnum):
    """What may be at fault."""

    # Leads and contacts.
    CONTACT = "contact"
    LONGER_LEAD = "longer-lead"  # or thinner than what hangs on it, or its mirror, asks for
    TOO_FEW_PINS = "too-few-pins"
    # Readings.
    MISSED_PEAK = "missed-peak"  # of the current, between two of its readings
    FALSE_READING = "false-reading"
    CURRENT_SENSOR = "current-sensor"
    UNLIKE_SENSORS = "unlike-sensors"
    LOG_GAPS = "log-gaps"
    COUNTED_TWICE = "counted-twice"
    COUNTER_SCALE = "counter-scale"
    # Supply.
    REGULATOR_LIMIT = "regulator-limit"
    REGULATOR_HOT = "regulator-hot"
    REGULATOR_DRIFT = "regulator-drift"  # it holds another voltage than it was set to
    LOW_INPUT = "low-input"  # of a regulator: it drops out
    SUPPLY_PATH = "supply-path"  # switch, plug or lead between pack and bus
    FORWARD_DROP = "forward-drop"  # of a diode or switch
    SUPPLY_LOST = "supply-lost"
    LEVEL_IN_FORCE = "level-in-force"  # not that of this equipment
    UNIT_RESTARTED = "unit-restarted"
    SWITCHED_BY_HAND = "switched-by-hand"
    RESET_BY_HAND = "reset-by-hand"
    RAN_OVER = "ran-over"  # a counter that came to its end
    # Packs.
    WEAK_PACKS = "weak-packs"  # weak, cold or nearly empty
    COLD = "cold"
    AGED = "aged"
    COLD_OR_AGED = "cold-or-aged"  # which look alike on one day
    TOO_SMALL = "too-small"
    RAN_EMPTY = "ran-empty"
    NOT_CHARGED = "not-charged"
    LOST_CAPACITY = "lost-capacity"
    FAILED_CELL = "failed-cell"
    OTHER_CELLS = "other-cells"
    UNLIKE_CHARGE = "unlike-charge"
    UNLIKE_PACKS = "unlike-packs"  # of different kinds by design
    SET_POINTS = "set-points"
    PACK_PATH = "pack-path"
    BUILT_UNLIKE = "built-unlike"
    CUT_OFF = "cut-off"  # a pack's own protection, or its plug at the pack
    STANDS_BY = "stands-by"
    # Servos.
    BINDING = "binding"  # or stalled: against a stop, a stiff linkage, a blocked surface
    FIGHTING = "fighting"  # two servos of one surface against each other
    HUNTING = "hunting"
    FAILED_SERVO = "failed-servo"  # dead, unplugged, or without a signal
    LOOSE_LINKAGE = "loose-linkage"
    HOT_SERVO = "hot-servo"
    WORN_SERVO = "worn-servo"
    OTHER_SERVOS = "other-servos"
    MIRROR_AT_FAULT = "mirror-at-fault"
    CONSUMER = "consumer"  # a load that is no servo
    AIR_LOAD = "air-load"
    TRIM = "trim"
    RADIO_COMMANDS = "radio-commands"
    UNNOTED_CHANGE = "unnoted-change"
