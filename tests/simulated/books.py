"""Whole books of healthy aircraft as measures: no files, so that thousands can be judged.

Random aircraft, sensors and pilots over hundreds of flights: warmth that comes and goes with the
year, pilots that change, telemetry that becomes slower, coarse sensors, packs that take turns. What
a flight measures scatters by causes of its own, some of them rare and large; none is a fault. It
shares nothing with the charts, and no limit is set by it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.trends.features.voltages import TOTAL
from telemetry.trends.measures import Blocks, Measure, Measures

FloatArray = NDArray[np.float64]

PACKS = ("pack 1", "pack 2")
_NODES = ("left wing", "right wing", "tail", "fuselage")
_STIR_BLOCKS, _AIR_BLOCKS = 12, 30
# What the aircraft of one owner share.
_OWNED = ("mood", "mated_mohm", "step_a", "step_v", "seasonal_c", "logs_temperature")
# A year of flying holds about so many flights, and begins in spring; so many logs tell the day.
_YEAR, _BEGINS, _DATED = 60, datetime(2024, 4, 20, 15), 0.8


@dataclass(frozen=True, kw_only=True)
class Shift:
    """A lasting change: at a place, from a flight on (from 0), as a factor on its current, as mOhm
    added to its lead or as V added to the offset of its voltage sensor; ``course`` is how much of
    it is there flight by flight, 1 is all of it.
    """

    place: str
    since: int
    factor: float = 1.0
    mohm: float = 0.0
    volts: float = 0.0
    course: Sequence[float] = (1.0,)

    def part(self, place: str, flight: int) -> float:
        """How much of it acts there and then; from the end of its course on as much as there."""
        if place != self.place or flight < self.since:
            return 0.0
        return self.course[min(flight - self.since, len(self.course) - 1)]


@dataclass(frozen=True, kw_only=True)
class Book:
    """The flights of one aircraft, and what it is made of."""

    flights: list[Measures]
    aircraft: Aircraft
    nodes: tuple[str, ...]
    sets: int
    mood: float = field(default=0.0)


def random_book(
    seed: int, flights: int, *, shift: Shift | None = None, owner: int | None = None
) -> Book:
    """A book of one random healthy aircraft; with ``shift``, one lasting change in it.

    Aircraft of one ``owner``, a seed as well, have the same sensors, workmanship and weather.
    """
    rng = np.random.default_rng([seed, 1801])
    nodes = _NODES[: int(rng.integers(2, 5))]
    machine = _Machine.random(rng, nodes)
    if owner is not None:
        like = _Machine.random(np.random.default_rng([owner, 1803]), nodes)
        machine = replace(machine, **{name: getattr(like, name) for name in _OWNED})
    made = [machine.flight(rng, k, shift) for k in range(flights)]
    if np.random.default_rng([seed, 1802]).random() < _DATED:
        made = [replace(m, start=_date(k)) for k, m in enumerate(made)]
    return Book(
        flights=made, aircraft=Aircraft(), nodes=nodes, sets=machine.sets, mood=machine.mood
    )


@dataclass(frozen=True, kw_only=True)
class _Machine:
    """What stays the same over the years, and when pilot and telemetry change."""

    nodes: tuple[str, ...]
    moving_a: Mapping[str, float]
    resting_a: Mapping[str, float]
    lead_mohm: Mapping[str, float]
    offset_v: Mapping[str, float]
    mixes: FloatArray  # of each pilot: how much of a place's current goes with his vigour
    vigours: FloatArray
    pilot_from: Sequence[int]
    slower_from: int
    mood: float  # scatter of a place's current from flight to flight, relative
    mated_mohm: float  # scatter of a plug that is mated anew
    step_a: float
    step_v: float
    sets: int
    pack_mohm: FloatArray  # (sets, 2)
    pack_v: float
    seasonal_c: float
    logs_temperature: bool

    @classmethod
    def random(cls, rng: np.random.Generator, nodes: tuple[str, ...]) -> _Machine:
        pilots = 3
        wing = float(rng.uniform(0.5, 3.0))
        moving = {n: wing * float(rng.uniform(0.85, 1.2)) for n in nodes}
        sets = int(rng.choice([1, 1, 2, 3]))
        return cls(
            nodes=nodes,
            moving_a=moving,
            resting_a={n: float(rng.uniform(0.1, 0.2)) * moving[n] for n in nodes},
            lead_mohm={n: float(rng.uniform(15.0, 60.0)) for n in nodes},
            offset_v={n: 0.02 * float(rng.standard_normal()) for n in nodes},
            mixes=_mixes(rng, pilots, len(nodes)),
            vigours=np.exp(0.3 * rng.standard_normal(pilots)),
            pilot_from=sorted(rng.integers(5, 400, pilots - 1).tolist()),
            slower_from=int(rng.integers(10, 400)),
            mood=float(rng.choice([0.01, 0.02, 0.03])),
            mated_mohm=float(rng.uniform(0.3, 1.5)),
            step_a=float(rng.choice([0.01, 0.02, 0.05, 0.1])),
            step_v=float(rng.choice([0.01, 0.02, 0.05])),
            sets=sets,
            pack_mohm=rng.uniform(25.0, 60.0) * np.exp(0.06 * rng.standard_normal((sets, 2))),
            pack_v=float(rng.choice([7.4, 8.0])),
            seasonal_c=float(rng.uniform(3.0, 10.0)),
            logs_temperature=bool(rng.random() < 0.6),
        )

    def flight(self, rng: np.random.Generator, k: int, shift: Shift | None) -> Measures:
        pilot = int(np.searchsorted(self.pilot_from, k, side="right"))
        update_s = 0.2 if k < self.slower_from else 0.5
        warm_c = 18.0 + self.seasonal_c * np.sin(2 * np.pi * k / _YEAR) + 3 * _heavy(rng)
        effort = self.vigours[pilot] * np.exp(0.15 * _heavy(rng))
        mood = {n: self.mood * _heavy(rng) for n in self.nodes}
        mated = {n: self.mated_mohm * _heavy(rng) for n in self.nodes}
        grown = {n: shift.part(n, k) if shift else 0.0 for n in self.nodes}
        own = {n: 1.0 + grown[n] * (shift.factor - 1.0 if shift else 0.0) for n in self.nodes}
        leads = {
            n: (self.lead_mohm[n] + mated[n] + grown[n] * (shift.mohm if shift else 0.0))
            * (1.0 + 0.0039 * (warm_c - 18.0))
            for n in self.nodes
        }
        offset_v = {
            n: self.offset_v[n] + grown[n] * (shift.volts if shift else 0.0) for n in self.nodes
        }
        used_set = k % self.sets
        pack_ohm = self.pack_mohm[used_set] / 1000 * np.exp(-0.015 * (warm_c - 18.0))
        start_v = self.pack_v + 0.03 * _heavy(rng)
        parts = {
            name: self._blocks(
                rng, blocks, share, effort, pilot, mood, own, leads, offset_v, start_v, pack_ohm
            )
            for name, blocks, share in (("stir", _STIR_BLOCKS, 1.2), ("air", _AIR_BLOCKS, 1.0))
        }
        air_a = parts["air"].amps["bus"]
        used_mah = float(air_a.mean()) * 1000 / 10 * (1 + 0.1 * _heavy(rng))
        rows = [*self._node_rows(rng, parts, mood, own, leads, offset_v, warm_c, start_v)]
        rows += self._pack_rows(rng, pack_ohm, used_mah, start_v, float(air_a.mean()))
        return Measures(
            kind="flight",
            start=None,
            file=f"flight {k + 1}.csv",
            duration_s=500.0,
            flight_s=360.0,
            update_s=update_s,
            temperature_c=float(warm_c) if self.logs_temperature else None,
            features=tuple(rows),
            stir=parts["stir"],
            air=parts["air"],
            steps_a=dict.fromkeys([*self.nodes, "bus"], self.step_a),
        )

    def _blocks(
        self,
        rng: np.random.Generator,
        blocks: int,
        share: float,
        effort: float,
        pilot: int,
        mood: Mapping[str, float],
        own: Mapping[str, float],
        leads: Mapping[str, float],
        offset_v: Mapping[str, float],
        start_v: float,
        pack_ohm: FloatArray,
    ) -> Blocks:
        common = share * effort * np.exp(0.3 * rng.standard_normal(blocks))
        amps: dict[str, FloatArray] = {}
        for i, n in enumerate(self.nodes):
            moved = self.moving_a[n] * common ** self.mixes[pilot, i]
            moved = moved * np.exp(0.08 * rng.standard_normal(blocks))
            amps[n] = (self.resting_a[n] + moved) * np.exp(mood[n]) * own[n]
        total = np.sum(list(amps.values()), axis=0) + 0.25
        volts = {"bus": start_v - total * float(pack_ohm.mean()) / 2 - 0.1}
        for n in self.nodes:
            noise = (self.step_v / 4 + 0.003) * rng.standard_normal(blocks)
            volts[n] = volts["bus"] - leads[n] / 1000 * amps[n] - offset_v[n] + noise
        half = total / 2
        volts |= dict.fromkeys(PACKS, volts["bus"] + 0.02 * half)
        amps |= {"bus": total, PACKS[0]: half, PACKS[1]: half}
        fine = {p: _rounded(x, self.step_a / 8) for p, x in amps.items()}
        return Blocks(block_s=2.5 if blocks == _STIR_BLOCKS else 12.0, amps=fine, volts=volts)

    def _node_rows(
        self,
        rng: np.random.Generator,
        parts: Mapping[str, Blocks],
        mood: Mapping[str, float],
        own: Mapping[str, float],
        leads: Mapping[str, float],
        offset_v: Mapping[str, float],
        warm_c: float,
        start_v: float,
    ) -> list[Measure]:
        rows = []
        bus_rest = _step(start_v - 0.02, self.step_v)
        rows.append(_measure("bus", "rest_v", bus_rest, "V", self.step_v / 2))
        for n in self.nodes:
            rest = self.resting_a[n] * np.exp(mood[n]) * own[n] * (1 - 0.002 * (warm_c - 18.0))
            rest = _step(rest * (1 + 0.02 * rng.standard_normal()), self.step_a)
            rows.append(_measure(n, "rest_a", rest, "A", 0.6 * self.step_a))
            mean = float(parts["stir"].amps[n].mean())
            rows.append(_measure(n, "stir_mean_a", mean, "A"))
            sd = float(rng.uniform(0.5, 3.0))
            rows.append(_measure(n, "branch_mohm", leads[n] + sd * _heavy(rng), "mOhm", 1.96 * sd))
            offset = offset_v[n] + 0.004 * _heavy(rng)
            rows.append(_measure(n, "offset_v", offset, "V", 0.008))
            rest_v = _step(bus_rest - offset_v[n] + 0.002 * rng.standard_normal(), self.step_v)
            rows.append(_measure(n, "rest_v", rest_v, "V", self.step_v / 2))
            tails = 0.04 * np.exp(0.12 * rng.standard_normal(2)) + 0.01 * _heavy(rng) ** 2
            rows.append(_measure(n, "drop_tail_v", float(tails[0]), "V"))
            rows.append(_measure(n, "drop_tail_other_v", float(tails[1]), "V"))
            rows.append(_measure(n, "falls_unexplained", float(rng.poisson(0.05)), ""))
        return rows

    def _pack_rows(
        self,
        rng: np.random.Generator,
        pack_ohm: FloatArray,
        used_mah: float,
        start_v: float,
        mean_a: float,
    ) -> list[Measure]:
        rows = []
        share = 0.5 + 0.03 * _heavy(rng)
        for i, p in enumerate(PACKS):
            mohm = 1000 * float(pack_ohm[i])
            sd = 0.04 * mohm
            seen = mohm * np.exp(0.04 * _heavy(rng))
            rows.append(_measure(p, "source_mohm", seen, "mOhm", 1.96 * sd))
            own = share if i == 0 else 1 - share
            rows.append(_measure(p, "share", own, ""))
            rows.append(_measure(p, "start_v", _step(start_v, self.step_v), "V"))
            rows.append(_measure(p, "rest_v", _step(start_v, self.step_v), "V", self.step_v / 2))
            used = used_mah * own
            rows.append(_measure(p, "used_mah", used, "mAh", 0.02 * used))
            end = start_v - 0.25 * used / 1000 + 0.02 * _heavy(rng)
            rows.append(_measure(p, "end_v", _step(end, self.step_v), "V"))
            ratio = 1.0 + 0.01 * _heavy(rng)
            rows.append(_measure(p, "counter_ratio", ratio, "", 0.02))
        rows.append(_measure(TOTAL, "mah_per_min", mean_a * 1000 / 60, "mAh/min"))
        return rows


def _date(flight: int) -> str:
    return (_BEGINS + timedelta(days=round(flight * 365.25 / _YEAR))).isoformat()


def _mixes(rng: np.random.Generator, pilots: int, nodes: int) -> FloatArray:
    """How each pilot's vigour goes into each place; both wings have nearly the same of it."""
    mixes = 1.0 + 0.15 * rng.standard_normal((pilots, nodes))
    mixes[:, 1] = mixes[:, 0] + 0.02 * rng.standard_normal(pilots)
    return np.asarray(mixes)


def _measure(
    place: str, feature: str, value: float, unit: str, reach: float | None = None
) -> Measure:
    low, high = (None, None) if reach is None else (value - reach, value + reach)
    return Measure(place=place, feature=feature, value=float(value), unit=unit, low=low, high=high)


def _heavy(rng: np.random.Generator) -> float:
    """A deviation of one with tails heavier than normal: Student-t with six degrees, scaled."""
    return float(rng.standard_t(6)) * float(np.sqrt(4 / 6))


def _step(x: float, step: float) -> float:
    return round(x / step) * step


def _rounded(x: FloatArray, step: float) -> FloatArray:
    """Means over many coarse readings, which the movement dithers."""
    return np.asarray(np.round(x / step) * step)
