"""The kinds of fault and of healthy flight: who makes them, how they are seen, what tells them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from telemetry.checks.causes.kinds import CauseKind as C
from telemetry.simulate import FaultKind
from tests.simulated import scenes, supplies

SCENE, SUPPLY, SIMULATOR = "scene", "supply", "simulator"
SAMPLINGS_S = (0.1, 0.2, 0.5, 1.0)
PACKS = ("pack 1", "pack 2")
_RISES = ("servo-current-rising", "servo-not-resting", "servo-heating", "servo-silent")
_WEAK = ("source-resistance-high", "pack-weak", "undervoltage", "margin-low", "pack-share")
_WEAK = (*_WEAK, "pack-low", "sag-unexplained")
_LOW = ("pack-low", "pack-share", "undervoltage", "margin-low")
_REGULATOR = ("regulator-droop", "undervoltage", "margin-low", "switch-step", "brownout")
_DIPS = ("brownout", "sag-unexplained", "contact-intermittent", "restart", "supply-dips")


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of log.

    Attributes
    ----------
    name, source, plant : str
        Its name here, who makes it, and what that maker calls it.
    sight : str
        How the oracle looks for it; "" for healthy kinds.
    codes : tuple of str
        Findings that rightly tell it, the best one first.
    places : tuple of str
        Where it may rightly be told; () for the place at which it was planted.
    causes : tuple of str
        Kinds of cause that are right: several where no single log tells them apart.
    noted : bool
        Whether a finding under watch tells it as well: what its size deserves.
    """

    name: str
    source: str
    plant: str
    sight: str = ""
    codes: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    noted: bool = False


def _servo(plant: str, sight: str, best: str) -> Kind:
    codes = (best, *(c for c in _RISES if c != best))
    return Kind(name=plant, source=SCENE, plant=plant, sight=sight, codes=codes)


def _simulated(kind: FaultKind, sight: str, *codes: str, places: tuple[str, ...] = ()) -> Kind:
    return Kind(
        name=f"sim {kind.value}",
        source=SIMULATOR,
        plant=kind.value,
        sight=sight,
        codes=codes,
        places=places,
        noted=kind is FaultKind.SENSOR_OFFSET,
    )


def _supply(plant: str, sight: str, *codes: str, places: tuple[str, ...] = ()) -> Kind:
    return Kind(name=plant, source=SUPPLY, plant=plant, sight=sight, codes=codes, places=places)


def _lead(plant: str) -> Kind:
    codes = ("branch-resistance-high", "lead-undersized", "branch-resistance-rising")
    codes = (*codes, "sag-unexplained")
    return Kind(name=plant, source=SCENE, plant=plant, sight="lead", codes=codes)


