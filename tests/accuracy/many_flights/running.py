"""One season on the way that a user's logs go, judged flight by flight as the product does."""

from __future__ import annotations

import gzip
import json
import tempfile
import warnings
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.checks.across import listed_as, replay, together_at
from telemetry.importer import read_log
from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading, block_means
from telemetry.results import Finding, Flight, History, NoteMark, PhaseKind
from telemetry.simulate import SimulatedRecording
from telemetry.simulate.season import fly
from telemetry.trends.features.currents import current_features
from telemetry.trends.features.windows import edges
from telemetry.trends.measures import VERSION, Blocks, Measures
from tests.accuracy.many_flights.drawing import (
    Drawn,
    Logs,
    fleet_season,
    light_season,
    own_season,
)
from tests.accuracy.many_flights.kinds import KINDS
from tests.accuracy.many_flights.sight import Sight, looks, sight_of

FLIGHTS = 20
#: Flights flown after the fault was put right: as many as close a finding that comes and goes.
AFTER = 6
#: Of the summary of a finding: nothing is open before.
_LEVELS = ("clear", "unknown", "watch", "ground")

#: The generators of seasons by name: from kind, seed, flights, flights after the fault, and folder.
GENERATORS: dict[str, Callable[[str, int, int, int, Path], tuple[Drawn, Logs]]] = {
    "own": own_season,
    "fleet": fleet_season,
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """One finding of a season as the book showed it, flight by flight.

    Attributes
    ----------
    code, place, servo : str
    across : bool
        Whether the flights together told it; False where only reviews of single flights did.
    opened : list of (int, int, str)
        First and last flight, from 1, of each stretch in which it was open without a break at one
        level, and that level.
    """

    code: str
    place: str
    servo: str = ""
    across: bool
    opened: list[tuple[int, int, str]]

    def at(self, flight: int) -> str:
        """The level at which it was open after a flight; "" where it was not."""
        return next((level for a, b, level in self.opened if a <= flight <= b), "")

    def within(self, first: int, last: int) -> bool:
        """Whether it was open at any of these flights."""
        return any(a <= last and b >= first for a, b, _ in self.opened)

    def worst(self, first: int, last: int) -> str:
        """The worst level of these flights; "" where it was never open."""
        levels = [level for a, b, level in self.opened if a <= last and b >= first]
        return max(levels, key=_LEVELS.index, default="")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the book made of one season.

    Attributes
    ----------
    generator, kind, path : str
        ``kind`` is "" in a healthy season; ``path`` "full", or "light" without files.
    seed, flights, flown : int
        ``flown`` counts those after a fault that was put right as well.
    profile : bool
    places, control, onset, counts, gone
        As of :class:`Drawn`.
    first_right : bool or None
        Whether the worst finding of the flight that first told it was at the right place.
    told : list of Told
    mended : list of Told
        The same where a note of a repair stands before the first flight without the fault.
    sure, size : float
        What the oracle saw: standard errors, and how far in the unit of the fault's feature.
    stirs : dict
        Mean stir current per node, flight by flight, for the rivals; None where there was no stir.
    """

    generator: str
    kind: str
    path: str
    seed: int
    flights: int
    flown: int
    profile: bool
    places: list[str]
    control: str = ""
    onset: int | None = None
    counts: int | None = None
    gone: int | None = None
    first_right: bool | None = None
    told: list[Told]
    mended: list[Told] = field(default_factory=list)
    sure: float = 0.0
    size: float = 0.0
    stirs: dict[str, list[float | None]]

    @property
    def until(self) -> int:
        """Last flight with the fault; last of all in a healthy season."""
        return self.flights if self.gone is None else min(self.flights, self.gone - 1)

    def rightly(self, told: Sequence[Told]) -> list[Told]:
        """Those that tell the fault by a right name at its place."""
        codes = KINDS[self.kind].codes if self.kind else ()
        return [t for t in told if t.place in self.places and t.code in codes]

    def found(self, level: str = "watch") -> int | None:
        """First flight since the onset that told the fault rightly at this level or above."""
        if self.onset is None:
            return None
        least = _LEVELS.index(level)
        at = [
            max(a, self.onset)
            for t in self.rightly(self.told)
            for a, b, grade in t.opened
            if b >= self.onset and a <= self.flights and _LEVELS.index(grade) >= least
        ]
        return min(at, default=None)


def run(
    generator: str,
    kind: str,
    seed: int,
    path: str,
    flights: int = FLIGHTS,
    keep: Path | None = None,
) -> Outcome:
    """Draw one season, read and measure its flights, and replay its book after each of them.

    Parameters
    ----------
    generator : str
        Of :data:`GENERATORS`.
    kind : str
        Of :data:`KINDS`; "" gives a healthy season.
    seed : int
    path : str
        "full": written as CSV in a random dialect, read, reviewed, measured. "light": measured from
        the simulated sensors with the true phases: currents of the nodes alone.
    flights : int
    keep : Path, optional
        Folder for the measures, so that another judging needs no other reading.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        if path == "light":
            drawn, season = light_season(kind, seed, flights)
            measures, seen = [_light(r) for r in fly(season)], Sight()
        else:
            drawn, measures, seen = _drawn(generator, kind, seed, flights, keep)
        told, right = _replayed(measures, drawn)
        mended: list[Told] = []
        if drawn.gone is not None and drawn.gone <= len(measures):
            marks = [_repair(p, drawn.gone) for p in drawn.places]
            mended, _ = _replayed(measures, drawn, marks)
    nodes = tuple(drawn.parents) or tuple(
        {p: None for m in measures if m.stir for p in m.stir.amps}
    )
    return Outcome(
        generator=generator,
        kind=kind,
        path=path,
        seed=seed,
        flights=flights,
        flown=len(measures),
        profile=drawn.profile is not None,
        places=list(drawn.places),
        control=drawn.control,
        onset=drawn.onset,
        counts=drawn.counts,
        gone=drawn.gone,
        first_right=right,
        told=told,
        mended=mended,
        sure=seen.sure,
        size=seen.size,
        stirs={p: [_stir_mean(m, p) for m in measures[:flights]] for p in nodes},
    )


def _drawn(
    generator: str, kind: str, seed: int, flights: int, keep: Path | None
) -> tuple[Drawn, list[Measures], Sight]:
    """One season, the measures of all flights, and what the oracle sees; from a file if kept."""
    name = f"{generator} {kind or 'healthy'} {seed} {flights}.json.gz"
    kept = None if keep is None else keep / name
    if kept is not None and kept.exists():
        doc = json.loads(gzip.decompress(kept.read_bytes()))
        if doc["version"] == VERSION:
            profile = doc["profile"]
            own = {key: tuple(x) if isinstance(x, list) else x for key, x in doc["drawn"].items()}
            own["profile"] = None if profile is None else Aircraft.model_validate_json(profile)
            return Drawn(**own), [Measures.of(m) for m in doc["measures"]], Sight(**doc["sight"])
    with tempfile.TemporaryDirectory() as folder:
        drawn, logs = GENERATORS[generator](kind, seed, flights, AFTER, Path(folder))
        measures, seen = _read(drawn, logs)
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        profile = drawn.profile
        doc = {
            "version": VERSION,
            "drawn": {f.name: getattr(drawn, f.name) for f in fields(drawn) if f.name != "profile"},
            "profile": None if profile is None else profile.model_dump_json(),
            "measures": [m.document() for m in measures],
            "sight": asdict(seen),
        }
        kept.write_bytes(gzip.compress(json.dumps(doc).encode()))
    return drawn, measures, seen


def _read(drawn: Drawn, logs: Logs) -> tuple[list[Measures], Sight]:
    """Each flight read, reviewed and measured as the book would; the oracle looks beside it."""
    measures, own = [], []
    for log in logs(False):
        found = review(read_log(log.path), drawn.profile)
        longest = max(range(len(found.flights)), key=lambda n: found.flights[n].duration_s)
        # As the book would give them back.
        measures.append(Measures.of(measured(found, longest + 1).document()))
        own.append(looks(drawn, log))
    twin = [looks(drawn, log) for log in logs(True)] if drawn.kind else []
    return measures, sight_of(drawn, own, twin)


def _replayed(
    measures: Sequence[Measures],
    drawn: Drawn,
    notes: Sequence[NoteMark] = (),
) -> tuple[list[Told], bool | None]:
    """What stands open after each flight; whether the first rightly told was the worst there."""
    listed = [listed_as(k, m) for k, m in enumerate(measures, 1)]
    profile = drawn.profile
    together = [together_at(k, measures, notes, profile, listed) for k in range(len(measures))]
    codes = KINDS[drawn.kind].codes if drawn.kind else ()
    right: bool | None = None
    opened: dict[tuple[str, str], list[tuple[int, int, str]]] = {}
    across: dict[tuple[str, str], bool] = {}
    servos: dict[tuple[str, str], str] = {}
    for k in range(1, len(measures) + 1):
        known = [n for n in notes if n.before <= k - 1]
        history = replay(measures[:k], known, profile, listed=listed[:k], together=together[:k])
        shown = _shown(history, drawn)
        for f in shown:
            key = (f.code, f.place or "")
            level = str(f.level)
            spans = opened.setdefault(key, [])
            if spans and spans[-1][1] == k - 1 and spans[-1][2] == level:
                spans[-1] = (spans[-1][0], k, level)
            else:
                spans.append((k, k, level))
            by_all = any((g.code, g.place or "") == key for g in together[k - 1])
            across[key] = across.get(key, False) or by_all
            if f.servo:
                servos.setdefault(key, f.servo)
        if right is None and drawn.onset is not None and k >= drawn.onset:
            told = [f for f in shown if f.place in drawn.places and f.code in codes]
            right = shown[0].place in drawn.places if told else None
    return [
        Told(
            code=code,
            place=place,
            servo=servos.get((code, place), ""),
            across=across[code, place],
            opened=spans,
        )
        for (code, place), spans in opened.items()
    ], right


def _shown(history: History, drawn: Drawn) -> list[Finding]:
    """Open findings at watch or ground, the worst first.

    Elsewhere than at the fault only such as follow from no other: the others accuse nobody.
    """
    return [
        f
        for f in history.findings
        if f.state == "open"
        and str(f.level) in ("watch", "ground")
        and (f.follows_code is None or f.place in drawn.places)
    ]


def _repair(place: str, before: int) -> NoteMark:
    return NoteMark(before=before - 1, kind="repaired", place=place, date="", text="put right")


def _stir_mean(m: Measures, place: str) -> float | None:
    if m.stir is None or place not in m.stir.amps or np.isnan(m.stir.amps[place]).all():
        return None
    return float(np.nanmean(m.stir.amps[place]))


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
