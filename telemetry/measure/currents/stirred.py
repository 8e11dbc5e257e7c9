"""One mirror against the other in stirs and throughout a flight, one stir against the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from telemetry.measure.currents.shares import Shared
from telemetry.measure.currents.taking import NodeCurrent, found_at
from telemetry.model.log import FloatArray
from telemetry.numerics.stretches import together
from telemetry.results import UnusualCurrent, UnusualKind

#: Readings in a stir at the least, and what one mirror draws there over the other, A.
_STIRRED, _STIRRED_A = 8, 0.3
#: Share of one mirror against the other in every stir of a log without a flight, and standard
#: errors (heuristic: equal servos differ by a fifth, those of two kinds by a half).
_MORE, _ERRORS = 2.0, 5.0
#: A share that fell or rose by this factor from one stir to another; what no share of a stir is
#: known better than, relative (heuristic: which sticks move how far differs from stir to stir).
_FELL, _ROSE, _KNOWN = 0.75, 1.35, 0.05
#: Current of one mirror as part of the other's, in one of flight and stirs and in the other
#: (heuristic: equal servos differ by a fifth, a pair of unlike ones rarely by a half); standard
#: errors; so much more on the mean, A, and steps: two sensors may differ by one in their zero and
#: by one in rounding.
_FLOWN_MORE, _MORE_AS_WELL, _MORE_ERRORS, _MORE_A, _MORE_STEPS = 1.7, 1.4, 4.0, 0.1, 2.0
_STIR_ERRORS = 2.0
#: What draws less than this part of the other is as good as nothing.
_LEAST = 0.02


def stirred_shares(
    mine: Sequence[FloatArray], counterpart: Sequence[FloatArray]
) -> list[tuple[float, float]]:
    """Share and relative error of each stir that can be read.

    Parameters
    ----------
    mine, counterpart : sequence of ndarray
        Readings over the rest in each stir, A.
    """
    found = [_share(a, b) for a, b in zip(mine, counterpart, strict=True)]
    return [x for x in found if x is not None]


def _share(a: FloatArray, b: FloatArray) -> tuple[float, float] | None:
    """Of one stir; the error with how the readings hang together."""
    if min(a.size, b.size) < _STIRRED or min(a.mean(), b.mean()) <= 0:
        return None
    each = [np.sqrt(together(x - x.mean()) / x.size) * x.std() / x.mean() for x in (a, b)]
    return float(a.mean() / b.mean()), float(np.hypot(*each))


def stirred_multiple(
    mine: Sequence[FloatArray],
    counterpart: Sequence[FloatArray],
    shares: Sequence[tuple[float, float]],
) -> tuple[float, float] | None:
    """Share and relative error where one draws a multiple of the other in every stir."""
    if not shares or len(shares) < len(mine):
        return None
    more = all(ratio >= _MORE and np.log(ratio) >= _ERRORS * error for ratio, error in shares)
    over = min(float(a.mean() - b.mean()) for a, b in zip(mine, counterpart, strict=True))
    return min(shares) if more and over >= _STIRRED_A else None


def multiple(
    mine: FloatArray,
    counterpart: FloatArray,
    block_s: float,
    stirred: Sequence[tuple[float, float]],
    step_a: float,
) -> tuple[float, float] | None:
    """Share and relative error where one mirror draws a multiple of the other throughout.

    In flight by the currents as they are, for a worn servo rests higher as well; every stir that
    can be read has to show it too, the flight or the stirs in full.

    Parameters
    ----------
    mine, counterpart : ndarray, shape (n,)
        Mean current of each block in flight, A.
    block_s : float
    stirred : sequence of (share, error)
        Of every stir that can be read.
    step_a : float
        Step of the sensors, A.
    """
    # What draws next to nothing is surely less, but nobody knows how many times: the error is told
    # of the smaller in parts of the larger.
    s = Shared.of(counterpart, mine, block_s, usual=float(mine.mean()), mirror=True)
    if s is None:
        return None
    part, error, sure = s.whole
    over = float(np.mean(mine - counterpart))
    if sure < _MORE_ERRORS or over < max(_MORE_STEPS * step_a, _MORE_A):
        return None
    least_part = max(part, error, _LEAST)
    flown = 1.0 / least_part
    stir, stir_error = min(stirred, default=(flown, 0.0))
    if min(flown, stir) < _MORE_AS_WELL:
        return None
    # A stir has few readings, at its own rhythm: where it alone tells in full, it has to be sure.
    if flown < _FLOWN_MORE and stir * np.exp(-_STIR_ERRORS * stir_error) < _FLOWN_MORE:
        return None
    return flown, error / least_part


def changed_stir(node: NodeCurrent, mirror: NodeCurrent) -> UnusualCurrent | None:
    """A share of the mirror's current that is another in a later stir than in an earlier one.

    A pilot stirs faster one time than another, and with other sticks: that moves both mirrors
    alike. Of the two the one changed whose own current moved further.
    """
    shares = [_share(a, b) for a, b in zip(node.stirs, mirror.stirs, strict=True)]
    known = [k for k, s in enumerate(shares) if s is not None]
    for early, late in pairwise(known):
        (was, was_error), (now, now_error) = shares[early], shares[late]  # type: ignore[misc]
        factor = now / was
        error = float(np.sqrt(was_error**2 + now_error**2 + _KNOWN**2))
        own, other = (
            float(np.log(n.stirs[late].mean() / n.stirs[early].mean())) for n in (node, mirror)
        )
        far = factor <= _FELL or factor >= _ROSE
        if not far or abs(np.log(factor)) < _ERRORS * error or abs(own) < abs(other):
            continue
        start, end = node.stirred[late]
        if factor < 1.0:
            found = found_at(UnusualKind.SILENT, node, start, None, mirror.place)
            return replace(found, before=was, now=now, error=error)
        amps = float(node.stirs[late].mean())
        more = amps * (1.0 - was / now)
        found = found_at(UnusualKind.RAISED, node, start, end, mirror.place)
        return replace(found, before=amps - more, now=amps, error=error * more, seconds=end - start)
    return None
