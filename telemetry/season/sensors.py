"""A current that moved: the servos, or the sensor that reports it?"""

from __future__ import annotations

import numpy as np

from telemetry.season.case import Case, usual
from telemetry.season.drops import drop_parts
from telemetry.season.evidence import Part, log_odds, moved_since
from telemetry.season.tree import fed_places, root_of
from telemetry.season.voltages import TOTAL

# The balance of total and nodes, as a logarithm, and how sure the odds must be (ours).
_BALANCE_SIGMA = 0.03
_SURE = 3.0
_FEW_BLOCKS = 4


def sensor_moved(case: Case, place: str, first: int, since: int, moved: float) -> bool:
    """Whether a change of a place's current is its sensor's alone.

    A sensor that reads more shows more current without more drop of voltage, and without more in
    the total.

    Parameters
    ----------
    case : Case
    place : str
    first, since : int
        First flight of the baseline, first flight of the change.
    moved : float
        Logarithm of the factor by which the current moved.
    """
    learn = np.arange(len(case.flights)) < since
    odds = 0.0
    for part, if_sensor in (
        *_drop_of(case, place, first, since, moved),
        *_balance(case, place, moved),
    ):
        seen = moved_since(part.since(first), learn)
        if seen is not None:
            odds += log_odds(*seen, if_sensor, 0.0)
    return odds > _SURE


def _drop_of(
    case: Case, place: str, first: int, since: int, moved: float
) -> list[tuple[Part, float]]:
    """Drop per amp: a sensor that reads more makes it less by the same factor."""
    parent = dict(fed_places(case)).get(place)
    before = usual(case.table, place, "branch_mohm", first, since)
    if parent is None or before is None:
        return []
    expected = before * float(np.expm1(-moved))
    parts = drop_parts(case.table, place, parent, place, fit="branch_mohm")
    return [(p, expected) for p in parts if p.name != "stir"]


def _balance(case: Case, place: str, moved: float) -> list[tuple[Part, float]]:
    """The place's current against the total less all other places: it moves with the sensor."""
    known = case.table.current_places
    whole = next((p for p in (root_of(case), "bus", TOTAL) if p in known), None)
    others = [p for p in known if p != place and p in dict(fed_places(case))]
    stacks = [case.table.stretches("air", "amps", p) for p in (place, whole or "", *others)]
    if whole is None or any(s is None for s in stacks):
        return []
    own, total, *rest = [s for s in stacks if s is not None]
    left = total - np.sum(rest, axis=0) if rest else total
    good = np.isfinite(own) & np.isfinite(left)
    enough = good.sum(axis=1) >= _FEW_BLOCKS
    top, bottom = (np.where(good, x, 0.0).sum(axis=1) for x in (own, left))
    at = np.flatnonzero(enough & (top > 0) & (bottom > 0))
    if at.size == 0:
        return []
    y = np.log(top[at] / bottom[at])
    return [(Part(name="balance", at=at, y=y, se=np.zeros(at.size), sigma=_BALANCE_SIGMA), moved)]
