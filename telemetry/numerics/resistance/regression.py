"""Resistances from voltages and currents sampled at different instants; straight-line fits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.fitting import LEAST, Fit, covered, fit_without_strays
from telemetry.numerics.resistance.matching import Curve, find_match, usual_step
from telemetry.numerics.resistance.signals import Signals, steps_behind

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Gain error of voltage and current sensor together, as half-width of a 95 % interval: two errors
# of up to 2 % each, uniform (common practice, no source: 1 to 2 %).
GAIN = 0.03


def source_resistance(
    t_v: FloatArray,
    volts: FloatArray,
    t_i: FloatArray,
    amps: FloatArray,
    *,
    step_v: float | None = None,
    step_i: float | None = None,
    max_gap_s: float = 1.0,
    relaxes: bool = True,
    gain: float = GAIN,
) -> Fit:
    """Resistance behind a voltage, from its readings and those of the current it carries.

    Parameters
    ----------
    t_v, volts : ndarray, shape (n,)
        Update instants, s, rising, and the voltage at them, V.
    t_i, amps : ndarray, shape (m,)
        The same for the current, A, positive when drawn.
    step_v, step_i : float, optional
        Resolution of the two sensors.
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
    (t_v, volts), (t_i, amps) = _rising(t_v, volts), _rising(t_i, amps)
    if refused := _too_little(t_v, volts, "voltage", None) or _too_little(
        t_i, amps, "current", step_i
    ):
        return Fit(updates=min(t_v.size, t_i.size), refused=refused)
    t_v, volts = _plausible(t_v, volts)
    steps_v = steps_behind(t_v, volts, step_v, t_v)

    def matched(sound: BoolArray) -> Signals:
        match = find_match(t_v[sound], volts[sound], t_i, amps)
        return Signals(
            t=t_v,
            y=volts,
            t_i=t_i,
            i=amps,
            match=match,
            steps_v=(steps_v,),
            steps_i=steps_behind(t_i, amps, step_i, t_v - match.lag_s),
        )

    return fit_without_strays(matched, t_v.size, max_gap_s, relaxes=relaxes, gain=gain)


def branch_resistance(
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
    max_gap_s: float = 1.0,
    gain: float = GAIN,
) -> Fit:
    """Resistance between a place and the parent that feeds it.

    ``u_parent - u_place = offset + R i``: the parent's voltage is brought to the place's instants
    (a constant lag of one unit behind the other taken out), and the difference is treated like a
    source that does not relax.

    Parameters
    ----------
    t_parent, parent_v, t_place, place_v : ndarray
        Update instants, s, and voltages, V, of parent and place.
    t_i, amps : ndarray
        Current through the branch; of the whole for an apparent value.
    step_parent, step_place, step_i : float, optional
        Resolutions.
    max_gap_s, gain : float
        As for :func:`source_resistance`.

    Returns
    -------
    Fit
        ``level_v`` is place minus parent at zero current: offset of the sensors, and the forward
        drop of a diode between them.
    """
    t_parent, parent_v = _rising(t_parent, parent_v)
    t_place, place_v = _rising(t_place, place_v)
    t_i, amps = _rising(t_i, amps)
    if refused := (
        _too_little(t_parent, parent_v, "parent's voltage", None)
        or _too_little(t_place, place_v, "voltage", None)
        or _too_little(t_i, amps, "current", step_i)
    ):
        return Fit(updates=min(t_parent.size, t_place.size, t_i.size), refused=refused)
    t_parent, parent_v = _plausible(t_parent, parent_v)
    t_place, place_v = _plausible(t_place, place_v)

    def matched(sound: BoolArray) -> Signals:
        t_sound, v_sound = t_place[sound], place_v[sound]
        at = t_place - find_match(t_sound, v_sound, t_parent, parent_v, sign=1.0).lag_s
        above = Curve(t_parent, parent_v).at(at)
        match = find_match(t_sound, v_sound, t_i, amps)
        return Signals(
            t=t_place,
            y=place_v - above,
            t_i=t_i,
            i=amps,
            match=match,
            steps_v=(
                steps_behind(t_place, place_v, step_place, t_place),
                steps_behind(t_parent, parent_v, step_parent, at),
            ),
            steps_i=steps_behind(t_i, amps, step_i, t_place - match.lag_s),
            common=above,
            reach_s=2.0 * usual_step(t_parent),
            usable=covered(t_parent, at, max_gap_s),
        )

    return fit_without_strays(matched, t_place.size, max_gap_s, relaxes=False, gain=gain)


def _too_little(t: FloatArray, values: FloatArray, what: str, step: float | None) -> str:
    if t.size < LEAST:
        return f"only {t.size} readings of the {what}"
    if np.ptp(values) <= 2.0 * (step or 0.0):
        return f"the {what} hardly moved"
    return ""


def _plausible(t: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Readings without those that no load explains: five times beyond the usual range."""
    low, middle, high = np.quantile(v, [0.02, 0.5, 0.98])
    keep = np.abs(v - middle) <= 5.0 * max(high - middle, middle - low) + 1e-9
    return t[keep], v[keep]


def _rising(t: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Readings without those whose instant does not lie after the one before."""
    keep = np.concatenate(([True], np.diff(np.maximum.accumulate(t)) > 0)) if t.size else t > 0
    return t[keep], v[keep]
