"""Charge from current readings, and from counters that may start again.

Trapezoid rule over the update instants, never across a gap: there the charge is only known to
lie between the gap's length times the lowest and the highest current, and that goes into the
uncertainty. Propagation after JCGM 100:2008 (GUM), 5.1.2; the number of the clause is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# 1 mAh is 3.6 A s exactly.
_MAH = 1.0 / 3.6


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeDrawn:
    """Charge that flowed, and how well it is known.

    Attributes
    ----------
    mah : float
        Integral over the stretches without gaps, mAh.
    gap_mah : float
        What flowed in the gaps if the current went straight from one side to the other, mAh.
    gap_low_mah, gap_high_mah : float
        What may have flowed in them: their length times the lowest and the highest current, mAh.
    noise_mah : float
        Standard uncertainty from independent errors of the readings, mAh.
    offset_mah : float
        Shift of the whole for the stated offset of the sensor, mAh.
    gap_s : float
        Length of all gaps, s.
    """

    mah: float
    gap_mah: float = 0.0
    gap_low_mah: float = 0.0
    gap_high_mah: float = 0.0
    noise_mah: float = 0.0
    offset_mah: float = 0.0
    gap_s: float = 0.0

    @property
    def best_mah(self) -> float:
        """With what flowed in the gaps, told roughly, mAh."""
        return self.mah + self.gap_mah

    def half_width_mah(self, gain: float = 0.0) -> float:
        """Half-width of a 95 % interval about :attr:`best_mah`, for a gain error of ``gain``."""
        in_gaps = max(self.gap_high_mah - self.gap_mah, self.gap_mah - self.gap_low_mah)
        independent = np.hypot(1.96 * self.noise_mah, gain * self.mah)
        return float(in_gaps + np.hypot(independent, self.offset_mah))


def trapezoid_weights(t: FloatArray, max_gap_s: float | FloatArray = np.inf) -> FloatArray:
    """Weight of each reading in the trapezoid rule, s; steps over ``max_gap_s`` count nothing.

    Half the sum of the adjacent steps. The weights add up to the span less the gaps.
    """
    steps = np.diff(t)
    steps = np.where(steps <= max_gap_s, steps, 0.0)
    if t.size < 2:
        return np.zeros(t.size)
    return 0.5 * (np.concatenate((steps, [0.0])) + np.concatenate(([0.0], steps)))


def charge_mah(t: FloatArray, amps: FloatArray, *, max_gap_s: float = np.inf) -> float:
    """Charge by the trapezoid rule over the readings, without gaps, mAh.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Instants, s, not falling.
    amps : ndarray, shape (n,)
        Current at them, A.
    max_gap_s : float
        Longer steps are gaps and count nothing.
    """
    return float(trapezoid_weights(t, max_gap_s) @ amps) * _MAH


def integrate_charge(
    t: FloatArray,
    amps: FloatArray,
    *,
    max_gap_s: float | FloatArray = np.inf,
    noise_a: float = 0.0,
    offset_a: float = 0.0,
) -> ChargeDrawn:
    """Charge with its uncertainty.

    Parameters
    ----------
    t, amps : ndarray, shape (n,)
    max_gap_s : float or ndarray, shape (n - 1,)
        Longest step, or each step's own longest, that is no gap, s.
    noise_a : float
        Standard deviation of one reading's independent error, A. For instants that miss what
        happens between them this is the swing of the current, not only the sensor's noise.
    offset_a : float
        Largest offset of the sensor, A.
    """
    weights = trapezoid_weights(t, max_gap_s)
    steps = np.diff(t)
    gap = steps > max_gap_s
    gap_s = float(steps[gap].sum())
    straight = 0.5 * (amps[1:] + amps[:-1])
    low, high = (float(amps.min()), float(amps.max())) if amps.size else (0.0, 0.0)
    return ChargeDrawn(
        mah=float(weights @ amps) * _MAH,
        gap_mah=float(steps[gap] @ straight[gap]) * _MAH,
        gap_low_mah=gap_s * low * _MAH,
        gap_high_mah=gap_s * high * _MAH,
        noise_mah=noise_a * float(np.sqrt(weights @ weights)) * _MAH,
        offset_mah=offset_a * float(weights.sum()) * _MAH,
        gap_s=gap_s,
    )


def counter_rise(counter: FloatArray, least_fall: float = 0.0) -> float:
    """How far a counter rose in all; where it falls it started again, and the pieces add.

    Parameters
    ----------
    counter : ndarray, shape (n,)
        Readings of a counter that only rises.
    least_fall : float
        Falls up to this are noise of the reading, not a restart.

    Notes
    -----
    A counter that goes back towards zero by over half of what it was has started anew: what it
    shows then was counted since. That holds for one that stood below zero too. After a smaller
    fall (an older value kept over a power cycle) only the further rise counts. What flowed
    between the last reading before and the start is lost.
    """
    before, after = counter[:-1], counter[1:]
    steps = after - before
    back = (np.abs(after) < 0.5 * np.abs(before)) & (np.abs(steps) > least_fall)
    further = np.where(steps < -least_fall, 0.0, steps)
    return float(np.where(back, np.maximum(after, 0.0), further).sum())
