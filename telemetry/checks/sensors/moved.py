"""A current that moved: the servos, or the sensor that reports it?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, usual
from telemetry.checks.tree import fed_places, whole_of
from telemetry.model.log import FloatArray
from telemetry.trends.drops import drop_parts
from telemetry.trends.features.flight import node_places
from telemetry.trends.parts import EvidencePart, log_odds, moved_since

#: Log of the odds from which the sensor is held to have moved and not the servos (heuristic).
SENSOR_SURE = 3.0
# Scatter of the balance of total and nodes against the place's current, gain error of a sensor
# (common practice, no source).
_BALANCE_SIGMA, _GAIN_SD = 0.03, 0.02
_LEAST_A = 0.001
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
        *drop_of(history, place, first, since, moved),
        *balance_moved(history, place, first, since, moved),
    ):
        seen = moved_since(part.since(first), learn)
        if seen is not None:
            odds += log_odds(*seen, if_sensor, 0.0)
    return odds


def drop_of(
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """Total less all nodes in the air, A, and what each of them drew in the same flights, A.

    It moves against a node's sensor, and not with its servos.
    """

    part: EvidencePart
    drawn: Mapping[str, FloatArray]

    def usual_a(self, place: str, first: int, end: int) -> float | None:
        """What a node drew in the flights from ``first`` up to ``end``, in the mean, A."""
        own = self.drawn.get(place)
        before = (self.part.at >= first) & (self.part.at < end)
        if own is None or not before.any():
            return None
        return max(float(own[before].mean()), _LEAST_A)


def balance_of(history: AircraftHistory) -> Balance | None:
    """The balance of the currents; None where not all of them are known."""
    known = history.table.current_places
    whole = whole_of(history)
    nodes = node_places(history.aircraft, known)
    total = None if whole is None else history.table.stretches("air", "amps", whole)
    own = {p: x for p in nodes if (x := history.table.stretches("air", "amps", p)) is not None}
    if total is None or not own or len(own) < len(nodes):
        return None
    left = total - np.sum(list(own.values()), axis=0)
    good = np.isfinite(left)
    at = np.flatnonzero(good.sum(axis=1) >= _FEW_BLOCKS)
    if at.size == 0:
        return None

    def mean(x: FloatArray) -> FloatArray:
        summed = np.where(good, x, 0.0).sum(axis=1)[at]
        return np.asarray(summed / good.sum(axis=1)[at], dtype=np.float64)

    drawn = mean(total)
    part = EvidencePart(
        name="balance",
        at=at,
        y=mean(left),
        se=np.zeros(at.size),
        sigma=max(_BALANCE_SIGMA * float(np.median(drawn)) / len(nodes), _LEAST_A),
        # Gains of the sensors differ a little: the balance goes with the total.
        design=(drawn - drawn.mean())[:, None],
        slope=np.zeros(1),
        slope_sd=np.array([_GAIN_SD]),
    )
    return Balance(part=part, drawn={p: mean(x) for p, x in own.items()})


def balance_moved(
    history: AircraftHistory, place: str, first: int, since: int, moved: float
) -> list[tuple[EvidencePart, float]]:
    """The balance: it misses what a sensor reads more."""
    found = balance_of(history)
    before_a = None if found is None else found.usual_a(place, first, since)
    if found is None or before_a is None:
        return []
    part = replace(found.part, sigma=_BALANCE_SIGMA * before_a)
    return [(part, -before_a * float(np.expm1(moved)))]
