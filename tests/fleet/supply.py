"""Packs, regulators and diodes, and the voltage that they give together at a load.

Curves of the open voltage and rests of relaxation are invented in the shape that the trade knows
of each chemistry; two time constants of relaxation, resistance that grows in the cold as a rate
of reaction does (Arrhenius), and paths that are switches, diodes or regulators.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

FloatArray = NDArray[np.float64]

# Charge left, and open voltage of one cell at it.
_LEFT = np.array([0.0, 0.03, 0.08, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0])
OPEN_V = {
    "lipo": np.array([3.00, 3.30, 3.58, 3.68, 3.75, 3.82, 3.93, 4.05, 4.14, 4.19]),
    "liion": np.array([2.60, 3.00, 3.25, 3.38, 3.52, 3.63, 3.80, 3.97, 4.09, 4.17]),
    "life": np.array([2.50, 2.90, 3.10, 3.20, 3.26, 3.29, 3.31, 3.33, 3.36, 3.45]),
    "nimh": np.array([0.95, 1.08, 1.17, 1.21, 1.24, 1.26, 1.28, 1.31, 1.36, 1.42]),
}
# Resistance of one cell times its capacity, mOhm Ah, at 25 degC.
CELL_MOHM_AH = {"lipo": 16.0, "liion": 62.0, "life": 27.0, "nimh": 34.0}
# Relaxation: resistance as a part of the ohmic one, and time constant in s.
_RELAXING = ((0.45, 6.0), (0.5, 75.0))
# What a regulator gives beyond its limit comes through so much resistance, Ohm.
_BEYOND_OHM = 0.25


@dataclass(frozen=True, kw_only=True)
class Pack:
    """One pack as it is on one day."""

    name: str
    chemistry: str
    cells: int
    capacity_ah: float
    ohm_25c: float
    left: float = 1.0  # charge at the start

    def open_v(self, left: FloatArray) -> FloatArray:
        return self.cells * np.interp(left, _LEFT, OPEN_V[self.chemistry])

    def ohm(self, temperature_c: float) -> float:
        kelvin = temperature_c + 273.15
        return self.ohm_25c * float(np.exp(2400.0 * (1.0 / kelvin - 1.0 / 298.15)))


@dataclass(frozen=True, kw_only=True)
class Path:
    """From a pack to where the packs join: a switch alone, or a diode."""

    ohm: float
    diode_v: float | None = None


@dataclass(frozen=True, kw_only=True)
class Regulator:
    """Between the joined packs and the bus; a linear one, it takes what it gives."""

    set_v: float
    out_ohm: float
    headroom_v: float
    limit_a: float

    def out_v(self, joined_v: FloatArray, load_a: FloatArray) -> FloatArray:
        beyond_a = np.maximum(load_a - self.limit_a, 0.0)
        held = self.set_v - self.out_ohm * load_a - _BEYOND_OHM * beyond_a
        return np.minimum(held, joined_v - self.headroom_v)


@dataclass(frozen=True, kw_only=True)
class Supplied:
    """What the supply gives: V where the packs join and at each pack's terminals, A of each."""

    joined_v: FloatArray
    pack_v: list[FloatArray]
    pack_a: list[FloatArray]
    open_v: list[FloatArray]  # behind the ohmic resistance: charge and relaxation


def supply(
    packs: Sequence[Pack],
    paths: Sequence[Path],
    load_a: FloatArray,
    *,
    dt_s: float,
    temperature_c: float,
    on: Sequence[FloatArray],
    before: Supplied | None = None,
) -> Supplied:
    """The supply at this load; ``before``, the last pass, tells the charge that has flowed.

    ``on`` is 0 where a pack is cut off and 1 else.
    """
    opens = []
    for i, pack in enumerate(packs):
        a = before.pack_a[i] if before is not None else load_a / len(packs)
        left = pack.left - np.cumsum(a) * dt_s / 3600.0 / pack.capacity_ah
        volts = pack.open_v(left)
        for part, tau_s in _RELAXING:
            keep = np.exp(-dt_s / tau_s)
            volts = volts - part * pack.ohm(temperature_c) * lfilter([1 - keep], [1, -keep], a)
        opens.append(volts)
    ohms = [p.ohm(temperature_c) for p in packs]
    high = np.full(load_a.shape, max(float(v.max()) for v in opens) + 0.5)
    low = np.zeros(load_a.shape)

    def given(volts: FloatArray) -> list[FloatArray]:
        return [
            _given(path, v, r, volts, o)
            for path, v, r, o in zip(paths, opens, ohms, on, strict=True)
        ]

    for _ in range(36):
        middle = 0.5 * (high + low)
        more = sum(given(middle)) > load_a
        low = np.where(more, middle, low)
        high = np.where(more, high, middle)
    joined = 0.5 * (high + low)
    amps = given(joined)
    return Supplied(
        joined_v=joined,
        pack_v=[v - r * a for v, r, a in zip(opens, ohms, amps, strict=True)],
        pack_a=amps,
        open_v=opens,
    )


def _given(
    path: Path, open_v: FloatArray, ohm: float, joined_v: FloatArray, on: FloatArray
) -> FloatArray:
    """Current of one path at this voltage, A."""
    a = (open_v - (path.diode_v or 0.0) - joined_v) / (ohm + path.ohm)
    return on * (a if path.diode_v is None else np.maximum(a, 0.0))
