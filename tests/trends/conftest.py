"""Seasons of measures made by hand: currents of nodes under a pilot whose vigour varies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.book import BookFlight, Note, NoteKind
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading, Readings
from telemetry.results import HistoryFlight, NoteMark
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import Blocks, EventCount, Measure, Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.table import FeatureTable

# Invented currents: moving and resting, A.
MOVING = {"left wing": 1.6, "right wing": 1.5, "tail": 1.9}
RESTING = {"left wing": 0.24, "right wing": 0.22, "tail": 0.30}
LEAD_MOHM = {"left wing": 32.0, "right wing": 33.0, "tail": 45.0}

Factor = Callable[[int], float]
MakeSeason = Callable[..., list[Measures]]
MakeFlight = Callable[..., Measures]
MakeCase = Callable[..., AircraftHistory]
MakeJudgement = Callable[..., Judgement]
MakeReading = Callable[..., Reading]


def _one(name: str) -> Factor:
    return lambda _k: 1.0


def blocks(
    amps: dict[str, Sequence[float]] | None = None, volts: dict[str, Sequence[float]] | None = None
) -> Blocks:
    """Currents and voltages of each place in stretches of 2.5 s."""
    given = (amps or {}, volts or {})
    a, v = ({p: np.array(x, dtype=np.float64) for p, x in rows.items()} for rows in given)
    return Blocks(block_s=2.5, amps=a, volts=v)


def readings_of(*channels: Reading) -> Readings:
    """What a log of 100 s would have been read to: these channels, with nothing set aside."""
    return Readings(
        channels=channels,
        row_s=0.1,
        start_s=0.0,
        end_s=100.0,
        gaps=(),
        dropouts=(),
        spurious=(),
        off=(),
    )


@pytest.fixture(scope="session")
def make_season() -> MakeSeason:
    """Makes a season of measures.

    Keywords ``current``, ``lead``, ``offset`` and ``warm`` hold functions of the flight's number
    (from 1) per place: factor on its current, resistance added to its lead in mOhm, V that its
    sensor reads too little, relative rise of its current from the start to the end of a flight.
    ``features`` adds further columns, ``events`` counts.
    """

    def make(
        seed: int = 0,
        *,
        flights: int = 20,
        places: Sequence[str] = tuple(MOVING),
        vigour: float = 0.2,
        scatter: float = 0.02,
        update_s: float = 0.2,
        step_a: float = 0.01,
        current: Mapping[str, Factor] | None = None,
        lead: Mapping[str, Factor] | None = None,
        offset: Mapping[str, Factor] | None = None,
        warm: Mapping[str, Factor] | None = None,
        features: Mapping[tuple[str, str], Factor] | None = None,
        events: Mapping[tuple[str, str], Callable[[int], int]] | None = None,
        vigour_of: Factor | None = None,
        stir: Callable[[int], bool] = lambda _k: True,
    ) -> list[Measures]:
        rng = np.random.default_rng([seed, 5])
        current, lead, warm = current or {}, lead or {}, warm or {}
        offset = offset or {}
        made = []
        for k in range(1, flights + 1):
            effort = float(np.exp(vigour * rng.standard_normal()))
            effort *= 1.0 if vigour_of is None else vigour_of(k)
            rows: list[Measure] = []
            parts: dict[str, dict[str, dict[str, np.ndarray]]] = {}
            for part, blocks in (("stir", 12), ("air", 30)):
                common = effort * (1.0 + 0.3 * rng.standard_normal(blocks)).clip(0.2)
                amps = {}
                for p in places:
                    own = 1.0 + scatter * rng.standard_normal()
                    factor = own * current.get(p, _one(p))(k)
                    ramp = np.linspace(0.0, 1.0, blocks) if part == "air" else np.zeros(blocks)
                    heat = 1.0 + (warm[p](k) if p in warm else 0.0) * ramp
                    noise = 1.0 + 0.05 * rng.standard_normal(blocks)
                    amps[p] = (RESTING[p] + MOVING[p] * common * noise * heat) * factor
                total = sum(amps.values(), np.zeros(blocks))
                bus = 7.4 - 0.02 * total + 0.002 * rng.standard_normal(blocks)
                volts = {"bus": bus}
                for p in places:
                    mohm = LEAD_MOHM[p] + (lead[p](k) if p in lead else 0.0)
                    fall = mohm / 1000.0 * amps[p] + 0.003 * rng.standard_normal(blocks)
                    volts[p] = bus - fall - (offset[p](k) if p in offset else 0.0)
                parts[part] = {"amps": {**amps, "bus": total + 0.3}, "volts": volts}
            for p in places:
                rest = RESTING[p] * current.get(p, _one(p))(k) * (1 + 0.01 * rng.standard_normal())
                rest = round(rest / step_a) * step_a
                rows.append(
                    Measure(
                        place=p,
                        feature="rest_a",
                        value=rest,
                        unit="A",
                        low=rest - 0.004,
                        high=rest + 0.004,
                    )
                )
                mean = float(parts["stir"]["amps"][p].mean())
                rows.append(Measure(place=p, feature="stir_mean_a", value=mean, unit="A"))
            rows += [
                Measure(place=place, feature=name, value=f(k), unit="")
                for (place, name), f in (features or {}).items()
            ]
            made.append(
                Measures(
                    kind="flight",
                    start=None,
                    file=f"flight {k}.csv",
                    duration_s=500.0,
                    flight_s=360.0,
                    update_s=update_s,
                    temperature_c=20.0,
                    features=tuple(rows),
                    stir=Blocks(block_s=1.0, **parts["stir"]) if stir(k) else None,
                    air=Blocks(block_s=12.0, **parts["air"]),
                    events=tuple(
                        EventCount(place=p, origin=o, count=f(k), deepest_v=0.8)
                        for (p, o), f in (events or {}).items()
                        if f(k)
                    ),
                    steps_a=dict.fromkeys(places, step_a),
                )
            )  # fmt: skip
        return made

    return make


@pytest.fixture(scope="session")
def make_flight() -> MakeFlight:
    """Makes the measures of one flight by hand.

    The first argument holds features by place and name: a value, or value, low and high. Keywords
    are those of :class:`Measures`; ``stir`` and ``air`` may be Blocks.
    """

    def make(
        features: Mapping[tuple[str, str], float | tuple[float, float, float] | None] | None = None,
        **more: object,
    ) -> Measures:
        rows = []
        for (place, name), given in (features or {}).items():
            value, low, high = given if isinstance(given, tuple) else (given, None, None)
            rows.append(
                Measure(place=place, feature=name, value=value, unit="", low=low, high=high)
            )
        plain: dict[str, object] = {
            "kind": "flight",
            "start": None,
            "file": "",
            "duration_s": 500.0,
            "flight_s": 360.0,
            "update_s": None,
            "temperature_c": None,
        }
        return Measures(**{**plain, **more}, features=tuple(rows))  # type: ignore[arg-type]

    return make


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldHistory(AircraftHistory):
    """A history whose charts say what a test wants: what a rule makes of it is judged alone.

    ``told`` gets the place, and as keywords the parts, the first flight and the sign.
    """

    told: Callable[..., Judgement | None]

    def judge(
        self,
        parts: Sequence[EvidencePart],
        first: int,
        place: str,
        *,
        sign: float = 1.0,
        logarithmic: bool = False,
    ) -> Judgement | None:
        return self.told(place, parts=parts, first=first, sign=sign, logarithmic=logarithmic)


@pytest.fixture(scope="session")
def make_judgement() -> MakeJudgement:
    """Makes a judgement of so many flights, as index of the first flight with the change tells.

    Without an onset nothing is established. ``now`` is also the rise in each flight with the
    change, unless ``rise`` says otherwise; further keywords are those of :class:`Judgement`.
    """

    def make(
        flights: int = 8, onset: int | None = 5, now: float = 0.5, **more: object
    ) -> Judgement:
        at = np.arange(flights)
        plain: dict[str, object] = {
            "at": at,
            "score": np.zeros(flights),
            "rise": np.where(at >= (flights if onset is None else onset), now, 0.0),
            "sd": np.full(flights, 0.01),
            "charted": lambda: np.linspace(0.0, 9.0, flights),
            "limit": 4.5,
            "first": 0,
            "sure": False,
            "signal": None if onset is None else flights - 1,
            "onset": onset,
            "now": now,
            "low": now - 0.1,
            "high": now + 0.2,
        }
        return Judgement(**{**plain, **more})  # type: ignore[arg-type]

    return make


@pytest.fixture(scope="session")
def make_case() -> MakeCase:
    """Makes a history of flights: their ids are "1", "2", ...; one chart unless told otherwise.

    With ``told`` its charts say what that function returns (:class:`ToldHistory`).
    """

    def make(
        flights: Sequence[Measures],
        *,
        notes: Sequence[NoteMark] = (),
        aircraft: Aircraft | None = None,
        charts: int = 1,
        told: Callable[..., Judgement | None] | None = None,
    ) -> AircraftHistory:
        given: dict[str, Any] = {
            "flights": flights,
            "listed": [
                HistoryFlight(id=str(k), start=m.start, file=m.file)
                for k, m in enumerate(flights, 1)
            ],
            "notes": notes,
            "aircraft": Aircraft() if aircraft is None else aircraft,
            "charts": charts,
            "table": FeatureTable(flights),
        }
        return AircraftHistory(**given) if told is None else ToldHistory(**given, told=told)

    return make


@pytest.fixture(scope="session")
def make_reading() -> MakeReading:
    """Makes the readings of one channel at instants t, s."""

    def make(
        place: str,
        t: Sequence[float],
        v: Sequence[float],
        *,
        quantity: Quantity = Quantity.VOLTAGE,
        update_s: float | None = None,
        resolution: float | None = None,
        hold: str = "",
    ) -> Reading:
        key = f"{place}/{quantity}{hold}"
        return Reading(
            channel=Channel(key=key, column=key, quantity=quantity, place=place, hold=hold),
            t=np.array(t, dtype=np.float64),
            v=np.array(v, dtype=np.float64),
            update_s=update_s,
            resolution=resolution,
        )

    return make


def book_flight(start: str | None, recording: str = "other") -> BookFlight:
    """A flight as a book lists it, of this start."""
    return BookFlight(
        id=f"{recording}-0",
        recording=recording,
        aircraft="tern",
        file="made.csv",
        start=start,
        start_source="log",
        kind="flight",
        first_row=0,
        rows=10,
        duration_s=1.0,
        order=1,
        added="2026-06-01T00:00:00",
    )


def book_note(date: str) -> Note:
    """A repair noted in a book on this day, of the whole aircraft."""
    return Note(
        id="n",
        aircraft="tern",
        kind=NoteKind.REPAIRED,
        text="",
        place=None,
        date=date,
        given=True,
        order=2,
        made="2026-06-01T00:00:00",
    )
