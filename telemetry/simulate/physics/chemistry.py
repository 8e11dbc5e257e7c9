"""Cells: open-circuit voltage by charge, and how their resistance moves with cold and charge.

The curves are typical shapes from memory, no source; the simulator needs them plausible, not exact.
"""

from __future__ import annotations

import numpy as np

from telemetry.simulate.parts import FloatArray

# Open-circuit voltage of one cell at charge 0 to 1.
_CURVES: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "lipo": (
        (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0),
        (3.27, 3.61, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.20),
    ),
    "liion": (
        (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0),
        (2.90, 3.20, 3.33, 3.45, 3.53, 3.60, 3.67, 3.77, 3.87, 3.97, 4.06, 4.19),
    ),
    "life": (
        (0.0, 0.05, 0.10, 0.20, 0.30, 0.50, 0.70, 0.90, 0.97, 1.0),
        (2.60, 3.00, 3.16, 3.23, 3.265, 3.285, 3.31, 3.33, 3.36, 3.58),
    ),
    "nimh": (
        (0.0, 0.05, 0.10, 0.20, 0.40, 0.60, 0.80, 0.90, 1.0),
        (1.02, 1.13, 1.19, 1.23, 1.26, 1.28, 1.31, 1.35, 1.42),
    ),
}


def open_circuit_v(chemistry: str, charge: FloatArray | float) -> FloatArray:
    """Open-circuit voltage of one cell [V].

    Parameters
    ----------
    chemistry : str
        lipo, liion, life or nimh.
    charge : array or float
        State of charge, 0 to 1; held at the ends outside.
    """
    at, volts = _CURVES[chemistry]
    return np.interp(np.asarray(charge, dtype=np.float64), at, volts)


def resistance_factor(temperature_c: FloatArray | float, charge: FloatArray | float) -> FloatArray:
    """Factor on a cell's resistance, 1 at 25 degC and half charge.

    About 1.9 at 0 degC, 0.77 at 35 degC (typical shape, from memory); rising in the last fifth of
    the charge.
    """
    cold = np.exp(0.0257 * (25.0 - np.asarray(temperature_c, dtype=np.float64)))
    low = np.clip((0.2 - np.asarray(charge, dtype=np.float64)) / 0.2, 0.0, 1.0)
    return np.asarray(cold * (1.0 + 0.6 * low**2), dtype=np.float64)
