"""Limits of a change-point chart by what they cost: healthy values between two false signals."""

from __future__ import annotations

from functools import cache
from math import exp, log, pi, sqrt

import scipy

# So many values long a chart's run stays as it is; then it grows in proportion (heuristic).
_EARLY = 14
# Signals of healthy series a value, over the limit times the normal density there.
_SIGNALS = 0.21


def run_after(values: int, run: float) -> float:
    """The run that a chart of so many values is held to: longer, the longer it is.

    After a long past a shift is seen about as soon under a limit for ten times the run, after a
    short one it is not. So a chart spends its false signals while it is short, and of one that is
    kept for years they grow by the logarithm of its length alone.

    Parameters
    ----------
    values : int
    run : float
        Healthy values from one false signal of a short chart to the next.

    References
    ----------
    Errors spent unevenly over many looks: K. K. G. Lan, D. L. DeMets, Biometrika 70 (1983) 659-663
    (from memory); here without an end.
    """
    return run * max(1.0, values / _EARLY)


def limit_after(values: int, run: float) -> float:
    """Limit of a chart of so many values, by :func:`run_after`."""
    return change_limit(run_after(values, run))


def false_signals(values: int, run: float) -> float:
    """False signals that a healthy chart is expected to give up to a value, by :func:`run_after`.

    Their rates added up: the first ones alike, later ones as one over their number.
    """
    later = max(1.0, values / _EARLY)
    return (values / later + _EARLY * log(later)) / run


@cache
def change_limit(run: float) -> float:
    """Limit that the change chart of a healthy series exceeds once in so many values.

    Parameters
    ----------
    run : float
        In-control run length, values from one false signal to the next, above 100.

    Returns
    -------
    float
        Limit h, in standard deviations: ``h phi(h)`` signals a value, times a factor from
        simulation (series of 20 to 500 values), as for any largest of many overlapping means.
    """

    def missed(h: float) -> float:
        density = exp(-0.5 * h * h) / sqrt(2.0 * pi)
        return _SIGNALS * h * density * run - 1.0

    return float(scipy.optimize.brentq(missed, 1.5, 20.0))
