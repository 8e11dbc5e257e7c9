"""Whether a supply that holds its voltage gave way: a regulator in its limit, or too hot."""

from __future__ import annotations

import numpy as np

from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at
from telemetry.numerics.statistics.robust import theil_sen

# Heuristics. Packs this far above the held voltage leave a regulator room to hold it.
_HEADROOM_V = 0.3
# A fall counts beyond so many times what the supply's own slope at light load makes of the highest
# current, and so much more.
_TIMES, _BEYOND_V = 2.0, 0.2
# At least so many readings at light load over at least this many A tell a slope.
_FEW, _SPAN_A = 30, 0.3
_OLDEST_S = 5.0


def gave_way(depth_v: float, headroom_v: float, most_v: float | None) -> bool:
    """Whether a held voltage fell further than load at its own slope can make it.

    A sound regulator's output falls in proportion to the current, by its leads and its own
    resistance. In its limit it falls much further while the packs would still feed it.

    Parameters
    ----------
    depth_v : float
        Depth of the fall, V.
    headroom_v : float
        Lowest voltage of the packs during the fall less the usual held voltage, V.
    most_v : float or None
        What load can make at the most, of ``most_by_load``.

    Returns
    -------
    bool
        False too where it is not known what load can make.
    """
    return most_v is not None and headroom_v >= _HEADROOM_V and depth_v > most_v


def most_by_load(
    volts: tuple[FloatArray, FloatArray], amps: tuple[FloatArray, FloatArray]
) -> float | None:
    """Deepest fall that load makes of a held voltage at its own slope, with the doubt of it, V.

    Parameters
    ----------
    volts, amps : (t, v)
        Readings of the held voltage [s, V] and of the whole current [s, A].

    Returns
    -------
    float or None
        None where the light half of the load tells no slope.
    """
    slope = _slope_at_light_load(volts, amps)
    if slope is None:
        return None
    reach = float(amps[1].max() - np.quantile(amps[1], 0.1))
    return _TIMES * slope * reach + _BEYOND_V


def _slope_at_light_load(
    volts: tuple[FloatArray, FloatArray], amps: tuple[FloatArray, FloatArray]
) -> float | None:
    """Fall of the voltage per ampere over the lighter half of the load, the high end, Ohm."""
    current = held_at(*amps, volts[0], _OLDEST_S)
    known = np.isfinite(current)
    light = known & (current <= np.median(current[known])) if known.any() else known
    x, y = current[light], volts[1][light]
    if x.size < _FEW or float(np.ptp(x)) < _SPAN_A:
        return None
    pick = np.linspace(0, x.size - 1, min(x.size, 400)).astype(int)
    fit = theil_sen(x[pick], y[pick])
    return None if fit is None or fit.low is None else max(0.0, -fit.low)
