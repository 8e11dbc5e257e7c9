"""Currents whose reading stood still: a held value is no servo that draws evenly, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.currents.taking import in_blocks, node_readings
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import outside
from telemetry.numerics.spans import overlap_s, runs
from telemetry.readings import Reading, Readings
from telemetry.results import FrozenCurrent, Phase, PhaseKind

#: One and the same reading for so long in flight, s, and for so many readings' time (heuristic: no
#: servo in the air draws the same to the last digit for that long).
_LEAST_S, _READINGS = 60.0, 20.0
#: Part of the readings that differ from the one before where it moves (heuristic).
_MOVES = 0.4
#: It stood within its own usual range, and so many steps and A over what it rests at.
_RANGE, _STEPS, _OVER_A = (0.1, 0.95), 1.5, 0.05
#: Of what it drew before, the lowest that counts.
_LOWEST = 0.01
#: What the whole draws beside all other nodes moves by this part of what it did before; correlation
#: with the node's own current from which it tells of it (heuristic).
_FLOWS_ON, _TOLD = 0.7, 0.9
_BLOCK_S = 2.0


def frozen_currents(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[FrozenCurrent, ...]:
    """Node currents that read one and the same for a minute of flight while all others moved.

    A servo that is dead leaves its node at rest, one that stalls lifts it above all it drew before.
    A reading that stands somewhere between, or whose node goes on drawing by the current of the
    whole, is held by its sensor or its telemetry.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
    """
    ends = node_readings(readings, aircraft)
    flown = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.FLIGHT]
    air = [
        np.concatenate([r.within(a, b).v for a, b in flown]) if flown else np.empty(0) for r in ends
    ]
    out = []
    for r, v in zip(ends, air, strict=True):
        others = [o for o in ends if o is not r]
        for start, end, value in _standing(r, flown, readings.end_s):
            moving = [_moves(o.within(start, end).v) for o in others]
            alone = bool(moving) and 2 * sum(moving) > len(moving)
            before = r.within(flown[0][0], start).v
            if not alone or not _moves(before if before.size > _READINGS else v):
                continue
            # Below all it ever drew, at rest as well, it is no held reading: servos are off.
            earlier = r.v[r.t < start]
            if earlier.size and value < np.quantile(earlier, _LOWEST, method="lower"):
                continue
            if _between(value, before, r.resolution or 0.0) or _flows_on(
                r, others, readings, aircraft, (flown[0][0], start), (start, end)
            ):
                out.append(FrozenCurrent(place=r.place, start_s=start, end_s=end, value_a=value))
                break
    return tuple(out)


def without_frozen(readings: Readings, frozen: Sequence[FrozenCurrent]) -> Readings:
    """The same without the currents that stood still, for as long as they did."""

    def cut(r: Reading) -> Reading:
        spans = [(f.start_s, f.end_s) for f in frozen if f.place == r.place]
        if r.channel.quantity is not Quantity.CURRENT or not spans:
            return r
        # The first of them was read.
        keep = outside(r.t, spans) | np.isin(r.t, [start for start, _ in spans])
        return replace(r, t=r.t[keep], v=r.v[keep])

    return replace(readings, channels=tuple(cut(r) for r in readings.channels))


def _standing(
    r: Reading, flown: Sequence[tuple[float, float]], end_s: float
) -> list[tuple[float, float, float]]:
    """Stretches of one and the same reading, long enough in flight: start, end, value."""
    least = max(_LEAST_S, _READINGS * (r.update_s or 0.0))
    same = np.diff(r.v) == 0.0
    out = []
    for i, k in runs(same):
        start, end = float(r.t[i]), float(r.t[k + 1]) if k + 1 < r.size else end_s
        if sum(overlap_s((start, end), f) for f in flown) >= least:
            out.append((start, end, float(r.v[i])))
    return out


def _moves(v: FloatArray) -> bool:
    return bool(v.size >= _READINGS and (np.diff(v) != 0.0).mean() >= _MOVES)


def _between(value: float, before: FloatArray, step: float) -> bool:
    """Whether a reading is neither its node's rest nor more than it ever drew."""
    if before.size < _READINGS:
        return False
    low, high = np.quantile(before, _RANGE)
    return bool(low + max(_STEPS * step, _OVER_A) < value <= high)


def _flows_on(
    r: Reading,
    others: Sequence[Reading],
    readings: Readings,
    aircraft: Aircraft,
    before: tuple[float, float],
    during: tuple[float, float],
) -> bool:
    """Whether the current of the whole less that of all other nodes moves on as it did before."""
    whole = next((x for x in readings.of(Quantity.CURRENT) if x.place == aircraft.root), None)
    if whole is None:
        return False
    block_s = max(_BLOCK_S, *(3.0 * (x.update_s or 0.0) for x in (r, whole, *others)))
    edges = np.arange(before[0], during[1] + 0.5 * block_s, block_s)
    if edges.size < 3:
        return False
    left = in_blocks(whole, edges)[0] - sum(in_blocks(o, edges)[0] for o in others)
    own = in_blocks(r, edges)[0]
    at = edges[:-1]
    early, late = (at < before[1]) & np.isfinite(left + own), (at >= during[0]) & np.isfinite(left)
    if min(early.sum(), late.sum()) < _READINGS or np.ptp(own[early]) == 0.0:
        return False
    # Only where what is left was this node's movement at all.
    told = float(np.corrcoef(left[early], own[early])[0, 1])
    return told >= _TOLD and float(left[late].std()) >= _FLOWS_ON * float(left[early].std())
