"""Figures of a flight, strung together at random: an invented, plausible programme."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.random import Generator

from telemetry.simulate.parts import FloatArray

_FLOWN = ("aileron", "elevator", "rudder", "throttle", "flap")


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """Controls, speed, height and strain (0 to 1) of one flight, each of shape (n,)."""

    control_pct: dict[str, FloatArray]
    speed_ms: FloatArray
    height_m: FloatArray
    strain: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One kind of figure.

    Attributes
    ----------
    weight : float
        How often it is flown.
    seconds : (float, float)
        Shortest and longest.
    hold : dict
        Control held through the figure: least and most travel, %. The sign is drawn.
    swing : dict
        Control swung to and fro: most travel, %, and times a second.
    corrections : float
        Factor on the small corrections.
    throttle_pct, speed_ms, strain : float
    """

    weight: float
    seconds: tuple[float, float]
    hold: dict[str, tuple[float, float]]
    swing: dict[str, tuple[float, float]]
    corrections: float
    throttle_pct: float
    speed_ms: float
    strain: float


def _figure(
    weight: float,
    seconds: tuple[float, float],
    hold: dict[str, tuple[float, float]],
    *,
    swing: dict[str, tuple[float, float]] | None = None,
    corrections: float = 1.0,
    throttle: float = 20.0,
    speed: float = 24.0,
    strain: float = 0.4,
) -> Figure:
    return Figure(
        weight=weight,
        seconds=seconds,
        hold=hold,
        swing=swing or {},
        corrections=corrections,
        throttle_pct=throttle,
        speed_ms=speed,
        strain=strain,
    )


FIGURES: tuple[Figure, ...] = (
    _figure(3.0, (3.0, 7.0), {}, throttle=0.0, speed=22.0, strain=0.2),  # straight
    _figure(3.0, (2.0, 4.0), {"aileron": (20, 45), "elevator": (12, 35), "rudder": (5, 20)}),
    _figure(2.0, (4.0, 7.0), {"elevator": (25, 60)}, throttle=60.0, speed=27.0, strain=0.7),
    _figure(2.5, (1.5, 4.0), {"aileron": (50, 100), "elevator": (4, 12)}, speed=28.0, strain=0.6),
    _figure(  # rolling circle
        1.0,
        (5.0, 9.0),
        {"aileron": (40, 70)},
        swing={"elevator": (45, 0.6), "rudder": (55, 0.6)},
        throttle=50.0,
        strain=0.7,
    ),
    _figure(  # snap
        1.5,
        (0.7, 1.3),
        {"aileron": (85, 100), "elevator": (75, 100), "rudder": (85, 100)},
        speed=23.0,
        strain=1.0,
    ),
    _figure(1.5, (3.0, 6.0), {"rudder": (50, 95), "aileron": (8, 25)}, throttle=60.0, speed=26.0),
    _figure(1.0, (1.5, 2.5), {"rudder": (90, 100)}, throttle=-40.0, speed=9.0, strain=0.3),
    _figure(  # hover
        1.2,
        (6.0, 12.0),
        {"rudder": (5, 15)},
        swing={"elevator": (22, 0.9), "rudder": (25, 1.1), "throttle": (20, 0.7)},
        corrections=3.5,
        throttle=25.0,
        speed=3.0,
        strain=0.5,
    ),
    _figure(  # spin
        0.6,
        (2.5, 4.5),
        {"elevator": (85, 100), "rudder": (85, 100), "aileron": (30, 60)},
        throttle=-90.0,
        speed=15.0,
        strain=0.6,
    ),
)
TAKE_OFF = _figure(0.0, (8.0, 8.0), {"elevator": (10, 20)}, throttle=85.0, speed=24.0)
LANDING = _figure(
    0.0, (18.0, 18.0), {"flap": (80, 80)}, corrections=1.8, throttle=-60.0, speed=16.0, strain=0.3
)


