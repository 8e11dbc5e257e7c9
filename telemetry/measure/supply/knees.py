"""The knee of an empty pack: a voltage that falls faster and faster at the load it had before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at, outside
from telemetry.numerics.statistics.robust import theil_sen
from telemetry.numerics.statistics.windows import row_quantiles, windows
from telemetry.readings import Reading, Readings, source_voltages, total_current
from telemetry.results import WORKING_PHASES, Event, Knee, Phase, Resistance

#: Blocks, s and in intervals of the voltage, and how high a quantile stands for one: the load pulls
#: down moments, the end of a charge all of them (heuristic).
_BLOCK_S, _BLOCK_STEPS, _UPPER = 5.0, 4.0, 0.75
_FEWEST = 10
#: The usual rate is that of the first part of the blocks; a knee leaves it for good by this part of
#: the voltage, and goes on to the deep part; at least three blocks long (heuristic).
_USUAL, _LEAVES, _DEEP = 0.6, 0.01, 0.04
_LONG = 3
#: A fall that begins in the first so much of the blocks up to the lowest is the usual rate itself,
#: as that part tells it (heuristic).
_TOLD = 0.4
#: A step makes most of its depth at once, a knee not more than this part in one block (heuristic).
_AT_ONCE = 0.6
#: It falls so many times as fast as before, and does not come back by a quarter under load
#: (heuristic).
_FASTER, _BACK = 3.0, 0.25
#: Afterwards an empty pack rests lower than before by more than this part of its fall; what it
#: rests at is this quantile of its later readings (heuristic).
_RESTS, _REST = 0.3, 0.9
#: A load that rose by this factor may have pulled the voltage down (heuristic).
_ROSE = 1.4
_OLDEST_S = 5.0


def find_knees(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    resistances: Sequence[Resistance],
    falls: Sequence[Event],
) -> tuple[Knee, ...]:
    """Knees of the packs, or of the supply where no pack's voltage is logged.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
        Under load they are looked for; in a recording without any such, all over it.
    resistances : sequence of Resistance
        Of the same flight: what load takes is added again where they tell it.
    falls : sequence of Event
        Of the same flight: a slow one that lasts is the knee of a pack that falls within seconds.
    """
    found = (
        _knee(volts, readings, aircraft, phases, resistances)
        or _sharp(volts, readings, aircraft, phases, resistances, falls)
        for volts in source_voltages(readings, aircraft)
    )
    return tuple(k for k in found if k is not None)


def _knee(
    volts: Reading,
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    resistances: Sequence[Resistance],
) -> Knee | None:
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in WORKING_PHASES]
    inside = ~outside(volts.t, loaded) if loaded else np.ones(volts.size, dtype=bool)
    open_v = _without_load(readings, aircraft, resistances, volts)
    inside &= np.isfinite(open_v)
    width_s = max(_BLOCK_S, _BLOCK_STEPS * (volts.update_s or readings.row_s))
    t, u = _blocks(volts.t[inside], open_v[inside], width_s)
    if t.size < _FEWEST:
        return None
    last = int(np.argmin(u))
    usual = theil_sen(t[: int(_USUAL * (last + 1))], u[: int(_USUAL * (last + 1))])
    if last < _LONG or usual is None:
        return None
    level = float(np.median(u))
    head = slice(0, int(_USUAL * (last + 1)))
    line = float(np.median(u[head] - usual.slope * t[head])) + usual.slope * t
    below = (line - u)[: last + 1]
    left = np.flatnonzero(below < _LEAVES * level)
    start = int(left[-1]) if left.size else 0
    depth, fall = float(below[-1]), float(u[start] - u[last])
    if last - start < _LONG or start < _TOLD * last or depth < _DEEP * level:
        return None
    at_once = float(-np.diff(u[start : last + 1]).min())
    rate = fall / float(t[last] - t[start])
    after = u[last + 1 :]
    back = bool(after.size) and float(np.median(after)) > u[last] + _BACK * depth
    if at_once > _AT_ONCE * fall or rate < _FASTER * max(0.0, -usual.slope) or back:
        return None
    if _load_rose(readings, aircraft, (float(t[0]), float(t[start]), float(t[last]))):
        return None
    return Knee(
        place=volts.place,
        start_s=float(t[start]),
        end_s=max(float(t[-1]), float(t[last])) + width_s,
        before_v=float(u[start]),
        end_v=float(u[last]),
        depth_v=depth,
    )


def _load_rose(readings: Readings, aircraft: Aircraft, at_s: tuple[float, float, float]) -> bool:
    """Whether the mean current between the last two instants lies well above that before them."""
    total = total_current(readings, aircraft)
    if total is None:
        return False
    a, b, c = np.searchsorted(total.t, at_s)
    if min(b - a, c - b) < 1:
        return False
    return float(total.v[b:c].mean()) > _ROSE * float(total.v[a:b].mean())


def _sharp(
    volts: Reading,
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    resistances: Sequence[Resistance],
    falls: Sequence[Event],
) -> Knee | None:
    """The deepest slow fall of a place from which it did not come back under load."""
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in WORKING_PHASES]
    slow = [e for e in falls if e.place == volts.place and e.slow and e.depth_v and e.reference_v]
    if not slow:
        return None
    e = max(slow, key=lambda e: e.depth_v or 0.0)
    reference_v, depth_v = e.reference_v or 0.0, e.depth_v or 0.0
    under_load = ~outside(volts.t, loaded)
    before, later = under_load & (volts.t < e.start_s), under_load & (volts.t > e.end_s)
    if before.sum() < max(_FEWEST, int(later.sum())):
        return None  # a first load pulls every pack down; the end of a charge comes late
    usual_v = min(reference_v, float(np.median(volts.v[before])))
    back = bool(later.any()) and float(np.median(volts.v[later])) > usual_v - _BACK * depth_v
    # What rests near its old level was pulled down by load: the charge is still there.
    after = volts.v[volts.t > e.end_s]
    rests = bool(after.size) and float(np.quantile(after, _REST)) > reference_v - _RESTS * depth_v
    if back or rests or depth_v < _DEEP * reference_v:
        return None
    open_v = _without_load(readings, aircraft, resistances, volts)
    if _as_before(volts.t, open_v, before, under_load & (volts.t >= e.start_s), reference_v):
        return None
    return Knee(
        place=volts.place,
        start_s=e.start_s,
        end_s=max([e.end_s, *(end for _, end in loaded)]),
        before_v=reference_v,
        end_v=reference_v - depth_v,
        depth_v=depth_v,
    )


def _as_before(
    t: FloatArray,
    open_v: FloatArray,
    before: NDArray[np.bool_],
    since: NDArray[np.bool_],
    reference_v: float,
) -> bool:
    """Whether a voltage, the load taken out, falls no faster than it fell until then."""
    known = np.isfinite(open_v)
    at, u = _blocks(t[before & known], open_v[before & known], _BLOCK_S)
    # Like with like: single readings lie off by what voltage and current miss of one another.
    later, then = _blocks(t[since & known], open_v[since & known], _BLOCK_S)
    trend = theil_sen(at, u)
    if trend is None or not later.size:
        return False
    level = float(np.median(u - trend.slope * at))
    below = float(np.quantile(level + trend.slope * later - then, _UPPER))
    since_then = theil_sen(later, then)
    faster = since_then is None or since_then.slope < _FASTER * min(trend.slope, 0.0)
    # A charge falls by what is drawn: with a higher mean current somewhat faster is no knee.
    return below < (_LEAVES if faster else _DEEP / 2) * reference_v


def _without_load(
    readings: Readings, aircraft: Aircraft, resistances: Sequence[Resistance], volts: Reading
) -> FloatArray:
    """The voltage with what its current takes added again, V."""
    own = readings.get(Quantity.CURRENT, volts.place)
    total = total_current(readings, aircraft)
    for r in resistances:
        if r.place != volts.place or r.mohm is None:
            continue
        if r.kind == "source" and own is not None and own.size:
            return volts.v + r.mohm / 1000 * held_at(own.t, own.v, volts.t, _OLDEST_S)
        if r.kind in ("source", "apparent") and total is not None:
            return volts.v + r.mohm / 1000 * held_at(total.t, total.v, volts.t, _OLDEST_S)
    return volts.v


def _blocks(t: FloatArray, v: FloatArray, width_s: float) -> tuple[FloatArray, FloatArray]:
    """Middle and upper quantile of the blocks that hold two readings and more."""
    if not t.size:
        return t, v
    block = ((t - t[0]) // width_s).astype(np.intp)
    kept, first, count = np.unique(block, return_index=True, return_counts=True)
    upper = np.empty(kept.size)
    for which, values in windows(v, first, first + count):
        upper[which] = row_quantiles(values, _UPPER)
    several = count > 1
    return t[0] + width_s * (kept[several] + 0.5), upper[several]
