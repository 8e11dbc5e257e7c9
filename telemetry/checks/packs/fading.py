"""Capacity of a pack from flight to flight: whether it fades, and when it is to be retired."""

from __future__ import annotations

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    established,
    usual,
)
from telemetry.checks.packs.sets import is_warmth_logged, of_all, set_evidence, set_name, weak_set
from telemetry.results import Level
from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import PackSets
from telemetry.trends.warmth import time_of_year

#: A pack that lost this part of what it held in its first flights is retired (common practice, no
#: source: 80 % is left).
RETIRED = 0.2
#: Loss that is told, as a part; and where neither temperature nor date tells cold from age, what a
#: winter takes besides (heuristic).
_FADED, _WINTER = 0.10, 0.10
# Scatter of the logarithm from flight to flight, and how many flights that is worth: voltages at
# rest after landing settle more or less far (heuristic).
_SIGMA, _WEIGHT = 0.06, 4.0
# The curve that voltages are read on is off by more or less, by how deep the flight went: only
# flights that took about as much as usual, within this factor, are held together (heuristic).
_AS_DEEP = 1.5
# Cells give less in the cold, a kelvin (from memory: 5 to 15 % less at 10 degC than at 25 degC),
# and so far the logarithm swings with the year where only the date is known (heuristic).
_PER_K, _PER_K_SD, _YEAR_SD = 0.006, 0.006, 0.05
_RECENT = 4


def judge_fading(
    history: AircraftHistory, pack: str, sets: PackSets, first: int, found: JudgedAcross
) -> bool:
    """A pack that holds less than it did: a finding pack-weak, with the flights until 80 % is left.

    Only where flights told its capacity, by its voltage at rest before and after
    (:mod:`telemetry.measure.supply.capacity`). What is not known of the curve is the same in every
    flight, so changes are told far better than the capacity itself.

    Returns
    -------
    bool
        Whether it was found.
    """
    part = _capacity_part(history, pack)
    if part is None:
        return False
    weak = weak_set(history, part, sets, first, pack, sign=-1.0, logarithmic=True)
    j = history.judge([of_all(part, sets, weak)], first, pack, sign=-1.0, logarithmic=True)
    if j is not None:
        found.trends.append(
            JudgedTrend(
                "pack-weak",
                pack,
                j,
                quantity="loss of capacity",
                unit="%",
                scale=100.0,
                watch=100.0 * _FADED,
            )
        )
    which, more = pack, {}
    if (j is None or j.signal is None) and weak is not None:
        j, which = weak.judgement, f"{pack} of {set_name(sets, weak.one)}"
        more = set_evidence(sets, weak.one)
    if j is None or j.signal is None or j.onset is None or j.now < _least(history, part):
        return False
    since, n = int(j.at[j.onset]), len(history.flights)
    found.drafts.append(
        established(
            history,
            "pack-weak",
            pack,
            j,
            level=Level.WATCH,
            title=f"{which} holds {100.0 * j.now:.0f} % less charge than it did, by how far its "
            "voltage at rest falls for what it gives",
            quantity="loss of capacity",
            unit="%",
            rise_unit="%",
            scale=100.0,
            limit=100.0 * RETIRED,
            before=0.0,
            now=100.0 * j.now,
            evidence={
                "usual_mah": usual(history.table, pack, "capacity_mah", j.first, since),
                "holds_mah": usual(history.table, pack, "capacity_mah", max(since, n - _RECENT), n),
                **more,
            },
        )
    )
    return True


def _capacity_part(history: AircraftHistory, pack: str) -> EvidencePart | None:
    """Logarithm of the capacity, with warmth or time of year as covariates."""
    mah, used = (history.table.column(pack, f)[0] for f in ("capacity_mah", "used_mah"))
    at = np.flatnonzero((mah > 0) & (used > 0))
    if at.size:
        deep = np.log(used[at])
        at = at[np.abs(deep - np.median(deep)) <= np.log(_AS_DEEP)]
    if at.size == 0:
        return None
    part = EvidencePart(
        name="capacity_mah",
        at=at,
        y=np.log(mah[at]),
        se=np.zeros(at.size),
        sigma=_SIGMA,
        weight=_WEIGHT,
    )
    if is_warmth_logged(history, part):
        logged = [history.flights[int(k)].temperature_c for k in at]
        warm = np.array([np.nan if c is None else c for c in logged])
        warm = np.nan_to_num(warm - np.nanmean(warm))
        return part.explained_by(warm[:, None], [_PER_K], [_PER_K_SD])
    days = time_of_year([history.day(int(k)) for k in at])
    return part.explained_by(days, [0.0, 0.0], [_YEAR_SD, _YEAR_SD])


def _least(history: AircraftHistory, part: EvidencePart) -> float:
    """The loss that is told."""
    dated = any(history.day(int(k)) is not None for k in part.at)
    return _FADED if dated or is_warmth_logged(history, part) else _FADED + _WINTER
