"""A node's current sensor that drifted, by the balance of the whole current and all nodes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, established
from telemetry.checks.draft import FindingDraft
from telemetry.checks.sensors.moved import SENSOR_SURE, Balance, balance_of, drop_of
from telemetry.checks.servos.claims import DRIFTED, Claim, place_parts, reference_places
from telemetry.results import Level
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import log_odds, moved_since

# A sensor that reads nothing has not drifted: the factor that is still one (heuristic).
_LEAST_FACTOR = 0.3


def judge_gain(
    history: AircraftHistory, loads: Sequence[str], claims: Mapping[str, Claim]
) -> FindingDraft | None:
    """The finding capacity-mismatch of the node whose sensor moved the balance, or None.

    The balance tells that a sensor drifted, better than the nodes' ratios do; ratios and drops tell
    whose it was. Where no node's do, it may be the sensor of the whole: then nothing is told.

    Parameters
    ----------
    history : AircraftHistory
    loads : sequence of str
        Places that drive servos.
    claims : mapping of str to Claim
        Places whose current has changed otherwise.
    """
    balance = balance_of(history)
    if balance is None:
        return None
    nodes = tuple(balance.drawn)
    first = history.first(*nodes)
    for sign in (1.0, -1.0):
        j = history.judge([balance.part], first, nodes[0], sign=sign)
        if j is None or j.signal is None or j.onset is None:
            continue
        odds = [
            (_odds(history, p, loads, claims, j, _factor(balance, p, j, sign, j.mean_rise)), p)
            for p in nodes
            if p in loads and p not in claims
        ]
        best, place = max(odds, default=(-np.inf, ""))
        if best > SENSOR_SURE:
            return _finding(history, place, j, _factor(balance, place, j, sign, j.now))
    return None


def _factor(balance: Balance, place: str, j: Judgement, sign: float, rise_a: float) -> float:
    """What the sensor of a place would now read of one ampere; 1 where that is not known."""
    assert j.onset is not None
    before_a = balance.usual_a(place, j.first, int(j.at[j.onset]))
    return 1.0 if before_a is None else 1.0 - sign * rise_a / before_a


def _odds(
    history: AircraftHistory,
    place: str,
    loads: Sequence[str],
    claims: Mapping[str, Claim],
    j: Judgement,
    factor: float,
) -> float:
    """Log of the odds that the sensor of this place did it, by its ratios and its drop."""
    others = reference_places(history, place, loads, claims)
    if abs(factor - 1.0) < DRIFTED or factor < _LEAST_FACTOR or others is None:
        return -np.inf
    assert j.onset is not None
    since, moved = int(j.at[j.onset]), float(np.log(factor))
    learn = np.arange(len(history.flights)) < since
    expected = [(p, moved) for p in place_parts(history, place, others) if p.name != "rest"]
    expected += drop_of(history, place, j.first, since, moved)
    odds = 0.0
    for part, if_sensor in expected:
        seen = moved_since(part.since(j.first), learn)
        if seen is not None:
            odds += log_odds(*seen, if_sensor, 0.0)
    return odds


def _finding(history: AircraftHistory, place: str, j: Judgement, factor: float) -> FindingDraft:
    return established(
        history,
        "capacity-mismatch",
        place,
        j,
        level=Level.WATCH,
        title=f"{place}: its current sensor reads {100 * abs(factor - 1.0):.0f} % "
        f"{'more' if factor > 1.0 else 'less'} than it used to; the whole current and the other "
        "places did not change",
        quantity="reading of the current sensor",
        unit="",
        rise_unit="%",
        scale=100.0 * (factor - 1.0) / j.now,
        evidence={"sensor_alone": True},
    )
