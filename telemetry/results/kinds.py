"""The words that records use: levels, kinds of events and phases, origins, evidence."""

from __future__ import annotations

from enum import StrEnum


class Level(StrEnum):
    """How grave a finding is: ground > watch > unknown > clear."""

    CLEAR = "clear"
    UNKNOWN = "unknown"
    WATCH = "watch"
    GROUND = "ground"

    @property
    def rank(self) -> int:
        """0 for clear to 3 for ground."""
        return list(Level).index(self)

    @property
    def word(self) -> str:
        """What a report of one log calls it."""
        return _LEVEL_WORDS[self.rank]

    # All four, because a str brings its own: max() of levels would go by the alphabet.
    def __lt__(self, other: str) -> bool:
        return self.rank < Level(other).rank

    def __le__(self, other: str) -> bool:
        return self.rank <= Level(other).rank

    def __gt__(self, other: str) -> bool:
        return self.rank > Level(other).rank

    def __ge__(self, other: str) -> bool:
        return self.rank >= Level(other).rank


_LEVEL_WORDS = ("Nothing found in this log", "Cannot be judged", "Watch", "Ground it")


class EventKind(StrEnum):
    """What kind of event a record describes."""

    SAG = "sag"
    SHIFT = "shift"
    UNDERVOLTAGE = "undervoltage"
    SPIKE = "spike"
    BROWNOUT = "brownout"


class PhaseKind(StrEnum):
    """What the aircraft was doing."""

    GROUND = "ground"
    STIR = "stir"
    FLIGHT = "flight"
    REDUNDANCY_CHECK = "redundancy-check"


#: Phases in which something draws current: also while one pack is off to see the other carry all.
LOADED_PHASES = (PhaseKind.FLIGHT, PhaseKind.STIR, PhaseKind.REDUNDANCY_CHECK)
#: Phases in which the servos work, with nothing switched off on purpose.
WORKING_PHASES = (PhaseKind.FLIGHT, PhaseKind.STIR)


class Origin(StrEnum):
    """The likely origin of a voltage event."""

    LOAD = "load"
    CONTACT = "contact"
    SUPPLY = "supply"
    PACK = "pack"
    SENSOR = "sensor"
    UNKNOWN = "unknown"


class OutKind(StrEnum):
    """Why a pack may have given nothing for a while."""

    CHECK = "check"  # on the ground before flight, short, and back: a deliberate redundancy check
    SWITCHED_OFF = "switched-off"  # on the ground, not back again: one pack off before the other
    LOST = "lost"  # under way, or on the ground without a plain reason


class OutSign(StrEnum):
    """What the voltages say of a pack that gave nothing."""

    DEAD = "dead"  # its own voltage fell away
    OPEN = "open"  # it rests above the loaded bus: its way is open
    HELD_OFF = "held-off"  # it lies no higher than the bus: another one carries all by nature
    UNKNOWN = "unknown"  # no voltage tells, or a regulator decides


class ChargeBasis(StrEnum):
    """What the charge of a pack rests on."""

    RECORDS = "records"
    REST_VOLTAGE = "rest voltage"
    FULL = "full"  # taken as full before this recording: what is left is then no more than that
    NONE = ""


class Evidence(StrEnum):
    """Whether an event happened in the aircraft or only in its telemetry."""

    REAL = "real"
    TELEMETRY = "telemetry"
    UNKNOWN = "unknown"


#: Events in which a voltage fell below its own reference.
FALLS = (EventKind.SAG, EventKind.SHIFT)


class UnusualKind(StrEnum):
    """How the current of a node differs from its counterpart's, or from its own."""

    RAISED = "raised"  # amperes more for a stretch of the flight, or from an instant on
    HUNTS = "hunts"  # it swings without a movement
    SILENT = "silent"  # it fell, or answers less
    HEATS = "heats"  # its share climbs through the flight
    MORE = "more"  # a multiple of its mirror's throughout
    LESS = "less"  # a part of its mirror's throughout, and less at rest
    RESTS_HIGH = "rests-high"  # far above its counterpart at rest
    STAYS_UP = "stays-up"  # after landing far above its own rest before
    RESTS_LOW = "rests-low"  # after landing far below its own rest before
    STEADY = "steady"  # far above all others, the same all the time, with no mirror to tell


class DroopKind(StrEnum):
    """Why a held supply fell, as far as the log tells."""

    LIMIT = "limit"
    HOT = "hot"
    DROP_OUT = "drop-out"
    UNKNOWN = "unknown"
