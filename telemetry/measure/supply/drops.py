"""What load takes of the packs' voltage, and what a sound pack of its kind loses at most."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft, Pack
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.numerics.sampling import outside
from telemetry.readings import Reading, Readings, source_voltages, total_current
from telemetry.results import LOADED_PHASES, LoadDrop, Phase, Resistance

#: A sound cell of 1 Ah has at most so many mOhm at 25 degC, worn but fit to fly, some seconds after
#: a step of the current; a larger one less in proportion (from memory of cell makers' tables and of
#: what users measure, doubled for age and for those seconds).
SOUND_MOHM_AH = {"lipo": 90.0, "liion": 200.0, "life": 110.0, "nimh": 150.0}
#: Lead and plug between the cells and the sensor, mOhm (from memory).
PATH_MOHM = 25.0
#: Above the resistance that the profile gives, which a meter reads at once and warm: this factor
#: and so many mOhm (from memory: seconds after a step half as much again, and some age).
PROFILE_FACTOR, PROFILE_MOHM = 2.5, 10.0
#: Resistance of cells per kelvin below 25 degC, as a logarithm; and the temperature that is taken
#: where none is logged (from memory: at 0 degC about twice that at 25).
COLD_PER_K, WARM_C, UNLOGGED_C, COLDEST_C = 0.03, 25.0, 10.0, -20.0
#: The high current, quantile of the readings under load; the voltage at rest, quantile of all; and
#: the fewest readings that tell them (heuristic).
_HIGH, _REST, _FEW = 0.99, 0.98, 20
#: The temperature at the start is read from the first seconds (heuristic).
_START_S = 60.0


def load_drops(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    resistances: Sequence[Resistance],
) -> tuple[LoadDrop, ...]:
    """What load took of each pack's voltage; of the bus's where no pack's is logged.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft
    phases : sequence of Phase
    resistances : sequence of Resistance
        Of the same flight. A place without one, or held by a regulator, is left out.
    """
    out = []
    for volts in source_voltages(readings, aircraft):
        found = next(
            (
                r
                for r in resistances
                if r.place == volts.place and r.kind in ("source", "apparent") and not r.regulated
            ),
            None,
        )
        drop = None if found is None else _drop(volts, readings, aircraft, phases, found)
        if drop is not None:
            out.append(drop)
    return tuple(out)


def _drop(
    volts: Reading, readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], r: Resistance
) -> LoadDrop | None:
    high_a = _high_current(readings, aircraft, phases, r)
    if volts.size < _FEW or high_a is None or r.mohm is None:
        return None
    rest_v = float(np.quantile(volts.v, _REST))
    if rest_v <= 0.0:
        return None
    low = r.mohm if r.low_mohm is None else r.low_mohm
    celsius = _temperature(readings, aircraft, r.place)
    pack = aircraft.pack(r.place)
    sound = None if pack is None or r.kind != "source" else sound_mohm(pack, celsius)
    return LoadDrop(
        place=r.place,
        mohm=r.mohm,
        low_mohm=low,
        high_mohm=r.mohm if r.high_mohm is None else r.high_mohm,
        high_a=high_a,
        rest_v=rest_v,
        drop_pct=0.1 * r.mohm * high_a / rest_v,
        low_drop_pct=0.1 * low * high_a / rest_v,
        sound_mohm=sound,
        by_profile=pack is not None and pack.resistance_mohm is not None,
        temperature_c=celsius,
        of_a_pack=pack is not None or aircraft.kind(r.place) is PlaceKind.PACK,
        chemistry=None if pack is None else pack.chemistry,
    )


def sound_mohm(pack: Pack, temperature_c: float | None) -> float | None:
    """Resistance of a sound pack at most, mOhm; None where the profile does not tell its kind.

    Parameters
    ----------
    pack : Pack
    temperature_c : float or None
        Of the pack or its surroundings, degC.
    """
    celsius = UNLOGGED_C if temperature_c is None else temperature_c
    cold = math.exp(COLD_PER_K * (WARM_C - min(max(celsius, COLDEST_C), WARM_C)))
    if pack.resistance_mohm is not None:
        return PROFILE_FACTOR * cold * pack.resistance_mohm + PROFILE_MOHM
    if pack.chemistry is None or pack.cells is None or pack.capacity_mah is None:
        return None
    cell_mohm = SOUND_MOHM_AH[pack.chemistry] * 1000.0 / pack.capacity_mah
    return pack.cells * cell_mohm * cold + PATH_MOHM


def _high_current(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], r: Resistance
) -> float | None:
    own = readings.get(Quantity.CURRENT, r.place) if r.kind == "source" else None
    total = total_current(readings, aircraft)
    if own is not None and own.size:
        t, v = own.t, own.v
    elif total is not None:
        t, v = total.t, total.v
    else:
        return None
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in LOADED_PHASES]
    part = v[~outside(t, loaded)]
    return float(np.quantile(part, _HIGH)) if part.size >= _FEW else None


def _temperature(readings: Readings, aircraft: Aircraft, place: str) -> float | None:
    """Of the pack at the start, else of a pack or node, degC: the lowest.

    Of an unlisted place only its name says what it is, and a regulator may have any.
    """
    found = {
        r.place: float(np.median(part.v))
        for r in readings.of(Quantity.TEMPERATURE)
        if (part := r.within(readings.start_s, readings.start_s + _START_S)).size
        and (not r.place or (aircraft.pack(r.place) or aircraft.node(r.place)) is not None)
    }
    return found.get(place, min(found.values(), default=None))
