"""A current that moved: the servos, or the sensor that reports it?"""

from __future__ import annotations

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, usual
from telemetry.checks.tree import fed_places, whole_of
from telemetry.trends.drops import drop_parts
from telemetry.trends.parts import EvidencePart, log_odds, moved_since

#: Log of the odds from which the sensor is held to have moved and not the servos (heuristic).
SENSOR_SURE = 3.0
# Scatter of the balance of total and nodes against the place's current, gain error of a sensor
# (common practice, no source).
_BALANCE_SIGMA, _GAIN_SD = 0.03, 0.02
_FEW_BLOCKS = 4


def sensor_odds(
    history: AircraftHistory, place: str, first: int, since: int, moved: float
) -> float:
    """Log of the odds that a change of a place's current is its sensor's alone.

    A sensor that reads more shows more current without more drop of voltage, and without more in
    the total. 0 where neither is known.

    Parameters
    ----------
    history : AircraftHistory
    place : str
    first, since : int
        First flight of the baseline, first flight of the change.
    moved : float
        Logarithm of the factor by which the current moved.
    """
    learn = np.arange(len(history.flights)) < since
    odds = 0.0
    for part, if_sensor in (
        *_drop_of(history, place, first, since, moved),
        *_balance(history, place, first, since, moved),
    ):
        seen = moved_since(part.since(first), learn)
        if seen is not None:
            odds += log_odds(*seen, if_sensor, 0.0)
    return odds


def _drop_of(
    history: AircraftHistory, place: str, first: int, since: int, moved: float
) -> list[tuple[EvidencePart, float]]:
    """Drop per amp: a sensor that reads more makes it less by the same factor."""
    parent = dict(fed_places(history)).get(place)
    before = usual(history.table, place, "branch_mohm", first, since)
    if parent is None or before is None:
        return []
    expected = before * float(np.expm1(-moved))
    parts = drop_parts(history.table, place, parent, place, fit="branch_mohm")
    return [(p, expected) for p in parts if p.name != "stir"]


def _balance(
    history: AircraftHistory, place: str, first: int, since: int, moved: float
) -> list[tuple[EvidencePart, float]]:
    """Total less all places, A: it moves against a place's sensor, and not with its servos."""
    known = history.table.current_places
    whole = whole_of(history)
    nodes = [p for p in known if p in dict(fed_places(history))]
    total = None if whole is None else history.table.stretches("air", "amps", whole)
    parts = [history.table.stretches("air", "amps", p) for p in nodes]
    if total is None or place not in nodes or any(p is None for p in parts):
        return []
    own = history.table.stretches("air", "amps", place)
    assert own is not None
    left = total - np.sum([p for p in parts if p is not None], axis=0)
    good = np.isfinite(left)
    at = np.flatnonzero(good.sum(axis=1) >= _FEW_BLOCKS)
    n = np.maximum(good.sum(axis=1), _FEW_BLOCKS)
    balance, drawn, used = (np.where(good, x, 0.0).sum(axis=1) / n for x in (left, total, own))
    before = at[(at >= first) & (at < since)]
    if before.size == 0:
        return []
    before_a = float(used[before].mean())
    part = EvidencePart(
        name="balance",
        at=at,
        y=balance[at],
        se=np.zeros(at.size),
        sigma=_BALANCE_SIGMA * before_a,
        # Gains of the sensors differ a little: the balance goes with the total.
        design=(drawn[at] - drawn[at].mean())[:, None],
        slope=np.zeros(1),
        slope_sd=np.array([_GAIN_SD]),
    )
    return [(part, -before_a * float(np.expm1(moved)))]
