"""What a pilot does with the sticks, from switching on to switching off, and how fast it flies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import lfilter

FloatArray = NDArray[np.float64]

DT_S = 0.02
AXES = ("aileron", "elevator", "rudder", "throttle", "flap")
STYLES = ("calm", "scale", "pattern", "wild", "tow", "soaring")


@dataclass(frozen=True, kw_only=True)
class Hand:
    """How one pilot flies: as a factor on travel and on speed, and how he stirs."""

    style: str
    travel: float
    pace: float
    stirs: str  # "round", "in turn", "seldom"
    stir_s: float


@dataclass(frozen=True, kw_only=True)
class Outing:
    """One recording's sticks (-1 to 1; throttle and flap 0 to 1), dynamic pressure, and times."""

    time_s: FloatArray
    sticks: dict[str, FloatArray]
    air: FloatArray
    height_m: FloatArray
    stirs: tuple[tuple[float, float], ...]
    flight: tuple[float, float]
    check: tuple[float, float, float] | None  # pack 1 off, pack 2 off, both on again

    @property
    def flying(self) -> FloatArray:
        a, b = self.flight
        return ((self.time_s >= a) & (self.time_s < b)).astype(float)


def random_hand(rng: Generator, style: str) -> Hand:
    return Hand(
        style=style,
        travel=float(rng.uniform(0.85, 1.15)),
        pace=float(rng.uniform(0.8, 1.25)),
        stirs=str(rng.choice(["round", "round", "in turn", "seldom"])),
        stir_s=float(rng.uniform(6.0, 14.0)),
    )


def outing(rng: Generator, hand: Hand, *, flight_s: float, checks: bool, rests: bool) -> Outing:
    """Rest, stir, taxi, flight, rest; with ``checks`` packs are switched off in turn before."""
    wanted: list[tuple[str, float]] = [("rest", float(rng.uniform(7, 15)))]
    if hand.stirs != "seldom" or rng.random() < 0.3:
        wanted += [("stir", hand.stir_s * float(rng.uniform(0.8, 1.2))), ("rest", 6.0)]
    if checks:
        wanted += [("check", 16.0), ("rest", 4.0)]
    wanted += [("taxi", float(rng.uniform(10, 25))), ("flight", flight_s)]
    wanted += [("taxi", float(rng.uniform(6, 14)))]
    if rests:
        wanted.append(("rest", float(rng.uniform(12, 22))))
        if rng.random() < 0.35:
            wanted += [("stir", 0.7 * hand.stir_s), ("rest", 6.0)]
    n = [round(s / DT_S) for _, s in wanted]
    edges = np.concatenate([[0], np.cumsum(n)])
    sticks = {axis: np.zeros(edges[-1]) for axis in AXES}
    air, height = np.zeros(edges[-1]), np.zeros(edges[-1])
    stirs, flight, check = [], (0.0, 0.0), None
    for (what, _), a, b in zip(wanted, edges[:-1], edges[1:], strict=True):
        span = slice(int(a), int(b))
        if what == "stir":
            _stir(rng, hand, sticks, span)
            stirs.append((a * DT_S, b * DT_S))
        elif what == "taxi":
            sticks["rudder"][span] = 0.25 * _wander(rng, b - a, 1.5)
            sticks["throttle"][span] = 0.12 * (1 + 0.3 * _wander(rng, b - a, 2.0))
        elif what == "flight":
            _fly(rng, hand, sticks, air, height, span)
            flight = (a * DT_S, b * DT_S)
        elif what == "check":
            check = (a * DT_S + 2.0, a * DT_S + 8.0, a * DT_S + 14.0)
    return Outing(
        time_s=np.arange(edges[-1]) * DT_S,
        sticks=sticks,
        air=air,
        height_m=height,
        stirs=tuple(stirs),
        flight=flight,
        check=check,
    )


def _wander(rng: Generator, n: int, period_s: float) -> FloatArray:
    """Smooth noise of about this period, of deviation one."""
    keep = float(np.exp(-DT_S * 3.0 / period_s))
    x = rng.standard_normal(int(n) + 800)
    x = lfilter([1 - keep], [1, -keep], lfilter([1 - keep], [1, -keep], x))[800:]
    return np.asarray(x / max(float(np.std(x)), 1e-9))


def _stir(rng: Generator, hand: Hand, sticks: dict[str, FloatArray], span: slice) -> None:
    t = np.arange(span.stop - span.start) * DT_S
    turns = 0.7 * hand.pace * float(rng.uniform(0.85, 1.15))
    reach = min(1.0, 0.95 * hand.travel)
    axes = ("aileron", "elevator", "rudder")
    if hand.stirs == "in turn":
        part = t[-1] / 3 + DT_S
        for i, axis in enumerate(axes):
            own = (t >= i * part) & (t < (i + 1) * part)
            sticks[axis][span] = np.where(own, reach * np.sin(2 * np.pi * turns * t), 0.0)
        return
    for i, axis in enumerate(axes):
        swing = np.sin(2 * np.pi * turns * (1 + 0.03 * i) * t + i * np.pi / 2)
        sticks[axis][span] = reach * swing * np.minimum(1.0, 2 * t)