_ROOT = ("bus", "regulator", *PACKS)
_WORN, _LOST = (C.CONTACT, C.LONGER_LEAD), (C.SUPPLY_LOST, C.CONTACT)
_CELLS, _PATH = (C.COLD_OR_AGED, C.AGED, C.COLD, C.WEAK_PACKS), (C.PACK_PATH, C.SUPPLY_PATH)
_CHARGE, _EMPTY = (C.UNLIKE_CHARGE, C.NOT_CHARGED, C.RAN_EMPTY), (C.RAN_EMPTY, C.WEAK_PACKS)
_HELD, _STUCK = (C.BINDING, C.FIGHTING, C.CONSUMER), (C.BINDING, C.CONSUMER, C.HOT_SERVO)
# Right causes by what the makers call the fault; what no single log tells apart stands together.
_CAUSES: Mapping[str, tuple[C, ...]] = {
    **dict.fromkeys((*scenes.LEAD_FAULTS, "connector"), _WORN),
    "lead changed": (C.CONTACT,),
    "both weak": (C.AGED, C.COLD_OR_AGED, C.WEAK_PACKS),
    "both cold": (C.COLD, C.COLD_OR_AGED, C.WEAK_PACKS),
    # The voltage of a pack is read behind its plug: how fast the excess answers a load tells them.
    **dict.fromkeys(("one weak", "pack-ageing"), _CELLS),
    "pack-lead": (C.PACK_PATH,),
    **dict.fromkeys(("half charged", "cross charging", "pack-low"), _CHARGE),
    "knee": _EMPTY,
    "one faded": (C.LOST_CAPACITY, C.RAN_EMPTY),
    **dict.fromkeys(("lost in calm", "pack-out"), (C.CONTACT, C.CUT_OFF)),
    **dict.fromkeys(("regulator limit", "regulator-limit"), (C.REGULATOR_LIMIT,)),
    # Where its temperature was not logged, one in its limit for being hot is just in its limit.
    **dict.fromkeys(("regulator hot", "regulator-hot"), (C.REGULATOR_HOT, C.REGULATOR_LIMIT)),
    "regulator dropout": (C.LOW_INPUT,),
    **dict.fromkeys(("wing at zero", "brownout"), _LOST),
    "switch-step": _PATH,
    "contact": (C.CONTACT,),
    "sensor-offset": (C.UNLIKE_SENSORS,),
    **dict.fromkeys(("rests high", "stays up"), _HELD),
    "fights": (C.FIGHTING,),
    "idle up": _STUCK,
    **dict.fromkeys(("stall short", "stall long"), (C.BINDING,)),
    **dict.fromkeys(("servo dead", "node dead", "servo-silent"), (C.FAILED_SERVO,)),
    "hunts": (C.HUNTING,),
    **dict.fromkeys(("heats", "servo-heating"), (C.HOT_SERVO,)),
    **dict.fromkeys(("draws more", "servo-binding"), (C.BINDING, C.OTHER_SERVOS)),
}
_PLANTED: tuple[Kind, ...] = (
    _servo("rests high", "rest", "servo-not-resting"),
    _servo("idle up", "change", "servo-current-rising"),
    _servo("stall short", "change", "servo-current-rising"),
    _servo("stall long", "change", "servo-current-rising"),
    _servo("servo dead", "change", "servo-silent"),
    _servo("node dead", "change", "servo-silent"),
    _servo("stays up", "rest after", "servo-not-resting"),
    _servo("hunts", "change", "servo-current-rising"),
    _servo("fights", "rest", "servo-not-resting"),
    _servo("heats", "heats", "servo-heating"),
    _servo("draws more", "ratio", "servo-current-rising"),
    *(_lead(plant) for plant in scenes.LEAD_FAULTS),
    _supply("both weak", "weak together", *_WEAK, places=_ROOT),
    _supply("both cold", "weak together", *_WEAK, places=_ROOT),
    _supply("one weak", "weak", *_WEAK, "pack-out", places=("pack 2",)),
    _supply("one faded", "faded", "pack-weak", *_LOW, places=("pack 2",)),
    _supply("half charged", "low", *_LOW, places=("pack 2",)),
    _supply("cross charging", "charged", *_LOW, places=PACKS),
    _supply("lost in calm", "out", "pack-out", places=("pack 2",)),
    _supply("regulator limit", "droop", *_REGULATOR, places=("bus", "regulator")),
    _supply("regulator dropout", "droop", *_REGULATOR, *_LOW, places=_ROOT),
    _supply("regulator hot", "droop", *_REGULATOR, places=("bus", "regulator")),
    _supply("knee", "knee", *_LOW, "source-resistance-high", "brownout", places=_ROOT),
    _supply("wing at zero", "dips", *_DIPS),
    _simulated(FaultKind.CONNECTOR, "lead", *_lead("").codes),
    _simulated(FaultKind.CONTACT, "dips", "sag-unexplained", *_DIPS),
    _simulated(FaultKind.BROWNOUT, "dips", *_DIPS, "undervoltage", "margin-low"),
    _simulated(FaultKind.PACK_OUT, "out", "pack-out"),
    _simulated(FaultKind.PACK_LOW, "low", *_LOW, "pack-out"),
    _simulated(FaultKind.PACK_LEAD, "weak", *_WEAK, "switch-step", places=("bus",)),
    _simulated(FaultKind.PACK_AGEING, "weak", *_WEAK, "switch-step", places=("bus",)),
    _simulated(FaultKind.SWITCH_STEP, "path", "switch-step", "pack-share", "sag-unexplained"),
    _simulated(FaultKind.REGULATOR_LIMIT, "droop", *_REGULATOR, places=("bus", "regulator")),
    _simulated(FaultKind.REGULATOR_HOT, "droop", *_REGULATOR, places=("bus", "regulator")),
    _simulated(FaultKind.SENSOR_OFFSET, "offset", "sensor-offset"),
    _simulated(FaultKind.SERVO_SILENT, "change", "servo-silent", *_RISES),
    _simulated(FaultKind.SERVO_BINDING, "ratio", "servo-current-rising", *_RISES),
    _simulated(FaultKind.SERVO_HEATING, "heats", "servo-heating", *_RISES),
)
# Without a profile nobody can tell a pack that stands by from a dead one.
_SUPPLIES = (*(k for k in supplies.HEALTHY if k != "standby"), *supplies.HARMLESS)
FAULTS = tuple(replace(k, causes=_CAUSES.get(k.plant, ())) for k in _PLANTED)
# Troubles of telemetry and weather that accuse nobody.
_HARMLESS = (FaultKind.LINK_LOSS, FaultKind.SPURIOUS, FaultKind.PACK_COLD)
HEALTHY: tuple[Kind, ...] = (
    *(Kind(name=k, source=SCENE, plant=k) for k in scenes.HEALTHY),
    *(Kind(name=k, source=SUPPLY, plant=k) for k in _SUPPLIES),
    Kind(name="sim healthy", source=SIMULATOR, plant=""),
    *(Kind(name=f"sim {k.value}", source=SIMULATOR, plant=k.value) for k in _HARMLESS),
)
KINDS: Mapping[str, Kind] = {k.name: k for k in (*FAULTS, *HEALTHY)}
