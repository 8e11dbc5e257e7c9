"""Coverage and error of the resistances over random cases with a known truth.

    python tests/accuracy/resistance.py [--cases 120] [--library 160] [--seed 0] [--workers 2]
                                        [--cache DIR]

Three sources of cases, none of which the estimator was fitted to:

``closed``   packs with one series resistance and up to two RC pairs, in closed form; currents of
             four kinds; sensors with intervals of 0.05 to 2 s, plain or averaging, with steps,
             noise, gain, offset, jitter and a delay between them
``library``  the same with the voltage from thevenin (an equivalent-circuit library of others); runs
             of at most three minutes, whose currents swing by amperes (the library takes about a
             second of processor time for each minute); ``--cache`` keeps its answers
``project``  random aircraft of the project's own simulator: packs, bus, branches

A case counts as *good* where least squares from the true, simultaneous signals has a standard
error under 3 % of the resistance. Asked: 95 % intervals cover the truth in 90 to 99 %; the median
error of the good cases is under 5 %; a refusal in a good case is a miss. The truth is the model's
step response at the time scale that the estimate states.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.aircraft import infer_path
from telemetry.measure.packs import pack_outs
from telemetry.measure.resistance import measure_resistances
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.numerics.resistance.regression import source_resistance
from telemetry.numerics.resistance.signals import Sensed
from telemetry.readings import take_readings
from telemetry.simulate import move, simulate, usual_plan
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft
from tests.simulated.oracle import least_squares_error

FloatArray = NDArray[np.float64]
Truth = tuple[FloatArray, FloatArray]
Rng = np.random.Generator
STEP_S = 0.01
INTERVALS_S = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0)


@dataclass(frozen=True)
class Outcome:
    """One estimate against its truth; ratios to the truth, None where refused."""

    source: str
    kind: str
    best_error: float
    value: float | None
    low: float | None
    high: float | None
    slowest_s: float
    note: str


# The closed form


def wander(rng: Rng, n: int, tau_s: float) -> FloatArray:
    """Gaussian noise of unit variance with correlation exp(-t / tau)."""
    keep = float(np.exp(-STEP_S / tau_s))
    fresh = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    return lfilter([1.0], [1.0, -keep], fresh, zi=[keep * rng.standard_normal()])[0]


def load(rng: Rng, n: int, kind: str, tau_s: float, least_a: float) -> FloatArray:
    """A current of one kind on the fine grid, A, that swings by ``least_a`` to 5 A."""
    time = np.arange(n) * STEP_S
    slow_s = float(10 ** rng.uniform(np.log10(2), np.log10(15)))
    activity = np.exp(rng.uniform(0.3, 0.9) * wander(rng, n, slow_s))
    activity /= activity.mean()
    height = float(10 ** rng.uniform(np.log10(least_a), np.log10(5)))
    amps = np.full(n, rng.uniform(0.2, 1.0))
    if kind == "swinging":
        amps += height * activity * np.abs(wander(rng, n, tau_s) + rng.uniform(0, 1.5))
    elif kind == "bursts":
        count = rng.poisson(rng.uniform(0.05, 0.5) / tau_s * n * STEP_S)
        start = rng.integers(0, n, count)
        length = np.maximum(2, (rng.exponential(tau_s, count) / STEP_S).astype(int))
        rise = rng.exponential(1.0, count) * activity[start]
        edges = np.zeros(n + 1)
        np.add.at(edges, start, rise)
        np.add.at(edges, np.minimum(n, start + length), -rise)
        amps += height * lfilter([0.3], [1.0, -0.7], np.cumsum(edges)[:n])
    elif kind == "servos":
        for _ in range(rng.integers(2, 7)):
            command = wander(rng, n, rng.uniform(0.15, 1.0))
            for lag_s in (0.15, 0.10):
                command = lfilter([1.0], [1.0, -np.exp(-STEP_S / lag_s)], command)
            rate = np.abs(np.gradient(command))
            amps += height / 3 * activity * rate / rate.mean()
    else:
        rhythm = 2 * np.pi * rng.uniform(0.4, 2.0) * time + np.cumsum(wander(rng, n, 1.0)) * 0.01
        period = rng.uniform(2, 8)
        moves = time % period < period * rng.uniform(0.4, 0.7)
        once = (time > 0.15 * time[-1]) & (time < 0.85 * time[-1])
        moving = lfilter([0.1], [1.0, -0.9], np.where(rng.random() < 0.5, moves, once))
        ripple = 1 + 0.3 * np.abs(np.sin(rhythm)) + 0.2 * np.abs(wander(rng, n, tau_s))
        amps += height * moving * ripple * np.maximum(1 + 0.3 * wander(rng, n, slow_s), 0.3)
    return np.maximum(amps, 0.02)


def sampled(
    rng: Rng,
    time: FloatArray,
    signal: FloatArray,
    *,
    interval_s: float,
    averages: bool,
    delay_s: float,
    noise: float,
    step: float,
    jitter: float,
    row_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Instants as logged, readings, and the true instants."""
    at = np.arange(rng.uniform(0, interval_s), time[-1], interval_s)
    at = at + jitter * interval_s * rng.uniform(-0.5, 0.5, at.size)
    at = at[(at > interval_s) & (at < time[-1] - 1)]
    if averages:
        area = np.concatenate(([0.0], np.cumsum(signal) * STEP_S))
        edges = np.concatenate((time, [time[-1] + STEP_S]))
        value = np.interp(at, edges, area) - np.interp(at - interval_s, edges, area)
        value = value / interval_s
    else:
        value = np.interp(at, time, signal)
    value = value * (1 + rng.uniform(-0.015, 0.015)) + rng.uniform(-0.05, 0.05)
    value = np.round((value + noise * rng.standard_normal(at.size)) / step) * step
    seen = at + delay_s
    if row_s > 0:
        seen = np.ceil(seen / row_s) * row_s
    seen, first = np.unique(seen, return_index=True)
    return seen, value[first], at[first]


