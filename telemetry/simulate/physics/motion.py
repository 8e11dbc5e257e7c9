"""A plan carried out: what is commanded and how it is flown, on the fine grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.random import Generator

from telemetry.results import Phase, PhaseKind, Span
from telemetry.simulate.parts import FloatArray
from telemetry.simulate.physics.manoeuvres import fly_figures
from telemetry.simulate.pilot import Day, Pilot, Segment, SegmentKind

AXES: tuple[str, ...] = ("aileron", "elevator", "rudder", "throttle", "flap")
HAND_S = 0.05  # smoothing of the pilot's hand

_PHASE = {
    SegmentKind.STIR: PhaseKind.STIR,
    SegmentKind.FLIGHT: PhaseKind.FLIGHT,
    SegmentKind.PACK_OFF: PhaseKind.REDUNDANCY_CHECK,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """What was commanded and how it was flown, on the fine grid.

    Attributes
    ----------
    time_s : array, shape (n,)
        Start of each step.
    control_pct : dict of array
        Commanded travel per control, -100 to 100 %.
    air_load : array, shape (n,)
        Dynamic pressure relative to fast level flight.
    shaking : array, shape (n,)
        Vibration, 0 at rest to 1 in hard flight: what works on a bad contact.
    speed_ms, height_m : array, shape (n,)
    phases : tuple of Phase
        Half open, without holes.
    flights, checks : tuple of Span
        Airborne stretches; control checks on the ground.
    pack_off : tuple of (str, Span)
        Packs switched off by the pilot.
    power_off : tuple of Span
    """

    time_s: FloatArray
    control_pct: dict[str, FloatArray]
    air_load: FloatArray
    shaking: FloatArray
    speed_ms: FloatArray
    height_m: FloatArray
    phases: tuple[Phase, ...]
    flights: tuple[Span, ...]
    checks: tuple[Span, ...]
    pack_off: tuple[tuple[str, Span], ...]
    power_off: tuple[Span, ...]

    @property
    def dt_s(self) -> float:
        """Grid step, s."""
        return float(self.time_s[1] - self.time_s[0])


def move(
    plan: tuple[Segment, ...],
    pilot: Pilot,
    day: Day,
    rng: Generator,
    *,
    dt_s: float = 0.01,
) -> Motion:
    """Carry out a plan.

    Parameters
    ----------
    plan : tuple of Segment
    pilot : Pilot
    day : Day
    rng : numpy.random.Generator
    dt_s : float
        Grid step, s.

    Returns
    -------
    Motion
    """
    steps = [max(1, round(s.seconds / dt_s)) for s in plan]
    n = sum(steps)
    control = {axis: np.zeros(n) for axis in AXES}
    control["throttle"][:] = -100.0
    speed, height = np.zeros(n), np.zeros(n)
    shaking, engine = np.zeros(n), np.zeros(n)
    phases: list[Phase] = []
    flights, checks, power_off = [], [], []
    pack_off: list[tuple[str, Span]] = []
    at = 0
    for segment, size in zip(plan, steps, strict=True):
        part = slice(at, at + size)
        span = Span(start_s=at * dt_s, end_s=(at + size) * dt_s)
        at += size
        match segment.kind:
            case SegmentKind.STIR:
                for axis, values in _stir(size, dt_s, pilot, day, rng).items():
                    control[axis][part] = values
            case SegmentKind.CHECK:
                for axis, values in _check(size, dt_s, rng, segment.axes).items():
                    control[axis][part] = values
                checks.append(span)
            case SegmentKind.ENGINE:
                for axis, values in _engine(size, dt_s, rng).items():
                    control[axis][part] = values
                shaking[part], engine[part] = 0.35, 0.4
            case SegmentKind.FLIGHT:
                flown = fly_figures(
                    size,
                    dt_s,
                    rng,
                    hardness=pilot.hardness * day.hardness,
                    correction_pct=pilot.correction_pct * day.gusts,
                    correction_hz=pilot.correction_hz,
                )
                for axis, values in flown.control_pct.items():
                    control[axis][part] = values
                speed[part], height[part] = flown.speed_ms, flown.height_m
                shaking[part], engine[part] = 0.5 + 0.5 * flown.strain, 1.0
                flights.append(span)
            case SegmentKind.PACK_OFF:
                pack_off.append((segment.pack, span))
            case SegmentKind.POWER_OFF:
                power_off.append(span)
            case SegmentKind.REST:
                for axis, values in _idle(size, dt_s, rng).items():
                    control[axis][part] = values
        kind = _PHASE.get(segment.kind, PhaseKind.GROUND)
        if phases and phases[-1].kind is kind is PhaseKind.GROUND:
            phases[-1] = Phase(kind=kind, start_s=phases[-1].start_s, end_s=span.end_s)
        else:
            phases.append(Phase(kind=kind, start_s=span.start_s, end_s=span.end_s))
    keep = float(np.exp(-dt_s / HAND_S))
    for axis in AXES:
        hand = smoothed(control[axis], keep)
        if axis in ("aileron", "elevator", "rudder"):
            # Trim of the day, and the small tremble of a hand on the stick.
            trim = 1.5 * rng.standard_normal()
            touched = np.where(np.abs(control[axis]) > 0.0, 0.4, 0.05)
            hand = hand + trim + touched * rng.standard_normal(n)
        control[axis] = np.clip(hand, -100.0, 100.0)
    propwash = 0.06 * engine * (1.0 + control["throttle"] / 100.0)
    return Motion(
        time_s=np.arange(n, dtype=np.float64) * dt_s,
        control_pct=control,
        air_load=np.minimum((speed / 28.0) ** 2, 1.4) + propwash,
        shaking=shaking,
        speed_ms=speed,
        height_m=height,
        phases=tuple(phases),
        flights=tuple(flights),
        checks=tuple(checks),
        pack_off=tuple(pack_off),
        power_off=tuple(power_off),
    )


def smoothed(values: FloatArray, keep: float) -> FloatArray:
    """Two first-order low-passes in a row, started at rest on the first value."""
    for _ in range(2):
        values, _state = scipy.signal.lfilter(
            [1.0 - keep], [1.0, -keep], values, zi=[keep * values[0]]
        )
    return np.asarray(values, dtype=np.float64)


def _stir(n: int, dt_s: float, pilot: Pilot, day: Day, rng: Generator) -> dict[str, FloatArray]:
    """Both sticks round their travel, each at its own slightly wandering rhythm."""
    time = np.arange(n) * dt_s
    ramp = np.clip(np.minimum(time, n * dt_s - time) / 0.6, 0.0, 1.0)
    moved: dict[str, FloatArray] = {}
    travel = min(100.0, pilot.stir_pct * day.vigour)
    for first, second in (("aileron", "elevator"), ("rudder", "throttle")):
        a, b, c, d, e = rng.random(5)
        hz = pilot.stir_hz * day.rhythm * (0.9 + 0.2 * a)
        wander = 0.10 * np.sin(2 * np.pi * (0.1 + 0.15 * b) * time + 6.28 * c)
        turn = 1.0 if d < 0.5 else -1.0
        phase = 2 * np.pi * hz * np.cumsum(1.0 + wander) * dt_s + 6.28 * e
        breath = 1.0 - 0.08 * (1.0 + np.sin(2 * np.pi * 0.21 * time + 6.28 * b)) / 2
        moved[first] = travel * ramp * breath * np.cos(phase)
        moved[second] = travel * ramp * breath * np.sin(turn * phase) * (0.9 + 0.1 * c)
    # The throttle stick rests at its lower end: it is lifted to the middle and back.
    moved["throttle"] = -100.0 + ramp * 100.0 + moved["throttle"]
    return moved


def _idle(n: int, dt_s: float, rng: Generator) -> dict[str, FloatArray]:
    """Hands mostly off; now and then one stick is nudged."""
    time = np.arange(n) * dt_s
    moved = {axis: np.zeros(n) for axis in ("aileron", "elevator", "rudder")}
    for axis in moved:
        if rng.random() < 0.3 * n * dt_s / 20.0:
            at = (0.2 + 0.6 * rng.random()) * n * dt_s
            travel = 70.0 * (2.0 * rng.random() - 1.0)
            seconds = 0.15 + 0.35 * rng.random()
            moved[axis] = travel * np.exp(-(((time - at) / seconds) ** 2))
    return moved


def _check(n: int, dt_s: float, rng: Generator, axes: tuple[str, ...]) -> dict[str, FloatArray]:
    """One control after the other: full one way, full the other, back."""
    time = np.arange(n) * dt_s
    moved = {}
    share = n * dt_s / len(axes)
    for i, axis in enumerate(axes):
        sign = 1.0 if rng.random() < 0.5 else -1.0
        shape = np.array([0.0, 0.0, 1.0, 1.0, -1.0, -1.0, 0.0, 0.0]) * 100.0 * sign
        if axis == "throttle":
            shape = np.abs(shape) * 2.0 - 100.0  # it rests at its lower end
        at = np.array([0.0, 0.12, 0.18, 0.42, 0.54, 0.78, 0.84, 1.0]) * share + i * share
        moved[axis] = np.interp(time, at, shape)
    return moved


def _engine(n: int, dt_s: float, rng: Generator) -> dict[str, FloatArray]:
    """Engine run and taxi: throttle up and down, rudder steering, elevator held up."""
    time = np.arange(n) * dt_s
    knots = np.arange(0.0, n * dt_s + 3.0, 3.0)
    gas = -95.0 + 55.0 * rng.random(knots.size)
    steer = 35.0 * (2.0 * rng.random(knots.size) - 1.0)
    steer[0] = steer[-1] = 0.0
    gas[0] = gas[-1] = -100.0
    back = np.clip(np.minimum(time, n * dt_s - time) / 2.0, 0.0, 1.0)
    return {
        "throttle": np.interp(time, knots, gas),
        "rudder": np.interp(time, knots, steer),
        "elevator": 30.0 * back,
    }
