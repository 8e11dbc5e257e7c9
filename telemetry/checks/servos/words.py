"""The standing words of findings on servo currents of one log."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import Words

_LINKAGE = "a servo that works against a stop, a stiff or bent linkage, or a stalled surface"
_FIGHT = (
    "two servos of one surface that work against each other: they draw current with nothing moving"
)
_OVERHEATED = "a servo whose motor or driver is failing"
_CONSUMER = "something else at {place} was switched on (lamps, pump, gear)"
_HUNT = "a servo that hunts about its place: play or a flexible mount, a worn potentiometer"

_ONE_BY_ONE = "Disconnect the linkages of {place} one at a time and watch its current at rest"
_GROUNDED = "Do not fly until the servo or linkage is found and put right."

RAISED_WORDS = Words(
    (
        _LINKAGE,
        _FIGHT,
        _OVERHEATED,
        f"{_HUNT}, faster than its current is read",
        "air load that one side alone had to hold",
        _CONSUMER,
    ),
    f"{_ONE_BY_ONE}, then while each surface moves; feel which servo is warm after landing.",
    "Find the servo or linkage and put it right before hard flying; note what was done.",
    _GROUNDED,
    kinds=(
        CauseKind.BINDING,
        CauseKind.FIGHTING,
        CauseKind.HOT_SERVO,
        CauseKind.HUNTING,
        CauseKind.AIR_LOAD,
        CauseKind.CONSUMER,
    ),
)
MORE_WORDS = Words(
    (
        "a servo or linkage of {place} that works harder than its mirror's",
        _FIGHT,
        "a servo of the mirror that moves nothing",
        "other servos, or other throws, than on the mirror",
        "the gain of one of the two current sensors",
    ),
    "Move both surfaces together and compare; swap the two nodes, or measure with one meter.",
    "See that every servo of both sides moves its surface freely and under load.",
    kinds=(
        CauseKind.BINDING,
        CauseKind.FIGHTING,
        CauseKind.MIRROR_AT_FAULT,
        CauseKind.OTHER_SERVOS,
        CauseKind.CURRENT_SENSOR,
    ),
)
REST_WORDS = Words(
    (_LINKAGE, _FIGHT, "a mixed trim that holds a surface out of neutral", _CONSUMER),
    f"{_ONE_BY_ONE}; where two servos drive one surface, disconnect one of them.",
    "Free the linkage, match the two servos or reset the end points before the next flight.",
    _GROUNDED,
    kinds=(CauseKind.BINDING, CauseKind.FIGHTING, CauseKind.TRIM, CauseKind.CONSUMER),
)
WHOLE_WORDS = Words(
    (
        _LINKAGE,
        _FIGHT,
        "a gear pump, lamps or another consumer that was switched on, or runs on after landing",
    ),
    "With all at rest, disconnect the servos and consumers one at a time and watch the current.",
    "Find out what draws this current before the next flight, and put it right.",
    kinds=(CauseKind.BINDING, CauseKind.FIGHTING, CauseKind.CONSUMER),
)
STEADY_WORDS = Words(
    (
        "a load by design on that node: a pump, lamps, a gyro, a computer",
        f"{_FIGHT}, always by as much",
    ),
    "Switch off what is meant to draw current there and read the current at rest again.",
    "Find out what draws this current; nothing in the log tells a load from a servo that strains.",
    kinds=(CauseKind.CONSUMER, CauseKind.FIGHTING),
)
HUNT_WORDS = Words(
    (
        _HUNT,
        _FIGHT,
        "control signals that jump: a radio or gyro that corrects without a pause",
        "the current sensor of {place}",
    ),
    "With the sticks still, listen and feel for a servo that trembles; disconnect its linkage.",
    "Find the servo that trembles before the next flight; flutter and hunting look alike.",
    _GROUNDED,
    kinds=(
        CauseKind.HUNTING,
        CauseKind.FIGHTING,
        CauseKind.RADIO_COMMANDS,
        CauseKind.CURRENT_SENSOR,
    ),
)
SILENT_WORDS = Words(
    (
        "a servo that failed, was unplugged, or lost its signal",
        "a linkage or surface that came off: its servo moves nothing",
        "the current sensor of {place}, or telemetry that held its last value",
    ),
    "Move every surface of {place} on the ground and look at each servo.",
    "See that every servo of {place} moves its surface under load before the next flight.",
    "Do not fly until every servo of {place} moves its surface under load.",
    kinds=(CauseKind.FAILED_SERVO, CauseKind.LOOSE_LINKAGE, CauseKind.CURRENT_SENSOR),
)
LESS_WORDS = Words(
    (
        "a servo that failed, was unplugged, or had no signal from the start",
        "fewer servos, other servos or other throws than on the mirror",
        "the current sensor of {place}",
    ),
    SILENT_WORDS.confirm,
    SILENT_WORDS.advice,
    kinds=(CauseKind.FAILED_SERVO, CauseKind.OTHER_SERVOS, CauseKind.CURRENT_SENSOR),
)
HEAT_WORDS = Words(
    (
        "a servo whose motor or driver fails as it warms",
        "a linkage that binds as the airframe warms or flexes in the air",
        "one-sided flying late in the flight",
    ),
    "Stir before the flight and at once after landing, and compare; feel each servo's case.",
    "Find the hot servo before the next flight; note what was done, with the place.",
    kinds=(CauseKind.HOT_SERVO, CauseKind.BINDING, CauseKind.AIR_LOAD),
)
