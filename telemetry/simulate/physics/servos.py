"""What servos draw: current from motion, air load and supply, by one of three laws.

``travel``
    rest + travel |rate| (1 + load) + inrush by speeding up + holding by deflection and air load.
``friction``
    a fixed friction part whenever it moves, a weaker part with |rate|^0.7, holding only beyond a
    static band, more against the air load than with it.
``motor``
    a motor behind a gear: torque from friction, inertia and load gives a motor current i; the
    supply gives its copper loss and its mechanical power, (i^2 R + torque x rate) / V.

All laws give ``constant + slope * V``: the dependence on the supply, ``(V / rated)^volt_power``,
is taken to first order about the rated voltage.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.random import Generator

from telemetry.simulate.parts import AircraftModel, FloatArray, ServoLaw, ServoModel
from telemetry.simulate.physics.motion import Motion, smoothed

TRAVEL_RATE = 600.0  # %/s at which travel_a is given
INRUSH_RATE = 10_000.0  # %/s2 at which inrush_a is given
STANDSTILL_PCT_S = 30.0  # the hand's tremble stays below
LET_GO_S = 4.0  # plausible, no source
BUFFET = 0.05  # standard deviation of the gusts' share of the air load, plausible, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoFault:
    """How one servo differs from its usual self during one recording.

    Attributes
    ----------
    moving : float
        Factor on its moving current.
    holding : float
        Factor on its holding current.
    rest_a : float
        Added at rest.
    sticking_a : float
        Added when it has just stopped; it lets go over some seconds.
    heating : float
        By how much its moving current has risen once it is fully warm, relative.
    heating_s : float
        Time constant of that.
    hunting : float
        Factor on its hunting at rest.
    silent_from_s : float
        From then on it draws nothing (infinite: never).
    """

    moving: float = 1.0
    holding: float = 1.0
    rest_a: float = 0.0
    sticking_a: float = 0.0
    heating: float = 0.0
    heating_s: float = 180.0
    hunting: float = 1.0
    silent_from_s: float = float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoDraw:
    """What all servos ask for on the fine grid.

    Attributes
    ----------
    rated_a : array, shape (servos, n)
        Current at each servo's rated voltage.
    rate_pct_s : array, shape (servos, n)
        Rate of travel, signed.
    position_pct : array, shape (servos, n)
    """

    rated_a: FloatArray
    rate_pct_s: FloatArray
    position_pct: FloatArray


def draw(
    aircraft: AircraftModel,
    motion: Motion,
    rng: Generator,
    faults: dict[str, ServoFault] | None = None,
) -> ServoDraw:
    """Current of every servo at its rated voltage.

    Parameters
    ----------
    aircraft : AircraftModel
    motion : Motion
    rng : numpy.random.Generator
    faults : dict or None
        Faults by servo name.

    Returns
    -------
    ServoDraw
    """
    n = motion.time_s.size
    count = len(aircraft.servos)
    amps, rates, places = (np.empty((count, n)) for _ in range(3))
    awake = np.ones(n)
    for span in motion.power_off:
        awake[(motion.time_s >= span.start_s) & (motion.time_s < span.end_s)] = 0.0
    shake = float(np.exp(-2 * np.pi * 1.5 * motion.dt_s))
    shaken = (1.0 - shake) ** 2 * float(np.sqrt((1 + shake**2) / (1 - shake**2) ** 3))
    for i, servo in enumerate(aircraft.servos):
        fault = (faults or {}).get(servo.name, ServoFault())
        keep = float(np.exp(-motion.dt_s / (servo.lag_s / 2)))
        command = motion.control_pct.get(servo.control, np.zeros(n)) * servo.direction
        position = smoothed(command, keep)
        rate = np.diff(position, prepend=position[:1]) / motion.dt_s
        # Gusts load a surface that stands still as well.
        buffet = BUFFET * smoothed(rng.standard_normal(n), shake) / shaken
        load = (position / 100.0 + buffet) * motion.air_load
        scatter = _scatter(n, motion.dt_s, rng)
        hunt = _hunting(n, motion.dt_s, rng)
        amps[i] = awake * _current(servo, fault, motion, rate, load, scatter, hunt)
        rates[i], places[i] = rate, position
    return ServoDraw(rated_a=amps, rate_pct_s=rates, position_pct=places)


def _current(
    servo: ServoModel,
    fault: ServoFault,
    motion: Motion,
    rate: FloatArray,
    load: FloatArray,
    scatter: FloatArray,
    hunt: FloatArray,
) -> FloatArray:
    """One servo's current at rated voltage, with its fault."""
    speed = np.abs(rate) / TRAVEL_RATE
    faster = np.diff(np.abs(rate), prepend=0.0) / motion.dt_s / INRUSH_RATE
    inrush = servo.inrush_a * np.maximum(faster, 0.0)
    match servo.law:
        case ServoLaw.TRAVEL:
            moving = servo.travel_a * speed * (1.0 + 0.8 * np.abs(load)) + inrush
            holding = servo.hold_a * np.abs(load)
        case ServoLaw.FRICTION:
            rubbing = np.tanh(speed / 0.05)
            against = np.sign(rate) * np.sign(load) * rubbing
            moving = servo.travel_a * (0.45 * rubbing + 0.55 * speed**0.7) + inrush
            holding = servo.hold_a * np.maximum(np.abs(load) - 0.05, 0.0) * (1.0 + 0.5 * against)
        case ServoLaw.MOTOR:
            # Torque as a motor current, relative to the stalled motor; friction is what gives
            # travel_a at the reference rate, load is what gives hold_a at full load.
            to_hold = float(np.sqrt(servo.hold_a / servo.stall_a))
            to_move = float(np.sqrt(0.64 + servo.travel_a / servo.stall_a)) - 0.8
            start = servo.inrush_a / servo.stall_a
            rub = np.tanh(rate / (0.05 * TRAVEL_RATE))
            # Wear shows as friction: it works on the moving torque before the power is taken.
            torque = (
                to_move * fault.moving * rub
                + start * np.diff(rate, prepend=0.0) / motion.dt_s / INRUSH_RATE
                + to_hold * fault.holding * load
            )
            drive = torque**2 + np.maximum(torque * rate / TRAVEL_RATE * 1.6, 0.0)
            moving = servo.stall_a * drive
            holding = np.zeros_like(load)
            fault = replace(fault, moving=1.0, holding=1.0)
    warm = 1.0 + fault.heating * _warmth(motion, fault.heating_s)
    busy = fault.moving * moving * warm + fault.holding * holding * (1.0 + 0.5 * (warm - 1.0))
    busy = busy * np.maximum(1.0 + servo.noise * scatter, 0.1)
    resting = servo.rest_a + fault.rest_a * (0.5 + 0.5 * warm)
    amps = resting + busy + servo.hunting_a * fault.hunting * hunt
    if fault.sticking_a > 0.0:
        amps = amps + fault.sticking_a * _just_stopped(rate, motion.dt_s)
    amps = np.clip(amps, 0.0, servo.stall_a)
    if np.isfinite(fault.silent_from_s):
        amps = np.where(motion.time_s >= fault.silent_from_s, 0.0, amps)
    return np.asarray(amps, dtype=np.float64)