def _fly(
    rng: Generator,
    hand: Hand,
    sticks: dict[str, FloatArray],
    air: FloatArray,
    height: FloatArray,
    span: slice,
) -> None:
    n = span.stop - span.start
    t = np.arange(n) * DT_S
    moves = {axis: np.zeros(n) for axis in AXES}
    if hand.style == "wild":  # three-dimensional flight: much, fast, at low speed between rushes
        for axis, reach in (("aileron", 0.6), ("elevator", 0.55), ("rudder", 0.5)):
            bursts = 0.35 + 0.65 * (_wander(rng, n, 9.0) > -0.2)
            moves[axis] = reach * bursts * _wander(rng, n, 0.7 / hand.pace)
        moves["throttle"] = 0.5 + 0.3 * _wander(rng, n, 1.5)
        speed = 0.75 + 0.3 * _wander(rng, n, 8.0)
    elif hand.style == "pattern":  # figures one after another, each a swing of one axis
        _figures(rng, hand, moves, t, rest_s=2.5)
        moves["throttle"] = 0.6 + 0.25 * _wander(rng, n, 6.0)
        speed = 1.0 + 0.18 * _wander(rng, n, 7.0)
    elif hand.style == "tow":  # a climb with a glider behind, then down fast, and again
        cycle = t % float(rng.uniform(75, 110))
        climbing = cycle < 0.7 * cycle.max()
        for axis, reach in (("aileron", 0.10), ("elevator", 0.08), ("rudder", 0.12)):
            moves[axis] = reach * _wander(rng, n, 2.2)
        moves["elevator"] += np.where(climbing, 0.06, -0.12)
        moves["throttle"] = np.where(climbing, 0.95, 0.08)
        moves["flap"] = np.where(climbing, 0.0, 0.5)
        speed = np.where(climbing, 0.75, 1.2) + 0.05 * _wander(rng, n, 5.0)
    elif hand.style == "soaring":  # circles; hardly a hand on the stick; brakes at the end
        circling = _wander(rng, n, 40.0) > 0.0
        moves["aileron"] = 0.07 * circling + 0.05 * _wander(rng, n, 3.0)
        moves["elevator"] = 0.05 + 0.03 * _wander(rng, n, 3.5)
        moves["rudder"] = 0.10 * circling + 0.05 * _wander(rng, n, 4.0)
        moves["flap"] = np.where(t > t[-1] - 25, 0.9, 0.08)
        speed = 0.7 + 0.1 * _wander(rng, n, 12.0)
    else:
        reach = 0.10 if hand.style == "calm" else 0.16
        _figures(rng, hand, moves, t, rest_s=9.0, reach=2.2 * reach)
        for axis in ("aileron", "elevator", "rudder"):
            moves[axis] += reach * 0.5 * _wander(rng, n, 2.0)
        moves["throttle"] = 0.5 + 0.12 * _wander(rng, n, 10.0)
        speed = 0.85 + 0.1 * _wander(rng, n, 10.0)
    rise = np.minimum(1.0, t / 6.0) * np.minimum(1.0, (t[-1] - t) / 6.0)
    for axis, x in moves.items():
        low = 0.0 if axis in ("throttle", "flap") else -1.0
        scaled = x if axis in ("throttle", "flap") else hand.travel * x
        sticks[axis][span] = np.clip(scaled, low, 1.0) * np.minimum(1.0, rise + 0.1)
    air[span] = (np.clip(speed, 0.2, 1.8) * rise) ** 2
    climb = np.cumsum(_wander(rng, n, 20.0)) * DT_S * 3.0
    height[span] = np.maximum(0.0, 90.0 + climb - climb.min()) * rise


def _figures(
    rng: Generator,
    hand: Hand,
    moves: dict[str, FloatArray],
    t: FloatArray,
    *,
    rest_s: float,
    reach: float = 0.8,
) -> None:
    now = 1.0
    while now < t[-1] - 4.0:
        axis = str(rng.choice(["aileron", "elevator", "elevator", "rudder"]))
        lasts = float(rng.uniform(0.8, 3.5)) / hand.pace
        a, b = np.searchsorted(t, [now, now + lasts])
        swing = np.sin(np.pi * np.linspace(0.0, 1.0, max(int(b - a), 2)))[: b - a]
        moves[axis][a:b] += (
            reach * float(rng.uniform(0.3, 1.0)) * float(rng.choice([-1, 1])) * swing
        )
        now += lasts + float(rng.exponential(rest_s / 2.0))
