"""How near a worst case comes to the level at which electronics restart."""

from __future__ import annotations

from telemetry.aircraft import Limits
from telemetry.results import Level, WorstCase


def near_restart(case: WorstCase, restart_v: float, limits: Limits) -> Level | None:
    """What a worst case calls for beside the restart level.

    It has not happened, and what it rests on has intervals, the load's own way among them.

    Parameters
    ----------
    case : WorstCase
    restart_v : float
        Of its place, V.
    limits : Limits

    Returns
    -------
    Level or None
        GROUND where even its highest voltage is within the margin that grounds; WATCH where the
        voltage is, or its highest within the margin to watch; CLEAR otherwise. None without one.
    """
    if case.voltage_v is None:
        return None
    margin_v = case.voltage_v - restart_v
    best_v = margin_v if case.high_v is None else case.high_v - restart_v
    if best_v < limits.margin_ground_v:
        return Level.GROUND
    near = margin_v < limits.margin_ground_v or best_v < limits.margin_watch_v
    return Level.WATCH if near else Level.CLEAR