def from_library(
    time: FloatArray, amps: FloatArray, r0: float, pairs: list[tuple[float, float]], ah: float
) -> tuple[FloatArray, FloatArray]:
    """Voltage by thevenin, and the current that the library was given."""
    import thevenin

    def constant(value: float) -> Callable[[float, float], float]:
        return lambda _soc, _kelvin: value

    def ocv(soc: float) -> float:
        return 7.4 + 1.0 * (soc - 0.5) + 0.3 * (soc - 0.5) ** 3

    circuit = {
        "num_RC_pairs": len(pairs),
        "soc0": 0.95,
        "capacity": ah,
        "gamma": 0.0,
        "ce": 1.0,
        "mass": 1.0,
        "isothermal": True,
        "Cp": 1000.0,
        "T_inf": 300.0,
        "h_therm": 10.0,
        "A_therm": 1.0,
        "ocv": ocv,
        "M_hyst": lambda _soc: 0.0,
        "R0": constant(r0),
    }
    for n, (ohm, tau_s) in enumerate(pairs, 1):
        circuit |= {f"R{n}": constant(ohm), f"C{n}": constant(tau_s / ohm)}
    coarse = np.ascontiguousarray(time[::10])  # the library's time goes by these
    seen = np.interp(coarse, time, amps)
    experiment = thevenin.Experiment()
    experiment.add_step("current_A", lambda t: float(np.interp(t, coarse, seen)), coarse)
    found = thevenin.Simulation(circuit).run(experiment).vars
    return np.interp(time, coarse, found["voltage_V"]), np.interp(time, coarse, seen)


def kept(cache: Path | None, seed: int, make: Callable[[], Truth]) -> Truth:
    """The library's answer of a seed, from the cache where that has it."""
    file = None if cache is None else cache / f"{seed}.npz"
    if file is not None and file.exists():
        with np.load(file) as known:
            return known["volts"], known["amps"]
    volts, amps = make()
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        np.savez(file, volts=volts, amps=amps)
    return volts, amps


