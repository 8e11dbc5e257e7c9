"""What the true signals hold: sags that were there, and how well a number could be known at best.

These measures are written to be slow and obvious; they judge the tool and share nothing with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import Quantity
from telemetry.results import Span
from telemetry.simulate.parts import FloatArray
from telemetry.simulate.recording import SimulatedRecording
from telemetry.simulate.telemetry.sensors import Sensor, quantised


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSag(Span):
    """One sag of a true voltage: reference at its start, lowest voltage, cut off or a shift."""

    reference_v: float
    residual_v: float
    truncated: bool = False
    shift: bool = False


def true_sags(
    time_s: FloatArray,
    volts: FloatArray,
    *,
    fixed_v: float | None = None,
    sag_pct: float = 5.0,
    sag_v: float = 0.25,
    hysteresis_pct: float = 2.0,
    reference_s: float = 60.0,
    open_s: float = 10.0,
) -> tuple[TrueSag, ...]:
    """Sags of a voltage by the event definition of IEC 61000-4-30, carried over to DC.

    A sag starts below ``reference - max(sag_pct, sag_v)`` and ends at that threshold plus the
    hysteresis. The reference slides with a first-order low-pass that stands still during a sag;
    a sag open for ``open_s`` is a shift: it ends there, and the reference starts anew.

    Parameters
    ----------
    time_s, volts : array, shape (n,)
    fixed_v : float or None
        A fixed reference instead of the sliding one.

    Returns
    -------
    tuple of TrueSag
    """
    sags: list[TrueSag] = []
    reference = float(volts[0]) if fixed_v is None else fixed_v
    start: float | None = None
    lowest, before = 0.0, float(time_s[0])
    for now, value in zip(time_s.tolist(), volts.tolist(), strict=True):
        threshold = reference - max(reference * sag_pct / 100.0, sag_v)
        if start is None:
            if value < threshold:
                start, lowest = now, value
            elif fixed_v is None:
                follow = 1.0 - float(np.exp(-(now - before) / reference_s))
                reference += follow * (value - reference)
        else:
            if value >= threshold + reference * hysteresis_pct / 100.0:
                sags.append(
                    TrueSag(start_s=start, end_s=now, reference_v=reference, residual_v=lowest)
                )
                start = None
            elif now - start >= open_s and fixed_v is None:
                sags.append(
                    TrueSag(
                        start_s=start,
                        end_s=now,
                        reference_v=reference,
                        residual_v=lowest,
                        shift=True,
                    )
                )
                start, reference = None, value
            else:
                lowest = min(lowest, value)
        before = now
    if start is not None:
        sags.append(
            TrueSag(
                start_s=start,
                end_s=before,
                reference_v=reference,
                residual_v=lowest,
                truncated=True,
            )
        )
    return tuple(sags)


def least_squares_error(recording: SimulatedRecording, place: str) -> float | None:
    """Relative standard error of a resistance from true, simultaneous signals.

    The true voltages and the true current are read at the instants of the place's own current
    sensor, all at once, each through its sensor's resolution and noise; ordinary least squares
    gives the resistance and its standard error. For a node the voltage is the drop from its
    parent; for a pack or the bus the open-circuit voltage's fall is taken out by charge drawn
    (linear and square).

    Parameters
    ----------
    recording : SimulatedRecording
    place : str
        A node, a pack or the bus.

    Returns
    -------
    float or None
        Standard error over resistance; None where place or parent lack a sensor.
    """
    volts, amps = (_sensor(recording, place, q) for q in (Quantity.VOLTAGE, Quantity.CURRENT))
    parent = recording.truth.parents.get(place)
    above = None if parent is None else _sensor(recording, parent, Quantity.VOLTAGE)
    if volts is None or amps is None or (parent is not None and above is None):
        return None
    at = _instants(recording, amps)
    drop = -_seen(recording, volts, at)
    if above is not None:
        drop = drop + _seen(recording, above, at)
    current = _seen(recording, amps, at)
    columns = [np.ones(at.size), current]
    if parent is None:
        drawn = np.cumsum(recording.signals[amps.signal])[at]
        share = drawn / max(float(drawn[-1]), 1e-9)
        columns += [share, share**2]
    design = np.column_stack(columns)
    if at.size <= design.shape[1]:
        return None
    answer, *_ = np.linalg.lstsq(design, drop, rcond=None)
    left = drop - design @ answer
    variance = float(left @ left) / (at.size - design.shape[1])
    spread = np.linalg.pinv(design.T @ design)
    if answer[1] <= 0:
        return float("inf")
    return float(np.sqrt(variance * spread[1, 1]) / answer[1])


def condition_index(
    recording: SimulatedRecording, place: str, *, holding: bool = True
) -> float | None:
    """Largest scaled condition index of a place's true servo regressors.

    Columns: one, and for each control with servos on the place the mean |rate of travel| since the
    last reading, and with ``holding`` the mean |deflection| times air load. Columns are scaled to
    unit length and keep the intercept (Belsley, Kuh and Welsch, Regression Diagnostics, 1980).

    Returns
    -------
    float or None
        None where the place has no current sensor or no servo.
    """
    amps = _sensor(recording, place, Quantity.CURRENT)
    servos = recording.aircraft.servos_of(place)
    if amps is None or not servos:
        return None
    at = _instants(recording, amps)
    names = [s.name for s in recording.aircraft.servos]
    columns = [np.ones(at.size - 1)]
    for control in dict.fromkeys(s.control for s in servos):
        rows = [names.index(s.name) for s in servos if s.control == control]
        rate = np.abs(recording.servo.rate_pct_s[rows]).sum(axis=0)
        columns.append(_window_means(rate, at))
        if holding:
            load = np.abs(recording.servo.position_pct[rows]).sum(axis=0)
            columns.append(_window_means(load * recording.motion.air_load, at))
    design = np.column_stack(columns)
    length = np.sqrt((design**2).sum(axis=0))
    if (length == 0).any():
        return float("inf")
    singular = np.linalg.svd(design / length, compute_uv=False)
    return float(singular[0] / singular[-1]) if singular[-1] > 0 else float("inf")


def _sensor(recording: SimulatedRecording, place: str, quantity: Quantity) -> Sensor | None:
    return next(
        (
            s
            for s in recording.telemetry.sensors
            if s.place == place and s.quantity is quantity and not s.hold
        ),
        None,
    )


def _instants(recording: SimulatedRecording, sensor: Sensor) -> NDArray[np.int64]:
    """Grid steps at which a sensor read, outside of moments of bad contact."""
    times = recording.updates[sensor.key].time_s
    keep = np.ones(times.size, dtype=np.bool_)
    for contact in recording.truth.contacts:
        keep &= ~((times >= contact.start_s) & (times < contact.end_s))
    return np.unique((times[keep] / recording.motion.dt_s).astype(np.int64))


def _seen(recording: SimulatedRecording, sensor: Sensor, at: NDArray[np.int64]) -> FloatArray:
    """The sensor's true signal at these steps, with its noise and resolution."""
    truth = recording.signals[sensor.signal][at]
    noise = sensor.noise * np.random.default_rng(at.size).standard_normal(at.size)
    return quantised(truth + noise, sensor.resolution)


def _window_means(values: FloatArray, at: NDArray[np.int64]) -> FloatArray:
    total = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(np.diff(total[at]) / np.diff(at), dtype=np.float64)