def _just_stopped(rate: FloatArray, dt_s: float) -> FloatArray:
    """1 as a move ends, falling off over LET_GO_S; 0 while it moves, and before the first move."""
    moving = np.abs(rate) > STANDSTILL_PCT_S
    steps = np.arange(rate.size)
    last = np.maximum.accumulate(np.where(moving, steps, -1))
    fading = np.exp(-(steps - last) * dt_s / LET_GO_S)
    return np.asarray(np.where(moving | (last < 0), 0.0, fading), dtype=np.float64)


def _warmth(motion: Motion, seconds: float) -> FloatArray:
    """How warm a servo has become by being used, 0 to 1: it warms in flight, cools at rest."""
    keep = float(np.exp(-motion.dt_s / seconds))
    used = np.where(motion.shaking >= 0.5, 1.0, 0.0)
    return np.asarray(scipy.signal.lfilter([1.0 - keep], [1.0, -keep], used), dtype=np.float64)


def _scatter(n: int, dt_s: float, rng: Generator) -> FloatArray:
    """Driver noise of unit standard deviation, correlated over some 30 ms."""
    keep = float(np.exp(-dt_s / 0.03))
    noise = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    return np.asarray(scipy.signal.lfilter([1.0], [1.0, -keep], noise), dtype=np.float64)


def _hunting(n: int, dt_s: float, rng: Generator) -> FloatArray:
    """Bursts of hunting, 0 to 1: on for some 0.3 s, off for some 2 s."""
    count = max(4, int(n * dt_s / 1.0))
    lengths = np.empty(2 * count)
    lengths[0::2] = 0.3 + 3.4 * rng.random(count)
    lengths[1::2] = 0.1 + 0.4 * rng.random(count)
    edges = np.cumsum(lengths)
    on = np.searchsorted(edges, np.arange(n) * dt_s, side="right") % 2
    return np.asarray(on, dtype=np.float64) * (0.5 + 0.5 * rng.random(n))


def demand_of_places(aircraft: AircraftModel, rated_a: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sum the servos of each place as ``constant + slope * V``, each of shape (places, n)."""
    shape = (len(aircraft.places), rated_a.shape[1])
    constant, slope = np.zeros(shape), np.zeros(shape)
    for servo, amps in zip(aircraft.servos, rated_a, strict=True):
        at = aircraft.places.index(servo.node)
        constant[at] += (1.0 - servo.volt_power) * amps
        slope[at] += servo.volt_power / servo.rated_v * amps
    return constant, slope