def pack_case(seed: int, *, library: bool, cache: Path | None = None) -> list[Outcome]:
    """One pack, one voltage and one current sensor."""
    rng = np.random.default_rng(seed)
    bench = bool(rng.random() < 0.2)
    least_s, most_s = (60.0, 180.0) if library else (120.0, 1200.0)
    length = rng.uniform(30, 45) if bench else 10 ** rng.uniform(*np.log10([least_s, most_s]))
    n = int(length / STEP_S)
    time = np.arange(n) * STEP_S
    kind = "stir" if bench else str(rng.choice(["swinging", "bursts", "servos"]))
    least_a = 2.0 if library else 0.5
    amps = load(rng, n, kind, float(10 ** rng.uniform(np.log10(0.05), 0)), least_a)
    least_mohm = 15.0 if library else 5.0
    r0 = float(10 ** rng.uniform(np.log10(least_mohm), np.log10(150))) / 1000
    count = int(rng.integers(0, 3))
    pairs = [
        (r0 * rng.uniform(0.1, 0.8) / count, float(10 ** rng.uniform(np.log10(0.5), np.log10(60))))
        for _ in range(count)
    ]
    ah = rng.uniform(1.5, 6.0)
    if library:
        asked = amps
        volts, amps = kept(cache, seed, lambda: from_library(time, asked, r0, pairs, ah))
    else:
        soc = rng.uniform(0.6, 1.0) - np.cumsum(amps) * STEP_S / 3600 / ah
        shape = 0.1 * (soc - 0.5) + 0.05 * np.sin(5 * soc)
        shape = shape - 0.15 * np.exp(-np.maximum(soc, -0.05) / 0.04)
        volts = float(rng.choice([6.6, 7.4, 11.1, 22.2])) * (1 + shape) - r0 * amps
        for ohm, tau_s in pairs:
            keep = float(np.exp(-STEP_S / tau_s))
            volts = volts - ohm * lfilter([0.0, 1 - keep], [1.0, -keep], amps)
    step_v = float(rng.choice([0.01, 0.01, 0.02, 0.05, 0.1]))
    step_i = float(rng.choice([0.01, 0.02, 0.05, 0.1, 0.25]))
    interval_v = float(rng.choice(INTERVALS_S))
    interval_i = interval_v if rng.random() < 0.4 else float(rng.choice(INTERVALS_S))
    if bench:
        interval_v, interval_i = min(interval_v, 0.5), min(interval_i, 0.5)
    delay = float(rng.choice([0, 0, 1])) * rng.uniform(-0.3, 0.3)
    both = {"jitter": float(rng.choice([0, 0.05, 0.3])), "row_s": float(rng.choice([0, 0.05, 0.1]))}
    noise_v = float(rng.choice([0, 0.005, 0.02]))
    t_v, v, true_t = sampled(
        rng,
        time,
        volts,
        interval_s=interval_v,
        averages=bool(rng.random() < 0.4),
        delay_s=max(delay, 0.0),
        noise=noise_v,
        step=step_v,
        **both,
    )
    t_i, i, _ = sampled(
        rng,
        time,
        amps,
        interval_s=interval_i,
        averages=bool(rng.random() < 0.4),
        delay_s=max(-delay, 0.0),
        noise=float(rng.choice([0, 0.02, 0.1])),
        step=step_i,
        **both,
    )
    best = best_error(rng, time, volts, amps, true_t, noise_v, step_v) / r0
    fit = source_resistance(Sensed(t_v, v, step_v), Sensed(t_i, i, step_i))
    truth = r0 + sum(r * (1 - np.exp(-(fit.scale_s or 1.0) / tau)) for r, tau in pairs)
    return [
        Outcome(
            source="library" if library else "closed",
            kind=kind,
            best_error=best,
            value=None if fit.ohm is None else fit.ohm / truth,
            low=None if fit.low_ohm is None else fit.low_ohm / truth,
            high=None if fit.high_ohm is None else fit.high_ohm / truth,
            slowest_s=max(interval_v, interval_i),
            note=f"seed {seed} {kind} {interval_v:g}/{interval_i:g} s {1000 * truth:.1f} mOhm",
        )
    ]


def best_error(
    rng: Rng,
    time: FloatArray,
    volts: FloatArray,
    amps: FloatArray,
    at: FloatArray,
    noise: float,
    step: float,
) -> float:
    """Standard error of ordinary least squares from the true, simultaneous signals, Ohm."""
    i = np.interp(at, time, amps)
    u = np.interp(at, time, volts) + noise * rng.standard_normal(at.size)
    u = np.round(u / step) * step
    drawn = np.interp(at, time, np.cumsum(amps))
    drawn = drawn / drawn[-1]
    design = np.stack([np.ones(at.size), i, drawn, drawn**2, drawn**3], axis=1)
    coef, *_ = np.linalg.lstsq(design, u, rcond=None)
    if coef[1] > -1e-9:
        return np.inf  # rounding hides the fall altogether
    left = u - design @ coef
    spread = np.linalg.pinv(design.T @ design)[1, 1]
    return float(np.sqrt(spread * (left @ left) / max(at.size - 5, 1)))


# The project's simulator


