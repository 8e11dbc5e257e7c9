"""Fits of plain arrays: instants and readings of each sensor, with its resolution."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.fitting import Fit
from telemetry.numerics.resistance.regression import branch_resistance, source_resistance
from telemetry.numerics.resistance.signals import Sensed

FloatArray = NDArray[np.float64]


def of_source(
    t_v: FloatArray,
    volts: FloatArray,
    t_i: FloatArray,
    amps: FloatArray,
    *,
    step_v: float | None = None,
    step_i: float | None = None,
    **more: Any,
) -> Fit:
    return source_resistance(Sensed(t_v, volts, step_v), Sensed(t_i, amps, step_i), **more)


def of_branch(
    t_parent: FloatArray,
    parent_v: FloatArray,
    t_place: FloatArray,
    place_v: FloatArray,
    t_i: FloatArray,
    amps: FloatArray,
    *,
    step_parent: float | None = None,
    step_place: float | None = None,
    step_i: float | None = None,
    **more: Any,
) -> Fit:
    return branch_resistance(
        Sensed(t_parent, parent_v, step_parent),
        Sensed(t_place, place_v, step_place),
        Sensed(t_i, amps, step_i),
        **more,
    )
