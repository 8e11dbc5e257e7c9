"""Logs with packs, diodes, switches and regulators of a second, plain physics.

A pack is an open-circuit voltage over its charge, a resistance and one slow one; packs meet at the
bus directly, through diodes or through regulators with a limit, a drop-out and a temperature. The
load is that of :mod:`tests.simulated.scenes`. Every number is made up (of cells: common practice,
from memory), and nothing in ``telemetry`` knows this file.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.random import Generator
from scipy.signal import lfilter

from telemetry.aircraft import Aircraft
from tests.simulated.scenes import DT, FloatArray, make

HEALTHY = (
    *("sound", "cold day", "old but fine", "small and busy", "regulated", "high voltage"),
    *("diodes", "direct", "long flight", "standby", "nickel", "iron", "calm", "switch check"),
)
FAULTS = (
    *("both weak", "both cold", "one weak", "half charged", "cross charging", "lost in calm"),
    "one faded",
    *("regulator limit", "regulator dropout", "regulator hot", "knee", "wing at zero"),
)
HARMLESS = ("link zeros",)
# Open-circuit voltage of a cell against charge (common practice, no source).
_CHARGE = np.array([-0.1, 0, 0.03, 0.06, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0])
_OPEN = {
    "lipo": (1.20, 3.0, 3.35, 3.52, 3.62, 3.70, 3.77, 3.83, 3.92, 4.02, 4.09, 4.19),
    "liion": (1.04, 2.6, 3.0, 3.2, 3.33, 3.46, 3.57, 3.67, 3.80, 3.95, 4.05, 4.18),
    "life": (0.92, 2.3, 2.75, 3.0, 3.15, 3.23, 3.27, 3.29, 3.31, 3.33, 3.335, 3.40),
    "nimh": (0.38, 0.95, 1.10, 1.17, 1.21, 1.25, 1.27, 1.285, 1.30, 1.32, 1.35, 1.42),
}
# Resistance of a sound cell of 1 Ah, Ohm, and cells of a pack for 6 and for 7.4 V.
_OHM_AH = {
    "lipo": (0.012, 0.035),
    "liion": (0.035, 0.07),
    "life": (0.016, 0.04),
    "nimh": (0.03, 0.06),
}
_CELLS = {"lipo": 2, "liion": 2, "life": 2, "nimh": 5}


@dataclass(kw_only=True)
class Pack:
    """A pack: chemistry, Ah, charge at the start, Ohm at once and slowly, and its lead.

    ``rated_ohm`` is what a meter read when it was new and warm.
    """

    kind: str
    cells: int
    ah: float
    charge: float
    ohm: float
    slow_ohm: float
    slow_s: float
    lead: float
    rated_ohm: float


@dataclass(kw_only=True)
class SupplyScene:
    """A log to be, and what is true of it."""

    kind: str
    fault: str
    where: str
    since_s: float
    update_s: float
    packs: list[Pack]
    joined: str
    celsius: float
    lost: int | None = None
    truth: dict[str, FloatArray] = field(default_factory=dict)
    columns: dict[str, FloatArray] = field(default_factory=dict)

    def profile(self, *, resistance: bool) -> Aircraft:
        """Chemistry, cells and capacity of the packs, and their resistance."""
        packs = [
            {
                "name": f"pack {n}",
                "chemistry": p.kind,
                "cells": p.cells,
                "capacity_mah": 1000 * p.ah,
                **({"resistance_mohm": 1000 * p.rated_ohm} if resistance else {}),
            }
            for n, p in enumerate(self.packs, 1)
        ]
        return Aircraft.model_validate({"name": "invented", "packs": packs})

    def write(self, path: Path) -> Path:
        """The CSV file."""
        rows = zip(*self.columns.values(), strict=True)
        with path.open("w", encoding="utf-8") as f:
            f.write(",".join(self.columns) + "\n")
            for row in rows:
                f.write(",".join("" if np.isnan(x) else f"{x:.6g}" for x in row) + "\n")
        return path


def make_supply(
    seed: int,
    kind: str = "sound",
    fault: str = "",
    *,
    update_s: float | None = None,
    lost: int | None = None,
) -> SupplyScene:
    """A scene of a healthy kind, with a fault planted or without; ``lost``: a pack that is off."""
    rng = np.random.default_rng([seed, *(fault or kind).encode()])
    update_s = float(rng.choice([0.1, 0.2, 0.5, 1.0, 2.0])) if update_s is None else update_s
    style = str(rng.choice(["aerobatic", "warbird", "scale", "mixed", "jet"]))
    if kind == "calm" or fault == "lost in calm":
        style = str(rng.choice(["glider", "scale", "thermals"]))
    loads = make(int(rng.integers(1 << 30)), style, update_s=update_s, controls=False)
    t = loads.truth["t"]
    nodes = {n: x for n, x in loads.truth.items() if n not in ("t", "bus")}
    heavy = float(rng.uniform(0.6, 1.3)) * (1.8 if kind == "small and busy" else 1.0)
    nodes = {n: heavy * x for n, x in nodes.items()}
    joined, packs, celsius = _packs(rng, kind, fault)
    span = (loads.takes_off_s, loads.lands_s)
    scene = SupplyScene(
        kind=kind,
        fault=fault,
        where="",
        since_s=0.0,
        update_s=update_s,
        packs=packs,
        joined=joined,
        celsius=celsius,
        lost=lost,
    )
    total = np.sum(list(nodes.values()), axis=0) + rng.uniform(0.15, 0.4)
    _electrics(rng, scene, nodes, total, t, span)
    return scene


def _packs(rng: Generator, kind: str, fault: str) -> tuple[str, list[Pack], float]:
    joined = str(rng.choice(["diodes", "direct", "regulators"], p=[0.5, 0.3, 0.2]))
    if fault.startswith("regulator") or kind == "regulated":
        joined = "regulators"
    if kind in ("diodes", "direct"):
        joined = kind
    if fault in ("half charged", "knee", "lost in calm", "both weak", "both cold", "one weak"):
        joined = str(rng.choice(["diodes", "direct"]))
        joined = "diodes" if fault in ("half charged", "lost in calm", "knee") else joined
    joined = "direct" if fault == "cross charging" else joined
    cell = str(rng.choice(["lipo", "liion", "life", "nimh"], p=[0.5, 0.2, 0.2, 0.1]))
    if kind in ("high voltage", "cold day") or fault in (
        *("cross charging", "half charged", "knee"),
        "one faded",
    ):
        cell = str(rng.choice(["lipo", "liion"]))
    cell = {"nickel": "nimh", "iron": "life", "small and busy": "lipo"}.get(kind, cell)
    if joined == "regulators" and cell in ("life", "nimh"):
        cell = "lipo"
    ah = float(rng.uniform(2.2, 6.0)) * (0.6 if kind == "small and busy" else 1.0)
    low, high = _OHM_AH[cell]
    ohm_ah = float(rng.uniform(low, high)) * (1.7 if kind == "old but fine" else 1.0)
    celsius = float(rng.uniform(-2, 8) if kind == "cold day" else rng.uniform(12, 30))
    if fault == "both cold":
        celsius = float(rng.uniform(-15, -4))
    cells = _CELLS[cell]
    worse = [1.0, 1.0]
    if fault == "both weak":
        worse = [float(rng.uniform(4, 8))] * 2
    if fault == "both cold":
        worse = [float(rng.uniform(1.5, 2.5))] * 2
    if fault == "one weak":
        worse = [1.0, float(rng.uniform(4, 8))]
    warm = float(np.exp(rng.uniform(0.028, 0.04) * (25 - celsius)))
    charge = float(rng.uniform(0.93, 1.0))
    if kind == "long flight":
        charge = float(rng.uniform(0.75, 0.9))
    packs = []
    for k in range(2):
        ohm = cells * ohm_ah / ah * warm * worse[k] * rng.uniform(0.92, 1.08)
        packs.append(
            Pack(
                kind=cell,
                cells=cells,
                ah=ah,
                charge=min(1.0, charge + 0.005 * float(rng.standard_normal())),
                ohm=ohm,
                slow_ohm=ohm * rng.uniform(0.4, 0.9),
                slow_s=float(rng.uniform(6, 30)),
                lead=float(rng.uniform(0.004, 0.012)),
                rated_ohm=cells * ohm_ah / ah / (1.7 if kind == "old but fine" else 1.0),
            )
        )
    if fault == "half charged":
        packs[1].charge = float(rng.uniform(0.35, 0.6))
    if fault == "cross charging":
        packs[1].charge = packs[0].charge - float(rng.uniform(0.25, 0.5))
    return joined, packs, celsius


def _electrics(
    rng: Generator,
    scene: SupplyScene,
    nodes: dict[str, FloatArray],
    total: FloatArray,
    t: FloatArray,
    span: tuple[float, float],
) -> None:
    off, on = span
    fault = scene.fault
    open_ohm = [np.zeros(t.size), np.zeros(t.size)]
    nominal = (
        scene.packs[0].cells
        * {"lipo": 3.9, "liion": 3.8, "life": 3.3, "nimh": 1.28}[scene.packs[0].kind]
    )
    set_v = float(rng.choice([5.9, 6.0, 7.4 if scene.packs[0].cells > 2 else 6.6]))
    usual = float(np.quantile(total[(t > off) & (t < on)], 0.98))
    limit = np.full(t.size, max(4.0 * usual, float(total.max())))
    dropout = float(rng.uniform(0.1, 0.3))
    rth = float(rng.uniform(0.15, 0.4))
    if fault == "regulator limit":
        limit[:] = usual * float(rng.uniform(0.28, 0.4))
        scene.where = "bus"
    if fault == "regulator dropout":
        # It holds at rest, and follows its packs under load or once they have come down.
        dropout = float(rng.uniform(0.3, 0.7))
        for p in scene.packs:
            p.ohm = max(p.ohm, float(rng.uniform(0.05, 0.08)))
        first = scene.packs[0]
        rest_v = first.cells * float(np.interp(first.charge, _CHARGE, _OPEN[first.kind]))
        set_v = rest_v - dropout - float(rng.uniform(0.06, 0.2))
        scene.where = "bus"
    if fault == "knee":
        used = total[(t > off) & (t < on)].sum() * DT / 3600
        for p in scene.packs:
            p.ah = max(2.2 * used, 1.2)
            p.charge = used / 2 / p.ah * float(rng.uniform(0.93, 1.03)) + 0.005
        scene.where = "pack"
    if fault == "one faded":
        # One holds half of what the other does, and the flight takes a good part of both.
        used = total[(t > off) & (t < on)].sum() * DT / 3600
        left = float(rng.uniform(0.4, 0.6))
        scene.packs[0].ah = used / float(rng.uniform(0.55, 0.75)) / (1 + left)
        scene.packs[1].ah = left * scene.packs[0].ah
        scene.where = "pack 2"
    if fault == "lost in calm":
        at = off + (on - off) * float(rng.uniform(0.2, 0.6))
        lasts = float(rng.choice([8.0, 20.0, 50.0, 1e4]))
        open_ohm[1][(t >= at) & (t < at + lasts)] = 1e6
        scene.where, scene.since_s = "pack 2", at
    if scene.kind == "switch check":
        for k, at in enumerate((3.0, 8.0)):
            open_ohm[k][(t >= at) & (t < at + 3.0)] = 1e6
    if scene.kind == "standby":
        open_ohm[1][:] = 1e6
    if scene.lost is not None:
        open_ohm[scene.lost][:] = 1e6
    dips = _dips(rng, scene, t, span) if fault == "wing at zero" else None
    if dips is not None:
        scene.where = "left wing"
        total = total - nodes["left wing"] * dips
        nodes["left wing"] = nodes["left wing"] * (1 - dips)
    regulators = None
    if scene.joined == "regulators":
        regulators = _Regulators(set_v, dropout, limit)
    bus, flows, volts = _solve(scene, total, t, nominal, open_ohm, regulators)
    heat = _heat(t, np.mean(volts, axis=0) - bus, np.sum(flows, axis=0) / 2, rth)
    warm = scene.celsius + rng.uniform(3, 10) + heat
    if fault == "regulator hot":
        warm = scene.celsius + heat * (85 + rng.uniform(20, 60)) / max(float(heat.max()), 1e-6)
        part = np.clip((warm - 95) / 30, 0, 1)
        limit = usual * (1.2 - 1.0 * part)
        scene.where = "bus"
        regulators = _Regulators(set_v, dropout, np.maximum(limit, 0.12 * usual))
        bus, flows, volts = _solve(scene, total, t, nominal, open_ohm, regulators)
    taken = np.clip(bus / (nominal if regulators is None else set_v), 0, 1.1)
    lead = float(rng.uniform(0.015, 0.045))
    values: dict[str, tuple[FloatArray, float]] = {}
    step_v, step_a = float(rng.choice([0.01, 0.02, 0.05])), float(rng.choice([0.01, 0.02, 0.1]))
    noise = lambda: 0.004 * rng.standard_normal(t.size)  # noqa: E731
    flown = [np.cumsum(np.maximum(f, 0)) * DT / 3.6 for f in flows]
    pack_amps = rng.random() < 0.85 or fault in ("half charged", "cross charging", "lost in calm")
    for k in range(2):
        values[f"Pack {k + 1} voltage (V)"] = (volts[k] + noise(), step_v)
        if pack_amps:
            values[f"Pack {k + 1} current (A)"] = (
                np.round(flows[k] * (1 + 0.01 * rng.standard_normal()), 4),
                step_a,
            )
            values[f"Pack {k + 1} consumed (mAh)"] = (np.maximum(flown[k], 0), 1.0)
    values["Bus voltage (V)"] = (bus + noise(), step_v)
    if not pack_amps or rng.random() < 0.6:
        values["Bus current (A)"] = (np.sum(flows, axis=0), step_a)
    if regulators is not None and (rng.random() < 0.7 or fault == "regulator hot"):
        values["Regulator temperature (C)"] = (warm, 1.0)
    if rng.random() < 0.5:
        heat_w = np.cumsum(flows[0] ** 2) * DT * scene.packs[0].ohm / (80 * scene.packs[0].ah)
        values["Pack 1 temperature (C)"] = (scene.celsius + heat_w, 1.0)
    node_amps = rng.random() < 0.8
    for name, x in nodes.items():
        way = lead * float(rng.uniform(0.94, 1.06)) * (1.0 if "wing" in name else 1.4)
        v = bus - way * x * taken + noise() + 0.01 * rng.standard_normal()
        if dips is not None and name == "left wing":
            v = v * (1 - dips)
        values[f"{name.capitalize()} voltage (V)"] = (v, step_v)
        if node_amps:
            values[f"{name.capitalize()} current (A)"] = (x * taken, step_a)
    scene.truth = {"t": t, "bus": bus, "pack 1": volts[0], "pack 2": volts[1], **nodes}
    scene.truth |= {"pack 1 amps": flows[0], "pack 2 amps": flows[1], "regulator": warm}
    _poll(rng, scene, values, t)
    if fault == "link zeros":
        _zeros(rng, scene, span)


@dataclass
class _Regulators:
    set_v: float
    dropout: float
    limit: FloatArray


def _solve(
    scene: SupplyScene,
    total: FloatArray,
    t: FloatArray,
    nominal: float,
    open_ohm: list[FloatArray],
    regulators: _Regulators | None,
) -> tuple[FloatArray, list[FloatArray], list[FloatArray]]:
    """Bus [V], current of each pack [A] and voltage at its terminals [V], by halving."""
    drop = {"diodes": 0.03, "direct": 0.0, "regulators": 0.0}[scene.joined]
    wanted_v = nominal if regulators is None else regulators.set_v
    flows = [total / 2, total / 2]
    bus = np.full(t.size, wanted_v)
    for turn in range(14):
        held = []
        for p, i in zip(scene.packs, flows, strict=True):
            left = np.clip(p.charge - np.cumsum(i) * DT / 3600 / p.ah, -0.1, 1)
            ocv = p.cells * np.interp(left, _CHARGE, _OPEN[p.kind])
            a = DT / p.slow_s
            held.append(ocv - p.slow_ohm * lfilter([a], [1, a - 1], i))
        low, high = np.zeros(t.size), np.maximum(*held)

        def given(v: FloatArray, held: list[FloatArray] = held) -> list[FloatArray]:
            out = []
            for k, (p, e) in enumerate(zip(scene.packs, held, strict=True)):
                ohm = p.ohm + p.lead + open_ohm[k]
                if regulators is None:
                    i = (e - drop - v) / (ohm + 0.004)
                    i = np.where(open_ohm[k] > 0, 0.0, i)
                    out.append(i if scene.joined == "direct" else np.maximum(i, 0))
                    continue
                through = np.maximum((e - regulators.dropout - v) / (ohm + 0.02), 0)
                stiff = np.maximum((regulators.set_v - 0.01 * k - v) / 0.012, 0)
                i = np.minimum(np.minimum(through, stiff), regulators.limit)
                out.append(np.where(open_ohm[k] > 0, 0.0, i))
            return out

        for _ in range(24):
            bus = (low + high) / 2
            takes = total * np.clip(bus / wanted_v, 0, 1.1)
            more = np.sum(given(bus), axis=0) > takes
            low, high = np.where(more, bus, low), np.where(more, high, bus)
        fresh = given(bus)
        part = 1.0 if turn == 0 else 0.6
        flows = [part * f + (1 - part) * old for f, old in zip(fresh, flows, strict=True)]
    volts = [
        np.where(o > 0, e, e - (p.ohm + p.lead) * f)
        for p, e, f, o in zip(scene.packs, held, flows, open_ohm, strict=True)
    ]
    return bus, flows, volts


def _heat(t: FloatArray, drop: FloatArray, amps: FloatArray, rth: float) -> FloatArray:
    """Warmth of a regulator over its surroundings, K: 90 s to warm (made up)."""
    a = DT / 90.0
    return np.asarray(lfilter([a], [1, a - 1], np.maximum(drop, 0) * amps * 20 * rth))


def _dips(
    rng: Generator, scene: SupplyScene, t: FloatArray, span: tuple[float, float]
) -> FloatArray:
    """1 where the wing is off: several times in flight, each one or two updates and more."""
    out = np.zeros(t.size)
    for at in rng.uniform(span[0] + 15, span[1] - 15, int(rng.integers(3, 9))):
        lasts = scene.update_s * float(rng.uniform(1.0, 2.4)) + 0.05
        out[(t >= at) & (t < at + lasts)] = 1.0
    return out


def _poll(
    rng: Generator,
    scene: SupplyScene,
    values: dict[str, tuple[FloatArray, float]],
    t: FloatArray,
) -> None:
    """Each unit in its turn, some turns skipped; rows hold the last value or leave blanks."""
    row_s = scene.update_s * float(rng.choice([0.25, 0.5, 1.0])) if scene.update_s > 0.15 else 0.1
    rows = np.arange(0.0, t[-1], row_s)
    blank = bool(rng.random() < 0.3)
    turns: dict[str, FloatArray] = {}
    scene.columns = {"Time (s)": rows}
    for name, (x, step) in values.items():
        unit = name.rsplit(" ", 2)[0] if "consumed" not in name else name
        if unit not in turns:
            when = np.arange(rng.uniform(0, 1) * scene.update_s, t[-1], scene.update_s)
            turns[unit] = when[rng.random(when.size) > 0.03]
        when = turns[unit]
        value = np.round(np.interp(when, t, x) / step) * step
        at = np.searchsorted(when, rows, side="right") - 1
        fresh = np.concatenate(([True], np.diff(at) > 0))
        shown = np.where(at >= 0, value[np.maximum(at, 0)], np.nan)
        scene.columns[name] = np.where(fresh | (not blank), shown, np.nan)


def _zeros(rng: Generator, scene: SupplyScene, span: tuple[float, float]) -> None:
    """Link loss written as zeros: everything at exactly 0 but the clock and the counters."""
    rows = scene.columns["Time (s)"]
    for at in rng.uniform(span[0] + 15, span[1] - 15, int(rng.integers(2, 6))):
        gone = (rows >= at) & (rows < at + max(rng.uniform(0.5, 5.0), 1.2 * scene.update_s))
        for name, x in scene.columns.items():
            if "Time" not in name and "consumed" not in name:
                x[gone & np.isfinite(x)] = 0.0
