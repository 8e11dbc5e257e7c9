"""The declared list of checks: what is asked of a log and of a history, in the order of the answer.

Findings of one level stand in this order.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TypeVar

from telemetry.checks.check import Check
from telemetry.checks.leads.across import BRANCH_RESISTANCE_RISING
from telemetry.checks.leads.breaks import CONTACT_INTERMITTENT
from telemetry.checks.leads.in_flight import BRANCH_RESISTANCE_HIGH, LEAD_UNDERSIZED
from telemetry.checks.packs.across import PACK_WEAK, SOURCE_RESISTANCE_RISING
from telemetry.checks.packs.in_flight import PACK_LOW, PACK_OUT, PACK_SHARE
from telemetry.checks.packs.sources import SOURCE_RESISTANCE_HIGH
from telemetry.checks.recording.thin import LOG_TOO_THIN
from telemetry.checks.sensors.balance import CURRENT_BALANCE
from telemetry.checks.sensors.counters import CAPACITY_MISMATCH
from telemetry.checks.sensors.offsets import SENSOR_OFFSET
from telemetry.checks.servos.across import SERVO_CURRENT_RISING, SERVO_HEATING, SERVO_SILENT
from telemetry.checks.servos.resting import SERVO_NOT_RESTING
from telemetry.checks.supply.brownouts import BROWNOUT
from telemetry.checks.supply.dips import SUPPLY_DIPS
from telemetry.checks.supply.falls import REGULATOR_DROOP, SAG_UNEXPLAINED, SWITCH_STEP
from telemetry.checks.supply.margins import MARGIN_LOW
from telemetry.checks.supply.restarts import RESTART
from telemetry.checks.supply.undervoltage import UNDERVOLTAGE

CHECKS: tuple[Check, ...] = (
    RESTART,
    BROWNOUT,
    MARGIN_LOW,
    UNDERVOLTAGE,
    REGULATOR_DROOP,
    SAG_UNEXPLAINED,
    SERVO_CURRENT_RISING,
    SERVO_SILENT,
    SERVO_HEATING,
    BRANCH_RESISTANCE_HIGH,
    BRANCH_RESISTANCE_RISING,
    CONTACT_INTERMITTENT,
    LEAD_UNDERSIZED,
    SOURCE_RESISTANCE_HIGH,
    SOURCE_RESISTANCE_RISING,
    PACK_WEAK,
    PACK_SHARE,
    PACK_OUT,
    PACK_LOW,
    SWITCH_STEP,
    SUPPLY_DIPS,
    SERVO_NOT_RESTING,
    CAPACITY_MISMATCH,
    SENSOR_OFFSET,
    CURRENT_BALANCE,
    LOG_TOO_THIN,
)

CODES: Mapping[str, Check] = MappingProxyType({check.code: check for check in CHECKS})

_Function = TypeVar("_Function")


def not_yet_called(functions: Iterable[_Function], called: set[object]) -> list[_Function]:
    """Those of the functions that are not among ``called``, which then holds them.

    A function that judges several checks together stands in each of them and is called once.
    """
    fresh = [f for f in functions if f not in called]
    called.update(fresh)
    return fresh
