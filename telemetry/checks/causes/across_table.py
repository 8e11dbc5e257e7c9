"""The table fault by sign for findings across flights."""

from __future__ import annotations

from collections.abc import Mapping

from telemetry.checks.causes import across_signs as signs
from telemetry.checks.causes.across_signs import AcrossLook
from telemetry.checks.causes.kinds import CauseKind as C
from telemetry.checks.causes.table import Weight

_OWN: Mapping[C, Mapping[AcrossLook, Weight]] = {
    C.CONTACT: {
        signs.gradual: (1, 0),
        signs.fell_there_too: (3, 0),
        signs.at_others_too: (-1, 0),
        signs.slow_currents: (0, 1),
    },
    C.MISSED_PEAK: {signs.slow_currents: (1, -2), signs.at_others_too: (1, 0)},
    C.CURRENT_SENSOR: {signs.drop_moved_with_it: (-2, 0), signs.sensor_alone: (3, 0)},
    C.COUNTER_SCALE: {signs.sensor_alone: (-2, 0), signs.gradual: (-1, 1)},
    C.LOG_GAPS: {signs.sensor_alone: (-2, 0)},
    C.UNLIKE_SENSORS: {signs.gradual: (1, 0)},
    C.REGULATOR_DRIFT: {signs.gradual: (2, 0)},
    C.SUPPLY_PATH: {signs.packs_held: (2, -2)},
    C.WEAK_PACKS: {signs.packs_held: (-2, 2), signs.weaker: (1, 0)},
    C.SET_POINTS: {signs.rest_apart: (-1, 0), signs.gradual: (-1, 0)},
    C.AGED: {
        signs.gradual: (1, -1),
        signs.colder: (-1, 0),
        signs.of_the_path: (-3, 0),
        signs.holds_less: (2, 0),
        signs.at_others_too: (1, 0),
        signs.another_season: (0, 1),
    },
    C.COLD: {
        signs.colder: (2, -3),
        signs.beyond_cold: (-3, 0),
        signs.another_season: (2, -1),
        signs.at_others_too: (2, -3),
        signs.of_the_path: (-3, 0),
        signs.gradual: (-1, 0),
    },
    C.COLD_OR_AGED: {signs.weaker: (3, 0), signs.rest_apart: (-1, 0)},
    C.PACK_PATH: {signs.of_the_path: (3, 0), signs.gradual: (1, 1), signs.at_others_too: (-1, 0)},
    C.UNLIKE_CHARGE: {signs.rest_apart: (3, -2)},
    C.LOST_CAPACITY: {signs.began_lower: (-1, 1), signs.gradual: (1, 0), signs.weaker: (1, 0)},
    C.NOT_CHARGED: {signs.began_lower: (2, -2)},
    C.WORN_SERVO: {signs.gradual: (1, -1), signs.rest_rose: (-1, 1)},
    C.BINDING: {signs.rest_rose: (2, -1), signs.gradual: (0, 1)},
    C.HOT_SERVO: {signs.in_several_flights: (1, 0)},
    C.AIR_LOAD: {signs.in_several_flights: (-2, 0)},
    C.UNNOTED_CHANGE: {signs.gradual: (-3, 1), signs.fell_there_too: (-1, 0)},
    C.FAILED_SERVO: {signs.drop_moved_with_it: (1, 0), signs.gradual: (-1, 0)},
}
#: What a sign adds to a cause where it is there, and where it is surely absent, as in
#: :data:`telemetry.checks.causes.table.TABLE` (heuristic).
TABLE_ACROSS: Mapping[C, Mapping[AcrossLook, Weight]] = {
    kind: {**_OWN.get(kind, {}), signs.first_of_a_review(kind): (2, 0)} for kind in C
}
