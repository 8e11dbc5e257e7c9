"""Voltage drop per amp of leads, flight by flight, from means over whole stirs and flights.

Two sensors read at different instants, so a single drop is mostly noise. Their means over a
whole flight are not: mean drop over mean current is free of that error, and all that is left of
the sensors' offset is a part that goes with one over the current, which the flights themselves
tell (it is a covariate).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.season.evidence import Part
from telemetry.season.measures import Blocks, Measures

FloatArray = NDArray[np.float64]

# Usual scatter from flight to flight, mOhm (ours, from simulated seasons): plugs are mated anew,
# copper warms. It is only where to begin.
_AIR_MOHM, _STIR_MOHM, _FIT_MOHM = 1.0, 2.0, 2.5
# Offset of two voltage sensors against each other, V (common practice, no source).
_OFFSET_V = 0.03
_OFFSET_SIGMA_V = 0.008  # from flight to flight (ours)
# A mean current below this says nothing of a resistance (ours).
_LEAST_A = 0.15
_FEW_BLOCKS = 4


def drop_parts(
    flights: Sequence[Measures], place: str, parent: str, current: str, *, fit: str
) -> list[Part]:
    """Resistance between two places as parts of one evidence, in mOhm.

    Parameters
    ----------
    flights : sequence of Measures
    place, parent : str
    current : str
        Place whose current flows between them (or, for an apparent value, the whole).
    fit : str
        Feature that holds the resistance as the review fitted it.
    """
    made = []
    for name, sigma in (("air", _AIR_MOHM), ("stir", _STIR_MOHM)):
        rows = []
        for k, m in enumerate(flights):
            found = _drop(m.air if name == "air" else m.stir, place, parent, current)
            if found is not None:
                rows.append((k, *found))
        if not rows:
            continue
        at, y, se, inverse = (np.array(column) for column in zip(*rows, strict=True))
        made.append(
            Part(
                name=name,
                at=at.astype(np.int64),
                y=y,
                se=se,
                sigma=sigma,
                design=(inverse - inverse.mean())[:, None],
                slope=np.zeros(1),
                slope_sd=np.array([1000.0 * _OFFSET_V]),
            )
        )
    part = fitted_part(flights, place, fit, _FIT_MOHM)
    return made if part is None else [*made, part]


def offset_parts(flights: Sequence[Measures], place: str, parent: str) -> list[Part]:
    """Offset of two voltage sensors as parts, in V: as fitted, and the drop at rest."""
    made = []
    fitted = fitted_part(flights, place, "offset_v", _OFFSET_SIGMA_V)
    if fitted is not None:
        made.append(fitted)
    rows = []
    for k, m in enumerate(flights):
        low, high = m.get(place, "rest_v"), m.get(parent, "rest_v")
        if low is None or high is None or low.value is None or high.value is None:
            continue
        se2 = [((x.high - x.low) / 3.92) ** 2 for x in (low, high) if x.high and x.low]
        rows.append((k, high.value - low.value, float(np.sqrt(sum(se2)))))
    if rows:
        at, y, se = (np.array(column) for column in zip(*rows, strict=True))
        made.append(Part(name="rest", at=at.astype(np.int64), y=y, se=se, sigma=_OFFSET_SIGMA_V))
    return made


def fitted_part(flights: Sequence[Measures], place: str, feature: str, sigma: float) -> Part | None:
    """A feature with its own interval as a part; None where no flight has it."""
    rows = []
    for k, m in enumerate(flights):
        found = m.get(place, feature)
        if found is None or found.value is None:
            continue
        low, high = found.low, found.high
        se = 0.0 if low is None or high is None else (high - low) / 3.92
        rows.append((k, found.value, se))
    if not rows:
        return None
    at, y, se_all = (np.array(column) for column in zip(*rows, strict=True))
    return Part(name=feature, at=at.astype(np.int64), y=y, se=se_all, sigma=sigma)


def _drop(
    blocks: Blocks | None, place: str, parent: str, current: str
) -> tuple[float, float, float] | None:
    """Mean drop over mean current, mOhm, its standard error, and one over the mean current."""
    if blocks is None or place not in blocks.volts or parent not in blocks.volts:
        return None
    if current not in blocks.amps:
        return None
    fall, amps = blocks.volts[parent] - blocks.volts[place], blocks.amps[current]
    good = np.isfinite(fall) & np.isfinite(amps)
    n = int(good.sum())
    if n < _FEW_BLOCKS:
        return None
    mean_a = float(amps[good].mean())
    if mean_a < _LEAST_A:
        return None
    mohm = 1000.0 * float(fall[good].mean()) / mean_a
    scatter = 1000.0 * fall[good] - mohm * amps[good]
    # The part that goes with the current is the offset's, not chance.
    slope = np.polyfit(amps[good] - mean_a, scatter, 1)[0] if np.ptp(amps[good]) > 0 else 0.0
    left = scatter - slope * (amps[good] - mean_a)
    se = float(left.std(ddof=1)) / np.sqrt(n) / mean_a
    return mohm, se, 1.0 / mean_a
