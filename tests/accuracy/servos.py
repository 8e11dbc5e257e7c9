"""How often servos are told apart, and whether the ranges given hold the truth.

    python tests/accuracy/servos.py [--cases 150] [--seed 41000] [--workers 2]

Random aircraft, sensors, dialects and pilots, each with the profile of a careful user, each the
whole way: simulated, written as CSV, read, reviewed.

With control columns: a node counts where the scaled condition index of its true regressors is at
most 10 (Belsley, Kuh and Welsch 1980); there, a control without a number of its own is a miss. The
truth of a control is what least squares gives for the true current of its servos alone, on their
own true movement. Of a node whose true coefficients differ by a quarter or more, the one said to
draw most must be the one that does.

Without: the pilot moves one control after the other before the flight. A surface counts as
separable where no other surface lives at the same nodes; the true moving current is the mean of
the node's true current, less its rest, while those servos move.

Intervals are Wilson's, 95 %.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.aircraft import Aircraft, Node, Pack, Servo
from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import ServoShare
from telemetry.simulate import (
    AircraftModel,
    SegmentKind,
    SimulatedRecording,
    move,
    simulate,
    usual_plan,
    write_csv,
)
from telemetry.simulate.physics.servos import STANDSTILL_PCT_S
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.dialects import random_dialect
from tests.simulated.machines import random_aircraft
from tests.simulated.oracle import condition_index

WELL = 10.0
# True coefficients of two controls this far apart, relative, have an order.
APART = 1.25


@dataclass(frozen=True, kw_only=True)
class Told:
    """One control at one node: the truth, and what was said of it; None where nothing was."""

    index: float
    true: float
    said: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Columns:
    """One case with control columns: controls told, and whether each node's strongest is right."""

    told: list[Told] = field(default_factory=list)
    strongest: list[bool] = field(default_factory=list)


def profile_of(craft: AircraftModel) -> Aircraft:
    """What a careful user writes down: who feeds whom, which output drives what."""
    return Aircraft(
        name="bench",
        bus="bus",
        packs=tuple(Pack(name=p.name) for p in craft.packs),
        nodes=tuple(Node(name=n.name, fed_from=n.fed_from) for n in craft.nodes),
        servos=tuple(
            Servo(node=s.node, output=n, drives=s.control) for n, s in enumerate(craft.servos)
        ),
    )


def with_columns(seed: int) -> Columns:
    """One case with control columns."""
    rng = np.random.default_rng([seed, 1])
    craft = random_aircraft(rng)
    telemetry = random_telemetry(rng, craft, node_currents=True, controls=True)
    pilot = random_pilot(rng)
    motion = move(usual_plan(rng, pilot, flight_s=300), pilot, pilot.day(rng), rng)
    recording = simulate(craft, telemetry, motion, rng)
    shares = _reviewed(recording, rng)
    found = Columns()
    for node in craft.nodes:
        index = condition_index(recording, node.name)
        logged = {s.control for s in craft.servos_of(node.name)} & set(telemetry.controls)
        if index is None or not logged:
            continue
        true = {c: _true_travel(recording, node.name, c) for c in sorted(logged)}
        mine = {s.drives: s for s in shares if s.place == node.name}
        for control, value in true.items():
            s = mine.get(control)
            found.told.append(
                Told(index=index, true=value)
                if s is None
                else Told(
                    index=index, true=value, said=s.travel_a_per_pct_s, low=s.low, high=s.high
                )
            )
        ranked = sorted(true.values())
        if index <= WELL and len(ranked) > 1 and ranked[-1] > APART * ranked[-2]:
            said = {c: mine[c].travel_a_per_pct_s or 0.0 for c in true if c in mine}
            best = max(said, key=lambda c: said[c]) if said else None
            found.strongest.append(best == max(true, key=lambda c: true[c]))
    return found


@dataclass(frozen=True, kw_only=True)
class Checked:
    """One case without control columns, with a check of one control after the other.

    ``separable`` of the controls moved, those told apart by their nodes; ``named`` of these; names
    given to others are ``wrong``. ``held`` says of each range whether the truth lies in it.
    """

    step_s: float
    separable: int
    named: int
    wrong: int
    groups: int
    held: list[bool]


def with_check(seed: int) -> Checked:
    """One case without control columns."""
    rng = np.random.default_rng([seed, 2])
    craft = random_aircraft(rng)
    telemetry = random_telemetry(rng, craft, node_currents=True, controls=False)
    pilot = random_pilot(rng)
    axes = ("aileron", "elevator", "rudder")
    if rng.random() < 0.5:
        axes = (*axes, "flap")
    if rng.random() < 0.3:
        axes = (*axes, "throttle")
    seconds = len(axes) * (3.5 + 2.5 * rng.random())
    plan = tuple(
        replace(s, seconds=seconds, axes=axes) if s.kind is SegmentKind.CHECK else s
        for s in usual_plan(rng, pilot, flight_s=150)
    )
    recording = simulate(craft, telemetry, move(plan, pilot, pilot.day(rng), rng), rng)
    shares = [s for s in _reviewed(recording, rng) if s.basis == "control check"]
    nodes = {n.name for n in craft.nodes}
    lives = {
        c: frozenset(s.node for s in craft.servos if s.control == c and s.node in nodes)
        for c in {s.control for s in craft.servos}
    }
    alone = {c for c, p in lives.items() if list(lives.values()).count(p) == 1 and c in axes}
    named = {s.drives for s in shares if s.drives in lives}
    held = []
    for s in shares:
        if s.drives in alone and s.moving_a is not None and s.place in nodes:
            true = _true_moving(recording, s.place, s.drives)
            held.append(s.moving_low_a <= true <= s.moving_high_a)
    return Checked(
        step_s=max(u.interval_s for u in telemetry.units if u.place in nodes),
        separable=len(alone),
        named=len(named & alone),
        wrong=len(named - alone),
        groups=len({s.drives for s in shares if s.drives} - set(lives)),
        held=held,
    )


