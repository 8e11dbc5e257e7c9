"""Logs of invented aircraft from a second, plain physics that shares nothing with the simulator.

Sticks are moves drawn at random, a servo's current is friction, rate and held air load with a
buzz of its own, leads and packs are resistances, and each unit is polled in its turn and may skip
it. Every number is made up; what matters is that nothing in ``telemetry`` knows this file.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DT = 0.05
HEALTHY = (
    *("aerobatic", "scale", "glider", "jet", "trimmed", "mixed", "gusts", "knife edge"),
    *("retracts", "brakes", "warbird", "thermals"),
)
NODE_FAULTS = (
    *("rests high", "idle up", "stall short", "stall long", "servo dead", "node dead"),
    *("stays up", "hunts", "fights", "heats", "draws more"),
)
LEAD_FAULTS = ("lead changed", "lead high alone", "lead high apparent", "lead high mirrored")
SURFACES = ("aileron", "elevator", "rudder", "flap")


@dataclass(kw_only=True)
class Servo:
    """One servo: which stick it follows, and its currents, A at rest, for 100 %/s, for 100 %."""

    drives: str
    idle: float
    move: float
    hold: float
    buzz: float


@dataclass(kw_only=True)
class Place:
    """A node: its servos, its lead [Ohm], another steady load [A]."""

    name: str
    servos: list[Servo]
    lead: float
    steady: float = 0.0


@dataclass(kw_only=True)
class Scene:
    """A log to be, and what is true of it."""

    kind: str
    fault: str
    where: str
    servo: str
    since_s: float
    until_s: float
    size: float
    update_s: float
    controls: bool
    node_currents: bool
    takes_off_s: float
    lands_s: float
    columns: dict[str, FloatArray] = field(default_factory=dict)
    truth: dict[str, FloatArray] = field(default_factory=dict)

    def write(self, path: Path) -> Path:
        """The CSV file."""
        names = list(self.columns)
        rows = zip(*self.columns.values(), strict=True)
        with path.open("w", encoding="utf-8") as f:
            f.write(",".join(names) + "\n")
            for row in rows:
                f.write(",".join("" if np.isnan(x) else f"{x:.6g}" for x in row) + "\n")
        return path


def make(
    seed: int,
    kind: str = "aerobatic",
    fault: str = "",
    *,
    update_s: float | None = None,
    controls: bool | None = None,
) -> Scene:
    """A scene of a healthy kind, with a fault planted or without."""
    rng = np.random.default_rng(seed)
    places = _aircraft(rng, kind)
    update_s = float(rng.choice([0.1, 0.2, 0.5, 1.0])) if update_s is None else update_s
    before = [float(rng.uniform(*x)) for x in ((12, 40), (7, 18), (10, 35))]
    flight_s, after_s = float(rng.uniform(200, 420)), float(rng.uniform(20, 50))
    off = sum(before)
    t = np.arange(0.0, off + flight_s + after_s, DT)
    air = np.clip((t - off) / 4, 0, 1) * np.clip((off + flight_s - t) / 4, 0, 1)
    sticks = _sticks(rng, kind, t, air, (before[0], before[0] + before[1]))
    scene = Scene(
        kind=kind,
        fault=fault,
        where="",
        servo="",
        since_s=0.0,
        until_s=float(t[-1]),
        size=0.0,
        update_s=update_s,
        controls=bool(rng.random() < 0.4) if controls is None else controls,
        node_currents=fault != "lead high apparent",
        takes_off_s=off,
        lands_s=off + flight_s,
    )
    amps = {p.name: np.zeros(t.size) for p in places}
    draws = {
        p.name: [_servo_current(rng, s, sticks, air, t, p.name) for s in p.servos] for p in places
    }
    _plant_servo(rng, scene, places, draws, t, air)
    for p in places:
        amps[p.name] = np.sum(draws[p.name], axis=0) + p.steady
    if kind == "retracts":
        _retracts(rng, scene, amps, t)
    if kind == "jet":
        amps["fuselage"] = amps["fuselage"] + 1.2 * (t > 3.0)
    _electrics(rng, scene, places, amps, sticks, t)
    return scene


def _aircraft(rng: Generator, kind: str) -> list[Place]:
    spread = 0.2 if kind == "mixed" else 0.10
    size = {"glider": 0.45, "scale": 0.7, "thermals": 0.4}.get(kind, 1.0) * rng.uniform(0.7, 1.3)

    def servo(drives: str, factor: float = 1.0) -> Servo:
        one = size * factor * (1 + spread * float(np.clip(rng.standard_normal(), -1.5, 1.5)))
        return Servo(
            drives=drives,
            idle=0.03 + 0.04 * one * rng.uniform(0.7, 1.3),
            move=one * base_move,
            hold=one * base_hold,
            buzz=0.02 + 0.05 * one * rng.uniform(0.5, 1.5),
        )

    base_move, base_hold = rng.uniform(0.2, 0.6), rng.uniform(0.5, 2.0)
    ailerons, flaps = int(rng.integers(1, 4)), int(rng.integers(0, 2))
    wing = ["aileron"] * ailerons + ["flap"] * flaps
    tail = rng.uniform(0.7, 1.6)
    lead = rng.uniform(0.015, 0.05)

    def near(x: float) -> float:
        return float(x * rng.uniform(0.93, 1.07))

    places = [
        Place(name="left wing", servos=[servo(d) for d in wing], lead=near(lead)),
        Place(name="right wing", servos=[servo(d) for d in wing], lead=near(lead)),
    ]
    shape = int(rng.integers(0, 4)) if kind != "jet" else 2
    stern = ["elevator", "elevator", "rudder"]
    if shape == 1:
        places.append(
            Place(name="tail", servos=[servo(d, tail) for d in stern], lead=near(1.5 * lead))
        )
    elif shape == 2:
        places.append(
            Place(name="tail", servos=[servo(d, tail) for d in stern], lead=near(1.5 * lead))
        )
        places.append(Place(name="fuselage", servos=[servo("rudder", 0.6)], lead=near(0.5 * lead)))
    elif shape == 3:
        for side in ("left", "right"):
            elevator = [servo("elevator", tail)]
            places.append(Place(name=f"{side} stab", servos=elevator, lead=near(1.5 * lead)))
        places.append(Place(name="tail", servos=[servo("rudder", tail)], lead=near(1.5 * lead)))
    return places


_STYLE = {
    # moves a minute, size %, seconds each, corrections %
    "aerobatic": (24, 70, 0.8, 5),
    "scale": (8, 22, 1.6, 2.5),
    "glider": (5, 16, 2.5, 1.6),
    "thermals": (3, 12, 3.0, 1.2),
    "jet": (12, 45, 1.0, 3),
    "gusts": (14, 45, 0.9, 9),
    "warbird": (10, 35, 1.2, 3),
}


def _sticks(
    rng: Generator, kind: str, t: FloatArray, air: FloatArray, stir: tuple[float, float]
) -> dict[str, FloatArray]:
    rate, size, lasts, small = _STYLE.get(kind, _STYLE["aerobatic"])
    out: dict[str, FloatArray] = {}
    flying = np.flatnonzero(air > 0.5)
    start, end = t[flying[0]], t[flying[-1]]
    # Figures: stretches in which one stick does most of the work.
    edges = np.arange(start, end, float(rng.uniform(15, 40)))
    busy = {s: rng.uniform(0.15, 1.0, edges.size + 1) for s in SURFACES}
    part = np.searchsorted(edges, t)
    for s in SURFACES:
        x = np.zeros(t.size)
        many = rng.poisson(rate * (end - start) / 60 * (1.0 if s != "flap" else 0.02))
        for at in rng.uniform(start, end, many):
            k = busy[s][int(np.searchsorted(edges, at))]
            hold = lasts * rng.uniform(0.5, 2.5)
            ramp = rng.uniform(0.08, 0.3) * max(lasts, 0.8)
            high = size * k * rng.uniform(0.3, 1.3) * rng.choice([-1, 1])
            if s == "flap":
                hold, high, ramp = rng.uniform(10, 60), abs(high) + 20, 1.0
            rise = np.clip((t - at) / ramp, 0, 1)
            x += high * np.minimum(rise, np.clip((at + hold + ramp - t) / ramp, 0, 1))
        if s != "flap":
            noise = rng.standard_normal(t.size)
            width = max(3, round(float(rng.uniform(0.25, 0.6)) / DT))
            wave = np.convolve(noise, np.hanning(width), "same")
            x += small * wave / wave.std() * (0.4 + busy[s][part]) * air
        out[s] = x
    if kind == "knife edge":
        for at in rng.uniform(start + 10, end - 25, 4):
            inside = (t > at) & (t < at + rng.uniform(6, 16))
            out["rudder"] += 70 * inside
        for at in rng.uniform(start + 10, end - 25, 3):
            out["elevator"] += -25 * ((t > at) & (t < at + rng.uniform(8, 20)))
    if kind == "trimmed":
        out["aileron"] += rng.uniform(6, 15) * air
    if kind == "brakes":
        for at in rng.uniform(start + 20, end - 30, 2):
            out["flap"] += 80 * np.clip((t - at) / 1.5, 0, 1) * np.clip((at + 20 - t) / 1.5, 0, 1)
    inside = (t >= stir[0]) & (t < stir[1])
    hz = rng.uniform(0.7, 1.6)
    for s, phase in (("aileron", 0.0), ("elevator", 1.6), ("rudder", 0.4)):
        wobble = 2 * np.pi * hz * t + phase + 0.5 * np.sin(0.9 * t)
        out[s] = out[s] + 95 * np.sin(wobble) * inside
    throttle = (0.5 + 0.3 * np.sin(t / 11) + 0.2 * np.sin(t / 3.1)) * 100 * air
    if kind in ("glider", "thermals"):
        throttle = 80.0 * ((t > start) & (t < start + 25))
    out["throttle"] = throttle
    return {s: np.clip(x, -100, 100) for s, x in out.items()}


def _servo_current(
    rng: Generator,
    s: Servo,
    sticks: dict[str, FloatArray],
    air: FloatArray,
    t: FloatArray,
    place: str,
) -> FloatArray:
    """Idle, rate and held load, with a buzz that goes with what it does."""
    x = sticks[s.drives]
    lag = np.exp(-np.arange(0, 0.4, DT) / 0.06)
    x = np.convolve(x, lag / lag.sum(), "full")[: t.size]
    rate = np.abs(np.gradient(x, DT)) / 100
    gust = np.convolve(rng.standard_normal(t.size), np.hanning(round(1.2 / DT)), "same")
    load = np.abs(x / 100 + 0.06 * gust / gust.std()) * air
    # Held load and travel against the air differ a little from side to side.
    steady = s.move * rate**0.9 + s.hold * load**1.1
    buzz = s.buzz * np.abs(rng.standard_normal(t.size)) * (0.3 + np.minimum(rate + load, 1.5))
    peaks = 1 + 0.35 * rng.standard_normal(t.size) * (rate > 0.1)
    return s.idle + np.maximum(steady * peaks, 0.0) + buzz


def _plant_servo(
    rng: Generator,
    scene: Scene,
    places: list[Place],
    draws: dict[str, list[FloatArray]],
    t: FloatArray,
    air: FloatArray,
) -> None:
    fault = scene.fault
    if fault not in NODE_FAULTS:
        return
    usable = [p for p in places if not (scene.kind == "jet" and p.name == "fuselage")]
    p = usable[int(rng.integers(len(usable)))]
    fit = [k for k, s in enumerate(p.servos) if s.drives != "flap"]
    k = int(rng.choice(fit))
    scene.where, scene.servo = p.name, p.servos[k].drives
    span = scene.lands_s - scene.takes_off_s
    at = scene.takes_off_s + span * float(rng.uniform(0.25, 0.65))
    now = draws[p.name][k]
    usual = float(np.quantile(np.sum(draws[p.name], axis=0), 0.97))
    noise = 1 + 0.03 * rng.standard_normal(t.size)
    end = float(t[-1])
    size = 0.0
    if fault == "rests high":
        at, size = 0.0, float(rng.uniform(0.6, 4.5))
        if p.name in ("tail", "fuselage"):
            size = float(rng.uniform(2.0, 4.5))
        now = now + size * noise
    elif fault == "idle up":
        size = float(rng.uniform(0.6, 2.0))
        now = now + size * noise * (t >= at)
    elif fault == "stays up":
        at, size = scene.lands_s - 3.0, float(rng.uniform(0.5, 2.5))
        now = now + size * noise * (t >= at)
    elif fault in ("stall short", "stall long"):
        long = fault == "stall long"
        lasts = float(rng.uniform(45, 120) if long else rng.uniform(3.0, 6.0))
        size = usual * float(rng.uniform(1.0, 2.0) if long else rng.uniform(1.6, 2.6))
        size, end = max(size, 1.5), at + lasts
        stuck = (t >= at) & (t < end)
        now = np.where(stuck, size * noise, now)
    elif fault in ("servo dead", "node dead"):
        size = 1.0
        for n, s in enumerate(p.servos):
            if fault == "node dead" or s.drives == scene.servo:
                draws[p.name][n] = np.where(t < at, draws[p.name][n], 0.0)
        now = draws[p.name][k]
    elif fault == "hunts":
        at = 0.0 if rng.random() < 0.4 else at
        size = float(rng.uniform(0.6, 2.0))
        wave = np.abs(np.sin(2 * np.pi * rng.uniform(2.3, 7.7) * t + rng.uniform(0, 6)))
        now = now + size * wave * (t >= at)
    elif fault == "fights":
        at, size = 0.0, float(rng.uniform(0.5, 1.6))
        if p.name in ("tail", "fuselage"):
            size = float(rng.uniform(2.0, 3.0))
        now = now * 1.1 + size * noise
    elif fault == "heats":
        at, size = scene.takes_off_s, float(rng.uniform(1.2, 2.5))
        gain = 1 + size * np.clip((t - at) / span, 0, 1)
        for n in range(len(p.servos)):
            draws[p.name][n] = draws[p.name][n] * gain
        now = draws[p.name][k]
    elif fault == "draws more":
        at, size = 0.0, float(rng.uniform(1.2, 2.5))
        for n, s in enumerate(p.servos):
            draws[p.name][n] = s.idle + (draws[p.name][n] - s.idle) * (1 + size)
        now = draws[p.name][k]
    draws[p.name][k] = now
    scene.since_s, scene.until_s, scene.size = at, end, size


def _retracts(rng: Generator, scene: Scene, amps: dict[str, FloatArray], t: FloatArray) -> None:
    """Gear motors of both wings, and of the nose where there is a node: up, and down again."""
    for at in (scene.takes_off_s + 6.0, scene.lands_s - 12.0):
        nose = [p for p in ("fuselage",) if p in amps]
        for p in ("left wing", "right wing", *nose):
            a, lasts = at + rng.uniform(0, 0.6), rng.uniform(3.0, 4.0)
            amps[p] = amps[p] + rng.uniform(1.8, 2.4) * ((t > a) & (t < a + lasts))


def _electrics(
    rng: Generator,
    scene: Scene,
    places: list[Place],
    amps: dict[str, FloatArray],
    sticks: dict[str, FloatArray],
    t: FloatArray,
) -> None:
    total = np.sum(list(amps.values()), axis=0) + 0.25
    bus = 8.2 - 0.6 * np.cumsum(total) / np.sum(total) - rng.uniform(0.02, 0.06) * total
    leads = {p.name: np.full(t.size, p.lead) for p in places}
    _plant_lead(rng, scene, places, leads, t)
    step_v, step_a = float(rng.choice([0.01, 0.02, 0.05])), float(rng.choice([0.01, 0.02, 0.1]))
    row_s = scene.update_s * float(rng.choice([0.5, 1.0, 1.0]))
    rows = np.arange(0.0, t[-1], row_s)
    blank = bool(rng.random() < 0.3)
    mean = bool(rng.random() < 0.4)
    gains = {p: 1 + 0.01 * float(rng.standard_normal()) for p in amps}
    scene.columns["Time (s)"] = rows

    def polled(x: FloatArray, when: FloatArray, step: float) -> FloatArray:
        if mean:
            width = max(1, round(scene.update_s / DT))
            sums = np.concatenate((x[0] * np.arange(1 - width, 1), x[0] + np.cumsum(x)))
            x = (sums[width:] - sums[:-width]) / width
        value = np.round(np.interp(when, t, x) / step) * step
        at = np.searchsorted(when, rows, side="right") - 1
        fresh = np.concatenate(([True], np.diff(at) > 0))
        out = np.where(at >= 0, value[np.maximum(at, 0)], np.nan)
        return np.where(fresh | (not blank), out, np.nan)

    def polls() -> FloatArray:
        when = np.arange(rng.uniform(0, 1) * scene.update_s, t[-1], scene.update_s)
        return when[rng.random(when.size) > 0.03]

    main = polls()
    scene.columns["Bus voltage (V)"] = polled(
        bus + 0.003 * rng.standard_normal(t.size), main, step_v
    )
    scene.columns["Bus current (A)"] = polled(total, main, step_a)
    for p in places:
        when = polls()
        volts = bus - leads[p.name] * amps[p.name] + 0.01 * rng.standard_normal()
        volts = volts + 0.003 * rng.standard_normal(t.size)
        name = p.name.capitalize()
        scene.columns[f"{name} voltage (V)"] = polled(volts, when, step_v)
        if scene.node_currents:
            scene.columns[f"{name} current (A)"] = polled(
                amps[p.name] * gains[p.name], when + 0.004, step_a
            )
    if scene.controls:
        for s in (*SURFACES, "throttle"):
            if s == "flap" and not np.ptp(sticks["flap"]):
                continue
            scene.columns[f"{s.capitalize()} (%)"] = np.round(np.interp(rows, t, sticks[s]), 1)
    scene.truth = {"t": t, "bus": bus, **amps}


def _plant_lead(
    rng: Generator,
    scene: Scene,
    places: list[Place],
    leads: dict[str, FloatArray],
    t: FloatArray,
) -> None:
    if scene.fault not in LEAD_FAULTS:
        return
    alone = [p for p in places if p.name in ("tail", "fuselage")]
    p = places[int(rng.integers(len(places)))]
    at, size = 0.0, float(rng.uniform(0.06, 0.15))
    if scene.fault == "lead changed":
        at = scene.takes_off_s + (scene.lands_s - scene.takes_off_s) * float(rng.uniform(0.3, 0.7))
        size = float(rng.uniform(0.04, 0.1))
    elif scene.fault == "lead high alone" and alone:
        p, size = alone[0], float(rng.uniform(0.12, 0.25))
    elif scene.fault in ("lead high apparent", "lead high mirrored"):
        p = places[int(rng.integers(2))]
    leads[p.name] = leads[p.name] + size * (t >= at)
    scene.where, scene.since_s, scene.size = p.name, at, size


def at_rate(scene: Scene, update_s: float) -> Scene:
    """The same scene's facts with another interval, for tables."""
    return replace(scene, update_s=update_s)
