"""A level that is held as long as what feeds it stays far enough above, and follows it below.

``out = min(level, source - drop - R I)``: a regulator that drops out. A path without a regulator is
``out = source - drop - R I`` all the time; the two are compared by the sum of squares (a regression
with one kink; D. V. Hinkley, Biometrika 56, 1969, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.intervals import likeness

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Levels tried, quantiles of what comes out; rounds of telling what is held; fewest points on
#: either side (heuristic).
_LEVELS, _ROUNDS, _FEW_HELD, _FEW_BELOW = np.linspace(0.02, 1.0, 50), 5, 3, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldLevel:
    """The fit with a kink.

    Attributes
    ----------
    level_v : float
        What is held.
    drop_v, ohm : float
        Between source and what comes out, where it is not held.
    spare_v : float
        By how much the way alone would let more through than is held, where it is held, upper
        quartile.
    gain : float
        Sum of squares that the kink explains over the variance that is left, likeness of
        neighbours taken off: an F of one parameter, its instant searched for.
    held : array of bool, shape (n,)
    """

    level_v: float
    drop_v: float
    ohm: float
    spare_v: float
    gain: float
    held: BoolArray


def held_level(
    source_v: FloatArray, out_v: FloatArray, amps: FloatArray, noise_v: FloatArray
) -> HeldLevel | None:
    """The likeliest held level.

    Parameters
    ----------
    source_v, out_v, amps : ndarray, shape (n,)
        In order of time, without NaN.
    noise_v : ndarray, shape (n,)
        What each value of ``out_v`` may be off, V, up to a common factor.

    Returns
    -------
    HeldLevel or None
        None where no level leaves enough points held and enough below. Whether there is one at
        all, ``gain`` and ``spare_v`` say.
    """
    if out_v.size < _FEW_HELD + _FEW_BELOW:
        return None
    w = 1.0 / np.maximum(noise_v, 1e-6) ** 2
    lost = source_v - out_v
    best: tuple[float, float, float, float, BoolArray] | None = None
    for level in np.unique(np.quantile(out_v, _LEVELS)):
        held = out_v >= level - 2.0 * noise_v
        for _ in range(_ROUNDS):
            if held.sum() < _FEW_HELD or (~held).sum() < _FEW_BELOW:
                break
            drop, ohm = _way(lost, amps, w, ~held)
            again = source_v - drop - ohm * amps > level
            if (again == held).all():
                break
            held = again
        if held.sum() < _FEW_HELD or (~held).sum() < _FEW_BELOW:
            continue
        kinked = np.minimum(level, source_v - drop - ohm * amps)
        left = float(w @ (out_v - kinked) ** 2)
        if best is None or left < best[0]:
            best = (left, float(level), drop, ohm, held)
    if best is None:
        return None
    left, level, drop, ohm, held = best
    plain = _way(lost, amps, w, np.ones(lost.size, dtype=bool))
    whole = float(w @ (lost - plain[0] - plain[1] * amps) ** 2)
    through = source_v - drop - ohm * amps
    rest = np.sqrt(w) * (out_v - np.minimum(level, through))
    variance = max(left, 1e-12) / max(lost.size - 4, 1) * likeness(rest)
    return HeldLevel(
        level_v=level,
        drop_v=drop,
        ohm=ohm,
        spare_v=float(np.quantile((through - level)[held], 0.75)),
        gain=(whole - left) / variance,
        held=held,
    )


def _way(lost: FloatArray, amps: FloatArray, w: FloatArray, part: BoolArray) -> tuple[float, float]:
    """Drop at no current and resistance, which is not below none."""
    y, x, w = lost[part], amps[part], w[part]
    mean_y, mean_x = float(w @ y / w.sum()), float(w @ x / w.sum())
    power = float(w @ (x - mean_x) ** 2)
    ohm = max(float(w @ ((x - mean_x) * (y - mean_y))) / power, 0.0) if power > 0 else 0.0
    return mean_y - ohm * mean_x, ohm