def _true_moving(recording: SimulatedRecording, node: str, control: str) -> float:
    """Mean true current of a node while one control's servos move in the check, above its rest."""
    (check,) = recording.truth.checks
    time = recording.time_s
    amps = recording.signals[f"{node}/current"]
    servos = recording.aircraft.servos
    here = [n for n, s in enumerate(servos) if s.node == node]
    moving = np.abs(recording.servo.rate_pct_s) > STANDSTILL_PCT_S
    inside = (time >= check.start_s) & (time < check.end_s)
    of_control = [n for n, s in enumerate(servos) if s.control == control]
    on = inside & moving[of_control].any(axis=0)
    still = inside & ~moving[here].any(axis=0)
    return float(amps[on].mean() - np.median(amps[still]))


def print_checks(cases: Sequence[Checked]) -> None:
    """The table of the cases without control columns."""
    print(f"\nWithout control columns, one control after the other, {len(cases)} cases\n")
    print(
        "| slowest node reports every | separable surfaces named | cases with a wrong name "
        "| range holds the truth |"
    )
    print("|---|---|---|---|")
    for name, rows in (
        ("up to 0.25 s", [c for c in cases if c.step_s <= 0.25]),
        ("0.4 s and more", [c for c in cases if c.step_s > 0.25]),
    ):
        held = [h for c in rows for h in c.held]
        print(
            f"| {name} | {share(sum(c.named for c in rows), sum(c.separable for c in rows))} "
            f"| {share(sum(c.wrong > 0 for c in rows), len(rows))} "
            f"| {share(sum(held), len(held))} |"
        )
    print(f"\ngroups of surfaces that share their nodes: {sum(c.groups for c in cases)}")


def _reviewed(recording: SimulatedRecording, rng: np.random.Generator) -> Sequence[ServoShare]:
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = write_csv(Path(folder) / "case.csv", recording, dialect=random_dialect(rng))
        done = review(read_log(path), profile_of(recording.aircraft))
    return [s for f in done.flights for s in f.servos]


def _true_travel(recording: SimulatedRecording, node: str, control: str) -> float:
    """Least squares of the true current of a control's servos on their own true movement."""
    rows = [
        n
        for n, s in enumerate(recording.aircraft.servos)
        if s.node == node and s.control == control
    ]
    volts = recording.signals[f"{node}/voltage"]
    amps = np.zeros(volts.size)
    for n in rows:
        s = recording.aircraft.servos[n]
        amps += recording.servo.rated_a[n] * (1 + s.volt_power * (volts / s.rated_v - 1))
    # The servos' own movement, in the stick's unit: the hand's tremble does not reach them.
    stick, rate = (
        np.mean([np.abs(x[n] / recording.aircraft.servos[n].direction) for n in rows], axis=0)
        for x in (recording.servo.position_pct, recording.servo.rate_pct_s)
    )
    flying = np.zeros(volts.size)
    for span in recording.truth.flights:
        flying[(recording.time_s >= span.start_s) & (recording.time_s < span.end_s)] = 1.0
    size = 20  # means over 0.2 s take the servo's own lag out
    n = volts.size // size
    columns = [np.ones(volts.size), rate, stick * flying, amps]
    *design, y = (c[: n * size].reshape(n, size).mean(axis=1) for c in columns)
    return float(np.linalg.lstsq(np.stack(design, axis=1), y, rcond=None)[0][1])


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f}) of {of}"


def print_columns(cases: Sequence[Columns]) -> None:
    """The table of the cases with control columns."""
    print(f"\nWith control columns, {len(cases)} cases\n")
    print("| true condition index | refused | range holds the truth | median error |")
    print("|---|---|---|---|")
    told = [t for c in cases for t in c.told]
    for name, rows in (
        (f"at most {WELL:.0f}", [t for t in told if t.index <= WELL]),
        ("above", [t for t in told if t.index > WELL]),
    ):
        said = [t for t in rows if t.said is not None]
        held = sum(t.low <= t.true <= t.high for t in said)
        error = float(np.median([abs(t.said / t.true - 1) for t in said])) if said else np.nan
        refused = share(len(rows) - len(said), len(rows))
        print(f"| {name} | {refused} | {share(held, len(said))} | {100 * error:.0f} % |")
    strongest = [s for c in cases for s in c.strongest]
    print(f"\nstrongest control of a node named right: {share(sum(strongest), len(strongest))}")


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=150)
    parser.add_argument("--seed", type=int, default=41000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", choices=("columns", "checks"))
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.cases)
    with ProcessPoolExecutor(options.workers) as pool:
        if options.only != "checks":
            print_columns(list(pool.map(with_columns, seeds)))
        if options.only != "columns":
            print_checks(list(pool.map(with_check, seeds)))


if __name__ == "__main__":
    main()
