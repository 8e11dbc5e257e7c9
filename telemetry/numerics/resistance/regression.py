"""Resistances from voltages and currents sampled at different instants; straight-line fits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.fitting import LEAST, Fit, covered, fit_without_strays
from telemetry.numerics.resistance.matching import find_match
from telemetry.numerics.resistance.signals import Sensed, Signals

BoolArray = NDArray[np.bool_]

# Gain error of voltage and current sensor together, as half-width of a 95 % interval: two errors
# of up to 2 % each, uniform (common practice, no source: 1 to 2 %).
GAIN = 0.03


def source_resistance(
    volts: Sensed,
    amps: Sensed,
    *,
    max_gap_s: float = 1.0,
    relaxes: bool = True,
    gain: float = GAIN,
) -> Fit:
    """Resistance behind a voltage, from its readings and those of the current it carries.

    Parameters
    ----------
    volts : Sensed
        The voltage, V.
    amps : Sensed
        The current, A, positive when drawn.
    max_gap_s : float
        Current readings further apart than this, and than three of their intervals, are a gap;
        voltage readings in it are left out.
    relaxes : bool
        Whether slower responses are possible (a cell); False for copper.
    gain : float
        Gain error of the two sensors together, half-width of 95 %.

    Returns
    -------
    Fit
    """
    if refused := _too_little(volts, "voltage", 0.0) or _too_little(amps, "current", amps.step):
        return Fit(updates=min(volts.t.size, amps.t.size), refused=refused)
    told = volts.plausible
    steps_v = told.steps_behind(told.t)

    def matched(sound: BoolArray) -> Signals:
        match = find_match(told.t[sound], told.v[sound], amps.curve)
        return Signals(
            t=told.t,
            y=told.v,
            amps=amps.curve,
            match=match,
            steps_v=(steps_v,),
            steps_i=amps.steps_behind(told.t - match.lag_s),
        )

    return fit_without_strays(matched, told.t.size, max_gap_s, relaxes=relaxes, gain=gain)


def branch_resistance(
    parent: Sensed,
    place: Sensed,
    amps: Sensed,
    *,
    max_gap_s: float = 1.0,
    gain: float = GAIN,
) -> Fit:
    """Resistance between a place and the parent that feeds it.

    ``u_parent - u_place = offset + R i``: the parent's voltage is brought to the place's instants
    (a constant lag of one unit behind the other taken out), and the difference is treated like a
    source that does not relax.

    Parameters
    ----------
    parent, place : Sensed
        Their voltages, V.
    amps : Sensed
        Current through the branch, A; of the whole for an apparent value.
    max_gap_s, gain : float
        As for :func:`source_resistance`.

    Returns
    -------
    Fit
        ``level_v`` is place minus parent at zero current: offset of the sensors, and the forward
        drop of a diode between them.
    """
    if refused := (
        _too_little(parent, "parent's voltage", 0.0)
        or _too_little(place, "voltage", 0.0)
        or _too_little(amps, "current", amps.step)
    ):
        return Fit(updates=min(x.t.size for x in (parent, place, amps)), refused=refused)
    up, down = parent.plausible, place.plausible
    steps_down = down.steps_behind(down.t)

    def matched(sound: BoolArray) -> Signals:
        t_sound, v_sound = down.t[sound], down.v[sound]
        at = down.t - find_match(t_sound, v_sound, up.curve, sign=1.0).lag_s
        above = up.curve.at(at)
        match = find_match(t_sound, v_sound, amps.curve)
        return Signals(
            t=down.t,
            y=down.v - above,
            amps=amps.curve,
            match=match,
            steps_v=(steps_down, up.steps_behind(at)),
            steps_i=amps.steps_behind(down.t - match.lag_s),
            common=above,
            reach_s=2.0 * up.curve.step_s,
            usable=covered(up.curve, at, max_gap_s),
        )

    return fit_without_strays(matched, down.t.size, max_gap_s, relaxes=False, gain=gain)


def _too_little(sensed: Sensed, what: str, step: float) -> str:
    if sensed.t.size < LEAST:
        return f"only {sensed.t.size} readings of the {what}"
    if np.ptp(sensed.v) <= 2.0 * step:
        return f"the {what} hardly moved"
    return ""
