"""Stretches of a flight in which amperes were added to what a node should draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.model.log import FloatArray
from telemetry.numerics.spans import runs
from telemetry.numerics.statistics.windows import row_quantiles
from telemetry.numerics.stretches import Stretch, candidates, judged
from telemetry.readings import Reading

BoolArray = NDArray[np.bool_]

_LEAST_OUTSIDE = 20  # blocks to compare with
#: A sensor's step says nothing: so many of them do.
_STEPS = 3.0
#: A stretch in flight: from so many seconds on, so many A and so much of what the counterpart says
#: it should draw (heuristic: moves of a second differ between two wings, those of half a minute do
#: not).
_SIZES = ((60.0, 0.3, 0.3), (30.0, 0.3, 0.45), (10.0, 0.6, 0.8), (3.0, 0.8, 0.9))
#: Where the counterpart drew so many times what it does elsewhere, so many times as much: there
#: the share was not measured, and no two wings share all loads alike (heuristic).
_HARDER, _BEYOND = 1.5, 2.0
_ERRORS = 5.0  # standard errors
_RIVALS, _RIVALS_LONG, _LONG_S = 2.0, 1.4, 60.0
#: Of a lone node in fewer blocks than these: so short a time a flight has many of.
_BRIEF, _RIVALS_BRIEF = 3, 3.0
#: Of what is added, the lower fifth of the readings shows this part at the least, else the other
#: one of the pair fell; unless that one kept so much of what it drew, and this one's rose so many
#: times over: what swings falls back now and then.
_FLOOR_PART, _FLOOR_QUANTILE, _KEPT, _MANIFOLD = 0.4, 0.2, 0.7, 2.0
#: Without a counterpart: so much over its own highest second elsewhere, A and factor; how even it
#: is; and from so many seconds on, so much over the usual lower fifth.
_PLATEAU_A, _PLATEAU, _PLATEAU_BLOCKS, _EVEN = 1.2, 1.25, 2, 0.25
_ALONE_S, _ALONE_A, _ALONE = 40.0, 0.6, 1.0
#: So few readings have to lie over this part of all others; fewer than these say nothing, held
#: through missed updates or not.
_FEW, _TOP, _FEWEST = 15, 0.99, 3
#: Swing from reading to reading in a stretch, over the usual one, as part of what is added: it
#: hunts, it does not bind (heuristic: what a servo draws against a stop swings by some per cent).
_SWINGS = 0.15
#: Part of the stretch in which least was to be done, and jumps that are enough to tell.
_CALM, _JUMPS = 0.5, 12
#: A share that changed for good reaches an end of the flight, but for so many blocks.
_EDGE = 3
#: Swings that shrink by this part of the logarithm by which the level falls fall with it; nothing,
#: in steps and as part of a level.
_SHRINKS, _NOTHING = 0.5, 0.02
#: Of what a lone node draws more for long, its lowest readings show this part: it never lets go.
_CONSTANT = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentBlocks:
    """The current of a node in flight, block by block: mean, lowest [A]; the sensor's step [A].

    ``update_s`` is the time from reading to reading, ``fresh`` how many a block holds.
    """

    mean: FloatArray
    low: FloatArray
    block_s: float
    step: float
    update_s: float
    fresh: FloatArray

    def flat(self, whole: slice, lowest: slice) -> bool:
        """Whether it lies still, as a stalled servo does and a moving one not."""
        values = np.concatenate((self.mean[whole], self.low[lowest]))
        return bool(np.ptp(np.quantile(values, [0.15, 0.85])) <= _EVEN * np.median(values))


def within(s: Stretch) -> slice:
    """Its blocks without those in which it begins and ends."""
    return slice(s.first + 1, s.end - 1) if s.end - s.first > 2 else slice(s.first, s.end)


def added_stretch(now: CurrentBlocks, counterpart: FloatArray) -> Stretch | None:
    """The longest stretch in which amperes were added to what the counterpart says."""
    mine, low = now.mean, now.low
    lowest = float(np.quantile(mine, 0.02))
    for first, end in candidates(_less(mine, counterpart, np.ones(mine.size, dtype=bool))):
        outside = np.ones(mine.size, dtype=bool)
        outside[first:end] = False
        if outside.sum() < _LEAST_OUTSIDE:
            continue
        s = judged(_less(mine, counterpart, outside), first, end, counterpart)
        if s is None:
            continue
        seconds = (end - first) * now.block_s
        should = float(np.median(mine[first:end])) - s.excess
        rivals = _RIVALS_LONG if seconds >= _LONG_S else _RIVALS
        least = next(((a, part) for sec, a, part in _SIZES if seconds >= sec), None)
        if least is not None and _beyond(counterpart, first, end):
            least = least[0], _BEYOND * least[1]
        # Nothing draws less than its rest: then the rest of the flight was fitted to the fault.
        below = should < lowest - _STEPS * now.step - 0.05
        if below or least is None or s.excess < max(least[0], least[1] * should, _STEPS * now.step):
            continue
        if s.excess < _ERRORS * s.se or s.excess < rivals * s.rival:
            continue
        # Both sides take what is commanded at once, ampere for ampere: flaps, gear, brakes.
        if _rise(mine, outside) - max(_rise(counterpart, outside), 0.0) < least[0]:
            continue
        # A few readings of a moving servo may all be peaks; those of a stalled one lie over them.
        few = seconds < _FEW * now.update_s
        if now.fresh[_upper(low, s) if few else within(s)].sum() < _FEWEST:
            continue
        if few and np.median(mine[first:end]) < np.quantile(mine[outside], _TOP):
            continue
        short = seconds < _SIZES[1][0]
        if short and not (
            _even(now, s) and _surely_higher(low, counterpart, outside, s, least[0], few=few)
        ):
            continue
        floor = np.quantile(low[first:end], _FLOOR_QUANTILE) - np.quantile(
            low[outside], _FLOOR_QUANTILE
        )
        kept = np.median(counterpart[first:end]) >= _KEPT * np.median(counterpart[outside])
        alone = not short and kept and s.excess >= _MANIFOLD * should
        if alone or floor >= _FLOOR_PART * s.excess:
            return s
    return None


def _rise(x: FloatArray, outside: BoolArray) -> float:
    """By how many amperes a stretch lies over the rest."""
    return float(np.median(x[~outside]) - np.median(x[outside]))


def _beyond(counterpart: FloatArray, first: int, end: int) -> bool:
    """Whether the counterpart drew far more in a stretch than it does elsewhere."""
    elsewhere = np.delete(counterpart, slice(first, end))
    return bool(np.median(counterpart[first:end]) > _HARDER * np.median(elsewhere))


def _even(now: CurrentBlocks, s: Stretch) -> bool:
    """Whether a short stretch is one level, but for the blocks in which it begins and ends."""
    high = _upper(now.low, s)
    lasts = max(_PLATEAU_BLOCKS, s.end - s.first - 2)
    return high.stop - high.start >= lasts and now.flat(high, high)


def _surely_higher(
    low: FloatArray,
    counterpart: FloatArray,
    fit: BoolArray,
    s: Stretch,
    least_a: float,
    *,
    few: bool,
) -> bool:
    """Whether a short stretch is higher than the counterpart is a block earlier or later, too.

    Two units are read at different instants: a move falls into one block here and the next there.
    Of a few readings each may be another move's: all those near are asked, on both sides.
    """
    beside = 2 if few else 1
    near = counterpart[max(0, s.first - beside) : s.end + beside]
    share = float(np.median(low[fit])) / max(float(np.median(counterpart[fit])), 1e-6)
    return float(np.quantile(low[within(s)], 0.25)) >= least_a + max(share, 1.0) * float(
        near.max() if few else np.quantile(near, 0.9)
    )


def _less(mine: FloatArray, counterpart: FloatArray, fit: BoolArray) -> FloatArray:
    """A current less its share of the counterpart's, fitted over a part of the blocks.

    The share is that of the two sums over the lowest tenth of each, so that what was read at
    different instants does not bias it.
    """
    both = np.stack((mine, counterpart))[:, fit]
    moved, over = np.maximum(both - row_quantiles(both, 0.1)[:, None], 0.0).sum(axis=1)
    share = float(moved / over) if over > 0 else 0.0
    return np.asarray(mine - share * counterpart)


def least_added(now: CurrentBlocks, counterpart: FloatArray | None) -> float:
    """What half a minute of more would have to be to show, A; of a lone node what lasts longer."""
    usual = float(np.median(now.mean))
    if counterpart is None:
        return max(_ALONE_A, _ALONE * usual, _STEPS * now.step)
    first = now.mean.size // 3
    end = min(first + round(_SIZES[1][0] / now.block_s), now.mean.size - 1)
    s = judged(_less(now.mean, counterpart, np.ones(now.mean.size, dtype=bool)), first, end)
    noise = 0.0 if s is None else max(_ERRORS * s.se, _RIVALS * s.rival)
    return max(_SIZES[1][1], _SIZES[1][2] * usual, _STEPS * now.step, noise)


def lone_stretch(now: CurrentBlocks, others: Sequence[FloatArray]) -> Stretch | None:
    """Without a counterpart: what it never does elsewhere, while the others do nothing of it."""
    low, mean = now.low, now.mean
    for first, end in candidates(low):
        seconds = (end - first) * now.block_s
        s = judged(low, first, end)
        if s is None or seconds < 3.0 or s.excess < max(_ERRORS * s.se, _STEPS * now.step):
            continue
        outside = np.ones(mean.size, dtype=bool)
        outside[max(0, first - 3) : end + 3] = False
        usual = float(np.median(mean[outside]))
        top = float(np.quantile(mean[outside], 0.995))
        high = _upper(low, s)
        level = judged(mean, high.start, high.stop)
        rivals = _RIVALS if high.stop - high.start >= _BRIEF else _RIVALS_BRIEF
        plateau = (
            s.excess >= _PLATEAU_A
            # A move that is held for as long is the rival, not the peaks of moving.
            and level is not None
            and level.excess >= rivals * level.rival
            and high.stop - high.start >= _PLATEAU_BLOCKS
            and now.fresh[high].sum() >= _FEWEST
            and float(np.quantile(low[high], 0.25)) >= _PLATEAU * top
            and now.flat(high, high)
        )
        lasting = (
            seconds >= _ALONE_S
            and s.excess >= max(_ALONE_A, _ALONE * usual)
            and s.excess >= _RIVALS_LONG * s.rival
            and np.quantile(low[first:end], 0.05) - np.quantile(low[outside], 0.05)
            >= _CONSTANT * s.excess
        )
        if not (plateau or lasting):
            continue
        part = high if plateau else slice(first, end)
        moved = [float(np.median(x[part]) - np.median(x[outside])) for x in others]
        if any(m > 0.3 * s.excess for m in moved) or _repeats(mean, part):
            continue
        return s
    return None


def _upper(low: FloatArray, s: Stretch) -> slice:
    """Its longest run of blocks that lie wholly in the upper half of what was added."""
    inside = low[s.first : s.end]
    half = float(inside.max()) - 0.5 * max(s.excess, float(inside.max()) - float(np.median(low)))
    return max(
        (slice(s.first + a, s.first + b) for a, b in runs(inside >= half)),
        key=lambda r: r.stop - r.start,
    )


def _repeats(mean: FloatArray, part: slice) -> bool:
    """Whether the same height comes again, as a gear motor's does: up, and down."""
    level, blocks = float(np.median(mean[part])), part.stop - part.start
    near = np.abs(mean - level) <= 0.25 * level
    near[max(0, part.start - 5) : part.stop + 5] = False
    return bool(blocks < 12 and near.sum() >= max(2, blocks // 2))


def swings(
    r: Reading,
    s: Stretch,
    blocks: CurrentBlocks,
    start_s: FloatArray,
    counterpart: FloatArray | None,
) -> bool:
    """Whether what was added swings from reading to reading: a servo hunts, it does not bind.

    Where the counterpart says that little was to be done: there a servo that binds draws evenly.
    """
    inside = np.zeros(blocks.mean.size, dtype=bool)
    inside[s.first : s.end] = True
    calm = np.ones(inside.size, dtype=bool)
    if counterpart is not None:
        calm = counterpart <= np.quantile(counterpart[inside], _CALM)
    within, without = (
        _jumps(r, start_s, blocks.block_s, calm & part) for part in (inside, ~inside)
    )
    if within.size < _JUMPS:
        return False
    usual = float(np.median(without)) if without.size else 0.0
    more = np.sqrt(max(float(np.median(within)) ** 2 - usual**2, 0.0))
    return bool(more > max(_SWINGS * s.excess, blocks.step))


def _jumps(r: Reading, start_s: FloatArray, block_s: float, where: BoolArray) -> FloatArray:
    """Jumps from one reading to the next within these blocks, A."""
    at = np.clip(np.searchsorted(start_s, r.t, side="right") - 1, 0, where.size - 1)
    inside = where[at] & (r.t >= start_s[0]) & (r.t < start_s[at] + block_s)
    both = inside[1:] & inside[:-1] & (np.diff(at) <= 1)
    return np.asarray(np.abs(np.diff(r.v))[both])


def rather_a_share(
    now: CurrentBlocks, counterpart: FloatArray, added: tuple[int, int], *, climbs: bool
) -> bool:
    """Whether a share that changed, at an instant or by degrees, tells more than added amperes.

    Parameters
    ----------
    now : CurrentBlocks
    counterpart : ndarray, shape (n,)
        A.
    added : (int, int)
        Blocks first <= k < end in which amperes were added.
    climbs : bool
        Whether the share rises by degrees; else at an instant.
    """
    (first, end), at = added, np.arange(counterpart.size)
    inside = (at >= first) & (at < end)
    if climbs or first > _EDGE:
        if not climbs and end < at.size - _EDGE:
            return False  # it was as before again
        grown, more = counterpart * (at / at.size if climbs else inside), inside.astype(np.float64)
        return _left_by(now.mean, counterpart, grown) < _left_by(now.mean, counterpart, more)
    # What is added leaves the swings of a node as they were; a servo that falls silent takes its
    # part of them with it. That shows whenever its mirror is read, earlier or later.
    mine, other = (_swing_outside(x, inside, now.step) for x in (now.mean, counterpart))
    level = float(np.median(now.mean[~inside]) / np.median(now.mean[inside]))
    return bool(np.log(mine / other) < _SHRINKS * np.log(max(level, _NOTHING)))


def _swing_outside(x: FloatArray, inside: BoolArray, step: float) -> float:
    """Swing from block to block outside of a part, as a multiple of that within it."""
    jumps = np.abs(np.diff(x))
    both = inside[1:] & inside[:-1], ~inside[1:] & ~inside[:-1]
    within, without = (max(float(jumps[b].mean()), _NOTHING * step, 1e-6) for b in both)
    return without / within


def _left_by(mine: FloatArray, *columns: FloatArray) -> float:
    """Squares left by the columns and a constant."""
    design = np.stack([*columns, np.ones(mine.size)], axis=1)
    coef, *_ = np.linalg.lstsq(design, mine, rcond=None)
    return float(np.sum((mine - design @ coef) ** 2))
