"""Whether a current keeps its share of its counterpart's, and whether it still moves at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.model.log import FloatArray
from telemetry.results import UnusualKind

#: Blocks of time over which a share is told, s; how many are needed on each side of a change.
_SHARE_S, _SIDE = 20.0, 3
#: Change of a share, natural logarithm (a third down, or a third up), and standard errors, alone
#: and where the rest fell too.
_CHANGE, _ERRORS, _ERRORS_TWO = 0.28, 5.0, 3.0
#: A rise towards the end rather than a step: correlation with time.
_CLIMB = 0.7
#: A step leaves less than this part of what a straight line leaves: sudden.
_SUDDEN = 0.7
#: Share of one mirror against the other, all flight long (heuristic: servos of one kind differ by
#: a fifth, those of two kinds by a half).
_MORE = 2.0
#: Readings in a stir at the least, and what one mirror draws there over the other, A.
_STIRRED, _STIRRED_A = 8, 0.3
#: A current that fell still: blocks at the least, and the part of the blocks before in which it
#: moved.
_STILL, _MOVED = 20, 0.7
#: Part of its mean before with which another node goes on.
_GOES_ON = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """Two currents over their rest, block by block."""

    mine: FloatArray
    counterpart: FloatArray

    @classmethod
    def of(cls, mine: FloatArray, counterpart: FloatArray) -> Moving | None:
        """Both over their lowest twentieth; None where one does not move."""
        over = [np.clip(x - np.quantile(x, 0.03), 0.0, None) for x in (mine, counterpart)]
        if min(float(x.sum()) for x in over) <= 0:
            return None
        return cls(mine=over[0], counterpart=over[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A changed share: from which block on, the shares before and after, relative error."""

    kind: UnusualKind
    at: int
    before: float
    now: float
    error: float


def _ratios(pair: Moving, block_s: float) -> tuple[FloatArray, FloatArray]:
    """First block and logarithm of the share, of each stretch in which the counterpart moves."""
    size = max(3, round(_SHARE_S / block_s))
    starts = np.arange(0, pair.mine.size - size + 1, size)
    a = np.array([float(pair.mine[s : s + size].mean()) for s in starts])
    b = np.array([float(pair.counterpart[s : s + size].mean()) for s in starts])
    good = (b > 0) & (b >= 0.3 * np.median(b))
    floor = 0.02 * float(np.median(a)) + 1e-6
    return starts[good].astype(float), np.log(np.maximum(a[good], floor) / b[good])


def changed_share(
    pair: Moving, block_s: float, others: Sequence[FloatArray], *, lost_rest: bool = False
) -> Share | None:
    """A share that fell for good (a servo went silent) or climbs (one heats up).

    Of two mirrors the one counts as changed whose own level moved the other way or further,
    measured on the remaining places. ``lost_rest`` says that its rest on the ground fell as well:
    that speaks for itself, and fewer standard errors are asked.
    """
    at, r = _ratios(pair, block_s)
    if r.size < 2 * _SIDE + 1:
        return None
    best: tuple[float, int] | None = None
    for k in range(_SIDE, r.size - _SIDE + 1):
        x, y = r[:k], r[k:]
        sd = np.sqrt((x.var() * x.size + y.var() * y.size) / (r.size - 2))
        t = (y.mean() - x.mean()) / max(sd * np.sqrt(1 / x.size + 1 / y.size), 1e-9)
        if best is None or abs(t) > abs(best[0]):
            best = float(t), k
    assert best is not None
    t, k = best
    change = float(r[k:].mean() - r[:k].mean())
    if abs(t) < (_ERRORS_TWO if lost_rest and change < 0 else _ERRORS) or abs(change) < _CHANGE:
        return None
    before, now = float(np.exp(r[:k].mean())), float(np.exp(r[k:].mean()))
    error = abs(change / t)
    from_on = int(at[k])
    step = np.where(np.arange(r.size) < k, r[:k].mean(), r[k:].mean())
    line = np.polyval(np.polyfit(at, r, 1), at)
    sudden = float(np.sum((r - step) ** 2)) < _SUDDEN * float(np.sum((r - line) ** 2))
    apart = change < 0 and sudden and r[k:].max() < r[:k].min()
    if apart and _is_mine(pair, from_on, others, down=True):
        return Share(kind=UnusualKind.SILENT, at=from_on, before=before, now=now, error=error)
    climbs = float(np.corrcoef(at, r)[0, 1])
    if (
        change > 0
        and climbs >= _CLIMB
        and not sudden
        and _is_mine(pair, from_on, others, down=False)
    ):
        third = r.size // 3
        first, last = float(np.exp(r[:third].mean())), float(np.exp(r[-third:].mean()))
        return Share(kind=UnusualKind.HEATS, at=0, before=first, now=last, error=error)
    return None


