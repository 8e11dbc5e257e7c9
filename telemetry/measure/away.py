"""What the voltages say of a pack that gives no current: gone, cut off, or held off by another.

Between a pack and the bus lies a switch or a diode. A pack that could give and does not, because
another one's voltage is higher, never lies above the bus by more than that switch drops: it would
give. One whose way is open rests above the loaded bus, and rises further above it the more the
other one carries. One that is lost with its sensor reads nothing.
"""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at
from telemetry.numerics.spans import mask_to_spans, merge
from telemetry.readings import NO_SUPPLY_V, Reading, Readings
from telemetry.results import OutSign

# A regulator lies between where a pack stays above the bus by this much, giving (heuristic): its
# set-point, not the pack's voltage, decides who gives.
HEAD_V = 0.8
# Means of two readings of one moment differ by this, or by half of their resolutions (heuristic).
_READ_V = 0.03
# By half of that over a span so long, s.
_LONG_S = 30.0
# A pack whose own voltage fell by this part at once, and the other's did not, broke down
# (heuristic: a third of a cell of two).
_COLLAPSED = 0.15
_GIVING = 0.2
# "Just before" is the last so many seconds of like load, within this time; a reading counts for
# so long (heuristic).
JUST_S, NEAR_S, HELD_S = 10.0, 60.0, 5.0
_FEW = 3
# Just before and after a stop are so many intervals, and at least so long; the load is the same
# above this part of what it was (heuristic).
_JUST_STEPS, _STEP_S, _SAME_LOAD = 4.0, 2.0, 0.8


def dead_spans(
    readings: Readings, aircraft: Aircraft, name: str, grid: FloatArray
) -> list[tuple[float, float]]:
    """Stretches in which a pack's own voltage is gone while another supply is read.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    name : str
        The pack; one that never read a voltage is not connected to its sensor and is passed over.
    grid : ndarray
        Even instants, s.
    """
    own = readings.get(Quantity.VOLTAGE, name)
    others = [r for r in _supplies(readings, aircraft) if r.place != name]
    if own is None or own.size < _FEW or not others:
        return []
    dead = held_at(own.t, own.v, grid, HELD_S) < NO_SUPPLY_V
    alive = np.zeros(grid.size, dtype=bool)
    for r in others:
        alive |= held_at(r.t, r.v, grid, HELD_S) > NO_SUPPLY_V
    before = np.cumsum(held_at(own.t, own.v, grid, HELD_S) > 2 * NO_SUPPLY_V) > 0
    step = float(grid[1] - grid[0]) if grid.size > 1 else 0.0
    return merge(mask_to_spans(grid, dead & alive & before, hold_s=2 * step), 2.0)


def _supplies(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    names = {p.name for p in aircraft.packs} | {aircraft.root or ""}
    return [r for r in readings.of(Quantity.VOLTAGE) if r.place in names and r.size]


def sign_of(
    readings: Readings,
    aircraft: Aircraft,
    name: str,
    span: tuple[float, float],
    flows: tuple[FloatArray, FloatArray, FloatArray] | None,
) -> OutSign:
    """What the voltages say of a pack without current in a span.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    name : str
        The pack.
    span : (float, float)
        In which it gave nothing, s.
    flows : (grid, share, total) or None
        Instants [s], the pack's share of the current, and the total [A].
    """
    own = readings.get(Quantity.VOLTAGE, name)
    if own is None or own.within(*span).size < 1:
        return OutSign.UNKNOWN
    if float(np.median(own.within(*span).v)) < NO_SUPPLY_V:
        return OutSign.DEAD
    root = aircraft.root
    others = [r for r in _supplies(readings, aircraft) if r.place != name]
    if any(_collapsed(own, r, span) for r in others):
        return OutSign.DEAD
    below = next((r for r in others if r.place == root), others[0] if len(others) == 1 else None)
    if below is None or flows is None:
        return OutSign.UNKNOWN
    grid, share, total = flows
    head = held_at(own.t, own.v, grid, HELD_S) - held_at(below.t, below.v, grid, HELD_S)
    inside = (grid >= span[0]) & (grid < span[1]) & np.isfinite(head)
    with np.errstate(invalid="ignore"):
        gave = np.isfinite(head) & (share > _GIVING)
    near = gave & (np.abs(grid - span[0]) < NEAR_S)
    gave = near if near.sum() >= 2 * _FEW else gave
    if inside.sum() < _FEW or gave.sum() < _FEW:
        return OutSign.UNKNOWN
    amps = readings.get(Quantity.CURRENT, name)
    update_s = readings.row_s if amps is None or amps.update_s is None else amps.update_s
    at_once = _stopped_at_once(flows, span, update_s)
    usual = float(np.mean(head[gave]))
    if usual > HEAD_V:
        return OutSign.UNKNOWN if at_once else OutSign.HELD_OFF
    steps = (own.resolution or 0.0) + (below.resolution or 0.0)
    loaded = inside & (total >= np.nanmedian(total[inside]))
    # One reading held from before the stop, under another load, says nothing.
    above = float(np.median(head[loaded] if loaded.any() else head[inside]))
    margin = max(_READ_V, 0.5 * steps)
    # Over a long span single readings do not count: both sensors are held against themselves.
    long = span[1] - span[0] >= _LONG_S
    if above > usual + (max(_READ_V / 2, 0.5 * steps) if long else margin):
        return OutSign.OPEN
    # While it gave it lay above the bus by what its way drops; held off it lies lower.
    return OutSign.UNKNOWN if at_once and above > usual - margin else OutSign.HELD_OFF


def _stopped_at_once(
    flows: tuple[FloatArray, FloatArray, FloatArray], span: tuple[float, float], update_s: float
) -> bool:
    """Whether a pack stopped from one reading to the next while the load stayed.

    One that another holds off fades as the voltages part, or stops as the load falls.
    """
    grid, share, total = flows
    width = max(_JUST_STEPS * update_s, _STEP_S)
    start, end = span
    known = np.isfinite(share)
    before = known & (grid < start - update_s) & (grid >= start - update_s - width)
    after = known & (grid >= start + update_s) & (grid < min(end, start + update_s + width))
    if min(before.sum(), after.sum()) < 2:
        return False
    gave = float(np.median(share[before])) > _GIVING
    stopped = float(np.max(share[after])) < _GIVING / 4
    stayed = float(np.median(total[after])) > _SAME_LOAD * float(np.median(total[before]))
    return gave and stopped and stayed


def _collapsed(r: Reading, beside: Reading, span: tuple[float, float]) -> bool:
    """Whether a voltage fell far at the span's start, and the one beside it did not."""

    def fall(x: Reading) -> float:
        before = x.within(span[0] - JUST_S, span[0] - 0.5).v
        after = x.within(span[0] + 0.5, min(span[1], span[0] + JUST_S)).v
        if min(before.size, after.size) < _FEW:
            return 0.0
        return 1.0 - float(np.median(after)) / max(float(np.median(before)), 1e-9)

    return fall(r) > _COLLAPSED and fall(beside) < 0.5 * _COLLAPSED
