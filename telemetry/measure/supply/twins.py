"""Packs that share the load held against one another: their resistances, and how these relax.

What different instants of voltage and current take off a resistance, they take off both alike where
both are read in one way, so that the ratio is known better than either. Both are taken over the
same blocks of time; the error comes from leaving out one stretch of the log after the other
(jackknife with groups: B. Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982,
from memory), which knows of correlated scatter what no formula knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.measure.resistance import undisturbed
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.intervals import Interval
from telemetry.numerics.resistance.matching import low_passed
from telemetry.readings import Reading, Readings, block_means
from telemetry.results import PackOut, PackTwins, Phase

#: Blocks: their length, s, and fewest readings; how many a log is cut into at least, and needs.
_BLOCK_S, _READINGS, _MOST_BLOCKS, _LEAST = 2.0, 4.0, 40, 25
#: Stretches that are left out one by one, and the 97.5 % point of Student's t with one less.
_GROUPS, _T95 = 12, 2.2
#: The voltage without load falls along a curve of this degree.
_DEGREE = 3
#: Time constant of the slow part of a cell's resistance, s (from memory: 5 to 30 s), and the grid
#: on which a current is slowed.
_SLOW_S, _GRID_S = 12.0, 0.25
#: Two current sensors of 1 to 2 % (common practice, no source), half-width of 95 %.
_TWO_GAINS = 0.028
#: What load takes of the higher one's voltage spans so many steps of its sensor (heuristic).
_STEPS = 0.5
#: A block is out of line by so many times the median departure, which is no less than this part
#: of the sensor's step; where more than that part of all blocks is, it is no false reading.
_OFF, _ROUNDED, _FEW = 8.0, 0.25, 0.05


class _Side(NamedTuple):
    """Voltage and current of one pack."""

    volts: Reading
    amps: Reading


def pack_twins(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], outs: Sequence[PackOut]
) -> tuple[PackTwins, ...]:
    """Of two packs that share the load, the one with more resistance held against the other.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out.
    outs : sequence of PackOut
        So is whatever else switched a pack off.

    Returns
    -------
    tuple of PackTwins
        Empty where not two packs with voltage and current share, the log is too short, a current
        hardly moved, or no resistance came out.
    """
    shared = [p.name for p in aircraft.packs if p.role == "shared"]
    calm = undisturbed(readings, phases, outs)
    sides = [
        _Side(volts, amps)
        for name in shared
        if (volts := calm.get(Quantity.VOLTAGE, name))
        and (amps := calm.get(Quantity.CURRENT, name))
    ]
    if len(shared) != 2 or len(sides) != 2:
        return ()
    series = [r for side in sides for r in side]
    if any(r.size < _LEAST for r in series):
        return ()
    update_s = max(r.update_s or readings.row_s for r in series)
    start, end = max(r.t[0] for r in series), min(r.t[-1] for r in series)
    block_s = max(_READINGS * update_s, min(_BLOCK_S, (end - start) / _MOST_BLOCKS))
    edges = np.arange(start, end, block_s)
    step_v = max(side.volts.resolution or 0.0 for side in sides)
    ohm = _jackknifed([_means(side, edges) for side in sides], step_v)
    if ohm is None or (ohm <= 0).any():
        return ()
    if ohm[0, 0] < ohm[0, 1]:
        sides, ohm = sides[::-1], ohm[:, ::-1]
    high, low = sides
    span_a = float(np.subtract(*np.quantile(high.amps.v, [0.98, 0.02])))
    if ohm[0, 0] * span_a < _STEPS * (high.volts.resolution or 0.0):
        return ()
    times, half = _spread(np.log(ohm[:, 0] / ohm[:, 1]))
    half = float(np.hypot(half, _TWO_GAINS))
    # Relaxation is told by what came before: by shorter blocks.
    edges = np.arange(start, end, max(block_s / 2, 2 * update_s))
    parts = _jackknifed([_means(side, edges, relaxes=True) for side in sides], step_v)
    slow = None if parts is None else _slow_part(parts)
    found = PackTwins(
        place=high.volts.place,
        compared_with=low.volts.place,
        mohm=1000.0 * float(ohm[0, 0]),
        compared_mohm=1000.0 * float(ohm[0, 1]),
        times=float(np.exp(times)),
        low_times=float(np.exp(times - half)),
        high_times=float(np.exp(times + half)),
        more_v=float(ohm[0, 0] - ohm[0, 1]) * span_a,
        step_v=step_v,
        slow_part=None if slow is None else slow.value,
        low_slow_part=None if slow is None else slow.low,
        high_slow_part=None if slow is None else slow.high,
    )
    return (found,)


def _means(side: _Side, edges: FloatArray, *, relaxes: bool = False) -> FloatArray:
    """Means over blocks: the voltage, the current, and the slowed current."""
    rows = [block_means(r.t, r.v, edges) for r in side]
    if relaxes:
        grid = np.arange(edges[0], edges[-1], _GRID_S)
        amps = np.interp(grid, side.amps.t, side.amps.v)
        keep = float(np.exp(-_GRID_S / _SLOW_S))
        rows.append(block_means(grid, low_passed(amps, keep, amps[0]), edges))
    return np.array(rows)


def _jackknifed(columns: Sequence[FloatArray], step_v: float) -> FloatArray | None:
    """Resistances, Ohm, side by side: of all blocks, then without one stretch after the other."""
    at = np.flatnonzero(np.isfinite(np.vstack(columns)).all(axis=0))
    if at.size < _LEAST or any(np.ptp(c[1, at]) <= 0 for c in columns):
        return None
    x = np.linspace(-1.0, 1.0, columns[0].shape[1])
    drift = np.stack([x**k for k in range(_DEGREE + 1)])
    designs = [np.vstack((-c[1:], drift)).T for c in columns]
    lines = [_in_line(d[at], c[0, at], step_v) for d, c in zip(designs, columns, strict=True)]
    at = at[np.all(lines, axis=0)]
    rows = []
    nothing = np.empty(0, dtype=np.intp)
    for gone in (nothing, *np.array_split(np.arange(at.size), _GROUPS)):
        keep = np.delete(at, gone)
        row = []
        for design, c in zip(designs, columns, strict=True):
            answer, *_ = np.linalg.lstsq(design[keep], c[0, keep], rcond=None)
            row.append(answer[: c.shape[0] - 1])
        rows.append(np.concatenate(row))
    return np.array(rows)


def _in_line(design: FloatArray, volts: FloatArray, step_v: float) -> NDArray[np.bool_]:
    """Blocks that a fit to all of them leaves no further off than chance does.

    One false reading of a current moves the mean of its block, and the fit, but not the voltage.
    """
    answer, *_ = np.linalg.lstsq(design, volts, rcond=None)
    off = np.abs(volts - design @ answer)
    apart = off > _OFF * max(float(np.median(off)), _ROUNDED * step_v)
    return ~apart if np.mean(apart) <= _FEW else np.ones(apart.size, dtype=bool)


def _spread(answers: FloatArray) -> tuple[float, float]:
    """The answer of all, and its half-width of 95 % from those without one stretch each."""
    others = answers[1:]
    scatter = float(((others - others.mean()) ** 2).sum())
    return float(answers[0]), _T95 * float(np.sqrt((_GROUPS - 1) / _GROUPS * scatter))


def _slow_part(parts: FloatArray) -> Interval | None:
    """What of the excess comes slowly over what comes at once; None where there surely is none."""
    fast, slow, other_fast, other_slow = parts.T
    more, unsure = _spread(fast - other_fast)
    if more - unsure <= 0:
        return None
    return Interval.around(*_spread((slow - other_slow) / (fast - other_fast)))