def _is_mine(pair: Moving, at: int, others: Sequence[FloatArray], *, down: bool) -> bool:
    """Whether this one changed, rather than its counterpart, by what the others did."""
    if not others:
        return True

    def moved(x: FloatArray) -> float:
        over = np.clip(x - np.quantile(x, 0.03), 0.0, None)
        return float(np.log(max(over[at:].mean(), 1e-4) / max(over[:at].mean(), 1e-4)))

    common = float(np.median([moved(x) for x in others]))
    own, other = moved(pair.mine) - common, moved(pair.counterpart) - common
    return (-own if down else own) >= (other if down else -other)


def constant_share(pair: Moving, block_s: float) -> tuple[float, float] | None:
    """Share and relative error where one mirror draws a multiple of the other throughout."""
    _, r = _ratios(pair, block_s)
    if r.size < 2 * _SIDE:
        return None
    error = float(r.std() / np.sqrt(r.size))
    ratio = float(np.exp(np.median(r)))
    if ratio < _MORE or np.log(ratio) < _ERRORS * error or np.quantile(r, 0.1) < np.log(1.4):
        return None
    return ratio, error


def flown_share(pair: Moving, block_s: float) -> float:
    """Median share of the counterpart's current in flight; 0 where it was not told."""
    _, r = _ratios(pair, block_s)
    return float(np.exp(np.median(r))) if r.size else 0.0


def stirred_share(
    mine: Sequence[FloatArray], counterpart: Sequence[FloatArray]
) -> tuple[float, float] | None:
    """Share and relative error where one draws a multiple of the other in every stir.

    Parameters
    ----------
    mine, counterpart : sequence of ndarray
        Readings over the rest in each stir, A.
    """
    found: list[tuple[float, float]] = []
    for a, b in zip(mine, counterpart, strict=True):
        if min(a.size, b.size) < _STIRRED or min(a.mean(), b.mean()) <= 0:
            return None
        error = float(np.hypot(*(x.std() / x.mean() / np.sqrt(x.size) for x in (a, b))))
        ratio = float(a.mean() / b.mean())
        if ratio < _MORE or np.log(ratio) < _ERRORS * error or a.mean() - b.mean() < _STIRRED_A:
            return None
        found.append((ratio, error))
    return min(found, default=None)


def fell_still(
    mine: FloatArray, others: Sequence[FloatArray], step: float, *, lost_rest: bool = False
) -> int | None:
    """Block from which on a current that moved lies still to the end, while others move; or None.

    Still is within a step or two of its lowest level; before, it was off it most of the time. Where
    its rest on the ground fell as well (``lost_rest``), others need only go on as high as before.
    """
    lowest = float(np.min(mine))
    usual = float(np.median(mine))
    width = max(1.5 * step, 0.1 * (usual - lowest), 0.02)
    moving = np.flatnonzero(mine > lowest + width)
    if moving.size == 0 or mine.size - 1 - moving[-1] < _STILL:
        return None
    at = int(moving[-1]) + 1
    if at < _STILL or (mine[:at] > lowest + width).mean() < _MOVED:
        return None
    still = np.diff(np.concatenate(([-1], moving)))[:-1] if moving.size > 1 else np.zeros(1)
    if mine.size - at < 2 * still.max(initial=0.0):
        return None
    for x in others:
        before, after = float(np.std(x[:at])), float(np.std(x[at:]))
        goes_on = lost_rest and float(np.mean(x[at:])) > _GOES_ON * float(np.mean(x[:at]))
        if goes_on or after > max(0.3 * before, 2.0 * width):
            return at
    return None