def aircraft_case(seed: int) -> list[Outcome]:
    """All resistances of one flight of a random aircraft, from its log's readings."""
    rng = np.random.default_rng(seed)
    aircraft = random_aircraft(rng)
    telemetry, pilot = random_telemetry(rng, aircraft), random_pilot(rng)
    plan = usual_plan(rng, pilot, flight_s=float(rng.choice([120, 240, 420, 700])))
    recording = simulate(aircraft, telemetry, move(plan, pilot, pilot.day(rng), rng), rng)
    columns = recording.table.columns
    time_s = recording.table.time_s - recording.table.time_s[0]
    log = Log(
        frame=pd.DataFrame({c.key: c.values for c in columns}, index=pd.Index(time_s)),
        channels=tuple(
            Channel(key=c.key, column=c.key, quantity=c.quantity, place=c.place) for c in columns
        ),
        provenance=Provenance(file="made", sha256="", size_bytes=0, rows=time_s.size),
    )
    craft = infer_path(log)
    readings = take_readings(log, craft.limits)
    truth = recording.truth
    out = []
    outs = pack_outs(readings, craft, truth.phases)
    for r in measure_resistances(readings, craft, truth.phases, outs):
        best = least_squares_error(recording, r.place)
        regulated = "regulator" in r.refused
        if r.kind == "source" and r.place in truth.sources and best is not None and not regulated:
            right = float(truth.sources[r.place].mohm(r.scale_s or 1.0))
        elif r.kind == "branch" and r.place in truth.branch_mohm and best is not None:
            right = truth.branch_mohm[r.place]
        else:
            continue
        own = readings.get(Quantity.CURRENT, r.place)
        out.append(
            Outcome(
                source="project",
                kind="branch" if r.kind == "branch" else "bus" if r.place == "bus" else "pack",
                best_error=best,
                value=None if r.mohm is None else r.mohm / right,
                low=None if r.low_mohm is None else r.low_mohm / right,
                high=None if r.high_mohm is None else r.high_mohm / right,
                slowest_s=(own.update_s or 0.0) if own is not None else 0.0,
                note=f"seed {seed} {r.place} {right:.1f} mOhm",
            )
        )
    return out


def table(outcomes: list[Outcome]) -> Iterator[str]:
    """Lines of the table."""
    yield (
        f"{'cases':30s} {'n':>5s} {'refused':>8s} {'covered':>8s} {'|error|':>8s} {'bias':>7s} "
        f"{'90 %':>7s} {'+/-':>7s}"
    )
    groups: list[tuple[str, Callable[[Outcome], bool]]] = [
        ("all", lambda _o: True),
        *((s, lambda o, s=s: o.source == s) for s in dict.fromkeys(x.source for x in outcomes)),
        *((k, lambda o, k=k: o.kind == k) for k in dict.fromkeys(x.kind for x in outcomes)),
        ("slowest sensor under 0.4 s", lambda o: o.slowest_s < 0.4),
        ("slowest sensor 0.4 s and over", lambda o: o.slowest_s >= 0.4),
    ]
    for good in (True, False):
        yield "good: least squares from the truth under 3 %" if good else "others"
        for name, chosen in groups:
            mine = [o for o in outcomes if chosen(o) and (o.best_error < 0.03) == good]
            told = [o for o in mine if o.value is not None]
            if not told:
                continue
            value = np.array([o.value for o in told])
            low, high = np.array([o.low for o in told]), np.array([o.high for o in told])
            off = np.abs(value - 1)
            yield (
                f"  {name:28s} {len(mine):5d} {1 - len(told) / len(mine):8.1%} "
                f"{np.mean((low <= 1) & (high >= 1)):8.1%} {np.median(off):8.1%} "
                f"{np.median(value) - 1:+7.1%} {np.quantile(off, 0.9):7.1%} "
                f"{np.median((high - low) / 2):7.1%}"
            )


def main() -> None:
    """Run the cases and print the table."""
    parse = argparse.ArgumentParser(description="Accuracy of the resistances over random cases.")
    parse.add_argument("--cases", type=int, default=120, help="closed form, and aircraft")
    parse.add_argument("--library", type=int, default=160, help="of the battery library (slow)")
    parse.add_argument("--cache", type=Path, help="folder for the library's answers, by seed")
    parse.add_argument("--seed", type=int, default=0)
    parse.add_argument("--workers", type=int, default=2)
    parse.add_argument("--misses", action="store_true", help="list the good cases not covered")
    asked = parse.parse_args()
    outcomes: list[Outcome] = []
    with ProcessPoolExecutor(asked.workers) as pool:
        for case, count in (
            (partial(pack_case, library=False), 2 * asked.cases),
            (partial(pack_case, library=True, cache=asked.cache), asked.library),
            (aircraft_case, asked.cases),
        ):
            seeds = range(asked.seed, asked.seed + count)
            outcomes += [o for found in pool.map(case, seeds, chunksize=2) for o in found]
    print("\n".join(table(outcomes)))
    if asked.misses:
        for o in outcomes:
            if o.best_error < 0.03 and o.value is not None and not o.low <= 1 <= o.high:
                print(f"{o.source:8s} {o.value:6.3f} [{o.low:.3f}, {o.high:.3f}] {o.note}")


if __name__ == "__main__":
    main()
