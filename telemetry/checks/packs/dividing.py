"""How two packs divide each change of load: the resistances of their ways to the bus."""

from __future__ import annotations

from functools import partial

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    established,
)
from telemetry.checks.packs.sets import of_all, set_evidence, set_name, weak_set
from telemetry.model.log import FloatArray
from telemetry.results import Level
from telemetry.trends.parts import EvidencePart, part_of
from telemetry.trends.table import FeatureTable
from telemetry.trends.turns import PackSets

# A way's resistance up by this share, against the other pack's (heuristic): cells are about half of
# it.
_WATCH_PCT, _GROUND_PCT = 15.0, 100.0
# Scatter of the logarithm of the ratio from flight to flight, to begin with (heuristic).
_SIGMA = 0.03
# Stretches that tell a ratio, and the share of the load below which a pack hardly conducts
# (heuristic).
_FEW, _LEAST_SHARE = 10, 0.08
_HARDLY = 0.3


def divider_part(table: FeatureTable, pack: str, other: str) -> EvidencePart | None:
    """Logarithm of the resistance of a pack's way to the bus over the other's, flight by flight.

    Two sources at one bus divide a change of load inversely to the resistances of their ways
    (Kirchhoff), whatever their open-circuit voltages are: these set the standing share only. The
    slow change of the share with charge is taken out by a parabola in time; what is left of the
    two currents lies on a line whose slope is found as the main axis, for both carry error
    (orthogonal regression).

    Parameters
    ----------
    table : FeatureTable
    pack, other : str

    Returns
    -------
    Part or None
        None where no flight tells it.
    """
    found = table.rows(("dividers", pack, other), partial(_dividers, pack, other))
    return None if found is None else part_of("divider", *found, sigma=_SIGMA)


def _dividers(pack: str, other: str, table: FeatureTable) -> tuple[FloatArray, FloatArray] | None:
    one, two = (table.stretches("air", "amps", p) for p in (pack, other))
    if one is None or two is None:
        return None
    y, se = np.full((2, table.size), np.nan)
    for k, both in enumerate(zip(two, one, strict=True)):
        found = log_ratio(*both)
        if found is not None:
            y[k], se[k] = found
    return y, se


def log_ratio(top: FloatArray, bottom: FloatArray) -> tuple[float, float] | None:
    """Log of the ratio of the movements of two currents, and its standard error."""
    both = np.isfinite(top) & np.isfinite(bottom)
    total = top + bottom
    if not both.any():
        return None
    least = _LEAST_SHARE * float(np.median(total[both]))
    good = both & (top > least) & (bottom > least)
    n = int(good.sum())
    if n < max(_FEW, 0.5 * int(both.sum())):
        return None
    t = np.flatnonzero(good)
    slow = np.stack([np.ones(n), t, t**2], axis=1)
    moved = np.stack([top[good], bottom[good]], axis=1)
    fitted, *_ = np.linalg.lstsq(slow, moved, rcond=None)
    moved = moved - slow @ fitted
    (xx, xy), (_, yy) = moved.T @ moved
    # Main axis of the cloud; both currents rise with the load or the ratio means nothing.
    if xy <= 0:
        return None
    slope = ((xx - yy) + np.hypot(xx - yy, 2.0 * xy)) / (2.0 * xy)
    squared = min(float(xy**2 / (xx * yy)), 1.0)
    if squared < _HARDLY:
        return None
    return float(np.log(slope)), float(np.sqrt((1.0 - squared) / squared / (n - 4)))


def judge_way(
    history: AircraftHistory,
    pack: str,
    other: str,
    sets: PackSets,
    first: int,
    found: JudgedAcross,
) -> None:
    """Finding source-resistance-rising of a pack's whole way to the bus: cells, lead, switch."""
    part = divider_part(history.table, pack, other)
    if part is None:
        return
    weak = weak_set(history, part, sets, first, pack, logarithmic=True)
    j = history.judge([of_all(part, sets, weak)], first, pack, logarithmic=True)
    if j is None:
        return
    found.trends.append(
        JudgedTrend(
            "source-resistance-rising",
            pack,
            j,
            quantity=f"resistance of its way to the bus, against {other}",
            unit="%",
            scale=100.0,
            watch=_WATCH_PCT,
            ground=_GROUND_PCT,
        )
    )
    which = pack
    evidence: dict[str, float | int | str | None] = {"compared_with": other}
    if j.signal is None and weak is not None:
        j, which = weak.judgement, f"{pack} of {set_name(sets, weak.one)}"
        evidence |= set_evidence(sets, weak.one)
    pct = 100.0 * j.now
    if j.signal is None or pct < _WATCH_PCT:
        return
    grave = j.sure and pct >= _GROUND_PCT
    found.drafts.append(
        established(
            history,
            "source-resistance-rising",
            pack,
            j,
            level=Level.GROUND if grave else Level.WATCH,
            title=f"{which} takes up less of each load: the resistance of its way to the bus "
            f"(cells, lead, switch) is up by {pct:.0f} % against {other}",
            quantity="resistance of the way to the bus",
            unit="",
            rise_unit="%",
            scale=100.0,
            limit=None if grave else _GROUND_PCT,
            evidence=evidence,
        )
    )
