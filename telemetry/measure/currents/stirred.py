"""Stirs of one log: one mirror against the other, and one stir against the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

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
