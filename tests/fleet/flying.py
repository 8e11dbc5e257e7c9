"""One flight of one aircraft: the true signals, with what is wrong that day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.fleet.aircraft import Aircraft
from tests.fleet.pilots import DT_S, Outing
from tests.fleet.servos import SOUND, Motion, ServoFault, draw, move
from tests.fleet.supply import Pack, Supplied, supply

FloatArray = NDArray[np.float64]

_PASSES, _PASSES_OF_A_SOFT_SUPPLY = 8, 16
# A film takes half of its voltage at this current.
_FILM_A = 0.15


@dataclass(frozen=True, kw_only=True)
class Wrong:
    """What is wrong on one day; nothing by default.

    Attributes
    ----------
    servos : dict
        By node and number of the servo in it.
    lead_ohm : dict
        More in the lead of a node, Ohm.
    contact_v : dict
        What a contact in the lead of a node takes at each instant at some current, V: a film of
        dirt or oxide takes a voltage that hardly grows with current.
    pack_ohm, pack_capacity : dict
        By name of the pack: resistance so many times, charge it holds as a part.
    pack_off_s : dict
        By name of the pack: out from this instant on.
    dip_v : array or float
        What a contact behind packs and regulator takes, V.
    out_ohm, limit : float
        More at the regulator's output, Ohm; its limit as a part.
    """

    servos: Mapping[tuple[str, int], ServoFault] = field(default_factory=dict)
    lead_ohm: Mapping[str, float] = field(default_factory=dict)
    contact_v: Mapping[str, FloatArray] = field(default_factory=dict)
    pack_ohm: Mapping[str, float] = field(default_factory=dict)
    pack_capacity: Mapping[str, float] = field(default_factory=dict)
    pack_off_s: Mapping[str, float] = field(default_factory=dict)
    dip_v: FloatArray | float = 0.0
    out_ohm: float = 0.0
    limit: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Day:
    """Weather, packs and plugs of one flight."""

    air_c: float
    pack_c: float
    packs: tuple[Pack, ...]
    plugs_ohm: Mapping[str, float]  # of each lead, as mated that day
    gusts: Mapping[str, FloatArray]


@dataclass(frozen=True, kw_only=True)
class Flown:
    """True signals of one flight, by "place/quantity", and what they were made of."""

    time_s: FloatArray
    signals: dict[str, FloatArray]
    servo_a: dict[tuple[str, int], FloatArray]
    motions: dict[tuple[str, int], Motion]
    lead_ohm: dict[str, float]
    contact_v: dict[str, FloatArray]  # what a contact in a lead took
    supplied: Supplied
    drift_v: float  # largest change of any voltage in the last pass


def fly(aircraft: Aircraft, outing: Outing, day: Day, wrong: Wrong) -> Flown:
    """Solve the path at every instant: servos draw what their voltage lets them."""
    n = len(outing.time_s)
    stiff = 1.0 + 0.012 * max(0.0, 20.0 - day.air_c)
    motions: dict[tuple[str, int], Motion] = {}
    for node in aircraft.nodes:
        for i, servo in enumerate(node.servos):
            stick = outing.sticks[servo.drives] * (servo.side or 1.0)
            motions[node.name, i] = move(
                servo,
                stick,
                outing.air,
                day.gusts[node.name],
                dt_s=DT_S,
                stiffness=stiff,
                fault=wrong.servos.get((node.name, i), SOUND),
            )
    packs = [
        replace(
            p,
            ohm_25c=p.ohm_25c * wrong.pack_ohm.get(p.name, 1.0),
            capacity_ah=p.capacity_ah * wrong.pack_capacity.get(p.name, 1.0),
        )
        for p in day.packs
    ]
    on = [_on(outing, p.name, i, wrong) for i, p in enumerate(packs)]
    leads = {
        node.name: (node.lead_ohm + day.plugs_ohm[node.name]) * (1 + 0.0039 * (day.air_c - 20.0))
        + wrong.lead_ohm.get(node.name, 0.0)
        for node in aircraft.nodes
    }
    start_v = float(packs[0].open_v(np.array([packs[0].left]))[0])
    volts = {node.name: np.full(n, start_v) for node in aircraft.nodes}
    given: Supplied | None = None
    servo_a: dict[tuple[str, int], FloatArray] = {}
    soft = wrong.limit < 1.0 or wrong.out_ohm > 0.0
    for _ in range(_PASSES_OF_A_SOFT_SUPPLY if soft else _PASSES):
        amps = {}
        for node in aircraft.nodes:
            for i, servo in enumerate(node.servos):
                servo_a[node.name, i] = draw(
                    servo,
                    motions[node.name, i],
                    volts[node.name],
                    dt_s=DT_S,
                    fault=wrong.servos.get((node.name, i), SOUND),
                )
            own = [servo_a[node.name, i] for i in range(len(node.servos))]
            amps[node.name] = node.steady_a + np.sum(own, axis=0)
        total = aircraft.main_a + np.sum(list(amps.values()), axis=0)
        given = supply(
            packs,
            aircraft.paths,
            total,
            dt_s=DT_S,
            temperature_c=day.pack_c,
            on=on,
            before=given,
        )
        bus = given.joined_v
        if aircraft.regulator is not None:
            today = replace(
                aircraft.regulator,
                out_ohm=aircraft.regulator.out_ohm + wrong.out_ohm,
                limit_a=aircraft.regulator.limit_a * wrong.limit,
            )
            bus = today.out_v(bus, total)
        bus = bus - wrong.dip_v
        drift = 0.0
        for name, a in amps.items():
            new = np.maximum(bus - leads[name] * a - _taken(wrong, name, a), 0.25 * start_v)
            new = volts[name] + 0.7 * (new - volts[name])
            drift = max(drift, float(np.abs(new - volts[name]).max()))
            volts[name] = new
    assert given is not None
    signals = {"bus/voltage": bus, "bus/current": total}
    for i, pack in enumerate(packs):
        used = np.cumsum(given.pack_a[i]) * DT_S / 3.6
        signals[f"{pack.name}/voltage"] = given.pack_v[i]
        signals[f"{pack.name}/current"] = given.pack_a[i]
        signals[f"{pack.name}/consumed"] = used
    for name, a in amps.items():
        signals[f"{name}/current"] = a
        signals[f"{name}/voltage"] = bus - leads[name] * a - _taken(wrong, name, a)
        signals[f"{name}/consumed"] = np.cumsum(a) * DT_S / 3.6
        signals[f"{name}/temperature"] = day.air_c + 6.0 * (1 - np.exp(-outing.time_s / 300.0))
    signals["bus/temperature"] = day.air_c + 12.0 * (1 - np.exp(-outing.time_s / 200.0))
    return Flown(
        time_s=outing.time_s,
        signals=signals,
        servo_a=servo_a,
        motions=motions,
        lead_ohm=leads,
        contact_v={name: _taken(wrong, name, a) for name, a in amps.items()},
        supplied=given,
        drift_v=drift,
    )


def _taken(wrong: Wrong, name: str, amps: FloatArray) -> FloatArray:
    return wrong.contact_v.get(name, np.zeros(len(amps))) * amps / (amps + _FILM_A)


def _on(outing: Outing, name: str, number: int, wrong: Wrong) -> FloatArray:
    t = outing.time_s
    on = np.ones(len(t))
    if outing.check is not None:
        first, second, last = outing.check
        off = (first, second - 1.0) if number == 0 else (second, last)
        on[(t >= off[0]) & (t < off[1])] = 0.0
    if name in wrong.pack_off_s:
        on[t >= wrong.pack_off_s[name]] = 0.0
    return on
