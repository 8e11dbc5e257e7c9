"""One simulated season on the way that a user's logs go, judged flight by flight."""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from telemetry.aircraft import Aircraft, Node, Pack, Servo
from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.checks.across import judge
from telemetry.importer import read_log
from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading, block_means
from telemetry.results import Flight, PhaseKind
from telemetry.simulate import Fault, FaultKind, SimulatedRecording, write_csv
from telemetry.simulate.season import Season, fly
from telemetry.trends.features.currents import current_features
from telemetry.trends.features.windows import edges
from telemetry.trends.measures import Blocks, Measures
from tests.simulated.cases import random_season

FLIGHTS = 20
# First flight that is judged: with fewer nothing has a usual value.
FIRST = 3
# Level from which a fault counts: the aims are stated from there on (25 % of a servo's own current,
# 15 mOhm); of other kinds from the onset on.
COUNTS_FROM = {
    FaultKind.SERVO_BINDING: 0.25,
    FaultKind.CONNECTOR: 0.015,
    FaultKind.PACK_AGEING: 0.30,
    FaultKind.PACK_LEAD: 0.010,
}
# Findings that tell of a kind of fault; any other code at the right place is a wrong name for it.
CODES = {
    FaultKind.SERVO_BINDING: ("servo-current-rising",),
    FaultKind.SERVO_HEATING: ("servo-heating", "servo-current-rising"),
    FaultKind.SERVO_SILENT: ("servo-silent",),
    FaultKind.CONNECTOR: ("branch-resistance-rising",),
    FaultKind.CONTACT: ("contact-intermittent",),
    FaultKind.PACK_AGEING: ("source-resistance-rising", "pack-weak"),
    FaultKind.PACK_LEAD: ("source-resistance-rising",),
    FaultKind.PACK_OUT: ("pack-out",),
    FaultKind.SWITCH_STEP: ("source-resistance-rising", "pack-share"),
    FaultKind.SENSOR_OFFSET: ("sensor-offset",),
    FaultKind.SENSOR_GAIN: ("capacity-mismatch",),
    FaultKind.BROWNOUT: ("supply-dips", "contact-intermittent"),
}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the judging made of one season.

    Attributes
    ----------
    kind : str
        Of the fault; "" for a healthy season.
    place, servo : str
    onset, counts : int or None
        First flight with the fault; first one from which it counts.
    found : int or None
        First flight, of those with the fault, judged with a finding of the right name and place.
    first_place_right : bool or None
        Whether the gravest finding of that flight was at the right place.
    servo_right : bool or None
        Whether the control named drives the servo; None where none was named.
    before, elsewhere : list
        Findings before the onset, and with the fault at other places: flight, code, place, level.
    stirs : dict
        Mean stir current per node, flight by flight, for the rivals; None where there was no stir.
    """

    kind: str
    path: str
    seed: int
    profile: bool
    place: str
    servo: str
    onset: int | None
    counts: int | None
    found: int | None
    grounded: int | None
    first_place_right: bool | None
    servo_right: bool | None
    before: list[tuple[int, str, str, str]]
    elsewhere: list[tuple[int, str, str, str]]
    stirs: dict[str, list[float | None]]

    def document(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def run(kind: FaultKind | None, seed: int, path: str) -> Outcome:
    """Simulate one season, measure its flights, and judge flight k from flights 1 to k.

    Parameters
    ----------
    kind : FaultKind or None
        None gives a healthy season.
    seed : int
    path : str
        "full": simulated, written as CSV in a random dialect, read, reviewed, measured. "light":
        measured from the simulated sensors with the true phases: currents of the nodes alone.
    """
    number = 0 if kind is None else 1 + list(FaultKind).index(kind)
    rng = np.random.default_rng([seed, number])
    currents = True if path == "light" or (kind is not None and "servo" in kind.value) else None
    season = random_season(rng, kind, flights=FLIGHTS, node_currents=currents)
    profile = _profile(season) if rng.random() < 0.5 else None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        if path == "light":
            flights = [_light(recording) for recording in fly(season)]
        else:
            with tempfile.TemporaryDirectory() as folder:
                flights = [
                    _full(recording, season, Path(folder) / f"flight {k}.csv", profile)
                    for k, recording in enumerate(fly(season), 1)
                ]
        return _judged(season, kind, flights, profile, seed, path)


def _judged(
    season: Season,
    kind: FaultKind | None,
    flights: Sequence[Measures],
    profile: Aircraft | None,
    seed: int,
    path: str,
) -> Outcome:
    fault = season.faults[0] if season.faults else None
    found = grounded = right = servo_right = None
    before, elsewhere = [], []
    for k in range(FIRST, len(flights) + 1):
        history = judge(flights[:k], aircraft=profile)
        for f in history.findings:
            if "recent_flights" in f.evidence:
                continue  # of single flights' reviews, whose accuracy is measured by itself
            row = (k, f.code, f.place or "", str(f.level))
            if fault is None or k < fault.onset:
                before.append(row)
            elif f.place != fault.place:
                elsewhere.append(row)
            elif kind is not None and f.code in CODES[kind]:
                if found is None:
                    found = k
                    right = history.findings[0].place == fault.place
                if servo_right is None and f.servo is not None:
                    servo_right = _servo_right(season, fault, f.servo)
                if grounded is None and str(f.level) == "ground":
                    grounded = k
    least = 0.0 if kind is None else COUNTS_FROM.get(kind, 1e-9)
    counts = None
    if fault is not None:
        counts = next((k for k in range(1, 99) if abs(fault.level(k)) >= least), None)
    places = [n.name for n in season.aircraft.nodes]
    return Outcome(
        kind="" if kind is None else kind.value,
        path=path,
        seed=seed,
        profile=profile is not None,
        place="" if fault is None else fault.place,
        servo="" if fault is None else fault.servo,
        onset=None if fault is None else fault.onset,
        counts=counts,
        found=found,
        grounded=grounded,
        first_place_right=right,
        servo_right=servo_right,
        before=before,
        elsewhere=elsewhere,
        stirs={p: [_stir_mean(m, p) for m in flights] for p in places},
    )


def _stir_mean(m: Measures, place: str) -> float | None:
    if m.stir is None or place not in m.stir.amps or np.isnan(m.stir.amps[place]).all():
        return None
    return float(np.nanmean(m.stir.amps[place]))


def _servo_right(season: Season, fault: Fault, named: str) -> bool:
    """Whether the control that was named is the one that moves the faulty servo."""
    return named.startswith(season.aircraft.servo(fault.servo).control)


def _profile(season: Season) -> Aircraft:
    """What a careful user writes down: who feeds whom, which output drives what."""
    craft = season.aircraft
    nodes = tuple(
        Node(name=n.name, fed_from=n.fed_from, servos=len(craft.servos_of(n.name)) or None)
        for n in craft.nodes
    )
    outputs: dict[str, int] = {}
    servos = []
    for s in craft.servos:
        outputs[s.node] = outputs.get(s.node, 0) + 1
        servos.append(Servo(node=s.node, output=outputs[s.node], drives=s.control))
    packs = tuple(Pack(name=p.name, capacity_mah=p.capacity_mah) for p in craft.packs)
    return Aircraft(name="bench", bus="bus", packs=packs, nodes=nodes, servos=tuple(servos))


def _full(
    recording: SimulatedRecording, season: Season, path: Path, profile: Aircraft | None
) -> Measures:
    write_csv(path, recording, dialect=season.dialect)
    found = review(read_log(path), profile)
    longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
    return measured(found, longest + 1)


def _light(recording: SimulatedRecording) -> Measures:
    """Currents of the nodes from the simulated sensors, with the true phases."""
    phases = recording.truth.phases
    first = next((p.start_s for p in phases if p.kind is PhaseKind.FLIGHT), np.inf)
    stirs = [
        (p.start_s + 0.5, p.end_s - 0.5)
        for p in phases
        if p.kind is PhaseKind.STIR and p.start_s < first
    ]
    air = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.FLIGHT]
    readings = {
        s.place: Reading(
            channel=Channel(key=s.key, column=s.key, quantity=s.quantity, place=s.place),
            t=recording.updates[s.key].time_s,
            v=recording.updates[s.key].values,
            update_s=u.interval_s,
            resolution=s.resolution,
        )
        for u in recording.telemetry.units
        for s in u.sensors
        if s.quantity is Quantity.CURRENT and u.place == s.place and s.place != "bus"
    }
    slowest = max(r.update_s or 0.0 for r in readings.values())
    flown_s = sum(b - a for a, b in air)

    def blocks(windows: list[tuple[float, float]], block_s: float) -> Blocks | None:
        kept = [w for w in windows if w[1] - w[0] >= block_s]
        if not kept:
            return None
        return Blocks(
            block_s=block_s,
            amps={
                p: np.concatenate([block_means(r.t, r.v, edges(w, block_s)) for w in kept])
                for p, r in readings.items()
            },
        )

    flight = Flight(kind="flight", start_s=0.0, end_s=phases[-1].end_s, phases=phases)
    return Measures(
        kind="flight",
        start=None,
        file="",
        duration_s=flight.end_s,
        flight_s=flown_s,
        update_s=slowest,
        temperature_c=None,
        features=tuple(f for p, r in readings.items() for f in current_features(p, r, flight, air)),
        stir=blocks(stirs, max(1.0, 2.0 * slowest)),
        air=blocks(air, max(5.0, flown_s / 36)),
        steps_a={p: r.resolution or 0.0 for p, r in readings.items()},
    )
