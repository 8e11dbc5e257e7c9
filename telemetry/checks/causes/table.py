"""The table fault by sign: how a log's signs weigh for and against each cause."""

from __future__ import annotations

from collections.abc import Mapping

from telemetry.checks.causes import pack_signs, servo_signs, signs
from telemetry.checks.causes.kinds import CauseKind as C
from telemetry.checks.causes.signs import Look

#: What a sign adds to a cause where it is there, and where it is surely absent: 1 is a hint,
#: 2 weighs, 3 decides (heuristic: as an expert would).
Weight = tuple[int, int]

TABLE: Mapping[C, Mapping[Look, Weight]] = {
    # Leads and contacts.
    C.CONTACT: {
        signs.alone: (2, -2),
        signs.repeated: (1, 0),
        signs.several_readings: (1, 0),
        signs.confirmed: (1, -1),
        signs.wire_known: (1, 0),
        signs.mirror_lower: (2, 0),
        signs.steady: (-1, 0),
        signs.grew: (2, 0),
        signs.fell_unexplained: (3, 0),
        signs.sensor_reads_low: (-2, 2),
        pack_signs.way_open: (2, 0),
        pack_signs.own_dead: (-1, 0),
    },
    C.LONGER_LEAD: {
        signs.wire_known: (-2, 0),
        signs.mirror_lower: (-1, 0),
        signs.steady: (1, 0),
        signs.grew: (-3, 0),
        signs.fell_unexplained: (-1, 0),
    },
    C.TOO_FEW_PINS: {},
    # Readings.
    C.MISSED_PEAK: {
        signs.slow_current: (2, -2),
        signs.loaded: (1, -1),
        signs.several_readings: (-1, 1),
    },
    C.FALSE_READING: {
        signs.several_readings: (-2, 1),
        signs.repeated: (-2, 0),
        signs.still_reports: (2, 0),
        signs.confirmed: (-3, 3),
        pack_signs.knee: (-2, 0),
    },
    C.CURRENT_SENSOR: {
        signs.sensor_reads_low: (3, -3),
        pack_signs.way_open: (-2, 0),
        pack_signs.own_dead: (-2, 0),
        servo_signs.beyond_a_sensor: (-2, 0),
        servo_signs.drop_agrees: (-1, 3),
        servo_signs.rests_alike: (-1, 0),
        servo_signs.wholly_silent: (0, -2),
        servo_signs.rest_fell: (-1, 1),
    },
    C.UNLIKE_SENSORS: {signs.grew: (-2, 0)},
    C.LOG_GAPS: {},
    C.COUNTED_TWICE: {},
    C.COUNTER_SCALE: {},
    # Supply.
    C.REGULATOR_LIMIT: {
        signs.loaded: (2, -2),
        pack_signs.regulated: (1, -3),
        pack_signs.in_limit: (3, 0),
        pack_signs.ran_hot: (-1, 1),
        pack_signs.dropped_out: (-3, 0),
    },
    C.REGULATOR_DRIFT: {},  # flights together tell it
    C.REGULATOR_HOT: {
        pack_signs.regulated: (1, -3),
        pack_signs.ran_hot: (4, -3),
        pack_signs.dropped_out: (-2, 0),
        signs.late: (1, -1),
    },
    C.LOW_INPUT: {
        pack_signs.regulated: (1, -3),
        pack_signs.dropped_out: (3, -3),
        pack_signs.pack_low: (1, -1),
        pack_signs.ran_hot: (-1, 0),
    },
    C.SUPPLY_PATH: {
        signs.loaded: (-1, 1),
        signs.grew: (2, 0),
        pack_signs.regulated: (-1, 1),
        pack_signs.in_packs: (-2, 2),
        signs.mirror_lower: (2, 0),
        pack_signs.in_limit: (-2, 0),
        pack_signs.ran_hot: (-2, 0),
        pack_signs.dropped_out: (-1, 0),
    },
    C.FORWARD_DROP: {},
    C.SUPPLY_LOST: {
        signs.alone: (-2, 2),
        signs.confirmed: (1, -1),
        signs.packs_fell: (1, -1),
    },
    C.LEVEL_IN_FORCE: {signs.level_told: (-2, 0), signs.low_always: (1, -1)},
    C.UNIT_RESTARTED: {},
    C.SWITCHED_BY_HAND: {signs.on_the_ground: (2, -2)},
    C.RESET_BY_HAND: {signs.on_the_ground: (2, -2), signs.of_a_clock: (-3, 0)},
    C.RAN_OVER: {signs.ran_over: (3, 0)},
    # Packs.
    C.WEAK_PACKS: {
        signs.late: (1, -1),
        signs.packs_fell: (1, -1),
        pack_signs.in_packs: (2, -2),
        pack_signs.pack_low: (2, -2),
        pack_signs.pack_at_fault: (3, 0),
        pack_signs.knee: (2, 0),
    },
    C.COLD: {pack_signs.cold_day: (3, -3), pack_signs.alike_in_all: (1, 0)},
    C.AGED: {pack_signs.cold_day: (-1, 3), pack_signs.above_sound: (1, 0)},
    C.COLD_OR_AGED: {
        signs.late: (-1, 0),
        signs.low_always: (1, 0),
        pack_signs.source_apart: (2, -2),
        pack_signs.relaxes: (3, -3),
        pack_signs.alike_in_all: (1, 0),
        pack_signs.above_sound: (2, 0),
        pack_signs.knee: (-1, 0),
    },
    C.TOO_SMALL: {pack_signs.above_sound: (-2, 1)},
    C.RAN_EMPTY: {
        signs.late: (2, -2),
        signs.low_always: (-1, 1),
        pack_signs.knee: (3, 0),
        pack_signs.counter_carried: (2, -1),
    },
    C.NOT_CHARGED: {
        pack_signs.full_of_a_kind: (0, 1),
        pack_signs.rest_apart: (1, 0),
        pack_signs.counter_carried: (-1, 1),
    },
    C.LOST_CAPACITY: {},
    C.FAILED_CELL: {pack_signs.knee: (-1, 0)},
    C.OTHER_CELLS: {
        signs.low_always: (1, -1),
        pack_signs.cells_told: (-3, 0),
        pack_signs.knee: (-2, 0),
        pack_signs.full_of_a_kind: (1, 0),
    },
    C.UNLIKE_CHARGE: {
        pack_signs.rest_apart: (3, -3),
        pack_signs.lies_below: (1, -1),
        pack_signs.path_apart: (-1, 0),
    },
    C.UNLIKE_PACKS: {pack_signs.full_of_a_kind: (2, -2)},
    C.SET_POINTS: {pack_signs.regulated: (1, -3)},
    C.PACK_PATH: {
        signs.grew: (2, 0),
        signs.fell_unexplained: (2, 0),
        pack_signs.path_apart: (3, -1),
        pack_signs.relaxes: (-3, 3),
        pack_signs.alike_in_all: (-1, 0),
        pack_signs.rest_apart: (-1, 0),
    },
    C.BUILT_UNLIKE: {signs.grew: (-3, 0), signs.fell_unexplained: (-1, 0)},
    C.CUT_OFF: {pack_signs.own_dead: (2, 0), pack_signs.way_open: (-2, 0)},
    C.STANDS_BY: {pack_signs.lies_below: (-1, 0)},
    # Servos.
    C.BINDING: {
        servo_signs.let_go: (1, 0),
        servo_signs.stayed_at_rest: (1, 0),
        servo_signs.like_a_stall: (2, -1),
        servo_signs.moves_alike: (0, 1),
        servo_signs.rests_alike: (1, 0),
        servo_signs.came_in_flight: (1, 0),
        servo_signs.swings: (-1, 0),
    },
    C.FIGHTING: {
        servo_signs.ganged: (1, -3),
        servo_signs.came_in_flight: (-2, 1),
        servo_signs.let_go: (-2, 0),
        servo_signs.moves_alike: (1, 0),
        servo_signs.rests_alike: (-2, 2),
        servo_signs.swings: (-1, 0),
    },
    C.HUNTING: {servo_signs.swings: (3, 0)},
    C.FAILED_SERVO: {servo_signs.wholly_silent: (1, 0), servo_signs.rest_fell: (2, 0)},
    C.LOOSE_LINKAGE: {servo_signs.wholly_silent: (-2, 0), servo_signs.rest_fell: (-2, 1)},
    C.HOT_SERVO: {
        servo_signs.climbs: (2, 0),
        servo_signs.rest_rose: (1, 0),
        servo_signs.let_go: (-1, 0),
    },
    C.WORN_SERVO: {},
    C.OTHER_SERVOS: {servo_signs.rests_alike: (-1, 1)},
    C.MIRROR_AT_FAULT: {},
    C.CONSUMER: {
        servo_signs.flows_always: (1, -1),
        servo_signs.mirror_did_not: (-1, 0),
        servo_signs.like_a_stall: (-1, 0),
        servo_signs.stayed_at_rest: (1, -1),
        servo_signs.moves_alike: (1, 0),
    },
    C.AIR_LOAD: {
        servo_signs.stayed_at_rest: (-3, 1),
        servo_signs.rest_rose: (-2, 0),
        servo_signs.like_a_stall: (-1, 0),
    },
    C.TRIM: {servo_signs.mirror_did_not: (-1, 0), servo_signs.like_a_stall: (-2, 0)},
    C.RADIO_COMMANDS: {servo_signs.mirror_did_not: (-1, 0)},
    C.UNNOTED_CHANGE: {},
}
