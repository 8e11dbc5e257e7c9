"""A resistance fitted in stretches: whether, and from when to when, it was another one.

Means over blocks of some seconds take out that voltage and current are read at different instants.
``drop = offset + R i`` holds all the time, and ``(R + change) i`` in one stretch of it: of all
stretches between two of some hundred instants the likeliest is taken, by the sum of squares that it
explains (a regression with an unknown change point; R. E. Quandt, Journal of the American
Statistical Association 53, 1958, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.stretches import together

FloatArray = NDArray[np.float64]

_POINTS = 120  # instants at which a stretch may begin or end
_LEAST = 24  # blocks in all
_SIDE = 4  # blocks of a stretch, and beside it
# Part of the sum of squares of the current that tells nothing, and that both sides need.
_UNTOLD, _TOLD = 0.04, 0.1
_LAGS = 8  # blocks over which a residual may hang together


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmStretch:
    """Blocks first <= k < end with another resistance than the rest.

    Attributes
    ----------
    first, end : int
    usual_ohm : float
        Of the rest.
    change_ohm, se_ohm : float
        By how much more it is in the stretch, with its standard error.
    """

    first: int
    end: int
    usual_ohm: float
    change_ohm: float
    se_ohm: float


def ohm_stretch(drop_v: FloatArray, amps: FloatArray, noise_v: FloatArray) -> OhmStretch | None:
    """The likeliest stretch with another resistance.

    Parameters
    ----------
    drop_v, amps : ndarray, shape (n,)
        Mean voltage drop [V] and mean current [A] of each block, in order of time, without NaN.
    noise_v : ndarray, shape (n,)
        What the drop of each block may be off, V, up to a common factor.

    Returns
    -------
    OhmStretch or None
        None where there are too few blocks or the current did not move, or hardly flowed on one
        side. Whether the change is more
        than chance, its standard error says; it holds that residuals hang together, but not that
        the stretch was searched for.
    """
    n = drop_v.size
    if n < _LEAST or np.ptp(amps) <= 0:
        return None
    w = 1.0 / np.maximum(noise_v, 1e-6) ** 2
    w = w / w.mean()
    base = np.stack((np.ones(n), amps), axis=1)
    gram = base.T @ (base * w[:, None])
    if np.linalg.cond(gram) > 1e12:
        return None
    inverse = np.linalg.inv(gram)
    left = drop_v - base @ (inverse @ (base.T @ (w * drop_v)))
    sums = [np.concatenate(([0.0], np.cumsum(x))) for x in (w * amps, w * amps**2, w * amps * left)]
    at = np.unique(np.linspace(0, n, min(_POINTS, n) + 1).round().astype(np.intp))
    si, sii, sie = (s[at][None, :] - s[at][:, None] for s in sums)
    size = at[None, :] - at[:, None]
    seen = inverse[0, 0] * si**2 + 2 * inverse[0, 1] * si * sii + inverse[1, 1] * sii**2
    free = sii - seen
    share = sii / gram[1, 1]
    fits = (size >= _SIDE) & (n - size >= _SIDE) & (free > 1e-9 * gram[1, 1])
    fits &= (share >= _TOLD) & (share <= 1.0 - _TOLD)
    if not fits.any():
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(fits, sie**2 / free, 0.0)
    a, b = (int(k) for k in np.unravel_index(int(np.argmax(gain)), gain.shape))
    first, end, change = int(at[a]), int(at[b]), float(sie[a, b] / free[a, b])
    inside = np.zeros(n)
    inside[first:end] = amps[first:end]
    full = np.column_stack((base, inside))
    coef = np.linalg.solve(full.T @ (full * w[:, None]), full.T @ (w * drop_v))
    rest = np.sqrt(w) * (drop_v - full @ coef)
    variance = float(rest @ rest) / (n - 5) * together(rest, _LAGS)
    se = float(np.sqrt(variance / free[a, b]))
    usual = float(coef[1])
    # What hardly any current flowed in belongs to whatever lies beside it.
    told = np.concatenate(([0.0], np.cumsum(w * amps**2)))
    first = 0 if told[first] < _UNTOLD * told[-1] else first
    end = n if told[-1] - told[end] < _UNTOLD * told[-1] else end
    if change < 0 and 0 in (first, n - end):
        # Less up to an instant is more from it on.
        first, end = (end, n) if first == 0 else (0, first)
        usual, change = usual + change, -change
    return OhmStretch(first=first, end=end, usual_ohm=usual, change_ohm=change, se_ohm=se)