def fly_figures(
    n: int,
    dt_s: float,
    rng: Generator,
    *,
    hardness: float,
    correction_pct: float,
    correction_hz: float,
) -> Flown:
    """One flight of n steps: take-off, figures, landing.

    Parameters
    ----------
    hardness : float
        Factor on the travel held and swung.
    correction_pct, correction_hz : float
        Small corrections: standard deviation, and corner frequency.
    """
    total = n * dt_s
    programme = _programme(total, rng)
    time = np.arange(n) * dt_s
    knots: dict[str, list[tuple[float, float]]] = {axis: [(0.0, 0.0)] for axis in _FLOWN}
    knots["throttle"] = [(0.0, -80.0)]
    level = {name: np.zeros(n) for name in ("corrections", "speed", "strain")}
    swings = {axis: np.zeros(n) for axis in _FLOWN}
    for start, end, figure in programme:
        part = slice(round(start / dt_s), min(n, round(end / dt_s)))
        level["corrections"][part] = figure.corrections
        level["speed"][part] = figure.speed_ms
        level["strain"][part] = figure.strain
        rise = min(0.12 + 0.18 * rng.random(), (end - start) / 4)
        for axis, (least, most) in figure.hold.items():
            sign = 1.0 if axis == "flap" or rng.random() < 0.5 else -1.0
            travel = min(100.0, hardness * (least + (most - least) * rng.random()))
            knots[axis] += [
                (start, 0.0),
                (start + rise, sign * travel),
                (end - rise, sign * travel * (0.85 + 0.15 * rng.random())),
                (end, 0.0),
            ]
        gas = figure.throttle_pct + 15.0 * (rng.random() - 0.5)
        knots["throttle"] += [(start + 0.5, gas), (end - 0.01, gas)]
        for axis, (travel, hz) in figure.swing.items():
            local = time[part] - start
            rate = hz * (0.8 + 0.4 * rng.random())
            phase = 6.28 * rng.random()
            fade = np.clip(np.minimum(local, end - start - local) / 0.4, 0.0, 1.0)
            swings[axis][part] = hardness * travel * fade * np.sin(2 * np.pi * rate * local + phase)
    control = {}
    for axis in _FLOWN:
        at, values = np.array(knots[axis]).T
        control[axis] = np.interp(time, at, values) + swings[axis]
    for axis in ("aileron", "elevator", "rudder"):
        control[axis] += (
            correction_pct * level["corrections"] * _wander(n, dt_s, correction_hz, rng)
        )
    control["throttle"] += 4.0 * _wander(n, dt_s, 0.5, rng)
    control = {axis: np.clip(values, -100.0, 100.0) for axis, values in control.items()}
    ramp = np.clip(time / 6.0, 0.0, 1.0) * np.clip((total - time) / 6.0, 0.0, 1.0)
    aloft = np.clip(time / 12.0, 0.0, 1.0) * np.clip((total - time) / 20.0, 0.0, 1.0)
    keep = float(np.exp(-dt_s / 2.0))
    speed = scipy.signal.lfilter([1.0 - keep], [1.0, -keep], level["speed"]) * ramp
    height = aloft * (70.0 + 25.0 * _wander(n, dt_s, 0.05, rng))
    return Flown(
        control_pct=control,
        speed_ms=np.asarray(speed, dtype=np.float64),
        height_m=np.maximum(height, 0.0),
        strain=level["strain"],
    )


def _programme(total_s: float, rng: Generator) -> list[tuple[float, float, Figure]]:
    """Figures one after the other with short pauses, take-off first, landing last."""
    take_off = min(TAKE_OFF.seconds[0], total_s / 4)
    landing = min(LANDING.seconds[0], total_s / 4)
    programme = [(0.0, take_off, TAKE_OFF)]
    at = take_off
    weights = np.cumsum([f.weight for f in FIGURES])
    while True:
        kind = int(np.searchsorted(weights, rng.random() * weights[-1], side="right"))
        figure = FIGURES[min(kind, len(FIGURES) - 1)]
        shortest, longest = figure.seconds
        seconds = shortest + (longest - shortest) * rng.random()
        if at + seconds > total_s - landing:
            break
        programme.append((at, at + seconds, figure))
        at += seconds
        pause = 0.4 + 1.6 * rng.random()
        programme.append((at, min(at + pause, total_s - landing), FIGURES[0]))
        at = programme[-1][1]
    programme.append((at, total_s - landing, FIGURES[0]))
    programme.append((total_s - landing, total_s, LANDING))
    return [(a, b, f) for a, b, f in programme if b - a > 4 * 0.02]


def _wander(n: int, dt_s: float, hz: float, rng: Generator) -> FloatArray:
    """Smooth noise of unit standard deviation with a corner frequency."""
    keep = float(np.exp(-2 * np.pi * hz * dt_s))
    noise = rng.standard_normal(n)
    for _ in range(2):
        noise = scipy.signal.lfilter([1.0], [1.0, -keep], noise)
    # Standard deviation of two equal first-order stages in a row, in closed form.
    spread = np.sqrt((1 + keep**2) / (1 - keep**2) ** 3)
    return np.asarray(noise / spread, dtype=np.float64)
