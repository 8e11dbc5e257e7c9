"""How warmth moves the resistance of cells: from what was logged, or from the time of year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby

import numpy as np
import scipy
from numpy.typing import NDArray

from telemetry.trends.parts import EvidencePart

FloatArray = NDArray[np.float64]

#: Activation energy of a pack's resistance, kJ/mol, and how far packs differ. Pulses of 3 s on a
#: measured cell give 22 from 10 to 25 degC and 2 from 25 to 40 degC, 13 over both (Wiggins, Allu,
#: Wang, Battery cell data from a 2013 Nissan Leaf, DOI 10.5281/zenodo.2580327); leads and plugs
#: add a part that hardly moves.
ACTIVATION_KJ, ACTIVATION_SD_KJ = 16.0, 9.0
#: Scatter of the logarithm of a resistance from day to day where no temperature is logged, and its
#: swing over the year (heuristic: 5 K and 8 K at 2 % a kelvin).
DAY_SD, YEAR_SD = 0.10, 0.16
_MIDDLE_C = 20.0
_YEAR_DAYS = 365.25
#: Where no date is known, so many flights are taken for a day's (heuristic).
OF_A_DAY = 3


def coldness(celsius: FloatArray) -> FloatArray:
    """One over gas constant and temperature, against that at 20 degC, mol/kJ.

    The logarithm of a resistance that follows Arrhenius's law rises with it, by the activation
    energy in kJ/mol (S. Arrhenius, Z. phys. Chem. 4 (1889) 226-248; from memory).
    """
    kelvin = np.asarray(celsius, dtype=np.float64) + scipy.constants.zero_Celsius
    return np.asarray(
        1000.0
        / scipy.constants.R
        * (1.0 / kelvin - 1.0 / (_MIDDLE_C + scipy.constants.zero_Celsius)),
        dtype=np.float64,
    )


def time_of_year(days: Sequence[date | None]) -> FloatArray:
    """Sine and cosine of the day in the year, shape (n, 2); 0 where the day is not known."""
    angle = [2.0 * np.pi * d.timetuple().tm_yday / _YEAR_DAYS for d in days if d is not None]
    out = np.zeros((len(days), 2))
    out[[d is not None for d in days]] = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    return out


def by_day(part: EvidencePart, days: Sequence[date | None]) -> EvidencePart:
    """The means of days, each at its last flight, with the scatter of days in them.

    Parameters
    ----------
    part : EvidencePart
        With a scatter from flight to flight.
    days : sequence, shape (n,)
        Day of each of its values; None where it is not known.
    """

    def day(i: int) -> tuple[bool, date | int]:
        known = days[i]
        return known is None, i // OF_A_DAY if known is None else known

    groups = [np.array(list(own)) for _, own in groupby(range(part.at.size), day)]
    sigma = float(np.hypot(DAY_SD, part.sigma / np.sqrt(OF_A_DAY)))

    def mean(x: FloatArray) -> FloatArray:
        return np.array([x[own].mean(axis=0) for own in groups])

    square = (part.sigma * part.spread) ** 2
    own_square = np.array([square[own].sum() / own.size**2 for own in groups])
    return replace(
        part,
        at=np.array([part.at[own[-1]] for own in groups]),
        y=mean(part.y),
        se=np.sqrt(np.maximum(own_square + DAY_SD**2 - sigma**2, 0.0)),
        sigma=sigma,
        design=None if part.design is None else mean(part.design),
    )
